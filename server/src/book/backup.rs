//! `swardbook backup`: a copy of a book that is known to be whole, because it is checked before it is called one.

use std::process::ExitCode;

use super::verify;
use crate::{
    config::Backup,
    console::{print_error, print_line},
    store,
};

/// Copies a book, checks the copy, and says so.
pub async fn run(config: &Backup) -> ExitCode {
    let (from, to) = (config.file.display(), config.to.display());
    if !config.file.exists() {
        print_error(format_args!("there are no records at {from}"));
        return ExitCode::FAILURE;
    }
    if config.to.exists() {
        print_error(format_args!("{to} is there already, and a backup never writes over anything"));
        return ExitCode::FAILURE;
    }
    if let Err(error) = store::backup::copy(&config.file, &config.to).await {
        print_error(format_args!("{from} cannot be copied to {to}: {error}"));
        return ExitCode::FAILURE;
    }
    print_line(format_args!("{from} was copied to {to}, as of one moment. The check of the copy:"));
    verify::run(&config.to).await
}
