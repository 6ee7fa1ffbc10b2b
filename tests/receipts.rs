//! Receipts: what leaves the book signed, and what is told of a book that is held against them later.

use std::{path::Path, process::ExitCode};

use domain::receipt::Signed;
use harness::{TestApp, User, new_id, world::Company};
use rusqlite::Connection;
use serde_json::json;
use server::{
    backups::{Plan, Source, round},
    book::{
        receipts::{
            against::{self, Missing},
            missing_in,
        },
        restore,
        verify::{Found, check_file, check_file_against, public_key, run},
    },
    clock::Clock,
    copies::target::Target,
    signing,
};

use crate::{
    copies::{put_back, restored},
    rewritten::{guarded_again, rechained, unguarded},
};

/// The one receipt in a text.
fn of(text: &str) -> Signed {
    let found = against::read(text).unwrap();
    assert_eq!(found.len(), 1, "{text}");
    found.into_iter().next().unwrap()
}

/// A receipt of this moment.
async fn now(who: &User) -> Signed {
    of(&who.get("/api/v1/receipt").await.expect(200).text)
}

async fn another_client(office: &User, name: &str) {
    let _ = office.post("/api/v1/clients", &json!({ "name": name, "mailing_address": "9 Street C" })).await.expect(201);
}

async fn held(file: &Path, receipts: &[Signed]) -> Found {
    check_file_against(file, receipts, None).await.unwrap()
}

/// What is said of a book that has no fault but for one receipt.
async fn alone(file: &Path, receipt: &Signed) -> String {
    guarded_again(&Connection::open(file).unwrap());
    assert_eq!(check_file(file).await.unwrap().faults, Vec::<String>::new(), "nothing shows within the file");
    let faults = held(file, std::slice::from_ref(receipt)).await.faults;
    assert_eq!(faults.len(), 1, "{faults:?}");
    faults.into_iter().next().unwrap()
}

#[tokio::test]
async fn every_paper_and_every_answer_that_a_phone_keeps_brings_one() {
    let company = Company::in_maryland().await;
    let key = company.app.nobody().get("/api/v1/public-key").await.expect(200).body;
    let clearance = format!("/api/v1/clearances/{}", new_id());
    let granted = company.phone.put(&clearance, &company.plan(&company.rear, "5")).await.expect(201);
    let (id, record) = (new_id(), company.record(&company.front, "20"));
    let address = format!("/api/v1/applications/{id}");
    let recorded = company.phone.put(&address, &record).await.expect(201);
    let again = company.phone.put(&address, &record).await.expect(200);
    let change = json!({ "application_id": id, "reason": "It was the neighbor's." });
    let corrected = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &change).await.expect(201);
    let statement = format!("/api/v1/statements?year=2026&client_id={}", company.client);
    let as_json = company.owner.get(&statement).await.expect(200).text;
    let as_csv = company.owner.get(&format!("{statement}&format=csv")).await.expect(200).text;
    let header = |reply: &harness::Reply| reply.headers["receipt"].to_str().unwrap().to_owned();
    let mut texts: Vec<String> = [&granted, &recorded, &again, &corrected].map(header).to_vec();
    texts.extend([as_json, as_csv]);
    let receipts: Vec<Signed> = texts.iter().map(|text| of(text)).collect();
    for receipt in &receipts {
        assert!(signing::stands(receipt), "{}", receipt.text());
        assert_eq!(receipt.receipt.company, "Demonstration Company");
        assert_eq!(receipt.receipt.book, key["book_id"].as_str().unwrap());
        assert_eq!(receipt.receipt.key, key["public_key"].as_str().unwrap());
        assert_eq!(receipt.receipt.signed_at, company.app.clock.now());
    }
    let entries: Vec<i64> = receipts.iter().map(|receipt| receipt.receipt.entry).collect();
    let last = *entries.last().unwrap();
    assert_eq!(entries, [last - 2, last - 1, last - 1, last, last, last], "each covers what it answers, and no less");
    // Who only asks gets none, and who is refused neither.
    assert!(!company.phone.get(&address).await.expect(200).headers.contains_key("receipt"));
    let folder = company.app.stop().await;
    let found = held(&folder.path().join("book.db"), &receipts).await;
    assert_eq!((found.faults, found.covered.len()), (Vec::new(), receipts.len()));
}

#[tokio::test]
async fn a_receipt_after_a_write_of_the_office_covers_it() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "1").await;
    let before = now(&company.owner).await.receipt.entry;
    another_client(&company.office, "Client 009").await;
    assert_eq!(now(&company.owner).await.receipt.entry, before + 1);
    company.put_down(&company.front, "1").await;
    assert_eq!(now(&company.owner).await.receipt.entry, before + 2);
}

#[tokio::test]
async fn the_secret_leaves_the_book_nowhere() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "20").await;
    let book = Connection::open(company.app.file()).unwrap();
    let secret: Vec<u8> = book.query_row("SELECT secret FROM signing_key", [], |row| row.get(0)).unwrap();
    let forms = [signing::public_text(&secret), domain::journal::hex(&secret), format!("{secret:?}")];
    let statement = format!("/api/v1/statements?year=2026&client_id={}", company.client);
    for path in [
        "/api/v1/public-key",
        "/api/v1/receipt",
        "/api/v1/settings",
        "/api/v1/journal?limit=200",
        &statement,
        &format!("/api/v1/applications/{id}"),
    ] {
        let text = company.owner.get(path).await.expect(200).text;
        assert!(forms.iter().all(|form| !text.contains(form.as_str())), "{path}");
    }
    let shown = format!("{:?}", company.app.beside());
    assert!(forms.iter().all(|form| !shown.contains(form.as_str())));
    let columns: i64 = book
        .query_row(
            "SELECT count(*) FROM journal WHERE instr(payload, ?1) OR instr(payload, ?2)",
            [&forms[0], &forms[1]],
            |row| row.get(0),
        )
        .unwrap();
    assert_eq!(columns, 0);
}

#[tokio::test]
async fn a_lost_tail_is_told() {
    let company = Company::in_maryland().await;
    let early = now(&company.owner).await;
    another_client(&company.office, "Client 009").await;
    let receipt = now(&company.owner).await;
    let file = company.app.stop().await;
    let file_name = file.path().join("book.db");
    let last = receipt.receipt.entry;
    let book = unguarded(&file_name);
    book.execute_batch(&format!(
        "PRAGMA foreign_keys = OFF; DELETE FROM journal WHERE seq = {last};
         DROP TRIGGER dated_entries_stay; DELETE FROM dated_entries WHERE client_id = (SELECT id FROM clients ORDER BY seq DESC LIMIT 1);
         DELETE FROM clients WHERE seq = (SELECT max(seq) FROM clients);"
    ))
    .unwrap();
    drop(book);
    let said = lines(&held(&file_name, std::slice::from_ref(&receipt)).await.faults, "receipt of entry");
    assert!(said.contains(&format!("ends at entry {}. Entries {last} to {last} are lost", last - 1)), "{said}");
    let found = held(&file_name, &[early]).await;
    assert!(found.covered[0].contains("fits"), "{found:?}");
}

/// The faults that have these words, as one text.
fn lines(faults: &[String], words: &str) -> String {
    faults.iter().filter(|fault| fault.contains(words)).cloned().collect::<Vec<_>>().join("\n")
}

#[tokio::test]
async fn an_old_copy_that_was_put_back_is_told() {
    let company = Company::in_maryland().await;
    let copied = now(&company.owner).await;
    let (owner, office) = (company.owner.token.clone().unwrap(), company.office.token.clone().unwrap());
    let clock = company.app.clock.now();
    let folder = company.app.stop().await;
    let copy = std::fs::read(folder.path().join("book.db")).unwrap();
    let app = TestApp::reopen(folder).await;
    another_client(&app.user(&office, None), "Client 008").await;
    another_client(&app.user(&office, None), "Client 009").await;
    let receipt = now(&app.user(&owner, None)).await;
    let _ = app.stop().await;
    // The copy is put in its place, as it is ...
    let app = TestApp::on_copy_of(&copy).await;
    let file = app.file();
    let said = alone(&file, &receipt).await;
    let last = copied.receipt.entry;
    assert!(said.contains(&format!("ends at entry {last}. Entries {} to {} are lost", last + 1, last + 2)), "{said}");
    // ... and then worked on, a minute later.
    app.clock.advance(std::time::Duration::from_mins(1));
    assert!(app.clock.now() > clock);
    for name in ["Client 010", "Client 011", "Client 012"] {
        another_client(&app.user(&office, None), name).await;
    }
    let said = alone(&file, &receipt).await;
    assert!(said.contains(&format!("An older copy, up to entry {last}, was put back and worked on")), "{said}");
    assert!(held(&file, &[copied]).await.faults.is_empty());
}

#[tokio::test]
async fn a_journal_that_was_written_anew_is_told() {
    let company = Company::in_maryland().await;
    another_client(&company.office, "Client 009").await;
    let receipt = now(&company.owner).await;
    let folder = company.app.stop().await;
    let file = folder.path().join("book.db");
    let book = unguarded(&file);
    rechained(&book, |act, payload| {
        if act == "client.added" && payload["name"] == "Client 009" {
            payload["name"] = json!("Client 010");
        }
    });
    book.execute_batch(
        "DROP TRIGGER dated_entries_keep; UPDATE clients SET name = 'Client 010' WHERE name = 'Client 009';
         UPDATE dated_entries SET facts = replace(facts, 'Client 009', 'Client 010');",
    )
    .unwrap();
    drop(book);
    let said = lines(&held(&file, &[receipt]).await.faults, "receipt of entry");
    assert!(said.contains("The journal was written anew"), "{said}");
}

#[tokio::test]
async fn a_receipt_of_others_and_a_false_one_are_told() {
    let (company, other) = (Company::in_maryland().await, TestApp::empty().await);
    let (own, foreign) = (now(&company.owner).await, now(&other.set_up().await).await);
    let folder = company.app.stop().await;
    let file = folder.path().join("book.db");
    let said = alone(&file, &foreign).await;
    assert!(said.contains("is of other records") && said.contains("Demonstration Company"), "{said}");
    let mut changed = own.clone();
    changed.receipt.entry += 1;
    let said = alone(&file, &changed).await;
    assert!(said.contains("does not carry the signature"), "{said}");
    // Somebody else's key under these records' name: the name follows from the key, so it cannot be.
    let mut claimed = foreign.clone();
    claimed.receipt.book.clone_from(&own.receipt.book);
    assert!(alone(&file, &claimed).await.contains("does not carry the signature"));
    assert!(held(&file, &[own]).await.faults.is_empty());
}

#[tokio::test]
async fn another_key_in_the_file_is_told() {
    let company = Company::in_maryland().await;
    let receipt = now(&company.owner).await;
    let folder = company.app.stop().await;
    let file = folder.path().join("book.db");
    let new = signing::NewKey::make().unwrap();
    let book = Connection::open(&file).unwrap();
    book.execute_batch("DROP TRIGGER signing_key_keep").unwrap();
    let id = signing::book_of(&new.public).to_string();
    let update = "UPDATE signing_key SET secret = ?1, public = ?2, book = ?3";
    assert_eq!(book.execute(update, rusqlite::params![new.secret.as_slice(), new.public.as_slice(), id]).unwrap(), 1);
    drop(book);
    let faults = held(&file, &[receipt]).await.faults;
    assert!(!lines(&faults, "signing_key").is_empty(), "the journal names the key that was made: {faults:?}");
    assert!(lines(&faults, "receipt of entry").contains("under another key"), "{faults:?}");
}

/// A book from before there were receipts gets its key at the next start, with an entry of its own.
#[tokio::test]
async fn an_older_book_gets_its_key_when_it_is_opened() {
    let company = Company::in_maryland().await;
    let receipt = now(&company.owner).await;
    let token = company.owner.token.clone().unwrap();
    let folder = company.app.stop().await;
    let file = folder.path().join("book.db");
    let book = unguarded(&file);
    let made: i64 =
        book.query_row("SELECT seq FROM journal WHERE act = 'signing_key.made'", [], |row| row.get(0)).unwrap();
    book.execute_batch(&format!(
        "DELETE FROM journal WHERE seq = {made}; UPDATE journal SET seq = -seq WHERE seq > {made};
         UPDATE journal SET seq = -seq - 1 WHERE seq < 0; DROP TABLE signing_key;
         DROP TABLE asked_again; DROP INDEX dated_entries_of_owners; DROP VIEW correction_rows;
         DROP VIEW counted_measurements; DROP VIEW counted_soil_reports;
         DROP VIEW placed_measurements; DROP VIEW placed_soil_reports;
         ALTER TABLE measurements DROP COLUMN not_of_this_lawn; ALTER TABLE soil_reports DROP COLUMN not_of_this_lawn;
         ALTER TABLE corrections DROP COLUMN sections;
         DROP TABLE pass_sessions; DROP TABLE limit_moves; DROP TABLE sighting_confirmations; DROP TABLE sightings; DROP INDEX tokens_open; ALTER TABLE tokens DROP COLUMN confirmed_until;
         DROP INDEX security_events_of_failures; DROP INDEX security_events_of_entries; DROP TRIGGER IF EXISTS security_events_keep;
         ALTER TABLE security_events DROP COLUMN last_at; ALTER TABLE security_events DROP COLUMN tries;
         CREATE TRIGGER security_events_keep BEFORE UPDATE ON security_events BEGIN SELECT 1; END;
         DROP INDEX record_additions_in_doubt; ALTER TABLE record_additions DROP COLUMN doubt;
         DROP TABLE doubted_records;
         CREATE VIEW correction_rows AS SELECT 1; CREATE VIEW counted_measurements AS SELECT 1;
         CREATE VIEW counted_soil_reports AS SELECT 1;
         DELETE FROM _sqlx_migrations WHERE version >= 32;"
    ))
    .unwrap();
    rechained(&book, |_, _| {});
    guarded_again(&book);
    drop(book);
    let found = held(&file, std::slice::from_ref(&receipt)).await;
    assert!(found.older.is_some());
    assert_eq!(found.faults.len(), 1, "{found:?}");
    assert!(found.faults[0].contains("have no key yet"), "{found:?}");
    assert_eq!(public_key(&file).await, ExitCode::FAILURE);
    let app = TestApp::reopen(folder).await;
    let key = app.nobody().get("/api/v1/public-key").await.expect(200).body;
    let own = now(&app.user(&token, None)).await;
    assert_eq!(own.receipt.key, key["public_key"].as_str().unwrap());
    assert_ne!(own.receipt.key, receipt.receipt.key);
    let file = app.file();
    let found = held(&file, &[own, receipt]).await;
    assert_eq!((found.covered.len(), found.faults.len()), (1, 1), "{found:?}");
    let app = app.restart().await;
    let after = app.nobody().get("/api/v1/public-key").await.expect(200).body;
    assert_eq!(after, key, "the key stays the same for ever");
    assert_eq!(public_key(&app.file()).await, ExitCode::SUCCESS);
}

/// What is given on the command line need not be a receipt.
#[tokio::test]
async fn what_is_no_receipt_is_refused_with_why() {
    let folder = tempfile::tempdir().unwrap();
    let there = folder.path().join("notes.txt");
    std::fs::write(&there, "Mow the lawn.").unwrap();
    let said = against::read(there.to_str().unwrap()).unwrap_err();
    assert!(said.contains("no receipt can be read in") && said.contains("there is no line"), "{said}");
    let company = Company::in_maryland().await;
    let folder = company.app.stop().await;
    let file = folder.path().join("book.db");
    assert_eq!(run(&file, &[], None).await, ExitCode::SUCCESS);
    assert_eq!(run(&file, &[there.display().to_string()], None).await, ExitCode::FAILURE);
}

/// A copy that takes the place of lost records cannot have what came later; receipts that were kept elsewhere say what that is.
#[tokio::test]
async fn a_restore_says_what_later_receipts_cover_and_the_copy_does_not_have() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "5").await;
    let elsewhere = tempfile::tempdir().unwrap();
    let at = |name: &str| elsewhere.path().join(name);
    let copy = at("swardbook-0a1b2c3d-20260915T140000Z.db");
    server::store::backup::copy(&company.app.file(), &copy).await.unwrap();
    let keep = async |name: &str| {
        let receipt = company.owner.get("/api/v1/receipt").await.expect(200).text;
        std::fs::write(at(name), &receipt).unwrap();
        at(name).display().to_string()
    };
    let then = keep("then.json").await;
    let entry = now(&company.owner).await.receipt.entry;
    company.app.clock.advance(std::time::Duration::from_mins(1));
    company.put_down(&company.front, "6").await;
    let later = keep("later.json").await;
    another_client(&company.office, "Client 002").await;
    let newest = keep("newest.json").await;
    let last = now(&company.owner).await;
    let missing = missing_in(&copy, std::slice::from_ref(&then)).await.unwrap();
    assert_eq!(missing, None, "the copy has all of it");
    let missing = missing_in(&copy, &[newest.clone(), then, later]).await.unwrap();
    let signed_at = last.receipt.signed_at;
    assert_eq!(missing, Some(Missing { first: entry + 1, last: last.receipt.entry, signed_at }));
    let restore = async |against: &str, to: &str| {
        let config = server::config::Restore { against: vec![against.to_owned()], ..put_back(&copy, &at(to)) };
        restore::run(&config).await == ExitCode::SUCCESS
    };
    assert!(restore(&newest, "back.db").await && at("back.db").exists());
    // Receipts of others put nothing in place, nor does what is none.
    let others = TestApp::empty().await;
    let theirs = others.set_up().await.get("/api/v1/receipt").await.expect(200).text;
    std::fs::write(at("theirs.json"), theirs).unwrap();
    let said = missing_in(&copy, &[at("theirs.json").display().to_string()]).await.unwrap_err();
    assert!(said.contains("is of other records"), "{said}");
    assert!(!restore(at("theirs.json").to_str().unwrap(), "none.db").await && !at("none.db").exists());
    assert!(!restore(at("nowhere").to_str().unwrap(), "none.db").await && !at("none.db").exists());
    // One that was put back and worked on is no earlier state of what was lost.
    let folder = tempfile::tempdir().unwrap();
    std::fs::rename(at("back.db"), folder.path().join("book.db")).unwrap();
    let app = TestApp::reopen(folder).await;
    app.clock.advance(std::time::Duration::from_hours(1));
    another_client(&app.user(company.office.token.as_deref().unwrap(), None), "Client 003").await;
    let said = missing_in(&app.file(), &[newest]).await.unwrap_err();
    assert!(said.contains("it is no earlier state of the same records"), "{said}");
    assert_eq!(newer_beside(&copy).await, Vec::<String>::new());
    std::fs::write(at("swardbook-0a1b2c3d-20260915T150000Z.db"), b"x").unwrap();
    std::fs::write(at("swardbook-99999999-20260915T150000Z.db"), b"x").unwrap();
    assert_eq!(newer_beside(&copy).await, [at("swardbook-0a1b2c3d-20260915T150000Z.db").display().to_string()]);
}

async fn newer_beside(copy: &Path) -> Vec<String> {
    let folder = Target::Folder(copy.parent().unwrap().to_owned());
    restore::newer(&folder, copy.file_name().unwrap().to_str().unwrap()).await
}

#[tokio::test]
async fn every_copy_has_a_receipt_beside_it_that_goes_with_it() {
    let company = Company::in_maryland().await;
    let folder = tempfile::tempdir().unwrap();
    let plan = Plan::to_folder(folder.path(), std::time::Duration::from_mins(1), 1);
    let source = Source::of(company.app.beside());
    for _ in 0..3 {
        company.app.clock.advance(std::time::Duration::from_mins(1));
        company.put_down(&company.rear, "1").await;
        let copy = folder.path().join(round(&source, &plan).await.unwrap().unwrap().to_string());
        let receipt = of(&format!("{}.receipt", copy.display()));
        assert_eq!(receipt.receipt.entry, now(&company.owner).await.receipt.entry);
        let (_folder, book) = restored(&copy).await;
        let found = held(&book, &[receipt]).await;
        assert_eq!((found.faults, found.covered.len()), (Vec::new(), 1));
    }
    let left = std::fs::read_dir(folder.path()).unwrap().count();
    assert_eq!(left, 4, "the newest copy, the whole one that it goes with, and the receipt of each");
}
