//! Wind that carries product off the lawn.

use super::{
    answer::Answer,
    case::Case,
    weather_age::{Age, words, worth},
};
use crate::{product::ProductForm, quantity::WindSpeed, weather::Wind};

pub(crate) const LABEL: &str = "label.wind";
pub(crate) const PRACTICE: &str = "practice.wind";
pub(crate) const PRACTICE_CITATION: &str = "Common practice, no source read; it may only warn";

/// Spray drifts from this wind on. *Common practice.*
const LIQUID: WindSpeed = WindSpeed::from_raw(1_000);
/// A spreader's pattern is blown askew from this wind on. *Common practice.*
const GRANULAR: WindSpeed = WindSpeed::from_raw(1_500);

/// What the label says about wind. Nothing when it says nothing.
pub(crate) fn by_label(case: &Case<'_>) -> Option<Answer> {
    let limit = case.facts.label.wind_limit_mph?;
    let wind = case.facts.weather.wind.as_ref();
    let known = wind.map(|wind| (wind, worth(wind.observed_at, wind.service.as_ref(), case.facts.at)));
    let answer = match known {
        None | Some((_, Age::Useless)) => Answer::unseen(
            format!("The wind is not known, or is older than a day; the label allows the product up to {limit} mph."),
            "Measure the wind before you start.",
        ),
        Some((wind, _)) if wind.strongest() > limit => Answer::broken(
            format!("The wind is at {} mph; the label allows the product up to {limit} mph.", wind.strongest()),
            "Wait for a calmer hour.",
        ),
        Some((wind, _)) if !is_whole(wind) => {
            Answer::unseen("The forecast of the wind has a gap.", "Measure the wind before you start.")
        }
        Some((_, Age::Old(minutes))) => {
            Answer::care(format!("The wind was taken {} ago.", words(minutes)), "Measure it again.")
        }
        Some((_, Age::Fresh)) => Answer::met(),
    };
    Some(answer.with(limit.to_string(), wind.map(|wind| wind.strongest().to_string()), "mph"))
}

/// What the trade does in wind, by the form of the product. Said only of a wind that is known.
pub(crate) fn by_practice(case: &Case<'_>) -> Option<Answer> {
    let wind = case.facts.weather.wind.as_ref()?;
    if worth(wind.observed_at, wind.service.as_ref(), case.facts.at) == Age::Useless {
        return None;
    }
    let (limit, what) = match case.facts.label.form {
        ProductForm::Liquid => (LIQUID, "spray drifts"),
        ProductForm::Granular => (GRANULAR, "a spreader's pattern is blown askew"),
    };
    (wind.strongest() > limit).then(|| {
        let message = format!("The wind is at {} mph; above {limit} mph {what}.", wind.strongest());
        Answer::care(message, "Wait for a calmer hour, or leave the edges out.").with(
            limit.to_string(),
            Some(wind.strongest().to_string()),
            "mph",
        )
    })
}

fn is_whole(wind: &Wind) -> bool {
    wind.service.is_none_or(|service| service.is_whole())
}
