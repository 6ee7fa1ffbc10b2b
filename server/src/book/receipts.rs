//! Receipts: what leaves the book signed, so that whoever has one can hold the book against it later.

pub mod against;

use against::Missing;
use std::{
    io,
    path::{Path, PathBuf},
};

use axum::{
    http::{HeaderName, HeaderValue},
    response::Response,
};
use base64::{Engine, engine::general_purpose::STANDARD};
use domain::{receipt::Signed, time::Instant};
use serde::Serialize;
use serde_json::{Value, json};
use sqlx::{Connection, SqliteConnection};
use utoipa::ToSchema;

use crate::{
    copies::RECEIPT,
    problem::{Kind, Problem},
    signing::{self, NewKey, SigningKey},
    state::App,
    store::{
        self, Store, file,
        journal::JournalContext,
        receipts::{insert, key, newest, whole_key},
    },
};

/// Carries the whole receipt, base64, on answers that a phone keeps.
const HEADER: HeaderName = HeaderName::from_static("receipt");

/// How far the journal had come at a moment, signed by the company's key.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Receipt {
    #[schema(max_length = 36, format = "uuid")]
    pub book_id: String,
    /// Number of the newest entry of the journal.
    #[schema(minimum = 0, maximum = 9_007_199_254_740_991_i64)]
    pub entry: i64,
    /// Its hash, which vouches for everything before it.
    #[schema(max_length = 64)]
    pub head: String,
    pub signed_at: Instant,
    /// The public key (ed25519), base64.
    #[schema(max_length = 44)]
    pub key: String,
    /// What is signed, byte for byte: these figures and the company's name, a line each.
    #[schema(max_length = 1000)]
    pub text: String,
    /// Signature of the text (ed25519, RFC 8032), base64.
    #[schema(max_length = 88)]
    pub signature: String,
    /// All of it as it is printed: what is signed, and the signature as a last line.
    #[serde(skip)]
    pub whole: String,
}

impl Receipt {
    fn of(signed: Signed) -> Self {
        let (text, whole) = (signed.receipt.text(), signed.text());
        let Signed { receipt, signature } = signed;
        let domain::receipt::Receipt { book: book_id, entry, head, signed_at, key, .. } = receipt;
        Self { book_id, entry, head, signed_at, key, text, signature, whole }
    }
}

/// The key of a book that is being opened, made if it has none yet: then the journal says so.
pub async fn settle(store: &Store, at: Instant) -> Result<SigningKey, Problem> {
    if let Some(key) = key(store.reader()).await? {
        return Ok(key);
    }
    let new = NewKey::make()?;
    let made = store.write(move |connection| {
        Box::pin(async move {
            insert(&mut *connection, &new, at).await?;
            let subject = signing::book_of(&new.public);
            let deed = JournalContext { actor: None, at, act: "signing_key.made", subject };
            store::journal::append(&mut *connection, deed, &told(&new.public, at).to_string()).await?;
            Ok(key(connection).await?)
        })
    });
    made.await?.ok_or_else(|| Problem::new(Kind::Fault, "The signing key was written and is not there."))
}

/// What the journal says of a key.
pub fn told(public: &[u8], made_at: Instant) -> Value {
    json!({ "algorithm": "ed25519", "book_id": signing::book_of(public).to_string(), "made_at": made_at, "public_key": signing::public_text(public) })
}

/// The same of the key that is stored; null where its parts do not belong together.
pub async fn told_of(connection: &mut SqliteConnection) -> Result<Value, sqlx::Error> {
    Ok(whole_key(connection).await?.map_or(Value::Null, |key| told(key.public(), key.made_at())))
}

/// A receipt of this moment. What was answered before it was asked for is covered by it.
pub async fn now(app: &App) -> Result<Receipt, Problem> {
    let head = app.store.head().await?;
    let company = if let Some(known) = app.signing.company() {
        known.to_owned()
    } else {
        let missing = || Problem::new(Kind::Fault, "The book has no company. It is not set up, or not whole.");
        let (name, _) = store::people::company(app.store.reader()).await?.ok_or_else(missing)?;
        app.signing.keep_company(&name);
        name
    };
    Ok(Receipt::of(app.signing.sign(&company, head, app.clock.now())))
}

/// Puts a receipt beside an answer that somebody keeps. What is stored is stored: no answer fails for want of a receipt.
pub async fn beside(app: &App, mut answer: Response) -> Response {
    match now(app).await.map(|receipt| HeaderValue::from_str(&STANDARD.encode(receipt.whole))) {
        Ok(Ok(value)) => {
            answer.headers_mut().insert(HEADER, value);
        }
        Ok(Err(error)) => tracing::error!(%error, "a receipt cannot be sent"),
        Err(problem) => tracing::error!(detail = problem.detail, "a receipt cannot be made"),
    }
    answer
}

/// A receipt of where a file's journal stands, by its own key, as it is handed out. Nothing for a file that has no key yet.
pub async fn of_file(file: &Path, at: Instant) -> Result<Option<String>, sqlx::Error> {
    let mut connection = store::open_read_only(file).await?;
    let mut moment = connection.begin().await?;
    if !store::tables::has(&mut moment, "signing_key").await? {
        return Ok(None);
    }
    let Some(key) = key(&mut *moment).await? else { return Ok(None) };
    let company = store::people::company(&mut *moment).await?.map(|(name, _)| name).unwrap_or_default();
    let head = newest(&mut *moment).await?;
    Ok(Some(key.sign(&company, head, at).text()))
}

/// Writes the receipt of a copy that is about to get its name, beside that name. Nothing for a copy of an earlier version, which has no
/// key. What an earlier copy of that name left there is replaced.
pub async fn beside_copy(part: &Path, copy: &Path, at: Instant) -> Result<Option<PathBuf>, String> {
    let Some(text) = of_file(part, at).await.map_err(|error| error.to_string())? else { return Ok(None) };
    let to = file::beside(copy, RECEIPT);
    let write = || -> io::Result<()> {
        match std::fs::remove_file(&to) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
            _ => {}
        }
        file::make(&to)?;
        std::fs::write(&to, text)
    };
    write().map_err(|error| format!("{}: {error}", to.display()))?;
    Ok(Some(to))
}

/// What of a file is missing that later receipts cover; or why the file is none that they could be of.
pub async fn missing_in(file: &Path, given: &[String]) -> Result<Option<Missing>, String> {
    let receipts = given.iter().map(|given| against::read(given)).collect::<Result<Vec<_>, _>>()?.concat();
    let unread = |error: sqlx::Error| format!("{} cannot be read: {error}", file.display());
    let mut connection = store::open_read_only(file).await.map_err(unread)?;
    if !store::tables::has(&mut connection, "signing_key").await.map_err(unread)? {
        let none = "these records are of an earlier version, from before receipts were signed, so none can be held against them";
        return if receipts.is_empty() { Ok(None) } else { Err(none.to_owned()) };
    }
    let (held, missing) = against::since(&mut connection, &receipts).await.map_err(unread)?;
    if held.faults.is_empty() { Ok(missing) } else { Err(held.faults.join("\n")) }
}

/// The public key of a file's records, as common tools read it.
pub async fn public_key(file: &Path) -> Result<Option<String>, sqlx::Error> {
    let mut connection = store::open_read_only(file).await?;
    if !store::tables::has(&mut connection, "signing_key").await? {
        return Ok(None);
    }
    Ok(key(&mut connection).await?.map(|key| signing::pem(key.public())))
}
