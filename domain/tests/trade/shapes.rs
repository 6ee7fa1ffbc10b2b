//! Taped figures: C30 to C34, C57's ground, C95 to C97.

use domain::{
    measurement::{
        MeasurementFault,
        shapes::{
            Figures,
            OffsetRule::{self, Simpson, Trapezoidal},
            Shape,
        },
    },
    quantity::{Area, Distance},
};
use proptest::prelude::*;

use super::{amount, near};

fn feet(lengths: &[&str]) -> Vec<Distance> {
    lengths.iter().map(|length| amount(length)).collect()
}

fn area(lawn: Vec<Shape>, not_lawn: Vec<Shape>) -> Result<Area, MeasurementFault> {
    Figures { lawn, not_lawn, reading_error_ft: None }.area_rounded_down().map(|measured| measured.area_sqft)
}

fn one(shape: Shape) -> Area {
    area(vec![shape], vec![]).expect("an area")
}

fn rectangle(length: &str, width: &str) -> Shape {
    Shape::Rectangle { length_ft: amount(length), width_ft: amount(width) }
}

fn triangle(base: &str, height: &str) -> Shape {
    Shape::Triangle { base_ft: amount(base), height_ft: amount(height) }
}

fn circle(radius: &str) -> Shape {
    Shape::Circle { radius_ft: amount(radius) }
}

fn offsets(rule: OffsetRule, spacing: &str, widths: &[&str]) -> Shape {
    Shape::Offsets { spacing_ft: amount(spacing), widths_ft: feet(widths), rule }
}

const WIDTHS: [&str; 7] = ["3.9", "4.5", "5.1", "6.5", "6.3", "5.1", "4.1"];

#[test]
fn c30_c31_offsets() {
    // Surveying field notes, inputs read; computed, exact: 472.5 by the trapezoidal rule, 476.0 by Simpson's. A formula of
    // lengths holds in meters as in feet.
    near(one(offsets(Trapezoidal, "15", &WIDTHS)), "472.5", "0");
    near(one(offsets(Simpson, "15", &WIDTHS)), "476", "0");
    // A published wrong sum: these offsets at 8 m are 392.0, not 420 (computed).
    let ten = ["1.3", "2.5", "6.5", "7.9", "7.5", "6.9", "7.3", "6.2", "3.1", "0.9"];
    near(one(offsets(Trapezoidal, "8", &ten)), "392", "0");
    assert_eq!(area(vec![offsets(Simpson, "8", &ten)], vec![]), Err(MeasurementFault::OddStrips));
    // A lawn that comes to a point at both ends: the sum of the widths times the spacing (Missouri MEG 203, read).
    near(one(offsets(Trapezoidal, "10", &["0", "20", "30", "0"])), "500", "0");
}

#[test]
fn c32_c33_simple_figures() {
    // Surveying forum example, read: 25 high, sides 19.4 and 39.6 is 737.5; exact.
    let trapezoid =
        Shape::Trapezoid { side_ft: amount("19.4"), other_side_ft: amount("39.6"), height_ft: amount("25") };
    near(one(trapezoid), "737.5", "0");
    // Western Australia TAFE, read: radius 15 is 706.5 with 3.14 (706.86 exact; tolerance 0.4); Central Michigan Sod, read:
    // radius 10 is 314 (tolerance 0.2). Triangles, read: 50 x 80 / 2 = 2,000 and 10 x 20 / 2 = 100.
    near(one(circle("15")), "706.5", "0.4");
    near(one(circle("15")), "706.85", "0");
    near(one(circle("10")), "314", "0.2");
    near(one(triangle("50", "80")), "2000", "0");
    near(one(triangle("10", "20")), "100", "0");
    // Missouri MEG 203, read: an oval is length x width x 0.8; an ellipse is pi / 4 of it (computed).
    near(one(Shape::Oval { length_ft: amount("50"), width_ft: amount("30") }), "1200", "0");
    near(one(Shape::Ellipse { length_ft: amount("50"), width_ft: amount("30") }), "1178.09", "0");
}

#[test]
fn c34_average_radius() {
    // How to Measure a Putting Green, read: sixteen radii, sum 157.8, printed 305.27 (305.58 exact; tolerance 0.4).
    let radii = [
        "7.1", "8.9", "9.7", "10.9", "12.4", "11.7", "11.8", "9.9", "6.8", "8.2", "9.7", "10.4", "12.0", "11.4", "8.9",
        "8.0",
    ];
    let green = Shape::AverageRadius { radii_ft: feet(&radii) };
    near(one(green.clone()), "305.27", "0.4");
    near(one(green), "305.57", "0.01");
    let two = Shape::AverageRadius { radii_ft: feet(&["7", "8"]) };
    assert_eq!(area(vec![two], vec![]), Err(MeasurementFault::TooFewRadii));
}

#[test]
fn c95_a_lot_less_what_is_not_lawn() {
    // Maryland, HGIC lawn measuring sheet, read: 8,710 + 200 + 500 = 9,410, less 4,857.5 is 4,552.5; exact.
    let lawn = vec![rectangle("67", "130"), triangle("20", "20"), rectangle("20", "25")];
    near(area(lawn.clone(), vec![]).expect("an area"), "9410", "0");
    near(area(lawn, vec![rectangle("4857.5", "1")]).expect("an area"), "4552.5", "0");
    // Texas Master Gardeners, read: an 80 x 100 ft lot of 8,000 sq ft with 4,030 of lawn.
    near(area(vec![rectangle("80", "100")], vec![rectangle("39.7", "100")]).expect("an area"), "4030", "0");
}

#[test]
fn c96_c97_more_figures() {
    // Oklahoma City, read in a copy: 1,500; diameter 80 is 5,024 with 3.14 (5,026.5 exact; tolerance 3); 390.
    near(one(rectangle("60", "25")), "1500", "0");
    near(one(circle("40")), "5024", "3");
    near(one(triangle("30", "26")), "390", "0");
    // Texas, Lamar County, and Lawn to Lake, read: 50 x 50 = 2,500; radius 5 is 78.5 (78.54 exact; tolerance 0.05).
    near(one(rectangle("50", "50")), "2500", "0");
    near(one(circle("5")), "78.5", "0.05");
}

#[test]
fn impossible_figures_are_refused() {
    assert_eq!(area(vec![rectangle("0", "10")], vec![]), Err(MeasurementFault::NoLength));
    assert_eq!(area(vec![rectangle("10", "10")], vec![rectangle("10", "10")]), Err(MeasurementFault::NothingLeft));
    assert_eq!(area(vec![rectangle("100000", "100000")], vec![]), Err(MeasurementFault::OutOfRange));
    assert_eq!(area(vec![offsets(Trapezoidal, "0", &["1", "2"])], vec![]), Err(MeasurementFault::TooFewOffsets));
    assert_eq!(area(vec![], vec![]), Err(MeasurementFault::NothingLeft));
}

#[test]
fn an_error_stays_beside_the_figure() {
    // Computed: 100 x 50 ft read half a foot too short is 100.5 x 50.5 = 5,075.25.
    let figures = |lawn, error: Option<&str>| Figures { lawn, not_lawn: vec![], reading_error_ft: error.map(amount) };
    let measured = figures(vec![rectangle("100", "50")], Some("0.5")).area_rounded_down().expect("an area");
    assert_eq!(measured.error_sqft, Some(amount("75.25")));
    assert_eq!(figures(vec![rectangle("100", "50")], None).area_rounded_down().expect("an area").error_sqft, None);
    // Missouri, read: the offset method is within a few percent; 5 % of 472.5 is 23.625, rounded up.
    let offset = figures(vec![offsets(Trapezoidal, "15", &WIDTHS)], None).area_rounded_down().expect("an area");
    assert_eq!(offset.error_sqft, Some(amount("23.63")));
    assert!(offset.derivation.formula.contains("half the end widths"));
}

proptest! {
    #[test]
    fn the_tape_may_be_longer_and_the_lawn_never_smaller(a in 1_i64..100_000, b in 1_i64..10_000, more in 0_i64..1_000) {
        let of = |length| one(Shape::Ellipse { length_ft: Distance::from_raw(length), width_ft: Distance::from_raw(b + 100) });
        prop_assert!(of(a + 100) <= of(a + 100 + more));
    }
}
