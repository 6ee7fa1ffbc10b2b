//! For each round and product the day, the first open one unless a later one has more room, and the most that may go down on it.

use super::{
    cuts,
    frame::FrameStep,
    model::{Cell, Closed, PlanRound, SeasonQuestion},
};
use crate::{
    decision::{Decision, Finding, Verdict, decide},
    facts::{Facts, PastApplication},
    law::Lawbook,
    product::{Label, product_for_target},
    quantity::{NutrientRate, ProductMass},
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

/// The days on which a product may be thought of in a round, as the schedule has them: of each of its steps, or all of them for
/// a product without nitrogen and where there is no schedule.
fn windows(question: &SeasonQuestion<'_>, round: &PlanRound, product: usize) -> Result<Vec<Span>, Closing> {
    let Some(frame) = question.frame.filter(|_| question.feeds(product)) else {
        return Ok(vec![Span { step: None, from: round.from, to: round.to }]);
    };
    let here = |step: &FrameStep| step.from <= round.to && round.from <= step.to;
    let here: Vec<(usize, &FrameStep)> = frame.steps.iter().enumerate().filter(|(_, step)| here(step)).collect();
    let span = |(at, step): &(usize, &FrameStep)| Span {
        step: Some(*at),
        from: step.from.max(round.from),
        to: step.to.min(round.to),
    };
    let open: Vec<Span> = here.iter().filter(|(_, step)| !step.still().is_zero()).map(span).collect();
    match here.first() {
        _ if !open.is_empty() => Ok(open),
        None => Err((None, format!("{} has no step on these days ({})", frame.programme.name, frame.programme.source))),
        Some((at, step)) if step.wanted.is_zero() => Err((
            Some(*at),
            format!(
                "the step of {} is optional, and a lawn of {} care is planned without it",
                step.days(),
                frame.level.label()
            ),
        )),
        Some((at, step)) => Err((Some(*at), format!("the step of {} is put down or planned already", step.days()))),
    }
}

/// For what step a round is closed, and why.
type Closing = (Option<usize>, String);

/// Days of a round, and the step that they lie in.
#[derive(Debug, Clone, Copy)]
struct Span {
    step: Option<usize>,
    from: Day,
    to: Day,
}

/// Every open cell, and the rounds that are closed to a product.
pub(super) fn cells(lawbook: &Lawbook, question: &SeasonQuestion<'_>) -> (Vec<Cell>, Vec<Closed>) {
    let (mut cells, mut closed) = (Vec::new(), Vec::new());
    for (round, planned) in question.rounds.iter().enumerate() {
        let feeding = question.products.iter().enumerate().filter(|(_, offered)| offered.cce_percent.is_none());
        for (product, offered) in feeding {
            let close = |(step, why): Closing| Closed { round, step, why: format!("{}: {why}", offered.name) };
            let spans = match windows(question, planned, product) {
                Ok(spans) => spans,
                Err(closing) => {
                    closed.push(Closed { round, step: closing.0, why: closing.1 });
                    continue;
                }
            };
            for span in spans {
                match cell(lawbook, question, (round, product), span) {
                    Ok(cell) => cells.push(cell),
                    Err(closing) => closed.push(close(closing)),
                }
            }
        }
    }
    (cells, closed)
}

/// The first open day of a product in these days of a round.
fn cell(
    lawbook: &Lawbook,
    question: &SeasonQuestion<'_>,
    (round, product): (usize, usize),
    span: Span,
) -> Result<Cell, Closing> {
    let closed = |why: String| (span.step, why);
    let Some(label) = question.products.get(product).map(|product| &product.label) else {
        return Err(closed("it is not offered".to_owned()));
    };
    let step = span.step.and_then(|at| question.steps().get(at));
    let release = step.map(|step| (step, step.step.most_for(label)));
    if let Some((step, None)) = release {
        let source = question.frame.map_or("", |frame| frame.programme.source);
        let asked = step.step.release_words().unwrap_or_default();
        return Err(closed(format!("the step of {} asks for {asked} ({source})", step.days())));
    }
    let (mut why, mut on) = (None, span.from);
    while on <= span.to {
        let decision = decide(lawbook, question.rule_sets, &facts(question, on, label, TRIAL, &[]));
        let answer = decision.sections.first();
        let most = answer.and_then(|answer| answer.largest_lawful_product_lb);
        if decision.verdict != Verdict::Stop && most.is_none_or(|most| most > TRIAL) {
            let most_words = answer.and_then(|answer| answer.bound_by_words.clone()).unwrap_or_default();
            let first = Cell { round, product, step: span.step, on, most, most_words };
            let cell = roomier(lawbook, question, label, span.to, first);
            return Ok(released(question, label, cell));
        }
        why.get_or_insert_with(|| reason(&decision));
        on = if on < span.to { on.plus_days(STEP).min(span.to) } else { on.plus_days(1) };
    }
    Err(closed(why.unwrap_or_else(|| "the round ends before it begins".to_owned())))
}

/// Held to what its step of the schedule gives a product of its release.
fn released(question: &SeasonQuestion<'_>, label: &Label, mut cell: Cell) -> Cell {
    let Some((frame, step)) = question.frame.zip(cell.step.and_then(|at| question.steps().get(at))) else {
        return cell;
    };
    let most = step.step.most_for(label).filter(|most| *most < step.step.most());
    let area = (question.facts_on)(cell.on).lines.first().map(|line| line.area);
    let left = most.map(|most| NutrientRate::from_raw((most.raw() - step.spent.raw()).max(0)));
    let mass = left.zip(area).and_then(|(left, area)| product_for_target(label, area, left));
    if let Some(mass) = mass.filter(|mass| cell.most.is_none_or(|most| *mass < most)) {
        cell.most = Some(mass);
        let asked = step.step.release_words().unwrap_or_default();
        cell.most_words = format!("the step of {}: {asked} ({})", step.days(), frame.programme.source);
    }
    cell
}

/// The same round on a later day, where the whole need would break a limit of the last 365 days on the first one and an
/// application of a year ago stops counting within the round: the first such day on which it would not, else the last.
fn roomier(lawbook: &Lawbook, question: &SeasonQuestion<'_>, label: &Label, to: Day, first: Cell) -> Cell {
    let on_first = (question.facts_on)(first.on);
    let Some(line) = on_first.lines.first() else { return first };
    let mut days: Vec<Day> = line.section.past.iter().map(|past| past.on.plus_days(365)).collect();
    days.retain(|day| *day > first.on && *day <= to);
    days.sort_unstable();
    let asked = first.step.and_then(|at| question.steps().get(at)).map(FrameStep::still);
    let asked = asked.unwrap_or(question.need.nitrogen_lb_per_1000_sqft).min(question.need.nitrogen_lb_per_1000_sqft);
    let whole = product_for_target(label, line.area, asked);
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
