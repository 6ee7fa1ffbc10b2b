//! The ground: what is known of a lawn section when a decision is made about it.

use serde::{Deserialize, Serialize};

use crate::quantity::Distance;

/// Turf species, as far as the annual tables in force tell them apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Species {
    TallFescue,
    FineFescue,
    KentuckyBluegrass,
    PerennialRyegrass,
    Zoysia,
    Bermuda,
    StAugustine,
    Centipede,
    Bahia,
    /// Another species, or a mixture that no table names.
    Other,
}

impl Species {
    /// Grass that grows most in spring and autumn.
    pub const fn is_cool_season(self) -> bool {
        matches!(self, Self::TallFescue | Self::FineFescue | Self::KentuckyBluegrass | Self::PerennialRyegrass)
    }

    /// How a sentence calls it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::TallFescue => "tall fescue",
            Self::FineFescue => "fine fescue",
            Self::KentuckyBluegrass => "Kentucky bluegrass",
            Self::PerennialRyegrass => "perennial ryegrass",
            Self::Zoysia => "zoysia",
            Self::Bermuda => "bermudagrass",
            Self::StAugustine => "St. Augustinegrass",
            Self::Centipede => "centipedegrass",
            Self::Bahia => "bahiagrass",
            Self::Other => "another species",
        }
    }
}

/// What is known about water near a section.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Water {
    /// Somebody looked: there is none that a setback could concern.
    None,
    /// This far from the nearest water.
    At(Distance),
    /// Nobody has said.
    Unknown,
}
