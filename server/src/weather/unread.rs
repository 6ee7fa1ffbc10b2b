//! What of the services' answers could not be read, counted by part, with the first bad value, for whoever watches the server and
//! for the office.

use std::{
    collections::{HashMap, HashSet},
    sync::{Mutex, MutexGuard, PoisonError},
};

use domain::time::Instant;
use jiff::SignedDuration;

/// A fault that has not come back for so long is over, and the next one is the first again.
pub const RECENT: SignedDuration = SignedDuration::from_hours(24);
/// Documents whose faults are counted already; an answer is read many times.
const COUNTED: usize = 10_000;

/// What could not be read of one part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unread {
    /// `place`, `forecast`, `observation` or `alerts`.
    pub part: &'static str,
    /// Since the server began.
    pub count: u64,
    /// The first bad value of those that came one after another, shortened.
    pub first: String,
    pub first_at: Instant,
    pub last_at: Instant,
}

#[derive(Debug, Default)]
pub struct UnreadLog(Mutex<State>);

#[derive(Debug, Default)]
struct State {
    parts: HashMap<&'static str, Unread>,
    counted: HashSet<i64>,
}

impl UnreadLog {
    fn state(&self) -> MutexGuard<'_, State> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Notes the bad values of a document, once however often it is read. `fetch` is its number in the book.
    pub fn note(&self, part: &'static str, fetch: i64, values: &[String], at: Instant) {
        let Some(first) = values.first() else { return };
        let mut state = self.state();
        if state.counted.len() >= COUNTED {
            state.counted.clear();
        }
        if !state.counted.insert(fetch) {
            return;
        }
        let count = u64::try_from(values.len()).unwrap_or(u64::MAX);
        let fresh = Unread { part, count: 0, first: first.clone(), first_at: at, last_at: at };
        let known = state.parts.entry(part).or_insert_with(|| fresh.clone());
        if at.since(known.last_at).abs() > RECENT {
            *known = Unread { count: known.count, ..fresh };
        }
        known.count = known.count.saturating_add(count);
        known.last_at = at;
    }

    /// All parts of which something could not be read, in the order of their names.
    pub fn all(&self) -> Vec<Unread> {
        let mut parts: Vec<Unread> = self.state().parts.values().cloned().collect();
        parts.sort_unstable_by_key(|unread| unread.part);
        parts
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(hour: i64) -> Instant {
        Instant::from_millis(1_789_000_000_000 + hour * 3_600_000).expect("an instant")
    }

    #[test]
    fn a_document_is_counted_once_and_the_first_value_stays_for_a_day() {
        let log = UnreadLog::default();
        let values = |text: &str| vec![text.to_owned(), "more".to_owned()];
        log.note("alerts", 1, &[], at(0));
        assert_eq!(log.all(), []);
        for _ in 0..3 {
            log.note("forecast", 1, &values("9999"), at(0));
        }
        log.note("forecast", 2, &values("true"), at(20));
        let told = log.all();
        assert_eq!((told[0].count, told[0].first.as_str(), told[0].first_at), (4, "9999", at(0)));
        log.note("forecast", 3, &values("later"), at(50));
        assert_eq!((log.all()[0].count, log.all()[0].first.as_str()), (6, "later"));
    }
}
