//! A disk that has little left is told while there is still time, and a file that is not where it was is noticed before anything is said to
//! be stored.

use std::{
    path::{Path, PathBuf},
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
    time::Duration,
};

use harness::{TestApp, new_id, world::Company};
use rusqlite::Connection;
use serde_json::json;
use server::{problem::Kind, space::Place, store::backup};

use crate::{metrics::exposition::Exposition, pages::visitor::Visitor};

/// What readiness warns of; nothing where it is simply ready.
async fn warnings(company: &Company) -> Vec<String> {
    let reply = company.app.nobody().get("/readyz").await;
    match reply.status {
        204 => Vec::new(),
        200 => serde_json::from_value(reply.body["warnings"].clone()).unwrap(),
        other => panic!("{other}: {}", reply.text),
    }
}

#[tokio::test]
async fn a_disk_below_its_floor_is_told_by_readiness_on_today_and_in_the_metrics() {
    let company = Company::in_maryland().await;
    let space = Arc::clone(&company.app.beside().space);
    let metrics = async || Exposition::read(&company.office.get("/api/v1/metrics").await.expect(200).text);
    assert_eq!(metrics().await.value("swardbook_free_bytes", &[("of", "records")]), None, "nothing is watched");
    space.watch(u64::MAX, &company.app.file(), None);
    // It is looked at by a thread of its own.
    for _ in 0..500 {
        if !space.left().is_empty() {
            break;
        }
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    let [warning] = &warnings(&company).await[..] else { panic!("one warning") };
    assert!(
        warning.starts_with("The disk of the records has ") && warning.contains("nothing can be recorded"),
        "{warning}"
    );
    let owner = Visitor::named(&company, "owner").await;
    let today = owner.open("/office").await.html;
    assert!(today.contains("The disk of the records has ") && today.contains("/help/server#a-floor-of-free-space"));
    let seen = metrics().await;
    let free = seen.value("swardbook_free_bytes", &[("of", "records")]).unwrap();
    assert!(free > 0.0 && free < seen.value("swardbook_free_floor_bytes", &[]).unwrap());
    // It is a warning: everything goes on. With room again it ends by itself.
    let _ = company.put_down(&company.front, "5").await;
    space.look(Place::Records, company.app.folder(), 1);
    assert!(warnings(&company).await.is_empty());
    assert!(!owner.open("/office").await.html.contains("The disk of the records"));
    space.look(Place::Copies, company.app.folder(), u64::MAX);
    assert!(warnings(&company).await[0].contains("no copies are made"));
}

/// The company's book, and where it is put aside.
fn files(company: &Company) -> (PathBuf, PathBuf) {
    (company.app.file(), company.app.folder().join("aside.db"))
}

fn rename(from: &Path, to: &Path) {
    std::fs::rename(from, to).unwrap();
}

/// Nothing is written, whoever sends it, with the reason; reading goes on, also for an owner who signed in before.
async fn stopped(company: &Company, owner: &Visitor<'_>, words: &str) {
    let client = json!({ "name": "Client 002", "mailing_address": "2 Street B" });
    let refused = company.office.post("/api/v1/clients", &client).await.problem(503, "storage-failed");
    let record = company.record(&company.front, "5");
    let sent = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await;
    let sent = sent.problem(503, "storage-failed");
    let ready = company.app.nobody().get("/readyz").await.problem(503, "storage-failed");
    for told in [refused, sent, ready] {
        let detail = told.body["detail"].as_str().unwrap();
        assert!(detail.contains(words) && detail.contains("Whoever runs the server"), "{detail}");
        assert_eq!(told.header("retry-after"), Some("30"));
    }
    let _ = company.app.nobody().get("/healthz").await.expect(204);
    let _ = company.owner.get("/api/v1/applications").await.expect(200);
    let today = owner.open("/office").await.html;
    assert!(today.contains("Nothing can be recorded") && today.contains(words), "{today}");
}

/// What is stored, by those who open the file for themselves.
fn records(book: &Path) -> i64 {
    let book = Connection::open_with_flags(book, rusqlite::OpenFlags::SQLITE_OPEN_READ_ONLY).unwrap();
    book.query_row("SELECT count(*) FROM applications", [], |row| row.get(0)).unwrap()
}

#[tokio::test]
async fn a_book_that_is_moved_stops_writing_until_it_is_back() {
    let company = Company::in_maryland().await;
    let owner = Visitor::named(&company, "owner").await;
    company.put_down(&company.front, "5").await;
    let (book, aside) = files(&company);
    rename(&book, &aside);
    stopped(&company, &owner, "the file of the records was moved or deleted").await;
    assert!(!book.exists(), "no empty book is made in its place");
    // What stood in the log went into the file: it is whole wherever it was moved to.
    let elsewhere = tempfile::tempdir().unwrap();
    let alone = elsewhere.path().join("alone.db");
    std::fs::copy(&aside, &alone).unwrap();
    assert_eq!(records(&alone), 1);
    rename(&aside, &book);
    assert!(warnings(&company).await.is_empty());
    company.put_down(&company.front, "6").await;
    assert_eq!(records(&book), 2);
    let found = server::book::verify::check_file(&book).await.unwrap();
    assert!(found.faults.is_empty(), "{:?}", found.faults);
}

#[tokio::test]
async fn another_file_in_the_place_of_the_book_is_left_alone() {
    let company = Company::in_maryland().await;
    let owner = Visitor::named(&company, "owner").await;
    company.put_down(&company.front, "5").await;
    let (book, aside) = files(&company);
    let copy = company.app.folder().join("copy.db");
    backup::copy(&book, &copy).await.unwrap();
    rename(&book, &aside);
    rename(&copy, &book);
    let before = std::fs::read(&book).unwrap();
    stopped(&company, &owner, "another file was put in the place of the file of the records").await;
    assert!(std::fs::read(&book).unwrap() == before, "the other file was written to");
    rename(&aside, &book);
    company.put_down(&company.front, "6").await;
    let folder = company.app.stop().await;
    assert_eq!(records(&folder.path().join("book.db")), 2);
}

#[tokio::test]
async fn a_book_that_is_deleted_stops_writing_and_a_copy_takes_its_place() {
    let company = Company::in_maryland().await;
    let owner = Visitor::named(&company, "owner").await;
    let id = company.put_down(&company.front, "5").await;
    let token = company.owner.token.clone().unwrap();
    let (book, aside) = files(&company);
    backup::copy(&book, &aside).await.unwrap();
    std::fs::remove_file(&book).unwrap();
    stopped(&company, &owner, "the file of the records was moved or deleted").await;
    let folder = company.app.stop().await;
    assert!(!book.exists(), "stopping makes none either");
    // What is left of its log belongs to the file that is gone, and a new book would end it.
    let law = Arc::new(domain::law::Lawbook::embedded().unwrap());
    let said = server::store::Store::open(&book, law).await.unwrap_err().to_string();
    assert!(said.contains("is not there") && said.contains("restore"), "{said}");
    for end in ["-wal", "-shm"] {
        std::fs::remove_file(folder.path().join(format!("book.db{end}"))).unwrap();
    }
    rename(&aside, &book);
    let app = TestApp::reopen(folder).await;
    let _ = app.user(&token, None).get(&format!("/api/v1/applications/{id}")).await.expect(200);
    let _ = app.nobody().get("/readyz").await.expect(204);
}

#[tokio::test]
async fn the_log_beside_the_book_is_watched_too_and_deleting_it_loses_nothing() {
    let company = Company::in_maryland().await;
    let owner = Visitor::named(&company, "owner").await;
    company.put_down(&company.front, "5").await;
    let log = PathBuf::from(format!("{}-wal", company.app.file().display()));
    let aside = company.app.folder().join("aside");
    rename(&log, &aside);
    stopped(&company, &owner, "(-wal) was moved or deleted").await;
    rename(&aside, &log);
    company.put_down(&company.front, "6").await;
    std::fs::remove_file(&log).unwrap();
    stopped(&company, &owner, "(-wal) was moved or deleted").await;
    // As a machine that fails now would leave it.
    let elsewhere = tempfile::tempdir().unwrap();
    std::fs::copy(company.app.file(), elsewhere.path().join("book.db")).unwrap();
    assert_eq!(records(&elsewhere.path().join("book.db")), 2);
    let app = company.app.restart().await;
    let list = app.user(company.owner.token.as_deref().unwrap(), None).get("/api/v1/applications").await.expect(200);
    assert_eq!(list.body["items"].as_array().unwrap().len(), 2);
    let _ = app.nobody().get("/readyz").await.expect(204);
}

/// A file that goes while it is being written to: what was written is not called stored.
#[tokio::test]
async fn nothing_is_acknowledged_of_which_it_is_not_known_where_it_went() {
    let company = Company::in_maryland().await;
    let (book, aside) = files(&company);
    let store = &company.app.beside().store;
    let (from, to) = (book.clone(), aside.clone());
    let done = store.write(move |_| {
        Box::pin(async move {
            rename(&from, &to);
            Ok(())
        })
    });
    let told = done.await.unwrap_err();
    assert!(told.is(Kind::StorageFailed) && told.detail.contains("is not known"), "{}", told.detail);
    rename(&aside, &book);
    // The same of records, while somebody moves the file away and back again and again.
    let over = Arc::new(AtomicBool::new(false));
    let ends = Arc::clone(&over);
    let mover = std::thread::spawn(move || {
        while !ends.load(Ordering::Relaxed) {
            rename(&book, &aside);
            std::thread::sleep(Duration::from_micros(700));
            rename(&aside, &book);
            std::thread::sleep(Duration::from_millis(4));
        }
        book
    });
    let (mut stored, mut refused) = (Vec::new(), 0);
    for _ in 0..60 {
        let id = new_id();
        let reply =
            company.phone.put(&format!("/api/v1/applications/{id}"), &company.record(&company.front, "0.1")).await;
        if reply.status == 201 {
            stored.push(id);
        } else {
            let _ = reply.problem(503, "storage-failed");
            refused += 1;
        }
    }
    over.store(true, Ordering::Relaxed);
    let book = mover.join().unwrap();
    assert!(!stored.is_empty() && refused > 0, "{} stored, {refused} refused", stored.len());
    let file = Connection::open(&book).unwrap();
    for id in &stored {
        let there: i64 =
            file.query_row("SELECT count(*) FROM applications WHERE id = ?1", [id], |row| row.get(0)).unwrap();
        assert_eq!(there, 1, "{id} was acknowledged");
    }
    drop(file);
    let found = server::book::verify::check_file(&book).await.unwrap();
    assert!(found.faults.is_empty(), "{:?}", found.faults);
}
