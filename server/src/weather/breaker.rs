//! Stops asking a host that fails, and asks once again after a while.

use std::{
    collections::HashSet,
    sync::{Mutex, MutexGuard, PoisonError},
};

use domain::time::Instant;
use jiff::SignedDuration;

/// Failures at so many different addresses open it. One bad grid may fail for days; that is no reason to give up the host.
const DIFFERENT: usize = 3;
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
    /// One has been let through to see whether the host is back.
    probing: bool,
    failures: u64,
    last_success: Option<Instant>,
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

    /// Whether one may ask now. After the rest the next one asks for all; until that is answered the others wait.
    pub fn lets(&self, now: Instant) -> bool {
        let mut state = self.state();
        match state.open_until {
            // A clock that was set back does not make the rest longer.
            Some(until) if now < until && until.since(now) <= state.rest => false,
            Some(_) => {
                state.open(now, REST);
                state.probing = true;
                true
            }
            None => true,
        }
    }

    /// What was under way when the host was given up changes nothing by succeeding; the one that tries does.
    pub fn succeeded(&self, now: Instant) {
        let mut state = self.state();
        if state.open_until.is_none() || state.probing {
            state.close();
        }
        state.answers_in_all += 1;
        state.last_success = Some(now);
    }

    /// It works, and has not what it was asked for.
    pub fn answered(&self) {
        let mut state = self.state();
        if state.probing {
            state.close();
        }
    }

    pub fn failed(&self, path: &str, now: Instant) {
        let mut state = self.state();
        state.failed.insert(path.to_owned());
        state.fail();
        if state.failed.len() >= DIFFERENT || state.open_until.is_some() {
            state.open(now, REST);
        }
    }

    /// The host has said that it does not want to be asked by us, and for how long if that is longer than usual.
    pub fn refused(&self, now: Instant, again_in: SignedDuration) {
        let mut state = self.state();
        state.fail();
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
        (self.open_until, self.probing, self.failures) = (None, false, 0);
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
        self.probing = false;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(second: i64) -> Instant {
        Instant::from_millis(1_789_000_000_000 + second * 1000).expect("an instant")
    }

    #[test]
    fn three_different_failures_open_it_and_one_probe_closes_it() {
        let breaker = Breaker::default();
        for _ in 0..9 {
            breaker.failed("/gridpoints/MLB/26,68", at(0));
        }
        assert!(breaker.lets(at(0)), "one bad grid does not stop the rest");
        breaker.failed("/a", at(0));
        breaker.failed("/b", at(0));
        assert!(!breaker.lets(at(59)));
        assert!(breaker.lets(at(60)), "one may try");
        assert!(!breaker.lets(at(61)), "and only one");
        breaker.failed("/a", at(62));
        assert!(!breaker.lets(at(121)));
        assert!(breaker.lets(at(122)));
        breaker.succeeded(at(123));
        assert!(breaker.lets(at(123)) && breaker.lets(at(123)));
        assert_eq!(breaker.seen().failures_since_success, 0);
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
        assert!(breaker.lets(at(600)) && !breaker.lets(at(601)), "then one may try");
    }

    #[test]
    fn all_questions_are_counted() {
        let breaker = Breaker::default();
        breaker.failed("/a", at(0));
        breaker.succeeded(at(1));
        breaker.failed("/a", at(2));
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
