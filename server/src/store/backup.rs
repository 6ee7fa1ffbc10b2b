//! A copy of a book, made while the server is at work.

use std::{
    fs::File,
    io,
    path::{Path, PathBuf},
};

use sqlx::{Connection, SqliteConnection};

use super::file;

/// What stands at the end of the name of a copy that is not done.
pub const UNDONE: &str = ".part";

/// Writes a whole copy of one moment under a name that says it is not done, and waits until it is on the disk. What an earlier try
/// left behind under that name is removed.
pub async fn begin(from: &Path, to: &Path) -> Result<PathBuf, sqlx::Error> {
    let part = file::beside(to, UNDONE);
    match std::fs::remove_file(&part) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error.into()),
        _ => {}
    }
    file::make(&part)?;
    let made = write(from, &part).await;
    if made.is_err() {
        let _ = std::fs::remove_file(&part);
    }
    made.map(|()| part)
}

async fn write(from: &Path, part: &Path) -> Result<(), sqlx::Error> {
    // Nothing of the book is written; but a connection that may not write cannot make the copy either.
    let mut connection = SqliteConnection::connect_with(&super::options(from)).await?;
    let target =
        part.to_str().ok_or_else(|| sqlx::Error::Io(io::Error::other("the new file's name is not plain text")))?;
    sqlx::query!("VACUUM INTO $1", target).execute(&mut connection).await?;
    connection.close().await?;
    File::open(part)?.sync_all()?;
    Ok(())
}

/// Gives a copy its name. Never in the place of another file: the name is made, not taken over.
pub fn finish(part: &Path, to: &Path) -> io::Result<()> {
    std::fs::hard_link(part, to)?;
    std::fs::remove_file(part)?;
    let folder = to.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    File::open(folder)?.sync_all()
}

/// Both, for a copy that nobody checks in between.
pub async fn copy(from: &Path, to: &Path) -> Result<(), sqlx::Error> {
    let part = begin(from, to).await?;
    let named = finish(&part, to);
    if named.is_err() {
        let _ = std::fs::remove_file(&part);
    }
    Ok(named?)
}

/// Number and moment of the newest entry of the journal; nothing in an empty book.
pub async fn newest_entry(file: &Path) -> Result<Option<(i64, domain::time::Instant)>, sqlx::Error> {
    let mut connection = super::open_read_only(file).await?;
    let newest: Option<(i64, i64)> = sqlx::query_as("SELECT seq, written_at FROM journal ORDER BY seq DESC LIMIT 1")
        .fetch_optional(&mut connection)
        .await?;
    newest.map(|(seq, at)| Ok((seq, super::read_instant(at)?))).transpose()
}

/// What SQLite says of a file when it looks quickly: nothing when it is sound.
pub async fn quick_faults(file: &Path) -> Result<Vec<String>, sqlx::Error> {
    let mut connection = super::open_read_only(file).await?;
    let mut said: Vec<String> = sqlx::query_scalar("PRAGMA quick_check").fetch_all(&mut connection).await?;
    said.retain(|line| line != "ok");
    Ok(said)
}
