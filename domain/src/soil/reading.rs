//! A whole report, read: each number with the table of its own laboratory and extractant, and what follows for phosphate and
//! potash. What no table says is said to be unknown.

use serde::{Deserialize, Serialize};

use super::{
    SoilCategory,
    interpret::{Interpretation, SoilFault, SoilValue, interpret},
    potash_phosphate::{Recommendation, north_carolina_rounded_down, recommend},
    table::{Extractant, SoilBasis, SoilNutrient, SoilTable, SoilUnit},
};
use crate::quantity::{NutrientRate, SoilReading};

/// A number as the laboratory printed it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct ReportedValue {
    pub nutrient: SoilNutrient,
    pub reading: SoilReading,
    pub extractant: Extractant,
    pub unit: SoilUnit,
    pub basis: SoilBasis,
    /// The equation that North Carolina's laboratory gives for the crop.
    #[schema(minimum = 1, maximum = 25)]
    pub north_carolina_equation: Option<i32>,
}

impl SoilNutrient {
    /// How a sentence calls it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Phosphorus => "phosphorus",
            Self::Potassium => "potassium",
            Self::Magnesium => "magnesium",
            Self::Calcium => "calcium",
        }
    }
}

/// A number and what it means.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct InterpretedValue {
    pub nutrient: SoilNutrient,
    pub reading: SoilReading,
    pub extractant: Extractant,
    pub unit: SoilUnit,
    pub basis: SoilBasis,
    /// Class, category and source by the table; null where no table of this laboratory was read for it.
    pub interpretation: Option<Interpretation>,
    /// Why there is none, and where to look.
    #[schema(max_length = 300)]
    pub not_read: Option<String>,
}

const SEE_LABORATORY: &str = "See the laboratory's own recommendation.";

/// Reads a number with the table of the laboratory, if one was named.
pub fn read_value(value: &ReportedValue, table: Option<SoilTable>) -> InterpretedValue {
    let ReportedValue { nutrient, reading, extractant, unit, basis, .. } = *value;
    let found = match table {
        Some(table) => {
            let value = SoilValue { nutrient, reading, extractant: Some(extractant), unit, basis };
            interpret(&value, table).map_err(|fault| fault_text(&fault))
        }
        None => Err(format!("No published table was named for this laboratory. {SEE_LABORATORY}")),
    };
    let (interpretation, not_read) = match found {
        Ok(interpretation) => (Some(interpretation), None),
        Err(why) => (None, Some(why)),
    };
    InterpretedValue { nutrient, reading, extractant, unit, basis, interpretation, not_read }
}

fn fault_text(fault: &SoilFault) -> String {
    let said = fault.to_string();
    let mut letters = said.chars();
    let capital: String = letters.next().into_iter().flat_map(char::to_uppercase).chain(letters).collect();
    format!("{capital}. {SEE_LABORATORY}")
}

/// What to put down of an oxide in the year, in numbers where somebody published them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct OxideAdvice {
    /// Null when the report holds neither a recommendation nor a number that a source reads.
    pub recommendation: Option<Recommendation>,
    /// The same in one sentence.
    #[schema(max_length = 300, example = "The laboratory recommends 1 lb P2O5 per 1,000 sq ft for the year.")]
    pub words: String,
}

/// The laboratory's own figure first; then North Carolina's equation, if the laboratory gave its number; then what the table's
/// source says.
pub fn advise(
    nutrient: SoilNutrient,
    entered: Option<NutrientRate>,
    values: &[ReportedValue],
    table: Option<SoilTable>,
) -> OxideAdvice {
    let oxide = if nutrient == SoilNutrient::Phosphorus { "P2O5" } else { "K2O" };
    if let Some(rate_lb_per_1000_sqft) = entered {
        let words = if rate_lb_per_1000_sqft.is_zero() {
            format!("The laboratory recommends no {oxide} for the year.")
        } else {
            format!("The laboratory recommends {rate_lb_per_1000_sqft} lb {oxide} per 1,000 sq ft for the year.")
        };
        return OxideAdvice { recommendation: Some(Recommendation::FromReport { rate_lb_per_1000_sqft }), words };
    }
    let of_nutrient = || values.iter().filter(|value| value.nutrient == nutrient);
    let by_equation = of_nutrient().find_map(|value| {
        let number = usize::try_from(value.north_carolina_equation?).ok()?;
        north_carolina_rounded_down(number, value.reading).ok()
    });
    let by_table = || {
        let read = of_nutrient().find_map(|value| read_value(value, table).interpretation)?;
        Some(recommend(None, &read))
    };
    let recommendation = by_equation.or_else(by_table);
    let words = match &recommendation {
        Some(Recommendation::Published { rate_lb_per_1000_sqft, derivation }) => {
            format!("{rate_lb_per_1000_sqft} lb {oxide} per 1,000 sq ft for the year ({}).", derivation.source)
        }
        Some(Recommendation::NoneNeeded { derivation }) => {
            format!("The source says that no {oxide} is needed ({}).", derivation.source)
        }
        Some(Recommendation::SeeLaboratory { class }) => {
            format!(
                "The {} is {class}; no source that was read says how much {oxide}. {SEE_LABORATORY}",
                nutrient.label()
            )
        }
        Some(Recommendation::FromReport { .. }) | None => {
            format!("The report holds no recommendation of {oxide} and no number that a source reads. {SEE_LABORATORY}")
        }
    };
    OxideAdvice { recommendation, words: crate::text::truncate_chars(&words, 300) }
}

/// The category of a nutrient by the table, where it draws that line.
pub fn category(nutrient: SoilNutrient, values: &[ReportedValue], table: Option<SoilTable>) -> Option<SoilCategory> {
    let of_nutrient = values.iter().filter(|value| value.nutrient == nutrient);
    of_nutrient.filter_map(|value| read_value(value, table).interpretation).find_map(|read| read.category)
}
