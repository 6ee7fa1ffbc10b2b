//! The catch test of a rotary spreader: a row of pans across its path tells how wide it really spreads, and how evenly.

use serde::{Deserialize, Serialize};

use super::CalibrationFault;
use crate::{
    explain::{Derivation, Figure, SourceMark},
    quantity::{Catch, Distance, Percent, quotient_down},
};

/// What is meant by the width a spreader covers. The two are not the same number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SwathBy {
    /// Between the places on either side where the catch is half of the centre's: passes this far apart overlap evenly.
    HalfOfCentre,
    /// The whole throw from edge to edge. It underdoses the edges.
    WholeThrow,
    /// Width of the hopper of a drop spreader, or of a boom.
    Hopper,
}

/// The effective swath of a row of pans: the distance between the places left and right where the catch falls to half of
/// the centre's, by straight lines between pans, rounded down to the hundredth of a foot.
///
/// `catches` runs from left to right with the centre in the middle, `spacing` apart.
pub fn effective_swath_rounded_down(
    catches: &[Catch],
    spacing: Distance,
) -> Result<Figure<Distance>, CalibrationFault> {
    if spacing.raw() <= 0 {
        return Err(CalibrationFault::NoSpacing);
    }
    let middle = catches.len() / 2;
    let centre = catches.get(middle).filter(|centre| catches.len() >= 3 && catches.len() % 2 == 1 && centre.raw() > 0);
    let Some(centre) = centre else { return Err(CalibrationFault::NoRow) };
    let left: Vec<i64> = catches.iter().take(middle + 1).rev().map(|catch| catch.raw()).collect();
    let right: Vec<i64> = catches.iter().skip(middle).map(|catch| catch.raw()).collect();
    let (left, right) = (half_at(&left, *centre)?, half_at(&right, *centre)?);
    // Each side is whole spacings and a fraction of one; both are brought over one denominator before the only division.
    let sum =
        (left.whole + right.whole) * left.below * right.below + left.above * right.below + right.above * left.below;
    let swath = quotient_down(sum * i128::from(spacing.raw()), left.below * right.below);
    let row: Vec<String> = catches.iter().map(ToString::to_string).collect();
    Ok(Derivation::of("effective swath", "distance between the places that catch half of the centre")
        .with_text("catches from left to right", &row.join(", "), "as read")
        .with("distance between pans", spacing)
        .from_source(
            SourceMark::Read,
            "Ohio State, Calibrating Rotary Spreaders; Penn State (Landschoot), Fertilizer Calibration, read in a reprint",
        )
        .gives(Distance::from_raw(swath), "down to the hundredth of a foot"))
}

/// Whole spacings from the centre, and `above / below` of the next, to where the catch is half of the centre's.
struct HalfPoint {
    whole: i128,
    above: i128,
    below: i128,
}

fn half_at(side: &[i64], centre: Catch) -> Result<HalfPoint, CalibrationFault> {
    for (whole, pair) in side.windows(2).enumerate() {
        let [inner, outer] = pair else { continue };
        // Doubled, so that half of an odd centre stays whole.
        let (inner, outer, half) = (i128::from(inner * 2), i128::from(outer * 2), i128::from(centre.raw()));
        if outer <= half {
            let whole = i128::try_from(whole).unwrap_or(i128::MAX);
            return Ok(HalfPoint { whole, above: inner - half, below: (inner - outer).max(1) });
        }
    }
    Err(CalibrationFault::RowTooNarrow)
}

/// How even the overlapped spread is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Evenness {
    /// Coefficient of variation up to 15 %.
    Acceptable,
    /// Above 15 and up to 20 %.
    Care,
    /// Above 20 %.
    Rejected,
}

/// Coefficient of variation of the overlapped catches: standard deviation over mean.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Variation {
    /// In hundredths of a percent, rounded down. For showing: the band is decided exactly.
    #[schema(minimum = 0, maximum = 10_000_000)]
    pub hundredths_percent: i64,
    pub evenness: Evenness,
    pub derivation: Derivation,
}

/// Judges how even a row spreads when passes overlap at a distance of so many whole pans. The bands are Teagasc's for farm
/// spreaders (read in a trade page); no limit for turf was found.
pub fn variation(catches: &[Catch], pans_between_passes: usize) -> Result<Variation, CalibrationFault> {
    if pans_between_passes == 0 || pans_between_passes > catches.len() {
        return Err(CalibrationFault::NoSpacing);
    }
    // Passes the same way lay the row over itself, shifted: what a place gets is the sum of the pans a pass apart.
    let overlapped: Vec<i128> = (0..pans_between_passes)
        .map(|at| catches.iter().skip(at).step_by(pans_between_passes).map(|catch| i128::from(catch.raw())).sum())
        .collect();
    let count = i128::try_from(overlapped.len()).unwrap_or(1);
    let sum: i128 = overlapped.iter().sum();
    if sum == 0 {
        return Err(CalibrationFault::NothingCaught);
    }
    let squares: i128 = overlapped.iter().map(|place| place * place).sum();
    // (s / mean)^2 = (count * squares - sum^2) / sum^2, with the deviation over the whole row.
    let spread = (count * squares - sum * sum).max(0);
    let within = |percent: i128| spread * 10_000 <= sum * sum * percent * percent;
    let evenness = match (within(15), within(20)) {
        (true, _) => Evenness::Acceptable,
        (false, true) => Evenness::Care,
        (false, false) => Evenness::Rejected,
    };
    let ratio = spread.saturating_mul(100_000_000) / (sum * sum).max(1);
    let hundredths = i64::try_from(ratio.isqrt()).unwrap_or(i64::MAX);
    let derivation = Derivation::of("coefficient of variation", "standard deviation / mean of the overlapped catches")
        .with_text("places between two passes", &count, "")
        .from_source(SourceMark::Read2, "Teagasc, fertiliser spreader trays: up to 15 % acceptable, losses above 20 %")
        .gives_text(&Percent::from_raw(hundredths), "%", "down to the hundredth for showing; the bands are exact");
    Ok(Variation { hundredths_percent: hundredths, evenness, derivation })
}
