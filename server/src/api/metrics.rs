//! Figures for whoever watches the server, in the open text format of metrics (`OpenMetrics` 1.0). They name routes, services and
//! counts, never a client, a place or a person.

use axum::{
    extract::State,
    http::header,
    response::{IntoResponse, Response},
};
use domain::time::Instant;
use jiff::SignedDuration;
use prometheus_client::{
    encoding::{EncodeLabelSet, text},
    metrics::{counter::Counter, family::Family, gauge::ConstGauge, gauge::Gauge},
    registry::{Registry, Unit},
};

use crate::{
    access::OfficeOrOwner,
    problem::Problem,
    routes::{Routes, routes},
    state::App,
    store,
    weather::Seen,
};

const TYPE: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";
/// Answers older than this are of no use, and have no age that is shown.
const LOOK_BACK: SignedDuration = SignedDuration::from_hours(24);

pub fn routes() -> Routes {
    routes!(get_metrics)
}

/// Get metrics
///
/// How the server, its disk and the weather services do, as `OpenMetrics` text, since the server began. A scraper reads it with
/// the token of a device that is enrolled for somebody of the office. All names begin with `swardbook_`:
///
/// - `requests_total` (by `route`, `method` and `status`, such as `2xx`), `request_duration_seconds` (by `route` and `method`; a
///   histogram) and `requests_in_flight`. A route is the template of an address, and `none` where no route has it;
/// - `waiting_writes`, `batch_acts` and `batch_duration_seconds` (histograms): what waits for the one writer, how many clearances,
///   applications and corrections it takes together, and how long these take;
/// - `storage_failures_total`: requests that failed because the disk refused;
/// - `over_budget_total` (by `policy`, `token` or `address`): requests that were refused because more was asked for in a minute than one
///   share; `connections` and `connections_ended_total` (by `why`: `head` and `idle`, nothing came in time; `unread`, an answer was not
///   taken; `crowded`, another one needed the place; `refused`, there was none);
/// - `database_bytes`, `write_ahead_log_bytes`, `readers` (by `state`, `free` or `used`): the book's file, the file beside it that
///   holds what was written last, and the connections that read;
/// - `free_bytes` (by `of`, `records` or `copies`) and `free_floor_bytes`: what is left on the disks, and what the operator wants to be
///   left (`--free-floor`);
/// - `backup_age_seconds`, `backup_bytes` and `backup_failures_total`: the newest copy that the server made of its book by itself
///   (`--backup-to`), and the tries that failed; `backups_wrong` is 1 while copies fail, do not come or do not add up. A copy that is made by `swardbook backup` is not known to the server;
/// - `weather_answers_total`, `weather_failures_total`, `weather_failures_since_success`, `weather_resting` (by `service`),
///   `weather_unreadable_total` (by `service` and `part`): values and entries that could not be read or were not of the place,
///   `weather_answer_age_seconds` (by `service` and `part`), `weather_round_age_seconds`, `weather_round_places` and
///   `weather_round_gaps`: what the weather services answered, and the last round in the background;
/// - `build_info` (by `version`) and `uptime_seconds`.
///
/// Each tells in its `HELP` what it is.
#[utoipa::path(get, path = "/api/v1/metrics", operation_id = "get_metrics", tag = "metrics",
    security(("bearer" = ["office", "owner"])),
    responses((status = 200, description = "The figures.", content_type = "application/openmetrics-text", body = String)))]
async fn get_metrics(_office: OfficeOrOwner, State(app): State<App>) -> Result<Response, Problem> {
    let now = app.clock.now();
    let mut registry = app.store.metrics().registry();
    // Before anything is read, which would be seen as a reader in use.
    add_book(&mut registry, &app).await;
    let newest = store::weather::newest(app.store.reader(), now.plus(-LOOK_BACK)).await?;
    add_space(&mut registry, &app);
    add_backups(&mut registry, &app, now);
    add_services(&mut registry, &app, now);
    add_ages(&mut registry, now, &newest);
    add_round(&mut registry, &app, now);
    let mut written = String::new();
    text::encode(&mut written, &registry).map_err(|error| Problem::fault(&error))?;
    Ok(([(header::CONTENT_TYPE, TYPE)], written).into_response())
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct OfState {
    state: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct OfDisk {
    of: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct OfService {
    service: &'static str,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, EncodeLabelSet)]
struct OfPart {
    service: String,
    part: String,
}

async fn add_book(registry: &mut Registry, app: &App) {
    let load = app.store.load().await;
    let help = "Writes that wait for the writer to take them";
    registry.register("waiting_writes", help, ConstGauge::new(whole(load.waiting_writes)));
    let readers: Family<OfState, Gauge> = Family::default();
    readers.get_or_create(&OfState { state: "free" }).set(whole(load.free_readers));
    readers.get_or_create(&OfState { state: "used" }).set(whole(load.used_readers));
    registry.register("readers", "Connections that read the book", readers);
    // A file that is not there has no size.
    if let Some(bytes) = load.database_bytes {
        let help = "Size of the book's file";
        registry.register_with_unit("database", help, Unit::Bytes, ConstGauge::new(whole(bytes)));
    }
    if let Some(bytes) = load.log_bytes {
        let help = "Size of the file beside the book that holds what was written last";
        registry.register_with_unit("write_ahead_log", help, Unit::Bytes, ConstGauge::new(whole(bytes)));
    }
}

fn add_space(registry: &mut Registry, app: &App) {
    let left = app.space.left();
    let Some(floor) = left.first().map(|left| left.floor) else { return };
    let free: Family<OfDisk, Gauge> = Family::default();
    for left in left {
        free.get_or_create(&OfDisk { of: left.place.label() }).set(whole(left.bytes));
    }
    let help = "Room that is left on the disks of the book and of its copies";
    registry.register_with_unit("free", help, Unit::Bytes, free);
    let help = "Room that the operator wants to be left on each";
    registry.register_with_unit("free_floor", help, Unit::Bytes, ConstGauge::new(whole(floor)));
}

fn add_backups(registry: &mut Registry, app: &App, now: Instant) {
    let metrics = app.store.metrics();
    let wrong = metrics.backups_fail().is_some() || metrics.backup_late(now).is_some();
    let help = "1 while copies of the book fail, do not come or do not add up";
    registry.register("backups_wrong", help, ConstGauge::new(i64::from(wrong)));
    let Some(copy) = app.store.metrics().last_backup() else { return };
    if let Some(at) = copy.at {
        let help = "Time since the moment to which the newest copy of the book reaches";
        let age = ConstGauge::new(now.since(at).as_secs().max(0));
        registry.register_with_unit("backup_age", help, Unit::Seconds, age);
    }
    if copy.bytes > 0 {
        let help = "Size of the newest copy of the book";
        registry.register_with_unit("backup", help, Unit::Bytes, ConstGauge::new(whole(copy.bytes)));
    }
}

fn add_services(registry: &mut Registry, app: &App, now: Instant) {
    let (answers, failures): (Family<OfService, Counter>, Family<OfService, Counter>) = Default::default();
    let (since_success, resting): (Family<OfService, Gauge>, Family<OfService, Gauge>) = Default::default();
    let unreadable: Family<OfPart, Counter> = Family::default();
    for service in app.weather.all() {
        for unread in service.unread() {
            let of = OfPart { service: service.name().to_owned(), part: unread.part.to_owned() };
            unreadable.get_or_create(&of).inc_by(unread.count);
        }
        let (of, seen): (OfService, Seen) = (OfService { service: service.name() }, service.seen());
        answers.get_or_create(&of).inc_by(seen.answers);
        failures.get_or_create(&of).inc_by(seen.failures);
        since_success.get_or_create(&of).set(whole(seen.failures_since_success));
        resting.get_or_create(&of).set(i64::from(seen.resting_until.is_some_and(|until| until > now)));
    }
    registry.register("weather_answers", "Questions that a weather service answered since the server began", answers);
    registry.register("weather_failures", "Questions that failed since the server began", failures);
    let help = "Questions that failed since one was last answered";
    registry.register("weather_failures_since_success", help, since_success);
    let help = "Values and entries of answers that could not be read, or were not of the place that was asked about";
    registry.register("weather_unreadable", help, unreadable);
    registry.register("weather_resting", "1 while a service that failed is not asked", resting);
}

fn add_ages(registry: &mut Registry, now: Instant, newest: &[(String, String, Instant)]) {
    let ages: Family<OfPart, Gauge> = Family::default();
    for (service, part, at) in newest {
        let of = OfPart { service: service.clone(), part: part.clone() };
        ages.get_or_create(&of).set(now.since(*at).as_secs().max(0));
    }
    let help = "Age of the newest usable answer, if it is of the last day";
    registry.register_with_unit("weather_answer_age", help, Unit::Seconds, ages);
}

fn add_round(registry: &mut Registry, app: &App, now: Instant) {
    let Some((at, round)) = app.weather.last_round() else { return };
    let age = ConstGauge::new(now.since(at).as_secs().max(0));
    let help = "Time since the last round in the background ended";
    registry.register_with_unit("weather_round_age", help, Unit::Seconds, age);
    let help = "Places of coming visits that the last round asked about";
    registry.register("weather_round_places", help, ConstGauge::new(whole(round.places)));
    let help = "Parts that were missing or old for them";
    registry.register("weather_round_gaps", help, ConstGauge::new(whole(round.gaps)));
}

/// A count as the format's numbers have it. None comes near the limit.
fn whole<N: TryInto<i64>>(number: N) -> i64 {
    number.try_into().unwrap_or(i64::MAX)
}
