//! Limits on guessing: signing in, setting up and enrolling. What everybody may ask for at all stands in `budgets`.
//!
//! Counted by address, by name and address together, and by name and all together for addresses from which nobody came in by that name
//! before: whoever guesses from many addresses is slowed down, and cannot keep the owner out of the office.

pub mod budgets;

use std::{
    net::{IpAddr, Ipv6Addr, SocketAddr},
    num::NonZeroU32,
};

use axum::{extract::ConnectInfo, http::request::Parts};
use governor::{
    DefaultDirectRateLimiter, DefaultKeyedRateLimiter, NotUntil, Quota, RateLimiter,
    clock::{Clock, DefaultClock, QuantaInstant},
};
use tokio::sync::Semaphore;

use crate::{
    config::Limits,
    problem::{Kind, Problem},
};

/// Ten tries at once, then one every six seconds, for each name and address.
const TRIES_PER_MINUTE: NonZeroU32 = NonZeroU32::new(10).unwrap();
/// From one address, which a whole office may share.
const TRIES_PER_MINUTE_AND_ADDRESS: NonZeroU32 = NonZeroU32::new(60).unwrap();
/// At one name from addresses that are new to it: thirty, then one a minute.
const TRIES_AT_A_NAME: NonZeroU32 = NonZeroU32::new(30).unwrap();
const TRIES_AT_A_NAME_PER_HOUR: NonZeroU32 = NonZeroU32::new(60).unwrap();
/// At all names from addresses that are new to them.
const TRIES_OF_STRANGERS: NonZeroU32 = NonZeroU32::new(120).unwrap();
/// With codes, which are no easier to guess than 128 bits, from addresses from which nobody was let in before.
const CODES_OF_STRANGERS: NonZeroU32 = NonZeroU32::new(120).unwrap();
/// Addresses of which the security log is told that they try too often, in a minute.
const TOLD_PER_MINUTE: NonZeroU32 = NonZeroU32::new(60).unwrap();
/// What one pass may read: a person with many pages open, and no copying of everything in a moment.
const READS_PER_MINUTE: NonZeroU32 = NonZeroU32::new(240).unwrap();
/// And in the long run, because each of them leaves a line: everything of a small company in a day, and then no more than this.
const READS_PER_HOUR: NonZeroU32 = NonZeroU32::new(500).unwrap();
const READS_AT_FIRST: NonZeroU32 = NonZeroU32::new(10_000).unwrap();
/// Keys that are kept at most before old ones are forgotten.
const KEYS: usize = 10_000;
/// Password hashes at work at once: each takes 19 MiB.
const HASHES_AT_ONCE: usize = 2;

/// Counts tries. In memory: a restart forgets them, which costs an attacker more than it gives.
#[derive(Debug)]
pub struct Throttle {
    names: DefaultKeyedRateLimiter<(String, Option<IpAddr>)>,
    addresses: DefaultKeyedRateLimiter<IpAddr>,
    names_alone: DefaultKeyedRateLimiter<String>,
    strangers: DefaultDirectRateLimiter,
    codes_of_strangers: DefaultDirectRateLimiter,
    /// How often the log is told that an address tries too often, and of how many addresses.
    told: DefaultKeyedRateLimiter<Option<IpAddr>>,
    told_at_all: DefaultDirectRateLimiter,
    reads: DefaultKeyedRateLimiter<String>,
    reads_in_the_long_run: DefaultKeyedRateLimiter<String>,
    pub hashing: Semaphore,
    /// A proxy stands before the server, so that the peer is the proxy and `X-Forwarded-For` says who asked it.
    pub behind_proxy: bool,
    /// What else is limited: connections, and what each caller may ask for.
    pub limits: Limits,
}

impl Throttle {
    /// Without budgets, for who is alone with a server.
    pub fn new(behind_proxy: bool) -> Self {
        Self::with_tries(behind_proxy, TRIES_PER_MINUTE)
    }

    pub fn limited(behind_proxy: bool, limits: Limits) -> Self {
        Self { limits, ..Self::with_tries(behind_proxy, TRIES_PER_MINUTE) }
    }

    /// For the demonstration, which signs its people in again after each leap of its clock: whoever looks at it right
    /// afterwards is not to be told of too many tries.
    pub fn of_a_demonstration() -> Self {
        Self::with_tries(false, TRIES_PER_MINUTE_AND_ADDRESS)
    }

    fn with_tries(behind_proxy: bool, tries: NonZeroU32) -> Self {
        Self {
            names: RateLimiter::keyed(Quota::per_minute(tries)),
            addresses: RateLimiter::keyed(Quota::per_minute(TRIES_PER_MINUTE_AND_ADDRESS)),
            names_alone: RateLimiter::keyed(Quota::per_hour(TRIES_AT_A_NAME_PER_HOUR).allow_burst(TRIES_AT_A_NAME)),
            strangers: RateLimiter::direct(Quota::per_minute(TRIES_OF_STRANGERS)),
            codes_of_strangers: RateLimiter::direct(Quota::per_minute(CODES_OF_STRANGERS)),
            told: RateLimiter::keyed(Quota::per_minute(NonZeroU32::MIN)),
            told_at_all: RateLimiter::direct(Quota::per_minute(TOLD_PER_MINUTE)),
            reads: RateLimiter::keyed(Quota::per_minute(READS_PER_MINUTE)),
            reads_in_the_long_run: RateLimiter::keyed(Quota::per_hour(READS_PER_HOUR).allow_burst(READS_AT_FIRST)),
            hashing: Semaphore::new(HASHES_AT_ONCE),
            behind_proxy,
            limits: Limits { units_per_token: 0, units_per_address: 0, ..Limits::default() },
        }
    }

    /// From where a request comes: the other end of its connection, or what the proxy before the server says.
    pub fn address_of(&self, parts: &Parts) -> Option<IpAddr> {
        let peer = parts.extensions.get::<ConnectInfo<SocketAddr>>().map(|info| info.0.ip());
        let forwarded = parts.headers.get_all("x-forwarded-for").iter().next_back();
        let last = forwarded.and_then(|value| value.to_str().ok()?.rsplit(',').next()?.trim().parse().ok());
        if self.behind_proxy { last.or(peer) } else { peer }
    }

    /// Counts a try from an address, or refuses it and says how long to wait.
    pub fn count_address(&self, address: Option<IpAddr>) -> Result<(), Problem> {
        let Some(address) = address.map(network) else { return Ok(()) };
        self.forget_old();
        self.addresses.check_key(&address).map_err(|wait| refused(&wait))
    }

    /// Counts a try with a code from an address from which nobody was let in before: all of those together.
    pub fn count_code_of_stranger(&self) -> Result<(), Problem> {
        self.codes_of_strangers.check().map_err(|wait| refused(&wait))
    }

    /// Counts a try at a name from an address, or refuses it and says how long to wait.
    pub fn count(&self, name: &str, address: Option<IpAddr>) -> Result<(), Problem> {
        self.count_address(address)?;
        let address = address.map(network);
        self.names.check_key(&(name.to_lowercase(), address)).map_err(|wait| refused(&wait))
    }

    /// Counts a try at a name from an address from which nobody came in by it before.
    pub fn count_stranger(&self, name: &str) -> Result<(), Problem> {
        self.names_alone.check_key(&name.to_lowercase()).map_err(|wait| refused(&wait))?;
        self.strangers.check().map_err(|wait| refused(&wait))
    }

    /// Whether the security log is to be told that an address tries too often: once a minute, and of so many addresses.
    pub fn is_to_be_told(&self, address: Option<IpAddr>) -> bool {
        self.told.check_key(&address.map(network)).is_ok() && self.told_at_all.check().is_ok()
    }

    /// Counts what is read with a pass.
    pub fn count_reads(&self, pass: &str) -> Result<(), Problem> {
        self.reads.check_key(&pass.to_owned()).map_err(|wait| refused(&wait))?;
        self.reads_in_the_long_run.check_key(&pass.to_owned()).map_err(|wait| refused(&wait))
    }

    /// Made-up names must not fill the memory.
    fn forget_old(&self) {
        if [self.names.len(), self.addresses.len(), self.names_alone.len(), self.told.len()]
            .into_iter()
            .any(|kept| kept > KEYS)
        {
            self.names.retain_recent();
            self.addresses.retain_recent();
            self.names_alone.retain_recent();
            self.told.retain_recent();
        }
    }
}

fn refused(wait: &NotUntil<QuantaInstant>) -> Problem {
    let seconds = wait.wait_time_from(DefaultClock::default().now()).as_secs() + 1;
    let detail = format!("Too many tries from here. Wait {seconds} s, then try again.");
    Problem::new(Kind::TooMany, detail).retry_after(seconds)
}

/// An address as the security log has it.
pub fn shown(address: Option<IpAddr>) -> Option<String> {
    address.map(|address| network(address).to_string())
}

/// What counts as one address: of version 6 the network, because one customer has all addresses of it.
pub fn network(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V6(six) => {
            let [a, b, c, d, ..] = six.segments();
            Ipv6Addr::new(a, b, c, d, 0, 0, 0, 0).into()
        }
        four @ IpAddr::V4(_) => four,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_customer_of_version_6_is_one_address() {
        let network = |text: &str| network(text.parse().unwrap()).to_string();
        assert_eq!(network("2001:db8:1:2:3:4:5:6"), "2001:db8:1:2::");
        assert_eq!(network("::ffff:192.0.2.7"), "192.0.2.7");
        assert_eq!(network("192.0.2.7"), "192.0.2.7");
    }

    #[test]
    fn guessing_from_elsewhere_does_not_keep_the_owner_out() {
        let throttle = Throttle::new(false);
        let (guesser, owner) = (Some([192, 0, 2, 1].into()), Some([192, 0, 2, 2].into()));
        while throttle.count("owner", guesser).is_ok() {}
        assert!(throttle.count("Owner", guesser).is_err());
        assert!(throttle.count("owner", owner).is_ok());
        // From a hundred addresses, one try each.
        let many = Throttle::new(false);
        let let_through = (0..100).filter(|_| many.count_stranger("owner").is_ok()).count();
        assert_eq!(let_through, 30);
        let others = (0..200).filter(|at| many.count_stranger(&format!("name-{at}")).is_ok()).count();
        assert_eq!(others, 90, "all strangers together have 120 tries");
        let tries = |throttle: &Throttle| (0..60).filter(|_| throttle.count("office", owner).is_ok()).count();
        assert_eq!(tries(&Throttle::new(false)), 10);
        assert!(tries(&Throttle::of_a_demonstration()) > 50);
    }
}
