//! Outlines on the map: areas against an independent library, faults, and what setbacks leave.

use domain::{
    measurement::{
        outline::{MOST_POSITIONS, MapPosition, Outline, OutlineFault, OutlineType},
        setback::{FeatureKind, SetbackFeature, treatable_rounded_down},
    },
    quantity::Area,
};
use proptest::prelude::*;

use super::{amount, near};

const HARRISBURG: MapPosition = MapPosition { longitude: -76.88, latitude: 40.27 };
/// About a foot of longitude and of latitude at 40 degrees 16 minutes north, on the ellipsoid (computed).
const EAST: f64 = 0.3048 / 85_063.0;
const NORTH: f64 = 0.3048 / 111_040.0;

fn outline(rings: &[Vec<[f64; 2]>]) -> Outline {
    let coordinates = rings.iter().map(|ring| ring.iter().map(|at| at.to_vec()).collect()).collect();
    Outline { kind: OutlineType::Polygon, coordinates }
}

/// A closed ring from feet east and north of Harrisburg.
fn ring(corners: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let place = |at: &[f64; 2]| [HARRISBURG.longitude + at[0] * EAST, HARRISBURG.latitude + at[1] * NORTH];
    corners.iter().chain(corners.first()).map(place).collect()
}

fn rectangle(west: f64, south: f64, east: f64, north: f64) -> Vec<[f64; 2]> {
    ring(&[[west, south], [east, south], [east, north], [west, north]])
}

fn area(outline: &Outline) -> Result<Area, OutlineFault> {
    outline.area_rounded_down(None, None).map(|measured| measured.area_sqft)
}

#[test]
fn areas_agree_with_an_independent_library() {
    // tests/references/outlines.py, with geographiclib: a hundredth of a square foot for small lawns, a part in 100 million
    // for large ones.
    #[derive(serde::Deserialize)]
    struct Case {
        ring: Vec<[f64; 2]>,
        square_feet: String,
    }
    #[derive(serde::Deserialize)]
    struct Cases {
        outline: Vec<Case>,
    }
    let cases: Cases = toml::from_str(include_str!("../references/outlines.toml")).expect("cases");
    assert!(cases.outline.len() > 20);
    for case in cases.outline {
        let expected: Area = amount(&case.square_feet);
        let found = area(&outline(&[case.ring])).expect("an area");
        let off = (found.raw() - expected.raw()).abs();
        assert!(off <= 2 + expected.raw() / 100_000_000, "{found} is not {expected}");
    }
}

#[test]
fn holes_are_taken_off_and_an_error_is_told() {
    let lot = rectangle(0.0, 0.0, 100.0, 80.0);
    let house = rectangle(20.0, 20.0, 60.0, 50.0);
    let measured = outline(&[lot, house]).area_rounded_down(Some(HARRISBURG), Some(amount("1"))).expect("an area");
    // 8,000 less 1,200, within the tenth of a percent to which the foot of this test is known.
    near(measured.area_sqft, "6800", "7");
    // Computed: the diagonals of both rectangles, each counted four times: sqrt(4 x (16,400 + 2,500)) / 2 = 137.5.
    near(measured.error_sqft.expect("an error"), "137.5", "0.5");
}

#[test]
fn bad_outlines_are_told_apart() {
    let fault = |rings: &[Vec<[f64; 2]>]| outline(rings).area_rounded_down(Some(HARRISBURG), None).err();
    let outer = || "the outer ring".to_owned();
    let mut open = rectangle(0.0, 0.0, 100.0, 80.0);
    open.pop();
    assert_eq!(fault(&[open]), Some(OutlineFault::Open { ring: outer() }));
    let bow = ring(&[[0.0, 0.0], [100.0, 80.0], [100.0, 0.0], [0.0, 80.0]]);
    assert_eq!(fault(&[bow]), Some(OutlineFault::Crossing { ring: outer() }));
    let line = ring(&[[0.0, 0.0], [100.0, 80.0]]);
    assert_eq!(fault(&[line]), Some(OutlineFault::TooFewCorners { ring: outer() }));
    let swapped: Vec<[f64; 2]> = rectangle(0.0, 0.0, 100.0, 80.0).iter().map(|at| [at[1], at[0]]).collect();
    assert_eq!(fault(std::slice::from_ref(&swapped)), Some(OutlineFault::SwappedAxes));
    // Without the property's place a swap shows only where no such latitude exists.
    assert!(outline(&[swapped]).area_rounded_down(None, None).is_ok());
    let alaska = vec![[61.2, -149.9], [61.21, -149.9], [61.2, -149.91], [61.2, -149.9]];
    assert_eq!(area(&outline(&[alaska])), Err(OutlineFault::SwappedAxes));
    let nowhere = vec![[-76.88, 40.27], [-276.88, 40.28], [-76.88, 140.29], [-76.88, 40.27]];
    assert_eq!(area(&outline(&[nowhere])), Err(OutlineFault::NoSuchPlace));
    let not_a_number = vec![[f64::NAN, 40.27], [-76.0, 40.28], [-76.88, 40.29], [f64::NAN, 40.27]];
    assert_eq!(area(&outline(&[not_a_number])), Err(OutlineFault::NoSuchPlace));
    assert_eq!(fault(&[rectangle(0.0, 0.0, 2.1, 2.1)]), Some(OutlineFault::AbsurdSize { sqft: "4".to_owned() }));
    assert!(matches!(fault(&[rectangle(0.0, 0.0, 9_000.0, 9_000.0)]), Some(OutlineFault::AbsurdSize { .. })));
    let far = rectangle(2e6, 0.0, 2e6 + 100.0, 80.0);
    assert_eq!(fault(&[far]), Some(OutlineFault::FarAway));
    let lot = rectangle(0.0, 0.0, 100.0, 80.0);
    let outside = rectangle(200.0, 0.0, 220.0, 20.0);
    assert_eq!(fault(&[lot.clone(), outside]), Some(OutlineFault::HoleOutside { ring: "hole 1".to_owned() }));
    let (one, two) = (rectangle(10.0, 10.0, 40.0, 40.0), rectangle(20.0, 20.0, 50.0, 50.0));
    assert!(matches!(fault(&[lot, one, two]), Some(OutlineFault::Overlap { .. })));
    assert_eq!(fault(&[]), Some(OutlineFault::NoRing));
    assert_eq!(fault(&[vec![[0.0, 0.0]; MOST_POSITIONS + 1]]), Some(OutlineFault::TooMany));
}

#[test]
fn an_outline_is_read_as_it_is_written() {
    let text =
        r#"{"type":"Polygon","coordinates":[[[-76.88,40.27],[-76.879,40.27],[-76.879,40.271,120.5],[-76.88,40.27]]]}"#;
    let outline: Outline = serde_json::from_str(text).expect("an outline");
    assert!(area(&outline).is_ok());
    assert!(serde_json::from_str::<Outline>(&text.replace("Polygon", "Point")).is_err());
}

fn feature(kind: FeatureKind, positions: &[[f64; 2]], distance: &str) -> SetbackFeature {
    let positions = positions.iter().map(|at| at.to_vec()).collect();
    SetbackFeature { kind, positions, distance_ft: amount(distance), rule: "us-md.setback".to_owned() }
}

#[test]
fn setbacks_are_taken_off() {
    let lawn = outline(&[rectangle(0.0, 0.0, 100.0, 80.0)]);
    let treatable =
        |features: &[SetbackFeature]| treatable_rounded_down(&lawn, features, Some(HARRISBURG)).expect("an area");
    let whole = treatable(&[]);
    assert_eq!(whole.treatable_sqft, Some(whole.outline_sqft));
    // A stream along the whole south side, 15 ft: 80 - 15 = 65 ft of depth are left, 6,500 sq ft, never more than that by
    // the strip's part in 1,000.
    let stream = feature(FeatureKind::Water, &ring(&[[-50.0, 0.0], [150.0, 0.0]])[..2], "15");
    let left = treatable(std::slice::from_ref(&stream)).treatable_sqft.expect("an area");
    near(left, "6500", "12");
    let share = f64::from(i32::try_from(left.raw()).expect("small"))
        / f64::from(i32::try_from(whole.outline_sqft.raw()).expect("small"));
    assert!(share <= 65.0 / 80.0, "{share} is more than the strip leaves");
    // A drain in the middle, 10 ft: a circle of 314.16 sq ft, and a hole in what is left.
    let drain = feature(FeatureKind::Drain, &ring(&[[50.0, 40.0]])[..1], "10");
    let around = treatable(std::slice::from_ref(&drain));
    near(around.treatable_sqft.expect("an area"), "7685.84", "9");
    assert_eq!((around.pieces.len(), around.pieces[0].coordinates.len()), (1, 2));
    // A pond as a ring with 10 ft around: 20 x 20, 4 x 20 x 10 and a circle; and a drive without distance.
    let pond = feature(FeatureKind::Water, &rectangle(40.0, 30.0, 60.0, 50.0), "10");
    near(treatable(&[pond]).treatable_sqft.expect("an area"), "6485.84", "9");
    let drive = feature(FeatureKind::Pavement, &rectangle(0.0, 0.0, 10.0, 80.0), "0");
    near(treatable(&[drive]).treatable_sqft.expect("an area"), "7200", "8");
    // Two that overlap are not taken off twice, and a lawn within the distance has nothing left.
    let both = treatable(&[stream.clone(), stream.clone()]).treatable_sqft.expect("an area");
    assert_eq!(both, left);
    let wide = SetbackFeature { distance_ft: amount("90"), ..stream };
    assert_eq!(treatable(&[wide]).treatable_sqft, None);
}

#[test]
fn a_large_outline_is_answered_at_once() {
    let count = u16::try_from(MOST_POSITIONS - 1).expect("small");
    let corners: Vec<[f64; 2]> = (0..count)
        .map(|corner| {
            let angle = std::f64::consts::TAU * f64::from(corner) / f64::from(count);
            let radius = 400.0 + 30.0 * (angle * 40.0).sin();
            [radius * angle.cos(), radius * angle.sin()]
        })
        .collect();
    let star = outline(&[ring(&corners)]);
    // The time is printed: a test build is many times slower than a released one, which is to answer within 50 ms.
    let watch = std::time::Instant::now();
    assert!(area(&star).is_ok());
    // The worst of the bad ones: every side crosses many others.
    let tangle: Vec<[f64; 2]> = corners
        .iter()
        .enumerate()
        .map(|(at, corner)| if at % 2 == 0 { *corner } else { [-corner[0], -corner[1]] })
        .collect();
    assert!(matches!(area(&outline(&[ring(&tangle)])), Err(OutlineFault::Crossing { .. })));
    println!("an outline and a tangle of {MOST_POSITIONS} positions took {:?}", watch.elapsed());
}

proptest! {
    #[test]
    fn an_area_does_not_hang_on_how_the_outline_was_drawn(
        radii in prop::collection::vec(10.0_f64..200.0, 3..30), begin in 0_usize..30, backwards in any::<bool>(), longitude in -170.0_f64..170.0, latitude in -70.0_f64..70.0,
    ) {
        let count = u8::try_from(radii.len()).expect("small");
        let mut corners: Vec<[f64; 2]> = (0..count).zip(&radii).map(|(corner, radius)| {
            let angle = std::f64::consts::TAU * f64::from(corner) / f64::from(count);
            [longitude + radius * angle.cos() * NORTH / latitude.to_radians().cos(), latitude + radius * angle.sin() * NORTH]
        }).collect();
        let close = |corners: &[[f64; 2]]| outline(&[corners.iter().chain(corners.first()).copied().collect()]);
        let first = area(&close(&corners));
        corners.rotate_left(begin % radii.len());
        if backwards {
            corners.reverse();
        }
        prop_assert_eq!(area(&close(&corners)), first);
    }
}
