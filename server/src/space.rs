//! How much room is left on the disks of the book and of its copies, and whether that is less than the operator's floor: told in the log,
//! on the office's first page, by readiness and in the metrics while there is still time to make room.

use std::{
    path::{Path, PathBuf},
    sync::{Arc, Mutex, MutexGuard, PoisonError, Weak},
    thread,
    time::Duration,
};

/// How often the disks are looked at.
const EVERY: Duration = Duration::from_secs(30);

/// Whose disk it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    Records,
    Copies,
}

impl Place {
    /// As the metrics have it.
    pub fn label(self) -> &'static str {
        match self {
            Self::Records => "records",
            Self::Copies => "copies",
        }
    }
}

/// What is left on one disk.
#[derive(Debug, Clone)]
pub struct Left {
    pub place: Place,
    pub bytes: u64,
    pub floor: u64,
}

impl Left {
    pub fn is_low(&self) -> bool {
        self.bytes < self.floor
    }

    /// What a person reads of a disk that has little left.
    pub fn sentence(&self) -> String {
        let (left, floor, of) = (megabytes(self.bytes), megabytes(self.floor), self.place.label());
        let then = match self.place {
            Place::Records => "nothing can be recorded any more",
            Place::Copies => "no copies are made any more",
        };
        format!(
            "The disk of the {of} has {left} MB left, less than the {floor} MB that are to be free. When it is full, {then}"
        )
    }
}

fn megabytes(bytes: u64) -> u64 {
    bytes / 1_000_000
}

/// What was left on each disk that is watched, when it was last looked at.
#[derive(Debug, Default)]
pub struct Space(Mutex<Vec<Left>>);

impl Space {
    fn seen(&self) -> MutexGuard<'_, Vec<Left>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Looks at the disks from now on, each on a thread of its own for as long as anybody has this: a share that does not answer
    /// lets its thread wait, and nobody else.
    pub fn watch(self: &Arc<Self>, floor: u64, book: &Path, copies: Option<&Path>) {
        let places = [(Place::Records, Some(folder_of(book))), (Place::Copies, copies.map(Path::to_owned))];
        for (place, folder) in places {
            let Some(folder) = folder else { continue };
            let space = Arc::downgrade(self);
            let watching = thread::Builder::new().name("disk".to_owned());
            if let Err(error) = watching.spawn(move || look_on(&space, place, &folder, floor)) {
                tracing::error!(%error, "a disk is not watched");
            }
        }
    }

    /// Looks at one disk. A folder that is not there has no room to tell; whoever writes to it tells that.
    pub fn look(&self, place: Place, folder: &Path, floor: u64) {
        // Before the lock: a share that does not answer must not keep it.
        let now = left_at(folder).map(|bytes| Left { place, bytes, floor });
        let mut seen = self.seen();
        let was_low = seen.iter().any(|before| before.place == place && before.is_low());
        match &now {
            Some(left) if left.is_low() && !was_low => tracing::warn!(bytes = left.bytes, "{}", left.sentence()),
            Some(left) if !left.is_low() && was_low => {
                tracing::info!(bytes = left.bytes, disk = place.label(), "the disk has room again");
            }
            _ => {}
        }
        seen.retain(|before| before.place != place);
        seen.extend(now);
        seen.sort_by_key(|left| left.place);
    }

    /// What was left when the disks were last looked at.
    pub fn left(&self) -> Vec<Left> {
        self.seen().clone()
    }

    /// Those that have little left.
    pub fn low(&self) -> Vec<Left> {
        let mut left = self.left();
        left.retain(Left::is_low);
        left
    }
}

fn look_on(space: &Weak<Space>, place: Place, folder: &Path, floor: u64) {
    while let Some(space) = space.upgrade() {
        space.look(place, folder, floor);
        drop(space);
        thread::sleep(EVERY);
    }
}

/// Bytes that are left for this user on the disk of a folder; nothing where it is not there or does not say.
pub fn left_at(folder: &Path) -> Option<u64> {
    let found = rustix::fs::statvfs(folder).ok()?;
    Some(found.f_bavail.saturating_mul(found.f_frsize))
}

/// The folder in which a file lies.
pub fn folder_of(file: &Path) -> PathBuf {
    let folder = file.parent().filter(|folder| !folder.as_os_str().is_empty());
    folder.unwrap_or(Path::new(".")).to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_below_the_floor_is_low_and_a_folder_that_is_not_there_tells_nothing() {
        let folder = tempfile::tempdir().expect("a folder");
        let (at, nowhere) = (folder.path(), folder.path().join("nowhere"));
        let space = Space::default();
        assert!(space.left().is_empty(), "nothing is watched yet");
        space.look(Place::Copies, at, u64::MAX);
        space.look(Place::Records, at, 0);
        assert_eq!(space.left().iter().map(|left| left.place).collect::<Vec<_>>(), [Place::Records, Place::Copies]);
        let low = space.low();
        assert_eq!(low.iter().map(|left| left.place).collect::<Vec<_>>(), [Place::Copies]);
        assert!(low[0].sentence().contains(&format!("{} MB left", low[0].bytes / 1_000_000)));
        // Its disk was taken away; what was said of it counts no more.
        space.look(Place::Copies, &nowhere, u64::MAX);
        assert!(space.low().is_empty());
        assert_eq!(folder_of(Path::new("book.db")), Path::new("."));
    }
}
