//! Phones and scripts, and the one-time codes they are enrolled with.

use domain::{
    ids::{DeviceId, PersonId},
    time::Instant,
};
use serde::Serialize;
use sqlx::{SqliteConnection, SqlitePool};
use utoipa::ToSchema;

use crate::{
    paging::{PageRequest, Sequenced},
    store::{read, read_instant},
};

/// An enrolled phone or script.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Device {
    pub id: DeviceId,
    pub person_id: PersonId,
    #[schema(max_length = 80)]
    pub name: String,
    pub enrolled_at: Instant,
    /// Since when it is locked out; null while it may be used.
    pub revoked_at: Option<Instant>,
}

pub async fn insert_code(
    connection: &mut SqliteConnection,
    hash: &str,
    person: PersonId,
    at: Instant,
    expires_at: Instant,
) -> Result<(), sqlx::Error> {
    let (person, at, expires_at) = (person.to_string(), at.millis(), expires_at.millis());
    sqlx::query!(
        "INSERT INTO enrolment_codes (hash, person_id, created_at, expires_at) VALUES ($1, $2, $3, $4)",
        hash,
        person,
        at,
        expires_at
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Spends a one-time code: whose it is, if it is known, unused and young enough.
pub async fn spend_code(
    connection: &mut SqliteConnection,
    hash: &str,
    at: Instant,
) -> Result<Option<PersonId>, sqlx::Error> {
    let at = at.millis();
    let row = sqlx::query!(
        r#"UPDATE enrolment_codes SET used_at = $2 WHERE hash = $1 AND used_at IS NULL AND expires_at > $2
           AND EXISTS (SELECT 1 FROM people AS p WHERE p.id = person_id AND p.active = 1)
           RETURNING person_id AS "person_id!""#,
        hash,
        at
    )
    .fetch_optional(connection)
    .await?;
    row.map(|row| read(&row.person_id, "person id")).transpose()
}

pub async fn insert(
    connection: &mut SqliteConnection,
    id: DeviceId,
    person: PersonId,
    name: &str,
    at: Instant,
) -> Result<Device, sqlx::Error> {
    let (key, owner, millis) = (id.to_string(), person.to_string(), at.millis());
    sqlx::query!(
        "INSERT INTO devices (id, person_id, name, enrolled_at) VALUES ($1, $2, $3, $4)",
        key,
        owner,
        name,
        millis
    )
    .execute(connection)
    .await?;
    Ok(Device { id, person_id: person, name: name.to_owned(), enrolled_at: at, revoked_at: None })
}

/// Locks a phone out, and says whether it was in. Locking it out again changes nothing.
pub async fn revoke(connection: &mut SqliteConnection, id: DeviceId, at: Instant) -> Result<bool, sqlx::Error> {
    let (key, at) = (id.to_string(), at.millis());
    let revoked = sqlx::query!("UPDATE devices SET revoked_at = $2 WHERE id = $1 AND revoked_at IS NULL", key, at)
        .execute(&mut *connection)
        .await?;
    sqlx::query!("UPDATE tokens SET ended_at = $2 WHERE device_id = $1 AND ended_at IS NULL", key, at)
        .execute(connection)
        .await?;
    Ok(revoked.rows_affected() > 0)
}

pub async fn get(connection: &mut SqliteConnection, id: DeviceId) -> Result<Option<Device>, sqlx::Error> {
    let key = id.to_string();
    let row = sqlx::query_as!(
        DeviceRow,
        r#"SELECT seq AS "seq!", id AS "id!", person_id AS "person_id!", name AS "name!", enrolled_at AS "enrolled_at!", revoked_at
           FROM devices WHERE id = $1"#,
        key
    )
    .fetch_optional(connection)
    .await?;
    row.map(|row| Sequenced::try_from(row).map(|row| row.item)).transpose()
}

pub async fn list(pool: &SqlitePool, span: PageRequest) -> Result<Vec<Sequenced<Device>>, sqlx::Error> {
    let rows = sqlx::query_as!(
        DeviceRow,
        r#"SELECT seq AS "seq!", id AS "id!", person_id AS "person_id!", name AS "name!", enrolled_at AS "enrolled_at!", revoked_at
           FROM devices WHERE seq > $1 ORDER BY seq LIMIT $2"#,
        span.after,
        span.take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(Sequenced::try_from).collect()
}

struct DeviceRow {
    seq: i64,
    id: String,
    person_id: String,
    name: String,
    enrolled_at: i64,
    revoked_at: Option<i64>,
}

impl TryFrom<DeviceRow> for Sequenced<Device> {
    type Error = sqlx::Error;

    fn try_from(row: DeviceRow) -> Result<Self, sqlx::Error> {
        let item = Device {
            id: read(&row.id, "device id")?,
            person_id: read(&row.person_id, "person id")?,
            name: row.name,
            enrolled_at: read_instant(row.enrolled_at)?,
            revoked_at: row.revoked_at.map(read_instant).transpose()?,
        };
        Ok(Self { seq: row.seq, item })
    }
}
