//! What is open about a stop, told with the day.

use harness::world::{Company, label, product, section};
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
