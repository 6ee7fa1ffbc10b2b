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
                ask_about_twin(connection, deed, &repeat).await?;
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

/// What two people at a desk, or one script that lost an answer, write twice without noticing: nothing else tells a second visit,
/// spill or delivery from the first one sent again.
const ASKED_ABOUT: [&str; 3] = ["create_visit", "record_stock_movement", "create_lot"];
/// How long what is written is still asked about.
const A_MINUTE_MS: i64 = 60_000;

/// Refuses what the same person wrote a moment ago and sends again without a key. With one, a second thing is meant.
async fn ask_about_twin(
    connection: &mut SqliteConnection,
    deed: JournalContext,
    repeat: &IdempotentRequest,
) -> Result<(), Problem> {
    let Some(actor) = deed.actor.filter(|_| repeat.key.key.is_none() && ASKED_ABOUT.contains(&repeat.route)) else {
        return Ok(());
    };
    let (person, since) = (actor.person.to_string(), deed.at.millis() - A_MINUTE_MS);
    let twin = store::journal::written_since(connection, &person, repeat.route, &repeat.fingerprint, since).await?;
    let Some(stored) = twin else { return Ok(()) };
    let address = stored.split_once('\n').map_or(stored.as_str(), |(address, _)| address);
    let detail = format!(
        "You sent the same a moment ago, and it is stored: {address}. If this is a second one, say so with an Idempotency-Key."
    );
    Err(Problem::new(Kind::WrittenAlready, detail).with_existing(address))
}

async fn remember(
    connection: &mut SqliteConnection,
    deed: JournalContext,
    repeat: &IdempotentRequest,
    created: &Created,
) -> Result<(), Problem> {
    let Some(actor) = deed.actor else { return Ok(()) };
    // No key of a caller begins like this one, under which the same is found that comes without a key.
    let own = ASKED_ABOUT.contains(&repeat.route).then(|| format!("~{}", deed.subject));
    let Some(key) = repeat.key.key.as_ref().or(own.as_ref()) else { return Ok(()) };
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
