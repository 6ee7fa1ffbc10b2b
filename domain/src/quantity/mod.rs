//! Exact quantities: whole numbers with a declared scale and a unit that the compiler knows.
//!
//! Text is read digit by digit, never through a float, and printed without loss. Divisions round once, at the edge, and
//! the function's name says which way.

pub mod convert;
mod exact;
mod number;
mod rate;
mod units;

pub use exact::{Factor, quotient_down, quotient_nearest, quotient_up};
pub use number::{Quantity, QuantityFault, Unit};
pub use rate::{Limit, RateSum, largest_product, rate_rounded_down, rate_rounded_up};
pub use units::*;
