//! What no area follows from: each fault by its own field or corner, all at once, and quickly.

use harness::world::Company;
use serde_json::{Value, json};

use super::{PLACE, measure, on_the_map, outline, rectangle, ring, square};

async fn refused(company: &Company, from: &Value) -> Vec<(String, String)> {
    let reply = measure(company, from).await.problem(422, "invalid");
    let text = |fault: &Value, member: &str| fault[member].as_str().unwrap().to_owned();
    let faults = reply.body["errors"].as_array().unwrap();
    faults.iter().map(|fault| (text(fault, "pointer"), text(fault, "code"))).collect()
}

fn lawn(rings: &[Value]) -> Value {
    json!({ "lawn": [outline(rings)] })
}

#[tokio::test]
async fn a_bad_outline_names_its_corner() {
    let company = Company::in_maryland().await;
    on_the_map(&company).await;
    let lot = || square(0.0, 0.0, 100.0, 80.0);
    let mut open = lot();
    open.as_array_mut().unwrap().pop();
    let bow = ring(&[[0.0, 0.0], [100.0, 80.0], [100.0, 0.0], [0.0, 80.0]]);
    let swapped: Value = lot().as_array().unwrap().iter().map(|at| json!([at[1], at[0]])).collect();
    let mut nowhere = lot();
    nowhere[2] = json!([-76.88, 140.0]);
    let line = ring(&[[0.0, 0.0], [100.0, 80.0]]);
    let far = square(2e6, 0.0, 2e6 + 100.0, 80.0);
    let hole = |west: f64, east: f64| square(west, 10.0, east, 40.0);
    let at = |place: &str| format!("#/from/lawn/0/outline/coordinates{place}");
    let cases = [
        ("an open ring", lawn(&[open]), at("/0/3"), "open_ring"),
        ("sides that cross", lawn(&[bow]), at("/0/2"), "crossing_ring"),
        ("swapped axes", lawn(&[swapped]), at("/0/0"), "swapped_axes"),
        ("no such latitude", lawn(&[nowhere]), at("/0/2"), "no_such_place"),
        ("two corners", lawn(&[line]), at("/0"), "too_few_corners"),
        ("a speck", lawn(&[square(0.0, 0.0, 2.0, 2.0)]), at(""), "absurd_size"),
        ("a county", lawn(&[square(0.0, 0.0, 9e3, 9e3)]), at(""), "absurd_size"),
        ("another state", lawn(&[far]), at("/0/0"), "far_away"),
        ("a hole outside", lawn(&[lot(), hole(90.0, 120.0)]), at("/1/1"), "hole_outside"),
        ("holes that overlap", lawn(&[lot(), hole(10.0, 40.0), hole(20.0, 50.0)]), at("/2"), "overlapping_rings"),
    ];
    for (what, from, pointer, code) in cases {
        let found = refused(&company, &from).await;
        assert_eq!(found, [(pointer, code.to_owned())], "{what}");
    }
}

#[tokio::test]
async fn every_bad_part_is_told_at_once() {
    let company = Company::in_maryland().await;
    let from = json!({
        "lawn": [
            rectangle("0", "10"), { "shape": "offsets", "spacing_ft": "8", "widths_ft": ["1", "2"], "rule": "simpson" },
            { "shape": "average_radius", "radii_ft": ["7", "0", "8"] }, outline(&[square(0.0, 0.0, 1.0, 1.0)]),
        ],
        "not_lawn": [{ "shape": "circle", "radius_ft": "0" }],
        "keep_off": [{ "kind": "water", "positions": [[PLACE[1], PLACE[0] - 20.0]], "distance_ft": "10" },
                     { "kind": "well", "positions": [PLACE], "distance_ft": "0" }],
    });
    let found = refused(&company, &from).await;
    let expected = [
        "#/from/lawn/0/length_ft",
        "#/from/lawn/1/widths_ft",
        "#/from/lawn/2/radii_ft/1",
        "#/from/lawn/3/outline/coordinates",
        "#/from/not_lawn/0/radius_ft",
        "#/from/keep_off/0/positions/0",
        "#/from/keep_off/1/distance_ft",
        // Taped lawn has no place that a distance could be kept from.
        "#/from/lawn/0",
        "#/from/lawn/1",
        "#/from/lawn/2",
    ];
    assert_eq!(found.iter().map(|(pointer, _)| pointer.as_str()).collect::<Vec<_>>(), expected);
}

#[tokio::test]
async fn a_misspelt_figure_is_told_by_its_field() {
    let company = Company::in_maryland().await;
    let one = |shape: Value| json!({ "lawn": [shape] });
    let misspelt = |pointer: &str, code: &str| vec![(pointer.to_owned(), code.to_owned())];
    let cases = [
        (json!({ "shape": "hexagon", "length_ft": "3" }), misspelt("#/from/lawn/0/shape", "unknown_value")),
        (json!({ "length_ft": "3", "width_ft": "4" }), misspelt("#/from/lawn/0/shape", "missing")),
        (
            json!({ "shape": "trapezoid", "side_ft": "3", "height_ft": 4 }),
            vec![
                ("#/from/lawn/0/height_ft".to_owned(), "wrong_type".to_owned()),
                ("#/from/lawn/0/other_side_ft".to_owned(), "missing".to_owned()),
            ],
        ),
        (
            json!({ "shape": "rectangle", "length_ft": "3", "width_ft": "4", "colour": "green" }),
            misspelt("#/from/lawn/0/colour", "unknown_field"),
        ),
        (
            json!({ "shape": "outline", "outline": { "type": "Point", "coordinates": [[[1, 2]]] } }),
            misspelt("#/from/lawn/0/outline/type", "unknown_value"),
        ),
        (
            json!({ "shape": "outline", "outline": { "type": "Polygon", "coordinates": [[[1]]] } }),
            misspelt("#/from/lawn/0/outline/coordinates/0/0", "wrong_count"),
        ),
    ];
    for (shape, expected) in cases {
        assert_eq!(refused(&company, &one(shape.clone())).await, expected, "{shape}");
    }
    assert_eq!(refused(&company, &json!({ "lawn": [] })).await, misspelt("#/from/lawn", "wrong_count"));
}

#[tokio::test]
async fn water_that_crosses_itself_or_is_too_far_is_refused() {
    let company = Company::in_maryland().await;
    on_the_map(&company).await;
    let kept = |positions: Value, distance: &str| {
        json!({ "lawn": [outline(&[square(0.0, 0.0, 100.0, 80.0)])],
                "keep_off": [{ "kind": "water", "positions": positions, "distance_ft": distance }] })
    };
    let bow = ring(&[[20.0, 20.0], [80.0, 60.0], [80.0, 20.0], [20.0, 60.0]]);
    let found = refused(&company, &kept(bow, "10")).await;
    assert_eq!(found, [("#/from/keep_off/0/positions/2".to_owned(), "crossing_ring".to_owned())]);
    let found = refused(&company, &kept(json!([PLACE]), "1000.5")).await;
    assert_eq!(found, [("#/from/keep_off/0/distance_ft".to_owned(), "out_of_range".to_owned())]);
}

#[tokio::test]
async fn nothing_left_is_no_lawn() {
    let company = Company::in_maryland().await;
    on_the_map(&company).await;
    let shed = json!({ "lawn": [rectangle("10", "10")], "not_lawn": [rectangle("10", "10")] });
    assert_eq!(refused(&company, &shed).await[0].1, "nothing_left");
    let swamp = json!({
        "lawn": [outline(&[square(0.0, 0.0, 100.0, 80.0)])],
        "keep_off": [{ "kind": "water", "positions": square(0.0, 0.0, 100.0, 80.0), "distance_ft": "0" }],
    });
    assert_eq!(refused(&company, &swamp).await, [("#/from/keep_off".to_owned(), "nothing_left".to_owned())]);
    // A feature that says the same place twice, or a ring without ground, harms nothing.
    let odd = json!({
        "lawn": [outline(&[square(0.0, 0.0, 100.0, 80.0)])],
        "keep_off": [{ "kind": "other", "positions": [PLACE, PLACE], "distance_ft": "5" },
                     { "kind": "pavement", "positions": [PLACE, PLACE, PLACE, PLACE], "distance_ft": "0" }],
    });
    let _ = measure(&company, &odd).await.expect(201);
}

/// A corner on a circle of so many.
fn round(at: u16, of: u16, radius: f64) -> [f64; 2] {
    let angle = std::f64::consts::TAU * f64::from(at) / f64::from(of);
    [radius * angle.cos(), radius * angle.sin()]
}

/// The worst outlines that fit: a star and a tangle of a thousand positions, and features with as many. How long each takes is
/// printed, and not asserted: a test build is many times slower than a released one.
#[tokio::test]
async fn the_largest_outlines_are_answered() {
    let company = Company::in_maryland().await;
    on_the_map(&company).await;
    let count = 999_u16;
    let corner = |at: u16, radius: f64| round(at, count, radius);
    let star: Vec<[f64; 2]> = (0..count).map(|at| corner(at, 400.0 + 30.0 * f64::from(at % 7))).collect();
    let tangle: Vec<[f64; 2]> =
        star.iter().enumerate().map(|(at, [x, y])| if at % 2 == 0 { [*x, *y] } else { [-x, -y] }).collect();
    // Everything must be looked at before the fault is found: the last two sides cross, the last two of forty-nine holes overlap.
    let mut knot = star.clone();
    knot.swap(996, 997);
    let hole = |at: u16| {
        let (west, south) = (f64::from(at % 7) * 80.0 - 280.0, f64::from(at / 7) * 80.0 - 280.0);
        let round = (0..18).map(|corner| corner * 55).map(|at| self::round(at, count, 20.0));
        ring(&round.map(|[x, y]| [west + x, south + y]).collect::<Vec<_>>())
    };
    let mut holes: Vec<Value> =
        std::iter::once(square(-310.0, -310.0, 310.0, 310.0)).chain((0..48).map(hole)).collect();
    holes.push(hole(47));
    let too_many: Vec<[f64; 2]> = star.iter().chain(&star).copied().collect();
    let scribble: Vec<[f64; 2]> = (0..900).map(|at| corner(at * 7 % 900 * 11 % 900, 100.0)).collect();
    let scribbled = json!({
        "lawn": [outline(&[square(-300.0, -300.0, 300.0, 300.0)])],
        "keep_off": [{ "kind": "water", "positions": ring(&scribble), "distance_ft": "2" }],
    });
    let pond: Vec<[f64; 2]> = (0..900).map(|at| corner(at, 100.0 + 30.0 * f64::from(at % 7))).collect();
    let kept = json!({
        "lawn": [outline(&[square(-300.0, -300.0, 300.0, 300.0)])],
        "keep_off": [{ "kind": "water", "positions": ring(&pond), "distance_ft": "15" }],
    });
    let cases = [
        ("a star", lawn(&[ring(&star)]), 201),
        ("a tangle", lawn(&[ring(&tangle)]), 422),
        ("a star with a knot at its end", lawn(&[ring(&knot)]), 422),
        ("many holes of which two overlap", lawn(&holes), 422),
        ("two thousand positions", lawn(&[ring(&too_many)]), 422),
        ("a pond", kept, 201),
        ("a pond that is a scribble", scribbled, 422),
    ];
    for (what, from, status) in cases {
        let watch = std::time::Instant::now();
        let _ = measure(&company, &from).await.expect(status);
        println!("{what} of {} bytes was answered in {:?}", from.to_string().len(), watch.elapsed());
    }
}
