//! `swardbook restore`: brings a copy back from wherever it lies, checks it before it is put in the place of anything, and says what is
//! not in it.

use std::{
    fs::DirBuilder,
    io,
    os::unix::fs::DirBuilderExt,
    path::{Path, PathBuf},
    process::ExitCode,
};

use tempfile::TempDir;

use super::{
    backup::failed,
    receipts::{self, against::Missing},
    verify,
};
use crate::{
    config::{Restore, Verify},
    console::print_line,
    copies::{
        Name, RECEIPT, pages,
        sealed::Secret,
        target::{Found, Target},
    },
    space::folder_of,
    store::{self, backup, file},
};

/// A copy as it was brought here.
struct Brought {
    /// What it is called where it lies.
    named: String,
    /// As it can be read: the file itself, or what it was unpacked to.
    book: PathBuf,
    unpacked: bool,
    receipt: Option<PathBuf>,
    /// Later copies of the same records.
    newer: Vec<String>,
    /// Where it was unpacked; goes with it.
    _aside: Aside,
}

/// A folder beside a book that is to be restored, for this user alone. What a restore that was killed left in it goes with the next one.
struct Aside(PathBuf);

impl Aside {
    fn beside(book: &Path) -> io::Result<Self> {
        let aside = Self(file::beside(book, ".restoring"));
        aside.clear()?;
        DirBuilder::new().mode(0o700).create(&aside.0)?;
        Ok(aside)
    }

    fn clear(&self) -> io::Result<()> {
        match std::fs::remove_dir_all(&self.0) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
            _ => Ok(()),
        }
    }
}

impl Drop for Aside {
    fn drop(&mut self) {
        let _ = self.clear();
    }
}

/// Puts a copy in the place of records that are lost, after it was checked, and says up to when it reaches.
pub async fn run(config: &Restore) -> ExitCode {
    if let Some(there) = in_the_way(&config.file) {
        return failed(format_args!(
            "{} is there, and a restore never writes over anything. Stop the server, keep that file under another name, and do this again",
            there.display()
        ));
    }
    let brought = match bring(config).await {
        Ok(brought) => brought,
        Err(said) => return failed(format_args!("{said}\nNothing is put in the place of anything")),
    };
    let from = &brought.named;
    print_line(format_args!("The check of {from}:"));
    let against: Vec<String> = brought.receipt.iter().map(|receipt| receipt.display().to_string()).collect();
    if verify::run(&brought.book, &against, None).await != ExitCode::SUCCESS {
        return failed(format_args!("{from} is not put in the place of anything; take an older copy"));
    }
    let missing = match receipts::missing_in(&brought.book, &config.against).await {
        Ok(missing) => missing,
        Err(said) => return failed(format_args!("{said}\n{from} is not put in the place of anything")),
    };
    if let Err(error) = put_back(&brought, &config.file).await {
        return failed(format_args!("{from} cannot be copied to {}: {error}", config.file.display()));
    }
    let done = said(&config.file, missing, !config.against.is_empty()).await;
    for newer in &brought.newer {
        print_line(format_args!("A newer copy of the same records lies beside the one that you took: {newer}"));
    }
    done
}

/// `swardbook verify`, also of a copy that must be unpacked first.
pub async fn verify(config: &Verify) -> ExitCode {
    let (file, since) = (&config.file, config.since.as_deref());
    if !is_packed(file) {
        return verify::run(file, &config.against, since).await;
    }
    let unpacked = || -> Result<(TempDir, PathBuf), String> {
        let secret = config.identity.as_deref().map(Secret::read).transpose()?;
        let folder = tempfile::tempdir_in(folder_of(file)).map_err(|error| error.to_string())?;
        let whole = pages::goes_with(file, secret.as_ref()).map_err(|error| error.to_string())?;
        let whole = whole.map(|whole| folder_of(file).join(whole));
        let book = unpack(file, whole.as_deref(), secret.as_ref(), folder.path())?;
        Ok((folder, book))
    };
    match unpacked() {
        Ok((_folder, book)) => verify::run(&book, &config.against, since).await,
        Err(said) => failed(format_args!("{} cannot be read: {said}", file.display())),
    }
}

/// Whether a file is no book as it is. What cannot be read is told by whoever wants to read it.
fn is_packed(file: &Path) -> bool {
    pages::is_packed(file).unwrap_or(false)
}

/// Finds the copy that is meant, and unpacks it beside where it will lie.
async fn bring(config: &Restore) -> Result<Brought, String> {
    let secret = config.identity.as_deref().map(Secret::read).transpose()?;
    let folder = folder_of(&config.file);
    let aside = Aside::beside(&config.file).map_err(|error| format!("{}: {error}", folder.display()))?;
    let (target, name) = meant(&config.from, config).await?;
    let named = target.named(&name);
    let of_copy = |said: String| format!("{named} cannot be restored: {said}");
    let copy = here(&target, &name, &aside.0).await.map_err(of_copy)?;
    let receipt = here(&target, &format!("{name}{RECEIPT}"), &aside.0).await;
    let receipt = receipt.ok().filter(|receipt| receipt.exists());
    let newer = newer(&target, &name).await;
    if !is_packed(&copy) {
        return Ok(Brought { named, book: copy, unpacked: false, receipt, newer, _aside: aside });
    }
    let whole = pages::goes_with(&copy, secret.as_ref()).map_err(|error| of_copy(error.to_string()))?;
    let whole = match whole {
        Some(whole) => Some(here(&target, &whole, &aside.0).await.map_err(|said| {
            of_copy(format!("it has only what changed since {whole}, which must lie beside it: {said}"))
        })?),
        None => None,
    };
    let book = unpack(&copy, whole.as_deref(), secret.as_ref(), &aside.0).map_err(of_copy)?;
    Ok(Brought { named, book, unpacked: true, receipt, newer, _aside: aside })
}

/// Where the copy lies, and how it is called there. Of a place the newest copy is meant.
async fn meant(from: &str, config: &Restore) -> Result<(Target, String), String> {
    let path = Path::new(from);
    let is_bucket = from.starts_with("s3://");
    if !is_bucket && !path.is_dir() {
        if !path.exists() {
            return Err(format!("{from} is not there"));
        }
        let name = path.file_name().and_then(|name| name.to_str()).ok_or_else(|| format!("{from} names no file"))?;
        return Ok((Target::Folder(folder_of(path)), name.to_owned()));
    }
    if let Some((place, name)) = from.rsplit_once('/').filter(|(_, name)| is_bucket && Name::parse(name).is_some()) {
        return Ok((Target::of(place, &config.storage)?, name.to_owned()));
    }
    let target = Target::of(from, &config.storage)?;
    let copies = target.copies("").await?;
    let newest = copies.last().ok_or_else(|| format!("there is no copy in {from}"))?;
    let others: Vec<&Found> = copies.iter().filter(|other| other.name.mark != newest.name.mark).collect();
    if let Some(other) = others.last() {
        return Err(format!(
            "{from} has copies of several records. Name the copy that you mean, such as {} or {}",
            newest.name, other.name
        ));
    }
    let name = newest.name.to_string();
    Ok((target, name))
}

/// A file of that place on this machine: where it lies, or brought here.
async fn here(target: &Target, name: &str, aside: &Path) -> Result<PathBuf, String> {
    if let Some(folder) = target.folder() {
        return Ok(folder.join(name));
    }
    let to = aside.join(name);
    target.get(name, &to).await.map(|()| to)
}

fn unpack(copy: &Path, whole: Option<&Path>, secret: Option<&Secret>, aside: &Path) -> Result<PathBuf, String> {
    let (book, of_whole) = (aside.join("copy.db"), aside.join("whole.db"));
    if let Some(whole) = whole {
        let said = |error| format!("the whole copy {} that it goes with: {error}", whole.display());
        pages::unpack(whole, secret, None, &of_whole).map_err(said)?;
    }
    pages::unpack(copy, secret, whole.map(|_| of_whole.as_path()), &book).map_err(|error| error.to_string())?;
    // It may be as large as the book, and is needed no more.
    let _ = std::fs::remove_file(of_whole);
    Ok(book)
}

/// Later copies of the same records that lie there.
pub async fn newer(target: &Target, name: &str) -> Vec<String> {
    let Some(name) = Name::parse(name) else { return Vec::new() };
    let copies = target.copies(&name.mark).await.unwrap_or_default();
    copies.iter().filter(|other| other.name.at > name.at).map(|other| target.named(&other.name.to_string())).collect()
}

/// Gives it its name. What was unpacked is what was checked; a file of somebody else is copied, and the copy looked at.
async fn put_back(brought: &Brought, to: &Path) -> Result<(), String> {
    if brought.unpacked {
        return backup::finish(&brought.book, to).map_err(|error| error.to_string());
    }
    let part = backup::begin(&brought.book, to).await.map_err(|error| error.to_string())?;
    let faults = backup::quick_faults(&part).await.unwrap_or_else(|error| vec![error.to_string()]);
    if let Some(first) = faults.into_iter().next() {
        let _ = std::fs::remove_file(&part);
        return Err(first);
    }
    backup::finish(&part, to).map_err(|error| error.to_string())
}

/// What would be written over, or would be taken for what was written last to the restored file. An empty log holds nothing, and
/// goes; so does the index of a log.
fn in_the_way(book: &Path) -> Option<PathBuf> {
    let there = |end: &str| Some(file::beside(book, end)).filter(|path| path.exists());
    let full = |path: &PathBuf| std::fs::metadata(path).is_ok_and(|found| found.len() > 0);
    let open = there(".lock").filter(|_| store::is_open(book));
    let in_the_way = there("").or(open).or_else(|| ["-wal", "-journal"].iter().find_map(|end| there(end).filter(full)));
    if in_the_way.is_none() {
        for end in ["-wal", "-shm"] {
            let _ = std::fs::remove_file(file::beside(book, end));
        }
    }
    in_the_way
}

/// What whoever restored must know.
async fn said(file: &Path, missing: Option<Missing>, asked: bool) -> ExitCode {
    match backup::newest_entry(file).await {
        Ok(Some((number, at))) => {
            print_line(format_args!(
                "{} holds everything up to entry {number} of the journal, written at {at} (UTC).",
                file.display()
            ));
            match missing {
                Some(Missing { first, last, signed_at }) => print_line(format_args!(
                    "Missing: entries {first} to {last} of the journal, {} in all, written after that and before {signed_at} (UTC), when \
                     the newest of the receipts was signed.",
                    last + 1 - first
                )),
                None if asked => print_line("Nothing is missing that the receipts cover."),
                None => {}
            }
            print_line(
                "What was written later is not in it. Phones send again by themselves what they sent since the newest copy; ask the \
                 technicians to open the page, and enter again what the office entered since.",
            );
        }
        Ok(None) => print_line(format_args!("{} is restored; its journal has no entry.", file.display())),
        Err(error) => return failed(format_args!("{} was written and cannot be read: {error}", file.display())),
    }
    ExitCode::SUCCESS
}
