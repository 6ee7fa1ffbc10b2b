//! Stops asking a host that fails, and asks once again after a while.

use std::{
    collections::HashSet,
    sync::{Mutex, MutexGuard, PoisonError},
};

use domain::time::Instant;
use jiff::SignedDuration;

/// Failures at so many different addresses open it. One bad grid may fail for days; that is no reason to give up the host.
const DIFFERENT: usize = 3;
/// So many may ask after the rest. The first of them may be of a place that is slow by itself.
const PROBES: usize = 3;
/// How long nobody asks.
const REST: SignedDuration = SignedDuration::from_secs(60);

/// One for each host.
#[derive(Debug, Default)]
pub struct Breaker(Mutex<State>);

#[derive(Debug, Default)]
struct State {
    failed: HashSet<String>,
    open_until: Option<Instant>,
    /// How long it is open.
    rest: SignedDuration,
    /// So many were let through after the rest, to see whether the host is back.
    probes: usize,
    failures: u64,
    last_success: Option<Instant>,
    /// Questions answered, be it with no document, since the server began.
    heard: u64,
    /// Since the server began.
    answers_in_all: u64,
    failures_in_all: u64,
}

/// What the breaker has seen, for whoever watches the server.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Seen {
    pub failures_since_success: u64,
    pub last_success_at: Option<Instant>,
    pub resting_until: Option<Instant>,
    /// Questions answered and questions failed since the server began.
    pub answers: u64,
    pub failures: u64,
}

impl Breaker {
    fn state(&self) -> MutexGuard<'_, State> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Whether one may ask now. After the rest a few ask for all; until one of them is answered the others wait.
    pub fn lets(&self, now: Instant) -> bool {
        let mut state = self.state();
        match state.open_until {
            // A clock that was set back does not make the rest longer.
            Some(until) if now < until && until.since(now) <= state.rest => {
                let lets = (1..PROBES).contains(&state.probes);
                state.probes += usize::from(lets);
                lets
            }
            Some(_) => {
                state.open(now, REST);
                state.probes = 1;
                true
            }
            None => true,
        }
    }

    /// How many questions the host has answered. What grows while another waits shows that it is that one's place that is slow.
    pub fn heard(&self) -> u64 {
        self.state().heard
    }

    /// What was under way when the host was given up changes nothing by succeeding; those that try do.
    pub fn succeeded(&self, now: Instant) {
        let mut state = self.state();
        if state.open_until.is_none() || state.probes > 0 {
            state.close();
        }
        state.heard += 1;
        state.answers_in_all += 1;
        state.last_success = Some(now);
    }

    /// It works, and has not what it was asked for.
    pub fn answered(&self) {
        let mut state = self.state();
        state.heard += 1;
        if state.probes > 0 {
            state.close();
        }
    }

    /// `heard` is what had been heard of the host when the question was asked. One that answered others meanwhile is there, and
    /// is said to have failed since only by questions that nobody else's answer speaks against.
    pub fn failed(&self, kind: &str, heard: u64, now: Instant) {
        let mut state = self.state();
        if state.heard > heard && state.open_until.is_none() {
            state.failures_in_all += 1;
            return;
        }
        state.fail();
        state.failed.insert(kind.to_owned());
        if state.failed.len() >= DIFFERENT || state.open_until.is_some() {
            state.open(now, REST);
        }
    }

    /// The host has said that it does not want to be asked by us, and for how long if that is longer than usual.
    pub fn refused(&self, now: Instant, again_in: SignedDuration) {
        let mut state = self.state();
        state.fail();
        state.probes = 0;
        state.open(now, again_in.max(REST));
    }

    pub fn seen(&self) -> Seen {
        let state = self.state();
        Seen {
            failures_since_success: state.failures,
            last_success_at: state.last_success,
            resting_until: state.open_until,
            answers: state.answers_in_all,
            failures: state.failures_in_all,
        }
    }
}

impl State {
    fn close(&mut self) {
        self.failed.clear();
        (self.open_until, self.probes, self.failures) = (None, 0, 0);
    }

    /// A rest that was asked for is not cut short by a question that was on its way already.
    fn open(&mut self, now: Instant, rest: SignedDuration) {
        let until = now.plus(rest);
        if self.open_until.is_none_or(|known| known < until) {
            (self.open_until, self.rest) = (Some(until), rest);
        }
    }

    fn fail(&mut self) {
        self.failures += 1;
        self.failures_in_all += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(second: i64) -> Instant {
        Instant::from_millis(1_789_000_000_000 + second * 1000).expect("an instant")
    }

    #[test]
    fn three_different_failures_open_it_and_one_of_three_probes_closes_it() {
        let breaker = Breaker::default();
        let failed = |kind: &str, second: i64| breaker.failed(kind, breaker.heard(), at(second));
        for _ in 0..9 {
            failed("/gridpoints/MLB/26,68", 0);
        }
        assert!(breaker.lets(at(0)), "one bad grid does not stop the rest");
        failed("/a", 0);
        failed("/b", 0);
        assert!(!breaker.lets(at(59)));
        assert!(breaker.lets(at(60)), "one may try");
        failed("/a", 61);
        assert!(breaker.lets(at(61)) && breaker.lets(at(61)), "that may be one of a slow place, so three may");
        assert!(!breaker.lets(at(61)), "and no more");
        failed("/b", 62);
        failed("/c", 62);
        assert!(!breaker.lets(at(121)));
        assert!(breaker.lets(at(122)));
        failed("/a", 123);
        assert!(breaker.lets(at(123)));
        breaker.succeeded(at(123));
        assert!((0..9).all(|_| breaker.lets(at(123))));
        assert_eq!(breaker.seen().failures_since_success, 0);
    }

    #[test]
    fn a_host_that_answers_others_meanwhile_is_there() {
        let breaker = Breaker::default();
        let before = breaker.heard();
        breaker.succeeded(at(1));
        for kind in ["/a", "/b", "/c", "/d"] {
            breaker.failed(kind, before, at(10));
        }
        assert!(breaker.lets(at(10)), "four that wait are slow by themselves");
        let seen = breaker.seen();
        assert_eq!((seen.failures_since_success, seen.failures), (0, 4), "the host has answered since they were asked");
        for kind in ["/a", "/b", "/c"] {
            breaker.failed(kind, breaker.heard(), at(20));
        }
        assert!(!breaker.lets(at(20)));
    }

    #[test]
    fn a_probe_that_finds_no_document_finds_a_host() {
        let breaker = Breaker::default();
        breaker.refused(at(0), SignedDuration::ZERO);
        breaker.answered();
        assert!(!breaker.lets(at(1)), "what was under way when it was refused does not close it");
        assert!(breaker.lets(at(60)));
        breaker.answered();
        assert!(breaker.lets(at(61)) && breaker.lets(at(61)));
    }

    #[test]
    fn a_clock_that_is_set_back_does_not_make_the_rest_longer() {
        let breaker = Breaker::default();
        breaker.refused(at(86_400), SignedDuration::ZERO);
        assert!(!breaker.lets(at(86_401)));
        assert!(breaker.lets(at(0)));
    }

    #[test]
    fn a_refusal_lasts_as_long_as_the_host_says() {
        let breaker = Breaker::default();
        breaker.refused(at(0), SignedDuration::from_mins(10));
        assert!(!breaker.lets(at(599)));
        assert!((0..3).all(|_| breaker.lets(at(600))) && !breaker.lets(at(601)), "then a few may try");
    }

    #[test]
    fn all_questions_are_counted() {
        let breaker = Breaker::default();
        breaker.failed("/a", 0, at(0));
        breaker.succeeded(at(1));
        breaker.failed("/a", 1, at(2));
        let seen = breaker.seen();
        assert_eq!((seen.answers, seen.failures, seen.failures_since_success), (1, 2, 1));
    }

    #[test]
    fn a_refusal_opens_it_at_once() {
        let breaker = Breaker::default();
        breaker.refused(at(0), SignedDuration::ZERO);
        breaker.succeeded(at(0));
        assert!(!breaker.lets(at(1)), "what was under way when it was refused does not close it");
    }
}
