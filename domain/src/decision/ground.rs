//! Rules that depend on the kind of ground: which of them are left out here, and why.

use super::run::{Origin, Run};
use crate::{
    facts::Facts,
    law::{
        Mark, Reach, RuleSet,
        model::{InForceStatus, Rule},
    },
    rules::Answer,
    text::truncate_chars,
};

impl<'a> Run<'a> {
    /// Whether a rule may only warn on this ground; nothing when it does not reach the ground at all. What left it out is
    /// remembered where the rule would have spoken.
    pub(super) fn reaches(&mut self, set: &'a RuleSet, rule: &'a Rule, only_warns: bool) -> Option<bool> {
        let facts = self.case.facts;
        let speaks = || matters(rule.on(facts.on), facts);
        match set.reach(rule, facts) {
            Reach::Binds => Some(only_warns),
            Reach::Elsewhere => None,
            Reach::Outside(outside) => {
                if speaks() && !self.outside.iter().any(|(_, known)| std::ptr::eq(*known, outside)) {
                    self.outside.push((set, outside));
                }
                None
            }
            Reach::Doubtful(outside) => {
                if speaks() && !self.outside.iter().any(|(_, known)| std::ptr::eq(*known, outside)) {
                    self.outside.push((set, outside));
                }
                Some(true)
            }
            Reach::KindUnknown { warns } => {
                if speaks() && !self.asks_kind.iter().any(|known| std::ptr::eq(*known, set)) {
                    self.asks_kind.push(set);
                }
                Some(only_warns || warns)
            }
        }
    }

    /// Says what the kind of ground left out, and where it is needed and not known.
    pub(super) fn ground_kinds(&mut self) {
        let Some(kind) = self.case.facts.site.kind else {
            for set in std::mem::take(&mut self.asks_kind) {
                let message = format!(
                    "What kind of ground this is was not entered, and {} does not bind every kind alike.",
                    set.about.name
                );
                let hint =
                    "The office enters on the property whether it is a lawn, a golf course, a farm or another kind.";
                let rule = format!("law.{}.kind", set.about.code);
                self.push(
                    &said_by(&rule, "No kind of ground entered", None, Mark::Own),
                    Answer::law_care(message, hint.to_owned()),
                );
            }
            return;
        };
        for (set, outside) in std::mem::take(&mut self.outside) {
            let rule = format!("law.{}.outside", set.about.code);
            let origin = said_by(&rule, &outside.citation, outside.href.as_deref(), outside.mark);
            let answer = match &outside.condition {
                Some(condition) => {
                    let message = format!(
                        "{} leaves {} out {condition}, which nothing in the book shows; its limits are told as warnings.",
                        set.about.name,
                        kind.label()
                    );
                    Answer::law_care(truncate_chars(&message, 600), "Make sure of it before you start.".to_owned())
                }
                None if outside.mark == Mark::Memory => {
                    let message = format!("{} leaves {} out as far as is remembered.", set.about.name, kind.label());
                    Answer::law_care(message, "Look it up before you start.".to_owned())
                }
                None => Answer::left_out(kind.label()),
            };
            self.push(&origin, answer);
        }
    }
}

const fn said_by<'s>(rule: &'s str, citation: &'s str, href: Option<&'s str>, mark: Mark) -> Origin<'s> {
    Origin { rule, section: None, citation, href, mark, since: None, may_refuse: false }
}

/// Whether what a rule says on the day is about the product.
fn matters(standing: Option<InForceStatus<'_>>, facts: &Facts) -> bool {
    match standing {
        Some(InForceStatus::InForce(_, duty)) => duty.concerns(&facts.label),
        Some(InForceStatus::Unknown(first)) => first.duty.as_ref().is_none_or(|duty| duty.concerns(&facts.label)),
        _ => false,
    }
}
