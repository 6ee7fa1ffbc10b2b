//! What stood when, as the office reads and corrects it.

use harness::world::Company;
use serde_json::json;

use super::visitor::{Visitor, made, written};

#[tokio::test]
async fn an_entry_is_read_and_corrected() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    // The form of the section says since when.
    let lawn = format!("/office/sections/{}", company.front);
    let form = office.open(&lawn).await;
    assert_eq!(office.send(&form, &[("/species", "zoysia"), ("/since", "2026-05-01")]).await.status, 303);
    let history = format!("/office/history/{}", company.front);
    let page = office.open(&history).await.html;
    assert!(page.contains("Since 2026-05-01") && page.contains("<dt>species</dt><dd>zoysia</dd>"), "{page}");
    assert!(page.contains("From the first day known") && page.contains("by Office 01"), "{page}");
    let address = format!("/api/v1/sections/{}/history", company.front);
    let entries = company.office.get(&address).await.expect(200).body["items"].as_array().unwrap().clone();
    let path = format!("/office/entries/{}", entries[1]["id"].as_str().unwrap());
    // Of all the section's fields only what the entry speaks of is asked.
    let entry = office.open(&path).await;
    assert_eq!((entry.value("/since").as_str(), entry.value("/facts/species").as_str()), ("2026-05-01", "zoysia"));
    assert!(!entry.html.contains("/facts/water"), "{}", entry.html);
    let wrong = [("/since", "soon"), ("/reason", "")];
    let good = [("/since", "2026-06-01"), ("/reason", "June, not May.")];
    let to = made(&office, &path, &wrong, &["/since", "/reason"], &good).await;
    assert_eq!(to, history);
    let page = office.open(&history).await.html;
    assert!(
        page.contains("<s>zoysia</s>") && page.contains("▲ corrected") && page.contains("June, not May."),
        "{page}"
    );
    // A correction sent twice is one.
    let before = written(&company).await;
    let refused = office.open(&path).await;
    let again = office.send(&refused, &[("/reason", "Once more.")]).await;
    assert!(again.html.contains("corrected before"), "{}", again.html);
    assert_eq!(written(&company).await, before);
}

#[tokio::test]
async fn what_was_first_entered_about_a_property_is_corrected_whole() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let history = format!("/office/history/{}", company.property);
    let page = office.open(&history).await.html;
    assert!(page.contains("<dt>client</dt><dd>Client 001</dd>"), "the client is told by name: {page}");
    let path = format!("/office/entries/{}", company.property);
    let form = office.open(&path).await;
    let sent = [("/facts/postal_code", "21001"), ("/reason", "A wrong digit.")];
    assert_eq!(office.send(&form, &sent).await.status, 303);
    let address = format!("/api/v1/properties/{}", company.property);
    let stored = company.office.get(&address).await.expect(200).body;
    assert_eq!((&stored["postal_code"], &stored["rule_sets"]), (&json!("21001"), &json!(["us-md"])));
    // Neither a technician nor somebody who is not there reads it.
    let technician = Visitor::technician(&company).await;
    assert_eq!(technician.open(&history).await.status, 403);
    assert_eq!(office.open(&format!("/office/history/{}", harness::new_id())).await.status, 404);
}
