//! Phosphorus only where a soil report shows a need, or where the product and the purpose need no report.

use super::{
    amount::{self, Bound},
    answer::Answer,
    cap_year,
    case::{Case, SectionCase},
    growing_season::{self, Excuse},
};
use crate::{
    facts::LineFacts,
    law::{
        PhosphorusFound,
        comparator::Comparator,
        duty::{PhosphorusNeed, Proof},
        nutrient::Nutrient,
    },
    quantity::{NutrientRate, ProductMass, RateSum},
    soil::{SoilReport, is_young},
    text::list,
    time::Day,
};

/// How far the soil reports of a section carry.
enum Need<'r> {
    Shown(&'r SoilReport),
    /// The newest report that is young enough says that none is needed.
    None(&'r SoilReport),
    /// It says neither.
    Unsaid(&'r SoilReport),
    /// There is none that is young enough; the newest of all, if any.
    NoReport(Option<&'r SoilReport>),
}

/// The newest report that was sampled by the day and is young enough. A report of soil that was dug later proves nothing
/// about the day of application.
pub(super) fn report<'s>(section: &SectionCase<'s>, case: &Case<'_>, months: Option<u16>) -> Option<&'s SoilReport> {
    let on = case.facts.on;
    let reports = section.section.soil_reports.iter().filter(|report| report.sampled_on <= on);
    let young = reports.filter(|report| months.is_none_or(|months| is_young(report.sampled_on, on, months)));
    young.max_by_key(|report| (report.sampled_on, report.place))
}

fn need<'s>(duty: &PhosphorusNeed, case: &Case<'_>, section: &SectionCase<'s>) -> Need<'s> {
    let Some(report) = report(section, case, duty.report_months) else {
        let all = section.section.soil_reports.iter();
        return Need::NoReport(all.max_by_key(|report| (report.sampled_on, report.place)));
    };
    let found = PhosphorusFound { category: report.phosphorus, recommended: report.phosphate_recommended };
    match duty.shown(found) {
        Some(true) => Need::Shown(report),
        Some(false) => Need::None(report),
        None => Need::Unsaid(report),
    }
}

/// The excuse that carries furthest. One that names no purpose is about the product, which has no season.
fn excuse(duty: &PhosphorusNeed, case: &Case<'_>, section: &SectionCase<'_>) -> Excuse {
    let given = duty.excuses.iter().filter(|scope| scope.covers(&case.facts.label, case.facts.purpose));
    let excuses = given.map(|scope| match scope.purposes.as_slice() {
        [] => Excuse::Holds,
        purposes => growing_season::of_purposes(purposes, duty.establishment_months, case, section),
    });
    excuses.max().unwrap_or(Excuse::None)
}

pub(super) fn judge(duty: &PhosphorusNeed, case: &Case<'_>, section: &SectionCase<'_>) -> Answer {
    let share = case.facts.label.phosphate_percent;
    let excused = || Answer::met().with(duty.threshold.to_string(), Some(share.to_string()), "% P2O5");
    let without = || without_excuse(duty, case, section);
    growing_season::judge(excuse(duty, case, section), section, excused, without)
}

fn without_excuse(duty: &PhosphorusNeed, case: &Case<'_>, section: &SectionCase<'_>) -> Answer {
    let share = case.facts.label.phosphate_percent;
    let numbers = |answer: Answer| answer.with(duty.threshold.to_string(), Some(share.to_string()), "% P2O5");
    if let Some(most) = duty.product_at_most.filter(|most| share > *most) {
        let message = format!("This product holds {share} % P2O5; for this purpose it may hold at most {most} %.");
        return Answer::broken(message, format!("Take a product with at most {most} % P2O5.")).with(
            most.to_string(),
            Some(share.to_string()),
            "% P2O5",
        );
    }
    if duty.soil_report == Proof::Never {
        let message = format!(
            "This product holds {share} % P2O5, and for {} no phosphorus may go down whatever the soil report says.",
            case.facts.purpose.label()
        );
        return numbers(Answer::broken(message, "Take a product without phosphorus."));
    }
    if free_bound(duty, section, case)
        .is_some_and(|bound| bound.allows(&amount::of_lines(Nutrient::Phosphate, case, section)))
    {
        return numbers(Answer::met());
    }
    match need(duty, case, section) {
        Need::Shown(report) if duty.up_to_recommended => within_recommended(duty, report, case, section),
        Need::Shown(_) => numbers(Answer::met()),
        Need::None(report) => {
            let message = format!(
                "The soil report of {} shows no need of phosphorus on {}, and this product holds {share} % P2O5.",
                report.sampled_on,
                section.name()
            );
            numbers(Answer::broken(message, "Take a product without phosphorus."))
        }
        Need::Unsaid(report) => {
            let message = format!(
                "The soil report of {} does not say whether {} needs phosphorus.",
                report.sampled_on,
                section.name()
            );
            let hint = "Enter the laboratory's category and its recommendation for P2O5, or take a product without phosphorus.";
            numbers(Answer::unknown(message, hint))
        }
        Need::NoReport(newest) => numbers(no_report(duty, newest, section)),
    }
}

fn no_report(duty: &PhosphorusNeed, newest: Option<&SoilReport>, section: &SectionCase<'_>) -> Answer {
    let name = section.name();
    let age = duty.report_months.map_or_else(String::new, |months| format!(" of the last {months} months"));
    let known = newest.map_or_else(String::new, |report| format!(" The newest is of {}.", report.sampled_on));
    let message = format!("Phosphorus needs a soil report{age} that shows a need, and {name} has none.{known}");
    let hint = format!(
        "Take a soil sample of {name} and wait for a report that {}; or take a product without phosphorus.",
        opens(duty)
    );
    Answer::broken(message, hint)
}

/// What a report must say to open phosphorus: exactly what `need` and `within_recommended` look for.
fn opens(duty: &PhosphorusNeed) -> String {
    let categories = list(&duty.categories, |category| category.label().to_owned(), "or");
    match (duty.soil_report, duty.up_to_recommended) {
        (Proof::Category, true) => format!("rates phosphorus {categories} and recommends an amount of P2O5"),
        (Proof::Category, false) => format!("rates phosphorus {categories}"),
        (_, true) => "recommends an amount of P2O5".to_owned(),
        (_, false) => format!("recommends P2O5 or rates phosphorus {categories}"),
    }
}

/// What one application within 365 days may put down without a report; nothing when there was another one.
fn free_bound(duty: &PhosphorusNeed, section: &SectionCase<'_>, case: &Case<'_>) -> Option<Bound> {
    let rate = duty.one_free?;
    let near = |day: Day| case.facts.on.days_since(day).abs() <= 364;
    let others = super::interval::days(Nutrient::Phosphate, section);
    (!others.into_iter().any(near)).then_some(recommended_bound(rate))
}

fn recommended_bound(rate: NutrientRate) -> Bound {
    Bound { limit: rate.into(), comparator: Comparator::AtMost }
}

/// The year's phosphate against the laboratory's amount.
fn within_recommended(
    duty: &PhosphorusNeed,
    report: &SoilReport,
    case: &Case<'_>,
    section: &SectionCase<'_>,
) -> Answer {
    let name = section.name();
    let Some(rate) = report.phosphate_recommended else {
        let message = format!(
            "The soil report of {} gives no amount of P2O5, and {name} may get no more than it recommends.",
            report.sampled_on
        );
        return Answer::unknown(message, "Enter the laboratory's recommendation for P2O5.");
    };
    let spans = cap_year::spans(Nutrient::Phosphate, |_| true, case, section);
    let sums: Vec<_> = spans.iter().map(|span| span.with_lines(Nutrient::Phosphate, case, section)).collect();
    let highest = sums.iter().map(|sum| Nutrient::Phosphate.rate(sum)).max().unwrap_or(NutrientRate::ZERO);
    let unit = amount::unit(Nutrient::Phosphate);
    let broken: Vec<_> = spans.iter().zip(&sums).filter(|(_, sum)| !recommended_bound(rate).allows(sum)).collect();
    let answer = if broken.is_empty() {
        Answer::met()
    } else {
        let years = list(&broken, |(span, _)| span.label(), "and");
        let message = format!(
            "With this load {name} gets up to {highest} {unit} {years}; the laboratory recommends {rate} in its report of {}.",
            report.sampled_on
        );
        Answer::broken(message, amount::less(case, section, |line| largest(duty, case, section, line)))
    };
    answer.with(rate.to_string(), Some(highest.to_string()), unit)
}

pub(super) fn largest(
    duty: &PhosphorusNeed,
    case: &Case<'_>,
    section: &SectionCase<'_>,
    line: &LineFacts,
) -> Option<ProductMass> {
    // A breach that only asks for care, because the day of seeding is missing, takes nothing away.
    let is_excused = matches!(excuse(duty, case, section), Excuse::Holds | Excuse::NoDay { .. });
    let too_rich = duty.product_at_most.is_some_and(|most| case.facts.label.phosphate_percent > most);
    if too_rich || is_excused || duty.soil_report == Proof::Never {
        return None;
    }
    let within = |bound: Bound, mut others: RateSum| {
        amount::add_lines(&mut others, Nutrient::Phosphate, case, section, Some(line));
        bound.largest(&others, Nutrient::Phosphate, line, &case.facts.label)
    };
    let free = || free_bound(duty, section, case).and_then(|bound| within(bound, RateSum::default()));
    match need(duty, case, section) {
        Need::Shown(report) if duty.up_to_recommended => {
            let Some(rate) = report.phosphate_recommended else { return free() };
            let spans = cap_year::spans(Nutrient::Phosphate, |_| true, case, section);
            let lowest = spans.into_iter().filter_map(|span| within(recommended_bound(rate), span.into_past())).min();
            // What one application may put down without a report is not taken away by a report that gives less.
            lowest.max(free())
        }
        Need::Shown(_) => None,
        Need::None(_) | Need::Unsaid(_) | Need::NoReport(_) => free(),
    }
}
