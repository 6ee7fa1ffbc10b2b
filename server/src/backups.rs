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
    book::verify,
    clock::Clock,
    config,
    metrics::{LastBackup, Metrics},
    state::App,
    store::{self, backup},
};

/// Days of which the last copy is kept.
const DAYS: usize = 31;
/// How a copy is named: the moment to which it reaches, so that names sort by age.
const NAME: &str = "swardbook-%Y%m%dT%H%M%SZ.db";

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
    if let Some(newest) = names(&plan.folder).ok().and_then(|names| names.last().cloned()) {
        let at = moment(&newest);
        source.metrics.backed_up(LastBackup { at, ..LastBackup::default() });
    }
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
    let now = source.clock.now();
    let last = source.metrics.last_backup();
    let entry = backup::newest_entry(&source.book).await.map_err(|error| error.to_string())?.map(|(number, _)| number);
    let there = names(&plan.folder).is_ok_and(|names| !names.is_empty());
    if let Some(last) = last.as_ref().filter(|last| there && last.bytes > 0 && last.entry == entry) {
        source.metrics.backed_up(LastBackup { at: Some(now), ..last.clone() });
        return Ok(None);
    }
    std::fs::create_dir_all(&plan.folder).map_err(|error| format!("{}: {error}", plan.folder.display()))?;
    let to = plan.folder.join(name(now).ok_or("the clock of this machine cannot be read")?);
    let part = backup::begin(&source.book, &to).await.map_err(|error| error.to_string())?;
    let whole = last.as_ref().and_then(|last| last.whole_at).is_none_or(|at| now.since(at).as_hours() >= 24);
    let checked = check(&part, entry, whole).await;
    if checked.is_err() {
        // A full disk is not to be filled further by what is no backup.
        let _ = std::fs::remove_file(&part);
    }
    checked?;
    backup::finish(&part, &to).map_err(|error| format!("{}: {error}", to.display()))?;
    let bytes = std::fs::metadata(&to).map_or(0, |copy| copy.len());
    let whole_at = if whole { Some(now) } else { last.and_then(|last| last.whole_at) };
    source.metrics.backed_up(LastBackup { at: Some(now), whole_at, entry, bytes });
    clear(&plan.folder, plan.keep, &to).map_err(|error| format!("{}: {error}", plan.folder.display()))?;
    Ok(Some(to))
}

/// Once a day everything is checked; in between, that the file is sound and reaches as far as the book did.
async fn check(part: &Path, entry: Option<i64>, whole: bool) -> Result<(), String> {
    let faults = if whole {
        verify::check_file(part).await.map_err(unread)?.faults
    } else {
        backup::quick_faults(part).await.map_err(unread)?
    };
    if let Some(first) = faults.first() {
        return Err(format!("the copy does not check ({} faults): {first}", faults.len()));
    }
    let reaches = backup::newest_entry(part).await.map_err(unread)?.map(|(number, _)| number);
    if reaches < entry { Err("the copy does not reach as far as the book".to_owned()) } else { Ok(()) }
}

#[expect(clippy::needless_pass_by_value, reason = "it is what a failed result is turned into")]
fn unread(error: impl ToString) -> String {
    format!("the copy cannot be read: {}", error.to_string())
}

fn name(at: Instant) -> Option<String> {
    let moment = TimeZone::UTC.to_datetime(Timestamp::from_millisecond(at.millis()).ok()?);
    Some(moment.strftime(NAME).to_string())
}

/// The moment that a name tells.
fn moment(name: &str) -> Option<Instant> {
    let at = TimeZone::UTC.to_timestamp(DateTime::strptime(NAME, name).ok()?).ok()?;
    Instant::from_millis(at.as_millisecond())
}

/// Names of copies in the folder, the oldest first. Whatever else lies there is not ours.
fn names(folder: &Path) -> io::Result<Vec<String>> {
    let mut names = Vec::new();
    for found in std::fs::read_dir(folder)? {
        let name = found?.file_name().into_string().unwrap_or_default();
        if moment(&name).is_some() {
            names.push(name);
        }
    }
    names.sort_unstable();
    Ok(names)
}

/// Removes copies that are neither among the newest nor the last of one of the last days, and what was never finished.
fn clear(folder: &Path, keep: usize, made: &Path) -> io::Result<()> {
    let names = names(folder)?;
    let mut kept: BTreeSet<&String> = names.iter().rev().take(keep.max(1)).collect();
    let mut days = BTreeSet::new();
    // A day is the first part of a name: `swardbook-20260915`.
    for name in names.iter().rev() {
        if days.len() < DAYS && days.insert(&name[..18]) {
            kept.insert(name);
        }
    }
    for name in names.iter().filter(|name| !kept.contains(name)) {
        std::fs::remove_file(folder.join(name))?;
    }
    for found in std::fs::read_dir(folder)? {
        let path = found?.path();
        let text = path.file_name().and_then(|name| name.to_str()).unwrap_or_default();
        let undone = text.strip_suffix(backup::UNDONE).is_some_and(|name| moment(name).is_some());
        if undone && path != store::file::beside(made, backup::UNDONE) {
            std::fs::remove_file(path)?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_newest_and_the_last_of_each_day_are_kept() {
        let folder = tempfile::tempdir().expect("a folder");
        let put = |name: &str| std::fs::write(folder.path().join(name), b"x").expect("a file");
        for day in 1..=30 {
            for hour in [9, 17] {
                put(&format!("swardbook-202609{day:02}T{hour:02}0000Z.db"));
            }
        }
        for other in ["company.db", "swardbook-20260901T090000Z.db.part", "swardbook-2026.db", "notes.txt"] {
            put(other);
        }
        clear(folder.path(), 3, &folder.path().join("swardbook-20260930T170000Z.db")).expect("cleared");
        let kept = names(folder.path()).expect("names");
        assert_eq!(kept.len(), 31, "{kept:?}");
        assert!(kept.contains(&"swardbook-20260930T090000Z.db".to_owned()), "among the three newest");
        assert!(kept.contains(&"swardbook-20260901T170000Z.db".to_owned()), "the last of its day");
        assert!(!kept.contains(&"swardbook-20260901T090000Z.db".to_owned()));
        for other in ["company.db", "swardbook-2026.db", "notes.txt"] {
            assert!(folder.path().join(other).exists(), "{other} is not ours");
        }
        assert!(!folder.path().join("swardbook-20260901T090000Z.db.part").exists());
    }

    #[test]
    fn a_name_tells_its_moment() {
        let at = Instant::parse("2026-09-15T14:00:07Z").expect("an instant");
        assert_eq!(name(at).as_deref(), Some("swardbook-20260915T140007Z.db"));
        assert_eq!(moment("swardbook-20260915T140007Z.db"), Some(at));
        assert_eq!(moment("swardbook-20261315T140007Z.db"), None);
    }
}
