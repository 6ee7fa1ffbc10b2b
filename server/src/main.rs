//! The command line.

use std::{
    io::{self, ErrorKind, Write},
    process::ExitCode,
};

use clap::Parser;
use server::{
    config::{Cli, Command},
    console::print_error,
    demo, log, openapi, serve,
};

#[tokio::main]
async fn main() -> ExitCode {
    let cli = Cli::parse();
    // TLS needs one provider of cryptography to be chosen before anything speaks it.
    let _ = rustls::crypto::ring::default_provider().install_default();
    let done = match cli.command {
        Command::Serve(config) => {
            let _log = log::start(&config.log, config.log_json);
            serve::serve(&config).await
        }
        Command::Demo(config) => {
            let _log = log::start("warn", false);
            demo::run(&config).await
        }
        Command::Backup(config) => return server::book::backup::run(&config).await,
        Command::Restore(config) => return server::book::restore::run(&config).await,
        Command::BackupKey(config) => return server::book::backup::make_key(&config),
        Command::Verify(config) => return server::book::restore::verify(&config).await,
        Command::PublicKey(config) => return server::book::verify::public_key(&config.file).await,
        Command::CheckRules(config) => return serve::check_rules(&config.folder),
        Command::RuleSchema => return print_whole(openapi::rule_file_schema()),
        Command::Openapi => return print_whole(openapi::document()),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            print_error(error);
            ExitCode::FAILURE
        }
    }
}

/// Prints a document. A reader that has seen enough and hangs up is no fault.
fn print_whole(text: io::Result<String>) -> ExitCode {
    match text.and_then(|text| io::stdout().write_all(text.as_bytes())) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => {
            print_error(error);
            ExitCode::FAILURE
        }
        _ => ExitCode::SUCCESS,
    }
}
