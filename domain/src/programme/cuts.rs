//! What a refused proposal teaches the solver: limits that hold over several rounds.
#![expect(clippy::float_arithmetic, reason = "a cut bends the next proposal; the rules are asked again about it")]

use good_lp::{Constraint, Expression, Variable, constraint};

use super::{
    float,
    model::{Cell, SeasonQuestion},
};
use crate::{
    application::Purpose,
    facts::PastApplication,
    law::{
        Lawbook,
        duty::{Counts, Duty},
        model::InForceStatus,
        nutrient::Nutrient,
        scope::{Covered, Scope},
    },
    product::Label,
    quantity::{Area, ProductMass, RateSum},
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

/// What a rule that limits an amount over several rounds counts.
pub(super) struct Counted<'l> {
    pub nutrient: Nutrient,
    /// Only the products that it is about.
    scope: Option<&'l Scope>,
}

impl Counted<'_> {
    fn share(&self, label: &Label, purpose: Purpose) -> f64 {
        let counts = self.scope.is_none_or(|scope| scope.covers(label, purpose));
        if counts { float::share(self.nutrient.share(label)) } else { 0.0 }
    }

    /// What an earlier application brought of it. One whose product is not known to be another counts.
    fn brought(&self, past: &PastApplication) -> i64 {
        let counts = self.scope.is_none_or(|scope| scope.covers_earlier(past) != Covered::No);
        if counts { self.nutrient.load(&past.nutrients) } else { 0 }
    }
}

/// What a rule counts, if it limits an amount over several rounds.
pub(super) fn counted<'l>(lawbook: &'l Lawbook, rule: &str, on: Day) -> Option<Counted<'l>> {
    let rule = lawbook.rule_sets().iter().flat_map(|set| &set.rules).find(|known| known.id == rule)?;
    let Some(InForceStatus::InForce(_, duty)) = rule.on(on) else { return None };
    let all = |nutrient| Counted { nutrient, scope: None };
    match duty {
        Duty::CapYear(cap) => {
            Some(Counted { scope: (cap.counts == Counts::WithinScope).then_some(&rule.scope), ..all(cap.nutrient) })
        }
        Duty::Window(window) => {
            window.caps.first().map(|(nutrient, _)| all(*nutrient)).filter(|_| window.caps.len() == 1)
        }
        Duty::PhosphorusNeed(_) => Some(all(Nutrient::Phosphate)),
        _ => None,
    }
}

/// Whether a rule limits what a year brings.
pub(super) fn of_a_year(lawbook: &Lawbook, rule: &str, on: Day) -> bool {
    let mut rules = lawbook.rule_sets().iter().flat_map(|set| &set.rules);
    let standing = rules.find(|known| known.id == rule).and_then(|rule| rule.on(on));
    matches!(standing, Some(InForceStatus::InForce(_, Duty::CapYear(_))))
}

/// All rounds within a span that holds one together bring no more of a nutrient than the others and what is lawful in this one.
pub(super) fn load(
    question: &SeasonQuestion<'_>,
    area: Area,
    cells: &[Cell],
    planned: &[(usize, ProductMass)],
    (refused, lawful): (usize, ProductMass),
    (counted, (first, last)): (&Counted<'_>, (Day, Day)),
    words: String,
) -> Cut {
    let within = |cell: &Cell| (first..=last).contains(&cell.on);
    let of = |cell: &Cell| {
        let product = question.products.get(cell.product);
        product.map_or(0.0, |product| counted.share(&product.label, (question.facts_on)(cell.on).purpose))
    };
    let terms: Vec<(usize, f64)> =
        cells.iter().enumerate().filter(|(_, cell)| within(cell)).map(|(at, cell)| (at, of(cell))).collect();
    let at_most = planned
        .iter()
        .filter_map(|(at, mass)| cells.get(*at).filter(|cell| within(cell)).map(|cell| (at, mass, of(cell))))
        .map(|(at, mass, share)| float::per_1000(if *at == refused { lawful } else { *mass }, area) * share)
        .sum();
    Cut { terms, at_most, counts: false, words }
}

/// A year either way: what no rule looks beyond.
pub(super) fn two_years(on: Day) -> (Day, Day) {
    (on.plus_days(-365), on.plus_days(365))
}

/// Of the spans in which a limit of the year counts, the calendar year and the 365 days to the day or to a later entry, the one
/// in which most goes down: it is this one that leaves least.
pub(super) fn fullest_year(
    question: &SeasonQuestion<'_>,
    area: Area,
    cells: &[Cell],
    planned: &[(usize, ProductMass)],
    on: Day,
    counted: &Counted<'_>,
) -> (Day, Day) {
    let facts = (question.facts_on)(on);
    let past = facts.lines.first().map_or(&[][..], |line| &line.section.past);
    let mut loads: Vec<(Day, i64, Area)> =
        past.iter().map(|past| (past.on, counted.brought(past), past.area)).collect();
    loads.extend(planned.iter().filter_map(|(at, mass)| {
        let past = question.as_past(cells.get(*at)?, *mass, area)?;
        Some((past.on, counted.brought(&past), area))
    }));
    let ends = loads.iter().map(|(day, ..)| *day).filter(|day| (on..=on.plus_days(364)).contains(day));
    let mut spans: Vec<(Day, Day)> = ends.map(|end| (end.plus_days(-364), end)).collect();
    spans.push((on.first_of_year(), on.last_of_year()));
    let put_down = |(first, last): &(Day, Day)| {
        let mut sum = RateSum::default();
        for (_, load, area) in loads.iter().filter(|(day, ..)| (*first..=*last).contains(day)) {
            sum.add(*load, *area);
        }
        sum.rounded_up()
    };
    spans.into_iter().max_by_key(put_down).unwrap_or_else(|| two_years(on))
}

impl Cut {
    /// Whether it weighs on a round.
    pub(super) fn concerns(&self, round: usize, cells: &[Cell]) -> bool {
        self.terms
            .iter()
            .any(|(cell, weight)| *weight > 0.0 && cells.get(*cell).is_some_and(|cell| cell.round == round))
    }
}
