//! Guarantees against what states let pass: the allowance below a guarantee, and metals that come with nutrients.

use serde::{Deserialize, Serialize};

use crate::quantity::{Percent, quotient_nearest};

/// Secondary and minor nutrients, guaranteed as elements.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Element {
    Calcium,
    Magnesium,
    Sulfur,
    Boron,
    Chlorine,
    Cobalt,
    Copper,
    Iron,
    Manganese,
    Molybdenum,
    Sodium,
    Zinc,
}

impl Element {
    /// How a sentence calls it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Calcium => "calcium",
            Self::Magnesium => "magnesium",
            Self::Sulfur => "sulfur",
            Self::Boron => "boron",
            Self::Chlorine => "chlorine",
            Self::Cobalt => "cobalt",
            Self::Copper => "copper",
            Self::Iron => "iron",
            Self::Manganese => "manganese",
            Self::Molybdenum => "molybdenum",
            Self::Sodium => "sodium",
            Self::Zinc => "zinc",
        }
    }

    /// Fixed part in ten-thousandths of a unit, and percent of the guarantee (New Hampshire fertilizer rules).
    const fn allowance(self) -> (i64, i64) {
        match self {
            Self::Calcium | Self::Magnesium | Self::Sulfur => (2_000, 5),
            Self::Boron => (30, 15),
            Self::Chlorine | Self::Copper | Self::Iron | Self::Manganese | Self::Sodium | Self::Zinc => (50, 10),
            Self::Cobalt | Self::Molybdenum => (1, 30),
        }
    }

    /// How far below its guarantee an analysis may be, in ten-thousandths of a percentage point: a fixed part and a share
    /// of the guarantee, never more than one unit. New Hampshire fertilizer rules (read), for secondary and minor
    /// nutrients only.
    pub fn allowance_below(self, guarantee: Percent) -> i64 {
        let (fixed, share) = self.allowance();
        // Hundredths of a percent times percent are ten-thousandths of a percentage point.
        (fixed + guarantee.raw() * share).min(10_000)
    }
}

/// Metals that the model rule limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Metal {
    Arsenic,
    Cadmium,
    Cobalt,
    Lead,
    Mercury,
    Molybdenum,
    Nickel,
    Selenium,
    Zinc,
}

impl Metal {
    /// Parts per million for each percent of P2O5, and for each percent of micronutrients (model rule of the control
    /// officials as printed in Maine's rule 350).
    const fn per_percent(self) -> (i64, i64) {
        match self {
            Self::Arsenic => (13, 112),
            Self::Cadmium => (10, 83),
            Self::Cobalt => (136, 2_228),
            Self::Lead => (61, 463),
            Self::Mercury => (1, 6),
            Self::Molybdenum => (42, 300),
            Self::Nickel => (250, 1_900),
            Self::Selenium => (26, 180),
            Self::Zinc => (420, 2_900),
        }
    }

    /// Most of this metal in parts per million, to the nearest: per percent of P2O5, counted as at least 6, or per
    /// percent of micronutrients, counted as at least 1, whichever is higher. Nothing for a product with neither.
    pub fn limit_ppm(self, phosphate: Percent, micronutrients: Percent) -> Option<i64> {
        let (by_phosphate, by_micronutrients) = self.per_percent();
        let limit = |percent: Percent, least: i64, ppm: i64| {
            (percent.raw() > 0)
                .then(|| quotient_nearest(i128::from(percent.raw().max(least * 100)) * i128::from(ppm), 100))
        };
        limit(phosphate, 6, by_phosphate).max(limit(micronutrients, 1, by_micronutrients))
    }
}
