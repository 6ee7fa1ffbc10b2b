//! What the server counts while it works, for whoever watches it: requests, the writer, failures of the disk. It is counted since
//! the server began. Labels name routes, methods and classes of status, never an id, a place or a person.

use std::{
    sync::{Mutex, MutexGuard, PoisonError},
    time::Duration,
};

use domain::time::Instant;
use prometheus_client::{
    encoding::EncodeLabelSet,
    metrics::{
        counter::Counter,
        family::Family,
        gauge::{ConstGauge, Gauge},
        histogram::Histogram,
        info::Info,
    },
    registry::{Registry, Unit},
};

/// Bounds in seconds: from what needs no disk to what is given up after half a minute.
const SECONDS: [f64; 10] = [0.001, 0.002_5, 0.005, 0.01, 0.05, 0.1, 0.5, 1.0, 5.0, 30.0];
/// Bounds in acts, up to the most that the writer takes together.
const ACTS: [f64; 8] = [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0];

type Durations = Family<Operation, Histogram, fn() -> Histogram>;

/// A route as its template, such as `/api/v1/clients/{id}`, and a method.
#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Operation {
    route: String,
    method: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Answered {
    route: String,
    method: &'static str,
    /// `2xx` and the like.
    status: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct OfPolicy {
    policy: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct Ended {
    why: &'static str,
}

/// The newest copy of the book that this server made or found.
#[derive(Debug, Clone, Default)]
pub struct LastBackup {
    /// As it is called where it lies.
    pub name: String,
    /// To which moment it reaches.
    pub at: Option<Instant>,
    /// When everything in a copy was last checked, and what did not add up.
    pub whole_at: Option<Instant>,
    pub fault: Option<String>,
    /// Number of its newest entry of the journal.
    pub entry: Option<i64>,
    pub bytes: u64,
}

/// How it stands with the copies that the server makes.
#[derive(Debug, Default)]
struct Backups {
    /// How often one is due where the server makes any, and since when.
    due: Option<(Duration, Instant)>,
    last: Option<LastBackup>,
    /// Since when they fail, and why.
    failing: Option<(Instant, String)>,
}

/// The counters. Cheap to count into from anywhere.
#[derive(Debug)]
pub struct Metrics {
    begun: tokio::time::Instant,
    backups: Mutex<Backups>,
    backup_failures: Counter,
    requests: Family<Answered, Counter>,
    durations: Durations,
    in_flight: Gauge,
    storage_failures: Counter,
    over_budget: Family<OfPolicy, Counter>,
    connections: Gauge,
    connections_ended: Family<Ended, Counter>,
    batch_acts: Histogram,
    batch_durations: Histogram,
}

/// A request that is being answered, or was given up by its caller, until it is dropped.
#[derive(Debug)]
pub struct InFlight(Gauge);

impl Drop for InFlight {
    fn drop(&mut self) {
        self.0.dec();
    }
}

fn durations() -> Histogram {
    Histogram::new(SECONDS)
}

impl Default for Metrics {
    fn default() -> Self {
        Self {
            begun: tokio::time::Instant::now(),
            backups: Mutex::default(),
            backup_failures: Counter::default(),
            requests: Family::default(),
            durations: Family::new_with_constructor(durations),
            in_flight: Gauge::default(),
            storage_failures: Counter::default(),
            over_budget: Family::default(),
            connections: Gauge::default(),
            connections_ended: Family::default(),
            batch_acts: Histogram::new(ACTS),
            batch_durations: durations(),
        }
    }
}

impl Metrics {
    pub fn request_begins(&self) -> InFlight {
        self.in_flight.inc();
        InFlight(self.in_flight.clone())
    }

    /// `route` is the template; nothing for an address that no route has.
    pub fn request_answered(&self, route: Option<&str>, method: &str, status: u16, took: Duration) {
        let (route, method) = (route.unwrap_or("none").to_owned(), known(method));
        let operation = Operation { route: route.clone(), method };
        self.durations.get_or_create(&operation).observe(took.as_secs_f64());
        self.requests.get_or_create(&Answered { route, method, status: class(status) }).inc();
    }

    pub fn storage_failed(&self) {
        self.storage_failures.inc();
    }

    /// A request was refused because the budget of this name was spent.
    pub fn over_budget(&self, policy: &'static str) {
        self.over_budget.get_or_create(&OfPolicy { policy }).inc();
    }

    pub fn connections(&self, open: usize) {
        self.connections.set(i64::try_from(open).unwrap_or(i64::MAX));
    }

    /// The server ended a connection: its head did not come, nothing came, its answer was not read, or others needed its place.
    pub fn connection_ended(&self, why: &'static str) {
        self.connections_ended.get_or_create(&Ended { why }).inc();
    }

    pub fn batch_ended(&self, acts: usize, took: Duration) {
        self.batch_acts.observe(f64::from(u32::try_from(acts).unwrap_or(u32::MAX)));
        self.batch_durations.observe(took.as_secs_f64());
    }

    fn backups(&self) -> MutexGuard<'_, Backups> {
        self.backups.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A copy of the book was made, or the last one still holds everything.
    pub fn backed_up(&self, copy: LastBackup) {
        let mut backups = self.backups();
        // A copy of records that do not add up is better than none, and is told until they do.
        let failing = copy.fault.clone().zip(copy.at).map(|(why, at)| {
            let since = backups.failing.as_ref().map_or(at, |(since, _)| *since);
            (since, why)
        });
        *backups = Backups { last: Some(copy), failing, due: backups.due };
    }

    pub fn backup_failed(&self, at: Instant, why: String) {
        self.backup_failures.inc();
        let mut copies = self.backups();
        let since = copies.failing.as_ref().map_or(at, |(since, _)| *since);
        copies.failing = Some((since, why));
    }

    /// Copies are made from now on, so often.
    pub fn backups_begin(&self, every: Duration, now: Instant) {
        self.backups().due = Some((every, now));
    }

    /// Since when a copy is waited for that does not come, and how often one is due: four times that went by without one, and
    /// without a failure that would say why.
    pub fn backup_late(&self, now: Instant) -> Option<(Instant, Duration)> {
        let backups = self.backups();
        let (every, begun) = backups.due.filter(|_| backups.failing.is_none())?;
        let last = backups.last.as_ref().and_then(|last| last.at).map_or(begun, |at| at.max(begun));
        let waited = u64::try_from(now.since(last).as_secs()).unwrap_or(0);
        (waited > every.as_secs().saturating_mul(4)).then_some((last, every))
    }

    pub fn last_backup(&self) -> Option<LastBackup> {
        self.backups().last.clone()
    }

    /// Since when copies fail, and why.
    pub fn backups_fail(&self) -> Option<(Instant, String)> {
        self.backups().failing.clone()
    }

    /// All of it, to be added to and written.
    pub fn registry(&self) -> Registry {
        let mut registry = Registry::with_prefix("swardbook");
        let version = [("version", env!("CARGO_PKG_VERSION"))];
        registry.register("build", "The server that answers", Info::new(version.to_vec()));
        let uptime = ConstGauge::new(self.begun.elapsed().as_secs_f64());
        registry.register_with_unit("uptime", "Time since the server began", Unit::Seconds, uptime);
        let help = "Requests that were answered, by route, method and class of status";
        registry.register("requests", help, self.requests.clone());
        let help = "Time from the arrival of a request to the head of its answer, by route and method";
        registry.register_with_unit("request_duration", help, Unit::Seconds, self.durations.clone());
        registry.register("requests_in_flight", "Requests that are being answered now", self.in_flight.clone());
        let help = "Requests that failed because the disk refused, or the book was not there";
        registry.register("storage_failures", help, self.storage_failures.clone());
        let help = "Requests that were refused because a budget was spent, by its name";
        registry.register("over_budget", help, self.over_budget.clone());
        registry.register("connections", "Connections that are open", self.connections.clone());
        let help = "Connections that the server ended, by why: head, idle, unread, crowded or refused";
        registry.register("connections_ended", help, self.connections_ended.clone());
        let help = "Copies of the book that the server tried to make and could not";
        registry.register("backup_failures", help, self.backup_failures.clone());
        let help = "Acts (clearances, applications, corrections) that the writer took together, whether or not it could store them";
        registry.register("batch_acts", help, self.batch_acts.clone());
        let help = "Time to load, decide, write and commit the acts that were taken together";
        registry.register_with_unit("batch_duration", help, Unit::Seconds, self.batch_durations.clone());
        registry
    }
}

/// A caller may invent methods; each would be a label of its own.
fn known(method: &str) -> &'static str {
    let all = ["GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"];
    all.into_iter().find(|known| *known == method).unwrap_or("other")
}

fn class(status: u16) -> &'static str {
    match status {
        100..200 => "1xx",
        200..300 => "2xx",
        300..400 => "3xx",
        400..500 => "4xx",
        _ => "5xx",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_callers_invent_makes_no_labels() {
        assert_eq!((known("PUT"), known("put"), known("X-7f3a")), ("PUT", "other", "other"));
        assert_eq!((class(204), class(422), class(599), class(999)), ("2xx", "4xx", "5xx", "5xx"));
    }
}
