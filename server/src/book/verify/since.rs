//! How far an earlier run came, kept in a file outside of the records, so that a nightly run need not read again what that one read.
//!
//! What such a run can say: the journal is still the one that the earlier run read, by the signed head and by the links from there to
//! the first entry; everything that was written since then stands; so does everything that does not grow with the years, which is read
//! whole each time. What it cannot: that the records from before were not changed since. Only a run that reads everything says that.

use std::{
    collections::{BTreeMap, BTreeSet},
    path::Path,
};

use domain::{receipt::Signed, time::Instant};
use serde::{Deserialize, Serialize};

use crate::store::file;

const HEADING: &str = "Swardbook verified 1";
const WHOLE: &str = "Read whole: ";
const COUNTED: &str = "Counted: ";

/// Up to where an earlier run found that everything fits.
#[derive(Debug, Clone)]
pub struct Base {
    pub receipt: Signed,
    pub whole: Whole,
    pub counted: Counted,
}

/// The last run that read everything: up to which entry, and when.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Whole {
    pub entry: i64,
    pub at: Instant,
}

/// What a run counted that the next one does not read again.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Counted {
    /// Rows by table, of acts that grow with the years.
    pub rows: BTreeMap<String, i64>,
    /// Entries of records.
    pub records: i64,
    /// When the newest entry was written, in milliseconds.
    pub written_at: i64,
    /// Number of the last answer of a weather service.
    pub weather_answer: i64,
    /// Rule sets under which decisions were made: hash and code.
    pub decided_under: BTreeSet<(String, String)>,
}

impl Base {
    pub fn entry(&self) -> i64 {
        self.receipt.receipt.entry
    }

    /// The base in a file; nothing where there is no file yet.
    pub fn read(path: &Path) -> Result<Option<Self>, String> {
        let text = match std::fs::read_to_string(path) {
            Ok(text) => text,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
            Err(error) => return Err(format!("{} cannot be read: {error}", path.display())),
        };
        Self::of(&text).map(Some).ok_or_else(|| {
            format!(
                "{} is no file of an earlier `verify --since`, and is left as it is. Name one that is not there yet: this run reads \
                 everything then, and makes it. Receipts are held against the records by --against",
                path.display()
            )
        })
    }

    fn of(text: &str) -> Option<Self> {
        let mut lines = text.lines();
        if lines.next() != Some(HEADING) {
            return None;
        }
        let (entry, at) = lines.next()?.strip_prefix(WHOLE)?.split_once(' ')?;
        let whole = Whole { entry: entry.parse().ok()?, at: Instant::parse(at).ok()? };
        let counted = serde_json::from_str(lines.next()?.strip_prefix(COUNTED)?).ok()?;
        let receipt = Signed::all_in(text).ok()?.into_iter().next()?;
        Some(Self { receipt, whole, counted })
    }

    fn text(&self) -> Result<String, String> {
        let counted = serde_json::to_string(&self.counted).map_err(|error| error.to_string())?;
        let Whole { entry, at } = self.whole;
        Ok(format!("{HEADING}\n{WHOLE}{entry} {at}\n{COUNTED}{counted}\n{}", self.receipt.text()))
    }

    /// Puts it in the place of the earlier one, whole or not at all.
    pub fn write(&self, path: &Path) -> Result<(), String> {
        let part = file::beside(path, ".part");
        let write = || -> std::io::Result<()> {
            if part.exists() {
                std::fs::remove_file(&part)?;
            }
            file::make(&part)?;
            std::fs::write(&part, self.text().map_err(std::io::Error::other)?)?;
            std::fs::rename(&part, path)
        };
        write().map_err(|error| format!("{} cannot be written: {error}", path.display()))
    }
}

#[cfg(test)]
mod tests {
    use domain::journal::BEGINNING;

    use super::*;
    use crate::signing::{NewKey, SigningKey};

    #[test]
    fn what_is_written_is_read_again_and_nothing_else_is_taken_for_it() {
        let new = NewKey::make().expect("a key");
        let at = Instant::parse("2026-09-15T14:00:00Z").expect("an instant");
        let key = SigningKey::of(&new.secret, &new.public, at).expect("a key");
        let receipt = key.sign("Sample Lawn Care", (7, BEGINNING.to_owned()), at);
        let counted = Counted {
            rows: BTreeMap::from([("visits".to_owned(), 3)]),
            decided_under: BTreeSet::from([("ab".to_owned(), "us-md".to_owned())]),
            ..Counted::default()
        };
        let base = Base { receipt: receipt.clone(), whole: Whole { entry: 5, at }, counted };
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("verified");
        assert!(Base::read(&path).expect("no file is no fault").is_none());
        for _ in 0..2 {
            base.write(&path).expect("room");
            let again = Base::read(&path).expect("it can be read").expect("it is there");
            assert_eq!(
                (again.receipt, again.whole, again.counted),
                (receipt.clone(), base.whole, base.counted.clone())
            );
        }
        std::fs::write(&path, receipt.text()).expect("room");
        let refused = Base::read(&path).expect_err("a receipt alone says nothing of a run");
        assert!(refused.contains("no file of an earlier"), "{refused}");
    }
}
