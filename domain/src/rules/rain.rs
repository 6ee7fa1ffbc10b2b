//! No application when the forecast brings too much rain in the hours to come.

use super::{
    Answer, Case,
    weather_age::{Age, age},
};
use crate::{law::duty::Rain, quantity::RainDepth, weather::RainForecast};

pub(super) fn judge(duty: &Rain, case: &Case<'_>) -> Answer {
    let at = case.facts.at;
    let usable =
        || case.facts.weather.rain_forecast.iter().filter(|forecast| age(forecast.issued_at, at) != Age::Useless);
    let numbers = |answer: Answer, rain: Option<RainDepth>| {
        answer.with(
            duty.amount.to_string(),
            rain.map(|rain| rain.to_string()),
            format!("in within {} hours", duty.hours),
        )
    };
    let (than, hours) = (duty.comparator.words(), duty.hours);
    // A shorter span that already brings the rain proves it for the longer one.
    let bars =
        |forecast: &&RainForecast| forecast.hours <= hours && duty.comparator.holds(forecast.rain_in.cmp(&duty.amount));
    if let Some(forecast) = usable().find(bars) {
        let message = format!(
            "{} in of rain is forecast within {} hours; nothing may go down before {than} {} in within {hours} hours.",
            forecast.rain_in, forecast.hours, duty.amount
        );
        return numbers(Answer::broken(message, "Wait until the forecast is drier."), Some(forecast.rain_in));
    }
    // Only a span at least as long as the law's can show that the rain stays away.
    let covering = usable().filter(|forecast| forecast.hours >= hours).max_by_key(|forecast| forecast.issued_at);
    let Some(forecast) = covering else {
        let message = format!("No forecast of rain for the next {hours} hours is known, or it is older than a day.");
        let hint =
            format!("Look at the forecast: nothing may go down before {than} {} in within {hours} hours.", duty.amount);
        return numbers(Answer::unseen(message, hint), None);
    };
    let longer = duty.comparator.holds(forecast.rain_in.cmp(&duty.amount));
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
