//! Changes by which more may go down on a lawn than before, and those that are large or unlikely. Only ever inserted; what the owner
//! says of one is a review.

use std::collections::HashMap;

use domain::{
    ids::{PersonId, PropertyId, RecordId, SectionId},
    time::{Day, Instant},
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqliteExecutor, SqlitePool};
use utoipa::ToSchema;

use crate::{
    scope::Scope,
    store::{
        enum_text, read, read_day, read_enum, read_instant,
        soil_reports::{self, SoilReport},
    },
};

/// What of a lawn was changed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Limited {
    Area,
    /// The water near it, its distance, and the natural strip before it.
    Water,
    Species,
    SoilReport,
    /// The property's rule sets, and what decides which of their rules hold.
    Rules,
}

/// Why somebody should look at it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum MovedBy {
    /// More may go down than before.
    LimitLoosened,
    /// By a quarter or 2,000 sq ft.
    LargeChange,
    /// Hardly any lawn is so.
    UnlikelyFigure,
}

/// A change of what limits a lawn.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct LimitMove {
    pub id: RecordId,
    pub what: Limited,
    pub why: MovedBy,
    /// The measurement, the entry of the history, or the soil report.
    pub subject_id: RecordId,
    pub property_id: PropertyId,
    /// The lawn section; null where it is the whole property.
    pub section_id: Option<SectionId>,
    pub person_id: PersonId,
    pub moved_at: Instant,
    /// First day on which it is so, where the change names one.
    pub since: Option<Day>,
    #[schema(max_length = 400, example = "7,640 sq ft")]
    pub was: String,
    #[schema(max_length = 400, example = "8,200 sq ft")]
    pub becomes: String,
    /// As it was given with the change.
    #[schema(max_length = 1000)]
    pub reason: Option<String>,
}

struct LimitMoveRow {
    id: String,
    what: String,
    why: String,
    subject_id: String,
    property_id: String,
    section_id: Option<String>,
    person_id: String,
    moved_at: i64,
    since: Option<String>,
    was: String,
    becomes: String,
    reason: Option<String>,
}

impl TryFrom<LimitMoveRow> for LimitMove {
    type Error = sqlx::Error;

    fn try_from(row: LimitMoveRow) -> Result<Self, sqlx::Error> {
        Ok(Self {
            id: read(&row.id, "id of a change")?,
            what: read_enum(&row.what, "kind of limit")?,
            why: read_enum(&row.why, "kind of change")?,
            subject_id: read(&row.subject_id, "id of what was changed")?,
            property_id: read(&row.property_id, "property id")?,
            section_id: row.section_id.as_deref().map(|id| read(id, "section id")).transpose()?,
            person_id: read(&row.person_id, "person id")?,
            moved_at: read_instant(row.moved_at)?,
            since: row.since.as_deref().map(read_day).transpose()?,
            was: row.was,
            becomes: row.becomes,
            reason: row.reason,
        })
    }
}

pub async fn insert(connection: &mut SqliteConnection, moved: &LimitMove) -> Result<(), sqlx::Error> {
    let (id, what, why) = (moved.id.to_string(), enum_text(&moved.what)?, enum_text(&moved.why)?);
    let (subject, property) = (moved.subject_id.to_string(), moved.property_id.to_string());
    let (section, person) = (moved.section_id.map(|id| id.to_string()), moved.person_id.to_string());
    let (at, since) = (moved.moved_at.millis(), moved.since.map(|day| day.to_string()));
    sqlx::query!(
        "INSERT INTO limit_moves (id, what, why, subject_id, property_id, section_id, person_id, moved_at, since, was, becomes, reason)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)",
        id,
        what,
        why,
        subject,
        property,
        section,
        person,
        at,
        since,
        moved.was,
        moved.becomes,
        moved.reason
    )
    .execute(connection)
    .await?;
    Ok(())
}

pub async fn get(executor: impl SqliteExecutor<'_>, id: RecordId) -> Result<Option<LimitMove>, sqlx::Error> {
    let key = id.to_string();
    let row = sqlx::query_as!(
        LimitMoveRow,
        r#"SELECT id AS "id!", what AS "what!", why AS "why!", subject_id AS "subject_id!", property_id AS "property_id!", section_id,
                  person_id AS "person_id!", moved_at AS "moved_at!", since, was AS "was!", becomes AS "becomes!", reason
           FROM limit_moves WHERE id = $1"#,
        key
    )
    .fetch_optional(executor)
    .await?;
    row.map(LimitMove::try_from).transpose()
}

/// Those of these ids that name a change of a limit.
pub async fn of(pool: &SqlitePool, ids: &[String]) -> Result<HashMap<String, LimitMove>, sqlx::Error> {
    let wanted = serde_json::to_string(ids).map_err(|error| sqlx::Error::Encode(error.into()))?;
    let rows = sqlx::query_as!(
        LimitMoveRow,
        r#"SELECT l.id AS "id!", l.what AS "what!", l.why AS "why!", l.subject_id AS "subject_id!", l.property_id AS "property_id!",
                  l.section_id, l.person_id AS "person_id!", l.moved_at AS "moved_at!", l.since, l.was AS "was!",
                  l.becomes AS "becomes!", l.reason
           FROM json_each($1) AS w CROSS JOIN limit_moves AS l WHERE l.id = w.value"#,
        wanted
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(|row| Ok((row.id.clone(), LimitMove::try_from(row)?))).collect()
}

/// The soil report that counted for a section before another was written: the newest of those that count, dug by a day.
pub async fn soil_report_on(
    connection: &mut SqliteConnection,
    section: SectionId,
    day: Day,
) -> Result<Option<SoilReport>, sqlx::Error> {
    let (section, day) = (section.to_string(), day.to_string());
    let row = sqlx::query!(
        r#"SELECT r.id AS "id!: String" FROM counted_soil_reports AS r
           WHERE r.section_id = $1 AND r.sampled_on <= $2 ORDER BY r.sampled_on DESC, r.place DESC LIMIT 1"#,
        section,
        day
    )
    .fetch_optional(&mut *connection)
    .await?;
    let Some(row) = row else { return Ok(None) };
    soil_reports::get(connection, read(&row.id, "soil report id")?, Scope::Company).await
}
