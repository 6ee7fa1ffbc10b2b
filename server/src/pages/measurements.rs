//! Measurements of a lawn section: only ever added.

use axum::{extract::State, response::Response};
use domain::ids;

use super::{
    desk::Desk,
    form::{Field, Form, Sent, choices},
    sections,
};
use crate::{access::AnyStaff, api, app::App, extract::PathId, problem::Problem, store::sections::Section};

fn blank(section: &Section) -> Form {
    let at = format!("/office/sections/{}", section.id);
    let methods = choices(&[
        ("wheel", "wheel"),
        ("tape", "tape"),
        ("aerial_image", "aerial image"),
        ("plan", "site plan"),
        ("offsets", "offsets from a base line"),
        ("gps_outline", "walked round with a satellite receiver"),
        ("parcel_record", "land records, less what is not lawn"),
    ]);
    let fields = vec![
        Field::amount("/area_sqft", "Area, sq ft"),
        Field::day("/measured_on", "Measured on"),
        Field::one("/method", "How", methods),
        Field::line("/measured_by", "By whom"),
        Field::lines("/note", "What was left out or is in doubt").optional(),
    ];
    Form::new(
        format!("A measurement of the {}", section.name),
        format!("{at}/measurements/new"),
        "Add the measurement",
        fields,
    )
    .back(at)
    .note(
        "A measurement is never edited: a later one takes its place, and records keep the area they were decided with.",
    )
}

pub async fn new(_: Desk, State(app): State<App>, PathId(id): PathId<ids::Section>) -> Result<Response, Problem> {
    Ok(blank(&sections::get(&app, id).await?).once(&app).show())
}

pub async fn add(
    desk: Desk,
    State(app): State<App>,
    PathId(id): PathId<ids::Section>,
    sent: Sent,
) -> Result<Response, Problem> {
    let form = blank(&sections::get(&app, id).await?).sent(&sent);
    let done = async {
        let (key, valid) = form.asked(&app)?;
        api::measurements::create_measurement(AnyStaff(desk.0), State(app.clone()), key, PathId(id), valid).await
    };
    let done = done.await;
    form.made(&app, done, |_| format!("/office/sections/{id}"))
}
