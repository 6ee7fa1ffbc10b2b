//! A record stands alone: what stood when it was written is fixed with it, and nothing that changes later changes anything on it.

use harness::{
    User, new_id,
    world::{Company, course, rotary_spreader, soil_report, technician},
};
use rusqlite::params;
use serde_json::{Value, json};
use server::{book::verify::check_file, secret::sha256};

use crate::{
    packed,
    rewritten::{destroyed, guarded_again, rechained, unguarded},
};

/// A company with everything that a record can name, and such a record.
async fn company_with_a_whole_record() -> (Company, String) {
    let company = Company::in_maryland().await;
    let person = company.phone.id.clone().unwrap();
    let spreader = rotary_spreader(&company.office).await;
    let _ =
        company.phone.post("/api/v1/calibrations", &course(&spreader, &company.feed, "2026-09-14")).await.expect(201);
    let held = json!({
        "name": "Certificate", "number": "FA-1001", "issued_by": "A state", "rule_set": "us-md", "valid_from": "2026-01-01",
        "valid_until": "2026-12-31",
    });
    let _ = company.office.post(&format!("/api/v1/people/{person}/credentials"), &held).await.expect(201);
    let files = format!("/api/v1/products/{}/files?kind=label", company.feed);
    let _ = company.office.post_file(&files, "application/pdf", b"%PDF-1.7\n%%EOF\n").await.expect(201);
    let client = json!({ "name": "Client 001", "mailing_address": "1 Street A, Sampletown", "phone": "555-0100" });
    let _ = company.office.put_version(&format!("/api/v1/clients/{}", company.client), "*", &client).await.expect(200);
    let (helper, _) = technician(&company.app, &company.office, &company.owner, "Tech 02").await;
    let mut record = company.record(&company.front, "20");
    record["equipment_id"] = json!(spreader);
    record["supervisor_id"] = json!(company.office.id);
    record["present_ids"] = json!([helper]);
    record["notes"] = json!("The gate sticks.");
    record["seen"] = json!({
        "amount_measured_by": "weighed", "machine_setting": "14", "kept_from_water_ft": "25", "kept_from_drains_ft": "10",
        "wind_from": "southwest", "sky": "partly_cloudy",
        "watered_in": { "at": "2026-09-15T13:40:00Z", "by": "company" },
        "label_instructions": [{ "words": "Keep children and pets off until dry.", "kept": true, "passed_on": true }],
        "notices": [{ "kind": "door_card", "at": "2026-09-15T13:35:00Z", "to": "client" }],
    });
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), &record).await.expect(201);
    // The same again is recognised, and other words under the same id are named.
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), &record).await.expect(200);
    record["notes"] = json!("The gate sticks not.");
    let other = company.phone.put(&format!("/api/v1/applications/{id}"), &record).await.problem(409, "id-reused");
    assert_eq!(other.faults(), ["#/notes"]);
    (company, id)
}

/// A calibration that had run out is named with the work, and that it had. The limit is the company's own, 365 days unless it says
/// otherwise.
#[tokio::test]
async fn a_calibration_that_was_too_old_says_so() {
    let company = Company::in_maryland().await;
    let spreader = rotary_spreader(&company.office).await;
    // 366 days before the work of 2026-09-15.
    let calibrated = course(&spreader, &company.feed, "2025-09-14");
    let _ = company.phone.post("/api/v1/calibrations", &calibrated).await.expect(201);
    let mut record = company.record(&company.front, "5");
    record["equipment_id"] = json!(spreader);
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), &record).await.expect(201);
    let told = company.phone.get(&format!("/api/v1/applications/{id}/particulars")).await.expect(200).body;
    assert_eq!(told["particulars"]["machine"]["calibration"]["too_old_by_days"], 1);
    assert!(page(&company, &id).await.contains("1 day older than"));
}

async fn page(company: &Company, id: &str) -> String {
    let visitor = crate::pages::visitor::Visitor::named(company, "office").await;
    visitor.open(&format!("/records/{id}")).await.html
}

async fn told(user: &User, id: &str) -> Vec<String> {
    let mut texts = Vec::new();
    // What the law asks of it is no part of it: another rule set may be confirmed for its day.
    for of in ["", "/particulars", "/decision"] {
        texts.push(user.get(&format!("/api/v1/applications/{id}{of}")).await.expect(200).text);
    }
    texts
}

#[tokio::test]
async fn a_record_tells_everything_that_stood() {
    let (company, id) = company_with_a_whole_record().await;
    let told = company.phone.get(&format!("/api/v1/applications/{id}/particulars")).await.expect(200).body;
    assert_eq!(told["fixed_at_writing"], true);
    let texts = json!({
        "client": "Client 001", "mailing_address": "1 Street A, Sampletown", "telephone": "555-0100",
        "site_address": "1 Street A, Sampletown", "applicator": "Tech 01", "supervisor": "Office 01", "present": ["Tech 02"],
        "notes": "The gate sticks.",
    });
    assert_eq!(told["texts"], texts);
    let stood = &told["particulars"];
    assert_eq!((&stood["postal_code"], &stood["lot_number"]), (&json!("21000"), &json!("LOT-1")));
    assert!(stood["credentials"].as_array().unwrap().iter().any(|held| held["number"] == "FA-1001"), "{stood:#}");
    assert_eq!(stood["product"]["label_file"]["sha256"], sha256(b"%PDF-1.7\n%%EOF\n"));
    // 10 lb put in and 5.2 left over a course of 8 by 125 ft, 1,000 sq ft: 4.8 lb.
    let calibration = &stood["machine"]["calibration"];
    assert_eq!((&calibration["setting"], &calibration["product_lb_per_1000_sqft"]), (&json!("14"), &json!("4.8")));
    assert_eq!(calibration["too_old_by_days"], Value::Null);
    let section = &stood["sections"][0];
    assert_eq!(section["measurement"]["method"], "wheel");
    assert_eq!(
        (&section["measurement"]["area_sqft"], &section["soil_report"]["sampled_on"]),
        (&json!("8200"), &json!("2025-10-02"))
    );
    let html = page(&company, &id).await;
    for words in [
        "Client 001",
        "555-0100",
        "21000",
        "FA-1001",
        "Office 01",
        "Tech 02",
        "LOT-1",
        "Spreader 01",
        "at setting 14",
        "measured 2025-03-01 (wheel)",
        "Sample Laboratory",
        "weighed",
        "25 ft",
        "10 ft",
        "from the southwest",
        "partly cloudy",
        "by the company",
        "Keep children and pets off until dry.",
        "door card",
        &id,
        told["journal_hash"].as_str().unwrap(),
        told["particulars_sha256"].as_str().unwrap(),
        stood["product"]["label_file"]["sha256"].as_str().unwrap(),
    ] {
        assert!(html.contains(words), "{words}: {html}");
    }
    // The journal has hashes in the place of texts about people.
    let entries = company.owner.get(&format!("/api/v1/journal?subject_id={id}")).await.expect(200).text;
    for text in ["Client 001", "555-0100", "Sampletown", "Tech 01", "Tech 02", "gate sticks"] {
        assert!(!entries.contains(text), "{text} stands in {entries}");
    }
    assert!(check_file(&company.app.file()).await.unwrap().faults.is_empty());
}

#[tokio::test]
async fn no_later_change_of_anything_changes_a_record() {
    let (company, id) = company_with_a_whole_record().await;
    let stood = |page: &str| page.split("What the law requires").next().unwrap().to_owned();
    let (before, printed) = (told(&company.office, &id).await, stood(&page(&company, &id).await));
    let changes = later_changes(&company).await;
    assert!(changes >= 20, "{changes}");
    assert_eq!(told(&company.office, &id).await, before);
    assert_eq!(stood(&page(&company, &id).await), printed);
}

/// Twenty changes of everything that the record names, each counted as it is made.
async fn later_changes(company: &Company) -> usize {
    let (office, owner) = (&company.office, &company.owner);
    let person = company.phone.id.as_deref().unwrap();
    let mut changed = 0;
    let client = format!("/api/v1/clients/{}", company.client);
    let facts = |facts: Value| json!({ "since": "2026-09-01", "facts": facts, "reason": "Learned late." });
    let place = format!("/api/v1/properties/{}", company.property);
    let lawn = format!("/api/v1/sections/{}", company.front);
    for (path, facts) in [
        (format!("{client}/history"), facts(json!({ "name": "Client 001 the Second" }))),
        (format!("{client}/history"), facts(json!({ "mailing_address": "9 Street Z" }))),
        (format!("{client}/history"), facts(json!({ "phone": "555-0199" }))),
        (format!("{place}/history"), facts(json!({ "address": "9 Street Z, Sampletown" }))),
        (format!("{place}/history"), facts(json!({ "postal_code": "21999" }))),
        (format!("{place}/history"), facts(json!({ "time_zone": "America/Chicago" }))),
        (format!("{place}/history"), facts(json!({ "rule_sets": ["us-va"] }))),
        (format!("{lawn}/history"), facts(json!({ "name": "lawn before the house" }))),
        (format!("{lawn}/history"), facts(json!({ "species": "zoysia" }))),
    ] {
        let _ = office.post(&path, &facts).await.expect(201);
        changed += 1;
    }
    let buyer = json!({ "name": "Client 002", "mailing_address": "2 Street B" });
    let buyer = office.post("/api/v1/clients", &buyer).await.expect(201).id();
    let _ = office.post(&format!("{place}/history"), &facts(json!({ "client_id": buyer }))).await.expect(201);
    let measured =
        json!({ "area_sqft": "7000", "measured_on": "2026-09-10", "method": "tape", "measured_by": "Office 01" });
    let _ = office.post(&format!("{lawn}/measurements"), &measured).await.expect(201);
    soil_report(office, &company.front, "2026-09-01", "excessive", "0").await;
    let renamed = |name: &str, role: &str| json!({ "name": name, "role": role, "active": true });
    let _ = owner
        .put_version(&format!("/api/v1/people/{person}"), "*", &renamed("Tech 01 B", "technician"))
        .await
        .expect(200);
    let credentials = owner.get(&format!("/api/v1/people/{person}/credentials")).await.expect(200).body;
    let held = format!("/api/v1/credentials/{}", credentials["items"][0]["id"].as_str().unwrap());
    let other = json!({ "name": "Another", "number": "FA-2", "issued_by": "Nobody", "valid_from": "2027-01-01" });
    let _ = office.put_version(&held, "*", &other).await.expect(200);
    let of = format!("/api/v1/people/{person}/credentials");
    let _ = office
        .post(&of, &json!({ "name": "More", "number": "FA-3", "issued_by": "A state", "valid_from": "2026-01-01" }))
        .await
        .expect(201);
    let machines = owner.get("/api/v1/equipment").await.expect(200).body;
    let machine = machines["items"][0]["id"].as_str().unwrap();
    let put = json!({ "name": "Spreader 99", "kind": "rotary_spreader", "has_deflector": false, "active": false });
    let calibration = course(machine, &company.feed, "2026-09-15");
    let _ = company.phone.post("/api/v1/calibrations", &calibration).await.expect(201);
    let _ = office.put_version(&format!("/api/v1/equipment/{machine}"), "*", &put).await.expect(200);
    let files = format!("/api/v1/products/{}/files?kind=label", company.feed);
    let _ = office.post_file(&files, "application/pdf", b"%PDF-1.7\nnewer\n").await.expect(201);
    let stopped = json!({ "status": "hold" });
    let _ = office.put_version(&format!("/api/v1/products/{}/status", company.feed), "*", &stopped).await.expect(200);
    let spilled = json!({
        "product_id": company.feed, "kind": "spilled", "mass_lb": "3", "moved_on": "2026-09-15", "reason": "A torn bag.",
    });
    let _ = office.post("/api/v1/stock-movements", &spilled).await.expect(201);
    let visit = json!({
        "property_id": company.property, "person_id": company.office.id, "planned_on": "2026-09-16", "product_id": company.feed,
        "section_ids": [company.rear], "purpose": "maintenance", "status": "cancelled", "reason": "Moved.",
    });
    let _ = office.put_version(&format!("/api/v1/visits/{}", company.visit), "*", &visit).await.expect(200);
    changed + 12
}

/// What stood of a lawn that only a correction names is fixed with the correction.
#[tokio::test]
async fn no_later_change_changes_a_lawn_that_a_correction_named() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "5").await;
    let change = json!({ "lines": [{ "section_id": company.rear, "product_lb": "3" }], "taken_back": [company.front] });
    let correction = json!({ "application_id": id, "reason": "It was the other lawn.", "change": change });
    let word = new_id();
    let _ = company.phone.put(&format!("/api/v1/corrections/{word}"), &correction).await.expect(201);
    let path = format!("/api/v1/applications/{id}/particulars");
    let told = async || {
        let told = company.office.get(&path).await.expect(200).body;
        (told["sections_since"].clone(), told["sections_not_fixed"].clone())
    };
    let (before, not_fixed) = told().await;
    assert_eq!((before.as_array().map(Vec::len), &not_fixed), (Some(1), &json!([])));
    let of = (&before[0]["name"], &before[0]["measurement"]["area_sqft"], &before[0]["soil_report"]["sampled_on"]);
    assert_eq!(of, (&json!("rear lawn"), &json!("5000"), &json!("2025-10-02")));
    assert!(page(&company, &id).await.contains("Fixed when it was corrected"));
    // Everything of it that day is entered otherwise.
    let lawn = format!("/api/v1/sections/{}", company.rear);
    let mut facts = company.office.get(&format!("{lawn}/history")).await.expect(200).body["items"][0]["facts"].clone();
    (facts["name"], facts["species"]) = (json!("orchard"), json!("zoysia"));
    let first = json!({ "facts": facts, "corrects": company.rear, "reason": "Another one." });
    let _ = company.office.post(&format!("{lawn}/history"), &first).await.expect(201);
    let measured =
        json!({ "area_sqft": "7000", "measured_on": "2026-09-01", "method": "wheel", "measured_by": "Office 01" });
    let _ = company.office.post(&format!("{lawn}/measurements"), &measured).await.expect(201);
    soil_report(&company.office, &company.rear, "2026-09-02", "low", "1").await;
    assert_eq!(told().await, (before, not_fixed));
    assert_eq!(check_file(&company.app.file()).await.unwrap().faults, Vec::<String>::new());
    // Changed behind the server's back it is found, and where an earlier version fixed nothing, that is said.
    unguarded(&company.app.file()).execute_batch("UPDATE corrections SET sections = NULL").unwrap();
    let faults = check_file(&company.app.file()).await.unwrap().faults;
    assert!(faults.iter().any(|fault| fault.contains("the row of") && fault.contains(&word)), "{faults:?}");
    let (now, not_fixed) = told().await;
    assert_eq!((&now[0]["name"], &not_fixed), (&json!("orchard"), &json!([company.rear])));
    assert!(page(&company, &id).await.contains("Not fixed at writing"));
}

#[tokio::test]
async fn what_is_seen_later_stands_beside_the_record() {
    let (company, id) = company_with_a_whole_record().await;
    let before = company.phone.get(&format!("/api/v1/applications/{id}")).await.expect(200).text;
    let additions = format!("/api/v1/applications/{id}/additions");
    let seen = json!({ "seen": { "watered_in": { "at": "2026-09-15T14:00:00Z", "by": "client" } } });
    let key = "one-key-for-one-addition";
    let first = company.phone.post_with_key(&additions, key, &seen).await.expect(201).body;
    assert_eq!(company.phone.post_with_key(&additions, key, &seen).await.expect(201).body, first);
    let nothing = company.phone.post(&additions, &json!({ "seen": {} })).await.problem(422, "invalid");
    assert_eq!(nothing.faults(), ["#/seen"]);
    let ahead = json!({ "seen": { "notices": [{ "kind": "sign", "at": "2026-09-17T14:00:00Z", "to": "public" }] } });
    assert_eq!(company.phone.post(&additions, &ahead).await.problem(422, "invalid").faults(), ["#/seen/notices/0/at"]);
    let early = json!({ "seen": { "watered_in": { "at": "2026-09-15T13:00:00Z", "by": "client" } } });
    assert_eq!(company.phone.post(&additions, &early).await.problem(422, "invalid").faults(), ["#/seen/watered_in/at"]);
    // With the record the same is asked, and an addition's id is no record's.
    for (wrong, fault) in [(&ahead, "#/seen/notices/0/at"), (&early, "#/seen/watered_in/at")] {
        let mut record = company.record(&company.rear, "1");
        record["seen"] = wrong["seen"].clone();
        let refused = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await;
        assert_eq!(refused.problem(422, "invalid").faults(), [fault]);
    }
    let of_addition = format!("/api/v1/applications/{}", first["id"].as_str().unwrap());
    let _ = company.phone.put(&of_addition, &company.record(&company.rear, "1")).await.problem(409, "id-reused");
    let (_, stranger) = technician(&company.app, &company.office, &company.owner, "Tech 03").await;
    let _ = stranger.post(&additions, &seen).await.problem(404, "not-found");
    assert_eq!(company.phone.get(&format!("/api/v1/applications/{id}")).await.expect(200).text, before);
    let told = company.phone.get(&format!("/api/v1/applications/{id}/particulars")).await.expect(200).body;
    assert_eq!(told["additions"].as_array().unwrap().len(), 1);
    assert_eq!(told["additions"][0]["seen"]["watered_in"]["by"], "client");
    assert!(page(&company, &id).await.contains("Added since"));
}

#[tokio::test]
async fn a_former_clients_telephone_is_not_for_technicians() {
    let (company, id) = company_with_a_whole_record().await;
    let _ = company
        .office
        .post(&format!("/api/v1/applications/{id}/additions"), &json!({ "from_the_book": true }))
        .await
        .expect(201);
    let path = format!("/api/v1/applications/{id}/particulars");
    let of_both = async |user: &User| {
        let told = user.get(&path).await.expect(200).body;
        let named = |texts: &Value| ["client", "mailing_address", "telephone"].map(|name| texts[name].is_string());
        assert_eq!(told["texts"]["site_address"], "1 Street A, Sampletown");
        [named(&told["texts"]), named(&told["additions"][0]["texts"])].concat()
    };
    assert_eq!(of_both(&company.phone).await, [true; 6]);
    let buyer = json!({ "name": "Client 002", "mailing_address": "2 Street B" });
    let buyer = company.office.post("/api/v1/clients", &buyer).await.expect(201).id();
    let sold = json!({ "since": "2026-09-14", "facts": { "client_id": buyer }, "reason": "Sold." });
    let _ = company.office.post(&format!("/api/v1/properties/{}/history", company.property), &sold).await.expect(201);
    assert_eq!(of_both(&company.phone).await, [false; 6]);
    assert_eq!(of_both(&company.office).await, [true; 6]);
}

#[tokio::test]
async fn people_that_nobody_knows_are_refused() {
    let company = Company::in_maryland().await;
    let mut record = company.record(&company.front, "20");
    record["supervisor_id"] = json!(new_id());
    record["present_ids"] = json!([company.office.id, new_id()]);
    let refused = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await;
    let faults = refused.problem(422, "invalid").faults();
    assert!(faults[0] == "#/supervisor_id" && faults[1].starts_with("#/present_ids/"), "{faults:?}");
}

#[tokio::test]
async fn a_record_from_before_this_was_kept_is_shown_as_the_book_has_it() {
    let (company, id) = company_with_a_whole_record().await;
    let whole = company.office.get(&format!("/api/v1/applications/{id}")).await.expect(200).body;
    let folder = company.app.stop().await;
    let file = folder.path().join("book.db");
    {
        // As version 0.1 wrote it: everything in the content, nothing fixed.
        packed::unpack(&rusqlite::Connection::open(&file).unwrap());
        let book = unguarded(&file);
        let content: String = book.query_row("SELECT content FROM applications", [], |row| row.get(0)).unwrap();
        let mut old: Value = serde_json::from_str(&content).unwrap();
        old["notes"] = json!("The gate sticks.");
        let text = old.to_string();
        let update = "UPDATE applications SET content = ?1, fingerprint = ?2, person_name = 'Tech 01', particulars = NULL, incomplete = NULL";
        assert_eq!(book.execute(update, params![text, sha256(&text)]).unwrap(), 1);
        book.execute_batch("DELETE FROM personal_texts").unwrap();
        rechained(&book, |act, told| {
            if act == "application.recorded" {
                told["content"] = old.clone();
                told["row"]["person_name"] = json!("Tech 01");
                told["row"]["fingerprint"] = json!(sha256(&text));
                told["row"].as_object_mut().unwrap().remove("incomplete");
                for name in ["particulars_sha256", "texts_sha256"] {
                    told.as_object_mut().unwrap().remove(name);
                }
            }
        });
        guarded_again(&book);
    }
    assert_eq!(check_file(&file).await.unwrap().faults, Vec::<String>::new());
    let app = harness::TestApp::reopen(folder).await;
    let office = app.sign_in("office", None).await;
    assert_eq!(office.get(&format!("/api/v1/applications/{id}")).await.expect(200).body, whole);
    let told = office.get(&format!("/api/v1/applications/{id}/particulars")).await.expect(200).body;
    assert_eq!((&told["fixed_at_writing"], &told["particulars_sha256"]), (&json!(false), &Value::Null));
    assert_eq!((&told["texts"]["client"], &told["texts"]["notes"]), (&json!("Client 001"), &json!("The gate sticks.")));
    let held = told["particulars"]["credentials"].as_array().unwrap();
    assert!(held.iter().any(|held| held["number"] == "FA-1001"), "{held:?}");
    // The label's file came before the record, so it was there.
    assert!(told["particulars"]["product"]["label_file"].is_object());
}

#[tokio::test]
async fn texts_that_the_journal_says_were_destroyed_leave_a_chain_that_verifies() {
    let (company, id) = company_with_a_whole_record().await;
    let folder = company.app.stop().await;
    let file = folder.path().join("book.db");
    {
        let book = unguarded(&file);
        destroyed(&book, &id);
        guarded_again(&book);
    }
    assert_eq!(check_file(&file).await.unwrap().faults, Vec::<String>::new());
    let app = harness::TestApp::reopen(folder).await;
    let office = app.sign_in("office", None).await;
    let told = office.get(&format!("/api/v1/applications/{id}/particulars")).await.expect(200).body;
    assert_eq!(told["texts"], Value::Null);
    assert_eq!(told["particulars"]["postal_code"], "21000");
    let record = office.get(&format!("/api/v1/applications/{id}")).await.expect(200).body;
    assert_eq!((&record["notes"], &record["person_name"]), (&Value::Null, &json!("")));
}
