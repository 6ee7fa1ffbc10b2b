//! A run that goes on from where an earlier one had come to: what it reads, what it says, and what only a whole one finds.

use std::path::{Path, PathBuf};

use harness::{User, new_id, world::Company};
use server::book::verify::{Base, Found, check_file, checked_since};

use crate::rewritten::{guarded_again, unguarded};

async fn nightly(company: &Company, since: &Path) -> Found {
    checked_since(&company.app.file(), &[], Some(since)).await.unwrap()
}

/// Does something to the book that its triggers refuse, and puts them back.
fn tamper(file: &Path, sql: &str) {
    let book = unguarded(file);
    for table in ["application_lines", "stock_movements", "assignments", "visits"] {
        book.execute_batch(&format!("DROP TRIGGER IF EXISTS {table}_keep; DROP TRIGGER IF EXISTS {table}_stay"))
            .unwrap();
    }
    assert!(book.execute(sql, []).unwrap() > 0, "{sql}");
    guarded_again(&book);
}

fn none(found: &Found) {
    assert_eq!(found.faults, Vec::<String>::new());
}

/// A book with records, a clearance that was used, one that was given back, and a correction, and the file of a first run.
async fn begun() -> (Company, tempfile::TempDir, PathBuf) {
    let company = Company::in_maryland().await;
    worked(&company, "5").await;
    let folder = tempfile::tempdir().unwrap();
    let since = folder.path().join("verified.txt");
    let first = nightly(&company, &since).await;
    none(&first);
    assert!(first.base.is_none() && first.read == first.entries, "the first run reads everything");
    assert!(since.exists());
    (company, folder, since)
}

async fn worked(company: &Company, product_lb: &str) {
    let put = async |who: &User, address: String, body| who.put(&address, &body).await.expect(201);
    let (used, back) = (new_id(), new_id());
    for id in [&used, &back] {
        let _ = put(&company.phone, format!("/api/v1/clearances/{id}"), company.plan(&company.rear, product_lb)).await;
    }
    let _ = company.phone.delete(&format!("/api/v1/clearances/{back}")).await.expect(200);
    let mut record = company.record(&company.rear, product_lb);
    record["clearance_id"] = serde_json::json!(used);
    record["notes"] = serde_json::json!("The gate was open.");
    let id = new_id();
    let _ = put(&company.phone, format!("/api/v1/applications/{id}"), record).await;
    let change = serde_json::json!({
        "application_id": id, "reason": "Weighed again.",
        "change": { "lines": [{ "section_id": company.rear, "product_lb": "1" }] },
    });
    let _ = put(&company.phone, format!("/api/v1/corrections/{}", new_id()), change).await;
}

#[tokio::test]
async fn what_is_new_is_read_and_what_was_read_is_not() {
    let (company, _folder, since) = begun().await;
    let before = Base::read(&since).unwrap().unwrap();
    for round in 0..3 {
        worked(&company, "2").await;
        let found = nightly(&company, &since).await;
        none(&found);
        assert!(found.base.is_some() && found.read < found.entries, "{round}: {} of {}", found.read, found.entries);
        assert_eq!(found.sections, 1, "the lawn that got something");
        let base = Base::read(&since).unwrap().unwrap();
        assert!(base.entry() > before.entry() && base.entry() == found.entries);
        assert_eq!(base.whole, before.whole, "when everything was read last stays");
        // What the short way counted is what the long way counts.
        let whole = check_file(&company.app.file()).await.unwrap();
        none(&whole);
        assert_eq!((whole.counted, whole.entries, whole.records), (found.counted, found.entries, found.records));
    }
    // A night in which nothing happened.
    none(&nightly(&company, &since).await);
}

#[tokio::test]
async fn a_change_of_what_is_new_shows_and_the_file_stays_where_it_was() {
    let (company, _folder, since) = begun().await;
    worked(&company, "2").await;
    let before = std::fs::read(&since).unwrap();
    let newest = "(SELECT max(seq) FROM applications)";
    let changes = [
        (format!("UPDATE applications SET person_name = 'Somebody Else' WHERE seq = {newest}"), "the row of"),
        ("UPDATE application_lines SET nitrogen = nitrogen + 1 WHERE seq = (SELECT max(seq) FROM application_lines)".to_owned(), "the ledger of"),
        ("UPDATE journal SET payload = '{}' WHERE seq = (SELECT max(seq) FROM journal WHERE act = 'clearance.given_back')".to_owned(), "does not follow"),
        ("UPDATE clients SET name = 'Client 009'".to_owned(), "differs in name"),
    ];
    let folder = company.app.stop().await;
    let closed = folder.path().join("book.db");
    let sound = std::fs::read(&closed).unwrap();
    for (sql, expected) in &changes {
        std::fs::write(&closed, &sound).unwrap();
        tamper(&closed, sql);
        let found = checked_since(&closed, &[], Some(&since)).await.unwrap();
        assert!(
            found.base.is_some() && found.faults.iter().any(|fault| fault.contains(expected)),
            "{sql}: {:?}",
            found.faults
        );
        assert_eq!(std::fs::read(&since).unwrap(), before, "the next run does not go on from there");
    }
}

#[tokio::test]
async fn what_is_old_shows_when_everything_is_read() {
    let (company, _folder, since) = begun().await;
    worked(&company, "2").await;
    let folder = company.app.stop().await;
    let file = folder.path().join("book.db");
    tamper(&file, "UPDATE applications SET person_name = 'Somebody Else' WHERE seq = 1");
    none(&checked_since(&file, &[], Some(&since)).await.unwrap());
    let whole = checked_since(&file, &[], None).await.unwrap().faults;
    assert!(whole.iter().any(|fault| fault.contains("the row of")), "{whole:?}");
}

#[tokio::test]
async fn a_journal_that_is_another_one_is_told_and_read_whole() {
    let (company, _folder, since) = begun().await;
    let folder = company.app.stop().await;
    let file = folder.path().join("book.db");
    let sound = std::fs::read(&file).unwrap();
    // An entry taken out far up: the newest is the signed one, and the way back from it is broken.
    tamper(&file, "DELETE FROM journal WHERE seq = 4");
    let faults = checked_since(&file, &[], Some(&since)).await.unwrap().faults;
    assert!(faults.iter().any(|fault| fault.contains("1 are missing, and 1 do not follow")), "{faults:?}");
    // The end is lost.
    std::fs::write(&file, &sound).unwrap();
    tamper(&file, "DELETE FROM journal WHERE seq = (SELECT max(seq) FROM journal)");
    let found = checked_since(&file, &[], Some(&since)).await.unwrap();
    assert!(found.base.is_none(), "everything was read");
    assert!(found.faults.iter().any(|fault| fault.contains("was cut off")), "{:?}", found.faults);
    // A file of somebody else's is no beginning, and is left alone.
    std::fs::write(&file, &sound).unwrap();
    let note = since.with_file_name("note.txt");
    std::fs::write(&note, "Call the office.").unwrap();
    let refused = checked_since(&file, &[], Some(&note)).await.unwrap_err();
    assert!(refused.contains("is left as it is"), "{refused}");
    assert_eq!(std::fs::read_to_string(&note).unwrap(), "Call the office.");
    // What an earlier run counted is held, too.
    let less = std::fs::read_to_string(&since).unwrap().replacen("\"records\":4", "\"records\":3", 1);
    std::fs::write(&since, less).unwrap();
    let faults = checked_since(&file, &[], Some(&since)).await.unwrap().faults;
    assert!(faults.iter().any(|fault| fault.contains("of them stand in the journal")), "{faults:?}");
}
