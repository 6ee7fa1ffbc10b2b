//! What whoever watches the server reads: each figure is provoked over HTTP and read back.

pub mod exposition;

use std::time::Duration;

use exposition::Exposition;
use harness::{new_id, world::Company};
use reqwest::Method;
use serde_json::json;
use server::{problem::Problem, store::ReadTransaction};
use tokio::{sync::oneshot, task::JoinSet};

use crate::storage::fill_the_disk;

async fn read(company: &Company) -> Exposition {
    Exposition::read(&company.office.get("/api/v1/metrics").await.expect(200).text)
}

/// Reads until something holds that others bring about.
async fn read_until(company: &Company, holds: impl Fn(&Exposition) -> bool) -> Exposition {
    for _ in 0..500 {
        let seen = read(company).await;
        if holds(&seen) {
            return seen;
        }
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    panic!("{:#?}", read(company).await)
}

#[tokio::test]
async fn the_text_is_that_of_the_open_format_and_each_family_says_what_it_is() {
    let company = Company::in_maryland().await;
    let _ = company.owner.get("/api/v1/me").await.expect(200);
    let reply = company.owner.get("/api/v1/metrics").await.expect(200);
    assert_eq!(reply.header("content-type"), Some("application/openmetrics-text; version=1.0.0; charset=utf-8"));
    let seen = Exposition::read(&reply.text);
    for (name, kind, unit) in [
        ("build", "info", None),
        ("uptime_seconds", "gauge", Some("seconds")),
        ("requests", "counter", None),
        ("request_duration_seconds", "histogram", Some("seconds")),
        ("requests_in_flight", "gauge", None),
        ("storage_failures", "counter", None),
        ("batch_acts", "histogram", None),
        ("batch_duration_seconds", "histogram", Some("seconds")),
        ("waiting_writes", "gauge", None),
        ("readers", "gauge", None),
        ("database_bytes", "gauge", Some("bytes")),
        ("write_ahead_log_bytes", "gauge", Some("bytes")),
    ] {
        let about = seen.about(&format!("swardbook_{name}")).map(|(kind, unit, _)| (kind, unit));
        assert_eq!(about, Some((kind, unit)), "{name}");
    }
    assert!(seen.names().iter().all(|name| name.starts_with("swardbook_")), "{:?}", seen.names());
    assert_eq!(seen.value("swardbook_build_info", &[("version", env!("CARGO_PKG_VERSION"))]), Some(1.0));
    let before = seen.value("swardbook_uptime_seconds", &[]).unwrap();
    assert!(read(&company).await.value("swardbook_uptime_seconds", &[]) > Some(before) && before > 0.0);
    let _ = company.phone.get("/api/v1/metrics").await.problem(403, "not-allowed");
    let _ = company.app.nobody().get("/api/v1/metrics").await.problem(401, "not-signed-in");
}

#[tokio::test]
async fn requests_are_counted_by_the_template_of_their_route() {
    let company = Company::in_maryland().await;
    let count = |seen: &Exposition, route: &str, method: &str, status: &str| {
        seen.value("swardbook_requests_total", &[("route", route), ("method", method), ("status", status)])
            .unwrap_or(0.0)
    };
    let one = "/api/v1/clients/{id}";
    let before = read(&company).await;
    let _ = company.office.get(&format!("/api/v1/clients/{}", company.client)).await.expect(200);
    let _ = company.office.get(&format!("/api/v1/clients/{}", company.client)).await.expect(200);
    let _ = company.office.get(&format!("/api/v1/clients/{}", new_id())).await.expect(404);
    let _ = company.office.get("/nowhere/Annapolis").await.expect(404);
    let _ = company.office.send(Method::from_bytes(b"BREW").unwrap(), "/api/v1/clients", &[], None).await.expect(405);
    let seen = read(&company).await;
    let more = |route: &str, method: &str, status: &str| {
        (count(&seen, route, method, status) - count(&before, route, method, status)).to_string()
    };
    assert_eq!(more(one, "GET", "2xx"), "2");
    assert_eq!(more(one, "GET", "4xx"), "1");
    assert_eq!(more("none", "GET", "4xx"), "1");
    assert_eq!(more("/api/v1/clients", "other", "4xx"), "1");
    // The one before is answered by the time of this one.
    assert_eq!(more("/api/v1/metrics", "GET", "2xx"), "1");
    let of = [("route", one), ("method", "GET")];
    assert_eq!(seen.value("swardbook_request_duration_seconds_count", &of), Some(3.0));
    let took = seen.value("swardbook_request_duration_seconds_sum", &of).unwrap();
    assert!(took > 0.0 && took < 30.0, "{took}");
    // No label says more than a route's template, a method, a class, a service, a state, a bound or the version.
    for value in seen.label_values() {
        let digits = value.bytes().filter(u8::is_ascii_digit).count();
        assert!(digits < 6 && !value.contains("Annapolis") && !value.contains("BREW"), "{value}");
    }
}

#[tokio::test]
async fn what_waits_for_the_writer_is_seen_and_then_written_together() {
    let company = Company::in_maryland().await;
    let before = read(&company).await;
    assert_eq!(before.value("swardbook_requests_in_flight", &[]), Some(1.0), "the one that reads is one");
    let number = |seen: &Exposition, name: &str| seen.value(name, &[]).unwrap();
    let (let_go, held) = oneshot::channel::<()>();
    let (begun, holds) = oneshot::channel::<()>();
    let store = &company.app.beside().store;
    let holding = store.write(move |_| {
        Box::pin(async move {
            let _ = begun.send(());
            let _ = held.await;
            Ok::<(), Problem>(())
        })
    });
    let watching = async {
        holds.await.unwrap();
        let mut asking = JoinSet::new();
        for _ in 0..3 {
            let (phone, plan) = (company.phone.clone(), company.plan(&company.front, "1"));
            asking.spawn(async move { phone.put(&format!("/api/v1/clearances/{}", new_id()), &plan).await });
        }
        let seen = read_until(&company, |seen| number(seen, "swardbook_waiting_writes") >= 3.0).await;
        assert_eq!(seen.value("swardbook_requests_in_flight", &[]), Some(4.0));
        let_go.send(()).unwrap();
        for reply in asking.join_all().await {
            let _ = reply.expect(201);
        }
    };
    let (held, ()) = tokio::join!(holding, watching);
    held.unwrap();
    let after = read_until(&company, |seen| number(seen, "swardbook_requests_in_flight") < 2.0).await;
    let more = |name: &str| (number(&after, name) - number(&before, name)).to_string();
    assert_eq!(number(&after, "swardbook_waiting_writes").to_string(), "0");
    assert_eq!(
        (more("swardbook_batch_acts_count"), more("swardbook_batch_acts_sum")),
        ("1".to_owned(), "3".to_owned())
    );
    let bucket = |bound: &str| {
        let of = |seen: &Exposition| seen.value("swardbook_batch_acts_bucket", &[("le", bound)]).unwrap();
        (of(&after) - of(&before)).to_string()
    };
    assert_eq!((bucket("2.0"), bucket("4.0")), ("0".to_owned(), "1".to_owned()));
    assert_eq!(more("swardbook_batch_duration_seconds_count"), "1");
    assert!(
        number(&after, "swardbook_batch_duration_seconds_sum")
            > number(&before, "swardbook_batch_duration_seconds_sum")
    );
}

#[tokio::test]
async fn a_request_that_its_caller_gives_up_is_no_longer_in_flight() {
    let company = Company::in_maryland().await;
    let in_flight = |seen: &Exposition| seen.value("swardbook_requests_in_flight", &[]).unwrap();
    let (let_go, held) = oneshot::channel::<()>();
    let store = &company.app.beside().store;
    let holding = store.write(move |_| {
        Box::pin(async move {
            let _ = held.await;
            Ok::<(), Problem>(())
        })
    });
    let watching = async {
        let (office, client) =
            (company.office.clone(), json!({ "name": "Client 002", "mailing_address": "2 Street B" }));
        let asking = tokio::spawn(async move { office.post("/api/v1/clients", &client).await });
        let _ = read_until(&company, |seen| in_flight(seen) > 1.0).await;
        asking.abort();
        let _ = read_until(&company, |seen| in_flight(seen) < 2.0).await;
        let_go.send(()).unwrap();
    };
    let (held, ()) = tokio::join!(holding, watching);
    held.unwrap();
}

#[tokio::test]
async fn requests_that_the_disk_refused_are_counted() {
    let company = Company::in_maryland().await;
    assert_eq!(read(&company).await.value("swardbook_storage_failures_total", &[]), Some(0.0));
    fill_the_disk(&company).await;
    let mut record = company.record(&company.front, "5");
    record["notes"] = "wet ".repeat(400).trim().into();
    let address = format!("/api/v1/applications/{}", new_id());
    let mut refused = 0;
    while company.phone.put(&address, &record).await.status != 201 {
        refused += 1;
        assert!(refused < 5, "the writer does not mend itself");
    }
    assert!(refused > 0, "the disk was not full");
    let seen = read(&company).await;
    assert_eq!(seen.value("swardbook_storage_failures_total", &[]), Some(f64::from(refused)));
    let of = [("route", "/api/v1/applications/{id}"), ("method", "PUT"), ("status", "5xx")];
    assert_eq!(seen.value("swardbook_requests_total", &of), Some(f64::from(refused)));
}

#[tokio::test]
async fn files_and_readers_are_measured() {
    let company = Company::in_maryland().await;
    let seen = read(&company).await;
    let size = |name: &str| u32::try_from(std::fs::metadata(company.app.folder().join(name)).unwrap().len()).unwrap();
    assert_eq!(seen.value("swardbook_database_bytes", &[]), Some(f64::from(size("book.db"))));
    assert_eq!(seen.value("swardbook_write_ahead_log_bytes", &[]), Some(f64::from(size("book.db-wal"))));
    assert!(size("book.db") > 0 && size("book.db-wal") > 0);
    let readers = |seen: &Exposition| {
        ["free", "used"].map(|state| seen.value("swardbook_readers", &[("state", state)]).unwrap().to_string())
    };
    let reader = company.app.beside().store.reader();
    let (one, other) = (ReadTransaction::begin(reader).await.unwrap(), ReadTransaction::begin(reader).await.unwrap());
    // One that has just answered is free a moment later.
    let _ = read_until(&company, |seen| readers(seen) == ["2", "2"]).await;
    drop((one, other));
    let _ = read_until(&company, |seen| readers(seen) == ["4", "0"]).await;
}
