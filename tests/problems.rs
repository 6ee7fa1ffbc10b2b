//! Every way in which a request can be wrong, and what the server answers: one problem document, with all faults at once.

mod people;
mod reading;
mod records;
mod repeats;
mod values;

use harness::{Reply, TestApp, approved, contract::document, world::Company};
use reqwest::Method;
use serde_json::json;
use server::problem::KINDS;

#[tokio::test]
async fn an_unknown_address_is_told_to_everybody() {
    let company = Company::in_maryland().await;
    for path in ["/nowhere", "/api/v1/", "/api/v1/clients/", "/api/v2/clients", "/problems", "/problems/unheard-of"] {
        let _ = company.app.nobody().get(path).await.problem(404, "not-found");
        let _ = company.owner.get(path).await.problem(404, "not-found");
        let _ = company.owner.post(path, &json!({})).await.expect(if path.ends_with("of") { 405 } else { 404 });
    }
}

#[tokio::test]
async fn an_address_says_which_methods_it_takes() {
    let app = TestApp::empty().await;
    let paths = document()["paths"].as_object().unwrap();
    for (template, item) in paths {
        let path = template.replace("{id}", "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7aff").replace("{day}", "2026-09-15");
        let path = path.replace("{code}", "us-md");
        let reply = app.nobody().send(Method::PATCH, &path, &[], None).await.problem(405, "method-not-allowed");
        let mut allowed: Vec<String> =
            reply.header("allow").unwrap_or_default().split(',').map(|m| m.trim().to_lowercase()).collect();
        allowed.retain(|method| method != "head");
        allowed.sort();
        let mut documented: Vec<String> = item.as_object().unwrap().keys().cloned().collect();
        documented.retain(|member| ["get", "put", "post", "delete"].contains(&member.as_str()));
        documented.sort();
        assert_eq!(allowed, documented, "{path}");
    }
}

#[tokio::test]
async fn each_kind_of_problem_is_explained_on_a_page() {
    let app = TestApp::empty().await;
    for about in &KINDS {
        let page = app.nobody().get(&format!("/problems/{}", about.slug)).await.expect(200);
        assert_eq!(page.header("content-type"), Some("text/html; charset=utf-8"));
        assert!(page.text.contains(about.title), "{} is not told on its page", about.slug);
        let component: String = about.slug.split('-').map(|word| word[..1].to_uppercase() + &word[1..]).collect();
        assert!(document()["components"]["responses"].get(&component).is_some(), "{component} is not in the document");
    }
    let top = approved::top();
    assert!(top.join("server/templates/problem.html").exists());
}

/// What every reply carries, whatever it is.
#[track_caller]
fn has_every_header(reply: &Reply) {
    let asked = &reply.asked;
    let fixed = [
        ("x-content-type-options", "nosniff"),
        ("referrer-policy", "no-referrer"),
        ("cross-origin-resource-policy", "same-origin"),
        ("cross-origin-opener-policy", "same-origin"),
    ];
    for (name, value) in fixed {
        assert_eq!(reply.header(name), Some(value), "{asked}: {name}");
    }
    let page = reply.header("content-type").is_some_and(|kind| kind.starts_with("text/html"));
    let asked_for = reply.header("permissions-policy");
    assert_eq!(asked_for.is_some_and(|policy| policy.contains("geolocation=()")), page, "{asked}: {asked_for:?}");
    let policy = reply.header("content-security-policy").unwrap_or_default();
    assert!(policy.starts_with("default-src 'none'") && policy.contains("frame-ancestors 'none'"), "{asked}: {policy}");
    assert!(
        !policy.contains("'unsafe-eval'") && !policy.contains("script-src 'self' 'unsafe-inline'"),
        "{asked}: {policy}"
    );
    let id = reply.header("x-request-id").unwrap_or_default();
    assert!(uuid::Uuid::try_parse(id).is_ok(), "{asked}: {id:?}");
    let kept = reply.header("cache-control").unwrap_or_default();
    if reply.status >= 400 {
        assert_eq!(kept, "no-store", "{asked}");
        assert_eq!(reply.body["instance"], format!("urn:uuid:{id}"), "{asked}");
        assert_eq!(reply.body["type"], format!("/problems/{}", reply.body["code"].as_str().unwrap()), "{asked}");
    } else {
        assert!(["no-store", "private, no-cache"].contains(&kept), "{asked}: {kept}");
    }
}

#[tokio::test]
async fn every_reply_has_the_headers_that_keep_it_safe() {
    let company = Company::in_maryland().await;
    let (owner, nobody) = (&company.owner, company.app.nobody());
    let client = format!("/api/v1/clients/{}", company.client);
    let fields = json!({ "name": "Client 002", "mailing_address": "2 Street A, Sampletown" });
    let signing_in = json!({ "name": "office", "password": harness::PASSWORD });
    let replies = [
        owner.get(&client).await.expect(200),
        owner.get_with(&client, &[("if-none-match", "\"v1\"")]).await.expect(304),
        owner.post("/api/v1/clients", &fields).await.expect(201),
        owner.post("/api/v1/clients", &json!({})).await.expect(422),
        owner.put(&client, &fields).await.expect(428),
        nobody.get(&client).await.expect(401),
        company.phone.get("/api/v1/people").await.expect(403),
        owner.get("/nowhere").await.expect(404),
        owner.delete(&client).await.expect(405),
        nobody.post("/api/v1/sessions", &signing_in).await.expect(201),
        nobody.get("/healthz").await.expect(204),
        nobody.get("/").await.expect(200),
        nobody.get("/page.css").await.expect(200),
        nobody.get("/openapi.json").await.expect(200),
        nobody.get("/problems/fault").await.expect(200),
        owner.get("/api/v1/statements?year=2026&format=csv&client_id=".to_owned().as_str()).await.expect(422),
        owner.get(&format!("/api/v1/statements?year=2026&format=csv&client_id={}", company.client)).await.expect(200),
    ];
    replies.iter().for_each(has_every_header);
    assert_eq!(replies[9].header("cache-control"), Some("no-store"), "a token must not lie about in a cache");
    assert_eq!(replies[5].header("www-authenticate"), Some("Bearer realm=\"swardbook\""));
    let allowed = replies[8].header("allow").unwrap_or_default();
    assert!(allowed.contains("GET") && allowed.contains("PUT") && !allowed.contains("DELETE"), "{allowed}");
}

#[tokio::test]
async fn a_callers_request_id_is_kept_if_it_cannot_forge_a_line_of_the_log() {
    let app = TestApp::empty().await;
    let own = "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a10";
    let kept = app.nobody().get_with("/nowhere", &[("x-request-id", own)]).await;
    assert_eq!(kept.header("x-request-id"), Some(own));
    for forged in ["1", "status=200", "01938f0c5c6e7cc09d3a2f6f0b1c7a10", "{01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a10}"] {
        let reply = app.nobody().get_with("/nowhere", &[("x-request-id", forged)]).await;
        assert_ne!(reply.header("x-request-id"), Some(forged));
        has_every_header(&reply);
    }
}

#[tokio::test]
async fn a_form_that_is_not_offered_is_refused() {
    let company = Company::in_maryland().await;
    let path = format!("/api/v1/statements?year=2026&client_id={}", company.client);
    let json = ["application/json", "*/*", "application/*", "text/csv;q=0.5, application/json", "image/png, */*;q=0.1"];
    for accept in json {
        let reply = company.owner.get_with(&path, &[("accept", accept)]).await.expect(200);
        assert_eq!(reply.header("content-type"), Some("application/json"), "{accept}");
    }
    let csv = company.owner.get_with(&path, &[("accept", "text/csv, application/json;q=0.9")]).await.expect(200);
    assert_eq!(csv.header("content-type"), Some("text/csv; charset=utf-8; header=present"));
    for accept in ["application/pdf", "text/html", "application/json;q=0"] {
        let _ = company.owner.get_with(&path, &[("accept", accept)]).await.problem(406, "not-acceptable");
    }
}
