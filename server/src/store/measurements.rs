//! Measurements of lawn sections. Only ever inserted.

use domain::{
    ids::{MeasurementId, SectionId},
    quantity::Area,
    time::{Day, Instant},
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqlitePool};
use utoipa::ToSchema;

use super::{read, read_day, read_instant, read_word, word};
use crate::reply::{Row, Span};

/// How an area was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum MeasuringMethod {
    /// Measuring wheel.
    Wheel,
    Tape,
    /// From a picture taken from the air.
    AerialImage,
    /// From a site plan.
    Plan,
    /// Widths across a base line at equal steps.
    Offsets,
    /// Walked round with a satellite receiver.
    GpsOutline,
    /// From the land records: the parcel less what is not lawn.
    ParcelRecord,
}

/// A measurement as it is written.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({ "area_sqft": "8200", "measured_on": "2026-03-02", "method": "wheel", "measured_by": "Tech 01" }))]
pub struct MeasurementInput {
    pub area_sqft: Area,
    /// Day on which it was measured. Not a day to come.
    pub measured_on: Day,
    pub method: MeasuringMethod,
    /// Who measured, staff or not.
    #[schema(
        min_length = 1,
        max_length = 120,
        pattern = "^[^\\u0000-\\u0020\\u007f-\\u00a0\\u200b-\\u200f\\u2028-\\u202f\\u2060-\\u206f\\u3000\\ufeff][^\\u0000-\\u001f\\u007f-\\u009f\\u200b-\\u200f\\u2028-\\u202e\\u2060-\\u206f\\ufeff]*$"
    )]
    pub measured_by: String,
    /// What was left out or in doubt.
    #[serde(default)]
    #[schema(
        min_length = 1,
        max_length = 1000,
        pattern = "^[^\\u0000-\\u0020\\u007f-\\u00a0\\u200b-\\u200f\\u2028-\\u202f\\u2060-\\u206f\\u3000\\ufeff][^\\u0000-\\u0009\\u000b-\\u001f\\u007f-\\u009f\\u200b-\\u200f\\u2028-\\u202e\\u2060-\\u206f\\ufeff]*$"
    )]
    pub note: Option<String>,
}

/// A section's area from a day on. A later one supersedes it; it is never edited.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Measurement {
    pub id: MeasurementId,
    pub section_id: SectionId,
    pub area_sqft: Area,
    pub measured_on: Day,
    pub method: MeasuringMethod,
    #[schema(max_length = 120)]
    pub measured_by: String,
    #[schema(max_length = 1000)]
    pub note: Option<String>,
    pub created_at: Instant,
}

struct MeasurementRow {
    seq: i64,
    id: String,
    section_id: String,
    area: i64,
    measured_on: String,
    method: String,
    measured_by: String,
    note: Option<String>,
    created_at: i64,
}

impl TryFrom<MeasurementRow> for Row<Measurement> {
    type Error = sqlx::Error;

    fn try_from(row: MeasurementRow) -> Result<Self, sqlx::Error> {
        let item = Measurement {
            id: read(&row.id, "measurement id")?,
            section_id: read(&row.section_id, "section id")?,
            area_sqft: Area::from_raw(row.area),
            measured_on: read_day(&row.measured_on)?,
            method: read_word(&row.method, "method")?,
            measured_by: row.measured_by,
            note: row.note,
            created_at: read_instant(row.created_at)?,
        };
        Ok(Self { seq: row.seq, item })
    }
}

pub async fn insert(
    connection: &mut SqliteConnection,
    id: MeasurementId,
    section: SectionId,
    input: MeasurementInput,
    at: Instant,
) -> Result<Measurement, sqlx::Error> {
    let (key, section_key, area) = (id.to_string(), section.to_string(), input.area_sqft.raw());
    let (measured_on, method, millis) = (input.measured_on.to_string(), word(&input.method), at.millis());
    sqlx::query!(
        "INSERT INTO measurements (id, section_id, area, measured_on, method, measured_by, note, created_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
        key,
        section_key,
        area,
        measured_on,
        method,
        input.measured_by,
        input.note,
        millis
    )
    .execute(connection)
    .await?;
    Ok(Measurement {
        id,
        section_id: section,
        area_sqft: input.area_sqft,
        measured_on: input.measured_on,
        method: input.method,
        measured_by: input.measured_by,
        note: input.note,
        created_at: at,
    })
}

/// A page of a section's measurements, in the order in which they were written.
pub async fn list(pool: &SqlitePool, span: Span, section: SectionId) -> Result<Vec<Row<Measurement>>, sqlx::Error> {
    let section = section.to_string();
    let rows = sqlx::query_as!(
        MeasurementRow,
        r#"SELECT seq AS "seq!", id AS "id!", section_id AS "section_id!", area AS "area!", measured_on AS "measured_on!",
                  method AS "method!", measured_by AS "measured_by!", note, created_at AS "created_at!"
           FROM measurements WHERE section_id = $1 AND seq > $2 ORDER BY seq LIMIT $3"#,
        section,
        span.after,
        span.take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(Row::try_from).collect()
}
