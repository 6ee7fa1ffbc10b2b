//! Between whole numbers and the solver's floats.
#![expect(
    clippy::float_arithmetic,
    reason = "the solver works in floats; nothing of it is summed or compared with a limit"
)]

use crate::quantity::{Area, Percent, ProductMass, Quantity, Unit};

/// What the solver's own rounding may be off by.
pub(super) const TOLERANCE: f64 = 1e-6;

/// A quantity as a float in its own unit.
#[expect(clippy::cast_precision_loss, reason = "a proposal; the amounts themselves are whole numbers")]
pub(super) fn float<U: Unit>(quantity: Quantity<U>) -> f64 {
    quantity.raw() as f64 / 10_f64.powi(i32::try_from(U::SCALE).unwrap_or(0))
}

/// A mass on an area as pounds on 1,000 sq ft.
pub(super) fn per_1000(mass: ProductMass, area: Area) -> f64 {
    float(mass) * 1_000.0 / float(area).max(f64::MIN_POSITIVE)
}

/// A proposed rate on an area as a mass, rounded down to the thousandth of a pound.
#[expect(clippy::cast_possible_truncation, reason = "held between bounds that a whole number has")]
pub(super) fn mass_rounded_down(rate: f64, area: Area) -> ProductMass {
    // A hair is added, so that a whole number that the solver gives as 4.9999999999 stays whole; the rules are asked after.
    let thousandths = (rate * float(area) + 1e-6).floor().clamp(0.0, 1e9);
    ProductMass::from_raw(thousandths as i64 * 1_000)
}

pub(super) fn share(percent: Percent) -> f64 {
    float(percent) / 100.0
}
