//! Conversions between measures of the trade. Each factor is exact or names the table it comes from.

use super::{AcreRate, Area, Factor, Phosphate, Phosphorus, Potash, Potassium, ProductMass, Speed, SprayRate, Volume};

/// Square feet of an acre (international foot): 43,560.
pub const SQUARE_FEET_PER_ACRE: i128 = 43_560;

/// Kilograms of a pound: 0.45359237 exactly (NIST SP 811, appendix B).
pub const KILOGRAMS_PER_POUND: Factor = Factor::new(45_359_237, 100_000_000);

/// Liters of a US gallon of 231 cubic inches: 3.785411784 exactly (NIST SP 811, appendix B).
pub const LITERS_PER_GALLON: Factor = Factor::new(3_785_411_784, 1_000_000_000);

/// Square meters of a square foot of 0.3048 m squared: 0.09290304 exactly (NIST SP 811, appendix B).
pub const SQUARE_METERS_PER_SQUARE_FOOT: Factor = Factor::new(9_290_304, 100_000_000);

/// Pounds on an acre of a pound on 1,000 square feet: 43.56 exactly.
pub const PER_ACRE_OF_PER_1000: Factor = Factor::new(43_560, 1_000);

/// Grams on a square meter of a pound on 1,000 square feet: 453.59237 / 92.90304.
pub const GRAMS_PER_SQUARE_METER_OF_POUNDS_PER_1000: Factor = Factor::new(45_359_237, 9_290_304);

/// Gallons of an inch of water on 1,000 square feet: 144,000 square inches of 231 cubic inches a gallon.
pub const GALLONS_PER_1000_OF_INCH: Factor = Factor::new(144_000, 231);

/// Feet a minute of a mile an hour: 88 exactly.
pub const FEET_PER_MINUTE_OF_MPH: Factor = Factor::new(88, 1);

/// Phosphorus in phosphate, by the atomic weights P 30.973762 and O 15.999: 0.43643. Virginia Tech SPES-201 prints 0.4365.
pub const PHOSPHORUS_IN_PHOSPHATE: Factor = Factor::new(61_947_524, 141_942_524);

/// Potassium in potash, by the atomic weights K 39.0983 and O 15.999: 0.83015. Virginia Tech SPES-201 prints 0.8301.
pub const POTASSIUM_IN_POTASH: Factor = Factor::new(781_966, 941_956);

/// Pounds on an acre, six and two thirds inches deep, of a part per million: 2, the acre taken as two million pounds of
/// soil (factor 2: Woods 2017; Ohio State prints 60 lb/acre = 30 ppm).
pub const POUNDS_PER_ACRE_OF_PPM: Factor = Factor::new(2, 1);

impl Phosphate {
    /// The element in this phosphate, rounded up, so that it never looks like less than it is.
    pub fn phosphorus_rounded_up(self) -> Phosphorus {
        Phosphorus::from_raw(PHOSPHORUS_IN_PHOSPHATE.of_rounded_up(self.raw()))
    }
}

impl Phosphorus {
    /// This phosphorus as labels state it, rounded up.
    pub fn phosphate_rounded_up(self) -> Phosphate {
        Phosphate::from_raw(PHOSPHORUS_IN_PHOSPHATE.inverse().of_rounded_up(self.raw()))
    }
}

impl Potash {
    /// The element in this potash, rounded up.
    pub fn potassium_rounded_up(self) -> Potassium {
        Potassium::from_raw(POTASSIUM_IN_POTASH.of_rounded_up(self.raw()))
    }
}

impl Potassium {
    /// This potassium as labels state it, rounded up.
    pub fn potash_rounded_up(self) -> Potash {
        Potash::from_raw(POTASSIUM_IN_POTASH.inverse().of_rounded_up(self.raw()))
    }
}

impl ProductMass {
    /// Grams, to the nearest.
    pub fn grams_rounded_nearest(self) -> i64 {
        KILOGRAMS_PER_POUND.of_rounded_nearest(self.raw()) / 1_000
    }
}

impl Volume {
    /// Milliliters, to the nearest.
    pub fn milliliters_rounded_nearest(self) -> i64 {
        // Millionths of a liter are thousandths of a milliliter.
        super::quotient_nearest(i128::from(LITERS_PER_GALLON.of_rounded_nearest(self.raw())), 1_000)
    }
}

impl SprayRate {
    /// The same on an acre, rounded to the nearest ten-thousandth.
    pub fn per_acre_rounded_nearest(self) -> AcreRate {
        AcreRate::from_raw(super::quotient_nearest(i128::from(self.raw()) * SQUARE_FEET_PER_ACRE, 1_000 * 100))
    }
}

impl AcreRate {
    /// The same on 1,000 square feet, rounded to the nearest millionth.
    pub fn per_1000_sqft_rounded_nearest(self) -> SprayRate {
        SprayRate::from_raw(super::quotient_nearest(i128::from(self.raw()) * 1_000 * 100, SQUARE_FEET_PER_ACRE))
    }
}

impl Area {
    /// Acres in millionths, to the nearest.
    pub fn millionths_of_an_acre_rounded_nearest(self) -> i64 {
        super::quotient_nearest(i128::from(self.raw()) * 1_000_000, SQUARE_FEET_PER_ACRE * 100)
    }

    /// An area measured in square meters (in ten-thousandths of one), rounded down to the hundredth of a square foot.
    pub fn of_square_meters_rounded_down(ten_thousandths: i64) -> Self {
        let down = SQUARE_METERS_PER_SQUARE_FOOT.inverse().of_rounded_down(ten_thousandths);
        Self::from_raw(down / 100)
    }
}

impl Speed {
    /// Speed over a course, rounded to the nearest hundredth; nothing without time.
    pub fn over_course_rounded_nearest(course: super::Distance, time: super::Seconds) -> Option<Self> {
        // ft * 60 / (s * 88): both are in hundredths, and so is the answer.
        (time.raw() > 0)
            .then(|| super::quotient_nearest(i128::from(course.raw()) * 60 * 100, i128::from(time.raw()) * 88))
            .map(Self::from_raw)
    }
}
