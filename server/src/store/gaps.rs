//! Records that lacked something when they were written, or that nobody asked.

use sqlx::SqlitePool;

use crate::{
    acts::application::ApplicationView,
    paging::{PageRequest, Sequenced},
    store::applications::ApplicationRead,
};

/// A page of records that may lack something, the latest received first. What was taken back entirely lacks nothing any more.
pub async fn candidates(pool: &SqlitePool, span: PageRequest) -> Result<Vec<Sequenced<ApplicationView>>, sqlx::Error> {
    let rows = sqlx::query_as!(
        ApplicationRead,
        r#"SELECT a.seq AS "seq!", a.body AS "body!: String", a.time_zone AS "time_zone!", a.lines AS "lines!: String"
           FROM applications AS i CROSS JOIN application_rows AS a ON a.id = i.id
           WHERE i.incomplete IS NOT 0 AND i.seq < $1
             AND (SELECT sum(l.product) FROM application_lines AS l WHERE l.application_id = i.id) > 0
           ORDER BY i.seq DESC LIMIT $2"#,
        span.after,
        span.take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(Sequenced::try_from).collect()
}

/// Those of some records that may lack something.
pub async fn candidates_among(pool: &SqlitePool, ids: &[String]) -> Result<Vec<ApplicationView>, sqlx::Error> {
    let ids = serde_json::to_string(ids).map_err(|error| sqlx::Error::Encode(error.into()))?;
    let rows = sqlx::query_as!(
        ApplicationRead,
        r#"SELECT a.seq AS "seq!", a.body AS "body!: String", a.time_zone AS "time_zone!", a.lines AS "lines!: String"
           FROM json_each($1) AS w CROSS JOIN applications AS i CROSS JOIN application_rows AS a
           WHERE i.id = w.value AND a.id = i.id AND i.incomplete IS NOT 0
             AND (SELECT sum(l.product) FROM application_lines AS l WHERE l.application_id = i.id) > 0"#,
        ids
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(|row| Sequenced::try_from(row).map(|row| row.item)).collect()
}
