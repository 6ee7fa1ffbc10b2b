//! What changed in a rule set between two days.

use serde::{Deserialize, Serialize};

use super::{
    book::Lawbook,
    on_day::{self, RuleOnDay},
};
use crate::time::Day;

/// One day on which one rule began to say something else.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct RuleChange {
    #[schema(max_length = 120, example = "us-fl-alachua.season")]
    pub rule: String,
    /// The first day of the new answer.
    pub on: Day,
    /// What the rule said on the day before.
    pub before: RuleOnDay,
    pub after: RuleOnDay,
}

impl Lawbook {
    /// Every change of a set's own rules after the one day and up to the other, in the order of days. Nothing when there is
    /// no such set.
    pub fn changes(&self, code: &str, after: Day, up_to: Day) -> Option<Vec<RuleChange>> {
        let set = self.rule_set(code)?;
        let mut changes: Vec<RuleChange> = Vec::new();
        for rule in &set.rules {
            let days = rule.values.iter().map(|value| value.from).filter(|from| *from > after && *from <= up_to);
            for on in days {
                let (Some(before), Some(after)) =
                    (on_day::rule(set, rule, on.plus_days(-1)), on_day::rule(set, rule, on))
                else {
                    continue;
                };
                changes.push(RuleChange { rule: rule.id.clone(), on, before, after });
            }
        }
        changes.sort_by(|one, other| (one.on, &one.rule).cmp(&(other.on, &other.rule)));
        Some(changes)
    }
}
