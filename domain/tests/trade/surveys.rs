//! Whole sections from taped figures and outlines: what is added, taken off and kept away from, and where a fault lies.

use domain::{
    explain::SourceMark,
    measurement::{
        outline::{MapPosition, Outline, OutlineType},
        setback::{FeatureKind, SetbackFeature},
        shapes::{Figures, OffsetRule, Shape},
        survey::{PartFault, Survey, survey},
    },
    quantity::Area,
};
use proptest::prelude::*;

use super::{amount, near};

const HARRISBURG: MapPosition = MapPosition { longitude: -76.88, latitude: 40.27 };
/// About a foot of longitude and of latitude at 40 degrees 16 minutes north, on the ellipsoid (computed).
const EAST: f64 = 0.3048 / 85_063.0;
const NORTH: f64 = 0.3048 / 111_040.0;

fn ring(corners: &[[f64; 2]]) -> Vec<Vec<f64>> {
    let place = |at: &[f64; 2]| vec![HARRISBURG.longitude + at[0] * EAST, HARRISBURG.latitude + at[1] * NORTH];
    corners.iter().chain(corners.first()).map(place).collect()
}

fn square(west: f64, south: f64, east: f64, north: f64) -> Vec<Vec<f64>> {
    ring(&[[west, south], [east, south], [east, north], [west, north]])
}

fn drawn(rings: Vec<Vec<Vec<f64>>>, error: Option<&str>) -> Shape {
    let outline = Outline { kind: OutlineType::Polygon, coordinates: rings };
    Shape::Outline { outline, position_error_ft: error.map(amount) }
}

fn taped(length: &str, width: &str) -> Shape {
    Shape::Rectangle { length_ft: amount(length), width_ft: amount(width) }
}

fn measured(lawn: Vec<Shape>, not_lawn: Vec<Shape>, keep_off: &[SetbackFeature]) -> Result<Survey, Vec<PartFault>> {
    survey(&Figures { lawn, not_lawn, reading_error_ft: None }, keep_off, Some(HARRISBURG))
}

fn faults(lawn: Vec<Shape>) -> Vec<(String, &'static str)> {
    let found = measured(lawn, vec![], &[]).expect_err("faults");
    found.into_iter().map(|fault| (fault.pointer, fault.code)).collect()
}

#[test]
fn one_outline_has_its_own_geodesic_area() {
    let lot = square(0.0, 0.0, 100.0, 80.0);
    let shape = drawn(vec![lot.clone()], Some("1"));
    let Shape::Outline { outline, .. } = &shape else { unreachable!() };
    let alone = outline.area_rounded_down(Some(HARRISBURG), Some(amount("1"))).expect("an area");
    let found = measured(vec![shape.clone()], vec![], &[]).expect("a survey");
    assert_eq!((found.area_sqft, found.lawn_sqft), (alone.area_sqft, alone.area_sqft));
    let error = found.error.expect("an error");
    assert_eq!((Some(error.error_sqft), error.mark), (alone.error_sqft, SourceMark::Computed));
    assert!(found.pieces.is_empty() && found.derivations.len() == 3, "{:?}", found.derivations);
}

#[test]
fn what_is_taken_off_is_rounded_up() {
    // A drive drawn beside a taped lawn: never less comes off than it covers, so that no rate is reckoned on missing ground.
    let drive = drawn(vec![square(0.0, 0.0, 10.0, 33.3)], None);
    let Shape::Outline { outline, .. } = &drive else { unreachable!() };
    let down = outline.area_rounded_down(None, None).expect("an area").area_sqft;
    let found = measured(vec![taped("100", "80")], vec![drive], &[]).expect("a survey").area_sqft;
    let off = 800_000 - found.raw();
    // Laid through the plane and back, it may differ by a hundredth more.
    assert!(off > down.raw() - 2 && off <= down.raw() + 3, "{off} came off, {down} is covered");
}

#[test]
fn a_crossing_names_both_sides() {
    let bow = ring(&[[0.0, 0.0], [100.0, 80.0], [100.0, 0.0], [0.0, 80.0]]);
    let found = measured(vec![drawn(vec![bow], None)], vec![], &[]).expect_err("a fault");
    assert_eq!(found[0].pointer, "/lawn/0/outline/coordinates/0/2");
    assert!(found[0].message.ends_with("The side from position 0 to 1 meets the side from position 2 to 3."));
    // A spike that runs out and back over itself, and a corner that touches a side.
    let spike = ring(&[[0.0, 0.0], [100.0, 0.0], [150.0, 0.0], [100.0, 0.0], [100.0, 80.0], [0.0, 80.0]]);
    assert_eq!(faults(vec![drawn(vec![spike], None)])[0].1, "crossing_ring");
}

#[test]
fn a_slip_in_one_position_is_no_swap() {
    let mut lot = square(0.0, 0.0, 100.0, 80.0);
    lot[2][1] = 140.0;
    assert_eq!(faults(vec![drawn(vec![lot], None)]), [("/lawn/0/outline/coordinates/0/2".to_owned(), "no_such_place")]);
    let swapped = square(0.0, 0.0, 100.0, 80.0).into_iter().map(|at| vec![at[1], at[0]]).collect();
    assert_eq!(faults(vec![drawn(vec![swapped], None)])[0].1, "swapped_axes");
    let three = vec![vec![vec![-76.88, 40.27], vec![-76.88], vec![-76.87, 40.28], vec![-76.88, 40.27]]];
    assert_eq!(faults(vec![drawn(three, None)]), [("/lawn/0/outline/coordinates/0/1".to_owned(), "wrong_shape")]);
    assert_eq!(faults(vec![]), [("/lawn".to_owned(), "missing")]);
}

#[test]
fn features_far_away_are_not_passed_over() {
    // Water with swapped axes would keep nothing off and say nothing.
    let lawn = drawn(vec![square(0.0, 0.0, 100.0, 80.0)], None);
    let feature = |positions| SetbackFeature {
        kind: FeatureKind::Water,
        positions,
        distance_ft: amount("10"),
        rule: "as entered".to_owned(),
    };
    let of = |positions| measured(vec![lawn.clone()], vec![], &[feature(positions)]).expect_err("a fault").remove(0);
    let swapped = of(vec![vec![HARRISBURG.latitude, HARRISBURG.longitude]]);
    assert_eq!((swapped.pointer.as_str(), swapped.code), ("/keep_off/0/positions/0", "swapped_axes"));
    assert_eq!(of(vec![vec![-100.0, 40.0]]).code, "far_away");
    assert_eq!(of(vec![vec![-76.88]]).code, "wrong_shape");
}

/// A feature on the lot of 100 by 80 ft, and where the fault lies and what it is.
fn refused_feature(positions: Vec<Vec<f64>>, distance: &str) -> (String, &'static str) {
    let lawn = drawn(vec![square(0.0, 0.0, 100.0, 80.0)], None);
    let rule = "as entered".to_owned();
    let feature = SetbackFeature { kind: FeatureKind::Water, positions, distance_ft: amount(distance), rule };
    let fault = measured(vec![lawn], vec![], &[feature]).expect_err("a fault").remove(0);
    (fault.pointer, fault.code)
}

#[test]
fn a_pond_that_crosses_itself_is_refused() {
    // Nobody knows on which side of such a ring the water lies, and its buffer would keep nothing off.
    let bow = ring(&[[20.0, 20.0], [80.0, 60.0], [80.0, 20.0], [20.0, 60.0]]);
    assert_eq!(refused_feature(bow, "10"), ("/keep_off/0/positions/2".to_owned(), "crossing_ring"));
    // A position that stands twice is no crossing.
    let mut twice = square(30.0, 30.0, 60.0, 60.0);
    twice.insert(1, twice[0].clone());
    let feature = |positions| SetbackFeature {
        kind: FeatureKind::Water,
        positions,
        distance_ft: amount("10"),
        rule: "as entered".to_owned(),
    };
    let left = |positions| {
        let lawn = drawn(vec![square(0.0, 0.0, 100.0, 80.0)], None);
        measured(vec![lawn], vec![], &[feature(positions)]).expect("a survey").area_sqft
    };
    assert_eq!(left(twice), left(square(30.0, 30.0, 60.0, 60.0)));
}

#[test]
fn a_scribble_is_no_water() {
    // A spiral of spokes: every side crosses most others.
    let corners: Vec<[f64; 2]> =
        (0..60_u16).map(|at| [if at % 2 == 0 { 0.0 } else { 100.0 }, f64::from(at * 7 % 80)]).collect();
    let mut open = ring(&corners);
    open.pop();
    assert_eq!(refused_feature(open, "2"), ("/keep_off/0/positions".to_owned(), "crossing_ring"));
}

#[test]
fn a_distance_is_kept_as_it_was_entered_or_refused() {
    let point = || vec![vec![HARRISBURG.longitude, HARRISBURG.latitude]];
    assert_eq!(refused_feature(point(), "1000.01"), ("/keep_off/0/distance_ft".to_owned(), "out_of_range"));
    // Of 3,000 x 3,000 ft a quarter of a circle of 1,000 ft is kept off: 8,214,602 sq ft are left (computed).
    let lawn = drawn(vec![square(0.0, 0.0, 3_000.0, 3_000.0)], None);
    let feature = SetbackFeature {
        kind: FeatureKind::Well,
        positions: point(),
        distance_ft: amount("1000"),
        rule: "as entered".to_owned(),
    };
    let found = measured(vec![lawn], vec![], &[feature]).expect("a survey").area_sqft;
    near(found, "8214602", "9000");
}

#[test]
fn sizes_that_are_no_section_are_told_as_such() {
    let fault = |lawn, not_lawn| {
        let found = measured(lawn, not_lawn, &[]).expect_err("a fault").remove(0);
        (found.code, found.message)
    };
    let (code, message) = fault(vec![taped("99999", "99999")], vec![]);
    assert!(code == "absurd_size" && message.contains("10,000,000"), "{message}");
    let flat = Shape::Offsets {
        spacing_ft: amount("15"),
        widths_ft: vec![amount("0"), amount("0"), amount("0")],
        rule: OffsetRule::Trapezoidal,
    };
    let (code, message) = fault(vec![flat], vec![]);
    assert!(code == "absurd_size" && message.contains("less than 10 sq ft"), "{message}");
    assert_eq!(fault(vec![taped("0.1", "0.1")], vec![]).0, "absurd_size");
    let (code, message) = fault(vec![taped("10", "10")], vec![taped("10", "9.5")]);
    assert!(code == "nothing_left" && message.contains("not lawn"), "{message}");
}

#[test]
fn a_shed_comes_off_what_the_distances_leave() {
    // A stream along the south side, 15 ft: 6,500 sq ft are left, and of those a taped shed of 100.
    let lawn = drawn(vec![square(0.0, 0.0, 100.0, 80.0)], None);
    let stream = SetbackFeature {
        kind: FeatureKind::Water,
        positions: square(-50.0, 0.0, 150.0, 10.0)[..2].to_vec(),
        distance_ft: amount("15"),
        rule: "us-md.water.distance".to_owned(),
    };
    let found = measured(vec![lawn], vec![taped("10", "10")], &[stream]).expect("a survey");
    near(found.area_sqft, "6400", "12");
    near(found.lawn_sqft, "7900", "8");
    assert_eq!(found.pieces.len(), 1);
}

proptest! {
    #[test]
    fn the_order_of_the_parts_does_not_matter(
        squares in prop::collection::vec((0.0_f64..300.0, 0.0_f64..300.0, 20.0_f64..90.0), 2..6), turn in 1_usize..5,
    ) {
        let lawn: Vec<Shape> =
            squares.iter().map(|(x, y, side)| drawn(vec![square(*x, *y, x + side, y + side)], None)).collect();
        let mut other = lawn.clone();
        other.rotate_left(turn % lawn.len());
        let area = |lawn| measured(lawn, vec![], &[]).expect("a survey").area_sqft;
        let (one, two) = (area(lawn.clone()), area(other));
        // The plane touches the earth at another corner: a tenth of a square foot at most on so little ground.
        prop_assert!((one.raw() - two.raw()).abs() <= 10, "{one} and {two}");
        // And ground that two share counts once: never more than the sum, never less than the largest.
        let each: Vec<Area> = lawn.into_iter().map(|shape| area(vec![shape])).collect();
        let sum: i64 = each.iter().map(|area| area.raw()).sum();
        let largest = each.iter().map(|area| area.raw()).max().expect("parts");
        prop_assert!(one.raw() <= sum + 10 && one.raw() >= largest - 10);
    }

    #[test]
    fn no_outline_and_no_feature_breaks_it(
        lawn in prop::collection::vec(prop::collection::vec((-4_i8..4, -4_i8..4), 1..9), 1..3),
        wild in prop::collection::vec((-200.0_f64..200.0, -200.0_f64..200.0), 0..6),
        feature in prop::collection::vec((-5_i8..5, -5_i8..5), 1..8), distance in 0_i64..200_000, close in any::<bool>(),
    ) {
        // Corners on a coarse grid meet, repeat and run back over each other; some lie anywhere at all.
        let place = |(x, y): (i8, i8)| [f64::from(x) * 30.0, f64::from(y) * 30.0];
        let mut rings: Vec<Vec<Vec<f64>>> =
            lawn.into_iter().map(|corners| ring(&corners.into_iter().map(place).collect::<Vec<_>>())).collect();
        rings[0].extend(wild.into_iter().map(|(x, y)| vec![x, y]));
        let mut positions = ring(&feature.into_iter().map(place).collect::<Vec<_>>());
        if !close {
            positions.pop();
        }
        let distance_ft = domain::quantity::Distance::from_raw(distance);
        let feature = SetbackFeature { kind: FeatureKind::Water, positions, distance_ft, rule: "as entered".to_owned() };
        let plain = drawn(vec![square(0.0, 0.0, 100.0, 80.0)], None);
        for (lawn, not_lawn) in [(drawn(rings.clone(), Some("1")), None), (plain, Some(drawn(rings, None)))] {
            match measured(vec![lawn], not_lawn.into_iter().collect(), std::slice::from_ref(&feature)) {
                Ok(found) => prop_assert!(found.area_sqft <= found.lawn_sqft && found.area_sqft.raw() >= 1_000),
                Err(faults) => prop_assert!(faults.iter().all(|fault| !fault.message.is_empty() && fault.pointer.len() < 100)),
            }
        }
    }
}
