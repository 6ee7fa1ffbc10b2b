//! A laboratory's number, read with the table of its extractant and of that laboratory, and with no other.
//!
//! The same soil gives other numbers in other extractants, and for one extractant the laboratories draw their lines at 15 or
//! at 90 parts per million. So a number without extractant is refused, and so is one for which no table was read.

use serde::{Deserialize, Serialize};

use super::{
    SoilCategory,
    table::{Advice, Band, Extractant, Printed, SoilBasis, SoilNutrient, SoilTable, SoilUnit},
    tables,
};
use crate::{
    explain::Derivation,
    quantity::{SoilReading, quotient_nearest},
};

/// A number from a report.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SoilValue {
    pub nutrient: SoilNutrient,
    pub reading: SoilReading,
    /// Without it the number means nothing and is refused.
    #[serde(default)]
    pub extractant: Option<Extractant>,
    pub unit: SoilUnit,
    pub basis: SoilBasis,
}

#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SoilFault {
    #[error("a number without its extractant means nothing; copy the method from the report")]
    NoExtractant,
    #[error("this table counts the element, and the number is of the oxide; enter it as the laboratory prints it")]
    OtherBasis,
    #[error(
        "no table of this laboratory was read for {extractant} in this unit; enter the category that the report itself prints"
    )]
    NoTable { extractant: &'static str },
}

/// What a table says of a number.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Interpretation {
    /// The table's own word.
    #[schema(max_length = 60, example = "low")]
    pub class: String,
    /// The same as a category that rules read; nothing where the table does not draw that line.
    pub category: Option<SoilCategory>,
    /// What the table says about adding more.
    pub advice: Advice,
    pub derivation: Derivation,
}

/// One line of a table as it was printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SoilBand {
    pub from: SoilReading,
    /// Nothing where the table has no upper end.
    pub to: Option<SoilReading>,
    pub class: &'static str,
}

/// The lines of the table that reads a number, the lowest first; nothing where none was read, or where it does not fit.
pub fn bands(value: &SoilValue, table: SoilTable) -> Option<Vec<SoilBand>> {
    let upper = |to: i64| (to != i64::MAX).then(|| SoilReading::from_raw(to));
    let line = |band: &Band| SoilBand { from: SoilReading::from_raw(band.from), to: upper(band.to), class: band.class };
    printed_for(value, table).ok().map(|printed| printed.bands.iter().map(line).collect())
}

/// The one table that fits a number.
fn printed_for(value: &SoilValue, table: SoilTable) -> Result<&'static Printed, SoilFault> {
    let Some(extractant) = value.extractant else { return Err(SoilFault::NoExtractant) };
    let fits = |printed: &&Printed| {
        printed.table == table
            && printed.nutrient == value.nutrient
            && printed.extractant == extractant
            && printed.unit == value.unit
    };
    let printed = tables::PRINTED.iter().find(fits).ok_or(SoilFault::NoTable { extractant: extractant.label() })?;
    if value.basis == SoilBasis::Element { Ok(printed) } else { Err(SoilFault::OtherBasis) }
}

/// Reads a number with the one table that fits it. A number between two printed classes, or at an end that two classes
/// share, counts for the higher class, the one that asks for less.
pub fn interpret(value: &SoilValue, table: SoilTable) -> Result<Interpretation, SoilFault> {
    let printed = printed_for(value, table)?;
    let no_table = SoilFault::NoTable { extractant: printed.extractant.label() };
    let reading = value.reading.raw();
    let within = printed.bands.iter().rev().find(|band| band.from <= reading && reading <= band.to);
    let band = within.or_else(|| printed.bands.iter().find(|band| reading < band.from)).ok_or(no_table)?;
    let ends = if band.to == i64::MAX {
        format!("from {}", SoilReading::from_raw(band.from))
    } else {
        format!("{} to {}", SoilReading::from_raw(band.from), SoilReading::from_raw(band.to))
    };
    let derivation = Derivation::of("class of a soil number", "the line of the laboratory's table that holds it")
        .with_text(&format!("{} reading", printed.extractant.label()), &value.reading, "as reported")
        .with_text("line of the table", &ends, "as reported")
        .from_source(printed.mark, printed.source)
        .gives_text(&band.class, "", "between two lines the higher counts");
    Ok(Interpretation { class: band.class.to_owned(), category: band.category, advice: band.advice, derivation })
}

/// Manganese activity index in tenths: 101.7 + 3.75 x Mn (ppm) - 15.2 x pH, to the nearest; critical 25, high 100 (Rutgers
/// NJAES, Relative Levels of Nutrients, read). `manganese` in thousandths of a part per million, `ph` in hundredths.
pub fn manganese_index_tenths(manganese: SoilReading, ph: crate::quantity::SoilPh) -> i64 {
    let index = 10_170_000 + 375 * i128::from(manganese.raw()) - 1_520 * 10 * i128::from(ph.raw());
    quotient_nearest(index, 10_000)
}

/// Bray P1 from Mehlich-3 by Ohio State's line for its own soils: -8.08 + 0.832 x ppm, never below zero, rounded down. The
/// two disagree with other published relations, so nothing converts by itself: a person asks for it and sees the source.
pub fn bray_from_mehlich_3_rounded_down(mehlich_3: SoilReading) -> SoilReading {
    SoilReading::from_raw(
        ((i128::from(mehlich_3.raw()) * 832 - 8_080_000).max(0) / 1_000).try_into().unwrap_or(i64::MAX),
    )
}
