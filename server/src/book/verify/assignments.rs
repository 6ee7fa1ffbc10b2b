//! Who was ever sent to which property, held against the visits and records of which the journal tells: it decides what a technician sees.

use std::collections::BTreeMap;

use serde_json::Value;
use sqlx::SqliteConnection;

use crate::store::verify::{self, Entry};

/// When each person was first sent to a property, by the journal.
#[derive(Debug, Default)]
pub struct Sent(BTreeMap<(String, String), i64>);

impl Sent {
    pub fn note(&mut self, entry: &Entry, payload: &Value) {
        // Whoever worked somewhere may read what stands about it, like whoever was sent there.
        let (told, since) = match entry.act.as_str() {
            "application.recorded" => (&payload["row"], payload["row"]["received_at"].as_i64()),
            act if act.starts_with("visit.") => (payload, Some(entry.written_at)),
            _ => return,
        };
        if let (Some(person), Some(property)) = (told["person_id"].as_str(), told["property_id"].as_str()) {
            let since = since.unwrap_or(entry.written_at);
            self.0.entry((person.to_owned(), property.to_owned())).or_insert(since);
        }
    }

    /// Holds those against it that were sent after a moment: what an earlier run held is not told again.
    pub async fn check(
        &self,
        connection: &mut SqliteConnection,
        held_until: Option<i64>,
        faults: &mut Vec<String>,
    ) -> Result<(), sqlx::Error> {
        let mut missing = self.0.clone();
        for (person, property, since) in verify::assignments(connection).await? {
            let told = missing.remove(&(person.clone(), property.clone()));
            let was_held = held_until.is_some_and(|until| since <= until);
            if told != Some(since) && !was_held {
                faults.push(format!(
                    "that person {person} was sent to property {property} is not what the journal tells of visits"
                ));
            }
        }
        let gone = missing.into_keys();
        faults.extend(gone.map(|(person, property)| {
            format!("person {person} was sent to property {property}, by the journal, and that is gone")
        }));
        Ok(())
    }
}
