//! A zone that the server does not know, as if a later table of zones had dropped it: where a day would be told by it, the answer
//! says so by name, and nothing is stored.

use harness::{User, new_id, world::Company};
use rusqlite::Connection;
use serde_json::json;

const LOST: &str = "America/Nowhere";

fn journal_length(company: &Company) -> i64 {
    let book = Connection::open(company.app.file()).unwrap();
    book.query_row("SELECT count(*) FROM journal", [], |row| row.get(0)).unwrap()
}

fn lose(company: &Company, table: &str) {
    let book = Connection::open(company.app.file()).unwrap();
    assert_eq!(book.execute(&format!("UPDATE {table} SET time_zone = ?1"), [LOST]).unwrap(), 1);
    if table == "properties" {
        book.execute_batch("DROP TRIGGER dated_entries_keep").unwrap();
        let entries =
            "UPDATE dated_entries SET facts = json_set(facts, '$.time_zone', ?1) WHERE property_id IS NOT NULL";
        assert_eq!(book.execute(entries, [LOST]).unwrap(), 1);
    }
}

/// Asks, and expects a fault that names the zone and whose it is.
async fn fault_of(user: &User, path: &str, names: &[&str]) {
    let problem = user.get(path).await.problem(500, "fault");
    let detail = problem.body["detail"].as_str().unwrap();
    assert!(names.iter().all(|name| detail.contains(name)), "{path}: {detail}");
}

#[tokio::test]
async fn no_day_is_told_at_a_property_whose_zone_is_not_known() {
    let company = Company::in_maryland().await;
    let (office, phone) = (&company.office, &company.phone);
    let id = company.put_down(&company.front, "5").await;
    let record = format!("/api/v1/applications/{id}");
    assert_eq!(phone.get(&record).await.expect(200).body["late"], false);
    lose(&company, "properties");
    let before = journal_length(&company);
    let report = office.get(&format!("/api/v1/sections/{}/soil-reports", company.front)).await.expect(200).body;
    let report = report["items"][0]["id"].as_str().unwrap();
    let names = [LOST, company.property.as_str()];
    for path in [
        format!("/api/v1/soil-reports/{report}"),
        format!("/api/v1/soil-reports/{report}/lime"),
        format!("/api/v1/properties/{}/working-windows/2026-09-15?product_id={}", company.property, company.feed),
        "/api/v1/days/2026-09-15/working-windows".to_owned(),
    ] {
        fault_of(office, &path, &names).await;
    }
    // What was put down stands, and has its own clock: that of the place when it was written. A statement tells by it what was late.
    let statement = format!("/api/v1/statements?year=2026&client_id={}", company.client);
    let statement = office.get(&statement).await.expect(200).body;
    assert_eq!(statement["sections"][0]["lines"][0]["late"], false, "{statement}");
    assert_eq!(phone.get(&record).await.expect(200).body["late"], false);
    let _ = phone.get(&format!("{record}/duties")).await.expect(200);
    // Nothing is decided by a day that is not known: what is sent is refused, and says where it is mended.
    let (plan, work) = (company.plan(&company.front, "5"), company.record(&company.front, "5"));
    let refused = [
        phone.post("/api/v1/checks", &plan).await,
        phone.put(&format!("/api/v1/clearances/{}", new_id()), &plan).await,
        phone.put(&format!("/api/v1/applications/{}", new_id()), &work).await,
    ];
    for reply in refused {
        let reply = reply.problem(422, "invalid");
        assert_eq!(reply.faults(), ["#/property_id"]);
        assert!(reply.text.contains(LOST) && reply.text.contains("unknown_zone"), "{}", reply.text);
    }
    assert_eq!(journal_length(&company), before, "nothing was stored");
    // A retry of what is stored already needs no day, nor does a correction, which goes by the day of the record.
    let _ = phone.put(&record, &company.record(&company.front, "5")).await.expect(200);
    let change = json!({
        "application_id": id, "reason": "Weighed again.", "change": { "lines": [{ "section_id": company.front, "product_lb": "6" }] },
    });
    let _ = phone.put(&format!("/api/v1/corrections/{}", new_id()), &change).await.expect(201);
    assert_eq!(journal_length(&company), before + 1);
}

#[tokio::test]
async fn a_property_whose_zone_is_not_known_changes_hands_by_the_zone_that_is_chosen_with_it() {
    let company = Company::in_maryland().await;
    lose(&company, "properties");
    let buyer = json!({ "name": "Client 002", "mailing_address": "2 Street B, Sampletown" });
    let buyer = company.office.post("/api/v1/clients", &buyer).await.expect(201).id();
    // In New York it is still the 15th.
    company.app.clock.set(harness::instant("2026-09-16T03:30:00Z"));
    let mut sold = json!({
        "client_id": buyer, "name": "Home", "address": "1 Street A, Sampletown", "postal_code": "21000",
        "time_zone": LOST, "rule_sets": ["us-md"],
    });
    let address = format!("/api/v1/properties/{}", company.property);
    let office = company.app.sign_in("office", None).await;
    let refused = office.put_version(&address, "*", &sold).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/time_zone"]);
    sold["time_zone"] = json!("America/New_York");
    let stored = office.put_version(&address, "*", &sold).await.expect(200).body;
    assert_eq!(stored["client_since"], "2026-09-15");
}

#[tokio::test]
async fn the_company_has_no_today_when_its_zone_is_not_known() {
    let company = Company::in_maryland().await;
    let office = &company.office;
    lose(&company, "company");
    let before = journal_length(&company);
    for path in [
        format!("/api/v1/statements?year=2026&client_id={}", company.client),
        "/api/v1/statements/company?year=2026".to_owned(),
    ] {
        fault_of(&company.owner, &path, &[LOST, "company"]).await;
    }
    let visit = json!({
        "property_id": company.property, "person_id": company.phone.id, "planned_on": "2026-09-16", "product_id": company.feed,
        "section_ids": [company.front], "purpose": "maintenance",
    });
    let lot = json!({
        "product_id": company.feed, "lot_number": "LOT-2", "supplier": "Sample Supply", "received_on": "2026-09-14",
        "received_lb": "100",
    });
    let measured =
        json!({ "area_sqft": "8300", "measured_on": "2026-09-14", "method": "wheel", "measured_by": "Office 01" });
    for (path, body) in [
        ("/api/v1/visits".to_owned(), visit),
        ("/api/v1/lots".to_owned(), lot),
        (format!("/api/v1/sections/{}/measurements", company.front), measured),
    ] {
        let problem = office.post(&path, &body).await.problem(500, "fault");
        assert!(problem.text.contains(LOST), "{path}: {}", problem.text);
    }
    assert_eq!(journal_length(&company), before, "nothing was stored");
    // The day of work is that of the property.
    company.put_down(&company.front, "5").await;
}
