//! A server on a port of its own with a file of its own, a clock that stands still, and people as HTTP clients.
//!
//! Every answer is held against the API document, so the tests prove the document too.
#![expect(clippy::missing_panics_doc, clippy::expect_used, clippy::panic, reason = "a test harness fails by panicking")]

pub mod approved;
mod at_the_door;
pub mod contract;
mod serving;
pub mod world;

use std::{
    net::SocketAddr,
    path::{Path, PathBuf},
    sync::{Arc, LazyLock, Once},
    time::Duration,
};

use domain::{law::Lawbook, time::Instant};
use reqwest::{Client, Method, header::HeaderMap};
use serde_json::{Value, json};
use server::{
    clock::{Clock, CountedIds, FrozenClock, IdSource, RandomIds},
    config, serve,
    state::App,
    throttle::Throttle,
    weather::Services,
};
use tempfile::TempDir;
use uuid::Uuid;

use serving::Serving;

/// A running server.
#[derive(Debug)]
pub struct TestApp {
    pub address: SocketAddr,
    pub clock: Arc<FrozenClock>,
    pub setup_code: Option<String>,
    folder: TempDir,
    serving: Serving,
    client: Client,
    weather: config::Weather,
    /// What works beside the router, for tests that call it themselves.
    beside: Option<App>,
}

/// The password of everybody who signs in.
pub const PASSWORD: &str = "three plain words here";

/// The day on which tests begin unless they say otherwise: a Tuesday in an open season everywhere.
pub const TODAY: &str = "2026-09-15T14:00:00Z";

pub fn instant(text: &str) -> Instant {
    Instant::parse(text).expect("an instant")
}

fn provider() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| drop(rustls::crypto::ring::default_provider().install_default()));
}

thread_local! {
    /// Reading the roots of trust takes longer than starting a server, and a test may start many.
    static CLIENT: Client = new_client();
}

/// The built-in rule sets, read once for all tests.
fn embedded_law() -> Arc<Lawbook> {
    static LAW: LazyLock<Arc<Lawbook>> =
        LazyLock::new(|| Arc::new(Lawbook::embedded().expect("the built-in rule sets read")));
    Arc::clone(&LAW)
}

/// A client that gives up after a while instead of hanging a test.
pub fn client() -> Client {
    CLIENT.with(Client::clone)
}

fn new_client() -> Client {
    provider();
    Client::builder()
        .timeout(Duration::from_mins(2))
        .redirect(reqwest::redirect::Policy::none())
        .build()
        .expect("a client")
}

impl TestApp {
    /// A server with an empty book.
    pub async fn empty() -> Self {
        Self::open(tempfile::tempdir().expect("a folder"), TODAY, embedded_law(), config::Weather::default()).await
    }

    /// A server on a copy of a closed book.
    pub async fn on_copy_of(book: &[u8]) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        std::fs::write(folder.path().join("book.db"), book).expect("room for a book");
        Self::reopen(folder).await
    }

    /// A server with an empty book and the rule sets of an operator.
    pub async fn empty_under(law: Lawbook) -> Self {
        Self::open(tempfile::tempdir().expect("a folder"), TODAY, Arc::new(law), config::Weather::default()).await
    }

    /// The same, with identifiers that count up: the same requests write the same book, byte for byte.
    pub async fn counting(law: Lawbook) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let ids = Arc::<CountedIds>::default();
        Self::open_with(folder, TODAY, Arc::new(law), config::Weather::default(), ids, Throttle::new(false)).await
    }

    /// A server with an empty book that asks weather services, at a moment.
    pub async fn under_a_sky(law: Lawbook, now: &str, weather: config::Weather) -> Self {
        Self::open(tempfile::tempdir().expect("a folder"), now, Arc::new(law), weather).await
    }

    async fn open(folder: TempDir, now: &str, law: Arc<Lawbook>, weather: config::Weather) -> Self {
        Self::open_with(folder, now, law, weather, Arc::new(RandomIds), Throttle::new(false)).await
    }

    async fn open_with(
        folder: TempDir,
        now: &str,
        law: Arc<Lawbook>,
        weather: config::Weather,
        ids: Arc<dyn IdSource>,
        throttle: Throttle,
    ) -> Self {
        provider();
        let clock = Arc::new(FrozenClock::at(instant(now)));
        let file = folder.path().join("book.db");
        let shared = Arc::clone(&clock) as Arc<dyn Clock>;
        let services = Services::configured(&weather, &shared).expect("services that can be asked");
        let opened = serve::open_with(&file, shared, ids, law, throttle, services).await;
        let (opened, app) = opened.expect("a book");
        let setup_code = opened.setup_code.clone();
        let listener = serve::bind("127.0.0.1:0".parse().expect("an address")).expect("a port");
        let address = listener.local_addr().expect("an address");
        let serving = Serving::begin(listener, opened);
        Self { address, clock, setup_code, folder, serving, client: client(), weather, beside: Some(app) }
    }

    /// A server on a book that is there already.
    pub async fn reopen(folder: TempDir) -> Self {
        Self::reopen_under(folder, TODAY, embedded_law()).await
    }

    /// The same at a moment, under the rule sets of an operator.
    pub async fn reopen_under(folder: TempDir, now: &str, law: Arc<Lawbook>) -> Self {
        Self::open(folder, now, law, config::Weather::default()).await
    }

    /// What works beside the router.
    pub fn beside(&self) -> &App {
        self.beside.as_ref().expect("it has not been stopped")
    }

    /// The file of the book.
    pub fn file(&self) -> PathBuf {
        self.folder.path().join("book.db")
    }

    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// Stops the server as a signal would, waits until everything is written, and keeps the folder.
    pub async fn stop(mut self) -> TempDir {
        self.beside = None;
        self.serving.end().await;
        self.folder
    }

    /// Stops and starts again on the same file, with the clock where it was.
    pub async fn restart(self) -> Self {
        let (now, weather) = (self.clock.now().to_string(), self.weather.clone());
        let law = self.beside().offered_law();
        let folder = self.stop().await;
        Self::open(folder, &now, law, weather).await
    }

    /// Stops and starts again under limits of its own.
    pub async fn limited(self, limits: config::Limits) -> Self {
        let (now, weather) = (self.clock.now().to_string(), self.weather.clone());
        let law = self.beside().offered_law();
        let folder = self.stop().await;
        Self::open_with(folder, &now, law, weather, Arc::new(RandomIds), Throttle::limited(false, limits)).await
    }

    pub fn url(&self, path: &str) -> String {
        format!("http://{}{path}", self.address)
    }

    /// Somebody who has not signed in.
    pub fn nobody(&self) -> User {
        User { base: format!("http://{}", self.address), token: None, id: None, client: self.client.clone() }
    }

    /// Somebody with a token.
    pub fn user(&self, token: &str, id: Option<String>) -> User {
        User { token: Some(token.to_owned()), id, ..self.nobody() }
    }

    /// Sets the book up and signs the owner in.
    pub async fn set_up(&self) -> User {
        let code = self.setup_code.clone().expect("a set-up code");
        let body = json!({
            "setup_code": code, "company_name": "Demonstration Company", "time_zone": "America/New_York",
            "owner_name": "Owner 01", "sign_in": { "name": "owner", "password": PASSWORD },
        });
        let owner = self.nobody().post("/api/v1/setup", &body).await.expect(201).body;
        self.sign_in("owner", owner["id"].as_str().map(str::to_owned)).await
    }

    pub async fn sign_in(&self, name: &str, id: Option<String>) -> User {
        let session = self
            .nobody()
            .post("/api/v1/sessions", &json!({ "name": name, "password": PASSWORD }))
            .await
            .expect(201)
            .body;
        self.user(session["token"].as_str().expect("a token"), id)
    }
}

/// A person at the other end of HTTP.
#[derive(Debug, Clone)]
pub struct User {
    base: String,
    pub token: Option<String>,
    /// The person's id, where the test knows it.
    pub id: Option<String>,
    client: Client,
}

/// An answer, already held against the API document.
#[derive(Debug)]
pub struct Reply {
    pub status: u16,
    pub headers: HeaderMap,
    pub body: Value,
    pub text: String,
    /// The body as it came; `text` is that of a file only where it is text.
    pub bytes: Vec<u8>,
    /// Method and address.
    pub asked: String,
}

impl Reply {
    /// The answer, if it has this status.
    #[track_caller]
    #[must_use]
    pub fn expect(self, status: u16) -> Self {
        assert_eq!(self.status, status, "{} answered {}", self.asked, self.text);
        self
    }

    /// The problem, if it has this status and code.
    #[track_caller]
    #[must_use]
    pub fn problem(self, status: u16, code: &str) -> Self {
        let reply = self.expect(status);
        assert_eq!(reply.body["code"], code, "{} answered {}", reply.asked, reply.text);
        reply
    }

    /// Where the faults of a 422 are, each place once.
    pub fn faults(&self) -> Vec<String> {
        let of =
            |fault: &Value| fault["pointer"].as_str().or(fault["parameter"].as_str()).unwrap_or_default().to_owned();
        let mut places: Vec<String> = self.body["errors"].as_array().into_iter().flatten().map(of).collect();
        places.dedup();
        places
    }

    /// Rules of the findings, without repeats.
    pub fn rules(&self) -> Vec<String> {
        let rule = |finding: &Value| finding["rule"].as_str().unwrap_or_default().to_owned();
        let mut rules: Vec<String> =
            self.body["findings"].as_array().map(|f| f.iter().map(rule).collect()).unwrap_or_default();
        rules.dedup();
        rules
    }

    pub fn id(&self) -> String {
        self.body["id"].as_str().expect("an id").to_owned()
    }

    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers.get(name).and_then(|value| value.to_str().ok())
    }
}

/// Gives every property a zone that no server knows, as if a later zone table had dropped it.
pub const LOSE_ZONES: &str = "
    DROP TRIGGER dated_entries_keep;
    UPDATE properties SET time_zone = 'America/Nowhere';
    UPDATE dated_entries SET facts = json_set(facts, '$.time_zone', 'America/Nowhere') WHERE property_id IS NOT NULL;";

/// Writes the first dated entry of every thing that was put straight into the file and has none.
pub const FIRST_ENTRIES: &str = "
         INSERT INTO dated_entries (id, client_id, since, facts, entered_at)
         SELECT id, id, '0001-01-01', json_object('name', name, 'mailing_address', mailing_address, 'phone', phone, 'email', email,
             'cancelled_on', cancelled_on), 0 FROM clients WHERE id NOT IN (SELECT id FROM dated_entries);
         INSERT INTO dated_entries (id, property_id, since, facts, entered_at)
         SELECT id, id, '0001-01-01', json_object('client_id', client_id, 'name', name, 'address', address, 'postal_code', postal_code,
             'latitude', latitude, 'longitude', longitude, 'time_zone', time_zone, 'place', NULL, 'rule_sets', json(rule_sets),
             'local_rules_checked_on', local_rules_checked_on), 0 FROM properties WHERE id NOT IN (SELECT id FROM dated_entries);
         INSERT INTO dated_entries (id, section_id, since, facts, entered_at)
         SELECT id, id, '0001-01-01', json_object('name', name, 'species', species, 'water', water, 'water_distance_ft', NULL,
             'natural_strip_ft', NULL, 'established_on', established_on, 'touches_pavement', json(iif(touches_pavement, 'true', 'false')),
             'maintenance', maintenance, 'clippings', clippings, 'shade', shade), 0
         FROM sections WHERE id NOT IN (SELECT id FROM dated_entries);";

/// A new id as a phone makes it.
pub fn new_id() -> String {
    Uuid::new_v7(uuid::Timestamp::from_unix(uuid::NoContext, 1_789_000_000, 0)).to_string()
}

impl User {
    pub async fn get(&self, path: &str) -> Reply {
        self.send(Method::GET, path, &[], None).await
    }

    pub async fn post(&self, path: &str, body: &Value) -> Reply {
        self.send(Method::POST, path, &[], Some(body)).await
    }

    /// A POST that may be repeated.
    pub async fn post_with_key(&self, path: &str, key: &str, body: &Value) -> Reply {
        self.send(Method::POST, path, &[("idempotency-key", key)], Some(body)).await
    }

    pub async fn put(&self, path: &str, body: &Value) -> Reply {
        self.send(Method::PUT, path, &[], Some(body)).await
    }

    /// A change of a version.
    pub async fn put_version(&self, path: &str, version: &str, body: &Value) -> Reply {
        self.send(Method::PUT, path, &[("if-match", version)], Some(body)).await
    }

    pub async fn delete(&self, path: &str) -> Reply {
        self.send(Method::DELETE, path, &[], None).await
    }

    pub async fn get_with(&self, path: &str, headers: &[(&str, &str)]) -> Reply {
        self.send(Method::GET, path, headers, None).await
    }

    /// Sends a request and holds the answer against the API document.
    pub async fn send(&self, method: Method, path: &str, headers: &[(&str, &str)], body: Option<&Value>) -> Reply {
        let mut request = self.client.request(method.clone(), format!("{}{path}", self.base));
        if let Some(body) = body {
            request = request.header("content-type", "application/json").body(body.to_string());
        }
        self.finish(request, &method, path, headers).await
    }

    /// Sends a file.
    pub async fn post_file(&self, path: &str, media: &str, bytes: &[u8]) -> Reply {
        self.send_text(Method::POST, path, &[("content-type", media)], bytes.to_vec()).await
    }

    /// Sends a body that need not be JSON.
    pub async fn send_text(&self, method: Method, path: &str, headers: &[(&str, &str)], body: Vec<u8>) -> Reply {
        let request = self.client.request(method.clone(), format!("{}{path}", self.base)).body(body);
        self.finish(request, &method, path, headers).await
    }

    async fn finish(
        &self,
        mut request: reqwest::RequestBuilder,
        method: &Method,
        path: &str,
        headers: &[(&str, &str)],
    ) -> Reply {
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        if let Some(token) = &self.token {
            request = request.bearer_auth(token);
        }
        let response = request.send().await.unwrap_or_else(|error| panic!("{method} {path}: {error}"));
        let (status, headers) = (response.status().as_u16(), response.headers().clone());
        let bytes = response.bytes().await.expect("a body").to_vec();
        let text = String::from_utf8_lossy(&bytes).into_owned();
        contract::check(method.as_str(), path, status, &headers, &text);
        let body = serde_json::from_str(&text).unwrap_or_default();
        Reply { status, headers, body, text, bytes, asked: format!("{method} {path}") }
    }
}
