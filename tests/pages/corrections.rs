//! The correction of a record by a form: what changes is shown first, and only what changed is sent.

use harness::{new_id, world::Company};
use serde_json::json;

use super::visitor::{Visitor, written};

/// A record of 20 lb on the front lawn and 10 lb on the rear, and the address of its form.
async fn recorded(company: &Company) -> (String, String) {
    let mut record = company.record(&company.front, "20");
    record["lines"] = json!([
        { "section_id": company.front, "product_lb": "20" }, { "section_id": company.rear, "product_lb": "10" },
    ]);
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), &record).await.expect(201);
    (format!("/records/{id}"), format!("/records/{id}/correct"))
}

#[tokio::test]
async fn what_changes_is_shown_before_the_record_is_corrected() {
    let company = Company::in_maryland().await;
    let (record, path) = recorded(&company).await;
    let office = Visitor::named(&company, "office").await;
    assert!(office.open(&record).await.html.contains(&path));
    let before = written(&company).await;
    let form = office.open(&path).await;
    let front = format!("/sections/{}/product_lb", company.front);
    let area = format!("/sections/{}/treated_area_sqft", company.front);
    assert_eq!((form.value(&front), form.value(&area)), ("20".to_owned(), "8200".to_owned()));
    let nothing = office.send(&form, &[("/reason", "Weighed again.")]).await;
    assert_eq!(nothing.status, 422);
    assert!(nothing.html.contains("Nothing would change"), "{}", nothing.html);
    let wrong = office.send(&form, &[(&front, "heavy"), (&area, "9000")]).await;
    assert_eq!(wrong.status, 422);
    for name in [front.as_str(), "/reason"] {
        assert!(wrong.beside(name, "fault").starts_with('■'), "no fault beside {name}: {}", wrong.html);
    }
    // The area is held against the lawn as it is measured, which the schema does not know.
    let larger = office.send(&wrong, &[(&front, "18"), ("/reason", "Weighed again.")]).await;
    assert!(
        larger.beside(&area, "fault").contains("is more than the section's measured 8200 sq ft"),
        "{}",
        larger.html
    );
    let shown = office.send(&larger, &[(&area, "8200")]).await;
    assert_eq!(shown.status, 200, "{}", shown.html);
    // 20 lb of 24 % on 8,200 sq ft are 0.585366 lb N on 1,000, 18 lb 0.526829..., rounded up, by long division.
    for words in [
        "This is what would change",
        "20 lb on 8200 sq ft",
        "18 lb on 8200 sq ft",
        "0.585366 → 0.52683",
        "stays as it is",
        "1970 lb, then 1972 lb",
    ] {
        assert!(shown.html.contains(words), "{words} is missing: {}", shown.html);
    }
    assert_eq!(written(&company).await, before, "shown, and nothing written");
    let back = office.send(&shown, &[("look", "yes")]).await;
    assert_eq!((back.value(&front), back.value("/reason")), ("18".to_owned(), "Weighed again.".to_owned()));
    let done = office.send(&shown, &[]).await;
    assert_eq!((done.status, done.to.as_deref()), (303, Some(record.as_str())), "{}", done.html);
    let twice = office.send(&shown, &[]).await;
    assert_eq!(twice.status, 303, "{}", twice.html);
    assert_eq!(written(&company).await, before + 1, "sent twice, it is one");
    let stands = office.open(&record).await.html;
    for words in ["18 lb on the front lawn", "10 lb on the rear lawn", "Weighed again."] {
        assert!(stands.contains(words), "{words} is missing: {stands}");
    }
    // A form that was opened before does not know of it.
    let late = office.send(&form, &[(&front, "19"), ("/reason", "Weighed once more.")]).await;
    assert_eq!(late.status, 409, "{}", late.html);
    let technician = Visitor::technician(&company).await;
    assert_eq!(technician.open(&path).await.status, 403);
}

#[tokio::test]
async fn a_correction_beyond_the_rules_has_each_reason_ticked() {
    let company = Company::in_maryland().await;
    let (record, path) = recorded(&company).await;
    let office = Visitor::named(&company, "office").await;
    let form = office.open(&path).await;
    let front = format!("/sections/{}/product_lb", company.front);
    let rear = format!("/sections/{}/back", company.rear);
    let shown = office.send(&form, &[(&front, "40"), (&rear, "true"), ("/reason", "Two bags.")]).await;
    assert_eq!(shown.status, 200, "{}", shown.html);
    let unread = office.send(&shown, &[]).await;
    assert_eq!(unread.status, 422);
    assert!(unread.html.contains("Nothing is corrected yet: a rule says stop"), "{}", unread.html);
    let keys: Vec<&str> = unread.html.split("name=\"/acknowledged\" value=\"").skip(1).collect();
    let keys: Vec<&str> = keys.iter().map(|rest| rest.split_once('"').unwrap().0).collect();
    assert!(!keys.is_empty(), "{}", unread.html);
    let ticked: Vec<(&str, &str)> = keys.iter().map(|key| ("/acknowledged", *key)).collect();
    let done = office.send(&unread, &ticked).await;
    assert_eq!(done.status, 303, "{}", done.html);
    let stands = office.open(&record).await.html;
    assert!(stands.contains("40 lb on the front lawn. Two bags."), "{stands}");
    assert!(stands.contains("beyond the rules"), "{stands}");
    // And the whole of it is taken back.
    let form = office.open(&path).await;
    let shown = office.send(&form, &[("whole", "true"), ("/reason", "Another client's.")]).await;
    assert!(shown.html.contains("Nothing of the record will stand"), "{}", shown.html);
    assert_eq!(office.send(&shown, &[]).await.status, 303);
    assert!(office.open(&record).await.html.contains("taken back. Another client"));
}

#[tokio::test]
async fn a_line_in_a_part_may_be_said_to_lie_anywhere() {
    let company = Company::in_maryland().await;
    let halves = json!({ "since": "2026-03-01", "parts": [{ "name": "front half", "area_sqft": "4100" }] });
    let _ = company.office.post(&format!("/api/v1/sections/{}/divisions", company.front), &halves).await.expect(201);
    let mut record = company.record(&company.front, "10");
    record["lines"][0]["parts"] = json!(["front half"]);
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), &record).await.expect(201);
    let office = Visitor::named(&company, "office").await;
    let form = office.open(&format!("/records/{id}/correct")).await;
    assert!(form.html.contains("It may lie anywhere on the front lawn, not only in front half"), "{}", form.html);
    let loose = format!("/sections/{}/anywhere", company.front);
    let shown = office.send(&form, &[(&loose, "true"), ("/reason", "Nobody knows which half.")]).await;
    assert_eq!(shown.status, 200, "{}", shown.html);
    assert_eq!(office.send(&shown, &[]).await.status, 303);
    let told = company.office.get("/api/v1/corrections").await.expect(200).body["items"][0].clone();
    assert_eq!((&told["lines"][0]["parts"], &told["lines"][0]["area_sqft"]), (&json!(null), &json!("4100")));
}
