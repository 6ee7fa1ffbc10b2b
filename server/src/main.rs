//! The command line.

use std::process::ExitCode;

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
        Command::Openapi => openapi::document().to_pretty_json().map(|text| println!("{text}")).map_err(Into::into),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("swardbook: {error}");
            ExitCode::FAILURE
        }
    }
}

fn log_to_stderr(filter: &str, json: bool) {
    let filter = EnvFilter::try_new(filter).unwrap_or_else(|_| EnvFilter::new("info"));
    let log = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr);
    if json { log.json().init() } else { log.init() }
}
