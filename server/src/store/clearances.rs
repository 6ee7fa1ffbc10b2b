//! Reading clearances, and giving one back.

use domain::{
    ids::ClearanceId,
    product::Label,
    time::{Day, Instant},
};
use sqlx::{SqliteConnection, SqliteExecutor, SqlitePool};

use crate::{
    acts::{
        clearance::{self, ClearanceView},
        rows,
    },
    scope::Scope,
    store::{read, read_day, read_enum, read_json},
};

/// A clearance as it stands now.
pub async fn get(
    executor: impl SqliteExecutor<'_>,
    id: ClearanceId,
    scope: Scope,
    now: Instant,
) -> Result<Option<ClearanceView>, sqlx::Error> {
    let (key, person) = (id.to_string(), scope.person());
    let row = sqlx::query!(
        r#"SELECT c.property_id AS "property_id!", c.product_id AS "product_id!", c.person_id AS "person_id!", c.device_id,
                  c.planned_on AS "planned_on!", c.verdict AS "verdict!", c.content AS "content!", c.fingerprint AS "fingerprint!",
                  c.granted_at AS "granted_at!", c.expires_at AS "expires_at!", e.how AS "ended?", p.label AS "label!",
                  (SELECT json_group_array(json_array(l.section_id, l.area, l.product)) FROM clearance_lines AS l WHERE l.clearance_id = c.id)
                   AS "lines!: String"
           FROM clearances AS c JOIN products AS p ON p.id = c.product_id LEFT JOIN clearance_ends AS e ON e.clearance_id = c.id
           WHERE c.id = $1 AND ($2 IS NULL OR EXISTS (SELECT 1 FROM assignments AS v WHERE v.property_id = c.property_id AND v.person_id = $2))"#,
        key,
        person
    )
    .fetch_optional(executor)
    .await?;
    row.map(|row| {
        let stored = rows::ClearanceRow {
            property_id: read(&row.property_id, "property id")?,
            product_id: read(&row.product_id, "product id")?,
            person_id: read(&row.person_id, "person id")?,
            device_id: row.device_id.as_deref().map(|id| read(id, "device id")).transpose()?,
            planned_on: read_day(&row.planned_on)?,
            verdict: read_enum(&row.verdict, "verdict")?,
            content: row.content,
            fingerprint: row.fingerprint,
            granted_at: row.granted_at,
            expires_at: row.expires_at,
            ended: row.ended,
            lines: read_json(&row.lines, "clearance lines")?,
        };
        let label: Label = read_json(&row.label, "label")?;
        Ok(clearance::view(id, &stored, &label, now))
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
