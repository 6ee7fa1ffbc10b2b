//! Until which day the rule sets over a place take a soil report.

use serde::{Deserialize, Serialize};

use super::{
    book::Lawbook,
    duty::{Duty, Proof},
    kind::BoundParty,
    mark::Mark,
    model::{InForceStatus, Rule, Value},
    on_day::InForce,
    stack::Stack,
};
use crate::{application::Audience, soil::is_young, time::Day};

/// How long one rule takes a soil report that was dug on a day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct ReportTaken {
    #[schema(max_length = 120, example = "us-md.professional.phosphorus")]
    pub rule: String,
    #[schema(max_length = 60, example = "us-md")]
    pub rule_set: String,
    /// In force, or unknown where no text of the rule was read for the day.
    pub in_force: InForce,
    /// The oldest report that it takes, in calendar months; null when it names no age.
    #[schema(minimum = 1, maximum = 65535)]
    pub months: Option<u16>,
    /// The last day of application on which it takes this report; null when it names no age or its text is unknown.
    #[schema(value_type = Option<crate::time::reckoned::ComputedDay>)]
    pub until: Option<Day>,
    /// The same in one sentence.
    #[schema(max_length = 300)]
    pub words: String,
    /// Why its set only warns here, or counts for some products only.
    #[schema(max_length = 400)]
    pub note: Option<String>,
    #[schema(max_length = 400)]
    pub citation: String,
    #[schema(max_length = 600)]
    pub href: Option<String>,
    pub mark: Mark,
}

impl Lawbook {
    /// What every rule of the stacked sets that asks hired work for a soil report says, by the law of a day, about soil that
    /// was dug on another.
    pub fn report_taken(&self, codes: &[String], on: Day, sampled_on: Day) -> Vec<ReportTaken> {
        let stack = Stack::of(self, codes);
        let running = stack.sets.iter().filter(|stacked| stacked.force.may_run());
        let taken = running.flat_map(|stacked| {
            let note = stacked.force.note().map(str::to_owned);
            let set = stacked.set.about.code.as_str();
            let binding =
                stacked.set.rules.iter().filter(|rule| {
                    rule.binds == BoundParty::Applicator && rule.audience.contains(&Audience::Professional)
                });
            binding.filter_map(move |rule| {
                let taken = of_rule(set, rule, on, sampled_on)?;
                Some(ReportTaken { note: note.clone(), ..taken })
            })
        });
        taken.collect()
    }
}

/// What a rule asks of a report's age.
#[derive(Debug, Clone, Copy)]
enum Age {
    Any,
    AtMost(u16),
}

impl Age {
    /// Nothing for a rule that asks for no report.
    fn asked_by(duty: &Duty) -> Option<Self> {
        let months = match duty {
            Duty::PhosphorusNeed(need) if need.soil_report != Proof::Never => need.report_months,
            Duty::SoilReportBefore(before) => before.report_months,
            _ => return None,
        };
        Some(months.map_or(Self::Any, Self::AtMost))
    }
}

fn of_rule(set: &str, rule: &Rule, on: Day, sampled_on: Day) -> Option<ReportTaken> {
    let taken = |value: &Value, in_force, months, until, words| ReportTaken {
        rule: rule.id.clone(),
        rule_set: set.to_owned(),
        in_force,
        months,
        until,
        words,
        note: None,
        citation: value.source.citation.clone(),
        href: value.source.href.clone(),
        mark: value.source.mark,
    };
    match rule.on(on)? {
        InForceStatus::InForce(value, duty) => match Age::asked_by(duty)? {
            Age::AtMost(months) => {
                let until = last_day(sampled_on, months);
                let how_long = if until >= on { "until" } else { "no more after" };
                let words = format!("Takes a report of the last {months} months: this one {how_long} {until}.");
                Some(taken(value, InForce::InForce, Some(months), Some(until), words))
            }
            Age::Any => {
                let words = "Names no age: takes this report on every day after the soil was dug.".to_owned();
                Some(taken(value, InForce::InForce, None, None, words))
            }
        },
        InForceStatus::Unknown(value) => {
            value.duty.as_ref().and_then(Age::asked_by)?;
            let words = format!("The oldest text that was read is of {}; what held before is not known.", value.from);
            Some(taken(value, InForce::Unknown, None, None, words))
        }
        InForceStatus::Repealed(_) | InForceStatus::NotYet(_) => None,
    }
}

/// The last day on which soil is young enough. Months are counted back from the day of application, so that after a short
/// month some days more can count than counting forward gives.
pub(super) fn last_day(sampled_on: Day, months: u16) -> Day {
    let mut last = sampled_on.plus_months(i32::from(months));
    // Four days are the most that the ends of two months differ by.
    for _ in 0..4 {
        let next = last.plus_days(1);
        if next == last || !is_young(sampled_on, next, months) {
            break;
        }
        last = next;
    }
    last
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> Day {
        Day::parse(text).unwrap_or_else(|_| unreachable!("{text} is no day"))
    }

    #[test]
    fn the_last_day_is_the_last_that_the_rules_take() {
        // Counted back: from 2026-02-28 six months are 2025-08-28, and every later day of August is taken there.
        let cases = [
            ("2023-10-02", 36, "2026-10-02"),
            ("2025-08-31", 6, "2026-02-28"),
            ("2025-02-28", 6, "2025-08-31"),
            ("2024-02-29", 12, "2025-02-28"),
        ];
        for (sampled, months, last) in cases {
            let found = last_day(day(sampled), months);
            assert_eq!(found, day(last), "{sampled}");
            assert!(is_young(day(sampled), found, months) && !is_young(day(sampled), found.plus_days(1), months));
        }
    }
}
