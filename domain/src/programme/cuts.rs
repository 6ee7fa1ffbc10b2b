//! What a refused proposal teaches the solver: limits that hold over several rounds.
#![expect(clippy::float_arithmetic, reason = "a cut bends the next proposal; the rules are asked again about it")]

use good_lp::{Constraint, Expression, Variable, constraint};

use super::{
    float,
    model::{Cell, SeasonQuestion},
};
use crate::{
    law::{Lawbook, duty::Duty, model::InForceStatus, nutrient::Nutrient},
    quantity::{Area, ProductMass},
    time::Day,
};

/// A constraint with the rule that it comes from, in words.
#[derive(Debug, Clone)]
pub(super) struct Cut {
    /// Cells with their weights.
    terms: Vec<(usize, f64)>,
    at_most: f64,
    /// Whether it counts used cells rather than amounts.
    counts: bool,
    pub words: String,
}

impl Cut {
    pub(super) fn constraint(&self, amounts: &[Variable], used: &[Variable]) -> Constraint {
        let columns = if self.counts { used } else { amounts };
        let left: Expression =
            self.terms.iter().filter_map(|(cell, weight)| columns.get(*cell).map(|column| *column * *weight)).sum();
        constraint!(left <= self.at_most)
    }

    /// Whether amounts are beyond it.
    pub(super) fn is_broken_by(&self, amounts: &[f64]) -> bool {
        let value = |amount: &f64| if self.counts { f64::from(u8::from(*amount > 0.0)) } else { *amount };
        let left: f64 = self
            .terms
            .iter()
            .filter_map(|(cell, weight)| amounts.get(*cell).map(|amount| value(amount) * *weight))
            .sum();
        left > self.at_most + float::TOLERANCE
    }

    /// These cells cannot all be used.
    pub(super) fn not_all(cells: &[usize], words: String) -> Self {
        let count = cells.iter().fold(-1.0, |count, _| count + 1.0);
        Self { terms: cells.iter().map(|cell| (*cell, 1.0)).collect(), at_most: count, counts: true, words }
    }

    /// This cell takes no more than so much.
    pub(super) fn cell_at_most(cell: usize, most: ProductMass, area: Area, words: String) -> Self {
        Self { terms: vec![(cell, 1.0)], at_most: float::per_1000(most, area), counts: false, words }
    }
}

/// What a rule that limits an amount over several rounds counts, if it is one.
pub(super) fn counted(lawbook: &Lawbook, rule: &str, on: Day) -> Option<Nutrient> {
    let mut rules = lawbook.rule_sets().iter().flat_map(|set| &set.rules);
    let Some(InForceStatus::InForce(_, duty)) = rules.find(|known| known.id == rule)?.on(on) else { return None };
    match duty {
        Duty::CapYear(cap) => Some(cap.nutrient),
        Duty::Window(window) => window.caps.first().map(|(nutrient, _)| *nutrient).filter(|_| window.caps.len() == 1),
        Duty::PhosphorusNeed(_) => Some(Nutrient::Phosphate),
        _ => None,
    }
}

/// Whether a rule limits what a year brings.
pub(super) fn of_a_year(lawbook: &Lawbook, rule: &str, on: Day) -> bool {
    let mut rules = lawbook.rule_sets().iter().flat_map(|set| &set.rules);
    let standing = rules.find(|known| known.id == rule).and_then(|rule| rule.on(on));
    matches!(standing, Some(InForceStatus::InForce(_, Duty::CapYear(_))))
}

/// All rounds within a year of one together bring no more of a nutrient than the others and what is lawful in this one.
pub(super) fn load(
    question: &SeasonQuestion<'_>,
    area: Area,
    cells: &[Cell],
    planned: &[(usize, ProductMass)],
    (refused, lawful): (usize, ProductMass),
    nutrient: Nutrient,
    words: String,
) -> Option<Cut> {
    let day = cells.get(refused)?.on;
    let within = |cell: &Cell| cell.on.days_since(day).abs() <= 365;
    let of = |cell: &Cell| {
        question.products.get(cell.product).map_or(0.0, |product| float::share(nutrient.share(&product.label)))
    };
    let terms: Vec<(usize, f64)> =
        cells.iter().enumerate().filter(|(_, cell)| within(cell)).map(|(at, cell)| (at, of(cell))).collect();
    let at_most = planned
        .iter()
        .filter_map(|(at, mass)| cells.get(*at).filter(|cell| within(cell)).map(|cell| (at, mass, of(cell))))
        .map(|(at, mass, share)| float::per_1000(if *at == refused { lawful } else { *mass }, area) * share)
        .sum();
    Some(Cut { terms, at_most, counts: false, words })
}

impl Cut {
    /// Whether it weighs on a round.
    pub(super) fn concerns(&self, round: usize, cells: &[Cell]) -> bool {
        self.terms
            .iter()
            .any(|(cell, weight)| *weight > 0.0 && cells.get(*cell).is_some_and(|cell| cell.round == round))
    }
}
