//! What a label prints beyond the grade: forms of nitrogen, further nutrients, contents, density, claims and limits.

use serde::{Deserialize, Serialize};

use super::{guarantee::Element, pesticide::PesticidePart};
use crate::{
    quantity::{Density, NeutralisingValue, Percent, ProductMass, RainDepth, Volume},
    time::Day,
};

/// The lines beneath total nitrogen, each in percent of the weight of the product. Together they are the total.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct NitrogenForms {
    pub ammoniacal_percent: Percent,
    pub nitrate_percent: Percent,
    /// Urea nitrogen that is not coated. Where the label counts coated urea in this line and tells its share in a
    /// footnote, that share is left out here.
    pub urea_percent: Percent,
    /// Other nitrogen that is soluble and available at once.
    pub other_water_soluble_percent: Percent,
    /// Soluble, but slowly available: short methylene ureas, triazones.
    pub slowly_available_water_soluble_percent: Percent,
    pub water_insoluble_percent: Percent,
    /// Coated slow-release nitrogen. It is not water-insoluble nitrogen and is never counted in it.
    pub coated_slow_release_percent: Percent,
}

impl Default for NitrogenForms {
    fn default() -> Self {
        Self {
            ammoniacal_percent: Percent::ZERO,
            nitrate_percent: Percent::ZERO,
            urea_percent: Percent::ZERO,
            other_water_soluble_percent: Percent::ZERO,
            slowly_available_water_soluble_percent: Percent::ZERO,
            water_insoluble_percent: Percent::ZERO,
            coated_slow_release_percent: Percent::ZERO,
        }
    }
}

impl NitrogenForms {
    /// Every line added up.
    pub fn total(&self) -> Percent {
        Percent::from_raw(self.quick().raw() + self.slow().raw())
    }

    /// What is available at once.
    pub fn quick(&self) -> Percent {
        let parts =
            [self.ammoniacal_percent, self.nitrate_percent, self.urea_percent, self.other_water_soluble_percent];
        Percent::from_raw(parts.iter().map(|part| part.raw()).sum())
    }

    /// What is slowly available: water-insoluble, coated, and slowly available water-soluble.
    pub fn slow(&self) -> Percent {
        let parts = [
            self.water_insoluble_percent,
            self.coated_slow_release_percent,
            self.slowly_available_water_soluble_percent,
        ];
        Percent::from_raw(parts.iter().map(|part| part.raw()).sum())
    }
}

/// What one package holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum NetContents {
    #[serde(rename = "weight_lb")]
    Weight(ProductMass),
    #[serde(rename = "volume_gal")]
    Volume(Volume),
}

/// A guarantee after the three of the grade, as the element.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FurtherNutrient {
    pub element: Element,
    pub percent: Percent,
}

/// The rest of a label, as the bag or jug prints it.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct PrintedLabel {
    pub nitrogen_forms: Option<NitrogenForms>,
    #[schema(max_items = 20)]
    pub further_nutrients: Vec<FurtherNutrient>,
    pub net_contents: Option<NetContents>,
    /// Weight of a gallon, for a liquid. It depends on maker and temperature, so only the label's own figure counts.
    pub density_lb_per_gal: Option<Density>,
    /// The label calls its nitrogen slow, slowly available, controlled or timed.
    pub claims_slow_release: bool,
    /// Nitrogen that the label calls organic, in percent of the weight of the product.
    pub organic_nitrogen_percent: Option<Percent>,
    #[schema(min_length = 1, max_length = 600, format = "line")]
    pub derived_from: Option<String>,
    /// Size of the particles as printed.
    #[schema(min_length = 1, max_length = 80, example = "SGN 150", format = "line")]
    pub particle_size: Option<String>,
    #[schema(min_length = 1, max_length = 60, format = "line")]
    pub state_registration: Option<String>,
    pub pesticide: Option<PesticidePart>,
    /// Least and most water that the label asks for after application.
    pub watering_in_at_least_in: Option<RainDepth>,
    pub watering_in_at_most_in: Option<RainDepth>,
    #[schema(min_length = 1, max_length = 60, format = "line")]
    pub version: Option<String>,
    pub dated: Option<Day>,
    /// Of a liming material: its calcium carbonate equivalent. Named only where there is one, so that earlier labels read as
    /// they were written.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cce_percent: Option<NeutralisingValue>,
}
