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
                         WHERE o.application_id = c.application_id AND o.seq < c.seq AND k.seq > j.seq)
           UNION ALL
           -- Doubts have entries of their own since the first of these; one from before stands by what was learned in that moment.
           SELECT 'the journal tells of no such doubt about application ' || d.application_id || ' as is stored'
           FROM doubted_records AS d
           WHERE NOT EXISTS (SELECT 1 FROM journal AS j WHERE j.subject_id = d.id AND j.act = 'doubt.noted')
             AND NOT EXISTS (SELECT 1 FROM journal AS j WHERE j.subject_id = d.cause_id AND j.written_at = d.noted_at
                 AND substr(j.act, 1, length(d.cause) + 1) = d.cause || '.'
                 AND j.seq < coalesce((SELECT min(k.seq) FROM journal AS k WHERE k.act = 'doubt.noted'), 9223372036854775807))
           UNION ALL
           SELECT 'doubt ' || d.id || ' stands in another order than the journal has it'
           FROM doubted_records AS d JOIN journal AS j ON j.subject_id = d.id AND j.act = 'doubt.noted'
           WHERE EXISTS (SELECT 1 FROM doubted_records AS o JOIN journal AS k ON k.subject_id = o.id AND k.act = 'doubt.noted'
                         WHERE o.cause_id = d.cause_id AND o.seq < d.seq AND k.seq > j.seq)"#
    )
    .fetch_all(connection)
    .await
}
