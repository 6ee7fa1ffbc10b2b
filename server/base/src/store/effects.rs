//! Writes what a batch of acts decided, in one text of several statements.

use std::collections::HashMap;

use domain::journal::hex;
use serde::Serialize;
use sqlx::SqliteConnection;

use super::packing::{self, Packer, Texts};
use crate::acts::effects::Effects;

const EFFECTS: &str = include_str!("effects.sql");

/// Writes all effects with one text of several statements, which share their arguments.
pub async fn write(
    connection: &mut SqliteConnection,
    packer: &mut Packer,
    mut effects: Effects,
) -> Result<(), sqlx::Error> {
    fn text<T: Serialize>(rows: &[T]) -> Result<String, sqlx::Error> {
        serde_json::to_string(rows).map_err(|error| sqlx::Error::Encode(error.into()))
    }
    pack(connection, packer, &mut effects).await?;
    pack_contents(connection, packer, &mut effects).await?;
    sqlx::query(EFFECTS)
        .bind(text(&effects.decisions)?)
        .bind(text(&effects.rule_set_texts)?)
        .bind(text(&effects.clearances)?)
        .bind(text(&effects.clearance_lines)?)
        .bind(text(&effects.applications)?)
        .bind(text(&effects.clearance_ends)?)
        .bind(text(&effects.corrections)?)
        .bind(text(&effects.lines)?)
        .bind(text(&effects.movements)?)
        .bind(text(&effects.attempts)?)
        .bind(text(&effects.journal)?)
        .bind(text(&effects.weather_facts)?)
        .bind(text(&effects.weather_evidence)?)
        .bind(text(&effects.personal_texts)?)
        .execute(connection)
        .await?;
    Ok(())
}

/// Packs the content of each record beside its row.
async fn pack_contents(
    connection: &mut SqliteConnection,
    packer: &mut Packer,
    effects: &mut Effects,
) -> Result<(), sqlx::Error> {
    for row in &mut effects.applications {
        if let Some((pattern, bytes)) = packer.pack_content(connection, &row.content).await? {
            row.content = packing::asked_of(&row.content)?;
            (row.pattern, row.packed) = (Some(pattern), Some(hex(&bytes)));
        }
    }
    Ok(())
}

/// Packs what belongs to each entry of the journal into it, and takes it away from where it stood. An act has one entry, by whose
/// subject its decision and its weather are named, and the particulars of a record by its id.
async fn pack(
    connection: &mut SqliteConnection,
    packer: &mut Packer,
    effects: &mut Effects,
) -> Result<(), sqlx::Error> {
    let Effects { journal, decisions, weather_facts, applications, .. } = effects;
    let mut bodies: HashMap<&str, &mut String> =
        decisions.iter_mut().map(|row| (row.subject.as_str(), &mut row.body)).collect();
    let mut facts: HashMap<&str, &mut String> =
        weather_facts.iter_mut().map(|row| (row.subject.as_str(), &mut row.facts)).collect();
    let mut particulars: HashMap<String, &mut Option<String>> =
        applications.iter_mut().map(|row| (packing::subject("application", row.id), &mut row.particulars)).collect();
    for entry in journal {
        let Some(kind) = packing::kind_of(entry.act) else { continue };
        let subject = packing::subject(kind, &entry.subject_id);
        let [decision, weather] = [&mut bodies, &mut facts].map(|texts| texts.remove(subject.as_str()));
        let fixed = particulars.remove(&subject);
        let texts = Texts {
            payload: std::mem::take(&mut entry.payload),
            decision: decision.as_deref().cloned(),
            particulars: fixed.as_deref().cloned().flatten(),
            weather: weather.as_deref().cloned(),
        };
        match packer.pack(connection, entry.act, &texts).await? {
            Some((pattern, bytes)) => {
                (entry.pattern, entry.packed) = (Some(pattern), Some(hex(&bytes)));
                decision.into_iter().chain(weather).for_each(String::clear);
                if let Some(fixed) = fixed {
                    *fixed = None;
                }
            }
            None => entry.payload = texts.payload,
        }
    }
    decisions.retain(|row| !row.body.is_empty());
    Ok(())
}
