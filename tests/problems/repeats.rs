//! Versions and repeated requests: nobody's work is overwritten unseen, and nothing is made twice.

use std::time::Duration;

use harness::world::Company;
use reqwest::Method;
use serde_json::{Value, json};

fn client(number: u32) -> Value {
    json!({ "name": format!("Client {number:03}"), "mailing_address": "1 Street A, Sampletown" })
}

#[tokio::test]
async fn what_can_change_is_changed_by_its_version() {
    let company = Company::in_maryland().await;
    let office = &company.office;
    let path = format!("/api/v1/clients/{}", company.client);
    let _ = office.put(&path, &client(1)).await.problem(428, "version-required");
    for stale in ["W/\"v1\"", "\"v2\"", "\"v0\"", "\"v-1\"", "v1", "\"1\"", "\"\"", "\"v99999999999999999999\"", ""] {
        let _ = office.put_version(&path, stale, &client(1)).await.problem(412, "version-outdated");
    }
    let twice = [("if-match", "\"v1\""), ("if-match", "\"v1\"")];
    let _ = office.send(Method::PUT, &path, &twice, Some(&client(1))).await.problem(400, "malformed-request");
    assert_eq!(office.get(&path).await.expect(200).body["version"], 1, "nothing was changed so far");

    let _ = office.put_version(&path, "\"v1\"", &client(2)).await.expect(200);
    let outdated = office.put_version(&path, "\"v1\"", &client(3)).await.problem(412, "version-outdated");
    assert!(outdated.body["detail"].as_str().unwrap().contains("version 2"), "{}", outdated.text);
    let _ = office.put_version(&path, "\"v7\", \"v1\", \"v02\"", &client(3)).await.problem(412, "version-outdated");
    let _ = office.put_version(&path, "\"v7\", \"v2\"", &client(3)).await.expect(200);
    let _ = office.put_version(&path, "*", &client(4)).await.expect(200);
    assert_eq!(office.get(&path).await.expect(200).body["version"], 4);
    let missing = "/api/v1/clients/01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7aff";
    let _ = office.put_version(missing, "\"v1\"", &client(5)).await.problem(404, "not-found");
}

#[tokio::test]
async fn everything_that_has_a_version_asks_for_it() {
    let company = Company::in_maryland().await;
    let person = company.phone.id.as_deref().unwrap();
    let Company { client: of, property, front, visit, feed, .. } = &company;
    let things = [
        (format!("clients/{of}"), String::new()),
        (format!("properties/{property}"), String::new()),
        (format!("sections/{front}"), String::new()),
        (format!("visits/{visit}"), String::new()),
        (format!("people/{person}"), String::new()),
        (format!("products/{feed}"), "/status".to_owned()),
    ];
    for (thing, part) in things {
        let stored = company.owner.get(&format!("/api/v1/{thing}")).await.expect(200).body;
        let mut change = stored.clone();
        if part.is_empty() {
            // What the server adds is not sent back.
            for own in [
                "id",
                "version",
                "created_at",
                "client_since",
                "area_sqft",
                "measured_on",
                "place_differs",
                "programme_id",
                "round",
            ] {
                change.as_object_mut().unwrap().remove(own);
            }
        } else {
            change = json!({ "status": "hold" });
        }
        let path = format!("/api/v1/{thing}{part}");
        let _ = company.owner.put(&path, &change).await.problem(428, "version-required");
        let _ = company.owner.put_version(&path, "\"v99\"", &change).await.problem(412, "version-outdated");
        let now = company.owner.get(&format!("/api/v1/{thing}")).await.expect(200).body;
        assert_eq!(now, stored, "{path}");
    }
}

#[tokio::test]
async fn the_same_request_again_gets_the_first_answer() {
    let company = Company::in_maryland().await;
    let (office, owner) = (&company.office, &company.owner);
    let (path, key) = ("/api/v1/clients", "0123456789abcdef");
    let first = office.post_with_key(path, key, &client(2)).await.expect(201);
    assert_eq!(first.header("idempotency-replayed"), None);
    for again in [key, "\"0123456789abcdef\""] {
        let reply = office.post_with_key(path, again, &client(2)).await.expect(201);
        assert_eq!(reply.header("idempotency-replayed"), Some("true"));
        assert_eq!((reply.text, reply.headers.get("location")), (first.text.clone(), first.headers.get("location")));
    }
    // The order of members and white space do not make another request.
    let turned = br#"{ "mailing_address" : "1 Street A, Sampletown", "name": "Client 002" }"#.to_vec();
    let headers = [("content-type", "application/json"), ("idempotency-key", key)];
    let reply = office.send_text(Method::POST, path, &headers, turned).await.expect(201);
    assert_eq!(reply.text, first.text);

    let _ = office.post_with_key(path, key, &client(3)).await.problem(422, "idempotency-key-reused");
    // The key is counted for each person and each route.
    let other = owner.post_with_key(path, key, &client(2)).await.expect(201);
    assert_ne!(other.id(), first.id());
    let property = json!({
        "client_id": first.id(), "name": "Home", "address": "2 Street A, Sampletown", "postal_code": "21000",
        "time_zone": "America/New_York", "rule_sets": [],
    });
    let _ = office.post_with_key("/api/v1/properties", key, &property).await.expect(201);
    let list = owner.get("/api/v1/clients?limit=200").await.expect(200).body;
    assert_eq!(list["items"].as_array().unwrap().len(), 3);
}

#[tokio::test]
async fn a_key_for_one_section_does_not_answer_for_another() {
    let company = Company::in_maryland().await;
    let measured =
        json!({ "area_sqft": "8300", "measured_on": "2026-09-01", "method": "wheel", "measured_by": "Tech 01" });
    let key = "0123456789abcdef";
    let path = |section: &str| format!("/api/v1/sections/{section}/measurements");
    let _ = company.phone.post_with_key(&path(&company.front), key, &measured).await.expect(201);
    let other = company.phone.post_with_key(&path(&company.rear), key, &measured).await;
    let _ = other.problem(422, "idempotency-key-reused");
}

#[tokio::test]
async fn a_refused_request_uses_no_key_up() {
    let company = Company::in_maryland().await;
    let key = "0123456789abcdef";
    let refused = company.office.post_with_key("/api/v1/clients", key, &json!({ "name": "Client 002" })).await;
    let _ = refused.problem(422, "invalid");
    let made = company.office.post_with_key("/api/v1/clients", key, &client(2)).await.expect(201);
    assert_eq!(made.header("idempotency-replayed"), None);
}

#[tokio::test]
async fn a_key_must_be_plain_and_long_enough() {
    let company = Company::in_maryland().await;
    let long = "x".repeat(65);
    for key in ["", "short", "0123456789abcde", &long, "0123456789 abcdef", "0123456789abcdef;", "0123456789äbcdef"] {
        let reply = company.office.post_with_key("/api/v1/clients", key, &client(2)).await;
        assert_eq!(reply.status, 400, "{key:?}: {}", reply.text);
    }
    let twice = [("idempotency-key", "0123456789abcdef"), ("idempotency-key", "0123456789abcdef")];
    let reply = company.office.send(Method::POST, "/api/v1/clients", &twice, Some(&client(2))).await;
    let _ = reply.problem(400, "malformed-request");
    let list = company.owner.get("/api/v1/clients").await.expect(200).body;
    assert_eq!(list["items"].as_array().unwrap().len(), 1);
}

#[tokio::test]
async fn a_key_is_forgotten_after_ninety_days() {
    let company = Company::in_maryland().await;
    let day = Duration::from_hours(24);
    let key = "0123456789abcdef";
    let first = company.office.post_with_key("/api/v1/clients", key, &client(2)).await.expect(201);
    for (days, known) in [(89, true), (2, false)] {
        company.app.clock.advance(day * days);
        let office = company.app.sign_in("office", None).await;
        // Old keys are forgotten when the next one is stored.
        let _ = office.post_with_key("/api/v1/clients", &format!("another-key-of-day-{days}"), &client(3)).await;
        let again = office.post_with_key("/api/v1/clients", key, &client(2)).await.expect(201);
        assert_eq!(again.id() == first.id(), known, "after {days} more days");
    }
}
