//! The public US National Weather Service: raw grid, nearest station, and alerts by point, county and forecast zone.

use std::sync::Arc;

use domain::{
    time::Instant,
    weather::{
        reported::{AlertList, Doubted, Forecast},
        series::Span,
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
    said::{self, Asked, Cell, Lists, Measured, Said},
    unread::{Unread, UnreadLog},
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
const NEAREST: usize = 3;

#[derive(Debug)]
pub struct Nws {
    fetcher: Fetcher,
    unread: UnreadLog,
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
        Self { fetcher: Fetcher::new(NAME, client, clock), unread: UnreadLog::default() }
    }

    /// Takes over what was read of a document: its gaps, and what could not be read.
    fn take<T, U>(&self, part: &mut Part<T>, name: &'static str, fetch: i64, said: Said<U>) -> Option<U> {
        self.unread.note(name, fetch, &said.unread, self.fetcher.now());
        part.gaps.extend(said.gaps);
        said.value
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
                part.value = self.take(&mut part, "place", document.fetch, said::point(&document.body, place));
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
        let path = |(id, x, y): &Cell| format!("/gridpoints/{id}/{x},{y}");
        let (mut cell, mut document) = (grid.clone(), self.fetcher.document(store, &path(grid), GRID, patience).await);
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
                cell = new;
            }
        }
        match document {
            Ok(document) => {
                part.note(&document);
                let at = self.moment(patience);
                let said = said::forecast(&document.body, document.fetched_at, &cell, place, at);
                part.value = self.take(&mut part, "forecast", document.fetch, said);
            }
            Err(failure) => part.missing(&failure),
        }
        part
    }

    async fn stations(
        &self,
        store: &Store,
        place: Place,
        point: &Point,
        patience: Patience,
    ) -> Part<Vec<(Station, i64)>> {
        let mut part = Part::new();
        let Some((id, x, y)) = &point.grid else { return part };
        let path = format!("/gridpoints/{id}/{x},{y}/stations?limit={NEAREST}");
        match self.fetcher.document(store, &path, STATIONS, patience).await {
            Ok(document) => {
                part.fetches.push(document.fetch);
                let near = self.take(&mut part, "observation", document.fetch, said::stations(&document.body, place));
                part.value = near.map(|near| near.into_iter().take(NEAREST).collect());
            }
            Err(failure) => part.missing(&failure),
        }
        part
    }

    /// The first of the nearest stations that gives a temperature of the last hour, and what those before it gave that their
    /// service doubts.
    async fn observation(
        &self,
        store: &Store,
        place: Place,
        point: Option<&Point>,
        patience: Patience,
    ) -> Part<Measured> {
        let mut part = Part::new();
        let Some(point) = point else { return part };
        let stations = self.stations(store, place, point, patience).await;
        part.fetches.extend(stations.fetches);
        part.gaps.extend(stations.gaps);
        let at = self.moment(patience);
        let mut doubted: Option<Doubted> = None;
        for station in stations.value.unwrap_or_default() {
            let path = format!("/stations/{}/observations/latest", station.0.id);
            let document = match self.fetcher.document(store, &path, OBSERVATION, patience).await {
                Ok(document) => document,
                Err(failure) => {
                    part.missing(&failure);
                    continue;
                }
            };
            part.note(&document);
            let said = said::measured(&document.body, document.fetched_at, &station, at);
            let Some(seen) = self.take(&mut part, "observation", document.fetch, said) else { continue };
            doubted = seen.doubted.map(|more| doubted.map_or(more, |known| known.and(more))).or(doubted);
            if seen.observation.is_some() {
                part.value = Some(Measured { doubted, ..seen });
                return part;
            }
        }
        part.value = doubted.map(|doubted| Measured { observation: None, doubted: Some(doubted) });
        part.gaps.push("No station within 25 km gives a temperature of the last hour.".to_owned());
        part
    }

    /// Ordinances speak of any part of the county, and an alert's own area may miss the lawn; so point, county and forecast
    /// zone are asked, and all three must answer before a list can say that there is nothing.
    async fn alerts(&self, store: &Store, place: Place, point: Option<&Point>, patience: Patience) -> Part<AlertList> {
        let codes = [point.and_then(|point| point.county.as_deref()), point.and_then(|point| point.zone.as_deref())];
        let asked: Vec<Asked<'_>> =
            [Asked::Point(place)].into_iter().chain(codes.into_iter().flatten().map(Asked::Zone)).collect();
        let path = |asked: &Asked<'_>| match asked {
            Asked::Point(place) => format!("/alerts/active?status=actual&point={}", place.text()),
            Asked::Zone(code) => format!("/alerts/active/zone/{code}"),
        };
        let answers =
            asked.iter().map(async |asked| self.fetcher.document(store, &path(asked), ALERTS, patience).await);
        let answers = futures_util::future::join_all(answers).await;
        let (mut part, mut lists, at) = (Part::new(), Lists::default(), self.moment(patience));
        for (asked, answer) in asked.into_iter().zip(answers) {
            let document = match answer {
                Ok(document) => document,
                Err(failure) => {
                    part.missing(&failure);
                    continue;
                }
            };
            part.note(&document);
            let said = said::alerts(&document.body, asked, at);
            if let Some((words, whole)) = self.take(&mut part, "alerts", document.fetch, said) {
                lists.add(words, whole && document.failure.is_none(), document.fetched_at);
            }
        }
        if !lists.is_whole() {
            part.gaps.push("Not all of point, county and forecast zone could be asked for alerts.".to_owned());
        }
        part.value = lists.list();
        part
    }

    /// Stations near a place, by what is kept or asked.
    async fn stations_at(&self, store: &Store, place: Place, patience: Patience) -> Vec<(Station, i64)> {
        let point = self.point(store, place, POINT, patience).await.value;
        match point {
            Some(point) => self.stations(store, place, &point, patience).await.value.unwrap_or_default(),
            None => Vec::new(),
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
                self.observation(store, place, here, patience),
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
            let measured = observation.value.unwrap_or(Measured { observation: None, doubted: None });
            said.station = measured.observation.as_ref().map(|seen| seen.station.clone());
            let both = measured.observation.as_ref().zip(forecast.value.as_ref());
            let apart = both.and_then(|(seen, forecast)| said::apart(seen, forecast, self.moment(patience)));
            said.gaps.extend(apart.map(|why| WeatherGap { part: "observation", why }));
            said.reported.forecast = forecast.value;
            (said.reported.observation, said.reported.doubted) = (measured.observation, measured.doubted);
            said.reported.alerts = alerts.value;
            said
        })
    }

    fn fallen<'a>(&'a self, store: &'a Store, place: Place, from: Instant) -> BoxFuture<'a, Option<Fallen>> {
        Box::pin(async move {
            let day = Span::hours_from(from, 24);
            let patience = Patience::Until(tokio::time::Instant::now() + super::BACKGROUND_WAITS);
            for (station, _) in self.stations_at(store, place, patience).await {
                let whole_seconds = |at: Instant| at.to_string().replace(".000Z", "Z");
                let path = format!(
                    "/stations/{}/observations?start={}&end={}&limit=500",
                    station.id,
                    whole_seconds(day.start),
                    whole_seconds(day.end)
                );
                let Ok(document) = self.fetcher.document(store, &path, PAST, patience).await else { continue };
                let mut seen = read::observations(&document.body).unwrap_or_default();
                // One that names no station, or two, may be another's.
                seen.retain(|seen| seen.station.as_ref() == Some(&station.id));
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

    fn unread(&self) -> Vec<Unread> {
        self.unread.all()
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
            station: None,
            at: at(text),
            temperature: None,
            wind: None,
            gust: None,
            rain_last_hour: rain.map(|mm| Billionths::from_raw(mm * 1_000_000_000)),
            doubted_temperature: None,
            doubted_wind: None,
            unread: Vec::new(),
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
