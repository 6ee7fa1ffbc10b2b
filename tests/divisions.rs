//! A lawn that is treated in parts: what lies on different parts does not add up, and what may lie upon one another does.

use harness::{new_id, world::Company};
use serde_json::{Value, json};

/// The front lawn, 8,200 sq ft, in two halves.
async fn halved(company: &Company) -> Value {
    let halves = json!({ "since": "2026-03-01", "parts": [
        { "name": "front half", "area_sqft": "4100" }, { "name": "back half", "area_sqft": "4100" },
    ] });
    let at = format!("/api/v1/sections/{}/divisions", company.front);
    company.office.post(&at, &halves).await.expect(201).body
}

/// A plan or a record with so much on a part of the front lawn.
fn on(mut asked: Value, part: &str, product: &str) -> Value {
    asked["lines"][0]["parts"] = json!([part]);
    asked["lines"][0]["product_lb"] = json!(product);
    asked
}

/// 12.8125 lb of 24 % are 3.075 lb N; on 4,100 sq ft 0.75 on 1,000. One application may put down 0.9: COMAR 15.20.10.09 C(2).
const HALF: &str = "12.8125";

async fn put_down(company: &Company, part: &str) -> Value {
    let record = on(company.record(&company.front, HALF), part, HALF);
    company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await.expect(201).body
}

async fn checked(company: &Company, plan: &Value) -> Value {
    company.phone.post("/api/v1/checks", plan).await.expect(200).body["decision"].clone()
}

#[tokio::test]
async fn two_halves_are_judged_by_ground() {
    let company = Company::in_maryland().await;
    let division = halved(&company).await;
    let plan = |part: &str| on(company.plan(&company.front, HALF), part, HALF);
    let front = put_down(&company, "front half").await;
    assert_eq!(front["lines"][0]["area_sqft"], "4100");
    assert_eq!(front["lines"][0]["parts"], json!(["front half"]));
    assert_eq!(front["lines"][0]["nitrogen_lb_per_1000_sqft"], "0.75");
    assert_eq!(checked(&company, &plan("back half")).await["verdict"], "go");
    let again = checked(&company, &plan("front half")).await;
    assert_eq!(again["verdict"], "stop");
    assert!(again["findings"][0]["message"].as_str().unwrap().contains("the front lawn (front half)"), "{again:#}");
    let whole = company.plan(&company.front, "25.625");
    assert_eq!(checked(&company, &whole).await["verdict"], "stop", "the whole lies on the half");
    let mut unnamed = company.plan(&company.front, HALF);
    unnamed["lines"][0]["treated_area_sqft"] = json!("4100");
    assert_eq!(checked(&company, &unnamed).await["verdict"], "stop", "a half of which nobody said which");
    let back = put_down(&company, "back half").await;
    assert_eq!(back["verdict"], "go");
    let read = company.phone.get(&format!("/api/v1/applications/{}", back["id"].as_str().unwrap())).await;
    assert_eq!(read.expect(200).body["lines"], back["lines"]);
    // The pounds add up, the rate is that of the ground.
    let statement = company.statement().await;
    let year = &statement["sections"][0];
    assert_eq!(year["applied"]["nitrogen_lb"], "6.15");
    assert_eq!(year["nitrogen_lb_per_1000_sqft"], "0.75");
    assert_eq!(
        year["pieces"],
        json!([
            { "parts": ["front half"], "nitrogen_lb_per_1000_sqft": "0.75" },
            { "parts": ["back half"], "nitrogen_lb_per_1000_sqft": "0.75" },
        ])
    );
    assert_eq!(year["lines"][1]["parts"], json!(["back half"]));
    assert_eq!(statement["sections"][1]["pieces"], json!([]));
    assert!(!statement["gaps"].to_string().contains("recomputation"), "{:#}", statement["gaps"]);
    // Divided anew, nobody knows where the old parts lie in it.
    let at = format!("/api/v1/sections/{}/divisions", company.front);
    let sides = json!({ "since": "2026-09-15", "parts": [{ "name": "east", "area_sqft": "4000" }] });
    let _ = company.office.post(&at, &sides).await.expect(201);
    assert_eq!(checked(&company, &plan("east")).await["verdict"], "stop");
    let listed = company.phone.get(&at).await.expect(200).body;
    assert_eq!(listed["items"][0], division);
    let one = company.phone.get(&format!("/api/v1/divisions/{}", division["id"].as_str().unwrap())).await;
    assert_eq!(one.expect(200).body, division);
    let found = server::book::verify::check_file(&company.app.file()).await.unwrap();
    assert!(found.faults.is_empty(), "{:?}", found.faults);
}

#[tokio::test]
async fn a_clearance_holds_the_room_of_its_part() {
    let company = Company::in_maryland().await;
    let _ = halved(&company).await;
    let plan = |part: &str| on(company.plan(&company.front, HALF), part, HALF);
    let clearance = new_id();
    let _ = company.phone.put(&format!("/api/v1/clearances/{clearance}"), &plan("front half")).await.expect(201);
    assert_eq!(checked(&company, &plan("front half")).await["verdict"], "stop");
    assert_eq!(checked(&company, &plan("back half")).await["verdict"], "go");
    let mut record = on(company.record(&company.front, HALF), "front half", HALF);
    record["clearance_id"] = json!(clearance);
    let stored = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await.expect(201).body;
    assert_eq!(stored["verdict"], "go", "its own clearance does not count against it");
}

#[tokio::test]
async fn a_correction_moves_a_line_to_another_part_and_keeps_the_part_of_one_that_names_none() {
    let company = Company::in_maryland().await;
    let _ = halved(&company).await;
    let front = put_down(&company, "front half").await;
    let put = async |line: Value, replaces: &Value| {
        let mut body =
            json!({ "application_id": front["id"], "reason": "Asked again.", "change": { "lines": [line] } });
        if !replaces.is_null() {
            body["replaces"] = replaces.clone();
        }
        let path = format!("/api/v1/corrections/{}", new_id());
        let stored = company.phone.put(&path, &body).await.expect(201).body;
        assert_eq!(company.phone.put(&path, &body).await.expect(200).body, stored, "read as it was answered");
        stored
    };
    let less = put(json!({ "section_id": company.front, "product_lb": "12" }), &Value::Null).await;
    assert_eq!(less["lines"][0]["parts"], json!(["front half"]));
    assert_eq!(less["lines"][0]["area_sqft"], "4100");
    let moved = json!({ "section_id": company.front, "product_lb": "12", "parts": ["back half"] });
    let moved = put(moved, &less["id"]).await;
    assert_eq!(moved["lines"][0]["parts"], json!(["back half"]));
    // It may lie anywhere, on no more ground than before: then it counts on both halves.
    let nowhere = json!({ "application_id": front["id"], "reason": "Nobody knows.", "replaces": moved["id"],
        "change": { "lines": [], "anywhere": [company.front] } });
    let refused = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &nowhere).await;
    assert_eq!(refused.problem(422, "invalid").faults(), ["#/change/anywhere/0"]);
    let loose = json!({ "application_id": front["id"], "reason": "Nobody knows which half.", "replaces": moved["id"],
        "change": { "lines": [{ "section_id": company.front, "product_lb": "12" }], "anywhere": [company.front] } });
    let loose = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &loose).await.expect(201).body;
    assert_eq!((&loose["lines"][0]["parts"], &loose["lines"][0]["area_sqft"]), (&Value::Null, &json!("4100")));
    let _ = put(json!({ "section_id": company.front, "product_lb": "12", "parts": ["back half"] }), &loose["id"]).await;
    let plan = |part: &str| on(company.plan(&company.front, HALF), part, HALF);
    assert_eq!(checked(&company, &plan("front half")).await["verdict"], "go");
    assert_eq!(checked(&company, &plan("back half")).await["verdict"], "stop");
    let statement = company.statement().await;
    assert_eq!(statement["sections"][0]["lines"][0]["parts"], json!(["back half"]));
    assert!(!statement["gaps"].to_string().contains("recomputation"), "{:#}", statement["gaps"]);
    let found = server::book::verify::check_file(&company.app.file()).await.unwrap();
    assert!(found.faults.is_empty(), "{:?}", found.faults);
}

/// What a correction leaves of a line's ground stays in its words, and what it cannot leave is asked for.
#[tokio::test]
async fn a_line_that_names_less_ground_keeps_its_part_in_words_and_more_is_asked_about() {
    let company = Company::in_maryland().await;
    let _ = halved(&company).await;
    let front = put_down(&company, "front half").await;
    company.app.clock.set(harness::instant("2027-02-01T15:00:00Z"));
    let office = company.app.sign_in("office", None).await;
    let body =
        |line: Value| json!({ "application_id": front["id"], "reason": "Paced off.", "change": { "lines": [line] } });
    let more = body(json!({ "section_id": company.front, "product_lb": "9", "treated_area_sqft": "4200" }));
    let refused = office.put(&format!("/api/v1/corrections/{}", new_id()), &more).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/change/lines/0/treated_area_sqft"], "{}", refused.text);
    let less = body(json!({ "section_id": company.front, "product_lb": "9", "treated_area_sqft": "3000" }));
    let less = office.put(&format!("/api/v1/corrections/{}", new_id()), &less).await.expect(201).body;
    assert_eq!((&less["lines"][0]["parts"], &less["lines"][0]["area_sqft"]), (&json!(["front half"]), &json!("3000")));
    let path = format!("/api/v1/statements?year=2026&client_id={}", company.client);
    let told = office.get(&path).await.expect(200).body["gaps"].to_string();
    let words = "the record of 2026-09-15: 9 lb on 3000 sq ft (front half) (before the correction: ";
    assert!(told.contains(words), "{told}");
}

#[tokio::test]
async fn parts_are_known_by_the_division_of_the_day() {
    let company = Company::in_maryland().await;
    let plan = |part: &str| on(company.plan(&company.front, HALF), part, HALF);
    let faults =
        async |asked: &Value| company.phone.post("/api/v1/checks", asked).await.problem(422, "invalid").faults();
    assert_eq!(faults(&plan("front half")).await, ["#/lines/0/parts/0"], "it is not divided");
    let _ = halved(&company).await;
    assert_eq!(faults(&plan("north half")).await, ["#/lines/0/parts/0"]);
    let mut too_much = plan("front half");
    too_much["lines"][0]["treated_area_sqft"] = json!("4200");
    assert_eq!(faults(&too_much).await, ["#/lines/0/treated_area_sqft"]);
    let mut before = plan("front half");
    before["planned_on"] = json!("2026-02-28");
    assert_eq!(faults(&before).await, ["#/lines/0/parts/0"], "it was not divided then");
    let mut both = plan("front half");
    both["lines"][0]["parts"] = json!(["back half", "front half"]);
    both["lines"][0]["product_lb"] = json!("25.625");
    assert_eq!(checked(&company, &both).await["sections"][0]["area_sqft"], "8200");
}

#[tokio::test]
async fn a_division_has_different_names_and_no_more_ground_than_the_section() {
    let company = Company::in_maryland().await;
    let at = format!("/api/v1/sections/{}/divisions", company.front);
    let part = |name: &str, area: &str| json!({ "name": name, "area_sqft": area });
    let refused = async |since: &str, parts: Value| {
        let asked = json!({ "since": since, "parts": parts });
        company.office.post(&at, &asked).await.problem(422, "invalid").faults()
    };
    assert_eq!(refused("2026-03-01", json!([part("side", "100"), part("side", "200")])).await, ["#/parts/1/name"]);
    assert_eq!(refused("2026-03-01", json!([part("a", "8200"), part("b", "0.01")])).await, ["#/parts"]);
    assert_eq!(refused("2026-03-01", json!([part("a", "0")])).await, ["#/parts/0/area_sqft"]);
    assert_eq!(refused("2027-03-01", json!([part("a", "100")])).await, ["#/since"]);
    let whole = json!({ "since": "2026-03-01", "parts": [part("a", "8200")] });
    let _ = company.phone.post(&at, &whole).await.problem(403, "not-allowed");
    let _ = company.office.post(&at, &whole).await.expect(201);
}

#[tokio::test]
async fn parts_of_a_lawn_that_was_measured_smaller_are_not_told_apart() {
    let company = Company::in_maryland().await;
    let _ = halved(&company).await;
    let smaller =
        json!({ "area_sqft": "6000", "measured_on": "2026-09-10", "method": "wheel", "measured_by": "Office 01" });
    let address = format!("/api/v1/sections/{}/measurements", company.front);
    let _ = company.office.post(&address, &smaller).await.expect(201);
    let plan = on(company.plan(&company.front, "5"), "front half", "5");
    let refused = company.phone.post("/api/v1/checks", &plan).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/lines/0/parts/0"], "{}", refused.text);
    // Divided anew, they are.
    let parts = json!([{ "name": "front half", "area_sqft": "3000" }, { "name": "back half", "area_sqft": "3000" }]);
    let divided = json!({ "since": "2026-09-10", "parts": parts });
    let divided =
        company.office.post(&format!("/api/v1/sections/{}/divisions", company.front), &divided).await.expect(201);
    assert!(divided.body["number"].as_i64().unwrap() > 1);
    assert_eq!(checked(&company, &plan).await["verdict"], "go");
}

/// Who swaps the numbers of two divisions moves loads to other ground.
#[tokio::test]
async fn a_division_whose_number_was_changed_is_found() {
    let company = Company::in_maryland().await;
    let _ = halved(&company).await;
    let folder = company.app.stop().await;
    let file = folder.path().join("book.db");
    rusqlite::Connection::open(&file)
        .unwrap()
        .execute_batch("DROP TRIGGER divisions_keep; UPDATE divisions SET seq = seq + 1;")
        .unwrap();
    let found = server::book::verify::check_file(&file).await.unwrap();
    assert!(found.faults.iter().any(|fault| fault.contains("division")), "{:?}", found.faults);
}
