//! What somebody tries who wants in and should not be: old codes, old cookies, roles that were taken away, and guesses by the hundred.

mod again;
mod guesses;
mod idle;

use harness::{PASSWORD, User, client, world::Company};
use serde_json::{Value, json};

/// The cookie of a browser into which the code of a pass was typed, as it sends it back.
pub async fn typed(company: &Company, code: &str) -> String {
    let request = client()
        .post(company.app.url("/inspector"))
        .header("sec-fetch-site", "same-origin")
        .header("content-type", "application/x-www-form-urlencoded")
        .body(format!("code={code}"));
    let reply = request.send().await.unwrap();
    assert_eq!(reply.status().as_u16(), 303);
    reply.headers()["set-cookie"].to_str().unwrap().split(';').next().unwrap().to_owned()
}

/// What a browser with a cookie is answered by the list of clients.
pub async fn with_cookie(company: &Company, cookie: &str) -> u16 {
    company.app.nobody().get_with("/api/v1/clients", &[("cookie", cookie)]).await.status
}

pub async fn pass(owner: &User, company: &Company) -> Value {
    let body = json!({ "name": "Inspector", "client_ids": [company.client], "days": 3 });
    owner.post("/api/v1/passes", &body).await.expect(201).body
}

async fn enrolment_code(company: &Company, person: &str) -> Value {
    let path = format!("/api/v1/people/{person}/enrolment-codes");
    company.owner.post(&path, &json!({})).await.expect(201).body["code"].clone()
}

#[tokio::test]
async fn codes_of_before_a_reset_and_the_second_use_of_a_code_open_nothing() {
    let company = Company::in_maryland().await;
    let (owner, nobody) = (&company.owner, company.app.nobody());
    let person = company.office.id.as_deref().unwrap();
    let _ = owner.confirm().await;
    let code = owner.post(&format!("/api/v1/people/{person}/password-codes"), &json!({})).await.expect(201).body;
    let phone = enrolment_code(&company, person).await;
    let set = |new: &str| json!({ "code": code["code"], "new": new });
    let path = "/api/v1/forgotten-password";
    let _ = nobody.put(path, &set("four other plain words")).await.expect(204);
    // The reset ended the session, the code for a phone that lay about, and itself.
    let _ = company.office.get("/api/v1/me").await.problem(401, "not-signed-in");
    let enrol = json!({ "code": phone, "name": "Phone" });
    let _ = nobody.post("/api/v1/devices", &enrol).await.problem(401, "not-signed-in");
    let again = nobody.put(path, &set("five other plain words")).await.problem(422, "invalid");
    assert_eq!(again.faults(), ["#/code"]);
    let sign_in = |password: &str| json!({ "name": "office", "password": password });
    for wrong in [PASSWORD, "five other plain words"] {
        let _ = nobody.post("/api/v1/sessions", &sign_in(wrong)).await.problem(401, "not-signed-in");
    }
    let _ = nobody.post("/api/v1/sessions", &sign_in("four other plain words")).await.expect(201);
    // A code for a phone connects one.
    let phone = enrolment_code(&company, company.phone.id.as_deref().unwrap()).await;
    let enrol = json!({ "code": phone, "name": "Phone" });
    let _ = nobody.post("/api/v1/devices", &enrol).await.expect(201);
    let _ = nobody.post("/api/v1/devices", &enrol).await.problem(401, "not-signed-in");
}

#[tokio::test]
async fn a_cookie_of_a_pass_that_was_ended_or_left_opens_nothing() {
    let company = Company::in_maryland().await;
    let made = pass(&company.owner, &company).await;
    let code = made["code"].as_str().unwrap();
    let (first, second) = (typed(&company, code).await, typed(&company, code).await);
    assert!(!first.contains("pass_") && first != second, "the code itself is in no browser");
    assert_eq!((with_cookie(&company, &first).await, with_cookie(&company, &second).await), (200, 200));
    // What was put into browsers before they had sessions of their own.
    let old = format!("__Host-session={}", made["token"].as_str().unwrap());
    assert_eq!(with_cookie(&company, &old).await, 401);
    // One browser gives it back; the other goes on.
    let left = client().post(company.app.url("/inspector/leave")).header("sec-fetch-site", "same-origin");
    assert_eq!(left.header("cookie", &first).send().await.unwrap().status().as_u16(), 303);
    assert_eq!((with_cookie(&company, &first).await, with_cookie(&company, &second).await), (401, 200));
    let path = format!("/api/v1/passes/{}", made["pass"]["id"].as_str().unwrap());
    let _ = company.owner.delete(&path).await.expect(200);
    assert_eq!(with_cookie(&company, &second).await, 401);
}
