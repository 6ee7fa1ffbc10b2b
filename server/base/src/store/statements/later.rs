//! What was added to the records of a statement, and which refused work was reviewed, each with when: it may have been after the span.

use domain::{
    ids::ApplicationId,
    time::{Day, Instant},
};
use sqlx::SqliteConnection;

use super::Those;
use crate::store::{read, read_day, read_instant};

/// What changes a statement without a word of its own in it.
#[derive(Debug, Default)]
pub struct Later {
    /// Records with the moment at which something was added last.
    pub added: Vec<(ApplicationId, Instant)>,
    /// Days of work that was refused and never stored, with the moment at which that was reviewed.
    pub reviewed: Vec<(Day, Instant)>,
}

pub(super) async fn later(connection: &mut SqliteConnection, those: &Those) -> Result<Later, sqlx::Error> {
    let added = sqlx::query!(
        r#"SELECT a.id AS "id!", max(x.entered_at) AS "at!: i64"
           FROM json_each($1) AS w CROSS JOIN applications AS a CROSS JOIN record_additions AS x
           WHERE a.property_id = w.value AND +a.applied_on BETWEEN $2 AND $3 AND x.application_id = a.id
           GROUP BY a.id"#,
        those.properties,
        those.from,
        those.to
    )
    .fetch_all(&mut *connection)
    .await?;
    let added = added.into_iter().map(|row| Ok((read(&row.id, "application id")?, read_instant(row.at)?)));
    let added = added.collect::<Result<_, sqlx::Error>>()?;
    let reviewed = sqlx::query!(
        r#"SELECT t.about_on AS "about_on!", r.reviewed_at AS "reviewed_at!"
           FROM attempts AS t CROSS JOIN reviews AS r
           WHERE t.property_id IN (SELECT value FROM json_each($1)) AND t.about_on BETWEEN $2 AND $3
             AND t.kind IN ('application', 'correction') AND r.record_id = t.id
             AND NOT EXISTS (SELECT 1 FROM applications AS a WHERE a.id = t.subject_id)
             AND NOT EXISTS (SELECT 1 FROM corrections AS c WHERE c.id = t.subject_id)
           ORDER BY t.about_on, t.seq"#,
        those.properties,
        those.from,
        those.to
    )
    .fetch_all(connection)
    .await?;
    let reviewed = reviewed.into_iter().map(|row| Ok((read_day(&row.about_on)?, read_instant(row.reviewed_at)?)));
    Ok(Later { added, reviewed: reviewed.collect::<Result<_, sqlx::Error>>()? })
}
