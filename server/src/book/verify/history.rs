//! What stood when, held against what the journal says was written about each client, property and section.

use std::collections::BTreeMap;

use domain::{
    dated::Facts,
    ids::{ClientId, PropertyId, SectionId},
};
use serde_json::Value;
use sqlx::SqliteConnection;

use crate::{
    book::history::unnamed,
    store::{
        history::{self, StoredEntry, Subject},
        read,
        verify::{self, Entry},
    },
};

/// What the journal says of each thing whose facts are dated, oldest first: when it was written, and the thing as it was then.
#[derive(Debug, Default)]
pub struct Told(BTreeMap<String, (Noun, Vec<(i64, Value)>)>);

#[derive(Debug, Clone, Copy)]
enum Noun {
    Client,
    Property,
    Section,
}

impl Told {
    /// Notes what an entry of the journal tells.
    pub fn note(&mut self, entry: &Entry, payload: &Value) {
        let noun = match entry.act.split('.').next() {
            Some("client") => Noun::Client,
            Some("property") => Noun::Property,
            Some("section") => Noun::Section,
            _ => return,
        };
        let (_, told) = self.0.entry(entry.subject_id.clone()).or_insert_with(|| (noun, Vec::new()));
        told.push((entry.written_at, payload.clone()));
    }

    /// Holds the entries of every thing against it, and the spans of ownership against the entries.
    pub async fn check(&self, connection: &mut SqliteConnection, faults: &mut Vec<String>) -> Result<(), sqlx::Error> {
        let mut spans: BTreeMap<String, Vec<(String, String)>> = BTreeMap::new();
        for (property, client, since) in verify::owners(connection).await? {
            spans.entry(property).or_default().push((client, since));
        }
        for (id, (noun, told)) in &self.0 {
            let subject = match noun {
                Noun::Client => Subject::Client(read::<ClientId>(id, "client id")?),
                Noun::Property => Subject::Property(read::<PropertyId>(id, "property id")?),
                Noun::Section => Subject::Section(read::<SectionId>(id, "section id")?),
            };
            let entries = history::entries(connection, subject).await?;
            let stood = history::history(&entries);
            if !told.last().is_some_and(|(_, thing)| noun.says(subject, &stood.present(), thing))
                || !begins(*noun, subject, &entries, told)
            {
                faults.push(format!("what stood when of {id} differs from the journal"));
            }
            let owned = spans.remove(id).unwrap_or_default();
            let follows =
                matches!(noun, Noun::Property).then(|| history::owners(&stood)).transpose()?.unwrap_or_default();
            if owned != follows || !tells(&owned_before(&entries), &entries, told) {
                faults.push(format!("whose property {id} is and was differs from the journal"));
            }
        }
        faults.extend(spans.keys().map(|id| format!("whose property {id} is and was differs from the journal")));
        Ok(())
    }
}

impl Noun {
    /// What the entries of such a thing speak of, all of it in the first one.
    fn members(self) -> &'static [&'static str] {
        match self {
            Self::Client => &["cancelled_on", "email", "mailing_address", "name", "phone"],
            Self::Property => &[
                "address",
                "client_id",
                "kind",
                "latitude",
                "local_rules_checked_on",
                "longitude",
                "name",
                "nutrient_plan_on",
                "place",
                "postal_code",
                "rule_sets",
                "time_zone",
                "worked_by",
            ],
            Self::Section => &[
                "clippings",
                "established_on",
                "maintenance",
                "name",
                "natural_strip_ft",
                "shade",
                "species",
                "touches_pavement",
                "water",
                "water_distance_ft",
            ],
        }
    }

    /// Whether every member is there, and so as the journal names it. A member that came later is not named in what was written
    /// before it. What it says is compared and not its spelling: earlier versions kept an entry as it was typed, `5.0` where the thing
    /// says `5`.
    fn says(self, subject: Subject, facts: &Facts, thing: &Value) -> bool {
        let facts = &subject.spelled(facts);
        let so = |name: &&str| {
            let said = facts.get(*name).cloned().or_else(|| unnamed(name));
            said.is_some_and(|value| thing.get(*name).is_none_or(|told| *told == value))
        };
        let strange = |name: &String| !self.members().contains(&name.as_str());
        !facts.keys().any(strange) && self.members().iter().all(so)
    }
}

/// Whether the first entry says what was written of the thing at first, or, if it was brought over, by then.
fn begins(noun: Noun, subject: Subject, entries: &[StoredEntry], told: &[(i64, Value)]) -> bool {
    let firsts = entries.iter().filter(|entry| entry.view.since.is_none() && entry.corrects.is_none());
    if firsts.map(|entry| entry.view.id.to_string()).collect::<Vec<_>>() != [subject.uuid().to_string()] {
        return false;
    }
    let Some(first) = entries.first().map(|entry| &entry.view).filter(|first| first.since.is_none()) else {
        return false;
    };
    let (Some((_, added)), brought) = (told.first(), first.entered_by.is_none()) else { return false };
    if !brought {
        return noun.says(subject, &first.facts, added);
    }
    let by_then = told.iter().rev().find(|(written_at, _)| *written_at <= first.entered_at.millis());
    // Whose it was at first is what was written at first.
    let (mut facts, owner) = (first.facts.clone(), first.facts.get("client_id").cloned());
    if let Some(now) = by_then.and_then(|(_, thing)| thing.get("client_id")).filter(|_| owner.is_some()) {
        facts.insert("client_id".to_owned(), now.clone());
    }
    by_then.is_some_and(|(_, thing)| noun.says(subject, &facts, thing))
        && owner.is_none_or(|owner| added.get("client_id") == Some(&owner))
}

/// Changes of hands from before there were entries, as they were brought over.
fn owned_before(entries: &[StoredEntry]) -> Vec<(String, String)> {
    let brought =
        entries.iter().map(|entry| &entry.view).filter(|view| view.entered_by.is_none() && view.since.is_some());
    let hands = brought.map(|view| {
        let client = view.facts.get("client_id").and_then(Value::as_str).unwrap_or_default();
        (client.to_owned(), view.since.map_or_else(String::new, |day| day.to_string()))
    });
    hands.collect()
}

/// Whether the journal tells the same changes of hands. A day that it does not name may be any.
fn tells(owned: &[(String, String)], entries: &[StoredEntry], told: &[(i64, Value)]) -> bool {
    let migrated = entries.iter().map(|entry| &entry.view).find(|view| view.entered_by.is_none());
    let Some(migrated_at) = migrated.map(|view| view.entered_at.millis()) else { return owned.is_empty() };
    let text = |thing: &Value, member: &str| thing.get(member).and_then(Value::as_str).map(ToOwned::to_owned);
    let mut owners: Vec<(String, Option<String>)> = Vec::new();
    for (_, thing) in told.iter().filter(|(written_at, _)| *written_at <= migrated_at) {
        let Some(client) = text(thing, "client_id") else { continue };
        if owners.last().is_none_or(|(last, _)| *last != client) {
            owners.push((client, text(thing, "client_since")));
        }
    }
    let same = |((client, since), (by_journal, day)): (&(String, String), &(String, Option<String>))| {
        client == by_journal && day.as_ref().is_none_or(|day| day == since)
    };
    owned.len() == owners.len().saturating_sub(1) && owned.iter().zip(owners.iter().skip(1)).all(same)
}
