//! Not more than so many applications in a year. Loads of one day are one application.

use super::{Answer, Case, SectionCase, capital, interval};
use crate::{law::duty::CountYear, time::Day};

pub(super) fn judge(duty: CountYear, case: &Case<'_>, section: &SectionCase<'_>) -> Answer {
    let on = case.facts.on;
    let mut days = interval::days(duty.nutrient, section);
    if !days.contains(&on) {
        days.push(on);
    }
    let within = |first: Day, last: Day| days.iter().filter(|day| (first..=last).contains(*day)).count();
    let calendar = within(on.first_of_year(), on.last_of_year());
    let highest = if duty.calendar {
        calendar
    } else {
        // A record may be entered late, so the span of 365 days that ends on a later application counts as well.
        let ends = days.iter().filter(|end| (on..=on.plus_days(364)).contains(*end));
        ends.map(|end| within(end.plus_days(-364), *end)).max().unwrap_or(calendar).max(calendar)
    };
    let (most, nutrient) = (usize::from(duty.most), duty.nutrient.words());
    let answer = if highest <= most {
        Answer::met()
    } else {
        let year = if duty.calendar { format!("the calendar year {}", on.year()) } else { "a year".to_owned() };
        let message = format!(
            "This would be application {highest} of {nutrient} on {} in {year}; at most {most} are allowed.",
            section.name()
        );
        Answer::broken(capital(&message), format!("Wait for the first day on which fewer than {most} lie in the year."))
    };
    answer.with(most.to_string(), Some(highest.to_string()), "applications in a year")
}
