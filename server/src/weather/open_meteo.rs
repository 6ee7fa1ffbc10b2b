//! Open-Meteo, the second service: soil by a model, and rain that has fallen by a model. Its free addresses are for work that
//! earns nothing, so it is off until the operator names a host and a key. Weather data by Open-Meteo.com (CC BY 4.0).

use std::{collections::HashMap, sync::Arc};

use domain::{
    time::Instant,
    weather::{
        Basis,
        reported::Forecast,
        series::{Piece, Series, Span},
        value::{Billionths, Measure},
    },
};
use jiff::SignedDuration;
use serde::Deserialize;
use serde_json::value::RawValue;

use super::{
    Fallen, Place, Service, ServiceReport, WeatherGap,
    breaker::Seen,
    client::Client,
    fetcher::{Fetcher, Patience},
    read::shown,
    unread::{Unread, UnreadLog},
};
use crate::{
    clock::Clock,
    store::{BoxFuture, Store},
};

pub const NAME: &str = "open_meteo";

const GOOD_FOR: SignedDuration = SignedDuration::from_mins(30);
/// Eight variables are one call by its counting. One offset is used for a whole answer there, so local time would be wrong
/// over a change of clocks: only UTC and whole seconds are asked for.
const QUESTION: &str = "hourly=temperature_2m,precipitation,precipitation_probability,wind_speed_10m,wind_gusts_10m,\
soil_temperature_6cm,soil_moisture_3_to_9cm,et0_fao_evapotranspiration&past_days=2&forecast_days=3&timezone=GMT&timeformat=unixtime";

/// Degrees by which the middle of a cell may lie from the place: models have cells of up to a quarter of a degree.
const CELL: f64 = 0.26;

#[derive(Debug)]
pub struct OpenMeteo {
    fetcher: Fetcher,
    unread: UnreadLog,
}

#[derive(Deserialize)]
struct Words {
    #[serde(default)]
    error: bool,
    /// The middle of the model's cell, some kilometres away.
    latitude: Option<f64>,
    longitude: Option<f64>,
    utc_offset_seconds: i64,
    hourly_units: HashMap<String, String>,
    hourly: HashMap<String, Box<RawValue>>,
}

/// What a stamp says about the time around it.
#[derive(Clone, Copy)]
enum Stamp {
    /// The hour before it: sums and maxima.
    HourBefore,
    /// The moment itself, taken for the half hour on either side.
    Moment,
}

impl OpenMeteo {
    pub fn new(client: Client, clock: Arc<dyn Clock>) -> Self {
        Self { fetcher: Fetcher::new(NAME, client, clock), unread: UnreadLog::default() }
    }

    fn path(place: Place) -> String {
        format!("/v1/forecast?latitude={}&longitude={}&{QUESTION}", place.latitude(), place.longitude())
    }
}

impl Service for OpenMeteo {
    fn name(&self) -> &'static str {
        NAME
    }

    fn report<'a>(&'a self, store: &'a Store, place: Place, patience: Patience) -> BoxFuture<'a, ServiceReport> {
        Box::pin(async move {
            let mut said = ServiceReport { provider: NAME, ..ServiceReport::default() };
            let mut gap = |why: String| said.gaps.push(WeatherGap { part: "forecast", why });
            match self.fetcher.document(store, &Self::path(place), GOOD_FOR, patience).await {
                Ok(document) => {
                    said.fetches.push(document.fetch);
                    if let Some(failure) = &document.failure {
                        gap(format!("The second weather service {failure}; this is what it said before."));
                    }
                    match forecast(&document.body, place, document.fetched_at) {
                        Ok((forecast, faults)) => {
                            self.unread.note("forecast", document.fetch, &faults, self.fetcher.now());
                            faults.into_iter().for_each(gap);
                            said.reported.forecast = Some(forecast);
                        }
                        Err(why) => {
                            let start = document.body.get(..200).unwrap_or(&document.body);
                            let start = vec![shown(&String::from_utf8_lossy(start))];
                            self.unread.note("forecast", document.fetch, &start, self.fetcher.now());
                            gap(format!("The second weather service's answer {why}."));
                        }
                    }
                }
                Err(failure) => gap(format!("The second weather service {failure}.")),
            }
            said
        })
    }

    fn fallen<'a>(&'a self, store: &'a Store, place: Place, from: Instant) -> BoxFuture<'a, Option<Fallen>> {
        Box::pin(async move {
            let patience = Patience::Until(tokio::time::Instant::now() + super::BACKGROUND_WAITS);
            let document = self.fetcher.document(store, &Self::path(place), GOOD_FOR, patience).await.ok()?;
            let (forecast, _) = forecast(&document.body, place, document.fetched_at).ok()?;
            let day = Span::hours_from(from, 24);
            let total = forecast.rain.total(day);
            let wettest_hour = forecast.rain.greatest(day).0?;
            Some(Fallen {
                provider: NAME,
                basis: "modelled",
                station: None,
                total: total.best,
                wettest_hour,
                covered_s: total.coverage.covered / 1000,
                fetch: document.fetch,
            })
        })
    }

    fn seen(&self) -> Seen {
        self.fetcher.client.breaker.seen()
    }

    fn unread(&self) -> Vec<Unread> {
        self.unread.all()
    }
}

/// Reads an answer: its series, and what could not be read of it.
fn forecast(body: &[u8], place: Place, fetched_at: Instant) -> Result<(Forecast, Vec<String>), &'static str> {
    // More than one place is answered with a list, which is not what was asked.
    let words: Words = serde_json::from_slice(body).map_err(|_| "is not of the documented form")?;
    if words.error {
        return Err("says that it failed");
    }
    let (latitude, longitude) = place.degrees();
    let near = |said: Option<f64>, here: f64| said.is_some_and(|said| (said - here).abs() < CELL);
    if !near(words.latitude, latitude) || !near(words.longitude, longitude) {
        return Err("does not say that it is of this place");
    }
    if words.utc_offset_seconds != 0 || words.hourly_units.get("time").map(String::as_str) != Some("unixtime") {
        return Err("is not in UTC seconds");
    }
    let times = words.hourly.get("time").and_then(|raw| serde_json::from_str::<Vec<i64>>(raw.get()).ok());
    let times = times.ok_or("has no times")?;
    let mut faults = Vec::new();
    let mut layer = |name: &str, measure, stamp| {
        let unit = words.hourly_units.get(name);
        let read = match (words.hourly.get(name), unit) {
            (Some(raw), Some(unit)) => series(raw, &times, measure, unit, stamp),
            _ => Err("it is missing".to_owned()),
        };
        read.unwrap_or_else(|fault| {
            faults.push(format!("The second weather service's {name}: {fault}."));
            Series::default()
        })
    };
    let forecast = Forecast {
        basis: Basis::Forecast,
        fetched_at,
        // It never says when it was made, so the time of fetching is the only age there is.
        issued_at: None,
        temperature: layer("temperature_2m", Measure::Temperature, Stamp::Moment),
        wind: layer("wind_speed_10m", Measure::Speed, Stamp::Moment),
        gust: layer("wind_gusts_10m", Measure::Speed, Stamp::HourBefore),
        rain: layer("precipitation", Measure::Depth, Stamp::HourBefore),
        chance: layer("precipitation_probability", Measure::Chance, Stamp::HourBefore),
        soil_temperature: layer("soil_temperature_6cm", Measure::Temperature, Stamp::Moment),
        soil_water: layer("soil_moisture_3_to_9cm", Measure::SoilWater, Stamp::Moment),
    };
    Ok((forecast, faults))
}

fn series(raw: &RawValue, times: &[i64], measure: Measure, unit: &str, stamp: Stamp) -> Result<Series, String> {
    let values: Vec<Option<Box<RawValue>>> =
        serde_json::from_str(raw.get()).map_err(|_| "it is not of the documented form".to_owned())?;
    if values.len() != times.len() {
        return Err(format!("it has {} values for {} times", values.len(), times.len()));
    }
    let at = |seconds: i64| Instant::from_millis(seconds.checked_mul(1000)?);
    let mut pieces = Vec::with_capacity(times.len());
    for (time, value) in times.iter().zip(values) {
        let (before, after) = match stamp {
            Stamp::HourBefore => (3_600, 0),
            Stamp::Moment => (1_800, 1_800),
        };
        let edges = time.checked_sub(before).and_then(at).zip(time.checked_add(after).and_then(at));
        let span = edges.map(|(start, end)| Span { start, end });
        let value = match value {
            Some(raw) => Billionths::read(raw.get(), measure, unit).map_err(|fault| fault.to_string())?,
            None => None,
        };
        pieces.push(Piece { span: span.ok_or("it has a time that is none")?, value });
    }
    Series::new(pieces).map_err(|fault| fault.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    const SAMPLE: &[u8] = include_bytes!("../../../tests/weather/samples/openmeteo-forecast.json");
    const LOCAL: &[u8] = include_bytes!("../../../tests/weather/samples/openmeteo-local-dst-trap.json");

    fn instant(text: &str) -> Instant {
        Instant::parse(text).expect("an instant")
    }

    fn here() -> Place {
        Place::new(28.538, -81.379)
    }

    fn hours(from: &str, hours: i64) -> Span {
        Span::hours_from(instant(from), hours)
    }

    /// Worked out from the sample's hourly values: stamps after 14Z up to 19Z are 2.6 + 5.3 + 7.9 + 3.2 + 0.6 = 19.6 mm; stamps
    /// after 08Z up to 14Z are 0 + 0.2 + 1.1 + 0 + 0 + 0.4 = 1.7 mm. Counting the stamp at the beginning and not the one at
    /// the end would give 19.4.
    #[test]
    fn a_sum_stands_at_the_end_of_its_hour() {
        let (read, faults) = forecast(SAMPLE, here(), instant("2026-06-18T14:00:00Z")).expect("a forecast");
        assert_eq!(faults, Vec::<String>::new());
        let rain = read.rain.total(hours("2026-06-18T14:00:00Z", 5));
        assert_eq!((rain.best.to_digits(1).as_str(), rain.coverage.covered / 3_600_000), ("19.6", 5));
        let before = read.rain.total(hours("2026-06-18T08:00:00Z", 6));
        assert_eq!((before.best.to_digits(1).as_str(), before.coverage.covered / 3_600_000), ("1.7", 6));
        let warmest = read.temperature.greatest(hours("2026-06-18T14:00:00Z", 5)).0;
        assert_eq!(warmest.map(|value| value.to_digits(1)).as_deref(), Some("29.6"));
        assert!(!read.gust.coverage(hours("2026-06-18T18:00:00Z", 1)).is_whole(), "a null gust is not calm");
    }

    /// The value of 16Z is null, the one of 15Z is 27.2 °C, which is 80.96 °F.
    #[test]
    fn the_latest_soil_temperature_that_is_there_is_taken() {
        let (read, _) = forecast(SAMPLE, here(), instant("2026-06-18T16:00:00Z")).expect("a forecast");
        let told = domain::weather::reported::Reported { forecast: Some(read), ..Default::default() };
        let at = instant("2026-06-18T16:00:00Z");
        let soil = told.weather(at, at).soil.expect("soil");
        assert_eq!(soil.soil_temperature_f.to_string(), "80.9");
    }

    #[test]
    fn what_is_not_in_utc_is_not_read() {
        let at = instant("2026-03-08T05:00:00Z");
        assert!(forecast(LOCAL, here(), at).is_err());
        let offset =
            String::from_utf8_lossy(SAMPLE).replace("\"utc_offset_seconds\": 0", "\"utc_offset_seconds\": -14400");
        assert_eq!(forecast(offset.as_bytes(), here(), at).err(), Some("is not in UTC seconds"));
    }

    #[test]
    fn a_list_an_error_and_uneven_series_are_told() {
        let at = instant("2026-06-18T14:00:00Z");
        let sample = String::from_utf8_lossy(SAMPLE);
        assert!(forecast(format!("[{sample}]").as_bytes(), here(), at).is_err());
        assert!(forecast(br#"{"error":true,"reason":"Minutely API request limit exceeded."}"#, here(), at).is_err());
        let short = sample.replacen("23.9,", "", 1);
        let (read, faults) = forecast(short.as_bytes(), here(), at).expect("the rest");
        assert_eq!(read.temperature, Series::default());
        assert!(faults.iter().any(|fault| fault.contains("11 values for 12 times")), "{faults:?}");
        assert!(!read.rain.pieces().is_empty(), "the other series are read all the same");
        let unit = sample.replace("\"precipitation\": \"mm\"", "\"precipitation\": \"furlongs\"");
        let (read, faults) = forecast(unit.as_bytes(), here(), at).expect("the rest");
        assert!(read.rain.pieces().is_empty() && faults.len() == 1, "{faults:?}");
    }

    #[test]
    fn an_answer_of_another_place_is_not_read() {
        let at = instant("2026-06-18T14:00:00Z");
        let other = forecast(SAMPLE, Place::new(38.97, -76.49), at);
        assert_eq!(other.err(), Some("does not say that it is of this place"));
    }

    #[test]
    fn a_series_of_nothing_covers_nothing() {
        let sample: serde_json::Value = serde_json::from_slice(SAMPLE).expect("JSON");
        let mut nulls = sample.clone();
        nulls["hourly"]["precipitation"] = serde_json::json!(vec![serde_json::Value::Null; 12]);
        let (read, _) =
            forecast(nulls.to_string().as_bytes(), here(), instant("2026-06-18T14:00:00Z")).expect("a forecast");
        assert_eq!(read.rain.total(hours("2026-06-18T14:00:00Z", 5)).coverage.covered, 0);
    }
}
