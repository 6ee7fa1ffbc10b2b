//! Correcting a measurement that is wrong in its area or its day: by a further one that takes its place.

use axum::{Json, extract::State, response::Response};
use domain::{explain::SourceMark, ids, measurement::survey::ErrorEstimate};
use serde_json::{Value, json};

use super::measured_by_fields;
use crate::{
    access::AnyStaff,
    api,
    book::measurements::{ENTERED, error_follows},
    extract::{PathId, Valid},
    pages::{
        form::{Field, Form, FormData},
        office_session::OfficeSession,
    },
    problem::Problem,
    state::App,
    store::measurements::{MeasuredFrom, Measurement, MeasurementInput},
};

/// The form with what was entered. What was worked out from shapes keeps them.
fn blank(one: &Measurement) -> Result<Form, Problem> {
    let mut fields = Vec::new();
    if one.from.is_none() {
        fields.push(Field::amount("/area_sqft", "Area, sq ft"));
    }
    fields.extend(measured_by_fields());
    let elsewhere = Field::tick("/not_of_this_lawn", "It was entered on the wrong lawn and is not of this one");
    fields.push(elsewhere.help("Then neither counts here. Measure its own lawn."));
    let reason = Field::line("/reason", "Why it is corrected");
    fields.push(reason.help("It stands beside the measurement, and on statements of the years it is about."));
    let stored = serde_json::to_value(one)?;
    for field in fields.iter_mut().filter(|field| !["/reason", "/not_of_this_lawn"].contains(&field.name.as_str())) {
        if let Some(value) = stored.pointer(&field.name).filter(|value| !value.is_null()) {
            field.fill(value);
        }
    }
    let at = format!("/office/measurements/{}", one.id);
    let form = Form::new("Correct the measurement", format!("{at}/correct"), "Save the correction", fields);
    let note = if one.from.is_some() {
        "The measurement stays to be read and counts no more. Its shapes stay as they are; if one is wrong, measure again by shapes."
    } else {
        "The measurement stays to be read and counts no more; this one takes its place."
    };
    Ok(form.back(at).note(note))
}

/// The shapes without the distances that a rule gave: those are looked up for the corrected day.
fn looked_up_again(from: Option<MeasuredFrom>) -> Option<MeasuredFrom> {
    let mut from = from?;
    for feature in &mut from.keep_off {
        if feature.rule.as_deref().is_some_and(|rule| rule != ENTERED) {
            (feature.distance_ft, feature.rule) = (None, None);
        }
    }
    Some(from)
}

/// What the form sends, with what it does not ask.
fn asked(form: &Form, app: &App, one: &Measurement) -> Result<Valid<MeasurementInput>, Problem> {
    let mut body = form.body();
    body["corrects"] = json!(one.id);
    body["from"] = serde_json::to_value(looked_up_again(one.from.clone()))?;
    // What follows from the shapes, or from what was read of the method, follows again.
    let by_whom = |error: &&ErrorEstimate| matches!(error.mark, SourceMark::Own | SourceMark::CommonPractice);
    if let Some(error) = one.error.as_ref().filter(|_| !one.from.as_ref().is_some_and(error_follows)).filter(by_whom) {
        body["error_estimate"] = json!({ "error_sqft": error.error_sqft });
        if error.mark == SourceMark::Own {
            body["error_estimate"]["source"] = json!(error.source);
        }
    }
    if let Value::Object(members) = &mut body {
        members.retain(|_, value| !value.is_null());
    }
    form.valid_body(app, body)
}

pub async fn form(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Measurement>,
) -> Result<Response, Problem> {
    let Json(one) = api::measurements::get_measurement(desk.reader(), State(app.clone()), PathId(id)).await?;
    Ok(blank(&one)?.once(&app).show())
}

pub async fn correct(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Measurement>,
    sent: FormData,
) -> Result<Response, Problem> {
    let Json(one) = api::measurements::get_measurement(desk.reader(), State(app.clone()), PathId(id)).await?;
    let form = blank(&one)?.sent(&sent);
    let done = async {
        let (key, valid) = (form.key()?, asked(&form, &app, &one)?);
        let section = PathId(one.section_id);
        api::measurements::record_measurement(AnyStaff(desk.0), State(app.clone()), key, section, valid).await
    };
    let done = done.await;
    form.made(&app, done, |id| format!("/office/measurements/{id}"))
}
