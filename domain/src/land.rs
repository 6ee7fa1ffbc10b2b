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

/// What kind of ground a property is. Several laws on turf leave some kinds out, or are about some only.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum PropertyKind {
    /// Lawn of a home or a business.
    Lawn,
    AthleticField,
    GolfCourse,
    /// Ground that a municipality or another public body controls, other than its athletic fields and golf courses.
    PublicGround,
    /// Land in farming other than for sod.
    Farm,
    /// Beds, vegetables, trees and shrubs.
    Garden,
    SodFarm,
}

impl PropertyKind {
    /// How a sentence calls it, in the plural.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Lawn => "lawns",
            Self::AthleticField => "athletic fields",
            Self::GolfCourse => "golf courses",
            Self::PublicGround => "public grounds",
            Self::Farm => "farms",
            Self::Garden => "gardens",
            Self::SodFarm => "sod farms",
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

impl Water {
    /// How far it is, if somebody measured.
    pub const fn distance(self) -> Option<Distance> {
        match self {
            Self::At(distance) => Some(distance),
            Self::None | Self::Unknown => None,
        }
    }
}
