//! What a phone learns of its receipts: how far the records are copied, and that an older copy was put in their place.

use std::time::Duration;

use domain::receipt::Signed;
use harness::{Reply, TestApp, User, new_id, world::Company};
use server::{
    backups::{Plan, Source, round},
    book::receipts::against,
};

use super::restored;

fn receipt(reply: &Reply) -> Signed {
    against::read(reply.header("receipt").unwrap()).unwrap().remove(0)
}

/// What the server says of a receipt: whether it stands, and how far the records are copied.
async fn standing(phone: &User, of: &Signed) -> (bool, Option<i64>) {
    let path = format!("/api/v1/receipt/standing?entry={}&head={}", of.receipt.entry, of.receipt.head);
    let body = phone.get(&path).await.expect(200).body;
    (body["stands"].as_bool().unwrap(), body["copied_to"].as_i64())
}

#[tokio::test]
async fn a_phone_learns_what_is_copied_and_that_an_older_copy_was_put_back() {
    let company = Company::in_maryland().await;
    let copies = tempfile::tempdir().unwrap();
    let plan = Plan::to_folder(copies.path(), Duration::from_mins(1), 9);
    let record = company.record(&company.rear, "1");
    let send = async |phone: &User, id: &str| phone.put(&format!("/api/v1/applications/{id}"), &record).await;
    let (first, second) = (new_id(), new_id());
    let first = receipt(&send(&company.phone, &first).await.expect(201));
    assert_eq!(standing(&company.phone, &first).await, (true, None), "nothing is copied yet");
    let copy = round(&Source::of(company.app.beside()), &plan).await.unwrap().unwrap();
    let reached = first.receipt.entry;
    assert_eq!(standing(&company.phone, &first).await, (true, Some(reached)));
    let lost = receipt(&send(&company.phone, &second).await.expect(201));
    assert_eq!(standing(&company.phone, &lost).await, (true, Some(reached)), "that one is in no copy yet");
    // The machine is lost, and the copy put in the place of its records.
    let token = company.phone.token.clone().unwrap();
    let _ = company.app.stop().await;
    let (folder, _) = restored(&copies.path().join(copy.to_string())).await;
    let app = TestApp::reopen(folder).await;
    let phone = app.user(&token, None);
    assert_eq!(standing(&phone, &first).await, (true, None));
    assert_eq!(standing(&phone, &lost).await, (false, None));
    // Sent again, it is there, under another entry than the one that the first receipt of it tells.
    app.clock.advance(Duration::from_mins(1));
    let again = receipt(&send(&phone, &second).await.expect(201));
    assert_eq!((standing(&phone, &again).await, standing(&phone, &lost).await), ((true, None), (false, None)));
    assert_eq!(again.receipt.entry, lost.receipt.entry);
    app.clock.advance(Duration::from_mins(1));
    let _ = round(&Source::of(app.beside()), &plan).await.unwrap().unwrap();
    assert_eq!(standing(&phone, &again).await, (true, Some(again.receipt.entry)));
}

/// A copy of records that do not add up holds nothing that a phone may forget.
#[tokio::test]
async fn a_copy_that_does_not_add_up_covers_nothing() {
    let company = Company::in_maryland().await;
    let id = new_id();
    let sent = company.phone.put(&format!("/api/v1/applications/{id}"), &company.record(&company.rear, "1")).await;
    let sent = receipt(&sent.expect(201));
    let book = rusqlite::Connection::open(company.app.file()).unwrap();
    book.execute_batch("DROP TRIGGER journal_keep; UPDATE journal SET payload = '{}' WHERE seq = 3;").unwrap();
    let copies = tempfile::tempdir().unwrap();
    let plan = Plan::to_folder(copies.path(), Duration::from_mins(1), 9);
    assert!(round(&Source::of(company.app.beside()), &plan).await.unwrap().is_some());
    assert_eq!(standing(&company.phone, &sent).await, (true, None));
}

#[tokio::test]
async fn what_is_no_place_in_the_journal_is_refused() {
    let company = Company::in_maryland().await;
    let head = "0".repeat(64);
    for odd in [
        String::new(),
        "?entry=1".to_owned(),
        format!("?entry=0&head={head}"),
        format!("?entry=1&head={}", &head[1..]),
        format!("?entry=1&head={}G", &head[1..]),
        format!("?entry=x&head={head}"),
        format!("?entry=1&head={head}&more=1"),
    ] {
        let reply = company.phone.get(&format!("/api/v1/receipt/standing{odd}")).await;
        assert!((400..500).contains(&reply.status), "{odd}: {}", reply.status);
    }
    let far = format!("/api/v1/receipt/standing?entry=9007199254740991&head={head}");
    assert_eq!(company.phone.get(&far).await.expect(200).body["stands"], false);
}
