//! Columns that no answer shows and no entry names as such, held against what they follow from.

use sqlx::SqliteConnection;

/// What does not follow.
pub async fn misfits(connection: &mut SqliteConnection) -> Result<Vec<String>, sqlx::Error> {
    sqlx::query_scalar!(
        r#"SELECT 'whether measurement ' || m.id || ' waits for the office is not what the journal says' AS "fault!: String"
           FROM measurements AS m JOIN journal AS j ON j.subject_id = m.id AND j.act = 'measurement.added'
           WHERE m.waits IS NOT coalesce(json_extract(j.payload, '$.waits_for_office'), m.waits)
              OR m.to_confirm IS NOT coalesce(json_extract(j.payload, '$.to_confirm'), m.to_confirm)
           UNION ALL
           SELECT 'a line of record ' || l.record_id || ' lies in parts of no division' FROM application_lines AS l
           WHERE (l.division IS NULL) <> (l.parts IS NULL)
           UNION ALL
           SELECT 'the room that ' || l.clearance_id || ' holds lies in parts of no division' FROM clearance_lines AS l
           WHERE (l.division IS NULL) <> (l.parts IS NULL)
           UNION ALL
           SELECT 'correction ' || c.id || ' stands in another order than the journal has it'
           FROM corrections AS c JOIN journal AS j ON j.subject_id = c.id AND j.act = 'application.corrected'
           WHERE EXISTS (SELECT 1 FROM corrections AS o JOIN journal AS k ON k.subject_id = o.id AND k.act = 'application.corrected'
                         WHERE o.application_id = c.application_id AND o.seq < c.seq AND k.seq > j.seq)"#
    )
    .fetch_all(connection)
    .await
}
