//! Spreaders: C36, C38a, C106 to C108, the acceptance, the age and the drift.

use domain::{
    calibration::{
        Age, AgeLimits, CalibrationFault, CalibrationStatus, accept, age,
        drift::{Put, drift, target_on_part_rounded_nearest},
        half_rate_rounded_down,
        pattern::{Evenness, effective_swath_rounded_down, variation},
        spreader::{course_length_rounded_nearest, delivered_rate_rounded_up, known_area_rate_rounded_up},
        standing,
    },
    quantity::{Catch, ProductRate},
};

use super::{amount, near};
use crate::facts::day;

#[test]
fn c36_five_in_a_hundred_are_accepted() {
    // UMass Extension, Rotary Spreader Calibration Procedures, read: 5.00 is met by 4.75 to 5.25; exact.
    let accepted =
        |measured: &str| accept::<domain::quantity::ProductPoundPerKsf>(amount(measured), amount("5")).accepted;
    assert_eq!(["4.75", "5.25", "5"].map(accepted), [true; 3]);
    assert_eq!(["4.749999", "5.250001", "0"].map(accepted), [false; 3]);
    let low: ProductRate = amount("4.5");
    assert_eq!(accept(low, amount("5")).deviation_hundredths_percent, -1_000);
}

#[test]
fn c16_c38a_half_rates() {
    // UMass, read: 5.00 as two passes of 2.5; Rutgers Snyder Farm, read: 0.9 lb N as two of 0.45. Exact.
    near(half_rate_rounded_down(amount("5")).value, "2.5", "0");
    near(half_rate_rounded_down(amount("0.9")).value, "0.45", "0");
    near(half_rate_rounded_down(amount("0.000003")).value, "0.000001", "0");
}

#[test]
fn weighing_back() {
    // Georgia, Calibrating Spreaders, read: put in 10 lb, walk 1,000 / swath, and 10 less the rest is the rate.
    let length = course_length_rounded_nearest(amount("1000"), amount("8")).expect("a swath").value;
    near(length, "125", "0");
    near(
        delivered_rate_rounded_up(amount("10"), amount("6.2"), amount("8"), length).expect("a rate").value,
        "3.8",
        "0",
    );
    // Penn State (Landschoot), read in a reprint: a known area of 50 x 100 ft; value computed.
    near(known_area_rate_rounded_up(amount("50"), amount("31"), amount("5000")).expect("a rate").value, "3.8", "0");
    // A drop spreader's swath is its hopper (Clemson, Calibrating Spreaders): 100 sq ft take 66 2/3, 50 and 33 1/3 ft (computed).
    for (hopper, feet) in [("1.5", "66.67"), ("2", "50"), ("3", "33.33")] {
        near(course_length_rounded_nearest(amount("100"), amount(hopper)).expect("a hopper").value, feet, "0.01");
    }
    let rate = |put_in, left, swath, length| {
        delivered_rate_rounded_up(amount(put_in), amount(left), amount(swath), amount(length)).map(|rate| rate.value)
    };
    assert_eq!(rate("10", "11", "8", "125"), Err(CalibrationFault::LeftMoreThanPutIn));
    assert_eq!(rate("10", "10", "8", "125"), Err(CalibrationFault::NothingCaught));
    assert_eq!(rate("10", "5", "0", "125"), Err(CalibrationFault::NoCourse));
    assert_eq!(rate("900000", "5", "0.01", "0.01"), Err(CalibrationFault::OutOfRange));
}

fn row(catches: &[&str]) -> Vec<Catch> {
    catches.iter().map(|catch| amount(catch)).collect()
}

#[test]
fn c106_effective_swath() {
    // Ohio State, Calibrating Rotary Spreaders, read: 4 in at the centre, 2 in at 6 ft on either side is 12 ft; exact. The
    // pans between are invented to fall evenly.
    let catches = row(&["1", "2", "2.5", "3", "3.5", "3.8", "3.9", "4", "3.9", "3.8", "3.5", "3", "2.5", "2", "1"]);
    near(effective_swath_rounded_down(&catches, amount("1")).expect("a swath").value, "12", "0");
    // Half between two pans lies in proportion between them: 3 and 1 around 2 is half way (computed).
    let between = row(&["0", "1", "3", "4", "3", "1", "0"]);
    near(effective_swath_rounded_down(&between, amount("1")).expect("a swath").value, "3", "0");
    let swath = |catches: &[&str]| effective_swath_rounded_down(&row(catches), amount("1")).map(|swath| swath.value);
    assert_eq!(swath(&["4", "4", "4"]), Err(CalibrationFault::RowTooNarrow));
    assert_eq!(swath(&["1", "4"]), Err(CalibrationFault::NoRow));
    assert_eq!(swath(&["1", "0", "1"]), Err(CalibrationFault::NoRow));
    assert_eq!(effective_swath_rounded_down(&between, amount("0")).map(|s| s.value), Err(CalibrationFault::NoSpacing));
}

#[test]
fn c107_course_by_swath() {
    // Georgia's rule, read: 12 ft is 83.3 ft (computed); LSU AgCenter, read: 10 ft is 100 ft.
    near(course_length_rounded_nearest(amount("1000"), amount("12")).expect("a swath").value, "83.3", "0.05");
    near(course_length_rounded_nearest(amount("1000"), amount("10")).expect("a swath").value, "100", "0");
}

#[test]
fn c108_evenness() {
    // Teagasc, read in a trade page; bands computed: 15 % acceptable, 16 and 20 % care, above it rejected. Two places of
    // 100 + d and 100 - d vary by d %.
    let of = |pair: [&str; 2]| variation(&row(&pair), 2).expect("a row");
    assert_eq!(of(["115", "85"]).evenness, Evenness::Acceptable);
    assert_eq!(of(["115", "85"]).hundredths_percent, 1_500);
    assert_eq!(of(["107.44", "92.56"]).derivation.result, "7.44");
    assert_eq!(of(["116", "84"]).evenness, Evenness::Care);
    assert_eq!(of(["120", "80"]).evenness, Evenness::Care);
    assert_eq!(of(["120.001", "79.999"]).evenness, Evenness::Rejected);
    // A triangle whose passes are half its width apart is perfectly even.
    let triangle = row(&["0", "1", "2", "3", "2", "1"]);
    assert_eq!(variation(&triangle, 3).map(|v| v.hundredths_percent), Ok(0));
    assert_eq!(variation(&triangle, 0).map(|v| v.hundredths_percent), Err(CalibrationFault::NoSpacing));
    assert_eq!(variation(&row(&["0", "0"]), 2).map(|v| v.hundredths_percent), Err(CalibrationFault::NothingCaught));
}

#[test]
fn a_calibration_grows_old() {
    // NC State, Calibration of Turfgrass and Boom Sprayers and Spreaders, read: after every fourth application. The days are
    // a setting.
    let at = |on: &str, used| age(day("2026-03-01"), day(on), used, AgeLimits::DEFAULT);
    assert_eq!(at("2026-03-01", 3), Age::Current);
    assert_eq!(at("2026-03-02", 4), Age::OldByUse);
    assert_eq!((at("2027-03-01", 0), at("2027-03-02", 0)), (Age::Current, Age::OldByDays));
    assert_eq!(at("2026-02-28", 0), Age::NotYet);
}

#[test]
fn a_calibration_that_is_nearly_old_is_due() {
    // The fourth application is NC State's, as above; a month's notice is common practice.
    let at = |on: &str, used| standing(day("2026-03-01"), day(on), used, AgeLimits::DEFAULT);
    assert_eq!(
        [0, 2, 3, 4].map(|used| at("2026-03-02", used)),
        [CalibrationStatus::Fresh, CalibrationStatus::Fresh, CalibrationStatus::Due, CalibrationStatus::Out]
    );
    // 365 days end on 2027-03-01; thirty days are left on 2027-01-30.
    assert_eq!((at("2027-01-30", 0), at("2027-01-31", 0)), (CalibrationStatus::Fresh, CalibrationStatus::Due));
    assert_eq!((at("2027-03-01", 0), at("2027-03-02", 0)), (CalibrationStatus::Due, CalibrationStatus::Out));
    assert_eq!(at("2026-02-28", 0), CalibrationStatus::Out);
}

#[test]
fn a_target_is_shared_out_by_ground() {
    // By the definition of a rate: 20 lb set for 8,200 sq ft are 10 lb on half of it; a third is 6.666667.
    near(target_on_part_rounded_nearest(amount("20"), amount("8200"), amount("4100")), "10", "0");
    near(target_on_part_rounded_nearest(amount("20"), amount("3"), amount("1")), "6.666667", "0");
}

#[test]
fn drift_is_added_up_by_spreader() {
    // Invented records: a spreader that puts down 6 % too much each time, and one that is off once either way.
    let put =
        |key, on: &str, meant: &str, used: &str| Put { key, on: day(on), meant: amount(meant), used: amount(used) };
    let found = drift(&[
        put(1, "2026-05-03", "10", "10.6"),
        put(1, "2026-05-01", "20", "21.2"),
        put(1, "2026-05-02", "30", "31.8"),
        put(2, "2026-05-01", "10", "11"),
        put(2, "2026-05-02", "10", "9"),
        put(2, "2026-05-03", "10", "10"),
    ]);
    let (one, two) = (&found[&1], &found[&2]);
    assert_eq!((one.records, one.deviation_hundredths_percent), (3, Some(600)));
    assert!(one.beyond_acceptance && one.one_sided && one.first_on == day("2026-05-01"));
    assert!(!two.beyond_acceptance && !two.one_sided);
    assert_eq!(two.deviation_hundredths_percent, Some(0));
}

#[test]
fn a_test_is_written_down_and_worked_out() {
    use domain::calibration::catch_test::CatchTest;
    let test = |text: &str| serde_json::from_str::<CatchTest>(text).expect("a test").result();
    // UMass, read: 5.00 lb is met by 4.75 to 5.25. 4.8 lb on 8 x 125 ft are 4.8 (computed).
    let course = test(
        r#"{"method":"course","put_in_lb":"10","left_over_lb":"5.2","swath_ft":"8","swath_by":"half_of_centre","distance_ft":"125","target_lb_per_1000_sqft":"5"}"#,
    );
    let course = course.expect("a rate");
    assert_eq!(course.product_lb_per_1000_sqft, Some(amount("4.8")));
    assert_eq!(course.half_rate_lb_per_1000_sqft, Some(amount("2.5")));
    assert!(course.acceptance.expect("a target").accepted && course.derivations.len() == 2);
    // Pesticide Environmental Stewardship, read: 5.25 gal caught on 1,000 sq ft; a target of 5 is met within 5 %.
    let gun = test(r#"{"method":"gun","caught_gal":"5.25","area_sqft":"1000","target_gal_per_1000_sqft":"5"}"#)
        .expect("a rate");
    assert_eq!((gun.spray_gal_per_acre, gun.acceptance.map(|a| a.accepted)), (Some(amount("228.69")), Some(true)));
    // LSU AgCenter, formula read: 20 oz at 20 in over 200 ft.
    let boom =
        r#"{"method":"boom","caught_fl_oz":"20","spacing_in":"20","course_ft":"200","target_gal_per_acre":"25"}"#;
    assert!(!test(boom).expect("a rate").acceptance.expect("a target").accepted);
    // Ohio State, read: half of the centre at 6 ft on either side is a swath of 12 ft.
    let pans = r#"{"method":"pans","spacing_ft":"3","catches":["1","2","3","4","3","2","1"]}"#;
    let pans = test(pans).expect("a row");
    assert_eq!(pans.effective_swath_ft, Some(amount("12")));
    assert!(pans.variation.is_some() && pans.acceptance.is_none());
    let nothing = r#"{"method":"known_area","put_in_lb":"10","left_over_lb":"10","area_sqft":"5000","target_lb_per_1000_sqft":"5"}"#;
    assert_eq!(test(nothing), Err(CalibrationFault::NothingCaught));
    assert!(serde_json::from_str::<CatchTest>(r#"{"method":"guess"}"#).is_err());
}
