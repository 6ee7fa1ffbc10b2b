//! The check of a book finds what was changed behind the server's back.

use harness::{new_id, world::Company};
use rusqlite::Connection;
use serde_json::json;
use server::book::verify::check_file;

/// A book with something of everything; then something is done to it without the server.
async fn faults_after(tamper: &[&str]) -> Vec<String> {
    let company = Company::in_maryland().await;
    let clearances = [new_id(), new_id()];
    for clearance in &clearances {
        let address = format!("/api/v1/clearances/{clearance}");
        let _ = company.phone.put(&address, &company.plan(&company.rear, "5")).await.expect(201);
    }
    let _ = company.phone.delete(&format!("/api/v1/clearances/{}", clearances[1])).await.expect(200);
    let mut record = company.record(&company.rear, "5");
    record["clearance_id"] = json!(clearances[0]);
    let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await.expect(201);
    let id = company.put_down(&company.front, "20").await;
    let change = json!({ "application_id": id, "reason": "Weighed again.", "change": { "lines": [{ "section_id": company.front, "product_lb": "21" }] } });
    let _ = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &change).await.expect(201);
    let too_much = company.record(&company.front, "260");
    let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &too_much).await.expect(422);
    let reviews = company.owner.get("/api/v1/reviews").await.expect(200).body;
    let address = format!("/api/v1/reviews/{}", reviews["items"][0]["record_id"].as_str().unwrap());
    let _ = company.owner.put(&address, &json!({ "note": "A slip of the finger." })).await.expect(200);
    let buyer = json!({ "name": "Client 002", "mailing_address": "2 Street B" });
    let buyer = company.office.post("/api/v1/clients", &buyer).await.expect(201).id();
    let sold = json!({
        "client_id": buyer, "name": "Home", "address": "1 Street A, Sampletown", "postal_code": "21000",
        "time_zone": "America/New_York", "rule_sets": ["us-md"],
    });
    let property = format!("/api/v1/properties/{}", company.property);
    let _ = company.office.put_version(&property, "*", &sold).await.expect(200);
    let folder = company.app.stop().await;
    let file = folder.path().join("book.db");
    let connection = Connection::open(&file).unwrap();
    let triggers: Vec<String> = {
        let mut found = connection.prepare("SELECT name FROM sqlite_schema WHERE type = 'trigger'").unwrap();
        found.query_map([], |row| row.get(0)).unwrap().map(Result::unwrap).collect()
    };
    for sql in tamper {
        // The triggers refuse it; somebody who can write the file can also drop them.
        for trigger in &triggers {
            connection.execute_batch(&format!("DROP TRIGGER IF EXISTS {trigger}")).unwrap();
        }
        connection.execute_batch(sql).unwrap();
    }
    drop(connection);
    check_file(&file).await.unwrap().faults
}

#[tokio::test]
async fn an_untouched_book_has_no_faults() {
    assert_eq!(faults_after(&[]).await, Vec::<String>::new());
}

#[tokio::test]
async fn every_kind_of_change_shows() {
    let changes = [
        (
            "an amount in the ledger",
            "UPDATE application_lines SET nitrogen = nitrogen - 1 WHERE product > 0",
            "the ledger of",
        ),
        (
            "the content of a record",
            "UPDATE applications SET content = replace(content, '\"20\"', '\"19\"')",
            "the content of",
        ),
        ("a decision", "UPDATE decisions SET body = replace(body, 'front lawn', 'back lawn')", "the decision of"),
        ("a removed line", "DELETE FROM application_lines WHERE seq = 1", "do not follow from its records"),
        ("a removed entry", "DELETE FROM journal WHERE seq = 5", "journal entry 5 is missing"),
        (
            "a changed entry",
            "UPDATE journal SET payload = replace(payload, 'Client 001', 'Client 002')",
            "does not follow from the one before",
        ),
        ("a label", "UPDATE products SET label = replace(label, '\"24\"', '\"12\"')", "the label of"),
        ("an area", "UPDATE measurements SET area = area + 1", "the area of"),
        ("stock", "UPDATE stock_movements SET mass = mass + 1 WHERE kind = 'applied'", "the stock movement of"),
        ("a stock total", "UPDATE stock_totals SET mass = mass + 1", "the stock of"),
        ("a removed correction", "DELETE FROM corrections", "the content of"),
        ("a mark", "UPDATE applications SET beyond_the_rules = 1", "the row of"),
        ("a mark of a correction", "UPDATE corrections SET beyond_the_rules = 1", "the row of"),
        ("who did it", "UPDATE applications SET person_name = 'Somebody Else'", "the row of"),
        ("when it came in", "UPDATE applications SET received_at = received_at - 1", "the row of"),
        ("the day", "UPDATE applications SET applied_on = '2026-09-14'", "the row of"),
        (
            "whose clearance",
            "UPDATE clearances SET person_id = (SELECT id FROM people WHERE role = 'owner')",
            "the row of",
        ),
        ("an attempt", "DELETE FROM attempts", "the content of"),
        ("a clearance that was used", "DELETE FROM clearance_ends WHERE how = 'used'", "the clearance that was used"),
        ("a clearance given back", "DELETE FROM clearance_ends WHERE how = 'given_back'", "the end of"),
        ("a review", "DELETE FROM reviews", "record"),
        ("a review's words", "UPDATE reviews SET note = 'Fine.'", "differs in note"),
        (
            "an invented review",
            "INSERT INTO reviews SELECT id, entered_by, 'Fine.', 0 FROM applications LIMIT 1",
            "reviews: 2 rows",
        ),
        ("whose it was", "UPDATE ownerships SET since = '2025-01-01' WHERE seq = 2", "whose property"),
        ("a change of hands", "DELETE FROM ownerships WHERE seq = 2", "whose property"),
        ("rule sets", "UPDATE properties SET rule_sets = '[]'", "differs in rule_sets"),
        ("a soil report", "UPDATE soil_reports SET phosphorus = 'low'", "differs in phosphorus"),
        ("a visit", "UPDATE visits SET status = 'done'", "differs in status"),
        ("a name", "UPDATE people SET name = 'Somebody Else' WHERE role = 'technician'", "differs in name"),
        ("a lawn", "UPDATE sections SET water = 'unknown'", "differs in water"),
        ("how pages write", "UPDATE settings SET date_order = 'month_day_year'", "settings: 1 rows"),
        ("a delivery", "UPDATE lots SET supplier = 'Another'", "differs in supplier"),
        (
            "an invented delivery",
            "INSERT INTO stock_movements (id, product_id, kind, mass, moved_on, person_id, recorded_at)
             SELECT 'x', id, 'received', 1, '2026-01-01', (SELECT id FROM people LIMIT 1), 0 FROM products",
            "stock_movements: ",
        ),
    ];
    for (what, sql, expected) in changes {
        let faults = faults_after(&[sql]).await;
        assert!(faults.iter().any(|fault| fault.contains(expected)), "{what}: {faults:#?}");
    }
}
