//! Limits on guessing: signing in, setting up and enrolling, by name and by address.

use std::{net::IpAddr, num::NonZeroU32};

use governor::{DefaultKeyedRateLimiter, Quota, RateLimiter};
use tokio::sync::Semaphore;

use crate::problem::{Kind, Problem};

/// Ten tries at once, then one every six seconds, for each key.
const TRIES_PER_MINUTE: NonZeroU32 = NonZeroU32::new(10).unwrap();
/// From one address, which a whole office may share.
const TRIES_PER_MINUTE_AND_ADDRESS: NonZeroU32 = NonZeroU32::new(60).unwrap();
/// Password hashes at work at once: each takes 19 MiB.
const HASHES_AT_ONCE: usize = 2;

/// Counts tries. In memory: a restart forgets them, which costs an attacker more than it gives.
#[derive(Debug)]
pub struct Throttle {
    names: DefaultKeyedRateLimiter<String>,
    addresses: DefaultKeyedRateLimiter<IpAddr>,
    pub hashing: Semaphore,
}

impl Default for Throttle {
    fn default() -> Self {
        Self {
            names: RateLimiter::keyed(Quota::per_minute(TRIES_PER_MINUTE)),
            addresses: RateLimiter::keyed(Quota::per_minute(TRIES_PER_MINUTE_AND_ADDRESS)),
            hashing: Semaphore::new(HASHES_AT_ONCE),
        }
    }
}

impl Throttle {
    /// Counts a try, or refuses it.
    pub fn count(&self, name: &str, address: Option<IpAddr>) -> Result<(), Problem> {
        let refused = || Problem::new(Kind::TooMany, "Too many tries. Wait, then try again.").retry_after(6);
        if let Some(address) = address {
            self.addresses.check_key(&address).map_err(|_| refused())?;
        }
        self.names.check_key(&name.to_lowercase()).map_err(|_| refused())?;
        // Old keys are forgotten now and then, so that made-up names cannot fill the memory.
        if self.names.len() > 10_000 {
            self.names.retain_recent();
            self.addresses.retain_recent();
        }
        Ok(())
    }
}
