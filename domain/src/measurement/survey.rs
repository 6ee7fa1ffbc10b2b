//! A whole section from its parts: what was taped and what was drawn on the map, added and taken off, less the ground that
//! lies too near to water, drains or pavement. Every fault names the part and the corner it is about.

mod faults;
mod ground;
mod part_fault;

use num_rational::BigRational;
pub use part_fault::PartFault;
use serde::{Deserialize, Serialize};

use self::{faults::faults, ground::Ground};
use super::{
    MeasurementFault,
    outline::{MapPosition, Outline},
    setback::{BUFFERS, SetbackFeature},
    shapes::{Figures, Shape, hundredths, whole},
};
use crate::{
    explain::{Derivation, SourceMark},
    quantity::Area,
};

/// How far an area may be off, and who says so.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct ErrorEstimate {
    /// Either way.
    pub error_sqft: Area,
    #[schema(max_length = 600)]
    pub source: String,
    pub mark: SourceMark,
}

/// What a survey found.
#[derive(Debug, Clone, PartialEq)]
pub struct Survey {
    /// What may be treated, rounded down.
    pub area_sqft: Area,
    /// The lawn before any distance was kept.
    pub lawn_sqft: Area,
    pub error: Option<ErrorEstimate>,
    /// What the distances leave of the outlines; empty when none is kept.
    pub pieces: Vec<Outline>,
    /// Part by part, the sum, and what the distances leave.
    pub derivations: Vec<Derivation>,
}

/// Least that a survey may make or leave: ten square feet, in hundredths.
const LEAST: i64 = 1_000;

/// Measures a section. `near` is where the property is known to be, which finds out swapped axes and strange places.
pub fn survey(
    figures: &Figures,
    keep_off: &[SetbackFeature],
    near: Option<MapPosition>,
) -> Result<Survey, Vec<PartFault>> {
    let polygons = faults(figures, keep_off, near)?;
    let ground = Ground::of(&polygons, keep_off).map_err(|fault| vec![fault])?;
    let taped = figures.exact(0);
    let lawn = sum(&taped, ground.lawn - ground.not_lawn);
    let lawn_sqft = lawn.map_err(|fault| vec![refused(figures, &fault)])?;
    let area_sqft = match ground.left {
        None => lawn_sqft,
        Some(left) => {
            sum(&taped, left).map_err(|_| vec![PartFault::new("/keep_off", "nothing_left", LESS_THAN_TEN)])?
        }
    };
    let mut derivations = parts(figures, &ground);
    derivations.push(total(figures, &ground, lawn_sqft));
    if ground.left.is_some() {
        derivations.push(kept(keep_off, lawn_sqft, area_sqft));
    }
    let error = error(figures, &polygons, &taped);
    derivations.extend(error.as_ref().map(explained));
    Ok(Survey { area_sqft, lawn_sqft, error, pieces: ground.pieces, derivations })
}

const LESS_THAN_TEN: &str = "the distances leave less than 10 sq ft to treat; check the distances and the places";

/// Taped ten-thousandths and ground in hundredths as the area of a section, rounded down.
fn sum(taped: &BigRational, ground: i64) -> Result<Area, MeasurementFault> {
    let exact = taped + whole(ground) * whole(100);
    if exact < whole(LEAST) * whole(100) {
        return Err(MeasurementFault::NothingLeft);
    }
    hundredths(&exact.floor(), 100).ok_or(MeasurementFault::OutOfRange)
}

/// What is wrong with the parts as a whole.
fn refused(figures: &Figures, fault: &MeasurementFault) -> PartFault {
    match fault {
        MeasurementFault::NothingLeft if !figures.not_lawn.is_empty() => {
            PartFault::new("", "nothing_left", NOT_TEN_LEFT)
        }
        MeasurementFault::NothingLeft => PartFault::new("", "absurd_size", NOT_TEN),
        other => PartFault::new("", "absurd_size", other),
    }
}

const NOT_TEN: &str = "the parts make less than 10 sq ft, which is no section; check the lengths and their unit";
const NOT_TEN_LEFT: &str = "what is not lawn leaves less than 10 sq ft of what is; check the lengths and their unit";

/// The taped figures and outlines, each by itself.
fn parts(figures: &Figures, ground: &Ground) -> Vec<Derivation> {
    let mut areas = ground.each.iter();
    let mut derivations = Vec::new();
    for (side, shapes) in [("lawn", &figures.lawn), ("not lawn", &figures.not_lawn)] {
        for (index, shape) in shapes.iter().enumerate() {
            let (formula, source, mark) = shape.formula();
            let derivation = Derivation::of(&format!("{side} {index}: {}", shape.label()), formula);
            let rounding = "down to the hundredth of a square foot";
            derivations.push(match shape {
                Shape::Outline { outline, .. } => {
                    let corners: usize = outline.coordinates.iter().map(|ring| ring.len().saturating_sub(1)).sum();
                    derivation
                        .with_text("corners", &corners, "")
                        .with_text("holes", &outline.coordinates.len().saturating_sub(1), "")
                        .converting("1 sq ft is 0.09290304 square meters exactly")
                        .from_source(mark, source)
                        .gives_text(&text(areas.next().copied()), "sq ft", rounding)
                }
                taped => derivation
                    .with_text("lengths", &taped.lengths_in_words(), "ft")
                    .from_source(mark, source)
                    .gives_text(&text(hundredths(&taped.exact(0).floor(), 100).map(Area::raw)), "sq ft", rounding),
            });
        }
    }
    derivations
}

fn text(hundredths: Option<i64>) -> String {
    hundredths.map_or_else(|| "more than an area holds".to_owned(), |raw| Area::from_raw(raw).to_string())
}

fn total(figures: &Figures, ground: &Ground, lawn: Area) -> Derivation {
    let mut derivation = Derivation::of("lawn", "sum of the lawn less what is not lawn");
    let taped = |shapes: &[Shape]| {
        let sum = shapes.iter().map(|shape| shape.exact(0)).sum::<BigRational>();
        hundredths(&sum.floor(), 100).map(Area::raw)
    };
    let sides = [("taped lawn", taped(&figures.lawn)), ("taped, not lawn", taped(&figures.not_lawn))];
    for (name, area) in sides.into_iter().filter(|(_, area)| *area != Some(0)) {
        derivation = derivation.with_text(name, &text(area), "sq ft");
    }
    if !ground.each.is_empty() {
        let how = "outlines are laid over each other on the map: ground that two of them share counts once, and what is not lawn is taken off only where it lies on them";
        let alone = "outlines of what is not lawn are laid over each other and rounded up";
        derivation = if ground.lawn > 0 {
            derivation.converting(how).with_text(
                "outlines of lawn less those of what is not",
                &text(Some(ground.lawn)),
                "sq ft",
            )
        } else {
            derivation.converting(alone).with_text("outlines, not lawn", &text(Some(ground.not_lawn)), "sq ft")
        };
    }
    derivation
        .from_source(SourceMark::Computed, "Sum of the parts above")
        .gives(lawn, "down to the hundredth of a square foot")
        .derivation
}

fn kept(keep_off: &[SetbackFeature], lawn: Area, area: Area) -> Derivation {
    let mut derivation = Derivation::of("treatable area", "lawn less the ground nearer to a feature than its distance")
        .with("lawn", lawn);
    for feature in keep_off {
        derivation = derivation.with(&feature.in_words(), feature.distance_ft);
    }
    let rounding = "down to the hundredth of a square foot; distances are taken longer by a part in 1,000";
    derivation.from_source(SourceMark::Computed, BUFFERS).gives(area, rounding).derivation
}

const BY_READING: &str =
    "What the area would change by if every length were read too long or too short by the reading error";
const BY_OFFSETS: &str = "Missouri, Measuring Lawns (MEG 203): offsets are held to be off by 5 % at least";
const BY_CORNERS: &str =
    "Standard deviation of the area when each corner is off by the position error, whatever the others";

/// How far the figure may be off: of the taped figures and of the outlines, added.
fn error(figures: &Figures, polygons: &ground::Polygons, taped: &BigRational) -> Option<ErrorEstimate> {
    let by_tape = figures.tape_error(taped).and_then(|error| hundredths(&(error / whole(100)).ceil(), 1));
    let by_corners = polygons.deviation();
    let raw = by_tape.into_iter().chain(by_corners).map(Area::raw).sum();
    let mut sources = Vec::new();
    sources.extend(figures.reading_error_ft.map(|_| BY_READING));
    sources.extend(figures.offsets().then_some(BY_OFFSETS));
    sources.extend(by_corners.map(|_| BY_CORNERS));
    let mark = if sources == [BY_OFFSETS] { SourceMark::Read } else { SourceMark::Computed };
    Area::checked(raw).ok().map(|error_sqft| ErrorEstimate { error_sqft, source: sources.join("; "), mark })
}

fn explained(error: &ErrorEstimate) -> Derivation {
    Derivation::of("error estimate", "the taped figures' error and the outlines' error, added")
        .from_source(error.mark, &error.source)
        .gives(error.error_sqft, "up to the hundredth of a square foot")
        .derivation
}
