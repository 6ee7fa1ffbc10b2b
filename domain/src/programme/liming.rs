//! The lime of a season, asked for and planned.

use serde::{Deserialize, Serialize};

use crate::{explain::SourceMark, quantity::ProductRate, soil::lime_rules::SplitRule, time::Day};

/// The lime that a lawn still needs, and whose rule splits it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LimeAsked {
    /// What the report recommends, less what was put down since its sample, as pure calcium carbonate.
    pub still: ProductRate,
    pub rule: SplitRule,
    /// The report, in words.
    pub report: String,
}

/// The lime of a plan.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct PlannedLime {
    /// What the report recommends, less what was put down since its sample, as pure calcium carbonate.
    pub still_lb_per_1000_sqft: ProductRate,
    /// Of it, what is planned.
    pub planned_lb_per_1000_sqft: ProductRate,
    /// The soil is to be tested again on this day before anything more.
    pub test_again_on: Option<Day>,
    /// Whose rule splits it.
    #[schema(max_length = 200)]
    pub source: String,
    pub mark: SourceMark,
    /// Why not all of it is planned.
    #[schema(max_items = 20, value_type = Vec<crate::explain::Sentence>)]
    pub why: Vec<String>,
}
