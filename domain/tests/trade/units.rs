//! Units and elements: C1 to C11 and C73 to C77.

use domain::quantity::{
    AcreRate, Area, Phosphate, Phosphorus, Potash, Potassium, ProductMass, SprayRate, Volume,
    convert::{
        FEET_PER_MINUTE_OF_MPH, GALLONS_PER_1000_OF_INCH, GRAMS_PER_SQUARE_METER_OF_POUNDS_PER_1000,
        KILOGRAMS_PER_POUND, LITERS_PER_GALLON, PER_ACRE_OF_PER_1000, PHOSPHORUS_IN_PHOSPHATE, POTASSIUM_IN_POTASH,
        POUNDS_PER_ACRE_OF_PPM, SQUARE_FEET_PER_ACRE, SQUARE_METERS_PER_SQUARE_FOOT,
    },
};

use super::{amount, close, near};

#[test]
fn c1_to_c5_oxides_and_elements() {
    // Virginia Tech, Fertilizer Types and Calculating Application Rates (SPES-201), read: 0.4365, 2.2910, 0.8301, 1.2051.
    // Exact by atomic weights: 0.436427, 2.29133, 0.83015, 1.20460; the last printed digit of K to K2O is off.
    close(PHOSPHORUS_IN_PHOSPHATE.of_rounded_nearest(1_000_000), 436_500, 100);
    close(PHOSPHORUS_IN_PHOSPHATE.of_rounded_nearest(1_000_000), 436_427, 1);
    close(PHOSPHORUS_IN_PHOSPHATE.inverse().of_rounded_nearest(100_000), 229_100, 50);
    close(POTASSIUM_IN_POTASH.of_rounded_nearest(1_000_000), 830_100, 100);
    close(POTASSIUM_IN_POTASH.inverse().of_rounded_nearest(100_000), 120_510, 60);
    // C5, read: a material of 49.8 % K is 60 % K2O; tolerance 0.05.
    let potassium: Potassium = amount("49.8");
    near(potassium.potash_rounded_up(), "60", "0.05");
    let potash: Potash = amount("60");
    near(potash.potassium_rounded_up(), "49.8", "0.05");
}

#[test]
fn c6_an_acre() {
    // CIA World Factbook, weights and measures, read: 43,560 sq ft = 4,046.8564224 square meters; exact.
    assert_eq!(SQUARE_FEET_PER_ACRE, 43_560);
    assert_eq!(SQUARE_METERS_PER_SQUARE_FOOT.of_rounded_nearest(435_600_000_000), 40_468_564_224);
    let acre: Area = amount("43560");
    assert_eq!(acre.millionths_of_an_acre_rounded_nearest(), 1_000_000);
    // 4,046.8564 square meters are a hair less than an acre, and are rounded down.
    assert_eq!(Area::of_square_meters_rounded_down(40_468_564).to_string(), "43559.99");
}

#[test]
fn c7_c8_gallon_and_pound() {
    // NIST SP 811, appendix B, read as quoted: 3.785411784 L and 0.45359237 kg; exact.
    assert_eq!(LITERS_PER_GALLON.of_rounded_nearest(1_000_000_000), 3_785_411_784);
    assert_eq!(KILOGRAMS_PER_POUND.of_rounded_nearest(100_000_000), 45_359_237);
    let (pounds, gallons): (ProductMass, Volume) = (amount("10"), amount("1"));
    assert_eq!(pounds.grams_rounded_nearest(), 4_535);
    assert_eq!(gallons.milliliters_rounded_nearest(), 3_785);
}

#[test]
fn c9_c10_pounds_on_an_acre() {
    // Woods, Have You Seen Turf That Ran Out of K? (2017), read: 175 lb/acre is about 20 g/m2 (19.61 exact; tolerance 0.5),
    // and ppm is lb/acre / 2, e.g. 48 and 24 (computed).
    let on_1000 = PER_ACRE_OF_PER_1000.inverse().of_rounded_nearest(175_000_000);
    close(GRAMS_PER_SQUARE_METER_OF_POUNDS_PER_1000.of_rounded_nearest(on_1000), 20_000_000, 500_000);
    assert_eq!(POUNDS_PER_ACRE_OF_PPM.inverse().of_rounded_nearest(48), 24);
    // 1 lb on 1,000 sq ft is 43.56 lb on the acre; computed, exact.
    assert_eq!(PER_ACRE_OF_PER_1000.of_rounded_nearest(100), 4_356);
}

#[test]
fn c11_c73_water_and_speed() {
    // Computed from 231 cubic inches: an inch on 1,000 sq ft is 623.4 gal, a quarter inch 155.8.
    close(GALLONS_PER_1000_OF_INCH.of_rounded_nearest(1_000), 623_400, 50);
    close(GALLONS_PER_1000_OF_INCH.of_rounded_nearest(250), 155_800, 50);
    // Virginia, Turf and Landscape Nutrient Management mathematics, read in a copy: an acre-inch is 27,154 gal (exactly
    // 27,154.286; tolerance 0.5) and 3,630 cubic feet; 1 mph is 88 ft a minute.
    close(PER_ACRE_OF_PER_1000.of_rounded_nearest(GALLONS_PER_1000_OF_INCH.of_rounded_nearest(1_000)), 27_154_000, 500);
    assert_eq!(SQUARE_FEET_PER_ACRE / 12, 3_630);
    assert_eq!(FEET_PER_MINUTE_OF_MPH.of_rounded_nearest(1), 88);
    // Utah State, Easy Calibration, read: 1/128 acre is 340.3 sq ft (exactly 340.3125; tolerance 0.05).
    close(i64::try_from(SQUARE_FEET_PER_ACRE * 10_000 / 128).expect("small"), 3_403_000, 500);
    // C102, Oklahoma City, read in a copy: 40 gal/acre is 0.92 gal on 1,000 sq ft (0.9183 exact; tolerance 0.005).
    let acre: AcreRate = amount("40");
    near(acre.per_1000_sqft_rounded_nearest(), "0.92", "0.005");
    let rate: SprayRate = amount("5.25");
    near(rate.per_acre_rounded_nearest(), "228.69", "0");
}

#[test]
fn c74_c75_phosphorus_in_limits() {
    // Penn State, quoted: 0.25 lb P is 0.57 lb P2O5, 0.5 lb is 1.14 (exactly 1.1457, printed low); tolerance 0.01.
    let (quarter, half): (Phosphorus, Phosphorus) = (amount("0.25"), amount("0.5"));
    near(quarter.phosphate_rounded_up(), "0.57", "0.01");
    near(half.phosphate_rounded_up(), "1.14", "0.01");
    // Virginia worksheet, read in a copy: 125 lb P2O5 is 55 lb P with 0.44; 250 lb K2O is 207.5 lb K (computed); tolerance 0.5.
    let (phosphate, potash): (Phosphate, Potash) = (amount("125"), amount("250"));
    near(phosphate.phosphorus_rounded_up(), "55", "0.5");
    near(potash.potassium_rounded_up(), "207.5", "0.5");
}

#[test]
fn c76_c77_parts_per_million() {
    // Ohio State, read: 60 lb/acre is 30 ppm and back; exact.
    assert_eq!(POUNDS_PER_ACRE_OF_PPM.of_rounded_nearest(30), 60);
    assert_eq!(POUNDS_PER_ACRE_OF_PPM.inverse().of_rounded_nearest(60), 30);
    // Texas A&M, Turfgrass Fertilization, read: 10 ppm P is 0.5 lb on 1,000 sq ft (0.459 exact; tolerance 0.05), 120 ppm K
    // is 5.5 (5.510 exact; tolerance 0.05).
    let on_1000 =
        |ppm: i64| PER_ACRE_OF_PER_1000.inverse().of_rounded_nearest(POUNDS_PER_ACRE_OF_PPM.of_rounded_nearest(ppm));
    close(on_1000(10_000), 500, 50);
    close(on_1000(120_000), 5_500, 50);
}
