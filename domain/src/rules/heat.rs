//! No quick-release nitrogen in hot air, which burns the leaf.

use super::{
    answer::Answer,
    case::Case,
    weather_age::{Age, age, words, worth},
};
use crate::{
    law::{comparator::Comparator, duty::Heat},
    quantity::Temperature,
    text::capital,
};

/// The unit of limits of the air, which are all of heat.
pub(crate) const UNIT: &str = "°F";

pub(super) fn judge(duty: &Heat, case: &Case<'_>) -> Answer {
    let too_hot = format!(
        "{} may not go down in air of {} {} °F",
        capital(duty.nutrient.label()),
        duty.comparator.label(),
        duty.temperature
    );
    in_air(case, duty.comparator, duty.temperature, &too_hot)
}

/// Compares the air with a limit from which on work is barred.
pub(super) fn in_air(case: &Case<'_>, bars: Comparator, limit: Temperature, too_hot: &str) -> Answer {
    let known = case.facts.weather.air_temperature.map(|air| {
        let whole = air.service.is_none_or(|service| service.is_whole());
        (air.air_temperature_f, worth(air.observed_at, air.service.as_ref(), case.facts.at), whole)
    });
    let answer = match known {
        None | Some((_, Age::Useless, _)) => Answer::unseen(
            format!("The temperature of the air is not known, or is older than a day; {}.", lower(too_hot)),
            "Measure the temperature of the air before you start.",
        ),
        Some((air, ..)) if bars.holds(air.cmp(&limit)) => {
            Answer::broken(format!("The air is at {air} °F; {}.", lower(too_hot)), "Wait for a cooler hour.")
        }
        _ if doubted(case).is_some_and(|air| bars.holds(air.cmp(&limit))) => Answer::unseen(
            format!(
                "A station near by measured {} °F, which its service's own checks doubt; {}.",
                doubted(case).unwrap_or(limit),
                lower(too_hot)
            ),
            "Measure the temperature of the air before you start.",
        ),
        Some((_, _, false)) => Answer::unseen(
            format!("The forecast of the air's temperature has a gap; {}.", lower(too_hot)),
            "Measure the temperature of the air before you start.",
        ),
        Some((_, Age::Old(minutes), _)) => {
            let message = format!("The temperature of the air was taken {} ago.", words(minutes));
            Answer::care(message, "Measure it again.")
        }
        Some((_, Age::Fresh, _)) => Answer::met(),
    };
    answer.with(limit.to_string(), known.map(|(air, ..)| air.to_string()), UNIT)
}

/// A temperature that its service doubts. Where a person measured, nobody needs it.
fn doubted(case: &Case<'_>) -> Option<Temperature> {
    let weather = &case.facts.weather;
    let measured = weather.air_temperature.is_some_and(|air| air.service.is_none());
    let doubted = weather.doubted.filter(|seen| !measured && age(seen.observed_at, case.facts.at) != Age::Useless)?;
    doubted.air_temperature_f
}

/// Puts a clause behind a semicolon. A single capital letter such as N or P keeps its size.
fn lower(clause: &str) -> String {
    let mut letters = clause.chars();
    match (letters.next(), letters.clone().next()) {
        (Some(first), Some(next)) if next.is_lowercase() => first.to_lowercase().chain(letters).collect(),
        _ => clause.to_owned(),
    }
}
