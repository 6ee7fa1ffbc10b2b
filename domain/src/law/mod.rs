//! The law as data: dated, cited rules, one jurisdiction a file.

/// Every rule set this server knows.
#[derive(Debug, Default)]
pub struct Lawbook {}
