//! Wind that carries product off the lawn.

use super::{
    answer::Answer,
    case::Case,
    weather_age::{Age, age, words, worth},
};
use crate::{product::ProductForm, quantity::WindSpeed, weather::Wind};

pub(crate) const LABEL: &str = "label.wind";
pub(crate) const PRACTICE: &str = "practice.wind";
pub(crate) const PRACTICE_CITATION: &str = "Common practice, no source read; it may only warn";

/// Spray drifts from this wind on. *Common practice.*
const LIQUID: WindSpeed = WindSpeed::from_raw(1_000);
/// A spreader's pattern is blown askew from this wind on. *Common practice.*
const GRANULAR: WindSpeed = WindSpeed::from_raw(1_500);

/// The wind above which the trade does not put down a product of this form, and why. *Common practice.*
pub const fn practice(form: ProductForm) -> (WindSpeed, &'static str) {
    match form {
        ProductForm::Liquid => (LIQUID, "spray drifts"),
        ProductForm::Granular => (GRANULAR, "a spreader's pattern is blown askew"),
    }
}

/// What the label says about wind. Nothing when it says nothing.
pub(crate) fn by_label(case: &Case<'_>) -> Option<Answer> {
    let limit = case.facts.label.wind_limit_mph?;
    let wind = case.facts.weather.wind.as_ref();
    let known = wind.map(|wind| (wind, worth(wind.observed_at, wind.service.as_ref(), case.facts.at)));
    let answer = match known {
        None | Some((_, Age::Useless)) => Answer::unseen(
            format!("The wind is not known, or is older than a day; the label allows the product up to {limit} mph."),
            measure_it(case),
        ),
        Some((wind, _)) if wind.strongest() > limit => Answer::broken(
            format!("The wind is at {} mph; the label allows the product up to {limit} mph.", wind.strongest()),
            "Wait for a calmer hour.",
        ),
        Some(_) if doubted(case).is_some_and(|wind| wind > limit) => Answer::unseen(
            format!(
                "A station near by measured a wind of {} mph, which its service's own checks doubt; the label allows up to {limit} mph.",
                doubted(case).unwrap_or(limit)
            ),
            measure_it(case),
        ),
        Some((wind, _)) if !is_whole(wind) => Answer::unseen("The forecast of the wind has a gap.", measure_it(case)),
        Some((_, Age::Old(minutes))) => {
            Answer::care(format!("The wind was taken {} ago.", words(minutes)), "Measure it again.")
        }
        Some((_, Age::Fresh)) => Answer::met(),
    };
    Some(answer.with(limit.to_string(), wind.map(|wind| wind.strongest().to_string()), "mph"))
}

/// What the trade does in wind, by the form of the product. Where a service was asked for the wind, what it left out is not known,
/// whatever else came of it; where none is asked, somebody on the lawn who leaves the wind out feels it.
pub(crate) fn by_practice(case: &Case<'_>) -> Option<Answer> {
    let (limit, what) = practice(case.facts.label.form);
    let wind = case.facts.weather.wind.as_ref();
    let known = wind.map(|wind| (wind, worth(wind.observed_at, wind.service.as_ref(), case.facts.at)));
    let measure = |why: String| Answer::unseen(format!("{why}; above {limit} mph {what}."), measure_it(case));
    let answer = match known {
        Some((wind, Age::Fresh | Age::Old(_))) if wind.strongest() > limit => Answer::care(
            format!("The wind is at {} mph; above {limit} mph {what}.", wind.strongest()),
            "Wait for a calmer hour, or leave the edges out.",
        ),
        // Where the label has a limit, its own rule says that the wind is not known.
        _ if case.facts.label.wind_limit_mph.is_some() => measure(doubt(doubted(case).filter(|wind| *wind > limit)?)),
        Some((_, Age::Useless)) => measure("The wind that is known is older than a day, or of a later time".to_owned()),
        None if case.facts.service_asked => measure("The wind is not known".to_owned()),
        None => return None,
        Some((wind, _)) if !is_whole(wind) => measure("The forecast of wind or gusts has a gap".to_owned()),
        Some((_, Age::Old(minutes))) => measure(format!("The wind was taken {} ago", words(minutes))),
        Some((_, Age::Fresh)) => measure(doubt(doubted(case).filter(|wind| *wind > limit)?)),
    };
    Some(answer.with(limit.to_string(), wind.map(|wind| wind.strongest().to_string()), "mph"))
}

fn doubt(wind: WindSpeed) -> String {
    format!("A station near by measured a wind of {wind} mph, which its service's own checks doubt")
}

/// What one can do: measure before the work, or add what is still known of it afterwards.
fn measure_it(case: &Case<'_>) -> &'static str {
    if case.facts.are_of_done_work() {
        "Ask whoever was there, and add to the record what wind and sky were like."
    } else {
        "Measure the wind before you start."
    }
}

fn is_whole(wind: &Wind) -> bool {
    wind.service.is_none_or(|service| service.is_whole())
}

/// A wind that its service doubts. Where a person measured, nobody needs it.
fn doubted(case: &Case<'_>) -> Option<WindSpeed> {
    let weather = &case.facts.weather;
    let measured = weather.wind.is_some_and(|wind| wind.service.is_none());
    let doubted = weather.doubted.filter(|seen| !measured && age(seen.observed_at, case.facts.at) != Age::Useless)?;
    doubted.wind_mph
}
