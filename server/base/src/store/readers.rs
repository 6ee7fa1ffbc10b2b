//! The readers: connections that only read. One that was in a transaction proves that it has left it before it is lent again, because
//! one that has not would show an old book for ever. A statement alone leaves none behind, and is not asked.

use std::{
    ops::{Deref, DerefMut},
    time::Duration,
};

use sqlx::{
    Sqlite, SqliteConnection, SqlitePool,
    pool::PoolConnection,
    sqlite::{SqliteConnectOptions, SqlitePoolOptions},
};
use tokio::runtime::Handle;

use crate::lane::{self, Lane};

/// Readers at once. More would only wait for the two cores.
const READERS: u32 = 4;
/// How long a request waits for a reader.
const WAIT: Duration = Duration::from_secs(5);

/// The readers of one book. Those of long answers are others than those of everybody else, so that nobody who signs in or asks who they
/// are waits for a reader that is at a statement.
#[derive(Debug, Clone)]
pub(super) struct Readers {
    pub quick: SqlitePool,
    pub long: SqlitePool,
}

impl Readers {
    /// Opens them; those of long answers from a thread of the lane, because SQLite's own threads yield as the one does that begins them.
    pub async fn open(options: SqliteConnectOptions, lane: &Lane, long_at_once: usize) -> Result<Self, sqlx::Error> {
        let quick = open(options.clone(), READERS).await?;
        // A long answer may hold one reader and ask another.
        let readers = u32::try_from(long_at_once).unwrap_or(1) * 2;
        let long = lane.run(open(options, readers)).await.ok_or(sqlx::Error::WorkerCrashed)??;
        Ok(Self { quick, long })
    }

    /// The readers of whoever asks.
    pub fn here(&self) -> &SqlitePool {
        if lane::is_here() { &self.long } else { &self.quick }
    }

    pub async fn close(&self) {
        tokio::join!(self.quick.close(), self.long.close());
    }
}

async fn open(options: SqliteConnectOptions, readers: u32) -> Result<SqlitePool, sqlx::Error> {
    SqlitePoolOptions::new()
        .min_connections(readers)
        .max_connections(readers)
        .idle_timeout(None)
        .max_lifetime(None)
        .test_before_acquire(false)
        .acquire_timeout(WAIT)
        // Pages that stay need not be looked through again; in the two mebibytes that are the default, a large book's do not.
        .connect_with(options.read_only(true).pragma("cache_size", "-8192"))
        .await
}

/// Reads that belong together: the book as it stood at one moment. It ends when it is dropped, also by a caller who hangs up, be it
/// while it begins: SQLite itself is then asked to end it, whatever the library believes, and a reader that cannot is closed.
#[derive(Debug)]
pub struct ReadTransaction(Option<PoolConnection<Sqlite>>);

impl ReadTransaction {
    pub async fn begin(readers: &SqlitePool) -> Result<Self, sqlx::Error> {
        let mut moment = Self(Some(readers.acquire().await?));
        sqlx::query("BEGIN").execute(&mut *moment).await?;
        Ok(moment)
    }
}

impl Drop for ReadTransaction {
    fn drop(&mut self) {
        let (Some(mut reader), Ok(runtime)) = (self.0.take(), Handle::try_current()) else { return };
        runtime.spawn(async move {
            // With no transaction it is an error, so this also proves that there was the one that is over now.
            if let Err(error) = sqlx::query("COMMIT").execute(&mut *reader).await {
                tracing::error!(%error, "a reader did not leave its transaction and is closed");
                reader.close_on_drop();
            }
        });
    }
}

impl Deref for ReadTransaction {
    type Target = SqliteConnection;

    fn deref(&self) -> &SqliteConnection {
        self.0.as_deref().unwrap_or_else(|| unreachable!("it is taken as it is dropped"))
    }
}

impl DerefMut for ReadTransaction {
    fn deref_mut(&mut self) -> &mut SqliteConnection {
        self.0.as_deref_mut().unwrap_or_else(|| unreachable!("it is taken as it is dropped"))
    }
}

/// Asks every reader that is free, and one at least, whether it sees the journal up to `head`. One that does not is closed. Those of long
/// answers are not waited for.
pub(super) async fn see(readers: &Readers, head: i64) -> Result<bool, sqlx::Error> {
    let mut taken: Vec<PoolConnection<Sqlite>> = Vec::new();
    while let Some(free) = readers.quick.try_acquire() {
        taken.push(free);
    }
    if taken.is_empty() {
        taken.push(readers.quick.acquire().await?);
    }
    while let Some(free) = readers.long.try_acquire() {
        taken.push(free);
    }
    let mut fresh = true;
    for mut reader in taken {
        if super::journal::head(&mut reader).await? < head {
            tracing::error!(head, "a reader sees an old book and is closed");
            reader.close_on_drop();
            fresh = false;
        }
    }
    Ok(fresh)
}
