//! Days of the year on which nothing of a nutrient may go down, or less of it.
//!
//! Both named days are barred; a window may wrap the end of the year, and one that ends on February 29 ends on the 28th in
//! a year without it.

use super::{
    amount::{self, Bound},
    answer::Answer,
    case::{Case, SectionCase},
};
use crate::{
    facts::LineFacts,
    law::{
        comparator::Comparator,
        duty::{Window, WindowPer},
        month_day::month_day,
        nutrient::Nutrient,
    },
    quantity::{NutrientRate, ProductMass, RateSum},
    time::Day,
};

/// Whether the window's caps leave nothing of something that the product holds.
pub(super) fn closed_for(window: &Window, case: &Case<'_>) -> bool {
    closed_nutrients(window, case).next().is_some()
}

fn closed_nutrients<'w>(window: &'w Window, case: &'w Case<'_>) -> impl Iterator<Item = Nutrient> + 'w {
    let closed = window.caps.iter().filter(|(_, rate)| rate.is_zero()).map(|(nutrient, _)| *nutrient);
    closed.filter(|nutrient| nutrient.share(&case.facts.label).raw() > 0)
}

/// The season as a whole: open, or closed for something the product holds.
pub(super) fn judge_season(window: &Window, unless_credential: Option<&str>, case: &Case<'_>) -> Option<Answer> {
    let (first, last) = (month_day(window.first_barred), month_day(window.last_barred));
    let season = format!("{first} through {last}");
    if !window.holds_on(case.facts.on) {
        return Some(Answer::met().with(season, Some(case.facts.on.to_string()), "day"));
    }
    let closed: Vec<Nutrient> = closed_nutrients(window, case).collect();
    if closed.is_empty() {
        return None;
    }
    let what = crate::text::list(&closed, |nutrient| nutrient.label().to_owned(), "or");
    let message = format!("The season is closed: from {season} no {what} may go down, and this product holds it.");
    let open = first_open_day(window, case).map(|day| format!("The first open day for this product is {day}."));
    let holder = unless_credential.map(|code| format!("Whoever holds `{code}` may put it down."));
    let hint: Vec<String> = open.into_iter().chain(holder).collect();
    Some(Answer::broken(message, hint.join(" ")).with(season, Some(case.facts.on.to_string()), "day"))
}

/// The first and the last day of the window that holds a day.
fn occurrence(window: &Window, day: Day) -> (Day, Day) {
    let wraps = window.first_barred > window.last_barred;
    let today = (day.date().month(), day.date().day());
    let first_year = if wraps && today <= window.last_barred { day.year() - 1 } else { day.year() };
    let last_year = if wraps { first_year + 1 } else { first_year };
    let on = |year: i16, (month, date): (i8, i8)| {
        // Only February 29 can be missing in a year.
        Day::new(year, month, date).or_else(|_| Day::new(year, month, 28)).unwrap_or(day)
    };
    (on(first_year, window.first_barred), on(last_year, window.last_barred))
}

/// What earlier applications put down that counts against the window's cap.
fn past(window: &Window, nutrient: Nutrient, case: &Case<'_>, section: &SectionCase<'_>) -> RateSum {
    if window.per == WindowPer::Application {
        return amount::of_day(nutrient, case, section);
    }
    let mut sum = RateSum::default();
    let (first, last) = occurrence(window, case.facts.on);
    for entry in section.past.iter().filter(|entry| (first..=last).contains(&entry.on)) {
        sum.add(nutrient.load(&entry.nutrients), entry.area);
    }
    sum
}

fn bound(nutrient: Nutrient, rate: NutrientRate) -> Bound {
    Bound { limit: nutrient.limit(rate), comparator: Comparator::AtMost }
}

/// The caps above zero of a nutrient that the product holds, on a barred day.
fn lowered<'w>(window: &'w Window, case: &'w Case<'_>) -> impl Iterator<Item = (Nutrient, NutrientRate)> + 'w {
    let holds = window.holds_on(case.facts.on);
    let held = |nutrient: Nutrient| nutrient.share(&case.facts.label).raw() > 0;
    window.caps.iter().copied().filter(move |(nutrient, rate)| holds && !rate.is_zero() && held(*nutrient))
}

/// The lowered caps of the window on one section.
pub(super) fn judge_caps(window: &Window, case: &Case<'_>, section: &SectionCase<'_>) -> Option<Answer> {
    let mut met = None;
    for (nutrient, rate) in lowered(window, case) {
        let mut sum = past(window, nutrient, case, section);
        let with_earlier = amount::with_earlier(&sum, case, section);
        amount::add_lines(&mut sum, nutrient, case, section, None);
        let (actual, unit) = (nutrient.rate(&sum), amount::unit(nutrient));
        let numbers = |answer: Answer| answer.with(rate.to_string(), Some(actual.to_string()), unit);
        if bound(nutrient, rate).allows(&sum) {
            met = met.or_else(|| Some(numbers(Answer::met())));
            continue;
        }
        let (whole, with_earlier) = match window.per {
            WindowPer::Window => (", all loads of the window together", ""),
            WindowPer::Application => ("", with_earlier),
        };
        let message = format!(
            "From {} through {} at most {rate} {unit} may go down{whole}; this{with_earlier} would make {actual} on {}.",
            month_day(window.first_barred),
            month_day(window.last_barred),
            section.name()
        );
        let hint = amount::less(case, section, |line| largest(window, case, section, line));
        return Some(numbers(Answer::broken(message, hint)));
    }
    met
}

pub(super) fn largest(
    window: &Window,
    case: &Case<'_>,
    section: &SectionCase<'_>,
    line: &LineFacts,
) -> Option<ProductMass> {
    if window.holds_on(case.facts.on) && closed_for(window, case) {
        return Some(ProductMass::ZERO);
    }
    let masses = lowered(window, case).filter_map(|(nutrient, rate)| {
        let mut others = past(window, nutrient, case, section);
        amount::add_lines(&mut others, nutrient, case, section, Some(line));
        bound(nutrient, rate).largest(&others, nutrient, line, &case.facts.label)
    });
    masses.min()
}

/// The first day after the one asked about on which neither the season that is reported nor one that may refuse closes the
/// product. Another season that only warns moves no day.
fn first_open_day(reported: &Window, case: &Case<'_>) -> Option<Day> {
    let closed = |day: Day| {
        let mut seasons = case.windows.iter().copied().chain([reported]);
        seasons.any(|season| season.holds_on(day) && closed_for(season, case))
    };
    (1..=366).map(|days| case.facts.on.plus_days(days)).find(|day| !closed(*day))
}
