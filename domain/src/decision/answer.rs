//! What a decision is made of.

use serde::{Deserialize, Serialize};

use crate::{
    ids::SectionId,
    law::{Mark, RuleSetUsed},
    product::Nutrients,
    quantity::{Area, NutrientRate, NutrientRoom, ProductMass, ProductRate},
    rules::Outcome,
    time::Day,
};

/// The longest texts a finding may hold.
pub(super) const MESSAGE_LENGTH: usize = 600;

pub(super) const NUMBER_LENGTH: usize = 120;

/// Unknown is never `go`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Every rule is met.
    Go,
    /// No rule forbids it, but something must be looked at first.
    Care,
    /// A rule forbids it, or something a rule needs is not known.
    Stop,
}

/// `key` of a finding, by which it is acknowledged.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[schema(min_length = 1, max_length = 200, example = "us-pa.ground")]
#[serde(transparent)]
pub struct FindingKey(pub String);

/// One rule's answer that a person must see.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Finding {
    /// Names this finding within its decision, to acknowledge it: the rule, and the section where there is one.
    #[schema(max_length = 200)]
    pub key: String,
    #[schema(max_length = 120, example = "us-pa.nitrogen.quick.application")]
    pub rule: String,
    pub section_id: Option<SectionId>,
    pub outcome: Outcome,
    /// What this finding alone makes of the verdict.
    pub verdict: Verdict,
    /// What and why, in a plain sentence.
    #[schema(max_length = 600)]
    pub message: String,
    #[schema(max_length = 120)]
    pub limit: Option<String>,
    #[schema(max_length = 120)]
    pub actual: Option<String>,
    #[schema(max_length = 60)]
    pub unit: Option<String>,
    /// Where it is written.
    #[schema(max_length = 400)]
    pub citation: String,
    #[schema(max_length = 600)]
    pub href: Option<String>,
    pub mark: Mark,
    /// First day this value was in force, if that is known.
    pub since: Option<Day>,
    /// What would clear it.
    #[schema(max_length = 600)]
    pub hint: String,
}

/// One rule that is met: enough to show that it was asked, and with which numbers.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct MetRule {
    #[schema(max_length = 120)]
    pub rule: String,
    pub section_id: Option<SectionId>,
    #[schema(max_length = 120)]
    pub limit: Option<String>,
    #[schema(max_length = 120)]
    pub actual: Option<String>,
    #[schema(max_length = 60)]
    pub unit: Option<String>,
    #[schema(max_length = 400)]
    pub citation: String,
}

/// The figures of one section.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct SectionDecision {
    pub section_id: SectionId,
    #[schema(max_length = 120)]
    pub section_name: String,
    pub area_sqft: Area,
    pub product_lb: ProductMass,
    /// Product on 1,000 sq ft, rounded up in the sixth decimal.
    pub product_lb_per_1000_sqft: ProductRate,
    /// Setting for each of two passes at right angles: half the product on 1,000 sq ft, rounded down.
    pub half_rate_product_lb_per_1000_sqft: ProductRate,
    pub delivers: Nutrients,
    /// Nitrogen on 1,000 sq ft, rounded up in the sixth decimal.
    pub nitrogen_lb_per_1000_sqft: NutrientRate,
    pub quick_nitrogen_lb_per_1000_sqft: NutrientRate,
    pub phosphate_lb_per_1000_sqft: NutrientRate,
    pub potash_lb_per_1000_sqft: NutrientRate,
    /// Most of this product that every amount rule lets through, rounded down; nothing when no rule limits it.
    pub largest_lawful_product_lb: Option<ProductMass>,
    /// The rule that sets it.
    #[schema(max_length = 120)]
    pub bound_by: Option<String>,
    /// The same, in a plain sentence.
    #[schema(max_length = 600)]
    pub bound_by_words: Option<String>,
    /// Nitrogen still free this year under the tightest yearly cap, before and after, rounded down; nothing without a cap.
    pub nitrogen_room_before_lb_per_1000_sqft: Option<NutrientRoom>,
    pub nitrogen_room_after_lb_per_1000_sqft: Option<NutrientRoom>,
}

/// The whole answer. Kept word for word with the record it was made for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Decision {
    pub verdict: Verdict,
    /// The verdict in one sentence.
    #[schema(max_length = 600)]
    pub summary: String,
    pub on: Day,
    /// Everything that is not plainly met, the gravest first.
    #[schema(max_items = 2000)]
    pub findings: Vec<Finding>,
    /// The rules that are met.
    #[schema(max_items = 5000)]
    pub met: Vec<MetRule>,
    #[schema(max_items = 20)]
    pub sections: Vec<SectionDecision>,
    #[schema(max_items = 20)]
    pub rule_sets: Vec<RuleSetUsed>,
}
