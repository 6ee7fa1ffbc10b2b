//! Each duty in one plain sentence with its numbers.

use super::{
    disclosure::AreaThreshold,
    duty::{Amount, Counts, Duty, PhosphorusNeed, Proof, Rain, ReleasePer, Setback, SlowShare, Window, WindowPer},
    month_day::month_day,
    nutrient::Nutrient,
    scope::Scope,
};
use crate::{application::Purpose, product::ProductForm, text::list};

impl Scope {
    /// What narrows the rule, ready to be put behind its sentence.
    pub(super) fn label(&self) -> String {
        let parts = self.parts();
        if parts.is_empty() { String::new() } else { format!(" ({})", parts.join("; ")) }
    }

    pub(super) fn parts(&self) -> Vec<String> {
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
            (self.compost, "compost"),
            (self.enhanced_efficiency_phosphorus, "products with enhanced-efficiency phosphorus"),
            (self.pesticide, "combination products, which are pesticides too"),
        ];
        parts.extend(kinds.iter().filter_map(|(wanted, words)| {
            wanted.map(|wanted| if wanted { (*words).to_owned() } else { format!("other than {words}") })
        }));
        if let Some(least) = self.slow_share_at_least {
            parts.push(format!("products whose N is at least {least} % slow-release"));
        }
        if let Some(below) = self.slow_share_below {
            parts.push(format!("products whose N is less than {below} % slow-release"));
        }
        if let Some(over) = self.phosphate_over {
            parts.push(format!("products with more than {over} % P2O5"));
        }
        if !self.purposes.is_empty() {
            parts.push(list(&self.purposes, |wanted| wanted.label().to_owned(), "or"));
        }
        parts
    }
}

fn of_nutrients(nutrients: &[Nutrient]) -> String {
    if nutrients.is_empty() { "fertilizer".to_owned() } else { list(nutrients, |one| one.label().to_owned(), "or") }
}

impl Duty {
    /// The duty in one sentence without its full stop.
    pub(crate) fn sentence(&self) -> String {
        match self {
            Self::CapApplication(cap) => {
                let amount = cap.amount.sentence(cap.nutrient);
                format!("One application puts down {}{amount}", cap.comparator.label())
            }
            Self::CapYear(cap) => {
                let counts = if cap.counts == Counts::WithinScope { ", counting only such products" } else { "" };
                let amount = cap.amount.sentence(cap.nutrient);
                let years = "; the calendar year and any 365 days both count";
                format!("A year puts down {}{amount}{counts}{years}", cap.comparator.label())
            }
            Self::Window(window) => window.sentence(),
            Self::PhosphorusNeed(need) => need.sentence(),
            Self::SoilReportBefore(duty) => {
                let age = duty.report_months.map_or_else(String::new, |months| format!(" at most {months} months old"));
                let (which, nutrient) = (ordinal(duty.application), duty.nutrient.label());
                format!("A soil report{age} lies before the {which} application of {nutrient} to a section")
            }
            Self::Setback(setback) => setback.sentence(),
            Self::Ground(duty) => format!("No {} on ground that is {}", of_nutrients(&duty.nutrients), duty.label()),
            Self::Rain(duty) => duty.sentence(),
            Self::Alerts(duty) => {
                let words = |alert: &crate::weather::Alert| format!("{} {}", alert.event.label(), alert.level.label());
                format!("No {} under a {}", of_nutrients(&duty.nutrients), list(&duty.alerts, words, "or"))
            }
            Self::Heat(duty) => {
                let (than, nutrient) = (duty.comparator.label(), duty.nutrient.label());
                format!("No {nutrient} in air of {than} {} °F", duty.temperature)
            }
            Self::SlowShare(duty) => duty.sentence(),
            Self::HoldAfterSeeding(duty) => {
                format!("No {} until {} days after seeding or sodding", duty.nutrient.label(), duty.days)
            }
            Self::Surface(nutrients) => {
                format!("No {} stays on pavement; it is swept or blown back", of_nutrients(nutrients))
            }
            Self::Release(duty) => {
                let span = if duty.per == ReleasePer::Month { "in a month" } else { "at any time" };
                let than = duty.comparator.label();
                format!("An enhanced-efficiency product sets free {than} {} lb N on 1,000 sq ft {span}", duty.limit)
            }
            Self::Interval(duty) => {
                format!("At least {} days lie between two applications of {}", duty.days, duty.nutrient.label())
            }
            Self::CountYear(duty) => {
                let (year, both) = if duty.calendar {
                    ("calendar year", "")
                } else {
                    ("year", "; the calendar year and any 365 days both count")
                };
                format!("A {year} has at most {} applications of {}{both}", duty.most, duty.nutrient.label())
            }
            Self::PlanNeed(duty) => {
                let age = duty.plan_months.map_or_else(String::new, |months| format!(", at most {months} months old"));
                let area = duty.said.area.map_or_else(String::new, AreaThreshold::label);
                format!("{}{age}{area}", duty.said.words)
            }
            Self::CredentialNeed(duty) => {
                format!("{}{}", duty.said.words, duty.area().map_or_else(String::new, AreaThreshold::label))
            }
            Self::Disclosure(duty) => duty.sentence(),
        }
    }
}

impl Amount {
    /// The number with its nutrient and its ground; a table behind a colon.
    fn sentence(&self, nutrient: Nutrient) -> String {
        let nutrient = nutrient.label();
        let table = |numbers: String| format!(", in lb {nutrient} on 1,000 sq ft: {numbers}");
        match self {
            Self::One(rate) => format!(" {rate} lb {nutrient} on 1,000 sq ft"),
            Self::BySpecies(rates) => {
                table(list(rates, |(species, rate)| format!("{rate} on {}", species.label()), "and"))
            }
            Self::ByWaterfront { waterfront, elsewhere } => {
                table(format!("{waterfront} on the water and {elsewhere} elsewhere"))
            }
        }
    }
}

impl Rain {
    fn sentence(&self) -> String {
        let mut when = Vec::new();
        if self.occurring {
            when.push("heavy rain falls".to_owned());
        }
        if let Some(forecast) = self.forecast {
            let chance = forecast
                .chance_over
                .map_or_else(String::new, |chance| format!(" with a chance of more than {chance} %"));
            let hours = forecast.hours;
            when.push(match forecast.amount {
                Some((than, depth)) => {
                    format!("{} {depth} in of rain is forecast within {hours} hours{chance}", than.label())
                }
                None => format!("heavy rain is forecast within {hours} hours{chance}"),
            });
        }
        format!("No {} when {}", of_nutrients(&self.nutrients), list(&when, Clone::clone, "or"))
    }
}

impl Window {
    fn sentence(&self) -> String {
        let cap = |(nutrient, rate): &(Nutrient, crate::quantity::NutrientRate)| {
            if rate.is_zero() {
                format!("no {}", nutrient.label())
            } else {
                let whole = if self.per == WindowPer::Window { " in all" } else { "" };
                format!("at most {rate} lb {} on 1,000 sq ft{whole}", nutrient.label())
            }
        };
        let (first, last) = (month_day(self.first_barred), month_day(self.last_barred));
        format!("From {first} through {last}: {}", list(&self.caps, cap, "and"))
    }
}

impl SlowShare {
    fn sentence(&self) -> String {
        let soluble = if self.not_water_soluble { ", which must not be water-soluble" } else { "" };
        let enhanced = if self.enhanced_counts { " or enhanced in another way" } else { "" };
        let only = self.only_where.as_ref().map_or_else(String::new, |ground| format!(", {ground}"));
        let phosphorus = self
            .phosphorus_at_most
            .map_or_else(String::new, |most| format!(", and the product holds at most {most} % P"));
        let than = self.comparator.label();
        format!("Of all N {than} {} % is slow-release{soluble}{enhanced}{phosphorus}{only}", self.share)
    }
}

impl PhosphorusNeed {
    fn sentence(&self) -> String {
        let above = if self.threshold.is_zero() { String::new() } else { format!(" with over {} %", self.threshold) };
        let age = self.report_months.map_or_else(String::new, |months| format!(" of the last {months} months"));
        let report = match self.soil_report {
            Proof::Never => String::new(),
            Proof::Recommendation => format!(" where a soil report{age} shows a need"),
            Proof::Category => {
                let categories = list(&self.categories, |category| category.label().to_owned(), "or");
                format!(" where a soil report{age} rates phosphorus {categories}")
            }
        };
        let rate = if self.up_to_recommended { ", and never more than it recommends" } else { "" };
        let most = self.product_at_most.map_or_else(String::new, |most| format!(", in a product of at most {most} %"));
        let excused = list(&self.excuses, |scope| scope.parts().join(" with "), "or");
        let named = self.excuses.iter().flat_map(|scope| &scope.purposes);
        let season = season(named, self.establishment_months);
        let excused = if excused.is_empty() { excused } else { format!(", or without a report: {excused}{season}") };
        let free = self
            .one_free
            .map_or_else(String::new, |rate| format!(", or once within 365 days up to {rate} lb on 1,000 sq ft"));
        if report.is_empty() && excused.is_empty() && free.is_empty() {
            return format!("No P2O5{above} goes down, whatever a soil report says");
        }
        format!("P2O5{above} only{report}{rate}{most}{excused}{free}")
    }
}

/// For how long establishment is excused, where it is.
fn season<'p>(mut purposes: impl Iterator<Item = &'p Purpose>, months: u16) -> String {
    if purposes.any(|purpose| *purpose == Purpose::Establishment) {
        format!(" (establishment: within {months} months of seeding)")
    } else {
        String::new()
    }
}

impl Setback {
    fn sentence(&self) -> String {
        let (than, distance, from) = (self.comparator.label(), self.distance, &self.measured_from);
        let reduced = self.reduced.as_ref().map_or_else(String::new, |(shorter, equipment)| {
            format!(", {shorter} ft with {}", list(equipment, |one| one.label().to_owned(), "or"))
        });
        let strip = self
            .waived_by_strip
            .map_or_else(String::new, |strip| format!(", none behind a strip of natural vegetation {strip} ft wide"));
        let purposes = if self.waived_purposes.is_empty() {
            String::new()
        } else {
            let season = season(self.waived_purposes.iter(), self.establishment_months);
            format!(", none for {}{season}", list(&self.waived_purposes, |wanted| wanted.label().to_owned(), "or"))
        };
        let only = self.only_where.as_ref().map_or_else(String::new, |waters| format!(", where it is {waters}"));
        format!("Keep {than} {distance} ft from {from}{only}{reduced}{strip}{purposes}")
    }
}

/// The first three in words, as a sentence has them; what comes after ends in "th" as far as a year has applications.
fn ordinal(number: u16) -> String {
    match number {
        1 => "first".to_owned(),
        2 => "second".to_owned(),
        3 => "third".to_owned(),
        _ => format!("{number}th"),
    }
}
