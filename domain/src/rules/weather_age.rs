//! How old something known about the weather may be.

use crate::{
    time::Instant,
    weather::{Basis, FromService, age::AgeClass},
};

/// What the age of an observation or forecast is worth. Old data can prove that work must stop, never that it may go on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Age {
    Fresh,
    /// So many minutes old: good, but worth another look.
    Old(i64),
    /// Too old, or of a later time than the one asked about.
    Useless,
}

/// From this age on a second look is asked for.
const CARE_AFTER_HOURS: i64 = 3;
/// From this age on it is as if there were none.
const USELESS_AFTER_HOURS: i64 = 24;
/// A clock may run ahead of another by so much.
const CLOCKS_DIFFER_MINUTES: i64 = 10;

/// The age of something known since `known` at the moment `at`.
pub(super) fn age(known: Instant, at: Instant) -> Age {
    let minutes = at.since(known).as_mins();
    if !(-CLOCKS_DIFFER_MINUTES..=USELESS_AFTER_HOURS * 60).contains(&minutes) {
        Age::Useless
    } else if minutes > CARE_AFTER_HOURS * 60 {
        Age::Old(minutes)
    } else {
        Age::Fresh
    }
}

/// The same for what may have come from a service, whose word has an age of its own.
pub(super) fn worth(known: Instant, service: Option<&FromService>, at: Instant) -> Age {
    let Some(service) = service else { return age(known, at) };
    let oldest = service.issued_at.map_or(service.fetched_at, |issued| issued.min(service.fetched_at));
    let class = AgeClass::of(at, service.fetched_at, service.issued_at);
    let measured = if service.basis == Basis::Observed { age(known, at) } else { Age::Fresh };
    match (class, measured) {
        (AgeClass::Useless, _) | (_, Age::Useless) => Age::Useless,
        (AgeClass::Fresh, Age::Fresh) => Age::Fresh,
        _ => Age::Old(at.since(oldest).as_mins()),
    }
}

/// An age in words: minutes up to two hours, then hours.
pub(super) fn words(minutes: i64) -> String {
    if minutes < 120 { format!("{minutes} minutes") } else { format!("{} hours", minutes / 60) }
}

#[cfg(test)]
mod tests {
    use super::words;

    #[test]
    fn an_age_is_told_in_minutes_up_to_two_hours() {
        assert_eq!([119, 120, 179, 180].map(words), ["119 minutes", "2 hours", "2 hours", "3 hours"]);
    }
}
