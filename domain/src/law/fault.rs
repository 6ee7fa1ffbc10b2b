//! What is wrong with a law file, said so that its author can find the place.

use std::fmt;

/// One fault of one law file. All of them are collected, so that a file is repaired in one sitting.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub struct LawFault {
    pub file: String,
    pub rule: Option<String>,
    pub field: String,
    pub what: String,
}

impl fmt::Display for LawFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.file)?;
        if let Some(rule) = &self.rule {
            write!(f, ", rule {rule}")?;
        }
        write!(f, ", field `{}`: {}", self.field, self.what)
    }
}
