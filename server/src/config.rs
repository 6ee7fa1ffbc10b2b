//! What the operator says: the command line and the environment. The only reader of either.

use std::{net::SocketAddr, path::PathBuf, time::Duration};

use clap::{Args, Parser, Subcommand};

use crate::lane;

mod copies;

pub use copies::{Backups, Hidden, Storage};

/// Service records of a lawn-care company: how much fertilizer, and may I, here, today?
#[derive(Debug, Parser)]
#[command(name = "swardbook", version, max_term_width = 100)]
pub struct Cli {
    #[command(subcommand)]
    pub command: Command,
}

#[derive(Debug, Subcommand)]
#[expect(clippy::large_enum_variant, reason = "there is one, read once at the start")]
pub enum Command {
    /// Serve a company's records
    Serve(Serve),
    /// Make an invented company, do the main job once over HTTP, print it, and serve until Ctrl-C
    Demo(Demo),
    /// Copy the records to a new file while the server is at work, and check the copy
    Backup(Backup),
    /// Put a copy in the place of records that are lost, after checking it
    Restore(Restore),
    /// Make a key to which the server seals its copies, and print its public half (serve --backup-key)
    BackupKey(BackupKey),
    /// Check the records: the hash chain of the journal, and every total recomputed
    Verify(Verify),
    /// Print the public key by which receipts of the records are checked (PEM)
    PublicKey(PublicKey),
    /// Check a folder of your own rule files, and print every fault with its file, rule and field
    CheckRules(CheckRules),
    /// Print the JSON Schema of rule files, for the editor in which you write them
    RuleSchema,
    /// Print the API document (OpenAPI 3.1)
    Openapi,
}

/// Which file holds the records.
#[derive(Debug, Clone, Args)]
pub struct Book {
    /// File that holds the records; made if it is not there
    #[arg(long, env = "SWARDBOOK_FILE", default_value = "swardbook.db", value_name = "FILE")]
    pub file: PathBuf,
}

#[derive(Debug, Clone, Args)]
pub struct Backup {
    /// File that holds the records; it is only read
    #[arg(long, env = "SWARDBOOK_FILE", default_value = "swardbook.db", value_name = "FILE")]
    pub file: PathBuf,
    /// New file for the copy; it must not exist yet
    #[arg(long, value_name = "FILE")]
    pub to: PathBuf,
}

#[derive(Debug, Clone, Args)]
pub struct Restore {
    /// The copy, or where copies lie, of which the newest is taken: a file, a folder, or `s3://BUCKET/PREFIX`; it is only read
    #[arg(long, value_name = "COPY")]
    pub from: String,
    /// File with the secret key, where copies are sealed (serve --backup-key)
    #[arg(long, env = "SWARDBOOK_IDENTITY", value_name = "FILE")]
    pub identity: Option<PathBuf>,
    /// Receipts that were kept elsewhere, from after the copy was made: what they cover and the copy does not have is said
    #[arg(long, num_args = 1.., value_name = "RECEIPT")]
    pub against: Vec<String>,
    /// File that will hold the records; it must not exist
    #[arg(long, env = "SWARDBOOK_FILE", default_value = "swardbook.db", value_name = "FILE")]
    pub file: PathBuf,
    #[command(flatten)]
    pub storage: Storage,
}

#[derive(Debug, Clone, Args)]
pub struct BackupKey {
    /// New file for the key, which opens the copies. Keep it elsewhere, twice: without it nobody can read them
    #[arg(long, value_name = "FILE")]
    pub to: PathBuf,
}

#[derive(Debug, Clone, Args)]
pub struct Verify {
    /// File that holds the records, or a copy of them; it is only read
    #[arg(long, env = "SWARDBOOK_FILE", default_value = "swardbook.db", value_name = "FILE")]
    pub file: PathBuf,
    /// Receipts that were kept elsewhere: files with receipts in them (a statement, a backup's receipt, a mail), or their text
    #[arg(long, num_args = 1.., value_name = "RECEIPT")]
    pub against: Vec<String>,
    /// Read only what is new since the run that wrote this file, for every night; made, and all is read, if it is not there
    #[arg(long, value_name = "FILE")]
    pub since: Option<PathBuf>,
    /// File with the secret key, where the file is a copy that is sealed (serve --backup-key)
    #[arg(long, env = "SWARDBOOK_IDENTITY", value_name = "FILE")]
    pub identity: Option<PathBuf>,
}

#[derive(Debug, Clone, Args)]
pub struct PublicKey {
    /// File that holds the records; it is only read
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
    #[command(flatten)]
    pub limits: Limits,
    #[command(flatten)]
    pub disk: Disk,
    #[command(flatten)]
    pub backups: Backups,
    #[command(flatten)]
    pub weather: Weather,
    /// What to log, such as info or server=debug
    #[arg(long, env = "SWARDBOOK_LOG", default_value = "info", value_name = "FILTER")]
    pub log: String,
    /// Log as JSON, a line each
    #[arg(long, env = "SWARDBOOK_LOG_JSON")]
    pub log_json: bool,
}

/// How much of the server one caller may have, so that others have theirs.
#[derive(Debug, Clone, Args)]
pub struct Limits {
    /// Seconds for the head of a request to arrive, and for TLS to be agreed upon
    #[arg(long, env = "SWARDBOOK_HEAD_SECONDS", default_value_t = Self::USUAL.head_seconds, value_name = "SECONDS",
        value_parser = clap::value_parser!(u32).range(1..=600))]
    pub head_seconds: u32,
    /// Seconds without a further part of a body
    #[arg(long, env = "SWARDBOOK_BODY_SECONDS", default_value_t = Self::USUAL.body_seconds, value_name = "SECONDS",
        value_parser = clap::value_parser!(u32).range(1..=600))]
    pub body_seconds: u32,
    /// Seconds that a connection stays open between requests, or with an answer that is not read
    #[arg(long, env = "SWARDBOOK_IDLE_SECONDS", default_value_t = Self::USUAL.idle_seconds, value_name = "SECONDS",
        value_parser = clap::value_parser!(u32).range(1..=3600))]
    pub idle_seconds: u32,
    /// Connections at once in all; the next one takes the place of one that keeps the server waiting
    #[arg(long, env = "SWARDBOOK_CONNECTIONS", default_value_t = Self::USUAL.connections, value_name = "COUNT",
        value_parser = at_least_one)]
    pub connections: usize,
    /// Connections at once from one address; not counted behind a proxy
    #[arg(long, env = "SWARDBOOK_CONNECTIONS_PER_ADDRESS", default_value_t = Self::USUAL.connections_per_address, value_name = "COUNT",
        value_parser = at_least_one)]
    pub connections_per_address: usize,
    /// What one session, phone or pass may ask for in a minute: a look-up is 1 unit, an entry 2, a statement or plan 30; 0 for no limit
    #[arg(long, env = "SWARDBOOK_UNITS_PER_TOKEN", default_value_t = Self::USUAL.units_per_token, value_name = "UNITS",
        value_parser = clap::value_parser!(u32).range(0..=1_000_000_000))]
    pub units_per_token: u32,
    /// What everybody at one address together may ask for in a minute; 0 for no limit
    #[arg(long, env = "SWARDBOOK_UNITS_PER_ADDRESS", default_value_t = Self::USUAL.units_per_address, value_name = "UNITS",
        value_parser = clap::value_parser!(u32).range(0..=1_000_000_000))]
    pub units_per_address: u32,
    /// Requests of one session, phone or pass that are at work at once; further ones wait for their turn
    #[arg(long, env = "SWARDBOOK_REQUESTS_AT_ONCE", default_value_t = Self::USUAL.requests_at_once, value_name = "COUNT",
        value_parser = at_least_one)]
    pub requests_at_once: usize,
    /// Statements, years, reviews and plans that are worked out at once, of everybody together; one after the other of each
    #[arg(long, env = "SWARDBOOK_LONG_AT_ONCE", default_value_t = Self::USUAL.long_at_once, value_name = "COUNT",
        value_parser = at_least_one)]
    pub long_at_once: usize,
}

/// A count of what there must be one of.
fn at_least_one(text: &str) -> Result<usize, String> {
    let fits = |count: &usize| (1..=100_000).contains(count);
    text.parse().ok().filter(fits).ok_or_else(|| "must be a whole number from 1 to 100,000".to_owned())
}

impl Default for Limits {
    fn default() -> Self {
        Self::USUAL
    }
}

impl Limits {
    /// What counts where the operator says nothing.
    const USUAL: Self = Self {
        head_seconds: 10,
        body_seconds: 15,
        idle_seconds: 75,
        connections: 1000,
        connections_per_address: 200,
        units_per_token: 4000,
        units_per_address: 16_000,
        requests_at_once: 6,
        long_at_once: lane::USUAL_AT_ONCE,
    };

    pub fn head(&self) -> Duration {
        Duration::from_secs(u64::from(self.head_seconds))
    }

    pub fn body(&self) -> Duration {
        Duration::from_secs(u64::from(self.body_seconds))
    }

    pub fn idle(&self) -> Duration {
        Duration::from_secs(u64::from(self.idle_seconds))
    }
}

/// When the disk has little left.
#[derive(Debug, Clone, Args)]
pub struct Disk {
    /// Megabytes that are to be free on the disks of the records and of their copies; with fewer the server warns. 0 for no warning
    #[arg(long, env = "SWARDBOOK_FREE_FLOOR", default_value_t = 1000, value_name = "MEGABYTES")]
    pub free_floor: u32,
}

impl Disk {
    /// In bytes.
    pub fn floor(&self) -> u64 {
        u64::from(self.free_floor) * 1_000_000
    }
}

/// Which weather services are asked. None without a contact.
#[derive(Debug, Clone, Default, Args)]
pub struct Weather {
    /// Ask the US National Weather Service for forecasts, measurements and alerts; give --weather-contact too
    #[arg(long = "weather", env = "SWARDBOOK_WEATHER")]
    pub on: bool,
    /// Who asks, as the service wants it: an address of the company and a mailbox that somebody reads
    #[arg(long, env = "SWARDBOOK_WEATHER_CONTACT", value_name = "WEBSITE, MAILBOX")]
    pub weather_contact: Option<String>,
    /// Address of the US National Weather Service; another host only with --weather-stand-in
    #[arg(long, env = "SWARDBOOK_WEATHER_URL", default_value = DEFAULT_WEATHER, value_name = "URL")]
    pub weather_url: String,
    /// Address of an Open-Meteo server that the company may use; its free one is not for companies. Give the key too
    #[arg(long, env = "SWARDBOOK_OPEN_METEO_URL", requires = "open_meteo_key", value_name = "URL")]
    pub open_meteo_url: Option<String>,
    /// Key for it
    #[arg(
        long,
        env = "SWARDBOOK_OPEN_METEO_KEY",
        requires = "open_meteo_url",
        hide_env_values = true,
        value_name = "KEY"
    )]
    pub open_meteo_key: Option<String>,
    /// --weather-url is a stand-in: another host over HTTPS, or plain HTTP on this machine. All it says is shown as a sample
    #[arg(long, env = "SWARDBOOK_WEATHER_STAND_IN")]
    pub weather_stand_in: bool,
    /// Forward proxy through which weather services are asked; the environment's own proxy variables are not used
    #[arg(long, env = "SWARDBOOK_WEATHER_PROXY", hide_env_values = true, value_name = "URL")]
    pub weather_proxy: Option<String>,
}

const DEFAULT_WEATHER: &str = "https://api.weather.gov";

impl Weather {
    /// How this server calls itself when it asks; nothing when no service is asked. The public service refuses whoever does
    /// not say whom to write to, and blocks everybody at that address.
    pub fn agent(&self) -> Result<Option<String>, String> {
        if !self.on {
            let second = self.open_meteo_url.is_some();
            return if second { Err("--open-meteo-url needs --weather".to_owned()) } else { Ok(None) };
        }
        let contact = self.weather_contact.as_deref().map(str::trim).unwrap_or_default();
        let plain = contact.bytes().all(|byte| (0x20..0x7f).contains(&byte));
        if !plain || !contact.contains('@') || !(6..=200).contains(&contact.len()) {
            return Err("--weather needs --weather-contact with a mailbox, such as \"example.com lawn care, office@example.com\"; \
                        the weather service refuses whoever does not say who asks"
                .to_owned());
        }
        Ok(Some(format!("swardbook/{} ({contact})", env!("CARGO_PKG_VERSION"))))
    }

    /// Address and key of the second service.
    pub fn second(&self) -> Result<Option<(&str, &str)>, String> {
        match (self.open_meteo_url.as_deref(), self.open_meteo_key.as_deref()) {
            (Some(url), Some(key)) if !key.trim().is_empty() => Ok(Some((url, key))),
            (None, None) => Ok(None),
            _ => Err("the second weather service needs --open-meteo-url and --open-meteo-key, both".to_owned()),
        }
    }
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
    /// Twelve clients instead of a hundred and eighty, made sooner
    #[arg(long)]
    pub small: bool,
    /// Address and port to listen on; port 0 takes any free one
    #[arg(long, default_value = "127.0.0.1:8080", value_name = "ADDRESS:PORT")]
    pub listen: SocketAddr,
    /// Keep the records in this file instead of a folder that is removed at the end; the file must not exist yet
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
