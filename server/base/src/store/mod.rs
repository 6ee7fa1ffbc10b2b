//! All SQL. One writer, several readers.
//!
//! Every write goes through one task, in `BEGIN IMMEDIATE`, so a check and the write it allows share one transaction and
//! no client that hangs up can leave a transaction open. Acts under load are taken together: their facts are loaded with
//! one statement, decided one after another in memory, written with one text and committed once; only then is each
//! answered.

pub mod additions;
pub mod applications;
pub mod attention;
pub mod backup;
pub mod calibrations;
pub mod clearances;
pub mod clients;
pub mod company_year;
pub mod credentials;
pub mod days;
pub mod devices;
pub mod divisions;
pub mod doubts;
pub mod drift;
pub mod effects;
pub mod equipment;
pub mod file;
pub mod first_steps;
pub mod gaps;
pub mod history;
pub mod journal;
pub mod limit_moves;
mod lock;
pub mod lots;
pub mod measurements;
mod options;
pub mod packing;
pub mod particulars;
pub mod passes;
pub mod passwords;
pub mod people;
mod place;
pub mod product_files;
pub mod products;
pub mod programmes;
pub mod properties;
mod readers;
pub mod receipts;
pub mod reviews;
pub mod rule_sets;
pub mod search;
pub mod sections;
pub mod security_log;
pub mod sessions;
pub mod settings;
pub mod sightings;
pub mod soil_reports;
pub mod statements;
pub mod stock;
pub mod tables;
mod values;
pub mod verify;
pub mod visits;
pub mod weather;
pub mod world;
mod writer;

use std::{
    fs::File,
    io,
    os::unix::fs::MetadataExt,
    path::{Path, PathBuf},
    sync::Arc,
};

use sqlx::{ConnectOptions, Connection, SqliteConnection, SqlitePool, migrate::MigrateError};
use tokio::{
    sync::{mpsc, oneshot},
    task::JoinHandle,
};

use crate::{
    acts::{Act, ActOutcome},
    lane::{self, Lane},
    metrics::Metrics,
    problem::{Kind, Problem},
    tokens::Tokens,
};
pub use lock::is_open;
use lock::lock;
use options::{options, options_of_writer};
pub use place::Misplaced;
use place::Place;
pub use readers::ReadTransaction;
use readers::Readers;
pub use rule_sets::LawInForce;
pub use tables::MIGRATIONS;
pub use values::{bad_row, enum_text, id_list, read, read_day, read_enum, read_instant, read_json};
pub use writer::BoxFuture;
use writer::{Job, Writer};

/// Writes that may wait at once; the next one waits to be let in.
const WAITING_WRITES: usize = 1024;

/// The database: a pool of read-only connections and the way to the writer.
#[derive(Debug)]
pub struct Store {
    readers: Readers,
    lane: Lane,
    writer: mpsc::Sender<Job>,
    metrics: Arc<Metrics>,
    law: Arc<LawInForce>,
    tokens: Arc<Tokens>,
    head: Arc<receipts::Head>,
    place: Arc<Place>,
    file: PathBuf,
}

/// How busy the book is at a moment, and how large.
#[derive(Debug)]
pub struct Load {
    /// Writes that the writer has not taken yet.
    pub waiting_writes: usize,
    pub free_readers: usize,
    pub used_readers: usize,
    /// Nothing where the file is not there.
    pub database_bytes: Option<u64>,
    pub log_bytes: Option<u64>,
}

/// What ends the writer in an orderly way: all that waits is written, then the file is closed.
#[derive(Debug)]
pub struct WriterTask {
    task: JoinHandle<Result<(), sqlx::Error>>,
    /// Held until the file is closed, so that no second server writes to it.
    _lock: File,
}

#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    #[error(transparent)]
    File(#[from] file::FileFault),
    #[error(
        "{0} has older tables and is copied before they are changed, but the copy cannot be made: {1}. Nothing was changed; make \
         room beside the file and start again."
    )]
    NoCopy(PathBuf, sqlx::Error),
    #[error("the database cannot be opened: {0}")]
    Database(#[from] sqlx::Error),
    #[error("{0} cannot be written: {1}. Does the folder exist, and may this user write there?")]
    Place(PathBuf, io::Error),
    #[error("{0} has a second name (a hard link), under which another server could open it. Remove one of the two.")]
    Linked(PathBuf),
    #[error("another server has this book open (it holds {0}). One book, one server.")]
    InUse(PathBuf),
    #[error(
        "a newer version of the server has written this book: it has table change {0}, which this version does not know. Use \
         that version or a later one; nothing was changed."
    )]
    Newer(i64),
    #[error("the database does not fit this version of the server: {0}")]
    Migration(MigrateError),
}

impl From<MigrateError> for OpenError {
    fn from(error: MigrateError) -> Self {
        match error {
            MigrateError::VersionMissing(version) => Self::Newer(version),
            other => Self::Migration(other),
        }
    }
}

/// Opens one connection for a command that only reads the file, whichever way its journal is kept.
pub async fn open_read_only(path: &Path) -> Result<SqliteConnection, sqlx::Error> {
    SqliteConnection::connect_with(&options(path).read_only(true)).await
}

/// Brings the tables up to this version and signs the file. What is older is kept beside.
async fn bring_up(path: &Path, connection: &mut SqliteConnection) -> Result<(), OpenError> {
    let (had, newest) = (tables::of(connection).await?, tables::newest());
    if let Some(had) = had.filter(|had| *had < newest) {
        tables::keep_before(path, had).await.map_err(|error| OpenError::NoCopy(path.to_owned(), error))?;
    }
    MIGRATIONS.run(&mut *connection).await?;
    Ok(file::sign(connection, newest).await?)
}

impl Store {
    /// Opens the file, makes it if it is not there, and brings its tables up to this version.
    pub async fn open(path: &Path, law: Arc<domain::law::Lawbook>) -> Result<(Self, WriterTask), OpenError> {
        Self::open_with(path, law, lane::USUAL_AT_ONCE).await
    }

    /// The same, for so many long answers at once.
    pub async fn open_with(
        path: &Path,
        law: Arc<domain::law::Lawbook>,
        long_at_once: usize,
    ) -> Result<(Self, WriterTask), OpenError> {
        // Before the lock, which makes a file beside it, and before the connection that writes, which writes to what it opens.
        if std::fs::metadata(path).is_ok_and(|book| book.is_file() && book.nlink() > 1) {
            return Err(OpenError::Linked(path.to_owned()));
        }
        if file::look(path)? && !file::is_ours(path).await? {
            return Err(file::FileFault::Foreign(path.to_owned()).into());
        }
        let lock = lock(path)?;
        file::ready(path)?;
        let options_of_writer = options_of_writer(path);
        let mut connection = options_of_writer.connect().await?;
        bring_up(path, &mut connection).await?;
        let lane = Lane::new(long_at_once).map_err(sqlx::Error::Io)?;
        let readers = Readers::open(options(path), &lane, long_at_once).await?;
        let (writer, jobs) = mpsc::channel(WAITING_WRITES);
        let metrics = Arc::new(Metrics::default());
        let law = Arc::new(LawInForce::of(law));
        let (of_writer, counted) = (Arc::clone(&law), Arc::clone(&metrics));
        let (head, place) = (Arc::<receipts::Head>::default(), Arc::new(Place::of(path)));
        let shared = (Arc::clone(&head), Arc::clone(&place));
        let writing = Writer::new(connection, options_of_writer, of_writer, counted, readers.clone(), shared);
        let task = tokio::spawn(writing.run(jobs));
        let (tokens, file) = (Arc::default(), path.to_owned());
        Ok((Self { readers, lane, writer, metrics, law, tokens, head, place, file }, WriterTask { task, _lock: lock }))
    }

    /// What is counted while the server works. Whoever has the store can count.
    pub fn metrics(&self) -> &Metrics {
        &self.metrics
    }

    pub fn shared_metrics(&self) -> Arc<Metrics> {
        Arc::clone(&self.metrics)
    }

    /// The law by which the writer decides.
    pub fn law(&self) -> &LawInForce {
        &self.law
    }

    pub fn shared_law(&self) -> Arc<LawInForce> {
        Arc::clone(&self.law)
    }

    /// Number and hash of the journal's newest entry. Whatever was answered before is covered by it.
    pub async fn head(&self) -> Result<(i64, String), sqlx::Error> {
        match self.head.get() {
            Some(head) => Ok(head),
            None => receipts::newest(self.reader()).await,
        }
    }

    /// Where the book is.
    pub fn file(&self) -> &Path {
        &self.file
    }

    /// What of the book is not where it was when it was opened.
    pub fn misplaced(&self) -> Option<Misplaced> {
        self.place.misplaced()
    }

    /// How busy the book is now, and how large. No statement is run.
    pub async fn load(&self) -> Load {
        let size = async |file: &Path| tokio::fs::metadata(file).await.ok().map(|found| found.len());
        let mut log = self.file.clone().into_os_string();
        log.push("-wal");
        let (database_bytes, log_bytes) = (size(&self.file).await, size(Path::new(&log)).await);
        let readers = &self.readers.quick;
        let free_readers = readers.num_idle();
        Load {
            waiting_writes: self.writer.max_capacity() - self.writer.capacity(),
            free_readers,
            used_readers: usize::try_from(readers.size()).unwrap_or_default().saturating_sub(free_readers),
            database_bytes,
            log_bytes,
        }
    }

    /// The read-only pool: that of long answers where one is being made. A statement that writes fails on it.
    pub fn reader(&self) -> &SqlitePool {
        self.readers.here()
    }

    /// The readers of what is short, whoever asks: a token is looked up by them even for a long answer.
    pub fn quick_reader(&self) -> &SqlitePool {
        &self.readers.quick
    }

    /// Where long answers are made.
    pub fn lane(&self) -> &Lane {
        &self.lane
    }

    /// Runs a write in a transaction of its own: committed if it succeeds, rolled back if not.
    pub async fn write<T, F>(&self, work: F) -> Result<T, Problem>
    where
        T: Send + 'static,
        F: for<'c> FnOnce(&'c mut SqliteConnection) -> BoxFuture<'c, Result<T, Problem>> + Send + 'static,
    {
        self.write_then(work, || ()).await
    }

    /// The same, with what is to be done once it is committed, before anything that waits behind it is written.
    pub async fn write_then<T, F>(&self, work: F, once_written: impl FnOnce() + Send + 'static) -> Result<T, Problem>
    where
        T: Send + 'static,
        F: for<'c> FnOnce(&'c mut SqliteConnection) -> BoxFuture<'c, Result<T, Problem>> + Send + 'static,
    {
        let (answer, answered) = oneshot::channel();
        let known = writer::Known {
            tokens: Arc::clone(&self.tokens),
            head: Arc::clone(&self.head),
            place: Arc::clone(&self.place),
        };
        self.send(writer::plain(work, known, once_written, answer)).await?;
        answered.await.map_err(|_| stopping())?
    }

    /// Decides and writes an act together with whatever else waits.
    pub async fn act(&self, act: Act) -> Result<ActOutcome, Problem> {
        let (answer, answered) = oneshot::channel();
        self.send(Job::Act(Box::new(act), tracing::Span::current(), answer)).await?;
        answered.await.map_err(|_| stopping())?
    }

    /// Whether the book can be written and every free reader sees what was written last. What cannot is mended by itself; the
    /// answer says how it stands now.
    pub async fn ready(&self) -> Result<(), Problem> {
        let head = self.write(|connection| Box::pin(async move { writer::prove(connection).await })).await?;
        if readers::see(&self.readers, head).await? {
            return Ok(());
        }
        Err(Problem::new(Kind::Busy, "A reader saw an old book and is being replaced.").retry_after(1))
    }

    async fn send(&self, job: Job) -> Result<(), Problem> {
        self.writer.send(job).await.map_err(|_| stopping())
    }
}

impl WriterTask {
    /// Waits until everything that was sent is written and the file is closed. Nobody may hold the store any more.
    pub async fn finish(self) -> Result<(), sqlx::Error> {
        match self.task.await {
            Ok(closed) => closed,
            Err(panic) => Err(sqlx::Error::Io(std::io::Error::other(panic))),
        }
    }
}

fn stopping() -> Problem {
    Problem::new(Kind::Busy, "The server is stopping.").retry_after(5)
}

/// What the database says when a value breaks a named constraint; everything else is a fault.
pub fn broken_constraint(error: &sqlx::Error) -> Option<&str> {
    let sqlx::Error::Database(error) = error else { return None };
    // SQLite names the columns of a broken UNIQUE and the name of a broken CHECK.
    error.message().rsplit(": ").next()
}
