//! What a technician saw of a lawn section, and what the office says of it.

use askama::Template;
use axum::{Json, extract::State, response::Response};
use domain::ids::{self, SightingId};

use crate::{
    access::AnyStaff,
    api,
    book::history::{label, value_of},
    extract::PathId,
    pages::{
        form::{Field, Form, FormData},
        office::dates,
        office_session::OfficeSession,
        page, people, sections,
    },
    problem::Problem,
    state::App,
    store::{sections::Section, settings::DateOrder, sightings::Sighting},
};

#[derive(Template)]
#[template(path = "sighting.html")]
struct SightingPage {
    dates: DateOrder,
    section: Section,
    one: Sighting,
    /// Who saw it.
    person: String,
    /// What was seen: each member with what it says, and what stands in the book.
    members: Vec<(String, String, String)>,
    /// What the office says of what waits.
    form: Option<Form>,
}

/// Whether what a technician saw counts.
fn confirmation(id: SightingId) -> Form {
    let fields = vec![
        Field::yes_or_no("/holds", "Is it so?")
            .help("Yes: it counts from the day on which it was seen. No: it never counts."),
        Field::lines("/note", "How you know").optional().help("This cannot be changed later."),
    ];
    let at = format!("/office/sightings/{id}");
    Form::new("Confirm what was seen", at.clone(), "Save", fields).back(at)
}

/// Says whether what was seen is so.
pub async fn confirm(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Sighting>,
    sent: FormData,
) -> Result<Response, Problem> {
    let form = confirmation(id).sent(&sent);
    let done = async {
        let valid = form.valid(&app)?;
        api::sightings::confirm_sighting(desk.office(), State(app.clone()), PathId(id), valid).await
    };
    let done = done.await;
    form.changed(done, &confirmation(id), &format!("/office/sightings/{id}"))
}

/// What was seen, beside what stands in the book.
pub async fn one(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Sighting>,
) -> Result<Response, Problem> {
    let Json(one) = api::sightings::get_sighting(AnyStaff(desk.0), State(app.clone()), PathId(id)).await?;
    let section = sections::get(&app, one.section_id).await?;
    let person = people::get(&app, one.person_id).await?.name;
    let stands = serde_json::to_value(&section)?;
    let members = one.facts.iter().map(|(name, value)| {
        let now = stands.get(name).unwrap_or(&serde_json::Value::Null);
        (label(name), value_of(name, value), value_of(name, now))
    });
    let members = members.collect();
    let form = one.waits_for_office.then(|| confirmation(one.id));
    let dates = dates(&app).await?;
    Ok(page(SightingPage { dates, section, one, person, members, form }.render()))
}
