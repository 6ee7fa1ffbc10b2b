//! What lets people in.

use harness::{PASSWORD, world::Company};
use serde_json::json;

use super::Watch;

/// A code for somebody who forgot the password, and its use.
pub async fn forgotten(company: &Company, watch: &mut Watch, person: &str) {
    let _ = company.owner.confirm().await;
    let code = company.owner.post(&format!("/api/v1/people/{person}/password-codes"), &json!({})).await;
    let code = watch.one(code, "password_code.made").await.body["code"].clone();
    let forgotten = json!({ "code": code, "new": PASSWORD });
    let set = company.app.nobody().put("/api/v1/forgotten-password", &forgotten).await;
    let _ = watch.one(set, "person.changed").await;
}

/// A pass is made and ended.
pub async fn passes(company: &Company, watch: &mut Watch) {
    let owner = &company.owner;
    let pass = json!({ "name": "Inspector", "client_ids": [company.client], "days": 3 });
    let made = watch.one(owner.post("/api/v1/passes", &pass).await, "pass.made").await.body;
    assert!(!watch.entries.last().unwrap().to_string().contains(made["code"].as_str().unwrap()), "the code is told");
    let pass = format!("/api/v1/passes/{}", made["pass"]["id"].as_str().unwrap());
    let _ = watch.one(owner.delete(&pass).await, "pass.ended").await;
    let _ = watch.none(owner.delete(&pass).await, 200).await;
}
