//! A copy of a book, made while the server is at work.

use std::{
    fs::File,
    io,
    path::{Path, PathBuf},
    thread,
    time::Duration,
};

use rusqlite::{
    Connection, OpenFlags,
    backup::{Backup, StepResult},
    ffi,
};
use sqlx::Connection as _;

use super::file;

/// What stands at the end of the name of a whole copy.
pub const WHOLE: &str = ".db";
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
    // To read only: a connection that may write would take up the log beside a book that was left by a crash.
    let mut connection = super::open_read_only(from).await?;
    let target =
        part.to_str().ok_or_else(|| sqlx::Error::Io(io::Error::other("the new file's name is not plain text")))?;
    sqlx::query!("VACUUM INTO $1", target).execute(&mut connection).await?;
    connection.close().await?;
    File::open(part)?.sync_all()?;
    Ok(())
}

/// How often the copying waits for whoever has the file for itself, and how long each time.
const WAITS: usize = 100;
const WAIT: Duration = Duration::from_millis(50);

/// Writes a copy of one moment page by page, as the pages stand in the file, so that two copies differ only where something was
/// written in between. It has no log beside it. Blocks its thread.
pub fn page_by_page(from: &Path, to: &Path) -> io::Result<()> {
    file::make(to)?;
    let made = pages(from, to).map_err(io::Error::other).and_then(|()| File::open(to)?.sync_all());
    if made.is_err() {
        let _ = std::fs::remove_file(to);
    }
    made
}

fn pages(from: &Path, to: &Path) -> rusqlite::Result<()> {
    let source = Connection::open_with_flags(from, OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX)?;
    let mut copy =
        Connection::open_with_flags(to, OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX)?;
    let copying = Backup::new(&source, &mut copy)?;
    let mut waits = 0;
    // All pages in one step, so that what is written meanwhile does not begin the copy anew.
    while copying.step(-1)? != StepResult::Done {
        waits += 1;
        if waits > WAITS {
            return Err(rusqlite::Error::SqliteFailure(ffi::Error::new(ffi::SQLITE_BUSY), None));
        }
        thread::sleep(WAIT);
    }
    drop(copying);
    // The book says of itself that it has a log beside it; the copy has none.
    copy.pragma_update(None, "journal_mode", "DELETE")?;
    copy.close().map_err(|(_, error)| error)
}

/// Gives a copy its name. Never in the place of another file: the name is made, not taken over.
pub fn finish(part: &Path, to: &Path) -> io::Result<()> {
    let named = name(part, to);
    if named.is_err() {
        // A disk is not to be filled by what is no backup.
        let _ = std::fs::remove_file(part);
    }
    named
}

fn name(part: &Path, to: &Path) -> io::Result<()> {
    match std::fs::hard_link(part, to) {
        Ok(()) => std::fs::remove_file(part)?,
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => return Err(error),
        // Some disks and shares know no second name of a file. There the name is made first, and then given to the copy.
        Err(_) => {
            file::make(to)?;
            std::fs::rename(part, to)?;
        }
    }
    let folder = to.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    match File::open(folder).and_then(|folder| folder.sync_all()) {
        Err(error) if !matches!(error.kind(), io::ErrorKind::Unsupported | io::ErrorKind::InvalidInput) => Err(error),
        _ => Ok(()),
    }
}

/// Both, for a copy that nobody checks in between.
pub async fn copy(from: &Path, to: &Path) -> Result<(), sqlx::Error> {
    let part = begin(from, to).await?;
    Ok(finish(&part, to)?)
}

/// Number and moment of the newest entry of the journal; nothing in an empty book.
pub async fn newest_entry(file: &Path) -> Result<Option<(i64, domain::time::Instant)>, sqlx::Error> {
    let mut connection = super::open_read_only(file).await?;
    let newest: Option<(i64, i64)> = sqlx::query_as("SELECT seq, written_at FROM journal ORDER BY seq DESC LIMIT 1")
        .fetch_optional(&mut connection)
        .await?;
    newest.map(|(seq, at)| Ok((seq, super::read_instant(at)?))).transpose()
}

/// Eight digits that tell a book from others, so that copies of several may lie in one folder. They tell nothing of what is in it.
pub async fn mark(file: &Path) -> Result<String, sqlx::Error> {
    let mut connection = super::open_read_only(file).await?;
    let key: Vec<u8> = sqlx::query_scalar("SELECT link_key FROM installation").fetch_one(&mut connection).await?;
    let mut mark = crate::secret::sha256(&key);
    mark.truncate(8);
    Ok(mark)
}

/// The company's time zone; nothing in a book that is not set up.
pub async fn zone(file: &Path) -> Result<Option<String>, sqlx::Error> {
    let mut connection = super::open_read_only(file).await?;
    sqlx::query_scalar("SELECT time_zone FROM company").fetch_optional(&mut connection).await
}

/// What SQLite says of a file when it looks quickly: nothing when it is sound.
pub async fn quick_faults(file: &Path) -> Result<Vec<String>, sqlx::Error> {
    let mut connection = super::open_read_only(file).await?;
    let mut said: Vec<String> = sqlx::query_scalar("PRAGMA quick_check").fetch_all(&mut connection).await?;
    said.retain(|line| line != "ok");
    Ok(said)
}
