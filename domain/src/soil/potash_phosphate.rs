//! How much phosphate and potash a report asks for. Few sources say it in numbers; where none was read, the category stands
//! and the laboratory's own recommendation is asked for.

use serde::{Deserialize, Serialize};

use super::{interpret::Interpretation, table::Advice};
use crate::{
    explain::{Derivation, SourceMark},
    quantity::{NutrientRate, SoilReading, quotient_down},
};

/// What to put down of P2O5 or K2O in the year.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case", tag = "kind")]
pub enum Recommendation {
    /// The laboratory's own figure, entered from its report.
    FromReport { rate_lb_per_1000_sqft: NutrientRate },
    /// A published source gives the figure.
    Published { rate_lb_per_1000_sqft: NutrientRate, derivation: Derivation },
    /// The source says that none is needed.
    NoneNeeded { derivation: Derivation },
    /// No source that was read gives a figure: see the laboratory's own recommendation.
    SeeLaboratory {
        #[schema(max_length = 60)]
        class: String,
    },
}

/// The laboratory's figure if it was entered, else what the table's source says, else the laboratory's report.
pub fn recommend(entered: Option<NutrientRate>, interpretation: &Interpretation) -> Recommendation {
    match (entered, interpretation.advice) {
        (Some(rate_lb_per_1000_sqft), _) => Recommendation::FromReport { rate_lb_per_1000_sqft },
        (None, Advice::None) => Recommendation::NoneNeeded { derivation: interpretation.derivation.clone() },
        (None, _) => Recommendation::SeeLaboratory { class: interpretation.class.clone() },
    }
}

/// One of North Carolina's equations a I^2 - b I + c: a in ten-thousandths, b in thousandths, c in tenths.
struct Equation {
    a: i64,
    b: i64,
    c: i64,
}

const fn equation(a: i64, b: i64, c: i64) -> Equation {
    Equation { a, b, c }
}

/// Equations 1 to 20 give pounds on the acre, 21 to 25 pounds on 1,000 sq ft (NCDA&CS Circular 1, Table 2.4, read whole).
const NORTH_CAROLINA: [Equation; 25] = [
    equation(467, 13_000, 9_000),
    equation(202, 6_370, 5_000),
    equation(100, 3_500, 3_000),
    equation(175, 4_460, 3_000),
    equation(193, 4_900, 3_000),
    equation(272, 6_080, 3_000),
    equation(100, 3_250, 2_500),
    equation(173, 4_640, 2_500),
    equation(102, 3_000, 2_200),
    equation(103, 2_900, 2_000),
    equation(190, 4_200, 2_000),
    equation(53, 2_000, 1_800),
    equation(120, 2_900, 1_650),
    equation(116, 2_750, 1_500),
    equation(140, 3_200, 1_500),
    equation(227, 4_420, 1_500),
    equation(84, 2_190, 1_400),
    equation(120, 3_000, 1_200),
    equation(44, 1_600, 1_000),
    equation(120, 2_400, 800),
    equation(12, 315, 200),
    equation(5, 418, 110),
    equation(5, 135, 90),
    equation(7, 160, 80),
    equation(5, 130, 65),
];

/// The last of the equations that give pounds on the acre.
const LAST_BY_ACRE: usize = 20;

#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error(
    "North Carolina's equations are numbered 1 to 25; take the number from the laboratory's own table for the crop"
)]
pub struct NoEquation;

/// P2O5 or K2O by one of North Carolina's equations from its Mehlich-3 index, in pounds on 1,000 sq ft, rounded down.
///
/// Which equation a lawn takes stands in a table that was not read, so the number of the equation comes from the
/// laboratory. A quadratic turns up again, so from its lowest point on, and wherever it is below zero, nothing is needed.
pub fn north_carolina_rounded_down(number: usize, index: SoilReading) -> Result<Recommendation, NoEquation> {
    let at = number.checked_sub(1).ok_or(NoEquation)?;
    let Equation { a, b, c } = NORTH_CAROLINA.get(at).ok_or(NoEquation)?;
    let (a, b, c, i) = (i128::from(*a), i128::from(*b), i128::from(*c), i128::from(index.raw()));
    // In 1e-10 of the equation's unit: 1e-4 x 1e-6, 1e-3 x 1e-3 and 1e-1.
    let value = a * i * i - b * i * 10_000 + c * 1_000_000_000;
    // Past the lowest point: I >= b / 2a, in thousandths of the index.
    let past = 2 * a * i >= b * 10_000;
    let value = if past { 0 } else { value.max(0) };
    let rate =
        if number <= LAST_BY_ACRE { quotient_down(value * 100, 4_356 * 10_000) } else { quotient_down(value, 10_000) };
    let rate = NutrientRate::from_raw(rate);
    let derivation =
        Derivation::of("P2O5 or K2O for the year", "a I^2 - b I + c, nothing below zero or past its lowest point")
            .with_text("equation", &number, "")
            .with_text("index", &index, "")
            .converting("1 lb on 1,000 sq ft is 43.56 lb on the acre; only equations 1 to 20 are by the acre")
            .from_source(SourceMark::Read, "NCDA&CS Agronomic Division, Circular 1 (2014), Table 2.4")
            .gives(rate, "down to the millionth of a pound")
            .derivation;
    Ok(if rate.is_zero() {
        Recommendation::NoneNeeded { derivation }
    } else {
        Recommendation::Published { rate_lb_per_1000_sqft: rate, derivation }
    })
}
