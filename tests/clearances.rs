//! A clearance is for one person, one day and some sections; what is known today says nothing about another day.

use harness::{
    User, new_id,
    world::{Company, certify, technician},
};
use serde_json::{Value, json};

async fn clear(phone: &User, plan: &Value) -> String {
    let id = new_id();
    let _ = phone.put(&format!("/api/v1/clearances/{id}"), plan).await.expect(201);
    id
}

fn keys(refused: &Value) -> Vec<Value> {
    refused["findings"].as_array().unwrap().iter().map(|finding| finding["key"].clone()).collect()
}

#[tokio::test]
async fn weather_and_ground_of_today_say_nothing_about_another_day() {
    let company = Company::in_maryland().await;
    let mut plan = company.plan(&company.front, "10");
    let check = async |plan: &Value| company.phone.post("/api/v1/checks", plan).await.expect(200).body;
    assert_eq!(check(&plan).await["decision"]["verdict"], "go");
    for other_day in ["2026-09-14", "2026-09-16", "2026-10-05"] {
        plan["planned_on"] = json!(other_day);
        let answer = check(&plan).await;
        assert_eq!(answer["decision"]["verdict"], "care", "{other_day}: {answer:#}");
        assert!(answer.to_string().contains("book.seen.on_the_day"), "{answer:#}");
        assert!(answer.to_string().contains("Nobody has looked at the ground yet"), "{answer:#}");
    }
    // Nor does today's frost bar another day.
    plan["ground"] = json!("frozen");
    assert_eq!(check(&plan).await["decision"]["verdict"], "care");
    plan["planned_on"] = json!("2026-09-15");
    assert_eq!(check(&plan).await["decision"]["verdict"], "stop");
}

#[tokio::test]
async fn a_day_too_far_ahead_is_told_with_every_other_fault() {
    let company = Company::in_maryland().await;
    let mut plan = company.plan(&company.front, "10");
    plan["product_id"] = json!(new_id());
    for (day, faults) in [
        ("2026-09-14", vec!["#/product_id", "#/planned_on"]),
        ("2026-09-17", vec!["#/product_id"]),
        ("2026-09-18", vec!["#/product_id", "#/planned_on"]),
    ] {
        plan["planned_on"] = json!(day);
        let refused = company.phone.put(&format!("/api/v1/clearances/{}", new_id()), &plan).await;
        assert_eq!(refused.problem(422, "invalid").faults(), faults, "{day}");
    }
}

/// Sends a record that names a clearance it does not go with: refused with one finding, kept as an attempt, and stored once
/// that was read. The clearance keeps its room.
async fn does_not_go_with(
    company: &Company,
    phone: &User,
    mut record: Value,
    clearance: &str,
    rule: &str,
    state: &str,
) {
    record["clearance_id"] = json!(clearance);
    let address = format!("/api/v1/applications/{}", new_id());
    let refused = phone.put(&address, &record).await.problem(422, "stopped-by-rules");
    assert_eq!(keys(&refused.body), [rule], "{}", refused.text);
    let reviews = company.owner.get("/api/v1/reviews").await.expect(200).body;
    assert_eq!(reviews["items"][0]["why"], "refused_attempt", "the attempt is kept");
    record["acknowledged"] = json!([rule]);
    record["reason"] = json!("Took the wrong one in the list.");
    let stored = phone.put(&address, &record).await.expect(201).body;
    assert_eq!(stored["beyond_the_rules"], true);
    let held = company.office.get(&format!("/api/v1/clearances/{clearance}")).await.expect(200).body;
    assert_eq!(held["state"], state, "{rule}");
}

#[tokio::test]
async fn a_record_takes_the_room_of_no_clearance_but_its_own() {
    let company = Company::in_maryland().await;
    let (other, colleague) = technician(&company.app, &company.office, &company.owner, "Tech 02").await;
    certify(&company.office, &other, "us-md").await;
    let visit = json!({
        "property_id": company.property, "person_id": other, "planned_on": "2026-09-15", "product_id": company.feed,
        "section_ids": [company.front], "purpose": "maintenance",
    });
    let visit = company.office.post("/api/v1/visits", &visit).await.expect(201).id();
    let record = company.record(&company.front, "5");
    let mut colleagues = record.clone();
    colleagues["visit_id"] = json!(visit);

    let clearance = clear(&company.phone, &company.plan(&company.front, "5")).await;
    does_not_go_with(&company, &colleague, colleagues, &clearance, "book.clearance.person", "open").await;

    let rear = clear(&company.phone, &company.plan(&company.rear, "5")).await;
    does_not_go_with(&company, &company.phone, record.clone(), &rear, "book.clearance.sections", "open").await;

    let mut tomorrow = company.plan(&company.front, "5");
    tomorrow["planned_on"] = json!("2026-09-16");
    let tomorrow = clear(&company.phone, &tomorrow).await;
    does_not_go_with(&company, &company.phone, record.clone(), &tomorrow, "book.clearance.day", "open").await;

    let mut own = record.clone();
    own["clearance_id"] = json!(clearance);
    let stored = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &own).await.expect(201).body;
    assert_eq!(stored["verdict"], "go");
    does_not_go_with(&company, &company.phone, record, &clearance, "book.clearance.unused", "used").await;
}

#[tokio::test]
async fn the_room_of_a_foreign_clearance_stays_held() {
    // Of 2.7 lb N in the year 0.45 are left; the first phone holds 0.4 of it.
    let company = Company::in_maryland().await;
    company.three_loads().await;
    let clearance = clear(&company.phone, &company.plan(&company.front, "13.66")).await;
    let (other, colleague) = technician(&company.app, &company.office, &company.owner, "Tech 02").await;
    certify(&company.office, &other, "us-md").await;
    let visit = json!({
        "property_id": company.property, "person_id": other, "planned_on": "2026-09-15", "product_id": company.feed,
        "section_ids": [company.front], "purpose": "maintenance",
    });
    let _ = company.office.post("/api/v1/visits", &visit).await.expect(201);
    let mut record = company.record(&company.front, "13.66");
    record["clearance_id"] = json!(clearance);
    let refused = colleague.put(&format!("/api/v1/applications/{}", new_id()), &record).await;
    let rules = refused.problem(422, "stopped-by-rules").rules();
    assert!(rules.contains(&"book.clearance.person".to_owned()), "{rules:?}");
    assert!(rules.iter().any(|rule| rule.ends_with("nitrogen.total.year")), "the room is held: {rules:?}");
}

#[tokio::test]
async fn a_clearance_that_was_given_back_is_named_with_a_word_of_care() {
    let company = Company::in_maryland().await;
    let clearance = clear(&company.phone, &company.plan(&company.front, "5")).await;
    let _ = company.phone.delete(&format!("/api/v1/clearances/{clearance}")).await.expect(200);
    let mut record = company.record(&company.front, "5");
    record["clearance_id"] = json!(clearance);
    let id = new_id();
    let stored = company.phone.put(&format!("/api/v1/applications/{id}"), &record).await.expect(201).body;
    assert_eq!((&stored["verdict"], &stored["beyond_the_rules"]), (&json!("care"), &json!(false)));
    let decision = company.phone.get(&format!("/api/v1/applications/{id}/decision")).await.expect(200);
    assert!(decision.rules().contains(&"book.clearance.held".to_owned()), "{}", decision.text);
}

#[tokio::test]
async fn a_clearance_for_some_of_the_sections_is_used_with_a_word_of_care() {
    let company = Company::in_maryland().await;
    let clearance = clear(&company.phone, &company.plan(&company.front, "5")).await;
    let mut record = company.record(&company.front, "5");
    record["clearance_id"] = json!(clearance);
    record["lines"] = json!([
        { "section_id": company.front, "product_lb": "5" },
        { "section_id": company.rear, "product_lb": "5" },
    ]);
    let id = new_id();
    let stored = company.phone.put(&format!("/api/v1/applications/{id}"), &record).await.expect(201).body;
    assert_eq!(stored["verdict"], "care");
    let decision = company.phone.get(&format!("/api/v1/applications/{id}/decision")).await.expect(200);
    assert_eq!(decision.rules(), ["book.clearance.covers"]);
    assert!(decision.body["summary"].as_str().unwrap().starts_with("Care: this clearance"), "{}", decision.text);
    let used = company.phone.get(&format!("/api/v1/clearances/{clearance}")).await.expect(200).body;
    assert_eq!(used["state"], "used");
}

#[tokio::test]
async fn a_record_that_does_not_go_with_its_visit_is_told_so() {
    let company = Company::in_maryland().await;
    let visit = json!({
        "property_id": company.property, "person_id": company.phone.id, "planned_on": "2026-10-20",
        "product_id": company.feed, "section_ids": [company.rear], "purpose": "maintenance",
    });
    let visit = company.office.post("/api/v1/visits", &visit).await.expect(201).id();
    let mut record = company.record(&company.front, "5");
    record["visit_id"] = json!(visit);
    let id = new_id();
    let stored = company.phone.put(&format!("/api/v1/applications/{id}"), &record).await.expect(201).body;
    assert_eq!(stored["verdict"], "care");
    let decision = company.phone.get(&format!("/api/v1/applications/{id}/decision")).await.expect(200);
    assert_eq!(decision.rules(), ["book.visit.fits"]);
    assert!(decision.text.contains("planned for other sections and was planned on 2026-10-20"), "{}", decision.text);
}
