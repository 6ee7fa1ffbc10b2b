//! One hour in figures, for whoever looks at the hours of a day. The rules are asked with [`Weather`]; these are the figures beside
//! their answer.

use serde::{Deserialize, Serialize};

use super::{Weather, reported::Reported, series::Span};
use crate::{
    quantity::{RainDepth, Temperature, WindSpeed},
    time::{Instant, reckoned::ComputedInstant},
};

/// What is known of the weather of an hour. What is not known is null, and never nothing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct HourWeather {
    #[schema(value_type = ComputedInstant)]
    pub starts_at: Instant,
    #[schema(value_type = ComputedInstant)]
    pub ends_at: Instant,
    /// The greatest of the hour, as the rules take it.
    pub air_temperature_f: Option<Temperature>,
    pub wind_mph: Option<WindSpeed>,
    pub gust_mph: Option<WindSpeed>,
    /// What falls in the hour, by its share of what is forecast; of several services the most. Known only for a whole hour.
    pub rain_in: Option<RainDepth>,
}

impl HourWeather {
    /// An hour by what services said, when it is `now`.
    pub fn of(reported: &[&Reported], hour: Span, now: Instant) -> Self {
        let weather =
            reported.iter().fold(Weather::default(), |known, one| known.joined(&one.weather(hour.start, now)));
        let forecasts = reported.iter().filter_map(|one| one.forecast.as_ref());
        let rain = forecasts.map(|forecast| forecast.rain.total(hour)).filter(|total| total.coverage.is_whole());
        Self {
            starts_at: hour.start,
            ends_at: hour.end,
            air_temperature_f: weather.air_temperature.map(|air| air.air_temperature_f),
            wind_mph: weather.wind.map(|wind| wind.wind_mph),
            gust_mph: weather.wind.and_then(|wind| wind.gust_mph),
            rain_in: rain.map(|total| total.best.inches()).max(),
        }
    }
}
