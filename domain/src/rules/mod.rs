//! One rule kind a file; each a pure function from facts to an answer.

mod alerts;
mod amount;
mod cap_application;
mod cap_year;
mod count_year;
mod ground;
mod growing_season;
mod heat;
mod hold_after_seeding;
mod interval;
pub(crate) mod label;
mod phosphorus_need;
mod rain;
mod release;
mod setback;
mod slow_share;
mod soil_report_before;
mod surface;
mod weather_age;
pub(crate) mod wind;
mod window;

pub(crate) use phosphorus_need::is_young;

use std::borrow::Cow;

use crate::{
    decision::Outcome,
    facts::{Facts, LineFacts, SectionFacts},
    law::{
        duty::{Duty, Proof, Window},
        model::{Kind, Rule, Scope},
    },
    quantity::{NutrientRoom, ProductMass},
    time::Day,
};

/// The facts of one decision, with the lines gathered by section, so that two lines on one section see each other.
#[derive(Debug)]
pub(crate) struct Case<'a> {
    pub(crate) facts: &'a Facts,
    pub(crate) sections: Vec<SectionCase<'a>>,
    /// Every season that may refuse this application, to find the first open day.
    pub(crate) windows: Vec<&'a Window>,
}

#[derive(Debug)]
pub(crate) struct SectionCase<'a> {
    pub(crate) section: &'a SectionFacts,
    pub(crate) lines: Vec<&'a LineFacts>,
}

/// What one rule answers, before its mark decides what that is worth.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Answer {
    pub(crate) outcome: Outcome,
    /// The fact was only not looked at yet; care is enough.
    pub(crate) to_be_seen: bool,
    pub(crate) message: String,
    pub(crate) hint: String,
    pub(crate) limit: Option<String>,
    pub(crate) actual: Option<String>,
    pub(crate) unit: Option<Cow<'static, str>>,
}

impl Answer {
    fn new(outcome: Outcome, message: String, hint: impl Into<String>) -> Self {
        let hint = hint.into();
        Self { outcome, to_be_seen: false, message, hint, limit: None, actual: None, unit: None }
    }

    /// The law itself is not known.
    pub(crate) fn law_unknown(message: String, hint: &str) -> Self {
        Self::unknown(message, hint)
    }

    /// Law that is known to be missing.
    pub(crate) fn law_care(message: String, hint: String) -> Self {
        Self::care(message, hint)
    }

    fn met() -> Self {
        Self::new(Outcome::Met, String::new(), String::new())
    }

    fn broken(message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::new(Outcome::Broken, message.into(), hint)
    }

    fn care(message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::new(Outcome::Care, message.into(), hint)
    }

    fn unknown(message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self::new(Outcome::Unknown, message.into(), hint)
    }

    /// Not known because nobody has looked yet, which a look can mend before the work begins.
    fn unseen(message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { to_be_seen: true, ..Self::unknown(message, hint) }
    }

    fn with(mut self, limit: String, actual: Option<String>, unit: impl Into<Cow<'static, str>>) -> Self {
        (self.limit, self.actual, self.unit) = (Some(limit), actual, Some(unit.into()));
        self
    }
}

impl<'a> Case<'a> {
    pub(crate) fn new(facts: &'a Facts) -> Self {
        let mut sections: Vec<SectionCase<'a>> = Vec::with_capacity(facts.lines.len());
        for line in &facts.lines {
            match sections.iter_mut().find(|known| known.section.id == line.section.id) {
                Some(known) => known.lines.push(line),
                None => sections.push(SectionCase { section: &line.section, lines: vec![line] }),
            }
        }
        Self { facts, sections, windows: Vec::new() }
    }
}

impl SectionCase<'_> {
    /// `the front lawn`; a name that begins with a capital or a figure stands by itself.
    pub(crate) fn name(&self) -> String {
        let name = &self.section.name;
        if name.starts_with(|first: char| first.is_lowercase()) { format!("the {name}") } else { name.clone() }
    }
}

/// What a duty says of the whole application: the product, the weather, the ground, the season.
pub(crate) fn of_application(rule: &Rule, duty: &Duty, case: &Case<'_>) -> Option<Answer> {
    match duty {
        Duty::Ground(duty) => Some(ground::judge(duty, case)),
        Duty::Rain(duty) => Some(rain::judge(duty, case)),
        Duty::Alerts(duty) => Some(alerts::judge(duty, case)),
        Duty::Heat(duty) => Some(heat::judge(duty, case)),
        Duty::SlowShare(duty) => Some(slow_share::judge(duty, case)),
        Duty::Window(duty) => window::judge_season(duty, rule.unless_credential.as_deref(), case),
        _ => None,
    }
}

/// Whether a rule is on the weather of the hour, so that another hour can mend it.
pub(crate) const fn is_on_weather(kind: Kind) -> bool {
    matches!(kind, Kind::Rain | Kind::Alerts | Kind::Heat)
}

/// What a duty says of one section.
pub(crate) fn of_section(rule: &Rule, duty: &Duty, case: &Case<'_>, section: &SectionCase<'_>) -> Option<Answer> {
    match duty {
        Duty::CapApplication(duty) => Some(cap_application::judge(duty, case, section)),
        Duty::CapYear(duty) => Some(cap_year::judge(duty, &rule.scope, case, section)),
        Duty::Window(duty) => window::judge_caps(duty, case, section),
        Duty::PhosphorusNeed(duty) => Some(phosphorus_need::judge(duty, case, section)),
        Duty::SoilReportBefore(duty) => soil_report_before::judge(duty, case, section),
        Duty::Setback(duty) => Some(setback::judge(duty, case, section)),
        Duty::HoldAfterSeeding(duty) => Some(hold_after_seeding::judge(duty, case, section)),
        Duty::Surface(_) => surface::judge(case, section),
        Duty::Release(duty) => Some(release::judge(duty, case, section)),
        Duty::Interval(duty) => Some(interval::judge(*duty, case, section)),
        Duty::CountYear(duty) => Some(count_year::judge(*duty, case, section)),
        Duty::Ground(_) | Duty::Rain(_) | Duty::Alerts(_) | Duty::Heat(_) | Duty::SlowShare(_) | Duty::Told(_) => None,
    }
}

/// What a duty that binds the label says of it. Only what stands on a label is asked: shares, and the rates of its largest
/// amount.
pub(crate) fn of_label(rule: &Rule, duty: &Duty, case: &Case<'_>, section: &SectionCase<'_>) -> Option<Answer> {
    let label = &case.facts.label;
    match duty {
        Duty::SlowShare(duty) => Some(slow_share::judge(duty, case)),
        Duty::CapApplication(_) | Duty::CapYear(_) | Duty::Release(_) => {
            if label.product_limit_lb_per_1000_sqft.is_none() {
                let message = "The label states no largest amount in one application, so its rates cannot be compared.";
                return Some(Answer::care(message, "Enter the largest amount of product that the label allows."));
            }
            of_section(rule, duty, case, section)
        }
        Duty::PhosphorusNeed(need) if need.soil_report == Proof::Never => {
            Some(phosphorus_need::judge(need, case, section))
        }
        Duty::PhosphorusNeed(need) => {
            let message = format!(
                "The product holds {} % P2O5; its label must say that it is for soil that a test shows to need it, or for new or repaired turf.",
                label.phosphate_percent
            );
            let answer = Answer::care(message, "Read the directions on the label.");
            Some(answer.with(need.threshold.to_string(), Some(label.phosphate_percent.to_string()), "% P2O5"))
        }
        _ => None,
    }
}

/// Whether a duty is on amounts, so that less of the product can mend it.
pub(crate) const fn sets_amount(duty: &Duty) -> bool {
    matches!(
        duty,
        Duty::CapApplication(_) | Duty::CapYear(_) | Duty::Window(_) | Duty::PhosphorusNeed(_) | Duty::Release(_)
    )
}

/// The largest mass of the product on a line that a duty on amounts lets through, with the other lines as they are;
/// nothing when it sets no amount.
pub(crate) fn largest(
    rule: &Rule,
    duty: &Duty,
    case: &Case<'_>,
    section: &SectionCase<'_>,
    line: &LineFacts,
) -> Option<ProductMass> {
    match duty {
        Duty::CapApplication(duty) => cap_application::largest(duty, case, section, line),
        Duty::CapYear(duty) => cap_year::largest(duty, &rule.scope, case, section, line),
        Duty::Window(duty) => window::largest(duty, case, section, line),
        Duty::PhosphorusNeed(duty) => phosphorus_need::largest(duty, case, section, line),
        Duty::Release(duty) => release::largest(duty, case, section, line),
        _ => None,
    }
}

/// Nitrogen left under a yearly cap, before and after the load.
pub(crate) fn nitrogen_room(
    scope: &Scope,
    duty: &Duty,
    case: &Case<'_>,
    section: &SectionCase<'_>,
) -> Option<(NutrientRoom, NutrientRoom)> {
    match duty {
        Duty::CapYear(duty) => cap_year::nitrogen_room(duty, scope, case, section),
        _ => None,
    }
}

/// The first day after the one asked about on which neither the season that is reported nor one that may refuse closes the
/// product. Another season that only warns moves no day.
fn first_open_day(reported: &Window, case: &Case<'_>) -> Option<Day> {
    let closed = |day: Day| {
        let mut seasons = case.windows.iter().copied().chain([reported]);
        seasons.any(|season| season.holds_on(day) && window::closed_for(season, case))
    };
    (1..=366).map(|days| case.facts.on.plus_days(days)).find(|day| !closed(*day))
}

/// Begins a sentence.
fn capital(sentence: &str) -> String {
    let mut letters = sentence.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// `1st`, `2nd`, `3rd`, `4th`, as it is read out.
fn ordinal(number: usize) -> String {
    let ending = match (number % 10, number % 100) {
        (_, 11..=13) => "th",
        (1, _) => "st",
        (2, _) => "nd",
        (3, _) => "rd",
        _ => "th",
    };
    format!("{number}{ending}")
}

#[cfg(test)]
mod tests {
    use super::ordinal;

    #[test]
    fn numbers_are_read_out_in_order() {
        let told = [1, 2, 3, 4, 11, 12, 13, 21, 102, 111].map(ordinal);
        assert_eq!(told, ["1st", "2nd", "3rd", "4th", "11th", "12th", "13th", "21st", "102nd", "111th"]);
    }
}
