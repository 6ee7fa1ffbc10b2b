//! What the laboratory answered.

pub mod interpret;
pub mod lime;
pub mod lime_rules;
pub mod liming;
pub mod need;
pub mod potash_phosphate;
pub mod reading;
pub mod sample;
pub mod table;
mod tables;
pub mod target_ph;

use serde::{Deserialize, Serialize};

use crate::{ids::SoilReportId, quantity::NutrientRate, time::Day};

/// How a laboratory rates the phosphorus it found. The number behind it means nothing without its extractant, so the
/// category and the recommendation are what rules read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SoilCategory {
    VeryLow,
    Low,
    Medium,
    Optimum,
    High,
    Excessive,
}

impl SoilCategory {
    /// How a sentence calls it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::VeryLow => "very low",
            Self::Low => "low",
            Self::Medium => "medium",
            Self::Optimum => "optimum",
            Self::High => "high",
            Self::Excessive => "excessive",
        }
    }
}

/// A soil report of one section, as far as rules read it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SoilReport {
    pub id: SoilReportId,
    /// The age of a report counts from the day the soil was taken.
    pub sampled_on: Day,
    /// Where it stands among those of its day: the higher, the later it was entered.
    pub place: i64,
    pub laboratory: String,
    pub phosphorus: Option<SoilCategory>,
    /// P2O5 that the laboratory recommends for the year; zero when it says none is needed.
    pub phosphate_recommended: Option<NutrientRate>,
}

/// Whether soil that was dug on a day is young enough on another: the months are counted back from the day of application.
pub(crate) fn is_young(sampled_on: Day, on: Day, months: u16) -> bool {
    sampled_on >= on.minus_months(i32::from(months))
}
