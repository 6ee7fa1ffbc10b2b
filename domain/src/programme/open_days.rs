//! On which days of a season nothing may go down, whatever the plan: what a calendar shows beside the rounds.

use serde::{Deserialize, Serialize};

use super::{
    candidates::{self, TRIAL},
    model::SeasonQuestion,
};
use crate::{
    decision::{Decision, Outcome, Verdict, decide},
    law::Lawbook,
    time::Day,
};

/// Days one after another on which no fertilizer of the program may go down, by one rule.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct ClosedDays {
    pub from: Day,
    pub to: Day,
    /// What closes them, with its citation: of the product that is named first.
    #[schema(max_length = 600, example = "The season is closed (COMAR 15.20.10)")]
    pub why: String,
}

/// The closed days from one day to another, both included, each asked of the rules with the least amount and with nothing else
/// planned. A day is open if one fertilizer may go down on it. Without a fertilizer nothing is asked.
pub fn closed_days(lawbook: &Lawbook, question: &SeasonQuestion<'_>, (from, to): (Day, Day)) -> Vec<ClosedDays> {
    let mut closed: Vec<(String, ClosedDays)> = Vec::new();
    let mut on = from;
    while on <= to {
        if let Some((rule, why)) = against(lawbook, question, on) {
            match closed.last_mut() {
                // A sentence may name the day or what is left; one rule is one stretch all the same.
                Some((known, days)) if *known == rule && days.to.plus_days(1) == on => days.to = on,
                _ => closed.push((rule, ClosedDays { from: on, to: on, why })),
            }
        }
        on = on.plus_days(1);
    }
    closed.into_iter().map(|(_, days)| days).collect()
}

/// The rule that stands against every fertilizer on a day, and its words.
fn against(lawbook: &Lawbook, question: &SeasonQuestion<'_>, on: Day) -> Option<(String, String)> {
    let mut first = None;
    for offered in question.products.iter().filter(|offered| offered.cce_percent.is_none()) {
        let decision =
            decide(lawbook, question.rule_sets, &candidates::facts(question, on, &offered.label, TRIAL, &[]));
        let answer = decision.sections.first();
        let most = answer.and_then(|answer| answer.largest_lawful_product_lb);
        if decision.verdict != Verdict::Stop && most.is_none_or(|most| most > TRIAL) {
            return None;
        }
        first.get_or_insert_with(|| {
            let why = crate::text::truncate_chars(&format!("{}: {}", offered.name, candidates::reason(&decision)), 600);
            (rule(&decision), why)
        });
    }
    first
}

/// The rule of which [`candidates::reason`] speaks.
fn rule(decision: &Decision) -> String {
    let stops = |outcome| {
        decision.findings.iter().find(|finding| finding.verdict == Verdict::Stop && finding.outcome == outcome)
    };
    let finding = stops(Outcome::Broken).or_else(|| stops(Outcome::Unknown));
    let bound = || decision.sections.first().and_then(|answer| answer.bound_by.clone());
    finding.map(|finding| finding.rule.clone()).or_else(bound).unwrap_or_default()
}
