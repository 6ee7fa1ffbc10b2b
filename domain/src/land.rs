//! The ground: what is known of a lawn section when a decision is made about it.

use serde::{Deserialize, Serialize};

use crate::{
    application::PastApplication, ids::SectionId, quantity::Area, quantity::Distance, soil::SoilReport, time::Day,
};

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
    /// How a sentence calls it.
    pub const fn words(self) -> &'static str {
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

/// A lawn section and its year, as it stood when the decision was made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SectionFacts {
    pub id: SectionId,
    /// What people call it: "front lawn".
    pub name: String,
    /// Area by the measurement in force on the day.
    pub area: Area,
    pub species: Option<Species>,
    /// Shortest distance from the treated ground to water, if there is any and it was measured.
    pub water: Water,
    /// Width of the strip of natural vegetation between lawn and water.
    pub natural_strip: Option<Distance>,
    /// When the turf was seeded or sodded, if that is known.
    pub established_on: Option<Day>,
    /// Pavement, walks or drives beside the section.
    pub touches_pavement: bool,
    /// Reports for this section, in no order.
    pub soil_reports: Vec<SoilReport>,
    /// Everything that was put down on it, before and after the day asked about, and what other clearances hold, in no
    /// order.
    pub past: Vec<PastApplication>,
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
