//! One book, one server.

use std::{
    fs::{File, TryLockError},
    path::{Path, PathBuf},
};

use super::OpenError;

/// Takes the lock that says that a server is at work on this book. The system frees it when the server ends, however it
/// ends. A file of its own, because closing the book's would drop the locks of SQLite.
pub(super) fn lock(path: &Path) -> Result<File, OpenError> {
    // The file itself, whatever link leads to it: its folder is known, also when the file is yet to be made.
    let resolved = path.canonicalize().or_else(|_| {
        let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
        folder.canonicalize().map(|folder| folder.join(path.file_name().unwrap_or_default()))
    });
    let mut name = resolved.unwrap_or_else(|_| path.to_owned()).into_os_string();
    name.push(".lock");
    let at = PathBuf::from(name);
    let file = File::options().create(true).truncate(false).write(true).open(&at);
    let file = file.map_err(|error| OpenError::Place(at.clone(), error))?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(OpenError::InUse(at)),
        Err(TryLockError::Error(error)) => Err(OpenError::Place(at, error)),
    }
}

/// Whether a server has this book open.
pub fn is_open(path: &Path) -> bool {
    lock(path).is_err()
}
