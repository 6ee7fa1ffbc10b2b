//! The server as its users meet it: over HTTP, with every answer held against the API document.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod corrections;
mod main_job;
mod rivals;
mod rules;
mod statements;
mod verify;
