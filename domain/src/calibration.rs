//! Calibration: what a spreader or sprayer really puts down, for one product, one operator and one setting.
//!
//! A setting is not linear in what comes out, so nothing is scaled to another setting: a person sets, catches and looks.

pub mod catch_test;
pub mod drift;
pub mod pattern;
pub mod spray;
pub mod spreader;

use serde::{Deserialize, Serialize};

use crate::{
    explain::{Derivation, Figure, SourceMark},
    quantity::{ProductRate, Quantity, Unit, quotient_nearest},
    time::Day,
};

/// Why no rate follows from what was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum CalibrationFault {
    #[error("width and length of the course must be above zero, and no more than 23 acres together")]
    NoCourse,
    #[error("more was left over than was put in; weigh both again")]
    LeftMoreThanPutIn,
    #[error("nothing came out; a calibration needs a catch above zero")]
    NothingCaught,
    #[error("a time must be above zero")]
    NoTime,
    #[error("the rate is beyond what is stored; check the units")]
    OutOfRange,
    #[error("a row needs at least three pans, as many on either side of the centre, and a catch at the centre")]
    NoRow,
    #[error("the catch never falls to half of the centre on one side; lay the row wider")]
    RowTooNarrow,
    #[error("pans and passes must be further apart than nothing, and passes at least as far as pans")]
    NoSpacing,
}

/// How a measured rate stands to its target.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Acceptance {
    pub accepted: bool,
    /// Measured less target in hundredths of a percent of the target, to the nearest. For showing: whether it is accepted
    /// is decided exactly.
    #[schema(minimum = -10_000, maximum = 10_000_000)]
    pub deviation_hundredths_percent: i64,
    pub derivation: Derivation,
}

/// How far from the target is still accepted: 5 % (University of Massachusetts, Rotary Spreader Calibration Procedures).
pub const ACCEPTED_PERCENT: i64 = 5;

/// Holds a measured rate against the target: accepted within 5 % of it, both ends included. A target of zero accepts
/// nothing but zero.
pub fn accept<U: Unit>(measured: Quantity<U>, target: Quantity<U>) -> Acceptance {
    let (found, wanted) = (i128::from(measured.raw()), i128::from(target.raw()));
    let off = found - wanted;
    let accepted = off.abs() * 100 <= wanted * i128::from(ACCEPTED_PERCENT);
    let deviation = quotient_nearest(off * 10_000, wanted.max(1)).clamp(-10_000, 10_000_000);
    let share = Quantity::<crate::quantity::StockPound>::from_raw(deviation.saturating_mul(10_000));
    let derivation = Derivation::of("deviation from the target", "(measured - target) / target")
        .with("measured", measured)
        .with("target", target)
        .from_source(
            SourceMark::Read,
            "UMass Extension, Rotary Spreader Calibration Procedures: within 5 % of the target",
        )
        .gives_text(&share, "%", "to the nearest hundredth for showing; the comparison is exact");
    Acceptance { accepted, deviation_hundredths_percent: deviation, derivation }
}

/// The setting for each of two passes at right angles: half the rate, rounded down, so that both together do not pass it.
pub fn half_rate_rounded_down(target: ProductRate) -> Figure<ProductRate> {
    Derivation::of("rate for each of two passes at right angles", "rate / 2")
        .with("rate", target)
        .from_source(
            SourceMark::Read,
            "UMass Extension, Rotary Spreader Calibration Procedures; Minnesota and Rutgers alike",
        )
        .gives(ProductRate::from_raw(target.raw() / 2), "down to the millionth of a pound")
}

/// When a calibration is old, as the company sets it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AgeLimits {
    /// Days after which it is old. *Common practice*: a season.
    #[schema(minimum = 1, maximum = 3_650)]
    pub days: i32,
    /// Applications after which it is old. NC State, Calibration of Turfgrass and Boom Sprayers and Spreaders: 4.
    #[schema(minimum = 1, maximum = 10_000)]
    pub applications: i32,
}

impl AgeLimits {
    pub const DEFAULT: Self = Self { days: 365, applications: 4 };
}

/// Whether a calibration still stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Age {
    Current,
    /// Too many days have gone by.
    OldByDays,
    /// Too many applications were made with it.
    OldByUse,
    /// It is dated after the day asked about.
    NotYet,
}

/// Whether a calibration still stands on a day, after so many applications made with it.
pub fn age(calibrated_on: Day, on: Day, applications_since: i32, limits: AgeLimits) -> Age {
    let days = on.days_since(calibrated_on);
    if days < 0 {
        Age::NotYet
    } else if applications_since >= limits.applications {
        Age::OldByUse
    } else if days > limits.days {
        Age::OldByDays
    } else {
        Age::Current
    }
}

/// How a calibration stands, in the word that a person acts on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum CalibrationStatus {
    Fresh,
    /// The next application is the last one that it is good for, or it ends within thirty days.
    Due,
    /// Too old by its days or by its use.
    Out,
}

/// Days before its end from which a calibration is due. *Common practice*: a month's notice.
const DUE_DAYS: i32 = 30;

/// How a calibration stands on a day, after so many applications made with it.
pub fn standing(calibrated_on: Day, on: Day, applications_since: i32, limits: AgeLimits) -> CalibrationStatus {
    let left = limits.days.saturating_sub(on.days_since(calibrated_on));
    match age(calibrated_on, on, applications_since, limits) {
        Age::OldByDays | Age::OldByUse | Age::NotYet => CalibrationStatus::Out,
        Age::Current if left < DUE_DAYS || applications_since.saturating_add(1) >= limits.applications => {
            CalibrationStatus::Due
        }
        Age::Current => CalibrationStatus::Fresh,
    }
}
