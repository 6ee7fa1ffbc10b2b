//! The plane that touches the earth at a lawn: meters east and north. Over a mile it is off by less than a part in a million,
//! which is far below what a person can draw.
#![expect(clippy::float_arithmetic, reason = "positions are floats; areas leave as whole hundredths, rounded once")]

use geo::{Coord, GeodesicArea, LineString, MapCoords, MultiPolygon, Polygon};

/// The ellipsoid of WGS 84.
const EQUATOR_METERS: f64 = 6_378_137.0;
const FLATTENING: f64 = 1.0 / 298.257_223_563;

/// A plane at one place.
#[derive(Debug, Clone, Copy)]
pub(super) struct Plane {
    origin: Coord,
    /// Meters of a degree of longitude and of latitude.
    east: f64,
    north: f64,
}

impl Plane {
    pub(super) fn at(origin: Coord) -> Self {
        let squared = FLATTENING * (2.0 - FLATTENING);
        let latitude = origin.y.to_radians();
        let root = (1.0 - squared * latitude.sin().powi(2)).sqrt();
        let across = EQUATOR_METERS / root;
        let along = EQUATOR_METERS * (1.0 - squared) / root.powi(3);
        Self { origin, east: (across * latitude.cos()).to_radians().max(f64::MIN_POSITIVE), north: along.to_radians() }
    }

    pub(super) fn project(&self, place: Coord) -> Coord {
        Coord { x: (place.x - self.origin.x) * self.east, y: (place.y - self.origin.y) * self.north }
    }

    pub(super) fn back(&self, shape: &MultiPolygon) -> MultiPolygon {
        shape.map_coords(|at| Coord { x: self.origin.x + at.x / self.east, y: self.origin.y + at.y / self.north })
    }
}

/// Square meters of ground on the ellipsoid, whichever way round the rings run. Shapes that were laid over each other leave
/// slivers whose turn is lost in the last digit; taken by their turn they would count as all the rest of the earth.
pub(super) fn square_meters(shape: &MultiPolygon) -> f64 {
    let ring = |ring: &LineString| Polygon::new(ring.clone(), Vec::new()).geodesic_area_signed().abs();
    shape.0.iter().map(|piece| ring(piece.exterior()) - piece.interiors().iter().map(ring).sum::<f64>()).sum()
}

/// Distance of two points in meters.
pub(super) fn apart(a: Coord, b: Coord) -> f64 {
    (a.x - b.x).hypot(a.y - b.y)
}

/// Square meters as hundredths of a square foot, rounded down; nothing beyond what an area holds.
#[expect(clippy::cast_possible_truncation, reason = "held between bounds that a whole number has")]
pub(super) fn hundredths_rounded_down(square_meters: f64) -> Option<i64> {
    // A square foot is 0.09290304 square meters exactly.
    let hundredths = (square_meters / 0.092_903_04 * 100.0).floor();
    (hundredths.is_finite() && (0.0..=1e15).contains(&hundredths)).then_some(hundredths as i64)
}

/// The same rounded up.
pub(super) fn hundredths_rounded_up(square_meters: f64) -> Option<i64> {
    hundredths_rounded_down(square_meters).map(|down| down + 1)
}

/// Hundredths of a foot as meters.
#[expect(clippy::cast_precision_loss, reason = "a distance has fewer digits than a float")]
pub(super) fn meters(hundredths_of_a_foot: i64) -> f64 {
    hundredths_of_a_foot as f64 * 0.003_048
}
