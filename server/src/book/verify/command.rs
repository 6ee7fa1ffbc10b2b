//! The commands `verify` and `public-key`.

use std::{path::Path, process::ExitCode};

use domain::{quantity::StockBalance, receipt::Signed};

use super::{Base, Found, check_file_against, next_base};
use crate::{
    book::receipts::{self, against},
    clock::{Clock, SystemClock},
    console::{print_error, print_line},
    store::{
        file::{self, FileFault},
        tables,
    },
};

/// `swardbook verify`: prints what was found; fails if anything does not fit.
pub async fn run(file: &Path, against: &[String], since: Option<&Path>) -> ExitCode {
    match checked_since(file, against, since).await {
        Ok(found) => said(&found, since),
        Err(said) => {
            print_error(said);
            ExitCode::FAILURE
        }
    }
}

/// Goes on from what the file `since` says, and where everything fits writes there how far this run came.
pub async fn checked_since(file: &Path, against: &[String], since: Option<&Path>) -> Result<Found, String> {
    let receipts = against.iter().map(|given| against::read(given)).collect::<Result<Vec<Vec<Signed>>, String>>()?;
    let base = since.map(Base::read).transpose()?.flatten();
    let found = checked(file, &receipts.concat(), base).await?;
    if let Some(since) = since.filter(|_| found.faults.is_empty() && found.older.is_none()) {
        let next = next_base(file, &found, SystemClock.now()).await.map_err(|error| unread(file, &error))?;
        let no_key = || format!("{} has no key yet, so how far this run came cannot be signed", file.display());
        next.ok_or_else(no_key)?.write(since)?;
    }
    Ok(found)
}

/// `swardbook public-key`.
pub async fn public_key(file: &Path) -> ExitCode {
    let key = match ours(file).await {
        Ok(()) => receipts::public_key(file).await.map_err(|error| unread(file, &error)),
        Err(said) => Err(said),
    };
    match key {
        Ok(Some(pem)) => {
            print_line(pem.trim_end());
            ExitCode::SUCCESS
        }
        Ok(None) => {
            print_error(format_args!(
                "{} has no key yet. A server of this version makes one when it opens the file.",
                file.display()
            ));
            ExitCode::FAILURE
        }
        Err(said) => {
            print_error(said);
            ExitCode::FAILURE
        }
    }
}

/// Prints what was found.
fn said(found: &Found, since: Option<&Path>) -> ExitCode {
    if let Some(had) = found.older {
        print_line(format_args!(
            "Older version: the file has table change {had} of {}. A copy of it was brought up to date and checked; the file was not changed.",
            tables::newest()
        ));
    }
    print_line(format_args!("Journal: {} entries, the last with hash {}", found.entries, found.last_hash));
    read(found);
    for (product, mass) in &found.stock {
        print_line(format_args!("Stock: {product}: {}", StockBalance::from_raw(*mass).with_unit()));
    }
    for covered in &found.covered {
        print_line(format_args!("Receipts: {covered}"));
    }
    for fault in &found.faults {
        print_line(format_args!("Does not fit: {fault}"));
    }
    if found.faults.is_empty() {
        print_line(if found.base.is_some() { "What was read fits." } else { "Everything fits." });
        if let Some(since) = since.filter(|_| found.older.is_none()) {
            print_line(format_args!(
                "{} says how far, signed. Keep it where who writes the records cannot.",
                since.display()
            ));
        }
        ExitCode::SUCCESS
    } else {
        print_line(format_args!(
            "{} faults. Keep this file as it is, and compare it with the last backup.",
            found.faults.len()
        ));
        ExitCode::FAILURE
    }
}

/// Prints what was read, and what was not.
fn read(found: &Found) {
    let Some(base) = &found.base else {
        print_line(format_args!(
            "Records: {} applications, corrections and clearances, each held against its entry; so is everything the office wrote",
            found.records
        ));
        print_line(format_args!("Totals: {} sections recomputed from labels and records", found.sections));
        return;
    };
    print_line(format_args!(
        "Read: everything after entry {}, and of before it what does not grow with the years: {} entries in all. {} sections that got \
         something since were recomputed from labels and records",
        base.entry(),
        found.read,
        found.sections
    ));
    print_line(format_args!(
        "Not read again: records, attempts, visits, soil reports and movements of stock up to entry {}. The journal still leads back from \
         there, link by link, to its first entry; whether anybody changed those records since an earlier run read them, only a run \
         without --since can say. The last that read everything was at {} (UTC), up to entry {}",
        base.entry(),
        base.whole.at,
        base.whole.entry
    ));
}

/// Checks whatever a person names, or says why it cannot be checked.
pub async fn checked(file: &Path, receipts: &[Signed], base: Option<Base>) -> Result<Found, String> {
    ours(file).await?;
    let failed = |error: sqlx::Error| unread(file, &error);
    let (had, newest) = (tables::of_file(file).await.map_err(failed)?, tables::newest());
    if had.is_some_and(|had| had > newest) {
        return Err(format!("{} was written by a newer version of this program; use that one", file.display()));
    }
    check_file_against(file, receipts, base).await.map_err(failed)
}

/// Says what a person named instead of a file of this program.
async fn ours(file: &Path) -> Result<(), String> {
    match file::look(file) {
        Ok(true) => {}
        Ok(false) => return Err(format!("there are no records at {}", file.display())),
        Err(fault) => return Err(fault.to_string()),
    }
    if file::is_ours(file).await.map_err(|error| unread(file, &error))? {
        Ok(())
    } else {
        Err(FileFault::Foreign(file.to_owned()).to_string())
    }
}

fn unread(file: &Path, error: &sqlx::Error) -> String {
    format!("{} cannot be read: {error}", file.display())
}
