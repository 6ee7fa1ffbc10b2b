//! A record with the decision it was stored under, what was seen and known, and what was said since.

pub mod seen;

use askama::Template;
use axum::{extract::State, response::Response};
use domain::{
    decision::{Decision, Verdict},
    ids::{self, ApplicationId},
};

use crate::{
    acts::application::ApplicationView,
    book::{
        duties::{self, RecordDuties},
        site,
    },
    extract::PathId,
    pages::{applications::seen::Observation, local::Local, office::dates, office_session::OfficeSession, page},
    paging::PageRequest,
    problem::Problem,
    scope::Scope,
    state::App,
    store::{self, settings::DateOrder, weather::Evidence},
};

#[derive(Template)]
#[template(path = "record.html")]
struct RecordPage {
    dates: DateOrder,
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
    seen: Vec<Observation>,
    evidence: Option<Evidence>,
    corrections: Vec<Corrected>,
}

/// What a correction says.
struct Corrected {
    at: String,
    by: String,
    reason: String,
    /// Pounds on each section since; none when the application was taken back.
    lines: Vec<String>,
    beyond_the_rules: bool,
}

/// So many corrections of one record are shown.
const CORRECTIONS: PageRequest = PageRequest { after: 0, take: 1000 };

/// A record, the decision it was stored under, and what the law wants of it.
pub async fn record(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Application>,
) -> Result<Response, Problem> {
    let missing = || Problem::not_found("application");
    let (reader, scope) = (app.store.reader(), Scope::Company);
    let a = store::applications::get(reader, id, scope).await?.ok_or_else(missing)?;
    let d = store::applications::decision(reader, &format!("application/{id}")).await?.ok_or_else(missing)?;
    let site = site::on(reader, a.property_id, a.applied_on).await?.ok_or_else(missing)?;
    let product = store::products::get(reader, a.product_id).await?.ok_or_else(missing)?.name;
    let tested: Vec<ids::SectionId> = a.lines.iter().map(|line| line.section_id).collect();
    let tested = store::soil_reports::all_tested(reader, &tested, a.applied_on).await?;
    let held = store::credentials::valid_on(reader, a.person_id, a.applied_on).await?;
    let dates = dates(&app).await?;
    let local = Local::of(&site.place.time_zone);
    let today = local.day(app.clock.now());
    let named = section_names(&app, a.property_id).await?;
    let corrections = corrections(&app, id, &named, &local, dates).await?;
    let evidence = store::weather::evidence(reader, &format!("application/{id}")).await?;
    let mut seen = seen::of_record(&a);
    seen.extend(seen::of_weather(&a.weather, &local, dates));
    seen.extend(evidence.iter().flat_map(|evidence| seen::of_weather(&evidence.facts, &local, dates)));
    Ok(page(
        RecordPage {
            dates,
            duties: duties::of_record(&a, &site, held, tested, today, &app.law),
            word: class(d.verdict),
            times: [a.started_at, a.finished_at, a.received_at].map(|at| local.minute(at, dates)),
            sections: a.lines.iter().map(|line| name_of(&named, line.section_id)).collect(),
            address: site.place.address,
            clock_fault: local.fault(),
            a,
            d,
            product,
            seen,
            evidence,
            corrections,
        }
        .render(),
    ))
}

async fn corrections(
    app: &App,
    id: ApplicationId,
    named: &[(ids::SectionId, String)],
    local: &Local,
    dates: DateOrder,
) -> Result<Vec<Corrected>, Problem> {
    let reader = app.store.reader();
    let rows = store::applications::corrections(reader, CORRECTIONS, Some(id), None, Scope::Company).await?;
    let mut told = Vec::new();
    for correction in rows.into_iter().map(|row| row.item) {
        let by = store::people::get(reader, correction.person_id).await?.map(|person| person.name);
        told.push(Corrected {
            at: local.minute(correction.received_at, dates),
            by: by.unwrap_or_default(),
            reason: correction.reason,
            lines: correction
                .lines
                .iter()
                .map(|line| format!("{} lb on the {}", line.product_lb, name_of(named, line.section_id)))
                .collect(),
            beyond_the_rules: correction.beyond_the_rules,
        });
    }
    Ok(told)
}

/// The sections of a property by what they are called.
pub async fn section_names(app: &App, property: ids::PropertyId) -> Result<Vec<(ids::SectionId, String)>, Problem> {
    let span = PageRequest { after: 0, take: 200 };
    let rows = store::sections::list(app.store.reader(), span, Some(property), Scope::Company).await?;
    Ok(rows.into_iter().map(|row| (row.item.id, row.item.name)).collect())
}

pub fn name_of(named: &[(ids::SectionId, String)], id: ids::SectionId) -> String {
    named.iter().find(|(known, _)| *known == id).map_or_else(|| id.to_string(), |(_, name)| name.clone())
}

/// The colour beside the word of a verdict.
pub fn class(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Go => "go",
        Verdict::Care => "care",
        Verdict::Stop => "stop",
    }
}
