//! A weather service that is none: invented weather in the form of the public service, served on this machine, so that the
//! demonstration shows a working window without any network. And what it prints of it.

use std::sync::Arc;

use axum::{
    Json, Router,
    extract::{Path, RawQuery, State},
    http::{HeaderValue, header},
    middleware::map_response,
    response::Response,
    routing::get,
};
use domain::time::{Instant, zone};
use jiff::SignedDuration;
use serde_json::{Value, json};
use tokio::task::JoinHandle;

use super::{
    company::{Place, Shelf, Staff},
    http::expect,
};
use crate::{clock::Clock, config, serve::ServeError};

type Now = Arc<dyn Clock>;

/// The stand-in, as long as it is held.
#[derive(Debug)]
pub struct StandIn {
    pub config: config::Weather,
    serving: JoinHandle<()>,
}

impl Drop for StandIn {
    fn drop(&mut self) {
        self.serving.abort();
    }
}

/// °C by the hour of the day in UTC: a September day in Maryland that is too hot for quick-release nitrogen after noon.
const DAY: [i64; 24] = [24, 23, 22, 21, 20, 20, 19, 19, 18, 18, 18, 19, 20, 21, 24, 26, 28, 30, 31, 31, 30, 29, 27, 25];

/// Starts it on a free port of this machine.
pub async fn stand_in(clock: Now) -> Result<StandIn, ServeError> {
    let failed = |error| ServeError::Io { what: "cannot serve the sample of weather".to_owned(), error };
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.map_err(failed)?;
    let address = listener.local_addr().map_err(failed)?;
    let routes = Router::new()
        .route("/points/{point}", get(point))
        .route("/gridpoints/DEM/1,1", get(grid))
        .route("/gridpoints/DEM/1,1/stations", get(stations))
        .route("/stations/DEMO1/observations/latest", get(observation))
        .route("/alerts/active", get(no_alerts))
        .route("/alerts/active/zone/{zone}", get(no_alerts_in))
        .with_state(clock)
        .layer(map_response(as_service));
    let serving = tokio::spawn(async move {
        if let Err(error) = axum::serve(listener, routes).await {
            tracing::warn!(%error, "the sample of weather is not served any more");
        }
    });
    let config = config::Weather {
        on: true,
        weather_contact: Some("demonstration, nobody@example.com".to_owned()),
        weather_url: format!("http://{address}"),
        weather_stand_in: true,
        ..config::Weather::default()
    };
    Ok(StandIn { config, serving })
}

async fn as_service(mut response: Response) -> Response {
    response.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static("application/geo+json"));
    response
}

/// Of whichever point is asked for.
async fn point(Path(point): Path<String>) -> Json<Value> {
    let at =
        point.split_once(',').and_then(|(north, east)| Some((north.parse::<f64>().ok()?, east.parse::<f64>().ok()?)));
    let geometry = at.map(|(north, east)| json!({ "type": "Point", "coordinates": [east, north] }));
    Json(json!({ "geometry": geometry, "properties": {
        "type": "land", "gridId": "DEM", "gridX": 1, "gridY": 1, "county": "/zones/county/DEC001",
        "forecastZone": "/zones/forecast/DEZ001", "timeZone": "America/New_York",
    }}))
}

/// The full hour before a moment.
fn hour_of(at: Instant) -> Instant {
    at.plus(SignedDuration::from_millis(-at.millis().rem_euclid(3_600_000)))
}

/// Three days from the hour before last, hour by hour; a shower of 12 mm (0.47 in) after thirty hours.
async fn grid(State(clock): State<Now>) -> Json<Value> {
    let now = clock.now();
    let start = hour_of(now).plus(SignedDuration::from_hours(-2));
    let layer = |unit: &str, value: &dyn Fn(i64, i64) -> i64| {
        let entry = |hour: i64| {
            let at = start.plus(SignedDuration::from_hours(hour));
            let of_day = at.millis().div_euclid(3_600_000).rem_euclid(24);
            json!({ "validTime": format!("{at}/PT1H"), "value": value(hour, of_day) })
        };
        json!({ "uom": unit, "values": (0..74).map(entry).collect::<Vec<_>>() })
    };
    let temperature =
        |_, of_day: i64| usize::try_from(of_day).ok().and_then(|hour| DAY.get(hour).copied()).unwrap_or(20);
    let shower = |hour: i64| (32..36).contains(&hour);
    Json(json!({ "properties": {
        "gridId": "DEM", "gridX": 1, "gridY": 1,
        "updateTime": now.plus(SignedDuration::from_mins(-40)),
        "temperature": layer("wmoUnit:degC", &temperature),
        "windSpeed": layer("wmoUnit:km_h-1", &|_, of_day| if of_day < 14 { 6 } else { 13 }),
        "windGust": layer("wmoUnit:km_h-1", &|_, of_day| if of_day < 14 { 9 } else { 20 }),
        "quantitativePrecipitation": layer("wmoUnit:mm", &|hour, _| if shower(hour) { 3 } else { 0 }),
        "probabilityOfPrecipitation": layer("wmoUnit:percent", &|hour, _| if shower(hour) { 70 } else { 5 }),
    }}))
}

async fn stations() -> Json<Value> {
    let distance = json!({ "unitCode": "wmoUnit:m", "value": 4200 });
    Json(json!({ "features": [{ "properties": { "stationIdentifier": "DEMO1", "distance": distance } }] }))
}

async fn observation(State(clock): State<Now>) -> Json<Value> {
    let value = |unit: &str, value: Value| json!({ "unitCode": unit, "value": value, "qualityControl": "V" });
    Json(json!({ "properties": {
        "station": "/stations/DEMO1",
        "timestamp": clock.now().plus(SignedDuration::from_mins(-7)),
        "temperature": value("wmoUnit:degC", json!(20)),
        "windSpeed": value("wmoUnit:km_h-1", json!(6)),
        "windGust": value("wmoUnit:km_h-1", Value::Null),
        "precipitationLastHour": value("wmoUnit:mm", Value::Null),
    }}))
}

async fn no_alerts(State(clock): State<Now>, RawQuery(query): RawQuery) -> Json<Value> {
    Json(no_alerts_of(&point_in(&query.unwrap_or_default()), clock.now()))
}

async fn no_alerts_in(State(clock): State<Now>, Path(zone): Path<String>) -> Json<Value> {
    Json(no_alerts_of(&format!("({zone})"), clock.now()))
}

/// An empty list, which says of where and of when it is.
fn no_alerts_of(place: &str, now: Instant) -> Value {
    json!({
        "features": [], "updated": hour_of(now), "title": format!("Current watches, warnings, and advisories for {place}"),
    })
}

/// The point of a question, as a title names it: `38.97 N, 76.49 W`.
fn point_in(query: &str) -> String {
    let (_, point) = query.rsplit_once("point=").unwrap_or_default();
    let (north, east) = point.split_once(',').unwrap_or_default();
    let side = |degrees: &str, sides: [&str; 2]| match degrees.strip_prefix('-') {
        Some(degrees) => format!("{degrees} {}", sides[1]),
        None => format!("{degrees} {}", sides[0]),
    };
    format!("{}, {}", side(north, ["N", "S"]), side(east, ["E", "W"]))
}

fn text<'v>(value: &'v Value, pointer: &str) -> &'v str {
    value.pointer(pointer).and_then(Value::as_str).unwrap_or("-")
}

/// A moment as the clock on the property shows it.
fn clock_on_site(moment: &str) -> String {
    let at = moment.parse::<jiff::Timestamp>().ok().zip(zone("America/New_York").ok());
    at.map_or_else(|| moment.to_owned(), |(at, zone)| at.to_zoned_datetime(zone).strftime("%H:%M").to_string())
}

/// What the services say of a property, and the hours of the day that suit its product; a line each.
pub async fn show_weather(staff: &Staff, shelf: &Shelf, place: &Place) -> Result<Vec<String>, String> {
    let path = format!("/api/v1/properties/{}", place.property);
    let weather = expect(staff.office.get(&format!("{path}/weather")).await?, 200, "the weather")?;
    let now = &weather["services"][0]["weather"];
    let day = now["rain_forecast"].as_array().into_iter().flatten().find(|rain| rain["hours"] == 24);
    let mut lines = vec![format!(
        "Now {} °F and a wind of {} mph; {} in of rain within 24 hours, at most {}; {} alerts.",
        text(now, "/air_temperature/air_temperature_f"),
        text(now, "/wind/wind_mph"),
        day.map_or("-", |rain| text(rain, "/bounds/best_in")),
        day.map_or("-", |rain| text(rain, "/rain_in")),
        now.pointer("/alerts/active").and_then(Value::as_array).map_or(0, Vec::len),
    )];
    let window = format!("{path}/working-windows/2026-09-15?product_id={}", shelf.feed);
    let window = expect(staff.office.get(&window).await?, 200, "the working window")?;
    let product = &window["products"][0];
    lines.push(format!("Hours for {}:", text(product, "/product_name")));
    let mut stretches: Vec<(&str, &str, &str, &str)> = Vec::new();
    for hour in product["hours"].as_array().into_iter().flatten() {
        let (verdict, end) = (text(hour, "/verdict"), text(hour, "/ends_at"));
        match stretches.last_mut() {
            Some(last) if last.2 == verdict => last.1 = end,
            _ => {
                let why = hour.pointer("/findings/0/message").and_then(Value::as_str).unwrap_or("");
                stretches.push((text(hour, "/starts_at"), end, verdict, why));
            }
        }
    }
    for (from, to, verdict, why) in stretches {
        lines.push(
            format!("    {} to {}: {verdict}. {why}", clock_on_site(from), clock_on_site(to)).trim_end().to_owned(),
        );
    }
    Ok(lines)
}
