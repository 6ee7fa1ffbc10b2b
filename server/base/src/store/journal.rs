//! The journal, and the answers that are kept for repeated requests.

use domain::{actor::Actor, journal, time::Instant};
use serde::Serialize;
use sqlx::{SqliteConnection, SqlitePool};
use utoipa::ToSchema;
use uuid::Uuid;

use super::packing::Unpacker;
use crate::paging::{PageRequest, Sequenced};

/// Who does what to which thing, for the journal.
#[derive(Debug, Clone, Copy)]
pub struct JournalContext {
    /// Nobody at the set-up, when there are no people yet.
    pub actor: Option<Actor>,
    pub at: Instant,
    pub act: &'static str,
    pub subject: Uuid,
}

/// Repeated requests are recognised for this long: a phone may lie in a drawer for a season's break.
const KEPT_MS: i64 = 90 * 24 * 3600 * 1000;

/// One entry of the journal.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct JournalEntry {
    #[schema(minimum = 1, maximum = 9_007_199_254_740_991_i64)]
    pub seq: i64,
    pub written_at: Instant,
    /// Who did it; null at the set-up, and for what the server itself found at its start.
    #[schema(max_length = 36)]
    pub person_id: Option<String>,
    #[schema(max_length = 36)]
    pub device_id: Option<String>,
    #[schema(max_length = 60, example = "application.recorded")]
    pub act: String,
    #[schema(max_length = 36)]
    pub subject_id: String,
    /// What was written, byte for byte as it is hashed.
    #[schema(max_length = 1_000_000)]
    pub payload: String,
    #[schema(max_length = 64)]
    pub previous_hash: String,
    #[schema(max_length = 64)]
    pub hash: String,
}

/// Adds an entry at the head of the chain, in the caller's transaction.
pub async fn append(connection: &mut SqliteConnection, deed: JournalContext, payload: &str) -> Result<(), sqlx::Error> {
    let head = sqlx::query!(r#"SELECT seq AS "seq!", hash AS "hash!" FROM journal ORDER BY seq DESC LIMIT 1"#)
        .fetch_optional(&mut *connection)
        .await?;
    let (seq, previous) = head.map_or((1, journal::BEGINNING.to_owned()), |head| (head.seq + 1, head.hash));
    let person = deed.actor.map(|actor| actor.person.to_string());
    let device = deed.actor.and_then(|actor| actor.device).map(|device| device.to_string());
    let subject = deed.subject.to_string();
    let written_at = deed.at.millis();
    let entry = journal::Entry {
        seq,
        written_at_ms: written_at,
        person_id: person.as_deref(),
        device_id: device.as_deref(),
        act: deed.act,
        subject_id: &subject,
        payload,
    };
    let hash = entry.hash(&previous);
    sqlx::query!(
        "INSERT INTO journal (seq, written_at, person_id, device_id, act, subject_id, payload, previous_hash, hash)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
        seq,
        written_at,
        person,
        device,
        deed.act,
        subject,
        payload,
        previous,
        hash
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// The newest entry's number, 0 before the first.
pub async fn head(connection: &mut SqliteConnection) -> Result<i64, sqlx::Error> {
    let newest = sqlx::query_scalar!(r#"SELECT seq AS "seq!" FROM journal ORDER BY seq DESC LIMIT 1"#);
    Ok(newest.fetch_optional(connection).await?.unwrap_or(0))
}

/// A page of the journal, oldest first.
pub async fn list(
    pool: &SqlitePool,
    span: PageRequest,
    subject: Option<String>,
) -> Result<Vec<Sequenced<JournalEntry>>, sqlx::Error> {
    let mut connection = pool.acquire().await?;
    let rows = sqlx::query!(
        r#"SELECT seq AS "seq!", written_at, person_id, device_id, act, subject_id, payload, previous_hash, hash, pattern, packed
           FROM journal
           WHERE seq IN (
               SELECT * FROM (SELECT j.seq FROM journal AS j WHERE j.subject_id = $2 AND j.seq > $1 ORDER BY j.seq LIMIT $3)
               UNION ALL
               SELECT * FROM (SELECT j.seq FROM journal AS j WHERE $2 IS NULL AND j.seq > $1 ORDER BY j.seq LIMIT $3))
           ORDER BY seq"#,
        span.after,
        subject,
        span.take
    )
    .fetch_all(&mut *connection)
    .await?;
    let mut unpacker = Unpacker::default();
    let mut entries = Vec::with_capacity(rows.len());
    for row in rows {
        let payload = match (row.pattern, row.packed) {
            // What cannot be unpacked has been changed: it is shown empty, and its hash tells.
            (Some(pattern), Some(packed)) => match unpacker.unpack(&mut connection, pattern, &packed).await {
                Ok(texts) => texts.payload,
                Err(error @ sqlx::Error::Decode(_)) => {
                    tracing::error!(%error, seq = row.seq, "an entry of the journal cannot be unpacked");
                    String::new()
                }
                Err(error) => return Err(error),
            },
            _ => row.payload,
        };
        let item = JournalEntry {
            seq: row.seq,
            written_at: super::read_instant(row.written_at)?,
            person_id: row.person_id,
            device_id: row.device_id,
            act: row.act,
            subject_id: row.subject_id,
            payload,
            previous_hash: row.previous_hash,
            hash: row.hash,
        };
        entries.push(Sequenced { seq: row.seq, item });
    }
    Ok(entries)
}

/// How many entries there are.
pub async fn length(pool: &SqlitePool) -> Result<i64, sqlx::Error> {
    let row = sqlx::query!(r#"SELECT coalesce(max(seq), 0) AS "length!: i64" FROM journal"#).fetch_one(pool).await?;
    Ok(row.length)
}

/// An answer to keep.
#[derive(Debug)]
pub struct StoredResponse<'a> {
    pub person: String,
    pub route: &'static str,
    pub key: &'a str,
    pub fingerprint: &'a str,
    pub body: String,
    pub at: Instant,
}

/// The fingerprint and the answer of an earlier request with this key.
pub async fn remembered(
    connection: &mut SqliteConnection,
    person: &str,
    route: &str,
    key: &str,
) -> Result<Option<(String, String)>, sqlx::Error> {
    let row = sqlx::query!(
        "SELECT fingerprint, body FROM idempotency_keys WHERE person_id = $1 AND route = $2 AND key = $3",
        person,
        route,
        key
    )
    .fetch_optional(connection)
    .await?;
    Ok(row.map(|row| (row.fingerprint, row.body)))
}

/// The answer to the same request of a person, whatever its key, if it was written after a moment.
pub async fn written_since(
    connection: &mut SqliteConnection,
    person: &str,
    route: &str,
    fingerprint: &str,
    since: i64,
) -> Result<Option<String>, sqlx::Error> {
    let row = sqlx::query!(
        // The plus signs leave the planner the age alone, which has the fewest rows: those of the last minute.
        "SELECT body FROM idempotency_keys WHERE +person_id = $1 AND +route = $2 AND fingerprint = $3 AND stored_at > $4
         ORDER BY stored_at DESC LIMIT 1",
        person,
        route,
        fingerprint,
        since
    )
    .fetch_optional(connection)
    .await?;
    Ok(row.map(|row| row.body))
}

/// Keeps an answer, and forgets those that are old.
pub async fn remember(connection: &mut SqliteConnection, answer: StoredResponse<'_>) -> Result<(), sqlx::Error> {
    let now = answer.at.millis();
    let oldest = now - KEPT_MS;
    sqlx::query!("DELETE FROM idempotency_keys WHERE stored_at < $1", oldest).execute(&mut *connection).await?;
    sqlx::query!(
        "INSERT INTO idempotency_keys (person_id, route, key, fingerprint, status, body, stored_at) VALUES ($1, $2, $3, $4, 201, $5, $6)",
        answer.person,
        answer.route,
        answer.key,
        answer.fingerprint,
        answer.body,
        now
    )
    .execute(connection)
    .await?;
    Ok(())
}
