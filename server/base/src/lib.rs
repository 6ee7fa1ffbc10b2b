//! What the server stands on, in a crate of its own so that an edit of a page or a handler does not wait for it: what an act
//! decides and writes, the one place that speaks SQL, and what both share with the floors above. Knows no route.
#![deny(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a reader that has gone must not stop anything: the server has its own way to print"
)]

pub mod acts;
pub mod clock;
pub mod field_fault;
pub mod lane;
pub mod media;
pub mod metrics;
pub mod paging;
pub mod places;
pub mod problem;
pub mod scope;
pub mod secret;
pub mod signing;
pub mod storage_fault;
pub mod store;
pub mod tokens;
pub mod version;
pub mod zone;
