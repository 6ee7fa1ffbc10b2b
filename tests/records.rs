//! What a record says of itself when its ground, its clock or its visit was not as planned.

use harness::{
    Reply, new_id,
    world::{Company, technician},
};
use serde_json::{Value, json};

/// Verdicts of the findings of a decision about some rule.
fn verdicts(decision: &Value, rule: &str) -> Vec<String> {
    let findings = decision["findings"].as_array().unwrap();
    let about = findings.iter().filter(|finding| finding["rule"] == rule);
    about.map(|finding| finding["verdict"].as_str().unwrap().to_owned()).collect()
}

async fn decision_of(company: &Company, stored: &Reply) -> Value {
    let address = format!("/api/v1/applications/{}/decision", stored.body["id"].as_str().unwrap());
    company.owner.get(&address).await.expect(200).body
}

/// Why entries stand on the owner's list.
async fn on_the_list(company: &Company) -> Vec<String> {
    let list = company.owner.get("/api/v1/reviews").await.expect(200).body;
    list["items"].as_array().unwrap().iter().map(|one| one["why"].as_str().unwrap().to_owned()).collect()
}

async fn recorded(company: &Company, record: &Value) -> Value {
    let stored = company.phone.put(&format!("/api/v1/applications/{}", new_id()), record).await.expect(201);
    decision_of(company, &stored).await
}

#[tokio::test]
async fn ground_that_takes_nothing_in_is_never_go() {
    // Pennsylvania's act names frozen and snow-covered ground and is silent about saturated ground (3 Pa.C.S. 6812).
    for place in ["us-pa", "us-md"] {
        let company = Company::under(&[place]).await;
        for ground in ["saturated", "frozen", "snow_covered"] {
            let mut plan = company.plan(&company.front, "10");
            plan["ground"] = json!(ground);
            let decision = company.phone.post("/api/v1/checks", &plan).await.expect(200).body["decision"].clone();
            assert_ne!(decision["verdict"], "go", "{place} {ground}: {decision:#}");
            let about_ground = decision["findings"].as_array().unwrap().iter();
            let told = about_ground.filter(|one| one["unit"] == "ground" || one["rule"] == "book.ground.sound").count();
            assert!(told > 0, "{place} {ground} has a reason of its own");
            let own = verdicts(&decision, "book.ground.sound");
            assert!(own.is_empty() || own == ["care"], "{own:?}");
        }
        let mut plan = company.plan(&company.front, "10");
        plan["ground"] = json!("moist");
        let decision = company.phone.post("/api/v1/checks", &plan).await.expect(200).body["decision"].clone();
        assert!(verdicts(&decision, "book.ground.sound").is_empty());
    }
}

#[tokio::test]
async fn a_clock_that_was_moved_during_the_work_is_marked_on_the_record() {
    let company = Company::in_maryland().await;
    let mut record = company.record(&company.front, "5");
    // The phone ran a day fast all along: its own readings are kept, and nothing moved.
    record["phone_started_at"] = json!("2026-09-16T13:05:00Z");
    record["phone_finished_at"] = json!("2026-09-16T13:31:20Z");
    let stored = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await.expect(201);
    assert_eq!(stored.body["phone_started_at"], "2026-09-16T13:05:00.000Z");
    assert!(verdicts(&decision_of(&company, &stored).await, "book.record.clock").is_empty());
    // It was put right in between: 24 hours back.
    record["phone_finished_at"] = json!("2026-09-15T13:31:00Z");
    let decision = recorded(&company, &record).await;
    assert_eq!(verdicts(&decision, "book.record.clock"), ["care"]);
    assert!(decision.to_string().contains("moved by 24 h 0 min back"), "{decision:#}");
    // The phone noticed a jump by itself.
    let mut record = company.record(&company.front, "4");
    record["clock_jump_s"] = json!(61);
    assert_eq!(verdicts(&recorded(&company, &record).await, "book.record.clock"), ["care"]);
    record["clock_jump_s"] = json!(60);
    assert!(verdicts(&recorded(&company, &record).await, "book.record.clock").is_empty());
    assert_eq!(on_the_list(&company).await, ["clock_moved"; 2]);
}

#[tokio::test]
async fn a_record_of_a_cancelled_or_reassigned_visit_is_marked() {
    let company = Company::in_maryland().await;
    let (other, _) = technician(&company.app, &company.office, &company.owner, "Tech 02").await;
    let mut visit = json!({
        "property_id": company.property, "person_id": other, "planned_on": "2026-09-15", "product_id": company.feed,
        "section_ids": [company.front, company.rear], "purpose": "maintenance", "status": "planned",
    });
    let address = format!("/api/v1/visits/{}", company.visit);
    let _ = company.office.put_version(&address, "\"v1\"", &visit).await.expect(200);
    let decision = recorded(&company, &company.record(&company.front, "5")).await;
    assert_eq!(verdicts(&decision, "book.visit.person"), ["care"]);
    assert!(verdicts(&decision, "book.visit.stands").is_empty());
    assert_eq!(on_the_list(&company).await, ["visit_changed"]);
    visit["person_id"] = json!(company.phone.id);
    visit["status"] = json!("cancelled");
    visit["reason"] = json!("The client called.");
    let _ = company.office.put_version(&address, "\"v2\"", &visit).await.expect(200);
    let decision = recorded(&company, &company.record(&company.front, "5")).await;
    assert_eq!(verdicts(&decision, "book.visit.stands"), ["care"]);
    assert!(verdicts(&decision, "book.visit.person").is_empty());
    visit["status"] = json!("not_done");
    let _ = company.office.put_version(&address, "\"v3\"", &visit).await.expect(200);
    let decision = recorded(&company, &company.record(&company.front, "5")).await;
    assert_eq!(verdicts(&decision, "book.visit.stands"), ["care"]);
    assert_eq!(on_the_list(&company).await, ["visit_changed"; 3]);
    let found = server::book::verify::check_file(&company.app.file()).await.unwrap();
    assert!(found.faults.is_empty(), "{:?}", found.faults);
}

#[tokio::test]
async fn a_correction_of_one_line_leaves_the_other_where_it_was_measured() {
    let company = Company::in_maryland().await;
    let mut record = company.record(&company.front, "20");
    record["lines"] = json!([
        { "section_id": company.front, "product_lb": "20" }, { "section_id": company.rear, "product_lb": "10" },
    ]);
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), &record).await.expect(201);
    // The rear lawn is measured anew, with a day before the work.
    let measured =
        json!({ "area_sqft": "4000", "measured_on": "2026-09-01", "method": "tape", "measured_by": "Office 01" });
    let at = format!("/api/v1/sections/{}/measurements", company.rear);
    let _ = company.office.post(&at, &measured).await.expect(201);
    let correction = json!({
        "application_id": id, "reason": "The front was weighed again.", "change": { "lines": [
            { "section_id": company.front, "product_lb": "18" }, { "section_id": company.rear, "product_lb": "10" },
        ] },
    });
    let stored = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &correction).await.expect(201).body;
    let area = |stored: &Value, section: &str| {
        let lines = stored["lines"].as_array().unwrap();
        lines.iter().find(|line| line["section_id"] == section).unwrap()["area_sqft"].clone()
    };
    assert_eq!(area(&stored, &company.front), "8200");
    assert_eq!(area(&stored, &company.rear), "5000", "the rear lawn stands as it was measured then");
    // Named as it was read, it stands too, although the lawn is measured smaller since.
    let mut named = correction.clone();
    named["replaces"] = stored["id"].clone();
    named["change"]["lines"] = json!([
        { "section_id": company.front, "product_lb": "17" },
        { "section_id": company.rear, "product_lb": "10", "treated_area_sqft": "5000" },
    ]);
    let again = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &named).await.expect(201).body;
    assert_eq!(area(&again, &company.rear), "5000");
    let statement = company.statement().await;
    let rear = statement["sections"].as_array().unwrap().iter().find(|one| one["section_id"] == company.rear.as_str());
    // 10 lb of 24 % on 5,000 sq ft: 2.4 lb on 5,000 is 0.48 on 1,000.
    assert_eq!(rear.unwrap()["nitrogen_lb_per_1000_sqft"], "0.48", "{rear:#?}");
}
