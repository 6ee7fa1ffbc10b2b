//! Passes: somebody from outside reads what a pass names, nothing else, for as long as it is good; and all of it is logged.

use std::time::Duration;

use harness::{
    User,
    world::{Company, property, section},
};
use serde_json::{Value, json};

const A_DAY: Duration = Duration::from_hours(24);

async fn pass(company: &Company, body: Value) -> (String, User) {
    let _ = company.owner.confirm().await;
    let made = company.owner.post("/api/v1/passes", &body).await.expect(201);
    assert_eq!(made.header("cache-control"), Some("no-store"));
    let token = made.body["token"].as_str().unwrap();
    (made.body["pass"]["id"].as_str().unwrap().to_owned(), company.app.user(token, None))
}

fn everything(days: u8) -> Value {
    json!({ "name": "Inspector of the state", "whole_company": true, "days": days })
}

#[tokio::test]
async fn a_pass_for_named_clients_shows_theirs_alone() {
    let company = Company::in_maryland().await;
    let office = &company.office;
    let record = company.put_down(&company.front, "5").await;
    let second = json!({ "name": "Client 002", "mailing_address": "2 Street B, Sampletown" });
    let second = office.post("/api/v1/clients", &second).await.expect(201).id();
    let theirs = property(office, &second, &["us-md"]).await;
    let lawn = section(office, &theirs, "side lawn", "1000").await;
    let body = json!({ "name": "Inspector", "client_ids": [company.client], "days": 3 });
    let (_, inspector) = pass(&company, body).await;

    for path in [
        format!("/api/v1/clients/{}", company.client),
        format!("/api/v1/properties/{}", company.property),
        format!("/api/v1/sections/{}", company.front),
        format!("/api/v1/sections/{}/measurements", company.front),
        format!("/api/v1/sections/{}/soil-reports", company.front),
        format!("/api/v1/applications/{record}"),
        format!("/api/v1/applications/{record}/decision"),
        format!("/api/v1/applications/{record}/duties"),
        format!("/api/v1/applications/{record}/particulars"),
        format!("/api/v1/statements?year=2026&client_id={}", company.client),
        "/api/v1/rule-sets".to_owned(),
        "/api/v1/passes/current".to_owned(),
    ] {
        let _ = inspector.get(&path).await.expect(200);
    }
    for path in [
        format!("/api/v1/clients/{second}"),
        format!("/api/v1/properties/{theirs}"),
        format!("/api/v1/sections/{lawn}"),
        format!("/api/v1/statements?year=2026&client_id={second}"),
    ] {
        let _ = inspector.get(&path).await.problem(404, "not-found");
    }
    for list in ["clients", "properties", "applications"] {
        let items = inspector.get(&format!("/api/v1/{list}")).await.expect(200).body["items"].as_array().unwrap().len();
        assert_eq!(items, 1, "{list}");
    }
    let (_, whole) = pass(&company, everything(1)).await;
    assert_eq!(whole.get("/api/v1/clients").await.expect(200).body["items"].as_array().unwrap().len(), 2);
    // Nothing is changed with it, and nothing of the staff's is read.
    let _ = inspector.post("/api/v1/clients", &json!({})).await.problem(403, "not-allowed");
    for staff in ["/api/v1/me", "/api/v1/people", "/api/v1/journal", "/api/v1/security-log", "/api/v1/visits"] {
        let _ = inspector.get(staff).await.problem(403, "not-allowed");
    }
}

#[tokio::test]
async fn a_pass_ends_by_itself_and_by_the_owner() {
    let company = Company::in_maryland().await;
    let clients = "/api/v1/clients";
    let (id, inspector) = pass(&company, everything(2)).await;
    company.app.clock.advance((2 * A_DAY).saturating_sub(Duration::from_millis(1)));
    let _ = inspector.get(clients).await.expect(200);
    company.app.clock.advance(Duration::from_millis(1));
    let _ = inspector.get(clients).await.problem(401, "not-signed-in");

    let owner = company.app.sign_in("owner", company.owner.id.clone()).await;
    let _ = owner.confirm().await;
    let made = owner.post("/api/v1/passes", &everything(90)).await.expect(201).body;
    let inspector = company.app.user(made["token"].as_str().unwrap(), None);
    let _ = inspector.get(clients).await.expect(200);
    let path = format!("/api/v1/passes/{}", made["pass"]["id"].as_str().unwrap());
    assert!(owner.delete(&path).await.expect(200).body["ended_at"].is_string());
    let again = owner.delete(&path).await.expect(200).body;
    let _ = inspector.get(clients).await.problem(401, "not-signed-in");
    let listed = owner.get("/api/v1/passes").await.expect(200).body;
    assert_eq!(listed["items"][0], again);
    assert_eq!(listed["items"][1]["id"], id.as_str());
    let _ = owner.delete("/api/v1/passes/01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7aff").await.problem(404, "not-found");
}

#[tokio::test]
async fn what_is_read_with_a_pass_stands_in_the_security_log() {
    let company = Company::in_maryland().await;
    let (id, inspector) = pass(&company, everything(1)).await;
    let statement = format!("/api/v1/statements?year=2026&client_id={}", company.client);
    let _ = inspector.get(&statement).await.expect(200);
    let _ = inspector.get("/api/v1/me").await.problem(403, "not-allowed");
    let log = company.owner.get("/api/v1/security-log").await.expect(200).body;
    let of_pass: Vec<&Value> =
        log["items"].as_array().unwrap().iter().filter(|one| one["pass_id"] == id.as_str()).collect();
    assert_eq!(of_pass.len(), 2, "{of_pass:#?}");
    assert_eq!((&of_pass[0]["kind"], &of_pass[0]["detail"]), (&json!("pass_read"), &json!(statement)));
    assert_eq!((&of_pass[1]["kind"], &of_pass[1]["by_id"]), (&json!("pass_made"), &json!(company.owner.id)));
    assert_eq!(of_pass[0]["name"], "Inspector of the state");
}

#[tokio::test]
async fn a_pass_says_what_it_shows() {
    let company = Company::in_maryland().await;
    let with = |more: Value| {
        let mut body = json!({ "name": "Inspector", "days": 3 });
        body.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        body
    };
    let nobody = "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7aff";
    let wrong = [
        (with(json!({})), "#/client_ids"),
        (with(json!({ "whole_company": true, "client_ids": [company.client] })), "#/client_ids"),
        (with(json!({ "client_ids": [company.client, company.client] })), "#/client_ids/1"),
        (with(json!({ "client_ids": [nobody] })), "#/client_ids/0"),
        (with(json!({ "whole_company": true, "days": 91 })), "#/days"),
        (with(json!({ "whole_company": true, "days": 0 })), "#/days"),
    ];
    for (body, fault) in wrong {
        let refused = company.owner.post("/api/v1/passes", &body).await.problem(422, "invalid");
        assert_eq!(refused.faults(), [fault], "{body}");
    }
    let _ = company.office.post("/api/v1/passes", &everything(1)).await.problem(403, "not-allowed");
    let passes = company.owner.get("/api/v1/passes").await.expect(200).body;
    assert_eq!(passes["items"], json!([]));
}

/// The lawn was another client's before: what was put down then is shown, and not who that client was.
#[tokio::test]
async fn a_pass_does_not_tell_who_a_former_client_was() {
    let company = Company::in_maryland().await;
    let office = &company.office;
    let record = company.put_down(&company.front, "5").await;
    let buyer = json!({ "name": "Client 002", "mailing_address": "2 Street B, Sampletown", "phone": "555-0199" });
    let buyer = office.post("/api/v1/clients", &buyer).await.expect(201).id();
    let sold = json!({ "since": "2026-09-15", "facts": { "client_id": buyer }, "reason": "Sold." });
    let _ = office.post(&format!("/api/v1/properties/{}/history", company.property), &sold).await.expect(201);
    // What is corrected of the former client since is told on the statement of the year, and not to everybody.
    let history = format!("/api/v1/clients/{}/history", company.client);
    let mut facts = office.get(&history).await.expect(200).body["items"][0]["facts"].clone();
    facts["name"] = json!("A true secret");
    let right = json!({ "facts": facts, "corrects": company.client, "reason": "Client 001 lives at 77 Hidden Lane." });
    let _ = office.post(&history, &right).await.expect(201);
    company.app.clock.advance(A_DAY);
    let owner = company.app.sign_in("owner", company.owner.id.clone()).await;
    let body = json!({ "name": "Inspector", "client_ids": [buyer], "days": 3 });
    let made = owner.post("/api/v1/passes", &body).await.expect(201).body;
    let inspector = company.app.user(made["token"].as_str().unwrap(), None);
    let paths = [
        format!("/api/v1/applications/{record}/particulars"),
        format!("/api/v1/statements?year=2026&property_id={}", company.property),
        format!("/api/v1/statements?year=2026&client_id={}", company.client),
        format!("/api/v1/statements?year=2026&client_id={buyer}"),
        format!("/api/v1/statements?year=2025&property_id={}", company.property),
        format!("/api/v1/statements?year=2025&property_id={}&format=csv", company.property),
        format!("/api/v1/statements?year=2025&section_id={}", company.front),
        format!("/api/v1/statements?year=2025&client_id={}", company.client),
    ];
    for path in &paths {
        for reader in [&inspector, &company.phone] {
            let told = reader.get(path).await.expect(200).text;
            let secret = ["Client 001", "secret", "Hidden"].into_iter().find(|word| told.contains(word));
            assert_eq!(secret, None, "{path}: {told}");
        }
        let told = owner.get(path).await.expect(200).text;
        assert!(!path.contains("2025") || told.contains("A true secret") && told.contains("77 Hidden Lane"), "{told}");
    }
    let whole = owner.get(&format!("/api/v1/applications/{record}/particulars")).await.expect(200).text;
    assert!(whole.contains("Client 001"), "the owner is told");
    // A line says from where.
    let log = owner.get("/api/v1/security-log?limit=10").await.expect(200).body;
    let read = log["items"].as_array().unwrap().iter().find(|line| line["kind"] == "pass_read").unwrap().clone();
    assert_eq!(read["address"], "127.0.0.1");
}
