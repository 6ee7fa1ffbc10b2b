//! The commands `verify` and `public-key`.

use std::{path::Path, process::ExitCode};

use domain::{quantity::StockBalance, receipt::Signed};

use super::{Found, check_file_against};
use crate::{
    book::receipts::{self, against},
    console::{print_error, print_line},
    store::{
        file::{self, FileFault},
        tables,
    },
};

/// `swardbook verify`: prints what was found; fails if anything does not fit.
pub async fn run(file: &Path, against: &[String]) -> ExitCode {
    let receipts: Result<Vec<Vec<Signed>>, String> = against.iter().map(|given| against::read(given)).collect();
    let found = match receipts {
        Ok(receipts) => checked(file, &receipts.concat()).await,
        Err(said) => Err(said),
    };
    let found = match found {
        Ok(found) => found,
        Err(said) => {
            print_error(said);
            return ExitCode::FAILURE;
        }
    };
    said(&found)
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
fn said(found: &Found) -> ExitCode {
    if let Some(had) = found.older {
        print_line(format_args!(
            "Older version: the file has table change {had} of {}. A copy of it was brought up to date and checked; the file was not changed.",
            tables::newest()
        ));
    }
    print_line(format_args!("Journal: {} entries, the last with hash {}", found.entries, found.last_hash));
    print_line(format_args!(
        "Records: {} applications, corrections and clearances, each held against its entry; so is everything the office wrote",
        found.records
    ));
    print_line(format_args!("Totals: {} sections recomputed from labels and records", found.sections));
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
        print_line("Everything fits.");
        ExitCode::SUCCESS
    } else {
        print_line(format_args!(
            "{} faults. Keep this file as it is, and compare it with the last backup.",
            found.faults.len()
        ));
        ExitCode::FAILURE
    }
}

/// Checks whatever a person names, or says why it cannot be checked.
pub async fn checked(file: &Path, receipts: &[Signed]) -> Result<Found, String> {
    ours(file).await?;
    let failed = |error: sqlx::Error| unread(file, &error);
    let (had, newest) = (tables::of_file(file).await.map_err(failed)?, tables::newest());
    if had.is_some_and(|had| had > newest) {
        return Err(format!("{} was written by a newer version of this program; use that one", file.display()));
    }
    check_file_against(file, receipts).await.map_err(failed)
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
