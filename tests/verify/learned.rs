//! Doubts about records, and what let people in, each held against what the journal and the security log tell.

use harness::world::Company;
use rusqlite::Connection;
use serde_json::json;
use server::book::verify::check_file;

use super::{each_shows, everything::closed_book};
use crate::{
    packed,
    rewritten::{guarded_again, rechained, unguarded},
};

#[tokio::test]
async fn doubts_that_were_planted_moved_or_lost_show() {
    let folder = closed_book().await;
    let book = Connection::open(folder.path().join("book.db")).unwrap();
    let counts = "SELECT max(n), sum(n), min(n) FROM (SELECT count(*) AS n FROM doubted_records GROUP BY cause_id)";
    let (most, all): (i64, i64) = book.query_row(counts, [], |row| Ok((row.get(0)?, row.get(1)?))).unwrap();
    assert!(most > 1 && all > most, "two causes, one of them with several records: {most}, {all}");
    let newest = "WHERE seq = (SELECT max(seq) FROM doubted_records)";
    let plant = |id: &str, about: &str| {
        format!(
            "INSERT INTO doubted_records (id, application_id, cause, cause_id, noted_at)
             SELECT '01a0a55e-0f00-7e3f-8091-7fa128da7a64', a.id, 'measurement', {id}, {about} FROM applications AS a,
                    measurements AS m WHERE NOT EXISTS (SELECT 1 FROM doubted_records AS d WHERE d.cause_id = m.id) ORDER BY m.seq DESC LIMIT 1"
        )
    };
    let planted = [plant("m.id", "m.created_at"), plant("m.id", "0"), plant("a.id", "m.created_at")];
    let lost = format!("DELETE FROM doubted_records {newest}");
    let named_anew = format!("UPDATE doubted_records SET id = '01a0a55e-0f00-7e3f-8091-7fa128da7a64' {newest}");
    let moved = format!(
        "UPDATE doubted_records AS d SET application_id = (SELECT a.id FROM applications AS a WHERE NOT EXISTS
             (SELECT 1 FROM doubted_records AS o WHERE o.cause_id = d.cause_id AND o.application_id = a.id)) {newest}"
    );
    let first = "(SELECT min(seq) FROM doubted_records AS d WHERE (SELECT count(*) FROM doubted_records AS o WHERE o.cause_id = d.cause_id) > 1)";
    let reordered = format!("UPDATE doubted_records SET seq = seq + 1000 WHERE seq = {first}");
    each_shows(&[
        ("a doubt with the moment of what was learned", &planted[0], "the journal tells of no such doubt"),
        ("a doubt of another moment", &planted[1], "the journal tells of no such doubt"),
        ("a doubt by nothing that was learned", &planted[2], "the journal tells of no such doubt"),
        ("a doubt that is gone", &lost, "is gone, by journal entry"),
        ("a doubt of another name", &named_anew, "is gone, by journal entry"),
        ("a doubt about another record", &moved, "differs in application_id"),
        ("another one is the first of its cause", &reordered, "stands in another order"),
    ])
    .await;
}

/// Doubts of a version that wrote no entry for them stand, as far as what was learned in their moment is in the journal.
#[tokio::test]
async fn doubts_from_before_they_had_entries_stand() {
    let company = Company::in_maryland().await;
    let _ = company.put_down(&company.front, "10").await;
    let smaller =
        json!({ "area_sqft": "4000", "measured_on": "2026-02-02", "method": "wheel", "measured_by": "Office 01" });
    let _ =
        company.office.post(&format!("/api/v1/sections/{}/measurements", company.front), &smaller).await.expect(201);
    let folder = company.app.stop().await;
    let file = folder.path().join("book.db");
    packed::unpack(&Connection::open(&file).unwrap());
    let book = unguarded(&file);
    let noted: i64 = book.query_row("SELECT seq FROM journal WHERE act = 'doubt.noted'", [], |row| row.get(0)).unwrap();
    book.execute_batch(&format!(
        "DELETE FROM journal WHERE seq = {noted}; UPDATE journal SET seq = -seq WHERE seq > {noted};
         UPDATE journal SET seq = -seq - 1 WHERE seq < 0;"
    ))
    .unwrap();
    rechained(&book, |_, _| {});
    guarded_again(&book);
    assert_eq!(check_file(&file).await.unwrap().faults, Vec::<String>::new());
    book.execute_batch("DROP TRIGGER doubted_records_keep; UPDATE doubted_records SET noted_at = noted_at - 1")
        .unwrap();
    guarded_again(&book);
    let faults = check_file(&file).await.unwrap().faults;
    assert!(faults.len() == 1 && faults[0].contains("the journal tells of no such doubt"), "{faults:?}");
}

#[tokio::test]
async fn what_let_somebody_in_and_was_changed_shows() {
    let later =
        "UPDATE tokens SET confirmed_until = coalesce(confirmed_until, created_at) + 3600000 WHERE device_id IS NULL";
    each_shows(&[
        ("a password that was not shown again", later, "showed the password again"),
        (
            "a browser that was never let in",
            "INSERT INTO pass_sessions (hash, pass_id, created_at, last_used_at) SELECT 'aa', id, created_at + 1, created_at + 1 FROM passes",
            "no such browser with the code of pass",
        ),
        (
            "a browser that goes on",
            "UPDATE pass_sessions SET ended_at = NULL, last_used_at = last_used_at + 86400000",
            "no such browser with the code of pass",
        ),
        (
            "a session that ended before it was idle",
            "UPDATE tokens SET ended_at = coalesce(last_used_at, created_at) + 3600000 WHERE device_id IS NULL AND ended_at IS NULL",
            "the security log does not tell of the end of a sign-in",
        ),
    ])
    .await;
}
