//! An enhanced-efficiency product may set free only so much nitrogen at a time.
//!
//! A label that does not say how much it releases in a month may release all of it, so only a load that fits as a whole is
//! certain.

use super::{Answer, Case, SectionCase, amount, amount::Bound};
use crate::{
    application::LineFacts,
    law::duty::{Release, ReleasePer},
    quantity::{Limit, Percent, ProductMass, RateSum},
};

const ALL: i64 = 10_000;

fn released(case: &Case<'_>) -> Percent {
    case.facts.label.release_percent_per_month.unwrap_or(Percent::from_raw(ALL))
}

/// Nothing when the product releases nothing.
fn bound(duty: &Release, case: &Case<'_>) -> Option<Bound> {
    let parts = released(case).raw();
    (parts > 0).then(|| Bound { limit: Limit::on_part(duty.limit, parts, ALL), comparator: duty.comparator })
}

pub(super) fn judge(duty: &Release, case: &Case<'_>, section: &SectionCase<'_>) -> Answer {
    let unit = amount::unit(duty.nutrient);
    let sum = amount::of_lines(duty.nutrient, case, section);
    let free = sum.part_rounded_up(released(case).raw(), ALL);
    let (name, than, limit) = (section.name(), duty.comparator.words(), duty.limit);
    let fits = bound(duty, case).is_none_or(|bound| bound.allows(&sum));
    let less = || amount::less(case, section, |line| largest(duty, case, section, line));
    let answer = match (fits, case.facts.label.release_percent_per_month, duty.per) {
        (true, ..) => Answer::met(),
        (false, None, _) => Answer::unknown(
            format!(
                "The label does not say how much N it releases in a month; on {name} it may set free {than} {limit} {unit}."
            ),
            format!("Enter the monthly release that the label or its maker states. {}", less()),
        ),
        (false, Some(_), ReleasePer::Month) => Answer::broken(
            format!("This load sets free {free} {unit} in a month on {name}; it may be {than} {limit}."),
            less(),
        ),
        (false, Some(_), ReleasePer::AnyTime) => Answer::unknown(
            format!(
                "This load sets free {free} {unit} in a month on {name}; at any time it may be {than} {limit}, and nothing shows that it is."
            ),
            less(),
        ),
    };
    answer.with(limit.to_string(), Some(free.to_string()), unit)
}

pub(super) fn largest(
    duty: &Release,
    case: &Case<'_>,
    section: &SectionCase<'_>,
    line: &LineFacts,
) -> Option<ProductMass> {
    let mut others = RateSum::default();
    amount::add_lines(&mut others, duty.nutrient, case, section, Some(line));
    bound(duty, case)?.largest(&others, duty.nutrient, line, &case.facts.label)
}
