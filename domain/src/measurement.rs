//! How large a section is: taped figures, offsets, radii, or an outline on the map, with an estimate of the error.
//!
//! An area becomes hundredths of a square foot once, here, and downward, so that no rate is ever reckoned on ground that
//! is not there.

pub mod outline;
mod plane;
mod pointer;
pub mod setback;
mod shape_schema;
pub mod shapes;
pub mod survey;

use serde::{Deserialize, Serialize};

use crate::{explain::Derivation, quantity::Area};

/// A measured area. Who measured it and when is kept with the section.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct MeasuredArea {
    /// Rounded down.
    pub area_sqft: Area,
    /// How far it may be off either way, rounded up; nothing when nobody said how exactly it was read.
    pub error_sqft: Option<Area>,
    pub derivation: Derivation,
}

/// Why no area follows.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MeasurementFault {
    #[error("a measured length must be above zero")]
    NoLength,
    #[error("offsets need at least two measured widths at a spacing above zero")]
    TooFewOffsets,
    #[error("Simpson's rule needs an even number of strips, that is an odd number of widths; use the trapezoidal rule")]
    OddStrips,
    #[error("an average radius needs at least three radii")]
    TooFewRadii,
    #[error("what is taken off is as large as what was measured; nothing would be left")]
    NothingLeft,
    #[error("an outline is measured on the map and not with a tape")]
    OnTheMap,
    #[error("the area must be from 0.01 to 10,000,000 sq ft (229 acres); check the units")]
    OutOfRange,
}
