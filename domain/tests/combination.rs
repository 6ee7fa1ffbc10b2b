//! Combination products: fertilizer that is a pesticide too. Its label binds as law (7 U.S.C. 136j(a)(2)(G)), less than it names is
//! no misuse (136(ee)(1)), and fertilizer law goes on binding. Limits are those of an invented label.

use domain::{
    decision::{Decision, decide},
    facts::{Facts, PastApplication, PastProduct},
    product::pesticide::PesticidePart,
};

use crate::{
    cases::standing,
    edges::codes,
    facts::{Given, amount, book, day},
    traps::half_slow,
};

const NUMBER: &str = "6767-230";

/// A pesticide half of which only the number is known.
pub fn pesticide(number: &str) -> PesticidePart {
    let part = format!("epa_registration = \"{number}\"");
    toml::from_str(&part).unwrap_or_else(|fault| panic!("{number}: {fault}"))
}

/// 2.5 lb of a half slow product of 20 % nitrogen on 1,000 sq ft, as the label says it may be used.
fn asked(change: impl Fn(&mut PesticidePart), past: &[(&str, Option<&str>)]) -> Decision {
    let given =
        Given { pesticide: Some(NUMBER.into()), n_rate: None, product_lb: Some("2.5".into()), ..half_slow("0.5") };
    let mut facts: Facts = given.facts(day("2026-06-15"));
    let label = facts.label.printed.as_mut().and_then(|printed| printed.pesticide.as_mut());
    change(label.expect("a pesticide"));
    facts.lines[0].section.past = past.iter().map(|(on, number)| earlier(on, *number)).collect();
    decide(book(), &codes(&["us-pa"]), &facts)
}

/// 0.1 lb N of a product with this registration number, or of none.
fn earlier(on: &str, number: Option<&str>) -> PastApplication {
    let label = Given { pesticide: number.map(str::to_owned), ..half_slow("0.1") }.label();
    PastApplication {
        on: day(on),
        area: amount("1000"),
        parts: None,
        nutrients: label.nutrients_in(amount("0.5")),
        enhanced_efficiency: false,
        organic: false,
        purpose: domain::application::Purpose::Maintenance,
        product: PastProduct::of(&label),
        held: false,
    }
}

fn message(decision: &Decision, rule: &str) -> String {
    let found = decision.findings.iter().find(|finding| finding.rule == rule);
    found.map(|finding| finding.message.clone()).unwrap_or_default()
}

#[test]
fn what_is_not_judged_is_said_and_fertilizer_law_goes_on_binding() {
    let decision = asked(|_| {}, &[]);
    assert_eq!(standing(&decision, "label.pesticide"), "care");
    let told = message(&decision, "label.pesticide");
    assert!(told.contains("EPA Reg. No. 6767-230. Pesticide law is not judged here"), "{told}");
    assert!(told.ends_with("How long people stay off the ground was not copied."), "{told}");
    assert_eq!(standing(&decision, "us-pa.nitrogen.quick.application"), "met", "3 Pa.C.S. 6813(a)(1), row PA-01");
    let plain = decide(book(), &codes(&["us-pa"]), &half_slow("0.5").facts(day("2026-06-15")));
    assert_eq!(standing(&plain, "label.pesticide"), "silent");
}

#[test]
fn when_the_ground_is_free_again_and_whom_to_tell_is_said() {
    let decision = asked(
        |part| {
            part.reentry_hours = Some(24);
            part.reentry_words = Some("not before the dust has settled".to_owned());
            part.notice_before = Some("Tell people with asthma.".to_owned());
            part.notice_after = Some("Leave the sign".to_owned());
        },
        &[],
    );
    let told = message(&decision, "label.reentry");
    let wanted = "People and pets stay off the treated ground: 24 hours after the work; by the label: not before the dust has settled.";
    assert_eq!(told, wanted);
    let told = message(&decision, "label.notice.before");
    assert_eq!(told, "The label asks for this before the work: Tell people with asthma.");
    let told = message(&decision, "label.notice.after");
    assert_eq!(told, "The label asks for this after the work: Leave the sign.");
    assert!(!message(&decision, "label.pesticide").contains("not copied"));
}

#[test]
fn words_that_say_how_long_to_stay_off_are_not_read_the_other_way_round() {
    // "Until dry" ends the time of staying off; nobody may read that the ground is free until then.
    let decision = asked(|part| part.reentry_words = Some("Until dry.".to_owned()), &[]);
    assert_eq!(message(&decision, "label.reentry"), "People and pets stay off the treated ground: Until dry.");
}

#[test]
fn the_lowest_rate_of_the_label_is_enough_and_less_asks_for_care() {
    let at = |lowest: &str| {
        let decision = asked(|part| part.lowest_product_lb_per_1000_sqft = Some(amount(lowest)), &[]);
        standing(&decision, "label.product.lowest").to_owned()
    };
    assert_eq!(at("2.5"), "met");
    // Common practice: amounts are rounded down, and what lacks less than a hundredth comes to the rate. 99 % of 2.525252 lb are just
    // under 2.5, of 2.525254 just over.
    assert_eq!((at("2.525252"), at("2.525254")), ("met".to_owned(), "care".to_owned()));
}

#[test]
fn a_year_gets_the_same_pesticide_as_often_as_the_label_says_whoever_distributes_it() {
    let at = |past: &[(&str, Option<&str>)]| {
        standing(&asked(|part| part.most_applications_a_year = Some(2), past), "label.applications.year").to_owned()
    };
    let one = ("2026-03-15", Some(NUMBER));
    assert_eq!(at(&[one]), "met");
    assert_eq!(at(&[one, ("2026-04-15", Some("6767-230-5905"))]), "refused", "40 CFR 152.132(d): one product");
    assert_eq!(at(&[one, ("2026-04-15", Some("6767-23"))]), "met", "another pesticide");
    assert_eq!(at(&[one, ("2026-04-15", None)]), "met", "no pesticide");
    assert_eq!(at(&[one, one]), "met", "loads of one day are one application");
    // 365 days hold 2025-06-16 and the day itself. "A year" may be the calendar year, so that is no misuse but care.
    assert_eq!(at(&[one, ("2025-06-16", Some(NUMBER))]), "care");
    assert_eq!(at(&[one, ("2025-06-15", Some(NUMBER))]), "met");
}

#[test]
fn a_number_a_year_stops_by_the_calendar_year_and_says_that_the_label_decides() {
    let at = |past: &str| asked(|part| part.most_applications_a_year = Some(1), &[(past, Some(NUMBER))]);
    let decision = at("2025-06-20");
    let finding = decision.findings.iter().find(|finding| finding.rule == "label.applications.year").expect("care");
    assert_eq!(
        (finding.message.as_str(), finding.hint.as_str()),
        (
            "The front lawn would get this pesticide 2 times in the 365 days to 2026-06-15; the label allows 1 a year and decides which year it means.",
            "Read on the label whether it means the calendar year; if not, wait."
        )
    );
    assert_eq!(decision.verdict, domain::decision::Verdict::Care);
    assert_eq!(standing(&at("2026-01-01"), "label.applications.year"), "refused");
}

#[test]
fn room_that_is_only_held_is_not_told_as_put_down() {
    let given = Given { pesticide: Some(NUMBER.into()), ..half_slow("0.5") };
    let ask = |held: &[&str], done: &[&str]| {
        let mut facts = given.facts(day("2026-06-15"));
        let part =
            PesticidePart { least_days_between: Some(30), most_applications_a_year: Some(1), ..pesticide(NUMBER) };
        facts.label.printed.as_mut().expect("a printed label").pesticide = Some(part);
        let entry = |held: bool| move |on: &&str| PastApplication { held, ..earlier(on, Some(NUMBER)) };
        facts.lines[0].section.past = held.iter().map(entry(true)).chain(done.iter().map(entry(false))).collect();
        let decision = decide(book(), &codes(&["us-pa"]), &facts);
        let of = |rule: &str| decision.findings.iter().find(|finding| finding.rule == rule).expect("a finding").clone();
        (of("label.applications.interval"), of("label.applications.year"))
    };
    let (interval, year) = ask(&["2026-07-01"], &[]);
    assert_eq!(
        interval.message,
        "A clearance holds room for this pesticide on the front lawn for 2026-07-01; the label wants at least 30 days between two applications."
    );
    let back = " A clearance holds room for 2026-07-01; give it back if that work is not to be done.";
    assert!(interval.hint.ends_with(back) && year.hint.ends_with(back), "{interval:?} {year:?}");
    let (interval, year) = ask(&["2026-07-01"], &["2026-07-01"]);
    assert!(interval.message.starts_with("The front lawn gets this pesticide on 2026-07-01"), "{interval:?}");
    assert!(!interval.hint.contains("clearance") && !year.hint.contains("clearance"), "{interval:?} {year:?}");
}

#[test]
fn the_first_day_that_is_far_enough_is_so_from_every_other_application() {
    let past = [("2026-06-01", Some(NUMBER)), ("2026-07-20", Some(NUMBER))];
    let decision = asked(|part| part.least_days_between = Some(30), &past);
    let finding = decision.findings.iter().find(|one| one.rule == "label.applications.interval").expect("a stop");
    // Thirty days after June 1 are July 1, which is nineteen before July 20.
    assert_eq!(finding.hint, "The first day that is far enough from every other is 2026-08-19.");
}

#[test]
fn between_two_applications_lie_the_days_of_the_label() {
    let at = |past: &[(&str, Option<&str>)]| {
        standing(&asked(|part| part.least_days_between = Some(30), past), "label.applications.interval").to_owned()
    };
    assert_eq!(at(&[("2026-05-16", Some(NUMBER))]), "met", "thirty days");
    assert_eq!(at(&[("2026-05-17", Some(NUMBER))]), "refused", "twenty-nine");
    assert_eq!(at(&[("2026-07-14", Some(NUMBER))]), "refused", "a record that came late");
    assert_eq!(at(&[("2026-06-01", None)]), "met", "no pesticide");
    let mut unsaid = earlier("2026-06-01", None);
    unsaid.product = PastProduct::default();
    let given = Given { pesticide: Some(NUMBER.into()), ..half_slow("0.5") };
    let mut facts = given.facts(day("2026-06-15"));
    let part = PesticidePart { least_days_between: Some(30), ..pesticide(NUMBER) };
    facts.label.printed.as_mut().expect("a printed label").pesticide = Some(part);
    facts.lines[0].section.past = vec![unsaid];
    let decision = decide(book(), &codes(&["us-pa"]), &facts);
    assert_eq!(standing(&decision, "label.applications.interval"), "refused", "what is not known may be it");
    assert_eq!(decision.sections[0].largest_lawful_product_lb.map(|mass| mass.to_string()).as_deref(), Some("0"));
}
