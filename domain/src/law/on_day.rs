//! The rules as people read them: what each says on a day, in one sentence with its numbers.

use serde::{Deserialize, Serialize};

use super::{
    book::Lawbook,
    kind::{BoundParty, RuleKind},
    mark::Mark,
    model::{InForceStatus, Rule, RuleSet},
    stack::Stack,
};
use crate::{
    application::Audience,
    text::{list, truncate_chars},
    time::Day,
};

/// The four answers to "does this rule hold on that day".
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum InForce {
    InForce,
    Repealed,
    /// The duty began later.
    NotYet,
    /// No text was read for that day.
    Unknown,
}

/// What one rule says on one day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct RuleOnDay {
    #[schema(max_length = 120, example = "us-pa.nitrogen.quick.application")]
    pub rule: String,
    #[schema(max_length = 60, example = "us-pa")]
    pub rule_set: String,
    pub kind: RuleKind,
    pub binds: BoundParty,
    #[schema(max_items = 2)]
    pub audience: Vec<Audience>,
    /// Recommended only: it warns and never refuses.
    pub advice: bool,
    pub in_force: InForce,
    /// Why its set only warns here, or counts for some products only.
    #[schema(max_length = 400)]
    pub note: Option<String>,
    /// The duty in one plain sentence.
    #[schema(max_length = 600)]
    pub words: String,
    /// First day of this answer, if that is known.
    pub since: Option<Day>,
    /// Last day of this answer, if a later one is written.
    pub until: Option<Day>,
    #[schema(max_length = 400)]
    pub citation: String,
    #[schema(max_length = 600)]
    pub href: Option<String>,
    pub mark: Mark,
    /// Rows of the reading notes.
    #[schema(max_items = 20, value_type = Vec<super::about::RowId>)]
    pub rows: Vec<String>,
}

impl Lawbook {
    /// What every rule of the stacked sets says on a day, with the sets above them and the company's own.
    pub fn on_day(&self, codes: &[String], day: Day) -> Vec<RuleOnDay> {
        let stack = Stack::of(self, codes);
        let running = stack.sets.iter().filter(|stacked| stacked.force.may_run());
        let rules = running.flat_map(|stacked| {
            let note = stacked.force.note();
            rules(stacked.set, day).map(move |rule| RuleOnDay { note: note.map(str::to_owned), ..rule })
        });
        rules.collect()
    }
}

fn rules(set: &RuleSet, day: Day) -> impl Iterator<Item = RuleOnDay> {
    set.rules.iter().filter_map(move |rule| self::rule(set, rule, day))
}

pub(super) fn rule(set: &RuleSet, rule: &Rule, day: Day) -> Option<RuleOnDay> {
    Some(on_day(&set.about.code, rule, rule.on(day)?, day))
}

fn on_day(set: &str, rule: &Rule, standing: InForceStatus<'_>, day: Day) -> RuleOnDay {
    let (value, in_force, since, words) = match standing {
        InForceStatus::InForce(value, duty) => (
            value,
            InForce::InForce,
            Some(value.from),
            truncate_chars(
                &format!("{}{}{}{}{}.", bound(rule), duty.sentence(), rule.scope.label(), only(rule), unless(rule)),
                600,
            ),
        ),
        InForceStatus::Repealed(value) => {
            (value, InForce::Repealed, Some(value.from), format!("Repealed from {} on.", value.from))
        }
        InForceStatus::NotYet(value) => (value, InForce::NotYet, None, format!("Begins on {}.", value.from)),
        InForceStatus::Unknown(value) => {
            (value, InForce::Unknown, None, format!("The oldest text that was read is of {}.", value.from))
        }
    };
    let later = rule.values.iter().find(|value| value.from > day);
    RuleOnDay {
        rule: rule.id.clone(),
        rule_set: set.to_owned(),
        kind: rule.kind,
        binds: rule.binds,
        audience: rule.audience.clone(),
        advice: rule.advice,
        in_force,
        note: None,
        words,
        since,
        until: later.map(|value| value.from.plus_days(-1)),
        citation: value.source.citation.clone(),
        href: value.source.href.clone(),
        mark: value.source.mark,
        rows: value.source.rows.clone(),
    }
}

/// Whom the sentence is about, where that is not the applicator.
const fn bound(rule: &Rule) -> &'static str {
    match rule.binds {
        BoundParty::Applicator => "",
        BoundParty::Label => "On the label: ",
        BoundParty::Seller => "For sellers: ",
    }
}

fn only(rule: &Rule) -> String {
    if rule.only_kinds.is_empty() {
        return String::new();
    }
    format!(", on {} only", list(&rule.only_kinds, |kind| kind.label().to_owned(), "and"))
}

fn unless(rule: &Rule) -> String {
    rule.unless_credential.as_ref().map_or_else(String::new, |code| format!(", unless the applicator holds `{code}`"))
}
