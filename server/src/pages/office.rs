//! The office's first page: what needs attention today, and finding a lawn.

use askama::Template;
use axum::{
    extract::{Query, State},
    response::Response,
};
use domain::time::Day;
use serde::Deserialize;

use super::{
    attention::{self, Group},
    desk::Desk,
    local::Local,
    page,
};
use crate::{
    app::App,
    problem::Problem,
    reply::Span,
    store::{self, search::Found, settings::DateOrder},
};

/// Rows of one list on a page at most; the API has the rest.
pub const ROWS: Span = Span { after: 0, take: 1000 };
pub const NEWEST: Span = Span { after: i64::MAX, take: 200 };

#[derive(Debug, Deserialize)]
pub struct Search {
    q: Option<String>,
}

#[derive(Template)]
#[template(path = "office.html")]
struct Today {
    company: String,
    q: String,
    searched: bool,
    found: Vec<Found>,
    groups: Vec<Group>,
    owner: bool,
}

/// What needs attention, and the search.
pub async fn today(desk: Desk, State(app): State<App>, Query(search): Query<Search>) -> Result<Response, Problem> {
    let reader = app.store.reader();
    let q = search.q.unwrap_or_default().trim().chars().take(100).collect::<String>();
    let found = if q.is_empty() { Vec::new() } else { store::search::properties(reader, &q).await? };
    let (company, zone) = store::people::company(reader).await?.unwrap_or_default();
    let dates = dates(&app).await?;
    let groups = attention::today(&app, &zone, dates).await?;
    Ok(page(Today { company, searched: !q.is_empty(), q, found, groups, owner: desk.is_owner() }.render()))
}

/// How the company writes a day.
pub async fn dates(app: &App) -> Result<DateOrder, Problem> {
    Ok(store::settings::get(app.store.reader()).await?.date_order)
}

/// The company's today.
pub async fn day(app: &App) -> Result<Day, Problem> {
    let (_, zone) = store::people::company(app.store.reader()).await?.unwrap_or_default();
    Ok(Local::of(&zone).day(app.clock.now()))
}
