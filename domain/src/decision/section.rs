//! The figures of each section: what the load delivers, the largest lawful amount and what binds it, the room of the year.

use super::answer::SectionDecision;
use crate::{
    facts::{Facts, LineFacts},
    law::{
        duty::Duty,
        model::{Rule, Source},
    },
    quantity::{Area, NutrientRoom, ProductMass, ProductRate, RateSum, rate_rounded_up},
    rules::{self, Case, SectionCase, label},
    text::truncate_chars,
};

/// Nitrogen that a year leaves, before and after the load.
pub(super) type YearRoom = (NutrientRoom, NutrientRoom);

/// Why no more may go down.
enum Why<'a> {
    Duty(&'a Rule, &'a Duty, &'a str),
    /// The label's own limit.
    Label,
    /// A rule forbids the work whatever the amount.
    Forbidden(String),
}

/// The lowest amount so far on one line.
struct Lowest<'a> {
    mass: ProductMass,
    rule: std::borrow::Cow<'a, str>,
    why: Why<'a>,
}

/// The largest lawful amount of every line, by section and line.
pub(super) struct Bounds<'a> {
    by_section: Vec<Vec<Option<Lowest<'a>>>>,
}

impl<'a> Bounds<'a> {
    pub(super) fn new(case: &Case<'_>) -> Self {
        let lines = |section: &SectionCase<'_>| section.lines.iter().map(|_| None).collect();
        Self { by_section: case.sections.iter().map(lines).collect() }
    }

    /// Leaves nothing of a section, or of all, because a rule forbids the work whatever the amount.
    pub(super) fn forbid(&mut self, at: Option<usize>, rule: &str, message: &str) {
        for (_, lines) in self.by_section.iter_mut().enumerate().filter(|(index, _)| at.is_none_or(|at| at == *index)) {
            for lowest in lines {
                // What forbids first is kept, unless it was an amount that still let something through.
                if lowest.as_ref().is_none_or(|known| !known.mass.is_zero()) {
                    let why = Why::Forbidden(message.to_owned());
                    *lowest = Some(Lowest { mass: ProductMass::ZERO, rule: rule.to_owned().into(), why });
                }
            }
        }
    }

    pub(super) fn lower(&mut self, case: &Case<'_>, rule: &'a Rule, duty: &'a Duty, source: &'a Source) {
        if !rules::sets_amount(duty) {
            return;
        }
        self.lower_with(
            case,
            &rule.id,
            || Why::Duty(rule, duty, &source.citation),
            |section, line| rules::largest(rule, duty, case, section, line),
        );
    }

    pub(super) fn lower_to_label(&mut self, case: &Case<'_>) {
        self.lower_with(case, label::PRODUCT_RATE, || Why::Label, |section, line| label::largest(case, section, line));
    }

    fn lower_with(
        &mut self,
        case: &Case<'_>,
        rule: &'a str,
        why: impl Fn() -> Why<'a>,
        largest: impl Fn(&SectionCase<'_>, &LineFacts) -> Option<ProductMass>,
    ) {
        for (section, lines) in case.sections.iter().zip(&mut self.by_section) {
            for (line, lowest) in section.lines.iter().zip(lines) {
                let Some(mass) = largest(section, line) else { continue };
                if lowest.as_ref().is_none_or(|known| mass < known.mass) {
                    *lowest = Some(Lowest { mass, rule: rule.into(), why: why() });
                }
            }
        }
    }
}

/// One answer a line, the lines of a section together.
pub(super) fn answers(case: &Case<'_>, bounds: &Bounds<'_>, rooms: &[Option<YearRoom>]) -> Vec<SectionDecision> {
    let facts = case.facts;
    let mut answers = Vec::with_capacity(facts.lines.len());
    for ((section, lines), room) in case.sections.iter().zip(&bounds.by_section).zip(rooms) {
        for (line, lowest) in section.lines.iter().zip(lines) {
            let mut answer = figures(facts, line);
            answer.nitrogen_room_before_lb_per_1000_sqft = room.map(|(before, _)| before);
            answer.nitrogen_room_after_lb_per_1000_sqft = room.map(|(_, after)| after);
            if let Some(lowest) = lowest {
                answer.largest_lawful_product_lb = Some(lowest.mass);
                answer.bound_by = Some(lowest.rule.clone().into_owned());
                answer.bound_by_words = Some(truncate_chars(&lowest.sentence(case, section), 600));
            }
            answers.push(answer);
        }
    }
    answers
}

impl Lowest<'_> {
    fn sentence(&self, case: &Case<'_>, section: &SectionCase<'_>) -> String {
        let name = section.name();
        let most = if self.mass.is_zero() {
            format!("None of this product on {name}")
        } else {
            format!("At most {} lb of this product on {name}", self.mass)
        };
        match &self.why {
            Why::Duty(rule, duty, citation) => {
                let year = rules::stricter_year(&rule.scope, duty, case, section);
                let year = year.map_or_else(String::new, |year| format!(" {year}."));
                format!("{most}. {} ({citation}).{year}", duty.sentence())
            }
            Why::Label => format!("{most}: the label allows no more."),
            Why::Forbidden(message) => format!("{most}. {message}"),
        }
    }
}

fn figures(facts: &Facts, line: &LineFacts) -> SectionDecision {
    let delivers = line.nutrients(&facts.label);
    let rate = |load: i64| rate_rounded_up(load, line.area);
    SectionDecision {
        section_id: line.section.id,
        section_name: line.section.name.clone(),
        area_sqft: line.area,
        product_lb: line.product,
        product_lb_per_1000_sqft: product_rate(line.product, line.area),
        half_rate_product_lb_per_1000_sqft: half_rate(line.product, line.area),
        delivers,
        nitrogen_lb_per_1000_sqft: rate(delivers.nitrogen_lb.raw()),
        quick_nitrogen_lb_per_1000_sqft: rate(delivers.quick_nitrogen_lb.raw()),
        phosphate_lb_per_1000_sqft: rate(delivers.phosphate_lb.raw()),
        potash_lb_per_1000_sqft: rate(delivers.potash_lb.raw()),
        largest_lawful_product_lb: None,
        bound_by: None,
        bound_by_words: None,
        nitrogen_room_before_lb_per_1000_sqft: None,
        nitrogen_room_after_lb_per_1000_sqft: None,
    }
}

/// Product in 1e-6 lb times this, on an area in 1e-2 sq ft, is millionths of a pound on 1,000 sq ft.
const KSF: i128 = 100_000;

fn product_rate(product: ProductMass, area: Area) -> ProductRate {
    let mut sum = RateSum::default();
    sum.add(product.raw().saturating_mul(10_000), area);
    ProductRate::from_raw(sum.rounded_up().raw())
}

fn half_rate(product: ProductMass, area: Area) -> ProductRate {
    let half = i128::from(product.raw()) * KSF / (i128::from(area.raw()) * 2);
    ProductRate::from_raw(i64::try_from(half).unwrap_or(i64::MAX))
}
