//! The yearly caps that statement and year show: those that bind this ground and whoever works there.

use harness::world::Company;
use serde_json::{Value, json};

/// The cap of the statement's first section; the company's year says the same.
async fn shown(company: &Company) -> Value {
    let year = company.owner.get("/api/v1/statements/company?year=2026").await.expect(200).body;
    let statement = company.statement().await;
    let cap = &statement["sections"][0]["cap"];
    assert_eq!(year["sections"][0]["cap"], *cap);
    cap.clone()
}

async fn enter(company: &Company, facts: Value) {
    let entry = json!({ "since": "2026-09-01", "facts": facts, "reason": "As the office saw it." });
    let _ = company.office.post(&format!("/api/v1/properties/{}/history", company.property), &entry).await.expect(201);
}

#[tokio::test]
async fn the_cap_shown_is_the_one_by_which_work_is_judged() {
    let company = Company::in_maryland().await;
    // COMAR 15.20.10.09 binds a professional to the University's rates; for others they are advice (rows MD-12, MD-07).
    assert_eq!(shown(&company).await["rule"], "us-md.professional.nitrogen.total.year");
    enter(&company, json!({ "worked_by": "household" })).await;
    let cap = shown(&company).await;
    assert_eq!((&cap["rule"], &cap["advice"]), (&json!("us-md.household.nitrogen.total.year"), &json!(true)));
    let plan = company.plan(&company.front, "10");
    let answer = company.phone.post("/api/v1/checks", &plan).await.expect(200).body;
    let judged = answer["decision"].to_string();
    assert!(judged.contains("us-md.household.nitrogen.total.year"), "{judged}");
    assert!(!judged.contains("us-md.professional.nitrogen.total.year"), "{judged}");
}

#[tokio::test]
async fn a_cap_of_golf_courses_is_shown_on_none_but_them() {
    let company = Company::under(&["us-ny", "us-ny-suffolk"]).await;
    // Suffolk County: golf courses at most 3 lb of nitrogen on 1,000 sq ft (row NY-24).
    assert_eq!(shown(&company).await, Value::Null);
    enter(&company, json!({ "kind": "golf_course" })).await;
    let cap = shown(&company).await;
    assert_eq!((&cap["rule"], &cap["limit_lb_per_1000_sqft"]), (&json!("us-ny-suffolk.golf"), &json!("3")));
}

#[tokio::test]
async fn ground_that_a_law_leaves_out_is_shown_none_of_its_caps() {
    let company = Company::under(&["us-nj"]).await;
    // New Jersey's 4.25 lb (row NJ-11) leave golf courses out (row NJ-21).
    assert_eq!(shown(&company).await["rule"], "us-nj.professional.nitrogen.total.year");
    enter(&company, json!({ "kind": "golf_course" })).await;
    assert_eq!(shown(&company).await, Value::Null);
}
