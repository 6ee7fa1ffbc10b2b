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
    assert!(told.ends_with("24 hours after the work; by the label: not before the dust has settled."), "{told}");
    let told = message(&decision, "label.notice.before");
    assert_eq!(told, "The label asks for this before the work: Tell people with asthma.");
    let told = message(&decision, "label.notice.after");
    assert_eq!(told, "The label asks for this after the work: Leave the sign.");
    assert!(!message(&decision, "label.pesticide").contains("not copied"));
}

#[test]
fn the_lowest_rate_of_the_label_is_enough_and_less_asks_for_care() {
    let at = |lowest: &str| {
        let decision = asked(|part| part.lowest_product_lb_per_1000_sqft = Some(amount(lowest)), &[]);
        standing(&decision, "label.product.lowest").to_owned()
    };
    assert_eq!((at("2.5"), at("2.500001")), ("met".to_owned(), "care".to_owned()));
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
    // 365 days hold 2025-06-16 and the day itself.
    assert_eq!(at(&[one, ("2025-06-16", Some(NUMBER))]), "refused");
    assert_eq!(at(&[one, ("2025-06-15", Some(NUMBER))]), "met");
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
