//! The main job, from a measured lawn to the year's nitrogen statement. Reads like the day it tells of.

use harness::{new_id, world::Company};
use serde_json::json;

#[tokio::test]
async fn from_a_measured_lawn_to_the_years_statement() {
    let company = Company::in_maryland().await;
    let phone = &company.phone;

    // The phone loads its day before it leaves.
    let day = phone.get("/api/v1/days/2026-09-15").await.expect(200).body;
    assert_eq!(day["visits"].as_array().unwrap().len(), 1, "{day}");

    // How much, and may I? A target of 0.75 lb N on 8,200 sq ft of a 24 % product is 25.625 lb.
    let mut question = company.plan(&company.front, "1");
    question["lines"] = json!([{ "section_id": company.front, "target_nitrogen_lb_per_1000_sqft": "0.75" }]);
    let answer = phone.post("/api/v1/checks", &question).await.expect(200).body;
    let front = &answer["decision"]["sections"][0];
    assert_eq!(answer["decision"]["verdict"], "go", "{answer:#}");
    assert_eq!(front["product_lb"], "25.625");
    assert_eq!(front["delivers"]["nitrogen_lb"], "6.15");
    // COMAR 15.20.10.09 C: 0.9 lb of all N and 0.7 lb of quick N; 70 % of this N is quick, so 0.9 binds: 30.75 lb.
    assert_eq!(front["largest_lawful_product_lb"], "30.75");

    // Permission that holds the room.
    let clearance = new_id();
    let mut plan = company.plan(&company.front, "25.6");
    plan["lines"][0]["product_lb"] = json!("25.6");
    let cleared = phone.put(&format!("/api/v1/clearances/{clearance}"), &plan).await.expect(201).body;
    assert_eq!(cleared["state"], "open");

    // The work, then the record under the phone's own id; a lost reply and a retry make one record.
    let id = new_id();
    let address = format!("/api/v1/applications/{id}");
    let mut record = company.record(&company.front, "25.6");
    record["clearance_id"] = json!(clearance);
    record["sent_at"] = json!("2026-09-15T14:00:00Z");
    let stored = phone.put(&address, &record).await.expect(201).body;
    assert_eq!(stored["verdict"], "go");
    assert_eq!(stored["applied_on"], "2026-09-15");
    assert_eq!(stored["lines"][0]["delivers"]["nitrogen_lb"], "6.144");
    record["sent_at"] = json!("2026-09-15T14:02:00Z");
    let again = phone.put(&address, &record).await.expect(200).body;
    assert_eq!(again["received_at"], stored["received_at"]);
    record["lines"][0]["product_lb"] = json!("26");
    let reused = phone.put(&address, &record).await.problem(409, "id-reused");
    assert_eq!(reused.faults(), ["#/lines"]);
    let list = phone.get("/api/v1/applications").await.expect(200).body;
    assert_eq!(list["items"].as_array().unwrap().len(), 1);
    let used = phone.get(&format!("/api/v1/clearances/{clearance}")).await.expect(200).body;
    assert_eq!(used["state"], "used");

    // Stock fell by what was used.
    let product = company.office.get(&format!("/api/v1/products/{}", company.feed)).await.expect(200).body;
    assert_eq!(product["balance_lb"], "1974.4");

    // The owner's statement, traced to the record.
    let statement = company.statement().await;
    let front = &statement["sections"][0];
    assert_eq!(front["applied"]["nitrogen_lb"], "6.144");
    assert_eq!(front["nitrogen_lb_per_1000_sqft"], "0.749269", "6.144 lb on 8.2 ksf is 0.7492682..., rounded up");
    assert_eq!(front["lines"][0]["application_id"], id);
    assert_eq!(front["cap"]["limit_lb_per_1000_sqft"], "2.7", "University of Maryland schedule, tall fescue");
    assert_eq!(front["remaining_nitrogen_lb_per_1000_sqft"], "1.950731");

    // A correction: what stands is less, the original stays, totals and stock follow.
    let correction = new_id();
    let change = json!({
        "application_id": id, "reason": "Weighed again: the bag was not empty.",
        "change": { "lines": [{ "section_id": company.front, "product_lb": "21.4" }] },
    });
    let _ = phone.put(&format!("/api/v1/corrections/{correction}"), &change).await.expect(201);
    let original = phone.get(&address).await.expect(200).body;
    assert_eq!(original["lines"][0]["product_lb"], "25.6");
    assert_eq!(original["correction_ids"], json!([correction]));
    let statement = company.statement().await;
    assert_eq!(statement["sections"][0]["applied"]["nitrogen_lb"], "5.136");
    assert_eq!(statement["sections"][0]["lines"][0]["correction_id"], correction);
    assert!(statement["gaps"].to_string().contains("corrected"), "{}", statement["gaps"]);
    let product = company.office.get(&format!("/api/v1/products/{}", company.feed)).await.expect(200).body;
    assert_eq!(product["balance_lb"], "1978.6");

    // The journal, and its check from outside.
    let journal = company.owner.get("/api/v1/journal?limit=200").await.expect(200).body;
    let acts: Vec<&str> =
        journal["items"].as_array().unwrap().iter().map(|entry| entry["act"].as_str().unwrap()).collect();
    assert_eq!(acts.iter().filter(|act| **act == "application.recorded").count(), 1);
    assert_eq!(acts.last(), Some(&"application.corrected"));
    let folder = company.app.stop().await;
    let found = server::book::verify::check_file(&folder.path().join("book.db")).await.unwrap();
    assert!(found.faults.is_empty(), "{:#?}", found.faults);
    assert_eq!(found.records, 3, "a clearance, an application, a correction");
}
