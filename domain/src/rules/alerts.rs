//! No application under certain watches and warnings.

use super::{
    Answer, Case,
    weather_age::{Age, age},
};
use crate::{
    law::{duty::AlertBar, list},
    weather::Alert,
};

fn words(alert: Alert) -> String {
    format!("{} {}", alert.event.words(), alert.level.words())
}

pub(super) fn judge(duty: &AlertBar, case: &Case<'_>) -> Answer {
    let alerts = case.facts.weather.alerts.as_ref();
    let known = alerts.map(|alerts| (alerts, age(alerts.looked_at, case.facts.at)));
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
            match age {
                Age::Hours(old) => {
                    let message = format!("The last look for weather watches and warnings is {old} hours old.");
                    Answer::care(message, "Look again for watches and warnings for the county.")
                }
                Age::Fresh | Age::Useless => Answer::met(),
            }
        }
    };
    let seen = if known.is_some() { "none of them" } else { "not looked at" };
    numbers(answer, seen.to_owned())
}

fn numbers(answer: Answer, actual: String) -> Answer {
    answer.with("none in force".to_owned(), Some(actual), "watches and warnings")
}
