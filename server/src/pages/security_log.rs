//! The security log, as the owner reads it.

use std::collections::HashMap;

use askama::Template;
use axum::{
    extract::{Query, State},
    response::Response,
};
use domain::{ids::PersonId, time::Instant};

use crate::{
    api,
    pages::{
        local::Local,
        office::{self, ALL_ROWS, Before, NEWEST, shown},
        office_session::OwnerSession,
        page,
    },
    problem::Problem,
    state::App,
    store::{self, security_log::SecurityEvent},
};

#[derive(Template)]
#[template(path = "security_log.html")]
struct SecurityLogPage {
    lines: Vec<Line>,
    /// The number before which the rest begins.
    rest: Option<i64>,
    later: bool,
    days: u16,
    clock_fault: Option<String>,
}

struct Line {
    at: String,
    what: &'static str,
    /// Whom it is about, by their name now, or what was typed.
    who: String,
    by: String,
    address: String,
    detail: String,
}

impl Line {
    fn of(event: SecurityEvent, moment: impl Fn(Instant) -> String, people: &HashMap<PersonId, String>) -> Self {
        let at = moment(event.at);
        let named = |id: Option<PersonId>| id.and_then(|id| people.get(&id).cloned());
        let who = match (named(event.person_id), event.name) {
            (Some(person), Some(name)) => format!("{person} ({name})"),
            (Some(one), None) | (None, Some(one)) => one,
            (None, None) => String::new(),
        };
        let by = named(event.by_id.filter(|by| Some(*by) != event.person_id)).unwrap_or_default();
        let address = event.address.unwrap_or_default();
        let counted = event.tries.filter(|tries| *tries > 1).zip(event.last_at);
        let counted = counted.map(|(tries, last)| format!("{tries} times, the last at {}", moment(last)));
        let detail = [event.detail, counted].into_iter().flatten().collect::<Vec<_>>().join("; ");
        Self { at, what: event.kind.label(), who, by, address, detail }
    }
}

pub async fn list(_: OwnerSession, State(app): State<App>, Query(before): Query<Before>) -> Result<Response, Problem> {
    let reader = app.store.reader();
    let (events, rest) = shown(store::security_log::list(reader, before.span()).await?, NEWEST.take);
    let people = store::people::list(reader, ALL_ROWS).await?;
    let people = people.into_iter().map(|row| (row.item.id, row.item.name)).collect();
    let (dates, (_, zone)) = (office::dates(&app).await?, api::company(&app).await?);
    let local = Local::of(&zone);
    let line = |event: SecurityEvent| Line::of(event, |at| local.minute(at, dates), &people);
    let days = store::settings::get(reader).await?.security_log_days;
    let lines = events.into_iter().map(line).collect();
    Ok(page(SecurityLogPage { lines, rest, later: before.is_some(), days, clock_fault: local.fault() }.render()))
}
