//! What is learned of a lawn after a record was written, and makes that doubtful: it stands on the owner's list and on the statement.

use harness::{
    new_id,
    world::{self, Company},
};
use serde_json::{Value, json};
use server::book::verify::check_file;

use crate::pages::visitor::Visitor;

async fn listed(company: &Company) -> Vec<Value> {
    let list = company.owner.get("/api/v1/reviews").await.expect(200).body;
    let items = list["items"].as_array().unwrap().iter();
    items.filter(|item| item["why"] == "learned_since").cloned().collect()
}

fn measured(area: &str, on: &str) -> Value {
    json!({ "area_sqft": area, "measured_on": on, "method": "wheel", "measured_by": "Office 01" })
}

#[tokio::test]
async fn a_smaller_lawn_makes_the_records_on_it_doubtful() {
    let company = Company::in_maryland().await;
    let path = format!("/api/v1/sections/{}/measurements", company.front);
    let record = company.put_down(&company.front, "10").await;
    // A larger lawn took no more than it may.
    let _ = company.office.post(&path, &measured("9000", "2026-02-01")).await.expect(201);
    assert_eq!(listed(&company).await, Vec::<Value>::new());
    let smaller = company.office.post(&path, &measured("4000", "2026-02-02")).await.expect(201).id();
    let [item] = &listed(&company).await[..] else { panic!("{:?}", listed(&company).await) };
    assert_eq!((&item["kind"], &item["doubtful_ids"]), (&json!("measurement"), &json!([record])));
    assert_ne!(item["record_id"], json!(smaller));
    let told = company.statement().await["gaps"].to_string();
    let words = "the record of 2026-09-15 is of 8200 sq ft, which is more ground than the lawn had by what is known now: 4000 sq ft, \
                 measured on 2026-02-02.";
    assert!(told.contains(words), "{told}");
    let id = item["record_id"].as_str().unwrap();
    let owner = Visitor::named(&company, "owner").await;
    let page = owner.open(&format!("/reviews/{id}")).await;
    assert!(page.html.contains(&format!("/records/{record}")), "{}", page.html);
    let today = owner.open("/office").await.html;
    let waits = "1 thing that was told later makes a record doubtful, and the owner has not reviewed it";
    assert!(today.contains(waits) && !today.contains("Nothing is waiting"), "{today}");
    // Withdrawn, it doubts nothing more; that it did stays listed until the owner says something.
    let mut withdrawn = measured("1", "2026-02-02");
    (withdrawn["corrects"], withdrawn["reason"], withdrawn["not_of_this_lawn"]) =
        (json!(smaller), json!("Another lawn."), json!(true));
    let _ = company.office.post(&path, &withdrawn).await.expect(201);
    assert_eq!(listed(&company).await.len(), 1);
    assert!(!company.statement().await["gaps"].to_string().contains("more ground"));
    let note = json!({ "note": "Measured again; the lawn is whole." });
    let _ = company.owner.put(&format!("/api/v1/reviews/{id}"), &note).await.expect(200);
    assert_eq!(listed(&company).await, Vec::<Value>::new());
    assert_eq!(check_file(&company.app.file()).await.unwrap().faults, Vec::<String>::new());
}

#[tokio::test]
async fn water_that_was_nearer_makes_a_record_doubtful() {
    let company = Company::in_maryland().await;
    let record = company.put_down(&company.front, "10").await;
    let lawn = format!("/api/v1/sections/{}", company.front);
    let entry = |distance: &str, since: &str| json!({ "since": since, "facts": { "water": "near", "water_distance_ft": distance }, "reason": "Measured to the creek." });
    let _ = company.office.post(&format!("{lawn}/history"), &entry("150", "2026-09-01")).await.expect(201);
    assert_eq!(listed(&company).await, Vec::<Value>::new());
    let _ = company.office.post(&format!("{lawn}/history"), &entry("5", "2026-09-02")).await.expect(201);
    let [item] = &listed(&company).await[..] else { panic!("{:?}", listed(&company).await) };
    assert_eq!((&item["kind"], &item["doubtful_ids"]), (&json!("entry"), &json!([record])));
    // Said of a day after the work, nothing of it is doubtful; and by the form of the lawn itself it is the same.
    let rear = company.put_down(&company.rear, "5").await;
    let whole = json!({
        "property_id": company.property, "name": "rear lawn", "species": "tall_fescue", "water": "near", "water_distance_ft": "4",
        "touches_pavement": true, "established_on": "2015-09-01", "since": "2026-09-10",
    });
    let _ = company.office.put_version(&format!("/api/v1/sections/{}", company.rear), "*", &whole).await.expect(200);
    let items = listed(&company).await;
    assert_eq!((items.len(), &items[0]["doubtful_ids"]), (2, &json!([rear])));
}

#[tokio::test]
async fn what_a_technician_saw_on_an_earlier_day_makes_a_record_doubtful() {
    // Md. Code, Agric. 8-803.5(d)(1) (MD-17): nothing within 15 ft of water.
    let company = Company::in_maryland().await;
    let [front, rear] = [company.put_down(&company.front, "10").await, company.put_down(&company.rear, "5").await];
    let seen = |distance: &str| json!({ "water": "near", "water_distance_ft": distance, "seen_on": "2026-09-02", "note": "Walked it." });
    let path = |section: &str| format!("/api/v1/sections/{section}/sightings");
    let _ = company.phone.post(&path(&company.front), &seen("5")).await.expect(201);
    let doubtful = async || {
        let listed = listed(&company).await;
        listed.iter().map(|item| (item["kind"].clone(), item["doubtful_ids"].clone())).collect::<Vec<_>>()
    };
    assert_eq!(doubtful().await, [(json!("entry"), json!([front]))]);
    // What waits for the office makes nothing doubtful before it is confirmed: turf that takes more than what was seen first (MD-09,
    // MD-10), and nearer to water.
    let turf = json!({ "species": "fine_fescue", "seen_on": "2026-09-02", "note": "Walked it." });
    let _ = company.phone.post(&path(&company.rear), &turf).await.expect(201);
    let mut waits = seen("4");
    waits["species"] = json!("zoysia");
    let made = company.phone.post(&path(&company.rear), &waits).await.expect(201).body;
    assert_eq!((&made["waits_for_office"], doubtful().await.len()), (&json!(true), 1), "{made}");
    let said = format!("/api/v1/sightings/{}/confirmation", made["id"].as_str().unwrap());
    let _ = company.office.put(&said, &json!({ "holds": true })).await.expect(200);
    assert!(doubtful().await.contains(&(json!("entry"), json!([rear]))));
    assert_eq!(check_file(&company.app.file()).await.unwrap().faults, Vec::<String>::new());
}

#[tokio::test]
async fn a_measurement_that_does_not_hold_makes_the_record_on_it_doubtful() {
    let company = Company::in_maryland().await;
    let side = json!({ "property_id": company.property, "name": "side lawn", "species": "tall_fescue", "water": "none", "touches_pavement": false });
    let side = company.office.post("/api/v1/sections", &side).await.expect(201).id();
    let path = format!("/api/v1/sections/{side}/measurements");
    let first = company.phone.post(&path, &measured("9000", "2026-09-14")).await.expect(201).id();
    let record = company.put_down(&side, "10").await;
    // An older one, by which nothing was reckoned while that of the technician counted.
    let _ = company.office.post(&path, &measured("5000", "2026-03-01")).await.expect(201);
    assert_eq!(listed(&company).await, Vec::<Value>::new());
    let said = format!("/api/v1/measurements/{first}/confirmation");
    let _ = company.office.put(&said, &json!({ "holds": false })).await.expect(200);
    let [item] = &listed(&company).await[..] else { panic!("{:?}", listed(&company).await) };
    assert_eq!((&item["kind"], &item["doubtful_ids"]), (&json!("measurement"), &json!([record])));
}

/// The first measurement of a lawn counts for the days before it as well.
#[tokio::test]
async fn a_first_measurement_that_is_corrected_makes_a_record_of_an_earlier_day_doubtful() {
    let company = Company::in_maryland().await;
    let side = json!({ "property_id": company.property, "name": "side lawn", "species": "tall_fescue", "water": "none", "touches_pavement": false });
    let side = company.office.post("/api/v1/sections", &side).await.expect(201).id();
    let path = format!("/api/v1/sections/{side}/measurements");
    let first = company.office.post(&path, &measured("9000", "2026-09-14")).await.expect(201).id();
    let mut late = company.record(&side, "10");
    late.as_object_mut().unwrap().remove("visit_id");
    for time in ["started_at", "finished_at"] {
        late[time] = json!(late[time].as_str().unwrap().replace("2026-09-15", "2026-09-11"));
    }
    let record = company.put_anyhow(late).await;
    assert_eq!(listed(&company).await, Vec::<Value>::new());
    let mut smaller = measured("5000", "2026-09-14");
    (smaller["corrects"], smaller["reason"]) = (json!(first), json!("A slip of the pen."));
    let _ = company.office.post(&path, &smaller).await.expect(201);
    let [item] = &listed(&company).await[..] else { panic!("{:?}", listed(&company).await) };
    assert_eq!((&item["kind"], &item["doubtful_ids"]), (&json!("measurement"), &json!([record])));
}

#[tokio::test]
async fn a_soil_report_that_is_withdrawn_makes_a_record_doubtful() {
    // Md. Code, Agric. 8-803.5 (MD-19): phosphorus goes down by the need that a soil test shows.
    let company = Company::in_maryland().await;
    let plot = world::section(&company.office, &company.property, "plot", "4000").await;
    let report = json!({
        "sampled_on": "2026-04-02", "laboratory": "Lab", "extractant": "mehlich_3", "phosphorus": "low",
        "phosphate_recommended_lb_per_1000_sqft": "1.0",
    });
    let path = format!("/api/v1/sections/{plot}/soil-reports");
    let report = company.office.post(&path, &report).await.expect(201).id();
    let starter = world::product(&company.office, "Starter 18-24-6", &world::label("18", "5", "24", "6")).await;
    let _ = world::lot(&company.office, &starter, "LOT-P", "500").await;
    let mut record = company.record(&plot, "5");
    record["product_id"] = json!(starter);
    record.as_object_mut().unwrap().remove("lot_id");
    record.as_object_mut().unwrap().remove("visit_id");
    let id = new_id();
    let stored = company.phone.put(&format!("/api/v1/applications/{id}"), &record).await.expect(201);
    assert_ne!(stored.body["verdict"], "stop");
    let mut gone = json!({ "sampled_on": "2026-04-02", "laboratory": "Lab", "extractant": "mehlich_3" });
    (gone["corrects"], gone["reason"], gone["not_of_this_lawn"]) =
        (json!(report), json!("Soil of another lawn."), json!(true));
    let _ = company.office.post(&path, &gone).await.expect(201);
    let [item] = &listed(&company).await[..] else { panic!("{:?}", listed(&company).await) };
    assert_eq!((&item["kind"], &item["doubtful_ids"]), (&json!("soil_report"), &json!([id])));
}

#[tokio::test]
async fn rules_that_are_entered_for_an_earlier_day_make_a_record_doubtful() {
    // N.J.S.A. 58:10A-64 (NJ-19): whoever feeds for hire is certified, and the certificate of Maryland is none of New Jersey.
    let company = Company::in_maryland().await;
    let record = company.put_down(&company.front, "10").await;
    let path = format!("/api/v1/properties/{}", company.property);
    let rules = |since: &str| {
        let facts = json!({ "rule_sets": ["us-nj"], "local_rules_checked_on": "2026-01-10" });
        json!({ "since": since, "facts": facts, "reason": "It lies across the border." })
    };
    let _ = company.office.post(&format!("{path}/history"), &rules("2026-09-15")).await.expect(201);
    let [item] = &listed(&company).await[..] else { panic!("{:?}", listed(&company).await) };
    assert_eq!((&item["kind"], &item["doubtful_ids"]), (&json!("entry"), &json!([record])));
    // Which rules hold may have become stricter, so the list does not say that more may go down.
    let list = Visitor::named(&company, "owner").await.open("/reviews").await.html;
    assert!(list.contains("A change decides which rules hold on a property"), "{list}");
    assert!(!list.contains("lets more go down"), "{list}");
    assert_eq!(check_file(&company.app.file()).await.unwrap().faults, Vec::<String>::new());
}

#[tokio::test]
async fn a_hand_over_to_a_client_who_had_left_makes_a_record_doubtful() {
    let company = Company::in_maryland().await;
    let record = company.put_down(&company.front, "10").await;
    let buyer = json!({ "name": "Client 002", "mailing_address": "2 Street B" });
    let buyer = company.office.post("/api/v1/clients", &buyer).await.expect(201).id();
    let ended = json!({ "since": "2026-03-01", "facts": { "cancelled_on": "2026-03-01" }, "reason": "Moved away." });
    let _ = company.office.post(&format!("/api/v1/clients/{buyer}/history"), &ended).await.expect(201);
    assert_eq!(listed(&company).await, Vec::<Value>::new());
    let path = format!("/api/v1/properties/{}/history", company.property);
    let name = json!({ "since": "2026-09-01", "facts": { "name": "the corner lot" }, "reason": "So it is called." });
    let _ = company.office.post(&path, &name).await.expect(201);
    assert_eq!(listed(&company).await, Vec::<Value>::new());
    let sold = json!({ "since": "2026-09-05", "facts": { "client_id": buyer }, "reason": "Told only now." });
    let _ = company.office.post(&path, &sold).await.expect(201);
    let [item] = &listed(&company).await[..] else { panic!("{:?}", listed(&company).await) };
    assert_eq!((&item["kind"], &item["doubtful_ids"]), (&json!("entry"), &json!([record])));
}

/// The same end, told late of whoever is the client.
#[tokio::test]
async fn a_service_that_ended_before_the_work_makes_a_record_doubtful() {
    let company = Company::in_maryland().await;
    let record = company.put_down(&company.front, "10").await;
    let client = format!("/api/v1/clients/{}", company.client);
    let telephone = json!({ "since": "2026-09-01", "facts": { "phone": "410-555-0100" }, "reason": "Told now." });
    let _ = company.office.post(&format!("{client}/history"), &telephone).await.expect(201);
    let later = json!({ "since": "2026-09-02", "facts": { "cancelled_on": "2026-12-01" }, "reason": "Moves away." });
    let _ = company.office.post(&format!("{client}/history"), &later).await.expect(201);
    assert_eq!(listed(&company).await, Vec::<Value>::new());
    let ended = json!({
        "name": "Client 001", "mailing_address": "1 Street A, Sampletown", "since": "2026-09-03", "cancelled_on": "2026-09-03",
    });
    let _ = company.office.put_version(&client, "*", &ended).await.expect(200);
    let [item] = &listed(&company).await[..] else { panic!("{:?}", listed(&company).await) };
    assert_eq!((&item["kind"], &item["doubtful_ids"]), (&json!("entry"), &json!([record])));
    let again =
        json!({ "since": "2026-09-04", "facts": { "cancelled_on": "2026-09-04" }, "reason": "It was the day after." });
    let _ = company.office.post(&format!("{client}/history"), &again).await.expect(201);
    assert_eq!(listed(&company).await.len(), 1, "it was stopped by the same before");
    assert_eq!(check_file(&company.app.file()).await.unwrap().faults, Vec::<String>::new());
}
