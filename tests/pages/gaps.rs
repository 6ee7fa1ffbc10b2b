//! The list of incomplete records, and what is added to a record by a form.

use harness::world::Company;

use super::visitor::{Visitor, made};

#[tokio::test]
async fn a_gap_is_listed_and_closed_by_a_form() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "5").await;
    let office = Visitor::named(&company, "office").await;
    let listed = office.open("/office/gaps").await.html;
    // COMAR 15.20.10.13 B: a label or a legible copy of it.
    assert!(listed.contains("the label or a legible copy of it") && listed.contains("COMAR 15.20.10.13"), "{listed}");
    assert!(listed.contains(&format!("/office/records/{id}/add")), "{listed}");
    let path = format!("/office/records/{id}/add");
    let wrong =
        [("/seen/kept_from_water_ft", "far"), ("/seen/watered_in/at", "at noon"), ("/seen/watered_in/by", "client")];
    // By the clock at the property, which is that of New York.
    let good = [
        ("/seen/kept_from_water_ft", "20"),
        ("/seen/sky", "clear"),
        ("/seen/watered_in/at", "2026-09-15T18:05"),
        ("/from_the_book", "true"),
    ];
    let to = made(&office, &path, &wrong, &["/seen/kept_from_water_ft", "/seen/watered_in/at"], &good).await;
    assert_eq!(to, format!("/records/{id}"));
    let record = office.open(&to).await.html;
    assert!(record.contains("Added since") && record.contains("20 ft"), "{record}");
    assert!(record.contains("2026-09-15 18:05 EDT"), "{record}");
    let printed = record.split("What the law requires").next().unwrap();
    assert!(printed.contains("What was on file then about the day of the work."), "{printed}");
}
