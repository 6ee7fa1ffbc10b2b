//! Programmes of a season: their rounds, the products they may use, and what the lawns need.

mod fields;

use askama::Template;
use axum::{
    extract::{Query, State},
    response::Response,
};
use domain::ids::{self, ProgrammeId, SectionId};
use serde::Deserialize;

use crate::{
    api,
    extract::PathId,
    pages::{
        form::{Form, FormData},
        office::{ALL_ROWS, dates},
        office_session::OfficeSession,
        page,
        programmes::fields::{Rows, fields},
    },
    problem::Problem,
    state::App,
    store::{self, programmes::Programme, settings::DateOrder},
    version::Versioned,
};

/// A programme of the book.
pub async fn get(app: &App, id: ProgrammeId) -> Result<Programme, Problem> {
    let found = store::programmes::get(app.store.reader(), id).await?;
    found.ok_or_else(|| Problem::not_found("program"))
}

/// All programmes, the newest first.
pub async fn all(app: &App) -> Result<Vec<Programme>, Problem> {
    let rows = store::programmes::list(app.store.reader(), ALL_ROWS).await?;
    Ok(rows.into_iter().rev().map(|row| row.item).collect())
}

#[derive(Template)]
#[template(path = "programmes.html")]
struct Programmes {
    programmes: Vec<Programme>,
}

pub async fn list(_: OfficeSession, State(app): State<App>) -> Result<Response, Problem> {
    Ok(page(Programmes { programmes: all(&app).await? }.render()))
}

const NOTE: &str = "A program says what is meant; a plan follows from it by the law of each day, the label and the year so far. It permits nothing: each lawn is checked on its day. The label and the local authority prevail, and licensed practice decides.";

async fn blank(app: &App, sent: Option<&FormData>) -> Result<Form, Problem> {
    let rows = Rows::of(None, sent, None);
    let fields = fields(app, &rows, None).await?;
    Ok(Form::new("A new program", "/office/programmes/new", "Add the program", fields)
        .back("/office/programmes")
        .note(NOTE))
}

async fn stored_form(
    app: &App,
    programme: &Programme,
    sent: Option<&FormData>,
    own: Option<SectionId>,
) -> Result<Form, Problem> {
    let at = format!("/office/programmes/{}", programme.id);
    let rows = Rows::of(Some(programme), sent, own);
    let fields = fields(app, &rows, Some(programme)).await?;
    let title = format!("Correct {}", programme.name);
    let mut form = Form::new(title, at.clone(), "Save", fields).filled(programme, programme.version()).back(at);
    if let (Some(section), None) = (own, sent)
        && let Some(row) = rows.needs.iter().position(|need| need.as_deref() == Some(section.to_string().as_str()))
    {
        form.field(&format!("/needs/{row}/section_id")).into_iter().for_each(|f| f.value = vec![section.to_string()]);
    }
    Ok(form)
}

pub async fn new(_: OfficeSession, State(app): State<App>) -> Result<Response, Problem> {
    Ok(blank(&app, None).await?.once(&app).show())
}

pub async fn add(desk: OfficeSession, State(app): State<App>, sent: FormData) -> Result<Response, Problem> {
    let form = blank(&app, Some(&sent)).await?.sent(&sent);
    let done = async {
        let (key, valid) = form.asked(&app)?;
        api::programmes::create_programme(desk.office(), State(app.clone()), key, valid).await
    };
    let done = done.await;
    form.made(&app, done, |id| format!("/office/programmes/{id}"))
}

#[derive(Debug, Deserialize)]
pub struct Own {
    /// A section that is to have a need of its own.
    section: Option<String>,
}

#[derive(Template)]
#[template(path = "programme.html")]
struct ProgrammePage {
    dates: DateOrder,
    programme: Programme,
    form: Form,
}

/// A programme, and the form that corrects it.
pub async fn one(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Programme>,
    Query(Own { section }): Query<Own>,
) -> Result<Response, Problem> {
    let programme = get(&app, id).await?;
    let own = section.and_then(|id| id.parse().ok());
    let form = stored_form(&app, &programme, None, own).await?;
    Ok(page(ProgrammePage { dates: dates(&app).await?, programme, form }.render()))
}

pub async fn change(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Programme>,
    sent: FormData,
) -> Result<Response, Problem> {
    let form = stored_form(&app, &get(&app, id).await?, Some(&sent), None).await?.sent(&sent);
    let done = async {
        let (version, valid) = form.asked_change(&app)?;
        api::programmes::replace_programme(desk.office(), State(app.clone()), PathId(id), version, valid).await
    };
    let done = done.await;
    let now = stored_form(&app, &get(&app, id).await?, None, None).await?;
    form.changed(done, &now, &format!("/office/programmes/{id}"))
}
