//! The answer: every rule's finding, the verdict, the largest lawful amount and what binds it.

mod answer;
mod ground;
mod hours;
mod label_check;
mod run;
mod section;
mod summary;
mod unknown;
mod whole;

pub use answer::{Decision, Finding, FindingKey, MetRule, SectionDecision, Verdict};
pub use hours::{HourVerdict, first_stretch, hours_of, judge_hours};
pub use label_check::{LabelCheck, check_label};
pub use summary::summary;

use crate::{facts::Facts, law::Lawbook};
pub use crate::{
    law::{Mark, RuleSetUsed},
    rules::Outcome,
    rules::wind::practice as wind_in_practice,
};

/// Runs every rule of the stacked rule sets on the facts and never stops at the first.
///
/// The sets named are joined by those of the places around them, by the company's own and by the label. A code without a
/// set, and no code at all, is answered as unknown law, never as no law.
pub fn decide(lawbook: &Lawbook, rule_sets: &[String], facts: &Facts) -> Decision {
    run::Run::new(lawbook, rule_sets, facts).decide()
}

/// Asks only the rules on certificates, as far ahead as a stop is planned: weather, ground and amounts are the day's to know.
/// Facts of those are not read. With the rule sets that were asked.
pub fn judge_certificate(lawbook: &Lawbook, rule_sets: &[String], facts: &Facts) -> (Vec<Finding>, Vec<RuleSetUsed>) {
    run::Run::new(lawbook, rule_sets, facts).decide_certificate()
}
