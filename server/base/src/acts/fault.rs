//! Why an act cannot be decided or written as it must be. It is a fault of this server or of its book, never of what was sent:
//! nothing of the act is stored, and nothing is put in the place of what is missing.

use domain::time::Instant;
use serde::{Serialize, de::DeserializeOwned};
use serde_json::Value;

use crate::problem::Problem;

#[derive(Debug, thiserror::Error)]
pub enum ActFault {
    #[error("{0} cannot be written: {1}")]
    Unwritable(&'static str, serde_json::Error),
    #[error("{0} cannot be read as it is stored: {1}")]
    Unreadable(&'static str, serde_json::Error),
    #[error("{0} {1} is needed to decide this and was not loaded")]
    NotLoaded(&'static str, String),
    #[error("{0} is stored as of {1} ms, which is no moment")]
    NoMoment(&'static str, i64),
}

impl ActFault {
    /// What was looked up and must be there.
    pub fn not_loaded(what: &'static str, id: &impl ToString) -> Self {
        Self::NotLoaded(what, id.to_string())
    }
}

impl From<ActFault> for Problem {
    fn from(fault: ActFault) -> Self {
        Self::fault(&fault)
    }
}

/// Evidence as text.
pub fn written(what: &'static str, value: &impl Serialize) -> Result<String, ActFault> {
    serde_json::to_string(value).map_err(|error| ActFault::Unwritable(what, error))
}

/// Evidence read back.
pub fn read<T: DeserializeOwned>(what: &'static str, text: &str) -> Result<T, ActFault> {
    serde_json::from_str(text).map_err(|error| ActFault::Unreadable(what, error))
}

/// A stored moment.
pub fn moment(what: &'static str, millis: i64) -> Result<Instant, ActFault> {
    Instant::from_millis(millis).ok_or(ActFault::NoMoment(what, millis))
}

/// A row as the journal keeps it: without its content, which stands beside it there, and without its particulars and what
/// is told from them, whose hash does.
pub fn journaled(what: &'static str, row: &impl Serialize) -> Result<Value, ActFault> {
    let mut value = serde_json::to_value(row).map_err(|error| ActFault::Unwritable(what, error))?;
    if let Some(members) = value.as_object_mut() {
        for beside in ["content", "particulars", "time_zone", "pattern", "packed"] {
            let _ = members.remove(beside);
        }
    }
    Ok(value)
}
