//! The optimisation: amounts of product in rounds, in pounds on 1,000 sq ft, as a mixed-integer program.
//!
//! Its floats are a proposal. What is planned is rounded down from them and then held against the rules exactly.
#![expect(
    clippy::float_arithmetic,
    reason = "the solver works in floats; nothing of it is summed or compared with a limit"
)]

use good_lp::{
    Expression, ProblemVariables, Solution as _, SolverModel as _, Variable, WithMipGap as _, WithTimeLimit as _,
    constraint, microlp, variable,
};

use super::{
    cuts::Cut,
    float::{TOLERANCE, float, per_1000, share},
    model::{Cell, PlanGoal, SeasonQuestion},
};
use crate::{product::arithmetic::GradeNutrient, quantity::Area};

/// Something that could give way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Group {
    /// The rules' limit on one cell's amount.
    Amount(usize),
    /// One cut.
    Cut(usize),
    /// The stock of one product.
    Stock(usize),
    /// The company's own limit on nitrogen in one round.
    Own(usize),
    /// No more phosphate than is needed.
    Phosphate,
    /// The least amount that is worth a pass.
    Least,
    /// No more than the schedule's steps give, each in one application.
    Schedule,
}

/// What the solver proposes: pounds on 1,000 sq ft by cell, and what is still needed of N, P2O5 and K2O and of nitrogen in each
/// step of the schedule.
#[derive(Debug, Clone)]
pub(super) struct Proposal {
    pub amounts: Vec<f64>,
    pub short: Vec<f64>,
}

/// Cost in dollars that a missing pound on 1,000 sq ft counts as: more than any product that could bring it.
const MISSING: [f64; 3] = [100_000.0, 10_000.0, 10_000.0];
/// Where a schedule has its steps, these count, and the sum of nitrogen is only kept tight.
const SUM: f64 = 1.0;
/// What the least important optional step counts; each that matters more counts twice as much as the one below it.
const OPTIONAL: f64 = 5_000.0;
/// How much more a step counts that is not optional: all optional ones together are not worth a little of it.
const REQUIRED: f64 = 32.0;

/// What a missing pound of each nutrient counts, and of each step of the schedule.
pub(super) fn weights(question: &SeasonQuestion<'_>) -> Vec<f64> {
    let steps = question.steps();
    let mut weights = MISSING.to_vec();
    if let Some(nitrogen) = weights.first_mut().filter(|_| !steps.is_empty()) {
        *nitrogen = SUM;
    }
    weights.extend(steps.iter().map(|step| {
        let below = i32::try_from(steps.len().saturating_sub(step.rank + 1)).unwrap_or(0);
        OPTIONAL * 2_f64.powi(below) * if step.step.optional { 1.0 } else { REQUIRED }
    }));
    weights
}
/// Cost that a further product counts as when few are wanted.
const PRODUCT: f64 = 1_000.0;
/// Seconds that one proposal may take: a section's own program needs thousandths of one, and whoever asks does not wait for
/// the perfect answer to a contrived one. What has been found by then is taken.
const PATIENCE: f64 = 2.0;
/// The best proposal, proven.
pub(super) const MIP_GAP_NONE: f32 = 0.0;
/// Near enough to see whether more of a need is met: a part in ten thousand of what missing pounds count, so that the solver
/// does not go on weighing prices against each other.
pub(super) const NEAR: f32 = 1e-4;
/// More product than any lawn takes, in pounds on 1,000 sq ft.
pub(super) const MOST: f64 = 1_000.0;

struct Columns {
    amount: Vec<Variable>,
    used: Vec<Variable>,
}

/// What a proposal is to reach: less missing of one nutrient or step than so much, and no more in all, as missing pounds count.
#[derive(Debug, Clone, Copy)]
pub(super) struct Goal {
    /// Its place among what a proposal is short of.
    pub of: usize,
    pub short: f64,
    pub in_all: f64,
}

/// What all missing pounds count.
pub(super) fn in_all(question: &SeasonQuestion<'_>, short: &[f64]) -> f64 {
    // A hundred-thousandth of a pound of nitrogen is granted to the solver's rounding.
    short.iter().zip(weights(question)).map(|(short, weight)| short * weight).sum::<f64>() + 1.0
}

/// Whether a goal can be reached with some groups given way. Prices are not weighed: the first proposal that reaches it is
/// enough, which is found much sooner than the best.
pub(super) fn reaches(
    question: &SeasonQuestion<'_>,
    area: Area,
    cells: &[Cell],
    cuts: &[Cut],
    without: &[Group],
    goal: Goal,
) -> bool {
    solve_for(question, area, cells, cuts, without, MIP_GAP_NONE, Some(goal)).is_some()
}

/// Solves it, with some groups given way, to the best or as near to it as is asked. Nothing when the solver finds no answer.
pub(super) fn solve(
    question: &SeasonQuestion<'_>,
    area: Area,
    cells: &[Cell],
    cuts: &[Cut],
    without: &[Group],
    near: f32,
) -> Option<Proposal> {
    solve_for(question, area, cells, cuts, without, near, None)
}

fn solve_for(
    question: &SeasonQuestion<'_>,
    area: Area,
    cells: &[Cell],
    cuts: &[Cut],
    without: &[Group],
    near: f32,
    goal: Option<Goal>,
) -> Option<Proposal> {
    let free = |group: Group| without.contains(&group);
    let mut variables = ProblemVariables::new();
    let most: Vec<f64> = cells
        .iter()
        .enumerate()
        .map(|(at, cell)| {
            cell.most.filter(|_| !free(Group::Amount(at))).map_or(MOST, |most| per_1000(most, area).min(MOST))
        })
        .collect();
    let columns = Columns {
        amount: most.iter().map(|most| variables.add(variable().min(0.0).max(*most))).collect(),
        used: cells.iter().map(|_| variables.add(variable().binary())).collect(),
    };
    let weights = weights(question);
    let short: Vec<Variable> = weights.iter().map(|_| variables.add(variable().min(0.0))).collect();
    let taken: Vec<Variable> = question.products.iter().map(|_| variables.add(variable().binary())).collect();
    let mut cost: Expression = short.iter().zip(&weights).map(|(short, weight)| *short * *weight).sum();
    for (cell, amount) in cells.iter().zip(&columns.amount) {
        let Some(product) = question.products.get(cell.product) else { continue };
        // On a large lawn as on a small one the price of a pound counts alike; a hair against equal prices.
        cost += *amount * (float(product.bag_price_usd) / float(product.bag_lb).max(1e-6) + 1e-4);
    }
    if question.aim == PlanGoal::FewestProducts {
        cost += taken.iter().map(|taken| *taken * PRODUCT).sum::<Expression>();
    }
    if goal.is_some() {
        cost = Expression::from(0.0);
    }
    let mut model = variables.minimise(cost).using(microlp).with_time_limit(PATIENCE).with_mip_gap(near).ok()?;
    for constraint in of_cells(question, cells, &columns, &most, &taken, free(Group::Least)) {
        model = model.with(constraint);
    }
    for constraint in of_need(question, cells, &columns, &short, &free) {
        model = model.with(constraint);
    }
    for constraint in of_steps(question, cells, &columns, &short, free(Group::Schedule)) {
        model = model.with(constraint);
    }
    for (at, product) in question.products.iter().enumerate() {
        if !product.may_buy && !free(Group::Stock(at)) {
            let used = sum(cells, &columns.amount, |cell| if cell.product == at { 1.0 } else { 0.0 });
            model = model.with(constraint!(used <= per_1000(product.on_hand_lb, area)));
        }
    }
    for (_, cut) in cuts.iter().enumerate().filter(|(at, _)| !free(Group::Cut(*at))) {
        model = model.with(cut.constraint(&columns.amount, &columns.used));
    }
    if let Some(goal) = goal {
        let all: Expression = short.iter().zip(&weights).map(|(short, weight)| *short * *weight).sum();
        model = model.with(constraint!(all <= goal.in_all));
        let one = *short.get(goal.of)?;
        model = model.with(constraint!(one <= goal.short));
    }
    let solution = model.solve().ok()?;
    let value = |column: &Variable| solution.value(*column);
    let short = short.iter().map(value).collect::<Vec<f64>>();
    let amounts = columns
        .amount
        .iter()
        .zip(&columns.used)
        .map(|(amount, used)| if value(used) > 0.5 { value(amount) } else { 0.0 })
        .collect();
    Some(Proposal { amounts, short })
}

/// Whether a proposal needs this to give way.
pub(super) fn is_broken(
    question: &SeasonQuestion<'_>,
    area: Area,
    cells: &[Cell],
    cuts: &[Cut],
    group: Group,
    amounts: &[f64],
) -> bool {
    let beyond = |left: f64, most: f64| left > most + TOLERANCE;
    let total = |weight: &dyn Fn(&Cell) -> f64| {
        cells.iter().zip(amounts).map(|(cell, amount)| weight(cell) * amount).sum::<f64>()
    };
    let brings = |cell: &Cell, nutrient: GradeNutrient| {
        question.products.get(cell.product).map_or(0.0, |product| share(nutrient.percent(&product.label)))
    };
    match group {
        Group::Amount(at) => cells
            .get(at)
            .zip(amounts.get(at))
            .is_some_and(|(cell, amount)| cell.most.is_some_and(|most| beyond(*amount, per_1000(most, area)))),
        Group::Cut(at) => cuts.get(at).is_some_and(|cut| cut.is_broken_by(amounts)),
        Group::Stock(at) => question.products.get(at).is_some_and(|product| {
            beyond(total(&|cell| if cell.product == at { 1.0 } else { 0.0 }), per_1000(product.on_hand_lb, area))
        }),
        Group::Own(round) => {
            let limit = question.rounds.get(round).and_then(|planned| planned.nitrogen_at_most_lb_per_1000_sqft);
            let nitrogen = |cell: &Cell| if cell.round == round { brings(cell, GradeNutrient::Nitrogen) } else { 0.0 };
            limit.is_some_and(|limit| beyond(total(&nitrogen), float(limit)))
        }
        Group::Phosphate => {
            let phosphate = |cell: &Cell| brings(cell, GradeNutrient::Phosphate);
            beyond(total(&phosphate), float(question.need.phosphate_lb_per_1000_sqft))
        }
        Group::Schedule => question.steps().iter().enumerate().any(|(at, step)| {
            let here = |cell: &Cell| cell.step == Some(at);
            let nitrogen = |cell: &Cell| if here(cell) { brings(cell, GradeNutrient::Nitrogen) } else { 0.0 };
            let used = cells.iter().zip(amounts).filter(|(cell, amount)| here(cell) && **amount > 0.0).count();
            beyond(total(&nitrogen), float(step.still())) || used > 1
        }),
        Group::Least => amounts.iter().any(|amount| *amount > 0.0 && beyond(float(question.least_product), *amount)),
    }
}

fn sum(cells: &[Cell], columns: &[Variable], weight: impl Fn(&Cell) -> f64) -> Expression {
    cells.iter().zip(columns).map(|(cell, column)| *column * weight(cell)).sum()
}

/// A used cell has at least the least amount, an unused one nothing; a round takes one product with nitrogen and one without.
fn of_cells(
    question: &SeasonQuestion<'_>,
    cells: &[Cell],
    columns: &Columns,
    most: &[f64],
    taken: &[Variable],
    no_least: bool,
) -> Vec<good_lp::Constraint> {
    let least = if no_least { 0.0 } else { float(question.least_product) };
    let mut constraints = Vec::new();
    for (((cell, amount), used), most) in cells.iter().zip(&columns.amount).zip(&columns.used).zip(most) {
        constraints.push(constraint!(*amount <= *used * *most));
        constraints.push(constraint!(*amount >= *used * least));
        if let Some(taken) = taken.get(cell.product) {
            constraints.push(constraint!(*used <= *taken));
        }
    }
    for (round, feeds) in (0..question.rounds.len()).flat_map(|round| [(round, true), (round, false)]) {
        let here = |cell: &Cell| cell.round == round && question.feeds(cell.product) == feeds;
        if cells.iter().filter(|cell| here(cell)).count() > 1 {
            let used = sum(cells, &columns.used, |cell| if here(cell) { 1.0 } else { 0.0 });
            constraints.push(constraint!(used <= 1.0));
        }
    }
    constraints
}

/// Each step of the schedule is one application, brings no more than it still asks for, and an optional one no less than the
/// source prints: for a little of it nobody makes a pass.
fn of_steps(
    question: &SeasonQuestion<'_>,
    cells: &[Cell],
    columns: &Columns,
    short: &[Variable],
    no_limit: bool,
) -> Vec<good_lp::Constraint> {
    let nitrogen =
        |cell: &Cell| question.products.get(cell.product).map_or(0.0, |product| share(product.label.nitrogen_percent));
    let mut constraints = Vec::new();
    for ((at, step), short) in question.steps().iter().enumerate().zip(short.iter().skip(MISSING.len())) {
        let here = |cell: &Cell| cell.step == Some(at);
        let brought = || sum(cells, &columns.amount, |cell| if here(cell) { nitrogen(cell) } else { 0.0 });
        constraints.push(constraint!(brought() + *short >= float(step.still())));
        if !no_limit {
            constraints.push(constraint!(brought() <= float(step.still())));
            let used = sum(cells, &columns.used, |cell| if here(cell) { 1.0 } else { 0.0 });
            constraints.push(constraint!(used <= 1.0));
        }
        let optional = cells.iter().zip(&columns.amount).zip(&columns.used).filter(|_| step.step.optional);
        for ((cell, amount), used) in optional.filter(|((cell, _), _)| here(cell)) {
            // A hair less, so that an amount that is rounded down to the thousandth of a pound still counts.
            let least = (float(step.least_still()) - TOLERANCE).max(0.0);
            constraints.push(constraint!(*amount * nitrogen(cell) >= *used * least));
        }
    }
    constraints
}

fn of_need(
    question: &SeasonQuestion<'_>,
    cells: &[Cell],
    columns: &Columns,
    short: &[Variable],
    free: &impl Fn(Group) -> bool,
) -> Vec<good_lp::Constraint> {
    let need = &question.need;
    let needs = [need.nitrogen_lb_per_1000_sqft, need.phosphate_lb_per_1000_sqft, need.potash_lb_per_1000_sqft];
    let of = |cell: &Cell, nutrient: GradeNutrient| {
        question.products.get(cell.product).map_or(0.0, |product| share(nutrient.percent(&product.label)))
    };
    let mut constraints = Vec::new();
    for ((nutrient, need), short) in GradeNutrient::ALL.into_iter().zip(needs).zip(short) {
        let brought = || sum(cells, &columns.amount, |cell| of(cell, nutrient));
        constraints.push(constraint!(brought() + *short >= float(need)));
        let limited = match nutrient {
            GradeNutrient::Nitrogen => true,
            GradeNutrient::Phosphate => !free(Group::Phosphate),
            // Potash beyond the need harms nothing and no law limits it; the price does.
            GradeNutrient::Potash => false,
        };
        if limited {
            constraints.push(constraint!(brought() <= float(need)));
        }
    }
    for (round, planned) in question.rounds.iter().enumerate() {
        let Some(limit) = planned.nitrogen_at_most_lb_per_1000_sqft else { continue };
        if !free(Group::Own(round)) {
            let nitrogen = |cell: &Cell| if cell.round == round { of(cell, GradeNutrient::Nitrogen) } else { 0.0 };
            constraints.push(constraint!(sum(cells, &columns.amount, nitrogen) <= float(limit)));
        }
    }
    constraints
}
