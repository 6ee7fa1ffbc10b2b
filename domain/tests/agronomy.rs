//! The arithmetic of product and nutrient against figures that universities printed.
//!
//! A publication rounds at every step, so each comparison has the tolerance of its last printed digit, or a wider one that
//! says why. Amounts are in pounds, rates in pounds on 1,000 sq ft.

use domain::{
    product::{Label, Nutrients, ProductForm, product_for_target},
    quantity::{Percent, ProductMass, Quantity, Unit},
};

use crate::facts::{amount, book};

fn label(nitrogen: &str, phosphate: &str, potash: &str) -> Label {
    Label {
        form: ProductForm::Granular,
        nitrogen_percent: amount(nitrogen),
        slow_nitrogen_percent: Percent::ZERO,
        phosphate_percent: amount(phosphate),
        potash_percent: amount(potash),
        enhanced_efficiency: false,
        release_percent_per_month: None,
        organic: false,
        compost: false,
        labelled_for_establishment: false,
        enhanced_efficiency_phosphorus: false,
        product_limit_lb_per_1000_sqft: None,
        air_temperature_limit_f: None,
        wind_limit_mph: None,
        printed: None,
    }
}

/// Product for a rate of nitrogen on an area.
fn product(label: &Label, rate: &str, area: &str) -> ProductMass {
    product_for_target(label, amount(area), amount(rate)).expect("a product with nitrogen")
}

#[track_caller]
fn near<U: Unit>(found: Quantity<U>, printed: &str, tolerance: &str) {
    let (printed, tolerance): (Quantity<U>, Quantity<U>) = (amount(printed), amount(tolerance));
    let off = (found.raw() - printed.raw()).abs();
    assert!(off <= tolerance.raw(), "{found:?} is not {printed:?} within {tolerance:?}");
}

#[test]
fn c12_c13_north_carolina_quick_reference() {
    // NC State, http://www.ces.ncsu.edu/depts/hort/consumer/quickref/lawns/fertilizing.html: exact.
    near(product(&label("16", "4", "8"), "1", "1000"), "6.25", "0");
    near(product(&label("10", "10", "10"), "1", "1000"), "10", "0");
    near(product(&label("10", "10", "10"), "0.5", "1000"), "5", "0");
}

#[test]
fn c14_nebraska_rounds_step_by_step() {
    // Nebraska, http://byf.unl.edu/LawnFertCalc: 3.57 and 21.42 printed, 3.5714 and 21.4286 exact.
    near(product(&label("28", "3", "6"), "1", "1000"), "3.57", "0.005");
    near(product(&label("28", "3", "6"), "1", "6000"), "21.42", "0.01");
}

#[test]
fn c15_purdue() {
    // Purdue example, reprinted at https://trumarkathletics.com/our-blog.aspx?post=4414: 4.69 and a truncated 37.
    near(product(&label("16", "8", "8"), "0.75", "1000"), "4.69", "0.005");
    near(product(&label("16", "8", "8"), "0.75", "8000"), "37", "0.5");
}

#[test]
fn c16_massachusetts_with_half_rate() {
    // UMass, https://ag.umass.edu/turf/fact-sheets/rotary-spreader-calibration-procedures: 5.00, each pass 2.5; exact.
    let whole = product(&label("20", "5", "10"), "1", "1000");
    near(whole, "5", "0");
    let given = crate::facts::Given { n: Some("20".into()), product_lb: Some("5".into()), ..Default::default() };
    let book = book();
    let decision = domain::decision::decide(book, &["us-pa".to_owned()], &given.facts(crate::facts::day("2026-05-15")));
    let answer = &decision.sections[0];
    assert_eq!(answer.product_lb_per_1000_sqft.to_string(), "5");
    assert_eq!(answer.half_rate_product_lb_per_1000_sqft.to_string(), "2.5");
    assert_eq!(answer.nitrogen_lb_per_1000_sqft.to_string(), "1");
}

#[test]
fn c17_rutgers() {
    // Rutgers fact sheet (Heckman), reprinted: 5 and 10; exact.
    near(product(&label("20", "0", "0"), "1", "1000"), "5", "0");
    near(product(&label("20", "0", "0"), "2", "1000"), "10", "0");
}

#[test]
fn c18_c19_c21_north_carolina_table() {
    // NC State, https://content.ces.ncsu.edu/caring-for-your-lawn-and-the-environment: whole pounds.
    for (percent, pounds) in [("6", "17"), ("10", "10"), ("14", "7"), ("20", "5"), ("26", "4"), ("35", "3")] {
        near(product(&label(percent, "0", "0"), "1", "1000"), pounds, "0.5");
    }
    near(product(&label("24", "6", "6"), "1", "1000"), "4.17", "0.005");
    // It uses 4 x 5 = 20 for what is 20.83.
    near(product(&label("24", "6", "6"), "1", "5000"), "20", "1");
}

#[test]
fn c20_a_bag_of_fifty_pounds() {
    // Quoted at https://answersdrive.com/how-much-fertilizer-does-it-take-per-acre-25036: 3.8 and 13,200 sq ft, from
    // rounded steps; exactly 13,000 sq ft.
    near(product(&label("26", "5", "10"), "1", "1000"), "3.8", "0.05");
    near(product(&label("26", "5", "10"), "1", "13000"), "50", "0");
    near(product(&label("26", "5", "10"), "1", "13200"), "50", "1");
}

#[test]
fn c22_swapping_products() {
    // NC Cooperative Extension column, http://www.sanfordherald.com/features/x1374986698/Garden-Guide: about 1 and about 5.
    near(label("15", "0", "14").nutrients_in(amount("7")).nitrogen_lb, "1.05", "0");
    near(product(&label("21", "0", "0"), "1", "1000"), "5", "0.5");
}

#[track_caller]
fn delivers(nutrients: Nutrients, nitrogen: &str, phosphate: &str, potash: &str) {
    let found =
        [nutrients.nitrogen_lb.to_string(), nutrients.phosphate_lb.to_string(), nutrients.potash_lb.to_string()];
    assert_eq!(found, [nitrogen, phosphate, potash]);
}

#[test]
fn c23_c24_c26_nutrients_delivered() {
    // NC State, as C18; Cornell Cooperative Extension Suffolk, https://paperzz.com/doc/8583758; Florida yearly calendar,
    // https://docslib.org/download/2582559: all exact.
    delivers(label("10", "6", "4").nutrients_in(amount("40")), "4", "2.4", "1.6");
    delivers(label("24", "2", "8").nutrients_in(amount("30")), "7.2", "0.6", "2.4");
    delivers(label("16", "4", "8").nutrients_in(amount("6.25")), "1", "0.25", "0.5");
    // Cornell: 30 lb of it cover about 7,000 sq ft at 1 lb N; exactly 7,200, which is within 250.
    near(product(&label("24", "2", "8"), "1", "7200"), "30", "0");
    near(product(&label("24", "2", "8"), "1", "7000"), "30", "1.05");
}

#[test]
fn c25_a_blend_of_three() {
    // https://ask.extension.org/questions/603771: "about 1.75" P2O5 and "about 1.7" N from 8 lb of 21-22-4; tolerance 0.1.
    let starter = label("21", "22", "4").nutrients_in(amount("8"));
    near(starter.phosphate_lb, "1.75", "0.1");
    near(starter.nitrogen_lb, "1.7", "0.1");
    // The remaining 1.8 lb N on 3,500 sq ft, from 32-0-4: 5.6 lb.
    near(product(&label("32", "0", "4"), "1.8", "1000"), "5.6", "0.1");
}

#[test]
fn c27_potash_beside_phosphate() {
    // Michigan State soil report, https://homesoiltest.msu.edu/your-results/code/7BD887: 2.6 lb P2O5 of 18-24-12 carry 1.4 lb
    // K2O by the report; the grade alone gives 1.3. Tolerance 0.15.
    let carried = label("18", "24", "12").nutrients_in(amount("10.833333"));
    near(carried.phosphate_lb, "2.6", "0.0001");
    near(carried.potash_lb, "1.4", "0.15");
}

#[test]
fn c28_c29_the_slow_share_is_of_nitrogen() {
    // Suffolk County, https://healthylawns.suffolkcountyny.gov/lawn/fertilizing/selection.htm: 15 of 30 is 50 %; Tampa Bay
    // Estuary Program, http://tbep.org: 5 of 10 is 50 %. Exact.
    for (nitrogen, slow) in [("30", "15"), ("10", "5")] {
        let mut label = label(nitrogen, "0", "0");
        label.slow_nitrogen_percent = amount(slow);
        assert_eq!(label.slow_share().map(|share| share.to_string()).as_deref(), Some("50"));
    }
}

#[test]
fn a_product_without_nitrogen_reaches_no_target() {
    assert_eq!(product_for_target(&label("0", "0", "60"), amount("1000"), amount("1")), None);
}

#[test]
fn the_product_for_a_target_is_rounded_down() {
    // 1 lb N from a 7 % product is 14.2857142... lb: one millionth more would pass the target.
    let found = product(&label("7", "0", "0"), "1", "1000");
    assert_eq!(found.to_string(), "14.285714");
}
