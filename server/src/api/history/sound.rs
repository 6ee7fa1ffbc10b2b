//! Whether what stood is whole on every day.

use domain::{
    dated::{DatedEntry, Facts, History},
    time::Day,
};
use serde_json::Value;
use sqlx::SqliteConnection;

use super::{limits::Turn, section_input, with};
use crate::{
    api::{properties, sections, whole},
    book::history::Change,
    extract::checked_body,
    problem::{FieldFault, Problem},
    scope::Scope,
    state::App,
    store::{self, clients::ClientInput, history::Subject, properties::PropertyInput},
};

/// Whether what a change leaves is whole on every day, also on those between its own and today. Says what it turned into what.
pub(in crate::api) async fn sound_change(
    connection: &mut SqliteConnection,
    app: &App,
    change: Option<&Change>,
    last: Day,
) -> Result<Option<Turn>, Problem> {
    let Some(change) = change else { return Ok(None) };
    let entries = store::history::entries(connection, change.subject).await?;
    let before = store::history::history(&entries);
    let new = DatedEntry { seq: i64::MAX, since: Some(change.since), corrects: None, facts: change.facts.clone() };
    let after = with(&entries, new);
    sound(connection, app, change.subject, (&before, &after), last).await?;
    Ok(Some(Turn { before, after }))
}

/// What stood must be whole on every day: each state of the thing is held against what the office may write. What was not whole
/// before, such as a zone that has left the tables since, is no fault of who writes now.
pub(super) async fn sound(
    connection: &mut SqliteConnection,
    app: &App,
    subject: Subject,
    (before, after): (&History, &History),
    last: Day,
) -> Result<(), Problem> {
    let known = faults_over(connection, app, subject, before, last).await?;
    let mut faults = faults_over(connection, app, subject, after, last).await?;
    faults.retain(|fault| !known.iter().any(|old| old.pointer == fault.pointer && old.code == fault.code));
    whole(faults)
}

/// What does not fit in the first state that does not.
async fn faults_over(
    connection: &mut SqliteConnection,
    app: &App,
    subject: Subject,
    history: &History,
    last: Day,
) -> Result<Vec<FieldFault>, Problem> {
    let days = history.days();
    let first = days.first().map_or_else(|| history.present(), |day| history.on(day.plus_days(-1)));
    let states = std::iter::once((None, first)).chain(days.iter().map(|day| (Some(*day), history.on(*day))));
    for (day, facts) in states {
        let faults = match faults_of(connection, app, subject, facts, last).await {
            Ok(faults) => faults,
            Err(problem) if problem.errors.is_empty() => return Err(problem),
            Err(problem) => problem.errors,
        };
        if !faults.is_empty() {
            let from = day.map_or_else(|| "from the first day known".to_owned(), |day| format!("from {day} on"));
            let place = |fault: FieldFault| {
                let pointer = fault.pointer.as_deref().unwrap_or_default().trim_start_matches('#').to_owned();
                let detail = format!("{} (as it would stand {from})", fault.detail);
                FieldFault::at(format!("/facts{pointer}"), &fault.code, detail)
            };
            return Ok(faults.into_iter().map(place).collect());
        }
    }
    Ok(Vec::new())
}

/// What the office could not have written so.
async fn faults_of(
    connection: &mut SqliteConnection,
    app: &App,
    subject: Subject,
    facts: Facts,
    last: Day,
) -> Result<Vec<FieldFault>, Problem> {
    Ok(match subject {
        Subject::Client(_) => {
            checked_body::<ClientInput>(app, Value::Object(facts))?;
            Vec::new()
        }
        Subject::Property(_) => {
            let input: PropertyInput = checked_body(app, Value::Object(facts))?;
            let mut faults = properties::faults(&input, &app.law(), last);
            if store::clients::get(connection, input.client_id, Scope::Company).await?.is_none() {
                faults.push(FieldFault::at("/client_id", "not_found", "names no client of this company"));
            }
            faults
        }
        Subject::Section(id) => sections::faults(&section_input(connection, app, id, facts).await?, last),
    })
}

/// What the subject of an entry is called.
pub fn noun(subject: Subject) -> &'static str {
    match subject {
        Subject::Client(_) => "client",
        Subject::Property(_) => "property",
        Subject::Section(_) => "lawn section",
    }
}
