//! A caller who hangs up at any moment leaves nothing behind: every later answer is that of a server that was just started.

use std::{collections::BTreeSet, path::Path, time::Duration};

use harness::{TestApp, User, contract::operations, world::Company};
use serde_json::Value;
use tokio::{io::AsyncWriteExt, net::TcpStream};

/// How long callers stay on the line, in microseconds: through sending, reading, and writing.
const MOMENTS: [u64; 8] = [0, 200, 500, 1_000, 2_000, 3_000, 5_000, 9_000];

/// An address of an operation that leads somewhere in this book.
pub fn address(template: &str, company: &Company) -> String {
    let id = match template.split('/').nth(3).unwrap_or_default() {
        "clients" => &company.client,
        "sections" => &company.front,
        "products" | "product-files" => &company.feed,
        "lots" => &company.lot,
        "visits" => &company.visit,
        "people" => company.phone.id.as_ref().unwrap(),
        _ => &company.property,
    };
    let path =
        template.replace("{id}", id).replace("{day}", "2026-09-15").replace("{code}", "us-md").replace("{sha256}", id);
    match template {
        "/api/v1/statements" => format!("{path}?year=2026&client_id={}", company.client),
        "/api/v1/statements/company" => format!("{path}?year=2026"),
        "/api/v1/drift" => format!("{path}?from=2026-01-01&to=2026-12-01"),
        _ => path,
    }
}

/// Sends a request and drops the line after a moment, whether or not it was answered.
async fn hang_up(user: &User, at: std::net::SocketAddr, method: &str, path: &str, moment: Duration) {
    let token = user.token.as_deref().unwrap();
    let body = if method == "GET" { "" } else { "{}" };
    let request = format!(
        "{method} {path} HTTP/1.1\r\nHost: {at}\r\nAuthorization: Bearer {token}\r\nIf-Match: \"v1\"\r\nContent-Type: application/json\r\nContent-Length: {}\r\n\r\n{body}",
        body.len()
    );
    let mut line = TcpStream::connect(at).await.unwrap();
    line.write_all(request.as_bytes()).await.unwrap();
    tokio::time::sleep(moment).await;
    // Closed with a reset, so that the server learns of it at once.
    line.set_zero_linger().unwrap();
}

/// A server that was just started, on a copy of the book as it stands.
async fn fresh_server(book: &Path) -> TestApp {
    let folder = tempfile::tempdir().unwrap();
    server::store::backup::copy(book, &folder.path().join("book.db")).await.unwrap();
    TestApp::reopen(folder).await
}

/// Members that say when the answer was made.
fn undated(mut value: Value) -> Value {
    for member in ["downloaded_at", "prepared_at", "at"] {
        if let Some(object) = value.as_object_mut() {
            let _ = object.remove(member);
        }
    }
    value
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_caller_who_hangs_up_leaves_no_reader_in_an_old_book() {
    let company = Company::in_maryland().await;
    company.three_loads().await;
    let operations: Vec<_> = operations().into_iter().filter(|(_, _, id, _)| id != "end_session").collect();
    let mut calls = BTreeSet::new();
    for (method, template, ..) in &operations {
        let _ = calls.insert((method.clone(), address(template, &company)));
    }
    assert!(calls.len() > 90, "{} of the document's operations are called", calls.len());
    for moment in MOMENTS {
        for (method, path) in &calls {
            hang_up(&company.owner, company.app.address, method, path, Duration::from_micros(moment)).await;
        }
        // Several at once, so that all readers are at work when the lines drop.
        let statement = address("/api/v1/statements", &company);
        let many = (0..12).map(|_| {
            let (user, at, path) = (company.owner.clone(), company.app.address, statement.clone());
            tokio::spawn(async move { hang_up(&user, at, "GET", &path, Duration::from_micros(moment)).await })
        });
        for one in many.collect::<Vec<_>>() {
            one.await.unwrap();
        }
    }
    // What is written now is seen by every reader.
    let id = company.put_down(&company.rear, "5").await;
    let record = format!("/api/v1/applications/{id}");
    for _ in 0..16 {
        let _ = company.phone.get(&record).await.expect(200);
    }
    let _ = company.app.nobody().get("/readyz").await.expect(204);
    let fresh = fresh_server(&company.app.file()).await;
    let newcomer = fresh.user(company.owner.token.as_deref().unwrap(), None);
    for (_, path) in calls.iter().filter(|(method, path)| method == "GET" && !path.ends_with("/metrics")) {
        let (old, new) = (company.owner.get(path).await, newcomer.get(path).await);
        assert_eq!(old.status, new.status, "{path}: {} and {}", old.text, new.text);
        // A refusal names its own request.
        if old.status < 400 {
            assert_eq!(undated(old.body), undated(new.body), "{path}");
        }
    }
    // A token that was signed out is refused by every reader.
    let phone = company.app.sign_in("office", None).await;
    let _ = phone.delete("/api/v1/sessions/current").await.expect(204);
    for _ in 0..16 {
        let _ = phone.get("/api/v1/me").await.expect(401);
    }
    let found = server::book::verify::check_file(&company.app.file()).await.unwrap();
    assert!(found.faults.is_empty(), "{:?}", found.faults);
}
