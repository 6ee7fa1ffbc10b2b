//! How each step of the schedule fares in a plan, and what stands against what is missing of it.

use super::{
    conflict::{self, closed_words, distinct},
    frame::{Frame, FrameStep, PlannedStep, StepOutcome},
    model::{Closed, PlannedRound},
    planner::Planner,
    solve::Proposal,
};
use crate::quantity::{NutrientRate, rate_rounded_down};

/// Less than this much missing, in millionths of a pound on 1,000 sq ft, is rounding.
const ROUNDING: i64 = 2_000;
/// Nutrients that stand before the steps among what a proposal is short of.
const NUTRIENTS: usize = 3;
/// Most reasons that a step is told.
const REASONS: usize = 20;

/// Every step with what is planned in it; nothing where the plan follows no schedule.
pub(super) fn steps(
    planner: &Planner<'_>,
    rounds: &[PlannedRound],
    closed: &[Closed],
    proposal: Option<&Proposal>,
) -> Vec<PlannedStep> {
    let Some(frame) = planner.question.frame else { return Vec::new() };
    let in_all: i64 = rounds.iter().map(|round| round.delivers.nitrogen_lb.raw()).sum();
    // What lay outside of the steps counts too, so that the year's need may be met before every step is.
    let needed = planner.question.need.nitrogen_lb_per_1000_sqft.raw();
    let rest = needed - rate_rounded_down(in_all, planner.area).raw();
    let met = |step: &FrameStep| rest <= ROUNDING || (step.step.optional && rest < step.least_still().raw());
    let mut steps = Vec::new();
    for (at, step) in frame.steps.iter().enumerate() {
        let load = rounds.iter().filter(|round| round.step == Some(at)).map(|round| round.delivers.nitrogen_lb.raw());
        let fed = rate_rounded_down(load.sum(), planner.area);
        let outcome = outcome(frame, step, fed);
        let why = match outcome {
            StepOutcome::InPart | StepOutcome::LeftOut if met(step) => vec![format!(
                "of the year's need {} lb N was left after what is down already, and it goes to steps that matter more",
                planner.question.need.nitrogen_lb_per_1000_sqft
            )],
            StepOutcome::InPart | StepOutcome::LeftOut => reasons(planner, at, step, closed, proposal),
            StepOutcome::NotAtThisLevel => {
                vec![format!("it is optional, and a lawn of {} care is planned without it", frame.level.label())]
            }
            StepOutcome::Planned | StepOutcome::Done | StepOutcome::Over => Vec::new(),
        };
        steps.push(PlannedStep {
            from: step.from,
            to: step.to,
            optional: step.step.optional,
            wanted_lb_per_1000_sqft: step.wanted,
            spent_lb_per_1000_sqft: step.spent,
            planned_lb_per_1000_sqft: fed,
            release: step.step.release_words(),
            outcome,
            why,
        });
    }
    steps
}

fn outcome(frame: &Frame, step: &FrameStep, fed: NutrientRate) -> StepOutcome {
    let missing = step.still().raw() - fed.raw();
    if !fed.is_zero() {
        return if missing > ROUNDING { StepOutcome::InPart } else { StepOutcome::Planned };
    }
    if step.wanted.is_zero() {
        StepOutcome::NotAtThisLevel
    } else if missing <= ROUNDING {
        StepOutcome::Done
    } else if step.to < frame.first {
        StepOutcome::Over
    } else {
        StepOutcome::LeftOut
    }
}

/// What stands against a step: rules of an open round, else why no round is open in it.
fn reasons(
    planner: &Planner<'_>,
    at: usize,
    step: &FrameStep,
    closed: &[Closed],
    proposal: Option<&Proposal>,
) -> Vec<String> {
    let open = planner.cells.iter().any(|cell| cell.step == Some(at));
    let mut named = if open { conflict::against(planner, NUTRIENTS + at, proposal) } else { Vec::new() };
    let here = closed.iter().filter(|closed| closed.step == Some(at));
    named.extend(here.map(|closed| closed_words(planner, closed)));
    if !open && named.is_empty() {
        named.push(format!("no round of the program that is still open lies between {} and {}", step.from, step.to));
    }
    let mut named = distinct(named);
    named.truncate(REASONS);
    named
}
