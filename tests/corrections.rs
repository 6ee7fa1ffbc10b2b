//! A further record says what is true: the original stays, totals and stock follow, and the rules are asked again.

use harness::{new_id, world::Company};
use serde_json::{Value, json};

fn correction(application: &str, change: &Value) -> Value {
    let mut body = json!({ "application_id": application, "reason": "Weighed again." });
    if !change.is_null() {
        body["change"] = json!({ "lines": change });
    }
    body
}

#[tokio::test]
async fn taking_an_application_back_restores_the_room_and_the_stock() {
    let company = Company::in_maryland().await;
    company.three_loads().await;
    let last = company.put_down(&company.front, "15.37").await;
    let check = |amount: &str| company.plan(&company.front, amount);
    let before = company.phone.post("/api/v1/checks", &check("15.37")).await.expect(200).body;
    assert_eq!(before["decision"]["verdict"], "stop");
    let address = format!("/api/v1/corrections/{}", new_id());
    let stored = company.phone.put(&address, &correction(&last, &Value::Null)).await.expect(201).body;
    assert_eq!(stored["lines"], json!([]));
    let after = company.phone.post("/api/v1/checks", &check("15.37")).await.expect(200).body;
    assert_eq!(after["decision"]["verdict"], "go", "{after:#}");
    let product = company.office.get(&format!("/api/v1/products/{}", company.feed)).await.expect(200).body;
    assert_eq!(product["balance_lb"], "1923.125", "2,000 less three times 25.625");
    // Taken back twice: the second is told what stands, and with that there is nothing left to take back.
    let address = format!("/api/v1/corrections/{}", new_id());
    let mut again = correction(&last, &Value::Null);
    let _ = company.phone.put(&address, &again).await.problem(409, "conflict");
    again["replaces"] = stored["id"].clone();
    let nothing = company.phone.put(&address, &again).await.problem(422, "invalid");
    assert_eq!(nothing.faults(), ["#/change"]);
    let statement = company.statement().await;
    assert_eq!(statement["sections"][0]["applied"]["nitrogen_lb"], "18.45");
    assert_eq!(statement["sections"][0]["lines"].as_array().unwrap().len(), 3);
}

#[tokio::test]
async fn the_same_correction_again_is_one_and_other_content_is_refused() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "20").await;
    let address = format!("/api/v1/corrections/{}", new_id());
    let body = correction(&id, &json!([{ "section_id": company.front, "product_lb": "21" }]));
    let first = company.phone.put(&address, &body).await.expect(201).body;
    let again = company.phone.put(&address, &body).await.expect(200).body;
    assert_eq!(first, again);
    let other = correction(&id, &json!([{ "section_id": company.front, "product_lb": "22" }]));
    let reused = company.phone.put(&address, &other).await.problem(409, "id-reused");
    assert_eq!(reused.faults(), ["#/change"]);
    let list = company.phone.get(&format!("/api/v1/corrections?application_id={id}")).await.expect(200).body;
    assert_eq!(list["items"].as_array().unwrap().len(), 1);
    assert_eq!(list["items"][0], first);
    // An id that names an application cannot name a correction too.
    let _ = company.phone.put(&format!("/api/v1/corrections/{id}"), &body).await.problem(409, "id-reused");
}

#[tokio::test]
async fn a_correction_that_breaks_a_rule_needs_its_findings_acknowledged() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "20").await;
    let address = format!("/api/v1/corrections/{}", new_id());
    let mut body = correction(&id, &json!([{ "section_id": company.front, "product_lb": "40" }]));
    let refused = company.phone.put(&address, &body).await.problem(422, "stopped-by-rules");
    assert_eq!(company.statement().await["sections"][0]["applied"]["nitrogen_lb"], "4.8", "nothing changed");
    let keys: Vec<Value> =
        refused.body["findings"].as_array().unwrap().iter().map(|finding| finding["key"].clone()).collect();
    body["acknowledged"] = json!(keys);
    let stored = company.phone.put(&address, &body).await.expect(201).body;
    assert_eq!(stored["beyond_the_rules"], true);
    let list = company.owner.get("/api/v1/reviews").await.expect(200).body;
    assert_eq!(list["items"][0]["kind"], "correction");
    assert_eq!(list["items"].as_array().unwrap().len(), 1);
}

#[tokio::test]
async fn a_line_can_move_to_the_section_it_was_really_put_on() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "15").await;
    let mut body = correction(&id, &json!([{ "section_id": company.rear, "product_lb": "15" }]));
    body["change"]["taken_back"] = json!([company.front]);
    let moved = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &body).await.expect(201).body;
    let statement = company.statement().await;
    assert_eq!(statement["sections"][0]["applied"]["nitrogen_lb"], "0");
    assert_eq!(statement["sections"][0]["lines"], json!([]));
    assert_eq!(statement["sections"][1]["applied"]["nitrogen_lb"], "3.6");
    // Another technician of the same property sees the record and leaves it alone; the office may correct it.
    let (other, phone) = harness::world::technician(&company.app, &company.office, &company.owner, "Tech 02").await;
    let visit = json!({
        "property_id": company.property, "person_id": other, "planned_on": "2026-09-15", "product_id": company.feed,
        "section_ids": [company.front], "purpose": "maintenance",
    });
    let _ = company.office.post("/api/v1/visits", &visit).await.expect(201);
    let _ = phone.get(&format!("/api/v1/applications/{id}")).await.expect(200);
    let mut back = correction(&id, &Value::Null);
    back["replaces"] = moved["id"].clone();
    let _ = phone.put(&format!("/api/v1/corrections/{}", new_id()), &back).await.problem(403, "not-allowed");
    let _ = company.office.put(&format!("/api/v1/corrections/{}", new_id()), &back).await.expect(201);
    let unknown = correction(&new_id(), &Value::Null);
    let _ = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &unknown).await.problem(404, "not-found");
}

#[tokio::test]
async fn a_correction_that_lay_on_a_phone_does_not_override_a_newer_one() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "20").await;
    let line = |amount: &str| json!([{ "section_id": company.front, "product_lb": amount }]);
    let office = company.office.put(&format!("/api/v1/corrections/{}", new_id()), &correction(&id, &line("21"))).await;
    let office = office.expect(201).body;
    let late = format!("/api/v1/corrections/{}", new_id());
    let mut body = correction(&id, &line("22"));
    let refused = company.phone.put(&late, &body).await.problem(409, "conflict");
    assert!(refused.body["detail"].as_str().unwrap().contains(office["id"].as_str().unwrap()), "{}", refused.text);
    assert_eq!(company.statement().await["sections"][0]["product_lb"], "21");
    body["replaces"] = office["id"].clone();
    let _ = company.phone.put(&late, &body).await.expect(201);
    assert_eq!(company.statement().await["sections"][0]["product_lb"], "22");
    // What stands already is no correction.
    let mut same = correction(&id, &line("22"));
    same["replaces"] = json!(late.rsplit('/').next());
    let nothing = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &same).await;
    assert_eq!(nothing.problem(422, "invalid").faults(), ["#/change"]);
}

#[tokio::test]
async fn a_correction_sent_again_is_answered_as_it_was_stored() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "20").await;
    let line = json!([{ "section_id": company.front, "product_lb": "21", "treated_area_sqft": "8200" }]);
    let address = format!("/api/v1/corrections/{}", new_id());
    let stored = company.phone.put(&address, &correction(&id, &line)).await.expect(201).body;
    let measured =
        json!({ "area_sqft": "4000", "measured_on": "2026-09-15", "method": "wheel", "measured_by": "Office 01" });
    let measurements = format!("/api/v1/sections/{}/measurements", company.front);
    let _ = company.office.post(&measurements, &measured).await.expect(201);
    assert_eq!(company.phone.put(&address, &correction(&id, &line)).await.expect(200).body, stored);
}

/// A record of two lines, 20 lb on the front lawn and 10 lb on the rear.
async fn two_lines(company: &Company) -> String {
    let mut record = company.record(&company.front, "20");
    record["lines"] = json!([
        { "section_id": company.front, "product_lb": "20" }, { "section_id": company.rear, "product_lb": "10" },
    ]);
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), &record).await.expect(201);
    id
}

/// What is told of one section. Sections come by their ids.
fn of<'v>(told: &'v Value, section: &str) -> &'v Value {
    told.as_array().unwrap().iter().find(|one| one["section_id"] == section).unwrap()
}

#[tokio::test]
async fn a_correction_changes_the_line_it_names_and_no_other() {
    let company = Company::in_maryland().await;
    let id = two_lines(&company).await;
    // The rear lawn is measured anew, with a day before the work; its line stands as it was measured then.
    let measured =
        json!({ "area_sqft": "4000", "measured_on": "2026-09-01", "method": "tape", "measured_by": "Office 01" });
    let at = format!("/api/v1/sections/{}/measurements", company.rear);
    let _ = company.office.post(&at, &measured).await.expect(201);
    let body = correction(&id, &json!([{ "section_id": company.front, "product_lb": "18" }]));
    let address = format!("/api/v1/corrections/{}", new_id());
    let stored = company.phone.put(&address, &body).await.expect(201).body;
    assert_eq!(of(&stored["lines"], &company.front)["product_lb"], "18");
    assert_eq!(of(&stored["lines"], &company.rear)["product_lb"], "10");
    assert_eq!(of(&stored["lines"], &company.rear)["area_sqft"], "5000");
    assert_eq!(company.phone.put(&address, &body).await.expect(200).body, stored, "read as it was answered");
    let book = rusqlite::Connection::open(company.app.file()).unwrap();
    let written = |record: &Value| -> i64 {
        let rows = "SELECT count(*) FROM application_lines WHERE record_id = ?1 AND section_id = ?2";
        book.query_row(rows, [record.as_str().unwrap(), &company.rear], |row| row.get(0)).unwrap()
    };
    assert_eq!(written(&stored["id"]), 0, "nothing is taken back and put down again where nothing changes");
    let statement = company.statement().await;
    let lines = |at: usize| statement["sections"][at]["lines"].clone();
    assert_eq!(lines(0)[0]["correction_id"], stored["id"]);
    assert_eq!(lines(1)[0]["correction_id"], Value::Null, "the rear lawn's line is the recorded one");
    assert_eq!(lines(1)[0]["area_sqft"], "5000");
    // Named as it stands, it writes nothing either; then the front lawn alone is taken back.
    let mut named = correction(
        &id,
        &json!([
            { "section_id": company.front, "product_lb": "17" }, { "section_id": company.rear, "product_lb": "10" },
        ]),
    );
    named["replaces"] = stored["id"].clone();
    let named = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &named).await.expect(201).body;
    assert_eq!(written(&named["id"]), 0);
    let mut back = correction(&id, &json!([]));
    back["replaces"] = named["id"].clone();
    back["change"]["taken_back"] = json!([company.front]);
    let back = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &back).await.expect(201).body;
    assert_eq!(back["lines"].as_array().unwrap().len(), 1);
    assert_eq!(back["lines"][0]["section_id"], company.rear.as_str());
    let statement = company.statement().await;
    assert_eq!(statement["sections"][0]["lines"], json!([]));
    assert_eq!(statement["sections"][1]["product_lb"], "10");
    let first = company.phone.get(&format!("/api/v1/corrections/{}", stored["id"].as_str().unwrap())).await;
    assert_eq!(first.expect(200).body, stored, "an earlier correction reads as it did");
    let product = company.office.get(&format!("/api/v1/products/{}", company.feed)).await.expect(200).body;
    assert_eq!(product["balance_lb"], "1990", "2,000 less the 10 lb that stand");
    let found = server::book::verify::check_file(&company.app.file()).await.unwrap();
    assert!(found.faults.is_empty(), "{:?}", found.faults);
}

#[tokio::test]
async fn only_what_stands_can_be_taken_back() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "20").await;
    let asked = async |lines: Value, back: Value| {
        let mut body = correction(&id, &lines);
        body["change"]["taken_back"] = back;
        let shown = company.phone.post("/api/v1/corrections/checks", &body).await;
        let refused = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &body).await;
        let faults = refused.problem(422, "invalid").faults();
        assert_eq!(shown.problem(422, "invalid").faults(), faults, "a preview finds what the correction does");
        faults
    };
    assert_eq!(asked(json!([]), json!([company.rear])).await, ["#/change/taken_back/0"]);
    assert_eq!(asked(json!([]), json!([company.front, company.front])).await, ["#/change/taken_back/1"]);
    let line = json!([{ "section_id": company.front, "product_lb": "21" }]);
    assert_eq!(asked(line, json!([company.front])).await, ["#/change/taken_back/0"]);
    assert_eq!(asked(json!([]), json!([])).await, ["#/change"], "a change that changes nothing");
    let nothing = json!([{ "section_id": company.rear, "product_lb": "0" }]);
    assert_eq!(asked(nothing, json!([])).await, ["#/change/lines/0/product_lb"]);
}

#[tokio::test]
async fn a_correction_is_shown_before_it_is_made() {
    let company = Company::in_maryland().await;
    let id = two_lines(&company).await;
    let shown = async |body: &Value| company.phone.post("/api/v1/corrections/checks", body).await.expect(200).body;
    let body = correction(&id, &json!([{ "section_id": company.front, "product_lb": "40" }]));
    let preview = shown(&body).await;
    let (front, rear) = (of(&preview["sections"], &company.front), of(&preview["sections"], &company.rear));
    assert_eq!((&front["changes"], &rear["changes"]), (&json!(true), &json!(false)));
    assert_eq!((&front["before"]["product_lb"], &front["after"]["product_lb"]), (&json!("20"), &json!("40")));
    assert_eq!(rear["before"], rear["after"]);
    // 20 lb of 24 % on 8,200 sq ft are 4.8 lb N, 0.585365... on 1,000, by long division; 40 lb are twice that. Maryland's year
    // for tall fescue is 2.7 lb: University of Maryland schedule, tall fescue.
    assert_eq!(front["year_nitrogen_before_lb_per_1000_sqft"], "0.585366");
    assert_eq!(front["year_nitrogen_after_lb_per_1000_sqft"], "1.170732");
    assert_eq!(front["nitrogen_room_before_lb_per_1000_sqft"], "2.114634");
    assert_eq!(front["nitrogen_room_after_lb_per_1000_sqft"], "1.529268");
    assert_eq!(rear["nitrogen_room_before_lb_per_1000_sqft"], rear["nitrogen_room_after_lb_per_1000_sqft"]);
    let stock = &preview["stock"];
    assert_eq!(
        (&stock["moves_lb"], &stock["balance_before_lb"], &stock["balance_after_lb"]),
        (&json!("-20"), &json!("1970"), &json!("1950"))
    );
    assert_eq!(preview["decision"]["verdict"], "stop");
    assert_eq!(company.statement().await["sections"][0]["product_lb"], "20", "nothing was changed");
    assert_eq!(
        company.owner.get("/api/v1/reviews").await.expect(200).body["items"],
        json!([]),
        "nor kept as an attempt"
    );
    // What it says must be acknowledged is what the correction asks for.
    let mut sent = body.clone();
    sent["acknowledged"] = preview["to_acknowledge"].clone();
    let stored = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &sent).await.expect(201).body;
    assert_eq!(stored["beyond_the_rules"], true);
    assert_eq!(of(&stored["lines"], &company.front), &front["after"]);
    assert_eq!(of(&stored["lines"], &company.rear), &rear["after"]);
    // Taken back whole, no rule is asked, and all product comes back.
    let mut back = correction(&id, &Value::Null);
    let _ = company.phone.post("/api/v1/corrections/checks", &back).await.problem(409, "conflict");
    back["replaces"] = stored["id"].clone();
    let preview = shown(&back).await;
    assert_eq!(preview["decision"], Value::Null);
    assert_eq!(preview["to_acknowledge"], json!([]));
    let front = of(&preview["sections"], &company.front);
    assert_eq!(front["after"], Value::Null);
    assert_eq!(front["year_nitrogen_after_lb_per_1000_sqft"], "0");
    assert_eq!(front["nitrogen_room_after_lb_per_1000_sqft"], "2.7");
    assert_eq!(preview["stock"]["moves_lb"], "50");
}

/// A first measurement of a technician may be rejected after work was recorded by it. What is put right beside that lawn, or of the
/// amount on it, needs no measurement: the record says how much ground was treated.
#[tokio::test]
async fn a_correction_beside_a_lawn_whose_measurement_was_rejected() {
    let company = Company::in_maryland().await;
    let body = json!({
        "property_id": company.property, "name": "side lawn", "species": "tall_fescue", "water": "none", "touches_pavement": true,
        "established_on": "2015-09-01",
    });
    let side = company.office.post("/api/v1/sections", &body).await.expect(201).id();
    let measured =
        json!({ "area_sqft": "3000", "measured_on": "2026-09-01", "method": "wheel", "measured_by": "Tech 01" });
    let at = format!("/api/v1/sections/{side}/measurements");
    let measurement = company.phone.post(&at, &measured).await.expect(201).id();
    let mut record = company.record(&company.front, "5");
    record["lines"] =
        json!([{ "section_id": company.front, "product_lb": "5" }, { "section_id": side, "product_lb": "2" }]);
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), &record).await.expect(201);
    let rejected = json!({ "holds": false, "note": "Paced, not measured." });
    let address = format!("/api/v1/measurements/{measurement}/confirmation");
    let _ = company.office.put(&address, &rejected).await.expect(200);
    let checked = async |change: &Value| {
        let body = correction(&id, change);
        company.office.post("/api/v1/corrections/checks", &body).await
    };
    let other = json!([{ "section_id": company.front, "product_lb": "6" }]);
    let shown = checked(&other).await.expect(200).body;
    let beside = of(&shown["sections"], &side);
    assert_eq!(beside["changes"], false);
    assert_eq!(beside["after"]["area_sqft"], "3000");
    let less = json!([{ "section_id": side, "product_lb": "1" }]);
    assert_eq!(of(&checked(&less).await.expect(200).body["sections"], &side)["after"]["area_sqft"], "3000");
    // More than was put down, and other ground than what was treated, is measured first.
    let more = json!([{ "section_id": side, "product_lb": "3" }]);
    assert_eq!(checked(&more).await.problem(422, "invalid").body["errors"][0]["code"], "not_measured");
    let part = json!([{ "section_id": side, "product_lb": "2", "treated_area_sqft": "4000" }]);
    let refused = checked(&part).await.problem(422, "invalid");
    assert_eq!(refused.body["errors"][0]["code"], "not_measured");
    let back = checked(&Value::Null).await.expect(200);
    assert_eq!(back.body["stock"]["moves_lb"], "7");
    let path = format!("/api/v1/corrections/{}", new_id());
    let stored = company.office.put(&path, &correction(&id, &other)).await.expect(201).body;
    assert_eq!(of(&stored["lines"], &side)["product_lb"], "2");
    let mut last = correction(&id, &Value::Null);
    last["replaces"] = stored["id"].clone();
    let _ = company.office.put(&format!("/api/v1/corrections/{}", new_id()), &last).await.expect(201);
}
