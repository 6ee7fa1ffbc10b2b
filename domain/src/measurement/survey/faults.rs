//! Everything that is wrong with the parts of a survey, before anything is worked out.

use geo::Polygon;

use super::{ground::Polygons, part_fault::PartFault};
use crate::{
    measurement::{
        MeasurementFault,
        outline::{MOST_POSITIONS, MapPosition, Outline, OutlineFault, in_its_place, line},
        plane::Plane,
        pointer,
        setback::{LONGEST, SetbackFeature, bounds_ground, edge, is_ring},
        shapes::{Figures, Shape},
    },
    quantity::Distance,
};

const TOO_MANY: &str =
    "all outlines and features together have at most 1,000 positions; leave out some that lie close together";

/// The outlines as polygons, or every fault.
pub(super) fn faults(
    figures: &Figures,
    keep_off: &[SetbackFeature],
    near: Option<MapPosition>,
) -> Result<Polygons, Vec<PartFault>> {
    let shapes = figures.lawn.iter().chain(&figures.not_lawn);
    let drawn = shapes.filter_map(|shape| match shape {
        Shape::Outline { outline, .. } => Some(outline.coordinates.iter().map(Vec::len).sum::<usize>()),
        _ => None,
    });
    let positions: usize = drawn.chain(keep_off.iter().map(|feature| feature.positions.len())).sum();
    if positions > MOST_POSITIONS {
        return Err(vec![PartFault::new("", "wrong_count", TOO_MANY)]);
    }
    let mut faults = Vec::new();
    let mut polygons = Polygons::default();
    if figures.lawn.is_empty() {
        faults.push(PartFault::new("/lawn", "missing", "needs at least one figure or outline that is lawn"));
    }
    for (name, shapes, into) in
        [("lawn", &figures.lawn, &mut polygons.lawn), ("not_lawn", &figures.not_lawn, &mut polygons.not_lawn)]
    {
        for (index, shape) in shapes.iter().enumerate() {
            let at = format!("/{name}/{index}");
            match shape {
                Shape::Outline { outline, position_error_ft } => match read(outline, near, &at) {
                    Ok(polygon) => into.push((polygon, *position_error_ft)),
                    Err(fault) => faults.push(fault),
                },
                taped => faults.extend(of_taped(taped, &at)),
            }
        }
    }
    let lawn_place = polygons.lawn.first().and_then(|(polygon, _)| place_of(polygon));
    for (index, feature) in keep_off.iter().enumerate() {
        faults.extend(of_feature(feature, lawn_place, &format!("/keep_off/{index}")));
    }
    if faults.is_empty() {
        faults.extend(of_crossings(keep_off));
    }
    if !keep_off.is_empty() {
        faults.extend(without_place(figures));
    }
    if faults.is_empty() { Ok(polygons) } else { Err(faults) }
}

fn place_of(polygon: &Polygon) -> Option<MapPosition> {
    polygon.exterior().0.first().map(|at| MapPosition { longitude: at.x, latitude: at.y })
}

fn read(outline: &Outline, near: Option<MapPosition>, at: &str) -> Result<Polygon, PartFault> {
    use geo::GeodesicArea as _;
    let polygon = outline.polygon(near).and_then(|polygon| {
        crate::measurement::outline::sized(polygon.geodesic_area_unsigned())?;
        Ok(polygon)
    });
    polygon.map_err(|fault| {
        let spot = pointer::of(outline, &fault);
        let more = spot.words.map_or_else(String::new, |words| format!(". {words}"));
        PartFault::new(format!("{at}/outline{}", spot.pointer), code(&fault), &format!("{fault}{more}"))
    })
}

const fn code(fault: &OutlineFault) -> &'static str {
    match fault {
        OutlineFault::NoRing => "wrong_shape",
        OutlineFault::TooMany => "wrong_count",
        OutlineFault::Open { .. } => "open_ring",
        OutlineFault::TooFewCorners { .. } => "too_few_corners",
        OutlineFault::Crossing { .. } => "crossing_ring",
        OutlineFault::HoleOutside { .. } => "hole_outside",
        OutlineFault::Overlap { .. } => "overlapping_rings",
        OutlineFault::NoSuchPlace => "no_such_place",
        OutlineFault::SwappedAxes => "swapped_axes",
        OutlineFault::FarAway => "far_away",
        OutlineFault::AbsurdSize { .. } => "absurd_size",
        OutlineFault::NoGround => "invalid",
    }
}

/// A taped figure: each length that is nothing by its own field.
fn of_taped(shape: &Shape, at: &str) -> Vec<PartFault> {
    let Err(fault) = shape.check() else { return Vec::new() };
    let several = matches!(shape, Shape::AverageRadius { .. });
    let nothing = shape.lengths().into_iter().enumerate().filter(|(_, (_, length))| length.raw() <= 0);
    let zeros: Vec<PartFault> = nothing
        .map(|(index, (field, _))| {
            let index = if several { format!("/{index}") } else { String::new() };
            PartFault::new(format!("{at}/{field}{index}"), "out_of_range", &MeasurementFault::NoLength)
        })
        .collect();
    match fault {
        MeasurementFault::NoLength => zeros,
        MeasurementFault::TooFewOffsets if !zeros.is_empty() => zeros,
        MeasurementFault::TooFewOffsets | MeasurementFault::OddStrips => {
            vec![PartFault::new(format!("{at}/widths_ft"), "wrong_count", &fault)]
        }
        MeasurementFault::TooFewRadii => vec![PartFault::new(format!("{at}/radii_ft"), "wrong_count", &fault)],
        _ => vec![PartFault::new(at, "invalid", &fault)],
    }
}

fn of_feature(feature: &SetbackFeature, lawn: Option<MapPosition>, at: &str) -> Vec<PartFault> {
    let line = match line(&feature.positions).and_then(|line| in_its_place(&line, lawn).map(|()| line)) {
        Ok(line) => line,
        Err(fault) => return vec![misplaced(feature, &fault, at)],
    };
    let mut faults = Vec::new();
    if feature.distance_ft == Distance::ZERO && !is_ring(&line.0) {
        let message = "a distance of nothing takes ground off only around a closed ring, such as a drive";
        faults.push(PartFault::new(format!("{at}/distance_ft"), "out_of_range", message));
    }
    if feature.distance_ft.raw() > LONGEST {
        let message = "is more than 1,000 ft, which no rule that was read asks; check the unit";
        faults.push(PartFault::new(format!("{at}/distance_ft"), "out_of_range", message));
    }
    // Within a ring that crosses itself nobody knows on which side the water lies.
    let in_plane = line.0.first().and_then(|first| edge(feature, &Plane::at(*first)).ok());
    let crossed = in_plane.filter(bounds_ground).and_then(|edge| pointer::meeting(&edge.0));
    faults.extend(crossed.map(|(one, other)| {
        let message = format!("the ring crosses or touches itself. {}", pointer::meeting_words(one, other));
        PartFault::new(format!("{at}/positions/{other}"), "crossing_ring", &message)
    }));
    faults
}

fn misplaced(feature: &SetbackFeature, fault: &OutlineFault, at: &str) -> PartFault {
    let ring = Outline {
        kind: crate::measurement::outline::OutlineType::Polygon,
        coordinates: vec![feature.positions.clone()],
    };
    let spot = pointer::of(&ring, fault).pointer;
    let position = spot.strip_prefix("/coordinates/0").unwrap_or_default();
    let message = match fault {
        OutlineFault::FarAway => "the feature lies more than 50 miles from the lawn; check the place".to_owned(),
        OutlineFault::NoRing => "a feature needs positions, each longitude and latitude in degrees".to_owned(),
        other => other.to_string(),
    };
    PartFault::new(format!("{at}/positions{position}"), code(fault), &message)
}

/// Most times that features may cross themselves and each other: a creek meets a drive here and there, and a scribble would
/// keep the server busy for minutes.
const MOST_CROSSINGS: usize = 200;
const TOO_MANY_CROSSINGS: &str =
    "the features cross themselves and each other more than 200 times; draw every edge once, with fewer positions";

/// Features that cross more often than ground does.
fn of_crossings(keep_off: &[SetbackFeature]) -> Option<PartFault> {
    let first = keep_off.iter().find_map(|feature| line(&feature.positions).ok()?.0.first().copied())?;
    let plane = Plane::at(first);
    let edges: Vec<_> = keep_off.iter().map(|feature| edge(feature, &plane).ok()).collect::<Option<_>>()?;
    let index = pointer::crosses_more_than(MOST_CROSSINGS, &edges)?;
    Some(PartFault::new(format!("/keep_off/{index}/positions"), "crossing_ring", TOO_MANY_CROSSINGS))
}

/// Taped lawn lies nowhere, so nothing can be kept away from it.
fn without_place(figures: &Figures) -> Vec<PartFault> {
    let taped = figures.lawn.iter().enumerate().filter(|(_, shape)| !matches!(shape, Shape::Outline { .. }));
    let message = "has no place on the map, so nobody knows how near to a feature it lies; draw it as an outline, or leave `keep_off` out";
    taped.map(|(index, _)| PartFault::new(format!("/lawn/{index}"), "contradiction", message)).collect()
}
