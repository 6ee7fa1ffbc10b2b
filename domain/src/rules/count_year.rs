//! Not more than so many applications in a year. Loads of one day are one application.

use super::{
    answer::Answer,
    case::{Case, SectionCase},
    interval,
};
use crate::{
    law::duty::CountYear,
    text::{capital, ordinal},
    time::Day,
};

/// The most applications that lie in the calendar year of a day, or in a span of 365 days that holds it, with one on the day
/// itself, and which of the years that is. A record may be entered late, so a span may end on a later application.
pub(super) fn highest(duty: CountYear, others: &[Day], on: Day) -> (usize, String) {
    let within =
        |first: Day, last: Day| others.iter().filter(|day| **day != on && (first..=last).contains(*day)).count() + 1;
    let calendar = (within(on.first_of_year(), on.last_of_year()), format!("the calendar year {}", on.year()));
    if duty.calendar {
        return calendar;
    }
    let ends = others.iter().copied().chain([on]).filter(|end| (on..=on.plus_days(364)).contains(end));
    let spans = ends.map(|end| (within(end.plus_days(-364), end), format!("the 365 days to {end}")));
    // Of equal counts the calendar year is named, which is the easier one to follow.
    spans.chain([calendar]).max_by_key(|(count, _)| *count).unwrap_or_default()
}

pub(super) fn judge(duty: CountYear, case: &Case<'_>, section: &SectionCase<'_>) -> Answer {
    let on = case.facts.on;
    let days = interval::days(duty.nutrient, section);
    let (highest, year) = highest(duty, &days, on);
    let (most, nutrient) = (usize::from(duty.most), duty.nutrient.label());
    let answer = if highest <= most {
        Answer::met()
    } else {
        let message = format!(
            "This would be the {} application of {nutrient} on {} in {year}; at most {most} are allowed.",
            ordinal(highest),
            section.name()
        );
        Answer::broken(capital(&message), first_day(duty, &days, on))
    };
    answer.with(most.to_string(), Some(highest.to_string()), "applications in a year")
}

/// The first later day on which one more application is allowed.
fn first_day(duty: CountYear, days: &[Day], on: Day) -> String {
    let allowed = |day: &Day| highest(duty, days, *day).0 <= usize::from(duty.most);
    let first = (1..=2 * 366).map(|later| on.plus_days(later)).find(allowed);
    first.map_or_else(String::new, |day| format!("The first day on which another one is allowed is {day}."))
}
