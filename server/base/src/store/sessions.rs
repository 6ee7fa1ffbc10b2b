//! With what people are let in: sessions and the tokens of phones.

use domain::{
    ids::{DeviceId, PersonId},
    time::Instant,
};
use jiff::SignedDuration;
use serde::Serialize;
use sqlx::{SqliteConnection, SqlitePool};
use utoipa::ToSchema;

use crate::store::{read, read_instant};

/// After how long a sign-in with a password ends in any case: a long working day.
pub const SESSION: SignedDuration = SignedDuration::from_hours(12);
/// After how long a phone has to be connected anew: a season and a half.
pub const PHONE: SignedDuration = SignedDuration::from_hours(180 * 24);

/// With what somebody is signed in somewhere.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct OwnSession {
    /// The phone or script, if it was connected with a code; null for a sign-in with a password.
    pub device_id: Option<DeviceId>,
    /// What the phone is called, or the browser as it tells of itself.
    #[schema(max_length = 120)]
    pub name: String,
    pub signed_in_at: Instant,
    /// To within a minute.
    pub last_used_at: Instant,
    /// When it ends whatever happens.
    pub expires_at: Instant,
    /// The one that asks.
    pub current: bool,
}

/// A new token, of which only the hash is kept.
#[derive(Debug)]
pub struct NewToken<'a> {
    pub hash: &'a str,
    pub person: PersonId,
    pub device: Option<DeviceId>,
    pub name: &'a str,
    pub at: Instant,
    pub expires_at: Instant,
}

pub async fn insert_token(connection: &mut SqliteConnection, token: &NewToken<'_>) -> Result<(), sqlx::Error> {
    let (person, device) = (token.person.to_string(), token.device.map(|device| device.to_string()));
    let (at, expires_at) = (token.at.millis(), token.expires_at.millis());
    sqlx::query!(
        "INSERT INTO tokens (hash, person_id, device_id, created_at, expires_at, name) VALUES ($1, $2, $3, $4, $5, $6)",
        token.hash,
        person,
        device,
        at,
        expires_at,
        token.name
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Writes when tokens were used, each with its moment.
pub async fn note_uses(connection: &mut SqliteConnection, uses: &[(String, i64)]) -> Result<(), sqlx::Error> {
    for (hash, at) in uses {
        sqlx::query!("UPDATE tokens SET last_used_at = $2 WHERE hash = $1 AND ended_at IS NULL", hash, at)
            .execute(&mut *connection)
            .await?;
    }
    Ok(())
}

/// For how long a session may do what asks for the password, once it was shown.
pub const CONFIRMED_MS: i64 = 300_000;

/// Notes that the password was shown in a session, and says until when that counts.
pub async fn confirm(connection: &mut SqliteConnection, hash: &str, at: Instant) -> Result<Instant, sqlx::Error> {
    let until = at.millis() + CONFIRMED_MS;
    sqlx::query!("UPDATE tokens SET confirmed_until = $2 WHERE hash = $1 AND ended_at IS NULL", hash, until)
        .execute(connection)
        .await?;
    read_instant(until)
}

/// Whether the password was shown in a session a moment ago; by a clock that was ahead then, it was not.
pub async fn is_confirmed(pool: &SqlitePool, hash: &str, now: Instant) -> Result<bool, sqlx::Error> {
    let (now, latest) = (now.millis(), now.millis() + CONFIRMED_MS);
    let row = sqlx::query!(
        r#"SELECT EXISTS (
               SELECT 1 FROM tokens
               WHERE hash = $1 AND ended_at IS NULL AND confirmed_until > $2 AND confirmed_until <= $3) AS "confirmed!: bool""#,
        hash,
        now,
        latest
    )
    .fetch_one(pool)
    .await?;
    Ok(row.confirmed)
}

pub async fn end_token(connection: &mut SqliteConnection, hash: &str, at: Instant) -> Result<(), sqlx::Error> {
    let at = at.millis();
    sqlx::query!("UPDATE tokens SET ended_at = $2 WHERE hash = $1 AND ended_at IS NULL", hash, at)
        .execute(connection)
        .await?;
    Ok(())
}

/// Ends everything with which a person has been let in: sessions, phones, and codes that nobody has used yet.
pub async fn end_all(connection: &mut SqliteConnection, person: PersonId, at: Instant) -> Result<(), sqlx::Error> {
    let (person, at) = (person.to_string(), at.millis());
    sqlx::query!("UPDATE tokens SET ended_at = $2 WHERE person_id = $1 AND ended_at IS NULL", person, at)
        .execute(&mut *connection)
        .await?;
    sqlx::query!("UPDATE enrolment_codes SET used_at = $2 WHERE person_id = $1 AND used_at IS NULL", person, at)
        .execute(&mut *connection)
        .await?;
    sqlx::query!("UPDATE password_codes SET used_at = $2 WHERE person_id = $1 AND used_at IS NULL", person, at)
        .execute(connection)
        .await?;
    Ok(())
}

/// Whether a session is open that nobody has used for as long as the settings allow, or that has run out.
pub async fn any_idle(pool: &SqlitePool, now: Instant) -> Result<bool, sqlx::Error> {
    let now = now.millis();
    let row = sqlx::query!(
        r#"SELECT EXISTS (
               SELECT 1 FROM tokens AS t
               WHERE t.ended_at IS NULL
                 AND (t.expires_at <= $1
                      OR t.device_id IS NULL
                         AND coalesce(t.last_used_at, t.created_at) <= $1 - (SELECT s.idle_minutes FROM settings AS s) * 60000))
             OR EXISTS (
               SELECT 1 FROM pass_sessions AS p
               WHERE p.ended_at IS NULL AND p.last_used_at <= $1 - (SELECT s.idle_minutes FROM settings AS s) * 60000) AS "any!: bool""#,
        now
    )
    .fetch_one(pool)
    .await?;
    Ok(row.any)
}

/// Ends the sessions that nobody has used for as long as the settings allow, and what has run out, so that none of them comes back
/// when the settings allow more or the clock is set back. Uses are written down before.
pub async fn end_idle(connection: &mut SqliteConnection, now: Instant) -> Result<(), sqlx::Error> {
    let now = now.millis();
    sqlx::query!(
        "UPDATE tokens SET ended_at = $1
         WHERE ended_at IS NULL
           AND (expires_at <= $1
                OR device_id IS NULL
                   AND coalesce(last_used_at, created_at) <= $1 - (SELECT s.idle_minutes FROM settings AS s) * 60000)",
        now
    )
    .execute(&mut *connection)
    .await?;
    sqlx::query!(
        "UPDATE pass_sessions SET ended_at = $1
         WHERE ended_at IS NULL AND last_used_at <= $1 - (SELECT s.idle_minutes FROM settings AS s) * 60000",
        now
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Everything with which a person is let in now, the last made first.
pub async fn of_person(
    pool: &SqlitePool,
    person: PersonId,
    current: &str,
    now: Instant,
) -> Result<Vec<OwnSession>, sqlx::Error> {
    let (person, now) = (person.to_string(), now.millis());
    let rows = sqlx::query!(
        r#"SELECT t.hash = $2 AS "current!: bool", t.device_id, coalesce(d.name, t.name) AS "name?: String", t.created_at,
                  coalesce(t.last_used_at, t.created_at) AS "last_used_at!: i64", t.expires_at
           FROM tokens AS t LEFT JOIN devices AS d ON d.id = t.device_id
           WHERE t.person_id = $1 AND t.ended_at IS NULL AND t.expires_at > $3 AND d.revoked_at IS NULL
             AND (t.device_id IS NOT NULL
                  OR coalesce(t.last_used_at, t.created_at) > $3 - (SELECT s.idle_minutes FROM settings AS s) * 60000)
           ORDER BY t.created_at DESC LIMIT 200"#,
        person,
        current,
        now
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(OwnSession {
                device_id: row.device_id.as_deref().map(|id| read(id, "device id")).transpose()?,
                name: row.name.unwrap_or_else(|| "not known".to_owned()),
                signed_in_at: read_instant(row.created_at)?,
                last_used_at: read_instant(row.last_used_at)?,
                expires_at: read_instant(row.expires_at)?,
                current: row.current,
            })
        })
        .collect()
}
