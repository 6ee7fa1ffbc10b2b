//! Not more than so much of a nutrient in one application.

use super::{Answer, Case, SectionCase, amount, amount::Bound};
use crate::{application::LineFacts, law::duty::CapApplication, quantity::ProductMass, quantity::RateSum};

fn bound(duty: &CapApplication) -> Bound {
    Bound { limit: duty.nutrient.limit(duty.limit), comparator: duty.comparator }
}

pub(super) fn judge(duty: &CapApplication, case: &Case<'_>, section: &SectionCase<'_>) -> Answer {
    let sum = amount::of_lines(duty.nutrient, case, section);
    let rate = duty.nutrient.rate(&sum);
    let answer = if bound(duty).allows(&sum) {
        Answer::met()
    } else {
        let unit = amount::unit(duty.nutrient);
        let message = format!(
            "This load puts {rate} {unit} on {}; one application may put down {} {}.",
            section.name(),
            duty.comparator.words(),
            duty.limit
        );
        Answer::broken(message, amount::less(case, section, |line| largest(duty, case, section, line)))
    };
    answer.with(duty.limit.to_string(), Some(rate.to_string()), amount::unit(duty.nutrient))
}

pub(super) fn largest(
    duty: &CapApplication,
    case: &Case<'_>,
    section: &SectionCase<'_>,
    line: &LineFacts,
) -> Option<ProductMass> {
    let mut others = RateSum::default();
    amount::add_lines(&mut others, duty.nutrient, case, section, Some(line));
    bound(duty).largest(&others, duty.nutrient, line, &case.facts.label)
}
