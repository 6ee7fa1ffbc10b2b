//! The cheapest blend: as much as is needed of each nutrient, never more than is allowed, for the least money.
//!
//! The solver's floats are a proposal. Masses are rounded down from it and held against what is allowed exactly.
#![expect(
    clippy::float_arithmetic,
    reason = "the solver works in floats; its proposal is held against the limits exactly"
)]

use good_lp::{Expression, ProblemVariables, Solution as _, SolverModel as _, constraint, microlp, variable};

use super::{
    Label, Nutrients,
    arithmetic::GradeNutrient,
    blend::{Blend, BlendPart, NutrientNeed, Shortfall},
};
use crate::{
    explain::{Derivation, SourceMark},
    quantity::{Price, ProductMass, Quantity, Unit},
};

/// A product and its price.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Offer<'a> {
    pub label: &'a Label,
    pub bag_lb: ProductMass,
    pub bag_price_usd: Price,
}

/// What a missing pound of nutrient counts as, in dollars: more than any product that could bring it.
const MISSING: f64 = 10_000.0;

#[expect(clippy::cast_precision_loss, reason = "a proposal; the amounts themselves are whole numbers")]
fn float<U: Unit>(quantity: Quantity<U>) -> f64 {
    quantity.raw() as f64 / 10_f64.powi(i32::try_from(U::SCALE).unwrap_or(0))
}

fn floats(need: &NutrientNeed) -> [f64; 3] {
    [float(need.nitrogen_lb), float(need.phosphate_lb), float(need.potash_lb)]
}

fn loads(nutrients: &Nutrients) -> [i64; 3] {
    [nutrients.nitrogen_lb.raw(), nutrients.phosphate_lb.raw(), nutrients.potash_lb.raw()]
}

/// Meets a need at the least price, bringing no more of any nutrient than `at_most`. Where no blend meets it, the answer is
/// the one that leaves least open, and says what. Nothing when a ceiling lies below nothing that the solver can answer.
pub fn cheapest_rounded_down(need: &NutrientNeed, at_most: &NutrientNeed, offers: &[Offer<'_>]) -> Option<Blend> {
    let mut variables = ProblemVariables::new();
    let amounts: Vec<_> = offers.iter().map(|_| variables.add(variable().min(0.0))).collect();
    let short: Vec<_> = GradeNutrient::ALL.iter().map(|_| variables.add(variable().min(0.0))).collect();
    let price = |offer: &Offer<'_>| float(offer.bag_price_usd) / float(offer.bag_lb).max(1e-6) + 1e-6;
    let mut cost: Expression = offers.iter().zip(&amounts).map(|(offer, amount)| *amount * price(offer)).sum();
    cost += short.iter().map(|short| *short * MISSING).sum::<Expression>();
    let mut model = variables.minimise(cost).using(microlp);
    for (((nutrient, need), most), short) in
        GradeNutrient::ALL.into_iter().zip(floats(need)).zip(floats(at_most)).zip(&short)
    {
        let brought = || -> Expression {
            let share = |offer: &Offer<'_>| float(nutrient.percent(offer.label)) / 100.0;
            offers.iter().zip(&amounts).map(|(offer, amount)| *amount * share(offer)).sum()
        };
        model = model.with(constraint!(brought() + *short >= need));
        model = model.with(constraint!(brought() <= most.max(need)));
    }
    let solution = model.solve().ok()?;
    let mut masses: Vec<i64> = amounts.iter().map(|amount| millionths(solution.value(*amount))).collect();
    let ceiling = [
        at_most.nitrogen_lb.max(need.nitrogen_lb).raw(),
        at_most.phosphate_lb.max(need.phosphate_lb).raw(),
        at_most.potash_lb.max(need.potash_lb).raw(),
    ];
    // The solver is off by less than a millionth of a pound a part; what is over is taken back exactly.
    let mut step = 1;
    while loads(&sum(offers, &masses)).iter().zip(&ceiling).any(|(load, most)| load > most) {
        for mass in &mut masses {
            *mass = (*mass - step).max(0);
        }
        step *= 2;
    }
    Some(blend(need, offers, &masses))
}

#[expect(clippy::cast_possible_truncation, reason = "held between bounds that a whole number has")]
fn millionths(pounds: f64) -> i64 {
    (pounds * 1e6 + 1e-3).floor().clamp(0.0, 1e12) as i64
}

fn sum(offers: &[Offer<'_>], masses: &[i64]) -> Nutrients {
    offers.iter().zip(masses).fold(Nutrients::NONE, |sum, (offer, mass)| {
        sum.checked_add(offer.label.nutrients_in(ProductMass::from_raw(*mass))).unwrap_or(sum)
    })
}

fn blend(need: &NutrientNeed, offers: &[Offer<'_>], masses: &[i64]) -> Blend {
    let delivers = sum(offers, masses);
    let needs = [need.nitrogen_lb.raw(), need.phosphate_lb.raw(), need.potash_lb.raw()];
    let parts: Vec<BlendPart> = offers
        .iter()
        .zip(masses)
        .enumerate()
        .filter(|(_, (_, mass))| **mass > 0)
        .map(|(product, (offer, mass))| part(product, offer, ProductMass::from_raw(*mass), need))
        .collect();
    // Each part may be short by a millionth of a pound, and a little more where an overshoot was taken back.
    let rounding = 40_000 * i64::try_from(parts.len().max(1)).unwrap_or(1);
    let off = GradeNutrient::ALL
        .into_iter()
        .zip(needs.iter().zip(loads(&delivers)))
        .map(|(nutrient, (need, load))| Shortfall { nutrient, missing_1e10_lb: need - load })
        .filter(|short| short.missing_1e10_lb >= rounding)
        .collect();
    Blend { parts, delivers, off }
}

fn part(product: usize, offer: &Offer<'_>, mass: ProductMass, need: &NutrientNeed) -> BlendPart {
    let taken_for = GradeNutrient::ALL.into_iter().max_by_key(|nutrient| nutrient.percent(offer.label));
    let derivation =
        Derivation::of("product in the cheapest blend", "least price that meets the need under the ceilings")
            .with("N needed", need.nitrogen_lb)
            .with("P2O5 needed", need.phosphate_lb)
            .with("K2O needed", need.potash_lb)
            .with("price of a bag", offer.bag_price_usd)
            .with("net weight of a bag", offer.bag_lb)
            .from_source(SourceMark::Computed, "Linear program over all products")
            .gives(mass, "down to the millionth of a pound")
            .derivation;
    BlendPart {
        product,
        taken_for: taken_for.unwrap_or(GradeNutrient::Nitrogen),
        product_lb: mass,
        delivers: offer.label.nutrients_in(mass),
        derivation,
    }
}
