//! Copies of a book: checked, told when they fail, made before its tables are changed, and put back where records were lost.

use std::{path::Path, time::Duration};

use harness::{TestApp, world::Company};
use rusqlite::Connection;
use server::{
    backups::{Plan, Source, round},
    book::{backup, restore, verify::check_file},
    clock::Clock,
    config::Backup,
};

use crate::{copies::put_back, pages::visitor::Visitor};

pub fn names(folder: &Path) -> Vec<String> {
    let found = std::fs::read_dir(folder).unwrap().map(|found| found.unwrap().file_name().into_string().unwrap());
    // Each copy has its receipt beside it, which is looked at apart.
    let mut names: Vec<String> = found.filter(|name| !name.ends_with(".receipt")).collect();
    names.sort();
    names
}

pub fn code(of: std::process::ExitCode) -> bool {
    of == std::process::ExitCode::SUCCESS
}

/// Copies that do not come are told, though none failed: their disk does not answer, or whatever makes them hangs.
#[tokio::test]
async fn a_copy_that_does_not_come_is_told_and_one_that_comes_ends_it() {
    let company = Company::in_maryland().await;
    let folder = tempfile::tempdir().unwrap();
    let plan = Plan::to_folder(folder.path(), Duration::from_mins(15), 2);
    let source = Source::of(company.app.beside());
    let begun = company.app.clock.now();
    company.app.beside().store.metrics().backups_begin(plan.every, begun);
    let told = async || {
        let ready = company.app.nobody().get("/readyz").await;
        let metrics = company.owner.get("/api/v1/metrics").await.expect(200).text;
        let today = Visitor::named(&company, "owner").await.open("/office").await.html;
        let told = ready.text.contains(&format!("No copy of the records was made since {begun}."));
        assert_eq!(metrics.contains("\nswardbook_backups_wrong 1\n"), told, "{metrics}");
        assert_eq!(today.contains("and one is due every 15 minutes"), told, "{today}");
        assert_eq!(ready.status, if told { 200 } else { 204 });
        told
    };
    company.app.clock.advance(Duration::from_hours(1));
    assert!(!told().await);
    company.app.clock.advance(Duration::from_mins(1));
    assert!(told().await);
    let _ = round(&source, &plan).await.unwrap().unwrap();
    assert!(!told().await);
}

#[tokio::test]
async fn a_folder_that_cannot_be_written_is_told_and_mended() {
    let company = Company::in_maryland().await;
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path().join("copies");
    let plan = Plan::to_folder(&at, Duration::from_millis(50), 2);
    let running = tokio::spawn(server::backups::run(Source::of(company.app.beside()), plan));
    let told = async |words: &str, there: bool| {
        for _ in 0..200 {
            let page = company.app.beside().store.metrics().backups_fail();
            if page.as_ref().is_some_and(|(_, why)| why.contains(words)) == there {
                return;
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        panic!("waited for {words} to be {there}");
    };
    told("mounted", true).await;
    let ready = company.app.nobody().get("/readyz").await.expect(200).text;
    assert!(ready.contains("copies of the records are not as they should be") && !ready.contains("mounted"), "{ready}");
    std::fs::create_dir(&at).unwrap();
    told("mounted", false).await;
    running.abort();
    assert_eq!(names(&at).len(), 1);
}

#[tokio::test]
async fn lost_records_are_put_back_and_nothing_is_written_over() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "20").await;
    let token = company.owner.token.clone().unwrap();
    let folder = company.app.stop().await;
    let (book, copy) = (folder.path().join("book.db"), folder.path().join("copy.db"));
    assert!(code(backup::run(&Backup { file: book.clone(), to: copy.clone() }).await));
    assert!(!code(backup::run(&Backup { file: book.clone(), to: copy.clone() }).await), "never over a file");
    let put_back = put_back(&copy, &book);
    assert!(!code(restore::run(&put_back).await), "never over records");
    std::fs::remove_file(&book).unwrap();
    assert!(code(restore::run(&put_back).await));
    assert!(!names(folder.path()).iter().any(|name| name.contains("part")), "{:?}", names(folder.path()));
    let app = TestApp::reopen(folder).await;
    let _ = app.user(&token, None).get(&format!("/api/v1/applications/{id}")).await.expect(200);
}

#[tokio::test]
async fn a_copy_that_does_not_check_is_put_in_the_place_of_nothing() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "20").await;
    let folder = company.app.stop().await;
    let (book, copy) = (folder.path().join("book.db"), folder.path().join("copy.db"));
    std::fs::rename(&book, &copy).unwrap();
    Connection::open(&copy)
        .unwrap()
        .execute_batch("DROP TRIGGER journal_keep; UPDATE journal SET payload = '{}' WHERE seq = 3;")
        .unwrap();
    assert!(!code(restore::run(&put_back(&copy, &book)).await));
    assert!(!book.exists());
}

/// What is damaged gets no name, what does not add up gets one and is told: a copy of it is better than none.
#[tokio::test]
async fn a_copy_is_named_when_it_is_sound_and_told_when_it_does_not_add_up() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "20").await;
    let folder = tempfile::tempdir().unwrap();
    let plan = Plan::to_folder(folder.path(), Duration::from_mins(1), 9);
    let source = Source::of(company.app.beside());
    let tamper = |sql: &str| {
        let book = Connection::open(company.app.file()).unwrap();
        book.execute_batch(&format!("DROP TRIGGER IF EXISTS journal_keep; {sql}")).unwrap();
    };
    tamper("UPDATE journal SET payload = '{}' WHERE seq = 3;");
    let metrics = &company.app.beside().store;
    let first = round(&source, &plan).await.unwrap().unwrap();
    assert!(folder.path().join(first.to_string()).exists());
    let (_, why) = metrics.metrics().backups_fail().unwrap();
    assert!(why.contains("do not add up"), "{why}");
    // It is not forgotten by the quick checks that follow, and a day later everything is looked at again.
    company.app.clock.advance(Duration::from_mins(15));
    company.put_down(&company.rear, "1").await;
    assert!(round(&source, &plan).await.unwrap().is_some());
    assert!(metrics.metrics().backups_fail().is_some());
    // The same book by hand: the copy is called none.
    let to = folder.path().join("by-hand.db");
    assert!(!code(backup::run(&Backup { file: company.app.file(), to: to.clone() }).await));
    assert!(!to.exists());
}

#[tokio::test]
async fn a_copy_that_was_taken_away_is_made_again() {
    let company = Company::in_maryland().await;
    let folder = tempfile::tempdir().unwrap();
    let plan = Plan::to_folder(folder.path(), Duration::from_mins(1), 9);
    let source = Source::of(company.app.beside());
    let first = round(&source, &plan).await.unwrap().unwrap();
    std::fs::remove_file(folder.path().join(first.to_string())).unwrap();
    company.app.clock.advance(Duration::from_mins(1));
    let second = round(&source, &plan).await.unwrap().unwrap();
    assert!(folder.path().join(second.to_string()).exists() && second != first);
}

/// A book that was left by a crash, with what was written last beside it, is copied and stays as it is.
#[tokio::test]
async fn a_book_with_its_log_beside_it_is_only_read() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "20").await;
    let folder = tempfile::tempdir().unwrap();
    let (book, copy) = (folder.path().join("book.db"), folder.path().join("copy.db"));
    for end in ["", "-wal"] {
        let from = format!("{}{end}", company.app.file().display());
        std::fs::copy(from, format!("{}{end}", book.display())).unwrap();
    }
    let bytes = || (std::fs::read(&book).unwrap(), std::fs::read(format!("{}-wal", book.display())).unwrap());
    let before = bytes();
    assert!(!before.1.is_empty());
    assert!(code(backup::run(&Backup { file: book.clone(), to: copy.clone() }).await));
    assert!(bytes() == before, "the file or its log was changed");
    let there: i64 = Connection::open(&copy)
        .unwrap()
        .query_row("SELECT count(*) FROM applications WHERE id = ?1", [id], |row| row.get(0))
        .unwrap();
    assert_eq!(there, 1);
}

#[tokio::test]
async fn a_file_of_another_program_gets_no_tables() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("theirs.db");
    Connection::open(&file)
        .unwrap()
        .execute_batch("CREATE TABLE journal (note TEXT); CREATE TABLE notes (x);")
        .unwrap();
    let before = std::fs::read(&file).unwrap();
    let law = std::sync::Arc::new(domain::law::Lawbook::embedded().unwrap());
    let said = server::store::Store::open(&file, law).await.unwrap_err().to_string();
    assert!(said.contains("is the file of another program"), "{said}");
    assert_eq!(std::fs::read(&file).unwrap(), before);
    assert_eq!(names(folder.path()), ["theirs.db"]);
}

/// What was written last is in the one file when the server has stopped, and the file says whose it is.
#[tokio::test]
async fn a_server_that_has_stopped_leaves_one_file() {
    let company = Company::in_maryland().await;
    for _ in 0..20 {
        company.put_down(&company.rear, "0.1").await;
    }
    let folder = company.app.stop().await;
    assert_eq!(names(folder.path()), ["book.db", "book.db.lock"]);
    let head = std::fs::read(folder.path().join("book.db")).unwrap();
    assert_eq!(&head[68..72], b"Swrd");
    let alone = tempfile::tempdir().unwrap();
    std::fs::copy(folder.path().join("book.db"), alone.path().join("book.db")).unwrap();
    let found = check_file(&alone.path().join("book.db")).await.unwrap();
    assert!(found.faults.is_empty() && found.records >= 20, "{found:?}");
}

/// A reader that is still at work when the last writer of requests has gone is waited for: while it is open, SQLite leaves what was
/// written last in the log.
#[tokio::test]
async fn a_reader_that_ends_last_leaves_one_file_too() {
    let folder = tempfile::tempdir().unwrap();
    let book = folder.path().join("book.db");
    let law = std::sync::Arc::new(domain::law::Lawbook::embedded().unwrap());
    let (store, writer) = server::store::Store::open(&book, law).await.unwrap();
    store.ready().await.unwrap();
    let reader = store.reader().acquire().await.unwrap();
    drop(store);
    let ((), closed) = tokio::join!(
        async {
            tokio::time::sleep(Duration::from_millis(200)).await;
            drop(reader);
        },
        writer.finish()
    );
    closed.unwrap();
    assert_eq!(names(folder.path()), ["book.db", "book.db.lock"]);
}

/// A book of an earlier version: copied before its tables are changed, and checked without being changed.
#[tokio::test]
async fn an_older_book_is_checked_as_it_is_and_kept_before_it_is_brought_up() {
    let folder = tempfile::tempdir().unwrap();
    let book = folder.path().join("book.db");
    let law = || std::sync::Arc::new(domain::law::Lawbook::embedded().unwrap());
    older(&book, 15).await;
    let before = std::fs::read(&book).unwrap();
    let found = check_file(&book).await.unwrap();
    assert_eq!((found.older, found.faults.len()), (Some(15), 0), "{:?}", found.faults);
    assert_eq!(std::fs::read(&book).unwrap(), before);
    let copy = folder.path().join("copy.db");
    assert!(code(backup::run(&Backup { file: book.clone(), to: copy }).await));
    let (store, writer) = server::store::Store::open(&book, law()).await.unwrap();
    drop(store);
    writer.finish().await.unwrap();
    assert_eq!(check_file(&book).await.unwrap().older, None);
    let kept = check_file(&folder.path().join("book.db.before-0016")).await.unwrap();
    assert_eq!((kept.older, kept.faults.len()), (Some(15), 0));
    // Nothing is kept where nothing is changed.
    std::fs::remove_file(folder.path().join("book.db.before-0016")).unwrap();
    let (store, writer) = server::store::Store::open(&book, law()).await.unwrap();
    drop(store);
    writer.finish().await.unwrap();
    assert!(!names(folder.path()).iter().any(|name| name.contains("before")), "{:?}", names(folder.path()));
}

/// A book whose tables have the first changes only, as the version of that time left it.
pub async fn older(book: &Path, version: i64) {
    let mut first = sqlx::migrate::Migrator::DEFAULT;
    first.migrations = server::store::MIGRATIONS.iter().filter(|one| one.version <= version).cloned().collect();
    let options = sqlx::sqlite::SqliteConnectOptions::new().filename(book).create_if_missing(true);
    let mut connection = sqlx::ConnectOptions::connect(&options).await.unwrap();
    first.run(&mut connection).await.unwrap();
    sqlx::Connection::close(connection).await.unwrap();
}
