//! A record with the decision it was stored under, what was seen and known, and what was said since.

pub mod seen;
mod told;

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
        particulars::{self, RecordParticulars, Whole},
    },
    extract::PathId,
    pages::{
        applications::{seen::Observation, told::Written},
        local::Local,
        office::dates,
        office_session::PaperSession,
        page,
    },
    paging::PageRequest,
    problem::Problem,
    scope::Scope,
    state::App,
    store::{self, additions::AdditionDoubt, settings::DateOrder, weather::Evidence},
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
    /// What stood of everything that it names.
    stood: Vec<Observation>,
    told: RecordParticulars,
    seen: Vec<Observation>,
    evidence: Option<Evidence>,
    corrections: Vec<Corrected>,
    additions: Vec<Added>,
    outside: bool,
}

impl RecordPage {
    /// Whether something that was added shows that the work went beyond the rules.
    fn is_beyond_by_an_addition(&self) -> bool {
        self.told.additions.iter().any(|one| one.doubt == Some(AdditionDoubt::BeyondTheRules))
    }
}

/// What was added since.
struct Added {
    /// What it shows of the work, where it makes the record doubtful.
    doubt: Option<&'static str>,
    at: String,
    by: String,
    /// It also tells what the book said then of the day of the work.
    from_the_book: bool,
    says: Vec<Observation>,
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
    session: PaperSession,
    State(app): State<App>,
    PathId(id): PathId<ids::Application>,
) -> Result<Response, Problem> {
    let missing = || Problem::not_found("application");
    let (reader, scope) = (app.store.reader(), session.scope());
    let mut a = store::applications::get(reader, id, scope).await?.ok_or_else(missing)?;
    let d = store::applications::decision(reader, &format!("application/{id}")).await?.ok_or_else(missing)?;
    // What it lacks is told by what it has, before anything is left out for whoever looks.
    let Whole { mut told, asked, gaps } = particulars::whole(&app, &a).await?;
    particulars::keep_particulars(&app, scope, &mut told).await?;
    particulars::keep_records(&app, scope, [&mut a]).await?;
    let dates = dates(&app).await?;
    let local = Local::of(&told.particulars.time_zone);
    let today = local.day(app.clock.now());
    let named = told
        .particulars
        .sections
        .iter()
        .chain(&told.sections_since)
        .map(|section| (section.section_id, section.name.clone()));
    let mut named: Vec<(ids::SectionId, String)> = named.collect();
    named.extend(section_names(&app, a.property_id).await?);
    let corrections = corrections(&app, (id, scope), &named, &local, dates).await?;
    let evidence = store::weather::evidence(reader, &format!("application/{id}")).await?;
    let mut seen = seen::of_record(&a);
    seen.extend(seen::of_weather(&a.weather, &local, dates));
    seen.extend(evidence.iter().flat_map(|evidence| seen::of_weather(&evidence.facts, &local, dates)));
    let written = Written { local: &local, dates };
    seen.extend(a.seen.iter().flat_map(|more| told::seen(more, written)));
    seen.extend(a.nobody_supervised.then(|| Observation { what: "Supervised by", words: "nobody".to_owned() }));
    let additions = added(&app, &told, written).await?;
    let mut stood = told::stood(&told.particulars, told.texts.as_ref(), written);
    stood.extend(told::sections_since(&told, written));
    let site = told.texts.as_ref().and_then(|texts| texts.site_address.clone());
    Ok(page(
        RecordPage {
            dates,
            duties: duties::of_record(&a, &told.particulars, (&asked, gaps), today, &app.law()),
            word: class(d.verdict),
            times: [a.started_at, a.finished_at, a.received_at].map(|at| local.minute(at, dates)),
            sections: a.lines.iter().map(|line| name_of(&named, line.section_id)).collect(),
            address: site.unwrap_or_else(|| "The property".to_owned()),
            clock_fault: local.fault(),
            a,
            d,
            product: told.particulars.product.name.clone(),
            stood,
            told,
            seen,
            evidence,
            corrections,
            additions,
            outside: session.is_outside(),
        }
        .render(),
    ))
}

/// What was added to the record, each with its own day.
async fn added(app: &App, told: &RecordParticulars, written: Written<'_>) -> Result<Vec<Added>, Problem> {
    let mut additions = Vec::new();
    for one in &told.additions {
        let then = one.texts.as_ref().and_then(|texts| Some((texts.made_by.clone()?, texts.made_on.clone())));
        let by = maker(app, one.person_id, then, one.texts_destroyed).await?;
        let mut says: Vec<Observation> = told::explained(one).into_iter().collect();
        says.extend(one.seen.iter().flat_map(|seen| told::seen(seen, written)));
        if let Some(particulars) = &one.particulars {
            says.extend(told::stood(particulars, one.texts.as_ref(), written));
        }
        additions.push(Added {
            doubt: one.doubt.as_ref().map(|doubt| match doubt {
                AdditionDoubt::BeyondTheRules => {
                    "■ By the distance that is told here, the work went beyond the rules, whatever was decided when it was saved."
                }
                AdditionDoubt::ShorterDistance => "▲ This is a shorter distance than was told before; the shortest counts.",
            }),
            at: written.local.minute(one.entered_at, written.dates),
            by,
            from_the_book: one.particulars.is_some(),
            says,
        });
    }
    Ok(additions)
}

async fn corrections(
    app: &App,
    (id, scope): (ApplicationId, Scope),
    named: &[(ids::SectionId, String)],
    local: &Local,
    dates: DateOrder,
) -> Result<Vec<Corrected>, Problem> {
    let reader = app.store.reader();
    let mut rows = store::applications::corrections(reader, CORRECTIONS, Some(id), None, Scope::Company).await?;
    particulars::keep_corrections(app, scope, &mut rows).await?;
    let mut told = Vec::new();
    for correction in rows.into_iter().map(|row| row.item) {
        let then = correction.person_name.map(|name| (name, correction.device_name));
        let by = maker(app, correction.person_id, then, correction.texts_destroyed).await?;
        told.push(Corrected {
            at: local.minute(correction.received_at, dates),
            by,
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

/// Who made a correction or an addition, and on which phone, as it was fixed then. Those of earlier versions fixed nothing, so theirs
/// is today's name.
async fn maker(
    app: &App,
    person: ids::PersonId,
    then: Option<(String, Option<String>)>,
    destroyed: bool,
) -> Result<String, Problem> {
    match then {
        Some((name, None)) => Ok(name),
        Some((name, Some(device))) => Ok(format!("{name} on {device}")),
        None if destroyed => Ok("name destroyed".to_owned()),
        None => {
            let now = store::people::get(app.store.reader(), person).await?.map(|person| person.name);
            Ok(format!("{} (the name on file now)", now.unwrap_or_default()))
        }
    }
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
