//! What a failed statement says of the disk and of other programs.

/// Whether the disk under the book refused: it is full, failing, read-only, or the file is not there (primary result codes of
/// SQLite: READONLY, IOERR, CORRUPT, FULL, CANTOPEN, NOTADB).
pub fn is_storage_failure(error: &sqlx::Error) -> bool {
    matches!(error, sqlx::Error::Io(_) | sqlx::Error::WorkerCrashed)
        || matches!(code(error), Some(8 | 10 | 11 | 13 | 14 | 26))
}

/// Whether another program holds the file (BUSY, LOCKED).
pub fn is_locked(error: &sqlx::Error) -> bool {
    matches!(code(error), Some(5 | 6))
}

/// The primary result code: the last byte of an extended one.
fn code(error: &sqlx::Error) -> Option<i32> {
    let sqlx::Error::Database(error) = error else { return None };
    Some(error.code()?.parse::<i32>().ok()? & 0xff)
}
