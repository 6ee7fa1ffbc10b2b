//! The rules of the domain, tried against published numbers and against themselves.
#![expect(clippy::expect_used, reason = "a test that lacks what it is about must fail on the spot")]

mod agronomy;
mod cases;
mod combination;
mod coverage;
mod decisions;
mod duties;
mod edges;
mod facts;
mod fine_points;
mod growing_season;
mod hints;
mod labels;
mod laws;
mod limits;
mod links;
mod loader;
mod parts;
mod properties;
mod record_fields;
mod release;
mod same_day;
mod schema;
mod scopes;
mod slow_release;
mod small_print;
mod spans;
mod strictest;
mod strictness;
mod ties;
mod trade;
mod trap_amounts;
mod traps;
mod weather;
