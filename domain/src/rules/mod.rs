//! One rule kind a file; each a pure function from facts to an answer.

pub(crate) mod alerts;
mod amount;
mod answer;
mod cap_application;
mod cap_year;
mod case;
mod count_year;
mod credential_need;
mod ground;
mod growing_season;
pub(crate) mod heat;
mod hold_after_seeding;
mod interval;
pub(crate) mod label;
pub(crate) mod pesticide;
mod phosphorus_need;
mod plan_need;
mod rain;
mod release;
mod setback;
mod slow_share;
mod soil_report_before;
mod surface;
mod weather_age;
pub(crate) mod wind;
mod window;

pub(crate) use answer::Answer;
pub use answer::Outcome;
pub(crate) use case::{Case, SectionCase};
pub use credential_need::{asked_by, holds_unnamed};

use crate::{
    facts::LineFacts,
    law::{
        duty::{Duty, Proof},
        kind::RuleKind,
        model::Rule,
        scope::Scope,
    },
    quantity::{NutrientRoom, ProductMass},
};

/// What a duty says of the whole application: the product, the weather, the ground, the season.
pub(crate) fn of_application(rule: &Rule, duty: &Duty, case: &Case<'_>) -> Option<Answer> {
    match duty {
        Duty::Ground(duty) => Some(ground::judge(duty, case)),
        Duty::Rain(duty) => Some(rain::judge(duty, case)),
        Duty::Alerts(duty) => Some(alerts::judge(duty, case)),
        Duty::Heat(duty) => Some(heat::judge(duty, case)),
        Duty::SlowShare(duty) => Some(slow_share::judge(duty, case)),
        Duty::Window(duty) => window::judge_season(duty, rule.unless_credential.as_deref(), case),
        Duty::PlanNeed(duty) => plan_need::judge(duty, case),
        Duty::CredentialNeed(duty) => credential_need::judge(rule, duty, case),
        _ => None,
    }
}

/// Whether a rule is on the weather of the hour, so that another hour can mend it.
pub(crate) const fn is_on_weather(kind: RuleKind) -> bool {
    matches!(kind, RuleKind::Rain | RuleKind::Alerts | RuleKind::Heat)
}

/// What a duty says of one section: of its pieces of ground the strictest answer holds.
pub(crate) fn of_section(rule: &Rule, duty: &Duty, case: &Case<'_>, section: &SectionCase<'_>) -> Option<Answer> {
    strictest(
        section,
        |ground| on_ground(rule, duty, case, ground),
        |ground, line| largest_on_ground(rule, duty, case, ground, line),
    )
}

/// The strictest of the answers on a section's pieces of ground, and of those that are as strict the one that leaves least.
fn strictest(
    section: &SectionCase<'_>,
    answer: impl Fn(&SectionCase<'_>) -> Option<Answer>,
    largest: impl Fn(&SectionCase<'_>, &LineFacts) -> Option<ProductMass>,
) -> Option<Answer> {
    if let [ground] = section.grounds() {
        return answer(ground);
    }
    let least = |ground: &SectionCase<'_>, answer: &Answer| {
        let nothing = if answer.outcome == Outcome::Met { i64::MAX } else { i64::MIN };
        ground.lines.iter().map(|line| largest(ground, line).map_or(nothing, ProductMass::raw)).min()
    };
    let answers = section.grounds().iter().filter_map(|ground| {
        let answer = answer(ground)?;
        Some(OnGround { severity: answer.severity(), least: least(ground, &answer), answer })
    });
    answers.reduce(|known, next| if next.is_stricter(&known) { next } else { known }).map(|strictest| strictest.answer)
}

/// An answer on one piece of ground.
struct OnGround {
    severity: u8,
    /// What may go down there at most.
    least: Option<i64>,
    answer: Answer,
}

impl OnGround {
    /// Days that a hint names sort as they are written, so of two waits the longer one is the stricter.
    fn is_stricter(&self, other: &Self) -> bool {
        let key = |one: &Self| (one.severity, std::cmp::Reverse(one.least));
        (key(self), &self.answer.hint) > (key(other), &other.answer.hint)
    }
}

/// What a duty says of one piece of ground.
fn on_ground(rule: &Rule, duty: &Duty, case: &Case<'_>, section: &SectionCase<'_>) -> Option<Answer> {
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
        Duty::Ground(_)
        | Duty::Rain(_)
        | Duty::Alerts(_)
        | Duty::Heat(_)
        | Duty::SlowShare(_)
        | Duty::PlanNeed(_)
        | Duty::CredentialNeed(_)
        | Duty::Disclosure(_) => None,
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
        Duty::PhosphorusNeed(need) if need.excuses.iter().any(|excuse| excuse.is_about_product(label)) => {
            Some(Answer::met().with(need.threshold.to_string(), Some(label.phosphate_percent.to_string()), "% P2O5"))
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
/// nothing when it sets no amount. The piece of its ground on which least may go down decides, and so does one on which the duty
/// refuses whatever the amount.
pub(crate) fn largest(
    rule: &Rule,
    duty: &Duty,
    case: &Case<'_>,
    section: &SectionCase<'_>,
    line: &LineFacts,
) -> Option<ProductMass> {
    if let [ground] = section.grounds() {
        return largest_on_ground(rule, duty, case, ground, line);
    }
    let mut least = None;
    for ground in section.grounds().iter().filter(|ground| ground.holds(line)) {
        match largest_on_ground(rule, duty, case, ground, line) {
            Some(mass) => least = Some(least.map_or(mass, |least: ProductMass| least.min(mass))),
            None if on_ground(rule, duty, case, ground).is_some_and(|answer| answer.severity() > 0) => return None,
            None => {}
        }
    }
    least
}

fn largest_on_ground(
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

/// Which of the years that a yearly cap is held against leaves less; nothing for other duties, and when all leave the same.
pub(crate) fn stricter_year(scope: &Scope, duty: &Duty, case: &Case<'_>, section: &SectionCase<'_>) -> Option<String> {
    let Duty::CapYear(duty) = duty else { return None };
    let least = |ground: &&SectionCase<'_>| {
        let lines = ground.lines.iter();
        lines.filter_map(|line| cap_year::largest(duty, scope, case, ground, line)).min().map(ProductMass::raw)
    };
    let ground = section.grounds().iter().min_by_key(|ground| least(ground).unwrap_or(i64::MAX))?;
    cap_year::stricter_year(duty, scope, case, ground)
}

/// Nitrogen left under a yearly cap, before and after the load.
pub(crate) fn nitrogen_room(
    scope: &Scope,
    duty: &Duty,
    case: &Case<'_>,
    section: &SectionCase<'_>,
) -> Option<(NutrientRoom, NutrientRoom)> {
    let Duty::CapYear(duty) = duty else { return None };
    let rooms = section.grounds().iter().filter_map(|ground| cap_year::nitrogen_room(duty, scope, case, ground));
    rooms.reduce(|(before, after), (b, a)| (before.min(b), after.min(a)))
}
