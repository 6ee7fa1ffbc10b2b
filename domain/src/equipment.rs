//! What spreads the product, since several laws set their distances from water by it.

use serde::{Deserialize, Serialize};

/// The kind of spreader or sprayer, as the statutes tell them apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum Equipment {
    /// Throws granules to all sides.
    RotarySpreader,
    /// Throws granules, with a deflector or guard on the side of the water.
    RotarySpreaderWithDeflector,
    /// Lets granules fall straight down.
    DropSpreader,
    /// Sprays liquid over a width.
    BroadcastSprayer,
    /// Sprays liquid on a targeted strip or spot.
    TargetedSprayer,
}

impl Equipment {
    /// How a sentence calls it.
    pub const fn words(self) -> &'static str {
        match self {
            Self::RotarySpreader => "a rotary spreader without deflector",
            Self::RotarySpreaderWithDeflector => "a rotary spreader with deflector",
            Self::DropSpreader => "a drop spreader",
            Self::BroadcastSprayer => "a broadcast sprayer",
            Self::TargetedSprayer => "a targeted sprayer",
        }
    }
}
