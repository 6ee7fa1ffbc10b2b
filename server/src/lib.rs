//! The server: speaks HTTP and SQL, and asks `domain` what may be done.
#![deny(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a reader that has gone must not stop anything: use `print_line` and `print_error`"
)]

pub use base::{
    acts, clock, field_fault, lane, media, metrics, paging, places, problem, scope, secret, signing, storage_fault,
    store, tokens, version, zone,
};

pub mod access;
pub mod api;
pub mod app;
pub mod backups;
pub mod book;
pub mod config;
pub mod connections;
pub mod console;
pub mod copies;
pub mod demo;
#[cfg(feature = "describe")]
pub mod describe;
pub(crate) mod edges;
pub mod extract;
pub mod file_body;
pub mod log;
pub mod openapi;
pub mod pages;
pub mod password;
pub mod refresh;
pub mod reply;
pub mod report;
pub(crate) mod routes;
pub mod rules_folder;
pub mod schema;
pub mod serve;
pub mod sharing;
pub mod space;
pub mod state;
pub mod throttle;
pub mod token_uses;
pub mod watch;
pub mod weather;
