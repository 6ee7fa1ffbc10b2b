//! So many callers, each with a connection and a thread of its own, who ask as fast as they are answered.

use std::{
    io::Write,
    sync::{
        Barrier, Mutex, PoisonError,
        atomic::{AtomicUsize, Ordering},
    },
    thread,
    time::{Duration, Instant},
};

use serde::{Deserialize, Serialize};
use serde_json::Value;
use uuid::Uuid;

use crate::{Fault, line::Line, template::Template};

/// What is asked, how often and by how many.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    pub address: String,
    pub method: String,
    pub path: String,
    /// Whole lines such as `authorization: Bearer <0>`.
    #[serde(default)]
    pub headers: Vec<String>,
    #[serde(default)]
    pub body: Option<String>,
    /// Values for the gaps, one row a request and from the start again when all were used.
    #[serde(default)]
    pub rows: Vec<Vec<String>>,
    #[serde(default)]
    pub first_row: usize,
    pub status: u16,
    /// A server that has too much to do may say so by 503: such answers are counted by themselves, and as no answers.
    #[serde(default)]
    pub may_refuse: bool,
    pub callers: usize,
    /// Ends after so many requests.
    #[serde(default)]
    pub requests: Option<usize>,
    /// Ends after so long; what was asked before is still waited for and counted.
    #[serde(default)]
    pub seconds: Option<f64>,
    /// The `id` of each answer is wanted, in the order of the rows.
    #[serde(default)]
    pub ids: bool,
}

#[derive(Debug, Serialize)]
pub struct Measured {
    pub requests: usize,
    pub refused: usize,
    pub seconds: f64,
    pub median_ms: f64,
    pub p99_ms: f64,
    pub max_ms: f64,
    /// Bytes of all answers' bodies.
    pub bytes: usize,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub ids: Vec<String>,
}

/// What one caller saw.
#[derive(Debug, Default)]
struct Seen {
    times: Vec<f64>,
    refused: usize,
    bytes: usize,
    ids: Vec<(usize, String)>,
    last: Option<Instant>,
}

struct Asker<'a> {
    plan: &'a Plan,
    path: Template,
    headers: Vec<Template>,
    body: Option<Template>,
    next: AtomicUsize,
    start: Barrier,
}

pub fn run(plan: &Plan) -> Result<Measured, Fault> {
    if plan.requests.is_none() && plan.seconds.is_none() {
        return Err("neither `requests` nor `seconds` says when to end".into());
    }
    let asker = Asker {
        plan,
        path: Template::new(&plan.path),
        headers: plan.headers.iter().map(|text| Template::new(text)).collect(),
        body: plan.body.as_deref().map(Template::new),
        next: AtomicUsize::new(0),
        start: Barrier::new(plan.callers + 1),
    };
    let (all, fault) = (Mutex::new(Vec::new()), Mutex::new(None));
    let begun = thread::scope(|scope| {
        for _ in 0..plan.callers {
            scope.spawn(|| match asker.call() {
                Ok(seen) => all.lock().unwrap_or_else(PoisonError::into_inner).push(seen),
                Err(error) => *fault.lock().unwrap_or_else(PoisonError::into_inner) = Some(error),
            });
        }
        asker.start.wait();
        Instant::now()
    });
    if let Some(fault) = fault.into_inner().unwrap_or_else(PoisonError::into_inner) {
        return Err(fault);
    }
    sum(begun, all.into_inner().unwrap_or_else(PoisonError::into_inner))
}

impl Asker<'_> {
    fn call(&self) -> Result<Seen, Fault> {
        // Whoever waits for the start must not wait for one whose connection failed.
        let line = Line::new(&self.plan.address);
        self.start.wait();
        let mut line = line?;
        let end = self.plan.seconds.map(|seconds| Instant::now() + Duration::from_secs_f64(seconds));
        let (mut request, mut seen) = (Vec::new(), Seen::default());
        loop {
            if end.is_some_and(|end| Instant::now() >= end) {
                return Ok(seen);
            }
            let number = self.next.fetch_add(1, Ordering::Relaxed);
            if self.plan.requests.is_some_and(|requests| number >= requests) {
                return Ok(seen);
            }
            self.write(&mut request, number)?;
            let start = Instant::now();
            let answer = line.ask(&request)?;
            let time = start.elapsed();
            seen.last = Some(start + time);
            if answer.status == 503 && self.plan.may_refuse {
                seen.refused += 1;
                continue;
            }
            if answer.status != self.plan.status {
                let told = String::from_utf8_lossy(answer.body);
                return Err(
                    format!("{} {} answered {}: {told}", self.plan.method, self.plan.path, answer.status).into()
                );
            }
            seen.times.push(time.as_secs_f64() * 1000.0);
            seen.bytes += answer.body.len();
            if self.plan.ids {
                let body: Value = serde_json::from_slice(answer.body)?;
                let id = body.get("id").and_then(Value::as_str).ok_or("an answer without an id")?;
                seen.ids.push((number, id.to_owned()));
            }
        }
    }

    fn write(&self, into: &mut Vec<u8>, number: usize) -> Result<(), Fault> {
        let rows = &self.plan.rows;
        let row = match rows.len() {
            0 => &[],
            length => rows.get((self.plan.first_row + number) % length).map(Vec::as_slice).unwrap_or_default(),
        };
        let id = new_id();
        into.clear();
        write!(into, "{} ", self.plan.method)?;
        self.path.fill(into, id, row)?;
        write!(into, " HTTP/1.1\r\nhost: {}\r\n", self.plan.address)?;
        for header in &self.headers {
            header.fill(into, id, row)?;
            into.extend_from_slice(b"\r\n");
        }
        let mut body = Vec::new();
        if let Some(text) = &self.body {
            text.fill(&mut body, id, row)?;
            write!(into, "content-type: application/json\r\ncontent-length: {}\r\n", body.len())?;
        }
        into.extend_from_slice(b"\r\n");
        into.extend_from_slice(&body);
        Ok(())
    }
}

#[expect(
    clippy::disallowed_methods,
    reason = "a phone makes the ids of its records by its own clock, and this stands for phones"
)]
fn new_id() -> Uuid {
    Uuid::now_v7()
}

fn sum(begun: Instant, all: Vec<Seen>) -> Result<Measured, Fault> {
    let last = all.iter().filter_map(|seen| seen.last).max().ok_or("nothing was asked")?;
    let bytes = all.iter().map(|seen| seen.bytes).sum();
    let refused = all.iter().map(|seen| seen.refused).sum();
    let (mut times, mut ids) = (Vec::new(), Vec::new());
    for seen in all {
        times.extend(seen.times);
        ids.extend(seen.ids);
    }
    times.sort_by(f64::total_cmp);
    ids.sort();
    let at = |part: usize| {
        times.get((times.len() * part / 100).min(times.len().saturating_sub(1))).copied().unwrap_or_default()
    };
    Ok(Measured {
        requests: times.len(),
        refused,
        seconds: last.duration_since(begun).as_secs_f64(),
        median_ms: at(50),
        p99_ms: at(99),
        max_ms: at(100),
        bytes,
        ids: ids.into_iter().map(|(_, id)| id).collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_summed_over_all_callers() {
        let begun = Instant::now();
        let caller = |times: &[f64], seconds| Seen {
            times: times.to_vec(),
            refused: 1,
            bytes: 10,
            ids: Vec::new(),
            last: Some(begun + Duration::from_secs(seconds)),
        };
        let result = sum(begun, vec![caller(&[3.0, 1.0], 1), caller(&[2.0, 9.0], 2)]).unwrap();
        assert_eq!((result.requests, result.refused, result.bytes), (4, 2, 20));
        let seen = [result.seconds, result.median_ms, result.p99_ms, result.max_ms];
        assert!(seen.iter().zip([2.0, 3.0, 9.0, 9.0]).all(|(a, b)| (a - b).abs() < 1e-9), "{seen:?}");
        assert!(sum(begun, Vec::new()).is_err());
    }
}
