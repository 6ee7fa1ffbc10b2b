//! Two published ways to reckon a season's need of an element from what the soil holds.

use serde::{Deserialize, Serialize};

use crate::{
    explain::{Derivation, Figure, SourceMark},
    quantity::{
        NutrientRate, SoilReading,
        convert::{GRAMS_PER_SQUARE_METER_OF_POUNDS_PER_1000, PHOSPHORUS_IN_PHOSPHATE, POTASSIUM_IN_POTASH},
        quotient_down,
    },
};

/// The element that a need is reckoned for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum NeededElement {
    Phosphorus,
    Potassium,
}

impl NeededElement {
    /// Pounds of the oxide, as labels state it, of so many millionths of a pound of the element; rounded down.
    pub fn oxide_rounded_down(self, element: i64) -> NutrientRate {
        let factor = match self {
            Self::Phosphorus => PHOSPHORUS_IN_PHOSPHATE,
            Self::Potassium => POTASSIUM_IN_POTASH,
        };
        NutrientRate::from_raw(factor.inverse().of_rounded_down(element))
    }
}

/// Element that keeps the soil at a guideline: guideline + use - test, never below zero, in thousandths of a gram on the
/// square meter over the sampled depth. `use_expected` follows from nitrogen: of cool-season grass N / 8 for phosphorus and
/// N / 2 for potassium (Woods, Working Out the Fertilizer Recommendation from a Soil Test, 2014; private research, read).
pub fn sustained_need(guideline: i64, use_expected: i64, test: i64) -> i64 {
    guideline.saturating_add(use_expected).saturating_sub(test).max(0)
}

/// So many thousandths of a gram on the square meter as millionths of a pound of the element on 1,000 sq ft, rounded down.
pub fn pounds_of_grams_rounded_down(thousandths: i64) -> i64 {
    GRAMS_PER_SQUARE_METER_OF_POUNDS_PER_1000.inverse().of_rounded_down(thousandths.saturating_mul(1_000))
}

/// Element still needed in a season: season total - soil supply, where a part per million is 2 lb on the acre, never below
/// zero, in millionths of a pound of the element on 1,000 sq ft, rounded down; and the oxide it makes.
///
/// The season's total is the grass's and the caller's: Texas A&M's example implies 2.5 lb P and 7.7 lb K for bermudagrass
/// whose clippings are removed.
pub fn above_supply_rounded_down(
    element: NeededElement,
    season_total: NutrientRate,
    test_ppm: SoilReading,
) -> Figure<NutrientRate> {
    // 1e-3 ppm x 2 lb / 43.56 is 1e-3 x 200 / 4,356 lb on 1,000 sq ft; in 1e-6 lb that is 200,000 / 4,356.
    let supply = i128::from(test_ppm.raw()) * 200_000;
    let need = quotient_down((i128::from(season_total.raw()) * 4_356 - supply).max(0), 4_356);
    Derivation::of("element needed beyond what the soil holds", "season total - ppm x 2 / 43.56")
        .with("season total of the element", season_total)
        .with("soil test, parts per million", test_ppm)
        .converting(match element {
            NeededElement::Phosphorus => "1 lb P is 2.2913 lb P2O5",
            NeededElement::Potassium => "1 lb K is 1.2046 lb K2O",
        })
        .from_source(SourceMark::Read, "Texas A&M, Turfgrass Fertilization")
        .gives(NutrientRate::from_raw(need), "down to the millionth of a pound")
}
