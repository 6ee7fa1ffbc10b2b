//! What one caller and one address may ask for in a minute, each request counted by what it costs the server, told in the fields of
//! draft-ietf-httpapi-ratelimit-headers-11 (`RateLimit-Policy` and `RateLimit`).

use std::{collections::HashMap, fmt::Write as _, hash::Hash, net::IpAddr, num::NonZeroU32, sync::Arc, time::Duration};

use governor::{
    Quota, RateLimiter,
    clock::{Clock, DefaultClock},
    middleware::StateInformationMiddleware,
    state::keyed::DefaultKeyedStateStore,
};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

use super::{KEYS, network};
use crate::{
    config::Limits,
    problem::{Kind, Policy, Problem},
};

/// The time for which a budget is told, in seconds.
const WINDOW: u32 = 60;

/// What a request costs the server.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cost {
    /// A file that is the same for all, or a read of a few rows.
    Light,
    /// Something is written and waits for the disk.
    Write,
    /// Much is read and worked out: milliseconds to seconds of a processor.
    Long,
}

impl Cost {
    /// Units of a budget.
    pub fn units(self) -> NonZeroU32 {
        const LIGHT: NonZeroU32 = NonZeroU32::new(1).unwrap();
        const WRITE: NonZeroU32 = NonZeroU32::new(2).unwrap();
        const LONG: NonZeroU32 = NonZeroU32::new(30).unwrap();
        match self {
            Self::Light => LIGHT,
            Self::Write => WRITE,
            Self::Long => LONG,
        }
    }
}

/// Who asks: by the hash of the token that is shown, whether or not it is a good one, or else by the address.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Caller {
    Token(String),
    Address(IpAddr),
}

/// The budgets and the turns of all callers.
#[derive(Debug)]
pub struct Budgets {
    tokens: Option<Budget<String>>,
    addresses: Option<Budget<IpAddr>>,
    turns: Turns,
    long_turns: Turns,
}

impl Budgets {
    pub fn new(limits: &Limits) -> Self {
        Self {
            tokens: Budget::new(Policy::Token, limits.units_per_token),
            addresses: Budget::new(Policy::Address, limits.units_per_address),
            turns: Turns::new(limits.requests_at_once),
            // One long answer after the other for each caller, so that a second caller waits for one of the first and not for all.
            long_turns: Turns::new(1),
        }
    }

    /// Takes what a request costs from the address's budget and then from the token's, or says whose is spent.
    pub fn spend(&self, address: Option<IpAddr>, caller: Option<&Caller>, cost: Cost) -> Result<Told, Box<Over>> {
        let mut told = Told::default();
        if let (Some(budget), Some(address)) = (&self.addresses, address) {
            budget.spend(&network(address), cost.units(), &mut told)?;
        }
        if let (Some(budget), Some(Caller::Token(token))) = (&self.tokens, caller) {
            budget.spend(token, cost.units(), &mut told)?;
        }
        Ok(told)
    }

    /// Waits until fewer requests of this caller are at work than may be at once.
    pub async fn turn(&self, caller: Caller, cost: Cost) -> Option<OwnedSemaphorePermit> {
        let turns = if cost == Cost::Long { &self.long_turns } else { &self.turns };
        turns.of(caller).acquire_owned().await.ok()
    }
}

/// The fields that tell how much of which budget is left.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub struct Told {
    pub policies: String,
    pub left: String,
}

impl Told {
    fn add(&mut self, name: &str, units: u32, left: u32, seconds: u64) {
        let comma = if self.left.is_empty() { "" } else { ", " };
        let _ = write!(self.policies, "{comma}\"{name}\";q={units};w={WINDOW}");
        let _ = write!(self.left, "{comma}\"{name}\";r={left};t={seconds}");
    }
}

/// A budget that is spent.
#[derive(Debug)]
pub struct Over {
    pub policy: Policy,
    pub problem: Problem,
    pub told: Told,
}

type Limiter<K> = RateLimiter<K, DefaultKeyedStateStore<K>, DefaultClock, StateInformationMiddleware>;

#[derive(Debug)]
struct Budget<K: Hash + Eq + Clone> {
    policy: Policy,
    units: NonZeroU32,
    limiter: Limiter<K>,
}

impl<K: Hash + Eq + Clone> Budget<K> {
    /// Nothing where no units are named: then there is no such limit.
    fn new(policy: Policy, units: u32) -> Option<Self> {
        let units = NonZeroU32::new(units)?;
        let limiter = RateLimiter::keyed(Quota::per_minute(units)).with_middleware::<StateInformationMiddleware>();
        Some(Self { policy, units, limiter })
    }

    fn spend(&self, key: &K, cost: NonZeroU32, told: &mut Told) -> Result<(), Box<Over>> {
        if self.limiter.len() > KEYS {
            self.limiter.retain_recent();
        }
        // What costs more than the whole budget takes all of it.
        match self.limiter.check_key_n(key, cost.min(self.units)) {
            Ok(Err(wait)) => {
                let seconds = wait.wait_time_from(DefaultClock::default().now()).as_secs() + 1;
                told.add(self.policy.name(), self.units.get(), 0, seconds);
                Err(Box::new(Over { policy: self.policy, problem: self.spent(seconds), told: std::mem::take(told) }))
            }
            Ok(Ok(after)) => {
                let left = after.remaining_burst_capacity();
                let until_full = u64::from(self.units.get() - left.min(self.units.get())) * u64::from(WINDOW);
                told.add(self.policy.name(), self.units.get(), left, until_full.div_ceil(u64::from(self.units.get())));
                Ok(())
            }
            Err(_) => Ok(()),
        }
    }

    fn spent(&self, seconds: u64) -> Problem {
        let units = self.units;
        let who = match self.policy {
            Policy::Token => "Whoever is signed in",
            Policy::Address => "Everybody at one address together",
        };
        let detail = format!(
            "{who} may ask for {units} units a minute: a look-up is 1, an entry 2, a statement or a plan 30. They are spent. \
             Nothing was stored. Wait {seconds} s, then send it again."
        );
        Problem::new(Kind::QuotaExceeded, detail).retry_after(seconds).violating(self.policy)
    }
}

/// How many requests of each caller are at work at once; the next one waits, first come, first served.
#[derive(Debug)]
struct Turns {
    most: usize,
    of: std::sync::Mutex<HashMap<Caller, Arc<Semaphore>>>,
}

impl Turns {
    fn new(most: usize) -> Self {
        Self { most, of: std::sync::Mutex::default() }
    }

    fn of(&self, caller: Caller) -> Arc<Semaphore> {
        let mut known = self.of.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        if known.len() > KEYS / 10 {
            // Whoever has something at work, or waits, holds it.
            known.retain(|_, turns| Arc::strong_count(turns) > 1);
        }
        Arc::clone(known.entry(caller).or_insert_with(|| Arc::new(Semaphore::new(self.most))))
    }
}

/// How long a request waits for its turn.
pub const LONGEST_WAIT: Duration = Duration::from_mins(1);

#[cfg(test)]
mod tests {
    use super::*;

    fn limits(units_per_token: u32, units_per_address: u32) -> Limits {
        Limits { units_per_token, units_per_address, ..Limits::default() }
    }

    fn token(name: &str) -> Caller {
        Caller::Token(name.to_owned())
    }

    #[test]
    fn each_token_and_each_address_has_its_own_budget() {
        let budgets = Budgets::new(&limits(60, 90));
        let (here, there) = (Some([192, 0, 2, 1].into()), Some([192, 0, 2, 2].into()));
        let told = budgets.spend(here, Some(&token("a")), Cost::Long).unwrap();
        assert_eq!(told.policies, "\"address\";q=90;w=60, \"token\";q=60;w=60");
        assert_eq!(told.left, "\"address\";r=60;t=20, \"token\";r=30;t=30");
        budgets.spend(here, Some(&token("a")), Cost::Long).unwrap();
        let over = budgets.spend(here, Some(&token("a")), Cost::Long).unwrap_err();
        assert_eq!((over.policy, over.problem.status), (Policy::Token, 429));
        assert!(over.told.left.ends_with("\"token\";r=0;t=30"), "{}", over.told.left);
        // Another one at the same address finds what is left of the address's, and one elsewhere all of it.
        assert_eq!(budgets.spend(here, Some(&token("b")), Cost::Long).unwrap_err().policy, Policy::Address);
        assert!(budgets.spend(there, Some(&token("b")), Cost::Long).is_ok());
        assert!(budgets.spend(None, None, Cost::Long).is_ok(), "who has neither is counted nowhere");
    }

    #[test]
    fn no_units_are_no_limit_and_what_costs_more_than_all_takes_all() {
        let none = Budgets::new(&limits(0, 0));
        for _ in 0..1000 {
            assert_eq!(none.spend(None, Some(&token("a")), Cost::Long).unwrap(), Told::default());
        }
        let small = Budgets::new(&limits(10, 0));
        assert!(small.spend(None, Some(&token("a")), Cost::Long).is_ok());
        assert!(small.spend(None, Some(&token("a")), Cost::Light).is_err());
    }

    #[tokio::test]
    async fn the_next_request_of_a_caller_waits_and_another_caller_does_not() {
        let budgets = Budgets::new(&Limits { requests_at_once: 2, ..Limits::default() });
        let first = budgets.turn(token("a"), Cost::Light).await.unwrap();
        let second = budgets.turn(token("a"), Cost::Write).await.unwrap();
        let soon = Duration::from_millis(30);
        assert!(tokio::time::timeout(soon, budgets.turn(token("a"), Cost::Light)).await.is_err());
        assert!(tokio::time::timeout(soon, budgets.turn(token("b"), Cost::Light)).await.is_ok());
        assert!(tokio::time::timeout(soon, budgets.turn(token("a"), Cost::Long)).await.is_ok(), "a turn of its own");
        drop((first, second));
        assert!(tokio::time::timeout(soon, budgets.turn(token("a"), Cost::Light)).await.is_ok());
    }

    #[tokio::test]
    async fn invented_tokens_do_not_fill_the_memory() {
        let budgets = Budgets::new(&Limits::default());
        for number in 0..3 * KEYS {
            drop(budgets.turn(token(&number.to_string()), Cost::Light).await);
        }
        assert!(budgets.turns.of.lock().unwrap().len() <= KEYS / 10 + 1);
    }
}
