//! `swardbook backup`: a copy of a book that is known to be whole, because it is checked before it is called one.

use std::process::ExitCode;

use super::verify;
use crate::{config::Backup, console::print_line, store};

/// Copies a book, checks the copy, and says so.
pub async fn run(config: &Backup) -> ExitCode {
    let (from, to) = (config.file.display(), config.to.display());
    if !config.file.exists() {
        eprintln!("swardbook: there is no book at {from}");
        return ExitCode::FAILURE;
    }
    if config.to.exists() {
        eprintln!("swardbook: {to} is there already, and a backup never writes over anything");
        return ExitCode::FAILURE;
    }
    if let Err(error) = store::backup::copy(&config.file, &config.to).await {
        eprintln!("swardbook: {from} cannot be copied to {to}: {error}");
        return ExitCode::FAILURE;
    }
    print_line(format_args!("{from} was copied to {to}, as of one moment. The check of the copy:"));
    verify::run(&config.to).await
}
