//! Visits as the office sends them.

use domain::{
    application::Purpose,
    ids::{PersonId, ProductId, PropertyId, SectionId},
    quantity::{NutrientRate, ProductRate},
    time::Day,
};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::VisitStatus;

/// A visit as the office plans it.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "property_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a11", "person_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a14",
    "planned_on": "2026-09-15", "product_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a12",
    "section_ids": ["01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a13"], "purpose": "maintenance",
    "target_nitrogen_lb_per_1000_sqft": "0.75"
}))]
pub struct VisitInput {
    pub property_id: PropertyId,
    /// Who is to go there. From then on the person may read this property.
    pub person_id: PersonId,
    /// Local day at the property.
    pub planned_on: Day,
    pub product_id: ProductId,
    /// Sections of the property to be treated, each once.
    #[schema(min_items = 1, max_items = 20)]
    pub section_ids: Vec<SectionId>,
    pub purpose: Purpose,
    /// Nitrogen to be delivered, if the plan says how much.
    #[serde(default)]
    pub target_nitrogen_lb_per_1000_sqft: Option<NutrientRate>,
    /// Product to be put down, where nitrogen does not state the amount. One of the two at most.
    #[serde(default)]
    pub target_product_lb_per_1000_sqft: Option<ProductRate>,
}

/// A visit as the office changes it.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "property_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a11", "person_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a14",
    "planned_on": "2026-09-15", "product_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a12",
    "section_ids": ["01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a13"], "purpose": "maintenance",
    "target_nitrogen_lb_per_1000_sqft": "0.75", "status": "not_done", "reason": "Gate locked"
}))]
pub struct VisitChange {
    pub property_id: PropertyId,
    /// Who is to go there.
    pub person_id: PersonId,
    /// Local day at the property.
    pub planned_on: Day,
    pub product_id: ProductId,
    /// Sections of the property to be treated, each once.
    #[schema(min_items = 1, max_items = 20)]
    pub section_ids: Vec<SectionId>,
    pub purpose: Purpose,
    /// Nitrogen to be delivered, if the plan says how much.
    #[serde(default)]
    pub target_nitrogen_lb_per_1000_sqft: Option<NutrientRate>,
    /// Product to be put down, where nitrogen does not state the amount. One of the two at most.
    #[serde(default)]
    pub target_product_lb_per_1000_sqft: Option<ProductRate>,
    pub status: VisitStatus,
    /// Why it was not done or called off. Required then, and only then.
    #[serde(default)]
    #[schema(min_length = 3, max_length = 500, format = "lines")]
    pub reason: Option<String>,
}

impl From<VisitInput> for VisitChange {
    fn from(input: VisitInput) -> Self {
        Self {
            property_id: input.property_id,
            person_id: input.person_id,
            planned_on: input.planned_on,
            product_id: input.product_id,
            section_ids: input.section_ids,
            purpose: input.purpose,
            target_nitrogen_lb_per_1000_sqft: input.target_nitrogen_lb_per_1000_sqft,
            target_product_lb_per_1000_sqft: input.target_product_lb_per_1000_sqft,
            status: VisitStatus::Planned,
            reason: None,
        }
    }
}
