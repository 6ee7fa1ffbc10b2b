//! How the file is opened.

use std::{path::Path, time::Duration};

use sqlx::{
    ConnectOptions,
    sqlite::{SqliteConnectOptions, SqliteJournalMode, SqliteSynchronous},
};

/// Rows of an index that are looked at when it is counted: enough to tell few from many.
const ANALYSIS_ROWS: u32 = 400;
pub(super) fn options(path: &Path) -> SqliteConnectOptions {
    SqliteConnectOptions::new()
        .filename(path)
        // Records are evidence: the last commits must survive a power cut too.
        .synchronous(SqliteSynchronous::Full)
        .busy_timeout(Duration::from_secs(5))
        .foreign_keys(true)
        .pragma("trusted_schema", "OFF")
        .pragma("cell_size_check", "ON")
        .pragma("mmap_size", "268435456")
        .pragma("journal_size_limit", "67108864")
        .disable_statement_logging()
}

/// What the writer's connection has beyond that: it makes the file, and when it closes it lets SQLite count what has grown much,
/// so that the planner knows.
pub(super) fn options_of_writer(path: &Path) -> SqliteConnectOptions {
    options(path)
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Wal)
        // A batch changes some two thousand pages. In the two mebibytes that are the default they do not find room, and are written
        // to the log again and again before the commit.
        .pragma("cache_size", "-32768")
        // 8,000 pages, 33 MB: the pages of indexes that are changed all over go from the log into the file once for many records.
        .pragma("wal_autocheckpoint", "8000")
        .optimize_on_close(true, ANALYSIS_ROWS)
}
