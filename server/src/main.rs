//! The command line.

use std::{
    io::{ErrorKind, Write},
    process::ExitCode,
};

use clap::Parser;
use server::{
    config::{Cli, Command},
    demo, openapi, serve,
};
use tracing_subscriber::EnvFilter;

#[tokio::main]
async fn main() -> ExitCode {
    let cli = Cli::parse();
    // TLS needs one provider of cryptography to be chosen before anything speaks it.
    let _ = rustls::crypto::ring::default_provider().install_default();
    let done = match cli.command {
        Command::Serve(config) => {
            log_to_stderr(&config.log, config.log_json);
            serve::serve(&config).await
        }
        Command::Demo(config) => {
            log_to_stderr("warn", false);
            demo::run(&config).await
        }
        Command::Backup(config) => return server::book::backup::run(&config).await,
        Command::Verify(config) => return server::book::verify::run(&config.file).await,
        Command::CheckRules(config) => return serve::check_rules(&config.folder),
        Command::RuleSchema => return print_whole(&format!("{:#}", domain::law::rule_file_schema())),
        Command::Openapi => match openapi::document().to_pretty_json() {
            Ok(text) => return print_whole(&text),
            Err(error) => Err(error.into()),
        },
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("swardbook: {error}");
            ExitCode::FAILURE
        }
    }
}

/// Prints a document. A reader that has seen enough and hangs up is no fault.
fn print_whole(text: &str) -> ExitCode {
    match writeln!(std::io::stdout(), "{text}") {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => {
            eprintln!("swardbook: {error}");
            ExitCode::FAILURE
        }
        _ => ExitCode::SUCCESS,
    }
}

fn log_to_stderr(filter: &str, json: bool) {
    let filter = EnvFilter::try_new(filter).unwrap_or_else(|_| EnvFilter::new("info"));
    let log = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr);
    if json { log.json().init() } else { log.init() }
}
