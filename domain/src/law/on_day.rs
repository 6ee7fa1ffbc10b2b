//! The rules as people read them: what each says on a day, in one sentence with its numbers.

use serde::{Deserialize, Serialize};

use super::{
    RuleSet,
    duty::{Counts, Duty, MonthDay, PhosphorusNeed, Proof, ReleasePer, Setback, Window, WindowPer, YearAmount},
    model::{Binds, Kind, Rule, Scope, Standing},
    nutrient::Nutrient,
};
use crate::{
    application::{Audience, Purpose},
    decision::Mark,
    product::ProductForm,
    time::Day,
};

/// The four answers to "does this rule hold on that day".
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum InForce {
    InForce,
    Repealed,
    /// The duty began later.
    NotYet,
    /// No text was read for that day.
    Unknown,
}

/// What one rule says on one day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct RuleOnDay {
    #[cfg_attr(feature = "schema", schema(max_length = 120, example = "us-pa.nitrogen.quick.application"))]
    pub rule: String,
    #[cfg_attr(feature = "schema", schema(max_length = 60, example = "us-pa"))]
    pub rule_set: String,
    pub kind: Kind,
    pub binds: Binds,
    #[cfg_attr(feature = "schema", schema(max_items = 2))]
    pub audience: Vec<Audience>,
    /// Recommended only: it warns and never refuses.
    pub advice: bool,
    pub in_force: InForce,
    /// The duty in one plain sentence.
    #[cfg_attr(feature = "schema", schema(max_length = 600))]
    pub words: String,
    /// First day of this answer, if that is known.
    pub since: Option<Day>,
    /// Last day of this answer, if a later one is written.
    pub until: Option<Day>,
    #[cfg_attr(feature = "schema", schema(max_length = 400))]
    pub citation: String,
    #[cfg_attr(feature = "schema", schema(max_length = 600))]
    pub href: Option<String>,
    pub mark: Mark,
    /// Rows of the reading notes.
    #[cfg_attr(feature = "schema", schema(max_items = 20, value_type = Vec<super::RowId>))]
    pub rows: Vec<String>,
}

pub(super) fn rules(set: &RuleSet, day: Day) -> impl Iterator<Item = RuleOnDay> {
    set.rules.iter().filter_map(move |rule| Some(on_day(&set.about.code, rule, rule.on(day)?, day)))
}

fn on_day(set: &str, rule: &Rule, standing: Standing<'_>, day: Day) -> RuleOnDay {
    let (value, in_force, since, words) = match standing {
        Standing::InForce(value, duty) => (
            value,
            InForce::InForce,
            Some(value.from),
            limited(&format!("{}{}.", duty.words(), rule.scope.words()), 600),
        ),
        Standing::Repealed(value) => {
            (value, InForce::Repealed, Some(value.from), format!("Repealed from {} on.", value.from))
        }
        Standing::NotYet(value) => (value, InForce::NotYet, None, format!("Begins on {}.", value.from)),
        Standing::Unknown(value) => {
            (value, InForce::Unknown, None, format!("The oldest text that was read is of {}.", value.from))
        }
    };
    let later = rule.values.iter().find(|value| value.from > day);
    RuleOnDay {
        rule: rule.id.clone(),
        rule_set: set.to_owned(),
        kind: rule.kind,
        binds: rule.binds,
        audience: rule.audience.clone(),
        advice: rule.advice,
        in_force,
        words,
        since,
        until: later.map(|value| value.from.plus_days(-1)),
        citation: value.source.citation.clone(),
        href: value.source.href.clone(),
        mark: value.source.mark,
        rows: value.source.rows.clone(),
    }
}

/// Cuts a text so that it keeps to its longest length.
pub(crate) fn limited(text: &str, longest: usize) -> String {
    if text.chars().count() <= longest {
        return text.to_owned();
    }
    text.chars().take(longest.saturating_sub(1)).chain(['\u{2026}']).collect()
}

/// `a`, `a and b`, `a, b and c`.
pub(crate) fn list<T>(items: &[T], words: impl Fn(&T) -> String, last: &str) -> String {
    let words: Vec<String> = items.iter().map(words).collect();
    match words.split_last() {
        None => String::new(),
        Some((only, [])) => only.clone(),
        Some((end, rest)) => format!("{} {last} {end}", rest.join(", ")),
    }
}

const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

/// `December 16`.
pub(crate) fn month_day((month, day): MonthDay) -> String {
    let name = usize::try_from(month).ok().and_then(|month| MONTHS.get(month.wrapping_sub(1))).unwrap_or(&"");
    format!("{name} {day}")
}

pub(crate) const fn purpose(purpose: Purpose) -> &'static str {
    match purpose {
        Purpose::Maintenance => "feeding an established lawn",
        Purpose::Establishment => "first establishment",
        Purpose::Repair => "repair of turf",
    }
}

impl Scope {
    /// What narrows the rule, ready to be put behind its sentence.
    fn words(&self) -> String {
        let mut parts = Vec::new();
        for form in &self.forms {
            parts.push(match form {
                ProductForm::Granular => "granular products".to_owned(),
                ProductForm::Liquid => "liquid products".to_owned(),
            });
        }
        let kinds = [
            (self.enhanced_efficiency, "enhanced-efficiency products"),
            (self.organic, "natural organic products"),
            (self.labelled_for_establishment, "products labelled for establishment or repair"),
        ];
        parts.extend(kinds.iter().filter_map(|(wanted, words)| {
            wanted.map(|wanted| if wanted { (*words).to_owned() } else { format!("other than {words}") })
        }));
        if !self.purposes.is_empty() {
            parts.push(list(&self.purposes, |wanted| purpose(*wanted).to_owned(), "or"));
        }
        if parts.is_empty() { String::new() } else { format!(" ({})", parts.join("; ")) }
    }
}

fn of_nutrients(nutrients: &[Nutrient]) -> String {
    if nutrients.is_empty() { "fertilizer".to_owned() } else { list(nutrients, |one| one.words().to_owned(), "or") }
}

impl Duty {
    /// The duty in one sentence without its full stop.
    pub(crate) fn words(&self) -> String {
        match self {
            Self::CapApplication(cap) => format!(
                "One application puts down {} {} lb {} on 1,000 sq ft",
                cap.comparator.words(),
                cap.limit,
                cap.nutrient.words()
            ),
            Self::CapYear(cap) => {
                let amount = match &cap.amount {
                    YearAmount::One(rate) => format!("{rate} lb"),
                    YearAmount::BySpecies(rates) => {
                        list(rates, |(species, rate)| format!("{rate} lb on {}", species.words()), "and")
                    }
                };
                let counts = if cap.counts == Counts::WithinScope { ", counting only such products" } else { "" };
                let (least, nutrient) = (cap.comparator.words(), cap.nutrient.words());
                format!("A year puts down {least} {amount} of {nutrient} on 1,000 sq ft{counts}")
            }
            Self::Window(window) => window.words(),
            Self::PhosphorusNeed(need) => need.words(),
            Self::SoilReportBefore(duty) => {
                let age = duty.report_months.map_or_else(String::new, |months| format!(" at most {months} months old"));
                let which = if duty.application == 1 { "first" } else { "second" };
                let nutrient = duty.nutrient.words();
                let which = if duty.application > 2 { format!("{}th", duty.application) } else { which.to_owned() };
                format!("A soil report{age} lies before the {which} application of {nutrient} to a section")
            }
            Self::Setback(setback) => setback.words(),
            Self::Ground(duty) => format!(
                "No {} on ground that is {}",
                of_nutrients(&duty.nutrients),
                list(&duty.barred, |ground| ground.words().to_owned(), "or")
            ),
            Self::Rain(duty) => format!(
                "No {} when {} {} in of rain is forecast within {} hours",
                of_nutrients(&duty.nutrients),
                duty.comparator.words(),
                duty.amount,
                duty.hours
            ),
            Self::Alerts(duty) => {
                let words = |alert: &crate::weather::Alert| format!("{} {}", alert.event.words(), alert.level.words());
                format!("No {} under a {}", of_nutrients(&duty.nutrients), list(&duty.alerts, words, "or"))
            }
            Self::Heat(duty) => {
                let (than, nutrient) = (duty.comparator.words(), duty.nutrient.words());
                format!("No {nutrient} in air of {than} {} °F", duty.temperature)
            }
            Self::SlowShare(duty) => {
                format!("Of all N {} {} % is slow-release", duty.comparator.words(), duty.share)
            }
            Self::HoldAfterSeeding(duty) => {
                format!("No {} until {} days after seeding or sodding", duty.nutrient.words(), duty.days)
            }
            Self::Surface(nutrients) => {
                format!("No {} stays on pavement; it is swept or blown back", of_nutrients(nutrients))
            }
            Self::Release(duty) => {
                let span = if duty.per == ReleasePer::Month { "in a month" } else { "at any time" };
                let than = duty.comparator.words();
                format!("An enhanced-efficiency product sets free {than} {} lb N on 1,000 sq ft {span}", duty.limit)
            }
        }
    }
}

impl Window {
    fn words(&self) -> String {
        let cap = |(nutrient, rate): &(Nutrient, crate::quantity::NutrientRate)| {
            if rate.is_zero() {
                format!("no {}", nutrient.words())
            } else {
                let whole = if self.per == WindowPer::Window { " in all" } else { "" };
                format!("at most {rate} lb {} on 1,000 sq ft{whole}", nutrient.words())
            }
        };
        let (first, last) = (month_day(self.first_barred), month_day(self.last_barred));
        format!("From {first} through {last}: {}", list(&self.caps, cap, "and"))
    }
}

impl PhosphorusNeed {
    fn words(&self) -> String {
        let above = if self.threshold.is_zero() { String::new() } else { format!(" with over {} %", self.threshold) };
        let age = self.report_months.map_or_else(String::new, |months| format!(" of the last {months} months"));
        let report = match self.soil_report {
            Proof::Never => String::new(),
            Proof::Recommendation => format!(" where a soil report{age} shows a need"),
            Proof::Category => {
                let categories = list(&self.categories, |category| category.words().to_owned(), "or");
                format!(" where a soil report{age} rates phosphorus {categories}")
            }
        };
        let rate = if self.up_to_recommended { ", and never more than it recommends" } else { "" };
        let most = self.product_at_most.map_or_else(String::new, |most| format!(", in a product of at most {most} %"));
        let excused = list(&self.excuses, |scope| scope.words().trim().to_owned(), "or");
        let excused = if excused.is_empty() { excused } else { format!(", or without a report: {excused}") };
        let only = if report.is_empty() && excused.is_empty() { "" } else { " only" };
        format!("P2O5{above}{only}{report}{rate}{most}{excused}")
    }
}

impl Setback {
    fn words(&self) -> String {
        let (than, distance, from) = (self.comparator.words(), self.distance, &self.measured_from);
        let reduced = self.reduced.as_ref().map_or_else(String::new, |(shorter, equipment)| {
            format!(", {shorter} ft with {}", list(equipment, |one| one.words().to_owned(), "or"))
        });
        let strip = self
            .waived_by_strip
            .map_or_else(String::new, |strip| format!(", none behind a strip of natural vegetation {strip} ft wide"));
        let purposes = if self.waived_purposes.is_empty() {
            String::new()
        } else {
            format!(", none for {}", list(&self.waived_purposes, |wanted| purpose(*wanted).to_owned(), "or"))
        };
        format!("Keep {than} {distance} ft from {from}{reduced}{strip}{purposes}")
    }
}
