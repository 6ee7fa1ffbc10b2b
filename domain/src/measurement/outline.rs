//! A walked or drawn outline on the map: a polygon of RFC 7946 in longitude and latitude, with holes for what is not
//! lawn. Its area is that of the earth's ellipsoid, not of a flat map.
#![expect(clippy::float_arithmetic, reason = "positions are floats; the area leaves as whole hundredths, rounded once")]

use geo::{
    Area as _, Centroid, Coord, GeodesicArea, LineString, Polygon, Validation,
    orient::{Direction, Orient},
    validation::{InvalidPolygon, RingRole},
};
use serde::{Deserialize, Serialize};

use super::{MeasuredArea, plane};
use crate::{
    explain::{Derivation, SourceMark},
    quantity::{Area, Distance},
};

/// The only shape that bounds ground.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub enum OutlineType {
    Polygon,
}

/// A polygon of RFC 7946: rings of positions, longitude before latitude, the first ring around the lawn, further ones around
/// holes. Every ring ends where it began.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Outline {
    #[serde(rename = "type")]
    pub kind: OutlineType,
    #[schema(schema_with = rings_schema)]
    pub coordinates: Vec<Vec<Vec<f64>>>,
}

/// Rings of positions with their bounds, for the API document. A third number is a height and is left out of account.
pub fn rings_schema() -> utoipa::openapi::RefOr<utoipa::openapi::Schema> {
    let rings = utoipa::openapi::ArrayBuilder::new().items(positions_schema()).min_items(Some(1));
    rings.max_items(Some(MOST_RINGS)).into()
}

/// Positions with their bounds, longitude before latitude.
pub fn positions_schema() -> utoipa::openapi::RefOr<utoipa::openapi::Schema> {
    use utoipa::openapi::{ArrayBuilder, ObjectBuilder, schema::Type};
    let degrees = ObjectBuilder::new().schema_type(Type::Number).minimum(Some(-12_000)).maximum(Some(12_000));
    let position = ArrayBuilder::new().items(degrees).min_items(Some(2)).max_items(Some(3));
    ArrayBuilder::new()
        .items(position)
        .min_items(Some(1))
        .max_items(Some(MOST_POSITIONS))
        .description(Some(
            "Positions: longitude before latitude, in degrees; a height behind them is left out of account.",
        ))
        .into()
}

/// A place, longitude before latitude, in degrees.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct MapPosition {
    #[schema(minimum = -180, maximum = 180)]
    pub longitude: f64,
    #[schema(minimum = -90, maximum = 90)]
    pub latitude: f64,
}

/// Why an outline bounds no lawn.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum OutlineFault {
    #[error("an outline needs a ring of positions, each longitude and latitude in degrees")]
    NoRing,
    #[error(
        "an outline has at most {MOST_POSITIONS} positions in {MOST_RINGS} rings; leave out some that lie close together"
    )]
    TooMany,
    #[error("{ring} does not end where it began; repeat its first position at its end")]
    Open { ring: String },
    #[error("{ring} has fewer than three corners")]
    TooFewCorners { ring: String },
    #[error("{ring} crosses or touches itself")]
    Crossing { ring: String },
    #[error("{ring} does not lie within the outline")]
    HoleOutside { ring: String },
    #[error("{ring} and {other} overlap")]
    Overlap { ring: String, other: String },
    #[error("a position has no such longitude (-180 to 180) or latitude (-90 to 90)")]
    NoSuchPlace,
    #[error("the axes are swapped: GeoJSON writes longitude before latitude")]
    SwappedAxes,
    #[error("the outline lies more than 50 miles from the property; check the place")]
    FarAway,
    #[error("the ground near to it cannot be worked out; draw it again with fewer positions")]
    NoGround,
    #[error("the outline bounds {sqft} sq ft; a section has from 10 to 10,000,000 sq ft (229 acres)")]
    AbsurdSize { sqft: String },
}

pub(super) const KARNEY: &str = "Karney, Algorithms for Geodesics (2013), on the ellipsoid of WGS 84";
pub const MOST_POSITIONS: usize = 1_000;
pub const MOST_RINGS: usize = 50;
/// Degrees of latitude in about fifty miles: further away an outline is somebody else's.
const NEAR_DEGREES: f64 = 0.75;
/// Ten square feet, in hundredths.
const LEAST: i64 = 1_000;

fn named(role: RingRole) -> String {
    match role {
        RingRole::Exterior => "the outer ring".to_owned(),
        RingRole::Interior(index) => format!("hole {}", index + 1),
    }
}

/// How a fault calls the ring at an index.
pub(super) fn ring_name(index: usize) -> String {
    named(index.checked_sub(1).map_or(RingRole::Exterior, RingRole::Interior))
}

impl Outline {
    /// The polygon, always begun at the same corner and turned the same way, so that its area does not hang on how it was
    /// drawn.
    pub(super) fn polygon(&self, near: Option<MapPosition>) -> Result<Polygon, OutlineFault> {
        let positions: usize = self.coordinates.iter().map(Vec::len).sum();
        if positions > MOST_POSITIONS || self.coordinates.len() > MOST_RINGS {
            return Err(OutlineFault::TooMany);
        }
        let rings: Vec<LineString> = self.coordinates.iter().map(|ring| line(ring)).collect::<Result<_, _>>()?;
        let mut rings = rings.into_iter();
        let outer = rings.next().ok_or(OutlineFault::NoRing)?;
        let holes: Vec<LineString> = rings.collect();
        for (index, ring) in std::iter::once(&outer).chain(&holes).enumerate() {
            let role = index.checked_sub(1).map_or(RingRole::Exterior, RingRole::Interior);
            if ring.0.first() != ring.0.last() {
                return Err(OutlineFault::Open { ring: named(role) });
            }
            if ring.0.len() < 4 {
                return Err(OutlineFault::TooFewCorners { ring: named(role) });
            }
        }
        in_its_place(&outer, near)?;
        let polygon = Polygon::new(begun_alike(outer), holes.into_iter().map(begun_alike).collect());
        polygon.check_validation().map_err(|fault| explained(&fault))?;
        Ok(polygon.orient(Direction::Default))
    }

    /// The geodesic area of the outline less its holes, rounded down to the hundredth of a square foot.
    ///
    /// `near` is where the property is known to be; with it swapped axes and a strange place are found out. `position_error`
    /// is how far each position may be off: the area's error is then its standard deviation when the corners are off
    /// independently of each other.
    pub fn area_rounded_down(
        &self,
        near: Option<MapPosition>,
        position_error: Option<Distance>,
    ) -> Result<MeasuredArea, OutlineFault> {
        let polygon = self.polygon(near)?;
        let area = sized(polygon.geodesic_area_unsigned())?;
        let error_sqft = position_error.and_then(|error| deviation(&polygon, error));
        let corners: usize = self.coordinates.iter().map(|ring| ring.len().saturating_sub(1)).sum();
        let derivation = Derivation::of("area", "area of the outline on the ellipsoid less that of its holes")
            .with_text("corners", &corners, "")
            .with_text("holes", &polygon.interiors().len(), "")
            .converting("1 sq ft is 0.09290304 square meters exactly")
            .from_source(SourceMark::Computed, KARNEY)
            .gives(area, "down to the hundredth of a square foot")
            .derivation;
        Ok(MeasuredArea { area_sqft: area, error_sqft, derivation })
    }
}

pub(super) fn sized(square_meters: f64) -> Result<Area, OutlineFault> {
    let absurd = |sqft: String| OutlineFault::AbsurdSize { sqft };
    let raw = plane::hundredths_rounded_down(square_meters).ok_or_else(|| absurd("no number of".to_owned()))?;
    match Area::checked(raw) {
        Ok(area) if raw >= LEAST => Ok(area),
        _ => Err(absurd((raw / 100).to_string())),
    }
}

pub(super) fn line(ring: &[Vec<f64>]) -> Result<LineString, OutlineFault> {
    let position = |position: &Vec<f64>| match position.as_slice() {
        [x, y] | [x, y, _] => Ok(Coord { x: *x, y: *y }),
        _ => Err(OutlineFault::NoRing),
    };
    let line = ring.iter().map(position).collect::<Result<Vec<_>, _>>()?;
    if line.is_empty() {
        return Err(OutlineFault::NoRing);
    }
    let lies_on_earth = |at: &Coord| at.x.abs() <= 180.0 && at.y.abs() <= 90.0;
    if line.iter().all(lies_on_earth) {
        return Ok(LineString(line));
    }
    // Where only a few positions are strange, those are slips and the axes are not swapped.
    let strange = line.iter().filter(|at| !lies_on_earth(at)).count();
    let swapped = strange * 2 >= line.len() && line.iter().all(|at| lies_on_earth(&Coord { x: at.y, y: at.x }));
    Err(if swapped { OutlineFault::SwappedAxes } else { OutlineFault::NoSuchPlace })
}

/// Whether the ring lies where the property is, as far as that is known.
pub(super) fn in_its_place(outer: &LineString, near: Option<MapPosition>) -> Result<(), OutlineFault> {
    let (Some(place), Some(first)) = (near, outer.0.first()) else { return Ok(()) };
    let close = |x: f64, y: f64| {
        let narrowing = place.latitude.to_radians().cos().max(0.01);
        (y - place.latitude).abs() <= NEAR_DEGREES && ((x - place.longitude) * narrowing).abs() <= NEAR_DEGREES
    };
    match (close(first.x, first.y), close(first.y, first.x)) {
        (true, _) => Ok(()),
        (false, true) => Err(OutlineFault::SwappedAxes),
        (false, false) => Err(OutlineFault::FarAway),
    }
}

/// The same closed ring, begun at its westernmost, southernmost corner.
fn begun_alike(ring: LineString) -> LineString {
    let mut corners = ring.0;
    corners.pop();
    let first = corners
        .iter()
        .enumerate()
        .min_by(|(_, a), (_, b)| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)))
        .map_or(0, |(index, _)| index);
    corners.rotate_left(first);
    corners.extend(corners.first().copied());
    LineString(corners)
}

fn explained(fault: &InvalidPolygon) -> OutlineFault {
    match fault {
        InvalidPolygon::TooFewPointsInRing(role) => OutlineFault::TooFewCorners { ring: named(*role) },
        InvalidPolygon::SelfIntersection(role) => OutlineFault::Crossing { ring: named(*role) },
        InvalidPolygon::NonFiniteCoord(..) => OutlineFault::NoSuchPlace,
        InvalidPolygon::InteriorRingNotContainedInExteriorRing(role) => {
            OutlineFault::HoleOutside { ring: named(*role) }
        }
        InvalidPolygon::IntersectingRingsOnALine(a, b) | InvalidPolygon::IntersectingRingsOnAnArea(a, b) => {
            OutlineFault::Overlap { ring: named(*a), other: named(*b) }
        }
    }
}

/// Standard deviation of the area when each corner is off by so much on either axis: the area is half the sum of each
/// corner's place times the gap between its neighbours, so the variances add up to a quarter of error^2 x gap^2.
pub(super) fn deviation(polygon: &Polygon, error: Distance) -> Option<Area> {
    let origin = polygon.centroid().map(|middle| Coord { x: middle.x(), y: middle.y() })?;
    let plane = plane::Plane::at(origin);
    let mut squares = 0.0;
    for ring in std::iter::once(polygon.exterior()).chain(polygon.interiors()) {
        let corners: Vec<Coord> = ring.0.iter().skip(1).map(|at| plane.project(*at)).collect();
        let before = corners.iter().cycle().skip(corners.len().saturating_sub(1));
        let after = corners.iter().cycle().skip(1);
        squares += corners.iter().zip(before.zip(after)).map(|(_, (a, b))| plane::apart(*a, *b).powi(2)).sum::<f64>();
    }
    let square_meters = plane::meters(error.raw()) * squares.sqrt() / 2.0;
    debug_assert!(polygon.unsigned_area() >= 0.0, "an outline has no area below nothing");
    plane::hundredths_rounded_up(square_meters).and_then(|raw| Area::checked(raw).ok())
}
