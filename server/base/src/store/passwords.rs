//! One-time codes for a new password.

use domain::{actor::Actor, ids::PersonId, time::Instant};
use sqlx::{SqliteConnection, SqlitePool};

use crate::store::{people, people::Person, read, read_enum, sessions};

/// Keeps a new code; those made before for the same person are spent.
pub async fn insert_code(
    connection: &mut SqliteConnection,
    hash: &str,
    person: PersonId,
    at: Instant,
    expires_at: Instant,
) -> Result<(), sqlx::Error> {
    let (person, at, expires_at) = (person.to_string(), at.millis(), expires_at.millis());
    sqlx::query!("UPDATE password_codes SET used_at = $2 WHERE person_id = $1 AND used_at IS NULL", person, at)
        .execute(&mut *connection)
        .await?;
    sqlx::query!(
        "INSERT INTO password_codes (hash, person_id, created_at, expires_at) VALUES ($1, $2, $3, $4)",
        hash,
        person,
        at,
        expires_at
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Who has the code and the name to sign in with, if it is known, unused and young enough.
pub async fn by_code(pool: &SqlitePool, hash: &str, now: Instant) -> Result<Option<(Actor, String)>, sqlx::Error> {
    let now = now.millis();
    let row = sqlx::query!(
        r#"SELECT p.id AS "id!", p.role AS "role!", p.sign_in AS "sign_in!" FROM password_codes AS c JOIN people AS p ON p.id = c.person_id
           WHERE c.hash = $1 AND c.used_at IS NULL AND c.expires_at > $2 AND p.active = 1 AND p.sign_in IS NOT NULL"#,
        hash,
        now
    )
    .fetch_optional(pool)
    .await?;
    row.map(|row| {
        let actor = Actor { person: read(&row.id, "person id")?, role: read_enum(&row.role, "role")?, device: None };
        Ok((actor, row.sign_in))
    })
    .transpose()
}

/// Spends a code for a new password and ends everything with which the person was let in; nothing if it was spent meanwhile.
pub async fn spend_code(
    connection: &mut SqliteConnection,
    hash: &str,
    id: PersonId,
    password_hash: &str,
    at: Instant,
) -> Result<Option<Person>, sqlx::Error> {
    let (key, now) = (id.to_string(), at.millis());
    let spent = sqlx::query!(
        "UPDATE password_codes SET used_at = $2 WHERE hash = $1 AND used_at IS NULL AND expires_at > $2 AND person_id = $3",
        hash,
        now,
        key
    )
    .execute(&mut *connection)
    .await?;
    if spent.rows_affected() == 0 {
        return Ok(None);
    }
    let set = sqlx::query!(
        "UPDATE people SET password_hash = $2, version = version + 1 WHERE id = $1 AND active = 1 AND sign_in IS NOT NULL",
        key,
        password_hash
    );
    if set.execute(&mut *connection).await?.rows_affected() == 0 {
        return Ok(None);
    }
    sessions::end_all(&mut *connection, id, at).await?;
    people::get(connection, id).await
}
