//! What the law asks of a record beside the things that it names: when it is written, and which certificate stands behind it.

use super::{
    book::Lawbook,
    disclosure::{DisclosureDuty, RecordDeadline},
    duties::DutySource,
};
use crate::{application::Audience, time::Day};

/// The rules that ask a certificate of whoever does the work or supervises it. The other duties about certificates speak of the
/// business, of mixing, of how long one lasts, or of what frees from a rule, which no single record shows.
const OF_THE_APPLICATOR: [&str; 4] = ["us-de.credential", "us-fl.credential", "us-md.credential", "us-nj.credential"];

/// A licence or certificate that somebody who works for hire needs in a place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CredentialNeeded {
    /// The rule set that asks for it.
    pub rule_set: String,
    pub source: DutySource,
}

impl Lawbook {
    /// When a record of work on a day must be written at the latest: the tightest that any stacked set asks, and where it stands.
    /// While the work is done is tighter than any number of hours.
    pub fn record_deadline(
        &self,
        codes: &[String],
        audience: Audience,
        day: Day,
    ) -> Option<(RecordDeadline, DutySource)> {
        let named = self.disclosures(codes, audience, day).into_iter().filter_map(|(rule, value, duty)| match duty {
            DisclosureDuty::RecordDeadline(deadline) => Some((*deadline, DutySource::of(rule, value))),
            _ => None,
        });
        named.min_by_key(|(deadline, _)| deadline.hours.unwrap_or(0))
    }

    /// The licences and certificates that work for hire needs on a day, one for each rule set. A set that asks only of those who
    /// treat much ground is told too: whether the company does is not seen from one record.
    pub fn credentials_needed(&self, codes: &[String], audience: Audience, day: Day) -> Vec<CredentialNeeded> {
        let mut needed: Vec<CredentialNeeded> = Vec::new();
        for (rule, value, duty) in self.disclosures(codes, audience, day) {
            let rule_set = rule.id.split('.').next().unwrap_or_default();
            let asked = matches!(duty, DisclosureDuty::Credential(_)) && OF_THE_APPLICATOR.contains(&rule.id.as_str());
            if asked {
                needed.push(CredentialNeeded { rule_set: rule_set.to_owned(), source: DutySource::of(rule, value) });
            }
        }
        needed
    }
}
