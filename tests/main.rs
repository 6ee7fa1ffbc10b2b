//! The server as its users meet it: over HTTP, with every answer held against the API document.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod access_matrix;
mod access_scope;
mod clearances;
mod corrections;
mod days;
mod faults;
mod journal_coverage;
mod law;
mod lists;
mod main_job;
mod migrations;
mod openapi;
mod pages;
mod places;
mod plans;
mod problems;
mod rivals;
mod rules;
mod serve;
mod statements;
mod tidy;
mod turns;
mod verify;
mod weather;
