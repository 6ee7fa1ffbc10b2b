//! The tests by which a machine is calibrated, each with what it measures.

use domain::{calibration::catch_test::CatchTest, equipment::EquipmentKind};

use crate::pages::form::{Field, choices};

/// A test, as somebody chooses it.
#[derive(Debug)]
pub struct Method {
    pub word: &'static str,
    pub name: &'static str,
    pub how: &'static str,
}

const COURSE: Method = Method {
    word: "course",
    name: "a measured walk",
    how: "Weigh product in, walk a measured distance at the usual pace with the gate open, weigh what is left. For a rotary spreader measure its swath with a row of pans first.",
};
const KNOWN_AREA: Method = Method {
    word: "known_area",
    name: "ground of known area",
    how: "Weigh product in, cover ground whose area is known as on a lawn, weigh what is left.",
};
const PANS: Method = Method {
    word: "pans",
    name: "a row of pans, for the swath",
    how: "Lay pans of one size across the path, as many on either side of the center, and walk over the middle. Write down what each caught from left to right, all in the same measure.",
};
const GUN: Method = Method {
    word: "gun",
    name: "spray caught in the time of a known area",
    how: "Time how long a known area takes with water, then catch the spray for that time.",
};
const BOOM: Method = Method {
    word: "boom",
    name: "the catch of its nozzles",
    how: "Time a measured course at working speed, then catch one nozzle for that time at working pressure, with water. Caught the others as well, worn ones are found.",
};

/// The tests of a kind of machine.
pub fn methods(kind: EquipmentKind) -> Vec<&'static Method> {
    match kind {
        EquipmentKind::DropSpreader => vec![&COURSE, &KNOWN_AREA],
        EquipmentKind::RotarySpreader => vec![&PANS, &COURSE, &KNOWN_AREA],
        EquipmentKind::BoomSprayer => vec![&BOOM],
        EquipmentKind::SprayGun => vec![&GUN],
    }
}

/// What a test asks for.
pub fn measured(method: &Method, kind: EquipmentKind) -> Vec<Field> {
    let weighed = || {
        [
            Field::amount("/test/put_in_lb", "Put in, lb").under("What was measured"),
            Field::amount("/test/left_over_lb", "Left over, lb"),
        ]
    };
    let target = || Field::amount("/test/target_lb_per_1000_sqft", "Target, lb of product per 1,000 sq ft");
    match method.word {
        "course" => weighed()
            .into_iter()
            .chain([
                Field::amount("/test/swath_ft", "Swath, ft"),
                swath_by(kind),
                Field::amount("/test/distance_ft", "Distance walked, ft"),
                target(),
            ])
            .collect(),
        "known_area" => {
            weighed().into_iter().chain([Field::amount("/test/area_sqft", "Area covered, sq ft"), target()]).collect()
        }
        "pans" => vec![
            Field::row_of("/test/catches", "Catches from left to right")
                .under("What was measured")
                .help("With blanks between, such as 1 3 4 3 1. An odd number of pans, the center in the middle."),
            Field::amount("/test/spacing_ft", "From the middle of one pan to that of the next, ft"),
        ],
        "gun" => vec![
            Field::amount("/test/caught_gal", "Caught, gal").under("What was measured"),
            Field::amount("/test/area_sqft", "Area covered in that time, sq ft"),
            Field::amount("/test/target_gal_per_1000_sqft", "Target, gal per 1,000 sq ft"),
        ],
        _ => vec![
            Field::amount("/test/caught_fl_oz", "Caught at one nozzle, fl oz").under("What was measured"),
            Field::row_of("/test/other_nozzles_fl_oz", "Caught at each other nozzle, fl oz")
                .optional()
                .help("In the same time, in their order, with blanks between: one that is far from the mean is worn."),
            Field::amount("/test/spacing_in", "Nozzles apart, in"),
            Field::amount("/test/course_ft", "Length of the course, ft"),
            Field::amount("/test/target_gal_per_acre", "Target, gal per acre"),
        ],
    }
}

/// How the swath was found: a drop spreader's is its hopper.
fn swath_by(kind: EquipmentKind) -> Field {
    let ways = match kind {
        EquipmentKind::RotarySpreader => choices(&[
            ("half_of_centre", "by a row of pans, to where the catch is half of the center's"),
            ("whole_throw", "the whole throw from edge to edge, which underdoses the edges"),
        ]),
        _ => choices(&[("hopper", "the width of the hopper")]),
    };
    Field::one("/test/swath_by", "How the swath was found", ways)
}

/// What was aimed at, with its unit.
pub fn target(test: &CatchTest) -> Option<String> {
    match test {
        CatchTest::Course { target_lb_per_1000_sqft: target, .. }
        | CatchTest::KnownArea { target_lb_per_1000_sqft: target, .. } => {
            Some(format!("{target} lb of product per 1,000 sq ft"))
        }
        CatchTest::Gun { target_gal_per_1000_sqft: target, .. } => Some(format!("{target} gal per 1,000 sq ft")),
        CatchTest::Boom { target_gal_per_acre: target, .. } => Some(format!("{target} gal per acre")),
        CatchTest::Pans { .. } => None,
    }
}
