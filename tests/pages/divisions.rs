//! The parts of a section, entered by a form.

use harness::world::Company;

use super::visitor::{Visitor, made};

#[tokio::test]
async fn a_section_is_divided_by_a_plain_form() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let section = format!("/office/sections/{}", company.front);
    let path = format!("{section}/divisions/new");
    assert!(office.open(&section).await.html.contains(&path));
    let wrong = [("/since", "lately"), ("/parts/0/name", "front half"), ("/parts/0/area_sqft", "half")];
    let good = [
        ("/since", "2026-03-01"),
        ("/parts/0/area_sqft", "4100"),
        ("/parts/1/name", "back half"),
        ("/parts/1/area_sqft", "4000"),
    ];
    let to = made(&office, &path, &wrong, &["/since", "/parts/0/area_sqft"], &good).await;
    let shown = office.open(&to).await.html;
    assert!(shown.contains("Since 2026-03-01: front half, 4100 sq ft; back half, 4000 sq ft"), "{shown}");
}
