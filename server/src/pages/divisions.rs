//! How a section is divided into parts that are treated one by one.

use axum::{extract::State, response::Response};
use domain::ids;

use crate::{
    api,
    extract::PathId,
    pages::{
        form::{Field, Form, FormData},
        office_session::OfficeSession,
        sections,
    },
    problem::Problem,
    state::App,
    store::sections::Section,
};

/// How many parts the form takes; the API takes more.
const PARTS: usize = 6;

fn blank(section: &Section) -> Form {
    let at = format!("/office/sections/{}", section.id);
    let mut fields = vec![Field::day("/since", "Divided since")];
    for place in 0..PARTS {
        let number = place + 1;
        let name = Field::line(&format!("/parts/{place}/name"), &format!("Part {number}: what it is called"));
        let area = Field::amount(&format!("/parts/{place}/area_sqft"), &format!("Part {number}: area, sq ft"));
        let name = name.under(format!("Part {number}"));
        if place == 0 {
            fields.extend([name.help("Such as front half, or east of the drive."), area]);
        } else {
            fields.extend([name.optional(), area.optional()]);
        }
    }
    Form::new(format!("Parts of {}", section.name), format!("{at}/divisions/new"), "Save the parts", fields)
        .back(at)
        .note("Parts share no ground, and together are no more than the section. What is put down on different parts does not add up, so name them only if everybody finds the line between them.")
        .note("Parts are never edited. Divide the section anew with a later day; what was put down on the old parts then counts as if it might lie on any new one.")
}

pub async fn new(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Section>,
) -> Result<Response, Problem> {
    Ok(blank(&sections::get(&app, id).await?).once(&app).show())
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
        api::divisions::create_division(desk.office(), State(app.clone()), key, PathId(id), valid).await
    };
    let done = done.await;
    form.made(&app, done, |_| format!("/office/sections/{id}"))
}
