//! The check of a book finds what was changed behind the server's back.

use harness::{new_id, world::Company};
use rusqlite::Connection;
use serde_json::json;
use server::book::verify::check_file;

/// A book with a clearance, a record and a correction; then something is done to it without the server.
async fn faults_after(tamper: &[&str]) -> Vec<String> {
    let company = Company::in_maryland().await;
    let _ = company
        .phone
        .put(&format!("/api/v1/clearances/{}", new_id()), &company.plan(&company.rear, "10"))
        .await
        .expect(201);
    let id = company.put_down(&company.front, "20").await;
    let change = json!({ "application_id": id, "reason": "Weighed again.", "change": { "lines": [{ "section_id": company.front, "product_lb": "21" }] } });
    let _ = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &change).await.expect(201);
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
    ];
    for (what, sql, expected) in changes {
        let faults = faults_after(&[sql]).await;
        assert!(faults.iter().any(|fault| fault.contains(expected)), "{what}: {faults:#?}");
    }
}
