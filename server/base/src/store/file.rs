//! Whose file it is that a server is to open: each wrong kind has its own sentence, and a foreign file is never written to.

use std::{
    fs::{File, Metadata, OpenOptions},
    io::{self, Read},
    os::unix::fs::OpenOptionsExt,
    path::{Path, PathBuf},
};

use sqlx::{Connection, SqliteConnection};

/// What this program's files say in their head (SQLite's `application_id`): the letters `Swrd`.
pub const APPLICATION: u32 = 0x5377_7264;
/// Length of the head of an SQLite file, and where it says what (SQLite, "Database File Format", 1.3).
const HEAD: usize = 100;
const MAGIC: &[u8] = b"SQLite format 3\0";

#[derive(Debug, thiserror::Error)]
pub enum FileFault {
    #[error("{0} is a folder. Name a file in it.")]
    Folder(PathBuf),
    #[error("{0} is no regular file, so it cannot hold records.")]
    NoFile(PathBuf),
    #[error("{0} cannot be opened: {1}. Does the folder exist, and may this user read it and write there?")]
    Place(PathBuf, io::Error),
    #[error("{0} may be read but not written by this user: {1}. Records need a file that can be written.")]
    ReadOnly(PathBuf, io::Error),
    #[error(
        "{0} is empty. If it held records, restore a copy (`swardbook restore`). If new records are to begin there, remove it \
         first, or name another file."
    )]
    Empty(PathBuf),
    #[error("{0} holds no records: it is no SQLite file. Nothing was changed.")]
    NotSqlite(PathBuf),
    #[error(
        "{file} was cut: its own head says that it has {told} bytes, and there are {there}. Nothing was changed; restore a copy \
         (`swardbook restore`)."
    )]
    Cut { file: PathBuf, told: u64, there: u64 },
    #[error(
        "{0} is not there, but {0}-wal is, which holds what was written last to it. Put the file back under its name. If it is lost, keep \
         {0}-wal under another name and restore a copy (`swardbook restore`)."
    )]
    LogAlone(PathBuf),
    #[error("{0} is the file of another program. Nothing was changed; name another file.")]
    Foreign(PathBuf),
}

/// The first bytes of an SQLite file, as far as they say whose it is and how long it should be.
struct Head([u8; HEAD]);

impl Head {
    fn number(&self, at: usize) -> u32 {
        u32::from_be_bytes([self.0[at], self.0[at + 1], self.0[at + 2], self.0[at + 3]])
    }

    fn application(&self) -> u32 {
        self.number(68)
    }

    /// Bytes that the file should have, if the head knows: its count of pages holds only when it was written with the rest.
    fn told(&self) -> Option<u64> {
        let page = match u16::from_be_bytes([self.0[16], self.0[17]]) {
            1 => 65_536,
            size => u64::from(size),
        };
        (self.number(24) == self.number(92)).then(|| u64::from(self.number(28)) * page)
    }
}

/// Whether a book stands there already. Fails on whatever is no book, without writing to it.
pub fn look(file: &Path) -> Result<bool, FileFault> {
    let place = |error| FileFault::Place(file.to_owned(), error);
    let found = match std::fs::metadata(file) {
        // A new file in its place would end what was written last.
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            let log = std::fs::metadata(beside(file, "-wal")).is_ok_and(|log| log.len() > 0);
            return if log { Err(FileFault::LogAlone(file.to_owned())) } else { Ok(false) };
        }
        found => found.map_err(place)?,
    };
    if found.is_dir() {
        return Err(FileFault::Folder(file.to_owned()));
    }
    if !found.is_file() {
        return Err(FileFault::NoFile(file.to_owned()));
    }
    if found.len() == 0 {
        return Err(FileFault::Empty(file.to_owned()));
    }
    let head = head(file)?;
    if ![0, APPLICATION].contains(&head.application()) {
        return Err(FileFault::Foreign(file.to_owned()));
    }
    whole(file, &head, &found)?;
    Ok(true)
}

fn head(file: &Path) -> Result<Head, FileFault> {
    let mut head = [0; HEAD];
    let mut opened = File::open(file).map_err(|error| FileFault::Place(file.to_owned(), error))?;
    match opened.read_exact(&mut head) {
        Ok(()) if head.starts_with(MAGIC) => Ok(Head(head)),
        Err(error) if error.kind() != io::ErrorKind::UnexpectedEof => Err(FileFault::Place(file.to_owned(), error)),
        _ => Err(FileFault::NotSqlite(file.to_owned())),
    }
}

/// A file that is shorter than it says was cut. While a log stands beside it, what is missing may be in the log.
fn whole(file: &Path, head: &Head, found: &Metadata) -> Result<(), FileFault> {
    let log = std::fs::metadata(beside(file, "-wal")).map_or(0, |log| log.len());
    match head.told() {
        Some(told) if log == 0 && told > found.len() => {
            Err(FileFault::Cut { file: file.to_owned(), told, there: found.len() })
        }
        _ => Ok(()),
    }
}

/// Makes sure that the file can be written, and makes it if it is not there: readable by this user alone, as are the files that
/// SQLite puts beside it.
pub fn ready(file: &Path) -> Result<(), FileFault> {
    if look(file)? {
        let opened = OpenOptions::new().write(true).open(file);
        return opened.map(drop).map_err(|error| FileFault::ReadOnly(file.to_owned(), error));
    }
    make(file).map_err(|error| FileFault::Place(file.to_owned(), error))
}

/// Makes an empty file for this user alone; fails if it is there.
pub fn make(file: &Path) -> io::Result<()> {
    OpenOptions::new().write(true).create_new(true).mode(0o600).open(file).map(drop)
}

/// A file's name with something at its end.
pub fn beside(file: &Path, end: &str) -> PathBuf {
    let mut name = file.to_owned().into_os_string();
    name.push(end);
    PathBuf::from(name)
}

/// Whether the tables are ours, where the head does not say: files of earlier versions have no sign in theirs. A file without a
/// table is anybody's.
pub async fn is_ours(file: &Path) -> Result<bool, sqlx::Error> {
    let mut connection = super::open_read_only(file).await?;
    let tables: Vec<String> =
        sqlx::query_scalar("SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'")
            .fetch_all(&mut connection)
            .await?;
    connection.close().await?;
    let has = |name: &str| tables.iter().any(|table| table == name);
    Ok(tables.is_empty() || has("_sqlx_migrations") && (has("journal") || tables.len() == 1))
}

/// Puts the sign and the newest table change into the head of the file, so that whoever finds it knows what it is.
pub async fn sign(connection: &mut SqliteConnection, version: i64) -> Result<(), sqlx::Error> {
    let application: i64 = sqlx::query_scalar("PRAGMA application_id").fetch_one(&mut *connection).await?;
    let marked: i64 = sqlx::query_scalar("PRAGMA user_version").fetch_one(&mut *connection).await?;
    if (application, marked) != (i64::from(APPLICATION), version) {
        // A pragma takes no parameters; both are numbers of ours.
        let signing = format!("PRAGMA application_id = {APPLICATION}; PRAGMA user_version = {version}");
        sqlx::raw_sql(sqlx::AssertSqlSafe(signing)).execute(connection).await?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(file: &Path) -> String {
        ready(file).err().map_or_else(String::new, |fault| fault.to_string())
    }

    #[test]
    fn each_wrong_kind_of_file_has_its_own_sentence_and_is_left_alone() {
        let folder = tempfile::tempdir().expect("a folder");
        let at = |name: &str| folder.path().join(name);
        assert!(said(folder.path()).contains("is a folder"));
        assert!(said(&at("nowhere/book.db")).contains("Does the folder exist"));
        assert!(said(Path::new("/dev/null")).contains("is no regular file"));
        std::fs::write(at("empty"), b"").expect("a file");
        assert!(said(&at("empty")).contains("is empty"));
        std::fs::write(at("text"), b"Records of 2026\n").expect("a file");
        assert!(said(&at("text")).contains("no SQLite file"));
        let mut head = [0_u8; 4096];
        head[..16].copy_from_slice(MAGIC);
        head[16..18].copy_from_slice(&4096_u16.to_be_bytes());
        head[31] = 3;
        std::fs::write(at("cut"), head).expect("a file");
        assert!(said(&at("cut")).contains("says that it has 12288 bytes, and there are 4096"));
        // What is missing may stand in the log.
        std::fs::write(at("cut-wal"), b"log").expect("a file");
        assert_eq!(said(&at("cut")), "");
        std::fs::rename(at("cut"), at("moved")).expect("renamed");
        assert!(said(&at("cut")).contains("holds what was written last"));
        std::fs::rename(at("moved"), at("cut")).expect("renamed");
        head[68..72].copy_from_slice(&0x0f05_5112_u32.to_be_bytes());
        std::fs::write(at("foreign"), head).expect("a file");
        assert!(said(&at("foreign")).contains("another program"));
        assert_eq!(std::fs::read(at("foreign")).expect("a file"), head);
    }

    #[test]
    fn a_new_file_is_for_its_user_alone() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("book.db");
        ready(&file).expect("a new file");
        assert_eq!(std::fs::metadata(&file).expect("a file").permissions().mode() & 0o777, 0o600);
    }
}
