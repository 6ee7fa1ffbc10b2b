//! The copies that a server makes by itself: what each comes to, which are kept, and what is left of one that was never finished.

mod buckets;
mod phones;

use std::{
    path::{Path, PathBuf},
    time::Duration,
};

use harness::{TestApp, world::Company};
use rusqlite::Connection;
use server::{
    backups::{Plan, Source, round},
    book::{restore, verify::check_file},
    config::{Restore, Storage, Verify},
    copies::{Name, pages},
};

use crate::{
    backups::{code, names, older},
    pages::visitor::Visitor,
};

/// Puts a copy, or the newest in a folder, in the place of a book.
pub fn put_back(from: &Path, file: &Path) -> Restore {
    Restore {
        from: from.display().to_string(),
        identity: None,
        against: Vec::new(),
        file: file.to_owned(),
        storage: Storage::default(),
    }
}

/// The book that a copy comes to, in a folder that goes with it.
pub async fn restored(copy: &Path) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let book = folder.path().join("book.db");
    assert!(code(restore::run(&put_back(copy, &book)).await), "{}", copy.display());
    (folder, book)
}

fn has(book: &Path, id: &str) -> bool {
    let book = Connection::open(book).unwrap();
    book.query_row("SELECT count(*) FROM applications WHERE id = ?1", [id], |row| row.get::<_, i64>(0)).unwrap() == 1
}

#[tokio::test]
async fn the_server_copies_what_was_written_and_only_then() {
    let company = Company::in_maryland().await;
    let folder = tempfile::tempdir().unwrap();
    let plan = Plan::to_folder(folder.path(), Duration::from_mins(1), 2);
    let source = Source::of(company.app.beside());
    let at = |name: &str| folder.path().join(name);
    let first = round(&source, &plan).await.unwrap().unwrap().to_string();
    let (_folder, book) = restored(&at(&first)).await;
    assert!(check_file(&book).await.unwrap().faults.is_empty());
    assert_eq!(round(&source, &plan).await.unwrap(), None, "nothing was written since");
    let bytes = |name: &str| std::fs::metadata(at(name)).unwrap().len();
    for minute in 1..=3 {
        company.app.clock.advance(Duration::from_mins(1));
        let id = company.put_down(&company.rear, "1").await;
        let copy = round(&source, &plan).await.unwrap().unwrap().to_string();
        assert!(copy.contains(".since-") && bytes(&copy) * 4 < bytes(&first), "{copy}: {}", bytes(&copy));
        let (_folder, book) = restored(&at(&copy)).await;
        assert!(has(&book, &id), "minute {minute}");
    }
    // The two newest, of which one is the last of its day, and what they go with.
    let moments: Vec<String> = names(folder.path()).iter().map(|name| name[19..].to_owned()).collect();
    let since = |moment: &str| format!("20260915T{moment}Z.since-20260915T140000Z.zst");
    assert_eq!(moments, ["20260915T140000Z.db.zst".to_owned(), since("140200"), since("140300")]);
    let metrics = company.owner.get("/api/v1/metrics").await.expect(200).text;
    assert!(metrics.contains("swardbook_backup_age_seconds 0"), "{metrics}");
    company.app.clock.advance(Duration::from_mins(5));
    let metrics = company.owner.get("/api/v1/metrics").await.expect(200).text;
    assert!(metrics.contains("swardbook_backup_age_seconds 300"), "{metrics}");
    let today = Visitor::named(&company, "owner").await.open("/office").await.html;
    assert!(today.contains("The newest copy of the records is of 2026-09-15 10:03 EDT, 5 minutes ago."), "{today}");
}

/// What a copy comes to is the book of its moment; a copy is for its user alone, and nothing else is left of it.
#[tokio::test]
async fn a_copy_comes_to_the_book_of_its_moment_byte_for_byte() {
    use std::os::unix::fs::PermissionsExt;
    let company = Company::in_maryland().await;
    let folder = tempfile::tempdir().unwrap();
    let plan = Plan::to_folder(folder.path(), Duration::from_mins(1), 9);
    let source = Source::of(company.app.beside());
    let _ = round(&source, &plan).await.unwrap().unwrap();
    company.app.clock.advance(Duration::from_mins(1));
    company.put_down(&company.front, "5").await;
    let copy = round(&source, &plan).await.unwrap().unwrap().to_string();
    let expected = folder.path().join("expected.db");
    server::store::backup::page_by_page(&company.app.file(), &expected).unwrap();
    let (_folder, book) = restored(&folder.path().join(&copy)).await;
    assert!(std::fs::read(&book).unwrap() == std::fs::read(&expected).unwrap());
    std::fs::remove_file(expected).unwrap();
    // By the folder the newest is meant.
    let (_folder, newest) = restored(folder.path()).await;
    assert!(std::fs::read(&book).unwrap() == std::fs::read(&newest).unwrap());
    let verify = Verify { file: folder.path().join(&copy), against: Vec::new(), since: None, identity: None };
    assert!(code(restore::verify(&verify).await));
    let left: Vec<String> = std::fs::read_dir(folder.path())
        .unwrap()
        .map(|found| found.unwrap())
        .map(|found| {
            assert_eq!(found.metadata().unwrap().permissions().mode() & 0o777, 0o600, "{:?}", found.file_name());
            found.file_name().into_string().unwrap()
        })
        .collect();
    assert_eq!(left.len(), 4, "two copies with their receipts: {left:?}");
}

/// A copy that is only what changed is nothing without the whole one that it goes with, and is not made where that one is gone. The
/// next night's is whole.
#[tokio::test]
async fn what_changed_goes_with_its_whole_copy_and_no_other() {
    let company = Company::in_maryland().await;
    let folder = tempfile::tempdir().unwrap();
    let plan = Plan::to_folder(folder.path(), Duration::from_mins(1), 1);
    let source = Source::of(company.app.beside());
    let at = |name: &str| folder.path().join(name);
    let next = async |hours: u64| {
        company.app.clock.advance(Duration::from_hours(hours));
        company.put_down(&company.rear, "0.1").await;
        round(&source, &plan).await.unwrap().unwrap().to_string()
    };
    let whole = next(1).await;
    let copy = next(1).await;
    let verify = Verify { file: at(&copy), against: Vec::new(), since: None, identity: None };
    let elsewhere = tempfile::tempdir().unwrap();
    let none = put_back(&at(&copy), &elsewhere.path().join("none.db"));
    let refused = async || {
        assert!(!code(restore::run(&none).await) && !code(restore::verify(&verify).await));
        assert_eq!(names(elsewhere.path()), Vec::<String>::new());
    };
    std::fs::rename(at(&whole), at("aside")).unwrap();
    refused().await;
    // Another whole copy in its place.
    std::fs::copy(at("aside"), at(&whole)).unwrap();
    let (_folder, book) = restored(&at(&copy)).await;
    std::fs::write(at(&whole), std::fs::read(&book).unwrap()).unwrap();
    refused().await;
    let again = next(1).await;
    assert!(again.ends_with(".db.zst"), "the whole one is not what it was, so the next is whole: {again}");
    std::fs::rename(at("aside"), at(&whole)).unwrap();
    let later = next(1).await;
    assert!(later.contains(".since-20260915T170000Z"), "{later}");
    // It is night at the company at two.
    let night = next(13).await;
    assert!(night.contains("-20260916T070000Z.db.zst"), "{night}");
    let moments: Vec<String> = names(folder.path()).iter().map(|name| name[19..].to_owned()).collect();
    assert_eq!(
        moments,
        ["20260915T170000Z.db.zst", "20260915T180000Z.since-20260915T170000Z.zst", "20260916T070000Z.db.zst"],
        "of the first day the last one, and what it goes with"
    );
}

/// A server that was killed in the middle of a copy leaves what the next round takes away.
#[tokio::test]
async fn what_was_left_of_a_copy_goes_and_what_others_left_stays() {
    let company = Company::in_maryland().await;
    let folder = tempfile::tempdir().unwrap();
    let plan = Plan::to_folder(folder.path(), Duration::from_mins(1), 9);
    let source = Source::of(company.app.beside());
    let first = round(&source, &plan).await.unwrap().unwrap();
    let mark = &first.mark;
    let ours = [
        format!("swardbook-{mark}-undone.part"),
        format!("swardbook-{mark}-20260915T130000Z.db.zst.part"),
        format!("swardbook-{mark}-20260915T130000Z.db.part"),
    ];
    let others = ["swardbook-99999999-20260915T130000Z.db.zst.part", "company.db", "notes.txt"];
    for name in ours.iter().map(String::as_str).chain(others) {
        std::fs::write(folder.path().join(name), b"x").unwrap();
    }
    company.app.clock.advance(Duration::from_mins(1));
    company.put_down(&company.rear, "1").await;
    assert!(round(&source, &plan).await.unwrap().is_some());
    for other in others {
        assert!(folder.path().join(other).exists(), "{other} is not ours");
    }
    assert!(!ours.iter().any(|name| folder.path().join(name).exists()));
}

/// A copy is no book of which the server may take away its own.
#[tokio::test]
async fn the_book_itself_is_no_copy_to_remove() {
    let company = Company::in_maryland().await;
    let mark = server::store::backup::mark(&company.app.file()).await.unwrap();
    let folder = company.app.stop().await;
    let book = folder.path().join(format!("swardbook-{mark}-20200101T000000Z.db"));
    std::fs::rename(folder.path().join("book.db"), &book).unwrap();
    std::os::unix::fs::symlink(&book, folder.path().join("book.db")).unwrap();
    for hour in 10..19 {
        std::fs::write(folder.path().join(format!("swardbook-{mark}-20200101T{hour}0000Z.db")), b"x").unwrap();
    }
    let app = TestApp::reopen(folder).await;
    let plan = Plan::to_folder(app.folder(), Duration::from_mins(1), 1);
    assert!(round(&Source::of(app.beside()), &plan).await.unwrap().is_some());
    assert!(book.exists());
    let left = names(app.folder()).iter().filter(|name| Name::parse(name).is_some()).count();
    assert_eq!(left, 3, "the book, the last of that day, and the newest");
}

/// A copy of a book of an earlier version comes back as it was, also after a restore that was killed, and what that one left goes.
#[tokio::test]
async fn a_copy_of_an_older_book_comes_back_as_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    older(&at("old.db"), 15).await;
    pages::pack(&at("old.db"), None, &[], &at("old.db.zst")).unwrap();
    let elsewhere = tempfile::tempdir().unwrap();
    let (book, left) = (elsewhere.path().join("book.db"), elsewhere.path().join("book.db.restoring"));
    std::fs::create_dir(&left).unwrap();
    std::fs::write(left.join("copy.db"), b"x").unwrap();
    assert!(code(restore::run(&put_back(&at("old.db.zst"), &book)).await));
    assert!(std::fs::read(&book).unwrap() == std::fs::read(at("old.db")).unwrap());
    assert_eq!(names(elsewhere.path()), ["book.db"]);
    assert_eq!(check_file(&book).await.unwrap().older, Some(15));
}
