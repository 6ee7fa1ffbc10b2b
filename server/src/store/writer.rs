//! The one task that writes.

use std::{future::Future, panic::AssertUnwindSafe, pin::Pin, sync::Arc};

use domain::law::Lawbook;
use futures_util::FutureExt;
use sqlx::{Connection, SqliteConnection};
use tokio::sync::{mpsc, oneshot};

use super::{effects, world};
use crate::{
    book::act::{Act, Reply},
    problem::Problem,
};

pub type BoxFuture<'c, T> = Pin<Box<dyn Future<Output = T> + Send + 'c>>;
type Answer<T> = oneshot::Sender<Result<T, Problem>>;
type Plain = Box<dyn for<'c> FnOnce(&'c mut SqliteConnection) -> BoxFuture<'c, ()> + Send>;

/// Acts taken together at most. Beyond it a batch only grows the wait (measured in the benchmark).
const BATCH: usize = 128;

/// One thing to write.
pub enum Job {
    Act(Box<Act>, Answer<Reply>),
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

/// Wraps a write so that it begins, commits or rolls back by itself and then answers.
pub fn plain<T, F>(work: F, answer: Answer<T>) -> Job
where
    T: Send + 'static,
    F: for<'c> FnOnce(&'c mut SqliteConnection) -> BoxFuture<'c, Result<T, Problem>> + Send + 'static,
{
    Job::Plain(Box::new(move |connection| {
        Box::pin(async move {
            // The transaction of a write that panics is rolled back as it is dropped.
            let done = AssertUnwindSafe(in_transaction(connection, work)).catch_unwind().await;
            let done = done.unwrap_or_else(|_| Err(lost()));
            // A caller that has hung up needs no answer; the write stands all the same.
            let _ = answer.send(done);
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

/// Takes jobs until nobody can send any more, then closes the file.
pub async fn run(
    mut connection: SqliteConnection,
    mut jobs: mpsc::Receiver<Job>,
    law: Arc<Lawbook>,
) -> Result<(), sqlx::Error> {
    let mut waiting = Vec::with_capacity(BATCH);
    while jobs.recv_many(&mut waiting, BATCH).await > 0 {
        let mut acts: Vec<(Box<Act>, Answer<Reply>)> = Vec::new();
        for job in waiting.drain(..) {
            match job {
                Job::Act(act, answer) => acts.push((act, answer)),
                Job::Plain(work) => {
                    // What came before it is written before it.
                    together(&mut connection, std::mem::take(&mut acts), &law).await;
                    work(&mut connection).await;
                }
            }
        }
        together(&mut connection, acts, &law).await;
    }
    connection.close().await
}

/// Writes all acts in one transaction. If that fails, each is tried alone, so that one bad act harms no other.
async fn together(connection: &mut SqliteConnection, acts: Vec<(Box<Act>, Answer<Reply>)>, law: &Lawbook) {
    if acts.is_empty() {
        return;
    }
    let (acts, answers): (Vec<_>, Vec<_>) = acts.into_iter().unzip();
    match batch(connection, &acts, law).await {
        Ok(replies) => answer_all(answers, replies),
        Err(error) => {
            tracing::warn!(%error, acts = acts.len(), "a batch failed; its acts are tried one by one");
            for (act, answer) in acts.into_iter().zip(answers) {
                let alone = batch(connection, std::slice::from_ref(&act), law).await;
                let reply = alone.map_err(Problem::from).and_then(|mut replies| replies.pop().ok_or_else(lost));
                let _ = answer.send(reply);
            }
        }
    }
}

fn answer_all(answers: Vec<Answer<Reply>>, replies: Vec<Reply>) {
    for (answer, reply) in answers.into_iter().zip(replies) {
        let _ = answer.send(Ok(reply));
    }
}

fn lost() -> Problem {
    Problem::new(crate::problem::Kind::Fault, "The server lost track of this request.")
}

/// Loads the facts of all acts, decides one after another, writes all effects, commits.
async fn batch(connection: &mut SqliteConnection, acts: &[Box<Act>], law: &Lawbook) -> Result<Vec<Reply>, sqlx::Error> {
    let mut transaction = connection.begin_with("BEGIN IMMEDIATE").await?;
    let mut world = world::load(&mut transaction, acts).await?;
    // An act that panics must not take the writer with it. Nothing of this batch is written; `together` then tries its acts
    // one by one, so that the others go on.
    let decided = std::panic::catch_unwind(AssertUnwindSafe(|| {
        acts.iter().map(|act| crate::book::act::decide(act, &mut world, law)).collect::<Vec<Reply>>()
    }));
    let Ok(replies) = decided else {
        transaction.rollback().await?;
        return Err(sqlx::Error::Protocol("an act panicked; what it said stands on standard error".to_owned()));
    };
    if world.effects.is_empty() {
        transaction.rollback().await?;
        return Ok(replies);
    }
    effects::write(&mut transaction, &world.effects).await?;
    transaction.commit().await?;
    Ok(replies)
}
