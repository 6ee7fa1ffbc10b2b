//! Liquids: catch what comes out in the time it takes to cover a known piece of ground.

use super::CalibrationFault;
use crate::{
    explain::{Derivation, Figure, SourceMark},
    quantity::{
        AcreRate, Area, CaughtVolume, Distance, Inches, Seconds, Speed, SprayRate, Volume,
        convert::SQUARE_FEET_PER_ACRE, quotient_down, quotient_nearest, quotient_up,
    },
};

/// Mean of several timed runs, to the nearest hundredth of a second.
pub fn mean_time_rounded_nearest(runs: &[Seconds]) -> Result<Figure<Seconds>, CalibrationFault> {
    if runs.is_empty() || runs.iter().any(|run| run.raw() <= 0) {
        return Err(CalibrationFault::NoTime);
    }
    let sum: i128 = runs.iter().map(|run| i128::from(run.raw())).sum();
    let mean = quotient_nearest(sum, i128::try_from(runs.len()).unwrap_or(1));
    let mut derivation = Derivation::of("mean time", "sum of the runs / number of runs")
        .from_source(SourceMark::Read, "Pesticide Environmental Stewardship, Spray Gun Calibration: three timed runs");
    for run in runs {
        derivation = derivation.with("run", *run);
    }
    Ok(derivation.gives(Seconds::from_raw(mean), "to the nearest hundredth of a second"))
}

/// Rate of a spray gun or hand sprayer: what it gave in the time it takes to cover an area, on 1,000 sq ft, rounded up.
pub fn known_area_rate_rounded_up(caught: Volume, area: Area) -> Result<Figure<SprayRate>, CalibrationFault> {
    if caught.raw() <= 0 {
        return Err(CalibrationFault::NothingCaught);
    }
    if area.raw() <= 0 {
        return Err(CalibrationFault::NoCourse);
    }
    let rate = quotient_up(i128::from(caught.raw()) * 1_000 * 100, i128::from(area.raw()));
    let rate = SprayRate::checked(rate).map_err(|_| CalibrationFault::OutOfRange)?;
    Ok(Derivation::of("rate that the sprayer delivers", "gallons caught x 1,000 / area")
        .with("caught", caught)
        .with("area", area)
        .from_source(SourceMark::Read, "Pesticide Environmental Stewardship, Spray Gun Calibration")
        .gives(rate, "up to the millionth of a gallon"))
}

/// Rate of a boom from one nozzle's catch over a timed course: oz x 12 x 43,560 / (spacing x course x 128), on the acre,
/// rounded up.
pub fn boom_rate_rounded_up(
    caught: CaughtVolume,
    spacing: Inches,
    course: Distance,
) -> Result<Figure<AcreRate>, CalibrationFault> {
    if caught.raw() <= 0 {
        return Err(CalibrationFault::NothingCaught);
    }
    let ground = i128::from(spacing.raw()) * i128::from(course.raw());
    if ground <= 0 {
        return Err(CalibrationFault::NoCourse);
    }
    // 1e-3 oz over 1e-4 inch-feet, as 1e-4 gallons on the acre.
    let rate = quotient_up(i128::from(caught.raw()) * 12 * SQUARE_FEET_PER_ACRE * 10_000 * 10, ground * 128);
    let rate = AcreRate::checked(rate).map_err(|_| CalibrationFault::OutOfRange)?;
    Ok(Derivation::of("rate that the boom delivers", "fl oz x 12 x 43,560 / (spacing x course x 128)")
        .with("caught from one nozzle", caught)
        .with("distance between nozzles", spacing)
        .with("course", course)
        .converting("128 fluid ounces are a gallon, 12 inches a foot, 43,560 sq ft an acre")
        .from_source(SourceMark::Read, "LSU AgCenter, Sprayer Calibration")
        .gives(rate, "up to the ten-thousandth of a gallon"))
}

/// Course of which one nozzle covers 1/128 of an acre, so that fluid ounces caught are gallons on the acre: 4,083.75 /
/// spacing, to the nearest hundredth of a foot.
pub fn one_128th_acre_course_rounded_nearest(spacing: Inches) -> Result<Figure<Distance>, CalibrationFault> {
    if spacing.raw() <= 0 {
        return Err(CalibrationFault::NoSpacing);
    }
    let course = quotient_nearest(408_375 * 100, i128::from(spacing.raw()));
    let course = Distance::checked(course).map_err(|_| CalibrationFault::OutOfRange)?;
    Ok(Derivation::of("course for 1/128 acre", "43,560 x 12 / (128 x spacing)")
        .with("distance between nozzles", spacing)
        .converting("128 fluid ounces are a gallon, so ounces caught on 1/128 acre are gallons on the acre")
        .from_source(SourceMark::Read, "Ohio State, Calibrating Sprayers, table of distances by nozzle spacing")
        .gives(course, "to the nearest hundredth of a foot"))
}

/// Nozzles that are further than 10 % from the mean of all, counted from zero; such a nozzle is replaced (Louisiana State
/// University Agricultural Center, Sprayer Calibration).
pub fn worn_nozzles(catches: &[CaughtVolume]) -> Vec<usize> {
    let sum: i128 = catches.iter().map(|catch| i128::from(catch.raw())).sum();
    let count = i128::try_from(catches.len()).unwrap_or(1);
    let worn = |catch: &CaughtVolume| (i128::from(catch.raw()) * count - sum).abs() * 10 > sum;
    catches.iter().enumerate().filter(|(_, catch)| worn(catch)).map(|(at, _)| at).collect()
}

/// How nozzles were found to be worn.
pub(super) fn evenness(catches: &[CaughtVolume]) -> Derivation {
    let worn: Vec<String> = worn_nozzles(catches).into_iter().map(|at| (at + 1).to_string()).collect();
    let worn = match worn.len() {
        0 => "none".to_owned(),
        // More do not fit into a line.
        1..=20 => worn.join(", "),
        many => format!("{many} nozzles"),
    };
    Derivation::of("worn nozzles", "further than 10 % from the mean of all")
        .with_text("nozzles", &catches.len(), "")
        .with_text("together", &catches.iter().map(|catch| catch.raw()).sum::<i64>(), "thousandths of a fl oz")
        .from_source(SourceMark::Read, "LSU AgCenter, Sprayer Calibration: a nozzle not within 10 percent is replaced")
        .gives_text(&worn, "", "the comparison is exact")
}

/// Rate at another speed with the same nozzles and pressure: speed and rate are inverse. Rounded up.
pub fn rate_at_speed_rounded_up(rate: AcreRate, at: Speed, new: Speed) -> Result<Figure<AcreRate>, CalibrationFault> {
    if at.raw() <= 0 || new.raw() <= 0 {
        return Err(CalibrationFault::NoTime);
    }
    let changed = quotient_up(i128::from(rate.raw()) * i128::from(at.raw()), i128::from(new.raw()));
    let changed = AcreRate::checked(changed).map_err(|_| CalibrationFault::OutOfRange)?;
    Ok(Derivation::of("rate at another speed", "rate x speed / new speed")
        .with("rate", rate)
        .with("speed", at)
        .with("new speed", new)
        .from_source(SourceMark::Read, "NC State, Calibration of Turfgrass and Boom Sprayers and Spreaders")
        .gives(changed, "up to the ten-thousandth of a gallon"))
}

/// Output that each nozzle needs: GPA x MPH x W / 5,940, in thousandths of a gallon a minute, to the nearest.
pub fn nozzle_output_rounded_nearest(rate: AcreRate, speed: Speed, spacing: Inches) -> i64 {
    let product = i128::from(rate.raw()) * i128::from(speed.raw()) * i128::from(spacing.raw());
    // 1e-4 x 1e-2 x 1e-2 is 1e-8; thousandths are asked for.
    quotient_nearest(product, 5_940 * 100_000)
}

/// Ground that a tank covers: gallons / rate x 1,000, rounded down.
pub fn tank_area_rounded_down(tank: Volume, rate: SprayRate) -> Result<Figure<Area>, CalibrationFault> {
    if rate.raw() <= 0 {
        return Err(CalibrationFault::NothingCaught);
    }
    let area = quotient_down(i128::from(tank.raw()) * 1_000 * 100, i128::from(rate.raw()));
    let area = Area::checked(area).map_err(|_| CalibrationFault::OutOfRange)?;
    Ok(Derivation::of("ground that a tank covers", "gallons / rate x 1,000")
        .with("tank", tank)
        .with("rate", rate)
        .from_source(SourceMark::Computed, "Definition of a rate")
        .gives(area, "down to the hundredth of a square foot"))
}
