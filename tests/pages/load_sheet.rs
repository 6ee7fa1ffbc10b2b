//! The load sheet as a page: asked in the address, worked out from the visits of a day, and nothing is stored.

use harness::{
    new_id,
    world::{Company, product, rotary_spreader},
};
use serde_json::json;

use super::visitor::{Visitor, written};

#[tokio::test]
async fn a_truck_is_loaded_from_the_visits_of_a_day() {
    // Computed: 0.75 lb N from 24 % is 3.125 lb per 1,000 sq ft: 25.625 lb on 8,200 and 15.625 lb on 5,000 sq ft, 41.25 lb.
    // With a tenth to spare 45.375 lb, one bag of 50; one fill of a hopper of 120 lb, three of one of 20 lb.
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let (spreader, technician) = (rotary_spreader(&company.office).await, company.phone.id.clone().unwrap());
    let before = written(&company).await;
    let blank = office.open("/office/load-sheet").await;
    assert_eq!((blank.status, blank.value("day").as_str()), (200, "2026-09-15"));
    let person = office.open("/office/people").await.html;
    assert!(person.contains(&format!("/office/load-sheet?person_id={technician}")), "{person}");
    let sheet = office.open(&format!("/office/load-sheet?person_id={technician}&equipment_id={spreader}")).await;
    assert_eq!(sheet.status, 200, "{}", sheet.html);
    for words in [
        "Load sheet of 2026-09-15",
        "holds 120 lb",
        "with Spreader 01",
        "<span class=\"paper\">41.25</span></td><td class=\"n\">1 of 50 lb</td><td class=\"n\">50</td><td class=\"n\">1 <small>",
        "25.625",
        "15.625",
        "Fill on pavement and level ground",
        "target x area",
        "format=csv",
    ] {
        assert!(sheet.html.contains(words), "{words} is missing: {}", sheet.html);
    }
    let twenty =
        format!("/office/load-sheet?day=2026-09-15&person_id={technician}&equipment_id={spreader}&hopper_lb=20");
    assert!(office.open(&twenty).await.html.contains("<td class=\"n\">50</td><td class=\"n\">3</td>"));
    let csv =
        sheet.html.split_once("<a href=\"/api/v1/days/").unwrap().1.split_once('"').unwrap().0.replace("&#38;", "&");
    assert_eq!(office.open(&format!("/api/v1/days/{csv}")).await.status, 200, "{csv}");
    // A visit without a target is left out, and the sheet says so.
    let visit = json!({
        "property_id": company.property, "person_id": technician, "planned_on": "2026-09-21", "product_id": company.feed,
        "section_ids": [company.front], "purpose": "maintenance",
    });
    let _ = company.office.post("/api/v1/visits", &visit).await.expect(201);
    let gap = office.open(&format!("/office/load-sheet?day=2026-09-21&person_id={technician}")).await.html;
    assert!(gap.contains("▲ The visit to") && gap.contains("has no nitrogen target"), "{gap}");
    assert_eq!(written(&company).await, before + 1, "a sheet stores nothing");
    assert_eq!(Visitor::technician(&company).await.open("/office/load-sheet").await.status, 403);
}

#[tokio::test]
async fn every_fault_of_the_question_stands_beside_its_field() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let asked = "/office/load-sheet?day=soon&person_id=&spare_percent=much&hopper_lb=heavy&tank_gal=&equipment_id=";
    let refused = office.open(asked).await;
    assert_eq!(refused.status, 422);
    for name in ["day", "person_id", "spare_percent", "hopper_lb"] {
        assert!(refused.beside(name, "fault").starts_with('■'), "{name}: {}", refused.html);
    }
    assert_eq!(refused.value("hopper_lb"), "heavy");
    // What contradicts itself, and a person whom nobody knows.
    let technician = company.phone.id.as_deref().unwrap();
    let half = office.open(&format!("/office/load-sheet?day=2026-09-15&person_id={technician}&tank_gal=10")).await;
    assert!(half.beside("spray_gal_per_1000_sqft", "fault").contains("is required with the other"), "{}", half.html);
    let nobody = office.open(&format!("/office/load-sheet?day=2026-09-15&person_id={}", new_id())).await;
    assert_eq!(nobody.status, 404);
}

#[tokio::test]
async fn a_sprayer_brings_its_tank_and_its_calibrated_rate() {
    // Computed: at 1.5 gal per 1,000 sq ft 13,200 sq ft take 19.8 gal, from a 10 gal tank in two fills. 0.25 lb N from 25 % is
    // 1 lb per 1,000 sq ft, 13.2 lb; at 11 lb a gallon that is 1.2 gal, so 18.6 gal of water.
    let company = Company::in_maryland().await;
    let (office, technician) = (Visitor::named(&company, "office").await, company.phone.id.clone().unwrap());
    let label = json!({
        "form": "liquid", "nitrogen_percent": "25", "slow_nitrogen_percent": "12", "phosphate_percent": "0",
        "potash_percent": "0", "printed": { "density_lb_per_gal": "11" },
    });
    let liquid = product(&company.office, "Liquid 25-0-0", &label).await;
    let gun = json!({ "name": "Gun 01", "kind": "spray_gun", "tank_gal": "10", "active": true });
    let gun = company.office.post("/api/v1/equipment", &gun).await.expect(201).id();
    let visit = json!({
        "property_id": company.property, "person_id": technician, "planned_on": "2026-09-20", "product_id": liquid,
        "section_ids": [company.front, company.rear], "purpose": "maintenance", "target_nitrogen_lb_per_1000_sqft": "0.25",
    });
    let _ = company.office.post("/api/v1/visits", &visit).await.expect(201);
    let path = format!("/office/load-sheet?day=2026-09-20&person_id={technician}");
    let bare = office.open(&format!("{path}&equipment_id={gun}")).await.html;
    assert!(bare.contains("not known") && bare.contains("this person’s calibration"), "{bare}");
    let calibration = json!({
        "equipment_id": gun, "product_id": liquid, "person_id": technician, "calibrated_on": "2026-09-14",
        "test": { "method": "gun", "caught_gal": "1.5", "area_sqft": "1000", "target_gal_per_1000_sqft": "1.5" },
    });
    let _ = company.office.post("/api/v1/calibrations", &calibration).await.expect(201);
    // With the machine that is named, and with the one that was calibrated last.
    for path in [&path, &format!("{path}&equipment_id={gun}")] {
        let sheet = office.open(path).await.html;
        for words in ["19.8", "18.6", "<td class=\"n\">2 <small>with Gun 01</small></td>"] {
            assert!(sheet.contains(words), "{words} is missing: {sheet}");
        }
    }
}
