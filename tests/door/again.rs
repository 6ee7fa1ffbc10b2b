//! What lets somebody in or shuts somebody out asks for the password again, of old sessions too.

use std::time::Duration;

use harness::{PASSWORD, Reply, User, world::Company};
use reqwest::Method;
use serde_json::{Value, json};

use crate::pages::visitor::{Visitor, written};

const CONFIRM_AT: &str = "/api/v1/sessions/current/confirmation";

/// Every act that asks: who does it, how, and what it answers once the password was shown.
fn dangerous(company: &Company, device: &str) -> Vec<(User, Method, String, Value, u16)> {
    let id = |user: &User| user.id.clone().unwrap();
    let (owner, office) = (company.owner.clone(), company.office.clone());
    let (person, tech) = (id(&company.office), id(&company.phone));
    let sign_in = json!({ "name": "office", "password": "four other plain words" });
    let second = json!({ "name": "owner2", "password": "four other plain words" });
    let one = |what: Value| -> Value {
        let mut body = json!({ "name": "Office 01", "role": "office" });
        body.as_object_mut().unwrap().extend(what.as_object().unwrap().clone());
        body
    };
    let at = |person: &str| format!("/api/v1/people/{person}");
    vec![
        (
            owner.clone(),
            Method::POST,
            "/api/v1/people".to_owned(),
            json!({ "name": "Owner 02", "role": "owner", "sign_in": second }),
            201,
        ),
        (owner.clone(), Method::POST, format!("{}/password-codes", at(&person)), json!({}), 201),
        (owner.clone(), Method::POST, format!("{}/enrolment-codes", at(&person)), json!({}), 201),
        (
            owner.clone(),
            Method::POST,
            "/api/v1/passes".to_owned(),
            json!({ "name": "Inspector", "whole_company": true, "days": 3 }),
            201,
        ),
        (office, Method::DELETE, format!("/api/v1/devices/{device}"), Value::Null, 200),
        (owner.clone(), Method::PUT, at(&person), one(json!({ "sign_in": sign_in })), 200),
        (owner.clone(), Method::PUT, at(&person), one(json!({ "role": "owner" })), 200),
        (owner.clone(), Method::PUT, at(&person), one(json!({ "role": "owner", "active": false })), 200),
        (owner, Method::PUT, at(&tech), json!({ "name": "Tech 01", "role": "technician", "active": false }), 200),
    ]
}

async fn send(act: &(User, Method, String, Value, u16)) -> Reply {
    let (user, method, path, body, _) = act;
    let body = (!body.is_null()).then_some(body);
    user.send(method.clone(), path, &[("if-match", "*")], body).await
}

#[tokio::test]
async fn a_session_alone_lets_nobody_in_and_shuts_nobody_out() {
    let company = Company::in_maryland().await;
    let devices = company.office.get("/api/v1/devices").await.expect(200).body;
    let device = devices["items"][0]["id"].as_str().unwrap();
    let acts = dangerous(&company, device);
    let before = written(&company).await;
    for act in &acts {
        let refused = send(act).await.problem(403, "password-needed");
        assert_eq!(refused.body["confirm_at"], CONFIRM_AT, "{}", refused.text);
        assert!(refused.body["detail"].as_str().unwrap().contains(CONFIRM_AT), "{}", refused.text);
    }
    assert_eq!(written(&company).await, before, "nothing was changed");
    for user in [&company.owner, &company.office] {
        let _ = user.confirm().await;
    }
    for act in &acts {
        let _ = send(act).await.expect(act.4);
    }
    // What does no harm is asked nothing.
    let named = json!({ "name": "Inspector", "client_ids": [company.client], "days": 3 });
    let fresh = company.app.sign_in("owner", None).await;
    let _ = fresh.post("/api/v1/passes", &named).await.expect(201);
    let renamed = json!({ "name": "Tech 01 A", "role": "technician", "active": false });
    let path = format!("/api/v1/people/{}", company.phone.id.as_deref().unwrap());
    let _ = fresh.put_version(&path, "*", &renamed).await.expect(200);
}

#[tokio::test]
async fn the_password_counts_for_its_session_and_for_five_minutes() {
    let company = Company::in_maryland().await;
    let (owner, clock) = (&company.owner, &company.app.clock);
    let everything = json!({ "name": "Inspector", "whole_company": true, "days": 3 });
    let try_it = async |user: &User, status: u16| {
        let _ = user.post("/api/v1/passes", &everything).await.expect(status);
    };
    let other = company.app.sign_in("owner", None).await;
    let until = owner.confirm().await.body["confirmed_until"].clone();
    assert_eq!(until, "2026-09-15T14:05:00.000Z");
    try_it(owner, 201).await;
    try_it(&other, 403).await;
    clock.advance(Duration::from_secs(299));
    try_it(owner, 201).await;
    clock.advance(Duration::from_secs(1));
    try_it(owner, 403).await;
    // By a clock that is set back the password was shown in a time to come.
    let _ = owner.confirm().await;
    clock.set(harness::instant("2026-09-15T13:00:00Z"));
    try_it(owner, 403).await;
    let _ = owner.confirm().await;
    try_it(owner, 201).await;
    let _ = owner.delete("/api/v1/sessions/current").await.expect(204);
    let _ = owner.post("/api/v1/passes", &everything).await.problem(401, "not-signed-in");
}

#[tokio::test]
async fn a_wrong_password_confirms_nothing_and_is_not_tried_without_end() {
    let company = Company::in_maryland().await;
    let wrong = json!({ "password": "four other words here" });
    let refused = company.owner.put(CONFIRM_AT, &wrong).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/password"]);
    let everything = json!({ "name": "Inspector", "whole_company": true, "days": 3 });
    let _ = company.owner.post("/api/v1/passes", &everything).await.problem(403, "password-needed");
    let none = company.phone.put(CONFIRM_AT, &wrong).await.problem(409, "conflict");
    assert!(none.text.contains("without a password"), "{}", none.text);
    let mut limited = 0;
    for _ in 0..20 {
        limited += u32::from(company.owner.put(CONFIRM_AT, &wrong).await.status == 429);
    }
    assert!(limited >= 8, "{limited}");
    let log = company.owner.get("/api/v1/security-log").await.expect(200).body;
    let line = log["items"].as_array().unwrap().iter().find(|line| line["kind"] == "sign_in_failed").unwrap().clone();
    assert_eq!(line["detail"], "the password, when asked for it again");
    assert!(line["tries"].as_i64().unwrap() >= 10, "{line}");
    assert!(!log.to_string().contains("four other"));
}

#[tokio::test]
async fn a_form_asks_for_the_password_in_itself() {
    let company = Company::in_maryland().await;
    let owner = Visitor::named(&company, "owner").await;
    let path = format!("/office/people/{}", company.phone.id.as_deref().unwrap());
    let form = owner.open(&path).await;
    let leaves = ("/active", "false");
    let before = written(&company).await;
    let without = owner.send(&form, &[leaves]).await;
    assert_eq!(without.status, 403);
    assert!(without.beside("own_password", "fault").contains("is needed for this"), "{}", without.html);
    let wrong = owner.send(&without, &[leaves, ("own_password", "four other words here")]).await;
    assert_eq!(wrong.status, 422);
    assert!(wrong.beside("own_password", "fault").contains("is not your password"), "{}", wrong.html);
    assert!(!wrong.html.contains("four other"), "a password is never written back");
    assert_eq!(written(&company).await, before);
    assert_eq!(owner.send(&wrong, &[leaves, ("own_password", PASSWORD)]).await.status, 303);
    // It counted for that form and not for the next.
    let back = owner.open(&path).await;
    assert_eq!(owner.send(&back, &[("/active", "true")]).await.status, 403);
}
