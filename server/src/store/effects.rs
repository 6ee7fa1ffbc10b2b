//! Writes what a batch of acts decided, in one text of several statements.

use serde::Serialize;
use sqlx::SqliteConnection;

use crate::acts::effects::Effects;

const EFFECTS: &str = include_str!("effects.sql");

/// Writes all effects with one text of several statements, which share their arguments.
pub async fn write(connection: &mut SqliteConnection, effects: &Effects) -> Result<(), sqlx::Error> {
    fn text<T: Serialize>(rows: &[T]) -> Result<String, sqlx::Error> {
        serde_json::to_string(rows).map_err(|error| sqlx::Error::Encode(error.into()))
    }
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
