//! What a service said about one place, and what of it a rule may be asked about one hour.

use jiff::SignedDuration;

use super::{
    AirTemperature, AlertName, Alerts, Basis, DoubtedReading, FromService, ModelledSoil, RainBounds, RainForecast,
    Weather, WeatherSource, Wind,
    age::OBSERVATION_MINUTES,
    alert_list::{self, AlertWord, Meaning},
    series::{Coverage, Series, Span},
    value::Billionths,
};
use crate::{quantity::Percent, time::Instant};

/// Everything that is known from one service about one place. A part that could not be had is missing.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Reported {
    pub forecast: Option<Forecast>,
    pub observation: Option<Observation>,
    pub alerts: Option<AlertList>,
    pub doubted: Option<Doubted>,
}

/// What stations near by measured and their service's own checks doubt: the hottest and the strongest of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Doubted {
    pub observed_at: Instant,
    pub temperature: Option<Billionths>,
    pub wind: Option<Billionths>,
}

/// A forecast in intervals: °C, km/h, mm, percent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Forecast {
    pub basis: Basis,
    pub fetched_at: Instant,
    pub issued_at: Option<Instant>,
    pub temperature: Series,
    pub wind: Series,
    pub gust: Series,
    pub rain: Series,
    pub chance: Series,
    /// By a model, about 0 to 10 cm deep; the public service has none.
    pub soil_temperature: Series,
    pub soil_water: Series,
}

/// What a station measured. What it left out is not known: no rain reported is not no rain.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Observation {
    pub station: String,
    pub fetched_at: Instant,
    pub observed_at: Instant,
    pub temperature: Option<Billionths>,
    pub wind: Option<Billionths>,
    pub gust: Option<Billionths>,
    pub rain_last_hour: Option<Billionths>,
}

/// Watches, warnings and statements for the point, its county and its forecast zone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AlertList {
    pub fetched_at: Instant,
    pub words: Vec<AlertWord>,
    /// Questions answered, of those that had to be asked.
    pub answered: Coverage,
}

/// Spans that laws ask about, in hours, and the shorter ones by which the office plans.
pub const RAIN_HOURS: [u16; 4] = [6, 12, 24, 48];

impl Reported {
    /// What a rule may know about an hour that begins at `from`, when it is `now`.
    pub fn weather(&self, from: Instant, now: Instant) -> Weather {
        let hour = Span::hours_from(from, 1);
        Weather {
            air_temperature: self.air(hour, now),
            rain_forecast: self.forecast.iter().flat_map(|forecast| forecast.rain(from)).collect(),
            alerts: self.alerts.as_ref().map(|list| list.in_force(from)),
            heavy_rain: None,
            wind: self.wind(hour, now),
            soil: self.forecast.as_ref().and_then(|forecast| forecast.soil(from)),
            doubted: self.doubted.filter(|seen| is_of_now(hour, now, seen.observed_at)).map(Doubted::reading),
        }
    }

    /// A station's word of now, if it is not too old for the hour.
    fn observed(&self, hour: Span, now: Instant) -> Option<&Observation> {
        self.observation.as_ref().filter(|seen| is_of_now(hour, now, seen.observed_at))
    }

    /// The hotter of what is measured now and what is forecast for the hour: work that begins at 84 °F may end at 87. A
    /// station's word of now says nothing of the hour to come, so it is whole only beside a whole forecast.
    fn air(&self, hour: Span, now: Instant) -> Option<AirTemperature> {
        let ahead = self.forecast.as_ref().map(|forecast| forecast.temperature.greatest(hour).1);
        let seen = self.observed(hour, now).and_then(|seen| {
            Some(AirTemperature {
                air_temperature_f: seen.temperature?.fahrenheit_observed(),
                source: WeatherSource::WeatherService,
                observed_at: seen.observed_at,
                service: Some(seen.service(ahead)),
            })
        });
        let expected = self.forecast.as_ref().and_then(|forecast| {
            let (greatest, coverage) = forecast.temperature.greatest(hour);
            Some(AirTemperature {
                air_temperature_f: greatest?.fahrenheit_up(),
                source: WeatherSource::WeatherService,
                observed_at: hour.start,
                service: Some(forecast.service(coverage)),
            })
        });
        match (seen, expected) {
            (Some(seen), Some(expected)) if expected.air_temperature_f > seen.air_temperature_f => Some(expected),
            (seen, expected) => seen.or(expected),
        }
    }

    /// The stronger of what is measured now and what is forecast for the hour. Gusts that nobody forecasts are not known, so
    /// the wind is as whole as the less known of both.
    fn wind(&self, hour: Span, now: Instant) -> Option<Wind> {
        let ahead = self.forecast.as_ref().map(|forecast| {
            let (wind, gust) = (forecast.wind.coverage(hour), forecast.gust.coverage(hour));
            if gust.covered < wind.covered { gust } else { wind }
        });
        let seen = self.observed(hour, now).and_then(|seen| {
            Some(Wind {
                wind_mph: seen.wind?.mph_up(),
                gust_mph: seen.gust.map(Billionths::mph_up),
                source: WeatherSource::WeatherService,
                observed_at: seen.observed_at,
                service: Some(seen.service(ahead)),
            })
        });
        let expected = self.forecast.as_ref().zip(ahead).and_then(|(forecast, coverage)| {
            Some(Wind {
                wind_mph: forecast.wind.greatest(hour).0?.mph_up(),
                gust_mph: forecast.gust.greatest(hour).0.map(Billionths::mph_up),
                source: WeatherSource::WeatherService,
                observed_at: hour.start,
                service: Some(forecast.service(coverage)),
            })
        });
        match (seen, expected) {
            (Some(seen), Some(expected)) if expected.strongest() > seen.strongest() => Some(expected),
            (seen, expected) => seen.or(expected),
        }
    }
}

/// Whether what was measured at a moment says something of an hour that begins now.
fn is_of_now(hour: Span, now: Instant, observed_at: Instant) -> bool {
    let begins_now = hour.start.since(now).abs() <= SignedDuration::from_mins(10);
    begins_now && (-10..=OBSERVATION_MINUTES).contains(&now.since(observed_at).as_mins())
}

impl Doubted {
    /// This and another station's together.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        Self {
            observed_at: self.observed_at.max(other.observed_at),
            temperature: self.temperature.max(other.temperature),
            wind: self.wind.max(other.wind),
        }
    }

    fn reading(self) -> DoubtedReading {
        DoubtedReading {
            air_temperature_f: self.temperature.map(Billionths::fahrenheit_observed),
            wind_mph: self.wind.map(Billionths::mph_up),
            observed_at: self.observed_at,
        }
    }
}

impl Observation {
    /// `ahead` is how much of the hour the forecast beside it knows.
    fn service(&self, ahead: Option<Coverage>) -> FromService {
        FromService {
            basis: Basis::Observed,
            fetched_at: self.fetched_at,
            issued_at: Some(self.observed_at),
            coverage_percent: ahead.map_or(Percent::from_raw(0), Coverage::percent),
        }
    }
}

impl Forecast {
    fn service(&self, coverage: Coverage) -> FromService {
        FromService {
            basis: self.basis,
            fetched_at: self.fetched_at,
            issued_at: self.issued_at,
            coverage_percent: coverage.percent(),
        }
    }

    /// The end of what is known of rain and heat, whichever ends first.
    pub fn ends_at(&self) -> Option<Instant> {
        self.temperature.ends_at().into_iter().chain(self.rain.ends_at()).min()
    }

    /// Rain in the spans after a moment. A span of which nothing is known is left out.
    fn rain(&self, from: Instant) -> Vec<RainForecast> {
        let span = |hours: &u16| {
            let window = Span::hours_from(from, i64::from(*hours));
            let total = self.rain.total(window);
            let (chance, known) = self.chance.greatest(window);
            (total.coverage.covered > 0).then(|| RainForecast {
                rain_in: total.upper.inches_up(),
                hours: *hours,
                // A chance that is missing for some of the span may be the greatest: then none is said, which counts as certain.
                chance_percent: chance.filter(|_| known.is_whole()).map(|share| Percent::from_raw(hundredths(share))),
                source: WeatherSource::WeatherService,
                issued_at: self.issued_at.unwrap_or(self.fetched_at),
                bounds: Some(RainBounds {
                    starts_at: from,
                    lower_in: total.lower.inches_down(),
                    best_in: total.best.inches(),
                }),
                service: Some(self.service(total.coverage)),
            })
        };
        RAIN_HOURS.iter().filter_map(span).collect()
    }

    /// The soil as the model has it, the latest value of the last three hours.
    fn soil(&self, from: Instant) -> Option<ModelledSoil> {
        let recent =
            Span { start: from.plus(SignedDuration::from_hours(-3)), end: from.plus(SignedDuration::from_secs(1)) };
        let latest = |series: &Series| {
            let mut pieces = series.pieces().iter().rev();
            pieces.find(|piece| piece.value.is_some() && piece.span.overlap(recent) > 0).copied()
        };
        let piece = latest(&self.soil_temperature)?;
        let water = latest(&self.soil_water).and_then(|piece| piece.value);
        Some(ModelledSoil {
            soil_temperature_f: piece.value?.fahrenheit_down(),
            water_percent: water.map(|share| Percent::from_raw(hundredths(share) * 100)),
            source: WeatherSource::WeatherService,
            observed_at: piece.span.start,
            service: Some(FromService { basis: Basis::Modelled, ..self.service(Coverage { covered: 1, whole: 1 }) }),
        })
    }
}

/// A percentage as it is kept elsewhere, rounded up: a chance is taken for no smaller than it is.
fn hundredths(share: Billionths) -> i64 {
    (share.raw() + 9_999_999).div_euclid(10_000_000).clamp(0, 10_000)
}

impl AlertList {
    /// What is in force at a moment, as far as the list says.
    pub fn in_force(&self, at: Instant) -> Alerts {
        let mut alerts = Alerts {
            active: Vec::new(),
            source: WeatherSource::WeatherService,
            looked_at: self.fetched_at,
            others: Vec::new(),
            service: Some(FromService {
                basis: Basis::Observed,
                fetched_at: self.fetched_at,
                issued_at: None,
                coverage_percent: self.answered.percent(),
            }),
        };
        for (word, fate) in self.words.iter().zip(alert_list::sort(&self.words, at)) {
            match fate {
                Ok(Meaning::Named(alert)) if !alerts.active.contains(&alert) => alerts.active.push(alert),
                Ok(Meaning::Care | Meaning::UnknownCare) if alerts.others.len() < 40 => {
                    let name = AlertName(word.event.chars().take(120).collect());
                    if !alerts.others.contains(&name) {
                        alerts.others.push(name);
                    }
                }
                _ => {}
            }
        }
        alerts
    }
}
