//! Records that became doubtful by what was learned after they were written. Only ever inserted.

use domain::{
    ids::{ApplicationId, RecordId, SectionId},
    time::{Day, Instant},
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use crate::store::{enum_text, read, read_enum, read_instant};

/// What was learned of a section.
#[derive(Debug, Clone, Copy)]
pub enum Cause {
    Measurement(Uuid),
    SoilReport(Uuid),
    Entry(Uuid),
}

/// Of what kind that is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CauseKind {
    Measurement,
    SoilReport,
    Entry,
}

impl Cause {
    const fn parts(self) -> (CauseKind, Uuid) {
        match self {
            Self::Measurement(id) => (CauseKind::Measurement, id),
            Self::SoilReport(id) => (CauseKind::SoilReport, id),
            Self::Entry(id) => (CauseKind::Entry, id),
        }
    }
}

/// That a record became doubtful, as the journal has it.
#[derive(Debug, Serialize)]
pub struct Doubt {
    pub id: RecordId,
    pub application_id: ApplicationId,
    pub cause: CauseKind,
    pub cause_id: RecordId,
    pub noted_at: Instant,
}

impl Doubt {
    pub const fn of(id: RecordId, application_id: ApplicationId, cause: Cause, noted_at: Instant) -> Self {
        let (cause, of) = cause.parts();
        Self { id, application_id, cause, cause_id: RecordId::from_uuid(of), noted_at }
    }
}

/// Records of a section from a day on of which something stands there, the newest first; so many at most.
pub async fn standing_since(
    executor: impl SqliteExecutor<'_>,
    section: SectionId,
    since: Day,
    most: i64,
) -> Result<Vec<ApplicationId>, sqlx::Error> {
    let (section, since) = (section.to_string(), since.to_string());
    let rows = sqlx::query_scalar!(
        r#"SELECT l.application_id AS "id!: String" FROM application_lines AS l WHERE l.section_id = $1 AND l.applied_on >= $2
           GROUP BY l.application_id HAVING sum(l.product) > 0 ORDER BY max(l.applied_on) DESC, l.application_id LIMIT $3"#,
        section,
        since,
        most
    );
    rows.fetch_all(executor).await?.iter().map(|id| read(id, "application id")).collect()
}

/// Keeps that a record became doubtful, and says whether that is new. What made it so before, as a measurement that is confirmed, or not,
/// once it has counted, is not kept twice.
pub async fn insert(connection: &mut SqliteConnection, doubt: &Doubt) -> Result<bool, sqlx::Error> {
    let (id, record, cause) = (doubt.id.to_string(), doubt.application_id.to_string(), doubt.cause_id.to_string());
    let (kind, at) = (enum_text(&doubt.cause)?, doubt.noted_at.millis());
    let done = sqlx::query!(
        "INSERT INTO doubted_records (id, application_id, cause, cause_id, noted_at) VALUES ($1, $2, $3, $4, $5)
         ON CONFLICT (cause_id, application_id) DO NOTHING",
        id,
        record,
        kind,
        cause,
        at
    )
    .execute(connection)
    .await?;
    Ok(done.rows_affected() > 0)
}

pub async fn get(executor: impl SqliteExecutor<'_>, id: RecordId) -> Result<Option<Doubt>, sqlx::Error> {
    let key = id.to_string();
    let row = sqlx::query!(
        r#"SELECT application_id AS "application_id!", cause AS "cause!", cause_id AS "cause_id!", noted_at AS "noted_at!"
           FROM doubted_records WHERE id = $1"#,
        key
    )
    .fetch_optional(executor)
    .await?;
    let Some(row) = row else { return Ok(None) };
    Ok(Some(Doubt {
        id,
        application_id: read(&row.application_id, "application id")?,
        cause: read_enum(&row.cause, "cause of a doubt")?,
        cause_id: read(&row.cause_id, "cause of a doubt")?,
        noted_at: read_instant(row.noted_at)?,
    }))
}

/// The records of an entry of the owner's list: all that its cause made doubtful.
pub async fn records(executor: impl SqliteExecutor<'_>, id: &str) -> Result<Vec<ApplicationId>, sqlx::Error> {
    let rows = sqlx::query_scalar!(
        r#"SELECT d.application_id AS "id!: String" FROM doubted_records AS f JOIN doubted_records AS d ON d.cause_id = f.cause_id
           WHERE f.id = $1 ORDER BY d.seq"#,
        id
    );
    rows.fetch_all(executor).await?.iter().map(|id| read(id, "application id")).collect()
}
