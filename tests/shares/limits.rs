//! The limits themselves: time for a head, a pause and a body, on plain and TLS lines; budgets of a token and of an address.

use std::{path::Path, sync::Arc, time::Duration};

use axum_server::{Handle, tls_rustls::RustlsConfig};
use clap::Parser as _;
use domain::law::Lawbook;
use harness::{TestApp, client, new_id, world::Company};
use server::{
    clock::{RandomIds, SystemClock},
    config::{Cli, Command, Limits},
    serve,
    throttle::Throttle,
};
use tokio::{
    io::{AsyncReadExt as _, AsyncWriteExt as _},
    net::TcpStream,
    time::{Instant, sleep, timeout},
};

const HEAD: &str =
    "POST /api/v1/sessions HTTP/1.1\r\nHost: a\r\nContent-Type: application/json\r\nContent-Length: 39\r\n\r\n";

fn impatient() -> Limits {
    Limits { head_seconds: 1, body_seconds: 1, idle_seconds: 2, ..Limits::default() }
}

/// Everything that still comes over a line until the other end closes it, and how long that took.
async fn to_the_end(line: &mut TcpStream) -> (String, Duration) {
    let (begun, mut said) = (Instant::now(), Vec::new());
    let ended = timeout(Duration::from_secs(15), line.read_to_end(&mut said)).await;
    assert!(ended.is_ok(), "the line stays open");
    (String::from_utf8_lossy(&said).into_owned(), begun.elapsed())
}

/// Sends a byte from time to time, until the line is closed.
async fn dribble(line: &mut TcpStream, bytes: &[u8]) -> usize {
    for (sent, byte) in bytes.iter().enumerate() {
        if line.write_all(&[*byte]).await.is_err() {
            return sent;
        }
        sleep(Duration::from_millis(200)).await;
    }
    bytes.len()
}

#[tokio::test]
async fn a_head_has_its_time_however_it_comes() {
    let app = TestApp::empty().await.limited(impatient()).await;
    let mut silent = TcpStream::connect(app.address).await.unwrap();
    let (said, took) = to_the_end(&mut silent).await;
    assert!(said.is_empty() && took > Duration::from_millis(900), "{said} after {took:?}");
    let mut slow = TcpStream::connect(app.address).await.unwrap();
    let head = "GET /healthz HTTP/1.1\r\nHost: a\r\nX-Long: aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa\r\n\r\n";
    assert!(dribble(&mut slow, head.as_bytes()).await < head.len(), "each byte gave it new time");
    // Nor has the second head of a line more of it.
    let mut second = TcpStream::connect(app.address).await.unwrap();
    second.write_all(b"GET /healthz HTTP/1.1\r\nHost: a\r\n\r\n").await.unwrap();
    let mut answer = [0; 512];
    let read = second.read(&mut answer).await.unwrap();
    assert!(answer[..read].starts_with(b"HTTP/1.1 204"));
    assert!(dribble(&mut second, head.as_bytes()).await < head.len());
}

#[tokio::test]
async fn a_line_between_requests_has_longer() {
    let app = TestApp::empty().await.limited(impatient()).await;
    let mut line = TcpStream::connect(app.address).await.unwrap();
    for _ in 0..3 {
        line.write_all(b"GET /healthz HTTP/1.1\r\nHost: a\r\n\r\n").await.unwrap();
        let mut answer = [0; 512];
        let read = line.read(&mut answer).await.unwrap();
        assert!(answer[..read].starts_with(b"HTTP/1.1 204"));
        sleep(Duration::from_millis(1300)).await;
    }
    let (_, took) = to_the_end(&mut line).await;
    assert!(took < Duration::from_secs(3), "{took:?}");
}

#[tokio::test]
async fn a_body_that_stops_is_told_so() {
    let app = TestApp::empty().await.limited(impatient()).await;
    let mut line = TcpStream::connect(app.address).await.unwrap();
    line.write_all(HEAD.as_bytes()).await.unwrap();
    line.write_all(b"{\"name\":").await.unwrap();
    let (said, took) = to_the_end(&mut line).await;
    assert!(said.starts_with("HTTP/1.1 408"), "{said}");
    assert!(said.contains("too-slow") && said.to_lowercase().contains("connection: close"), "{said}");
    assert!(took > Duration::from_millis(900), "{took:?}");
    // One that goes on is read, however long it takes in all.
    let mut slow = TcpStream::connect(app.address).await.unwrap();
    slow.write_all(HEAD.as_bytes()).await.unwrap();
    for part in ["{\"name\":", "\"owner\",", "\"password\":", "\"", "xxxxxxxxx", "\"}"] {
        slow.write_all(part.as_bytes()).await.unwrap();
        sleep(Duration::from_millis(400)).await;
    }
    let mut answer = [0; 512];
    let read = slow.read(&mut answer).await.unwrap();
    assert!(!answer[..read].starts_with(b"HTTP/1.1 408"), "{}", String::from_utf8_lossy(&answer[..read]));
}

async fn with_tls(folder: &Path, limits: Limits) -> (u16, reqwest::Certificate, Handle<std::net::SocketAddr>) {
    let _ = client();
    let made = rcgen::generate_simple_self_signed(vec!["localhost".to_owned()]).unwrap();
    let (certificate, key) = (folder.join("chain.pem"), folder.join("key.pem"));
    std::fs::write(&certificate, made.cert.pem()).unwrap();
    std::fs::write(&key, made.signing_key.serialize_pem()).unwrap();
    let (clock, ids, law) = (Arc::new(SystemClock), Arc::new(RandomIds), Arc::new(Lawbook::embedded().unwrap()));
    let book = folder.join("book.db");
    let opened = serve::open(&book, clock, ids, law, Throttle::limited(false, limits)).await.unwrap();
    let listener = serve::bind("127.0.0.1:0".parse().unwrap()).unwrap();
    let port = listener.local_addr().unwrap().port();
    let tls = RustlsConfig::from_pem_file(&certificate, &key).await.unwrap();
    let handle = Handle::new();
    tokio::spawn(serve::listen(listener, Some(tls), handle.clone(), opened));
    (port, reqwest::Certificate::from_pem(made.cert.pem().as_bytes()).unwrap(), handle)
}

/// By TLS the same holds, for the agreement too, and more lines than there may be keep nobody out.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn by_tls_the_same_times_hold() {
    let folder = tempfile::tempdir().unwrap();
    let limits = Limits { connections: 20, connections_per_address: 20, ..impatient() };
    let (port, trusted, handle) = with_tls(folder.path(), limits).await;
    let mut silent = TcpStream::connect(("127.0.0.1", port)).await.unwrap();
    let mut half = TcpStream::connect(("127.0.0.1", port)).await.unwrap();
    // The beginning of a greeting of TLS 1.2, and no more.
    half.write_all(&[0x16, 3, 1, 2, 0, 1]).await.unwrap();
    let ((_, one), (_, other)) = tokio::join!(to_the_end(&mut silent), to_the_end(&mut half));
    assert!(one < Duration::from_secs(5) && other < Duration::from_secs(5), "{one:?} {other:?}");
    let mut lines = Vec::new();
    for _ in 0..100 {
        lines.push(TcpStream::connect(("127.0.0.1", port)).await.unwrap());
    }
    let client = reqwest::Client::builder().tls_certs_only([trusted]).build().unwrap();
    let address = format!("https://localhost:{port}/healthz");
    assert_eq!(client.get(&address).send().await.unwrap().status().as_u16(), 204);
    // What HTTP/2 says between requests is no head that is late.
    sleep(Duration::from_millis(1500)).await;
    assert_eq!(client.get(&address).send().await.unwrap().status().as_u16(), 204);
    drop(client);
    handle.graceful_shutdown(Some(Duration::from_secs(1)));
}

#[tokio::test]
async fn a_spent_budget_is_told_with_all_its_parts_and_is_nobody_elses() {
    let limits = Limits { units_per_token: 40, ..Limits::default() };
    let company = Company::in_maryland().await.limited(limits).await;
    let first = company.phone.get("/api/v1/me").await.expect(200);
    assert_eq!(first.header("ratelimit-policy"), Some("\"address\";q=16000;w=60, \"token\";q=40;w=60"));
    assert!(first.header("ratelimit").unwrap().ends_with("\"token\";r=39;t=2"), "{:?}", first.header("ratelimit"));
    let record = company.record(&company.front, "0.01");
    let mut stored = 0;
    let refused = loop {
        let reply = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await;
        if reply.status != 201 {
            break reply;
        }
        stored += 1;
        assert!(stored < 40, "the budget is never spent");
    };
    assert!(stored >= 19, "an entry costs two");
    let refused = refused.problem(429, "quota-exceeded");
    assert_eq!(refused.body["violated-policies"], serde_json::json!(["token"]));
    let wait: u64 = refused.header("retry-after").unwrap().parse().unwrap();
    let left = refused.header("ratelimit").unwrap();
    assert!(left.ends_with(&format!("\"token\";r=0;t={wait}")), "{left}, {wait}");
    assert!((1..=4).contains(&wait));
    let _ = company.office.get("/api/v1/me").await.expect(200);
    let list = company.owner.get("/api/v1/applications?limit=100").await.expect(200).body;
    assert_eq!(list["items"].as_array().unwrap().len(), stored);
    // A statement takes most of it, and a page says the same to a person.
    let _ = company.owner.get("/api/v1/statements/company?year=2026").await.expect(200);
    let _ = company.owner.get("/api/v1/statements/company?year=2026").await.problem(429, "quota-exceeded");
    let page = client().get(company.app.url("/year")).header("accept", "text/html");
    let page = page.bearer_auth(company.owner.token.as_deref().unwrap()).send().await.unwrap();
    assert_eq!((page.status().as_u16(), page.text().await.unwrap().contains("<h1>More than one share")), (429, true));
    sleep(Duration::from_secs(wait)).await;
    let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await.expect(201);
    let metrics = company.office.get("/api/v1/metrics").await.expect(200).text;
    assert!(metrics.contains("swardbook_over_budget_total{policy=\"token\"} "), "{metrics}");
}

#[tokio::test]
async fn an_address_has_a_budget_for_all_who_come_from_it() {
    let limits = Limits { units_per_token: 0, units_per_address: 20, ..Limits::default() };
    let company = Company::in_maryland().await.limited(limits).await;
    let nobody = company.app.nobody();
    let mut asked = 0;
    while nobody.get("/page.css").await.status == 200 {
        asked += 1;
        assert!(asked < 60, "the budget is never spent");
    }
    assert!(asked >= 20, "{asked}");
    let refused = nobody.get("/api/v1/me").await.problem(429, "quota-exceeded");
    assert_eq!(refused.body["violated-policies"], serde_json::json!(["address"]));
    let _ = company.owner.get("/api/v1/me").await.problem(429, "quota-exceeded");
    let _ = nobody.get("/healthz").await.expect(204);
}

#[test]
fn the_defaults_of_the_command_line_are_those_of_the_program() {
    let Command::Serve(parsed) = Cli::try_parse_from(["swardbook", "serve"]).unwrap().command else { panic!("serve") };
    assert_eq!(format!("{:?}", parsed.limits), format!("{:?}", Limits::default()));
    for bad in [["--connections", "0"], ["--head-seconds", "0"], ["--long-at-once", "no"], ["--requests-at-once", "-1"]]
    {
        assert!(Cli::try_parse_from(["swardbook", "serve", bad[0], bad[1]]).is_err(), "{bad:?}");
    }
}
