//! Books from before facts were dated.

use harness::world::Company;
use rusqlite::Connection;
use serde_json::{Value, json};

use super::{property, put, section};

#[tokio::test]
async fn a_book_from_before_facts_were_dated_keeps_what_stood_and_says_so() {
    let company = Company::in_maryland().await;
    let buyer = json!({ "name": "Client 002", "mailing_address": "2 Street B, Sampletown" });
    let buyer = company.office.post("/api/v1/clients", &buyer).await.expect(201).id();
    let place = format!("/api/v1/properties/{}", company.property);
    let sold = property(
        &company,
        &json!({ "client_id": buyer, "since": "2026-09-01", "latitude": 38.971, "longitude": -76.5 }),
    );
    let _ = put(&company.office, &place, &sold).await;
    let near =
        json!({ "water": "near", "water_distance_ft": "40.05", "natural_strip_ft": "10", "since": "2026-09-02" });
    let lawn = format!("/api/v1/sections/{}", company.front);
    let _ = put(&company.office, &lawn, &section(&company, &near)).await;
    let before = [company.office.get(&place).await.body, company.office.get(&lawn).await.body];
    let file = company.app.file().file_name().unwrap().to_owned();
    let folder = company.app.stop().await;
    without_entries(&folder.path().join(&file));
    let app = harness::TestApp::reopen(folder).await;
    let office = app.sign_in("office", None).await;
    for (path, before) in [&place, &lawn].into_iter().zip(&before) {
        assert_eq!(&office.get(path).await.expect(200).body, before);
    }
    let entries = office.get(&format!("{place}/history")).await.expect(200).body["items"].as_array().unwrap().clone();
    assert_eq!(entries.len(), 2, "what stood, and the change of hands");
    assert_eq!((&entries[0]["entered_by"], &entries[0]["facts"]["client_id"]), (&Value::Null, &json!(company.client)));
    assert_eq!((&entries[1]["since"], &entries[1]["facts"]), (&json!("2026-09-01"), &json!({ "client_id": buyer })));
    let first = office.get(&format!("{lawn}/history")).await.expect(200).body["items"][0]["facts"].clone();
    assert_eq!((&first["water_distance_ft"], &first["natural_strip_ft"]), (&json!("40.05"), &json!("10")));
    assert_eq!((&first["touches_pavement"], &first["established_on"]), (&json!(true), &json!("2015-09-01")));
    // The same written again is no change.
    for (path, stored) in [&place, &lawn].into_iter().zip(&before) {
        let mut again = stored.clone();
        let members = again.as_object_mut().unwrap();
        members.retain(|name, _| first_members(path, &entries, &first).contains(name) || name == "property_id");
        let _ = office.put_version(path, "*", &again).await.expect(200);
    }
    for (path, expected) in [(&place, 2), (&lawn, 1)] {
        let entries = office.get(&format!("{path}/history")).await.expect(200).body["items"].as_array().unwrap().len();
        assert_eq!(entries, expected, "{path}");
    }
    // Nothing is missed but what was entered before the table was taken away.
    let folder = app.stop().await;
    let found = server::book::verify::check_file(&folder.path().join(file)).await.unwrap();
    // Nor are the indexes of later changes, which went with the table.
    let starts = ["entry ", "dated_entries: ", "the index dated_entries_"];
    let missed = |fault: &String| starts.iter().any(|start| fault.starts_with(start));
    assert_eq!(found.faults.len(), 5, "{:?}", found.faults);
    assert!(found.faults.iter().all(missed), "{:?}", found.faults);
}

/// Names of what the first entry of a thing speaks of.
fn first_members(path: &str, place: &[Value], lawn: &Value) -> Vec<String> {
    let facts = if path.contains("properties") { &place[0]["facts"] } else { lawn };
    facts.as_object().unwrap().keys().cloned().collect()
}

/// Takes a book back to where it stood before the entries: their table is gone, and the migration runs again.
fn without_entries(file: &std::path::Path) {
    let book = Connection::open(file).unwrap();
    book.execute_batch(
        "DROP TABLE dated_entries;
         ALTER TABLE clients DROP COLUMN email;
         CREATE TRIGGER ownerships_keep BEFORE UPDATE ON ownerships BEGIN SELECT RAISE(ABORT, 'ownerships are never edited'); END;
         CREATE TRIGGER ownerships_stay BEFORE DELETE ON ownerships BEGIN SELECT RAISE(ABORT, 'ownerships are never deleted'); END;
         DELETE FROM _sqlx_migrations WHERE version = 16;",
    )
    .unwrap();
}

#[tokio::test]
async fn a_hand_over_that_was_taken_back_on_its_day_before_facts_were_dated_still_verifies() {
    let company = Company::in_maryland().await;
    let place = format!("/api/v1/properties/{}", company.property);
    let buyer = json!({ "name": "Client 002", "mailing_address": "2 Street B, Sampletown" });
    let buyer = company.office.post("/api/v1/clients", &buyer).await.expect(201).id();
    for client in [&buyer, &company.client] {
        let change = property(&company, &json!({ "client_id": client, "since": "2026-09-01" }));
        let _ = put(&company.office, &place, &change).await;
    }
    let file = company.app.file().file_name().unwrap().to_owned();
    let (seller, id) = (company.client.clone(), company.property.clone());
    let folder = company.app.stop().await;
    without_entries(&folder.path().join(&file));
    // The spans as they were written then: each change, whatever became of it.
    let book = Connection::open(folder.path().join(&file)).unwrap();
    let stay = "CREATE TRIGGER ownerships_stay BEFORE DELETE ON ownerships BEGIN SELECT RAISE(ABORT, 'ownerships are never deleted'); END;";
    book.execute_batch(&format!("DROP TRIGGER ownerships_stay; DELETE FROM ownerships; {stay}")).unwrap();
    for (client, since) in [(&seller, "0001-01-01"), (&buyer, "2026-09-01"), (&seller, "2026-09-01")] {
        let row = "INSERT INTO ownerships (property_id, client_id, since) VALUES (?1, ?2, ?3)";
        book.execute(row, [&id, client, since]).unwrap();
    }
    drop(book);
    let app = harness::TestApp::reopen(folder).await;
    let office = app.sign_in("office", None).await;
    assert_eq!(office.get(&place).await.expect(200).body["client_since"], Value::Null);
    let folder = app.stop().await;
    let found = server::book::verify::check_file(&folder.path().join(file)).await.unwrap();
    let about_owners: Vec<&String> = found.faults.iter().filter(|fault| fault.contains("whose")).collect();
    assert_eq!(about_owners, [""; 0], "{:?}", found.faults);
}
