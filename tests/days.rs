//! What is open about a stop, what its record wants, who may supervise and which parts are left, told with the day.

use harness::{
    new_id,
    world::{Company, label, product, section, technician},
};
use serde_json::{Value, json};

#[tokio::test]
async fn the_day_tells_the_soil_report_that_ends_and_the_one_that_is_missing() {
    let company = Company::in_maryland().await;
    let phosphorus = product(&company.office, "With phosphorus", &label("16", "4", "22", "8")).await;
    let person = company.phone.id.as_deref().unwrap();
    // COMAR 15.20.10.10 and .11 B (nutrient-law rows MD-20, MD-22): a soil test of the last three years, 36 months from the sample.
    let report = json!({
        "sampled_on": "2023-10-20", "laboratory": "Laboratory", "extractant": "mehlich_3", "cores": 12, "ph": "6.4",
        "phosphorus": "low", "phosphate_recommended_lb_per_1000_sqft": "1",
    });
    let address = |section: &str| format!("/api/v1/sections/{section}/soil-reports");
    let ending = section(&company.office, &company.property, "east lawn", "3000").await;
    let missing = section(&company.office, &company.property, "west lawn", "3000").await;
    let _ = company.office.post(&address(&ending), &report).await.expect(201);
    let visit = json!({
        "property_id": company.property, "person_id": person, "planned_on": "2026-09-15", "product_id": phosphorus,
        "section_ids": [ending, missing], "purpose": "maintenance", "target_nitrogen_lb_per_1000_sqft": "0.5",
    });
    let visit = company.office.post("/api/v1/visits", &visit).await.expect(201).body["id"].clone();
    let day = company.phone.get("/api/v1/days/2026-09-15").await.expect(200).body;
    let stop = |id: &Value| day["visits"].as_array().unwrap().iter().find(|stop| stop["visit"]["id"] == *id).cloned();
    let open = stop(&visit).unwrap()["open"].clone();
    // Sections come in the order of their ids, which are made up within one millisecond here.
    let words = |section: &str| {
        let of = open.as_array().unwrap().iter().find(|point| point["section_id"] == section).unwrap();
        of["words"].as_str().unwrap().to_owned()
    };
    assert!(words(&ending).contains("ends on 2026-10-20"), "{open}");
    assert!(words(&missing).contains("has no soil report"), "{open}");
    // Without phosphorus no report is needed, and nothing is told.
    assert_eq!(stop(&json!(company.visit)).unwrap()["open"], json!([]));
}

#[tokio::test]
async fn the_day_tells_what_stands_recorded_of_each_section() {
    // The demonstration lawn has 8,200 sq ft in front and 5,000 behind, both on one visit.
    let company = Company::in_maryland().await;
    let stop = async || {
        let day = company.phone.get("/api/v1/days/2026-09-15").await.expect(200).body;
        let stop = &day["visits"][0];
        let sections = stop["recorded_sections"].as_array().unwrap().clone();
        let of = |section: &str| {
            let found = sections.iter().find(|one| one["section_id"] == section);
            found.map_or(Value::Null, |one| json!([one["treated_area_sqft"], one["open_area_sqft"]]))
        };
        (stop["recorded"].clone(), of(&company.front), of(&company.rear))
    };
    assert_eq!(stop().await, (json!(false), json!(null), json!(null)));
    let mut half = company.record(&company.front, "4");
    half["lines"][0]["treated_area_sqft"] = json!("4100");
    let first = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{first}"), &half).await.expect(201);
    assert_eq!(stop().await, (json!(false), json!(["4100", "4100"]), json!(null)));
    // The rest as a record of its own, and the second section whole.
    half["lines"][0]["treated_area_sqft"] = json!("4100");
    let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &half).await.expect(201);
    let rear = company.put_down(&company.rear, "15").await;
    assert_eq!(stop().await, (json!(true), json!(["8200", null]), json!(["5000", null])));
    // A correction says that it was less, and another that it was nothing at all.
    let line = json!([{ "section_id": company.front, "product_lb": "3", "treated_area_sqft": "4000" }]);
    let less = json!({ "application_id": first, "reason": "Paced it out again.", "change": { "lines": line } });
    let _ = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &less).await.expect(201);
    let back = json!({ "application_id": rear, "reason": "It was the neighbour's." });
    let _ = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &back).await.expect(201);
    assert_eq!(stop().await, (json!(false), json!(["8100", "100"]), json!(null)));
}

/// What the day asks of the record of the first stop.
async fn asks(company: &Company) -> Vec<Value> {
    let day = company.phone.get("/api/v1/days/2026-09-15").await.expect(200).body;
    let asks = day["visits"][0]["asks"].as_array().unwrap().clone();
    asks.iter().map(|ask| ask["field"].clone()).collect()
}

#[tokio::test]
async fn the_day_tells_what_the_record_wants_that_is_seen_on_the_spot() {
    // 2VAC5-405-100 A(4) wants the weather at the start; COMAR 15.20.10.13 B wants nothing that is seen there. What only the office
    // can enter, such as Maryland's copy of the label, is not asked of the phone.
    assert_eq!(asks(&Company::under(&["us-va"]).await).await, [json!("weather_at_start")]);
    assert_eq!(asks(&Company::in_maryland().await).await, [Value::Null; 0]);
}

async fn holds(company: &Company, person: &str, code: &str, until: Option<&str>) {
    let held = json!({
        "name": "Certificate", "number": "FA-2", "issued_by": "A state", "rule_set": "us-md", "code": code,
        "valid_from": "2026-01-01", "valid_until": until,
    });
    let _ = company.office.post(&format!("/api/v1/people/{person}/credentials"), &held).await.expect(201);
}

#[tokio::test]
async fn the_day_tells_who_may_supervise_and_a_check_takes_the_name() {
    // COMAR 15.20.10.02-.03: a certified applicator, or a trained employee under the direct supervision of one.
    let company = Company::uncertified().await;
    let supervision = async || {
        let day = company.phone.get("/api/v1/days/2026-09-15").await.expect(200).body;
        (day["visits"][0]["supervision"].clone(), day["colleagues"].clone())
    };
    let (chief, _) = technician(&company.app, &company.office, &company.owner, "Tech 02").await;
    let (late, _) = technician(&company.app, &company.office, &company.owner, "Tech 03").await;
    holds(&company, &chief, "us-md-certified", None).await;
    holds(&company, &late, "us-md-certified", Some("2026-09-14")).await;
    // Who was not trained may not work there under anybody, so nobody is offered.
    assert_eq!(supervision().await.0, Value::Null);
    let person = company.phone.id.clone().unwrap();
    holds(&company, &person, "us-md-trained", None).await;
    let (asked, colleagues) = supervision().await;
    assert_eq!(
        asked["people"],
        json!([{ "id": chief, "name": "Tech 02" }]),
        "whose certificate ran out is not among them"
    );
    assert!(asked["source"]["citation"].as_str().unwrap().starts_with("COMAR 15.20.10.02"), "{asked}");
    let names: Vec<&Value> = colleagues.as_array().unwrap().iter().map(|one| &one["name"]).collect();
    assert!(names.contains(&&json!("Tech 03")) && !colleagues.to_string().contains(&person), "{colleagues}");
    let fields: Vec<&String> = colleagues[0].as_object().unwrap().keys().collect();
    assert_eq!(fields, ["id", "name"], "names and ids alone");
    // The check answers by the supervisor that it is told.
    let mut plan = company.plan(&company.front, "5");
    let needs = async |plan: &Value| {
        let decision = company.phone.post("/api/v1/checks", plan).await.expect(200).body["decision"].clone();
        (decision["verdict"].clone(), decision["findings"].to_string().contains("needs a supervisor"))
    };
    assert_eq!(needs(&plan).await, (json!("care"), true));
    plan["supervisor_id"] = json!(chief);
    assert!(!needs(&plan).await.1);
    plan["supervisor_id"] = json!(late);
    assert_eq!(needs(&plan).await.0, json!("stop"), "a supervisor whose certificate ran out stands for nobody");
    plan["supervisor_id"] = json!(new_id());
    let _ = company.phone.post("/api/v1/checks", &plan).await.problem(422, "invalid");
    // A certificate of which nobody said which one it is may be the one: its holder is offered, and the decision is care.
    let (unsaid, _) = technician(&company.app, &company.office, &company.owner, "Tech 04").await;
    holds_unnamed(&company, &unsaid).await;
    let offered = supervision().await.0["people"].clone();
    assert_eq!(offered, json!([{ "id": chief, "name": "Tech 02" }, { "id": unsaid, "name": "Tech 04" }]));
    plan["supervisor_id"] = json!(unsaid);
    assert_eq!(needs(&plan).await, (json!("care"), false));
    // Whose own may be the one is not asked, as the decision does not.
    holds_unnamed(&company, &person).await;
    assert_eq!(supervision().await.0, Value::Null);
}

async fn holds_unnamed(company: &Company, person: &str) {
    let held = json!({
        "name": "Certificate", "number": "FA-3", "issued_by": "A state", "rule_set": "us-md", "valid_from": "2026-01-01",
    });
    let _ = company.office.post(&format!("/api/v1/people/{person}/credentials"), &held).await.expect(201);
}

#[tokio::test]
async fn who_is_certified_needs_no_supervisor() {
    // COMAR 15.20.10.02-.03, as above.
    let company = Company::uncertified().await;
    let person = company.phone.id.clone().unwrap();
    holds(&company, &person, "us-md-trained", None).await;
    let supervision = async || {
        let day = company.phone.get("/api/v1/days/2026-09-15").await.expect(200).body;
        day["visits"][0]["supervision"].clone()
    };
    assert_ne!(supervision().await, Value::Null);
    holds(&company, &person, "us-md-certified", None).await;
    assert_eq!(supervision().await, Value::Null);
}

#[tokio::test]
async fn the_day_tells_which_parts_of_a_section_are_recorded() {
    // The demonstration lawn has 8,200 sq ft in front.
    let company = Company::in_maryland().await;
    let told = async || {
        let day = company.phone.get("/api/v1/days/2026-09-15").await.expect(200).body;
        let stop = &day["visits"][0];
        (stop["divisions"].clone(), stop["recorded_sections"][0]["parts"].clone())
    };
    assert_eq!(told().await, (json!([]), Value::Null));
    let at = format!("/api/v1/sections/{}/divisions", company.front);
    let halves = json!({ "since": "2026-03-01", "parts": [
        { "name": "front half", "area_sqft": "4100" }, { "name": "back half", "area_sqft": "4100" },
    ] });
    let _ = company.office.post(&at, &halves).await.expect(201);
    let divided = json!([{ "section_id": company.front, "parts": halves["parts"] }]);
    assert_eq!(told().await, (divided.clone(), Value::Null));
    let mut record = company.record(&company.front, "4");
    record["lines"][0] = json!({
        "section_id": company.front, "product_lb": "0.09", "parts": ["front half"], "treated_area_sqft": "100",
    });
    let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await.expect(201);
    assert_eq!(told().await, (divided.clone(), json!([])), "a strip of a part is not the part");
    record["lines"][0] = json!({ "section_id": company.front, "product_lb": "4", "parts": ["back half"] });
    let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await.expect(201);
    assert_eq!(told().await, (divided, json!(["back half"])));
    // Divided anew, nobody knows where the old parts lie in it.
    let sides = json!({ "since": "2026-09-01", "parts": [{ "name": "back half", "area_sqft": "4000" }] });
    let _ = company.office.post(&at, &sides).await.expect(201);
    assert_eq!(told().await.1, json!([]));
}

#[tokio::test]
async fn indiana_s_supervisor_is_asked_for_though_nobody_read_whether_one_is_enough() {
    // 355 IAC 4-1-3 (LSA 10-565), nutrient-law row IN-03: whoever applies fertilizer material for hire is licensed in category 3b.
    // Work without it under somebody who has it was not read.
    let company = Company::uncertified_under(&["us-in"]).await;
    let stop = async || {
        let day = company.phone.get("/api/v1/days/2026-09-15").await.expect(200).body;
        day["visits"][0].clone()
    };
    let need = stop().await["supervision"].clone();
    assert_eq!((&need["was_read"], &need["people"]), (&json!(false), &json!([])), "{need}");
    let (chief, _) = technician(&company.app, &company.office, &company.owner, "Tech 02").await;
    let held = json!({
        "name": "Category 3b", "number": "B-1", "issued_by": "A state", "rule_set": "us-in", "code": "us-in-category-3b",
        "valid_from": "2026-01-01",
    });
    let _ = company.office.post(&format!("/api/v1/people/{chief}/credentials"), &held).await.expect(201);
    let told = stop().await;
    assert_eq!(told["supervision"]["people"], json!([{ "id": chief, "name": "Tech 02" }]));
    assert!(told["open"].to_string().contains("may work under one who holds it was not read"), "{told:#}");
    let category = |decision: &Value| {
        let findings = decision["findings"].as_array().unwrap().iter();
        findings.clone().find(|finding| finding["rule"] == "us-in.credential.category").unwrap()["verdict"].clone()
    };
    let mut plan = company.plan(&company.front, "5");
    for supervisor in [Value::Null, json!(chief)] {
        plan["supervisor_id"] = supervisor;
        let answer = company.phone.post("/api/v1/checks", &plan).await.expect(200).body;
        assert_eq!(category(&answer["decision"]), "care", "{answer:#}");
    }
    // The record under the supervisor keeps a gap that says what was not read.
    let mut record = company.record(&company.front, "5");
    record["supervisor_id"] = json!(chief);
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), &record).await.expect(201);
    let duties = company.phone.get(&format!("/api/v1/applications/{id}/duties")).await.expect(200).body;
    let gap = &duties["gaps"][0];
    assert!(gap["words"].as_str().unwrap().contains("it was not read whether the supervisor's"), "{duties:#}");
    assert_eq!((&gap["kind"], &gap["closing"]), (&json!("credential"), &json!("explain")), "{duties:#}");
    // That nobody supervised is a stop.
    record.as_object_mut().unwrap().remove("supervisor_id");
    record["nobody_supervised"] = json!(true);
    let alone = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await;
    let alone = alone.problem(422, "stopped-by-rules");
    assert!(alone.rules().contains(&"us-in.credential.category".to_owned()), "{}", alone.text);
    // Today says that their work asks for care, and not that it is stopped.
    let today = crate::pages::visitor::Visitor::named(&company, "office").await.open("/office").await.html;
    assert!(today.contains("no certificate that Indiana asks for: work by them asks for care"), "{today}");
}
