//! The lime of a season, asked for and planned.

use serde::{Deserialize, Serialize};

use crate::{
    explain::SourceMark,
    quantity::{Area, NeutralisingValue, ProductMass, ProductRate, RateSum},
    soil::lime_rules::{CapOn, SplitRule},
    time::Day,
};

/// The lime that a soil report asks for, and whose rule splits it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LimeAsked {
    /// What the report recommends, as pure calcium carbonate.
    pub recommended: ProductRate,
    /// What was put down since its sample or is planned by visits, as pure calcium carbonate. Parts of the lawn count at their own
    /// rate, as the caps on nutrients count them.
    pub spent: ProductRate,
    /// The latest day of that.
    pub last_on: Option<Day>,
    pub rule: SplitRule,
    pub cap_on: CapOn,
    /// Days that the company keeps between lime and a product with nitrogen, before and after; zero lets both go down on one day.
    pub days_from_nitrogen: i32,
    /// The report, in words.
    pub report: String,
}

impl LimeAsked {
    /// What is still missing.
    pub fn still(&self) -> ProductRate {
        ProductRate::from_raw((self.recommended.raw() - self.spent.raw()).max(0))
    }

    /// The day before which no more may go down: the wait of the rule after what is down already.
    pub fn not_before(&self) -> Option<Day> {
        self.last_on.map(|on| on.plus_months(self.rule.months()))
    }

    /// The day on which the soil is to be tested before anything more, where the rule wants that after the first part.
    pub fn test_before_more(&self, cce: NeutralisingValue) -> Option<Day> {
        let begun = !self.spent.is_zero() && self.rule.tests_after_first(self.recommended, cce, self.cap_on);
        self.not_before().filter(|_| begun)
    }
}

/// Pure calcium carbonate of spreadings (product, its strength, treated area), on 1,000 sq ft, rounded up.
pub fn put_down_rounded_up(spread: impl IntoIterator<Item = (ProductMass, NeutralisingValue, Area)>) -> ProductRate {
    let mut sum = RateSum::default();
    for (product, cce, area) in spread {
        // Millionths of a pound times hundredths of a percent are the ten-billionths in which loads are summed.
        sum.add(product.raw().saturating_mul(cce.raw()), area);
    }
    ProductRate::from_raw(sum.rounded_up().raw())
}

/// The lime of a plan.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct PlannedLime {
    /// What the report recommends, as pure calcium carbonate.
    pub recommended_lb_per_1000_sqft: ProductRate,
    /// Of it, what was put down since its sample or is planned by visits. Rounded up.
    pub spent_lb_per_1000_sqft: ProductRate,
    /// What is still missing.
    pub still_lb_per_1000_sqft: ProductRate,
    /// Of it, what is planned here.
    pub planned_lb_per_1000_sqft: ProductRate,
    /// The soil is to be tested again on this day before anything more.
    pub test_again_on: Option<Day>,
    /// The report that recommends it, in words.
    #[schema(max_length = 300)]
    pub report: String,
    /// Whose rule splits it.
    #[schema(max_length = 200)]
    pub source: String,
    pub mark: SourceMark,
    /// Why not all of it is planned.
    #[schema(max_items = 20, value_type = Vec<crate::explain::Sentence>)]
    pub why: Vec<String>,
}
