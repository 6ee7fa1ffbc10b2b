//! Where in an outline a fault lies, as a JSON Pointer, so that a person finds the corner.

use geo::{
    Coord, Intersects, Line, LineString, Polygon,
    line_intersection::{LineIntersection, line_intersection},
};

use super::outline::{Outline, OutlineFault, ring_name};

/// A place in an outline, and more words about it where a pointer cannot say all.
#[derive(Debug, Default)]
pub(super) struct Spot {
    pub pointer: String,
    pub words: Option<String>,
}

/// The corner or ring that a fault is about; the coordinates as a whole where it is about all of them.
pub(super) fn of(outline: &Outline, fault: &OutlineFault) -> Spot {
    let rings = &outline.coordinates;
    let named = |name: &str| (0..rings.len()).find(|index| ring_name(*index) == name).unwrap_or(0);
    let at = |ring: usize, position: Option<usize>| {
        let position = position.map_or_else(String::new, |position| format!("/{position}"));
        Spot { pointer: format!("/coordinates/{ring}{position}"), words: None }
    };
    match fault {
        OutlineFault::TooMany | OutlineFault::AbsurdSize { .. } | OutlineFault::NoGround => {
            Spot { pointer: "/coordinates".to_owned(), words: None }
        }
        OutlineFault::NoRing | OutlineFault::NoSuchPlace => match first(rings, |position| !is_place(position)) {
            Some((ring, position)) => at(ring, Some(position)),
            None => at(rings.iter().position(Vec::is_empty).unwrap_or(0), None),
        },
        OutlineFault::SwappedAxes => {
            let strange = first(rings, |position| position.get(1).is_some_and(|latitude| latitude.abs() > 90.0));
            strange.map_or_else(|| at(0, Some(0)), |(ring, position)| at(ring, Some(position)))
        }
        OutlineFault::FarAway => at(0, Some(0)),
        OutlineFault::Open { ring } => {
            let ring = named(ring);
            at(ring, rings.get(ring).map(|positions| positions.len().saturating_sub(1)))
        }
        OutlineFault::TooFewCorners { ring } | OutlineFault::Overlap { other: ring, .. } => at(named(ring), None),
        OutlineFault::Crossing { ring } => crossing(rings, named(ring)),
        OutlineFault::HoleOutside { ring } => {
            let ring = named(ring);
            at(ring, outside(rings, ring))
        }
    }
}

fn first(rings: &[Vec<Vec<f64>>], wrong: impl Fn(&[f64]) -> bool) -> Option<(usize, usize)> {
    let of_ring = |(ring, positions): (usize, &Vec<Vec<f64>>)| {
        positions.iter().position(|position| wrong(position)).map(|position| (ring, position))
    };
    rings.iter().enumerate().find_map(of_ring)
}

fn is_place(position: &[f64]) -> bool {
    matches!(position, [x, y] | [x, y, _] if x.abs() <= 180.0 && y.abs() <= 90.0)
}

fn coordinates(ring: &[Vec<f64>]) -> Vec<Coord> {
    let coordinate = |position: &Vec<f64>| match position.as_slice() {
        [x, y, ..] => Some(Coord { x: *x, y: *y }),
        _ => None,
    };
    ring.iter().filter_map(coordinate).collect()
}

fn crossing(rings: &[Vec<Vec<f64>>], ring: usize) -> Spot {
    let corners = rings.get(ring).map(|ring| coordinates(ring)).unwrap_or_default();
    match meeting(&corners) {
        Some((one, other)) => {
            Spot { pointer: format!("/coordinates/{ring}/{other}"), words: Some(meeting_words(one, other)) }
        }
        None => Spot { pointer: format!("/coordinates/{ring}"), words: None },
    }
}

/// Which two sides meet, in a sentence.
pub(super) fn meeting_words(one: usize, other: usize) -> String {
    format!("The side from position {one} to {} meets the side from position {other} to {}.", one + 1, other + 1)
}

/// The first two sides of a ring that meet though they are no neighbours, or that run back over each other. A position that
/// stands twice makes no side.
pub(super) fn meeting(corners: &[Coord]) -> Option<(usize, usize)> {
    let sides = sides(corners);
    let last = sides.len().saturating_sub(1);
    for (one, (at, side)) in sides.iter().enumerate() {
        for (other, (other_at, later)) in sides.iter().enumerate().skip(one + 1) {
            let neighbours = other == one + 1 || (one == 0 && other == last);
            let meet = match line_intersection(*side, *later) {
                None => false,
                Some(LineIntersection::SinglePoint { .. }) => !neighbours,
                Some(LineIntersection::Collinear { .. }) => true,
            };
            if meet {
                return Some((*at, *other_at));
            }
        }
    }
    None
}

/// The sides between positions that differ, each with the number of its first one.
fn sides(corners: &[Coord]) -> Vec<(usize, Line)> {
    let pairs = corners.iter().zip(corners.iter().skip(1)).enumerate();
    pairs.filter(|(_, (a, b))| a != b).map(|(at, (a, b))| (at, Line::new(*a, *b))).collect()
}

/// The edge at which the sides of all edges have met more often than so many times; nothing if they do not.
pub(super) fn crosses_more_than(most: usize, edges: &[LineString]) -> Option<usize> {
    let of_edge = |(edge, line): (usize, &LineString)| -> Vec<(usize, usize, Line)> {
        sides(&line.0).into_iter().enumerate().map(|(at, (_, side))| (edge, at, side)).collect()
    };
    let sides: Vec<(usize, usize, Line)> = edges.iter().enumerate().flat_map(of_edge).collect();
    let mut met = 0;
    for (index, (edge, at, side)) in sides.iter().enumerate() {
        for (other_edge, other_at, other) in sides.iter().skip(index + 1) {
            let neighbours = edge == other_edge && *other_at == at + 1;
            met += usize::from(!neighbours && side.intersects(other));
            if met > most {
                return Some(*other_edge);
            }
        }
    }
    None
}

/// The first corner of a hole that lies outside the outer ring.
fn outside(rings: &[Vec<Vec<f64>>], hole: usize) -> Option<usize> {
    let outer = Polygon::new(LineString(rings.first().map(|ring| coordinates(ring))?), Vec::new());
    let corners = rings.get(hole).map(|ring| coordinates(ring))?;
    corners.iter().position(|corner| !outer.intersects(corner))
}
