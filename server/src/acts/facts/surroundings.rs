//! What is asked of ground and weather also where no law names them.

use domain::{
    application::Ground,
    decision::{Decision, Finding, Verdict, wind_in_practice},
    product::{Label, ProductForm},
    weather::Weather,
};

use super::{ON_THE_DAY, Question, book_finding};

/// Ground that lets nothing in is never go, also where no law says so: what is put on it runs off. *Common practice.*
pub(super) fn sound_ground(ground: Option<Ground>, decision: &Decision) -> Option<Finding> {
    let ground = ground.filter(|ground| *ground != Ground::Dry && *ground != Ground::Moist)?;
    let told = |finding: &Finding| finding.unit.as_deref() == Some("ground") && finding.verdict > Verdict::Go;
    let message = format!("The ground is {}; what is put on it runs off with the next rain.", ground.label());
    let finding = book_finding("book.ground.sound", Verdict::Care, message, "Come back when the ground has changed.");
    let citation = "The company's own book: common practice".to_owned();
    (!decision.findings.iter().any(told)).then_some(Finding { citation, ..finding })
}

/// Weather of which nothing at all is known is never go, also where neither law nor label names any. It is said once: not beside a
/// rule that asks for the wind, nor where what was sent was told to be another day's. Whoever tells a part of the weather was on
/// the lawn and felt the wind. *Common practice.*
pub(super) fn known_weather(question: &Question<'_>, label: &Label, decision: &Decision) -> Option<Finding> {
    let asked = |finding: &Finding| finding.unit.as_deref() == Some("mph");
    let another_day = question.beside.iter().any(|finding| finding.rule == ON_THE_DAY);
    if *question.weather != Weather::default() || another_day || decision.findings.iter().any(asked) {
        return None;
    }
    let (limit, what) = wind_in_practice(label.form);
    let dry = if label.form == ProductForm::Granular { ", a dry one too" } else { "" };
    let message = format!(
        "Nothing is known of the weather: no service answered, and nobody has said what it is like. It is asked for every product{dry}: above {limit} mph {what}."
    );
    let hint = match question.work {
        None => "Measure the wind and look at the sky before you start.",
        Some(_) => "Whoever was there adds to the record what the weather was.",
    };
    let citation = "The company's own book: common practice".to_owned();
    Some(Finding { citation, ..book_finding("book.weather.known", Verdict::Care, message, hint) })
}
