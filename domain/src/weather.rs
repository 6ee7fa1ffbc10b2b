//! Weather as facts: each value with its source and the time it was known. What is not known stays unknown.

pub mod age;
pub mod alert_list;
pub mod hourly;
pub mod reported;
pub mod series;
pub mod value;

use serde::{Deserialize, Serialize};

use crate::{
    quantity::{Percent, RainDepth, Temperature, WindSpeed},
    time::Instant,
};

/// What is known about the weather for one application. Every part may be missing.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Weather {
    /// Air temperature where the work is done.
    #[serde(default)]
    pub air_temperature: Option<AirTemperature>,
    /// Rain that is expected in the hours to come. More than one span may be given, since laws ask about different spans.
    #[serde(default)]
    #[schema(max_items = 8)]
    pub rain_forecast: Vec<RainForecast>,
    /// Watches and warnings in force for the county. An empty list says that somebody looked and there were none.
    #[serde(default)]
    pub alerts: Option<Alerts>,
    /// Whether heavy rain falls where the work is done.
    #[serde(default)]
    pub heavy_rain: Option<HeavyRain>,
    /// Wind where the work is done.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wind: Option<Wind>,
    /// The soil as a model has it. It can ask for a look at the ground; it never stands for one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub soil: Option<ModelledSoil>,
    /// What a station measured and its service's own checks doubt. It can hold the work; it clears nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub doubted: Option<DoubtedReading>,
}

/// How a service came by a value, which decides how far it may be trusted. Old or partial data can prove that work must
/// stop, never that it may go on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FromService {
    pub basis: Basis,
    /// When this server fetched it.
    pub fetched_at: Instant,
    /// When the service says that it was made.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub issued_at: Option<Instant>,
    /// How much of the span that the value speaks of has data behind it. Of a measurement it is the hour to come, as far as the
    /// forecast beside it knows it: what a station measures now says nothing of that.
    pub coverage_percent: Percent,
}

impl FromService {
    /// Whether nothing of the span is missing.
    pub fn is_whole(&self) -> bool {
        self.coverage_percent.raw() == 10_000
    }
}

/// Whether somebody or something measured a value, or worked it out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    Observed,
    Forecast,
    /// Worked out by a model for hours that have been. No gauge stands behind it.
    Modelled,
}

/// Wind, as somebody measured it or a service gives it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Wind {
    pub wind_mph: WindSpeed,
    /// Nothing means that gusts are not known, not that there are none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gust_mph: Option<WindSpeed>,
    pub source: WeatherSource,
    pub observed_at: Instant,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub service: Option<FromService>,
}

impl Wind {
    /// The strongest wind that is known, gusts included.
    pub fn strongest(&self) -> WindSpeed {
        self.gust_mph.map_or(self.wind_mph, |gust| gust.max(self.wind_mph))
    }
}

/// A measurement that failed its service's own checks of quality.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DoubtedReading {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub air_temperature_f: Option<Temperature>,
    /// The stronger of wind and gusts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wind_mph: Option<WindSpeed>,
    pub observed_at: Instant,
}

/// The soil by a model, about the first four inches.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ModelledSoil {
    pub soil_temperature_f: Temperature,
    /// Share of the soil's volume that is water.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub water_percent: Option<Percent>,
    pub source: WeatherSource,
    pub observed_at: Instant,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub service: Option<FromService>,
}

/// Heavy rain that falls or does not fall, as somebody saw it or a service reported it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct HeavyRain {
    pub falls: bool,
    pub source: WeatherSource,
    pub observed_at: Instant,
}

/// Where a value comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum WeatherSource {
    /// The person on the lawn saw or measured it.
    Technician,
    /// A weather service said so.
    WeatherService,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AirTemperature {
    pub air_temperature_f: Temperature,
    pub source: WeatherSource,
    /// When it was measured; of a forecast, the beginning of the hour it is for.
    pub observed_at: Instant,
    /// Said when this server had it from a weather service.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub service: Option<FromService>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RainForecast {
    /// Depth that the forecast expects over the whole span. Where `bounds` are given, the most that it allows.
    pub rain_in: RainDepth,
    /// Length of the span, which begins when the forecast was issued.
    #[schema(minimum = 1, maximum = 168)]
    pub hours: u16,
    /// Chance that the depth is reached, if the forecast gives one.
    #[serde(default)]
    pub chance_percent: Option<Percent>,
    pub source: WeatherSource,
    pub issued_at: Instant,
    /// The least and the likeliest depth, where the service's own intervals do not end with the span.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bounds: Option<RainBounds>,
    /// Said when this server had it from a weather service.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub service: Option<FromService>,
}

/// What a forecast in longer intervals says of a span that cuts them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RainBounds {
    /// Beginning of the span, if it is not `issued_at`.
    pub starts_at: Instant,
    /// Only the intervals that lie wholly in the span: what falls within it at least.
    pub lower_in: RainDepth,
    /// Each interval by the share of it that lies in the span, as if it rained evenly.
    pub best_in: RainDepth,
}

impl RainForecast {
    /// The depth that falls within the span at least.
    pub fn least(&self) -> RainDepth {
        self.bounds.map_or(self.rain_in, |bounds| bounds.lower_in)
    }

    /// Whether the forecast speaks of the whole span, so that it can show that rain stays away.
    pub fn is_whole(&self) -> bool {
        self.service.is_none_or(|service| service.is_whole())
    }
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Alerts {
    #[schema(max_items = 20)]
    pub active: Vec<Alert>,
    pub source: WeatherSource,
    pub looked_at: Instant,
    /// Names of other watches, warnings and statements in force that ask for care: advisories, and names that nobody here
    /// has read before.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 40)]
    pub others: Vec<AlertName>,
    /// Said when this server had it from a weather service. Coverage below 100 percent says that one of the questions, for
    /// the point, the county and the forecast zone, was not answered whole, freshly and about this place.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub service: Option<FromService>,
}

/// What a service calls an alert.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[schema(max_length = 120, example = "Flood Advisory")]
#[serde(transparent)]
pub struct AlertName(pub String);

/// A watch or warning of the National Weather Service.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Alert {
    pub event: AlertEvent,
    pub level: AlertLevel,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum AlertEvent {
    SevereThunderstorm,
    Flood,
    TropicalStorm,
    Hurricane,
}

impl Weather {
    /// What somebody on the lawn said, with what a service says of the rest. The person's word stands for the values that one
    /// can measure there. Watches, warnings and forecasts of rain are joined, because what stops in either of them stops; but
    /// a look that is newer by more than a list or a forecast stays fresh takes the place of an old one.
    #[must_use]
    pub fn joined(&self, service: &Self) -> Self {
        let mut joined = self.clone();
        joined.air_temperature = graver(
            self.air_temperature,
            service.air_temperature,
            |air| air.service.as_ref(),
            |air| air.air_temperature_f,
        );
        joined.heavy_rain = self.heavy_rain.or(service.heavy_rain);
        joined.wind = graver(self.wind, service.wind, |wind| wind.service.as_ref(), Wind::strongest);
        joined.soil = self.soil.or(service.soil);
        joined.doubted = match (self.doubted, service.doubted) {
            (Some(one), Some(other)) => Some(DoubtedReading {
                air_temperature_f: one.air_temperature_f.max(other.air_temperature_f),
                wind_mph: one.wind_mph.max(other.wind_mph),
                observed_at: one.observed_at.max(other.observed_at),
            }),
            (one, other) => one.or(other),
        };
        let newest = self.rain_forecast.iter().map(|forecast| forecast.issued_at).max();
        let outdated = |forecast: &&RainForecast| {
            let fetched = forecast.service.map_or(forecast.issued_at, |service| service.fetched_at);
            newest.is_some_and(|newest| newest.since(fetched).as_mins() > age::FRESH_MINUTES)
        };
        joined.rain_forecast.extend(service.rain_forecast.iter().filter(|forecast| !outdated(forecast)));
        joined.alerts = match (&self.alerts, &service.alerts) {
            (Some(seen), Some(listed)) if seen.looked_at.since(listed.looked_at).as_mins() <= age::ALERTS_MINUTES => {
                let mut both = seen.clone();
                both.active.extend(listed.active.iter().filter(|alert| !seen.active.contains(alert)));
                both.others.extend(listed.others.iter().filter(|name| !seen.others.contains(name)).cloned());
                Some(both)
            }
            (seen, listed) => seen.clone().or_else(|| listed.clone()),
        };
        joined
    }

    /// Whether a service could add something that nobody has said.
    pub fn has_gaps(&self) -> bool {
        self.air_temperature.is_none() || self.rain_forecast.is_empty() || self.alerts.is_none() || self.wind.is_none()
    }
}

/// A person's word if there is one. Of what two services say, the hotter or the stronger, unless it was fetched so much earlier
/// that it is not fresh beside the other.
fn graver<T: Copy, V: Ord>(
    first: Option<T>,
    second: Option<T>,
    service: impl Fn(&T) -> Option<&FromService>,
    value: impl Fn(&T) -> V,
) -> Option<T> {
    let (Some(one), Some(other)) = (first, second) else { return first.or(second) };
    let (Some(of_one), Some(of_other)) = (service(&one), service(&other)) else { return first };
    let fresh_beside = of_one.fetched_at.since(of_other.fetched_at).as_mins() <= age::FRESH_MINUTES;
    Some(if fresh_beside && value(&other) > value(&one) { other } else { one })
}

impl AlertEvent {
    /// How a sentence calls it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::SevereThunderstorm => "severe thunderstorm",
            Self::Flood => "flood",
            Self::TropicalStorm => "tropical storm",
            Self::Hurricane => "hurricane",
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum AlertLevel {
    Watch,
    Warning,
}

impl AlertLevel {
    /// How a sentence calls it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Watch => "watch",
            Self::Warning => "warning",
        }
    }
}
