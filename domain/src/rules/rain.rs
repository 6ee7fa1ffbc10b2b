//! No application while heavy rain falls, or when the forecast brings too much of it.

use super::{
    answer::Answer,
    case::Case,
    weather_age::{Age, age, words, worth},
};
use crate::{
    law::{
        comparator::Comparator,
        duty::{ForecastBar, Rain},
    },
    quantity::RainDepth,
    time::Instant,
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
        crate::rules::answer::Outcome::Met => 0,
        crate::rules::answer::Outcome::Care => 1,
        crate::rules::answer::Outcome::Unknown => 2,
        crate::rules::answer::Outcome::Broken => 3,
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
        Some((false, Age::Old(old))) => {
            Answer::care(format!("The last look for heavy rain is {} old.", words(old)), "Look at the sky again.")
        }
        Some((false, Age::Fresh)) => Answer::met(),
    };
    let actual = seen.map(|rain| if rain.falls { "falls" } else { "does not fall" }.to_owned());
    answer.with("no heavy rain".to_owned(), actual, "heavy rain")
}

/// The law bars "heavy" rain and no number was read, so only a dry forecast is certain.
fn heavy(bar: ForecastBar, case: &Case<'_>) -> Answer {
    let hours = bar.hours;
    // Any word of rain within the span counts, whoever says it; a drier word beside it does not take it away.
    let within = usable(case).filter(|forecast| forecast.hours <= hours && !forecast.rain_in.is_zero());
    let wettest = within.max_by_key(|forecast| forecast.rain_in);
    let covering = wettest.or_else(|| latest_covering(case, hours));
    let answer = match covering {
        None => Answer::unseen(
            format!("No forecast of rain for the next {hours} hours is known, or it is older than a day."),
            "Look at the forecast: nothing may go down before heavy rain.",
        ),
        Some(forecast) if forecast.rain_in.is_zero() && !forecast.is_whole() => gap(hours),
        Some(forecast) if forecast.rain_in.is_zero() => match forecast_age(forecast, case.facts.at) {
            Age::Old(old) => {
                Answer::care(format!("The forecast of rain is {} old.", words(old)), "Look at the forecast again.")
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

fn forecast_age(forecast: &RainForecast, at: Instant) -> Age {
    worth(forecast.issued_at, forecast.service.as_ref(), at)
}

fn usable<'a>(case: &'a Case<'_>) -> impl Iterator<Item = &'a RainForecast> {
    let at = case.facts.at;
    case.facts.weather.rain_forecast.iter().filter(move |forecast| forecast_age(forecast, at) != Age::Useless)
}

/// Only a span at least as long as the law's can show that the rain stays away. One without a gap goes before one with, then
/// the latest, then the shortest, which is the nearest to what the law asks.
fn latest_covering<'a>(case: &'a Case<'_>, hours: u16) -> Option<&'a RainForecast> {
    let covering = usable(case).filter(|forecast| forecast.hours >= hours);
    covering.max_by_key(|forecast| (forecast.is_whole(), forecast.issued_at, std::cmp::Reverse(forecast.hours)))
}

fn gap(hours: u16) -> Answer {
    let message = format!("The forecast of rain for the next {hours} hours has a gap.");
    Answer::unseen(message, "Look at the forecast: what is missing may be the rain.")
}

fn forecast(bar: ForecastBar, comparator: Comparator, amount: RainDepth, case: &Case<'_>) -> Answer {
    let at = case.facts.at;
    let numbers = |answer: Answer, rain: Option<RainDepth>| {
        answer.with(amount.to_string(), rain.map(|rain| rain.to_string()), format!("in within {} hours", bar.hours))
    };
    let (than, hours) = (comparator.label(), bar.hours);
    // A forecast that gives no chance may be certain, and is taken so.
    let likely = |forecast: &RainForecast| {
        bar.chance_over.is_none_or(|over| forecast.chance_percent.is_none_or(|chance| chance > over))
    };
    let reaches = |forecast: &RainForecast, depth: RainDepth| likely(forecast) && comparator.holds(depth.cmp(&amount));
    // A shorter span that already brings the rain proves it for the longer one; so does the least of a span with gaps.
    let bars = |forecast: &&RainForecast| forecast.hours <= hours && reaches(forecast, forecast.least());
    if let Some(forecast) = usable(case).find(bars) {
        let message = format!(
            "{} in of rain is forecast within {} hours; nothing may go down before {than} {} in within {hours} hours.",
            forecast.least(),
            forecast.hours,
            amount
        );
        return numbers(Answer::broken(message, "Wait until the forecast is drier."), Some(forecast.least()));
    }
    // The service's intervals reach over the end of the span: how much falls before it is not known.
    let may_bar = |forecast: &&RainForecast| forecast.hours <= hours && reaches(forecast, forecast.rain_in);
    if let Some(forecast) = usable(case).find(may_bar) {
        let message = format!(
            "Between {} and {} in of rain is forecast within {} hours; nothing may go down before {than} {} in within {hours} hours.",
            forecast.least(),
            forecast.rain_in,
            forecast.hours,
            amount
        );
        return numbers(
            Answer::care(message, "Look at the hours of the forecast, and wait if the rain may come."),
            Some(forecast.rain_in),
        );
    }
    let Some(forecast) = latest_covering(case, hours) else {
        let message = format!("No forecast of rain for the next {hours} hours is known, or it is older than a day.");
        let hint = format!("Look at the forecast: nothing may go down before {than} {amount} in within {hours} hours.");
        return numbers(Answer::unseen(message, hint), None);
    };
    let rain = Some(forecast.rain_in);
    if reaches(forecast, forecast.rain_in) {
        let message = format!(
            "{} in of rain is forecast within {} hours, and how much of it falls within {hours} is not known.",
            forecast.rain_in, forecast.hours
        );
        return numbers(Answer::unseen(message, format!("Look at the forecast for {hours} hours.")), rain);
    }
    if !forecast.is_whole() {
        return numbers(gap(hours), rain);
    }
    match forecast_age(forecast, at) {
        Age::Old(old) => {
            let message = format!("The forecast of rain is {} old.", words(old));
            numbers(Answer::care(message, "Look at the forecast again."), rain)
        }
        Age::Fresh | Age::Useless => numbers(Answer::met(), rain),
    }
}
