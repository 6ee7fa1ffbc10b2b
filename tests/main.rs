//! The server as its users meet it: over HTTP, with every answer held against the API document.
#![expect(clippy::unwrap_used, reason = "a test fails by panicking")]

mod access_matrix;
mod access_scope;
mod amounts;
mod calibrations;
mod clearances;
mod corrections;
mod credentials;
mod days;
mod drift;
mod equipment;
mod far_days;
mod faults;
mod journal_coverage;
mod law;
mod lists;
mod main_job;
mod measurements;
mod migrations;
mod openapi;
mod pages;
mod places;
mod plans;
mod problems;
mod product_files;
mod product_labels;
mod programmes;
mod rivals;
mod rules;
mod serve;
mod soil_reports;
mod statements;
mod tidy;
mod turns;
mod verify;
mod weather;
