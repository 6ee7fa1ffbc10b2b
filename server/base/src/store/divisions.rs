//! How lawn sections are divided into parts, from a day on. Only ever inserted.

use domain::{
    ids::{DivisionId, PersonId, SectionId},
    quantity::Area,
    time::{Day, Instant},
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqliteExecutor, SqlitePool};
use utoipa::ToSchema;

use crate::{
    paging::{PageRequest, Sequenced},
    scope::Scope,
    store::{read, read_day, read_instant, read_json},
};

/// A part of a section.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SectionPart {
    /// What people call it.
    #[schema(min_length = 1, max_length = 60, format = "line", example = "east of the drive")]
    pub name: String,
    pub area_sqft: Area,
}

/// How a section is divided from a day on. Its parts share no ground; together they may be less than the section.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({ "since": "2026-03-01", "parts": [
    { "name": "front half", "area_sqft": "4100" }, { "name": "back half", "area_sqft": "4100" }
] }))]
pub struct DivisionInput {
    pub since: Day,
    #[schema(min_items = 1, max_items = 16)]
    pub parts: Vec<SectionPart>,
}

/// A division that was entered.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Division {
    pub id: DivisionId,
    /// By which the lines of records name it.
    #[schema(minimum = 1, maximum = 1_000_000_000)]
    pub number: i64,
    pub section_id: SectionId,
    pub since: Day,
    #[schema(max_items = 16)]
    pub parts: Vec<SectionPart>,
    pub person_id: PersonId,
    pub created_at: Instant,
}

struct DivisionRow {
    seq: i64,
    id: String,
    section_id: String,
    since: String,
    parts: String,
    person_id: String,
    created_at: i64,
}

impl TryFrom<DivisionRow> for Sequenced<Division> {
    type Error = sqlx::Error;

    fn try_from(row: DivisionRow) -> Result<Self, sqlx::Error> {
        let item = Division {
            id: read(&row.id, "division id")?,
            number: row.seq,
            section_id: read(&row.section_id, "section id")?,
            since: read_day(&row.since)?,
            parts: parts(&row.parts)?,
            person_id: read(&row.person_id, "person id")?,
            created_at: read_instant(row.created_at)?,
        };
        Ok(Self { seq: row.seq, item })
    }
}

/// Name and area in hundredths of a square foot, as they are kept.
fn parts(text: &str) -> Result<Vec<SectionPart>, sqlx::Error> {
    let kept: Vec<(String, i64)> = read_json(text, "parts of a section")?;
    Ok(kept.into_iter().map(|(name, area)| SectionPart { name, area_sqft: Area::from_raw(area) }).collect())
}

/// Stores a division.
pub async fn insert(
    connection: &mut SqliteConnection,
    id: DivisionId,
    section: SectionId,
    input: &DivisionInput,
    person: PersonId,
    at: Instant,
) -> Result<Division, sqlx::Error> {
    let kept: Vec<(&str, i64)> = input.parts.iter().map(|part| (part.name.as_str(), part.area_sqft.raw())).collect();
    let parts = serde_json::to_string(&kept).map_err(|error| sqlx::Error::Encode(error.into()))?;
    let (key, section, since) = (id.to_string(), section.to_string(), input.since.to_string());
    let (person, at) = (person.to_string(), at.millis());
    sqlx::query!(
        "INSERT INTO divisions (id, section_id, since, parts, person_id, created_at) VALUES ($1, $2, $3, $4, $5, $6)",
        key,
        section,
        since,
        parts,
        person,
        at
    )
    .execute(&mut *connection)
    .await?;
    get(connection, id, Scope::Company).await?.ok_or(sqlx::Error::RowNotFound)
}

pub async fn get(
    executor: impl SqliteExecutor<'_>,
    id: DivisionId,
    scope: Scope,
) -> Result<Option<Division>, sqlx::Error> {
    let (key, person) = (id.to_string(), scope.viewer());
    let row = sqlx::query_as!(
        DivisionRow,
        r#"SELECT d.seq AS "seq!", d.id AS "id!", d.section_id AS "section_id!", d.since AS "since!", d.parts AS "parts!",
                  d.person_id AS "person_id!", d.created_at AS "created_at!"
           FROM divisions AS d
           WHERE d.id = $1 AND ($2 IS NULL OR EXISTS (
               SELECT 1 FROM sections AS s JOIN sight AS v ON v.property_id = s.property_id
               WHERE s.id = d.section_id AND v.viewer = $2))"#,
        key,
        person
    )
    .fetch_optional(executor)
    .await?;
    row.map(|row| Sequenced::try_from(row).map(|row| row.item)).transpose()
}

/// A page of a section's divisions, in the order in which they were entered.
pub async fn list(
    pool: &SqlitePool,
    span: PageRequest,
    section: SectionId,
) -> Result<Vec<Sequenced<Division>>, sqlx::Error> {
    let section = section.to_string();
    let rows = sqlx::query_as!(
        DivisionRow,
        r#"SELECT seq AS "seq!", id AS "id!", section_id AS "section_id!", since AS "since!", parts AS "parts!",
                  person_id AS "person_id!", created_at AS "created_at!"
           FROM divisions WHERE section_id = $1 AND seq > $2 ORDER BY seq LIMIT $3"#,
        section,
        span.after,
        span.take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(Sequenced::try_from).collect()
}
