//! An enhanced-efficiency product may set free only so much nitrogen at a time.
//!
//! A label that does not say how much it releases in a month may release all of it, so only a load that fits as a whole is
//! certain. Earlier loads of such products go on releasing. How much is not in the book, so all their nitrogen of the last
//! half year is taken as what may still come: a load that fits with that is certain, and one that fits only alone is not.

use super::{
    amount::{self, Bound},
    answer::Answer,
    case::{Case, SectionCase},
};
use crate::{
    facts::{LineFacts, PastApplication},
    law::duty::{Release, ReleasePer},
    quantity::{Limit, Percent, ProductMass, RateSum, largest_product},
    text::list,
    time::Day,
};

const ALL: i64 = 10_000;
/// How long an earlier load is counted. The texts name no span; half a year is ours.
const RELEASING_DAYS: i32 = 183;

fn released(case: &Case<'_>) -> Percent {
    case.facts.label.release_percent_per_month.unwrap_or(Percent::from_raw(ALL))
}

/// The limit on sums in which a load counts as many times as it has parts that are set free.
fn bound(duty: &Release) -> Bound {
    Bound { limit: Limit::on_part(duty.limit, 1, ALL), comparator: duty.comparator }
}

/// Earlier loads that may still release.
fn releasing<'s>(case: &Case<'_>, section: &'s SectionCase<'_>) -> impl Iterator<Item = &'s PastApplication> + use<'s> {
    let on = case.facts.on;
    let releases = move |entry: &&PastApplication| {
        entry.enhanced_efficiency && (0..=RELEASING_DAYS).contains(&on.days_since(entry.on))
    };
    section.past.iter().filter(releases)
}

/// The days of those loads that were not taken back.
fn days(duty: &Release, case: &Case<'_>, section: &SectionCase<'_>) -> Vec<Day> {
    let mut days: Vec<Day> = releasing(case, section).map(|entry| entry.on).collect();
    days.sort_unstable();
    days.dedup();
    let stands = |day: &Day| {
        let of_day = releasing(case, section).filter(|entry| entry.on == *day);
        of_day.map(|entry| duty.nutrient.sign(&entry.nutrients)).sum::<i64>() > 0
    };
    days.retain(stands);
    days
}

/// All that earlier loads may still set free.
fn earlier(duty: &Release, case: &Case<'_>, section: &SectionCase<'_>) -> RateSum {
    let mut sum = RateSum::default();
    for entry in releasing(case, section) {
        sum.add(duty.nutrient.load(&entry.nutrients).saturating_mul(ALL), entry.area);
    }
    sum
}

/// Adds what the lines of this application set free in a month, but for one line.
fn add_lines(sum: &mut RateSum, duty: &Release, case: &Case<'_>, section: &SectionCase<'_>, but: Option<&LineFacts>) {
    let parts = released(case).raw();
    for line in section.lines.iter().filter(|line| but.is_none_or(|but| !std::ptr::eq(**line, but))) {
        let load = duty.nutrient.load(&line.nutrients(&case.facts.label));
        sum.add(load.saturating_mul(parts), line.area);
    }
}

pub(super) fn judge(duty: &Release, case: &Case<'_>, section: &SectionCase<'_>) -> Answer {
    let mut own = RateSum::default();
    add_lines(&mut own, duty, case, section, None);
    let before = earlier(duty, case, section);
    let mut all = before.clone();
    add_lines(&mut all, duty, case, section, None);
    // A product that releases nothing adds nothing, whatever lies there already.
    let fits = |sum: &RateSum| released(case).raw() == 0 || bound(duty).allows(sum);
    let (unit, limit) = (amount::unit(duty.nutrient), duty.limit);
    let (fits_alone, fits_with_all) = (fits(&own), fits(&all));
    let set_free = if fits_alone { &all } else { &own }.part_rounded_up(1, ALL);
    let answer = match (fits_alone, fits_with_all) {
        (true, true) => Answer::met(),
        (true, false) => {
            let days = list(&days(duty, case, section), Day::to_string, "and");
            let message = format!(
                "This load sets free {} {unit} in a month on {}, and what went down there on {days} may still set free up to {}; together it may be {} {limit}.",
                own.part_rounded_up(1, ALL),
                section.name(),
                before.part_rounded_up(1, ALL),
                duty.comparator.label(),
            );
            let less = amount::less(case, section, |line| largest(duty, case, section, line));
            let wait = format!(
                "A load of an enhanced-efficiency product is counted for {RELEASING_DAYS} days, since nothing shows how fast it is used up."
            );
            Answer::unknown(message, format!("{less} {wait}"))
        }
        (false, _) => too_much(duty, &own, case, section),
    };
    answer.with(limit.to_string(), Some(set_free.to_string()), unit)
}

/// This load alone sets free more than it may.
fn too_much(duty: &Release, own: &RateSum, case: &Case<'_>, section: &SectionCase<'_>) -> Answer {
    let free = own.part_rounded_up(1, ALL);
    let (name, than, limit, unit) = (section.name(), duty.comparator.label(), duty.limit, amount::unit(duty.nutrient));
    let less = amount::less(case, section, |line| largest(duty, case, section, line));
    match (case.facts.label.release_percent_per_month, duty.per) {
        (None, _) => Answer::unknown(
            format!(
                "The label does not say how much N it releases in a month; on {name} it may set free {than} {limit} {unit}."
            ),
            format!("Enter the monthly release that the label or its maker states. {less}"),
        ),
        (Some(_), ReleasePer::Month) => Answer::broken(
            format!("This load sets free {free} {unit} in a month on {name}; it may be {than} {limit}."),
            less,
        ),
        (Some(_), ReleasePer::AnyTime) => Answer::unknown(
            format!(
                "This load sets free {free} {unit} in a month on {name}; at any time it may be {than} {limit}, and nothing shows that it is."
            ),
            less,
        ),
    }
}

/// What certainly fits, with all that earlier loads may still set free. Nothing when the product releases nothing.
pub(super) fn largest(
    duty: &Release,
    case: &Case<'_>,
    section: &SectionCase<'_>,
    line: &LineFacts,
) -> Option<ProductMass> {
    let parts = i128::from(released(case).raw());
    if parts == 0 {
        return None;
    }
    let mut others = earlier(duty, case, section);
    add_lines(&mut others, duty, case, section, Some(line));
    let set_free = bound(duty).largest_load(&others, line.area);
    largest_product(set_free.div_euclid(parts), duty.nutrient.share(&case.facts.label))
}
