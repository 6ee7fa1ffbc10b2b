//! How old something known about the weather may be.

use crate::time::Instant;

/// What the age of an observation or forecast is worth. Old data can prove that work must stop, never that it may go on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Age {
    Fresh,
    /// Some hours old: good, but worth another look.
    Hours(i64),
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
        Age::Hours(minutes / 60)
    } else {
        Age::Fresh
    }
}
