//! A need that cannot be met: what stands against it.
#![expect(clippy::float_arithmetic, reason = "compares two proposals of the solver; what is missing is summed exactly")]

use std::collections::BTreeMap;

use super::{
    frame::{PlannedStep, StepOutcome},
    model::{Closed, UnmetNeed},
    planner::Planner,
    solve::{self, Group, Proposal},
};
use crate::{
    product::{Nutrients, arithmetic::GradeNutrient},
    quantity::{NutrientRate, rate_rounded_down},
};

/// Less than this much missing, in millionths of a pound on 1,000 sq ft, is rounding.
const ROUNDING: i64 = 2_000;
/// How much nearer to the need a proposal must come to count, in pounds on 1,000 sq ft.
const NEARER: f64 = 0.001;

/// Every nutrient of which less is planned than needed, and why. Nitrogen that follows a schedule is missing where its steps are.
pub(super) fn unmet(
    planner: &Planner<'_>,
    delivers: &Nutrients,
    closed: &[Closed],
    steps: &[PlannedStep],
    proposal: Option<&Proposal>,
) -> Vec<UnmetNeed> {
    let need = &planner.question.need;
    let needs = [
        (need.nitrogen_lb_per_1000_sqft, delivers.nitrogen_lb.raw()),
        (need.phosphate_lb_per_1000_sqft, delivers.phosphate_lb.raw()),
        (need.potash_lb_per_1000_sqft, delivers.potash_lb.raw()),
    ];
    let mut unmet = Vec::new();
    for (at, (nutrient, (needed, load))) in GradeNutrient::ALL.into_iter().zip(needs).enumerate() {
        let missing = needed.raw() - rate_rounded_down(load, planner.area).raw();
        if missing > ROUNDING {
            let conflicts_with = if nutrient == GradeNutrient::Nitrogen && !steps.is_empty() {
                of_steps(planner, steps)
            } else {
                of_nutrient(planner, nutrient, at, closed, proposal)
            };
            let missing_lb_per_1000_sqft = NutrientRate::from_raw(missing);
            unmet.push(UnmetNeed { nutrient, missing_lb_per_1000_sqft, conflicts_with });
        }
    }
    unmet
}

/// What stands against the steps of the schedule that are not planned whole.
fn of_steps(planner: &Planner<'_>, steps: &[PlannedStep]) -> Vec<String> {
    let mut named = Vec::new();
    for (step, of) in steps.iter().zip(planner.question.steps()) {
        if matches!(step.outcome, StepOutcome::InPart | StepOutcome::LeftOut) {
            named.extend(step.why.iter().map(|why| format!("the step of {}: {why}", of.days())));
        }
    }
    named.push(format!("the need of {}", GradeNutrient::Nitrogen.label()));
    distinct(named)
}

fn of_nutrient(
    planner: &Planner<'_>,
    nutrient: GradeNutrient,
    at: usize,
    closed: &[Closed],
    proposal: Option<&Proposal>,
) -> Vec<String> {
    let brings = planner.question.products.iter().any(|product| nutrient.percent(&product.label).raw() > 0);
    if !brings {
        return vec![format!("no product offered brings {}", nutrient.label())];
    }
    let mut named = against(planner, at, proposal);
    named.extend(closed.iter().map(|closed| closed_words(planner, closed)));
    named.push(format!("the need of {}", nutrient.label()));
    distinct(named)
}

/// A round that is closed, in words.
pub(super) fn closed_words(planner: &Planner<'_>, closed: &Closed) -> String {
    let round = planner.question.rounds.get(closed.round).map_or("", |round| round.name.as_str());
    format!("round {round} is closed: {}", closed.why)
}

/// The groups that, giving way alone, would let more be met of one thing that a proposal is short of; where none does, those
/// that would together.
pub(super) fn against(planner: &Planner<'_>, of: usize, proposal: Option<&Proposal>) -> Vec<String> {
    let question = planner.question;
    let groups = groups(planner);
    let without =
        |same: &[Group]| solve::solve(question, planner.area, &planner.cells, &planner.cuts, same, solve::NEAR);
    // Without a proposal, what the solver finds with every group in force; that is the whole need where no round is open.
    let now = proposal.cloned().or_else(|| without(&[])).map(|proposal| proposal.short);
    let now = now.unwrap_or_else(|| solve::weights(question).iter().map(|_| solve::MOST).collect());
    let short = now.get(of).copied().unwrap_or(solve::MOST) - NEARER;
    let goal = solve::Goal { of, short, in_all: solve::in_all(question, &now) };
    let helps = |same: &[Group]| solve::reaches(question, planner.area, &planner.cells, &planner.cuts, same, goal);
    let alone = groups.iter().filter(|(_, same)| helps(same));
    let mut named: Vec<String> = alone.map(|(words, _)| words.clone()).collect();
    if named.is_empty() {
        let every: Vec<Group> = groups.values().flatten().copied().collect();
        // What the best of all proposals keeps to anyway is not what stands against it.
        if let Some(best) = without(&every).filter(|best| best.short.get(of).is_some_and(|short| *short <= goal.short))
        {
            let broken = |group: &Group| {
                solve::is_broken(question, planner.area, &planner.cells, &planner.cuts, *group, &best.amounts)
            };
            let standing = groups.iter().filter(|(_, same)| same.iter().any(broken)).map(|(words, _)| words).collect();
            named.extend(together(&groups, standing, helps));
        }
    }
    named
}

/// Each once, and no more than an answer holds.
pub(super) fn distinct(named: Vec<String>) -> Vec<String> {
    let mut unique = Vec::new();
    for words in named {
        let words = crate::text::truncate_chars(&words, 600);
        if !unique.contains(&words) && unique.len() < 200 {
            unique.push(words);
        }
    }
    unique
}

/// Most groups of which the few that matter are sought; of more all are named.
const FEW: usize = 40;

/// Of groups that help when they give way together, those without which they would not.
fn together(
    groups: &BTreeMap<String, Vec<Group>>,
    names: Vec<&String>,
    helps: impl Fn(&[Group]) -> bool,
) -> Vec<String> {
    let all = |names: &[&String]| -> Vec<Group> {
        names.iter().filter_map(|name| groups.get(*name)).flatten().copied().collect()
    };
    let mut kept = names.clone();
    if kept.len() <= FEW {
        for name in names {
            let without: Vec<&String> = kept.iter().copied().filter(|other| *other != name).collect();
            if helps(&all(&without)) {
                kept = without;
            }
        }
    }
    kept.into_iter().cloned().collect()
}

/// What could give way, together with all that says the same: one rule binds several rounds.
fn groups(planner: &Planner<'_>) -> BTreeMap<String, Vec<Group>> {
    let question = planner.question;
    let mut groups: BTreeMap<String, Vec<Group>> = BTreeMap::new();
    let mut add = |group, words: String| groups.entry(words).or_default().push(group);
    for (at, cell) in planner.cells.iter().enumerate().filter(|(_, cell)| cell.most.is_some()) {
        add(Group::Amount(at), cell.most_words.clone());
    }
    for (at, cut) in planner.cuts.iter().enumerate() {
        add(Group::Cut(at), cut.words.clone());
    }
    for (at, product) in question.products.iter().enumerate().filter(|(_, product)| !product.may_buy) {
        add(
            Group::Stock(at),
            format!("{} lb of {} are on hand and no more may be bought", product.on_hand_lb, product.name),
        );
    }
    for (at, round) in question.rounds.iter().enumerate() {
        if let Some(limit) = round.nitrogen_at_most_lb_per_1000_sqft {
            add(Group::Own(at), format!("the company's own limit of {limit} lb N in round {}", round.name));
        }
    }
    let need = question.need.phosphate_lb_per_1000_sqft;
    add(Group::Phosphate, format!("no more than {need} lb P2O5 is needed"));
    if let Some(frame) = question.frame {
        let programme = frame.programme;
        add(
            Group::Schedule,
            format!("no more nitrogen than the steps of {} give ({})", programme.name, programme.source),
        );
    }
    add(Group::Least, format!("less than {} lb of product is not worth a pass", question.least_product));
    groups
}
