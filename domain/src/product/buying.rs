//! Buying: whole packages are rounded up, and what goes on the ground is not touched by it.

use serde::{Deserialize, Serialize};

use super::{Label, arithmetic::GradeNutrient};
use crate::{
    explain::{Derivation, Figure, SourceMark},
    quantity::{NutrientRate, Price, PricePerPound, ProductMass, quotient_nearest},
};

/// What to buy for a need. The need itself stays what it was: the rest of the last bag goes back to the shed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Purchase {
    /// Product that is to be put down.
    pub needed_lb: ProductMass,
    #[schema(minimum = 0, maximum = 1_000_000_000_000_i64)]
    pub bags: i64,
    pub bought_lb: ProductMass,
    pub left_over_lb: ProductMass,
    pub derivation: Derivation,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum BuyingFault {
    #[error("a bag that holds nothing covers no need; give the net weight that the bag prints")]
    EmptyBag,
    #[error("so many bags cannot be counted; check the need and the net weight")]
    TooMany,
}

/// Bags that hold at least the need: need / net weight, rounded up.
pub fn bags_rounded_up(needed: ProductMass, bag: ProductMass) -> Result<Purchase, BuyingFault> {
    if bag.raw() <= 0 {
        return Err(BuyingFault::EmptyBag);
    }
    let bags = needed.raw() / bag.raw() + i64::from(needed.raw() % bag.raw() > 0);
    let bought =
        bags.checked_mul(bag.raw()).and_then(|raw| ProductMass::checked(raw).ok()).ok_or(BuyingFault::TooMany)?;
    let derivation = Derivation::of("bags to buy", "product / net weight of a bag")
        .with("product", needed)
        .with("net weight of a bag", bag)
        .from_source(
            SourceMark::Read2,
            "Virginia, turf and landscape nutrient management worksheet: 142 bags for 141.13",
        )
        .gives_text(&bags, "bags", "up to whole bags; the amount to be put down is not rounded up");
    let left_over_lb = ProductMass::from_raw(bought.raw() - needed.raw());
    Ok(Purchase { needed_lb: needed, bags, bought_lb: bought, left_over_lb, derivation })
}

/// Price of a pound of a nutrient: price / (net weight x percent / 100), to the nearest ten-thousandth of a dollar. Nothing
/// for a product without it.
pub fn price_per_pound_rounded_nearest(
    label: &Label,
    nutrient: GradeNutrient,
    bag: ProductMass,
    price: Price,
) -> Option<Figure<PricePerPound>> {
    let percent = nutrient.percent(label);
    let load = i128::from(bag.raw()) * i128::from(percent.raw());
    // Cents over 1e-10 lb, as 1e-4 USD over a pound.
    (load > 0).then(|| {
        let each = quotient_nearest(i128::from(price.raw()) * 100 * 10_000_000_000, load);
        priced("price of a pound of nutrient", "price / (net weight x percent / 100)", label, nutrient, bag, price)
            .gives(PricePerPound::from_raw(each), "to the nearest ten-thousandth of a dollar")
    })
}

/// Price of an acre at a rate of a nutrient: rate x 43.56 x price / (net weight x percent / 100), to the nearest cent.
pub fn price_per_acre_rounded_nearest(
    label: &Label,
    nutrient: GradeNutrient,
    bag: ProductMass,
    price: Price,
    rate: NutrientRate,
) -> Option<Figure<Price>> {
    let load = i128::from(bag.raw()) * i128::from(nutrient.percent(label).raw());
    // 1e-6 lb a thousand times 43.56 is 1e-8 lb x 4,356 on the acre; the load is in 1e-10 lb.
    (load > 0).then(|| {
        let cents = quotient_nearest(i128::from(rate.raw()) * 4_356 * 100 * i128::from(price.raw()), load);
        priced("price of an acre", "rate x 43.56 x price / (net weight x percent / 100)", label, nutrient, bag, price)
            .with("rate", rate)
            .converting("1 acre is 43.56 times 1,000 sq ft")
            .gives(Price::from_raw(cents), "to the nearest cent")
    })
}

fn priced(
    figure: &str,
    formula: &str,
    label: &Label,
    nutrient: GradeNutrient,
    bag: ProductMass,
    price: Price,
) -> Derivation {
    Derivation::of(figure, formula)
        .with("price", price)
        .with("net weight of a bag", bag)
        .with(&format!("{} on the label", nutrient.label()), nutrient.percent(label))
        .from_source(
            SourceMark::Read,
            "USGA Green Section Record 60(5), 2022: urea at 50 USD a bag is 2.17 USD a pound of N",
        )
}
