//! Not more than so much of a nutrient in a year.
//!
//! Laws seldom say which year they mean, so both are tested: the calendar year, and every span of 365 days that holds the
//! day. A record may be entered late, and then the span that ends on a later entry can be the one that breaks.

use super::{Answer, Case, SectionCase, amount, amount::Bound};
use crate::{
    application::{LineFacts, PastApplication},
    land::Species,
    law::{
        duty::{CapYear, Counts, YearAmount},
        model::Scope,
        nutrient::Nutrient,
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

    fn words(&self) -> String {
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
    let (on, past) = (case.facts.on, &section.section.past);
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

/// Which limit holds on a section.
enum Amount {
    Is(NutrientRate),
    /// The species is not recorded: the lowest and the highest number of the table.
    Between(NutrientRate, NutrientRate),
    /// The table has no number for the species.
    None(Species),
}

fn amount_on(duty: &CapYear, section: &SectionCase<'_>) -> Amount {
    let rates = match &duty.amount {
        YearAmount::One(rate) => return Amount::Is(*rate),
        YearAmount::BySpecies(rates) => rates,
    };
    let Some(species) = section.section.species else {
        let all = || rates.iter().map(|(_, rate)| *rate);
        return Amount::Between(all().min().unwrap_or(NutrientRate::ZERO), all().max().unwrap_or(NutrientRate::ZERO));
    };
    let found = rates.iter().find(|(known, _)| *known == species);
    found.map_or(Amount::None(species), |(_, rate)| Amount::Is(*rate))
}

impl Amount {
    /// The limit that certainly suffices.
    const fn lowest(&self) -> Option<NutrientRate> {
        match self {
            Self::Is(rate) | Self::Between(rate, _) => Some(*rate),
            Self::None(_) => None,
        }
    }
}

fn counted<'d>(duty: &'d CapYear, scope: &'d Scope) -> impl Fn(&PastApplication) -> bool + 'd {
    let same = |wanted: Option<bool>, fact: bool| wanted.is_none_or(|wanted| wanted == fact);
    move |entry| {
        duty.counts == Counts::AllProducts
            || (same(scope.enhanced_efficiency, entry.enhanced_efficiency)
                && same(scope.organic, entry.organic)
                && (scope.purposes.is_empty() || scope.purposes.contains(&entry.purpose)))
    }
}

fn bound(duty: &CapYear, rate: NutrientRate) -> Bound {
    Bound { limit: duty.nutrient.limit(rate), comparator: duty.comparator }
}

pub(super) fn judge(duty: &CapYear, scope: &Scope, case: &Case<'_>, section: &SectionCase<'_>) -> Answer {
    let (name, nutrient) = (section.name(), duty.nutrient.words());
    let amount = amount_on(duty, section);
    let Some(limit) = amount.lowest() else {
        let Amount::None(species) = amount else { return Answer::met() };
        let message = format!("The yearly table has no number for {}, which grows on {name}.", species.words());
        return Answer::care(message, "Ask the office which yearly amount of N fits this turf.");
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
    let answer = match (broken.as_slice(), &amount) {
        ([], _) => Answer::met(),
        (_, Amount::Between(_, highest)) if breaking(*highest).is_empty() => Answer::unknown(
            format!(
                "The yearly limit on {name} follows from the turf species, and none is recorded; the lowest of the table, {limit} lb {nutrient} per 1,000 sq ft, would be passed."
            ),
            "Record the turf species of the section.",
        ),
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
    // Room is counted in the nutrient that labels state; of phosphorus it would not be the limit's own unit.
    let name = section.name();
    let left = match before {
        // Room is counted in the nutrient that labels state; of phosphorus it would not be in the limit's own unit.
        _ if duty.nutrient == Nutrient::Phosphorus => format!("Too little is left on {name}"),
        Some(room) if room.raw() > 0 => format!("Only {room} {unit} is left on {name}"),
        _ => format!("Nothing is left on {name}"),
    };
    let spans = crate::law::list(broken, |(span, _)| span.words(), "and");
    let than = duty.comparator.words();
    format!("{left} {spans}; this load puts down {load}, and a year may get {than} {limit} {unit}.")
}

pub(super) fn largest(
    duty: &CapYear,
    scope: &Scope,
    case: &Case<'_>,
    section: &SectionCase<'_>,
    line: &LineFacts,
) -> Option<ProductMass> {
    let bound = bound(duty, amount_on(duty, section).lowest()?);
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
    let limit = amount_on(duty, section).lowest()?;
    let spans = spans(duty.nutrient, counted(duty, scope), case, section);
    let before = spans.iter().map(|span| span.past.room_rounded_down(limit)).min()?;
    let after =
        spans.iter().map(|span| span.with_lines(duty.nutrient, case, section).room_rounded_down(limit)).min()?;
    Some((before, after))
}
