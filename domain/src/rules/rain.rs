//! No application while heavy rain falls, or when the forecast brings too much of it.

use super::{
    Answer, Case,
    weather_age::{Age, age},
};
use crate::{
    law::{
        duty::{ForecastBar, Rain},
        model::Comparator,
    },
    quantity::RainDepth,
    weather::RainForecast,
};

pub(super) fn judge(duty: &Rain, case: &Case<'_>) -> Answer {
    let now = duty.occurring.then(|| occurring(case));
    let forecast = duty.forecast.map(|bar| match bar.amount {
        Some((comparator, depth)) => forecast(bar, comparator, depth, case),
        None => heavy(bar, case),
    });
    match (now, forecast) {
        (Some(now), Some(forecast)) if rank(&forecast) < rank(&now) => now,
        (_, Some(forecast)) => forecast,
        (Some(now), None) => now,
        (None, None) => Answer::met(),
    }
}

/// The graver answer is the one that is given.
fn rank(answer: &Answer) -> u8 {
    match answer.outcome {
        crate::decision::Outcome::Met => 0,
        crate::decision::Outcome::Care => 1,
        crate::decision::Outcome::Unknown => 2,
        crate::decision::Outcome::Broken => 3,
    }
}

/// Heavy rain that falls now. A person sees that, or a service reports it.
fn occurring(case: &Case<'_>) -> Answer {
    let seen = case.facts.weather.heavy_rain;
    let known = seen.map(|rain| (rain.falls, age(rain.observed_at, case.facts.at)));
    let answer = match known {
        None | Some((_, Age::Useless)) => Answer::unseen(
            "Nobody has said whether heavy rain falls; under it nothing may go down.",
            "Look at the sky before you start, and enter what you see.",
        ),
        Some((true, _)) => {
            Answer::broken("Heavy rain falls, and under it nothing may go down.", "Wait until it has ended.")
        }
        Some((false, Age::Hours(old))) => {
            Answer::care(format!("The last look for heavy rain is {old} hours old."), "Look at the sky again.")
        }
        Some((false, Age::Fresh)) => Answer::met(),
    };
    let actual = seen.map(|rain| if rain.falls { "falls" } else { "does not fall" }.to_owned());
    answer.with("no heavy rain".to_owned(), actual, "heavy rain")
}

/// The law bars "heavy" rain and no number was read, so only a dry forecast is certain.
fn heavy(bar: ForecastBar, case: &Case<'_>) -> Answer {
    let hours = bar.hours;
    let usable = case
        .facts
        .weather
        .rain_forecast
        .iter()
        .filter(|forecast| age(forecast.issued_at, case.facts.at) != Age::Useless);
    let covering = usable.filter(|forecast| forecast.hours >= hours).max_by_key(|forecast| forecast.issued_at);
    let answer = match covering {
        None => Answer::unseen(
            format!("No forecast of rain for the next {hours} hours is known, or it is older than a day."),
            "Look at the forecast: nothing may go down before heavy rain.",
        ),
        Some(forecast) if forecast.rain_in.is_zero() => match age(forecast.issued_at, case.facts.at) {
            Age::Hours(old) => {
                Answer::care(format!("The forecast of rain is {old} hours old."), "Look at the forecast again.")
            }
            Age::Fresh | Age::Useless => Answer::met(),
        },
        Some(forecast) => Answer::care(
            format!(
                "{} in of rain is forecast within {} hours. The law bars heavy rain, and its number was not read.",
                forecast.rain_in, forecast.hours
            ),
            "Decide whether that is heavy rain, and wait if it is.",
        ),
    };
    let actual = covering.map(|forecast| forecast.rain_in.to_string());
    answer.with("not heavy".to_owned(), actual, format!("in within {hours} hours"))
}

fn forecast(bar: ForecastBar, comparator: Comparator, amount: RainDepth, case: &Case<'_>) -> Answer {
    let at = case.facts.at;
    let usable =
        || case.facts.weather.rain_forecast.iter().filter(|forecast| age(forecast.issued_at, at) != Age::Useless);
    let numbers = |answer: Answer, rain: Option<RainDepth>| {
        answer.with(amount.to_string(), rain.map(|rain| rain.to_string()), format!("in within {} hours", bar.hours))
    };
    let (than, hours) = (comparator.words(), bar.hours);
    // A forecast that gives no chance may be certain, and is taken so.
    let likely = |forecast: &RainForecast| {
        bar.chance_over.is_none_or(|over| forecast.chance_percent.is_none_or(|chance| chance > over))
    };
    // A shorter span that already brings the rain proves it for the longer one.
    let bars = |forecast: &&RainForecast| {
        forecast.hours <= hours && likely(forecast) && comparator.holds(forecast.rain_in.cmp(&amount))
    };
    if let Some(forecast) = usable().find(bars) {
        let message = format!(
            "{} in of rain is forecast within {} hours; nothing may go down before {than} {} in within {hours} hours.",
            forecast.rain_in, forecast.hours, amount
        );
        return numbers(Answer::broken(message, "Wait until the forecast is drier."), Some(forecast.rain_in));
    }
    // Only a span at least as long as the law's can show that the rain stays away.
    let covering = usable().filter(|forecast| forecast.hours >= hours).max_by_key(|forecast| forecast.issued_at);
    let Some(forecast) = covering else {
        let message = format!("No forecast of rain for the next {hours} hours is known, or it is older than a day.");
        let hint = format!("Look at the forecast: nothing may go down before {than} {amount} in within {hours} hours.");
        return numbers(Answer::unseen(message, hint), None);
    };
    let longer = likely(forecast) && comparator.holds(forecast.rain_in.cmp(&amount));
    let rain = Some(forecast.rain_in);
    match age(forecast.issued_at, at) {
        _ if longer => {
            let message = format!(
                "{} in of rain is forecast within {} hours, and how much of it falls within {hours} is not known.",
                forecast.rain_in, forecast.hours
            );
            numbers(Answer::unseen(message, format!("Look at the forecast for {hours} hours.")), rain)
        }
        Age::Hours(old) => {
            let message = format!("The forecast of rain is {old} hours old.");
            numbers(Answer::care(message, "Look at the forecast again."), rain)
        }
        Age::Fresh | Age::Useless => numbers(Answer::met(), rain),
    }
}
