//! What records lack by the law of their day, and that each gap is closed in the way that the list says.

use harness::{
    TestApp, User, instant, new_id,
    world::{Company, certify, section, technician},
};
use serde_json::{Value, json};
use server::book::verify::check_file;

/// What the list says of one record: fields and kinds.
async fn gaps(user: &User, id: &str) -> Vec<String> {
    let list = user.get("/api/v1/gaps?limit=200").await.expect(200).body;
    let records = list["items"].as_array().unwrap();
    let record = records.iter().find(|record| record["application_id"] == id);
    let name = |gap: &Value| gap["field"].as_str().or(gap["kind"].as_str()).unwrap().to_owned();
    record.map(|record| record["gaps"].as_array().unwrap().iter().map(name).collect()).unwrap_or_default()
}

async fn add(company: &Company, id: &str, body: &Value) {
    let _ = company.office.post(&format!("/api/v1/applications/{id}/additions"), body).await.expect(201);
}

async fn certified(company: &Company, rule_set: &str) {
    let held = json!({
        "name": "Certificate", "number": "FA-1", "issued_by": "A state", "rule_set": rule_set, "valid_from": "2026-01-01",
    });
    let of = format!("/api/v1/people/{}/credentials", company.phone.id.as_deref().unwrap());
    let _ = company.office.post(&of, &held).await.expect(201);
}

async fn label_kept(company: &Company) {
    let files = format!("/api/v1/products/{}/files?kind=label", company.feed);
    let _ = company.office.post_file(&files, "application/pdf", b"%PDF-1.7\n").await.expect(201);
}

async fn put(company: &Company, record: &Value) -> String {
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), record).await.expect(201);
    id
}

#[tokio::test]
async fn a_maryland_record_can_be_complete() {
    // COMAR 15.20.10.13 B: "a label, or legible copy of the label" among the fields of a record; COMAR 15.20.10.02: a certified
    // applicator, or an employee under one's direct supervision.
    let company = Company::uncertified().await;
    let id = company.put_anyhow(company.record(&company.front, "5")).await;
    assert_eq!(gaps(&company.office, &id).await, ["label_copy", "credential"]);
    certify(&company.office, company.phone.id.as_deref().unwrap(), "us-md").await;
    label_kept(&company).await;
    let complete = company.put_down(&company.front, "5").await;
    assert_eq!(gaps(&company.office, &complete).await, [""; 0]);
    let duties = company.phone.get(&format!("/api/v1/applications/{complete}/duties")).await.expect(200).body;
    assert_eq!((&duties["missing"], &duties["gaps"]), (&json!([]), &json!([])));
    // The first is what it was until what the book says now is added to it.
    assert_eq!(gaps(&company.office, &id).await, ["label_copy", "credential"]);
    add(&company, &id, &json!({ "from_the_book": true })).await;
    assert_eq!(gaps(&company.office, &id).await, [""; 0]);
    assert!(check_file(&company.app.file()).await.unwrap().faults.is_empty());
}

async fn holds(company: &Company, person: &str, rule_set: &str, code: Option<&str>) {
    let held = json!({
        "name": "Certificate", "number": "FA-2", "issued_by": "A state", "rule_set": rule_set, "code": code,
        "valid_from": "2026-01-01",
    });
    let _ = company.office.post(&format!("/api/v1/people/{person}/credentials"), &held).await.expect(201);
}

#[tokio::test]
async fn a_supervisors_certificate_is_enough_for_the_trained_and_another_states_is_not() {
    // COMAR 15.20.10.02: a certified applicator, or a trained employee under the direct supervision of one.
    let company = Company::uncertified().await;
    label_kept(&company).await;
    certified(&company, "us-va").await;
    let alone = company.put_anyhow(company.record(&company.front, "5")).await;
    assert_eq!(gaps(&company.office, &alone).await, ["credential"]);
    let (chief, _) = technician(&company.app, &company.office, &company.owner, "Tech 02").await;
    holds(&company, &chief, "us-md", Some("us-md-certified")).await;
    let mut record = company.record(&company.front, "5");
    record["supervisor_id"] = json!(chief);
    // Nobody had trained whoever did it.
    assert_eq!(gaps(&company.office, &company.put_anyhow(record.clone()).await).await, ["credential"]);
    holds(&company, company.phone.id.as_deref().unwrap(), "us-md", Some("us-md-trained")).await;
    assert_eq!(gaps(&company.office, &company.put_anyhow(record.clone()).await).await, [""; 0]);
    record.as_object_mut().unwrap().remove("supervisor_id");
    assert_eq!(gaps(&company.office, &company.put_anyhow(record).await).await, ["credential"]);
}

#[tokio::test]
async fn a_certificate_of_which_nobody_said_what_it_is_is_asked_about() {
    // COMAR 15.20.10.02-.03, as above.
    let company = Company::uncertified().await;
    label_kept(&company).await;
    certified(&company, "us-md").await;
    let id = company.put_anyhow(company.record(&company.front, "5")).await;
    assert_eq!(gaps(&company.office, &id).await, ["credential"]);
    let duties = company.office.get(&format!("/api/v1/applications/{id}/duties")).await.expect(200).body;
    assert!(duties["gaps"][0]["words"].as_str().unwrap().contains("which certificate"), "{duties:#}");
    certify(&company.office, company.phone.id.as_deref().unwrap(), "us-md").await;
    add(&company, &id, &json!({ "from_the_book": true })).await;
    assert_eq!(gaps(&company.office, &id).await, [""; 0]);
}

#[tokio::test]
async fn rule_sets_that_are_confirmed_later_are_asked_of_the_record_too() {
    // 2VAC5-405-100 A 1: the customer's telephone number, for which Maryland does not ask. 2VAC5-405: Virginia's own certificate.
    let company = Company::in_maryland().await;
    label_kept(&company).await;
    let id = company.put_down(&company.front, "5").await;
    assert_eq!(gaps(&company.office, &id).await, [""; 0]);
    let entry = json!({ "since": "2026-09-01", "facts": { "rule_sets": ["us-va"] }, "reason": "Looked up late." });
    let _ = company.office.post(&format!("/api/v1/properties/{}/history", company.property), &entry).await.expect(201);
    assert_eq!(gaps(&company.office, &id).await, ["customer_telephone", "credential"]);
    let duties = company.office.get(&format!("/api/v1/applications/{id}/duties")).await.expect(200).body;
    assert_eq!(duties["missing"][0]["field"], "customer_telephone");
    let told = company.statement().await["gaps"].to_string();
    assert!(told.contains("2VAC5-405-100"), "{told}");
}

/// An entry that turns out to have been dated too early brings back, for the days it leaves, what stood before it.
#[tokio::test]
async fn days_that_an_entry_leaves_are_asked_again() {
    // 2VAC5-405-100 A 1: the customer's telephone number.
    let company = Company::under(&["us-va"]).await;
    let history = format!("/api/v1/properties/{}/history", company.property);
    let early = json!({ "since": "2026-09-01", "facts": { "rule_sets": [] }, "reason": "Moved away, they said." });
    let entry = company.office.post(&history, &early).await.expect(201).id();
    let id = company.put_anyhow(company.record(&company.front, "5")).await;
    assert_eq!(gaps(&company.office, &id).await, [""; 0]);
    company.app.clock.set(instant("2026-10-15T15:00:00Z"));
    let office = company.app.sign_in("office", None).await;
    let late = json!({
        "since": "2026-10-01", "facts": { "rule_sets": [] }, "corrects": entry, "reason": "October, not September.",
    });
    let _ = office.post(&history, &late).await.expect(201);
    assert!(gaps(&office, &id).await.contains(&"customer_telephone".to_owned()));
    let statement = format!("/api/v1/statements?year=2026&client_id={}", company.client);
    let told = office.get(&statement).await.expect(200).body["gaps"].to_string();
    assert!(told.contains("2VAC5-405-100"), "{told}");
}

#[tokio::test]
async fn a_record_is_complete_by_the_lines_that_stand() {
    // 330 CMR 31.07(1)(c)-(h): the result of the soil test is among the fields of a record.
    let company = Company::under(&["us-ma"]).await;
    let side = section(&company.office, &company.property, "side lawn", "3000").await;
    let id = company.put_anyhow(company.record(&company.front, "5")).await;
    assert_eq!(gaps(&company.office, &id).await, [""; 0]);
    let correct = async |replaces: Option<String>, change: Value| {
        let mut body = json!({ "application_id": id, "reason": "It was the other lawn.", "change": change });
        if let Some(known) = replaces {
            body["replaces"] = json!(known);
        }
        let (word, path) = (new_id(), "/api/v1/corrections");
        let first = company.phone.put(&format!("{path}/{word}"), &body).await;
        if first.status == 422 {
            let stops = first.body["findings"].as_array().unwrap().iter().filter(|one| one["verdict"] == "stop");
            body["acknowledged"] = stops.map(|one| one["key"].clone()).collect();
            let _ = company.phone.put(&format!("{path}/{word}"), &body).await.expect(201);
        } else {
            let _ = first.expect(201);
        }
        word
    };
    let added = correct(None, json!({ "lines": [{ "section_id": side, "product_lb": "2" }] })).await;
    assert_eq!(gaps(&company.office, &id).await, ["soil_test_result"]);
    let told = async || company.office.get(&format!("/api/v1/applications/{id}/particulars")).await.expect(200).body;
    let since = told().await["sections_since"].clone();
    assert_eq!((&since[0]["section_id"], &since[0]["name"]), (&json!(side), &json!("side lawn")));
    let page =
        crate::pages::visitor::Visitor::named(&company, "office").await.open(&format!("/records/{id}")).await.html;
    assert!(page.contains("Lawn section, since corrected") && page.contains("Fixed when it was corrected"), "{page}");
    // What does not stand any more needs no test.
    let _ = correct(Some(added), json!({ "lines": [], "taken_back": [side] })).await;
    assert_eq!(gaps(&company.office, &id).await, [""; 0]);
    assert_eq!(told().await["sections_since"], json!([]));
}

#[tokio::test]
async fn a_soil_report_without_a_word_on_phosphorus_is_no_result() {
    // 330 CMR 31.07(1)(c)-(h): the result of the soil test.
    let company = Company::under(&["us-ma"]).await;
    let side = section(&company.office, &company.property, "side lawn", "3000").await;
    let reports = format!("/api/v1/sections/{side}/soil-reports");
    let mut report = json!({ "sampled_on": "2026-08-01", "laboratory": "A", "extractant": "mehlich_3", "ph": "6.4" });
    let bare = company.office.post(&reports, &report).await.expect(201).id();
    let id = company.put_anyhow(company.record(&side, "2")).await;
    assert_eq!(gaps(&company.office, &id).await, ["soil_test_result"]);
    (report["phosphorus"], report["corrects"], report["reason"]) = (json!("low"), json!(bare), json!("Left out."));
    let _ = company.office.post(&reports, &report).await.expect(201);
    assert_eq!(gaps(&company.office, &id).await, ["soil_test_result"], "the record does not name it yet");
    add(&company, &id, &json!({ "from_the_book": true })).await;
    assert_eq!(gaps(&company.office, &id).await, [""; 0]);
}

#[tokio::test]
async fn a_statement_of_a_section_names_what_its_own_records_lack() {
    // COMAR 15.20.10.13 B: a label or a legible copy of it.
    let company = Company::in_maryland().await;
    let _ = company.put_down(&company.front, "5").await;
    let gaps_on = async |section: &str| {
        let path = format!("/api/v1/statements?year=2026&section_id={section}");
        company.office.get(&path).await.expect(200).body["gaps"].to_string()
    };
    assert!(gaps_on(&company.front).await.contains("COMAR 15.20.10.13"));
    assert!(!gaps_on(&company.rear).await.contains("COMAR 15.20.10.13"));
}

#[tokio::test]
async fn a_household_s_own_work_needs_no_record_of_hired_work() {
    // COMAR 15.20.10.13 A: a record by whoever applies fertilizer for hire.
    let company = Company::uncertified().await;
    let place = format!("/api/v1/properties/{}/history", company.property);
    let entry = json!({ "since": "2026-09-01", "facts": { "worked_by": "household" }, "reason": "By themselves." });
    let entered = company.office.post(&place, &entry).await.expect(201).id();
    let id = company.put_anyhow(company.record(&company.front, "5")).await;
    assert_eq!(gaps(&company.office, &id).await, [""; 0]);
    let told = company.office.get(&format!("/api/v1/applications/{id}/particulars")).await.expect(200).body;
    assert_eq!(
        (&told["particulars"]["worked_by"], &told["particulars"]["kind"]),
        (&json!("household"), &json!("lawn"))
    );
    // What bound the work does not hang on when the office learned of it.
    let hired = json!({
        "since": "2026-09-01", "facts": { "worked_by": "professional" }, "corrects": entered, "reason": "It was us.",
    });
    let _ = company.office.post(&place, &hired).await.expect(201);
    assert_eq!(gaps(&company.office, &id).await, ["label_copy", "credential"]);
    let duties = company.office.get(&format!("/api/v1/applications/{id}/duties")).await.expect(200).body;
    assert!(duties["required"].to_string().contains("COMAR 15.20.10.13"), "{duties}");
    assert!(!duties["kept_until"].is_null());
}

#[tokio::test]
async fn closed_gaps_leave_no_empty_page() {
    let company = Company::in_maryland().await;
    let open = company.put_down(&company.front, "1").await;
    let mut closed = Vec::new();
    for _ in 0..3 {
        closed.push(company.put_down(&company.front, "1").await);
    }
    label_kept(&company).await;
    for id in &closed {
        add(&company, id, &json!({ "from_the_book": true })).await;
    }
    let page = company.office.get("/api/v1/gaps?limit=1").await.expect(200).body;
    assert_eq!((&page["items"][0]["application_id"], &page["next_cursor"]), (&json!(open), &Value::Null));
}

#[tokio::test]
async fn any_condition_at_the_start_is_virginias_weather() {
    // 2VAC5-405-100 A 4: "weather conditions at the start of the application", and none in particular; A 1: the customer's
    // name, mailing address and telephone number.
    let company = Company::under(&["us-va"]).await;
    let bare = |seen: Value| {
        let mut record = company.record(&company.front, "5");
        record["weather"] = json!({});
        if !seen.is_null() {
            record["seen"] = seen;
        }
        record
    };
    let id = company.put_anyhow(bare(Value::Null)).await;
    assert_eq!(gaps(&company.office, &id).await, ["customer_telephone", "weather_at_start"]);
    for seen in [json!({ "sky": "overcast" }), json!({ "wind_from": "calm" })] {
        let id = company.put_anyhow(bare(seen.clone())).await;
        assert_eq!(gaps(&company.office, &id).await, ["customer_telephone"], "{seen}");
    }
    for weather in [
        json!({ "air_temperature": { "air_temperature_f": "71", "source": "technician", "observed_at": "2026-09-15T13:00:00Z" } }),
        json!({ "wind": { "wind_mph": "3", "source": "technician", "observed_at": "2026-09-15T13:00:00Z" } }),
        json!({ "heavy_rain": { "falls": false, "source": "technician", "observed_at": "2026-09-15T13:00:00Z" } }),
    ] {
        let mut record = bare(Value::Null);
        record["weather"] = weather.clone();
        let id = company.put_anyhow(record).await;
        assert_eq!(gaps(&company.office, &id).await, ["customer_telephone"], "{weather}");
    }
    // What was seen is added to the record; what belongs in the book is entered there for its day and then added.
    add(&company, &id, &json!({ "seen": { "sky": "clear" } })).await;
    assert_eq!(gaps(&company.office, &id).await, ["customer_telephone"]);
    let entry = json!({ "since": "2026-09-01", "facts": { "phone": "555-0100" }, "reason": "Asked." });
    let _ = company.office.post(&format!("/api/v1/clients/{}/history", company.client), &entry).await.expect(201);
    assert_eq!(gaps(&company.office, &id).await, ["customer_telephone"]);
    add(&company, &id, &json!({ "from_the_book": true })).await;
    assert_eq!(gaps(&company.office, &id).await, [""; 0]);
}

#[tokio::test]
async fn delaware_wants_the_record_of_the_day_itself() {
    // 3 DE Admin. Code 1201-12.3: a contemporaneous log.
    let company = Company::under(&["us-de"]).await;
    let in_time = company.put_down(&company.front, "5").await;
    assert_eq!(gaps(&company.office, &in_time).await, [""; 0]);
    let mut record = company.record(&company.rear, "5");
    record["started_at"] = json!("2026-09-14T09:05:00-04:00");
    record["finished_at"] = json!("2026-09-14T09:31:00-04:00");
    let late = put(&company, &record).await;
    assert_eq!(gaps(&company.office, &late).await, ["late"]);
    let list = company.office.get("/api/v1/gaps").await.expect(200).body;
    let gap = &list["items"][0]["gaps"][0];
    assert_eq!(
        (&gap["closing"], &gap["source"]["citation"]),
        (&json!("explain"), &json!("3 DE Admin. Code 1201-12.3"))
    );
    // In Maryland the same is no gap: COMAR 15.20.10.13 names no time.
    let statement = company.statement().await;
    let named = statement["gaps"].as_array().unwrap().iter().filter(|gap| gap.as_str().unwrap().contains("1201-12.3"));
    assert_eq!(named.count(), 1, "{:#}", statement["gaps"]);
    let csv = format!("/api/v1/statements?year=2026&client_id={}&format=csv", company.client);
    assert!(company.owner.get(&csv).await.expect(200).text.contains("1201-12.3"));
    // The office says why, which closes the gap; the word stays with the record, and no technician says it.
    let path = format!("/api/v1/applications/{late}/additions");
    let why = json!({ "late_because": "The phone lay in the river until noon." });
    assert_eq!(company.phone.post(&path, &why).await.problem(422, "invalid").faults(), ["#/late_because"]);
    // What came in on its day needs no word for it, and gets none.
    let of_another = format!("/api/v1/applications/{in_time}/additions");
    assert_eq!(company.office.post(&of_another, &why).await.problem(422, "invalid").faults(), ["#/late_because"]);
    let added = company.office.post(&path, &why).await.expect(201).body;
    assert_eq!((&added["explains"], &added["seen"]), (&json!("late_entry"), &Value::Null));
    assert_eq!(gaps(&company.office, &late).await, [""; 0]);
    assert_eq!(company.office.get("/api/v1/gaps").await.expect(200).body["items"], json!([]));
    let told = company.office.get(&format!("/api/v1/applications/{late}/particulars")).await.expect(200).body;
    assert_eq!(told["additions"][0]["texts"]["reason"], why["late_because"]);
    assert_eq!(company.office.get(&format!("/api/v1/applications/{late}")).await.expect(200).body["late"], true);
    let found = server::book::verify::check_file(&company.app.file()).await.unwrap();
    assert!(found.faults.is_empty(), "{:?}", found.faults);
    // What was not said of it by whoever may cannot be written in behind the server's back.
    let of_another = json!({ "seen": { "sky": "clear" } });
    let _ = company.office.post(&format!("/api/v1/applications/{in_time}/additions"), &of_another).await.expect(201);
    let book = rusqlite::Connection::open(company.app.file()).unwrap();
    book.execute_batch("DROP TRIGGER record_additions_keep; UPDATE record_additions SET explains = 'late_entry'")
        .unwrap();
    let found = server::book::verify::check_file(&company.app.file()).await.unwrap();
    assert!(found.faults.iter().any(|fault| fault.contains("differs in explains")), "{:?}", found.faults);
}

#[tokio::test]
async fn a_record_that_was_taken_back_lacks_nothing() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "5").await;
    assert_eq!(gaps(&company.office, &id).await, ["label_copy"]);
    let back = json!({ "application_id": id, "reason": "Another lawn." });
    let _ = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &back).await.expect(201);
    assert_eq!(gaps(&company.office, &id).await, [""; 0]);
}

#[tokio::test]
async fn the_list_comes_in_pages_and_to_the_office_alone() {
    let company = Company::on(TestApp::empty().await, &["us-md"]).await;
    let mut stored = Vec::new();
    for _ in 0..5 {
        stored.push(company.put_down(&company.front, "1").await);
    }
    stored.reverse();
    let (mut path, mut seen) = ("/api/v1/gaps?limit=2".to_owned(), Vec::new());
    loop {
        let page = company.office.get(&path).await.expect(200).body;
        seen.extend(
            page["items"].as_array().unwrap().iter().map(|one| one["application_id"].as_str().unwrap().to_owned()),
        );
        let Some(cursor) = page["next_cursor"].as_str() else { break };
        path = format!("/api/v1/gaps?limit=2&cursor={cursor}");
    }
    assert_eq!(seen, stored);
    let _ = company.phone.get("/api/v1/gaps").await.problem(403, "not-allowed");
}

#[tokio::test]
async fn a_label_without_a_special_instruction_is_an_answer() {
    // 302 KAR 26:080 s.1(3), as the rule file cites it: the special label instruction is among the fields of a record.
    let company = Company::under(&["us-ky"]).await;
    let lacks = async |id: &str| gaps(&company.office, id).await.contains(&"special_label_instruction".to_owned());
    let id = company.put_anyhow(company.record(&company.front, "5")).await;
    assert!(lacks(&id).await);
    add(&company, &id, &json!({ "seen": { "no_label_instruction": true } })).await;
    assert!(!lacks(&id).await);
    // What says nothing is no addition, and a label cannot have an instruction and none.
    let path = format!("/api/v1/applications/{id}/additions");
    let empty = json!({ "seen": { "no_label_instruction": false } });
    assert_eq!(company.office.post(&path, &empty).await.problem(422, "invalid").faults(), ["#/seen"]);
    let both = json!({ "seen": { "no_label_instruction": true, "label_instructions": [{ "words": "Keep off.", "kept": true }] } });
    let faults = company.office.post(&path, &both).await.problem(422, "invalid").faults();
    assert_eq!(faults, ["#/seen/no_label_instruction"]);
}
