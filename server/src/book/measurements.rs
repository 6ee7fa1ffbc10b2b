//! A section's area from what was measured: entered as one figure, or worked out from its parts, which must agree.

use domain::{
    equipment::Equipment,
    explain::{Derivation, SourceMark},
    ids::MeasurementId,
    law::Lawbook,
    measurement::{
        outline::{MapPosition, Outline},
        setback::{FeatureKind, SetbackFeature},
        shapes::{Figures, Shape},
        survey::{ErrorEstimate, PartFault, Survey, survey},
    },
    quantity::{Area, Distance},
    time::Day,
};
use serde::Serialize;
use serde_json::Value;
use utoipa::ToSchema;

use crate::{
    problem::FieldFault,
    store::{
        measurements::{
            AreaErrorInput, Measured, MeasuredFrom, Measurement, MeasurementInput, MeasuringMethod, SetbackGround,
        },
        properties::Property,
    },
};

/// A square foot, in hundredths: nearer than this an area and its parts agree.
const AGREE: i64 = 100;
/// The rule of a distance that somebody entered without one.
pub const ENTERED: &str = "as entered";

/// Works out what is stored, or tells every fault.
pub fn measured(input: &MeasurementInput, property: &Property, law: &Lawbook) -> Result<Measured, Vec<FieldFault>> {
    let (entered, mut faults) = match entered(input) {
        Ok(area) => (area, Vec::new()),
        Err(fault) => (None, vec![fault]),
    };
    let Some(from) = &input.from else {
        return match entered {
            Some(area_sqft) if faults.is_empty() => {
                let error = input.error_estimate.as_ref().map(estimate);
                Ok(Measured { area_sqft, lawn_sqft: None, from: None, error, waits: false, to_confirm: false })
            }
            _ => {
                faults.extend(entered.is_none().then(nothing_given).filter(|_| input.area_m2.is_none()));
                Err(faults)
            }
        };
    };
    let (from, distance_faults) = with_distances(from, property, law, input.measured_on);
    faults.extend(distance_faults);
    let near = property.latitude.zip(property.longitude);
    let near = near.map(|(latitude, longitude)| MapPosition { longitude, latitude });
    let found = match (distances(&from), faults.is_empty()) {
        (Some(keep_off), true) => survey(&figures(&from), &keep_off, near),
        // A missing distance must not hide what else is wrong.
        _ => survey(&figures(&from), &[], near),
    };
    let survey = match found {
        Ok(survey) if faults.is_empty() => survey,
        Ok(_) => return Err(faults),
        Err(of_parts) => {
            faults.extend(of_parts.iter().map(field_fault));
            return Err(faults);
        }
    };
    faults.extend(entered.and_then(|area| disagreement(area, survey.area_sqft, input.area_m2.is_some())));
    let error = match error(input.error_estimate.as_ref(), &from, &survey) {
        Ok(error) => error,
        Err(fault) => {
            faults.push(fault);
            None
        }
    };
    if !faults.is_empty() {
        return Err(faults);
    }
    let lawn_sqft = (!from.keep_off.is_empty()).then_some(survey.lawn_sqft);
    Ok(Measured { area_sqft: survey.area_sqft, lawn_sqft, from: Some(from), error, waits: false, to_confirm: false })
}

fn nothing_given() -> FieldFault {
    FieldFault::at("/area_sqft", "missing", "is required, unless `area_m2` or `from` says how large the section is")
}

/// The area that was entered as one figure, in square feet.
fn entered(input: &MeasurementInput) -> Result<Option<Area>, FieldFault> {
    match (input.area_sqft, input.area_m2) {
        (Some(_), Some(_)) => {
            let detail = "must not stand beside `area_sqft`; give the figure that was read";
            Err(FieldFault::at("/area_m2", "contradiction", detail))
        }
        (Some(area), None) => Ok(Some(area)),
        (None, Some(metric)) => {
            let area = Area::of_square_meters_rounded_down(metric.raw());
            let area = Area::checked(area.raw());
            area.map(Some).map_err(|fault| FieldFault::at("/area_m2", "out_of_range", fault.to_string()))
        }
        (None, None) => Ok(None),
    }
}

fn disagreement(entered: Area, worked_out: Area, metric: bool) -> Option<FieldFault> {
    let pointer = if metric { "/area_m2" } else { "/area_sqft" };
    let detail = format!(
        "is {entered} sq ft, and the parts in `from` make {worked_out} sq ft; correct one of them, or leave the area out"
    );
    let apart = (entered.raw() - worked_out.raw()).abs() >= AGREE;
    apart.then(|| FieldFault::at(pointer, "contradiction", detail))
}

const NO_SOURCE: &str = "Common practice: nobody wrote down where the estimate comes from";

fn estimate(input: &AreaErrorInput) -> ErrorEstimate {
    let (source, mark) = match &input.source {
        Some(source) => (source.clone(), SourceMark::Own),
        None => (NO_SOURCE.to_owned(), SourceMark::CommonPractice),
    };
    ErrorEstimate { error_sqft: input.error_sqft, source, mark }
}

/// Whether the shapes say themselves how far they may be off.
pub fn error_follows(from: &MeasuredFrom) -> bool {
    let of_outline = |shape: &Shape| matches!(shape, Shape::Outline { position_error_ft: Some(_), .. });
    from.reading_error_ft.is_some() || from.lawn.iter().chain(&from.not_lawn).any(of_outline)
}

/// The error that follows from the parts, or somebody's own estimate, which may not be smaller than what a source says of the
/// method.
fn error(
    own: Option<&AreaErrorInput>,
    from: &MeasuredFrom,
    survey: &Survey,
) -> Result<Option<ErrorEstimate>, FieldFault> {
    let Some(own) = own else { return Ok(survey.error.clone()) };
    if error_follows(from) {
        let detail = "follows from the reading and position errors in `from`; give those or this";
        return Err(FieldFault::at("/error_estimate", "contradiction", detail));
    }
    match &survey.error {
        Some(least) if own.error_sqft < least.error_sqft => {
            let detail = format!("must be at least {} sq ft. {}", least.error_sqft, least.source);
            Err(FieldFault::at("/error_estimate/error_sqft", "out_of_range", detail))
        }
        _ => Ok(Some(estimate(own))),
    }
}

fn figures(from: &MeasuredFrom) -> Figures {
    Figures { lawn: from.lawn.clone(), not_lawn: from.not_lawn.clone(), reading_error_ft: from.reading_error_ft }
}

fn field_fault(fault: &PartFault) -> FieldFault {
    FieldFault::at(format!("/from{}", fault.pointer), fault.code, fault.message.clone())
}

/// The features with every distance known.
fn distances(from: &MeasuredFrom) -> Option<Vec<SetbackFeature>> {
    let known = from.keep_off.iter().map(|feature| {
        Some(SetbackFeature {
            kind: feature.kind,
            positions: feature.positions.clone(),
            distance_ft: feature.distance_ft?,
            rule: feature.rule.clone().unwrap_or_else(|| ENTERED.to_owned()),
        })
    });
    known.collect()
}

/// Puts the legal distance where none was entered, and says where it cannot be had.
fn with_distances(from: &MeasuredFrom, property: &Property, law: &Lawbook, on: Day) -> (MeasuredFrom, Vec<FieldFault>) {
    let mut legal: Option<Result<(Distance, String), String>> = None;
    let mut faults = Vec::new();
    let mut filled = |(index, feature): (usize, &SetbackGround)| {
        let mut feature = feature.clone();
        if feature.distance_ft.is_some() {
            feature.rule.get_or_insert_with(|| ENTERED.to_owned());
            return feature;
        }
        let equipment = from.equipment.unwrap_or(Equipment::RotarySpreader);
        let found = if feature.kind == FeatureKind::Water {
            legal.get_or_insert_with(|| from_water(property, law, on, equipment)).clone()
        } else {
            let what = feature.kind.label();
            Err(format!(
                "is required: the law that was read sets no distance from {what}; enter that of the label, or your own"
            ))
        };
        match found {
            Ok((distance, rule)) => (feature.distance_ft, feature.rule) = (Some(distance), Some(rule)),
            Err(why) => faults.push(FieldFault::at(format!("/from/keep_off/{index}/distance_ft"), "missing", why)),
        }
        feature
    };
    let keep_off = from.keep_off.iter().enumerate().map(&mut filled).collect();
    (MeasuredFrom { keep_off, ..from.clone() }, faults)
}

/// The longest distance from water that the rule sets of the property ask, and the rule it comes from.
fn from_water(property: &Property, law: &Lawbook, on: Day, equipment: Equipment) -> Result<(Distance, String), String> {
    let codes: Vec<String> = property.rule_sets.iter().map(|code| code.0.clone()).collect();
    let enter = "enter the distance, by the label and the local authority";
    if codes.is_empty() {
        return Err(format!("is required: no rule set is confirmed for the property; {enter}"));
    }
    match law.distance_from_water(&codes, on, equipment) {
        (_, unread) if !unread.is_empty() => {
            Err(format!("is required: of {} no text was read for {on}; {enter}", unread[0].0))
        }
        (Some(found), _) => Ok((found.distance_ft, found.rule.0)),
        (None, _) => Err(format!(
            "is required: the rule sets of the property set no distance from water on {on}, which does not mean that there is none; {enter}"
        )),
    }
}

/// How a measurement came about, so that a person can work it out again.
#[derive(Debug, Serialize, ToSchema)]
#[schema(example = json!({
    "measurement_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a12", "area_sqft": "8000", "figures": [{
        "figure": "lawn 0: rectangle", "formula": "length x width", "inputs": [{ "name": "lengths", "value": "100 x 80", "unit": "ft" }],
        "conversions": [], "result": "8000", "unit": "sq ft", "rounding": "down to the hundredth of a square foot",
        "source": "Western Australia TAFE, measuring areas", "mark": "read"
    }], "treatable": []
}))]
pub struct MeasurementDerivation {
    pub measurement_id: MeasurementId,
    pub area_sqft: Area,
    /// Part by part, then the sum, what the distances leave, and the error. A part is named as in `from`, counted from 0.
    #[schema(max_items = 210)]
    pub figures: Vec<Derivation>,
    /// The ground that may be treated, as outlines on the map; empty when no distance is kept.
    #[schema(max_items = 1000)]
    pub treatable: Vec<Outline>,
}

/// Explains a measurement from what is stored of it; nothing if that does not lead to an area any more.
pub fn derivation(measurement: &Measurement) -> Option<MeasurementDerivation> {
    let (mut figures, treatable) = match &measurement.from {
        None => (vec![as_entered(measurement)], Vec::new()),
        Some(from) => {
            let survey = again(from)?;
            (survey.derivations, survey.pieces)
        }
    };
    let told = |error: &&ErrorEstimate| matches!(error.mark, SourceMark::Own | SourceMark::CommonPractice);
    figures.extend(measurement.error.as_ref().filter(told).map(|error| {
        let own = Derivation::of("error estimate", "as entered").from_source(error.mark, &error.source);
        own.gives(error.error_sqft, "as entered").derivation
    }));
    let (measurement_id, area_sqft) = (measurement.id, measurement.area_sqft);
    Some(MeasurementDerivation { measurement_id, area_sqft, figures, treatable })
}

/// What is stored, worked out again. The place of the property does not matter any more.
fn again(from: &MeasuredFrom) -> Option<Survey> {
    survey(&figures(from), &distances(from)?, None).ok()
}

/// Whether the area in a journal entry follows from the parts in it, to the square foot; true where it has none.
pub fn follows(payload: &Value) -> bool {
    let Some(from) = payload.get("from").filter(|from| !from.is_null()) else { return true };
    let stated = payload["area_sqft"].as_str().and_then(|text| Area::parse(text).ok());
    let survey = serde_json::from_value(from.clone()).ok().and_then(|from| again(&from));
    stated.zip(survey).is_some_and(|(area, survey)| (area.raw() - survey.area_sqft.raw()).abs() < AGREE)
}

fn as_entered(measurement: &Measurement) -> Derivation {
    let method = match measurement.method {
        MeasuringMethod::Wheel => "measuring wheel",
        MeasuringMethod::Tape => "tape",
        MeasuringMethod::AerialImage => "picture taken from the air",
        MeasuringMethod::Plan => "site plan",
        MeasuringMethod::Offsets => "offsets",
        MeasuringMethod::GpsOutline => "outline walked with a satellite receiver",
        MeasuringMethod::ParcelRecord => "land records",
    };
    let source = source_words(&format!("{}, {}, {method}", measurement.measured_by, measurement.measured_on));
    let begun = Derivation::of("area", "as entered").from_source(SourceMark::Own, &source);
    match measurement.area_m2 {
        None => begun.gives(measurement.area_sqft, "as entered").derivation,
        Some(metric) => {
            begun
                .with("area as entered", metric)
                .converting("1 sq ft is 0.09290304 square meters exactly")
                .gives(measurement.area_sqft, "down to the hundredth of a square foot")
                .derivation
        }
    }
}

/// A source is at most so long as a derivation promises.
fn source_words(text: &str) -> String {
    crate::field_fault::truncate_chars(text.to_owned(), 400)
}
