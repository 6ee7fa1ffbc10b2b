//! Reading clearances, and giving one back.

use std::collections::BTreeMap;

use domain::{
    ids::ClearanceId,
    product::Label,
    time::{Day, Instant},
};
use serde_json::Value;
use sqlx::{SqliteConnection, SqliteExecutor, SqlitePool};

use crate::{
    acts::{
        clearance::{self, ClearanceView},
        rows::StoredClearance,
    },
    scope::Scope,
    store::{bad_row, read, read_day, read_json},
};

/// A clearance as it stands now.
pub async fn get(
    executor: impl SqliteExecutor<'_>,
    id: ClearanceId,
    scope: Scope,
    now: Instant,
) -> Result<Option<ClearanceView>, sqlx::Error> {
    let (key, person) = (id.to_string(), scope.viewer());
    let row = sqlx::query!(
        r#"SELECT c.body AS "body!: String", p.label AS "label!" FROM clearance_rows AS c JOIN products AS p ON p.id = c.product_id
           WHERE c.id = $1 AND ($2 IS NULL OR EXISTS (SELECT 1 FROM sight AS v WHERE v.property_id = c.property_id AND v.viewer = $2))"#,
        key,
        person
    )
    .fetch_optional(executor)
    .await?;
    row.map(|row| {
        let stored: StoredClearance = read_json(&row.body, "clearance")?;
        let label: Label = read_json(&row.label, "label")?;
        clearance::view(&stored, &label, now).map_err(|fault| bad_row("clearance")(&fault))
    })
    .transpose()
}

/// Frees the room that a clearance holds, and says whether it held any. Giving it back again changes nothing.
pub async fn give_back(connection: &mut SqliteConnection, id: ClearanceId, at: Instant) -> Result<bool, sqlx::Error> {
    let (key, at) = (id.to_string(), at.millis());
    let ended = sqlx::query!(
        "INSERT INTO clearance_ends (clearance_id, how, application_id, ended_at) VALUES ($1, 'given_back', NULL, $2)
         ON CONFLICT (clearance_id) DO NOTHING",
        key,
        at
    )
    .execute(connection)
    .await?;
    Ok(ended.rows_affected() > 0)
}

/// The next planned visit to a property after a day: its id, day and nitrogen target.
pub async fn next_visit(
    pool: &SqlitePool,
    property: domain::ids::PropertyId,
    after: Day,
) -> Result<Option<(domain::ids::VisitId, Day, Option<i64>)>, sqlx::Error> {
    let (key, after) = (property.to_string(), after.to_string());
    let row = sqlx::query!(
        r#"SELECT id AS "id!", planned_on AS "planned_on!", target_nitrogen FROM visits
           WHERE property_id = $1 AND planned_on > $2 AND status = 'planned' ORDER BY planned_on, seq LIMIT 1"#,
        key,
        after
    )
    .fetch_optional(pool)
    .await?;
    row.map(|row| Ok((read(&row.id, "visit id")?, read_day(&row.planned_on)?, row.target_nitrogen))).transpose()
}

/// What is stored of the room that a clearance holds: by section a list of its columns, with the parts by their names, and the
/// label of its product.
#[derive(Debug)]
pub struct Held {
    pub lines: BTreeMap<String, Value>,
    pub label: Option<String>,
}

pub async fn held(connection: &mut SqliteConnection, clearance: &str) -> Result<Held, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT l.section_id AS "section_id!",
                  json_array(l.area, l.product, l.nitrogen, l.quick_nitrogen, l.phosphate, l.potash, l.flags, l.purpose, l.planned_on, l.expires_at,
                      json(coalesce((SELECT json_group_array(named.name) FROM (SELECT p.value ->> 0 AS name
                                     FROM divisions AS d, json_each(d.parts) AS p
                                     WHERE d.seq = l.division AND d.section_id = l.section_id AND (l.parts >> p.key) & 1 = 1
                                     ORDER BY 1) AS named), '[]'))) AS "line!: String"
           FROM clearance_lines AS l WHERE l.clearance_id = $1"#,
        clearance
    )
    .fetch_all(&mut *connection)
    .await?;
    let label = sqlx::query_scalar!(
        r#"SELECT p.label AS "label!" FROM clearances AS c JOIN products AS p ON p.id = c.product_id WHERE c.id = $1"#,
        clearance
    );
    let label = label.fetch_optional(connection).await?;
    let line = |row: &str| serde_json::from_str(row).map_err(|error| bad_row("clearance line")(&error));
    let lines = rows.into_iter().map(|row| Ok((row.section_id, line(&row.line)?)));
    Ok(Held { lines: lines.collect::<Result<_, sqlx::Error>>()?, label })
}
