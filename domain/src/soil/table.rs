//! What a laboratory's table is made of, and what one of its numbers is.

use serde::{Deserialize, Serialize};

use super::SoilCategory;
use crate::explain::SourceMark;

/// With what the laboratory drew the nutrient out of the soil.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Extractant {
    #[serde(rename = "mehlich_1")]
    Mehlich1,
    #[serde(rename = "mehlich_3")]
    Mehlich3,
    #[serde(rename = "bray_p1")]
    BrayP1,
    Olsen,
    Morgan,
    ModifiedMorgan,
    AmmoniumAcetate,
    AbDtpa,
    /// Another one, which the report states. No table was read for it.
    OtherStated,
}

impl Extractant {
    /// How a sentence calls it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Mehlich1 => "Mehlich-1",
            Self::Mehlich3 => "Mehlich-3",
            Self::BrayP1 => "Bray P1",
            Self::Olsen => "Olsen",
            Self::Morgan => "Morgan",
            Self::ModifiedMorgan => "modified Morgan",
            Self::AmmoniumAcetate => "ammonium acetate",
            Self::AbDtpa => "AB-DTPA",
            Self::OtherStated => "another extractant",
        }
    }
}

/// In what the number is given. Numbers by volume of soil are no parts per million.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SoilUnit {
    /// Parts per million by weight, the same as mg/kg.
    Ppm,
    LbPerAcre,
    /// Milligrams in a cubic decimeter of soil, the same as in a liter.
    MgPerLiter,
    /// The laboratory's own index.
    Index,
}

/// Whether a number counts the element or its oxide.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SoilBasis {
    Element,
    Oxide,
}

/// What a laboratory measures beside acidity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SoilNutrient {
    Phosphorus,
    Potassium,
    Magnesium,
    Calcium,
}

/// The laboratories and authorities whose tables were read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SoilTable {
    /// Rutgers NJAES, relative levels of nutrients.
    Rutgers,
    /// University of Georgia, Coastal Plain.
    GeorgiaCoastalPlain,
    /// University of Georgia, Piedmont, Mountain and Limestone Valley.
    GeorgiaPiedmont,
    /// University of Massachusetts, optimum ranges.
    Massachusetts,
    /// Penn State, home lawns: where the phosphorus recommendation stops.
    PennStateHomeLawn,
    /// Penn State, putting greens.
    PennStatePuttingGreen,
    /// Washington State, turf: where a gain from phosphorus becomes unlikely.
    WashingtonTurf,
    /// Cornell, lawns and sports fields.
    Cornell,
    /// Oklahoma State's index.
    Oklahoma,
    /// Northern Ireland's statute for grassland: a published class table, no lawn recommendation.
    NorthernIreland,
    /// Field crops, Building Soils for Better Crops: no lawn recommendation.
    FieldCrops,
}

/// Whether the source says that more of the nutrient is wanted. Never how much.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Advice {
    /// The source recommends some.
    Add,
    /// The source says that some may be needed.
    MayNeed,
    /// The source recommends none.
    None,
    /// The table gives a class and no advice.
    NotSaid,
}

/// One line of a table: from and to, both included, in thousandths.
pub(super) struct Band {
    pub from: i64,
    pub to: i64,
    pub class: &'static str,
    pub category: Option<SoilCategory>,
    pub advice: Advice,
}

/// A table as it was printed.
pub(super) struct Printed {
    pub table: SoilTable,
    pub nutrient: SoilNutrient,
    pub extractant: Extractant,
    pub unit: SoilUnit,
    pub bands: &'static [Band],
    pub source: &'static str,
    pub mark: SourceMark,
}
