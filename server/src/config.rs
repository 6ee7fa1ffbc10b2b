//! What the operator says: the command line and the environment. The only reader of either.

use std::{net::SocketAddr, path::PathBuf};

use clap::{Args, Parser, Subcommand};

/// Service records of a lawn-care company: how much fertilizer, and may I, here, today?
#[derive(Debug, Parser)]
#[command(name = "swardbook", version, max_term_width = 100)]
pub struct Cli {
    #[command(subcommand)]
    pub command: Command,
}

#[derive(Debug, Subcommand)]
pub enum Command {
    /// Serve a company's book
    Serve(Serve),
    /// Make an invented company, do the main job once over HTTP, print it, and serve until Ctrl-C
    Demo(Demo),
    /// Copy a book to a new file while the server is at work, and check the copy
    Backup(Backup),
    /// Check a book: the hash chain of its journal, and every total recomputed from the records
    Verify(Verify),
    /// Check a folder of your own rule files, and print every fault with its file, rule and field
    CheckRules(CheckRules),
    /// Print the JSON Schema of rule files, for the editor in which you write them
    RuleSchema,
    /// Print the API document (OpenAPI 3.1)
    Openapi,
}

/// Which file holds the book.
#[derive(Debug, Clone, Args)]
pub struct Book {
    /// File that holds the book; made if it is not there
    #[arg(long, env = "SWARDBOOK_FILE", default_value = "swardbook.db", value_name = "FILE")]
    pub file: PathBuf,
}

#[derive(Debug, Clone, Args)]
pub struct Backup {
    /// File that holds the book; it is only read
    #[arg(long, env = "SWARDBOOK_FILE", default_value = "swardbook.db", value_name = "FILE")]
    pub file: PathBuf,
    /// New file for the copy; it must not exist yet
    #[arg(long, value_name = "FILE")]
    pub to: PathBuf,
}

#[derive(Debug, Clone, Args)]
pub struct Verify {
    /// File that holds the book; it is only read
    #[arg(long, env = "SWARDBOOK_FILE", default_value = "swardbook.db", value_name = "FILE")]
    pub file: PathBuf,
}

#[derive(Debug, Clone, Args)]
pub struct Serve {
    #[command(flatten)]
    pub book: Book,
    /// Address and port to listen on
    #[arg(long, env = "SWARDBOOK_LISTEN", default_value = "127.0.0.1:8080", value_name = "ADDRESS:PORT")]
    pub listen: SocketAddr,
    /// File with the TLS certificate chain (PEM); give the key too
    #[arg(long, env = "SWARDBOOK_TLS_CERTIFICATE", requires = "tls_key", value_name = "FILE")]
    pub tls_certificate: Option<PathBuf>,
    /// File with the TLS private key (PEM)
    #[arg(long, env = "SWARDBOOK_TLS_KEY", requires = "tls_certificate", value_name = "FILE")]
    pub tls_key: Option<PathBuf>,
    /// A proxy stands before this server and speaks TLS; allows plain HTTP on an address others can reach
    #[arg(long, env = "SWARDBOOK_BEHIND_PROXY")]
    pub behind_proxy: bool,
    /// Folder with rule files of your own (*.toml): local ordinances, and company.toml for the company's limits
    #[arg(long, env = "SWARDBOOK_RULES", value_name = "FOLDER")]
    pub rules: Option<PathBuf>,
    /// What to log, such as info or server=debug
    #[arg(long, env = "SWARDBOOK_LOG", default_value = "info", value_name = "FILTER")]
    pub log: String,
    /// Log as JSON, a line each
    #[arg(long, env = "SWARDBOOK_LOG_JSON")]
    pub log_json: bool,
}

#[derive(Debug, Clone, Args)]
pub struct CheckRules {
    /// Folder with rule files (*.toml)
    pub folder: PathBuf,
}

#[derive(Debug, Clone, Args)]
pub struct Demo {
    /// Do the job, print it, and end
    #[arg(long)]
    pub once: bool,
    /// Address and port to listen on; port 0 takes any free one
    #[arg(long, default_value = "127.0.0.1:8080", value_name = "ADDRESS:PORT")]
    pub listen: SocketAddr,
    /// Keep the book in this file instead of a folder that is removed at the end; the file must not exist yet
    #[arg(long, value_name = "FILE")]
    pub file: Option<PathBuf>,
}

#[derive(Debug, PartialEq, Eq, thiserror::Error)]
pub enum ConfigFault {
    #[error(
        "{0} can be reached by others, and plain HTTP would send tokens and records in the open. Give --tls-certificate and \
         --tls-key, or --behind-proxy if a proxy speaks TLS before this server, or listen on 127.0.0.1."
    )]
    PlainAndOpen(SocketAddr),
}

impl Serve {
    /// What would be unsafe to run with.
    pub fn check(&self) -> Result<(), ConfigFault> {
        let plain = self.tls_certificate.is_none();
        if plain && !self.listen.ip().is_loopback() && !self.behind_proxy {
            return Err(ConfigFault::PlainAndOpen(self.listen));
        }
        Ok(())
    }
}
