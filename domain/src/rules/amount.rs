//! Amounts of a nutrient on a section, and the product that still fits under a limit. Shared by every kind that counts.

use crate::{
    application::LineFacts,
    law::{model::Comparator, nutrient::Nutrient},
    product::Label,
    quantity::{Limit, ProductMass, RateSum, largest_product},
    rules::{Case, SectionCase},
};

/// A limit with the way it compares.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bound {
    pub(super) limit: Limit,
    pub(super) comparator: Comparator,
}

impl Bound {
    pub(super) fn allows(self, sum: &RateSum) -> bool {
        self.comparator.holds(sum.compare(self.limit))
    }

    /// The largest mass of product on a line that keeps `others` and itself within the limit; nothing for a product
    /// without the nutrient.
    pub(super) fn largest(
        self,
        others: &RateSum,
        nutrient: Nutrient,
        line: &LineFacts,
        label: &Label,
    ) -> Option<ProductMass> {
        let load = match self.comparator {
            Comparator::LessThan => others.largest_load_below(self.limit, line.area),
            _ => others.largest_load(self.limit, line.area),
        };
        largest_product(load, nutrient.share(label))
    }
}

/// Adds to a sum what the lines of this application put on the section, but for one line.
pub(super) fn add_lines(
    sum: &mut RateSum,
    nutrient: Nutrient,
    case: &Case<'_>,
    section: &SectionCase<'_>,
    but: Option<&LineFacts>,
) {
    for line in section.lines.iter().filter(|line| but.is_none_or(|but| !std::ptr::eq(**line, but))) {
        sum.add(nutrient.load(&line.nutrients(&case.facts.label)), line.area);
    }
}

/// What the lines of this application put on the section.
pub(super) fn of_lines(nutrient: Nutrient, case: &Case<'_>, section: &SectionCase<'_>) -> RateSum {
    let mut sum = RateSum::default();
    add_lines(&mut sum, nutrient, case, section, None);
    sum
}

/// What a technician can do about an amount that is too large.
pub(super) fn less(
    case: &Case<'_>,
    section: &SectionCase<'_>,
    largest: impl Fn(&LineFacts) -> Option<ProductMass>,
) -> String {
    let name = section.name();
    let Some(line) = section.lines.last() else { return String::new() };
    match largest(line) {
        Some(mass) if !mass.is_zero() => {
            format!("Put down at most {mass} lb of this {} product on {name}.", case.facts.label.grade())
        }
        _ => format!("Put none of this {} product on {name}.", case.facts.label.grade()),
    }
}

/// The unit of a rate, for a row of numbers.
pub(super) const fn unit(nutrient: Nutrient) -> &'static str {
    match nutrient {
        Nutrient::NitrogenTotal => "lb N per 1,000 sq ft",
        Nutrient::NitrogenQuick => "lb quick-release N per 1,000 sq ft",
        Nutrient::NitrogenSlow => "lb slow-release N per 1,000 sq ft",
        Nutrient::Phosphate => "lb P2O5 per 1,000 sq ft",
        Nutrient::Phosphorus => "lb P per 1,000 sq ft",
        Nutrient::Potash => "lb K2O per 1,000 sq ft",
        Nutrient::AnyFertilizer => "lb per 1,000 sq ft",
    }
}
