//! Drift through HTTP: what was put down against what was meant, as corrected, and what has no target.

use harness::{
    new_id,
    world::{Company, rotary_spreader, technician},
};
use serde_json::{Value, json};

const YEAR: &str = "/api/v1/drift?from=2026-01-01&to=2026-12-31";

async fn put(company: &Company, record: &Value) -> String {
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), record).await.expect(201);
    id
}

/// A record on a day with the spreader, of so much product on the front lawn.
fn on(company: &Company, spreader: &str, day: &str, product_lb: &str) -> Value {
    let mut record = company.record(&company.front, product_lb);
    record["started_at"] = json!(format!("{day}T09:05:00-04:00"));
    record["finished_at"] = json!(format!("{day}T09:31:00-04:00"));
    record["equipment_id"] = json!(spreader);
    record
}

/// Invented records against the visit's 0.75 lb N on 8,200 sq ft: 25.625 lb of a 24 % product (by the definition of a grade,
/// worked the same way by NC State, Caring for Your Lawn).
#[tokio::test]
async fn the_visits_rate_is_the_target_and_corrections_count_as_corrected() {
    let company = Company::in_maryland().await;
    let spreader = rotary_spreader(&company.office).await;
    let first = put(&company, &on(&company, &spreader, "2026-09-01", "25.625")).await;
    let _ = put(&company, &on(&company, &spreader, "2026-09-08", "25.625")).await;
    let read = async || company.owner.get(YEAR).await.expect(200).body;
    let even = read().await;
    let line = &even["items"][0];
    assert_eq!((&line["equipment_name"], &line["person_name"]), (&json!("Spreader 01"), &json!("Tech 01")));
    assert_eq!(line["drift"]["meant_lb"], "51.25");
    assert_eq!(
        (&line["drift"]["deviation_hundredths_percent"], &line["drift"]["beyond_acceptance"]),
        (&json!(0), &json!(false))
    );
    // Weighed again: 5.125 lb less went down, 10 % of the two together.
    let change = json!({
        "application_id": first, "reason": "Weighed again.", "change": { "lines": [{ "section_id": company.front, "product_lb": "20.5" }] },
    });
    let _ = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &change).await.expect(201);
    let drifted = read().await;
    let found = &drifted["items"][0]["drift"];
    assert_eq!((&found["used_lb"], &found["deviation_hundredths_percent"]), (&json!("46.125"), &json!(-1000)));
    assert_eq!((&found["beyond_acceptance"], &found["one_sided"]), (&json!(true), &json!(false)));
    assert!(found["derivation"]["source"].as_str().unwrap().contains("UMass"));
    // Half of the lawn was treated: half is meant. Then the other record is taken back, and counts no more.
    let half = json!({
        "application_id": first, "reason": "Half of it.", "replaces": last_correction(&company, &first).await,
        "change": { "lines": [{ "section_id": company.front, "treated_area_sqft": "4100", "product_lb": "12.8125" }] },
    });
    let _ = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &half).await.expect(201);
    assert_eq!(read().await["items"][0]["drift"]["meant_lb"], "38.4375");
    let back = json!({
        "application_id": first, "reason": "Another lawn.", "replaces": last_correction(&company, &first).await,
    });
    let _ = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &back).await.expect(201);
    let left = read().await;
    assert_eq!((&left["records"], &left["records_by_visit"]), (&json!(1), &json!(1)));
    assert_eq!(left["items"][0]["drift"]["deviation_hundredths_percent"], 0);
}

async fn last_correction(company: &Company, application: &str) -> Value {
    let record = company.phone.get(&format!("/api/v1/applications/{application}")).await.expect(200).body;
    record["correction_ids"].as_array().unwrap().last().unwrap().clone()
}

#[tokio::test]
async fn what_was_cleared_goes_before_what_was_planned_and_nothing_is_guessed() {
    let company = Company::in_maryland().await;
    let spreader = rotary_spreader(&company.office).await;
    let clearance = new_id();
    let _ = company
        .phone
        .put(&format!("/api/v1/clearances/{clearance}"), &company.plan(&company.front, "20"))
        .await
        .expect(201);
    let mut cleared = on(&company, &spreader, "2026-09-15", "22");
    cleared["clearance_id"] = json!(clearance);
    cleared["finished_at"] = json!("2026-09-15T09:31:00-04:00");
    let _ = put(&company, &cleared).await;
    // Without visit and clearance there is no target; with one for other sections neither.
    let mut alone = on(&company, &spreader, "2026-09-10", "5");
    alone.as_object_mut().unwrap().remove("visit_id");
    let _ = put(&company, &alone).await;
    let _ = put(&company, &company.record(&company.rear, "5")).await;
    let report = company.office.get(YEAR).await.expect(200).body;
    assert_eq!((&report["records"], &report["records_by_clearance"]), (&json!(3), &json!(1)));
    assert_eq!((&report["records_by_visit"], &report["records_without_target"]), (&json!(1), &json!(1)));
    assert_eq!((&report["records_without_equipment"], &report["accepted_percent"]), (&json!(1), &json!(5)));
    let items = report["items"].as_array().unwrap();
    let with = items.iter().find(|item| item["equipment_id"] == json!(spreader)).unwrap();
    assert_eq!((&with["drift"]["records"], &with["drift"]["meant_lb"]), (&json!(1), &json!("20")));
    assert_eq!(
        (&with["drift"]["deviation_hundredths_percent"], &with["records_without_target"]),
        (&json!(1000), &json!(1))
    );
    let without = items.iter().find(|item| item["equipment_id"].is_null()).unwrap();
    // The rear lawn's 5,000 sq ft at 0.75 lb N are 15.625 lb (by the definition of a grade).
    assert_eq!(without["drift"]["meant_lb"], "15.625");

    let by = async |query: &str| company.office.get(&format!("{YEAR}&{query}")).await.expect(200).body["items"].clone();
    let person = by("by=person").await;
    assert_eq!((person.as_array().unwrap().len(), &person[0]["drift"]["records"]), (1, &json!(2)));
    assert_eq!(by("by=equipment").await.as_array().unwrap().len(), 2);
    assert_eq!(by(&format!("equipment_id={spreader}")).await.as_array().unwrap().len(), 1);
    let (other, _) = technician(&company.app, &company.office, &company.owner, "Tech 02").await;
    assert_eq!(by(&format!("person_id={other}")).await, json!([]));
}

#[tokio::test]
async fn three_on_one_side_are_no_accident() {
    let company = Company::in_maryland().await;
    let spreader = rotary_spreader(&company.office).await;
    for day in ["2026-08-20", "2026-08-27", "2026-09-03"] {
        let _ = put(&company, &on(&company, &spreader, day, "24")).await;
    }
    let report = company.owner.get(YEAR).await.expect(200).body;
    let drift = &report["items"][0]["drift"];
    // 72 of 76.875 lb are 6.34 % too little.
    assert_eq!((&drift["one_sided"], &drift["deviation_hundredths_percent"]), (&json!(true), &json!(-634)));
    let (from, to) = ("2026-08-27", "2026-09-03");
    let part = company.owner.get(&format!("/api/v1/drift?from={from}&to={to}")).await.expect(200).body;
    assert_eq!((&part["records"], &part["items"][0]["drift"]["first_on"]), (&json!(2), &json!(from)));
}

#[tokio::test]
async fn the_office_alone_reads_it_and_the_period_is_bounded() {
    let company = Company::in_maryland().await;
    let _ = company.phone.get(YEAR).await.problem(403, "not-allowed");
    let refused = async |query: &str| {
        company.office.get(&format!("/api/v1/drift?{query}")).await.problem(422, "invalid").faults()
    };
    assert_eq!(refused("from=2026-01-02&to=2026-01-01").await, ["to"]);
    assert_eq!(refused("from=2025-01-01&to=2026-12-31").await, ["to"]);
    assert_eq!(refused("from=2026-01-01&to=2026-02-30").await, ["to"]);
    assert_eq!(refused("to=2026-02-03").await, ["from"]);
    assert_eq!(refused(&format!("from=2026-01-01&to=2026-02-03&equipment_id={}", new_id())).await, ["equipment_id"]);
    assert_eq!(refused("from=2026-01-01&to=2026-02-03&by=colour").await, ["by"]);
    let empty = company.office.get("/api/v1/drift?from=2025-01-01&to=2026-01-02").await.expect(200).body;
    assert_eq!((&empty["records"], &empty["items"]), (&json!(0), &json!([])));
}
