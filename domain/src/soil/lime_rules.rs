//! How lime is split: most at once, and how long to wait, as each laboratory says.

use serde::{Deserialize, Serialize};

use crate::{
    explain::SourceMark,
    quantity::{NeutralisingValue, ProductRate},
    soil::lime::material_rounded_down,
    time::Day,
};

/// Whose rule splits the lime.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SplitRule {
    /// Over 50 lb: half now, wait four months, test again.
    Georgia,
    /// 50 lb at most at once, the rest six months later.
    NorthCarolina,
    /// None over 100 lb on established turf, four to six months apart.
    PennState,
    /// None over 25 lb on putting greens and tees, four to six months apart.
    PennStateGreens,
}

impl SplitRule {
    /// Most pounds at once, and months between two.
    const fn numbers(self) -> (i64, i32) {
        match self {
            Self::Georgia => (50, 4),
            Self::NorthCarolina => (50, 6),
            Self::PennState => (100, 4),
            Self::PennStateGreens => (25, 4),
        }
    }

    /// Months between two spreadings at least.
    pub const fn months(self) -> i32 {
        self.numbers().1
    }

    /// Whether the soil is to be tested after the first part of so much, instead of a second part. What is held against the limit
    /// is the same as when it is split.
    pub fn tests_after_first(self, recommended: ProductRate, cce: NeutralisingValue, cap_on: CapOn) -> bool {
        self == Self::Georgia && cap_on.held(recommended, cce).raw() > self.numbers().0 * 1_000_000
    }

    pub const fn source(self) -> (&'static str, SourceMark) {
        match self {
            Self::Georgia => (
                "University of Georgia AESL, crop sheet 792: over 50 lb apply half and test again in 4 months",
                SourceMark::Read,
            ),
            Self::NorthCarolina => {
                ("NC State, Lee County: at most 50 lb at one time, the rest six months later", SourceMark::Read2)
            }
            Self::PennState => {
                ("Penn State AASL: over 100 lb in two or more applications 4 to 6 months apart", SourceMark::Read)
            }
            Self::PennStateGreens => {
                ("Penn State AASL: greens and tees, none over 25 lb, 4 to 6 months apart", SourceMark::Read)
            }
        }
    }
}

/// What the limit at once is held against. The sheets state the recommendation; which of the two a company holds is its
/// setting.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum CapOn {
    #[default]
    Recommendation,
    Material,
}

impl CapOn {
    fn held(self, recommended: ProductRate, cce: NeutralisingValue) -> ProductRate {
        match self {
            Self::Recommendation => recommended,
            Self::Material => material_rounded_down(recommended, cce).value,
        }
    }
}

/// One spreading of lime.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct LimePart {
    /// The first day on which it may follow.
    #[schema(value_type = crate::time::reckoned::ComputedDay)]
    pub not_before: Day,
    /// As pure calcium carbonate.
    pub recommended_lb_per_1000_sqft: ProductRate,
    /// Of the material in hand.
    pub material_lb_per_1000_sqft: ProductRate,
}

/// Lime over the coming months.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct LimePlan {
    #[schema(max_items = 100)]
    pub parts: Vec<LimePart>,
    /// Test the soil again on this day before anything more; said instead of further parts.
    #[schema(value_type = Option<crate::time::reckoned::ComputedDay>)]
    pub test_again_on: Option<Day>,
    #[schema(max_length = 200)]
    pub source: String,
    pub mark: SourceMark,
}

/// Most parts that a plan is cut into; a recommendation beyond it is wrong.
const MOST_PARTS: i64 = 100;

/// Splits a recommendation (as pure calcium carbonate) into as few equal parts as the rule allows, the first on a given day.
/// Parts are whole millionths of a pound and add up exactly; none is over the limit.
pub fn split(
    recommended: ProductRate,
    cce: NeutralisingValue,
    rule: SplitRule,
    cap_on: CapOn,
    first_on: Day,
) -> LimePlan {
    let (most, months) = rule.numbers();
    let (source, mark) = rule.source();
    let most = most * 1_000_000;
    let held = cap_on.held(recommended, cce);
    let part = |amount: i64, at: i32| {
        let recommended_lb_per_1000_sqft = ProductRate::from_raw(amount);
        LimePart {
            not_before: first_on.plus_months(at * months),
            recommended_lb_per_1000_sqft,
            material_lb_per_1000_sqft: material_rounded_down(recommended_lb_per_1000_sqft, cce).value,
        }
    };
    let plan = |parts, test_again_on| LimePlan { parts, test_again_on, source: source.to_owned(), mark };
    if recommended.is_zero() {
        return plan(Vec::new(), None);
    }
    if rule.tests_after_first(recommended, cce, cap_on) {
        return plan(vec![part(recommended.raw() / 2, 0)], Some(first_on.plus_months(months)));
    }
    let count = (held.raw() / most + i64::from(held.raw() % most > 0)).clamp(1, MOST_PARTS);
    let (even, rest) = (recommended.raw() / count, recommended.raw() % count);
    let parts = (0..count).zip(0_i32..).map(|(at, number)| part(even + i64::from(at < rest), number)).collect();
    plan(parts, None)
}

/// Whether dolomitic lime is wanted: magnesium is low and lime is needed (University of Georgia AESL, crop sheet 792).
pub fn dolomitic(magnesium: Option<crate::soil::SoilCategory>, recommended: ProductRate) -> bool {
    !recommended.is_zero() && magnesium.is_some_and(|level| level <= crate::soil::SoilCategory::Low)
}
