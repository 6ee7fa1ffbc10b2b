//! What the product's own label allows: law too, since a product is used as its label says.

use super::{Answer, Case, SectionCase, heat};
use crate::{
    application::LineFacts,
    law::model::Comparator,
    quantity::{NutrientRate, ProductMass, ProductRate, RateSum, largest_product},
};

pub(crate) const PRODUCT_RATE: &str = "label.product.application";
pub(crate) const AIR_TEMPERATURE: &str = "label.air_temperature";
pub(crate) const CITATION: &str = "Product label";

/// A whole mass of product as a share of itself, so that product is counted on the same scale as nutrients.
const WHOLE: i64 = 10_000;

fn put_down(section: &SectionCase<'_>, but: Option<&LineFacts>) -> RateSum {
    let mut sum = RateSum::default();
    for line in section.lines.iter().filter(|line| but.is_none_or(|but| !std::ptr::eq(**line, but))) {
        sum.add(line.product.raw().saturating_mul(WHOLE), line.area);
    }
    sum
}

fn as_rate(limit: ProductRate) -> NutrientRate {
    NutrientRate::from_raw(limit.raw())
}

/// The most product in one application.
pub(crate) fn product_rate(case: &Case<'_>, section: &SectionCase<'_>) -> Option<Answer> {
    let limit = case.facts.label.product_limit_lb_per_1000_sqft?;
    let sum = put_down(section, None);
    let rate = sum.rounded_up();
    let unit = "lb of product per 1,000 sq ft";
    let answer = if sum.compare(as_rate(limit)).is_le() {
        Answer::met()
    } else {
        let message = format!("This load puts {rate} {unit} on {}; the label allows {limit}.", section.name());
        let hint = super::amount::less(case, section, |line| largest(case, section, line));
        Answer::broken(message, hint)
    };
    Some(answer.with(limit.to_string(), Some(rate.to_string()), unit))
}

pub(crate) fn largest(case: &Case<'_>, section: &SectionCase<'_>, line: &LineFacts) -> Option<ProductMass> {
    let limit = as_rate(case.facts.label.product_limit_lb_per_1000_sqft?);
    let load = put_down(section, Some(line)).largest_load(limit, line.area);
    largest_product(load, crate::quantity::Percent::from_raw(WHOLE))
}

/// The hottest air.
pub(crate) fn air_temperature(case: &Case<'_>) -> Option<Answer> {
    let limit = case.facts.label.air_temperature_limit_f?;
    let too_hot = format!("the label allows the product up to {limit} °F");
    Some(heat::in_air(case, Comparator::MoreThan, limit, &too_hot))
}
