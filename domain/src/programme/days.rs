//! Another day for a planned round: within which days it may be looked for, and whether a whole plan still stands.

use super::{
    candidates,
    model::{PlannedRound, SeasonQuestion},
};
use crate::{
    decision::{Verdict, decide},
    facts::PastApplication,
    law::Lawbook,
    time::Day,
};

/// The first and the last day of a planned round before any rule is asked: those of the company's round, of its step of the
/// schedule, and for lime not before the day that its split gave it.
pub fn window(question: &SeasonQuestion<'_>, round: &PlannedRound) -> Option<(Day, Day)> {
    let open = question.rounds.get(round.round)?;
    let step = round.step.and_then(|at| question.steps().get(at));
    let (from, to) = step.map_or((open.from, open.to), |step| (open.from.max(step.from), open.to.min(step.to)));
    let from = if is_lime(question, round) { from.max(round.on) } else { from };
    (from <= to).then_some((from, to))
}

fn is_lime(question: &SeasonQuestion<'_>, round: &PlannedRound) -> bool {
    question.products.get(round.product).is_some_and(|product| product.cce_percent.is_some())
}

/// Whether every round of a plan stands on its day with all the others in the book; else why the first one does not.
pub fn stands(lawbook: &Lawbook, question: &SeasonQuestion<'_>, rounds: &[PlannedRound]) -> Result<(), String> {
    let Some(first) = rounds.first() else { return Ok(()) };
    let facts = (question.facts_on)(first.on);
    let Some(area) = facts.lines.first().map(|line| line.area) else { return Ok(()) };
    let past = |round: &PlannedRound| {
        let label = &question.products.get(round.product)?.label;
        Some(PastApplication::planned(label, round.product_lb, (round.on, area), facts.purpose))
    };
    for (at, round) in rounds.iter().enumerate() {
        let others = rounds.iter().enumerate().filter(|(other, _)| *other != at);
        let as_past = |(_, other): (usize, &PlannedRound)| {
            let mut past = past(other)?;
            past.product.mass_of_this = (other.product == round.product).then_some(other.product_lb);
            Some(past)
        };
        let others: Vec<PastApplication> = others.filter_map(as_past).collect();
        let Some(product) = question.products.get(round.product) else { continue };
        let facts = candidates::facts(question, round.on, &product.label, round.product_lb, &others);
        let decision = decide(lawbook, question.rule_sets, &facts);
        if decision.verdict == Verdict::Stop {
            return Err(candidates::reason(&decision));
        }
    }
    lime_waits(question, rounds)
}

/// The day of the new soil test of a plan whose lime may have moved: the wait of the rule after the first part.
pub fn test_again_on(question: &SeasonQuestion<'_>, rounds: &[PlannedRound]) -> Option<Day> {
    let first = rounds.iter().filter(|round| is_lime(question, round)).map(|round| round.on).min()?;
    Some(first.plus_months(question.lime?.rule.months()))
}

/// Whether the parts of the lime keep their wait, and the company's days from nitrogen.
fn lime_waits(question: &SeasonQuestion<'_>, rounds: &[PlannedRound]) -> Result<(), String> {
    let Some(asked) = question.lime else { return Ok(()) };
    let mut lime: Vec<Day> = rounds.iter().filter(|round| is_lime(question, round)).map(|round| round.on).collect();
    lime.sort_unstable();
    let too_soon = lime.iter().zip(lime.iter().skip(1)).any(|(one, next)| *next < one.plus_months(asked.rule.months()));
    if too_soon || asked.not_before().is_some_and(|day| lime.first().is_some_and(|first| *first < day)) {
        return Err(format!("lime waits {} months ({})", asked.rule.months(), asked.rule.source().0));
    }
    let days = asked.days_from_nitrogen;
    let near = |on: &Day| {
        rounds.iter().any(|round| question.feeds(round.product) && round.on.days_since(*on).abs() < days)
            || question.was_fed_near(*on, days)
    };
    if days > 0 && lime.iter().any(near) {
        return Err(format!("the company keeps {days} days between lime and nitrogen"));
    }
    Ok(())
}
