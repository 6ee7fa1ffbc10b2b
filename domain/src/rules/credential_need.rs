//! A certificate or licence that the law asks of whoever does the work, or of whoever looks after them.

use super::{answer::Answer, case::Case};
use crate::{
    application::Audience,
    facts::{HeldCredential, Supervision},
    law::{duty::CredentialNeed, model::Rule},
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
        let message = "A certificate of this place is valid on the day, but the book does not say which one it is.";
        Answer::care(message, "The office chooses on the certificate which one rules ask for.")
    } else if holds(own, &duty.trained, on) {
        return Some(told(supervised(duty, &facts.supervision, on), duty, "trained"));
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

fn told(answer: Answer, duty: &CredentialNeed, actual: &str) -> Answer {
    answer.with(list(&duty.held, Clone::clone, "or"), Some(actual.to_owned()), "certificate")
}

fn treated(case: &Case<'_>) -> Area {
    Area::from_raw(case.facts.lines.iter().map(|line| line.area.raw()).sum())
}

fn holds(held: &[HeldCredential], codes: &[String], on: Day) -> bool {
    codes.iter().any(|code| held.iter().any(|one| one.is(code, on)))
}

/// Whether something of the rule's own place is valid of which nobody said what it is.
fn unnamed(rule: &Rule, held: &[HeldCredential], on: Day) -> bool {
    let set = rule.id.split('.').next();
    held.iter().any(|one| one.code.is_none() && one.rule_set.as_deref() == set && one.is_valid_on(on))
}

fn supervised(duty: &CredentialNeed, over: &Supervision, on: Day) -> Answer {
    let hint = "Work under somebody who holds the certificate, and name them as the supervisor.";
    match over {
        Supervision::By(held) if holds(held, &duty.held, on) => Answer::met(),
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
    let asked = |one: &&HeldCredential| {
        one.code.as_ref().is_some_and(|code| duty.held.contains(code) || duty.trained.contains(code))
    };
    let last = own.iter().filter(asked).max_by_key(|one| one.valid_from);
    let why = match last.map(|one| (one.valid_until.filter(|until| *until < on), one.valid_from)) {
        Some((Some(until), _)) => format!("The certificate ran out on {until}."),
        Some((None, from)) => format!("The certificate is valid only from {from} on."),
        None => "No certificate that this asks for is in the book.".to_owned(),
    };
    let hint = "Let somebody do it who holds the certificate. The office enters certificates and renewals.";
    Answer::broken(format!("{why} {}.", duty.said.words), hint)
}
