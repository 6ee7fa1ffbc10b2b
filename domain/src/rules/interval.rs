//! Not oftener than every so many days. It needs the list of days, not a sum of pounds.

use super::{
    answer::Answer,
    case::{Case, SectionCase},
};
use crate::{
    facts::PastApplication,
    law::{duty::Interval, nutrient::Nutrient},
    text::capital,
    time::Day,
};

/// The days on which the nutrient was put down and not taken back, in order. Two loads of one day are one application.
pub(super) fn days(nutrient: Nutrient, section: &SectionCase<'_>) -> Vec<Day> {
    let past = &section.past;
    let mut days: Vec<Day> = past.iter().map(|entry| entry.on).collect();
    days.sort_unstable();
    days.dedup();
    // A reversal is an entry below zero; it takes the entry it reverses out of the count.
    let stands = |day: &Day| {
        past.iter().filter(|entry| entry.on == *day).map(|entry| nutrient.sign(&entry.nutrients)).sum::<i64>() > 0
    };
    days.retain(stands);
    days
}

pub(super) fn judge(duty: Interval, case: &Case<'_>, section: &SectionCase<'_>) -> Answer {
    let (on, least) = (case.facts.on, i32::from(duty.days));
    let between = |day: Day| on.days_since(day).abs();
    // A record may be entered late, so a later application counts as well.
    let others = days(duty.nutrient, section).into_iter().filter(|day| *day != on);
    let nearest = others.min_by_key(|day| (between(*day), *day));
    let answer = match nearest {
        Some(day) if between(day) < least => {
            let (name, nutrient, gap) = (section.name(), duty.nutrient.label(), between(day));
            let away = if gap == 1 { "a day".to_owned() } else { format!("{gap} days") };
            let only_held = of_day(duty.nutrient, section, day).all(|entry| entry.held);
            let (gets, give_back) = if only_held {
                let gets = format!("a clearance holds room for {nutrient} on {name} for {day}");
                (gets, " Or give that clearance back if its work is not to be done.")
            } else {
                (format!("{name} gets {nutrient} on {day}"), "")
            };
            let message = format!("{gets}, {away} away; at least {least} days must lie between two applications.");
            let first = first_day_after(on, least, &days(duty.nutrient, section));
            Answer::broken(capital(&message), format!("{first}{give_back}"))
        }
        _ => Answer::met(),
    };
    answer.with(least.to_string(), nearest.map(|day| between(day).to_string()), "days between")
}

/// The loads of the nutrient on a day.
fn of_day<'s>(
    nutrient: Nutrient,
    section: &'s SectionCase<'_>,
    day: Day,
) -> impl Iterator<Item = &'s PastApplication> + use<'s> {
    section.past.iter().filter(move |entry| entry.on == day && nutrient.sign(&entry.nutrients) != 0)
}

/// The first day from the one asked about on that is far enough from every other application.
pub(super) fn first_day_after(on: Day, least: i32, days: &[Day]) -> String {
    let far = |day: &Day| days.iter().all(|other| day.days_since(*other).abs() >= least);
    // Each other application bars fewer than twice `least` days, so the first free one is not further off than this.
    let furthest = days.iter().fold(2 * least, |furthest, _| furthest.saturating_add(2 * least));
    let first = (1..=furthest).map(|later| on.plus_days(later)).find(far);
    first.map_or_else(String::new, |day| format!("The first day that is far enough from every other is {day}."))
}
