//! Copies that the server makes of its own book: while it is at work, whenever something was written, each checked before it gets
//! its name. Started by `serve` alone.

use std::{
    collections::BTreeSet,
    io,
    path::{Path, PathBuf},
    sync::Arc,
    thread,
    time::Duration,
};

use domain::time::Instant;
use jiff::{Timestamp, civil::DateTime, tz::TimeZone};
use tokio::{runtime, sync::oneshot, time};

use crate::{
    book::{receipts, verify},
    clock::Clock,
    config,
    metrics::{LastBackup, Metrics},
    space,
    state::App,
    store::{backup, file},
};

/// Days of which the last copy is kept.
const DAYS: usize = 31;
/// How a copy is named after the mark of its book: by the moment to which it reaches, so that names sort by age.
const MOMENT: &str = "%Y%m%dT%H%M%SZ.db";

/// Where to, how often, and how many.
#[derive(Debug, Clone)]
pub struct Plan {
    pub folder: PathBuf,
    pub every: Duration,
    pub keep: usize,
}

impl Plan {
    /// Nothing where no folder is named.
    pub fn of(config: &config::Backups) -> Option<Self> {
        Some(Self {
            folder: config.backup_to.clone()?,
            every: Duration::from_secs(u64::from(config.backup_every) * 60),
            keep: usize::try_from(config.backup_keep).unwrap_or(usize::MAX),
        })
    }
}

/// What a copy is made of and told to. It holds no way to the writer, so that a copy that is being checked does not keep a server
/// from stopping.
#[derive(Debug, Clone)]
pub struct Source {
    book: PathBuf,
    clock: Arc<dyn Clock>,
    metrics: Arc<Metrics>,
}

impl Source {
    pub fn of(app: &App) -> Self {
        Self { book: app.store.file().to_owned(), clock: Arc::clone(&app.clock), metrics: app.store.shared_metrics() }
    }
}

/// Makes a copy whenever its time has come and something was written since the last one.
pub async fn run(source: Source, plan: Plan) {
    source.metrics.backups_begin(plan.every, source.clock.now());
    loop {
        match aside(&source, &plan).await {
            Ok(Some(copy)) => tracing::info!(copy = %copy.display(), "the records were copied"),
            Ok(None) => {}
            Err(said) => {
                tracing::error!(detail = said, "the records could not be copied");
                source.metrics.backup_failed(source.clock.now(), said);
            }
        }
        time::sleep(plan.every).await;
    }
}

/// A round on a thread of its own: checking a large copy takes seconds of a processor, which must not be those of whoever waits for
/// an answer, and a server that stops does not wait for it.
async fn aside(source: &Source, plan: &Plan) -> Result<Option<PathBuf>, String> {
    let (made, answer) = oneshot::channel();
    let (source, plan) = (source.clone(), plan.clone());
    let work = move || {
        let runtime = runtime::Builder::new_current_thread().enable_all().build();
        let done =
            runtime.map_err(|error| error.to_string()).and_then(|runtime| runtime.block_on(round(&source, &plan)));
        // Nobody waits for it any more where the server stops.
        let _ = made.send(done);
    };
    thread::Builder::new().name("backup".to_owned()).spawn(work).map_err(|error| error.to_string())?;
    answer.await.map_err(|_| "the copy ended in a panic, which is logged".to_owned())?
}

/// One copy, if something was written since the last one, and the end of those that are too old.
pub async fn round(source: &Source, plan: &Plan) -> Result<Option<PathBuf>, String> {
    let (now, said) = (source.clock.now(), |error: io::Error| format!("{}: {error}", plan.folder.display()));
    let mark = backup::mark(&source.book).await.map_err(|error| error.to_string())?;
    // It is never made here: where a disk is not mounted, a folder of its name would fill the disk beneath.
    let copies = Copies { folder: &plan.folder, mark, book: &source.book };
    copies.clear_undone().map_err(|error| match error.kind() {
        io::ErrorKind::NotFound => format!("{} is not there. Is its disk mounted?", plan.folder.display()),
        _ => said(error),
    })?;
    let last = source.metrics.last_backup().or_else(|| copies.newest());
    let entry = backup::newest_entry(&source.book).await.map_err(|error| error.to_string())?.map(|(number, _)| number);
    let stands = |last: &LastBackup| std::fs::metadata(&last.file).is_ok_and(|file| file.len() == last.bytes);
    if let Some(last) = last.as_ref().filter(|last| last.entry == entry && last.entry.is_some() && stands(last)) {
        source.metrics.backed_up(LastBackup { at: Some(now), ..last.clone() });
        return Ok(None);
    }
    if let Some(fault) = no_room(&source.book, &plan.folder) {
        return Err(fault);
    }
    let to = plan.folder.join(copies.name(now).ok_or("the clock of this machine cannot be read")?);
    let part = backup::begin(&source.book, &to).await.map_err(|error| error.to_string())?;
    if let Err(fault) = sound(&part, entry).await {
        // A disk is not to be filled by what is no backup.
        let _ = std::fs::remove_file(&part);
        return Err(fault);
    }
    let whole = last.as_ref().and_then(|last| last.whole_at).is_none_or(|at| now.since(at).as_hours() >= 24);
    let fault = if whole { adds_up(&part).await } else { last.as_ref().and_then(|last| last.fault.clone()) };
    if let Err(fault) = receipts::beside_copy(&part, &to, now).await {
        let _ = std::fs::remove_file(&part);
        return Err(fault);
    }
    backup::finish(&part, &to).map_err(|error| format!("{}: {error}", to.display()))?;
    let bytes = std::fs::metadata(&to).map_or(0, |copy| copy.len());
    let whole_at = if whole { Some(now) } else { last.and_then(|last| last.whole_at) };
    source.metrics.backed_up(LastBackup { file: to.clone(), at: Some(now), whole_at, fault, entry, bytes });
    copies.clear(plan.keep).map_err(said)?;
    Ok(Some(to))
}

/// Whether the folder's disk has too little left for another copy. It is not filled first: it may be the one of the records.
fn no_room(book: &Path, folder: &Path) -> Option<String> {
    let bytes = |file: &Path| std::fs::metadata(file).map_or(0, |found| found.len());
    let needed = bytes(book) + bytes(&file::beside(book, "-wal"));
    let left = space::left_at(folder)?;
    (left < needed).then(|| {
        format!(
            "a copy may need {} MB, and the disk of {} has {} MB left",
            needed / 1_000_000 + 1,
            folder.display(),
            left / 1_000_000
        )
    })
}

/// That the file is sound and reaches as far as the book did.
async fn sound(part: &Path, entry: Option<i64>) -> Result<(), String> {
    let faults = backup::quick_faults(part).await.map_err(unread)?;
    if let Some(first) = faults.first() {
        return Err(format!("the copy is not sound ({} faults): {first}", faults.len()));
    }
    let reaches = backup::newest_entry(part).await.map_err(unread)?.map(|(number, _)| number);
    if reaches < entry { Err("the copy does not reach as far as the records did".to_owned()) } else { Ok(()) }
}

/// What does not add up in a copy, once a day. It is no fault of the copying, and no reason to have no copy.
async fn adds_up(part: &Path) -> Option<String> {
    let found = match verify::check_file(part).await {
        Ok(found) => found,
        Err(error) => return Some(unread(error)),
    };
    let first = found.faults.first()?;
    Some(format!(
        "they are copied, but do not add up ({} faults: {first}). Copies are made all the same; compare them by `swardbook verify`",
        found.faults.len()
    ))
}

#[expect(clippy::needless_pass_by_value, reason = "it is what a failed result is turned into")]
fn unread(error: impl ToString) -> String {
    format!("the copy cannot be read: {}", error.to_string())
}

/// The copies of one book in a folder that may hold others, too.
struct Copies<'a> {
    folder: &'a Path,
    /// Of the book.
    mark: String,
    book: &'a Path,
}

impl Copies<'_> {
    fn name(&self, at: Instant) -> Option<String> {
        let moment = TimeZone::UTC.to_datetime(Timestamp::from_millisecond(at.millis()).ok()?);
        Some(format!("swardbook-{}-{}", self.mark, moment.strftime(MOMENT)))
    }

    /// The moment that a name tells; nothing of what is no copy of this book.
    fn moment(&self, name: &str) -> Option<Instant> {
        let moment = name.strip_prefix("swardbook-")?.strip_prefix(&self.mark)?.strip_prefix('-')?;
        let at = TimeZone::UTC.to_timestamp(DateTime::strptime(MOMENT, moment).ok()?).ok()?;
        Instant::from_millis(at.as_millisecond())
    }

    /// Names of what lies in the folder, of which the part before `end` is one of this book's copies. The oldest comes first.
    fn names(&self, end: &str) -> io::Result<Vec<String>> {
        let mut names = Vec::new();
        for found in std::fs::read_dir(self.folder)? {
            let name = found?.file_name().into_string().unwrap_or_default();
            if name.strip_suffix(end).is_some_and(|name| self.moment(name).is_some()) {
                names.push(name);
            }
        }
        names.sort_unstable();
        Ok(names)
    }

    /// The newest one, as far as its name tells.
    fn newest(&self) -> Option<LastBackup> {
        let name = self.names("").ok()?.pop()?;
        Some(LastBackup { file: self.folder.join(&name), at: self.moment(&name), ..LastBackup::default() })
    }

    /// Removes what was begun and never finished.
    fn clear_undone(&self) -> io::Result<()> {
        self.names(backup::UNDONE)?.iter().try_for_each(|name| std::fs::remove_file(self.folder.join(name)))
    }

    /// Removes copies that are neither among the newest nor the last of one of the last days. A server may work on one of them.
    fn clear(&self, keep: usize) -> io::Result<()> {
        let names = self.names("")?;
        let mut kept: BTreeSet<&String> = names.iter().rev().take(keep.max(1)).collect();
        let mut days = BTreeSet::new();
        for name in names.iter().rev() {
            // The day is what stands before the time.
            let day = name.rsplit_once('T').map_or(name.as_str(), |(day, _)| day);
            if days.len() < DAYS && days.insert(day) {
                kept.insert(name);
            }
        }
        let book = self.book.canonicalize().ok();
        for path in names.iter().filter(|name| !kept.contains(name)).map(|name| self.folder.join(name)) {
            if book.is_none() || path.canonicalize().ok() != book {
                std::fs::remove_file(&path)?;
                match std::fs::remove_file(file::beside(&path, receipts::OF_COPY)) {
                    Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
                    _ => {}
                }
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn copies(folder: &Path) -> Copies<'_> {
        Copies { folder, mark: "0a1b2c3d".to_owned(), book: Path::new("/nowhere/company.db") }
    }

    #[test]
    fn the_newest_and_the_last_of_each_day_are_kept() {
        let folder = tempfile::tempdir().expect("a folder");
        let put = |name: &str| std::fs::write(folder.path().join(name), b"x").expect("a file");
        for day in 1..=30 {
            for hour in [9, 17] {
                put(&format!("swardbook-0a1b2c3d-202609{day:02}T{hour:02}0000Z.db"));
            }
        }
        let others = ["company.db", "swardbook-99999999-20260901T090000Z.db", "swardbook-2026.db", "notes.txt"];
        let undone = "swardbook-0a1b2c3d-20260901T090000Z.db.part";
        for name in others {
            put(name);
        }
        put(undone);
        put("swardbook-99999999-20260901T090000Z.db.part");
        let copies = copies(folder.path());
        copies.clear_undone().expect("cleared");
        copies.clear(3).expect("cleared");
        let kept = copies.names("").expect("names");
        assert_eq!(kept.len(), 31, "{kept:?}");
        let has = |moment: &str| kept.contains(&format!("swardbook-0a1b2c3d-{moment}.db"));
        assert!(has("20260930T090000Z"), "among the three newest");
        assert!(has("20260901T170000Z"), "the last of its day");
        assert!(!has("20260901T090000Z"));
        for other in others.iter().chain(&["swardbook-99999999-20260901T090000Z.db.part"]) {
            assert!(folder.path().join(other).exists(), "{other} is not ours");
        }
        assert!(!folder.path().join(undone).exists());
    }

    #[test]
    fn the_book_itself_is_no_copy_to_remove() {
        let folder = tempfile::tempdir().expect("a folder");
        let put = |day: u8| {
            let path = folder.path().join(format!("swardbook-0a1b2c3d-202609{day:02}T090000Z.db"));
            std::fs::write(&path, b"x").expect("a file");
            path
        };
        let book = put(1);
        for hour in 0..9 {
            let name = format!("swardbook-0a1b2c3d-20260901T1{hour}0000Z.db");
            std::fs::write(folder.path().join(name), b"x").expect("a file");
        }
        let copies = Copies { book: &book, ..copies(folder.path()) };
        copies.clear(1).expect("cleared");
        assert!(book.exists());
        assert_eq!(copies.names("").expect("names").len(), 2);
    }

    #[test]
    fn a_name_tells_its_moment() {
        let at = Instant::parse("2026-09-15T14:00:07Z").expect("an instant");
        let copies = copies(Path::new("."));
        assert_eq!(copies.name(at).as_deref(), Some("swardbook-0a1b2c3d-20260915T140007Z.db"));
        assert_eq!(copies.moment("swardbook-0a1b2c3d-20260915T140007Z.db"), Some(at));
        assert_eq!(copies.moment("swardbook-99999999-20260915T140007Z.db"), None);
        assert_eq!(copies.moment("swardbook-0a1b2c3d-20261315T140007Z.db"), None);
    }
}
