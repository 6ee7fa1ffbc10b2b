//! What the product's own label allows: law too, since a product is used as its label says.

use super::{
    amount,
    answer::Answer,
    case::{Case, SectionCase},
    heat,
};
use crate::{
    facts::{LineFacts, PastApplication, PastPesticide},
    law::{comparator::Comparator, nutrient::Nutrient},
    product::Label,
    quantity::{NutrientRate, ProductMass, ProductRate, RateSum, largest_product},
};

pub(crate) const PRODUCT_RATE: &str = "label.product.application";
pub(crate) const AIR_TEMPERATURE: &str = "label.air_temperature";
pub(crate) const CITATION: &str = "Product label";

/// A whole mass of product as a share of itself, so that product is counted on the same scale as nutrients.
const WHOLE: i64 = 10_000;

/// The mass of this product in an earlier load. Where the book does not say that it is the same product, its nutrients do: a product
/// of the same grade and kind turns them into its mass exactly; another product has a label of its own.
fn of_this_product(label: &Label, entry: &PastApplication) -> Option<ProductMass> {
    if entry.product.mass_of_this.is_some() {
        return entry.product.mass_of_this;
    }
    let number = label.pesticide().map(|part| part.epa_registration.basic());
    let same_pesticide = match entry.product.pesticide {
        PastPesticide::Unsaid => true,
        PastPesticide::None => number.is_none(),
        PastPesticide::Registered(other) => number == Some(other),
    };
    let same_kind =
        same_pesticide && (label.enhanced_efficiency, label.organic) == (entry.enhanced_efficiency, entry.organic);
    let counted = [Nutrient::NitrogenTotal, Nutrient::Phosphate, Nutrient::Potash];
    let nutrient = counted.into_iter().find(|nutrient| nutrient.share(label).raw() > 0)?;
    let mass = ProductMass::from_raw(nutrient.load(&entry.nutrients) / nutrient.share(label).raw());
    (same_kind && label.nutrients_in(mass) == entry.nutrients).then_some(mass)
}

/// What went down of this product earlier that day.
fn earlier(case: &Case<'_>, section: &SectionCase<'_>) -> RateSum {
    let mut sum = RateSum::default();
    for entry in amount::earlier_that_day(case, section) {
        if let Some(mass) = of_this_product(&case.facts.label, entry) {
            sum.add(mass.raw().saturating_mul(WHOLE), entry.area);
        }
    }
    sum
}

fn put_down(case: &Case<'_>, section: &SectionCase<'_>, but: Option<&LineFacts>) -> RateSum {
    let mut sum = earlier(case, section);
    for line in section.lines.iter().filter(|line| but.is_none_or(|but| !std::ptr::eq(**line, but))) {
        sum.add(line.product.raw().saturating_mul(WHOLE), line.area);
    }
    sum
}

/// Whether the day's loads of this product come to a rate, and the rate that they come to. Amounts are worked out rounded down, so
/// that none is over a limit, and no scale in the field tells a hundredth: what lacks less than that comes to it. *Common practice.*
pub(super) fn of_day_at_least(rate: ProductRate, case: &Case<'_>, section: &SectionCase<'_>) -> (bool, ProductRate) {
    let sum = put_down(case, section, None);
    let enough = NutrientRate::from_raw(rate.raw() - rate.raw() / 100);
    (sum.compare(enough).is_ge(), ProductRate::from_raw(sum.rounded_up().raw()))
}

fn as_rate(limit: ProductRate) -> NutrientRate {
    NutrientRate::from_raw(limit.raw())
}

/// The most product in one application: all loads of one day together, where they may lie upon one another.
pub(crate) fn product_rate(case: &Case<'_>, section: &SectionCase<'_>) -> Option<Answer> {
    super::strictest(
        section,
        |ground| rate_on_ground(case, ground),
        |ground, line| largest_on_ground(case, ground, line),
    )
}

fn rate_on_ground(case: &Case<'_>, section: &SectionCase<'_>) -> Option<Answer> {
    let limit = case.facts.label.product_limit_lb_per_1000_sqft?;
    let with_earlier = amount::with_earlier(&earlier(case, section), case, section);
    let sum = put_down(case, section, None);
    let rate = sum.rounded_up();
    let unit = "lb of product per 1,000 sq ft";
    let answer = if sum.compare(as_rate(limit)).is_le() {
        Answer::met()
    } else {
        let message =
            format!("This load{with_earlier} puts {rate} {unit} on {}; the label allows {limit}.", section.name());
        let hint = amount::less(case, section, |line| largest_on_ground(case, section, line));
        Answer::broken(message, hint)
    };
    Some(answer.with(limit.to_string(), Some(rate.to_string()), unit))
}

pub(crate) fn largest(case: &Case<'_>, section: &SectionCase<'_>, line: &LineFacts) -> Option<ProductMass> {
    let grounds = section.grounds().iter().filter(|ground| ground.holds(line));
    grounds.filter_map(|ground| largest_on_ground(case, ground, line)).min()
}

fn largest_on_ground(case: &Case<'_>, section: &SectionCase<'_>, line: &LineFacts) -> Option<ProductMass> {
    let limit = as_rate(case.facts.label.product_limit_lb_per_1000_sqft?);
    let load = put_down(case, section, Some(line)).largest_load(limit, line.area);
    largest_product(load, crate::quantity::Percent::from_raw(WHOLE))
}

/// What the label says of the air of the hour.
pub(crate) fn air_temperature(case: &Case<'_>) -> Option<Answer> {
    let limit = case.facts.label.air_temperature_limit_f?;
    let too_hot = format!("the label allows the product up to {limit} °F");
    Some(heat::in_air(case, Comparator::MoreThan, limit, &too_hot))
}
