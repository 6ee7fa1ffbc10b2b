//! A plan or a record that names what does not fit together: every fault at its place, and nothing in the book.

use harness::{
    new_id,
    world::{Company, label, lot, product, property, section},
};
use serde_json::{Value, json};

/// A change to a well-formed body, and where its fault is told.
type Wrong = (&'static str, Value, &'static str);

async fn each_is_told(company: &Company, good: &Value, address: &str, wrongs: &[Wrong]) {
    for (place, value, fault) in wrongs {
        let mut body = good.clone();
        let (parent, member) = place.rsplit_once('/').unwrap();
        body.pointer_mut(parent).unwrap().as_object_mut().unwrap().insert(member.to_owned(), value.clone());
        let path = format!("/api/v1/{address}/{}", new_id());
        let refused = company.phone.put(&path, &body).await.problem(422, "invalid");
        assert_eq!(refused.faults(), [*fault], "{place} = {value}: {}", refused.text);
    }
}

#[tokio::test]
async fn a_record_fits_together() {
    let company = Company::in_maryland().await;
    let office = &company.office;
    let elsewhere = property(office, &company.client, &["us-md"]).await;
    let foreign = section(office, &elsewhere, "side lawn", "1000").await;
    let other_feed = product(office, "Feed 10-0-10", &label("10", "5", "0", "10")).await;
    let other_lot = lot(office, &other_feed, "LOT-2", "100").await;
    let bare = json!({
        "property_id": company.property, "name": "new lawn", "species": "tall_fescue", "water": "none",
        "touches_pavement": false,
    });
    let unmeasured = office.post("/api/v1/sections", &bare).await.expect(201).id();
    let good = company.record(&company.front, "5");
    let wrongs = [
        ("/lines/0/section_id", json!(foreign), "#/lines/0/section_id"),
        ("/lines/0/section_id", json!(new_id()), "#/lines/0/section_id"),
        ("/lines/0/section_id", json!(unmeasured), "#/lines/0/section_id"),
        ("/lines/0/treated_area_sqft", json!("8200.01"), "#/lines/0/treated_area_sqft"),
        ("/lines/0/product_lb", json!("0"), "#/lines/0/product_lb"),
        ("/lot_id", json!(other_lot), "#/lot_id"),
        ("/lot_id", json!(new_id()), "#/lot_id"),
        ("/product_id", json!(new_id()), "#/product_id"),
        ("/visit_id", json!(new_id()), "#/visit_id"),
        ("/clearance_id", json!(new_id()), "#/clearance_id"),
        ("/finished_at", json!("2026-09-15T09:04:59-04:00"), "#/finished_at"),
        ("/finished_at", json!("2026-09-16T09:05:01-04:00"), "#/finished_at"),
        ("/reason", json!("Because."), "#/reason"),
        ("/acknowledged", json!(["us-md.ground"]), "#/reason"),
    ];
    let mut good_without_lot = good.clone();
    good_without_lot["lot_id"] = Value::Null;
    for wrong in wrongs {
        // A product that is not there has no lot either; the lot is left out so that one fault is told.
        let body = if wrong.0 == "/product_id" { &good_without_lot } else { &good };
        each_is_told(&company, body, "applications", &[wrong]).await;
    }
    let list = company.owner.get("/api/v1/applications").await.expect(200).body;
    assert_eq!(list["items"], json!([]));
    let product = office.get(&format!("/api/v1/products/{}", company.feed)).await.expect(200).body;
    assert_eq!(product["balance_lb"], "2000");
    let mut whole = good;
    whole["lines"][0]["treated_area_sqft"] = json!("8200");
    whole["finished_at"] = whole["started_at"].clone();
    let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &whole).await.expect(201);
}

#[tokio::test]
async fn a_plan_says_how_much_in_one_way() {
    let company = Company::in_maryland().await;
    let potash = product(&company.office, "Potash 0-0-50", &label("0", "0", "0", "50")).await;
    let line = |change: Value| {
        let mut line = json!({ "section_id": company.front });
        line.as_object_mut().unwrap().extend(change.as_object().unwrap().clone());
        json!([line])
    };
    let good = company.plan(&company.front, "5");
    let target = "target_nitrogen_lb_per_1000_sqft";
    let both = line(json!({ "product_lb": "5", target: "0.5" }));
    let nothing = line(json!({ target: "0" }));
    let wrongs = [
        ("/lines", line(json!({})), "#/lines/0"),
        ("/lines", both, "#/lines/0"),
        ("/lines", nothing, "#/lines/0/target_nitrogen_lb_per_1000_sqft"),
        ("/lines", json!([]), "#/lines"),
    ];
    each_is_told(&company, &good, "clearances", &wrongs).await;
    // Without nitrogen in the bag no target can be met.
    let mut without = good.clone();
    without["product_id"] = json!(potash);
    let wrongs = [("/lines", line(json!({ target: "0.5" })), "#/lines/0/target_nitrogen_lb_per_1000_sqft")];
    each_is_told(&company, &without, "clearances", &wrongs).await;
    let twice =
        json!([{ "section_id": company.front, "product_lb": "1" }, { "section_id": company.front, "product_lb": "1" }]);
    each_is_told(&company, &good, "clearances", &[("/lines", twice, "#/lines/1/section_id")]).await;
}

#[tokio::test]
async fn nobody_says_for_the_server_where_weather_came_from() {
    let company = Company::in_maryland().await;
    let told = ["#/weather/air_temperature/service", "#/weather/rain_forecast/0/service"];
    for basis in ["observed", "forecast"] {
        let service = json!({ "basis": basis, "fetched_at": "2026-09-15T13:00:00Z", "coverage_percent": "100" });
        let mut plan = company.plan(&company.front, "5");
        plan["weather"]["air_temperature"]["service"] = service.clone();
        plan["weather"]["rain_forecast"][0]["service"] = service;
        let refused = company.phone.post("/api/v1/checks", &plan).await.problem(422, "invalid");
        assert_eq!(refused.faults(), told);

        let mut record = company.record(&company.front, "5");
        record["weather"] = plan["weather"].clone();
        let refused = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await;
        assert_eq!(refused.problem(422, "invalid").faults(), told);
    }
}

#[tokio::test]
async fn a_product_without_nitrogen_meets_no_target_of_it() {
    let company = Company::in_maryland().await;
    let potash = product(&company.office, "Potash 0-0-60", &label("0", "0", "0", "60")).await;
    let mut visit = json!({
        "property_id": company.property, "person_id": company.phone.id, "planned_on": "2026-09-20", "product_id": potash,
        "section_ids": [company.front], "purpose": "maintenance", "target_nitrogen_lb_per_1000_sqft": "0.5",
    });
    let told = company.office.post("/api/v1/visits", &visit).await.problem(422, "invalid");
    assert_eq!(told.faults(), ["#/target_nitrogen_lb_per_1000_sqft"]);
    let _ = visit.as_object_mut().unwrap().remove("target_nitrogen_lb_per_1000_sqft");
    let _ = company.office.post("/api/v1/visits", &visit).await.expect(201);
}
