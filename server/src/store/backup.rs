//! A copy of a book, made while the server is at work.

use std::{io, path::Path};

use sqlx::{Connection, SqliteConnection};

/// Writes a whole copy of one moment to a new file, and waits until it is on the disk.
pub async fn copy(from: &Path, to: &Path) -> Result<(), sqlx::Error> {
    // Nothing of the book is written; but a connection that may not write cannot make the copy either.
    let mut connection = SqliteConnection::connect_with(&super::options(from)).await?;
    let target =
        to.to_str().ok_or_else(|| sqlx::Error::Io(io::Error::other("the new file's name is not plain text")))?;
    sqlx::query!("VACUUM INTO $1", target).execute(&mut connection).await?;
    std::fs::File::open(to)?.sync_all()?;
    let folder = to.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    std::fs::File::open(folder)?.sync_all()?;
    Ok(())
}
