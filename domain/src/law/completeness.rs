//! What the law asks of a record beside the things that it names: when it is written, and which certificate stands behind it.

use super::{
    book::Lawbook,
    disclosure::{DisclosureDuty, RecordDeadline},
    duties::{Bound, DutySource},
    duty::Duty,
    kind::RuleKind,
    model::{Rule, RuleSet},
    nutrient::Nutrient,
};
use crate::time::Day;

/// A licence or certificate that whoever does the work needs in a place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CredentialNeeded {
    /// The rule set that asks for it.
    pub rule_set: String,
    /// Codes of credentials, of which one will do.
    pub held: Vec<String>,
    /// Codes of which one will do under the supervision of somebody who holds one of the former.
    pub trained: Vec<String>,
    /// Nobody read whether somebody who holds neither may work under one who holds one of the first.
    pub supervision_unread: bool,
    pub source: DutySource,
}

impl RuleSet {
    /// The day of work from which on a newer version of this set may ask something else of a record: what it names, when it is written,
    /// which certificate stands behind it. Nothing where it asks the same. What a set says of itself decides for all days whom it binds.
    pub fn asks_otherwise_from(&self, newer: &Self) -> Option<Day> {
        if !self.is_about_what(newer) {
            return Some(Day::FIRST);
        }
        let asking = |set: &Self| -> Vec<Rule> {
            let asks = |rule: &&Rule| {
                matches!(rule.kind, RuleKind::RecordFields | RuleKind::RecordDeadline | RuleKind::CredentialNeed)
            };
            set.rules.iter().filter(asks).cloned().collect()
        };
        let (before, after) = (asking(self), asking(newer));
        let ids = before.iter().chain(&after).map(|rule| rule.id.as_str());
        ids.filter_map(|id| rule_asks_otherwise_from(named(&before, id), named(&after, id))).min()
    }
}

fn named<'r>(rules: &'r [Rule], id: &str) -> Option<&'r Rule> {
    rules.iter().find(|rule| rule.id == id)
}

/// The first day on which two versions of a rule ask otherwise. Where it stands written is no matter.
fn rule_asks_otherwise_from(before: Option<&Rule>, after: Option<&Rule>) -> Option<Day> {
    let first = |rule: &Rule| rule.values.first().map(|value| value.from);
    let (Some(before), Some(after)) = (before, after) else {
        return before.into_iter().chain(after).filter_map(first).min();
    };
    let undated = |rule: &Rule| Rule { values: Vec::new(), ..rule.clone() };
    if undated(before) != undated(after) {
        return first(before).into_iter().chain(first(after)).min();
    }
    let asked = |rule: &Rule, from: Day| {
        let value = rule.values.iter().find(|value| value.from == from)?;
        Some((value.duty.clone(), value.starts, rule.may_refuse(value)))
    };
    let days = before.values.iter().chain(&after.values).map(|value| value.from);
    days.filter(|from| asked(before, *from) != asked(after, *from)).min()
}

impl Lawbook {
    /// When a record of work on a day must be written at the latest: the tightest that any stacked set asks, and where it stands.
    /// While the work is done is tighter than any number of hours.
    pub fn record_deadline(
        &self,
        codes: &[String],
        bound: impl Into<Bound>,
        day: Day,
    ) -> Option<(RecordDeadline, DutySource)> {
        let named = self.disclosures(codes, bound, day).into_iter().filter_map(|(rule, value, duty)| match duty {
            DisclosureDuty::RecordDeadline(deadline) => Some((*deadline, DutySource::of(rule, value))),
            _ => None,
        });
        named.min_by_key(|(deadline, _)| deadline.hours.unwrap_or(0))
    }

    /// The licences and certificates that work with a product needs on a day. A set that asks only of those who treat much
    /// ground is told too: whether the company does is not seen from one record. Advice is no need.
    pub fn credentials_needed(
        &self,
        codes: &[String],
        bound: impl Into<Bound>,
        day: Day,
        holds: impl Fn(Nutrient) -> bool,
    ) -> Vec<CredentialNeeded> {
        let needed = self.binding_on(codes, bound.into(), day).into_iter().filter_map(|(rule, value, duty)| {
            let Duty::CredentialNeed(need) = duty else { return None };
            let concerned = need.nutrients.is_empty() || need.nutrients.iter().any(|nutrient| holds(*nutrient));
            (concerned && rule.may_refuse(value)).then(|| CredentialNeeded {
                rule_set: rule.id.split('.').next().unwrap_or_default().to_owned(),
                held: need.held.clone(),
                trained: need.trained.clone(),
                supervision_unread: need.supervision_unread,
                source: DutySource::of(rule, value),
            })
        });
        needed.collect()
    }
}
