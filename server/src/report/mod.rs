//! Statements in other forms than JSON.

pub mod csv;
pub mod form;
