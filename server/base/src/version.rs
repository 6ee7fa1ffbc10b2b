//! Versions of what can be changed, so that nobody's work is overwritten unseen.

use serde::Serialize;

use crate::problem::{Kind, Problem};

/// What can be shown with a version and asked for again cheaply.
pub trait Versioned: Serialize {
    fn version(&self) -> i64;
}

/// The versions that a change may be put on top of, as a JSON array for the store; nothing for any version.
pub type Versions = Option<String>;

/// How a change of a versioned thing ended in the store.
#[derive(Debug)]
pub enum UpdateOutcome<T> {
    Done(T),
    Outdated { version: i64 },
    Missing,
}

impl<T: Versioned> UpdateOutcome<T> {
    /// From the number of rows an update touched and what stands there now.
    pub fn of(touched: u64, stored: Option<T>) -> Self {
        match stored {
            Some(thing) if touched > 0 => Self::Done(thing),
            Some(thing) => Self::Outdated { version: thing.version() },
            None => Self::Missing,
        }
    }
}

impl<T> UpdateOutcome<T> {
    pub fn or_problem(self, what: &'static str) -> Result<T, Problem> {
        match self {
            Self::Done(thing) => Ok(thing),
            Self::Missing => Err(Problem::not_found(what)),
            Self::Outdated { version } => Err(Problem::new(
                Kind::VersionOutdated,
                format!("The {what} is at version {version} now. Read it again and put your change on top."),
            )),
        }
    }
}
