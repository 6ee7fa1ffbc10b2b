//! What is asked of ground and weather also where no law names them.

use domain::{
    application::Ground,
    decision::{Decision, Finding, Verdict, wind_in_practice},
    product::{Label, ProductForm},
    weather::Weather,
};

use super::{ON_THE_DAY, Question, Sighting, book_finding};
use crate::acts::ServiceAsked;

const KNOWN: &str = "book.weather.known";
const COORDINATES: &str = "book.weather.coordinates";
const NO_COORDINATES: &str = "the property has no coordinates, so no weather service was asked";

/// Ground that lets nothing in is never go, also where no law says so: what is put on it runs off. *Common practice.*
fn sound_ground(ground: Option<Ground>, decision: &Decision) -> Option<Finding> {
    let ground = ground.filter(|ground| *ground != Ground::Dry && *ground != Ground::Moist)?;
    let told = |finding: &Finding| finding.unit.as_deref() == Some("ground") && finding.verdict > Verdict::Go;
    let message = format!("The ground is {}; what is put on it runs off with the next rain.", ground.label());
    let finding = book_finding("book.ground.sound", Verdict::Care, message, "Come back when the ground has changed.");
    let citation = "The company's own book: common practice".to_owned();
    (!decision.findings.iter().any(told)).then_some(Finding { citation, ..finding })
}

/// What the book itself says of both.
pub(super) fn found(question: &Question<'_>, label: &Label, decision: &Decision) -> impl Iterator<Item = Finding> {
    let ground = sound_ground(question.ground, decision);
    ground.into_iter().chain(known_weather(question, label, decision)).chain(known_place(question))
}

/// Whether a service was asked or would have been, and practice therefore asks for what it left out. Where nothing is known at all,
/// the book says so, once.
pub(super) fn is_asked_and_told(question: &Question<'_>) -> bool {
    question.service_asked != ServiceAsked::No && is_told(question)
}

/// Whether a service or somebody on the lawn has said anything of the weather.
fn is_told(question: &Question<'_>) -> bool {
    *question.weather != Weather::default() || question.sighting == Sighting::Told
}

/// Weather of which nothing at all is known is never go, also where neither law nor label names any. It is said once: not beside a
/// rule that asks for the wind, nor where what was sent was told to be another day's. Where no
/// service is asked, whoever tells a part of the weather, or what the sky or the wind was like, was on the lawn and felt the wind.
/// *Common practice.*
fn known_weather(question: &Question<'_>, label: &Label, decision: &Decision) -> Option<Finding> {
    let asked = |finding: &Finding| finding.unit.as_deref() == Some("mph");
    let another_day = question.beside.iter().any(|finding| finding.rule == ON_THE_DAY);
    if is_told(question) || another_day || decision.findings.iter().any(asked) {
        return None;
    }
    let (limit, what) = wind_in_practice(label.form);
    let dry = if label.form == ProductForm::Granular { ", a dry one too" } else { "" };
    let unknown = match question.sighting {
        Sighting::AnotherDay => format!("The weather of {} is not asked yet.", question.on),
        _ if question.service_asked == ServiceAsked::WithoutCoordinates => {
            format!("Nothing is known of the weather: {NO_COORDINATES}, and nobody has said what it is like.")
        }
        _ if question.service_asked == ServiceAsked::NothingKept => {
            "Nothing is known of the weather: nothing is kept of what a weather service said when the work began, and nobody has \
             said what it was like."
                .to_owned()
        }
        _ if question.service_asked == ServiceAsked::No => {
            "Nothing is known of the weather: no service was asked, and nobody has said what it is like.".to_owned()
        }
        _ => "Nothing is known of the weather: no service answered, and nobody has said what it is like.".to_owned(),
    };
    let message = format!("{unknown} It is asked for every product{dry}: above {limit} mph {what}.");
    // Whether pavement was cleaned is said of work that is done, also where a record of it is corrected.
    let hint = match question.sighting {
        Sighting::AnotherDay => "Ask again on the day, on the lawn.",
        _ if question.pavement_cleaned.is_some() => "Whoever was there adds to the record what the weather was.",
        _ => "Measure the wind and look at the sky before you start.",
    };
    let citation = "The company's own book: common practice".to_owned();
    Some(Finding { citation, ..book_finding(KNOWN, Verdict::Care, message, hint) })
}

/// Says why a service that is there gave nothing. It is said where practice or law misses what the service would have told, so it
/// makes nothing graver than it is.
fn known_place(question: &Question<'_>) -> Option<Finding> {
    let missed = question.weather.wind.is_none() || question.weather.alerts.is_none();
    let unasked = question.service_asked == ServiceAsked::WithoutCoordinates;
    let message = format!("A part of the weather is not known: {NO_COORDINATES}.");
    let hint = "The office adds the coordinates on the property's page.";
    let finding = || book_finding(COORDINATES, Verdict::Care, message, hint);
    (unasked && missed && is_told(question)).then(finding)
}

/// Whether a finding says that no service could be asked because nobody knows where the property lies.
pub fn names_missing_coordinates(finding: &Finding) -> bool {
    finding.rule == COORDINATES || finding.rule == KNOWN && finding.message.contains(NO_COORDINATES)
}
