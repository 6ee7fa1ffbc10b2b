//! The readers: connections that only read. Each proves that it holds no transaction before it is lent again, because one that
//! does would show an old book for ever.

use std::{
    ops::{Deref, DerefMut},
    time::Duration,
};

use sqlx::{
    Sqlite, SqliteConnection, SqlitePool, Transaction,
    pool::PoolConnection,
    sqlite::{SqliteConnectOptions, SqlitePoolOptions},
};

/// Readers at once. More would only wait for the two cores.
const READERS: u32 = 4;
/// How long a request waits for a reader.
const WAIT: Duration = Duration::from_secs(5);

/// Opens the pool.
pub(super) async fn open(options: SqliteConnectOptions) -> Result<SqlitePool, sqlx::Error> {
    SqlitePoolOptions::new()
        .min_connections(READERS)
        .max_connections(READERS)
        .idle_timeout(None)
        .max_lifetime(None)
        .test_before_acquire(false)
        .acquire_timeout(WAIT)
        .after_release(|connection, _| Box::pin(async move { Ok(holds_nothing(connection).await) }))
        .connect_with(options.read_only(true))
        .await
}

/// Whether a reader that comes back is outside of every transaction. SQLite itself is asked, whatever the library believes: a
/// transaction inside another is an error. One that fails is closed, and the pool opens another.
async fn holds_nothing(connection: &mut SqliteConnection) -> bool {
    let probe = sqlx::query("BEGIN; COMMIT").execute(connection).await;
    probe.inspect_err(|error| tracing::error!(%error, "a reader came back inside a transaction and is closed")).is_ok()
}

/// Reads that belong together: the book as it stood at one moment. It ends when it is dropped, also by a caller who hangs up.
#[derive(Debug)]
pub struct ReadTransaction(Transaction<'static, Sqlite>);

impl ReadTransaction {
    pub async fn begin(readers: &SqlitePool) -> Result<Self, sqlx::Error> {
        #[expect(
            clippy::disallowed_methods,
            reason = "these connections only read, so nothing here can turn into a write"
        )]
        let transaction = readers.begin().await?;
        Ok(Self(transaction))
    }
}

impl Deref for ReadTransaction {
    type Target = SqliteConnection;

    fn deref(&self) -> &SqliteConnection {
        &self.0
    }
}

impl DerefMut for ReadTransaction {
    fn deref_mut(&mut self) -> &mut SqliteConnection {
        &mut self.0
    }
}

/// Asks every reader that is free, and one at least, whether it sees the journal up to `head`. One that does not is closed.
pub(super) async fn see(readers: &SqlitePool, head: i64) -> Result<bool, sqlx::Error> {
    let mut taken: Vec<PoolConnection<Sqlite>> = Vec::new();
    while let Some(free) = readers.try_acquire() {
        taken.push(free);
    }
    if taken.is_empty() {
        taken.push(readers.acquire().await?);
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
