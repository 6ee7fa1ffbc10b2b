//! Documents of one service: the copy that is kept as long as it is good, one question however many ask, and the last good
//! copy when the service fails. Every answer is kept as evidence before it is used.

use std::{
    collections::HashMap,
    io::{Read, Write},
    sync::{Arc, Mutex, MutexGuard, PoisonError, Weak},
};

use domain::{journal::hex, time::Instant};
use flate2::{Compression, read::GzDecoder, write::GzEncoder};
use jiff::SignedDuration;
use sha2::{Digest, Sha256};
use tokio::time;

use super::{
    body::LARGEST_BODY,
    client::{Client, Failure, FetchedDocument, Outcome, Validators},
};
use crate::{
    clock::Clock,
    store::{self, Store},
};

/// Whether, and how long, one may wait for the network.
#[derive(Debug, Clone, Copy)]
pub enum Patience {
    /// Ask the service where the copy is not good any more, until then.
    Until(time::Instant),
    /// Only what was known at a moment, from the book.
    AsKnownAt(Instant),
}

/// A document as it was fetched.
#[derive(Debug, Clone)]
pub struct Document {
    /// The number of the fetch, by which evidence names it.
    pub fetch: i64,
    pub fetched_at: Instant,
    pub body: Arc<[u8]>,
    validators: Validators,
    sha256: String,
    /// Why it is not a newer one, if one was wanted.
    pub failure: Option<Failure>,
}

/// A failure is not asked for again within this time, so that twenty who wait for one that fails do not fail one by one.
const MISS: SignedDuration = SignedDuration::from_secs(15);
/// Copies held in memory at most, and their bytes; the book has them all.
const COPIES: usize = 2_000;
const COPIES_BYTES: usize = 64 * 1024 * 1024;
/// A copy older than this is not used any more. What nothing refers to is deleted from the book a day later, so that no copy is
/// in use that the book has not.
pub const USED: SignedDuration = SignedDuration::from_hours(7 * 24);

#[derive(Debug)]
pub struct Fetcher {
    pub provider: &'static str,
    pub client: Client,
    clock: Arc<dyn Clock>,
    held: Mutex<Held>,
}

#[derive(Debug, Default)]
struct Held {
    copies: HashMap<String, Document>,
    bytes: usize,
    /// When each failed, and why.
    misses: HashMap<String, (Instant, Failure)>,
    turns: HashMap<String, Weak<tokio::sync::Mutex<()>>>,
}

impl Held {
    fn hold(&mut self, path: &str, document: Document) {
        let size = document.body.len();
        if self.copies.len() >= COPIES || self.bytes + size > COPIES_BYTES {
            self.copies.clear();
            self.bytes = 0;
        }
        let before = self.copies.insert(path.to_owned(), document);
        self.bytes += size;
        self.bytes -= before.map_or(0, |before| before.body.len());
    }
}

impl Document {
    /// Younger than so much, and not of a time that lies ahead: a clock that was set back would keep it for good.
    fn is_younger(&self, now: Instant, than: SignedDuration) -> bool {
        let age = now.since(self.fetched_at);
        !age.is_negative() && age < than
    }
}

impl Fetcher {
    pub fn new(provider: &'static str, client: Client, clock: Arc<dyn Clock>) -> Self {
        Self { provider, client, clock, held: Mutex::default() }
    }

    fn held(&self) -> MutexGuard<'_, Held> {
        self.held.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub fn now(&self) -> Instant {
        self.clock.now()
    }

    /// The document at a path. A copy younger than `good_for` is not asked for again.
    pub async fn document(
        &self,
        store: &Store,
        path: &str,
        good_for: SignedDuration,
        patience: Patience,
    ) -> Result<Document, Failure> {
        let deadline = match patience {
            Patience::AsKnownAt(at) => return self.kept_at(store, path, at).await.ok_or(Failure::Resting),
            Patience::Until(deadline) => deadline,
        };
        if let Some(known) = self.settled(path, good_for) {
            return known;
        }
        let turn = self.turn(path);
        let Ok(_turn) = time::timeout_at(deadline, turn.lock()).await else {
            return self.last_good(store, path, Failure::Timeout).await;
        };
        // Whoever was first has asked for all.
        if let Some(known) = self.settled(path, good_for) {
            return known;
        }
        let known = self.copy(store, path).await;
        if let Some(copy) = known.as_ref().filter(|copy| copy.is_younger(self.now(), good_for)) {
            self.held().hold(path, copy.clone());
            return Ok(copy.clone());
        }
        let validators = known.as_ref().map(|copy| copy.validators.clone()).unwrap_or_default();
        let asked_at = self.now();
        let outcome = self.client.get(path, &validators, deadline, &*self.clock).await;
        match self.keep(store, path, known, asked_at, outcome).await {
            Ok(document) => Ok(document),
            Err(failure) => {
                if failure != Failure::Crowded {
                    self.miss(path, asked_at, &failure);
                }
                self.last_good(store, path, failure).await
            }
        }
    }

    fn miss(&self, path: &str, at: Instant, failure: &Failure) {
        let mut held = self.held();
        held.misses.retain(|_, (missed, failure)| is_recent(at, *missed, failure));
        held.misses.insert(path.to_owned(), (at, failure.clone()));
    }

    /// What can be said without waiting: a copy that is good, or a failure of a moment ago beside an older copy.
    fn settled(&self, path: &str, good_for: SignedDuration) -> Option<Result<Document, Failure>> {
        let held = self.held();
        let now = self.now();
        let copy = held.copies.get(path).filter(|copy| copy.is_younger(now, USED));
        if let Some(copy) = copy.filter(|copy| copy.is_younger(now, good_for)) {
            return Some(Ok(copy.clone()));
        }
        let (at, failure) = held.misses.get(path)?;
        is_recent(now, *at, failure).then(|| match copy {
            Some(copy) => Ok(Document { failure: Some(failure.clone()), ..copy.clone() }),
            None => Err(failure.clone()),
        })
    }

    fn turn(&self, path: &str) -> Arc<tokio::sync::Mutex<()>> {
        let mut held = self.held();
        if let Some(turn) = held.turns.get(path).and_then(Weak::upgrade) {
            return turn;
        }
        held.turns.retain(|_, turn| turn.strong_count() > 0);
        let turn = Arc::default();
        held.turns.insert(path.to_owned(), Arc::downgrade(&turn));
        turn
    }

    async fn copy(&self, store: &Store, path: &str) -> Option<Document> {
        let now = self.now();
        let copy = self.held().copies.get(path).filter(|copy| copy.is_younger(now, USED)).cloned();
        match copy {
            Some(copy) => Some(copy),
            None => self.kept_at(store, path, now).await,
        }
    }

    /// The last good copy with its own age and the reason why it is not newer, or the reason alone.
    async fn last_good(&self, store: &Store, path: &str, failure: Failure) -> Result<Document, Failure> {
        match self.copy(store, path).await {
            Some(copy) => Ok(Document { failure: Some(failure), ..copy }),
            None => Err(failure),
        }
    }

    async fn kept_at(&self, store: &Store, path: &str, at: Instant) -> Option<Document> {
        let kept = match store::weather::latest(store.reader(), self.provider, path, at).await {
            Ok(kept) => kept?,
            Err(error) => {
                tracing::warn!(%error, path, "the kept answer of a weather service cannot be read");
                return None;
            }
        };
        let body = unpacked(&kept.bytes)?;
        Some(Document {
            fetch: kept.seq,
            fetched_at: kept.asked_at,
            body: body.into(),
            validators: Validators { etag: kept.etag, last_modified: kept.last_modified },
            sha256: kept.sha256,
            failure: kept.asked_again.then_some(Failure::AskedAgain),
        })
        .filter(|copy| copy.is_younger(at, USED))
    }

    /// Keeps how a question went, then gives what can be used of the answer.
    async fn keep(
        &self,
        store: &Store,
        path: &str,
        known: Option<Document>,
        asked_at: Instant,
        outcome: Outcome,
    ) -> Result<Document, Failure> {
        if outcome.attempts == 0 {
            return Err(outcome.answer.err().unwrap_or(Failure::Resting));
        }
        let mut fetch = store::weather::Fetch {
            provider: self.provider,
            path: path.to_owned(),
            asked_at,
            outcome: "ok",
            http_status: outcome.status,
            attempts: outcome.attempts,
            etag: None,
            last_modified: None,
            body_sha256: None,
            new_body: None,
        };
        let answer = match (outcome.answer, known) {
            // A service that stands by what nobody here has is mistaken.
            (Ok(FetchedDocument::NotModified), None) => Err(Failure::BadBody("\"not modified\" to a first question")),
            (Ok(FetchedDocument::NotModified), Some(known)) => {
                fetch.outcome = "not_modified";
                Ok(known)
            }
            (Ok(FetchedDocument::Document { body, content_type, validators }), known) => {
                let sha256 = hex(&Sha256::digest(&body));
                if known.is_none_or(|known| known.sha256 != sha256) {
                    fetch.new_body = Some((content_type, packed(&body)));
                }
                let body: Arc<[u8]> = body.into();
                Ok(Document { fetch: 0, fetched_at: asked_at, body, validators, sha256, failure: None })
            }
            (Err(failure), _) => Err(failure),
        };
        match &answer {
            Ok(document) => {
                fetch.body_sha256 = Some(document.sha256.clone());
                fetch.etag.clone_from(&document.validators.etag);
                fetch.last_modified.clone_from(&document.validators.last_modified);
            }
            Err(failure) => fetch.outcome = failure.word(),
        }
        let kept =
            store.write(move |connection| Box::pin(async move { Ok(store::weather::keep(connection, fetch).await?) }));
        let fetch = kept.await.map_err(|problem| {
            tracing::error!(
                detail = problem.detail,
                path,
                "what a weather service said cannot be kept, so it is not used"
            );
            Failure::BadBody("what could not be kept as evidence")
        });
        let document = Document { fetch: fetch?, fetched_at: asked_at, failure: None, ..answer? };
        let mut held = self.held();
        held.misses.remove(path);
        held.hold(path, document.clone());
        Ok(document)
    }
}

/// Whether a failure is so new that nobody asks again; for as long as the service wants, if it says how long.
fn is_recent(now: Instant, missed: Instant, failure: &Failure) -> bool {
    now.since(missed).abs() < failure.again_in().max(MISS)
}

/// A kept body as it came.
pub fn unpacked(bytes: &[u8]) -> Option<Vec<u8>> {
    let mut body = Vec::new();
    GzDecoder::new(bytes).take(LARGEST_BODY as u64).read_to_end(&mut body).ok()?;
    Some(body)
}

fn packed(body: &[u8]) -> Vec<u8> {
    let mut packed = GzEncoder::new(Vec::new(), Compression::default());
    // Writing into memory does not fail; what would come of it is an empty body, which is no JSON when it is read again.
    let _ = packed.write_all(body);
    packed.finish().unwrap_or_default()
}
