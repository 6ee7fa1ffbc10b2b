//! The edges of HTTP, byte by byte: what a proxy and the server could read in two ways, and what stays behind in a browser.

use harness::{TestApp, new_id, world::Company};
use serde_json::{Value, json};
use tokio::{
    io::{AsyncReadExt as _, AsyncWriteExt as _},
    net::TcpStream,
};

/// What comes back for these bytes, until the server says nothing more for a while.
async fn raw(app: &TestApp, request: &str) -> String {
    let mut stream = TcpStream::connect(app.address).await.unwrap();
    stream.write_all(request.as_bytes()).await.unwrap();
    let (mut answer, mut part) = (Vec::new(), [0; 4096]);
    let quiet = std::time::Duration::from_millis(700);
    while let Ok(Ok(read)) = tokio::time::timeout(quiet, stream.read(&mut part)).await {
        if read == 0 {
            break;
        }
        answer.extend_from_slice(&part[..read]);
    }
    String::from_utf8_lossy(&answer).into_owned()
}

fn status(answer: &str) -> &str {
    answer.split(' ').nth(1).unwrap_or("nothing")
}

/// RFC 9112, section 3.2: a server must answer 400 to any HTTP/1.1 request that lacks a Host field, and to any request with more
/// than one, or with an invalid one.
#[tokio::test]
async fn a_request_names_its_host_once() {
    let app = TestApp::empty().await;
    let cases = [
        ("GET /healthz HTTP/1.1\r\nHost: a\r\n\r\n", "204"),
        ("GET /healthz HTTP/1.1\r\nHost: [::1]:8080\r\n\r\n", "204"),
        ("GET /healthz HTTP/1.0\r\n\r\n", "204"),
        ("GET /healthz HTTP/1.1\r\n\r\n", "400"),
        ("GET /healthz HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n", "400"),
        ("GET /healthz HTTP/1.1\r\nHost: a\r\nhost: a\r\n\r\n", "400"),
        ("GET /healthz HTTP/1.0\r\nHost: a\r\nHost: a\r\n\r\n", "400"),
        ("GET /healthz HTTP/1.1\r\nHost: a b\r\n\r\n", "400"),
        ("GET /healthz HTTP/1.1\r\nHost: somebody@a\r\n\r\n", "400"),
    ];
    for (request, wanted) in cases {
        let answer = raw(&app, request).await;
        assert_eq!(status(&answer), wanted, "{request:?} was answered {answer}");
        assert!(wanted != "400" || answer.contains("application/problem+json"), "{answer}");
    }
}

/// What the library decides, written down so that another one would be noticed. RFC 9112, section 2.2: a recipient may take a single
/// line feed for the end of a line. Section 7.1 has no such leave for chunks, and 6.3 lets nobody send two lengths.
#[tokio::test]
async fn the_head_may_end_its_lines_by_a_bare_line_feed_and_a_chunk_may_not() {
    let app = TestApp::empty().await;
    let bare = raw(&app, "GET /healthz HTTP/1.1\nHost: a\n\n").await;
    assert_eq!(status(&bare), "204", "{bare}");
    let head = "POST /api/v1/sessions HTTP/1.1\r\nHost: a\r\nContent-Type: application/json\r\n";
    let signing_in = r#"{"name":"owner","password":"x"}"#;
    let chunked = |end: &str| {
        format!("{head}Transfer-Encoding: chunked\r\n\r\n{:x}{end}{signing_in}{end}0{end}{end}", signing_in.len())
    };
    assert_eq!(status(&raw(&app, &chunked("\r\n")).await), "401");
    let bare = raw(&app, &chunked("\n")).await;
    assert_ne!(status(&bare), "401", "{bare}");
    let two = format!("{head}Content-Length: 31\r\nContent-Length: 30\r\n\r\n{signing_in}");
    assert_eq!(status(&raw(&app, &two).await), "400");
    // A length beside chunks is no length: the library takes the chunks and ends the connection.
    let both = chunked("\r\n").replace("Transfer-Encoding", "Content-Length: 5\r\nTransfer-Encoding");
    let both = raw(&app, &format!("{both}GET /healthz HTTP/1.1\r\nHost: a\r\n\r\n")).await;
    assert_eq!((status(&both), both.matches("HTTP/1.1 ").count()), ("401", 1), "{both}");
}

/// RFC 9112, section 9.6: a server that does not read all of a request closes the connection, and says so in its answer.
#[tokio::test]
async fn an_answer_before_the_end_of_the_body_says_that_the_connection_ends() {
    let app = TestApp::empty().await;
    let head =
        "POST /api/v1/clients HTTP/1.1\r\nHost: a\r\nContent-Type: application/json\r\nContent-Length: 900000\r\n\r\n";
    let answer = raw(&app, &format!("{head}{{")).await.to_lowercase();
    assert_eq!(status(&answer), "401", "{answer}");
    assert!(answer.contains("\r\nconnection: close\r\n"), "{answer}");
    let whole =
        "POST /api/v1/sessions HTTP/1.1\r\nHost: a\r\nContent-Type: application/json\r\nContent-Length: 2\r\n\r\n{}";
    let twice = raw(&app, &format!("{whole}{whole}")).await.to_lowercase();
    assert_eq!(twice.matches("http/1.1 422").count(), 2, "{twice}");
    assert!(!twice.contains("connection: close"), "{twice}");
}

#[tokio::test]
async fn what_is_personal_stays_in_no_cache() {
    let company = Company::in_maryland().await;
    let client = format!("/api/v1/clients/{}", company.client);
    for personal in ["/api/v1/me", client.as_str(), "/api/v1/statements/company?year=2026"] {
        let reply = company.owner.get(personal).await.expect(200);
        assert_eq!(reply.header("cache-control"), Some("no-store"), "{personal}");
    }
    let version = company.owner.get_with(&client, &[("if-none-match", "\"v1\"")]).await.expect(304);
    assert_eq!(version.header("cache-control"), Some("no-store"), "programs compare versions all the same");
    let nobody = company.app.nobody();
    for same_for_all in
        ["/", "/phone", "/modules/phone.js", "/page.css", "/help", "/problems/fault", "/openapi.json", "/sw.js"]
    {
        let reply = nobody.get(same_for_all).await.expect(200);
        assert_eq!(reply.header("cache-control"), Some("private, no-cache"), "{same_for_all}");
    }
    for page in ["/office", "/reviews", "/year", "/sign-in"] {
        let reply = nobody.get(page).await;
        assert_eq!(reply.header("cache-control"), Some("no-store"), "{page}");
    }
}

#[tokio::test]
async fn one_id_names_one_thing() {
    let company = Company::in_maryland().await;
    let phone = &company.phone;
    let (record, plan) = (company.record(&company.front, "5"), company.plan(&company.front, "5"));
    let take_back = |application: &str| json!({ "application_id": application, "reason": "It was the neighbour's." });
    let ids = [new_id(), new_id(), new_id()];
    let [application, clearance, correction] = &ids;
    let _ = phone.put(&format!("/api/v1/applications/{application}"), &record).await.expect(201);
    let _ = phone.put(&format!("/api/v1/clearances/{clearance}"), &plan).await.expect(201);
    let _ = phone.put(&format!("/api/v1/corrections/{correction}"), &take_back(application)).await.expect(201);
    let bodies: [(&str, Value); 3] =
        [("applications", record), ("clearances", plan), ("corrections", take_back(application))];
    for (at, id) in ids.iter().enumerate() {
        for (kind, body) in bodies.iter().filter(|(kind, _)| *kind != bodies[at].0) {
            let reply = phone.put(&format!("/api/v1/{kind}/{id}"), body).await.problem(409, "id-reused");
            assert_eq!(reply.body["existing"], format!("/api/v1/{}/{id}", bodies[at].0), "{kind}");
        }
    }
    let list = company.owner.get("/api/v1/applications").await.expect(200).body;
    assert_eq!(list["items"].as_array().unwrap().len(), 1);
}

#[tokio::test]
async fn what_is_sent_twice_within_a_minute_without_a_key_is_asked_about() {
    let company = Company::in_maryland().await;
    let office = &company.office;
    let visit = json!({
        "property_id": company.property, "person_id": company.phone.id, "planned_on": "2026-09-20", "product_id": company.feed,
        "section_ids": [company.front], "purpose": "maintenance",
    });
    let spill = json!({ "product_id": company.feed, "kind": "spilled", "mass_lb": "5", "moved_on": "2026-09-15", "reason": "Bag torn" });
    let delivery = json!({ "product_id": company.feed, "lot_number": "LOT-9", "supplier": "Supplier 01", "received_on": "2026-09-14", "received_lb": "50" });
    for (list, body) in [("visits", visit), ("stock-movements", spill.clone()), ("lots", delivery)] {
        let path = format!("/api/v1/{list}");
        let first = office.post(&path, &body).await.expect(201);
        let twin = office.post(&path, &body).await.problem(409, "written-already");
        assert_eq!(twin.body["existing"].as_str(), first.header("location"), "{list}");
        // Somebody else may mean another one; the number of a lot is there once all the same.
        let other = company.owner.post(&path, &body).await;
        assert_eq!(other.status, if list == "lots" { 409 } else { 201 }, "{list}");
        assert!(other.status == 201 || other.body["code"] == "conflict", "{}", other.text);
    }
    // A key says that it is a second one, and the minute ends.
    let second = "a-second-bag-was-torn";
    let _ = office.post_with_key("/api/v1/stock-movements", second, &spill).await.expect(201);
    let _ = office.post("/api/v1/stock-movements", &spill).await.problem(409, "written-already");
    company.app.clock.advance(std::time::Duration::from_secs(61));
    let _ = office.post("/api/v1/stock-movements", &spill).await.expect(201);
}
