//! With what people are let in, held against what the journal says of phones and codes, and the security log of sign-ins
//! and passes.

use sqlx::SqliteConnection;

use crate::store::{
    sessions::{CONFIRMED_MS, PHONE, SESSION},
    settings::SUBJECT,
};

/// What does not follow. Sign-ins and ends from before the security log's first line are not asked: it is kept for a time. Which of two
/// came first is told by the log's numbers, because a clock may be set back.
pub async fn strange_doors(connection: &mut SqliteConnection) -> Result<Vec<String>, sqlx::Error> {
    let settings = SUBJECT.to_string();
    let (session, phone) = (SESSION.as_secs() * 1000, PHONE.as_secs() * 1000);
    sqlx::query_scalar!(
        r#"WITH log AS (SELECT coalesce((SELECT e.at FROM security_events AS e ORDER BY e.seq LIMIT 1), 9223372036854775807) AS since),
           -- The fewest minutes after which a session ended that nobody used, by any settings there ever were.
           idle AS (SELECT min(240, coalesce((SELECT min(json_extract(j.payload, '$.idle_minutes')) FROM journal AS j
                        WHERE j.subject_id = $4 AND j.act = 'settings.changed'), 240)) * 60000 AS least)
           SELECT 'the token of a phone of person ' || t.person_id || ' is not as it was given to the phone' AS "fault!: String"
           FROM tokens AS t LEFT JOIN devices AS d ON d.id = t.device_id
           WHERE t.device_id IS NOT NULL
             AND (d.person_id IS NOT t.person_id OR d.enrolled_at IS NOT t.created_at OR t.name IS NOT NULL AND d.name IS NOT t.name
                  OR t.expires_at > t.created_at + $2 OR d.revoked_at IS NOT NULL AND t.ended_at IS NULL
                  OR EXISTS (SELECT 1 FROM tokens AS o WHERE o.device_id = t.device_id AND o.hash <> t.hash))
           UNION ALL
           SELECT 'the security log tells of no such sign-in of person ' || t.person_id || ' as is stored'
           FROM tokens AS t, log
           WHERE t.device_id IS NULL AND t.created_at >= log.since
             AND (t.expires_at > t.created_at + $1
                  OR NOT EXISTS (SELECT 1 FROM security_events AS e WHERE e.at = t.created_at AND e.kind = 'signed_in'
                                 AND e.person_id = t.person_id AND (t.name IS NULL OR e.detail IS t.name)))
           UNION ALL
           SELECT 'the security log does not tell of the end of a sign-in of person ' || t.person_id
           FROM tokens AS t, log, idle
           WHERE t.ended_at >= log.since AND t.ended_at < t.expires_at
             AND (t.device_id IS NOT NULL OR t.ended_at - coalesce(t.last_used_at, t.created_at) < idle.least)
             AND NOT EXISTS (SELECT 1 FROM security_events AS e WHERE e.at = t.ended_at AND e.person_id = t.person_id
                 AND e.kind IN ('signed_out', 'signed_out_everywhere', 'phone_signed_out', 'password_changed', 'password_reset',
                                'role_changed', 'access_ended'))
           UNION ALL
           SELECT 'a sign-in of person ' || t.person_id || ' goes on that was ended, by the security log'
           FROM tokens AS t JOIN security_events AS b ON b.at = t.created_at AND b.person_id = t.person_id
           WHERE t.ended_at IS NULL AND b.kind IN ('signed_in', 'phone_connected')
             AND EXISTS (SELECT 1 FROM security_events AS e WHERE e.person_id = t.person_id AND e.at > t.created_at AND e.seq > b.seq
                 AND e.kind IN ('signed_out_everywhere', 'password_changed', 'password_reset', 'role_changed', 'access_ended'))
           UNION ALL
           SELECT 'the security log does not tell that person ' || t.person_id || ' showed the password again'
           FROM tokens AS t, log
           WHERE t.confirmed_until - $3 >= log.since
             AND NOT EXISTS (SELECT 1 FROM security_events AS e WHERE e.at = t.confirmed_until - $3 AND e.person_id = t.person_id
                 AND e.kind = 'password_confirmed')
           UNION ALL
           SELECT 'the journal tells of no such code for a phone of person ' || c.person_id
           FROM enrolment_codes AS c, log
           WHERE NOT EXISTS (SELECT 1 FROM journal AS j WHERE j.subject_id = c.person_id AND j.act = 'enrolment_code.made'
                   AND j.written_at = c.created_at
                   AND c.expires_at = CAST(round(unixepoch(json_extract(j.payload, '$.expires_at'), 'subsec') * 1000) AS INTEGER))
              OR c.used_at >= log.since
                 AND NOT EXISTS (SELECT 1 FROM security_events AS e WHERE e.at = c.used_at AND e.person_id = c.person_id)
           UNION ALL
           SELECT 'the journal tells of no such code for a new password of person ' || c.person_id
           FROM password_codes AS c, log
           WHERE NOT EXISTS (SELECT 1 FROM journal AS j WHERE j.subject_id = c.person_id AND j.act = 'password_code.made'
                   AND j.written_at = c.created_at
                   AND c.expires_at = CAST(round(unixepoch(json_extract(j.payload, '$.expires_at'), 'subsec') * 1000) AS INTEGER))
              OR c.used_at >= log.since
                 AND NOT EXISTS (SELECT 1 FROM security_events AS e WHERE e.at = c.used_at AND e.person_id = c.person_id)"#,
        session,
        phone,
        CONFIRMED_MS,
        settings
    )
    .fetch_all(connection)
    .await
}

/// Browsers into which the code of a pass was typed, held against the security log likewise.
pub async fn strange_browsers(connection: &mut SqliteConnection) -> Result<Vec<String>, sqlx::Error> {
    sqlx::query_scalar!(
        r#"WITH log AS (SELECT coalesce((SELECT e.at FROM security_events AS e ORDER BY e.seq LIMIT 1), 9223372036854775807) AS since)
           SELECT 'the security log tells of no such browser with the code of pass ' || p.pass_id || ' as is stored' AS "fault!: String"
           FROM pass_sessions AS p, log
           WHERE p.created_at >= log.since
               AND NOT EXISTS (SELECT 1 FROM security_events AS e WHERE e.at = p.created_at AND e.kind = 'pass_opened' AND e.pass_id = p.pass_id)
             OR p.last_used_at >= log.since
               AND NOT EXISTS (SELECT 1 FROM security_events AS e WHERE e.at = p.last_used_at AND e.kind IN ('pass_opened', 'pass_read')
                   AND e.pass_id = p.pass_id)"#
    )
    .fetch_all(connection)
    .await
}
