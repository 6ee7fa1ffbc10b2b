//! `swardbook backup`: a copy that is known to be whole, because it is checked before it is called one. And the key to which a server
//! seals those that it makes by itself.

use std::process::ExitCode;

use super::{receipts, verify};
use crate::{
    clock::{Clock, SystemClock},
    config::{Backup, BackupKey},
    console::{print_error, print_line},
    copies::sealed::Secret,
    store::{backup, file},
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

/// `swardbook backup-key`: prints the half that seals, and keeps the other in a new file.
pub fn make_key(config: &BackupKey) -> ExitCode {
    let (secret, to) = (Secret::make(), config.to.display());
    if let Err(error) = secret.keep(&config.to) {
        return failed(format_args!("the key cannot be kept as {to}, and nothing is written over: {error}"));
    }
    print_line(secret.public());
    print_error(format_args!(
        "This is the public key, for serve --backup-key. {to} opens the copies: keep it elsewhere, twice, and take it off this machine. \
         Without it nobody can read them."
    ));
    ExitCode::SUCCESS
}

pub(super) fn failed(said: std::fmt::Arguments<'_>) -> ExitCode {
    print_error(said);
    ExitCode::FAILURE
}
