//! What goes wrong around the server: a row that cannot be written, a file that somebody else holds, a reader that writes.

use std::time::Duration;

use harness::{new_id, world::Company};
use rusqlite::Connection;
use server::book::verify::check_file;
use tokio::task::JoinSet;

#[tokio::test]
async fn one_act_that_cannot_be_written_harms_no_other_of_its_batch() {
    let company = Company::in_maryland().await;
    let cursed = new_id();
    let connection = Connection::open(company.app.file()).unwrap();
    let trigger = format!(
        "CREATE TRIGGER cursed BEFORE INSERT ON applications WHEN new.id = '{cursed}' BEGIN SELECT RAISE(ABORT, 'cursed'); END"
    );
    connection.execute_batch(&trigger).unwrap();
    let mut sending = JoinSet::new();
    for number in 0..20 {
        let id = if number == 7 { cursed.clone() } else { new_id() };
        let (phone, record) = (company.phone.clone(), company.record(&company.front, "0.5"));
        sending
            .spawn(async move { (id.clone(), phone.put(&format!("/api/v1/applications/{id}"), &record).await.status) });
    }
    for (id, status) in sending.join_all().await {
        assert_eq!(status, if id == cursed { 500 } else { 201 }, "{id}");
    }
    // Once the cause is gone, the same record goes in.
    connection.execute_batch("DROP TRIGGER cursed").unwrap();
    drop(connection);
    let record = company.record(&company.front, "0.5");
    let _ = company.phone.put(&format!("/api/v1/applications/{cursed}"), &record).await.expect(201);
    let folder = company.app.stop().await;
    let found = check_file(&folder.path().join("book.db")).await.unwrap();
    assert_eq!(found.faults, Vec::<String>::new());
    assert_eq!(found.records, 20);
}

#[tokio::test]
async fn a_file_that_another_program_holds_for_a_moment_only_delays_a_record() {
    let company = Company::in_maryland().await;
    let file = company.app.file();
    let (held, holding) = tokio::sync::oneshot::channel();
    let holder = std::thread::spawn(move || {
        let connection = Connection::open(file).unwrap();
        connection.execute_batch("BEGIN IMMEDIATE").unwrap();
        held.send(()).unwrap();
        std::thread::sleep(Duration::from_millis(300));
        connection.execute_batch("ROLLBACK").unwrap();
    });
    holding.await.unwrap();
    company.put_down(&company.front, "5").await;
    holder.join().unwrap();
}

#[tokio::test]
async fn a_batch_of_mixed_acts_sees_its_own_effects() {
    // Clearances and records of one section at once: whatever their order, they see one another. What one day sees on a
    // section is one application, and 0.9 lb N its cap (COMAR 15.20.10.09 C(2)).
    let company = Company::in_maryland().await;
    let mut asking = JoinSet::new();
    for number in 0..24 {
        let (phone, id) = (company.phone.clone(), new_id());
        let (path, body) = if number % 2 == 0 {
            (format!("/api/v1/clearances/{id}"), company.plan(&company.front, "6.8333"))
        } else {
            (format!("/api/v1/applications/{id}"), company.record(&company.front, "6.8333"))
        };
        asking.spawn(async move { phone.put(&path, &body).await.status });
    }
    let statuses = asking.join_all().await;
    // 6.8333 lb of a 24 % product on 8,200 sq ft is a hair under 0.2 lb N on 1,000 sq ft: four times fits, five times not.
    assert_eq!(statuses.iter().filter(|status| **status == 201).count(), 4, "{statuses:?}");
    assert!(statuses.iter().all(|status| [201, 422].contains(status)), "{statuses:?}");
}
