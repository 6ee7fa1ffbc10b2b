//! The owner's year: every section against its cap, and a client's statement.

mod outlook;

use askama::Template;
use axum::{
    extract::{Query, State},
    response::Response,
};
use domain::{actor::Role, ids, law::ReportDue, time::Day};
use serde::Deserialize;

use crate::{
    api,
    book::{
        company_year::{self, SectionSum},
        statement::{self, Preparation, Statement},
    },
    extract::PathId,
    pages::{
        desk::Desk,
        local::Local,
        office::dates,
        page,
        year::outlook::{JournalState, RunsPast},
    },
    problem::{FieldFault, Problem},
    scope::Scope,
    state::App,
    store::{self, settings::DateOrder, statements::About},
    zone,
};

#[derive(Debug, Deserialize)]
pub struct Which {
    year: Option<i16>,
}

/// The year that is asked for, and how the company reads it.
struct Asked {
    year: i16,
    from: Day,
    to: Day,
    /// The day whose caps are shown.
    caps_on: Day,
    company: String,
    /// The company's clock.
    local: Local,
    dates: DateOrder,
}

async fn asked(app: &App, which: &Which) -> Result<Asked, Problem> {
    let (company, zone) = api::company(app).await?;
    // The year's caps and gaps go by this day, so it is known or the page is not made.
    let today = app.clock.now().day_in(&zone::of_company(&zone)?);
    let local = Local::of(&zone);
    let year = which.year.unwrap_or(today.year());
    let from = Day::new(year, 1, 1).map_err(|_| {
        Problem::invalid(vec![FieldFault::parameter("year", "out_of_range", "must lie between 1990 and 2199")])
    })?;
    let to = from.last_of_year();
    Ok(Asked { year, from, to, caps_on: today.clamp(from, to), company, local, dates: dates(app).await? })
}

#[derive(Template)]
#[template(path = "year.html")]
struct YearPage {
    dates: DateOrder,
    year: i16,
    sections: usize,
    past: usize,
    runs_past: Vec<RunsPast>,
    /// For the owner alone.
    journal: Option<JournalState>,
    reports: Vec<ReportDue>,
    clients: Vec<ClientYear>,
}

struct ClientYear {
    id: String,
    name: String,
    sections: Vec<SectionRow>,
}

struct SectionRow {
    property: String,
    address: String,
    name: String,
    cap: String,
    applied: String,
    planned: String,
    room: String,
    class: &'static str,
    words: String,
    /// Past its cap, or past it with what is planned.
    past: bool,
}

impl SectionRow {
    fn of(sum: &SectionSum, dates: DateOrder) -> Self {
        let past = sum.remaining_nitrogen_lb_per_1000_sqft.is_some_and(|room| room.raw() < 0);
        let (class, words) = match (past, sum.runs_past_on, &sum.cap) {
            (true, ..) => ("stop", "■ past its cap".to_owned()),
            (_, Some(day), _) => ("care", format!("▲ past it with the visit of {}", dates.day(day))),
            (_, None, Some(_)) => ("go", "✓ within".to_owned()),
            (_, None, None) => ("care", "▲ no cap was read".to_owned()),
        };
        let or_none = |value: Option<String>| value.unwrap_or_else(|| "none".to_owned());
        Self {
            property: sum.property_id.to_string(),
            address: sum.address.clone(),
            name: sum.section_name.clone(),
            cap: or_none(sum.cap.as_ref().map(|cap| cap.limit_lb_per_1000_sqft.to_string())),
            applied: sum.nitrogen_lb_per_1000_sqft.to_string(),
            planned: sum.planned_nitrogen_lb_per_1000_sqft.to_string(),
            room: or_none(sum.remaining_nitrogen_lb_per_1000_sqft.map(|room| room.to_string())),
            class,
            words,
            past: past || sum.runs_past_on.is_some(),
        }
    }
}

/// Every client and section against its cap, with what is planned.
pub async fn year(Desk(actor): Desk, State(app): State<App>, Query(which): Query<Which>) -> Result<Response, Problem> {
    let Asked { year, from, to, caps_on, local, dates, .. } = asked(&app, &which).await?;
    let sums = store::company_year::company_year(app.store.reader(), from, to, caps_on).await?;
    let reports = company_year::reports_due(&app.law, year, &sums);
    let sums = company_year::company_year(&app.law, caps_on, sums);
    let mut clients: Vec<ClientYear> = Vec::new();
    for sum in &sums {
        let id = sum.client_id.to_string();
        if clients.last().is_none_or(|client| client.id != id) {
            clients.push(ClientYear { id, name: sum.client_name.clone(), sections: Vec::new() });
        }
        if let Some(client) = clients.last_mut() {
            client.sections.push(SectionRow::of(sum, dates));
        }
    }
    let past = clients.iter().flat_map(|client| &client.sections).filter(|row| row.past).count();
    let runs_past = outlook::runs_past(&sums);
    let journal = if actor.role == Role::Owner { Some(outlook::journal(&app, &local, dates).await?) } else { None };
    Ok(page(YearPage { dates, year, sections: sums.len(), past, runs_past, journal, reports, clients }.render()))
}

#[derive(Template)]
#[template(path = "statement.html")]
struct StatementPage {
    dates: DateOrder,
    s: Statement,
    /// When it was prepared, by the company's clock.
    prepared: String,
    clock_fault: Option<String>,
}

/// A client's statement, to be read and printed.
pub async fn client(
    _: Desk,
    State(app): State<App>,
    PathId(id): PathId<ids::Client>,
    Query(which): Query<Which>,
) -> Result<Response, Problem> {
    let Asked { year, from, to, caps_on, company: company_name, local, dates } = asked(&app, &which).await?;
    let (about, at) = (About::Client(id), app.clock.now());
    let parts = store::statements::load(app.store.reader(), about, from, to, Scope::Company).await?;
    let preparation = Preparation { year, from, to, caps_on, at, company_name, law: &app.law };
    let s = statement::statement(preparation, &parts)?.ok_or_else(|| Problem::not_found(about.words()))?;
    let prepared = local.minute(at, dates);
    Ok(page(StatementPage { dates, s, prepared, clock_fault: local.fault() }.render()))
}
