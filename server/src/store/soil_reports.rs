//! Soil reports of lawn sections. Only ever inserted.

use domain::{
    ids::{SectionId, SoilReportId},
    quantity::{NutrientRate, SoilPh},
    soil::SoilCategory,
    time::{Day, Instant},
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqliteExecutor, SqlitePool};
use utoipa::ToSchema;

use super::{read, read_day, read_instant, read_word, word};
use crate::{
    access::Scope,
    reply::{Row, Span},
};

/// What the laboratory drew the nutrients out of the soil with. Numbers and categories mean nothing without it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Extractant {
    #[serde(rename = "mehlich_1")]
    Mehlich1,
    #[serde(rename = "mehlich_3")]
    Mehlich3,
    #[serde(rename = "bray_p1")]
    BrayP1,
    ModifiedMorgan,
    Olsen,
    /// Another one, which the report states.
    OtherStated,
}

/// A soil report as the office writes it from the laboratory's paper.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "sampled_on": "2026-03-02", "laboratory": "Laboratory 01", "laboratory_number": "26-00417", "extractant": "mehlich_3",
    "cores": 12, "ph": "6.4", "phosphorus": "low", "phosphate_recommended_lb_per_1000_sqft": "1",
    "potash_recommended_lb_per_1000_sqft": "0.5"
}))]
pub struct SoilReportInput {
    /// Day on which the soil was taken, from which the report's age counts. Not a day to come.
    pub sampled_on: Day,
    #[schema(
        min_length = 1,
        max_length = 120,
        pattern = "^[^\\u0000-\\u0020\\u007f-\\u00a0\\u200b-\\u200f\\u2028-\\u202f\\u2060-\\u206f\\u3000\\ufeff][^\\u0000-\\u001f\\u007f-\\u009f\\u200b-\\u200f\\u2028-\\u202e\\u2060-\\u206f\\ufeff]*$"
    )]
    pub laboratory: String,
    /// The laboratory's own number of the report.
    #[serde(default)]
    #[schema(
        min_length = 1,
        max_length = 60,
        pattern = "^[^\\u0000-\\u0020\\u007f-\\u00a0\\u200b-\\u200f\\u2028-\\u202f\\u2060-\\u206f\\u3000\\ufeff][^\\u0000-\\u001f\\u007f-\\u009f\\u200b-\\u200f\\u2028-\\u202e\\u2060-\\u206f\\ufeff]*$"
    )]
    pub laboratory_number: Option<String>,
    pub extractant: Extractant,
    /// Cores of soil that were mixed into the sample, if somebody counted.
    #[serde(default)]
    #[schema(minimum = 1, maximum = 100)]
    pub cores: Option<i64>,
    #[serde(default)]
    pub ph: Option<SoilPh>,
    /// How the laboratory rates the phosphorus it found.
    #[serde(default)]
    pub phosphorus: Option<SoilCategory>,
    /// P2O5 that the laboratory recommends for the year; 0 when it says none is needed, null when it says nothing.
    #[serde(default)]
    pub phosphate_recommended_lb_per_1000_sqft: Option<NutrientRate>,
    /// K2O that the laboratory recommends for the year; 0 when it says none is needed, null when it says nothing.
    #[serde(default)]
    pub potash_recommended_lb_per_1000_sqft: Option<NutrientRate>,
}

/// What a laboratory answered about one section. A newer one supersedes it by its date; it is never edited.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct SoilReport {
    pub id: SoilReportId,
    pub section_id: SectionId,
    pub sampled_on: Day,
    #[schema(max_length = 120)]
    pub laboratory: String,
    #[schema(max_length = 60)]
    pub laboratory_number: Option<String>,
    pub extractant: Extractant,
    /// Cores of soil that were mixed into the sample.
    #[schema(minimum = 1, maximum = 100)]
    pub cores: Option<i64>,
    pub ph: Option<SoilPh>,
    pub phosphorus: Option<SoilCategory>,
    /// P2O5 that the laboratory recommends for the year.
    pub phosphate_recommended_lb_per_1000_sqft: Option<NutrientRate>,
    /// K2O that the laboratory recommends for the year.
    pub potash_recommended_lb_per_1000_sqft: Option<NutrientRate>,
    /// What makes this report less certain than it looks.
    #[schema(max_items = 4)]
    pub cautions: Vec<Caution>,
    pub created_at: Instant,
}

/// A sentence of caution for a person to weigh. It stops nothing.
#[derive(Debug, Clone, Serialize, ToSchema)]
#[serde(transparent)]
#[schema(max_length = 300)]
pub struct Caution(pub String);

/// Common practice of the extension services: ten cores or more make one sample.
const ENOUGH_CORES: i64 = 10;

fn cautions(cores: Option<i64>) -> Vec<Caution> {
    let practice = "ten or more, mixed, is the common practice of extension services";
    let sentence = match cores {
        Some(count) if count >= ENOUGH_CORES => return Vec::new(),
        Some(1) => format!("The sample was made of a single core; {practice}."),
        Some(count) => format!("The sample was made of {count} cores; {practice}."),
        None => format!("Nobody said how many cores the sample was made of; {practice}."),
    };
    vec![Caution(sentence)]
}

struct SoilReportRow {
    seq: i64,
    id: String,
    section_id: String,
    sampled_on: String,
    laboratory: String,
    laboratory_number: Option<String>,
    extractant: String,
    cores: Option<i64>,
    ph: Option<i64>,
    phosphorus: Option<String>,
    phosphate_recommended: Option<i64>,
    potash_recommended: Option<i64>,
    created_at: i64,
}

impl TryFrom<SoilReportRow> for Row<SoilReport> {
    type Error = sqlx::Error;

    fn try_from(row: SoilReportRow) -> Result<Self, sqlx::Error> {
        let item = SoilReport {
            id: read(&row.id, "soil report id")?,
            section_id: read(&row.section_id, "section id")?,
            sampled_on: read_day(&row.sampled_on)?,
            laboratory: row.laboratory,
            laboratory_number: row.laboratory_number,
            extractant: read_word(&row.extractant, "extractant")?,
            cores: row.cores,
            ph: row.ph.map(SoilPh::from_raw),
            phosphorus: row.phosphorus.as_deref().map(|found| read_word(found, "phosphorus")).transpose()?,
            phosphate_recommended_lb_per_1000_sqft: row.phosphate_recommended.map(NutrientRate::from_raw),
            potash_recommended_lb_per_1000_sqft: row.potash_recommended.map(NutrientRate::from_raw),
            cautions: cautions(row.cores),
            created_at: read_instant(row.created_at)?,
        };
        Ok(Self { seq: row.seq, item })
    }
}

pub async fn insert(
    connection: &mut SqliteConnection,
    id: SoilReportId,
    section: SectionId,
    input: &SoilReportInput,
    at: Instant,
) -> Result<SoilReport, sqlx::Error> {
    let (key, section, at, sampled_on) =
        (id.to_string(), section.to_string(), at.millis(), input.sampled_on.to_string());
    let (extractant, phosphorus) = (word(&input.extractant), input.phosphorus.as_ref().map(word));
    let ph = input.ph.map(SoilPh::raw);
    let phosphate = input.phosphate_recommended_lb_per_1000_sqft.map(NutrientRate::raw);
    let potash = input.potash_recommended_lb_per_1000_sqft.map(NutrientRate::raw);
    sqlx::query!(
        "INSERT INTO soil_reports (id, section_id, sampled_on, laboratory, laboratory_number, extractant, cores, ph, phosphorus,
             phosphate_recommended, potash_recommended, created_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)",
        key,
        section,
        sampled_on,
        input.laboratory,
        input.laboratory_number,
        extractant,
        input.cores,
        ph,
        phosphorus,
        phosphate,
        potash,
        at
    )
    .execute(&mut *connection)
    .await?;
    get(connection, id, Scope::Company).await?.ok_or(sqlx::Error::RowNotFound)
}

pub async fn get(
    executor: impl SqliteExecutor<'_>,
    id: SoilReportId,
    scope: Scope,
) -> Result<Option<SoilReport>, sqlx::Error> {
    let (key, person) = (id.to_string(), scope.person());
    let row = sqlx::query_as!(
        SoilReportRow,
        r#"SELECT r.seq AS "seq!", r.id AS "id!", r.section_id AS "section_id!", r.sampled_on AS "sampled_on!",
                  r.laboratory AS "laboratory!", r.laboratory_number, r.extractant AS "extractant!", r.cores, r.ph, r.phosphorus,
                  r.phosphate_recommended, r.potash_recommended, r.created_at AS "created_at!"
           FROM soil_reports AS r
           WHERE r.id = $1 AND ($2 IS NULL OR EXISTS (
               SELECT 1 FROM sections AS s JOIN assignments AS v ON v.property_id = s.property_id
               WHERE s.id = r.section_id AND v.person_id = $2))"#,
        key,
        person
    )
    .fetch_optional(executor)
    .await?;
    row.map(|row| Row::try_from(row).map(|row| row.item)).transpose()
}

/// A page of a section's soil reports, in the order in which they were written.
pub async fn list(pool: &SqlitePool, span: Span, section: SectionId) -> Result<Vec<Row<SoilReport>>, sqlx::Error> {
    let section = section.to_string();
    let rows = sqlx::query_as!(
        SoilReportRow,
        r#"SELECT seq AS "seq!", id AS "id!", section_id AS "section_id!", sampled_on AS "sampled_on!", laboratory AS "laboratory!",
                  laboratory_number, extractant AS "extractant!", cores, ph, phosphorus, phosphate_recommended, potash_recommended,
                  created_at AS "created_at!"
           FROM soil_reports WHERE section_id = $1 AND seq > $2 ORDER BY seq LIMIT $3"#,
        section,
        span.after,
        span.take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(Row::try_from).collect()
}

/// Whether every one of these sections had a soil report by a day.
pub async fn all_tested(pool: &SqlitePool, sections: &[SectionId], by: Day) -> Result<bool, sqlx::Error> {
    let ids = serde_json::to_string(sections).map_err(|error| sqlx::Error::Encode(error.into()))?;
    let by = by.to_string();
    let row = sqlx::query!(
        r#"SELECT count(*) AS "untested!: i64" FROM json_each($1) AS w
           WHERE NOT EXISTS (SELECT 1 FROM soil_reports AS r WHERE r.section_id = w.value AND r.sampled_on <= $2)"#,
        ids,
        by
    )
    .fetch_one(pool)
    .await?;
    Ok(row.untested == 0)
}
