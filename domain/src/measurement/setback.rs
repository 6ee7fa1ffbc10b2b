//! What is left of an outline to treat when every water, drain and pavement keeps its legal distance.
#![expect(clippy::float_arithmetic, reason = "positions are floats; the area leaves as whole hundredths, rounded once")]

use geo::{
    Area as _, BooleanOps, Buffer, Centroid, ConvexHull, Coord, GeodesicArea, Intersects, LineString, MapCoords,
    MultiPolygon, Polygon,
    buffer::{BufferStyle, LineCap, LineJoin},
    unary_union,
};
use serde::{Deserialize, Serialize};

use super::{
    outline::{MapPosition, Outline, OutlineFault, OutlineType, line},
    plane::{self, Plane},
};
use crate::{
    explain::{Derivation, SourceMark},
    quantity::{Area, Distance},
};

/// What the distance is kept from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum FeatureKind {
    Water,
    Drain,
    Pavement,
    Well,
    Other,
}

impl FeatureKind {
    /// How a sentence calls it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Water => "water",
            Self::Drain => "a drain",
            Self::Pavement => "pavement",
            Self::Well => "a well",
            Self::Other => "another feature",
        }
    }
}

/// A feature on or near the lawn, with the distance that the law or the label sets for the equipment in use.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SetbackFeature {
    pub kind: FeatureKind,
    /// Positions of its edge, longitude before latitude: one for a point, more for a line, and a closed ring for ground.
    #[schema(min_items = 1, max_items = 1_000)]
    pub positions: Vec<Vec<f64>>,
    pub distance_ft: Distance,
    /// The rule that sets the distance.
    #[schema(max_length = 120)]
    pub rule: String,
}

impl SetbackFeature {
    /// `distance from water (a line) by us-md.setback`, no longer than an input of a derivation may be.
    pub(super) fn in_words(&self) -> String {
        let form = match self.positions.as_slice() {
            [_] => "a point",
            ring if is_ring(ring) => "a ring",
            _ => "a line",
        };
        let name = format!("distance from {} ({form}) by {}", self.kind.label(), self.rule);
        crate::text::truncate_chars(&name, 120)
    }
}

/// The ground that may be treated.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct TreatableArea {
    pub outline_sqft: Area,
    /// Rounded down; nothing when the distances leave less than ten square feet.
    pub treatable_sqft: Option<Area>,
    /// The pieces that are left.
    #[schema(max_items = 1_000)]
    pub pieces: Vec<Outline>,
    pub derivation: Derivation,
}

/// Longest piece of an arc in radii. The arc's chords lie inside the true circle by a part in 3,200 at most, so distances
/// are taken longer by a part in 1,000: no piece that is left lies too near.
const ARC: f64 = 0.05;
const LONGER: f64 = 1.001;
/// Longest distance that a setback can have, in hundredths of a foot: 1,000 ft.
pub(super) const LONGEST: i64 = 100_000;
/// Less ground than this, in square meters, a ring does not span: it is a line that was drawn there and back.
const FLAT: f64 = 1e-4;
/// Positions of a feature that are looked for in the ground that was worked out around it.
const SAMPLES: usize = 50;

/// The outline less all ground nearer to a feature than its distance.
pub fn treatable_rounded_down(
    outline: &Outline,
    features: &[SetbackFeature],
    near: Option<MapPosition>,
) -> Result<TreatableArea, OutlineFault> {
    let lawn = outline.polygon(near)?;
    let outline_sqft = super::outline::sized(lawn.geodesic_area_unsigned())?;
    let middle = lawn.centroid().map_or(Coord { x: 0.0, y: 0.0 }, |middle| Coord { x: middle.x(), y: middle.y() });
    let plane = Plane::at(middle);
    let mut kept = Vec::new();
    let mut derivation =
        Derivation::of("treatable area", "outline less the ground nearer to a feature than its distance")
            .with("outline", outline_sqft);
    for feature in features {
        kept.extend(strip(feature, &plane)?.0);
        derivation = derivation.with(&feature.in_words(), feature.distance_ft);
    }
    let flat = lawn.map_coords(|at| plane.project(at));
    let left = if kept.is_empty() { MultiPolygon(vec![flat]) } else { flat.difference(&unary_union(&kept)) };
    let left = plane.back(&left);
    let treatable_sqft = super::outline::sized(plane::square_meters(&left)).ok();
    let derivation = derivation.from_source(SourceMark::Computed, BUFFERS).gives_text(
        &treatable_sqft.map_or_else(|| "0".to_owned(), |area| area.to_string()),
        "sq ft",
        "down to the hundredth of a square foot; distances are taken longer by a part in 1,000",
    );
    Ok(TreatableArea { outline_sqft, treatable_sqft, pieces: pieces(&left), derivation })
}

pub(super) const BUFFERS: &str = "Buffers of the features in the plane that touches the ellipsoid at the lawn";

/// A feature's positions in the plane.
pub(super) fn edge(feature: &SetbackFeature, plane: &Plane) -> Result<LineString, OutlineFault> {
    Ok(LineString(line(&feature.positions)?.0.iter().map(|at| plane.project(*at)).collect()))
}

/// Whether positions come back to where they began.
pub(super) fn is_ring<T: PartialEq>(positions: &[T]) -> bool {
    positions.len() >= 4 && positions.first() == positions.last()
}

/// Whether a feature's edge runs around ground.
pub(super) fn bounds_ground(edge: &LineString) -> bool {
    // Not the ring's own area: the two halves of a bow tie cancel.
    is_ring(&edge.0) && edge.convex_hull().unsigned_area() > FLAT
}

/// The ground too near to a feature, in the plane.
pub(super) fn strip(feature: &SetbackFeature, plane: &Plane) -> Result<MultiPolygon, OutlineFault> {
    if feature.positions.len() > super::outline::MOST_POSITIONS {
        return Err(OutlineFault::TooMany);
    }
    let edge = edge(feature, plane)?;
    let distance = plane::meters(feature.distance_ft.raw().max(0)) * LONGER;
    let style = || BufferStyle::new(distance).line_join(LineJoin::Round(ARC)).line_cap(LineCap::Round(ARC));
    let ring = bounds_ground(&edge);
    if distance <= 0.0 {
        return Ok(MultiPolygon(if ring { vec![Polygon::new(edge, Vec::new())] } else { Vec::new() }));
    }
    let strip = match (ring, edge.0.as_slice()) {
        (true, _) => Polygon::new(edge.clone(), Vec::new()).buffer_with_style(style()),
        (false, [at]) => geo::Point(*at).buffer_with_style(style()),
        (false, _) => edge.buffer_with_style(style()),
    };
    if covers(&strip, &edge) { Ok(strip) } else { Err(OutlineFault::NoGround) }
}

/// Whether the ground that was worked out holds the feature itself. A buffer that failed would keep nothing off and say
/// nothing, so some positions, spread evenly, are looked for in it.
fn covers(strip: &MultiPolygon, edge: &LineString) -> bool {
    let every = edge.0.len().div_ceil(SAMPLES).max(1);
    edge.0.iter().step_by(every).all(|at| strip.intersects(at))
}

pub(super) fn pieces(left: &MultiPolygon) -> Vec<Outline> {
    let ring = |ring: &LineString| ring.0.iter().map(|at| vec![at.x, at.y]).collect();
    let outline = |piece: &Polygon| Outline {
        kind: OutlineType::Polygon,
        coordinates: std::iter::once(piece.exterior()).chain(piece.interiors()).map(ring).collect(),
    };
    left.0.iter().map(outline).collect()
}
