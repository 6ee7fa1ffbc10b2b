//! Whose a token is, remembered so that a request need not ask the book. What is written through this server may end a token, so every
//! write that is no act under load empties it before its caller has an answer; acts touch neither people nor tokens.

use std::{
    collections::HashMap,
    sync::{Mutex, MutexGuard, PoisonError},
};

use domain::{actor::Actor, time::Instant};

/// Tokens remembered at once; the next one empties it. A company has a few tens.
const MOST: usize = 1024;
/// How long one is remembered. What changes the file behind the server's back, which nobody should, is seen after that.
const LONGEST_MS: i64 = 60_000;

/// The tokens that were looked up, by their hashes.
#[derive(Debug, Default)]
pub struct Tokens(Mutex<Known>);

#[derive(Debug, Default)]
struct Known {
    /// How often it was emptied by a write.
    writes: u64,
    holders: HashMap<String, Holder>,
}

/// Whose a token is, and until when.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Holder {
    pub actor: Actor,
    pub expires_at: Instant,
    /// When the book said so.
    pub asked_at: Instant,
}

/// What was written before the book is asked: an answer from before a later write is not kept.
#[derive(Debug, Clone, Copy)]
pub struct Asked(u64);

impl Tokens {
    /// Who has this token, if it is remembered, has not ended and was asked about not long ago.
    pub fn holder(&self, hash: &str, now: Instant) -> Option<Actor> {
        let holder = *self.known().holders.get(hash)?;
        let fresh = (0..LONGEST_MS).contains(&(now.millis() - holder.asked_at.millis()));
        (fresh && holder.expires_at > now).then_some(holder.actor)
    }

    /// To be taken before the book is asked.
    pub fn asked(&self) -> Asked {
        Asked(self.known().writes)
    }

    /// Keeps what the book said, unless something was written since it was asked.
    pub fn keep(&self, hash: &str, holder: Holder, asked: Asked) {
        let mut known = self.known();
        if known.writes == asked.0 {
            if known.holders.len() >= MOST {
                known.holders.clear();
            }
            known.holders.insert(hash.to_owned(), holder);
        }
    }

    /// Something was written: whatever is known may have ended.
    pub fn forget(&self) {
        let mut known = self.known();
        known.writes += 1;
        known.holders.clear();
    }

    /// Nothing that is done under the lock leaves it half done.
    fn known(&self) -> MutexGuard<'_, Known> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use domain::{actor::Role, ids::PersonId};

    use super::*;

    fn at(millis: i64) -> Instant {
        Instant::from_millis(millis).unwrap()
    }

    fn holder(expires_at: i64) -> Holder {
        let person = "0190a000-0000-7000-8000-000000000001".parse::<PersonId>().unwrap();
        let actor = Actor { person, role: Role::Owner, device: None };
        Holder { actor, expires_at: at(expires_at), asked_at: at(1_000) }
    }

    #[test]
    fn a_token_is_remembered_until_it_ends_or_a_minute_has_passed() {
        let tokens = Tokens::default();
        tokens.keep("a", holder(5_000), tokens.asked());
        assert_eq!(tokens.holder("a", at(4_999)), Some(holder(5_000).actor));
        assert_eq!(tokens.holder("a", at(5_000)), None, "it has ended");
        assert_eq!(tokens.holder("b", at(2_000)), None, "nobody asked");
        tokens.keep("a", holder(1_000_000), tokens.asked());
        assert!(tokens.holder("a", at(60_999)).is_some());
        assert_eq!(tokens.holder("a", at(61_000)), None, "it is asked again");
        assert_eq!(tokens.holder("a", at(999)), None, "the clock was set back");
    }

    #[test]
    fn a_write_empties_it_and_an_answer_from_before_a_write_is_not_kept() {
        let tokens = Tokens::default();
        let asked = tokens.asked();
        tokens.keep("a", holder(5_000), asked);
        tokens.forget();
        assert_eq!(tokens.holder("a", at(2_000)), None);
        tokens.keep("a", holder(5_000), asked);
        assert_eq!(tokens.holder("a", at(2_000)), None, "the book was asked before the write");
        tokens.keep("a", holder(5_000), tokens.asked());
        assert!(tokens.holder("a", at(2_000)).is_some());
    }

    #[test]
    fn what_is_held_is_bounded() {
        let tokens = Tokens::default();
        for number in 0..3 * MOST {
            tokens.keep(&number.to_string(), holder(5_000), tokens.asked());
            assert!(tokens.known().holders.len() <= MOST);
        }
        assert!(tokens.holder(&(3 * MOST - 1).to_string(), at(2_000)).is_some());
    }
}
