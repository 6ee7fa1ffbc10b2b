//! What the bench measures with. It knows nothing of the server that is asked but its address, so that every server is asked by the
//! same callers in the same way, and none of them pays for its callers' work.

pub mod asking;
pub mod line;
pub mod replay;
pub mod template;

/// Anything that goes wrong ends the bench: a figure beside a failure would be worth nothing.
pub type Fault = Box<dyn std::error::Error + Send + Sync>;
