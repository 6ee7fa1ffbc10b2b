//! What the label of a combination product binds beside its amount: it is a pesticide, which is used as its label says
//! (7 U.S.C. 136j(a)(2)(G)). Pesticide law beyond the label is not judged here, and that is said.

use super::{
    answer::Answer,
    case::{Case, SectionCase},
    count_year, label,
};
use crate::{
    facts::{PastApplication, PastPesticide},
    law::{duty::CountYear, nutrient::Nutrient},
    product::pesticide::PesticidePart,
    quantity::ProductRate,
    text::capital,
    time::Day,
};

const LAW: &str = "label.pesticide";
const REENTRY: &str = "label.reentry";
const NOTICE_BEFORE: &str = "label.notice.before";
const NOTICE_AFTER: &str = "label.notice.after";
const LOWEST: &str = "label.product.lowest";
const YEAR: &str = "label.applications.year";
const INTERVAL: &str = "label.applications.interval";
const CITATION: &str = "Product label; 7 U.S.C. 136j(a)(2)(G): a pesticide is used as its label says";
/// Less than the label says is no misuse, unless the label says so.
const LOWEST_CITATION: &str = "Product label; 7 U.S.C. 136(ee)(1)";

/// Where one of these answers comes from.
pub(crate) fn citation(rule: &str) -> &'static str {
    if rule == LOWEST { LOWEST_CITATION } else { CITATION }
}

fn part<'a>(case: &Case<'a>) -> Option<&'a PesticidePart> {
    case.facts.label.pesticide()
}

/// What is said of the whole application: that pesticide law is not judged, when the ground is free again, and what notice the
/// label asks for. None of it can be met before the work, so it asks for care.
pub(crate) fn of_application(case: &Case<'_>) -> Vec<(&'static str, Answer)> {
    let Some(part) = part(case) else { return Vec::new() };
    let word = part.signal_word.map(|word| format!(", {}", word.label())).unwrap_or_default();
    let unknown = if part.reentry().is_none() { " How long people stay off the ground was not copied." } else { "" };
    let message = format!(
        "This product is a pesticide too, EPA Reg. No. {}{word}. Pesticide law is not judged here: the label and the state's lead agency decide, also on who may apply it and who is told.{unknown}",
        part.epa_registration
    );
    let law = Answer::care(message, "Read the label in hand, wear what it asks for, and keep what the state asks.");
    let reentry = part.reentry().map(|words| {
        Answer::care(
            format!("People and pets may go on the treated ground again: {words}."),
            "Tell the client before you leave, and write it on the notice.",
        )
    });
    let notice = |when: &str, words: Option<&String>| {
        let words = words?.trim_end_matches('.');
        let message = format!("The label asks for this {when} the work: {words}.");
        Some(Answer::care(message, "Do it, and write the notice down with the record."))
    };
    let said = [
        (LAW, Some(law)),
        (REENTRY, reentry),
        (NOTICE_BEFORE, notice("before", part.notice_before.as_ref())),
        (NOTICE_AFTER, notice("after", part.notice_after.as_ref())),
    ];
    said.into_iter().filter_map(|(rule, answer)| Some((rule, answer?))).collect()
}

/// What is said of one section.
pub(crate) fn of_section(case: &Case<'_>, section: &SectionCase<'_>) -> Vec<(&'static str, Answer)> {
    let Some(part) = part(case) else { return Vec::new() };
    let strictest =
        |answer: &dyn Fn(&SectionCase<'_>) -> Option<Answer>| super::strictest(section, answer, |_, _| None);
    let lowest = part.lowest_product_lb_per_1000_sqft;
    let answers = [
        (LOWEST, strictest(&|ground| Some(above_lowest(lowest?, case, ground)))),
        (YEAR, strictest(&|ground| Some(in_year(part.most_applications_a_year?, part, case, ground)))),
        (INTERVAL, strictest(&|ground| Some(after_interval(part.least_days_between?, part, case, ground)))),
    ];
    answers.into_iter().filter_map(|(rule, answer)| Some((rule, answer?))).collect()
}

fn above_lowest(lowest: ProductRate, case: &Case<'_>, section: &SectionCase<'_>) -> Answer {
    let (enough, rate) = label::of_day_at_least(lowest, case, section);
    let answer = if enough {
        Answer::met()
    } else {
        let message = format!(
            "This load puts {rate} lb of product per 1,000 sq ft on {}, less than the {lowest} that the label names; it may not work on what it is for.",
            section.name()
        );
        Answer::care(message, "Read whether the label allows less than it names.")
    };
    answer.with(lowest.to_string(), Some(rate.to_string()), "lb of product per 1,000 sq ft")
}

/// Days on which the same pesticide went down, or is to: of the same company and product number, whoever distributes it. What is
/// not known to be another is counted. An entry below zero takes one back.
fn days(part: &PesticidePart, case: &Case<'_>, section: &SectionCase<'_>) -> Vec<Day> {
    let same = |entry: &&PastApplication| match entry.product.pesticide {
        PastPesticide::Unsaid => true,
        PastPesticide::None => false,
        PastPesticide::Registered(number) => number == part.epa_registration.basic(),
    };
    let entries: Vec<&PastApplication> = section.past.iter().filter(same).collect();
    let sign = |entry: &PastApplication| if entry.nutrients.nitrogen_lb.raw() < 0 { -1 } else { 1 };
    let stands = |day: &Day| entries.iter().filter(|one| one.on == *day).map(|one| sign(one)).sum::<i32>() > 0;
    let mut days: Vec<Day> =
        entries.iter().map(|entry| entry.on).filter(|day| *day != case.facts.on && stands(day)).collect();
    days.sort_unstable();
    days.dedup();
    days
}

fn in_year(most: u16, part: &PesticidePart, case: &Case<'_>, section: &SectionCase<'_>) -> Answer {
    let counted = CountYear { nutrient: Nutrient::AnyFertilizer, most, calendar: false };
    let (count, year) = count_year::highest(counted, &days(part, case, section), case.facts.on);
    let answer = if count <= usize::from(most) {
        Answer::met()
    } else {
        let message = format!(
            "{} would get this pesticide {count} times in {year}; the label allows {most}.",
            capital(&section.name())
        );
        Answer::broken(message, "Take another product, and read the label for the year that it means.")
    };
    answer.with(most.to_string(), Some(count.to_string()), "applications in a year")
}

fn after_interval(least: u16, part: &PesticidePart, case: &Case<'_>, section: &SectionCase<'_>) -> Answer {
    let between = |day: &Day| case.facts.on.days_since(*day).abs();
    let nearest = days(part, case, section).into_iter().min_by_key(|day| (between(day), *day));
    let answer = match nearest.filter(|day| between(day) < i32::from(least)) {
        None => Answer::met(),
        Some(day) => Answer::broken(
            format!(
                "{} gets this pesticide on {day}; the label wants at least {least} days between two applications.",
                capital(&section.name())
            ),
            format!("After that one, the first day that is far enough is {}.", day.plus_days(i32::from(least))),
        ),
    };
    answer.with(least.to_string(), nearest.map(|day| between(&day).to_string()), "days between")
}
