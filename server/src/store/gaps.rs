//! Records that may lack something: those that did when they were written, those that nobody asked, and those of which another
//! answer may have become true since: for their day rule sets, the kind of ground or who works there were entered or corrected
//! later, or they were corrected themselves. An entry that was put on a later day than it first had frees days, too.

use domain::ids::ApplicationId;
use sqlx::SqlitePool;

use crate::{
    acts::application::ApplicationView,
    paging::{PageRequest, Sequenced},
    store::{
        applications::{ApplicationRead, shown},
        id_list,
    },
};

/// Records that may lack something, the latest received first. What was taken back entirely lacks nothing any more.
pub async fn candidates(pool: &SqlitePool, span: PageRequest) -> Result<Vec<Sequenced<ApplicationView>>, sqlx::Error> {
    let rows = sqlx::query_as!(
        ApplicationRead,
        r#"SELECT a.seq AS "seq!", a.id AS "id!", a.property_id AS "property_id!", a.product_id AS "product_id!", a.lot_id, a.visit_id,
                  a.clearance_id, a.person_id AS "person_id!", a.person_name AS "person_name!", a.entered_by AS "entered_by!", a.device_id,
                  a.applied_on AS "applied_on!", a.received_at AS "received_at!", a.sent_at, a.verdict AS "verdict!",
                  a.beyond_the_rules AS "beyond_the_rules!", a.content AS "content!", a.packed, a.pattern AS "pattern: String",
                  a.time_zone AS "time_zone!: String", a.lines AS "lines!: String", a.correction_ids AS "correction_ids!: String", a.texts
           FROM (SELECT n.seq, n.id FROM (
                    SELECT i.seq, i.id FROM applications AS i
                    WHERE i.incomplete IS NOT 0 AND i.seq < $1
                      AND (SELECT sum(l.product) FROM application_lines AS l WHERE l.application_id = i.id) > 0
                    ORDER BY i.seq DESC LIMIT $2) AS n
                 UNION
                 SELECT i.seq, i.id FROM dated_entries AS e INDEXED BY dated_entries_of_what_binds
                 LEFT JOIN dated_entries AS c ON c.seq = e.corrects CROSS JOIN applications AS i
                 WHERE e.property_id IS NOT NULL AND e.id <> e.property_id
                   AND (json_type(e.facts, '$.rule_sets') IS NOT NULL OR json_type(e.facts, '$.kind') IS NOT NULL
                       OR json_type(e.facts, '$.worked_by') IS NOT NULL)
                   AND i.property_id = e.property_id AND i.seq < $1 AND i.applied_on >= min(e.since, coalesce(c.since, e.since))
                   AND i.received_at <= e.entered_at AND i.incomplete = 0
                 UNION
                 SELECT i.seq, i.id FROM corrections AS c CROSS JOIN applications AS i
                 WHERE i.id = c.application_id AND i.seq < $1 AND i.incomplete = 0) AS w
           CROSS JOIN application_reads AS a ON a.id = w.id
           WHERE (SELECT sum(l.product) FROM application_lines AS l WHERE l.application_id = w.id) > 0
           ORDER BY w.seq DESC LIMIT $2"#,
        span.after,
        span.take
    )
    .fetch_all(pool)
    .await?;
    shown(rows)
}

/// Those of some records that may lack something.
pub async fn candidates_among(pool: &SqlitePool, ids: &[ApplicationId]) -> Result<Vec<ApplicationView>, sqlx::Error> {
    let ids = id_list(ids)?;
    let rows = sqlx::query_as!(
        ApplicationRead,
        r#"SELECT a.seq AS "seq!", a.id AS "id!", a.property_id AS "property_id!", a.product_id AS "product_id!", a.lot_id, a.visit_id,
                  a.clearance_id, a.person_id AS "person_id!", a.person_name AS "person_name!", a.entered_by AS "entered_by!", a.device_id,
                  a.applied_on AS "applied_on!", a.received_at AS "received_at!", a.sent_at, a.verdict AS "verdict!",
                  a.beyond_the_rules AS "beyond_the_rules!", a.content AS "content!", a.packed, a.pattern AS "pattern: String",
                  a.time_zone AS "time_zone!: String", a.lines AS "lines!: String", a.correction_ids AS "correction_ids!: String", a.texts
           FROM json_each($1) AS w CROSS JOIN applications AS i CROSS JOIN application_reads AS a
           WHERE i.id = w.value AND a.id = i.id
             AND (i.incomplete IS NOT 0
                 OR EXISTS (SELECT 1 FROM corrections AS c WHERE c.application_id = i.id)
                 OR EXISTS (SELECT 1 FROM dated_entries AS e LEFT JOIN dated_entries AS c ON c.seq = e.corrects
                     WHERE e.property_id = i.property_id AND e.id <> e.property_id
                       AND (json_type(e.facts, '$.rule_sets') IS NOT NULL OR json_type(e.facts, '$.kind') IS NOT NULL
                           OR json_type(e.facts, '$.worked_by') IS NOT NULL)
                       AND min(e.since, coalesce(c.since, e.since)) <= i.applied_on AND e.entered_at >= i.received_at))
             AND (SELECT sum(l.product) FROM application_lines AS l WHERE l.application_id = i.id) > 0"#,
        ids
    )
    .fetch_all(pool)
    .await?;
    Ok(shown(rows)?.into_iter().map(|row| row.item).collect())
}
