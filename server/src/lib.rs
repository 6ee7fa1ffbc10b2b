//! The server: speaks HTTP and SQL, and asks `domain` what may be done.
#![deny(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a reader that has gone must not stop anything: use `print_line` and `print_error`"
)]

pub mod access;
pub mod acts;
pub mod api;
pub mod app;
pub mod backups;
pub mod book;
pub mod clock;
pub mod config;
pub mod connections;
pub mod console;
pub mod demo;
#[cfg(feature = "describe")]
pub mod describe;
pub(crate) mod edges;
pub mod extract;
pub mod field_fault;
pub mod file_body;
pub mod lane;
pub mod log;
pub mod media;
pub mod metrics;
pub mod openapi;
pub mod pages;
pub mod paging;
pub mod password;
pub mod places;
pub mod problem;
pub mod refresh;
pub mod reply;
pub mod report;
pub(crate) mod routes;
pub mod rules_folder;
pub mod schema;
pub mod scope;
pub mod secret;
pub mod serve;
pub mod sharing;
pub mod signing;
pub mod space;
pub mod state;
pub mod storage_fault;
pub mod store;
pub mod throttle;
pub mod token_uses;
mod tokens;
pub mod version;
pub mod watch;
pub mod weather;
pub mod zone;
