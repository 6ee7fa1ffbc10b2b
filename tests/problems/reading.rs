//! What cannot be read: addresses, queries, cursors and bodies.

use std::io::{Read as _, Write as _};

use harness::{TestApp, User, world::Company};
use reqwest::Method;
use serde_json::json;

const JSON: (&str, &str) = ("content-type", "application/json");

#[tokio::test]
async fn an_id_in_the_address_must_be_one() {
    let company = Company::in_maryland().await;
    let bad = [
        "1",
        "00000000-0000-0000-0000-000000000000",
        "ffffffff-ffff-ffff-ffff-ffffffffffff",
        "01938f0c5c6e7cc09d3a2f6f0b1c7a10",
        "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a1g",
        "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a10-",
        "%7B01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a10%7D",
        "'%20OR%20'1'='1",
        "..%2Fclients",
    ];
    for noun in ["clients", "properties", "sections", "applications", "clearances", "people", "visits"] {
        for id in bad {
            let reply = company.owner.get(&format!("/api/v1/{noun}/{id}")).await.problem(422, "invalid");
            assert_eq!(reply.faults(), ["id"], "{noun} {id}");
        }
        let unknown = company.owner.get(&format!("/api/v1/{noun}/01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7aff")).await;
        let _ = unknown.problem(404, "not-found");
    }
    let _ = company.owner.get("/api/v1/clients/%FF").await.problem(404, "not-found");
    for day in ["2026-02-30", "2026-13-01", "20260915", "today", "2026-09-15T00:00:00Z", "1989-12-31", "2200-01-01"] {
        let reply = company.owner.get(&format!("/api/v1/days/{day}")).await.problem(422, "invalid");
        assert_eq!(reply.faults(), ["day"], "{day}");
    }
}

/// Sends a body as it is to an address that takes one.
async fn send(user: &User, headers: &[(&str, &str)], body: impl Into<Vec<u8>>) -> harness::Reply {
    user.send_text(Method::POST, "/api/v1/clients", headers, body.into()).await
}

#[tokio::test]
async fn a_body_must_be_json() {
    let company = Company::in_maryland().await;
    let owner = &company.owner;
    let good = r#"{"name":"Client 002","mailing_address":"2 Street A"}"#;
    for media in ["text/plain", "application/x-www-form-urlencoded", "application/jsonp", "json", ""] {
        let _ = send(owner, &[("content-type", media)], good).await.problem(415, "media-type");
    }
    let _ = send(owner, &[], good).await.problem(415, "media-type");
    for media in ["application/json", "application/json; charset=utf-8", "application/json ;charset=utf-8"] {
        let _ = send(owner, &[("content-type", media)], good).await.expect(201);
    }
    let broken: [&[u8]; 9] = [
        b"",
        b"{",
        b"{\"name\":}",
        b"{\"name\":\"Client\",}",
        b"{'name':'Client'}",
        b"name=Client",
        b"{\"name\":\"Client\"} {}",
        b"{\"name\":\"\xff\xfe\",\"mailing_address\":\"2 Street A\"}",
        b"{\"name\":\"\\ud800\",\"mailing_address\":\"2 Street A\"}",
    ];
    for body in broken {
        let reply = send(owner, &[JSON], body).await.problem(400, "malformed-request");
        assert_eq!(reply.faults(), ["#"], "{}", reply.text);
    }
    for body in ["[]", "null", "\"text\"", "7", "true"] {
        let reply = send(owner, &[JSON], body).await.problem(422, "invalid");
        assert!(reply.faults().contains(&"#".to_owned()), "{body}: {}", reply.text);
    }
}

#[tokio::test]
async fn a_member_stands_once() {
    let company = Company::in_maryland().await;
    let twice = r#"{"name":"Client 002","mailing_address":"2 Street A","name":"Client 003"}"#;
    let reply = send(&company.owner, &[JSON], twice).await.problem(400, "malformed-request");
    assert!(reply.text.contains("name"), "{}", reply.text);
    let mut record = company.record(&company.front, "25.6").to_string();
    record = record.replace("\"product_lb\":\"25.6\"", "\"product_lb\":\"25.6\",\"product_lb\":\"2.56\"");
    let path = format!("/api/v1/applications/{}", harness::new_id());
    let reply = company.phone.send_text(Method::PUT, &path, &[JSON], record.into_bytes()).await;
    let _ = reply.problem(400, "malformed-request");
    assert_eq!(company.phone.get(&path).await.status, 404);
}

#[tokio::test]
async fn a_body_that_is_too_deep_or_too_large_is_refused() {
    let company = Company::in_maryland().await;
    let deep = "[".repeat(100_000);
    let _ = send(&company.owner, &[JSON], deep).await.problem(400, "malformed-request");
    let deep = format!("{}1{}", "{\"a\":".repeat(20_000), "}".repeat(20_000));
    let _ = send(&company.owner, &[JSON], deep).await.problem(400, "malformed-request");
    let large = json!({ "name": "x".repeat(2 * 1024 * 1024), "mailing_address": "2 Street A" }).to_string();
    let _ = send(&company.owner, &[JSON], large).await.problem(413, "too-large");
    // Just below the limit it is read, and refused for what it says.
    let long = json!({ "name": "x".repeat(1024 * 1024 - 100), "mailing_address": "2 Street A" }).to_string();
    let reply = send(&company.owner, &[JSON], long).await.problem(422, "invalid");
    assert_eq!(reply.faults(), ["#/name"]);
}

#[tokio::test]
async fn a_long_address_is_refused() {
    let company = Company::in_maryland().await;
    let long = format!("/api/v1/clients?cursor={}", "x".repeat(30_000));
    assert_eq!(company.owner.get(&long).await.problem(422, "invalid").faults(), ["cursor"]);
    let _ = company.owner.get(&format!("/{}", "x".repeat(30_000))).await.problem(404, "not-found");
    assert_eq!(first_line(&company.app, 70_000).await, "HTTP/1.1 414 URI Too Long");
    // The server goes on.
    let _ = company.owner.get("/api/v1/clients").await.expect(200);
}

/// The first line of the answer to an address that no client library would send.
async fn first_line(app: &TestApp, length: usize) -> String {
    let address = app.address;
    let asked = tokio::task::spawn_blocking(move || {
        let mut stream = std::net::TcpStream::connect(address).unwrap();
        let request = format!("GET /{} HTTP/1.1\r\nhost: localhost\r\nconnection: close\r\n\r\n", "x".repeat(length));
        stream.write_all(request.as_bytes()).unwrap();
        let mut answer = [0; 25];
        stream.read_exact(&mut answer).unwrap();
        String::from_utf8_lossy(&answer).into_owned()
    });
    asked.await.unwrap()
}

#[tokio::test]
async fn a_query_says_only_what_the_list_knows() {
    let company = Company::in_maryland().await;
    let cases = [
        ("clients?limit=0", 422, "limit"),
        ("clients?limit=-1", 422, "limit"),
        ("clients?limit=201", 422, "limit"),
        ("clients?limit=abc", 422, "limit"),
        ("clients?limit=1.5", 422, "limit"),
        ("clients?limit=", 422, "limit"),
        ("clients?limit=99999999999999999999", 422, "limit"),
        ("clients?limit=%2010", 422, "limit"),
        ("clients?page=2", 422, "page"),
        ("clients?Limit=2", 422, "Limit"),
        ("clients?limit=2&limit=3", 400, "limit"),
        ("clients?%FF=1", 422, "\u{fffd}"),
        ("properties?client_id=1", 422, "client_id"),
        ("applications?from=2026-02-30", 422, "from"),
        ("applications?beyond_the_rules=yes", 422, "beyond_the_rules"),
        ("applications?from=2026-09-02&to=2026-09-01", 422, "to"),
        ("statements?client_id=01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7aff", 422, "year"),
        ("statements?year=2026", 422, "client_id"),
        ("statements?year=1989&client_id=01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7aff", 422, "year"),
        ("statements?year=2026&format=pdf&client_id=01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7aff", 422, "format"),
        ("rule-sets/us-md", 422, "on"),
        ("rule-sets/us-md?on=2026-09", 422, "on"),
    ];
    for (list, status, parameter) in cases {
        let reply = company.owner.get(&format!("/api/v1/{list}")).await.expect(status);
        assert_eq!(reply.faults(), [parameter], "{list}: {}", reply.text);
    }
    let every =
        company.owner.get("/api/v1/applications?limit=0&from=x&page=2&section_id=7").await.problem(422, "invalid");
    assert_eq!(every.faults(), ["from", "limit", "page", "section_id"]);
}

#[tokio::test]
async fn a_cursor_belongs_to_one_list_of_this_server() {
    let company = Company::in_maryland().await;
    for number in 2..=4 {
        let client = json!({ "name": format!("Client {number:03}"), "mailing_address": "1 Street A" });
        let _ = company.office.post("/api/v1/clients", &client).await.expect(201);
    }
    let cursor_of = async |company: &Company, list: &str| -> String {
        let page = company.owner.get(&format!("/api/v1/{list}")).await.expect(200).body;
        page["next_cursor"].as_str().unwrap().to_owned()
    };
    let own = cursor_of(&company, "clients?limit=2").await;
    let _ = company.owner.get(&format!("/api/v1/clients?limit=3&cursor={own}")).await.expect(200);
    let (body, mac) = own.split_once('.').unwrap();
    let flipped = format!("{}{}", if body.starts_with('e') { 'f' } else { 'e' }, &body[1..]);
    // One that was set up by itself: copies of one book share the key by which cursors are sealed.
    let other_server = Company::on(TestApp::empty().await, &["us-md"]).await;
    let another = json!({ "name": "Client 002", "mailing_address": "1 Street A" });
    let _ = other_server.office.post("/api/v1/clients", &another).await.expect(201);
    let forged = [
        ("made up", "made-up".to_owned()),
        ("changed", format!("{flipped}.{mac}")),
        ("cut short", own[..own.len() - 1].to_owned()),
        ("without its seal", body.to_owned()),
        ("with an empty seal", format!("{body}.")),
        ("of another list", cursor_of(&company, "journal?limit=2").await),
        ("of another server", cursor_of(&other_server, "clients?limit=1").await),
        ("empty", String::new()),
    ];
    for (what, cursor) in forged {
        let reply = company.owner.get(&format!("/api/v1/clients?limit=2&cursor={cursor}")).await;
        let reply = reply.problem(400, "malformed-request");
        assert_eq!(reply.faults(), ["cursor"], "a cursor {what}");
    }
    // Nor does it fit the same list with another filter.
    let own = format!("sections?limit=1&property_id={}", company.property);
    let filtered = cursor_of(&company, &own).await;
    let _ = company.owner.get(&format!("/api/v1/{own}&cursor={filtered}")).await.expect(200);
    let reply = company.owner.get(&format!("/api/v1/sections?limit=1&cursor={filtered}")).await;
    assert_eq!(reply.problem(400, "malformed-request").faults(), ["cursor"]);
}

#[tokio::test]
async fn a_page_of_another_origin_is_given_no_leave() {
    let company = Company::in_maryland().await;
    let elsewhere = [("origin", "https://elsewhere.example"), ("access-control-request-method", "PUT")];
    for method in [Method::GET, Method::OPTIONS] {
        let reply = company.owner.send(method, "/api/v1/clients", &elsewhere, None).await;
        let leave: Vec<_> = reply.headers.keys().filter(|name| name.as_str().starts_with("access-control-")).collect();
        assert!(leave.is_empty(), "{leave:?}");
        assert_eq!(reply.header("cross-origin-resource-policy"), Some("same-origin"));
    }
}

#[tokio::test]
async fn an_id_in_capitals_is_the_same_id() {
    let company = Company::in_maryland().await;
    let path = format!("/api/v1/clients/{}", company.client.to_uppercase());
    assert_eq!(company.owner.get(&path).await.expect(200).body["id"], company.client);
}
