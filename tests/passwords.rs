//! The own password through the API: what is wrong with a new one, and who has none.

use harness::{PASSWORD, world::Company};
use serde_json::json;

#[tokio::test]
async fn a_new_password_that_is_guessed_or_no_new_one_is_refused() {
    let company = Company::in_maryland().await;
    let put =
        async |old: &str, new: &str| company.owner.put("/api/v1/me/password", &json!({ "old": old, "new": new })).await;
    assert_eq!(put(PASSWORD, PASSWORD).await.problem(422, "invalid").faults(), ["#/new"]);
    assert_eq!(put(PASSWORD, "Demonstration Company").await.problem(422, "invalid").faults(), ["#/new"]);
    assert_eq!(put(PASSWORD, "too short").await.problem(422, "invalid").faults(), ["#/new"]);
    assert_eq!(put("three other words", "four other plain words").await.problem(422, "invalid").faults(), ["#/old"]);
    let _ = company.owner.get("/api/v1/me").await.expect(200);
    let _ = put(PASSWORD, "four other plain words").await.expect(204);
    let _ = company.owner.get("/api/v1/me").await.problem(401, "not-signed-in");
    // A colleague's session goes on; a technician has no password to change.
    let _ = company.office.get("/api/v1/me").await.expect(200);
    let body = json!({ "old": PASSWORD, "new": "four other plain words" });
    let none = company.phone.put("/api/v1/me/password", &body).await.problem(409, "conflict");
    assert!(none.text.contains("connected with a code"), "{}", none.text);
}

#[tokio::test]
async fn the_old_password_cannot_be_tried_without_end() {
    let company = Company::in_maryland().await;
    let body = json!({ "old": "three other words", "new": "four other plain words" });
    for _ in 0..40 {
        if company.owner.put("/api/v1/me/password", &body).await.status == 429 {
            return;
        }
    }
    panic!("forty tries within a moment were let through");
}

#[tokio::test]
async fn a_forgotten_password_is_replaced_with_a_code_that_the_owner_makes_and_nobody_else_learns_it() {
    let company = Company::in_maryland().await;
    let (owner, nobody) = (&company.owner, company.app.nobody());
    let _ = owner.confirm().await;
    let codes = format!("/api/v1/people/{}/password-codes", company.office.id.as_deref().unwrap());
    let _ = company.office.post(&codes, &json!({})).await.problem(403, "not-allowed");
    let new_code = async || owner.post(&codes, &json!({})).await.expect(201).body["code"].clone();
    let path = "/api/v1/forgotten-password";
    let set = async |code: &serde_json::Value, new: &str| nobody.put(path, &json!({ "code": code, "new": new })).await;
    let (first, second) = (new_code().await, new_code().await);
    // Only the newest counts, and what is easily guessed leaves it good.
    assert_eq!(set(&first, "four other plain words").await.problem(422, "invalid").faults(), ["#/code"]);
    assert_eq!(set(&second, "Demonstration Company").await.problem(422, "invalid").faults(), ["#/new"]);
    let _ = company.office.get("/api/v1/me").await.expect(200);
    let _ = set(&second, "four other plain words").await.expect(204);
    let _ = company.office.get("/api/v1/me").await.problem(401, "not-signed-in");
    assert_eq!(set(&second, "five other plain words").await.problem(422, "invalid").faults(), ["#/code"]);
    let session = |password: &str| json!({ "name": "office", "password": password });
    let _ = nobody.post("/api/v1/sessions", &session(PASSWORD)).await.problem(401, "not-signed-in");
    let _ = nobody.post("/api/v1/sessions", &session("four other plain words")).await.expect(201);
    let third = new_code().await;
    company.app.clock.advance(std::time::Duration::from_hours(24));
    assert_eq!(set(&third, "five other plain words").await.problem(422, "invalid").faults(), ["#/code"]);
    // A technician without a password has none to forget.
    let phone = format!("/api/v1/people/{}/password-codes", company.phone.id.as_deref().unwrap());
    let again = company.app.sign_in("owner", None).await;
    let _ = again.post(&phone, &json!({})).await.problem(409, "conflict");
}
