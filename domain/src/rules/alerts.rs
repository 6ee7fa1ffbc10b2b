//! No application under certain watches and warnings.

use super::{
    answer::Answer,
    case::Case,
    weather_age::{Age, words as age_words, worth},
};
use crate::{
    law::duty::AlertBar,
    text::list,
    time::Instant,
    weather::{Alert, Alerts, age::ALERTS_MINUTES},
};

fn words(alert: Alert) -> String {
    format!("{} {}", alert.event.label(), alert.level.label())
}

pub(super) fn judge(duty: &AlertBar, case: &Case<'_>) -> Answer {
    let alerts = case.facts.weather.alerts.as_ref();
    let known = alerts.map(|alerts| (alerts, look_age(alerts, case.facts.at)));
    let answer = match known {
        None | Some((_, Age::Useless)) => {
            let message = "Nobody has looked for weather watches and warnings within the last day.";
            Answer::unseen(message.to_owned(), "Look for watches and warnings for the county.")
        }
        Some((alerts, age)) => {
            let active: Vec<Alert> =
                alerts.active.iter().copied().filter(|alert| duty.alerts.contains(alert)).collect();
            if !active.is_empty() {
                let message =
                    format!("In force: {}; under it nothing may go down.", list(&active, |alert| words(*alert), "and"));
                return numbers(
                    Answer::broken(message, "Wait until it has ended."),
                    list(&active, |alert| words(*alert), "and"),
                );
            }
            quiet(alerts, age)
        }
    };
    let seen = if known.is_some() { "none of them" } else { "not looked at" };
    numbers(answer, seen.to_owned())
}

/// Nothing that bars is in force, as far as is known.
fn quiet(alerts: &Alerts, age: Age) -> Answer {
    let look = "Look again for watches and warnings for the county.";
    if alerts.service.is_some_and(|service| !service.is_whole()) {
        let message = "The weather service did not answer whole and freshly for the point, the county and the forecast zone alike.";
        return Answer::unseen(message, look);
    }
    if !alerts.others.is_empty() {
        let message = format!("Also in force: {}.", list(&alerts.others, |name| name.0.clone(), "and"));
        return Answer::care(message, "Read it, and decide whether the work can wait.");
    }
    match age {
        Age::Old(minutes) => {
            let message = format!("The last look for weather watches and warnings is {} old.", age_words(minutes));
            Answer::care(message, look)
        }
        Age::Fresh | Age::Useless => Answer::met(),
    }
}

/// A service's list is asked for every few minutes; one of half an hour ago may have missed a warning.
fn look_age(alerts: &Alerts, at: Instant) -> Age {
    match worth(alerts.looked_at, alerts.service.as_ref(), at) {
        Age::Fresh if alerts.service.is_some() && at.since(alerts.looked_at).as_mins() > ALERTS_MINUTES => {
            Age::Old(at.since(alerts.looked_at).as_mins())
        }
        age => age,
    }
}

fn numbers(answer: Answer, actual: String) -> Answer {
    answer.with("none in force".to_owned(), Some(actual), "watches and warnings")
}
