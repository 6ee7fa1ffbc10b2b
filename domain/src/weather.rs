//! Weather as facts: each value with its source and the time it was known. What is not known stays unknown.

use serde::{Deserialize, Serialize};

use crate::{quantity::Percent, quantity::RainDepth, quantity::Temperature, time::Instant};

/// What is known about the weather for one application. Every part may be missing.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Weather {
    /// Air temperature where the work is done.
    #[serde(default)]
    pub air_temperature: Option<AirTemperature>,
    /// Rain that is expected in the hours to come. More than one span may be given, since laws ask about different spans.
    #[serde(default)]
    #[cfg_attr(feature = "schema", schema(max_items = 8))]
    pub rain_forecast: Vec<RainForecast>,
    /// Watches and warnings in force for the county. An empty list says that somebody looked and there were none.
    #[serde(default)]
    pub alerts: Option<Alerts>,
    /// Whether heavy rain falls where the work is done.
    #[serde(default)]
    pub heavy_rain: Option<HeavyRain>,
}

/// Heavy rain that falls or does not fall, as somebody saw it or a service reported it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct HeavyRain {
    pub falls: bool,
    pub source: WeatherSource,
    pub observed_at: Instant,
}

/// Where a value comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum WeatherSource {
    /// The person on the lawn saw or measured it.
    Technician,
    /// A weather service said so.
    WeatherService,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct AirTemperature {
    pub air_temperature_f: Temperature,
    pub source: WeatherSource,
    pub observed_at: Instant,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct RainForecast {
    /// Depth that the forecast expects over the whole span.
    pub rain_in: RainDepth,
    /// Length of the span, which begins when the forecast was issued.
    #[cfg_attr(feature = "schema", schema(minimum = 1, maximum = 168))]
    pub hours: u16,
    /// Chance that the depth is reached, if the forecast gives one.
    #[serde(default)]
    pub chance_percent: Option<Percent>,
    pub source: WeatherSource,
    pub issued_at: Instant,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Alerts {
    #[cfg_attr(feature = "schema", schema(max_items = 20))]
    pub active: Vec<Alert>,
    pub source: WeatherSource,
    pub looked_at: Instant,
}

/// A watch or warning of the National Weather Service.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Alert {
    pub event: AlertEvent,
    pub level: AlertLevel,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum AlertEvent {
    SevereThunderstorm,
    Flood,
    TropicalStorm,
    Hurricane,
}

impl AlertEvent {
    /// How a sentence calls it.
    pub const fn words(self) -> &'static str {
        match self {
            Self::SevereThunderstorm => "severe thunderstorm",
            Self::Flood => "flood",
            Self::TropicalStorm => "tropical storm",
            Self::Hurricane => "hurricane",
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum AlertLevel {
    Watch,
    Warning,
}

impl AlertLevel {
    /// How a sentence calls it.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Watch => "watch",
            Self::Warning => "warning",
        }
    }
}
