//! What records lack by the law of their day, and the form by which something is added to a record.

use askama::Template;
use axum::{
    extract::{Query, State},
    response::Response,
};
use domain::ids::{self, ApplicationId};

use crate::{
    api,
    book::gaps::{self, IncompleteRecord},
    extract::PathId,
    pages::{
        form::{Choice, Field, Form, FormData, choices},
        office::{Before, dates},
        office_session::OfficeSession,
        page,
    },
    problem::Problem,
    scope::Scope,
    state::App,
    store::{self, settings::DateOrder},
};

/// Incomplete records on a page.
const SHOWN: usize = 50;

#[derive(Template)]
#[template(path = "gaps.html")]
struct GapsPage {
    dates: DateOrder,
    records: Vec<IncompleteRecord>,
    /// Where the list goes on.
    older: Option<i64>,
    /// It does not begin with the newest.
    begun_later: bool,
}

/// The one list of what records lack.
pub async fn list(_: OfficeSession, State(app): State<App>, Query(before): Query<Before>) -> Result<Response, Problem> {
    let found = gaps::page(&app, before.span().after, SHOWN).await?;
    let (records, older) = (found.records, found.goes_on_after);
    Ok(page(GapsPage { dates: dates(&app).await?, records, older, begun_later: before.is_some() }.render()))
}

fn form(id: ApplicationId, zone: &str) -> Form {
    let clock = format!("By the clock at the property, {zone}.");
    let moment = |name: &str, label: &str| match domain::time::zone(zone) {
        Ok(zone) => Field::moment(name, label, zone).optional().help(&clock),
        // Without its clock only a moment with its own offset says when it was.
        Err(_) => Field::line(name, label).optional().help("Written as 2026-09-15T18:00:00-04:00."),
    };
    let fields = vec![
        Field::tick("/from_the_book", "Add what is on file now for the day of the work").help(
            "For a certificate, a telephone number, a copy of the label or a soil report that was entered after the record.",
        ),
        Field::one("/seen/sky", "Sky at the start", sky()).optional(),
        Field::one("/seen/wind_from", "Wind direction at the start", wind()).optional(),
        Field::one("/seen/amount_measured_by", "How the amount was measured", measured()).optional(),
        Field::line("/seen/machine_setting", "Setting of the machine").optional(),
        Field::amount("/seen/kept_from_water_ft", "Distance kept from water, ft").optional(),
        Field::amount("/seen/kept_from_drains_ft", "Distance kept from drains, ft").optional(),
        moment("/seen/watered_in/at", "Watered in: when"),
        Field::one("/seen/watered_in/by", "Watered in: by whom", watered()).optional(),
        Field::line("/seen/label_instructions/0/words", "A special instruction of the label").optional(),
        Field::yes_or_no("/seen/label_instructions/0/kept", "Was it kept?").optional(),
        Field::yes_or_no("/seen/label_instructions/0/passed_on", "Was it passed on to the client?").optional(),
        Field::yes_or_no("/seen/no_label_instruction", "Or was one looked for on the label, and none found?").optional(),
        Field::one("/seen/notices/0/kind", "Notice: what", notices()).optional(),
        moment("/seen/notices/0/at", "Notice: when"),
        Field::one("/seen/notices/0/to", "Notice: to whom", told()).optional(),
        Field::lines("/late_because", "Why the record came late")
            .optional()
            .help("Only where the list says that it came late. It takes the record off that list; when it came stays on it."),
    ];
    let note = "What was saved with the record stays as it is. What you add stands beside it, with today's date and your name.";
    Form::new("Add to a record", format!("/office/records/{id}/add"), "Add it", fields)
        .back(format!("/records/{id}"))
        .note(note)
}

fn sky() -> Vec<Choice> {
    choices(&[
        ("clear", "clear"),
        ("partly_cloudy", "partly cloudy"),
        ("overcast", "overcast"),
        ("fog", "fog"),
        ("rain", "rain"),
        ("snow", "snow"),
    ])
}

fn wind() -> Vec<Choice> {
    choices(&[
        ("calm", "calm"),
        ("north", "from the north"),
        ("northeast", "from the northeast"),
        ("east", "from the east"),
        ("southeast", "from the southeast"),
        ("south", "from the south"),
        ("southwest", "from the southwest"),
        ("west", "from the west"),
        ("northwest", "from the northwest"),
        ("variable", "from changing directions"),
    ])
}

fn measured() -> Vec<Choice> {
    choices(&[
        ("weighed", "weighed"),
        ("bags_counted", "bags counted"),
        ("hopper_scale", "scale of the hopper"),
        ("flow_meter", "flow meter"),
        ("tank_gauge", "gauge of the tank"),
        ("calibration", "worked out from the calibration"),
    ])
}

fn watered() -> Vec<Choice> {
    choices(&[
        ("company", "the company"),
        ("client", "the client"),
        ("irrigation", "an irrigation system"),
        ("rain", "rain"),
    ])
}

fn notices() -> Vec<Choice> {
    choices(&[
        ("sign", "sign"),
        ("door_card", "door card"),
        ("email", "e-mail"),
        ("text_message", "text message"),
        ("letter", "letter"),
        ("spoken", "spoken"),
    ])
}

fn told() -> Vec<Choice> {
    choices(&[
        ("client", "the client"),
        ("occupant", "whoever lives there"),
        ("neighbors", "the neighbors"),
        ("public", "whoever comes by"),
    ])
}

/// The form for a record, with the clock at its property.
async fn form_of(app: &App, id: ApplicationId) -> Result<Form, Problem> {
    let found = store::applications::get(app.store.reader(), id, Scope::Company).await?;
    let record = found.ok_or_else(|| Problem::not_found("application"))?;
    let property = store::properties::get(app.store.reader(), record.property_id, Scope::Company).await?;
    Ok(form(id, &property.map(|property| property.time_zone).unwrap_or_default()))
}

pub async fn new(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Application>,
) -> Result<Response, Problem> {
    Ok(form_of(&app, id).await?.once(&app).show())
}

pub async fn add(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Application>,
    sent: FormData,
) -> Result<Response, Problem> {
    let form = form_of(&app, id).await?.sent(&sent);
    let done = async {
        let (key, valid) = form.asked(&app)?;
        api::additions::create_addition(desk.staff(), State(app.clone()), PathId(id), key, valid).await
    };
    let done = done.await;
    form.made(&app, done, |_| format!("/records/{id}"))
}
