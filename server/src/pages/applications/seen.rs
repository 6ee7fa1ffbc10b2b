//! What stood behind a decision, in words: what a person saw on the lawn, and what was said of the weather, each with its source.

use domain::{
    time::Instant,
    weather::{Alerts, Basis, FromService, RainForecast, Weather, WeatherSource},
};

use crate::{acts::application::ApplicationView, pages::local::Local, store::settings::DateOrder};

/// One thing that was seen or said.
#[derive(Debug)]
pub struct Observation {
    pub what: &'static str,
    pub words: String,
}

const fn said(what: &'static str, words: String) -> Observation {
    Observation { what, words }
}

/// What the person on the lawn saw and did.
pub fn of_record(a: &ApplicationView) -> Vec<Observation> {
    let swept = if a.pavement_cleaned { "✓ swept or blown back" } else { "■ not swept or blown back" };
    let mut seen = vec![
        said("Ground", a.ground.label().to_owned()),
        said("With", a.equipment.label().to_owned()),
        said("Pavement", swept.to_owned()),
    ];
    seen.extend(a.notes.iter().map(|notes| said("Notes", notes.clone())));
    seen
}

/// What was said of the weather, by whoever said it.
pub fn of_weather(weather: &Weather, local: &Local, dates: DateOrder) -> Vec<Observation> {
    let source = |who, at, service: Option<&FromService>| source(who, at, service, local, dates);
    let mut seen = Vec::new();
    if let Some(air) = &weather.air_temperature {
        let from = source(air.source, air.observed_at, air.service.as_ref());
        seen.push(said("Air", format!("{} °F, {from}", air.air_temperature_f)));
    }
    if let Some(wind) = &weather.wind {
        let gusts = wind.gust_mph.map(|gust| format!(", gusts of {gust}")).unwrap_or_default();
        let from = source(wind.source, wind.observed_at, wind.service.as_ref());
        seen.push(said("Wind", format!("{} mph{gusts}, {from}", wind.wind_mph)));
    }
    if let Some(doubted) = &weather.doubted {
        let air = doubted.air_temperature_f.map(|air| format!("{air} °F"));
        let wind = doubted.wind_mph.map(|wind| format!("a wind of {wind} mph"));
        let values: Vec<String> = air.into_iter().chain(wind).collect();
        seen.push(said("▲ Doubted by its own service", values.join(", ")));
    }
    for rain in &weather.rain_forecast {
        seen.push(said("Rain to come", rain_words(rain, &source(rain.source, rain.issued_at, rain.service.as_ref()))));
    }
    if let Some(alerts) = &weather.alerts {
        let from = source(alerts.source, alerts.looked_at, alerts.service.as_ref());
        seen.push(said("Alerts", format!("{}, {from}", alert_words(alerts))));
    }
    if let Some(rain) = &weather.heavy_rain {
        let falls = if rain.falls { "■ falls" } else { "✓ does not fall" };
        seen.push(said("Heavy rain", format!("{falls}, {}", source(rain.source, rain.observed_at, None))));
    }
    if let Some(soil) = &weather.soil {
        let water = soil.water_percent.map(|water| format!(", {water} % water")).unwrap_or_default();
        let from = source(soil.source, soil.observed_at, soil.service.as_ref());
        seen.push(said("Soil by a model", format!("{} °F{water}, {from}", soil.soil_temperature_f)));
    }
    seen
}

fn rain_words(rain: &RainForecast, from: &str) -> String {
    let best = rain.bounds.map(|bounds| format!("{} in likely, ", bounds.best_in)).unwrap_or_default();
    let most = if rain.bounds.is_some() { " at most" } else { "" };
    let chance = rain.chance_percent.map(|chance| format!(", chance {chance} %")).unwrap_or_default();
    format!("{best}{} in{most} within {} hours{chance}, {from}", rain.rain_in, rain.hours)
}

fn alert_words(alerts: &Alerts) -> String {
    let named = alerts.active.iter().map(|alert| format!("{} {}", alert.event.label(), alert.level.label()));
    let all: Vec<String> = named.chain(alerts.others.iter().map(|name| name.0.clone())).collect();
    if all.is_empty() { "none in force".to_owned() } else { format!("■ {}", all.join(", ")) }
}

/// Who said it, of which moment, and how old it was.
fn source(who: WeatherSource, at: Instant, service: Option<&FromService>, local: &Local, dates: DateOrder) -> String {
    let minute = |at| local.minute(at, dates);
    match (who, service) {
        (WeatherSource::Technician, _) => format!("seen or measured on the lawn at {}", minute(at)),
        (WeatherSource::WeatherService, None) => format!("from a weather service, of {}", minute(at)),
        (WeatherSource::WeatherService, Some(service)) => {
            let how = match service.basis {
                Basis::Observed => "measured",
                Basis::Forecast => "forecast",
                Basis::Modelled => "modelled",
            };
            let made = service.issued_at.map(|made| format!(", made at {}", minute(made))).unwrap_or_default();
            let part = service.coverage_percent;
            let part = if service.is_whole() { String::new() } else { format!(", ▲ only {part} % of it known") };
            format!(
                "{how} by a weather service of {}{made}, fetched at {}{part}",
                minute(at),
                minute(service.fetched_at)
            )
        }
    }
}
