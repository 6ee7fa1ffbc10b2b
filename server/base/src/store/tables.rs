//! The tables of a book: which change of them it has, and how it is brought up to this version.

use std::{collections::BTreeMap, path::Path};

use sqlx::{Connection, SqliteConnection, migrate::Migrator};
use tokio::sync::OnceCell;

use super::{backup, file};

pub static MIGRATIONS: Migrator = sqlx::migrate!("../../migrations");

/// The newest change that this version knows.
pub fn newest() -> i64 {
    MIGRATIONS.iter().map(|change| change.version).max().unwrap_or(0)
}

/// The newest change that a book has; nothing in a file that has no tables yet.
pub async fn of(connection: &mut SqliteConnection) -> Result<Option<i64>, sqlx::Error> {
    let known: i64 = sqlx::query_scalar("SELECT count(*) FROM sqlite_schema WHERE name = '_sqlx_migrations'")
        .fetch_one(&mut *connection)
        .await?;
    if known == 0 {
        return Ok(None);
    }
    sqlx::query_scalar("SELECT max(version) FROM _sqlx_migrations WHERE success").fetch_one(connection).await
}

/// Whether there is such a table, which a file of an earlier version may not have.
pub async fn has(connection: &mut SqliteConnection, table: &str) -> Result<bool, sqlx::Error> {
    let known: i64 = sqlx::query_scalar("SELECT count(*) FROM sqlite_schema WHERE type = 'table' AND name = $1")
        .bind(table)
        .fetch_one(connection)
        .await?;
    Ok(known > 0)
}

/// The newest change that a file has, which is only read.
pub async fn of_file(path: &Path) -> Result<Option<i64>, sqlx::Error> {
    of(&mut super::open_read_only(path).await?).await
}

/// Keeps the book as it was before its tables are changed, beside it: an older program cannot open it afterwards. A copy that is
/// there from an earlier try is enough if nothing was written since; else there is a further one.
pub async fn keep_before(path: &Path, had: i64) -> Result<(), sqlx::Error> {
    let newest = backup::newest_entry(path).await?;
    for number in 1..100 {
        let further = if number == 1 { String::new() } else { format!("-{number}") };
        let kept = file::beside(path, &format!(".before-{:04}{further}", had + 1));
        if !kept.exists() {
            return backup::copy(path, &kept).await;
        }
        if backup::newest_entry(&kept).await.is_ok_and(|kept| kept == newest) {
            return Ok(());
        }
    }
    Err(sqlx::Error::Io(std::io::Error::other("a hundred copies of earlier changes lie beside the file; remove some")))
}

/// Brings a copy up to this version, so that it can be checked like a book of today.
pub async fn bring_up(copy: &Path) -> Result<(), sqlx::Error> {
    let mut connection = SqliteConnection::connect_with(&super::options(copy)).await?;
    let failed = |error: sqlx::migrate::MigrateError| sqlx::Error::Protocol(error.to_string());
    MIGRATIONS.run(&mut connection).await.map_err(failed)?;
    connection.close().await
}

/// A table, index, view or trigger by kind and name, with what it belongs to and the text that made it.
type Made = BTreeMap<(String, String), (String, String)>;

/// What the changes of the tables make in an empty file. Worked out once.
static AS_MADE: OnceCell<Made> = OnceCell::const_new();

async fn made(connection: &mut SqliteConnection) -> Result<Made, sqlx::Error> {
    let rows: Vec<(String, String, String, String)> = sqlx::query_as(
        "SELECT type, name, tbl_name, coalesce(sql, '') FROM sqlite_schema WHERE name NOT LIKE 'sqlite\\_%' ESCAPE '\\'",
    )
    .fetch_all(connection)
    .await?;
    Ok(rows.into_iter().map(|(kind, name, of, sql)| ((kind, name), (of, sql))).collect())
}

/// Tables, indexes, views and triggers of a book that are not those which this version makes: without the triggers that refuse it a
/// record can be edited, and one that somebody planted writes what no server wrote.
pub async fn differing(connection: &mut SqliteConnection) -> Result<Vec<String>, sqlx::Error> {
    let as_made = AS_MADE.get_or_try_init(async || {
        let mut empty = SqliteConnection::connect("sqlite::memory:").await?;
        MIGRATIONS.run(&mut empty).await.map_err(|error| sqlx::Error::Protocol(error.to_string()))?;
        made(&mut empty).await
    });
    let (as_made, there) = (as_made.await?, made(connection).await?);
    let mut faults = Vec::new();
    for (of, text) in as_made {
        let (kind, name) = of;
        match there.get(of) {
            None => faults.push(format!("the {kind} {name} is missing")),
            Some(other) if other != text => {
                faults.push(format!("the {kind} {name} is another one than this version makes"));
            }
            Some(_) => {}
        }
    }
    let planted = there.keys().filter(|of| !as_made.contains_key(*of));
    faults.extend(
        planted.map(|(kind, name)| format!("the {kind} {name} was planted: this version makes none of that name")),
    );
    Ok(faults)
}
