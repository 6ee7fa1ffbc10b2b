//! Records that may lack something: those that did when they were written, those that nobody asked, and those of which another
//! answer may have become true since: for their day rule sets, the kind of ground or who works there were entered or corrected
//! later, another version of a rule set came to count, or they were corrected themselves. The last are marked when it happens, so that
//! nobody who asks for the list has to look for them in a book of ten years.

use domain::{
    ids::{ApplicationId, PropertyId},
    time::Day,
};
use sqlx::{SqliteConnection, SqlitePool};

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
                 UNION ALL
                 SELECT n.seq, n.id FROM (
                    SELECT i.seq, i.id FROM asked_again AS g CROSS JOIN applications AS i
                    WHERE g.application_seq < $1 AND i.seq = g.application_seq AND i.incomplete = 0
                      AND (SELECT sum(l.product) FROM application_lines AS l WHERE l.application_id = i.id) > 0
                    ORDER BY g.application_seq DESC LIMIT $2) AS n
                 ORDER BY 1 DESC LIMIT $2) AS w
           CROSS JOIN application_reads AS a ON a.id = w.id
           ORDER BY w.seq DESC"#,
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
             AND (i.incomplete IS NOT 0 OR EXISTS (SELECT 1 FROM asked_again AS g WHERE g.application_seq = i.seq))
             AND (SELECT sum(l.product) FROM application_lines AS l WHERE l.application_id = i.id) > 0"#,
        ids
    )
    .fetch_all(pool)
    .await?;
    Ok(shown(rows)?.into_iter().map(|row| row.item).collect())
}

/// Marks the records of a property from a day on: what binds there was entered or corrected. An entry that was put on a later day than
/// it first had frees days, too, so the day is the earlier of both.
pub async fn ask_again(
    connection: &mut SqliteConnection,
    property: PropertyId,
    since: &str,
) -> Result<(), sqlx::Error> {
    let property = property.to_string();
    sqlx::query!(
        "INSERT INTO asked_again (application_seq)
         SELECT i.seq FROM applications AS i INDEXED BY applications_by_property
         WHERE i.property_id = $1 AND i.applied_on >= $2 AND i.incomplete = 0
         ON CONFLICT (application_seq) DO NOTHING",
        property,
        since
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Marks the records from a day on of every property that ever had one of these lists of rule sets: another version of one of them
/// counts.
pub async fn ask_again_under(
    connection: &mut SqliteConnection,
    lists: &[Vec<String>],
    since: Day,
) -> Result<(), sqlx::Error> {
    let encode = |error: serde_json::Error| sqlx::Error::Encode(error.into());
    let lists: Vec<String> = lists.iter().map(serde_json::to_string).collect::<Result<_, _>>().map_err(encode)?;
    let (lists, since) = (serde_json::to_string(&lists).map_err(encode)?, since.to_string());
    sqlx::query!(
        "INSERT INTO asked_again (application_seq)
         SELECT i.seq FROM (SELECT DISTINCT e.property_id FROM dated_entries AS e
                            WHERE e.property_id IS NOT NULL AND e.facts ->> 'rule_sets' IN (SELECT value FROM json_each($1))) AS p
         CROSS JOIN applications AS i INDEXED BY applications_by_property
         WHERE i.property_id = p.property_id AND i.applied_on >= $2 AND i.incomplete = 0
         ON CONFLICT (application_seq) DO NOTHING",
        lists,
        since
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// How many records are not marked of which entries or corrections say that they may lack something.
pub async fn unmarked(connection: &mut SqliteConnection) -> Result<i64, sqlx::Error> {
    let rows = sqlx::query_scalar!(
        r#"SELECT count(*) AS "rows!: i64" FROM (
               SELECT i.seq FROM dated_entries AS e LEFT JOIN dated_entries AS c ON c.seq = e.corrects
               CROSS JOIN applications AS i INDEXED BY applications_by_property
               WHERE e.property_id IS NOT NULL AND e.id <> e.property_id
                 AND (json_type(e.facts, '$.rule_sets') IS NOT NULL OR json_type(e.facts, '$.kind') IS NOT NULL
                     OR json_type(e.facts, '$.worked_by') IS NOT NULL)
                 AND i.property_id = e.property_id AND i.applied_on >= min(e.since, coalesce(c.since, e.since))
                 AND i.received_at < e.entered_at AND i.incomplete = 0
               UNION
               SELECT i.seq FROM corrections AS c CROSS JOIN applications AS i WHERE i.id = c.application_id AND i.incomplete = 0) AS w
           WHERE NOT EXISTS (SELECT 1 FROM asked_again AS g WHERE g.application_seq = w.seq)"#
    );
    rows.fetch_one(connection).await
}
