//! New turf may get phosphorus without a soil report, or nearer to water, in its first growing season. The purpose of a load
//! is what somebody says; the day of seeding is what the book knows, and it decides whether that season still runs.

use super::{
    answer::{Answer, Outcome},
    case::{Case, SectionCase},
};
use crate::{application::Purpose, time::Day};

/// How far an excuse for a purpose carries on one section.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Excuse {
    /// None is given for this purpose.
    None,
    /// It was given, and the turf is older by now than it allows.
    Ended {
        since: Day,
        months: u16,
    },
    /// Nobody has said when the turf was seeded.
    NoDay {
        months: u16,
    },
    Holds,
}

/// The excuse of the purposes that a text names. Repair has no season of its own.
pub(super) fn of_purposes(purposes: &[Purpose], months: u16, case: &Case<'_>, section: &SectionCase<'_>) -> Excuse {
    let facts = case.facts;
    match (purposes.contains(&facts.purpose), facts.purpose, section.section.established_on) {
        (false, ..) => Excuse::None,
        (true, Purpose::Establishment, None) => Excuse::NoDay { months },
        (true, Purpose::Establishment, Some(since)) if since < facts.on.minus_months(i32::from(months)) => {
            Excuse::Ended { since, months }
        }
        _ => Excuse::Holds,
    }
}

/// The answer with the excuse where it holds, and without it where it does not. Where nobody has said when the turf was
/// seeded, a breach without the excuse asks for care.
pub(super) fn judge(
    excuse: Excuse,
    section: &SectionCase<'_>,
    excused: impl FnOnce() -> Answer,
    without: impl FnOnce() -> Answer,
) -> Answer {
    let mut answer = if excuse == Excuse::Holds { excused() } else { without() };
    if answer.outcome == Outcome::Met {
        return answer;
    }
    let name = section.name();
    match excuse {
        Excuse::None | Excuse::Holds => answer,
        Excuse::Ended { since, months } => {
            let grown =
                format!(" New turf is excused for {months} months, and {name} has been established since {since}.");
            answer.message.push_str(&grown);
            answer
        }
        Excuse::NoDay { months } => {
            let message = format!(
                "New turf is excused for {months} months, and nobody has said when {name} was seeded or sodded. Without the excuse: {}",
                answer.message
            );
            let hint = format!("Enter the day of seeding or sodding of {name}.");
            Answer { outcome: Outcome::Care, to_be_seen: false, message, hint, ..answer }
        }
    }
}
