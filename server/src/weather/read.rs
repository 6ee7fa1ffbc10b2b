//! Reading the public service's documents. Every number goes from its digits to an exact one; a part that is not as documented
//! is missing, and the rest is read all the same.

mod alerts;
pub mod identity;

use domain::{
    time::Instant,
    weather::{
        series::{Piece, Series, Span},
        value::{Billionths, Measure},
    },
};
use serde::Deserialize;
use serde_json::value::RawValue;

pub use alerts::{AlertsRead, alerts};
use identity::Positions;

/// The wrapping of `GeoJSON`.
#[derive(Deserialize)]
struct Feature<T> {
    geometry: Option<Box<RawValue>>,
    properties: T,
}

/// A piece of what came, short enough to be shown, on one line.
pub fn shown(text: &str) -> String {
    let plain = text.split_whitespace().collect::<Vec<_>>().join(" ");
    plain.chars().filter(|letter| !letter.is_control()).take(60).collect()
}

#[derive(Deserialize)]
struct Collection {
    features: Vec<Box<RawValue>>,
}

/// Which grid a point lies in, and for which county and forecast zone its alerts are given.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    /// Where the answer says that the point lies.
    pub positions: Positions,
    pub grid: Option<(String, u32, u32)>,
    pub county: Option<String>,
    pub zone: Option<String>,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct PointWords {
    #[serde(rename = "type")]
    kind: Option<String>,
    grid_id: Option<String>,
    grid_x: Option<u32>,
    grid_y: Option<u32>,
    county: Option<String>,
    forecast_zone: Option<String>,
}

pub fn point(body: &[u8]) -> Option<Point> {
    let Feature { geometry, properties } = serde_json::from_slice::<Feature<PointWords>>(body).ok()?;
    // The service's own links lead past the configured address, so only the codes in them are taken.
    let code = |link: Option<String>| link.and_then(|link| last_code(&link));
    let on_land = properties.kind.as_deref().is_none_or(|kind| kind == "land");
    let grid = match (properties.grid_id, properties.grid_x, properties.grid_y) {
        (Some(id), Some(x), Some(y)) if on_land && is_code(&id) => Some((id, x, y)),
        _ => None,
    };
    Some(Point {
        positions: identity::positions(geometry.as_deref()),
        grid,
        county: code(properties.county),
        zone: code(properties.forecast_zone),
    })
}

fn last_code(link: &str) -> Option<String> {
    link.rsplit('/').next().filter(|code| is_code(code)).map(str::to_owned)
}

/// Letters and digits only, so that nothing of an answer changes the path that is asked next.
fn is_code(code: &str) -> bool {
    (2..=12).contains(&code.len()) && code.bytes().all(|byte| byte.is_ascii_alphanumeric())
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct GridWords {
    grid_id: Option<Box<RawValue>>,
    grid_x: Option<Box<RawValue>>,
    grid_y: Option<Box<RawValue>>,
    update_time: Option<String>,
    temperature: Option<Box<RawValue>>,
    wind_speed: Option<Box<RawValue>>,
    wind_gust: Option<Box<RawValue>>,
    quantitative_precipitation: Option<Box<RawValue>>,
    probability_of_precipitation: Option<Box<RawValue>>,
}

/// The layers of a raw grid that decide something. A layer that is missing or cannot be read is empty, which is unknown.
#[derive(Debug)]
pub struct Grid {
    /// The cell that it says it is, such as `MLB/26,68`.
    pub cell: String,
    /// The corners of the cell.
    pub outline: Positions,
    pub updated_at: Instant,
    pub temperature: Series,
    pub wind: Series,
    pub gust: Series,
    pub rain: Series,
    pub chance: Series,
    /// What could not be read, and why.
    pub faults: Vec<String>,
    /// Values that were there and are none.
    pub unread: Vec<String>,
}

#[derive(Deserialize)]
struct Layer {
    uom: Option<String>,
    #[serde(default)]
    values: Vec<LayerValue>,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct LayerValue {
    valid_time: String,
    value: Option<Box<RawValue>>,
}

pub fn grid(body: &[u8]) -> Option<Grid> {
    let Feature { geometry, properties } = serde_json::from_slice::<Feature<GridWords>>(body).ok()?;
    let word = |raw: Option<Box<RawValue>>| raw.map_or_else(String::new, |raw| raw.get().trim_matches('"').to_owned());
    let cell = format!("{}/{},{}", word(properties.grid_id), word(properties.grid_x), word(properties.grid_y));
    // Without the time of its making no forecast can be shown to be new, whatever the headers say.
    let updated_at = Instant::parse(properties.update_time.as_deref()?).ok()?;
    let (mut faults, mut unread) = (Vec::new(), Vec::new());
    let mut layer = |name: &str, raw: Option<Box<RawValue>>, measure: Measure| {
        let read = raw.map_or_else(|| Ok(Series::default()), |raw| series(&raw, measure, &mut unread));
        read.unwrap_or_else(|fault| {
            unread.push(format!("{name}: {}", shown(&fault)));
            faults.push(format!("{name}: {fault}"));
            Series::default()
        })
    };
    let temperature = layer("temperature", properties.temperature, Measure::Temperature);
    let wind = layer("wind", properties.wind_speed, Measure::Speed);
    let gust = layer("gusts", properties.wind_gust, Measure::Speed);
    let rain = layer("rain", properties.quantitative_precipitation, Measure::Depth);
    let chance = layer("chance of rain", properties.probability_of_precipitation, Measure::Chance);
    let outline = identity::positions(geometry.as_deref());
    Some(Grid { cell, outline, updated_at, temperature, wind, gust, rain, chance, faults, unread })
}

fn series(raw: &RawValue, measure: Measure, unread: &mut Vec<String>) -> Result<Series, String> {
    let layer: Layer = serde_json::from_str(raw.get()).map_err(|_| "it is not of the documented form".to_owned())?;
    let mut pieces = Vec::with_capacity(layer.values.len());
    for entry in &layer.values {
        let span = Span::parse(&entry.valid_time).map_err(|fault| fault.to_string())?;
        let unit = layer.uom.as_deref().ok_or("it names no unit")?;
        let value = match &entry.value {
            Some(raw) => Billionths::read(raw.get(), measure, unit).map_err(|fault| fault.to_string())?,
            None => None,
        };
        // A value that is there and that no weather has.
        unread.extend(entry.value.as_ref().filter(|_| value.is_none()).map(|raw| shown(raw.get())));
        pieces.push(Piece { span, value });
    }
    Series::new(pieces).map_err(|fault| fault.to_string())
}

/// A station and its distance in metres, if the service says it.
#[derive(Debug, Clone, PartialEq)]
pub struct Station {
    pub id: String,
    /// As the service has it.
    pub distance_m: Option<i64>,
    /// Where it stands.
    pub position: Positions,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct StationWords {
    station_identifier: String,
    distance: Option<Quantity>,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Quantity {
    unit_code: Option<String>,
    value: Option<Box<RawValue>>,
    quality_control: Option<String>,
}

/// Stations, the nearest first.
pub fn stations(body: &[u8]) -> Option<Vec<Station>> {
    let collection: Collection = serde_json::from_slice(body).ok()?;
    let station = |raw: &RawValue| {
        let Feature { geometry, properties } = serde_json::from_str::<Feature<StationWords>>(raw.get()).ok()?;
        let metres = |distance: Quantity| {
            let metres = distance.unit_code.as_deref().is_some_and(|unit| unit.ends_with(":m"));
            let value = Billionths::parse(distance.value?.get())?;
            metres.then_some(value.raw() / 1_000_000_000)
        };
        let distance_m = properties.distance.and_then(metres);
        let position = identity::positions(geometry.as_deref());
        let id = properties.station_identifier;
        is_code(&id).then_some(Station { id, distance_m, position })
    };
    Some(collection.features.iter().filter_map(|raw| station(raw)).collect())
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct ObservationWords {
    station: Option<Box<RawValue>>,
    station_id: Option<Box<RawValue>>,
    timestamp: String,
    temperature: Option<Quantity>,
    wind_speed: Option<Quantity>,
    wind_gust: Option<Quantity>,
    precipitation_last_hour: Option<Quantity>,
}

/// What a station measured at a moment. What was refused by the service's own checks is beside it: it may hold work.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Observed {
    /// Which station says so; nothing when it does not say, or names two.
    pub station: Option<String>,
    pub at: Instant,
    pub temperature: Option<Billionths>,
    pub wind: Option<Billionths>,
    pub gust: Option<Billionths>,
    pub rain_last_hour: Option<Billionths>,
    pub doubted_temperature: Option<Billionths>,
    /// The stronger of wind and gusts.
    pub doubted_wind: Option<Billionths>,
    /// Values that were there and are none.
    pub unread: Vec<String>,
}

pub fn observation(body: &[u8]) -> Option<Observed> {
    let Feature { properties, .. } = serde_json::from_slice::<Feature<ObservationWords>>(body).ok()?;
    observed(properties)
}

/// The observations of a list, each that can be read.
pub fn observations(body: &[u8]) -> Option<Vec<Observed>> {
    let collection: Collection = serde_json::from_slice(body).ok()?;
    let one = |raw: &RawValue| {
        let Feature { properties, .. } = serde_json::from_str::<Feature<ObservationWords>>(raw.get()).ok()?;
        observed(properties)
    };
    Some(collection.features.iter().filter_map(|raw| one(raw)).collect())
}

fn observed(words: ObservationWords) -> Option<Observed> {
    let mut unread = Vec::new();
    // Whether its service's own checks let the value pass, and the value.
    let mut value = |quantity: Option<Quantity>, measure| {
        let quantity = quantity?;
        // X failed the first check, Q a later one, B was called bad by a person.
        let passed = !matches!(quantity.quality_control.as_deref(), Some("X" | "Q" | "B"));
        let raw = quantity.value?;
        let read = quantity.unit_code.and_then(|unit| Billionths::read(raw.get(), measure, &unit).ok().flatten());
        if read.is_none() {
            unread.push(shown(raw.get()));
        }
        Some((passed, read?))
    };
    let temperature = value(words.temperature, Measure::Temperature);
    let wind = value(words.wind_speed, Measure::Speed);
    let gust = value(words.wind_gust, Measure::Speed);
    let rain = value(words.precipitation_last_hour, Measure::Depth);
    let passed = |value: Option<(bool, Billionths)>| value.filter(|(passed, _)| *passed).map(|(_, value)| value);
    let doubted = |value: Option<(bool, Billionths)>| value.filter(|(passed, _)| !*passed).map(|(_, value)| value);
    Some(Observed {
        station: station(words.station, words.station_id),
        at: Instant::parse(&words.timestamp).ok()?,
        temperature: passed(temperature),
        wind: passed(wind),
        gust: passed(gust),
        rain_last_hour: passed(rain),
        doubted_temperature: doubted(temperature),
        doubted_wind: doubted(wind).max(doubted(gust)),
        unread,
    })
}

/// The station by its link and by its name; what says one thing here and another there says nothing.
fn station(link: Option<Box<RawValue>>, name: Option<Box<RawValue>>) -> Option<String> {
    let text = |raw: Option<Box<RawValue>>| raw.and_then(|raw| serde_json::from_str::<String>(raw.get()).ok());
    let linked = text(link).and_then(|link| last_code(&link));
    match (linked, text(name)) {
        (Some(linked), Some(name)) => (linked == name).then_some(linked),
        (linked, name) => linked.or(name),
    }
}
