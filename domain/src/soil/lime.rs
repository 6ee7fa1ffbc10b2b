//! How much lime: the tables and formulas that were read whole, and nothing in their gaps.

use serde::{Deserialize, Serialize};

use crate::{
    explain::{Derivation, Figure, SourceMark},
    quantity::{NeutralisingValue, ProductRate, SoilAcidity, SoilPh, quotient_down},
};

/// Goals of Penn State's table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
pub enum LimeGoal {
    #[serde(rename = "6.0")]
    Six,
    #[serde(rename = "6.5")]
    SixAndAHalf,
    #[serde(rename = "7.0")]
    Seven,
}

impl LimeGoal {
    pub const fn ph(self) -> SoilPh {
        SoilPh::from_raw(match self {
            Self::Six => 600,
            Self::SixAndAHalf => 650,
            Self::Seven => 700,
        })
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum LimeFault {
    #[error("Penn State's table ends at an acidity of 25.7; see the laboratory's own recommendation")]
    BeyondTable,
    #[error("North Carolina's formula needs a target above the soil's pH and a soil below pH 6.6")]
    BeyondFormula,
}

/// Exchangeable acidity in hundredths, and pounds of calcium carbonate equivalent on 1,000 sq ft for the goals 7.0, 6.5, 6.0.
struct Row {
    acidity: i64,
    seven: i64,
    six_and_a_half: i64,
    six: i64,
}

const fn row(acidity: i64, seven: i64, six_and_a_half: i64, six: i64) -> Row {
    Row { acidity, seven, six_and_a_half, six }
}

const PENN_STATE: [Row; 38] = [
    row(200, 50, 50, 50),
    row(260, 70, 50, 50),
    row(330, 70, 50, 50),
    row(390, 90, 70, 50),
    row(460, 110, 70, 50),
    row(520, 110, 90, 50),
    row(580, 140, 90, 50),
    row(650, 160, 110, 70),
    row(710, 160, 110, 90),
    row(780, 180, 140, 90),
    row(840, 180, 140, 110),
    row(900, 210, 160, 110),
    row(970, 230, 180, 140),
    row(1_030, 230, 180, 140),
    row(1_100, 250, 210, 160),
    row(1_160, 280, 210, 160),
    row(1_230, 280, 230, 180),
    row(1_290, 300, 250, 180),
    row(1_350, 320, 250, 210),
    row(1_420, 320, 280, 210),
    row(1_480, 340, 280, 230),
    row(1_550, 370, 300, 230),
    row(1_610, 370, 320, 250),
    row(1_680, 390, 320, 250),
    row(1_740, 390, 340, 280),
    row(1_800, 410, 340, 280),
    row(1_870, 440, 370, 300),
    row(1_930, 440, 390, 300),
    row(2_000, 460, 390, 320),
    row(2_060, 480, 410, 320),
    row(2_120, 480, 410, 340),
    row(2_190, 510, 460, 340),
    row(2_250, 530, 460, 370),
    row(2_320, 530, 460, 370),
    row(2_380, 550, 480, 390),
    row(2_450, 570, 480, 390),
    row(2_510, 570, 510, 410),
    row(2_570, 600, 530, 410),
];

const NO_LIME: &str = "the soil is at the goal or above it, so no lime whatever the acidity";

/// Penn State's lime for turf, in pounds of pure calcium carbonate on 1,000 sq ft, exactly as its table prints it.
///
/// The table does not say which line holds between two printed acidities; the line at or above the value is taken.
pub fn penn_state(ph: SoilPh, acidity: SoilAcidity, goal: LimeGoal) -> Result<Figure<ProductRate>, LimeFault> {
    let derivation = Derivation::of("lime as pure calcium carbonate", "the table's line at or above the acidity")
        .with("soil", ph)
        .with("goal", goal.ph())
        .with("exchangeable acidity per 100 g", acidity)
        .from_source(
            SourceMark::Read,
            "Penn State AASL, Turf Handbook, Lime Recommendations for Turf (Mehlich buffer)",
        );
    if ph >= goal.ph() {
        return Ok(derivation.gives(ProductRate::ZERO, NO_LIME));
    }
    let row = PENN_STATE.iter().find(|row| acidity.raw() <= row.acidity).ok_or(LimeFault::BeyondTable)?;
    let pounds = match goal {
        LimeGoal::Six => row.six,
        LimeGoal::SixAndAHalf => row.six_and_a_half,
        LimeGoal::Seven => row.seven,
    };
    Ok(derivation
        .with_text("line of the table", &SoilAcidity::from_raw(row.acidity), "meq per 100 g")
        .gives(ProductRate::from_raw(pounds * 1_000_000), "as printed"))
}

/// North Carolina's lime: tons on the acre = acidity x (target - pH) / (6.6 - pH) - residual credit, given in pounds on
/// 1,000 sq ft, rounded down. The credit is in thousandths of a ton on the acre and comes from the report.
pub fn north_carolina_rounded_down(
    ph: SoilPh,
    target: SoilPh,
    acidity: SoilAcidity,
    credit_thousandths_ton: i64,
) -> Result<Figure<ProductRate>, LimeFault> {
    let derivation =
        Derivation::of("lime", "acidity x (target - pH) / (6.6 - pH) - residual credit, in tons on the acre")
            .with("soil", ph)
            .with("target", target)
            .with("acidity per 100 cubic centimeters", acidity)
            .with_text(
                "residual credit",
                &ProductRate::from_raw(credit_thousandths_ton.saturating_mul(1_000)),
                "tons per acre",
            )
            .converting("1 ton on the acre is 2,000 / 43.56 lb on 1,000 sq ft")
            .from_source(SourceMark::Read, "NCDA&CS Agronomic Division, Circular 1 (2014), Table 2.1");
    if ph >= target {
        return Ok(derivation.gives(ProductRate::ZERO, NO_LIME));
    }
    let (below, short) = (i128::from(660 - ph.raw()), i128::from(target.raw() - ph.raw()));
    if below <= 0 || target.raw() > 660 {
        return Err(LimeFault::BeyondFormula);
    }
    // Acidity and credit in thousandths of a ton, over `below`.
    let tons = i128::from(acidity.raw()) * 10 * short - i128::from(credit_thousandths_ton) * below;
    let rate = quotient_down(tons.max(0) * 2_000 * 1_000 * 100, below * 4_356);
    Ok(derivation.gives(ProductRate::from_raw(rate), "down to the millionth of a pound"))
}

/// Acidity from a buffer's pH: (6.6 - buffer pH) x 4 meq per 100 cubic centimeters, never below zero, exactly.
pub fn north_carolina_acidity(buffer: SoilPh) -> SoilAcidity {
    SoilAcidity::from_raw(((660 - buffer.raw()) * 4).max(0))
}

/// Residual credit of lime laid down earlier: it wears off by 8 % a month in mineral soil and 16 % in soil rich in organic
/// matter (NCDA&CS, Circular 1, Table 2.1). In thousandths of a ton on the acre, rounded down.
pub fn north_carolina_credit_rounded_down(applied_thousandths_ton: i64, months: i64, organic_soil: bool) -> i64 {
    let worn = (months.max(0) * if organic_soil { 16 } else { 8 }).min(100);
    applied_thousandths_ton.max(0).saturating_mul(100 - worn) / 100
}

/// Material that does the work of so much pure calcium carbonate: recommendation x 100 / CCE, rounded down.
pub fn material_rounded_down(recommended: ProductRate, cce: NeutralisingValue) -> Figure<ProductRate> {
    let material = quotient_down(i128::from(recommended.raw()) * 10_000, i128::from(cce.raw()));
    Derivation::of("liming material", "recommendation x 100 / CCE")
        .with("recommendation", recommended)
        .with("CCE", cce)
        .from_source(SourceMark::Read, "Penn State AASL, online report, commercial turf to plant")
        .gives(ProductRate::from_raw(material), "down to the millionth of a pound")
}
