//! A soil report must lie before an application of a nutrient to a section: before the first, or before the second.

use super::{
    answer::Answer,
    case::{Case, SectionCase},
    growing_season::{self, Excuse},
    interval, phosphorus_need,
};
use crate::{law::duty::SoilReportBefore, text::ordinal};

pub(super) fn judge(duty: &SoilReportBefore, case: &Case<'_>, section: &SectionCase<'_>) -> Option<Answer> {
    let excuse = growing_season::of_purposes(&duty.excused_purposes, duty.establishment_months, case, section);
    if excuse == Excuse::Holds {
        return None;
    }
    Some(growing_season::judge(excuse, section, Answer::met, || without_excuse(duty, case, section)))
}

fn without_excuse(duty: &SoilReportBefore, case: &Case<'_>, section: &SectionCase<'_>) -> Answer {
    let facts = case.facts;
    // Loads of one day are one application, so another load of the same day is no second one.
    let which = interval::days(duty.nutrient, section).into_iter().filter(|day| *day < facts.on).count() + 1;
    let age = duty.report_months.map_or_else(String::new, |months| format!(" of the last {months} months"));
    let (nutrient, name) = (duty.nutrient.label(), section.name());
    let numbers = |answer: Answer| {
        let limit = format!("soil report before application {}", duty.application);
        answer.with(limit, Some(format!("application {which}")), "count")
    };
    if which < usize::from(duty.application) || phosphorus_need::report(section, case, duty.report_months).is_some() {
        return numbers(Answer::met());
    }
    let message = format!(
        "This would be the {} application of {nutrient} on {name}; from the {} on, a soil report{age} must lie before it, and there is none.",
        ordinal(which),
        ordinal(usize::from(duty.application))
    );
    let hint = format!("Take a soil sample of {name} and enter the laboratory's report.");
    numbers(Answer::broken(message, hint))
}
