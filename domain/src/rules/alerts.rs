//! No application under certain watches and warnings, and care under the others.

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

pub(crate) const PRACTICE: &str = "practice.alerts";

fn words(alert: Alert) -> String {
    format!("{} {}", alert.event.label(), alert.level.label())
}

pub(super) fn judge(duty: &AlertBar, case: &Case<'_>) -> Answer {
    let alerts = case.facts.weather.alerts.as_ref();
    let known = alerts.map(|alerts| (alerts, look_age(alerts, case.facts.at)));
    let answer = match known {
        None | Some((_, Age::Useless)) => not_looked(case),
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
            quiet(alerts, age, case)
        }
    };
    let seen = if known.is_some() { "none of them" } else { "not looked at" };
    numbers(answer, seen.to_owned())
}

/// Nothing that bars is in force, as far as is known.
fn quiet(alerts: &Alerts, age: Age, case: &Case<'_>) -> Answer {
    if let Some(answer) = partial(alerts, case) {
        return answer;
    }
    if !alerts.others.is_empty() {
        let message = format!("Also in force: {}.", list(&alerts.others, |name| name.0.clone(), "and"));
        return Answer::care(message, READ_IT);
    }
    outdated(age, case).unwrap_or_else(Answer::met)
}

const LOOK_AGAIN: &str = "Look again for watches and warnings for the county.";
const ASK_AFTERWARDS: &str = "Ask whoever was there whether any was in force; the record stays as it was saved.";
const READ_IT: &str = "Read it, and decide whether the work can wait.";

/// What one can do: look before the work, or ask afterwards, when nobody can look any more.
fn hint(case: &Case<'_>, before: &'static str) -> &'static str {
    if case.facts.are_of_done_work() { ASK_AFTERWARDS } else { before }
}

/// A list that may leave something out.
fn partial(alerts: &Alerts, case: &Case<'_>) -> Option<Answer> {
    let message =
        "The weather service did not answer whole and freshly for the point, the county and the forecast zone alike.";
    alerts.service.is_some_and(|service| !service.is_whole()).then(|| Answer::unseen(message, hint(case, LOOK_AGAIN)))
}

fn outdated(age: Age, case: &Case<'_>) -> Option<Answer> {
    let Age::Old(minutes) = age else { return None };
    let message = format!("The last look for weather watches and warnings is {} old.", age_words(minutes));
    Some(Answer::care(message, hint(case, LOOK_AGAIN)))
}

/// What the trade does under watches and warnings that no rule of the law names, and where nobody knows whether there are any.
/// Where a rule on alerts speaks, it says the rest. *Common practice.*
pub(crate) fn by_practice(case: &Case<'_>) -> Option<Answer> {
    let told = !case.alert_bars.is_empty();
    let unnamed = |alert: &&Alert| !case.alert_bars.iter().any(|bar| bar.alerts.contains(alert));
    let alerts = case.facts.weather.alerts.as_ref();
    // Hours that lie ahead are judged by what is known from time to time, so the list is as fresh as a forecast; of now the services
    // are asked, and a list that is not of now is then a part that is missing.
    let known = alerts.map(|alerts| (alerts, worth(alerts.looked_at, alerts.service.as_ref(), case.facts.at)));
    let mut names: Vec<String> = Vec::new();
    if let Some((alerts, Age::Fresh | Age::Old(_))) = known {
        names.extend(alerts.active.iter().filter(unnamed).map(|alert| words(*alert)));
        names.extend(alerts.others.iter().filter(|_| !told).map(|name| name.0.clone()));
    }
    let seen = if names.is_empty() { "none".to_owned() } else { list(&names, String::clone, "and") };
    let answer = match known {
        Some(_) if !names.is_empty() => Answer::care(format!("In force: {seen}."), READ_IT),
        _ if told => return None,
        None if !case.facts.service_asked => return None,
        None | Some((_, Age::Useless)) => return Some(numbers(not_looked(case), "not looked at".to_owned())),
        Some((alerts, age)) => partial(alerts, case).or_else(|| outdated(age, case))?,
    };
    Some(numbers(answer, seen))
}

fn not_looked(case: &Case<'_>) -> Answer {
    let message = if case.facts.are_of_done_work() {
        "Whether weather watches and warnings were in force when the work began is not known."
    } else {
        "Nobody has looked for weather watches and warnings within the last day."
    };
    Answer::unseen(message, hint(case, "Look for watches and warnings for the county."))
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
