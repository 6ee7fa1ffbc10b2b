//! The owner's year: every section against its cap, a client's statement, and a record with its decision.

mod outlook;

use askama::Template;
use axum::{
    extract::{Query, State},
    response::Response,
};
use domain::{
    actor::Role,
    decision::{Decision, Verdict},
    ids,
    law::ReportDue,
    time::Day,
};
use serde::Deserialize;

use self::outlook::{JournalState, RunsPast};
use super::{desk::Desk, local::Local, page};
use crate::{
    access::Scope,
    app::App,
    book::{
        application::ApplicationView,
        company_year::{self, SectionSum},
        duties::{self, RecordDuties},
        statement::{self, Preparation, Statement},
    },
    extract::PathId,
    problem::{FieldFault, Problem},
    reply::Span,
    store::{self, statements::About},
};

#[derive(Debug, Deserialize)]
pub struct Which {
    year: Option<i16>,
}

/// First and last day of the year that is asked for, and the day whose caps are shown.
async fn days(app: &App, which: &Which) -> Result<(i16, Day, Day, Day, String), Problem> {
    let (company, zone) = store::people::company(app.store.reader()).await?.unwrap_or_default();
    let today = Local::of(&zone).day(app.clock.now());
    let year = which.year.unwrap_or(today.year());
    let from = Day::new(year, 1, 1).map_err(|_| {
        Problem::invalid(vec![FieldFault::parameter("year", "out_of_range", "must lie between 1990 and 2199")])
    })?;
    let to = from.last_of_year();
    Ok((year, from, to, today.clamp(from, to), company))
}

#[derive(Template)]
#[template(path = "year.html")]
struct YearPage {
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
    fn of(sum: &SectionSum) -> Self {
        let past = sum.remaining_nitrogen_lb_per_1000_sqft.is_some_and(|room| room.raw() < 0);
        let (class, words) = match (past, sum.runs_past_on, &sum.cap) {
            (true, ..) => ("stop", "■ past its cap".to_owned()),
            (_, Some(day), _) => ("care", format!("▲ past it with the visit of {day}")),
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
    let (year, from, to, caps_on, _) = days(&app, &which).await?;
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
            client.sections.push(SectionRow::of(sum));
        }
    }
    let past = clients.iter().flat_map(|client| &client.sections).filter(|row| row.past).count();
    let runs_past = outlook::runs_past(&sums);
    let journal = if actor.role == Role::Owner { Some(outlook::journal(&app).await?) } else { None };
    Ok(page(YearPage { year, sections: sums.len(), past, runs_past, journal, reports, clients }.render()))
}

#[derive(Template)]
#[template(path = "statement.html")]
struct StatementPage {
    s: Statement,
}

/// A client's statement, to be read and printed.
pub async fn client(
    _: Desk,
    State(app): State<App>,
    PathId(id): PathId<ids::Client>,
    Query(which): Query<Which>,
) -> Result<Response, Problem> {
    let (year, from, to, caps_on, company_name) = days(&app, &which).await?;
    let about = About::Client(id);
    let parts = store::statements::load(app.store.reader(), about, from, to, Scope::Company).await?;
    let preparation = Preparation { year, from, to, caps_on, at: app.clock.now(), company_name, law: &app.law };
    let s = statement::statement(preparation, &parts).ok_or_else(|| Problem::not_found(about.words()))?;
    Ok(page(StatementPage { s }.render()))
}

#[derive(Template)]
#[template(path = "record.html")]
struct RecordPage {
    a: ApplicationView,
    d: Decision,
    duties: RecordDuties,
    address: String,
    product: String,
    word: &'static str,
    /// Start, end and receipt as the clock at the property showed them.
    times: [String; 3],
    clock_fault: Option<String>,
    sections: Vec<String>,
}

/// A record, the decision it was stored under, and what the law wants of it.
pub async fn record(
    _: Desk,
    State(app): State<App>,
    PathId(id): PathId<ids::Application>,
) -> Result<Response, Problem> {
    let missing = || Problem::not_found("application");
    let (reader, scope) = (app.store.reader(), Scope::Company);
    let a = store::applications::get(reader, id, scope).await?.ok_or_else(missing)?;
    let d = store::applications::decision(reader, &format!("application/{id}")).await?.ok_or_else(missing)?;
    let property = store::properties::get(reader, a.property_id, scope).await?.ok_or_else(missing)?;
    let client = store::clients::get(reader, property.client_id, scope).await?.ok_or_else(missing)?;
    let product = store::products::get(reader, a.product_id).await?.ok_or_else(missing)?.name;
    let sections: Vec<ids::SectionId> = a.lines.iter().map(|line| line.section_id).collect();
    let tested = store::soil_reports::all_tested(reader, &sections, a.applied_on).await?;
    let local = Local::of(&property.time_zone);
    let today = local.day(app.clock.now());
    let held = store::credentials::valid_on(reader, a.person_id, a.applied_on).await?;
    let duties = duties::of_record(&a, &client, &property, held, tested, today, &app.law);
    let word = match d.verdict {
        Verdict::Go => "go",
        Verdict::Care => "care",
        Verdict::Stop => "stop",
    };
    let times = [a.started_at, a.finished_at, a.received_at].map(|at| local.minute(at));
    let named = store::sections::list(reader, Span { after: 0, take: 200 }, Some(a.property_id), scope).await?;
    let name = |id: &ids::SectionId| {
        named.iter().find(|row| row.item.id == *id).map_or_else(|| id.to_string(), |row| row.item.name.clone())
    };
    let sections = sections.iter().map(name).collect();
    let (address, clock_fault) = (property.address, local.fault);
    Ok(page(RecordPage { a, d, duties, address, product, word, times, clock_fault, sections }.render()))
}
