//! What each document of the public service says of a place and a moment. Pure: the document, and what it was asked for, in;
//! facts and gaps out. A document of another place, another station, or too long ago is a gap, whatever it says.

use std::collections::HashSet;

use domain::{
    time::Instant,
    weather::{
        Basis,
        age::{AgeClass, OBSERVATION_MINUTES},
        alert_list::AlertWord,
        reported::{AlertList, Doubted, Forecast, Observation},
        series::{Coverage, Series, Span},
    },
};

use super::{
    Place,
    read::{self, Observed, Point, Station, identity, identity::Positions, shown},
};

/// A station further away than this says little about the lawn. *Common practice.*
const NEAR_M: i64 = 25_000;
/// From this distance on it is said how far away the station is. *Common practice.*
const FAR_M: i64 = 10_000;
/// Metres of a mile.
const MILE_M: i64 = 1_609;
/// Hundredths of °F by which a measurement and the forecast may differ before it is said: one of the two is not of here.
/// *Common practice.*
const APART: i64 = 1_800;
/// A list that has not changed for longer is not believed to be of today. *Common practice.*
const LIST_MINUTES: i64 = 24 * 60;
/// An empty list carries the hour that runs, as it was seen, so an older one is a copy of what may not be so any more.
/// *Common practice.*
const EMPTY_LIST_MINUTES: i64 = 2 * 60;
/// A clock may run ahead of another by so much.
const AHEAD_MINUTES: i64 = -10;

/// One part of what is said: what it is, and what is wrong with it.
#[derive(Debug)]
pub struct Said<T> {
    pub value: Option<T>,
    pub gaps: Vec<String>,
    /// What of the document could not be read, or is not of here: the values themselves, shortened.
    pub unread: Vec<String>,
}

/// A forecast's cell: office, and two numbers.
pub type Cell = (String, u32, u32);

/// What a list of alerts was asked for.
#[derive(Debug, Clone, Copy)]
pub enum Asked<'a> {
    Point(Place),
    Zone(&'a str),
}

/// What a station's document says, as far as it is of now.
#[derive(Debug)]
pub struct Measured {
    pub observation: Option<Observation>,
    pub doubted: Option<Doubted>,
}

impl<T> Said<T> {
    fn of(value: T) -> Self {
        Self { value: Some(value), gaps: Vec::new(), unread: Vec::new() }
    }

    fn gap(why: impl Into<String>, unread: String) -> Self {
        Self { value: None, gaps: vec![why.into()], unread: vec![unread] }
    }
}

/// The beginning of a document, for whoever looks into what was wrong with it.
fn beginning(body: &[u8]) -> String {
    shown(&String::from_utf8_lossy(body.get(..200).unwrap_or(body)))
}

/// Which grid and which zones a place lies in.
pub fn point(body: &[u8], place: Place) -> Said<Point> {
    let Some(point) = read::point(body) else {
        return Said::gap("The weather service does not say which grid the place lies in.", beginning(body));
    };
    match identity::is_at(place, &point.positions) {
        Some(true) => Said::of(point),
        Some(false) => Said::gap(
            "The weather service answered for another place than was asked about.",
            shown(&format!("{:?}", point.positions)),
        ),
        None => Said::gap("The weather service does not say for which place it answered.", beginning(body)),
    }
}

/// The forecast of a cell.
pub fn forecast(body: &[u8], fetched_at: Instant, (id, x, y): &Cell, place: Place, at: Instant) -> Said<Forecast> {
    let Some(grid) = read::grid(body) else {
        return Said::gap("The weather service's forecast is not of the documented form.", beginning(body));
    };
    if grid.cell != format!("{id}/{x},{y}") || identity::surrounds(place, &grid.outline) == Some(false) {
        return Said::gap("The weather service answered with the forecast of another place.", shown(&grid.cell));
    }
    let mut gaps: Vec<String> = grid.faults.iter().map(|fault| format!("The forecast of {fault}.")).collect();
    if AgeClass::of(at, fetched_at, Some(grid.updated_at)) > AgeClass::Ageing {
        gaps.push(format!("The forecast was made at {}, and is too old to clear anything.", grid.updated_at));
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
            gaps.push(format!("The forecast of {name} leaves some of the next {ahead} out."));
        }
    }
    let forecast = Forecast {
        basis: Basis::Forecast,
        fetched_at,
        issued_at: Some(grid.updated_at),
        temperature: grid.temperature,
        wind: grid.wind,
        gust: grid.gust,
        rain: grid.rain,
        chance: grid.chance,
        soil_temperature: Series::default(),
        soil_water: Series::default(),
    };
    Said { value: Some(forecast), gaps, unread: grid.unread }
}

/// Stations within reach of a place, in the order of the list, each with its distance: the greater of what its position and its
/// service say. One that says neither, or where it stands in a way that cannot be read, may stand anywhere.
pub fn stations(body: &[u8], place: Place) -> Said<Vec<(Station, i64)>> {
    let Some(stations) = read::stations(body) else {
        return Said::gap("The list of stations is not of the documented form.", beginning(body));
    };
    let away = |station: Station| {
        if station.position == Positions::Unreadable {
            return None;
        }
        let metres = identity::furthest(place, &station.position).max(station.distance_m)?;
        (0..=NEAR_M).contains(&metres).then_some((station, metres))
    };
    Said::of(stations.into_iter().filter_map(away).collect())
}

/// What a station measured, if it is of the last hour.
pub fn measured(body: &[u8], fetched_at: Instant, (station, away_m): &(Station, i64), at: Instant) -> Said<Measured> {
    let Some(seen) = read::observation(body) else {
        let why = format!("The measurement of station {} is not of the documented form.", station.id);
        return Said::gap(why, beginning(body));
    };
    if seen.station.as_deref() != Some(station.id.as_str()) {
        let why = format!(
            "What came for station {} is not said to be its measurement; another station may have made it.",
            station.id
        );
        return Said::gap(why, shown(seen.station.as_deref().unwrap_or("no station")));
    }
    let mut said = Said::of(Measured { observation: None, doubted: None });
    let is_of_now = (AHEAD_MINUTES..=OBSERVATION_MINUTES).contains(&at.since(seen.at).as_mins());
    if is_of_now {
        if seen.doubted_temperature.or(seen.doubted_wind).is_some() {
            said.gaps.push(doubts(&station.id, &seen));
        }
        if seen.temperature.is_some() && *away_m > FAR_M {
            let miles = (away_m + MILE_M / 2) / MILE_M;
            said.gaps.push(format!(
                "Station {} lies {miles} miles from the property, so what it measures may not hold there.",
                station.id
            ));
        }
        said.value = Some(Measured { doubted: doubted(&seen), observation: of_station(&seen, station, fetched_at) });
    }
    said.unread = seen.unread;
    said
}

fn of_station(seen: &Observed, station: &Station, fetched_at: Instant) -> Option<Observation> {
    seen.temperature.is_some().then(|| Observation {
        station: station.id.clone(),
        fetched_at,
        observed_at: seen.at,
        temperature: seen.temperature,
        wind: seen.wind,
        gust: seen.gust,
        rain_last_hour: seen.rain_last_hour,
    })
}

fn doubted(seen: &Observed) -> Option<Doubted> {
    let any = seen.doubted_temperature.or(seen.doubted_wind);
    any.map(|_| Doubted { observed_at: seen.at, temperature: seen.doubted_temperature, wind: seen.doubted_wind })
}

fn doubts(station: &str, seen: &Observed) -> String {
    let temperature = seen.doubted_temperature.map(|value| format!("{} °F", value.fahrenheit_observed()));
    let wind = seen.doubted_wind.map(|value| format!("a wind of {} mph", value.mph_up()));
    let values: Vec<String> = temperature.into_iter().chain(wind).collect();
    format!("Station {station} measured {}, which its service's own checks doubt.", values.join(" and "))
}

/// How far a measurement and the forecast of the same hour are apart, if that is too far for one place.
pub fn apart(seen: &Observation, forecast: &Forecast, at: Instant) -> Option<String> {
    let hour = Span::hours_from(at, 1);
    let measured = seen.temperature?;
    let (least, most) = (forecast.temperature.least(hour).0?, forecast.temperature.greatest(hour).0?);
    let nearest = measured.clamp(least, most);
    let apart = (measured.fahrenheit_hundredths() - nearest.fahrenheit_hundredths()).abs();
    (apart > APART).then(|| {
        format!(
            "Station {} measured {} °F, and the forecast has {} °F: one of the two may not be of here.",
            seen.station,
            measured.fahrenheit_observed(),
            nearest.fahrenheit_up()
        )
    })
}

/// What a list of alerts says, and whether it answers the question: of this place, of today, and whole.
pub fn alerts(body: &[u8], asked: Asked<'_>, at: Instant) -> Said<(Vec<AlertWord>, bool)> {
    let Some(list) = read::alerts(body) else {
        return Said::gap("A list of alerts is not of the documented form.", beginning(body));
    };
    let title = list.title.unwrap_or_default();
    let is_ours = match asked {
        Asked::Point(place) => identity::names_point(&title, place),
        Asked::Zone(zone) => identity::names_zone(&title, zone),
    };
    if !is_ours && identity::names_a_place(&title) {
        return Said::gap("A list of alerts is of another place.", shown(&title));
    }
    let (mut gaps, mut unread) = (Vec::new(), list.first_unread.into_iter().collect::<Vec<_>>());
    if !is_ours {
        gaps.push("A list of alerts does not say of which place it is.".to_owned());
        unread.push(shown(&title));
    }
    let oldest = if list.words.is_empty() { EMPTY_LIST_MINUTES } else { LIST_MINUTES };
    match list.updated_at.map(|updated| (updated, at.since(updated).as_mins())) {
        Some((_, age)) if (AHEAD_MINUTES..=oldest).contains(&age) => {}
        Some((updated, _)) => {
            gaps.push(format!(
                "A list of alerts says that it last changed at {updated}, and is not believed to be of now."
            ));
        }
        None => gaps.push("A list of alerts does not say when it last changed.".to_owned()),
    }
    if list.has_more {
        gaps.push("A list of alerts has a further page, which was not read.".to_owned());
    }
    if list.unread > 0 {
        gaps.push(format!("{} entries of a list of alerts could not be read.", list.unread));
    }
    if list.is_absurd {
        gaps.push(format!("A list of {} alerts is more than any place has.", list.words.len()));
    }
    Said { value: Some((list.words, gaps.is_empty())), gaps, unread }
}

/// The three lists of a place together.
#[derive(Debug, Default)]
pub struct Lists {
    list: Option<AlertList>,
    /// Every entry word for word: ids alone are not unique, and one entry must not hide another.
    known: HashSet<String>,
}

impl Lists {
    /// `whole` says that the question was answered. One that failed is not answered by what was said before, which goes on
    /// stopping what it stopped.
    pub fn add(&mut self, words: Vec<AlertWord>, whole: bool, fetched_at: Instant) {
        let list = self.list.get_or_insert_with(|| AlertList {
            fetched_at,
            words: Vec::new(),
            answered: Coverage { covered: 0, whole: 3 },
        });
        // The oldest answer says how old the list is.
        list.fetched_at = list.fetched_at.min(fetched_at);
        list.answered.covered += i64::from(whole);
        for word in words {
            if self.known.insert(format!("{word:?}")) {
                list.words.push(word);
            }
        }
    }

    pub fn is_whole(&self) -> bool {
        self.list.as_ref().is_some_and(|list| list.answered.is_whole())
    }

    pub fn list(self) -> Option<AlertList> {
        self.list
    }
}
