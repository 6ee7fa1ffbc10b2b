//! Copies that the server makes of its own book: while it is at work, whenever something was written, each read back and held against
//! the book before it gets its name. Once a night a whole one, in between what changed since. Started by `serve` alone.

mod checks;

use std::{
    io,
    path::{Path, PathBuf},
    sync::{Arc, Mutex, MutexGuard, PoisonError},
    thread,
    time::Duration,
};

use domain::time::Instant;
use tokio::{runtime, sync::oneshot, time};

use self::checks::{adds_up, night_before, no_room, sound, unread};
use crate::{
    book::receipts,
    clock::Clock,
    config,
    copies::{
        self, Name,
        pages::{self, Remembered},
        sealed::{PublicKey, Secret},
        target::{Found, Target},
    },
    metrics::{LastBackup, Metrics},
    space,
    state::App,
    store::{backup, file},
};

/// Where to, how often, how many, and to whom they are sealed.
#[derive(Debug, Clone)]
pub struct Plan {
    pub target: Target,
    pub every: Duration,
    pub keep: usize,
    pub key: Option<PublicKey>,
}

impl Plan {
    /// Nothing where no place is named.
    pub fn of(config: &config::Backups) -> Result<Option<Self>, String> {
        let Some(named) = &config.backup_to else { return Ok(None) };
        let key = config.backup_key.as_deref().map(PublicKey::parse).transpose();
        Ok(Some(Self {
            target: Target::of(named, &config.storage)?,
            every: config.backup_every,
            keep: usize::try_from(config.backup_keep).unwrap_or(usize::MAX),
            key: key.map_err(|said| format!("--backup-key: {said}"))?,
        }))
    }

    pub fn to_folder(folder: &Path, every: Duration, keep: usize) -> Self {
        Self { target: Target::Folder(folder.to_owned()), every, keep, key: None }
    }

    /// Where what is not done lies on this machine: with the copies, unless these are elsewhere or nobody may read them there.
    fn aside(&self, book: &Path) -> PathBuf {
        let with_copies = self.target.folder().filter(|_| self.key.is_none());
        with_copies.map_or_else(|| space::folder_of(book), Path::to_owned)
    }
}

/// The newest whole copy that this server made, by which later ones tell what changed.
#[derive(Debug)]
struct Whole {
    name: Name,
    bytes: u64,
    remembered: Remembered,
}

/// What a copy is made of and told to. It holds no way to the writer, so that a copy that is being checked does not keep a server
/// from stopping.
#[derive(Debug, Clone)]
pub struct Source {
    book: PathBuf,
    clock: Arc<dyn Clock>,
    metrics: Arc<Metrics>,
    whole: Arc<Mutex<Option<Arc<Whole>>>>,
}

impl Source {
    pub fn of(app: &App) -> Self {
        Self {
            book: app.store.file().to_owned(),
            clock: Arc::clone(&app.clock),
            metrics: app.store.shared_metrics(),
            whole: Arc::default(),
        }
    }

    fn whole(&self) -> MutexGuard<'_, Option<Arc<Whole>>> {
        self.whole.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The whole copy that the next one may go with: if it still lies there, and was made since the night began.
    fn whole_since(&self, night: Instant, there: &[Found]) -> Option<Arc<Whole>> {
        let whole = self.whole().clone()?;
        let lies_there = there.iter().any(|found| found.name == whole.name && found.bytes == whole.bytes);
        (lies_there && whole.name.at >= night).then_some(whole)
    }
}

/// Makes a copy whenever its time has come and something was written since the last one.
pub async fn run(source: Source, plan: Plan) {
    source.metrics.backups_begin(plan.every, source.clock.now());
    loop {
        match aside(&source, &plan).await {
            Ok(Some(copy)) => tracing::info!(copy = plan.target.named(&copy.to_string()), "the records were copied"),
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
async fn aside(source: &Source, plan: &Plan) -> Result<Option<Name>, String> {
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
pub async fn round(source: &Source, plan: &Plan) -> Result<Option<Name>, String> {
    let (now, book) = (source.clock.now(), &source.book);
    let mark = backup::mark(book).await.map_err(unread)?;
    let aside = plan.aside(book);
    // The folder is never made here: where a disk is not mounted, one of its name would fill the disk beneath.
    plan.target.clear_undone(&mark).await?;
    clear_aside(&aside, &mark).map_err(|error| format!("{}: {error}", aside.display()))?;
    let there = plan.target.copies(&mark).await?;
    let last = source.metrics.last_backup().or_else(|| {
        let newest = there.last()?;
        Some(LastBackup { name: newest.name.to_string(), at: Some(newest.name.at), ..LastBackup::default() })
    });
    let entry = backup::newest_entry(book).await.map_err(unread)?.map(|(number, _)| number);
    if let Some(last) = last.as_ref().filter(|last| last.entry == entry && entry.is_some() && stands(last, &there)) {
        source.metrics.backed_up(LastBackup { at: Some(now), ..last.clone() });
        return Ok(None);
    }
    let at = copies::to_the_second(now);
    if there.iter().any(|found| found.name.at == at) {
        // Names tell moments to the second; the next round is later.
        return Ok(None);
    }
    if let Some(fault) = no_room(book, plan, &aside) {
        return Err(fault);
    }
    let night = night_before(now, backup::zone(book).await.map_err(unread)?.as_deref());
    let work = Work { source, plan, aside: &aside, mark, at };
    let made = work.copy(entry, night, &there, last.as_ref()).await?;
    work.clear(&made, there).await?;
    Ok(Some(made))
}

/// One copy that is being made.
struct Work<'a> {
    source: &'a Source,
    plan: &'a Plan,
    aside: &'a Path,
    /// Of the book.
    mark: String,
    at: Instant,
}

impl Work<'_> {
    async fn copy(
        &self,
        entry: Option<i64>,
        night: Instant,
        there: &[Found],
        last: Option<&LastBackup>,
    ) -> Result<Name, String> {
        let said = |error: io::Error| format!("the copy cannot be made: {error}");
        let whole = self.source.whole_since(night, there);
        let is_night = whole.is_none();
        let plain = Unfinished(self.aside.join(format!("swardbook-{}-undone{}", self.mark, backup::UNDONE)));
        backup::page_by_page(&self.source.book, &plain.0).map_err(said)?;
        let reaches = sound(&plain.0, entry).await?;
        let fault = if is_night { adds_up(&plain.0).await } else { last.and_then(|last| last.fault.clone()) };
        let whole = match whole {
            Some(whole) if !whole.remembered.is_far_from(&plain.0).map_err(said)? => Some(whole),
            _ => None,
        };
        let name = Name {
            at: self.at,
            since: whole.as_ref().map(|whole| whole.name.at),
            packed: true,
            sealed: self.plan.key.is_some(),
            mark: self.mark.clone(),
        };
        let remembered = whole.as_ref().map(|whole| &whole.remembered);
        let bytes = self.store(&plain.0, &name, remembered).await?;
        if whole.is_none() {
            let remembered = Remembered::of(&plain.0, name.to_string()).map_err(said)?;
            *self.source.whole() = Some(Arc::new(Whole { name: name.clone(), bytes, remembered }));
        }
        let whole_at = if is_night { Some(self.at) } else { last.and_then(|last| last.whole_at) };
        let made = LastBackup { name: name.to_string(), at: Some(self.at), whole_at, fault, entry: reaches, bytes };
        self.source.metrics.backed_up(made);
        Ok(name)
    }

    /// Packs a copy, brings it to where copies lie, reads it back, and only then gives it its name. Says how large it is.
    async fn store(&self, plain: &Path, name: &Name, since: Option<&Remembered>) -> Result<u64, String> {
        let target = &self.plan.target;
        let said = |error: io::Error| format!("{}: {error}", target.named(&name.to_string()));
        let receipt = receipts::of_file(plain, self.source.clock.now()).await.map_err(|error| error.to_string())?;
        let receipt = receipt.ok_or("these records have no key yet, so their copy cannot have a receipt")?;
        // What is sealed opens for its owner alone, and once for this server, which forgets the key by which it reads it back.
        let once = self.plan.key.as_ref().map(|_| Secret::make());
        let keys: Vec<PublicKey> = self.plan.key.iter().cloned().chain(once.as_ref().map(Secret::public)).collect();
        let packed = Unfinished(target.part(name, self.aside));
        remove(&packed.0).map_err(said)?;
        pages::pack(plain, since, &keys, &packed.0).map_err(said)?;
        let bytes = std::fs::metadata(&packed.0).map_err(said)?.len();
        let back = Unfinished(file::beside(&self.aside.join(name.to_string()), ".back.part"));
        let read_back = if target.folder().is_some() { &packed.0 } else { &back.0 };
        let stored = match target.sent(&packed.0, name, &back.0).await {
            Ok(()) => pages::holds(read_back, once.as_ref(), plain, since).map_err(said),
            failed => failed,
        };
        let stored = match stored {
            Ok(()) => target.put(&packed.0, name, &receipt).await,
            failed => failed,
        };
        if stored.is_err() {
            target.give_up(name).await;
        }
        stored.map(|()| bytes)
    }

    /// Removes what is too old. A server may work on a file that is called like one of its copies.
    async fn clear(&self, made: &Name, there: Vec<Found>) -> Result<(), String> {
        let names = there.into_iter().map(|found| found.name).chain([made.clone()]).collect();
        let book = self.source.book.canonicalize().ok();
        for name in copies::outdated(names, self.plan.keep) {
            let is_book = |folder: &Path| folder.join(name.to_string()).canonicalize().ok() == book;
            if book.is_none() || !self.plan.target.folder().is_some_and(is_book) {
                self.plan.target.remove(&name).await?;
            }
        }
        Ok(())
    }
}

/// A file that goes where it did not get another name: a disk is not to be filled by what is no backup.
struct Unfinished(PathBuf);

impl Drop for Unfinished {
    fn drop(&mut self) {
        let _ = std::fs::remove_file(&self.0);
    }
}

fn remove(path: &Path) -> io::Result<()> {
    match std::fs::remove_file(path) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
        _ => Ok(()),
    }
}

/// Removes what a killed server had put aside.
fn clear_aside(aside: &Path, mark: &str) -> io::Result<()> {
    let begins = format!("swardbook-{mark}-");
    for found in std::fs::read_dir(aside)? {
        let found = found?;
        let name = found.file_name().into_string().unwrap_or_default();
        let undone = [backup::UNDONE, ".part-journal", ".part-wal", ".part-shm"].iter().any(|end| name.ends_with(end));
        if name.starts_with(&begins) && undone {
            remove(&found.path())?;
        }
    }
    Ok(())
}

/// Whether the newest copy is still there as it was made, with the whole one that it goes with.
fn stands(last: &LastBackup, there: &[Found]) -> bool {
    let Some(copy) = there.iter().find(|found| found.name.to_string() == last.name && found.bytes == last.bytes) else {
        return false;
    };
    let whole = |since| there.iter().any(|found| found.name.since.is_none() && found.name.at == since);
    copy.name.since.is_none_or(whole)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_killed_server_put_aside_goes_and_nothing_else() {
        let folder = tempfile::tempdir().expect("a folder");
        let ours = [
            "swardbook-0a1b2c3d-undone.part",
            "swardbook-0a1b2c3d-undone.part-journal",
            "swardbook-0a1b2c3d-20260915T140007Z.db.zst.back.part",
        ];
        let others = [
            "swardbook-99999999-undone.part",
            "company.db",
            "company.db-wal",
            "swardbook-0a1b2c3d-20260915T140007Z.db",
            "notes.part",
        ];
        for name in ours.iter().chain(&others) {
            std::fs::write(folder.path().join(name), b"x").expect("a file");
        }
        clear_aside(folder.path(), "0a1b2c3d").expect("cleared");
        assert!(!ours.iter().any(|name| folder.path().join(name).exists()));
        assert!(others.iter().all(|name| folder.path().join(name).exists()));
    }
}
