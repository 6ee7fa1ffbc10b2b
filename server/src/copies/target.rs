//! Where copies lie: a folder, or storage that speaks the protocol of S3.

use std::{
    io,
    path::{Path, PathBuf},
};

use super::{Name, RECEIPT, UNDONE, bucket::Bucket};
use crate::{
    config,
    store::{backup, file},
};

/// A copy that lies there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    pub name: Name,
    pub bytes: u64,
}

#[derive(Debug, Clone)]
pub enum Target {
    Folder(PathBuf),
    Bucket(Box<Bucket>),
}

impl Target {
    /// What the operator named: an address that begins with `s3://`, or else a folder.
    pub fn of(named: &str, storage: &config::Storage) -> Result<Self, String> {
        match named.strip_prefix("s3://") {
            Some(rest) => Ok(Self::Bucket(Box::new(Bucket::of(rest, storage)?))),
            None if named.contains("://") => {
                Err(format!("{named} is no place for copies: name a folder, or s3://BUCKET/PREFIX"))
            }
            None => Ok(Self::Folder(PathBuf::from(named))),
        }
    }

    pub fn folder(&self) -> Option<&Path> {
        match self {
            Self::Folder(folder) => Some(folder),
            Self::Bucket(_) => None,
        }
    }

    /// As it is told to people.
    pub fn named(&self, name: &str) -> String {
        match self {
            Self::Folder(folder) => folder.join(name).display().to_string(),
            Self::Bucket(bucket) => bucket.named(name),
        }
    }

    /// Copies that lie there, the oldest first: of one book, or of all. In a bucket only what has its receipt counts, which comes last.
    pub async fn copies(&self, mark: &str) -> Result<Vec<Found>, String> {
        let all = self.all(mark).await?;
        let counts = |name: &str| match self {
            Self::Folder(_) => true,
            Self::Bucket(_) => all.iter().any(|(other, _)| other.strip_suffix(RECEIPT) == Some(name)),
        };
        let mut copies: Vec<Found> = all
            .iter()
            .filter(|(name, _)| counts(name))
            .filter_map(|(name, bytes)| Some(Found { name: Name::parse(name)?, bytes: *bytes }))
            .collect();
        copies.sort_by(|one, other| one.name.cmp(&other.name));
        Ok(copies)
    }

    /// Names and sizes of all that is called like a copy of this book, or of any where no mark is given.
    async fn all(&self, mark: &str) -> Result<Vec<(String, u64)>, String> {
        let prefix = if mark.is_empty() { "swardbook-".to_owned() } else { format!("swardbook-{mark}-") };
        match self {
            Self::Folder(folder) => in_folder(folder, &prefix).map_err(|error| not_there(folder, &error)),
            Self::Bucket(bucket) => bucket.list(&prefix).await,
        }
    }

    /// Removes what was begun and never finished: in a folder what says so, in a bucket a copy without its receipt or a receipt
    /// without its copy. The server that made it is the one that asks, and it makes one at a time.
    pub async fn clear_undone(&self, mark: &str) -> Result<(), String> {
        let all = self.all(mark).await?;
        for (name, _) in &all {
            let undone = match self {
                Self::Folder(_) => name.ends_with(UNDONE),
                Self::Bucket(_) => {
                    let other = name.strip_suffix(RECEIPT).map_or_else(|| format!("{name}{RECEIPT}"), str::to_owned);
                    Name::parse(other.strip_suffix(RECEIPT).unwrap_or(&other)).is_some()
                        && !all.iter().any(|(there, _)| *there == other)
                }
            };
            if undone {
                self.remove_one(name).await?;
            }
        }
        Ok(())
    }

    /// Where a copy is packed: in a folder at once beside its name, for a bucket where this machine may put it aside.
    pub fn part(&self, name: &Name, aside: &Path) -> PathBuf {
        let folder = self.folder().unwrap_or(aside);
        folder.join(format!("{name}{UNDONE}"))
    }

    /// Brings a copy to a bucket, and back from there to be looked at. In a folder it lies already.
    pub async fn sent(&self, part: &Path, name: &Name, back: &Path) -> Result<(), String> {
        let Self::Bucket(bucket) = self else { return Ok(()) };
        bucket.put_file(&name.to_string(), part).await?;
        bucket.get(&name.to_string(), back).await
    }

    /// Gives a copy its name, with its receipt: nothing lies there under it that is not whole.
    pub async fn put(&self, part: &Path, name: &Name, receipt: &str) -> Result<(), String> {
        match self {
            Self::Folder(folder) => {
                let to = folder.join(name.to_string());
                let said = |error: io::Error| format!("{}: {error}", to.display());
                write_receipt(&file::beside(&to, RECEIPT), receipt).map_err(said)?;
                backup::finish(part, &to).map_err(said)
            }
            Self::Bucket(bucket) => bucket.put(&format!("{name}{RECEIPT}"), receipt.as_bytes().to_vec()).await,
        }
    }

    /// Brings a file from there into a new file of this machine.
    pub async fn get(&self, name: &str, to: &Path) -> Result<(), String> {
        match self {
            Self::Folder(folder) => {
                let from = folder.join(name);
                let copy = || {
                    file::make(to)?;
                    std::fs::copy(&from, to).map(drop)
                };
                copy().map_err(|error| format!("{}: {error}", from.display()))
            }
            Self::Bucket(bucket) => bucket.get(name, to).await,
        }
    }

    /// Removes a copy, its receipt first: what is left of it after a failure counts as none.
    pub async fn remove(&self, name: &Name) -> Result<(), String> {
        self.remove_one(&format!("{name}{RECEIPT}")).await?;
        self.remove_one(&name.to_string()).await
    }

    /// Takes back what was begun of a copy that did not come about. A file that has its name in a folder is another one, and stays.
    pub async fn give_up(&self, name: &Name) {
        let taken = self.folder().is_some_and(|folder| folder.join(name.to_string()).exists());
        if !taken {
            // It counts as none without its receipt; what is left of it goes at the next round where it does not go now.
            let _ = self.remove(name).await;
        }
    }

    async fn remove_one(&self, name: &str) -> Result<(), String> {
        match self {
            Self::Folder(folder) => match std::fs::remove_file(folder.join(name)) {
                Err(error) if error.kind() != io::ErrorKind::NotFound => {
                    Err(format!("{}: {error}", folder.join(name).display()))
                }
                _ => Ok(()),
            },
            Self::Bucket(bucket) => bucket.remove(name).await,
        }
    }
}

fn not_there(folder: &Path, error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::NotFound => format!("{} is not there. Is its disk mounted?", folder.display()),
        _ => format!("{}: {error}", folder.display()),
    }
}

fn in_folder(folder: &Path, prefix: &str) -> io::Result<Vec<(String, u64)>> {
    let mut all = Vec::new();
    for found in std::fs::read_dir(folder)? {
        let found = found?;
        let name = found.file_name().into_string().unwrap_or_default();
        // Of what is not ours nothing is touched.
        let ours = name.strip_suffix(UNDONE).unwrap_or(&name);
        let ours = ours.strip_suffix(RECEIPT).unwrap_or(ours);
        if name.starts_with(prefix) && Name::parse(ours).is_some() {
            // What goes while the folder is read is gone.
            let Ok(told) = found.metadata() else { continue };
            all.push((name, told.len()));
        }
    }
    Ok(all)
}

/// Writes a receipt for this user alone. What an earlier copy of that name left there is replaced.
fn write_receipt(to: &Path, text: &str) -> io::Result<()> {
    match std::fs::remove_file(to) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
        _ => {}
    }
    file::make(to)?;
    std::fs::write(to, text)
}
