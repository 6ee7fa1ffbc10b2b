//! Records that became doubtful by what was learned after they were written. Only ever inserted.

use domain::{
    ids::{ApplicationId, SectionId},
    time::{Day, Instant},
};
use sqlx::{SqliteConnection, SqliteExecutor};
use uuid::Uuid;

use crate::store::read;

/// What was learned of a section.
#[derive(Debug, Clone, Copy)]
pub enum Cause {
    Measurement(Uuid),
    SoilReport(Uuid),
    Entry(Uuid),
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

/// Keeps that a record became doubtful. What made it so before, as a measurement that is confirmed, or not, once it has counted, is not
/// kept twice.
pub async fn insert(
    connection: &mut SqliteConnection,
    id: Uuid,
    record: ApplicationId,
    cause: Cause,
    at: Instant,
) -> Result<(), sqlx::Error> {
    let (kind, cause) = match cause {
        Cause::Measurement(id) => ("measurement", id),
        Cause::SoilReport(id) => ("soil_report", id),
        Cause::Entry(id) => ("entry", id),
    };
    let (id, record, cause, at) = (id.to_string(), record.to_string(), cause.to_string(), at.millis());
    sqlx::query!(
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
    Ok(())
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
