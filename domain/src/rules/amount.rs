//! Amounts of a nutrient on a section, and the product that still fits under a limit. Shared by every kind that counts.

use super::{
    answer::Answer,
    case::{Case, SectionCase},
};
use crate::{
    facts::{LineFacts, PastApplication},
    land::{Species, Water},
    law::{comparator::Comparator, duty::Amount, nutrient::Nutrient},
    product::Label,
    quantity::{Area, Limit, NutrientRate, ProductMass, RateSum, largest_product},
};

/// Which limit holds on a section.
#[derive(Debug, Clone, Copy)]
pub(super) enum OnSection {
    Is(NutrientRate),
    /// A fact that tells the numbers apart is missing: the lowest and the highest of them.
    Between(NutrientRate, NutrientRate),
    /// The table has no number for the species.
    None(Species),
}

pub(super) fn on_section(amount: &Amount, section: &SectionCase<'_>) -> OnSection {
    let rates = match amount {
        Amount::One(rate) => return OnSection::Is(*rate),
        Amount::BySpecies(rates) => rates,
        Amount::ByWaterfront { waterfront, elsewhere } => {
            return match section.section.water {
                Water::None => OnSection::Is(*elsewhere),
                _ => OnSection::Between(*waterfront.min(elsewhere), *waterfront.max(elsewhere)),
            };
        }
    };
    let Some(species) = section.section.species else {
        let all = || rates.iter().map(|(_, rate)| *rate);
        return OnSection::Between(
            all().min().unwrap_or(NutrientRate::ZERO),
            all().max().unwrap_or(NutrientRate::ZERO),
        );
    };
    let found = rates.iter().find(|(known, _)| *known == species);
    found.map_or(OnSection::None(species), |(_, rate)| OnSection::Is(*rate))
}

impl OnSection {
    /// The limit that certainly suffices.
    pub(super) const fn lowest(self) -> Option<NutrientRate> {
        match self {
            Self::Is(rate) | Self::Between(rate, _) => Some(rate),
            Self::None(_) => None,
        }
    }
}

/// The table says nothing about what grows here.
pub(super) fn no_number(of: &str, species: Species, section: &SectionCase<'_>) -> Answer {
    let table = if of == "a year" { "yearly table" } else { "table" };
    let message = format!("The {table} has no number for {}, which grows on {}.", species.label(), section.name());
    Answer::care(message, format!("Ask the office how much N fits this turf in {of}."))
}

/// The lowest number is passed and the highest is not, and the fact that chooses between them is missing.
pub(super) fn not_told_apart(
    amount: &Amount,
    nutrient: Nutrient,
    lowest: NutrientRate,
    section: &SectionCase<'_>,
) -> Answer {
    let (name, nutrient) = (section.name(), nutrient.label());
    if matches!(amount, Amount::ByWaterfront { .. }) {
        return Answer::unknown(
            format!(
                "The limit on {name} depends on whether it fronts on water, which nobody has said; on the water it is {lowest} lb {nutrient} per 1,000 sq ft, and that would be passed."
            ),
            "Enter that there is no water near the section, if that is so.",
        );
    }
    Answer::unknown(
        format!(
            "The limit on {name} follows from the turf species, and none is recorded; the lowest of the table, {lowest} lb {nutrient} per 1,000 sq ft, would be passed."
        ),
        "Record the turf species of the section.",
    )
}

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
        largest_product(self.largest_load(others, line.area), nutrient.share(label))
    }

    /// The largest load on an area that keeps `others` and itself within the limit.
    pub(super) fn largest_load(self, others: &RateSum, area: Area) -> i128 {
        match self.comparator {
            Comparator::LessThan => others.largest_load_below(self.limit, area),
            _ => others.largest_load(self.limit, area),
        }
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

/// Earlier loads of the day. Loads of one day on one section are one application, in however many records they stand, and so
/// is what another clearance holds for the day.
pub(super) fn earlier_that_day<'s>(
    case: &Case<'_>,
    section: &'s SectionCase<'_>,
) -> impl Iterator<Item = &'s PastApplication> + use<'s> {
    let on = case.facts.on;
    section.past.iter().filter(move |entry| entry.on == on)
}

/// What went down, or is held, on the day beside the lines of this application.
pub(super) fn of_day(nutrient: Nutrient, case: &Case<'_>, section: &SectionCase<'_>) -> RateSum {
    let mut sum = RateSum::default();
    for entry in earlier_that_day(case, section) {
        sum.add(nutrient.load(&entry.nutrients), entry.area);
    }
    sum
}

/// How a sentence about a load tells that the day's earlier loads are in the sum; nothing when there are none.
pub(super) fn with_earlier(earlier: &RateSum, case: &Case<'_>, section: &SectionCase<'_>) -> &'static str {
    if earlier.compare(NutrientRate::ZERO).is_eq() {
        ""
    } else if earlier_that_day(case, section).any(|entry| entry.held) {
        ", with what went down earlier that day or is cleared for it,"
    } else {
        ", with what went down earlier that day,"
    }
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
