//! Whether product may be put on a lawn, how much, and why.
//!
//! Facts go in, decisions come out. Nothing here reads a clock, a file, a database or the network, so the same facts give
//! the same answer on the server, in a test and in front of an inspector a year later.
#![deny(
    clippy::float_arithmetic,
    clippy::indexing_slicing,
    reason = "sums and comparisons with legal limits are exact"
)]

pub mod actor;
pub mod application;
pub mod calibration;
pub mod dated;
pub mod decision;
pub mod equipment;
pub mod explain;
pub mod facts;
pub mod ids;
pub mod journal;
pub mod land;
pub mod law;
pub mod measurement;
pub mod parts;
pub mod product;
pub mod programme;
pub mod quantity;
pub mod receipt;
pub mod rules;
pub mod soil;
pub mod statement;
mod text;
pub mod time;
pub mod weather;
