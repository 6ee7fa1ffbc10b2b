//! Measurements of a lawn section: entered as one figure, or worked out from shapes and outlines. Only ever added.

pub mod correcting;
mod shapes;

use askama::Template;
use axum::{Json, extract::State, response::Response};
use domain::{
    explain::Derivation,
    ids::{self, MeasurementId},
};

use crate::{
    access::AnyStaff,
    api,
    extract::PathId,
    pages::{
        derivation::mark,
        form::{Field, Form, FormData, choices},
        measurements::shapes::{PLACES, Parts},
        office::dates,
        office_session::OfficeSession,
        page, sections,
    },
    problem::Problem,
    state::App,
    store::{measurements::Measurement, sections::Section, settings::DateOrder},
};

/// Who measured, when and how.
fn measured_by_fields() -> Vec<Field> {
    let methods = choices(&[
        ("wheel", "wheel"),
        ("tape", "tape"),
        ("aerial_image", "aerial image"),
        ("plan", "site plan"),
        ("offsets", "offsets from a base line"),
        ("gps_outline", "walked round with a satellite receiver"),
        ("parcel_record", "land records, less what is not lawn"),
    ]);
    vec![
        Field::day("/measured_on", "Measured on"),
        Field::one("/method", "How", methods),
        Field::line("/measured_by", "By whom"),
        Field::lines("/note", "What was left out or is in doubt").optional(),
    ]
}

const NOTE: &str = "A measurement is never edited: a later one counts from its day on, and records keep the area they were decided with.";

fn blank(section: &Section) -> Form {
    let at = format!("/office/sections/{}", section.id);
    let mut fields = vec![Field::amount("/area_sqft", "Area, sq ft")];
    fields.extend(measured_by_fields());
    let title = format!("A measurement of the {}", section.name);
    Form::new(title, format!("{at}/measurements/new"), "Add the measurement", fields).back(at).note(NOTE)
}

#[derive(Template)]
#[template(path = "measurement_new.html")]
struct NewPage {
    section: Section,
    form: Form,
}

pub async fn new(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Section>,
) -> Result<Response, Problem> {
    let section = sections::get(&app, id).await?;
    let form = blank(&section).once(&app);
    Ok(page(NewPage { section, form }.render()))
}

pub async fn add(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Section>,
    sent: FormData,
) -> Result<Response, Problem> {
    let form = blank(&sections::get(&app, id).await?).sent(&sent);
    let done = async {
        let (key, valid) = form.asked(&app)?;
        api::measurements::record_measurement(AnyStaff(desk.0), State(app.clone()), key, PathId(id), valid).await
    };
    let done = done.await;
    form.made(&app, done, |_| format!("/office/sections/{id}"))
}

/// Which shapes, before they are measured.
fn which(section: &Section) -> Form {
    let at = format!("/office/sections/{}", section.id);
    let lawn = (1..=PLACES).map(|place| {
        let field = Field::one(&format!("lawn{place}"), &format!("Lawn, part {place}"), shapes::choice());
        let field = if place == 1 { field.under("What is lawn") } else { field.optional() };
        if place == 1 {
            field.help("A lawn that is no one shape is cut into several; their areas are added.")
        } else {
            field
        }
    });
    let off = (1..=PLACES).map(|place| {
        let field = Field::one(&format!("off{place}"), &format!("Not lawn, part {place}"), shapes::choice()).optional();
        if place == 1 { field.under("What is taken off: house, drive, beds") } else { field }
    });
    let fields = lawn.chain(off).collect();
    Form::new(
        format!("The shapes of the {}", section.name),
        format!("{at}/measurements/shapes"),
        "Go on to the lengths",
        fields,
    )
    .back(at)
    .asking()
    .note("Choose the shapes first; their lengths come next. Nothing is saved yet.")
}

/// The lengths of the chosen shapes.
fn measured(section: &Section, parts: &Parts) -> Form {
    let at = format!("/office/sections/{}", section.id);
    let mut fields = parts.fields();
    fields.push(
        Field::amount("/from/reading_error_ft", "How far each taped length may be off, ft")
            .optional()
            .under("How sure it is")
            .help("From it follows how far the area may be off."),
    );
    fields.extend(measured_by_fields());
    let action = format!("{at}/measurements/shapes?{}", parts.query());
    Form::new(format!("The {} from its shapes", section.name), action, "Work it out and keep it", fields)
        .back(format!("{at}/measurements/shapes"))
        .note(NOTE)
}

/// The choice of shapes, or the form of the chosen ones.
pub async fn new_shapes(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Section>,
    sent: FormData,
) -> Result<Response, Problem> {
    let section = sections::get(&app, id).await?;
    if sent.is_empty() {
        return Ok(which(&section).show());
    }
    match Parts::of(&sent) {
        Ok(parts) => Ok(measured(&section, &parts).once(&app).show()),
        Err(problem) => which(&section).sent(&sent).refuse(problem),
    }
}

pub async fn add_shapes(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Section>,
    uri: axum::http::Uri,
    sent: FormData,
) -> Result<Response, Problem> {
    let parts = Parts::of(&FormData::query(uri.query().unwrap_or_default()))?;
    let form = measured(&sections::get(&app, id).await?, &parts).sent(&sent);
    let done = async {
        let (key, valid) = form.asked(&app)?;
        api::measurements::record_measurement(AnyStaff(desk.0), State(app.clone()), key, PathId(id), valid).await
    };
    let done = done.await;
    form.made(&app, done, |id| format!("/office/measurements/{id}"))
}

#[derive(Template)]
#[template(path = "measurement.html")]
struct MeasurementPage {
    dates: DateOrder,
    section: Section,
    one: Measurement,
    figures: Vec<Derivation>,
    /// How far it may be off, and who says so.
    error: Option<String>,
    /// What a distance is kept from.
    kept: Vec<String>,
    pieces: usize,
    /// What the office says of one that waits.
    form: Option<Form>,
}

/// Whether a technician's measurement counts.
fn confirmation(id: MeasurementId) -> Form {
    let fields = vec![
        Field::yes_or_no("/holds", "Is this area right?")
            .help("Yes: amounts are figured from it. No: it never counts."),
        Field::lines("/note", "How you know").optional().help("This cannot be changed later."),
    ];
    let at = format!("/office/measurements/{id}");
    Form::new("Confirm the measurement", at.clone(), "Save", fields).back(at)
}

/// Says whether a measurement that waits holds.
pub async fn confirm(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Measurement>,
    sent: FormData,
) -> Result<Response, Problem> {
    let form = confirmation(id).sent(&sent);
    let done = async {
        let valid = form.valid(&app)?;
        api::measurements::confirm_measurement(desk.office(), State(app.clone()), PathId(id), valid).await
    };
    let done = done.await;
    form.changed(done, &confirmation(id), &format!("/office/measurements/{id}"))
}

/// A measurement with its parts, each with its derivation.
pub async fn one(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Measurement>,
) -> Result<Response, Problem> {
    let Json(one) = api::measurements::get_measurement(desk.reader(), State(app.clone()), PathId(id)).await?;
    let explained =
        api::measurements::get_measurement_derivation(desk.reader(), State(app.clone()), PathId(id)).await?;
    let section = sections::get(&app, one.section_id).await?;
    let error = one.error.as_ref();
    let error =
        error.map(|error| format!("{} sq ft either way. {} ({})", error.error_sqft, error.source, mark(error.mark)));
    let kept = one.from.iter().flat_map(|from| &from.keep_off).map(|feature| {
        let distance = feature.distance_ft.map_or_else(|| "no distance".to_owned(), |feet| format!("{feet} ft"));
        format!("{distance} from {}, {}", feature.kind.label(), feature.rule.as_deref().unwrap_or("as entered"))
    });
    let (kept, pieces) = (kept.collect(), explained.0.treatable.len());
    let named = |mut figure: Derivation| {
        figure.figure = part(&figure.figure);
        figure
    };
    let figures = explained.0.figures.into_iter().map(named).collect();
    let dates = dates(&app).await?;
    let form = one.to_confirm.then(|| confirmation(one.id));
    Ok(page(MeasurementPage { dates, section, one, figures, error, kept, pieces, form }.render()))
}

/// A part as the form called it: people count from one, the API from nought.
fn part(figure: &str) -> String {
    let known = ["not lawn ", "lawn "].iter().find_map(|list| Some((list, figure.strip_prefix(list)?)));
    let counted = known.and_then(|(list, rest)| {
        let (number, shape) = rest.split_once(':')?;
        Some(format!("{}, part {}:{shape}", list.trim_end(), number.parse::<usize>().ok()? + 1))
    });
    counted.unwrap_or_else(|| figure.to_owned())
}

#[cfg(test)]
mod tests {
    use super::part;

    #[test]
    fn parts_are_counted_from_one() {
        assert_eq!(part("lawn 0: rectangle"), "lawn, part 1: rectangle");
        assert_eq!(part("not lawn 1: circle"), "not lawn, part 2: circle");
        assert_eq!(part("lawn"), "lawn");
    }
}
