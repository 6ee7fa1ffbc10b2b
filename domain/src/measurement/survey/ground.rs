//! The outlines laid over each other, and what the distances leave of them.

use geo::{BooleanOps, Centroid, Coord, GeodesicArea, MapCoords, MultiPolygon, Polygon, unary_union};

use super::part_fault::PartFault;
use crate::{
    measurement::{
        outline::{Outline, deviation},
        plane::{self, Plane},
        setback::{SetbackFeature, pieces, strip},
    },
    quantity::{Area, Distance},
};

/// The outlines of a survey, each with how far its corners may be off.
#[derive(Debug, Default)]
pub(super) struct Polygons {
    pub lawn: Vec<(Polygon, Option<Distance>)>,
    pub not_lawn: Vec<(Polygon, Option<Distance>)>,
}

impl Polygons {
    /// The error of all outlines together; nothing when of none it is known.
    pub(super) fn deviation(&self) -> Option<Area> {
        let each = self.lawn.iter().chain(&self.not_lawn);
        let known =
            each.filter_map(|(polygon, error)| deviation(polygon, (*error)?)).map(Area::raw).reduce(|a, b| a + b);
        known.and_then(|raw| Area::checked(raw).ok())
    }
}

/// What lies on the map, in hundredths of a square foot.
#[derive(Debug, Default)]
pub(super) struct Ground {
    /// Each outline by itself, lawn first.
    pub each: Vec<i64>,
    /// Outlines of lawn less those of what is not.
    pub lawn: i64,
    /// Outlines of what is not lawn, where no lawn is drawn that they could lie on.
    pub not_lawn: i64,
    /// What the distances leave of the lawn; nothing when none is kept.
    pub left: Option<i64>,
    pub pieces: Vec<Outline>,
}

fn down(square_meters: f64) -> Result<i64, PartFault> {
    plane::hundredths_rounded_down(square_meters)
        .ok_or_else(|| PartFault::new("", "absurd_size", "the outlines bound more ground than can be counted"))
}

impl Ground {
    pub(super) fn of(polygons: &Polygons, keep_off: &[SetbackFeature]) -> Result<Self, PartFault> {
        let mut ground = Self::default();
        for (polygon, _) in polygons.lawn.iter().chain(&polygons.not_lawn) {
            ground.each.push(down(polygon.geodesic_area_unsigned())?);
        }
        let Some((first, _)) = polygons.lawn.first().or_else(|| polygons.not_lawn.first()) else { return Ok(ground) };
        let middle = first.centroid().map_or(Coord { x: 0.0, y: 0.0 }, |middle| Coord { x: middle.x(), y: middle.y() });
        let plane = Plane::at(middle);
        let flat = |drawn: &[(Polygon, Option<Distance>)]| -> Vec<Polygon> {
            drawn.iter().map(|(polygon, _)| polygon.map_coords(|at| plane.project(at))).collect()
        };
        let (lawn, not_lawn) = (flat(&polygons.lawn), flat(&polygons.not_lawn));
        if lawn.is_empty() {
            let bare = plane.back(&unary_union(&not_lawn));
            // What is taken off is rounded up.
            ground.not_lawn = down(plane::square_meters(&bare))? + 1;
            return Ok(ground);
        }
        let alone = lawn.len() == 1 && not_lawn.is_empty();
        let lawn = if alone { MultiPolygon(lawn) } else { unary_union(&lawn).difference(&unary_union(&not_lawn)) };
        ground.lawn = match (alone, ground.each.first()) {
            // One outline keeps the area of its own corners, without a way through the plane.
            (true, Some(area)) => *area,
            _ => down(plane::square_meters(&plane.back(&lawn)))?,
        };
        if !keep_off.is_empty() {
            let mut kept = Vec::new();
            for (index, feature) in keep_off.iter().enumerate() {
                let strip = strip(feature, &plane)
                    .map_err(|fault| PartFault::new(format!("/keep_off/{index}/positions"), "invalid", &fault))?;
                kept.extend(strip.0);
            }
            let left = plane.back(&lawn.difference(&unary_union(&kept)));
            ground.left = Some(down(plane::square_meters(&left))?.min(ground.lawn));
            ground.pieces = pieces(&left);
        }
        Ok(ground)
    }
}
