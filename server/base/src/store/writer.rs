//! The one task that writes.

use std::{future::Future, panic::AssertUnwindSafe, pin::Pin, sync::Arc, time::Duration};

use domain::law::Lawbook;
use futures_util::FutureExt;
use sqlx::{ConnectOptions, Connection, SqliteConnection, sqlite::SqliteConnectOptions};
use tokio::{
    sync::{mpsc, oneshot},
    time::{Instant, timeout},
};
use tracing::{Instrument, Span};

use crate::{
    acts::{Act, ActOutcome},
    metrics::Metrics,
    problem::{Kind, Problem},
    store::{LawInForce, effects, packing::Packer, place::Place, readers::Readers, receipts::Head, world},
    tokens::Tokens,
};

pub type BoxFuture<'c, T> = Pin<Box<dyn Future<Output = T> + Send + 'c>>;
type Responder<T> = oneshot::Sender<Result<T, Problem>>;
/// An act and the request it came with.
type QueuedAct = (Box<Act>, Span);
/// A write, or the answer to its caller that there is nothing to write through.
type Plain = Box<dyn for<'c> FnOnce(Result<&'c mut SqliteConnection, Problem>) -> BoxFuture<'c, Ended> + Send>;

/// Acts taken together at most. Beyond it a batch only grows the wait (measured in the benchmark).
const BATCH: usize = 128;
/// How long the readers may take to end when the server stops.
const LAST_READERS: Duration = Duration::from_secs(5);

/// One thing to write.
pub enum Job {
    /// An act, with the request that it came with, so that what is logged about it names that.
    Act(Box<Act>, Span, Responder<ActOutcome>),
    Plain(Plain),
}

impl std::fmt::Debug for Job {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Act(..) => "Act",
            Self::Plain(_) => "Plain",
        })
    }
}

/// What is known of the book without asking it, and forgotten when something of the office is written.
#[derive(Debug)]
pub struct Known {
    pub tokens: Arc<Tokens>,
    pub head: Arc<Head>,
    pub place: Arc<Place>,
}

/// Wraps a write so that it begins, commits or rolls back by itself and then answers. It says whether it failed. What is to be done
/// once it stands is done before anything behind it in the queue, and before the answer; and however it ended, what is known of tokens
/// and of the journal is forgotten by then.
pub fn plain<T, F>(work: F, known: Known, once_written: impl FnOnce() + Send + 'static, answer: Responder<T>) -> Job
where
    T: Send + 'static,
    F: for<'c> FnOnce(&'c mut SqliteConnection) -> BoxFuture<'c, Result<T, Problem>> + Send + 'static,
{
    let span = Span::current();
    Job::Plain(Box::new(move |connection| {
        Box::pin(async move {
            let connection = match connection {
                Ok(connection) => connection,
                Err(problem) => {
                    let _ = answer.send(Err(problem));
                    return Ended::Failed;
                }
            };
            // The transaction of a write that panics is rolled back as it is dropped.
            let done = AssertUnwindSafe(in_transaction(connection, work)).catch_unwind().instrument(span).await;
            let done = done.unwrap_or_else(|_| Err(unanswered()));
            let ended = Ended::of(&done);
            known.tokens.forget();
            known.head.set(None);
            if done.is_ok() {
                once_written();
            }
            let done = done.and_then(|done| found_again(&known.place, done));
            // A caller that has hung up needs no answer; the write stands all the same.
            let _ = answer.send(done);
            ended
        })
    }))
}

async fn in_transaction<T, F>(connection: &mut SqliteConnection, work: F) -> Result<T, Problem>
where
    F: for<'c> FnOnce(&'c mut SqliteConnection) -> BoxFuture<'c, Result<T, Problem>> + Send,
{
    let mut transaction = connection.begin_with("BEGIN IMMEDIATE").await?;
    let done = work(&mut transaction).await?;
    transaction.commit().await?;
    Ok(done)
}

/// Writes something that means nothing, so that the disk must take it, and says where the journal stands.
pub async fn prove(connection: &mut SqliteConnection) -> Result<i64, Problem> {
    sqlx::query!("UPDATE disk_proof SET written = written + 1").execute(&mut *connection).await?;
    Ok(super::journal::head(connection).await?)
}

/// The task that writes, with the connection it writes through. After a failure the connection is proved, and replaced when
/// the disk refused it or it cannot begin anew: SQLite has then ended the transaction, and the library does not know it.
#[derive(Debug)]
pub struct Writer {
    /// Nothing while the file cannot be opened.
    connection: Option<SqliteConnection>,
    options: SqliteConnectOptions,
    law: Arc<LawInForce>,
    packer: Packer,
    metrics: Arc<Metrics>,
    /// Closed before the file is: while one of them is open, what was written last stays in the log beside it.
    readers: Readers,
    head: Arc<Head>,
    place: Arc<Place>,
    /// The file is not where it was, and that was seen to.
    astray: bool,
}

impl Writer {
    pub fn new(
        connection: SqliteConnection,
        options: SqliteConnectOptions,
        law: Arc<LawInForce>,
        metrics: Arc<Metrics>,
        readers: Readers,
        (head, place): (Arc<Head>, Arc<Place>),
    ) -> Self {
        let (connection, packer) = (Some(connection), Packer::default());
        Self { connection, options, law, packer, metrics, readers, head, place, astray: false }
    }

    /// Takes jobs until nobody can send any more, then closes the file.
    pub async fn run(mut self, mut jobs: mpsc::Receiver<Job>) -> Result<(), sqlx::Error> {
        let mut waiting = Vec::with_capacity(BATCH);
        while jobs.recv_many(&mut waiting, BATCH).await > 0 {
            let mut acts: Vec<(QueuedAct, Responder<ActOutcome>)> = Vec::new();
            for job in waiting.drain(..) {
                match job {
                    Job::Act(act, span, answer) => acts.push(((act, span), answer)),
                    Job::Plain(work) => {
                        // What came before it is written before it.
                        self.write_batch(std::mem::take(&mut acts)).await;
                        let connection = self.connection().await;
                        let ended = work(connection).await;
                        self.after(ended).await;
                    }
                }
            }
            self.write_batch(acts).await;
        }
        // Nobody holds the store any more; only an answer that is still being sent may hold a reader.
        if timeout(LAST_READERS, self.readers.close()).await.is_err() {
            tracing::warn!("a reader did not end in time; what was written last may stay in the log beside the file");
        }
        match self.connection {
            // What is counted at closing would be written over the log of a book that somebody may yet put back.
            Some(connection) if self.place.misplaced().is_some() => connection.close_hard().await,
            Some(connection) => connection.close().await,
            None => Ok(()),
        }
    }

    /// Nothing is written while the file is not where it was: nobody would find it again. What stands in the log beside it already goes
    /// into the file itself then, wherever that is, as far as it is still open.
    async fn in_place(&mut self) -> Result<(), Problem> {
        let Some(astray) = self.place.misplaced() else {
            if std::mem::take(&mut self.astray) {
                tracing::info!("the records are where they were again; writing goes on");
            }
            return Ok(());
        };
        if !std::mem::replace(&mut self.astray, true) {
            tracing::error!("{}; nothing is written", astray.sentence());
            if let Some(connection) = &mut self.connection {
                let kept = sqlx::query("PRAGMA wal_checkpoint(PASSIVE)").fetch_all(connection).await;
                if let Err(error) = kept {
                    tracing::error!(%error, "what was written last could not be put into the file itself");
                }
            }
        }
        Err(astray.problem(STORED_NOTHING))
    }

    /// The connection, opened anew if there is none.
    async fn connection(&mut self) -> Result<&mut SqliteConnection, Problem> {
        self.in_place().await?;
        let connection = if let Some(connection) = self.connection.take() {
            connection
        } else {
            // It may be another file, with other patterns.
            self.packer = Packer::default();
            reopened(&self.options).await?
        };
        Ok(self.connection.insert(connection))
    }

    /// Proves the connection after a failure: one that the disk refused, or that cannot begin a write, is thrown away.
    async fn after(&mut self, ended: Ended) {
        if ended == Ended::Well {
            return;
        }
        let Some(mut connection) = self.connection.take() else { return };
        let usable = ended == Ended::Failed && begins(&mut connection).await.is_ok();
        if usable {
            self.connection = Some(connection);
            return;
        }
        tracing::warn!("a write failed and left its connection in doubt; another is opened");
        // It closes in its own time; until then another waits for its lock.
        if let Err(error) = connection.close_hard().await {
            tracing::warn!(%error, "the connection in doubt did not close in order");
        }
    }

    /// Writes all acts in one transaction. If that fails, each is tried alone, so that one bad act harms no other.
    async fn write_batch(&mut self, acts: Vec<(QueuedAct, Responder<ActOutcome>)>) {
        if acts.is_empty() {
            return;
        }
        let (acts, answers): (Vec<_>, Vec<_>) = acts.into_iter().unzip();
        match self.batch(&acts).await {
            Ok(replies) => {
                for (answer, reply) in answers.into_iter().zip(replies) {
                    let _ = answer.send(Ok(reply));
                }
            }
            // The disk refuses one as it refused all, and one alone would fail again.
            Err(problem) if acts.len() == 1 || problem.is(Kind::StorageFailed) || problem.is(Kind::Busy) => {
                for answer in answers {
                    let _ = answer.send(Err(problem.clone()));
                }
            }
            Err(problem) => {
                tracing::warn!(
                    detail = problem.detail,
                    acts = acts.len(),
                    "a batch failed; its acts are tried one by one"
                );
                for (act, answer) in acts.into_iter().zip(answers) {
                    let alone = self.batch(std::slice::from_ref(&act)).await;
                    let _ = answer.send(alone.and_then(|mut replies| replies.pop().ok_or_else(unanswered)));
                }
            }
        }
    }

    async fn batch(&mut self, acts: &[QueuedAct]) -> Result<Vec<ActOutcome>, Problem> {
        let mut packer = std::mem::take(&mut self.packer);
        let law = self.law.now();
        let begun = Instant::now();
        let connection = self.connection().await?;
        let done = AssertUnwindSafe(batch(connection, acts, &law, &mut packer)).catch_unwind().await;
        let done = done.unwrap_or_else(|_| Err(panicked("a batch panicked")));
        // A pattern that a failed batch had added was taken back with it, so all are read anew.
        if done.is_ok() {
            self.packer = packer;
        }
        self.metrics.batch_ended(acts.len(), begun.elapsed());
        self.after(Ended::of(&done)).await;
        let done = match done {
            Ok(written @ (_, Some(_))) => found_again(&self.place, written),
            other => other,
        };
        match done {
            Ok((replies, None)) => Ok(replies),
            Ok((replies, head)) => {
                self.head.set(head);
                Ok(replies)
            }
            // Whether anything of it stands is for the file to say.
            Err(problem) => {
                self.head.set(None);
                Err(problem)
            }
        }
    }
}

/// How a job ended, as far as its connection is concerned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ended {
    Well,
    Failed,
    /// By the disk, so that the file is to be opened anew.
    Refused,
}

impl Ended {
    /// A refusal of the caller's leaves the connection as it was; everything else is looked into.
    fn of<T>(done: &Result<T, Problem>) -> Self {
        match done {
            Err(problem) if problem.is(Kind::StorageFailed) => Self::Refused,
            Err(problem) if problem.status >= 500 => Self::Failed,
            _ => Self::Well,
        }
    }
}

/// The same book opened anew. A file that is gone is not made again: an empty one in its place would take writes and have none of
/// the book's rows.
async fn reopened(options: &SqliteConnectOptions) -> Result<SqliteConnection, sqlx::Error> {
    let mut connection = options.clone().create_if_missing(false).connect().await?;
    let ours =
        sqlx::query_scalar!(r#"SELECT count(*) AS "rows!: i64" FROM installation"#).fetch_one(&mut connection).await;
    match ours {
        Ok(1) => Ok(connection),
        other => {
            tracing::error!(?other, "the file that is there now is not this book");
            Err(sqlx::Error::Io(std::io::Error::other("the book's file was replaced by another")))
        }
    }
}

/// Whether a write can begin on it.
async fn begins(connection: &mut SqliteConnection) -> Result<(), sqlx::Error> {
    connection.begin_with("BEGIN IMMEDIATE").await?.rollback().await
}

const STORED_NOTHING: &str = "What you sent was not stored; keep it and send it again.";

/// What was written, if it can be found again: the file may have been taken away while it was. Else its caller is to send it again.
fn found_again<T>(place: &Place, written: T) -> Result<T, Problem> {
    match place.misplaced() {
        None => Ok(written),
        Some(astray) => {
            Err(astray.problem("Whether what you sent will be found again is not known; keep it and send it again."))
        }
    }
}

fn panicked(what: &str) -> Problem {
    Problem::from(sqlx::Error::Protocol(what.to_owned()))
}

fn unanswered() -> Problem {
    Problem::new(Kind::Fault, "The server lost track of this request.")
}

/// Answers, and where the journal stands if something was written.
type Batched = (Vec<ActOutcome>, Option<(i64, String)>);

/// Loads the facts of all acts, decides one after another, writes all effects, commits.
async fn batch(
    connection: &mut SqliteConnection,
    acts: &[QueuedAct],
    law: &Lawbook,
    packer: &mut Packer,
) -> Result<Batched, Problem> {
    let mut transaction = connection.begin_with("BEGIN IMMEDIATE").await?;
    let mut world = world::load(&mut transaction, acts.iter().map(|(act, _)| act.as_ref())).await?;
    // An act that panics must not take the writer with it, nor one whose evidence cannot be made whole leave a part of it. Nothing
    // of this batch is written then; `write_batch` tries its acts one by one, so that the others go on.
    let decided = std::panic::catch_unwind(AssertUnwindSafe(|| {
        let decide = |(act, span): &QueuedAct| {
            span.in_scope(|| crate::acts::decide(act, &mut world, law).map_err(Problem::from))
        };
        acts.iter().map(decide).collect::<Result<Vec<ActOutcome>, Problem>>()
    }));
    let replies = match decided.unwrap_or_else(|_| Err(panicked("an act panicked; what it said stands in the log"))) {
        Ok(replies) => replies,
        Err(problem) => {
            transaction.rollback().await?;
            return Err(problem);
        }
    };
    if world.effects.is_empty() {
        transaction.rollback().await?;
        return Ok((replies, None));
    }
    let head = (world.journal_seq, std::mem::take(&mut world.journal_hash));
    effects::write(&mut transaction, packer, world.effects).await?;
    transaction.commit().await?;
    Ok((replies, Some(head)))
}
