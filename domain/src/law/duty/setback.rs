//! A distance from water, and from what a text counts like it.

use serde::Deserialize;

use crate::{
    application::Purpose,
    equipment::Equipment,
    law::{comparator::Comparator, nutrient::Nutrient},
    quantity::Distance,
};

/// Distance from water.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Setback {
    pub nutrients: Vec<Nutrient>,
    pub comparator: Comparator,
    pub distance: Distance,
    /// A shorter distance, and the equipment that earns it.
    pub reduced: Option<(Distance, Vec<Equipment>)>,
    /// A strip of natural vegetation at least this wide lifts the distance.
    pub waived_by_strip: Option<Distance>,
    pub waived_purposes: Vec<Purpose>,
    /// For how long after seeding a purpose of establishment lifts the distance.
    pub establishment_months: u16,
    pub measured_from: String,
    /// What else than water it counts from. Empty where only water is meant.
    pub counts: Vec<BesideWater>,
    /// Waters of a kind that no fact tells apart: within the distance a person must say whether this is one.
    pub only_where: Option<String>,
}

/// What a distance from water may count from beside open water.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum BesideWater {
    /// Storm drains, inlets, and ditches that carry water away.
    Drains,
    /// A curb, a gutter or a street.
    Curb,
}

impl BesideWater {
    /// How a sentence calls it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Drains => "drains and ditches",
            Self::Curb => "curb, gutter and street",
        }
    }
}

impl Setback {
    pub fn distance_for(&self, equipment: Equipment) -> Distance {
        match &self.reduced {
            Some((distance, earned_by)) if earned_by.contains(&equipment) => *distance,
            _ => self.distance,
        }
    }
}
