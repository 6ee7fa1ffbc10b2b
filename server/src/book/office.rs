//! The plain writes: one thing is made or changed, a line of the journal is written with it, and a repeated request is
//! answered as the first one was. One transaction each.

use serde::Serialize;
use sqlx::SqliteConnection;
use uuid::Uuid;

use crate::{
    extract::IdempotencyKey,
    problem::{Kind, Problem},
    reply::Created,
    state::App,
    store::journal::JournalContext,
    store::{self, BoxFuture},
};

/// By what a repeated request is recognised.
#[derive(Debug, Clone)]
pub struct IdempotentRequest {
    pub key: IdempotencyKey,
    pub route: &'static str,
    pub fingerprint: String,
}

/// Makes a thing: 201 with its address. With an Idempotency-Key, the same request again gets the first answer.
pub async fn create<V, F>(
    app: &App,
    deed: JournalContext,
    repeat: IdempotentRequest,
    location: String,
    work: F,
) -> Result<Created, Problem>
where
    V: Serialize + Send + 'static,
    F: for<'c> FnOnce(&'c mut SqliteConnection) -> BoxFuture<'c, Result<V, Problem>> + Send + 'static,
{
    // The writer gives every closure the connection for exactly as long as it runs.
    app.store
        .write(move |connection| {
            Box::pin(async move {
                if let Some(first) = replay(connection, deed, &repeat).await? {
                    return Ok(first);
                }
                let made = work(connection).await?;
                let body = serde_json::to_string(&made)?;
                store::journal::append(connection, deed, &body).await?;
                let created = Created { location, body, replayed: false };
                remember(connection, deed, &repeat, &created).await?;
                Ok(created)
            })
        })
        .await
}

/// Makes several things at once: one answer, and for each thing an entry of its own.
pub async fn create_each<V, F>(
    app: &App,
    deed: JournalContext,
    repeat: IdempotentRequest,
    location: String,
    work: F,
) -> Result<Created, Problem>
where
    V: Serialize + Send + 'static,
    F: for<'c> FnOnce(&'c mut SqliteConnection) -> BoxFuture<'c, Result<(V, Vec<(Uuid, String)>), Problem>>
        + Send
        + 'static,
{
    app.store
        .write(move |connection| {
            Box::pin(async move {
                if let Some(first) = replay(connection, deed, &repeat).await? {
                    return Ok(first);
                }
                let (made, entries) = work(connection).await?;
                for (subject, body) in entries {
                    store::journal::append(connection, JournalContext { subject, ..deed }, &body).await?;
                }
                let created = Created { location, body: serde_json::to_string(&made)?, replayed: false };
                remember(connection, deed, &repeat, &created).await?;
                Ok(created)
            })
        })
        .await
}

/// Changes a thing and writes the journal.
pub async fn change<V, F>(app: &App, deed: JournalContext, work: F) -> Result<V, Problem>
where
    V: Serialize + Send + 'static,
    F: for<'c> FnOnce(&'c mut SqliteConnection) -> BoxFuture<'c, Result<V, Problem>> + Send + 'static,
{
    change_once(app, deed, move |connection| Box::pin(async move { Ok((work(connection).await?, true)) })).await
}

/// Changes a thing, and writes the journal only if the work says that there was something left to change.
pub async fn change_once<V, F>(app: &App, deed: JournalContext, work: F) -> Result<V, Problem>
where
    V: Serialize + Send + 'static,
    F: for<'c> FnOnce(&'c mut SqliteConnection) -> BoxFuture<'c, Result<(V, bool), Problem>> + Send + 'static,
{
    app.store
        .write(move |connection| {
            Box::pin(async move {
                let (thing, changed) = work(connection).await?;
                if changed {
                    store::journal::append(connection, deed, &serde_json::to_string(&thing)?).await?;
                }
                Ok(thing)
            })
        })
        .await
}

/// The first answer, if this key was used for this very request before.
async fn replay(
    connection: &mut SqliteConnection,
    deed: JournalContext,
    repeat: &IdempotentRequest,
) -> Result<Option<Created>, Problem> {
    let (Some(key), Some(actor)) = (&repeat.key.key, deed.actor) else { return Ok(None) };
    let person = actor.person.to_string();
    match store::journal::remembered(connection, &person, repeat.route, key).await? {
        None => Ok(None),
        Some((fingerprint, _)) if fingerprint != repeat.fingerprint => {
            Err(Problem::new(Kind::KeyReused, "This Idempotency-Key came with other content before."))
        }
        Some((_, stored)) => {
            let split = stored.split_once('\n').ok_or_else(|| store::bad_row("kept answer")(&"it has no address"));
            let (location, body) = split?;
            Ok(Some(Created { location: location.to_owned(), body: body.to_owned(), replayed: true }))
        }
    }
}

async fn remember(
    connection: &mut SqliteConnection,
    deed: JournalContext,
    repeat: &IdempotentRequest,
    created: &Created,
) -> Result<(), Problem> {
    let (Some(key), Some(actor)) = (&repeat.key.key, deed.actor) else { return Ok(()) };
    let answer = store::journal::StoredResponse {
        person: actor.person.to_string(),
        route: repeat.route,
        key,
        fingerprint: &repeat.fingerprint,
        body: format!("{}\n{}", created.location, created.body),
        at: deed.at,
    };
    Ok(store::journal::remember(connection, answer).await?)
}
