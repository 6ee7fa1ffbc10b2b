//! Where the book is, told by what the file is and not by its name: a program that has a file open goes on writing to it when it is moved,
//! replaced or deleted, and nobody would find what it wrote.

use std::{
    os::unix::fs::MetadataExt,
    path::{Path, PathBuf},
    sync::{Mutex, PoisonError},
};

use super::file::beside;
use crate::problem::{Kind, Problem};

/// Disk and number on it: another file has others for as long as the first one is open.
type Identity = (u64, u64);

fn identity(file: &Path) -> Option<Identity> {
    std::fs::metadata(file).ok().map(|found| (found.dev(), found.ino()))
}

/// The files of the book that a server has open.
#[derive(Debug)]
pub struct Place {
    file: PathBuf,
    log: PathBuf,
    book: Option<Identity>,
    /// Of the file beside it that holds what was written last, once there is one. It stays the same while any connection is open.
    known_log: Mutex<Option<Identity>>,
}

impl Place {
    /// To be asked once the file is open for writing, which makes it if it was not there.
    pub fn of(file: &Path) -> Self {
        let log = beside(file, "-wal");
        Self { file: file.to_owned(), book: identity(file), known_log: Mutex::new(identity(&log)), log }
    }

    /// What is not where it was. Costs two looks at the folder.
    pub fn misplaced(&self) -> Option<Misplaced> {
        let of = |what, now: Option<Identity>| Misplaced { what, replaced: now.is_some() };
        let book = identity(&self.file);
        if book != self.book {
            return Some(of(What::Book, book));
        }
        let log = identity(&self.log);
        let mut known = self.known_log.lock().unwrap_or_else(PoisonError::into_inner);
        match *known {
            None => *known = log,
            Some(was) if log != Some(was) => return Some(of(What::Log, log)),
            Some(_) => {}
        }
        None
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum What {
    Book,
    Log,
}

/// What is not where it was, and whether something else lies there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Misplaced {
    what: What,
    replaced: bool,
}

impl Misplaced {
    /// What happened.
    pub fn sentence(self) -> String {
        let what = match self.what {
            What::Book => "the file of the records",
            What::Log => "the file beside the records that holds what was written last (-wal)",
        };
        if self.replaced {
            format!("another file was put in the place of {what} while the server was running")
        } else {
            format!("{what} was moved or deleted while the server was running")
        }
    }

    /// What ends it.
    pub fn way_out(self) -> &'static str {
        match self.what {
            What::Book => {
                "Whoever runs the server puts the same file back, and writing goes on by itself; if it was deleted, they stop the server, \
                 restore a copy and start it again."
            }
            What::Log => {
                "Whoever runs the server puts the same file back, and writing goes on by itself; if it was deleted, they stop the server and \
                 start it again."
            }
        }
    }

    /// What somebody is told who wanted to write, and what became of it.
    pub fn problem(self, became: &str) -> Problem {
        let detail = format!("Nothing is recorded: {}. {} {became}", self.sentence(), self.way_out());
        Problem::new(Kind::StorageFailed, detail).retry_after(30)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_known_by_what_it_is_and_not_by_its_name() {
        let folder = tempfile::tempdir().expect("a folder");
        let at = |name: &str| folder.path().join(name);
        let rename = |from: &str, to: &str| std::fs::rename(at(from), at(to)).expect("renamed");
        std::fs::write(at("book"), b"records").expect("a file");
        let place = Place::of(&at("book"));
        assert_eq!(place.misplaced(), None);
        let found = |what, replaced| Some(Misplaced { what, replaced });
        // The log comes later, and is known from then on.
        std::fs::write(at("book-wal"), b"log").expect("a file");
        assert_eq!(place.misplaced(), None);
        rename("book-wal", "aside");
        assert_eq!(place.misplaced(), found(What::Log, false));
        std::fs::write(at("book-wal"), b"log").expect("a file");
        assert_eq!(place.misplaced(), found(What::Log, true));
        rename("aside", "book-wal");
        assert_eq!(place.misplaced(), None);
        rename("book", "aside");
        assert_eq!(place.misplaced(), found(What::Book, false));
        std::fs::copy(at("aside"), at("book")).expect("a copy");
        assert_eq!(place.misplaced(), found(What::Book, true), "the same bytes are another file");
        rename("aside", "book");
        assert_eq!(place.misplaced(), None);
    }
}
