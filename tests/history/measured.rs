//! Area and soil sample that were entered or corrected after a year had ended: its statement follows, and says so.

use harness::User;
use serde_json::{Value, json};

use super::{Company, on};
use crate::pages::visitor::Visitor;

fn measured(area: &str, on: &str) -> Value {
    json!({ "area_sqft": area, "measured_on": on, "method": "wheel", "measured_by": "Office 01" })
}

async fn statement(owner: &User, year: i32, section: &str) -> (Value, Vec<String>) {
    let reply = owner.get(&format!("/api/v1/statements?year={year}&section_id={section}")).await.expect(200).body;
    let gaps = reply["gaps"].as_array().unwrap().iter().map(|gap| gap.as_str().unwrap().to_owned());
    (reply["sections"][0].clone(), gaps.filter(|gap| gap.starts_with("Corrected on")).collect())
}

const FRONT: &str = "1 Street A, Sampletown, front lawn";

#[tokio::test]
async fn a_measurement_that_comes_in_after_the_year_is_told_and_corrected() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "10").await;
    let (office, owner) = on(&company, "2028-03-04T15:00:00Z").await;
    let printed = async || {
        let page = Visitor::named(&company, "owner").await.open(&format!("/year/{}?year=2026", company.client)).await;
        // The receipt is another one each time, as the moment of preparation is.
        let (told, _) = page.html.split_once("<h2>Receipt</h2>").unwrap();
        told.lines().map(ToOwned::to_owned).collect::<Vec<String>>()
    };
    let (before, none) = statement(&owner, 2026, &company.front).await;
    assert_eq!((before["area_sqft"].as_str(), none.len()), (Some("8200"), 0));
    let page_before = printed().await;
    let path = format!("/api/v1/sections/{}/measurements", company.front);
    let early = office.post(&path, &measured("20000", "2026-05-01")).await.expect(201);
    let (now, told) = statement(&owner, 2026, &company.front).await;
    assert_eq!((&now["area_sqft"], &now["area_measured_on"]), (&json!("20000"), &json!("2026-05-01")));
    let words = format!(
        "Corrected on 2028-03-04: {FRONT}: area: 20000 sq ft, measured on 2026-05-01 (before the correction: 8200 sq ft, measured on 2025-03-01)."
    );
    assert_eq!(told, std::slice::from_ref(&words));
    // What was put down is what it was: of the printed page the area and this sentence differ, and nothing else.
    assert_eq!((&now["lines"], &now["applied"]), (&before["lines"], &before["applied"]));
    let page = printed().await;
    let differing: Vec<&String> = page.iter().filter(|line| !page_before.contains(line)).collect();
    assert!(differing.iter().any(|line| line.contains(&words)), "{differing:?}");
    assert!(differing.iter().all(|line| line.contains("20,000 sq ft") || line.contains(&words)), "{differing:?}");
    assert!(differing.len() <= 2, "{differing:?}");
    // It was measured a year later: the further entry says so, and why.
    let mut right = measured("20000", "2027-05-01");
    right["corrects"] = json!(early.id());
    let refused = office.post(&path, &right).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/reason"]);
    right["reason"] = json!("A slip in the year.");
    let elsewhere = format!("/api/v1/sections/{}/measurements", company.rear);
    assert_eq!(office.post(&elsewhere, &right).await.problem(422, "invalid").faults(), ["#/corrects"]);
    let corrected = office.post(&path, &right).await.expect(201);
    assert_eq!((&corrected.body["corrects"], &corrected.body["reason"]), (&json!(early.id()), &right["reason"]));
    let old = office.get(&format!("/api/v1/measurements/{}", early.id())).await.expect(200).body;
    assert_eq!(old["corrected_by"], corrected.body["id"]);
    assert_eq!(office.post(&path, &right).await.problem(422, "invalid").faults(), ["#/corrects"]);
    right["corrects"] = Value::Null;
    assert_eq!(office.post(&path, &right).await.problem(422, "invalid").faults(), ["#/reason"]);
    // That year stands as it stood, and the next one tells.
    assert_eq!(statement(&owner, 2026, &company.front).await, (before, Vec::new()));
    assert_eq!(printed().await, page_before);
    let (next, told) = statement(&owner, 2027, &company.front).await;
    assert_eq!((next["area_sqft"].as_str(), told.len()), (Some("20000"), 1));
    assert!(told[0].ends_with("measured on 2025-03-01). Reason: A slip in the year."), "{told:?}");
    let section = office.get(&format!("/api/v1/sections/{}", company.front)).await.expect(200).body;
    assert_eq!((&section["area_sqft"], &section["measured_on"]), (&json!("20000"), &json!("2027-05-01")));
    let found = server::book::verify::check_file(&company.app.file()).await.unwrap();
    assert!(found.faults.is_empty(), "{:?}", found.faults);
}

#[tokio::test]
async fn a_soil_report_that_comes_in_after_the_year_is_told_and_corrected() {
    let company = Company::in_maryland().await;
    let (office, owner) = on(&company, "2028-03-04T15:00:00Z").await;
    let path = format!("/api/v1/sections/{}/soil-reports", company.front);
    let mut report =
        json!({ "sampled_on": "2026-10-02", "laboratory": "Laboratory", "extractant": "mehlich_3", "ph": "6.4" });
    let early = office.post(&path, &report).await.expect(201).id();
    let (now, told) = statement(&owner, 2026, &company.front).await;
    assert_eq!(now["soil_sampled_on"], "2026-10-02");
    let words = "soil sampled on: 2026-10-02 (before the correction: 2025-10-02).";
    assert_eq!(told, [format!("Corrected on 2028-03-04: {FRONT}: {words}")]);
    report["sampled_on"] = json!("2027-10-02");
    (report["corrects"], report["reason"]) = (json!(early), json!("The paper says 2027."));
    let right = office.post(&path, &report).await.expect(201);
    let (now, told) = statement(&owner, 2026, &company.front).await;
    assert_eq!((now["soil_sampled_on"].as_str(), told.len()), (Some("2025-10-02"), 0));
    let (now, told) = statement(&owner, 2027, &company.front).await;
    assert_eq!((now["soil_sampled_on"].as_str(), told.len()), (Some("2027-10-02"), 1));
    assert!(told[0].ends_with("Reason: The paper says 2027."), "{told:?}");
    let old = office.get(&format!("/api/v1/soil-reports/{early}")).await.expect(200).body;
    assert_eq!(old["corrected_by"], right.body["id"]);
    let again = office.post(&path, &report).await.problem(422, "invalid");
    assert_eq!(again.faults(), ["#/corrects"]);
    let found = server::book::verify::check_file(&company.app.file()).await.unwrap();
    assert!(found.faults.is_empty(), "{:?}", found.faults);
}

#[tokio::test]
async fn what_was_entered_after_the_year_tells_only_its_corrections() {
    // The company was founded in 2026: of 2025 nobody had said anything, until it was corrected.
    let company = Company::in_maryland().await;
    assert_eq!(statement(&company.owner, 2025, &company.front).await.1, Vec::<String>::new());
    let address = format!("/api/v1/sections/{}/history", company.front);
    let mut facts = company.office.get(&address).await.expect(200).body["items"][0]["facts"].clone();
    facts["species"] = json!("zoysia");
    let correction = json!({ "corrects": company.front, "facts": facts, "reason": "Looked at closely." });
    let _ = company.office.post(&address, &correction).await.expect(201);
    let (section, told) = statement(&company.owner, 2025, &company.front).await;
    assert_eq!(section["species"], "zoysia");
    assert_eq!(told.len(), 1, "{told:?}");
    let words = "species: zoysia (before the correction: tall fescue). Reason: Looked at closely.";
    assert!(told[0].starts_with("Corrected on 2026-09-15") && told[0].ends_with(words), "{told:?}");
    // So with its area: what is measured late is news of a lawn that nobody knew then, what is corrected is not.
    let path = format!("/api/v1/sections/{}/measurements", company.front);
    let late = company.office.post(&path, &measured("9000", "2025-06-01")).await.expect(201).id();
    assert_eq!(statement(&company.owner, 2025, &company.front).await.1, told);
    let mut right = measured("8500", "2025-06-01");
    (right["corrects"], right["reason"]) = (json!(late), json!("The drive was counted."));
    let _ = company.phone.post(&path, &right).await.problem(403, "not-allowed");
    let _ = company.office.post(&path, &right).await.expect(201);
    let (section, told) = statement(&company.owner, 2025, &company.front).await;
    assert_eq!((section["area_sqft"].as_str(), told.len()), (Some("8500"), 2));
    assert!(told.iter().any(|gap| gap.contains("area: 8500 sq ft") && gap.contains("9000 sq ft")), "{told:?}");
}

/// Who works there and what ground it is decide which cap binds, so a later word on them is told like one on the rule sets.
#[tokio::test]
async fn a_later_word_on_who_works_there_is_told() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "10").await;
    let (office, owner) = on(&company, "2028-03-04T15:00:00Z").await;
    let (_, none) = statement(&owner, 2026, &company.front).await;
    assert_eq!(none, [""; 0]);
    let history = format!("/api/v1/properties/{}/history", company.property);
    let first = office.get(&history).await.expect(200).body["items"][0].clone();
    let mut facts = first["facts"].clone();
    (facts["worked_by"], facts["kind"]) = (json!("household"), json!("garden"));
    let entry = json!({ "facts": facts, "corrects": first["id"], "reason": "By themselves." });
    let _ = office.post(&history, &entry).await.expect(201);
    let (_, told) = statement(&owner, 2026, &company.front).await;
    assert!(told.iter().any(|one| one.contains("the household (before the correction: for hire)")), "{told:?}");
    assert!(told.iter().any(|one| one.contains("garden (before the correction: lawn)")), "{told:?}");
}
