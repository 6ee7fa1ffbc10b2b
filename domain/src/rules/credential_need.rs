//! A certificate or licence that the law asks of whoever does the work, or of whoever looks after them.

use super::{answer::Answer, case::Case};
use crate::{
    application::Audience,
    facts::{HeldCredential, Supervision},
    law::{
        Lawbook, RuleSetAbout,
        duty::{CredentialNeed, Duty},
        model::{InForceStatus, Rule},
    },
    quantity::Area,
    text::list,
    time::Day,
};

pub(super) fn judge(rule: &Rule, duty: &CredentialNeed, case: &Case<'_>) -> Option<Answer> {
    let facts = case.facts;
    let (on, own) = (facts.on, &facts.credentials);
    let answer = if holds(own, &duty.held, on) {
        return Some(told(Answer::met(), duty, "held"));
    } else if unnamed(rule, own, on) {
        let message =
            "A certificate is valid on the day, but it is not entered whether it is one that is asked for here.";
        Answer::care(message, "The office chooses on the certificate which one rules ask for.")
    } else if holds(own, &duty.trained, on) {
        return Some(told(supervised(rule, duty, &facts.supervision, on), duty, "trained"));
    } else if under_one_unread(rule, duty, &facts.supervision, on) {
        Answer::care(
            "The supervisor's certificate is valid on the day. Whether somebody without one may work under it was not read.",
            "Ask the authority, or let somebody do it who holds the certificate.",
        )
    } else if duty.supervision_unread && facts.supervision == Supervision::Unsaid && facts.applicator_named {
        let why = why_absent(duty, own, on);
        Answer::unseen(
            format!(
                "{why} {}. Whether somebody without it may work under one who holds it was not read.",
                duty.said.words
            ),
            "Let somebody do it who holds the certificate, or ask the authority and name the supervisor who holds it.",
        )
    } else if facts.applicator_named {
        absent(duty, own, on)
    } else {
        let hint = "Let somebody do it who holds the certificate.";
        Answer::unseen(format!("Who will do this is not said. {}.", duty.said.words), hint)
    };
    // How much ground a company serves is not known from one application, unless that is enough by itself.
    let enough = duty.area().is_none_or(|from| from.is_reached_by(treated(case).max(facts.site.area)));
    if !enough && facts.audience != Audience::Professional {
        return None;
    }
    let answer = if enough { answer } else { Answer::care(answer.message, answer.hint) };
    Some(told(answer, duty, "not held"))
}

/// The rule sets over a place that ask of somebody who holds only this for a certificate on the day, as long as they work for hire
/// there; and of each, whether it stops their work whatever else is so. Where nobody read whether they may work under a supervisor
/// it asks for care as long as nobody says that there was none.
pub fn asked_by<'l>(
    law: &'l Lawbook,
    codes: &[String],
    held: &[HeldCredential],
    on: Day,
) -> Vec<(&'l RuleSetAbout, bool)> {
    let lacks = |rule: &Rule| match rule.on(on) {
        Some(InForceStatus::InForce(value, Duty::CredentialNeed(duty))) => {
            // What depends on the kind or the extent of ground is said by the decision there.
            let everywhere = rule.only_kinds.is_empty() && duty.area().is_none();
            let may_do = holds(held, &duty.held, on) || holds(held, &duty.trained, on) || unnamed(rule, held, on);
            let asks = rule.may_refuse(value) && rule.audience.contains(&Audience::Professional) && everywhere;
            (asks && !may_do).then_some(!duty.supervision_unread)
        }
        _ => None,
    };
    let over = law.over(codes).into_iter().filter_map(|used| law.rule_set(&used.code));
    over.filter_map(|set| Some((&set.about, set.rules.iter().filter_map(lacks).max()?))).collect()
}

fn told(answer: Answer, duty: &CredentialNeed, actual: &str) -> Answer {
    answer.with(list(&duty.held, Clone::clone, "or"), Some(actual.to_owned()), "certificate")
}

fn treated(case: &Case<'_>) -> Area {
    Area::from_raw(case.facts.lines.iter().map(|line| line.area.raw()).sum())
}

fn holds(held: &[HeldCredential], codes: &[String], on: Day) -> bool {
    codes.iter().any(|code| held.iter().any(|one| one.is(code, on)))
}

fn unnamed(rule: &Rule, held: &[HeldCredential], on: Day) -> bool {
    holds_unnamed(rule.id.split('.').next().unwrap_or_default(), held, on)
}

/// Whether something is valid that may be what a rule set asks for, only that nobody said so: of no place, of the set's own, or of
/// one within it, whose certificate may rest on this one.
pub fn holds_unnamed(set: &str, held: &[HeldCredential], on: Day) -> bool {
    let may_be = |one: &HeldCredential| match one.rule_set.as_deref() {
        None => one.code.is_none(),
        Some(of) if of == set => one.code.is_none(),
        Some(of) => of.strip_prefix(set).is_some_and(|within| within.starts_with('-')),
    };
    held.iter().any(|one| may_be(one) && one.is_valid_on(on))
}

/// Work under somebody who holds what is asked for, where nobody read whether that is enough.
fn under_one_unread(rule: &Rule, duty: &CredentialNeed, over: &Supervision, on: Day) -> bool {
    let may_hold = |held: &[HeldCredential]| holds(held, &duty.held, on) || unnamed(rule, held, on);
    duty.supervision_unread && matches!(over, Supervision::By(held) if may_hold(held))
}

fn supervised(rule: &Rule, duty: &CredentialNeed, over: &Supervision, on: Day) -> Answer {
    let hint = "Work under somebody who holds the certificate, and name them as the supervisor.";
    match over {
        Supervision::By(held) if holds(held, &duty.held, on) => Answer::met(),
        Supervision::By(held) if unnamed(rule, held, on) => Answer::care(
            "The supervisor's certificate is valid on the day, but it is not entered whether it is one that is asked for here.",
            "The office chooses on the certificate which one rules ask for.",
        ),
        Supervision::By(_) => {
            Answer::broken(format!("The supervisor holds no valid certificate. {}.", duty.said.words), hint)
        }
        Supervision::Nobody => {
            Answer::broken(format!("Nobody is named who supervised the work. {}.", duty.said.words), hint)
        }
        Supervision::Unsaid => {
            Answer::unseen(format!("Whoever does this needs a supervisor. {}.", duty.said.words), hint)
        }
    }
}

fn absent(duty: &CredentialNeed, own: &[HeldCredential], on: Day) -> Answer {
    let hint = "Let somebody do it who holds the certificate. The office enters certificates and renewals.";
    Answer::broken(format!("{} {}.", why_absent(duty, own, on), duty.said.words), hint)
}

fn why_absent(duty: &CredentialNeed, own: &[HeldCredential], on: Day) -> String {
    let asked = |one: &&HeldCredential| {
        one.code.as_ref().is_some_and(|code| duty.held.contains(code) || duty.trained.contains(code))
    };
    let last = own.iter().filter(asked).max_by_key(|one| one.valid_from);
    match last.map(|one| (one.valid_until.filter(|until| *until < on), one.valid_from)) {
        Some((Some(until), _)) => format!("The certificate ran out on {until}."),
        Some((None, from)) => format!("The certificate is valid only from {from} on."),
        None => "No certificate that this asks for is on file.".to_owned(),
    }
}
