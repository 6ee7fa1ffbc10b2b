//! Fair shares, over real sockets: whoever holds lines open, asks for much or sends much, somebody else is answered meanwhile and is
//! refused nothing. How fast, `.ci/bench --crowd` measures.

mod limits;

use std::{
    sync::{
        Arc,
        atomic::{AtomicUsize, Ordering},
    },
    time::Duration,
};

use harness::{User, new_id, world::Company};
use serde_json::Value;
use server::config::Limits;
use tokio::{
    io::{AsyncReadExt as _, AsyncWriteExt as _},
    net::TcpStream,
    task::JoinSet,
    time::{Instant, timeout},
};

use crate::programmes::{call_off, describe, programme, written};

/// Longer than anything here takes on a busy machine, and shorter than the work that others wait behind.
const SOON: Duration = Duration::from_secs(10);

/// Somebody else: who they are, and a record of theirs. Both are answered, soon, and not refused.
async fn another_is_answered(company: &Company, somebody: &User) {
    let asked = async {
        let _ = somebody.get("/api/v1/me").await.expect(200);
        let record = company.record(&company.rear, "0.01");
        let _ = somebody.put(&format!("/api/v1/applications/{}", new_id()), &record).await.expect(201);
    };
    assert!(timeout(SOON, asked).await.is_ok(), "another caller waits behind the crowd");
}

/// Asks all at once, and lets somebody else ask as soon as the first is answered. Who crowds is answered in the end, too; how many were
/// when the other one had been served is told.
async fn crowd(company: &Company, asker: &User, paths: Vec<String>, somebody: &User) -> usize {
    let mut asking = JoinSet::new();
    for path in paths {
        let asker = asker.clone();
        asking.spawn(async move { asker.get(&path).await.expect(200) });
    }
    let _ = asking.join_next().await.unwrap().unwrap();
    another_is_answered(company, somebody).await;
    let mut answered = 1;
    while let Some(done) = asking.try_join_next() {
        let _ = done.unwrap();
        answered += 1;
    }
    while let Some(done) = asking.join_next().await {
        let _ = done.unwrap();
    }
    answered
}

async fn with_records(count: usize, limits: Limits) -> Company {
    let company = Company::in_maryland().await.limited(limits).await;
    let mut sending = JoinSet::new();
    for _ in 0..count {
        let (phone, record) = (company.phone.clone(), company.record(&company.rear, "0.01"));
        sending.spawn(async move { phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await.status });
    }
    assert!(sending.join_all().await.iter().all(|status| *status == 201));
    company
}

/// 1,100 lines over which nothing is said, or half a head, while the system lets a process have no more than 1,024 by itself.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn lines_over_which_nothing_is_said_keep_nobody_out() {
    server::connections::room_for(4000);
    let company = Company::in_maryland().await.limited(Limits::default()).await;
    let mut lines = Vec::new();
    for number in 0..1100 {
        let mut line = TcpStream::connect(company.app.address).await.unwrap();
        if number % 2 == 0 {
            let _ = line.write_all(b"GET /api/v1/me HTTP/1.1\r\nHost: a\r\nX-Half: ").await;
        }
        lines.push(line);
    }
    another_is_answered(&company, &company.phone).await;
    another_is_answered(&company, &company.phone).await;
    let mut open = 0;
    for line in &mut lines {
        let mut byte = [0];
        open += usize::from(timeout(Duration::from_millis(1), line.read(&mut byte)).await.is_err());
    }
    assert!(open <= Limits::default().connections_per_address, "{open} are open");
    assert!(open > 0, "those that came last were not waited for long yet");
    let metrics = company.office.get("/api/v1/metrics").await.expect(200).text;
    let crowded = r#"swardbook_connections_ended_total{why="crowded"} "#;
    let crowded: usize =
        metrics.lines().find_map(|line| line.strip_prefix(crowded)).and_then(|text| text.parse().ok()).unwrap();
    assert!(crowded >= 1100 - Limits::default().connections_per_address, "{crowded}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_hundred_statements_at_once_keep_nobody_waiting() {
    let company = with_records(50, Limits::default()).await;
    let statement = format!("/api/v1/statements?year=2026&client_id={}", company.client);
    let before = crowd(&company, &company.owner, vec![statement; 100], &company.phone).await;
    assert!(before < 100, "the statements were all made before somebody else was served, so nothing was shown");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn exports_and_years_keep_nobody_waiting() {
    let company = with_records(50, Limits::default()).await;
    let export = format!("/api/v1/statements?year=2026&client_id={}&format=csv", company.client);
    let year = "/api/v1/statements/company?year=2026".to_owned();
    let review = "/api/v1/reviews".to_owned();
    let paths = [vec![export; 10], vec![year; 10], vec![review; 10]].concat();
    let before = crowd(&company, &company.owner, paths, &company.phone).await;
    assert!(before < 30, "all was exported before somebody else was served, so nothing was shown");
}

/// Two who plan: each has one plan made after the other, and a third one waits for neither.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn plans_keep_nobody_waiting() {
    let company = Company::in_maryland().await.limited(Limits::default()).await;
    call_off(&company).await;
    describe(&company, &company.front, "medium", "unknown", "unknown").await;
    let id = written(&company.office, &programme(&company)).await;
    let path = format!("/api/v1/programmes/{id}/plan");
    let also = tokio::spawn({
        let (office, path) = (company.office.clone(), path.clone());
        async move {
            for _ in 0..10 {
                let _ = office.get(&path).await.expect(200);
            }
        }
    });
    let before = crowd(&company, &company.owner, vec![path; 10], &company.phone).await;
    assert!(before < 10, "the plans were all made before somebody else was served, so nothing was shown");
    also.await.unwrap();
}

/// What a phone sends after weeks without a signal. The owner's record does not stand behind all of it.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn one_technician_who_sends_much_keeps_nobody_waiting() {
    const SENT: usize = 300;
    // As many as may come from one address; more connections are not the point here.
    const SENDERS: usize = 100;
    let company = Arc::new(Company::in_maryland().await.limited(Limits::default()).await);
    let mut sending = JoinSet::new();
    let stored = Arc::new(AtomicUsize::new(0));
    for _ in 0..SENDERS {
        let (company, stored) = (Arc::clone(&company), Arc::clone(&stored));
        sending.spawn(async move {
            for _ in 0..SENT / SENDERS {
                let record = company.record(&company.front, "0.01");
                let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await.expect(201);
                stored.fetch_add(1, Ordering::Relaxed);
            }
        });
    }
    while stored.load(Ordering::Relaxed) == 0 {
        tokio::time::sleep(Duration::from_millis(1)).await;
    }
    another_is_answered(&company, &company.owner).await;
    let before = stored.load(Ordering::Relaxed);
    assert!(before < SENT, "all was stored before somebody else was served, so nothing was shown");
    // And none of it was refused.
    let _ = sending.join_all().await;
    assert_eq!(stored.load(Ordering::Relaxed), SENT);
}

/// One caller's long answers are made one after the other, so that the next caller waits for one of them.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_second_caller_waits_for_one_statement_and_not_for_all() {
    let company = with_records(100, Limits { long_at_once: 1, ..Limits::default() }).await;
    let statement = format!("/api/v1/statements?year=2026&client_id={}", company.client);
    let mut asking = JoinSet::new();
    for _ in 0..40 {
        let (owner, path) = (company.owner.clone(), statement.clone());
        asking.spawn(async move { owner.get(&path).await.expect(200) });
    }
    let _ = asking.join_next().await.unwrap().unwrap();
    let begun = Instant::now();
    let _ = timeout(SOON, company.office.get(&statement)).await.unwrap().expect(200);
    let mut left = 0;
    while let Some(done) = asking.join_next().await {
        let _ = done.unwrap();
        left += 1;
    }
    assert!(left > 10, "only {left} of 40 were left after {:?}", begun.elapsed());
}

/// Each of the addresses that are said to take long is one.
#[tokio::test]
async fn what_takes_long_is_there() {
    let company = Company::in_maryland().await;
    for template in server::sharing::LONG {
        let path = template.replace("{id}", &new_id()).replace("{code}", "us-md");
        let reply = company.owner.get(&path).await;
        let nowhere = reply.body["detail"].as_str().is_some_and(|detail| detail.starts_with("There is no address"));
        assert!(!nowhere && reply.body != Value::Bool(true), "{template}: {}", reply.text);
    }
}
