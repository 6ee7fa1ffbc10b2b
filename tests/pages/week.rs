//! The office's week, in a browser without a script: three steps move a day that is rained out.

use harness::{
    new_id,
    world::{self, Company},
};

use super::visitor::Visitor;

#[tokio::test]
async fn a_rained_out_day_moves_in_three_steps() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let person = company.phone.id.clone().unwrap();
    let week = office.open("/office/week").await.html;
    let cell = format!("/office/week/2026-09-15?person_id={person}");
    assert!(week.contains(&format!("<a href=\"{cell}\">")) && week.contains("1 to make"), "{week}");
    assert!(week.contains("13,200 sq ft") && week.contains("Tech 01"), "two sections of 8,200 and 5,000 sq ft: {week}");
    // The day, all of it ticked.
    let day = office.open(&cell).await;
    assert!(day.html.contains(" checked") && day.html.contains("1 Street A, Sampletown"), "{}", day.html);
    // Another day, and it is moved.
    let ticked = format!("{} 1", company.visit);
    let moved = office.send(&day, &[("visit", &ticked), ("planned_on", "2026-09-16")]).await;
    assert_eq!(
        (moved.status, moved.to.as_deref()),
        (303, Some(format!("/office/week/2026-09-16?person_id={person}").as_str()))
    );
    let there = office.open(moved.to.as_deref().unwrap()).await.html;
    assert!(there.contains("Wednesday, 2026-09-16") && there.contains("1 Street A, Sampletown"), "{there}");
    assert!(office.open(&cell).await.html.contains("No visit is still to be made"));
    // Somebody else moved it meanwhile: what was typed stays, and the place is named.
    let stale = office.send(&day, &[("visit", &ticked), ("planned_on", "2026-09-18")]).await;
    assert_eq!(stale.status, 422);
    assert!(stale.html.contains("1 Street A, Sampletown: is not the one that is stored"), "{}", stale.html);
}

#[tokio::test]
async fn what_is_called_off_needs_a_reason_and_stays_to_be_read() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let day = office.open("/office/week/2026-09-15").await;
    let ticked = format!("{} 1", company.visit);
    let refused = office.send(&day, &[("visit", &ticked), ("call_off", "yes")]).await;
    assert_eq!(refused.status, 422);
    assert!(refused.html.contains("<li>Why: "), "{}", refused.html);
    let nothing = office.send(&day, &[("visit", ""), ("planned_on", "2026-09-16")]).await;
    assert_eq!(nothing.status, 422, "nothing is ticked");
    let off = office.send(&day, &[("visit", &ticked), ("reason", "Rain all day."), ("call_off", "yes")]).await;
    assert_eq!(off.status, 303);
    let html = office.open("/office/week/2026-09-15").await.html;
    assert!(html.contains("● called off") && html.contains("No visit is still to be made"), "{html}");
    let technician = Visitor::technician(&company).await;
    assert_eq!(technician.open("/office/week").await.status, 403);
    assert_eq!(office.open("/office/week/soon").await.status, 400);
    assert_eq!(office.open(&format!("/office/week/2026-09-15?person_id={}", new_id())).await.status, 200);
}

#[tokio::test]
async fn a_day_says_whose_certificate_is_missing() {
    // COMAR 15.20.10.02-.03 (MD-28): paid application is by a certified applicator.
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let day = office.open("/office/week/2026-09-15").await;
    let told = "■ No certificate that this asks for is on file.";
    assert!(!day.html.contains(told), "{}", day.html);
    let (other, _) = world::technician(&company.app, &company.office, &company.owner, "Tech 02").await;
    let moved = office.send(&day, &[("visit", &format!("{} 1", company.visit)), ("person_id", &other)]).await;
    assert_eq!(moved.to, Some(format!("/office/week/2026-09-15?person_id={other}")));
    let there = office.open(moved.to.as_deref().unwrap()).await.html;
    assert!(there.contains(told), "{there}");
}
