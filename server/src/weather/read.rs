//! Reading the public service's documents. Every number goes from its digits to an exact one; a part that is not as documented
//! is missing, and the rest is read all the same.

use domain::{
    time::Instant,
    weather::{
        alert_list::AlertWord,
        series::{Piece, Series, Span},
        value::{Billionths, Measure},
    },
};
use serde::{Deserialize, de::DeserializeOwned};
use serde_json::value::RawValue;

/// The wrapping of `GeoJSON`.
#[derive(Deserialize)]
struct Feature<T> {
    properties: T,
}

#[derive(Deserialize)]
struct Collection {
    features: Vec<Box<RawValue>>,
}

/// Which grid a point lies in, and for which county and forecast zone its alerts are given.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Point {
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
    let Feature { properties } = serde_json::from_slice::<Feature<PointWords>>(body).ok()?;
    // The service's own links lead past the configured address, so only the codes in them are taken.
    let code = |link: Option<String>| link.and_then(|link| last_code(&link));
    let on_land = properties.kind.as_deref().is_none_or(|kind| kind == "land");
    let grid = match (properties.grid_id, properties.grid_x, properties.grid_y) {
        (Some(id), Some(x), Some(y)) if on_land && is_code(&id) => Some((id, x, y)),
        _ => None,
    };
    Some(Point { grid, county: code(properties.county), zone: code(properties.forecast_zone) })
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
    pub updated_at: Instant,
    pub temperature: Series,
    pub wind: Series,
    pub gust: Series,
    pub rain: Series,
    pub chance: Series,
    /// What could not be read, and why.
    pub faults: Vec<String>,
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
    let Feature { properties } = serde_json::from_slice::<Feature<GridWords>>(body).ok()?;
    // Without the time of its making no forecast can be shown to be new, whatever the headers say.
    let updated_at = Instant::parse(properties.update_time.as_deref()?).ok()?;
    let mut faults = Vec::new();
    let mut layer = |name: &str, raw: Option<Box<RawValue>>, measure: Measure| {
        let read = raw.map_or_else(|| Ok(Series::default()), |raw| series(&raw, measure));
        read.unwrap_or_else(|fault| {
            faults.push(format!("{name}: {fault}"));
            Series::default()
        })
    };
    let temperature = layer("temperature", properties.temperature, Measure::Temperature);
    let wind = layer("wind", properties.wind_speed, Measure::Speed);
    let gust = layer("gusts", properties.wind_gust, Measure::Speed);
    let rain = layer("rain", properties.quantitative_precipitation, Measure::Depth);
    let chance = layer("chance of rain", properties.probability_of_precipitation, Measure::Chance);
    Some(Grid { updated_at, temperature, wind, gust, rain, chance, faults })
}

fn series(raw: &RawValue, measure: Measure) -> Result<Series, String> {
    let layer: Layer = serde_json::from_str(raw.get()).map_err(|_| "it is not of the documented form".to_owned())?;
    let mut pieces = Vec::with_capacity(layer.values.len());
    for entry in &layer.values {
        let span = Span::parse(&entry.valid_time).map_err(|fault| fault.to_string())?;
        let unit = layer.uom.as_deref().ok_or("it names no unit")?;
        let value = match &entry.value {
            Some(raw) => Billionths::read(raw.get(), measure, unit).map_err(|fault| fault.to_string())?,
            None => None,
        };
        pieces.push(Piece { span, value });
    }
    Series::new(pieces).map_err(|fault| fault.to_string())
}

/// A station and its distance in metres, if the service says it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Station {
    pub id: String,
    pub distance_m: Option<i64>,
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
        let Feature { properties } = serde_json::from_str::<Feature<StationWords>>(raw.get()).ok()?;
        let metres = |distance: Quantity| {
            let metres = distance.unit_code.as_deref().is_some_and(|unit| unit.ends_with(":m"));
            let value = Billionths::parse(distance.value?.get())?;
            metres.then_some(value.raw() / 1_000_000_000)
        };
        let distance_m = properties.distance.and_then(metres);
        is_code(&properties.station_identifier).then_some(Station { id: properties.station_identifier, distance_m })
    };
    Some(collection.features.iter().filter_map(|raw| station(raw)).collect())
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct ObservationWords {
    timestamp: String,
    temperature: Option<Quantity>,
    wind_speed: Option<Quantity>,
    wind_gust: Option<Quantity>,
    precipitation_last_hour: Option<Quantity>,
}

/// What a station measured at a moment. What was refused by the service's own checks is not known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Observed {
    pub at: Instant,
    pub temperature: Option<Billionths>,
    pub wind: Option<Billionths>,
    pub gust: Option<Billionths>,
    pub rain_last_hour: Option<Billionths>,
}

pub fn observation(body: &[u8]) -> Option<Observed> {
    let Feature { properties } = serde_json::from_slice::<Feature<ObservationWords>>(body).ok()?;
    observed(properties)
}

/// The observations of a list, each that can be read.
pub fn observations(body: &[u8]) -> Option<Vec<Observed>> {
    let collection: Collection = serde_json::from_slice(body).ok()?;
    let one = |raw: &RawValue| {
        let Feature { properties } = serde_json::from_str::<Feature<ObservationWords>>(raw.get()).ok()?;
        observed(properties)
    };
    Some(collection.features.iter().filter_map(|raw| one(raw)).collect())
}

fn observed(words: ObservationWords) -> Option<Observed> {
    let value = |quantity: Option<Quantity>, measure| {
        let quantity = quantity?;
        // X failed the first check, Q a later one, B was called bad by a person.
        if matches!(quantity.quality_control.as_deref(), Some("X" | "Q" | "B")) {
            return None;
        }
        Billionths::read(quantity.value?.get(), measure, quantity.unit_code.as_deref()?).ok().flatten()
    };
    Some(Observed {
        at: Instant::parse(&words.timestamp).ok()?,
        temperature: value(words.temperature, Measure::Temperature),
        wind: value(words.wind_speed, Measure::Speed),
        gust: value(words.wind_gust, Measure::Speed),
        rain_last_hour: value(words.precipitation_last_hour, Measure::Depth),
    })
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct AlertFields {
    id: String,
    event: String,
    status: String,
    message_type: String,
    sent: String,
    expires: Option<String>,
    ends: Option<String>,
    references: Option<Box<RawValue>>,
    parameters: Option<Box<RawValue>>,
}

#[derive(Deserialize)]
struct Reference {
    identifier: String,
}

#[derive(Deserialize)]
struct Parameters {
    #[serde(rename = "VTEC")]
    codes: Option<Box<RawValue>>,
}

/// The members of a list that can be read. What stands beside an alert's name must not hide the alert: a `null` among its
/// codes, or in their place, leaves a warning a warning.
fn readable<T: DeserializeOwned>(raw: Option<&RawValue>) -> Vec<T> {
    let members = raw.and_then(|raw| serde_json::from_str::<Vec<Box<RawValue>>>(raw.get()).ok()).unwrap_or_default();
    members.iter().filter_map(|member| serde_json::from_str(member.get()).ok()).collect()
}

/// More entries than a list for one place has, by far. Sorting them takes time that grows with their square.
const MOST_ALERTS: usize = 500;

/// The entries of a list of alerts, and how many of them could not be read. A list without `features`, or with more than any
/// place has, is none.
pub fn alerts(body: &[u8]) -> Option<(Vec<AlertWord>, usize)> {
    let collection: Collection = serde_json::from_slice(body).ok()?;
    if collection.features.len() > MOST_ALERTS {
        return None;
    }
    let words: Vec<AlertWord> = collection.features.iter().filter_map(|raw| alert(raw.get())).collect();
    let unread = collection.features.len() - words.len();
    Some((words, unread))
}

fn alert(text: &str) -> Option<AlertWord> {
    let Feature { properties } = serde_json::from_str::<Feature<AlertFields>>(text).ok()?;
    let time = |text: &Option<String>| text.as_deref().map(Instant::parse);
    let (expires, ends) = match (time(&properties.expires), time(&properties.ends)) {
        // An end that cannot be read is none: the alert then lasts until further notice.
        (_, Some(Err(_))) => (None, None),
        (expires, ends) => (expires.and_then(Result::ok), ends.and_then(Result::ok)),
    };
    Some(AlertWord {
        sent: Instant::parse(&properties.sent).ok()?,
        id: properties.id,
        event: properties.event.chars().take(200).collect(),
        status: properties.status,
        message_type: properties.message_type,
        expires,
        ends,
        references: readable::<Reference>(properties.references.as_deref()).into_iter().map(|r| r.identifier).collect(),
        codes: codes(properties.parameters.as_deref()),
    })
}

fn codes(parameters: Option<&RawValue>) -> Vec<String> {
    let parameters = parameters.and_then(|raw| serde_json::from_str::<Parameters>(raw.get()).ok());
    readable(parameters.and_then(|parameters| parameters.codes).as_deref())
}
