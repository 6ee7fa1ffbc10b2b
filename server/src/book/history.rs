//! How the office's changes become dated entries: what is changed, since when, and whether it fits between the entries there
//! are.

use domain::{dated::Facts, ids::DatedEntryId, time::Day};
use serde_json::Value;
use sqlx::SqliteConnection;

use crate::{
    problem::{FieldFault, Kind, Problem},
    store::{
        history::{self, HistoryEntry, NewEntry, Subject},
        journal::{self, JournalContext},
    },
};

/// The act by which an entry stands in the journal.
const ENTERED: &str = "entry.added";

/// What a change makes so, and since when.
#[derive(Debug)]
pub struct Change {
    pub subject: Subject,
    pub since: Day,
    pub facts: Facts,
}

/// Compares what was sent with what stands; nothing if it says nothing new. A day before one on which another entry speaks of
/// the same would change nothing from that day on, and whoever sent it would read another value than the one just sent.
pub async fn weigh(
    connection: &mut SqliteConnection,
    subject: Subject,
    sent: Facts,
    (since, is_named): (Day, bool),
    faults: &mut Vec<FieldFault>,
) -> Result<Option<Change>, Problem> {
    let known = history::history(&history::entries(connection, subject).await?);
    let (stood, stood_then) = (subject.spelled(&known.present()), subject.spelled(&known.on(since)));
    let says = |facts: &Facts, name: &str, value: &Value| match facts.get(name) {
        Some(known) => known == value,
        // An entry from before there was such a member means what the member was brought over as.
        None => unnamed(name).is_some_and(|meant| meant == *value),
    };
    let was_other = sent.iter().any(|(name, value)| !says(&stood_then, name, value));
    let facts: Facts = sent.into_iter().filter(|(name, value)| !says(&stood, name, value)).collect();
    if facts.is_empty() {
        if is_named && was_other {
            let detail = "is given, and nothing is changed from what stands now. To say that it was so earlier, correct the entry in \
                          the history";
            faults.push(FieldFault::at("/since", "contradiction", detail));
        }
        return Ok(None);
    }
    if let Some(later) = known.said_again_after(since, &facts) {
        let detail = format!(
            "lies before {later}, from which on something else is entered for: {}. Name that day or a later one, or correct that \
             entry in the history",
            facts.keys().map(|name| label(name)).collect::<Vec<_>>().join(", ")
        );
        faults.push(FieldFault::at("/since", "contradiction", detail));
    }
    Ok(Some(Change { subject, since, facts }))
}

/// What entries mean of a member that is younger than they are; nothing for one that every first entry names.
pub fn unnamed(name: &str) -> Option<Value> {
    match name {
        "kind" => Some(Value::from("lawn")),
        "worked_by" => Some(Value::from("professional")),
        "nutrient_plan_on" => Some(Value::Null),
        _ => None,
    }
}

/// Writes the entry that a change comes to, with its line in the journal.
pub async fn enter(
    connection: &mut SqliteConnection,
    change: Change,
    id: DatedEntryId,
    deed: JournalContext,
) -> Result<HistoryEntry, Problem> {
    let entry = NewEntry {
        id,
        since: Some(change.since),
        facts: change.facts,
        corrects: None,
        reason: None,
        by: person(deed)?,
        at: deed.at,
    };
    let written = history::append(connection, change.subject, &entry).await?;
    note(connection, &written, deed).await?;
    Ok(written)
}

/// The entry's line in the journal.
pub async fn note(
    connection: &mut SqliteConnection,
    entry: &HistoryEntry,
    deed: JournalContext,
) -> Result<(), Problem> {
    let deed = JournalContext { act: ENTERED, subject: entry.id.uuid(), ..deed };
    Ok(journal::append(connection, deed, &serde_json::to_string(entry)?).await?)
}

/// The line in the journal of a thing whose row follows from its entries.
pub async fn note_thing(
    connection: &mut SqliteConnection,
    act: &'static str,
    subject: Subject,
    thing: &str,
    deed: JournalContext,
) -> Result<(), Problem> {
    let deed = JournalContext { act, subject: subject.uuid(), ..deed };
    Ok(journal::append(connection, deed, thing).await?)
}

/// Who enters it. What the office writes has a person behind it.
pub fn person(deed: JournalContext) -> Result<domain::ids::PersonId, Problem> {
    let nobody = || Problem::new(Kind::Fault, "Nobody is behind this change.");
    deed.actor.map(|actor| actor.person).ok_or_else(nobody)
}

/// What facts say, for people: each member with its value.
pub fn told(facts: &Facts) -> Vec<(String, String)> {
    facts.iter().map(|(name, value)| (label(name), value_of(name, value))).collect()
}

/// A member's value, for people.
pub fn value_of(name: &str, value: &Value) -> String {
    match (name, value) {
        // Words of a list; what a person typed stands as it was typed.
        ("species" | "kind" | "water" | "maintenance" | "clippings" | "shade", Value::String(word)) => {
            word.replace('_', " ")
        }
        ("worked_by", Value::String(word)) => match word.as_str() {
            "professional" => "for hire".to_owned(),
            "own_ground" => "the owner's own people".to_owned(),
            _ => "the household".to_owned(),
        },
        ("client_id", _) => "another one".to_owned(),
        _ => shown(value),
    }
}

/// What the pages call a member.
pub fn label(name: &str) -> String {
    let known = match name {
        "client_id" => "client",
        "mailing_address" => "mailing address",
        "phone" => "telephone",
        "email" => "e-mail",
        "cancelled_on" => "service ends on",
        "postal_code" => "ZIP code",
        "local_rules_checked_on" => "county and town asked on",
        "water_distance_ft" => "distance to the water, ft",
        "natural_strip_ft" => "natural strip, ft",
        "established_on" => "seeded or sodded on",
        "touches_pavement" => "pavement beside it",
        "maintenance" => "care level",
        "kind" => "kind of ground",
        "worked_by" => "who does the work",
        "nutrient_plan_on" => "nutrient plan of",
        other => return other.replace('_', " "),
    };
    known.to_owned()
}

fn shown(value: &Value) -> String {
    match value {
        Value::Null => "none".to_owned(),
        Value::Bool(true) => "yes".to_owned(),
        Value::Bool(false) => "no".to_owned(),
        Value::Number(number) => number.to_string(),
        Value::String(text) => text.clone(),
        Value::Array(parts) if parts.is_empty() => "none".to_owned(),
        Value::Array(parts) => parts.iter().map(shown).collect::<Vec<_>>().join(" + "),
        Value::Object(members) => {
            members.values().filter(|value| !value.is_null()).map(shown).collect::<Vec<_>>().join(" + ")
        }
    }
}
