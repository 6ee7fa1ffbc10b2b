//! A value has more than one spelling. What the office enters is spelled as the thing itself writes it, and a book that has an
//! entry in another one is whole.

use harness::world::{self, Company};
use rusqlite::Connection;
use serde_json::{Value, json};
use server::book::verify::check_file;

use crate::rewritten::{guarded_again, rechained, unguarded};

/// Facts in two spellings: as they are sent, and as they are written.
fn spellings() -> Vec<(&'static str, Value, Value)> {
    let near = |sent: &str, kept: &str| {
        let facts = |distance: &str| json!({ "water": "near", "water_distance_ft": distance });
        ("sections", facts(sent), facts(kept))
    };
    let at = |sent: [Value; 2], kept: [f64; 2]| {
        let facts = |[latitude, longitude]: [Value; 2]| json!({ "latitude": latitude, "longitude": longitude });
        ("properties", facts(sent), facts(kept.map(Value::from)))
    };
    let state = json!({ "state": "us-md" });
    let place = json!({ "state": "us-md", "county": null, "municipality": null });
    vec![
        near("5.0", "5"),
        near("5.50", "5.5"),
        near("5", "5"),
        ("sections", json!({ "natural_strip_ft": "3.0" }), json!({ "natural_strip_ft": "3" })),
        ("sections", json!({ "natural_strip_ft": "12.70" }), json!({ "natural_strip_ft": "12.7" })),
        at([json!(39), json!(-76)], [39.0, -76.0]),
        at([json!(39.0), json!(-76.5)], [39.0, -76.5]),
        at([json!(0), json!(3.95e1)], [0.0, 39.5]),
        ("properties", json!({ "place": state }), json!({ "place": place })),
    ]
}

/// A lawn or a place of its own, so that nothing covers what is entered.
async fn thing(company: &Company, noun: &str) -> String {
    if noun == "sections" {
        return world::section(&company.office, &company.property, "side lawn", "1000").await;
    }
    world::property(&company.office, &company.client, &["us-md"]).await
}

/// A lawn as it stands, to be written again.
fn section_of(stands: &Value) -> Value {
    let mut body = stands.clone();
    let derived = ["id", "area_sqft", "measured_on", "version", "created_at"];
    body.as_object_mut().unwrap().retain(|name, _| !derived.contains(&name.as_str()));
    body
}

fn entry(facts: &Value) -> Value {
    json!({ "facts": facts, "since": "2026-02-01", "reason": "Measured again." })
}

#[tokio::test]
async fn an_entry_is_written_as_the_thing_itself_writes_it() {
    let company = Company::in_maryland().await;
    for (noun, sent, written) in spellings() {
        let path = format!("/api/v1/{noun}/{}", thing(&company, noun).await);
        let made = company.office.post(&format!("{path}/history"), &entry(&sent)).await.expect(201).body;
        assert_eq!(made["facts"].to_string(), written.to_string(), "{noun}: {sent}");
        let now = company.office.get(&path).await.expect(200).body;
        assert!(written.as_object().unwrap().iter().all(|(name, value)| now[name] == *value), "{now}");
    }
    // An id may be in capitals.
    let buyer = json!({ "name": "Client 002", "mailing_address": "2 Street B, Sampletown" });
    let buyer = company.office.post("/api/v1/clients", &buyer).await.expect(201).id();
    let path = format!("/api/v1/properties/{}/history", company.property);
    let sold = entry(&json!({ "client_id": buyer.to_uppercase() }));
    let made = company.office.post(&path, &sold).await.expect(201).body;
    assert_eq!(made["facts"]["client_id"], buyer);
    assert_eq!(check_file(&company.app.file()).await.unwrap().faults, Vec::<String>::new());
}

#[tokio::test]
async fn a_book_that_kept_another_spelling_is_whole() {
    let company = Company::in_maryland().await;
    let mut things = Vec::new();
    for (noun, sent, _) in spellings() {
        let id = thing(&company, noun).await;
        let made = company.office.post(&format!("/api/v1/{noun}/{id}/history"), &entry(&sent)).await.expect(201).id();
        things.push((noun, id, made, sent));
    }
    let file = company.app.file().file_name().unwrap().to_owned();
    let folder = company.app.stop().await;
    let path = folder.path().join(&file);
    let book = unguarded(&path);
    kept_as_sent(&book, &things);
    guarded_again(&book);
    drop(book);
    assert_eq!(check_file(&path).await.unwrap().faults, Vec::<String>::new());
    // What is sent again in the thing's own spelling says nothing new.
    let app = harness::TestApp::reopen(folder).await;
    let office = app.sign_in("office", None).await;
    let (_, id, ..) = &things[0];
    let lawn = format!("/api/v1/sections/{id}");
    let stands = office.get(&lawn).await.expect(200).body;
    let again = section_of(&stands);
    let _ = office.put_version(&lawn, "*", &again).await.expect(200);
    let entries = office.get(&format!("{lawn}/history")).await.expect(200).body["items"].as_array().unwrap().len();
    assert_eq!(entries, 2);
    // A value that is another one still shows.
    drop(office);
    let folder = app.stop().await;
    let path = folder.path().join(&file);
    let book = Connection::open(&path).unwrap();
    let (_, id, made, _) = &things[0];
    let other = json!({ "water": "near", "water_distance_ft": "5.1" }).to_string();
    book.execute_batch("DROP TRIGGER dated_entries_keep").unwrap();
    book.execute("UPDATE dated_entries SET facts = ?1 WHERE id = ?2", [&other, made]).unwrap();
    guarded_again(&book);
    drop(book);
    let faults = check_file(&path).await.unwrap().faults;
    assert!(faults.iter().any(|fault| fault.contains("what stood when") && fault.contains(id.as_str())), "{faults:?}");
}

/// Entries as an earlier version kept them, in the book and in the journal.
fn kept_as_sent(book: &Connection, things: &[(&str, String, String, Value)]) {
    book.execute_batch("DROP TRIGGER dated_entries_keep").unwrap();
    for (_, _, made, sent) in things {
        let update = "UPDATE dated_entries SET facts = ?1 WHERE id = ?2";
        assert_eq!(book.execute(update, [&sent.to_string(), made]).unwrap(), 1);
    }
    rechained(book, |act, payload| {
        let of_it = things.iter().find(|(_, _, made, _)| act == "entry.added" && payload["id"] == made.as_str());
        if let Some((.., sent)) = of_it {
            payload["facts"] = sent.clone();
        }
    });
}

#[tokio::test]
async fn what_no_state_shows_must_be_readable_too() {
    let company = Company::in_maryland().await;
    let path = format!("/api/v1/sections/{}/history", company.front);
    let first = company.office.post(&path, &entry(&json!({ "species": "zoysia" }))).await.expect(201).id();
    let _ = company.office.post(&path, &entry(&json!({ "species": "bermuda" }))).await.expect(201);
    let mut hidden = entry(&json!({ "species": "plastic" }));
    hidden["corrects"] = json!(first);
    let refused = company.office.post(&path, &hidden).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/facts/species"]);
}
