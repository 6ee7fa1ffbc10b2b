//! statement
