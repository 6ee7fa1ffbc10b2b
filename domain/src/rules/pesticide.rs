//! What the label of a combination product binds beside its amount: it is a pesticide, which is used as its label says
//! (7 U.S.C. 136j(a)(2)(G)). Pesticide law beyond the label is not judged here, and that is said.

use super::{
    answer::Answer,
    case::{Case, SectionCase},
    count_year, interval, label,
};
use crate::{
    facts::{PastApplication, PastPesticide},
    law::{duty::CountYear, nutrient::Nutrient},
    product::pesticide::PesticidePart,
    quantity::ProductRate,
    text::{capital, list},
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
            format!("People and pets stay off the treated ground: {}.", words.trim_end_matches('.')),
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

/// A day on which the same pesticide went down, or is to.
#[derive(Clone, Copy)]
struct Taken {
    on: Day,
    /// Nothing went down yet: a clearance holds room for it.
    held: bool,
}

/// Days of the same pesticide: of the same company and product number, whoever distributes it. What is not known to be another is
/// counted. An entry below zero takes one back; of a product without nutrients none comes, since what was taken back is taken out
/// before rules are asked.
fn taken(part: &PesticidePart, case: &Case<'_>, section: &SectionCase<'_>) -> Vec<Taken> {
    let same = |entry: &&PastApplication| match entry.product.pesticide {
        PastPesticide::Unsaid => true,
        PastPesticide::None => false,
        PastPesticide::Registered(number) => number == part.epa_registration.basic(),
    };
    let entries: Vec<&PastApplication> = section.past.iter().filter(same).collect();
    let sign = |entry: &PastApplication| if Nutrient::AnyFertilizer.sign(&entry.nutrients) < 0 { -1 } else { 1 };
    let stands = |day: Day, held: bool| {
        let of_day = entries.iter().filter(|one| one.on == day && (held || !one.held));
        of_day.map(|one| sign(one)).sum::<i32>() > 0
    };
    let mut days: Vec<Day> =
        entries.iter().map(|entry| entry.on).filter(|day| *day != case.facts.on && stands(*day, true)).collect();
    days.sort_unstable();
    days.dedup();
    days.into_iter().map(|on| Taken { on, held: !stands(on, false) }).collect()
}

fn in_year(most: u16, part: &PesticidePart, case: &Case<'_>, section: &SectionCase<'_>) -> Answer {
    let on = case.facts.on;
    let taken = taken(part, case, section);
    let days: Vec<Day> = taken.iter().map(|one| one.on).collect();
    let within = |calendar: bool| {
        count_year::highest(CountYear { nutrient: Nutrient::AnyFertilizer, most, calendar }, &days, on)
    };
    let ((count, year), (any_count, any_year)) = (within(true), within(false));
    let message = |count: usize, year: &str| {
        format!(
            "{} would get this pesticide {count} times in {year}; the label allows {most}",
            capital(&section.name())
        )
    };
    let given_back = give_back(&taken, |_| true);
    let answer = if count > usize::from(most) {
        let hint = format!("Take another product, and read the label for the year that it means.{given_back}");
        Answer::broken(format!("{}.", message(count, &year)), hint)
    } else if any_count > usize::from(most) {
        // A label that says only "per year" may mean either. The calendar year is not over, so nothing shows misuse.
        let message = format!("{} a year and decides which year it means.", message(any_count, &any_year));
        Answer::care(
            message,
            format!("Read on the label whether it means the calendar year; if not, wait.{given_back}"),
        )
    } else {
        Answer::met()
    };
    answer.with(most.to_string(), Some(any_count.to_string()), "applications in a year")
}

/// What to do about days for which only room is held, after another hint; nothing where there are none.
fn give_back(taken: &[Taken], near: impl Fn(Day) -> bool) -> String {
    let held: Vec<Day> = taken.iter().filter(|one| one.held && near(one.on)).map(|one| one.on).collect();
    if held.is_empty() {
        return String::new();
    }
    format!(
        " A clearance holds room for {}; give it back if that work is not to be done.",
        list(&held, Day::to_string, "and")
    )
}

fn after_interval(least: u16, part: &PesticidePart, case: &Case<'_>, section: &SectionCase<'_>) -> Answer {
    let (on, least) = (case.facts.on, i32::from(least));
    let between = |day: Day| on.days_since(day).abs();
    let taken = taken(part, case, section);
    let nearest = taken.iter().min_by_key(|one| (between(one.on), one.on));
    let answer = match nearest.filter(|one| between(one.on) < least) {
        None => Answer::met(),
        Some(near) => {
            let (name, day) = (section.name(), near.on);
            let gets = if near.held {
                format!("a clearance holds room for this pesticide on {name} for {day}")
            } else {
                format!("{name} gets this pesticide on {day}")
            };
            let message = format!("{gets}; the label wants at least {least} days between two applications.");
            let days: Vec<Day> = taken.iter().map(|one| one.on).collect();
            let hint = interval::first_day_after(on, least, &days) + &give_back(&taken, |day| between(day) < least);
            Answer::broken(capital(&message), hint)
        }
    };
    answer.with(least.to_string(), nearest.map(|one| between(one.on).to_string()), "days between")
}
