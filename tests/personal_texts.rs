//! What was sent with a refused record, and the reason of a correction, stand apart from table and journal, so that they can be
//! destroyed; who made a correction or an addition is what that person was called then.

use harness::{TestApp, new_id, world::Company};
use rusqlite::{Connection, params};
use serde_json::{Value, json};
use server::{book::verify::check_file, secret::sha256};

use crate::{
    packed,
    pages::visitor::Visitor,
    rewritten::{destroyed, guarded_again, rechained, unguarded},
};

/// Words that stand nowhere but among the texts about people.
const NOTES: &str = "Mrs. Somebody met me at the gate.";
const REASON: &str = "Mr. Somebody weighed it again.";

/// A company with a refused record, a correction and an addition, and the ids of the four.
struct Told {
    company: Company,
    attempt: String,
    record: String,
    correction: String,
}

async fn told() -> Told {
    let company = Company::in_maryland().await;
    let record = company.put_down(&company.front, "20").await;
    let mut too_much = company.record(&company.front, "260");
    too_much["notes"] = json!(NOTES);
    let path = format!("/api/v1/applications/{}", new_id());
    let _ = company.phone.put(&path, &too_much).await.problem(422, "stopped-by-rules");
    let change = json!({ "application_id": record, "reason": REASON, "change": { "lines": [{ "section_id": company.front, "product_lb": "21" }] } });
    let correction = new_id();
    let path = format!("/api/v1/corrections/{correction}");
    let made = company.phone.put(&path, &change).await.expect(201).body;
    assert_eq!((&made["reason"], &made["person_name"]), (&json!(REASON), &json!("Tech 01")));
    assert_eq!((&made["device_name"], &made["texts_destroyed"]), (&json!("Phone of Tech 01"), &json!(false)));
    let added = json!({ "seen": { "sky": "clear" } });
    let _ = company.phone.post(&format!("/api/v1/applications/{record}/additions"), &added).await.expect(201);
    let reviews = company.owner.get("/api/v1/reviews").await.expect(200).body;
    let refused = reviews["items"].as_array().unwrap().iter().find(|item| item["why"] == "refused_attempt").unwrap();
    let attempt = refused["record_id"].as_str().unwrap().to_owned();
    Told { company, attempt, record, correction }
}

/// How often a text stands in the whole of a book but among the texts about people.
fn in_plain_words(file: &std::path::Path, text: &str) -> i64 {
    let book = Connection::open(file).unwrap();
    packed::with_functions(&book);
    let pattern = packed::PATTERN;
    let packed = (0..4).map(|line| format!("UNION ALL SELECT unpacked(j.packed, {pattern}, {line}) FROM journal AS j"));
    let all = format!(
        "SELECT count(*) FROM (SELECT payload AS words FROM journal UNION ALL SELECT content FROM attempts
         UNION ALL SELECT content FROM corrections UNION ALL SELECT content FROM applications UNION ALL SELECT body FROM decisions
         UNION ALL SELECT body FROM text_patterns UNION ALL SELECT unpacked(j.packed, {pattern}, 0) FROM applications AS j {})
         WHERE instr(words, ?1) > 0",
        packed.collect::<Vec<_>>().join(" ")
    );
    book.query_row(&all, [text], |row| row.get(0)).unwrap()
}

#[tokio::test]
async fn a_refused_record_and_a_correction_are_told_apart_from_table_and_journal() {
    let Told { company, attempt, correction, record } = told().await;
    for text in [NOTES, REASON, "Tech 01 on"] {
        assert_eq!(in_plain_words(&company.app.file(), text), 0, "{text}");
    }
    assert!(in_plain_words(&company.app.file(), "front lawn") > 1, "what is packed is looked through");
    // The API has them as before.
    let shown = company.owner.get(&format!("/api/v1/attempts/{attempt}")).await.expect(200).body;
    let content: Value = serde_json::from_str(shown["content"].as_str().unwrap()).unwrap();
    assert_eq!((&content["notes"], &shown["destroyed"]), (&json!(NOTES), &Value::Null));
    let path = format!("/api/v1/corrections/{correction}");
    assert_eq!(company.phone.get(&path).await.expect(200).body["reason"], REASON);
    // The same again is known, and another reason under the same id is named.
    let mut change = json!({ "application_id": record, "reason": REASON, "change": { "lines": [{ "section_id": company.front, "product_lb": "21" }] } });
    let _ = company.phone.put(&path, &change).await.expect(200);
    change["reason"] = json!("Weighed by nobody.");
    assert_eq!(company.phone.put(&path, &change).await.problem(409, "id-reused").faults(), ["#/reason"]);
    assert_eq!(check_file(&company.app.file()).await.unwrap().faults, Vec::<String>::new());
}

#[tokio::test]
async fn the_same_refused_again_is_one_attempt_and_other_notes_are_another() {
    let company = Company::in_maryland().await;
    let path = format!("/api/v1/applications/{}", new_id());
    let mut sent = company.record(&company.front, "260");
    let attempts = || -> i64 {
        let book = Connection::open(company.app.file()).unwrap();
        book.query_row("SELECT count(*) FROM attempts", [], |row| row.get(0)).unwrap()
    };
    for (notes, expected) in [(None, 1), (None, 1), (Some(NOTES), 2), (Some(NOTES), 2), (Some("Nobody there."), 3)] {
        sent["notes"] = json!(notes);
        let _ = company.phone.put(&path, &sent).await.problem(422, "stopped-by-rules");
        assert_eq!(attempts(), expected, "{notes:?}");
    }
    assert_eq!(check_file(&company.app.file()).await.unwrap().faults, Vec::<String>::new());
}

#[tokio::test]
async fn destroyed_texts_are_told_in_words_and_the_chain_verifies() {
    let Told { company, attempt, record, correction } = told().await;
    let folder = company.app.stop().await;
    let file = folder.path().join("book.db");
    {
        let book = unguarded(&file);
        let every = "SELECT id FROM record_additions UNION ALL SELECT ?1 UNION ALL SELECT ?2 UNION ALL SELECT ?3";
        let mut rows = book.prepare(every).unwrap();
        let ids: Vec<String> = rows
            .query_map(params![attempt, record, correction], |row| row.get(0))
            .unwrap()
            .map(Result::unwrap)
            .collect();
        for id in &ids {
            destroyed(&book, id);
        }
        guarded_again(&book);
    }
    assert_eq!(check_file(&file).await.unwrap().faults, Vec::<String>::new());
    let company = Company { app: TestApp::reopen(folder).await, ..company };
    let office = company.app.sign_in("office", None).await;
    let words = "Destroyed, since it need not be kept any more.";
    let corrected = office.get(&format!("/api/v1/corrections/{correction}")).await.expect(200).body;
    assert_eq!((&corrected["reason"], &corrected["texts_destroyed"]), (&json!(words), &json!(true)));
    assert_eq!((&corrected["person_name"], &corrected["device_name"]), (&Value::Null, &Value::Null));
    let owner = company.app.sign_in("owner", None).await;
    let refused = owner.get(&format!("/api/v1/attempts/{attempt}")).await.expect(200).body;
    assert_eq!(refused["destroyed"], words);
    assert!(!refused["content"].as_str().unwrap().contains("notes"), "{refused}");
    let told = office.get(&format!("/api/v1/applications/{record}/particulars")).await.expect(200).body;
    assert_eq!(told["additions"][0]["texts_destroyed"], true);
    let page = Visitor::named(&company, "office").await.open(&format!("/records/{record}")).await.html;
    assert_eq!(page.matches("name destroyed").count(), 2, "{page}");
    assert!(page.contains(words) && !page.contains("Tech 01 on Phone"), "{page}");
}

#[tokio::test]
async fn who_made_a_correction_or_an_addition_stays_the_name_of_then() {
    let Told { company, record, .. } = told().await;
    let person = format!("/api/v1/people/{}", company.phone.id.as_deref().unwrap());
    let renamed = json!({ "name": "Tech 77", "role": "technician", "active": true });
    let _ = company.owner.put_version(&person, "*", &renamed).await.expect(200);
    let page = Visitor::named(&company, "office").await.open(&format!("/records/{record}")).await.html;
    assert_eq!(page.matches("Tech 01 on Phone of Tech 01").count(), 2, "{page}");
    assert!(!page.contains("Tech 77"), "{page}");
    assert_eq!(check_file(&company.app.file()).await.unwrap().faults, Vec::<String>::new());
}

#[tokio::test]
async fn what_an_earlier_version_kept_in_plain_words_is_read_and_verified() {
    let Told { company, attempt, record, correction } = told().await;
    let folder = company.app.stop().await;
    let file = folder.path().join("book.db");
    {
        // As it was written before: everything in the content, nothing beside it, and nothing packed.
        packed::unpack(&rusqlite::Connection::open(&file).unwrap());
        let book = unguarded(&file);
        for (table, id, name, text) in
            [("attempts", &attempt, "notes", NOTES), ("corrections", &correction, "reason", REASON)]
        {
            let select = format!("SELECT content FROM {table} WHERE id = ?1");
            let content: String = book.query_row(&select, [id], |row| row.get(0)).unwrap();
            let mut old: Value = serde_json::from_str(&content).unwrap();
            old[name] = json!(text);
            let update = format!("UPDATE {table} SET content = ?1, fingerprint = ?2 WHERE id = ?3");
            let old = old.to_string();
            assert_eq!(book.execute(&update, params![old, sha256(&old), id]).unwrap(), 1);
            assert_eq!(book.execute("DELETE FROM personal_texts WHERE record_id = ?1", [id]).unwrap(), 1);
            let act = if table == "attempts" { "attempt.refused" } else { "application.corrected" };
            rechained(&book, |of, told| {
                if of == act {
                    told["content"] = serde_json::from_str(&old).unwrap();
                    told["row"]["fingerprint"] = json!(sha256(&old));
                    told.as_object_mut().unwrap().remove("texts_sha256");
                }
            });
        }
        guarded_again(&book);
    }
    assert_eq!(check_file(&file).await.unwrap().faults, Vec::<String>::new());
    let company = Company { app: TestApp::reopen(folder).await, ..company };
    let owner = company.app.sign_in("owner", None).await;
    let corrected = owner.get(&format!("/api/v1/corrections/{correction}")).await.expect(200).body;
    assert_eq!((&corrected["reason"], &corrected["person_name"]), (&json!(REASON), &Value::Null));
    let refused = owner.get(&format!("/api/v1/attempts/{attempt}")).await.expect(200).body;
    assert!(refused["content"].as_str().unwrap().contains(NOTES) && refused["destroyed"].is_null(), "{refused}");
    let page = Visitor::named(&company, "office").await.open(&format!("/records/{record}")).await.html;
    assert!(page.contains("Tech 01 (the name on file now)"), "{page}");
}
