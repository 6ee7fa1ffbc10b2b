//! A further record says what is true: the original stays, totals and stock follow, and the rules are asked again.

use harness::{new_id, world::Company};
use serde_json::{Value, json};

fn correction(application: &str, change: &Value) -> Value {
    let mut body = json!({ "application_id": application, "reason": "Weighed again." });
    if !change.is_null() {
        body["change"] = json!({ "lines": change });
    }
    body
}

#[tokio::test]
async fn taking_an_application_back_restores_the_room_and_the_stock() {
    let company = Company::in_maryland().await;
    company.three_loads().await;
    let last = company.put_down(&company.front, "15.37").await;
    let check = |amount: &str| company.plan(&company.front, amount);
    let before = company.phone.post("/api/v1/checks", &check("15.37")).await.expect(200).body;
    assert_eq!(before["decision"]["verdict"], "stop");
    let address = format!("/api/v1/corrections/{}", new_id());
    let stored = company.phone.put(&address, &correction(&last, &Value::Null)).await.expect(201).body;
    assert_eq!(stored["lines"], json!([]));
    let after = company.phone.post("/api/v1/checks", &check("15.37")).await.expect(200).body;
    assert_eq!(after["decision"]["verdict"], "go", "{after:#}");
    let product = company.office.get(&format!("/api/v1/products/{}", company.feed)).await.expect(200).body;
    assert_eq!(product["balance_lb"], "1923.125", "2,000 less three times 25.625");
    // Taken back twice: the second is told what stands, and with that there is nothing left to take back.
    let address = format!("/api/v1/corrections/{}", new_id());
    let mut again = correction(&last, &Value::Null);
    let _ = company.phone.put(&address, &again).await.problem(409, "conflict");
    again["replaces"] = stored["id"].clone();
    let nothing = company.phone.put(&address, &again).await.problem(422, "invalid");
    assert_eq!(nothing.faults(), ["#/change"]);
    let statement = company.statement().await;
    assert_eq!(statement["sections"][0]["applied"]["nitrogen_lb"], "18.45");
    assert_eq!(statement["sections"][0]["lines"].as_array().unwrap().len(), 3);
}

#[tokio::test]
async fn the_same_correction_again_is_one_and_other_content_is_refused() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "20").await;
    let address = format!("/api/v1/corrections/{}", new_id());
    let body = correction(&id, &json!([{ "section_id": company.front, "product_lb": "21" }]));
    let first = company.phone.put(&address, &body).await.expect(201).body;
    let again = company.phone.put(&address, &body).await.expect(200).body;
    assert_eq!(first, again);
    let other = correction(&id, &json!([{ "section_id": company.front, "product_lb": "22" }]));
    let reused = company.phone.put(&address, &other).await.problem(409, "id-reused");
    assert_eq!(reused.faults(), ["#/change"]);
    let list = company.phone.get(&format!("/api/v1/corrections?application_id={id}")).await.expect(200).body;
    assert_eq!(list["items"].as_array().unwrap().len(), 1);
    assert_eq!(list["items"][0], first);
    // An id that names an application cannot name a correction too.
    let _ = company.phone.put(&format!("/api/v1/corrections/{id}"), &body).await.problem(409, "conflict");
}

#[tokio::test]
async fn a_correction_that_breaks_a_rule_needs_its_findings_acknowledged() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "20").await;
    let address = format!("/api/v1/corrections/{}", new_id());
    let mut body = correction(&id, &json!([{ "section_id": company.front, "product_lb": "40" }]));
    let refused = company.phone.put(&address, &body).await.problem(422, "stopped-by-rules");
    assert_eq!(company.statement().await["sections"][0]["applied"]["nitrogen_lb"], "4.8", "nothing changed");
    let keys: Vec<Value> =
        refused.body["findings"].as_array().unwrap().iter().map(|finding| finding["key"].clone()).collect();
    body["acknowledged"] = json!(keys);
    let stored = company.phone.put(&address, &body).await.expect(201).body;
    assert_eq!(stored["beyond_the_rules"], true);
    let list = company.owner.get("/api/v1/reviews").await.expect(200).body;
    assert_eq!(list["items"][0]["kind"], "correction");
    assert_eq!(list["items"].as_array().unwrap().len(), 1);
}

#[tokio::test]
async fn a_line_can_move_to_the_section_it_was_really_put_on() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "15").await;
    let body = correction(&id, &json!([{ "section_id": company.rear, "product_lb": "15" }]));
    let moved = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &body).await.expect(201).body;
    let statement = company.statement().await;
    assert_eq!(statement["sections"][0]["applied"]["nitrogen_lb"], "0");
    assert_eq!(statement["sections"][0]["lines"], json!([]));
    assert_eq!(statement["sections"][1]["applied"]["nitrogen_lb"], "3.6");
    // Another technician of the same property sees the record and leaves it alone; the office may correct it.
    let (other, phone) = harness::world::technician(&company.app, &company.office, &company.owner, "Tech 02").await;
    let visit = json!({
        "property_id": company.property, "person_id": other, "planned_on": "2026-09-15", "product_id": company.feed,
        "section_ids": [company.front], "purpose": "maintenance",
    });
    let _ = company.office.post("/api/v1/visits", &visit).await.expect(201);
    let _ = phone.get(&format!("/api/v1/applications/{id}")).await.expect(200);
    let mut back = correction(&id, &Value::Null);
    back["replaces"] = moved["id"].clone();
    let _ = phone.put(&format!("/api/v1/corrections/{}", new_id()), &back).await.problem(403, "not-allowed");
    let _ = company.office.put(&format!("/api/v1/corrections/{}", new_id()), &back).await.expect(201);
    let unknown = correction(&new_id(), &Value::Null);
    let _ = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &unknown).await.problem(404, "not-found");
}

#[tokio::test]
async fn a_correction_that_lay_on_a_phone_does_not_override_a_newer_one() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "20").await;
    let line = |amount: &str| json!([{ "section_id": company.front, "product_lb": amount }]);
    let office = company.office.put(&format!("/api/v1/corrections/{}", new_id()), &correction(&id, &line("21"))).await;
    let office = office.expect(201).body;
    let late = format!("/api/v1/corrections/{}", new_id());
    let mut body = correction(&id, &line("22"));
    let refused = company.phone.put(&late, &body).await.problem(409, "conflict");
    assert!(refused.body["detail"].as_str().unwrap().contains(office["id"].as_str().unwrap()), "{}", refused.text);
    assert_eq!(company.statement().await["sections"][0]["product_lb"], "21");
    body["replaces"] = office["id"].clone();
    let _ = company.phone.put(&late, &body).await.expect(201);
    assert_eq!(company.statement().await["sections"][0]["product_lb"], "22");
    // What stands already is no correction.
    let mut same = correction(&id, &line("22"));
    same["replaces"] = json!(late.rsplit('/').next());
    let nothing = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &same).await;
    assert_eq!(nothing.problem(422, "invalid").faults(), ["#/change"]);
}

#[tokio::test]
async fn a_correction_sent_again_is_answered_as_it_was_stored() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "20").await;
    let line = json!([{ "section_id": company.front, "product_lb": "21", "treated_area_sqft": "8200" }]);
    let address = format!("/api/v1/corrections/{}", new_id());
    let stored = company.phone.put(&address, &correction(&id, &line)).await.expect(201).body;
    let measured =
        json!({ "area_sqft": "4000", "measured_on": "2026-09-15", "method": "wheel", "measured_by": "Office 01" });
    let measurements = format!("/api/v1/sections/{}/measurements", company.front);
    let _ = company.office.post(&measurements, &measured).await.expect(201);
    assert_eq!(company.phone.put(&address, &correction(&id, &line)).await.expect(200).body, stored);
}
