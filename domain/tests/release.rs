//! What enhanced-efficiency products set free, with what earlier ones may still set free.

use domain::{
    decision::{Outcome, Verdict},
    quantity::ProductMass,
};

use crate::{
    facts::{Given, Past, Report, amount},
    traps::{ask, half_slow, nitrogen, past, stands},
};

/// An enhanced-efficiency product with half its nitrogen slow, of which a tenth is set free in a month.
fn enhanced(rate: &str, past: Vec<Past>) -> Given {
    let report = Report { sampled_on: "2025-06-01".parse().expect("a day"), category: None, recommended: None };
    Given {
        enhanced_efficiency: true,
        release_percent: Some("10".into()),
        past,
        soil_reports: vec![report],
        ..half_slow(rate)
    }
}

fn coated(on: &str, rate: &str) -> Past {
    Past { enhanced_efficiency: true, ..past(on, rate) }
}

const RULE: &str = "professional.enhanced.release";

#[test]
fn what_an_earlier_product_may_still_release_counts() {
    // COMAR 15.20.10.09 B, at most 0.7 lb in a month (MD-35). 1 lb sets free 0.1 lb; with 0.6 lb of April that is 0.7.
    assert_eq!(stands("us-md", "2026-05-15", &enhanced("1", vec![coated("2026-04-01", "0.6")]), RULE), "met");
    let decision = ask("us-md", "2026-05-15", &enhanced("1", vec![coated("2026-04-01", "0.62")]));
    let found = decision.findings.iter().find(|found| found.rule == format!("us-md.{RULE}")).expect("a finding");
    assert_eq!((found.outcome, found.verdict), (Outcome::Unknown, Verdict::Stop));
    assert!(found.message.contains("what went down there on 2026-04-01 may still set free up to 0.62"), "{found:?}");
    assert_eq!(found.actual.as_deref(), Some("0.72"));
    // 0.08 lb are left, a tenth of 0.8 lb N, which are 4 lb of a product with 20 % N.
    assert_eq!(decision.sections[0].largest_lawful_product_lb, Some(amount("4")));
    // Other products release at once, and half a year later nothing is counted.
    assert_eq!(stands("us-md", "2026-05-15", &enhanced("1", vec![past("2026-04-01", "0.62")]), RULE), "met");
    assert_eq!(stands("us-md", "2026-10-02", &enhanced("1", vec![coated("2026-04-01", "0.62")]), RULE), "met");
    assert_ne!(stands("us-md", "2026-10-01", &enhanced("1", vec![coated("2026-04-01", "0.62")]), RULE), "met");
}

#[test]
fn a_load_that_sets_free_too_much_by_itself_is_refused_as_such() {
    // MD-35 again: 0.8 lb of a product that sets all of it free in a month.
    let given = Given { release_percent: Some("100".into()), ..enhanced("0.8", vec![coated("2026-04-01", "0.1")]) };
    let decision = ask("us-md", "2026-05-15", &given);
    let found = decision.findings.iter().find(|found| found.rule == format!("us-md.{RULE}")).expect("a finding");
    assert_eq!((found.outcome, found.actual.as_deref()), (Outcome::Broken, Some("0.8")));
    // What certainly fits beside 0.1 lb is 0.6 lb N: 3 lb of product.
    assert_eq!(decision.sections[0].largest_lawful_product_lb, Some(amount("3")));
}

#[test]
fn the_district_says_less_and_pennsylvania_says_at_any_time() {
    // Less than 0.7 lb in a month (DC-16): 0.1 and 0.6 are not less.
    let both = enhanced("1", vec![coated("2026-04-01", "0.6")]);
    assert_ne!(stands("us-dc", "2026-05-15", &both, "enhanced.release"), "met");
    assert_eq!(stands("us-dc", "2026-05-15", &enhanced("0.98", both.past.clone()), "enhanced.release"), "met");
    // At most 0.7 lb at any time (PA-03).
    assert_eq!(stands("us-pa", "2026-05-15", &both, "nitrogen.release"), "met");
    let more = enhanced("1.02", both.past.clone());
    assert_ne!(stands("us-pa", "2026-05-15", &more, "nitrogen.release"), "met");
}

#[test]
fn a_label_without_a_release_may_release_all_and_a_record_taken_back_releases_nothing() {
    // MD-35: without a stated release only 0.1 lb fits beside 0.6 lb.
    let given = |rate: &str| Given { release_percent: None, ..enhanced(rate, vec![coated("2026-04-01", "0.6")]) };
    assert_eq!(stands("us-md", "2026-05-15", &given("0.1"), RULE), "met");
    assert_ne!(stands("us-md", "2026-05-15", &given("0.12"), RULE), "met");
    let mut facts = enhanced("1", vec![coated("2026-04-01", "2")]).facts(crate::facts::day("2026-05-15"));
    let mut reversal = facts.lines[0].section.past[0];
    reversal.nutrients.nitrogen_lb = domain::quantity::Quantity::from_raw(-reversal.nutrients.nitrogen_lb.raw());
    facts.lines[0].section.past.push(reversal);
    let decision = domain::decision::decide(crate::facts::book(), &["us-md".to_owned()], &facts);
    assert_eq!(crate::cases::standing(&decision, &format!("us-md.{RULE}")), "met");
    // Nothing is left once the earlier loads may set free all that is allowed.
    let full = ask("us-md", "2026-05-15", &enhanced("0.2", vec![coated("2026-04-01", "0.7")]));
    assert_eq!(full.sections[0].largest_lawful_product_lb, Some(ProductMass::ZERO));
    // A product that is not of the kind is not asked.
    assert_eq!(stands("us-md", "2026-05-15", &nitrogen("0.4"), RULE), "silent");
}
