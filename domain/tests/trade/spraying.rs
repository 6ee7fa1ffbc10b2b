//! Sprayers: C35, C37, C38, C98 to C105.

use domain::{
    calibration::{
        CalibrationFault,
        spray::{
            boom_rate_rounded_up, known_area_rate_rounded_up, mean_time_rounded_nearest, nozzle_output_rounded_nearest,
            one_128th_acre_course_rounded_nearest, rate_at_speed_rounded_up, tank_area_rounded_down, worn_nozzles,
        },
        spreader::course_length_rounded_nearest,
    },
    quantity::{AcreRate, Area, Seconds, Speed, SprayRate, Volume},
};

use super::{amount, close, near};

fn mean(runs: &[&str]) -> Seconds {
    let runs: Vec<Seconds> = runs.iter().map(|run| amount(run)).collect();
    mean_time_rounded_nearest(&runs).expect("runs").value
}

#[test]
fn c35_a_spray_gun() {
    // Pesticide Environmental Stewardship, Spray Gun Calibration, read: 5 ft swath, 200 ft; 77, 79 and 78 s are 78; 5.25 gal
    // are 5.25 on 1,000 sq ft and 228.7 on the acre (228.69 exact).
    near(course_length_rounded_nearest(amount("1000"), amount("5")).expect("a swath").value, "200", "0");
    near(mean(&["77", "79", "78"]), "78", "0");
    let rate = known_area_rate_rounded_up(amount("5.25"), amount("1000")).expect("a catch").value;
    near(rate, "5.25", "0");
    near(rate.per_acre_rounded_nearest(), "228.69", "0");
    assert_eq!(mean_time_rounded_nearest(&[]).map(|m| m.value), Err(CalibrationFault::NoTime));
}

#[test]
fn c37_c38_a_boom() {
    // LSU AgCenter, Sprayer Calibration, formula read: 20 oz at 20 in over 200 ft are 20.4 (20.419 exact; tolerance 0.05).
    near(boom_rate_rounded_up(amount("20"), amount("20"), amount("200")).expect("a catch").value, "20.4", "0.05");
    // NC State, read: twice the speed, half the rate; exact.
    near(rate_at_speed_rounded_up(amount("20"), amount("3"), amount("6")).expect("a speed").value, "10", "0");
    // Sports Field Management, read in a copy: GPM = GPA x MPH x W / 5,940; 20 x 3 x 20 is 0.202 (computed).
    close(nozzle_output_rounded_nearest(amount("20"), amount("3"), amount("20")), 202, 0);
    // LSU, read: a nozzle further than 10 % from the mean is replaced.
    assert_eq!(worn_nozzles(&["20", "20", "20", "20"].map(amount)), [] as [usize; 0]);
    assert_eq!(worn_nozzles(&["20", "20", "23", "20", "20", "20"].map(amount)), [2]);
}

#[test]
fn c98_one_in_128_of_an_acre() {
    // Ohio State, table of distances, read; tolerance 0.7, as 22 and 32 in are printed rounded down.
    let printed = [
        ("18", "227"),
        ("20", "204"),
        ("22", "185"),
        ("24", "170"),
        ("26", "157"),
        ("28", "146"),
        ("30", "136"),
        ("32", "127"),
        ("34", "120"),
        ("36", "113"),
        ("38", "107"),
        ("40", "102"),
    ];
    for (spacing, feet) in printed {
        near(one_128th_acre_course_rounded_nearest(amount(spacing)).expect("a spacing").value, feet, "0.7");
    }
    // 80 fl oz caught on it are 80 gal on the acre; the course is rounded to the hundredth of a foot.
    let course = one_128th_acre_course_rounded_nearest(amount("20")).expect("a spacing").value;
    near(boom_rate_rounded_up(amount("80"), amount("20"), course).expect("a catch").value, "80", "0.01");
}

/// Gallons on the acre from ounces caught on an area.
fn per_acre(ounces: i64, area: Area) -> AcreRate {
    let caught = Volume::of_fluid_ounces_rounded_down(ounces * 1_000);
    known_area_rate_rounded_up(caught, area).expect("a catch").value.per_acre_rounded_nearest()
}

#[test]
fn c99_a_backpack_sprayer() {
    // NC State, Backpack Sprayer Calibration Worksheet, read: 340 / 6 is 57 ft; 16 and 18 s are 17.
    near(course_length_rounded_nearest(amount("340"), amount("6")).expect("a swath").value, "57", "0.5");
    near(mean(&["16", "18"]), "17", "0");
    // 7.5 fl oz caught on 1/128 acre (340 of 340.31 sq ft) are 7.5 gal on the acre.
    let caught = Volume::of_fluid_ounces_rounded_down(7_500);
    let rate: SprayRate = known_area_rate_rounded_up(caught, amount("340.31")).expect("a catch").value;
    near(rate.per_acre_rounded_nearest(), "7.5", "0.05");
    // 8 fl oz an acre are 1.06 in a gallon (1.0667 exact; tolerance 0.05), 3.2 in three gallons, 96 mL (94.6 exact; 2).
    let tank = tank_area_rounded_down(amount("3"), rate).expect("a rate").value;
    let ounces = 8_000 * tank.millionths_of_an_acre_rounded_nearest() / 1_000_000;
    close(ounces / 3, 1_060, 50);
    close(ounces, 3_200, 50);
    close(Volume::of_fluid_ounces_rounded_down(ounces).milliliters_rounded_nearest(), 96, 2);
}

#[test]
fn c100_a_square() {
    // Mesa County, read: an 18.5 ft square and 150 fl oz are 150 gal an acre (149.2 exact; tolerance 1); 25 gal are 1/6 acre.
    near(per_acre(150, amount("342.25")), "150", "1");
    let rate = amount::<domain::quantity::GallonPerAcre>("150").per_1000_sqft_rounded_nearest();
    let sixth = tank_area_rounded_down(amount("25"), rate).expect("a rate").value;
    near(sixth, "7260", "0.02");
}

#[test]
fn c101_c102_by_the_acre() {
    // Extension text quoted on a mailing list, read in a copy: 1.5 gal on 1,000 sq ft is 65 an acre (65.34; tolerance 0.5).
    near(amount::<domain::quantity::GallonPerKsf>("1.5").per_acre_rounded_nearest(), "65", "0.5");
    // 3 pt an acre in 65 gal are 0.046 pt, 0.74 fl oz and 1.5 tablespoons in a gallon, in thousandths; tolerance 0.03. A
    // pint is 16 fl oz, a fluid ounce 2 tablespoons.
    close(3_000 / 65, 46, 1);
    close(3_000 * 16 / 65, 740, 30);
    close(3_000 * 32 / 65, 1_500, 30);
    // Oklahoma City, read in a copy: 40 gal an acre is 0.92 (0.9183; tolerance 0.005); 3.6 pt an acre 1.3 fl oz on 1,000 sq
    // ft (1.322; tolerance 0.05); 25 acres take 90 pt, 11.25 gal exactly.
    near(amount::<domain::quantity::GallonPerAcre>("40").per_1000_sqft_rounded_nearest(), "0.92", "0.005");
    let pints: AcreRate = amount("0.45");
    let ounces = Volume::from_raw(pints.per_1000_sqft_rounded_nearest().raw()).fluid_ounces_rounded_down();
    close(ounces, 1_300, 50);
    assert_eq!(pints.raw() * 25, 112_500);
}

#[test]
fn c103_a_hose_end() {
    // Pesticide Environmental Stewardship, Hose-end Sprayer Calibration, inputs read: 1.25 gal on 250 sq ft are 5 gal on
    // 1,000 sq ft, 217.8 an acre (computed); six plants at 2 qt are 3 gal (read).
    let rate = known_area_rate_rounded_up(amount("1.25"), amount("250")).expect("a catch").value;
    near(rate, "5", "0");
    near(rate.per_acre_rounded_nearest(), "217.8", "0");
    assert_eq!(Volume::of_fluid_ounces_rounded_down(6 * 2 * 32 * 1_000), amount("3"));
}

#[test]
fn c104_c105_speed() {
    // Virginia, read in a copy: 88 ft a minute; computed: 100 ft in 22.7 s are 3.0 mph, in 34.1 s 2.0; tolerance 0.01.
    for (seconds, mph) in [("22.7", "3"), ("34.1", "2")] {
        let speed = Speed::over_course_rounded_nearest(amount("100"), amount(seconds)).expect("a time");
        near(speed, mph, "0.01");
    }
    assert_eq!(Speed::over_course_rounded_nearest(amount("100"), amount("0")), None);
    // Oregon DOT, formula read in a copy: an acre at 8 ft is 5,445 ft, and at 3 mph (264 ft a minute) 0.34375 h; its
    // rounded factor 0.000189 gives 0.343.
    let course = course_length_rounded_nearest(amount("43560"), amount("8")).expect("a swath").value;
    near(course, "5445", "0");
    close(course.raw() * 1_000 / (264 * 60) / 100, 343, 1);
}
