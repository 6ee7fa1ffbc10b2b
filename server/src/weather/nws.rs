//! The public US National Weather Service: raw grid, nearest station, and alerts by point, county and forecast zone.

use std::sync::Arc;

use domain::{
    time::Instant,
    weather::{
        Basis,
        age::{AgeClass, OBSERVATION_MINUTES},
        alert_list::AlertWord,
        reported::{AlertList, Forecast, Observation},
        series::{Coverage, Series, Span},
        value::Billionths,
    },
};
use jiff::SignedDuration;

use super::{
    Fallen, Place, Service, ServiceReport, WeatherGap,
    breaker::Seen,
    client::{Client, Failure},
    fetcher::{Document, Fetcher, Patience},
    read::{self, Observed, Point, Station},
};
use crate::{
    clock::Clock,
    store::{BoxFuture, Store},
};

pub const NAME: &str = "us_national_weather_service";

/// Which grid a point lies in changes seldom, and without notice.
const POINT: SignedDuration = SignedDuration::from_hours(6 * 24);
const STATIONS: SignedDuration = SignedDuration::from_hours(24);
const GRID: SignedDuration = SignedDuration::from_mins(30);
const OBSERVATION: SignedDuration = SignedDuration::from_mins(5);
const ALERTS: SignedDuration = SignedDuration::from_mins(2);
/// Observations of a day that is over do not change any more, but may come late.
const PAST: SignedDuration = SignedDuration::from_hours(6);
/// A station further away than this says little about the lawn. *Common practice.*
const NEAR_M: i64 = 25_000;
const NEAREST: usize = 3;

#[derive(Debug)]
pub struct Nws {
    fetcher: Fetcher,
}

/// One part of the answer: what it is, the fetches behind it, and what is wrong with it.
struct Part<T> {
    value: Option<T>,
    fetches: Vec<i64>,
    gaps: Vec<String>,
}

impl<T> Part<T> {
    fn new() -> Self {
        Self { value: None, fetches: Vec::new(), gaps: Vec::new() }
    }

    /// Notes a document and why it is not newer.
    fn note(&mut self, document: &Document) {
        self.fetches.push(document.fetch);
        if let Some(failure) = &document.failure {
            self.gaps.push(format!("The weather service {failure}; this is what it said before."));
        }
    }

    fn missing(&mut self, failure: &Failure) {
        self.gaps.push(format!("The weather service {failure}."));
    }
}

impl Nws {
    pub fn new(client: Client, clock: Arc<dyn Clock>) -> Self {
        Self { fetcher: Fetcher::new(NAME, client, clock) }
    }

    /// The moment that is asked about.
    fn moment(&self, patience: Patience) -> Instant {
        match patience {
            Patience::Until(_) => self.fetcher.now(),
            Patience::AsKnownAt(at) => at,
        }
    }

    async fn point(&self, store: &Store, place: Place, good_for: SignedDuration, patience: Patience) -> Part<Point> {
        let mut part = Part::new();
        match self.fetcher.document(store, &format!("/points/{}", place.text()), good_for, patience).await {
            Ok(document) => {
                part.fetches.push(document.fetch);
                part.value = read::point(&document.body);
                if part.value.is_none() {
                    part.gaps.push("The weather service does not say which grid the place lies in.".to_owned());
                }
            }
            Err(failure) => part.missing(&failure),
        }
        part
    }

    async fn forecast(&self, store: &Store, place: Place, point: Option<&Point>, patience: Patience) -> Part<Forecast> {
        let mut part = Part::new();
        let Some(point) = point else { return part };
        let Some(grid) = &point.grid else {
            part.gaps.push("The weather service has no forecast for this place.".to_owned());
            return part;
        };
        let path = |(id, x, y): &(String, u32, u32)| format!("/gridpoints/{id}/{x},{y}");
        let mut document = self.fetcher.document(store, &path(grid), GRID, patience).await;
        let moved = match &document {
            Err(failure) => failure.is_missing(),
            Ok(old) => old.failure.as_ref().is_some_and(Failure::is_missing),
        };
        if moved {
            // The grid may have moved: ask once more where the place lies now.
            let again = self.point(store, place, SignedDuration::ZERO, patience).await;
            part.fetches.extend(&again.fetches);
            if let Some(new) = again.value.and_then(|point| point.grid).filter(|new| new != grid) {
                document = self.fetcher.document(store, &path(&new), GRID, patience).await;
            }
        }
        match document {
            Ok(document) => {
                part.note(&document);
                Self::read_grid(&document, self.moment(patience), &mut part);
            }
            Err(failure) => part.missing(&failure),
        }
        part
    }

    fn read_grid(document: &Document, at: Instant, part: &mut Part<Forecast>) {
        let Some(grid) = read::grid(&document.body) else {
            part.gaps.push("The weather service's forecast is not of the documented form.".to_owned());
            return;
        };
        part.gaps.extend(grid.faults.iter().map(|fault| format!("The forecast of {fault}.")));
        if AgeClass::of(at, document.fetched_at, Some(grid.updated_at)) > AgeClass::Ageing {
            part.gaps.push(format!("The forecast was made at {}, and is too old to clear anything.", grid.updated_at));
        }
        for (name, series, hours) in [
            ("temperature", &grid.temperature, 1),
            ("wind", &grid.wind, 1),
            ("gusts", &grid.gust, 1),
            ("rain", &grid.rain, 24),
        ] {
            let known = series.coverage(Span::hours_from(at, hours));
            let told = grid.faults.iter().any(|fault| fault.starts_with(&format!("{name}:")));
            if !told && !known.is_whole() {
                let ahead = if hours == 1 { "hour".to_owned() } else { format!("{hours} hours") };
                part.gaps.push(format!("The forecast of {name} leaves some of the next {ahead} out."));
            }
        }
        part.value = Some(Forecast {
            basis: Basis::Forecast,
            fetched_at: document.fetched_at,
            issued_at: Some(grid.updated_at),
            temperature: grid.temperature,
            wind: grid.wind,
            gust: grid.gust,
            rain: grid.rain,
            chance: grid.chance,
            soil_temperature: Series::default(),
            soil_water: Series::default(),
        });
    }

    async fn stations(&self, store: &Store, point: &Point, patience: Patience) -> Part<Vec<Station>> {
        let mut part = Part::new();
        let Some((id, x, y)) = &point.grid else { return part };
        let path = format!("/gridpoints/{id}/{x},{y}/stations?limit={NEAREST}");
        match self.fetcher.document(store, &path, STATIONS, patience).await {
            Ok(document) => {
                part.fetches.push(document.fetch);
                let near = |station: &Station| station.distance_m.is_none_or(|metres| metres <= NEAR_M);
                part.value = read::stations(&document.body)
                    .map(|stations| stations.into_iter().filter(near).take(NEAREST).collect());
            }
            Err(failure) => part.missing(&failure),
        }
        part
    }

    /// The first of the nearest stations that gives a temperature of the last hour.
    async fn observation(&self, store: &Store, point: Option<&Point>, patience: Patience) -> Part<Observation> {
        let mut part = Part::new();
        let Some(point) = point else { return part };
        let stations = self.stations(store, point, patience).await;
        part.fetches.extend(stations.fetches);
        part.gaps.extend(stations.gaps);
        let now = self.moment(patience);
        for station in stations.value.unwrap_or_default() {
            let path = format!("/stations/{}/observations/latest", station.id);
            let document = match self.fetcher.document(store, &path, OBSERVATION, patience).await {
                Ok(document) => document,
                Err(failure) => {
                    part.missing(&failure);
                    continue;
                }
            };
            part.note(&document);
            let Some(seen) = read::observation(&document.body) else { continue };
            let old = now.since(seen.at).as_mins();
            if seen.temperature.is_some() && (-10..=OBSERVATION_MINUTES).contains(&old) {
                part.value = Some(Observation {
                    station: station.id,
                    fetched_at: document.fetched_at,
                    observed_at: seen.at,
                    temperature: seen.temperature,
                    wind: seen.wind,
                    gust: seen.gust,
                    rain_last_hour: seen.rain_last_hour,
                });
                return part;
            }
        }
        part.gaps.push("No station within 25 km gives a temperature of the last hour.".to_owned());
        part
    }

    /// Ordinances speak of any part of the county, and an alert's own area may miss the lawn; so point, county and forecast
    /// zone are asked, and all three must answer before a list can say that there is nothing.
    async fn alerts(&self, store: &Store, place: Place, point: Option<&Point>, patience: Patience) -> Part<AlertList> {
        let zone = |code: Option<&String>| code.map(|code| format!("/alerts/active/zone/{code}"));
        let paths = [
            Some(format!("/alerts/active?status=actual&point={}", place.text())),
            zone(point.and_then(|point| point.county.as_ref())),
            zone(point.and_then(|point| point.zone.as_ref())),
        ];
        let asked =
            paths.into_iter().flatten().map(async |path| self.fetcher.document(store, &path, ALERTS, patience).await);
        let answers = futures_util::future::join_all(asked).await;
        let mut part = Part::new();
        let mut list: Option<AlertList> = None;
        for answer in answers {
            let document = match answer {
                Ok(document) => document,
                Err(failure) => {
                    part.missing(&failure);
                    continue;
                }
            };
            part.note(&document);
            let Some((words, unread)) = read::alerts(&document.body) else {
                part.gaps.push("A list of alerts is not of the documented form.".to_owned());
                continue;
            };
            let list = list.get_or_insert_with(|| AlertList {
                fetched_at: document.fetched_at,
                words: Vec::new(),
                answered: Coverage { covered: 0, whole: 3 },
            });
            // The oldest answer says how old the list is.
            list.fetched_at = list.fetched_at.min(document.fetched_at);
            // A question that failed is not answered by what was said before, which goes on stopping what it stopped.
            list.answered.covered += i64::from(unread == 0 && document.failure.is_none());
            merge(&mut list.words, words);
        }
        if list.as_ref().is_none_or(|list| !list.answered.is_whole()) {
            part.gaps.push("Not all of point, county and forecast zone could be asked for alerts.".to_owned());
        }
        part.value = list;
        part
    }

    /// Stations near a place, by what is kept or asked.
    async fn stations_at(&self, store: &Store, place: Place, patience: Patience) -> Vec<Station> {
        let point = self.point(store, place, POINT, patience).await.value;
        match point {
            Some(point) => self.stations(store, &point, patience).await.value.unwrap_or_default(),
            None => Vec::new(),
        }
    }
}

/// Ids are not unique across lists, so an entry is the same only when it was sent at the same time too.
fn merge(words: &mut Vec<AlertWord>, more: Vec<AlertWord>) {
    for word in more {
        if !words.iter().any(|known| known.id == word.id && known.sent == word.sent) {
            words.push(word);
        }
    }
}

impl Service for Nws {
    fn name(&self) -> &'static str {
        NAME
    }

    fn report<'a>(&'a self, store: &'a Store, place: Place, patience: Patience) -> BoxFuture<'a, ServiceReport> {
        Box::pin(async move {
            let point = self.point(store, place, POINT, patience).await;
            let here = point.value.as_ref();
            let (forecast, observation, alerts) = tokio::join!(
                self.forecast(store, place, here, patience),
                self.observation(store, here, patience),
                self.alerts(store, place, here, patience),
            );
            let mut said = ServiceReport { provider: NAME, fetches: point.fetches, ..ServiceReport::default() };
            let of_place = |gaps: Vec<String>, part: &'static str| {
                let gaps = gaps.into_iter().chain(point.gaps.iter().filter(|_| part == "forecast").cloned());
                gaps.map(move |why| WeatherGap { part, why }).collect::<Vec<_>>()
            };
            said.gaps.extend(of_place(forecast.gaps, "forecast"));
            said.gaps.extend(of_place(observation.gaps, "observation"));
            said.gaps.extend(of_place(alerts.gaps, "alerts"));
            said.gaps.dedup();
            said.fetches.extend(forecast.fetches.into_iter().chain(observation.fetches).chain(alerts.fetches));
            said.station = observation.value.as_ref().map(|seen| seen.station.clone());
            said.reported.forecast = forecast.value;
            said.reported.observation = observation.value;
            said.reported.alerts = alerts.value;
            said
        })
    }

    fn fallen<'a>(&'a self, store: &'a Store, place: Place, from: Instant) -> BoxFuture<'a, Option<Fallen>> {
        Box::pin(async move {
            let day = Span::hours_from(from, 24);
            let patience = Patience::Until(tokio::time::Instant::now() + super::BACKGROUND_WAITS);
            for station in self.stations_at(store, place, patience).await {
                let whole_seconds = |at: Instant| at.to_string().replace(".000Z", "Z");
                let path = format!(
                    "/stations/{}/observations?start={}&end={}&limit=500",
                    station.id,
                    whole_seconds(day.start),
                    whole_seconds(day.end)
                );
                let Ok(document) = self.fetcher.document(store, &path, PAST, patience).await else { continue };
                let seen = read::observations(&document.body).unwrap_or_default();
                if let Some((total, wettest_hour, hours)) = hourly(&seen, day) {
                    return Some(Fallen {
                        provider: NAME,
                        basis: "observed",
                        station: Some(station.id),
                        total,
                        wettest_hour,
                        covered_s: hours * 3_600,
                        fetch: document.fetch,
                    });
                }
            }
            None
        })
    }

    fn seen(&self) -> Seen {
        self.fetcher.client.breaker.seen()
    }
}

/// Rain by the hour: stations report what fell in the last hour, some of them several times within it, so the greatest report
/// of each hour counts. Nothing when no gauge said anything: not reported is not dry.
fn hourly(seen: &[Observed], day: Span) -> Option<(Billionths, Billionths, i64)> {
    let mut hours: std::collections::BTreeMap<i64, Billionths> = std::collections::BTreeMap::new();
    for report in seen {
        let Some(rain) = report.rain_last_hour else { continue };
        // A report speaks of the hour before it.
        let into = report.at.since(day.start).as_secs() - 1;
        if (0..86_400).contains(&into) {
            let hour = hours.entry(into / 3_600).or_insert(rain);
            *hour = (*hour).max(rain);
        }
    }
    let wettest = hours.values().copied().max()?;
    let total = hours.values().fold(Billionths::from_raw(0), |sum, rain| sum.plus(*rain));
    Some((total, wettest, i64::try_from(hours.len()).unwrap_or(24)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rain_is_added_up_by_the_hour_and_silence_is_not_dry() {
        let at = |text: &str| Instant::parse(text).expect("an instant");
        let report = |text: &str, rain: Option<i64>| Observed {
            at: at(text),
            temperature: None,
            wind: None,
            gust: None,
            rain_last_hour: rain.map(|mm| Billionths::from_raw(mm * 1_000_000_000)),
        };
        let day = Span::hours_from(at("2026-06-18T14:00:00Z"), 24);
        // Two reports within one hour are one hour's rain: the greater of 4 and 5. 2 mm more fall the next hour; at 17:53
        // nothing is said; what fell before the day began does not count.
        let seen = [
            report("2026-06-18T14:00:00Z", Some(40)),
            report("2026-06-18T14:30:00Z", Some(4)),
            report("2026-06-18T14:53:00Z", Some(5)),
            report("2026-06-18T15:53:00Z", Some(2)),
            report("2026-06-18T17:53:00Z", None),
        ];
        let mm = |value: i64| Billionths::from_raw(value * 1_000_000_000);
        assert_eq!(hourly(&seen, day), Some((mm(7), mm(5), 2)));
        assert_eq!(hourly(&[report("2026-06-18T17:53:00Z", None)], day), None);
    }
}
