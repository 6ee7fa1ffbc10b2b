//! Records that may lack something: those that did when they were written, those that nobody asked, and those of which another
//! answer may have become true since: rule sets were confirmed later for their day, or they were corrected.

use sqlx::SqlitePool;

use crate::{
    acts::application::ApplicationView,
    paging::{PageRequest, Sequenced},
    store::applications::ApplicationRead,
};

/// Records that may lack something, the latest received first. What was taken back entirely lacks nothing any more.
pub async fn candidates(pool: &SqlitePool, span: PageRequest) -> Result<Vec<Sequenced<ApplicationView>>, sqlx::Error> {
    let rows = sqlx::query_as!(
        ApplicationRead,
        r#"SELECT a.seq AS "seq!", a.body AS "body!: String", a.time_zone AS "time_zone!: String", a.lines AS "lines!: String"
           FROM (SELECT n.seq, n.id FROM (
                    SELECT i.seq, i.id FROM applications AS i
                    WHERE i.incomplete IS NOT 0 AND i.seq < $1
                      AND (SELECT sum(l.product) FROM application_lines AS l WHERE l.application_id = i.id) > 0
                    ORDER BY i.seq DESC LIMIT $2) AS n
                 UNION
                 SELECT i.seq, i.id FROM dated_entries AS e INDEXED BY dated_entries_of_rule_sets CROSS JOIN applications AS i
                 WHERE e.property_id IS NOT NULL AND e.id <> e.property_id AND json_type(e.facts, '$.rule_sets') IS NOT NULL
                   AND i.property_id = e.property_id AND i.seq < $1 AND i.applied_on >= e.since AND i.received_at <= e.entered_at
                   AND i.incomplete = 0
                 UNION
                 SELECT i.seq, i.id FROM corrections AS c CROSS JOIN applications AS i
                 WHERE i.id = c.application_id AND i.seq < $1 AND i.incomplete = 0) AS w
           CROSS JOIN application_rows AS a ON a.id = w.id
           WHERE (SELECT sum(l.product) FROM application_lines AS l WHERE l.application_id = w.id) > 0
           ORDER BY w.seq DESC LIMIT $2"#,
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
        r#"SELECT a.seq AS "seq!", a.body AS "body!: String", a.time_zone AS "time_zone!: String", a.lines AS "lines!: String"
           FROM json_each($1) AS w CROSS JOIN applications AS i CROSS JOIN application_rows AS a
           WHERE i.id = w.value AND a.id = i.id
             AND (i.incomplete IS NOT 0
                 OR EXISTS (SELECT 1 FROM corrections AS c WHERE c.application_id = i.id)
                 OR EXISTS (SELECT 1 FROM dated_entries AS e
                     WHERE e.property_id = i.property_id AND e.id <> e.property_id AND json_type(e.facts, '$.rule_sets') IS NOT NULL
                       AND e.since <= i.applied_on AND e.entered_at >= i.received_at))
             AND (SELECT sum(l.product) FROM application_lines AS l WHERE l.application_id = i.id) > 0"#,
        ids
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(|row| Sequenced::try_from(row).map(|row| row.item)).collect()
}
