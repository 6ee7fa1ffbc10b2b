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
