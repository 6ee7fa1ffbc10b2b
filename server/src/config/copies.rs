//! What the operator says of the copies that the server makes of its records.

use std::time::Duration;

use clap::Args;

/// Copies that the server makes of its records while it is at work.
#[derive(Debug, Clone, Args)]
pub struct Backups {
    /// Where the server copies its records by itself whenever something was written: a folder, best on another disk, or a bucket of a
    /// storage that speaks the protocol of S3
    #[arg(long, env = "SWARDBOOK_BACKUP_TO", value_name = "FOLDER or s3://BUCKET/PREFIX")]
    pub backup_to: Option<String>,
    /// Time between two copies, such as 15m or 1h
    #[arg(long, visible_alias = "every", env = "SWARDBOOK_BACKUP_EVERY", default_value = "15m", value_name = "TIME", value_parser = every)]
    pub backup_every: Duration,
    /// Newest copies that are kept; of each of the last 31 days the last one is kept too
    #[arg(long, visible_alias = "keep", env = "SWARDBOOK_BACKUP_KEEP", default_value_t = 48, value_name = "COPIES",
        value_parser = clap::value_parser!(u32).range(1..=100_000))]
    pub backup_keep: u32,
    /// Public key to which copies are sealed, as `swardbook backup-key` printed it: only its secret half opens them
    #[arg(long, env = "SWARDBOOK_BACKUP_KEY", requires = "backup_to", value_name = "KEY")]
    pub backup_key: Option<String>,
    #[command(flatten)]
    pub storage: Storage,
}

/// A time from a second to a day: minutes, or with the unit behind it.
fn every(text: &str) -> Result<Duration, String> {
    let (number, seconds) = match text.as_bytes().last() {
        Some(b's') => (&text[..text.len() - 1], 1),
        Some(b'm') => (&text[..text.len() - 1], 60),
        Some(b'h') => (&text[..text.len() - 1], 3600),
        _ => (text, 60),
    };
    let fits = |seconds: &u64| (1..=86_400).contains(seconds);
    let seconds = number.parse::<u32>().ok().map(|number| u64::from(number) * seconds).filter(fits);
    seconds.map(Duration::from_secs).ok_or_else(|| "must be from 1s to 24h, such as 15m".to_owned())
}

/// How a storage that speaks the protocol of S3 is reached.
#[derive(Debug, Clone, Args)]
pub struct Storage {
    /// Address of the storage; that of Amazon in the region if none is given
    #[arg(long, env = "SWARDBOOK_S3_ENDPOINT", value_name = "URL")]
    pub s3_endpoint: Option<String>,
    /// Region that requests are signed for
    #[arg(long, env = "SWARDBOOK_S3_REGION", default_value = DEFAULT_REGION, value_name = "REGION")]
    pub s3_region: String,
    /// Key by which the storage knows this server; give it by the variable
    #[arg(long, env = "SWARDBOOK_S3_KEY_ID", hide_env_values = true, value_name = "KEY")]
    pub s3_key_id: Option<Hidden>,
    /// Its secret; give it by the variable, because others on the machine see command lines
    #[arg(long, env = "SWARDBOOK_S3_SECRET", hide_env_values = true, value_name = "SECRET")]
    pub s3_secret: Option<Hidden>,
}

const DEFAULT_REGION: &str = "us-east-1";

impl Default for Storage {
    fn default() -> Self {
        Self { s3_endpoint: None, s3_region: DEFAULT_REGION.to_owned(), s3_key_id: None, s3_secret: None }
    }
}

/// What must stand in no log.
#[derive(Clone)]
pub struct Hidden(String);

impl Hidden {
    pub fn shown(&self) -> &str {
        &self.0
    }
}

impl From<String> for Hidden {
    fn from(text: String) -> Self {
        Self(text)
    }
}

impl std::fmt::Debug for Hidden {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("hidden")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_is_minutes_or_names_its_unit() {
        for (text, seconds) in [("15", 900), ("15m", 900), ("1h", 3600), ("24h", 86_400), ("2s", 2)] {
            assert_eq!(every(text), Ok(Duration::from_secs(seconds)), "{text}");
        }
        for odd in ["", "0", "0s", "25h", "m", "1.5h", "-1m", "15 m", "1d", "99999999999999999999s"] {
            assert!(every(odd).is_err(), "{odd}");
        }
    }

    #[test]
    fn a_secret_stands_in_no_log() {
        let storage = Storage { s3_secret: Some("three plain words".to_owned().into()), ..Storage::default() };
        assert!(!format!("{storage:?}").contains("plain"));
    }
}
