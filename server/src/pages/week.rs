//! The office's week: who goes where on which day, and a day's visits moved, handed over or called off at once.

use std::collections::{BTreeMap, HashMap};

use askama::Template;
use axum::{
    extract::{Path, Query, State},
    response::{IntoResponse, Redirect, Response},
};
use domain::{
    decision::{Finding, Verdict},
    ids::{PersonId, VisitId},
    quantity::{Area, ProductMass, ProductTotal},
    time::Day,
};
use serde::Deserialize;
use serde_json::{Value, json};

use crate::{
    api::{self, visits::moves},
    book::credentials::{self, Errand},
    extract::{self, Valid},
    pages::{
        figures::{self, Figure},
        form::FormData,
        local::Local,
        office::{ALL_ROWS, dates},
        office_session::OfficeSession,
        page,
    },
    problem::Problem,
    reply::ErrorPageRendered,
    state::App,
    store::{
        self,
        people::Person,
        settings::DateOrder,
        visits::{
            VisitStatus,
            week::{self, WeekVisit},
        },
    },
};

/// Days of a week, which begins on Monday as ISO 8601 has it.
const DAYS: i32 = 7;
const NAMES: [&str; 7] = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"];

#[derive(Debug, Deserialize)]
pub struct Which {
    from: Option<Day>,
}

/// What one person has on one day.
#[derive(Debug, Default)]
struct Cell {
    /// Visits that are still to be made, those that are over, and those that were called off.
    open: usize,
    over: usize,
    called_off: usize,
    area: i64,
    product: i64,
}

impl Cell {
    fn add(&mut self, visit: &WeekVisit) {
        match visit.status {
            VisitStatus::Cancelled => self.called_off += 1,
            _ if visit.is_open() => {
                self.open += 1;
                self.area += visit.area.raw();
                self.product += visit.product_lb.map_or(0, ProductMass::raw);
            }
            _ => self.over += 1,
        }
    }

    fn is_empty(&self) -> bool {
        self.open + self.over + self.called_off == 0
    }

    fn area(&self) -> Figure {
        figures::exact(&Area::from_raw(self.area))
    }

    fn pounds(&self) -> Figure {
        figures::pounds(&ProductTotal::from_raw(self.product))
    }
}

struct Row {
    person: String,
    id: PersonId,
    cells: Vec<Cell>,
}

/// A day of the week, as its column is headed.
struct Column {
    day: Day,
    name: &'static str,
    is_today: bool,
}

#[derive(Template)]
#[template(path = "week.html")]
struct WeekPage {
    dates: DateOrder,
    first: Day,
    columns: Vec<Column>,
    rows: Vec<Row>,
    before: Day,
    after: Day,
}

/// The Monday of a day's week.
fn monday(day: Day) -> Day {
    // The first of January 2024 was one.
    let known = Day::new(2024, 1, 1).unwrap_or(Day::FIRST);
    day.plus_days(-day.days_since(known).rem_euclid(DAYS))
}

fn name_of(day: Day) -> &'static str {
    let at = usize::try_from(day.days_since(monday(day))).unwrap_or_default();
    NAMES.get(at).copied().unwrap_or_default()
}

async fn today(app: &App) -> Result<Day, Problem> {
    let (_, zone) = api::company(app).await?;
    Ok(Local::of(&zone).day(app.clock.now()))
}

/// Technicians by days.
pub async fn week(_: OfficeSession, State(app): State<App>, Query(which): Query<Which>) -> Result<Response, Problem> {
    let today = today(&app).await?;
    let first = monday(which.from.unwrap_or(today));
    let visits = week::visits(app.store.reader(), first, first.plus_days(DAYS - 1)).await?;
    let mut rows: BTreeMap<(String, PersonId), Row> = BTreeMap::new();
    // Who may go and has nothing to do is seen too.
    for person in people(&app).await?.into_iter().filter(|person| person.role == domain::actor::Role::Technician) {
        rows.insert((person.name.clone(), person.id), empty(person.name, person.id));
    }
    for visit in &visits {
        let row = rows
            .entry((visit.person.clone(), visit.person_id))
            .or_insert_with(|| empty(visit.person.clone(), visit.person_id));
        let at = usize::try_from(visit.planned_on.days_since(first)).unwrap_or_default();
        if let Some(cell) = row.cells.get_mut(at) {
            cell.add(visit);
        }
    }
    let columns = (0..DAYS).map(|at| first.plus_days(at));
    let columns = columns.map(|day| Column { day, name: name_of(day), is_today: day == today }).collect();
    let shown = WeekPage {
        dates: dates(&app).await?,
        first,
        columns,
        rows: rows.into_values().collect(),
        before: first.plus_days(-DAYS),
        after: first.plus_days(DAYS),
    };
    Ok(page(shown.render()))
}

fn empty(person: String, id: PersonId) -> Row {
    Row { person, id, cells: (0..DAYS).map(|_| Cell::default()).collect() }
}

/// Those who work here now.
async fn people(app: &App) -> Result<Vec<Person>, Problem> {
    let people = store::people::list(app.store.reader(), ALL_ROWS).await?.into_iter().map(|row| row.item);
    Ok(people.filter(|person| person.active).collect())
}

#[derive(Debug, Deserialize)]
pub struct Whose {
    person_id: Option<PersonId>,
}

#[derive(Template)]
#[template(path = "week_day.html")]
struct DayPage {
    dates: DateOrder,
    day: Day,
    name: &'static str,
    visits: Vec<WeekVisit>,
    people: Vec<Person>,
    whose: Option<PersonId>,
    /// What stands against visits by the certificate of whoever goes.
    certificates: HashMap<VisitId, Vec<Finding>>,
    /// What stands against what was asked, and what was asked.
    faults: Vec<String>,
    asked: Asked,
}

/// What was typed and ticked.
#[derive(Debug, Default)]
struct Asked {
    ticked: Option<Vec<String>>,
    planned_on: String,
    person_id: String,
    reason: String,
}

impl DayPage {
    fn open(&self) -> Vec<&WeekVisit> {
        self.visits.iter().filter(|visit| visit.is_open()).collect()
    }

    fn closed(&self) -> Vec<&WeekVisit> {
        self.visits.iter().filter(|visit| !visit.is_open()).collect()
    }

    /// What stands against a visit by the certificate of whoever goes.
    fn against(&self, visit: &WeekVisit) -> &[Finding] {
        self.certificates.get(&visit.id).map_or(&[], Vec::as_slice)
    }

    /// All of a day are meant, unless somebody ticked some.
    fn is_ticked(&self, visit: &WeekVisit) -> bool {
        self.asked.ticked.as_ref().is_none_or(|ticked| ticked.iter().any(|one| *one == key(visit)))
    }

    /// How a visit that is over ended.
    fn ended(visit: &WeekVisit) -> &'static str {
        match visit.status {
            VisitStatus::Planned => "✓ recorded",
            VisitStatus::Done => "✓ done",
            VisitStatus::NotDone => "▲ not done",
            VisitStatus::Cancelled => "● called off",
        }
    }

    fn is_whose(&self, person: &Person) -> bool {
        self.whose == Some(person.id)
    }
}

/// A visit as its tick names it: with the version that is shown.
fn key(visit: &WeekVisit) -> String {
    format!("{} {}", visit.id, visit.version)
}

async fn shown(
    app: &App,
    day: Day,
    whose: Option<PersonId>,
    asked: Asked,
    faults: Vec<String>,
) -> Result<Response, Problem> {
    let mut visits = week::visits(app.store.reader(), day, day).await?;
    visits.retain(|visit| whose.is_none_or(|whose| visit.person_id == whose));
    let (certificates, people) = (certificates(app, &visits).await?, people(app).await?);
    let (dates, name) = (dates(app).await?, name_of(day));
    Ok(page(DayPage { dates, day, name, visits, people, whose, certificates, faults, asked }.render()))
}

/// What stands against each visit that is still to be made, as of now.
async fn certificates(app: &App, visits: &[WeekVisit]) -> Result<HashMap<VisitId, Vec<Finding>>, Problem> {
    let (ids, errands): (Vec<VisitId>, Vec<Errand>) =
        visits.iter().filter_map(|visit| Some((visit.id, Errand::of_week(visit)?))).unzip();
    let mut connection = app.store.reader().acquire().await?;
    let found = credentials::of_errands(&mut connection, &app.law(), &errands, app.clock.now()).await?;
    Ok(ids.into_iter().zip(found).collect())
}

/// The visits of a day, of one person or of all.
pub async fn day(
    _: OfficeSession,
    State(app): State<App>,
    Path(day): Path<Day>,
    Query(whose): Query<Whose>,
) -> Result<Response, Problem> {
    shown(&app, day, whose.person_id, Asked::default(), Vec::new()).await
}

/// Moves those that are ticked, or calls them off.
pub async fn change(
    desk: OfficeSession,
    State(app): State<App>,
    Path(day): Path<Day>,
    Query(whose): Query<Whose>,
    sent: FormData,
) -> Result<Response, Problem> {
    let typed = |name: &str| sent.one(name).map(|text| text.trim().to_owned()).unwrap_or_default();
    let asked = Asked {
        ticked: Some(sent.all("visit")),
        planned_on: typed("planned_on"),
        person_id: typed("person_id"),
        reason: typed("reason"),
    };
    let calls_off = sent.one("call_off").is_some();
    let done = async {
        let valid = Valid { fingerprint: String::new(), value: extract::checked_body(&app, body(&asked, calls_off))? };
        moves::move_visits(desk.office(), State(app.clone()), valid).await
    };
    match done.await {
        Ok(_) => {
            let to = if calls_off || asked.planned_on.is_empty() { day.to_string() } else { asked.planned_on };
            let person = if asked.person_id.is_empty() {
                whose.person_id.map(|id| id.to_string())
            } else {
                Some(asked.person_id)
            };
            let of = person.map(|id| format!("?person_id={id}")).unwrap_or_default();
            Ok(Redirect::to(&format!("/office/week/{to}{of}")).into_response())
        }
        Err(problem) if matches!(problem.status, 409 | 422) => {
            let faults = faults(&app, &problem, &asked).await?;
            let mut again = shown(&app, day, whose.person_id, asked, faults).await?;
            *again.status_mut() = problem.status();
            again.extensions_mut().insert(ErrorPageRendered);
            Ok(again)
        }
        Err(problem) => Err(problem),
    }
}

fn body(asked: &Asked, calls_off: bool) -> Value {
    let visit = |ticked: &String| {
        let (id, version) = ticked.split_once(' ').unwrap_or((ticked, ""));
        json!({ "id": id, "version": version.parse::<i64>().unwrap_or_default() })
    };
    let visits: Vec<Value> = asked.ticked.iter().flatten().map(visit).collect();
    let said = |text: &str| if text.is_empty() { Value::Null } else { Value::from(text) };
    if calls_off {
        return json!({ "visits": visits, "cancelled_because": asked.reason });
    }
    json!({ "visits": visits, "planned_on": said(&asked.planned_on), "person_id": said(&asked.person_id) })
}

/// What is wrong, with the place of the visit that it is about.
async fn faults(app: &App, problem: &Problem, asked: &Asked) -> Result<Vec<String>, Problem> {
    if problem.errors.is_empty() {
        return Ok(vec![problem.detail.clone()]);
    }
    let mut said = Vec::new();
    for fault in &problem.errors {
        let pointer = fault.pointer.as_deref().unwrap_or_default().trim_start_matches("#/");
        let mut parts = pointer.split('/');
        let what = match parts.next() {
            Some("visits") => {
                let at = parts.next().and_then(|at| at.parse::<usize>().ok());
                let ticked = at.and_then(|at| asked.ticked.as_ref()?.get(at)?.split(' ').next()?.parse().ok());
                match ticked {
                    Some(id) => place(app, id).await?,
                    None => "The visits".to_owned(),
                }
            }
            Some("planned_on") => "The new day".to_owned(),
            Some("person_id") => "Who goes".to_owned(),
            _ => "Why".to_owned(),
        };
        said.push(format!("{what}: {}", fault.detail.trim_end_matches('.')));
    }
    Ok(said)
}

async fn place(app: &App, id: VisitId) -> Result<String, Problem> {
    let reader = app.store.reader();
    let scope = crate::scope::Scope::Company;
    let Some(visit) = store::visits::get(reader, id, scope).await? else { return Ok("A visit".to_owned()) };
    let property = store::properties::get(reader, visit.property_id, scope).await?;
    Ok(property.map_or_else(|| "A visit".to_owned(), |property| property.address))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_week_begins_on_monday() {
        let day = |text| Day::parse(text).unwrap();
        for (text, first, name) in [
            ("2026-09-15", "2026-09-14", "Tuesday"),
            ("2026-09-14", "2026-09-14", "Monday"),
            ("2026-09-20", "2026-09-14", "Sunday"),
            ("2023-12-31", "2023-12-25", "Sunday"),
            ("2028-02-29", "2028-02-28", "Tuesday"),
        ] {
            assert_eq!((monday(day(text)), name_of(day(text))), (day(first), name), "{text}");
        }
    }
}
