//! The answer: every rule's finding, the verdict, the largest lawful amount and what binds it.

mod hours;
mod label_check;
mod run;
mod section;
mod unknown;

pub use hours::{HourAnswer, first_stretch, hours_of, judge_hours};
pub use label_check::{LabelCheck, check_label};
pub use run::summary;
use serde::{Deserialize, Serialize};

use crate::{
    facts::Facts,
    ids::SectionId,
    law::Lawbook,
    product::Nutrients,
    quantity::{NutrientRate, NutrientRoom, ProductMass, ProductRate},
    time::Day,
};

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

/// How one rule answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// The rule is met.
    Met,
    /// Not forbidden, but to be looked at.
    Care,
    /// The rule is broken.
    Broken,
    /// The rule cannot be answered: a fact or the law itself is not known.
    Unknown,
}

/// How the text behind a value was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Mark {
    /// In the statute, regulation or ordinance itself.
    Read,
    /// In a secondary text.
    #[serde(rename = "read_2")]
    Read2,
    /// From memory: warns only.
    Memory,
    /// The company's own setting, or its reading of a label.
    Own,
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
pub struct SectionAnswer {
    pub section_id: SectionId,
    #[schema(max_length = 120)]
    pub section_name: String,
    pub area_sqft: crate::quantity::Area,
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

/// A rule set that took part, by the hash of its text.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct RuleSetUsed {
    #[schema(max_length = 60, example = "us-pa")]
    pub code: String,
    /// SHA-256 of the rule set's text, in hexadecimal; null when nobody has gathered it.
    #[schema(max_length = 64)]
    pub hash: Option<String>,
    /// The day it was last compared with the law; null when nobody has gathered it.
    pub last_checked: Option<Day>,
    /// Said when the set did not take part: it is pre-empted, or nobody has gathered its law.
    #[schema(max_length = 400)]
    pub note: Option<String>,
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
    pub sections: Vec<SectionAnswer>,
    #[schema(max_items = 20)]
    pub rule_sets: Vec<RuleSetUsed>,
}

/// Runs every rule of the stacked rule sets on the facts and never stops at the first.
///
/// The sets named are joined by those of the places around them, by the company's own and by the label. A code without a
/// set, and no code at all, is answered as unknown law, never as no law.
pub fn decide(lawbook: &Lawbook, rule_sets: &[String], facts: &Facts) -> Decision {
    run::Run::new(lawbook, rule_sets, facts).decide()
}
