//! Granules: weigh what went in and what was left, walk a measured course.

use super::CalibrationFault;
use crate::{
    explain::{Derivation, Figure, SourceMark},
    quantity::{Area, Distance, ProductMass, ProductRate, quotient_nearest, quotient_up},
};

/// The largest area that is stored, in ten-thousandths of a square foot.
const LARGEST: i128 = 100_000_000_000;

/// Area of a course, exactly as width times length: both are in hundredths of a foot, the product in ten-thousandths of a
/// square foot.
fn course(width: Distance, length: Distance) -> Result<i128, CalibrationFault> {
    let area = i128::from(width.raw()) * i128::from(length.raw());
    if area > 0 && area <= LARGEST { Ok(area) } else { Err(CalibrationFault::NoCourse) }
}

/// Delivered rate: product used x 1,000 / (swath x distance), rounded up, so that it never looks less than it is. Drop
/// spreaders take the width of the hopper as their swath, rotary spreaders the effective swath of a catch test.
pub fn delivered_rate_rounded_up(
    put_in: ProductMass,
    left_over: ProductMass,
    swath: Distance,
    distance: Distance,
) -> Result<Figure<ProductRate>, CalibrationFault> {
    let area = course(swath, distance)?;
    let used = used(put_in, left_over)?;
    // 1e-6 lb over 1e-4 sq ft, as 1e-6 lb on 1,000 sq ft.
    let rate = quotient_up(i128::from(used.raw()) * 1_000 * 10_000, area);
    let rate = ProductRate::checked(rate).map_err(|_| CalibrationFault::OutOfRange)?;
    Ok(Derivation::of("rate that the spreader delivers", "(put in - left over) x 1,000 / (swath x distance)")
        .with("put in", put_in)
        .with("left over", left_over)
        .with("swath", swath)
        .with("distance", distance)
        .from_source(SourceMark::Read, "Georgia, Calibrating Spreaders: weigh back after a measured walk")
        .gives(rate, "up to the millionth of a pound"))
}

/// The same on ground whose area is known: product used x 1,000 / area, rounded up.
pub fn known_area_rate_rounded_up(
    put_in: ProductMass,
    left_over: ProductMass,
    area: Area,
) -> Result<Figure<ProductRate>, CalibrationFault> {
    let used = used(put_in, left_over)?;
    if area.raw() <= 0 {
        return Err(CalibrationFault::NoCourse);
    }
    let rate = quotient_up(i128::from(used.raw()) * 1_000 * 100, i128::from(area.raw()));
    let rate = ProductRate::checked(rate).map_err(|_| CalibrationFault::OutOfRange)?;
    Ok(Derivation::of("rate that the spreader delivers", "(put in - left over) x 1,000 / area")
        .with("put in", put_in)
        .with("left over", left_over)
        .with("area", area)
        .from_source(
            SourceMark::Read2,
            "Penn State (Landschoot), Fertilizer Calibration: a known area such as 50 x 100 ft",
        )
        .gives(rate, "up to the millionth of a pound"))
}

/// How far to walk to treat an area at a swath: area / swath, to the nearest hundredth of a foot.
pub fn course_length_rounded_nearest(area: Area, swath: Distance) -> Result<Figure<Distance>, CalibrationFault> {
    if swath.raw() <= 0 {
        return Err(CalibrationFault::NoCourse);
    }
    let length = quotient_nearest(i128::from(area.raw()) * 100, i128::from(swath.raw()));
    let length = Distance::checked(length).map_err(|_| CalibrationFault::OutOfRange)?;
    Ok(Derivation::of("length of the course", "area / swath")
        .with("area", area)
        .with("swath", swath)
        .from_source(SourceMark::Read, "Georgia, Calibrating Spreaders: 1,000 / swath")
        .gives(length, "to the nearest hundredth of a foot"))
}

fn used(put_in: ProductMass, left_over: ProductMass) -> Result<ProductMass, CalibrationFault> {
    match put_in.raw() - left_over.raw() {
        0 => Err(CalibrationFault::NothingCaught),
        used if used < 0 => Err(CalibrationFault::LeftMoreThanPutIn),
        used => Ok(ProductMass::from_raw(used)),
    }
}
