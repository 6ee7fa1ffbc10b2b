//! What is open about a stop, told with the day.

use harness::{
    new_id,
    world::{Company, label, product, section},
};
use serde_json::{Value, json};

#[tokio::test]
async fn the_day_tells_the_soil_report_that_ends_and_the_one_that_is_missing() {
    let company = Company::in_maryland().await;
    let phosphorus = product(&company.office, "With phosphorus", &label("16", "4", "22", "8")).await;
    let person = company.phone.id.as_deref().unwrap();
    // COMAR 15.20.10.10 and .11 B (nutrient-law rows MD-20, MD-22): a soil test of the last three years, 36 months from the sample.
    let report = json!({
        "sampled_on": "2023-10-20", "laboratory": "Laboratory", "extractant": "mehlich_3", "cores": 12, "ph": "6.4",
        "phosphorus": "low", "phosphate_recommended_lb_per_1000_sqft": "1",
    });
    let address = |section: &str| format!("/api/v1/sections/{section}/soil-reports");
    let ending = section(&company.office, &company.property, "east lawn", "3000").await;
    let missing = section(&company.office, &company.property, "west lawn", "3000").await;
    let _ = company.office.post(&address(&ending), &report).await.expect(201);
    let visit = json!({
        "property_id": company.property, "person_id": person, "planned_on": "2026-09-15", "product_id": phosphorus,
        "section_ids": [ending, missing], "purpose": "maintenance", "target_nitrogen_lb_per_1000_sqft": "0.5",
    });
    let visit = company.office.post("/api/v1/visits", &visit).await.expect(201).body["id"].clone();
    let day = company.phone.get("/api/v1/days/2026-09-15").await.expect(200).body;
    let stop = |id: &Value| day["visits"].as_array().unwrap().iter().find(|stop| stop["visit"]["id"] == *id).cloned();
    let open = stop(&visit).unwrap()["open"].clone();
    // Sections come in the order of their ids, which are made up within one millisecond here.
    let words = |section: &str| {
        let of = open.as_array().unwrap().iter().find(|point| point["section_id"] == section).unwrap();
        of["words"].as_str().unwrap().to_owned()
    };
    assert!(words(&ending).contains("ends on 2026-10-20"), "{open}");
    assert!(words(&missing).contains("has no soil report"), "{open}");
    // Without phosphorus no report is needed, and nothing is told.
    assert_eq!(stop(&json!(company.visit)).unwrap()["open"], json!([]));
}

#[tokio::test]
async fn the_day_tells_what_stands_recorded_of_each_section() {
    // The demonstration lawn has 8,200 sq ft in front and 5,000 behind, both on one visit.
    let company = Company::in_maryland().await;
    let stop = async || {
        let day = company.phone.get("/api/v1/days/2026-09-15").await.expect(200).body;
        let stop = &day["visits"][0];
        let sections = stop["recorded_sections"].as_array().unwrap().clone();
        let of = |section: &str| {
            let found = sections.iter().find(|one| one["section_id"] == section);
            found.map_or(Value::Null, |one| json!([one["treated_area_sqft"], one["open_area_sqft"]]))
        };
        (stop["recorded"].clone(), of(&company.front), of(&company.rear))
    };
    assert_eq!(stop().await, (json!(false), json!(null), json!(null)));
    let mut half = company.record(&company.front, "4");
    half["lines"][0]["treated_area_sqft"] = json!("4100");
    let first = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{first}"), &half).await.expect(201);
    assert_eq!(stop().await, (json!(false), json!(["4100", "4100"]), json!(null)));
    // The rest as a record of its own, and the second section whole.
    half["lines"][0]["treated_area_sqft"] = json!("4100");
    let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &half).await.expect(201);
    let rear = company.put_down(&company.rear, "15").await;
    assert_eq!(stop().await, (json!(true), json!(["8200", null]), json!(["5000", null])));
    // A correction says that it was less, and another that it was nothing at all.
    let line = json!([{ "section_id": company.front, "product_lb": "3", "treated_area_sqft": "4000" }]);
    let less = json!({ "application_id": first, "reason": "Paced it out again.", "change": { "lines": line } });
    let _ = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &less).await.expect(201);
    let back = json!({ "application_id": rear, "reason": "It was the neighbour's." });
    let _ = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &back).await.expect(201);
    assert_eq!(stop().await, (json!(false), json!(["8100", "100"]), json!(null)));
}
