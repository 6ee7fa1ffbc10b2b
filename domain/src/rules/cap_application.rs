//! Not more than so much of a nutrient in one application: all loads of one day on a section together, so that a second
//! record does not open the cap again.

use super::{
    amount::{self, Bound, OnSection},
    answer::Answer,
    case::{Case, SectionCase},
};
use crate::{
    facts::LineFacts,
    law::duty::CapApplication,
    quantity::{NutrientRate, ProductMass},
};

fn bound(duty: &CapApplication, limit: NutrientRate) -> Bound {
    Bound { limit: duty.nutrient.limit(limit), comparator: duty.comparator }
}

pub(super) fn judge(duty: &CapApplication, case: &Case<'_>, section: &SectionCase<'_>) -> Answer {
    let on_section = amount::on_section(&duty.amount, section);
    let limit = match on_section {
        OnSection::Is(limit) | OnSection::Between(limit, _) => limit,
        OnSection::None(species) => return amount::no_number("one application", species, section),
    };
    let earlier = amount::of_day(duty.nutrient, case, section);
    let with_earlier = amount::with_earlier(&earlier, case, section);
    let mut sum = earlier;
    amount::add_lines(&mut sum, duty.nutrient, case, section, None);
    let rate = duty.nutrient.rate(&sum);
    let unit = amount::unit(duty.nutrient);
    let less = || amount::less(case, section, |line| largest(duty, case, section, line));
    let answer = match on_section {
        _ if bound(duty, limit).allows(&sum) => Answer::met(),
        OnSection::Between(_, highest) if bound(duty, highest).allows(&sum) => {
            amount::not_told_apart(&duty.amount, duty.nutrient, limit, section)
        }
        _ => {
            let message = format!(
                "This load{with_earlier} puts {rate} {unit} on {}; one application may put down {} {limit}.",
                section.name(),
                duty.comparator.label(),
            );
            Answer::broken(message, less())
        }
    };
    answer.with(limit.to_string(), Some(rate.to_string()), unit)
}

pub(super) fn largest(
    duty: &CapApplication,
    case: &Case<'_>,
    section: &SectionCase<'_>,
    line: &LineFacts,
) -> Option<ProductMass> {
    let mut others = amount::of_day(duty.nutrient, case, section);
    amount::add_lines(&mut others, duty.nutrient, case, section, Some(line));
    let limit = amount::on_section(&duty.amount, section).lowest()?;
    bound(duty, limit).largest(&others, duty.nutrient, line, &case.facts.label)
}
