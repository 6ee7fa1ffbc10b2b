//! Not more than so much of a nutrient in a year.
//!
//! Laws seldom say which year they mean, so both are tested: the calendar year, and every span of 365 days that holds the
//! day. A record may be entered late, and then the span that ends on a later entry can be the one that breaks.

use super::{
    amount::{self, Bound, OnSection},
    answer::Answer,
    case::{Case, SectionCase},
};
use crate::{
    facts::{LineFacts, PastApplication},
    law::{
        duty::{CapYear, Counts},
        nutrient::Nutrient,
        scope::{Covered, Scope},
    },
    quantity::{NutrientRate, NutrientRoom, ProductMass, RateSum},
    time::Day,
};

/// A span of time with what earlier applications put down in it.
#[derive(Debug)]
pub(super) struct Span {
    last: Day,
    calendar: bool,
    past: RateSum,
}

impl Span {
    /// What earlier applications put down in it.
    pub(super) fn into_past(self) -> RateSum {
        self.past
    }

    pub(super) fn label(&self) -> String {
        if self.calendar {
            format!("in the calendar year {}", self.last.year())
        } else {
            format!("in the 365 days to {}", self.last)
        }
    }

    pub(super) fn with_lines(&self, nutrient: Nutrient, case: &Case<'_>, section: &SectionCase<'_>) -> RateSum {
        let mut sum = self.past.clone();
        amount::add_lines(&mut sum, nutrient, case, section, None);
        sum
    }
}

/// The calendar year and every span of 365 days that holds the day and ends on it or on a later entry.
pub(super) fn spans(
    nutrient: Nutrient,
    counted: impl Fn(&PastApplication) -> bool,
    case: &Case<'_>,
    section: &SectionCase<'_>,
) -> Vec<Span> {
    let (on, past) = (case.facts.on, &section.past);
    let sum = |first: Day, last: Day, calendar: bool| {
        let mut sum = RateSum::default();
        for entry in past.iter().filter(|entry| (first..=last).contains(&entry.on) && counted(entry)) {
            sum.add(nutrient.load(&entry.nutrients), entry.area);
        }
        Span { last, calendar, past: sum }
    };
    let furthest = on.plus_days(364);
    let mut ends = vec![on];
    ends.extend(past.iter().map(|entry| entry.on).filter(|day| *day > on && *day <= furthest));
    ends.sort_unstable();
    ends.dedup();
    let mut spans = vec![sum(on.first_of_year(), on.last_of_year(), true)];
    spans.extend(ends.into_iter().map(|end| sum(end.plus_days(-364), end, false)));
    spans
}

fn counted<'d>(duty: &'d CapYear, scope: &'d Scope) -> impl Fn(&PastApplication) -> bool + 'd {
    // What is not known to lie outside is counted.
    move |entry| duty.counts == Counts::AllProducts || scope.covers_earlier(entry) != Covered::No
}

/// The year in which more of the nutrient has gone down already, which leaves less; nothing when both leave the same.
pub(super) fn stricter_year(
    duty: &CapYear,
    scope: &Scope,
    case: &Case<'_>,
    section: &SectionCase<'_>,
) -> Option<String> {
    let spans = spans(duty.nutrient, counted(duty, scope), case, section);
    let put_down = |span: &Span| duty.nutrient.rate(&span.past);
    // An entry that was taken back again ends a span, too: such a span holds no more than an earlier one, so only the fullest counts,
    // and of equals the first.
    let (calendar, rolling) = spans.split_first()?;
    let fullest = rolling.iter().rev().max_by_key(|span| put_down(span))?;
    let stricter = if put_down(calendar) > put_down(fullest) { calendar } else { fullest };
    (put_down(calendar) != put_down(fullest)).then(|| format!("Less is left {}", stricter.label()))
}

fn bound(duty: &CapYear, rate: NutrientRate) -> Bound {
    Bound { limit: duty.nutrient.limit(rate), comparator: duty.comparator }
}

pub(super) fn judge(duty: &CapYear, scope: &Scope, case: &Case<'_>, section: &SectionCase<'_>) -> Answer {
    let on_section = amount::on_section(&duty.amount, section);
    let limit = match on_section {
        OnSection::Is(limit) | OnSection::Between(limit, _) => limit,
        OnSection::None(species) => return amount::no_number("a year", species, section),
    };
    let spans = spans(duty.nutrient, counted(duty, scope), case, section);
    let sums: Vec<RateSum> = spans.iter().map(|span| span.with_lines(duty.nutrient, case, section)).collect();
    let breaking = |rate: NutrientRate| {
        let bound = bound(duty, rate);
        spans.iter().zip(&sums).filter(move |(_, sum)| !bound.allows(sum)).collect::<Vec<_>>()
    };
    let highest = sums.iter().map(|sum| duty.nutrient.rate(sum)).max().unwrap_or(NutrientRate::ZERO);
    let broken = breaking(limit);
    let unit = amount::unit(duty.nutrient);
    let answer = match (broken.as_slice(), on_section) {
        ([], _) => Answer::met(),
        (_, OnSection::Between(_, highest)) if breaking(highest).is_empty() => {
            amount::not_told_apart(&duty.amount, duty.nutrient, limit, section)
        }
        (broken, _) => {
            let message = too_much(duty, limit, broken, case, section);
            Answer::broken(message, amount::less(case, section, |line| largest(duty, scope, case, section, line)))
        }
    };
    answer.with(limit.to_string(), Some(highest.to_string()), unit)
}

fn too_much(
    duty: &CapYear,
    limit: NutrientRate,
    broken: &[(&Span, &RateSum)],
    case: &Case<'_>,
    section: &SectionCase<'_>,
) -> String {
    let load = duty.nutrient.rate(&amount::of_lines(duty.nutrient, case, section));
    let unit = amount::unit(duty.nutrient);
    let before = broken.iter().map(|(span, _)| span.past.room_rounded_down(duty.nutrient.limit(limit))).min();
    let name = section.name();
    let left = match before {
        // Room is counted in the nutrient that labels state; of phosphorus it would not be in the limit's own unit.
        _ if duty.nutrient == Nutrient::Phosphorus => format!("Too little is left on {name}"),
        Some(room) if room.raw() > 0 => format!("Only {room} {unit} is left on {name}"),
        _ => format!("Nothing is left on {name}"),
    };
    let spans = crate::text::list(broken, |(span, _)| span.label(), "and");
    let than = duty.comparator.label();
    format!("{left} {spans}; this load puts down {load}, and a year may get {than} {limit} {unit}.")
}

pub(super) fn largest(
    duty: &CapYear,
    scope: &Scope,
    case: &Case<'_>,
    section: &SectionCase<'_>,
    line: &LineFacts,
) -> Option<ProductMass> {
    let bound = bound(duty, amount::on_section(&duty.amount, section).lowest()?);
    let spans = spans(duty.nutrient, counted(duty, scope), case, section);
    let masses = spans.into_iter().filter_map(|mut span| {
        amount::add_lines(&mut span.past, duty.nutrient, case, section, Some(line));
        bound.largest(&span.past, duty.nutrient, line, &case.facts.label)
    });
    masses.min()
}

pub(super) fn nitrogen_room(
    duty: &CapYear,
    scope: &Scope,
    case: &Case<'_>,
    section: &SectionCase<'_>,
) -> Option<(NutrientRoom, NutrientRoom)> {
    if duty.nutrient != Nutrient::NitrogenTotal {
        return None;
    }
    let limit = amount::on_section(&duty.amount, section).lowest()?;
    let spans = spans(duty.nutrient, counted(duty, scope), case, section);
    let before = spans.iter().map(|span| span.past.room_rounded_down(limit)).min()?;
    let after =
        spans.iter().map(|span| span.with_lines(duty.nutrient, case, section).room_rounded_down(limit)).min()?;
    Some((before, after))
}
