//! Figures for whoever watches the server, in the open text format of metrics (`OpenMetrics` 1.0). They name services and counts,
//! never a client, a place or a person.

use std::fmt::{Display, Write};

use axum::{
    extract::State,
    http::header,
    response::{IntoResponse, Response},
};
use domain::time::Instant;
use jiff::SignedDuration;
use utoipa_axum::{router::OpenApiRouter, routes};

use crate::{access::OfficeOrOwner, problem::Problem, state::App, store, weather::Seen};

const TYPE: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";
/// Answers older than this are of no use, and have no age that is shown.
const LOOK_BACK: SignedDuration = SignedDuration::from_hours(24);

pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(get_metrics))
}

/// Get metrics
///
/// Ages and failures of the weather services, and the last round in the background, as `OpenMetrics` text. A scraper reads it
/// with the token of a device that is enrolled for somebody of the office.
#[utoipa::path(get, path = "/api/v1/metrics", operation_id = "get_metrics", tag = "weather",
    security(("bearer" = ["office", "owner"])),
    responses((status = 200, description = "The figures.", content_type = "application/openmetrics-text", body = String)))]
async fn get_metrics(_office: OfficeOrOwner, State(app): State<App>) -> Result<Response, Problem> {
    let now = app.clock.now();
    let newest = store::weather::newest(app.store.reader(), now.plus(-LOOK_BACK)).await?;
    Ok(([(header::CONTENT_TYPE, TYPE)], text(&app, now, &newest)).into_response())
}

/// A family of figures: its name, kind, unit if it has one, what it is, and its samples by their labels.
struct Family<'a> {
    name: &'a str,
    kind: &'a str,
    unit: &'a str,
    help: &'a str,
}

impl Family<'_> {
    fn write<T: Display>(&self, text: &mut String, samples: impl Iterator<Item = (String, T)>) {
        let (name, total) = (self.name, if self.kind == "counter" { "_total" } else { "" });
        // Writing into a text does not fail.
        let mut lines = format!("# TYPE {name} {}\n", self.kind);
        if !self.unit.is_empty() {
            let _ = writeln!(lines, "# UNIT {name} {}", self.unit);
        }
        let _ = writeln!(lines, "# HELP {name} {}", self.help);
        let empty = lines.len();
        for (labels, value) in samples {
            let _ = writeln!(lines, "{name}{total}{labels} {value}");
        }
        // A family without a sample says nothing.
        if lines.len() > empty {
            text.push_str(&lines);
        }
    }
}

fn text(app: &App, now: Instant, newest: &[(String, String, Instant)]) -> String {
    let mut text = String::new();
    let family = |name, kind, unit, help| Family { name, kind, unit, help };
    let seen: Vec<(String, Seen)> = app.weather.all().iter().map(|one| (of_service(one.name()), one.seen())).collect();
    let each = |value: fn(&Seen) -> u64| seen.iter().map(move |(labels, seen)| (labels.clone(), value(seen)));
    family(
        "swardbook_weather_answers",
        "counter",
        "",
        "Questions that a weather service answered since the server began.",
    )
    .write(&mut text, each(|seen| seen.answers));
    family("swardbook_weather_failures", "counter", "", "Questions that failed since the server began.")
        .write(&mut text, each(|seen| seen.failures));
    family(
        "swardbook_weather_failures_since_success",
        "gauge",
        "",
        "Questions that failed since one was last answered.",
    )
    .write(&mut text, each(|seen| seen.failures_since_success));
    let rests = |seen: &Seen| i32::from(seen.resting_until.is_some_and(|until| until > now));
    family("swardbook_weather_resting", "gauge", "", "1 while a service that failed is not asked.")
        .write(&mut text, seen.iter().map(|(labels, seen)| (labels.clone(), rests(seen))));
    let ages = newest.iter().map(|(service, part, at)| {
        (format!("{{service=\"{service}\",part=\"{part}\"}}"), now.since(*at).as_secs().max(0))
    });
    family(
        "swardbook_weather_answer_age_seconds",
        "gauge",
        "seconds",
        "Age of the newest usable answer, if it is of the last day.",
    )
    .write(&mut text, ages);
    let round = app.weather.last_round();
    let of_round = |value: i64| round.iter().map(move |_| (String::new(), value));
    let age = round.map_or(0, |(at, _)| now.since(at).as_secs().max(0));
    family(
        "swardbook_weather_round_age_seconds",
        "gauge",
        "seconds",
        "Time since the last round in the background ended.",
    )
    .write(&mut text, of_round(age));
    let count = |value: fn(&crate::weather::Round) -> usize| {
        round.as_ref().map_or(0, |(_, round)| i64::try_from(value(round)).unwrap_or(i64::MAX))
    };
    family("swardbook_weather_round_places", "gauge", "", "Places of coming visits that the last round asked about.")
        .write(&mut text, of_round(count(|round| round.places)));
    family("swardbook_weather_round_gaps", "gauge", "", "Parts that were missing or old for them.")
        .write(&mut text, of_round(count(|round| round.gaps)));
    text.push_str("# EOF\n");
    text
}

fn of_service(name: &str) -> String {
    format!("{{service=\"{name}\"}}")
}
