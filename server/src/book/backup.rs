//! `swardbook backup` and `swardbook restore`: a copy that is known to be whole, because it is checked before it is called one.

use std::{
    ffi::OsStr,
    path::{Path, PathBuf},
    process::ExitCode,
};

use super::{
    receipts::{self, against::Missing},
    verify,
};
use crate::{
    clock::{Clock, SystemClock},
    config::{Backup, Restore},
    console::{print_error, print_line},
    space::folder_of,
    store::{self, backup, file},
};

/// Copies a book, checks the copy, and says so. What does not check keeps a name that says that it is not done.
pub async fn run(config: &Backup) -> ExitCode {
    let (from, to) = (config.file.display(), config.to.display());
    match file::look(&config.file) {
        Ok(true) => {}
        Ok(false) => return failed(format_args!("there are no records at {from}")),
        Err(fault) => return failed(format_args!("{fault}")),
    }
    match file::is_ours(&config.file).await {
        Ok(true) => {}
        Ok(false) => return failed(format_args!("{}", file::FileFault::Foreign(config.file.clone()))),
        Err(error) => return failed(format_args!("{from} cannot be read: {error}")),
    }
    if config.to.exists() {
        return failed(format_args!("{to} is there already, and a backup never writes over anything"));
    }
    let part = match backup::begin(&config.file, &config.to).await {
        Ok(part) => part,
        Err(error) => return failed(format_args!("{from} cannot be copied to {to}: {error}")),
    };
    print_line(format_args!("{from} was copied, as of one moment. The check of the copy:"));
    if verify::run(&part, &[], None).await != ExitCode::SUCCESS {
        return failed(format_args!("the copy stays as {}, which is no backup", part.display()));
    }
    let receipt = match receipts::beside_copy(&part, &config.to, SystemClock.now()).await {
        Ok(receipt) => receipt,
        Err(said) => {
            let _ = std::fs::remove_file(&part);
            return failed(format_args!("the receipt of the copy cannot be made, so the copy is gone again: {said}"));
        }
    };
    match backup::finish(&part, &config.to) {
        Ok(()) => {
            print_line(format_args!("The copy is {to}."));
            if let Some(receipt) = receipt {
                print_line(format_args!("{} says how far it reaches, signed: keep one elsewhere.", receipt.display()));
            }
            ExitCode::SUCCESS
        }
        Err(error) => failed(format_args!("the copy cannot be named {to} and is gone again: {error}")),
    }
}

/// Puts a copy in the place of records that are lost, after it was checked, and says up to when it reaches.
pub async fn restore(config: &Restore) -> ExitCode {
    let (from, to) = (config.from.display(), config.file.display());
    if let Some(there) = in_the_way(&config.file) {
        return failed(format_args!(
            "{} is there, and a restore never writes over anything. Stop the server, keep that file under another name, and do this again",
            there.display()
        ));
    }
    print_line(format_args!("The check of {from}:"));
    let receipt = file::beside(&config.from, receipts::OF_COPY);
    let against: Vec<String> = receipt.exists().then(|| receipt.display().to_string()).into_iter().collect();
    if verify::run(&config.from, &against, None).await != ExitCode::SUCCESS {
        return failed(format_args!("{from} is not put in the place of anything; take an older copy"));
    }
    let missing = match receipts::missing_in(&config.from, &config.against).await {
        Ok(missing) => missing,
        Err(said) => return failed(format_args!("{said}\n{from} is not put in the place of anything")),
    };
    if let Err(error) = put_back(config).await {
        return failed(format_args!("{from} cannot be copied to {to}: {error}"));
    }
    let done = said(&config.file, missing, !config.against.is_empty()).await;
    for newer in newer_beside(&config.from) {
        print_line(format_args!(
            "A newer copy of the same records lies beside the one that you took: {}",
            newer.display()
        ));
    }
    done
}

/// Copies that the server made of the same records later than this one: their names sort by their moments.
pub fn newer_beside(copy: &Path) -> Vec<PathBuf> {
    let Some(name) = copy.file_name().and_then(OsStr::to_str) else { return Vec::new() };
    let Some((mark, _)) = name.strip_prefix("swardbook-").and_then(|rest| rest.split_once('-')) else {
        return Vec::new();
    };
    let same = |other: &str| {
        other.starts_with(&format!("swardbook-{mark}-")) && other.ends_with(backup::WHOLE) && other > name
    };
    let found = std::fs::read_dir(folder_of(copy)).into_iter().flatten().flatten().map(|found| found.path());
    let mut newer: Vec<PathBuf> =
        found.filter(|path| path.file_name().and_then(OsStr::to_str).is_some_and(same)).collect();
    newer.sort();
    newer
}

/// Copies it and looks at what was written before it gets its name.
async fn put_back(config: &Restore) -> Result<(), String> {
    let part = backup::begin(&config.from, &config.file).await.map_err(|error| error.to_string())?;
    let faults = backup::quick_faults(&part).await.unwrap_or_else(|error| vec![error.to_string()]);
    if let Some(first) = faults.into_iter().next() {
        let _ = std::fs::remove_file(&part);
        return Err(first);
    }
    backup::finish(&part, &config.file).map_err(|error| error.to_string())
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
                "What was written later is not in it. Phones send the records that they still hold by themselves; ask the \
                 technicians and look at what the office entered since.",
            );
        }
        Ok(None) => print_line(format_args!("{} is restored; its journal has no entry.", file.display())),
        Err(error) => return failed(format_args!("{} was written and cannot be read: {error}", file.display())),
    }
    ExitCode::SUCCESS
}

fn failed(said: std::fmt::Arguments<'_>) -> ExitCode {
    print_error(said);
    ExitCode::FAILURE
}
