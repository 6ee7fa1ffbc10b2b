//! Loads of one day on one section are one application, in however many records they stand.

use domain::{
    decision::{Decision, Finding, decide},
    facts::PastApplication,
    law::{EMBEDDED, Lawbook},
};

use crate::{
    cases::standing,
    facts::{Given, Past, amount, day},
    traps::{ask, half_slow, nitrogen, past, stands},
};

/// An earlier load of quick nitrogen on the day itself.
fn quick(on: &str, rate: &str) -> Past {
    Past { quick_rate: Some(rate.into()), ..past(on, rate) }
}

fn finding<'d>(decision: &'d Decision, rule: &str) -> &'d Finding {
    decision.findings.iter().find(|finding| finding.rule == rule).expect("a finding")
}

#[test]
fn a_second_record_of_the_day_does_not_open_the_cap_of_one_application_again() {
    // 3 Pa.C.S. 6813(a)(1), 0.7 lb of quick nitrogen (PA-01): 0.4 and 0.4 of one day are 0.8.
    let given = |on: &str| Given { past: vec![quick(on, "0.4")], ..nitrogen("0.4") };
    let rule = "nitrogen.quick.application";
    assert_eq!(stands("us-pa", "2026-05-15", &given("2026-05-14"), rule), "met");
    let decision = ask("us-pa", "2026-05-15", &given("2026-05-15"));
    let found = finding(&decision, "us-pa.nitrogen.quick.application");
    assert_eq!(found.actual.as_deref(), Some("0.8"));
    assert!(
        found.message.starts_with("This load, with what went down earlier that day, puts 0.8 lb"),
        "{}",
        found.message
    );
    // 0.3 lb are left, which are 1.5 lb of a product with 20 % N.
    assert_eq!(decision.sections[0].largest_lawful_product_lb, Some(amount("1.5")));
    // 0.9 lb of all nitrogen in Maryland (MD-03): 0.5 and 0.4 fit, 0.5 and 0.402 do not.
    let day_of = |rate: &str| Given { past: vec![past("2026-05-15", "0.5")], ..half_slow(rate) };
    let rule = "professional.nitrogen.total.application";
    assert_eq!(stands("us-md", "2026-05-15", &day_of("0.4"), rule), "met");
    assert_eq!(stands("us-md", "2026-05-15", &day_of("0.402"), rule), "refused");
}

#[test]
fn room_that_is_held_for_the_day_counts_and_a_reversal_gives_it_back() {
    // PA-01 again, with a clearance that nobody has used yet.
    let mut facts = nitrogen("0.4").facts(day("2026-05-15"));
    let mut held = Given { past: vec![quick("2026-05-15", "0.4")], ..nitrogen("0.4") }.facts(day("2026-05-15"));
    let entry = &mut held.lines[0].section.past[0];
    entry.held = true;
    facts.lines[0].section.past.push(*entry);
    let ask = |facts: &_| decide(crate::facts::book(), &["us-pa".to_owned()], facts);
    let decision = ask(&facts);
    let message = &finding(&decision, "us-pa.nitrogen.quick.application").message;
    assert!(message.contains("earlier that day or is cleared for it"), "{message}");
    let mut reversal = facts.lines[0].section.past[0];
    let nutrients = &mut reversal.nutrients;
    nutrients.nitrogen_lb = domain::quantity::Quantity::from_raw(-nutrients.nitrogen_lb.raw());
    nutrients.quick_nitrogen_lb = domain::quantity::Quantity::from_raw(-nutrients.quick_nitrogen_lb.raw());
    facts.lines[0].section.past.push(reversal);
    assert_eq!(standing(&ask(&facts), "us-pa.nitrogen.quick.application"), "met");
}

#[test]
fn the_label_counts_the_product_of_the_whole_day() {
    // A label of 5 lb on 1,000 sq ft: 3 lb of 20 % N went down with 0.6 lb N, and 3 lb more are 6.
    let given = |past| Given { label_product_limit: Some("5".into()), past, ..nitrogen("0.6") };
    let rule = "label.product.application";
    let asked = |given: &Given| ask("us-ny", "2026-05-15", given);
    assert_eq!(standing(&asked(&given(vec![quick("2026-05-14", "0.6")])), rule), "met");
    let decision = asked(&given(vec![quick("2026-05-15", "0.6")]));
    let message = &finding(&decision, rule).message;
    assert!(message.starts_with("This load, with what went down earlier that day, puts 6 lb"), "{message}");
    assert_eq!(decision.sections[0].largest_lawful_product_lb, Some(amount("2")));
    // The same nitrogen from a product with slow-release nitrogen is another product, with a label of its own.
    assert_eq!(standing(&asked(&given(vec![past("2026-05-15", "0.6")])), rule), "met");
}

#[test]
fn a_product_without_nutrients_is_counted_where_the_book_knows_it() {
    // A label of 5 lb on 1,000 sq ft, of a product without nutrients: 3 lb went down that day, so that 2 lb are left.
    let given = Given {
        n: Some("0".into()),
        product_lb: Some("3".into()),
        label_product_limit: Some("5".into()),
        ..Given::default()
    };
    let mut facts = given.facts(day("2026-05-15"));
    let area = facts.lines[0].area;
    let rule = "label.product.application";
    let ask = |facts: &_| decide(crate::facts::book(), &["us-ny".to_owned()], facts);
    assert_eq!(standing(&ask(&facts), rule), "met");
    let mut earlier = PastApplication::planned(
        &facts.label,
        amount("3"),
        (facts.on, area),
        domain::application::Purpose::Maintenance,
    );
    // Another product without nutrients leaves no trace on this one's label.
    facts.lines[0].section.past = vec![earlier];
    assert_eq!(standing(&ask(&facts), rule), "met");
    earlier.product.mass_of_this = Some(amount("3"));
    facts.lines[0].section.past = vec![earlier];
    let decision = ask(&facts);
    let message = &finding(&decision, rule).message;
    assert!(message.starts_with("This load, with what went down earlier that day, puts 6 lb"), "{message}");
    assert_eq!(decision.sections[0].largest_lawful_product_lb, Some(amount("2")));
}

#[test]
fn a_lowered_season_for_each_application_counts_the_day() {
    // 3 Pa.C.S. 6813(b)(4), 0.5 lb of all nitrogen (PA-07), read for one application instead of the whole window.
    let texts: Vec<(&str, String)> = EMBEDDED
        .iter()
        .map(|(name, text)| {
            let pennsylvania = *name == "us-pa.toml";
            (
                *name,
                if pennsylvania {
                    text.replace("per = \"window\"", "per = \"application\"")
                } else {
                    (*text).to_owned()
                },
            )
        })
        .collect();
    let texts: Vec<(&str, &str)> = texts.iter().map(|(name, text)| (*name, text.as_str())).collect();
    let book = Lawbook::from_texts(&texts).expect("a changed Pennsylvania");
    let asked = |on: &str| {
        let given = Given { past: vec![quick(on, "0.3")], ..nitrogen("0.3") };
        decide(&book, &["us-pa".to_owned()], &given.facts(day("2026-12-20")))
    };
    assert_eq!(standing(&asked("2026-12-19"), "us-pa.nitrogen.winter"), "met");
    let decision = asked("2026-12-20");
    let found = finding(&decision, "us-pa.nitrogen.winter");
    assert_eq!(found.actual.as_deref(), Some("0.6"));
    assert!(found.message.contains("this, with what went down earlier that day, would make 0.6"), "{}", found.message);
}

#[test]
fn a_second_load_of_the_day_is_no_second_application_for_the_soil_report() {
    // COMAR 15.20.10.10 A asks for a report before the second application of nitrogen (MD-21).
    let given = |on: &str| Given { past: vec![quick(on, "0.1"), quick(on, "0.1")], ..nitrogen("0.4") };
    let rule = "professional.soil_report.second_nitrogen";
    assert_eq!(stands("us-md", "2026-05-15", &given("2026-05-15"), rule), "met");
    assert_eq!(stands("us-md", "2026-05-15", &given("2026-05-14"), rule), "refused");
}
