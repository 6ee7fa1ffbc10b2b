//! What weather services said: bodies once, every fetch, and which of them a decision was made with.

use std::collections::HashMap;

use domain::{
    ids::ApplicationId,
    time::{Day, Instant},
    weather::Weather,
};
use serde::Serialize;
use sqlx::{SqliteConnection, SqlitePool};
use utoipa::ToSchema;

use super::{id_list, packing, read, read_instant, read_json};

/// A question to a service and how it went, to be kept.
#[derive(Debug)]
pub struct Fetch {
    pub provider: &'static str,
    pub path: String,
    pub asked_at: Instant,
    pub outcome: &'static str,
    pub http_status: Option<u16>,
    pub attempts: u32,
    pub etag: Option<String>,
    pub last_modified: Option<String>,
    /// The hash of the body; of a new body its type and compressed bytes too.
    pub body_sha256: Option<String>,
    pub new_body: Option<(String, Vec<u8>)>,
}

/// The last usable answer at a path.
#[derive(Debug)]
pub struct Kept {
    pub seq: i64,
    pub asked_at: Instant,
    pub etag: Option<String>,
    pub last_modified: Option<String>,
    pub sha256: String,
    /// Compressed.
    pub bytes: Vec<u8>,
    /// A later question, before the moment asked about, failed.
    pub asked_again: bool,
}

/// Keeps a fetch, and its body if it is new; answers its number.
pub async fn keep(connection: &mut SqliteConnection, fetch: Fetch) -> Result<i64, sqlx::Error> {
    if let (Some(sha256), Some((content_type, bytes))) = (&fetch.body_sha256, &fetch.new_body) {
        sqlx::query!(
            "INSERT INTO weather_bodies (sha256, content_type, bytes) VALUES ($1, $2, $3) ON CONFLICT (sha256) DO NOTHING",
            sha256,
            content_type,
            bytes
        )
        .execute(&mut *connection)
        .await?;
    }
    let (at, status, attempts) = (fetch.asked_at.millis(), fetch.http_status.map(i64::from), i64::from(fetch.attempts));
    let done = sqlx::query!(
        "INSERT INTO weather_fetches (provider, path, asked_at, outcome, http_status, attempts, etag, last_modified, body_sha256)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
        fetch.provider,
        fetch.path,
        at,
        fetch.outcome,
        status,
        attempts,
        fetch.etag,
        fetch.last_modified,
        fetch.body_sha256
    )
    .execute(connection)
    .await?;
    Ok(done.last_insert_rowid())
}

/// The last usable answer that was there at a moment.
pub async fn latest(pool: &SqlitePool, provider: &str, path: &str, at: Instant) -> Result<Option<Kept>, sqlx::Error> {
    let at = at.millis();
    let row = sqlx::query!(
        r#"SELECT f.seq AS "seq!", f.asked_at AS "asked_at!", f.etag, f.last_modified, b.sha256 AS "sha256!", b.bytes AS "bytes!",
                  EXISTS (SELECT 1 FROM weather_fetches AS n WHERE n.path = $1 AND n.provider = $2 AND n.body_sha256 IS NULL
                          AND n.asked_at > f.asked_at AND n.asked_at <= $3) AS "asked_again!: bool"
           FROM weather_fetches AS f JOIN weather_bodies AS b ON b.sha256 = f.body_sha256
           WHERE f.path = $1 AND f.provider = $2 AND f.asked_at <= $3 AND f.body_sha256 IS NOT NULL
           ORDER BY f.asked_at DESC, f.seq DESC LIMIT 1"#,
        path,
        provider,
        at
    )
    .fetch_optional(pool)
    .await?;
    row.map(|row| {
        Ok(Kept {
            seq: row.seq,
            asked_at: read_instant(row.asked_at)?,
            etag: row.etag,
            last_modified: row.last_modified,
            sha256: row.sha256,
            bytes: row.bytes,
            asked_again: row.asked_again,
        })
    })
    .transpose()
}

/// Deletes what was fetched before a moment and nothing refers to.
pub async fn purge(connection: &mut SqliteConnection, before: Instant) -> Result<u64, sqlx::Error> {
    let before = before.millis();
    let fetches = sqlx::query!(
        "DELETE FROM weather_fetches AS f
         WHERE f.asked_at < $1
           AND NOT EXISTS (SELECT 1 FROM weather_evidence AS e WHERE e.fetch = f.seq)
           AND NOT EXISTS (SELECT 1 FROM weather_after AS a WHERE a.fetch = f.seq)",
        before
    )
    .execute(&mut *connection)
    .await?;
    let bodies = sqlx::query!(
        "DELETE FROM weather_bodies AS b WHERE NOT EXISTS (SELECT 1 FROM weather_fetches AS f WHERE f.body_sha256 = b.sha256)"
    )
    .execute(connection)
    .await?;
    Ok(fetches.rows_affected() + bodies.rows_affected())
}

/// One answer of a service that a decision was made with.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct EvidenceFetch {
    /// Which service.
    #[schema(max_length = 40, example = "us_national_weather_service")]
    pub provider: String,
    /// What it was asked.
    #[schema(max_length = 400, example = "/gridpoints/MLB/26,68")]
    pub path: String,
    pub asked_at: Instant,
    /// `ok`, or `not_modified` when the service stood by what it had said before.
    #[schema(max_length = 20, example = "ok")]
    pub outcome: String,
    /// SHA-256 of the answer, in hexadecimal. The answer itself is kept in the book under it.
    #[schema(max_length = 64)]
    pub sha256: String,
}

/// What was known of the weather when a decision was made: the service's part, as the rules were asked.
#[derive(Debug)]
pub struct Evidence {
    pub decided_at: Instant,
    pub facts: Weather,
    pub fetches: Vec<(i64, EvidenceFetch)>,
}

/// The evidence of a decision, by its subject.
pub async fn evidence(pool: &SqlitePool, subject: &str) -> Result<Option<Evidence>, sqlx::Error> {
    let row = sqlx::query!(
        r#"SELECT decided_at AS "decided_at!", facts AS "facts!" FROM weather_facts WHERE subject = $1"#,
        subject
    )
    .fetch_optional(pool)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let packed = if row.facts.is_empty() { packing::of_decision(pool, subject).await? } else { None };
    let facts = packed.and_then(|texts| texts.weather).unwrap_or(row.facts);
    let fetches = sqlx::query!(
        r#"SELECT f.seq AS "seq!", f.provider AS "provider!", f.path AS "path!", f.asked_at AS "asked_at!",
                  f.outcome AS "outcome!", f.body_sha256 AS "sha256!"
           FROM weather_evidence AS e JOIN weather_fetches AS f ON f.seq = e.fetch WHERE e.subject = $1 ORDER BY f.seq"#,
        subject
    )
    .fetch_all(pool)
    .await?;
    let fetch = |row: (i64, String, String, i64, String, String)| {
        let (seq, provider, path, asked_at, outcome, sha256) = row;
        Ok((seq, EvidenceFetch { provider, path, asked_at: read_instant(asked_at)?, outcome, sha256 }))
    };
    Ok(Some(Evidence {
        decided_at: read_instant(row.decided_at)?,
        facts: read_json(&facts, "weather facts")?,
        fetches: fetches
            .into_iter()
            .map(|row| fetch((row.seq, row.provider, row.path, row.asked_at, row.outcome, row.sha256)))
            .collect::<Result<_, sqlx::Error>>()?,
    }))
}

/// What services had said when some records were decided, by the records' ids.
pub async fn facts(
    connection: &mut SqliteConnection,
    applications: &[ApplicationId],
) -> Result<HashMap<ApplicationId, Weather>, sqlx::Error> {
    let wanted = id_list(applications)?;
    let rows = sqlx::query!(
        r#"SELECT f.subject AS "subject!", f.facts AS "facts!" FROM json_each($1) AS w CROSS JOIN weather_facts AS f
           WHERE f.subject = 'application/' || w.value"#,
        wanted
    )
    .fetch_all(&mut *connection)
    .await?;
    let mut found = HashMap::with_capacity(rows.len());
    for row in rows {
        let packed =
            if row.facts.is_empty() { packing::of_decision(&mut *connection, &row.subject).await? } else { None };
        let facts = packed.and_then(|texts| texts.weather).unwrap_or(row.facts);
        let id = row.subject.trim_start_matches("application/");
        found.insert(read(id, "application id")?, read_json(&facts, "weather facts")?);
    }
    Ok(found)
}

/// An answer behind a record, as it came over the wire.
#[derive(Debug)]
pub struct RawAnswer {
    pub fetch: EvidenceFetch,
    pub content_type: String,
    /// Compressed.
    pub bytes: Vec<u8>,
}

/// The answer with a hash that is part of a decision's evidence, as it was first fetched for it.
pub async fn raw_answer(pool: &SqlitePool, subject: &str, sha256: &str) -> Result<Option<RawAnswer>, sqlx::Error> {
    let row = sqlx::query!(
        r#"SELECT f.provider AS "provider!", f.path AS "path!", f.asked_at AS "asked_at!", f.outcome AS "outcome!",
                  b.content_type AS "content_type!", b.bytes AS "bytes!"
           FROM weather_evidence AS e JOIN weather_fetches AS f ON f.seq = e.fetch
           JOIN weather_bodies AS b ON b.sha256 = f.body_sha256
           WHERE e.subject = $1 AND b.sha256 = $2 ORDER BY f.seq LIMIT 1"#,
        subject,
        sha256
    )
    .fetch_optional(pool)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let fetch = EvidenceFetch {
        provider: row.provider,
        path: row.path,
        asked_at: read_instant(row.asked_at)?,
        outcome: row.outcome,
        sha256: sha256.to_owned(),
    };
    Ok(Some(RawAnswer { fetch, content_type: row.content_type, bytes: row.bytes }))
}

/// When a service last gave a usable answer of each part, since a moment: service, part, moment.
pub async fn newest(pool: &SqlitePool, since: Instant) -> Result<Vec<(String, String, Instant)>, sqlx::Error> {
    let since = since.millis();
    let rows = sqlx::query!(
        r#"SELECT f.provider AS "provider!: String",
                  CASE WHEN f.path LIKE '/alerts/%' THEN 'alerts' WHEN f.path LIKE '/stations/%' THEN 'observation'
                       WHEN f.path LIKE '/points/%' OR f.path LIKE '%/stations?%' THEN 'place' ELSE 'forecast' END AS "part!: String",
                  max(f.asked_at) AS "asked_at!: i64"
           FROM weather_fetches AS f WHERE f.asked_at >= $1 AND f.body_sha256 IS NOT NULL GROUP BY 1, 2 ORDER BY 1, 2"#,
        since
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(|row| Ok((row.provider, row.part, read_instant(row.asked_at)?))).collect()
}

/// Rain that fell in the 24 hours after an application began.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct RainAfter {
    /// Which service.
    #[schema(max_length = 40, example = "us_national_weather_service")]
    pub provider: String,
    /// `observed` by a station's gauge, or `modelled` without one.
    #[schema(max_length = 20, example = "observed")]
    pub basis: String,
    /// The station, if it was one.
    #[schema(max_length = 20)]
    pub station: Option<String>,
    pub rain_in: domain::quantity::RainDepth,
    /// The most that fell in one hour.
    pub wettest_hour_in: domain::quantity::RainDepth,
    /// How much of the 24 hours has a measurement behind it. What is missing may have been rain.
    pub coverage_percent: domain::quantity::Percent,
    /// More than 0.3 in within an hour (what the American Meteorological Society calls heavy), or 2 in within the day.
    pub heavy: bool,
    pub noted_at: Instant,
}

/// What became known of the rain after a record.
pub async fn after(pool: &SqlitePool, application: &str) -> Result<Vec<RainAfter>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT provider AS "provider!", basis AS "basis!", station, rain AS "rain!", wettest_hour AS "wettest_hour!",
                  covered_s AS "covered_s!", heavy AS "heavy!: bool", noted_at AS "noted_at!"
           FROM weather_after WHERE application_id = $1 ORDER BY provider"#,
        application
    )
    .fetch_all(pool)
    .await?;
    let depth = domain::quantity::RainDepth::from_raw;
    rows.into_iter()
        .map(|row| {
            Ok(RainAfter {
                provider: row.provider,
                basis: row.basis,
                station: row.station,
                rain_in: depth(row.rain),
                wettest_hour_in: depth(row.wettest_hour),
                coverage_percent: domain::quantity::Percent::from_raw(row.covered_s * 10_000 / 86_400),
                heavy: row.heavy,
                noted_at: read_instant(row.noted_at)?,
            })
        })
        .collect()
}

/// Rain after a record, to be kept.
#[derive(Debug, Serialize)]
pub struct AfterRow {
    pub application_id: domain::ids::ApplicationId,
    pub provider: &'static str,
    pub basis: &'static str,
    pub station: Option<String>,
    pub rain: i64,
    pub wettest_hour: i64,
    pub covered_s: i64,
    pub heavy: bool,
    pub fetch: i64,
}

/// Keeps rain after a record; false if this service's word is kept already.
pub async fn keep_after(connection: &mut SqliteConnection, row: &AfterRow, at: Instant) -> Result<bool, sqlx::Error> {
    let (application, at) = (row.application_id.to_string(), at.millis());
    let done = sqlx::query!(
        "INSERT INTO weather_after (application_id, provider, basis, station, rain, wettest_hour, covered_s, heavy, fetch, noted_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10) ON CONFLICT (application_id, provider) DO NOTHING",
        application,
        row.provider,
        row.basis,
        row.station,
        row.rain,
        row.wettest_hour,
        row.covered_s,
        row.heavy,
        row.fetch,
        at
    )
    .execute(connection)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// A place on a day, or after a record.
#[derive(Debug, Clone, Copy)]
pub struct At<T> {
    pub of: T,
    pub latitude: f64,
    pub longitude: f64,
}

/// Places of properties with a planned visit on one of two days.
pub async fn planned_places(pool: &SqlitePool, days: [Day; 2]) -> Result<Vec<At<()>>, sqlx::Error> {
    let [first, second] = days.map(|day| day.to_string());
    let rows = sqlx::query!(
        r#"SELECT DISTINCT p.latitude AS "latitude!", p.longitude AS "longitude!"
           FROM visits AS v JOIN properties AS p ON p.id = v.property_id
           WHERE v.planned_on IN ($1, $2) AND v.status = 'planned' AND p.latitude IS NOT NULL AND p.longitude IS NOT NULL
           ORDER BY 1, 2 LIMIT 2000"#,
        first,
        second
    )
    .fetch_all(pool)
    .await?;
    Ok(rows.into_iter().map(|row| At { of: (), latitude: row.latitude, longitude: row.longitude }).collect())
}

/// Applications of some days, with their place and the beginning of the work, after which nothing was noted by a service yet; the
/// newest first.
pub async fn missing_rain_followup(
    pool: &SqlitePool,
    provider: &str,
    from: Day,
) -> Result<Vec<At<(domain::ids::ApplicationId, Instant)>>, sqlx::Error> {
    let from = from.to_string();
    let rows = sqlx::query!(
        r#"SELECT a.id AS "id!", a.content ->> 'started_at' AS "started_at!: String", p.latitude AS "latitude!",
                  p.longitude AS "longitude!"
           FROM applications AS a JOIN properties AS p ON p.id = a.property_id
           WHERE a.applied_on >= $1 AND p.latitude IS NOT NULL AND p.longitude IS NOT NULL
             AND NOT EXISTS (SELECT 1 FROM weather_after AS w WHERE w.application_id = a.id AND w.provider = $2)
           ORDER BY a.applied_on DESC, a.seq DESC LIMIT 500"#,
        from,
        provider
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter()
        .map(|row| {
            let started = Instant::parse(&row.started_at).map_err(|error| super::bad_row("started_at")(&error))?;
            let of = (read(&row.id, "application id")?, started);
            Ok(At { of, latitude: row.latitude, longitude: row.longitude })
        })
        .collect()
}
