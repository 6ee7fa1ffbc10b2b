//! The key by which receipts are signed, and where the journal stands.

use std::sync::{Mutex, MutexGuard, PoisonError};

use domain::{journal::BEGINNING, time::Instant};
use sqlx::{SqliteConnection, SqliteExecutor};

use super::{bad_row, read_instant};
use crate::signing::{self, NewKey, SigningKey};

/// Number and hash of the journal's newest entry, as the writer left it. Nothing after a write of the office, which does not say where
/// it left the journal: then whoever wants to know asks the file.
#[derive(Debug, Default)]
pub struct Head(Mutex<Option<(i64, String)>>);

impl Head {
    fn known(&self) -> MutexGuard<'_, Option<(i64, String)>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub fn get(&self) -> Option<(i64, String)> {
        self.known().clone()
    }

    pub fn set(&self, head: Option<(i64, String)>) {
        *self.known() = head;
    }
}

/// Number and hash of the newest entry; those before the first where there is none.
pub async fn newest(executor: impl SqliteExecutor<'_>) -> Result<(i64, String), sqlx::Error> {
    let row = sqlx::query!(r#"SELECT seq AS "seq!", hash AS "hash!" FROM journal ORDER BY seq DESC LIMIT 1"#)
        .fetch_optional(executor)
        .await?;
    Ok(row.map_or_else(|| (0, BEGINNING.to_owned()), |row| (row.seq, row.hash)))
}

/// The key of these records; nothing before a server of this version has opened them.
pub async fn key(executor: impl SqliteExecutor<'_>) -> Result<Option<SigningKey>, sqlx::Error> {
    let row = sqlx::query!(
        r#"SELECT book AS "book!", secret AS "secret!", public AS "public!", made_at AS "made_at!" FROM signing_key"#
    )
    .fetch_optional(executor)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let key = SigningKey::of(&row.secret, &row.public, read_instant(row.made_at)?);
    let key = key.filter(|key| key.book().to_string() == row.book);
    key.map(Some).ok_or_else(|| bad_row("signing key")(&"its parts do not belong together"))
}

/// The same for whoever checks them: nothing, too, where the parts of the key do not belong together.
pub async fn whole_key(executor: impl SqliteExecutor<'_>) -> Result<Option<SigningKey>, sqlx::Error> {
    match key(executor).await {
        Err(sqlx::Error::Decode(_)) => Ok(None),
        other => other,
    }
}

pub async fn insert(connection: &mut SqliteConnection, new: &NewKey, at: Instant) -> Result<(), sqlx::Error> {
    let (secret, public, made_at) = (new.secret.as_slice(), new.public.as_slice(), at.millis());
    let book = signing::book_of(public).to_string();
    sqlx::query!(
        "INSERT INTO signing_key (id, book, secret, public, made_at) VALUES (1, $1, $2, $3, $4)",
        book,
        secret,
        public,
        made_at
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// The hash of an entry; nothing where there is none of that number.
pub async fn hash_at(connection: &mut SqliteConnection, seq: i64) -> Result<Option<String>, sqlx::Error> {
    sqlx::query_scalar!(r#"SELECT hash AS "hash!" FROM journal WHERE seq = $1"#, seq).fetch_optional(connection).await
}

/// The first entry that was written after a moment.
pub async fn first_after(connection: &mut SqliteConnection, at: Instant) -> Result<Option<i64>, sqlx::Error> {
    let at = at.millis();
    let first = sqlx::query_scalar!(r#"SELECT min(seq) AS "seq?: i64" FROM journal WHERE written_at > $1"#, at);
    first.fetch_one(connection).await
}
