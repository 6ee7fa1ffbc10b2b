//! For each round and product the day, the first open one unless a later one has more room, and the most that may go down on it.

use super::{
    cuts,
    model::{Cell, Closed, SeasonQuestion},
};
use crate::{
    decision::{Decision, Finding, Verdict, decide},
    facts::{Facts, PastApplication},
    law::Lawbook,
    product::{Label, product_for_target},
    quantity::ProductMass,
    rules::Outcome,
    time::Day,
};

/// Days between two that are tried in a round: a window that opens inside a round is found within a few days.
const STEP: i32 = 3;
/// A trial amount that no rule minds for its size.
pub(super) const TRIAL: ProductMass = ProductMass::from_raw(1);

/// The facts of one planned application with others in the book.
pub(super) fn facts(
    question: &SeasonQuestion<'_>,
    on: Day,
    label: &Label,
    product: ProductMass,
    others: &[PastApplication],
) -> Facts {
    let mut facts = (question.facts_on)(on);
    facts.label = label.clone();
    facts.lines.truncate(1);
    if let Some(line) = facts.lines.first_mut() {
        line.product = product;
        line.section.past.extend_from_slice(others);
    }
    facts
}

/// Every open cell, and the rounds that are closed to a product.
pub(super) fn cells(lawbook: &Lawbook, question: &SeasonQuestion<'_>) -> (Vec<Cell>, Vec<Closed>) {
    let (mut cells, mut closed) = (Vec::new(), Vec::new());
    for (round, planned) in question.rounds.iter().enumerate() {
        for (product, offered) in question.products.iter().enumerate() {
            let mut why = None;
            let mut on = planned.from;
            let open = loop {
                if on > planned.to {
                    break None;
                }
                let decision = decide(lawbook, question.rule_sets, &facts(question, on, &offered.label, TRIAL, &[]));
                let answer = decision.sections.first();
                let most = answer.and_then(|answer| answer.largest_lawful_product_lb);
                if decision.verdict != Verdict::Stop && most.is_none_or(|most| most > TRIAL) {
                    let most_words = answer.and_then(|answer| answer.bound_by_words.clone()).unwrap_or_default();
                    let first = Cell { round, product, on, most, most_words };
                    break Some(roomier(lawbook, question, &offered.label, planned.to, first));
                }
                why.get_or_insert_with(|| reason(&decision));
                on = if on < planned.to { on.plus_days(STEP).min(planned.to) } else { on.plus_days(1) };
            };
            match open {
                Some(cell) => cells.push(cell),
                None => closed.push(Closed {
                    round,
                    why: format!(
                        "{}: {}",
                        offered.name,
                        why.unwrap_or_else(|| "the round ends before it begins".to_owned())
                    ),
                }),
            }
        }
    }
    (cells, closed)
}

/// The same round on a later day, where the whole need would break a limit of the last 365 days on the first one and an
/// application of a year ago stops counting within the round: the first such day on which it would not, else the last.
fn roomier(lawbook: &Lawbook, question: &SeasonQuestion<'_>, label: &Label, to: Day, first: Cell) -> Cell {
    let on_first = (question.facts_on)(first.on);
    let Some(line) = on_first.lines.first() else { return first };
    let mut days: Vec<Day> = line.section.past.iter().map(|past| past.on.plus_days(365)).collect();
    days.retain(|day| *day > first.on && *day <= to);
    days.sort_unstable();
    let whole = product_for_target(label, line.area, question.need.nitrogen_lb_per_1000_sqft);
    let Some(whole) = whole.filter(|_| !days.is_empty()) else { return first };
    let too_much = |on: Day| {
        let decision = decide(lawbook, question.rule_sets, &facts(question, on, label, whole, &[]));
        let stops = |finding: &&Finding| finding.verdict == Verdict::Stop && finding.outcome == Outcome::Broken;
        decision.findings.iter().filter(stops).any(|finding| cuts::of_a_year(lawbook, &finding.rule, on))
    };
    let mut best = first;
    for on in days {
        if !too_much(best.on) {
            break;
        }
        let decision = decide(lawbook, question.rule_sets, &facts(question, on, label, TRIAL, &[]));
        let answer = decision.sections.first().filter(|_| decision.verdict != Verdict::Stop);
        let Some(answer) = answer.filter(|answer| answer.largest_lawful_product_lb.is_none_or(|most| most > TRIAL))
        else {
            continue;
        };
        best.on = on;
        best.most = answer.largest_lawful_product_lb;
        best.most_words = answer.bound_by_words.clone().unwrap_or_default();
    }
    best
}

/// The gravest finding in words.
pub(super) fn reason(decision: &Decision) -> String {
    let stops = |outcome| {
        decision.findings.iter().find(|finding| finding.verdict == Verdict::Stop && finding.outcome == outcome)
    };
    stops(Outcome::Broken).or_else(|| stops(Outcome::Unknown)).map_or_else(
        || {
            decision
                .sections
                .first()
                .and_then(|answer| answer.bound_by_words.clone())
                .unwrap_or_else(|| decision.summary.clone())
        },
        |finding| format!("{} ({})", finding.message, finding.citation),
    )
}
