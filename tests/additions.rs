//! What is added to a record later counts like what was told with it: a distance that was kept is judged whenever it is told.

use harness::{
    User, new_id,
    world::{Company, section},
};
use serde_json::{Value, json};
use server::book::verify::check_file;

use crate::pages::visitor::Visitor;

/// A lawn 20 ft from the water, in Maryland, where ten are asked of this machine.
async fn near_lawn(company: &Company) -> String {
    let lawn = section(&company.office, &company.property, "creek side", "8000").await;
    let near = json!({
        "since": "2026-01-01", "facts": { "water": "near", "water_distance_ft": "20" }, "reason": "Measured to the creek.",
    });
    let _ = company.office.post(&format!("/api/v1/sections/{lawn}/history"), &near).await.expect(201);
    lawn
}

fn record(company: &Company, lawn: &str, seen: Option<&Value>) -> Value {
    let mut record = company.record(lawn, "10");
    record.as_object_mut().unwrap().remove("visit_id");
    if let Some(seen) = seen {
        record["seen"] = seen.clone();
    }
    record
}

async fn put_down(company: &Company, lawn: &str, seen: Option<&Value>) -> (String, Value) {
    let id = new_id();
    let put = company.phone.put(&format!("/api/v1/applications/{id}"), &record(company, lawn, seen)).await.expect(201);
    (id, put.body)
}

async fn open(owner: &User) -> Vec<(Value, Value)> {
    let list = owner.get("/api/v1/reviews").await.expect(200).body;
    list["items"].as_array().unwrap().iter().map(|item| (item["why"].clone(), item["record_id"].clone())).collect()
}

#[tokio::test]
async fn a_distance_that_is_told_later_is_judged() {
    let company = Company::in_maryland().await;
    let lawn = near_lawn(&company).await;
    let at_once = record(&company, &lawn, Some(&json!({ "kept_from_water_ft": "2" })));
    let _ = company
        .phone
        .put(&format!("/api/v1/applications/{}", new_id()), &at_once)
        .await
        .problem(422, "stopped-by-rules");
    let (id, stored) = put_down(&company, &lawn, None).await;
    assert_ne!(stored["verdict"], "stop");
    let before = open(&company.owner).await;
    let path = format!("/api/v1/applications/{id}/additions");
    let far = company.office.post(&path, &json!({ "seen": { "kept_from_water_ft": "20" } })).await.expect(201).body;
    assert_eq!(far.get("doubt"), None, "{far}");
    assert_eq!(open(&company.owner).await, before);
    let near = company.office.post(&path, &json!({ "seen": { "kept_from_water_ft": "2" } })).await.expect(201).body;
    assert_eq!(near["doubt"], "beyond_the_rules");
    let listed = (json!("added_beyond_the_rules"), near["id"].clone());
    assert_eq!(open(&company.owner).await[0], listed);
    let told = company.statement().await["gaps"].to_string();
    assert!(told.contains("went beyond the rules by a distance that was added to them later: 1."), "{told}");
    let statement = company.statement().await;
    assert_eq!(
        statement["sections"]
            .as_array()
            .unwrap()
            .iter()
            .flat_map(|one| one["lines"].as_array().unwrap())
            .filter(|line| line["beyond_the_rules"] == json!(true))
            .count(),
        1,
        "{statement:#}"
    );
    let paper = Visitor::named(&company, "owner").await.open(&format!("/records/{id}")).await.html;
    for words in
        ["By the distance that is told here, the work went beyond the rules", "A distance that was added later shows"]
    {
        assert!(paper.contains(words), "{words}: {paper}");
    }
    // The list leads to the record, and the owner's word closes it.
    let page =
        Visitor::named(&company, "owner").await.open(&format!("/reviews/{}", near["id"].as_str().unwrap())).await;
    assert!(
        page.html.contains("went beyond the rules") && page.html.contains(&format!("/records/{id}")),
        "{}",
        page.html
    );
    let word = json!({ "note": "Spoke with the technician." });
    let _ = company.owner.put(&format!("/api/v1/reviews/{}", near["id"].as_str().unwrap()), &word).await.expect(200);
    assert!(!open(&company.owner).await.contains(&listed));
    // A correction of the record is judged by it too.
    let less = json!({ "lines": [{ "section_id": lawn, "product_lb": "9" }] });
    let less = json!({ "application_id": id, "reason": "Weighed again.", "change": less });
    let refused = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &less).await;
    let refused = refused.problem(422, "stopped-by-rules");
    assert!(refused.text.contains("treated to within 2 ft"), "{}", refused.text);
    assert_eq!(check_file(&company.app.file()).await.unwrap().faults, Vec::<String>::new());
}

#[tokio::test]
async fn of_two_distances_the_shorter_counts() {
    let company = Company::in_maryland().await;
    let lawn = near_lawn(&company).await;
    let (id, _) = put_down(&company, &lawn, Some(&json!({ "kept_from_water_ft": "40" }))).await;
    let path = format!("/api/v1/applications/{id}/additions");
    let longer = company.office.post(&path, &json!({ "seen": { "kept_from_water_ft": "41" } })).await;
    let longer = longer.problem(422, "invalid");
    assert_eq!(longer.faults(), ["#/seen/kept_from_water_ft"]);
    assert!(longer.text.contains("longer than the 40 ft"), "{}", longer.text);
    let again = company.office.post(&path, &json!({ "seen": { "kept_from_water_ft": "40.0" } })).await.expect(201).body;
    assert_eq!(again.get("doubt"), None);
    let shorter = company.office.post(&path, &json!({ "seen": { "kept_from_water_ft": "30" } })).await.expect(201).body;
    assert_eq!(shorter["doubt"], "shorter_distance");
    assert_eq!(open(&company.owner).await[0], (json!("added_shorter_distance"), shorter["id"].clone()));
    // Of drains nobody has spoken yet.
    let drains = company.office.post(&path, &json!({ "seen": { "kept_from_drains_ft": "45" } })).await.expect(201).body;
    assert_eq!(drains.get("doubt"), None);
    let back = company.office.post(&path, &json!({ "seen": { "kept_from_drains_ft": "46" } })).await;
    assert_eq!(back.problem(422, "invalid").faults(), ["#/seen/kept_from_drains_ft"]);
    assert_eq!(check_file(&company.app.file()).await.unwrap().faults, Vec::<String>::new());
}
