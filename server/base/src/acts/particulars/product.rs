//! What stood of a product when a record was written.

use domain::{
    ids::ProductFileId,
    law::nutrient::Nutrient,
    product::{epa::EpaRegistration, printed::NitrogenForms},
    quantity::Percent,
    time::{Day, Instant},
};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::acts::rows::ProductRow;

/// What a product was, by its label.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ProductThen {
    #[schema(max_length = 120)]
    pub name: String,
    pub nitrogen_percent: Percent,
    pub slow_nitrogen_percent: Percent,
    pub phosphate_percent: Percent,
    pub potash_percent: Percent,
    /// As the label prints them, if they were copied from it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub nitrogen_forms: Option<NitrogenForms>,
    /// Of a combination product: which pesticide it was, too.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pesticide: Option<PesticideThen>,
    /// The label as the label itself calls its version.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 120)]
    pub label_version: Option<String>,
    /// The copy of the label that was kept last.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub label_file: Option<LabelFileThen>,
}

/// The pesticide half of a combination product, as far as records of it name it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct PesticideThen {
    pub epa_registration: EpaRegistration,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 2000)]
    pub active_ingredients: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 400)]
    pub target_pests: Option<String>,
    /// When people and pets might go on the treated ground again, by the label.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 400)]
    pub reentry: Option<String>,
}

/// A kept copy of a label.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct LabelFileThen {
    pub id: ProductFileId,
    #[schema(max_length = 64)]
    pub sha256: String,
    /// The day that the label itself bears.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dated: Option<Day>,
}

impl ProductThen {
    /// What it holds of everything that rules count.
    pub fn nutrients(&self) -> impl Iterator<Item = Nutrient> {
        let quick = self.nitrogen_percent > self.slow_nitrogen_percent;
        let held = [
            (Nutrient::NitrogenTotal, !self.nitrogen_percent.is_zero()),
            (Nutrient::NitrogenQuick, quick),
            (Nutrient::NitrogenSlow, !self.slow_nitrogen_percent.is_zero()),
            (Nutrient::Phosphate, !self.phosphate_percent.is_zero()),
            (Nutrient::Phosphorus, !self.phosphate_percent.is_zero()),
            (Nutrient::Potash, !self.potash_percent.is_zero()),
            (Nutrient::AnyFertilizer, true),
        ];
        held.into_iter().filter_map(|(nutrient, there)| there.then_some(nutrient))
    }
}

/// What stood of a product, by what was known at a moment.
pub(super) fn product(row: &ProductRow, known_at: Instant) -> ProductThen {
    let kept = row.label_files.iter().filter(|file| file.0 <= known_at.millis()).max_by_key(|file| file.0);
    let printed = row.label.printed.as_deref();
    ProductThen {
        name: row.name.clone(),
        nitrogen_percent: row.label.nitrogen_percent,
        slow_nitrogen_percent: row.label.slow_nitrogen_percent,
        phosphate_percent: row.label.phosphate_percent,
        potash_percent: row.label.potash_percent,
        nitrogen_forms: printed.and_then(|printed| printed.nitrogen_forms),
        pesticide: row.label.pesticide().map(|part| PesticideThen {
            epa_registration: part.epa_registration.clone(),
            active_ingredients: part.ingredients_in_words(),
            target_pests: part.target_pests.clone(),
            reentry: part.reentry(),
        }),
        label_version: printed.and_then(|printed| printed.version.clone()),
        label_file: kept.map(|file| LabelFileThen { id: file.1, dated: file.2, sha256: file.3.clone() }),
    }
}
