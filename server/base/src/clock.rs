//! The one place that asks what time it is and makes identifiers. Tests put their own in.

use std::{
    fmt::Debug,
    sync::atomic::{AtomicI64, AtomicU64, Ordering},
};

use domain::{ids::Id, time::Instant};
use jiff::SignedDuration;
use uuid::{NoContext, Timestamp, Uuid};

/// Clocks that differ less than this are taken as equal.
pub const CLOCKS_DIFFER: SignedDuration = SignedDuration::from_mins(10);

/// What time it is.
pub trait Clock: Debug + Send + Sync {
    fn now(&self) -> Instant;
}

/// The computer's clock.
#[derive(Debug)]
pub struct SystemClock;

impl Clock for SystemClock {
    #[expect(clippy::disallowed_methods, reason = "this is the injected clock")]
    fn now(&self) -> Instant {
        Instant::from_millis(jiff::Timestamp::now().as_millisecond()).unwrap_or_else(epoch)
    }
}

/// A clock that stands still until it is moved.
#[derive(Debug)]
pub struct FrozenClock(AtomicI64);

impl FrozenClock {
    pub fn at(now: Instant) -> Self {
        Self(AtomicI64::new(now.millis()))
    }

    pub fn set(&self, now: Instant) {
        self.0.store(now.millis(), Ordering::SeqCst);
    }

    pub fn advance(&self, by: std::time::Duration) {
        self.0.fetch_add(i64::try_from(by.as_millis()).unwrap_or(0), Ordering::SeqCst);
    }
}

impl Clock for FrozenClock {
    fn now(&self) -> Instant {
        Instant::from_millis(self.0.load(Ordering::SeqCst)).unwrap_or_else(epoch)
    }
}

/// A clock that goes on from wherever it was put: for demonstrations, which must fall into an open season.
#[derive(Debug, Default)]
pub struct MovedClock(AtomicI64);

impl MovedClock {
    /// Puts the clock to a moment, from which it goes on.
    pub fn put(&self, to: Instant) {
        self.0.store(to.millis() - SystemClock.now().millis(), Ordering::SeqCst);
    }
}

impl Clock for MovedClock {
    fn now(&self) -> Instant {
        Instant::from_millis(SystemClock.now().millis() + self.0.load(Ordering::SeqCst)).unwrap_or_else(epoch)
    }
}

fn epoch() -> Instant {
    // Zero milliseconds is always a moment; the type cannot know that.
    Instant::from_millis(0).unwrap_or_else(epoch)
}

/// Makes identifiers: UUID version 7, whose first part is the time.
pub trait IdSource: Debug + Send + Sync {
    fn uuid(&self, now: Instant) -> Uuid;
}

/// Time from the clock, the rest from the operating system's random source.
#[derive(Debug)]
pub struct RandomIds;

impl IdSource for RandomIds {
    fn uuid(&self, now: Instant) -> Uuid {
        let millis = u64::try_from(now.millis()).unwrap_or(0);
        Uuid::new_v7(Timestamp::from_unix(
            NoContext,
            millis / 1000,
            u32::try_from(millis % 1000).unwrap_or(0) * 1_000_000,
        ))
    }
}

/// Counts up, so that a test sees the same identifiers every time.
#[derive(Debug, Default)]
pub struct CountedIds(AtomicU64);

impl IdSource for CountedIds {
    fn uuid(&self, _now: Instant) -> Uuid {
        let count = self.0.fetch_add(1, Ordering::SeqCst);
        Uuid::from_u128(0x0190_0000_0000_7000_8000_0000_0000_0000 | u128::from(count))
    }
}

impl dyn IdSource {
    /// A new typed identifier.
    pub fn next<K>(&self, now: Instant) -> Id<K> {
        Id::from_uuid(self.uuid(now))
    }
}
