//! What goes wrong is in the log once, with the request that it happened in, and as JSON.

use std::{
    io,
    sync::{Arc, Mutex},
};

use harness::world::Company;
use serde_json::Value;
use server::log;
use tracing::{Dispatch, subscriber::DefaultGuard};

/// Keeps the lines that are logged on this thread.
#[derive(Clone, Default)]
struct Kept(Arc<Mutex<Vec<u8>>>);

impl io::Write for Kept {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.lock().unwrap().extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Kept {
    /// Keeps what this thread logs from now on. While a process has one subscriber alone, the library asks whichever thread comes
    /// by a place first whether it is of interest, and other tests have none that would be: so there is a second, which is asked nothing.
    fn here() -> (Self, (DefaultGuard, Dispatch)) {
        let kept = Self::default();
        let writer = kept.clone();
        let second = Dispatch::new(log::subscriber("info", true, io::sink));
        (kept, (tracing::subscriber::set_default(log::subscriber("info", true, move || writer.clone())), second))
    }

    fn lines(&self) -> Vec<Value> {
        let text = String::from_utf8(self.0.lock().unwrap().clone()).unwrap();
        text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
    }

    /// Lines of one request.
    fn of(&self, request: &str) -> Vec<Value> {
        self.lines().into_iter().filter(|line| line["span"]["id"] == request).collect()
    }
}

#[tokio::test]
async fn a_fault_is_logged_once_with_its_request_its_caller_and_how_long_it_took() {
    let (kept, _here) = Kept::here();
    let company = Company::in_maryland().await;
    // A row that no version of the server has written.
    let book = rusqlite::Connection::open(company.app.file()).unwrap();
    let _ = book
        .execute("UPDATE visits SET status = 'planned', planned_on = 'someday' WHERE id = ?1", [&company.visit])
        .unwrap();
    let request = "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a77";
    let trace = "4bf92f3577b34da6a3ce929d0e0e4736";
    let traceparent = format!("00-{trace}-00f067aa0ba902b7-01");
    let headers = [("x-request-id", request), ("traceparent", traceparent.as_str())];
    let reply = company.office.get_with(&format!("/api/v1/visits/{}", company.visit), &headers).await;
    assert_eq!(reply.problem(500, "fault").body["instance"], format!("urn:uuid:{request}"));
    let lines = kept.of(request);
    let faults: Vec<&Value> = lines.iter().filter(|line| line["level"] == "ERROR").collect();
    assert_eq!(faults.len(), 1, "{lines:#?}");
    assert!(faults[0]["fields"]["error"].as_str().unwrap().contains("day"), "{}", faults[0]);
    for line in &lines {
        assert_eq!(line["span"]["trace"], trace);
        assert_eq!(line["span"]["caller"], company.office.id.as_deref().unwrap());
        assert_eq!(line.get("spans"), None);
    }
    let answered = lines.iter().find(|line| line["fields"]["message"] == "answered").unwrap();
    assert_eq!(answered["fields"]["status"], 500);
    assert!(answered["fields"]["took_us"].as_u64().unwrap() > 0);
}

#[tokio::test]
async fn a_trace_that_is_none_is_left_out() {
    let (kept, _here) = Kept::here();
    let company = Company::in_maryland().await;
    // W3C Trace Context, 3.2: all zeros, capitals, the version ff, and a part too many in version 00 are no trace.
    let none = [
        "00-00000000000000000000000000000000-00f067aa0ba902b7-01",
        "00-4bf92f3577b34da6a3ce929d0e0e4736-0000000000000000-01",
        "00-4BF92F3577B34DA6A3CE929D0E0E4736-00f067aa0ba902b7-01",
        "ff-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01",
        "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01-more",
        "00-4bf92f3577b34da6a3ce929d0e0e4736",
    ];
    for (at, traceparent) in none.into_iter().enumerate() {
        let request = format!("01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7b0{at}");
        let headers = [("x-request-id", request.as_str()), ("traceparent", traceparent)];
        let _ = company.office.get_with("/api/v1/me", &headers).await.expect(200);
        let lines = kept.of(&request);
        assert!(!lines.is_empty() && lines.iter().all(|line| line["span"].get("trace").is_none()), "{traceparent}");
    }
}
