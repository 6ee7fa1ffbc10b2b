//! What each text calls slow-release, held against the forms of nitrogen that a label prints.

use std::collections::BTreeSet;

use domain::law::{duty::Duty, kind::BoundParty, model::Rule};

use crate::{
    cases::{standing, without_bars},
    facts::{Given, book, day},
};

/// A product with 20 % N, of which so much is slow in one form or another.
fn label(insoluble: &str, coated: &str, soluble: &str, slow: &str) -> Given {
    Given {
        n: Some("20".into()),
        n_rate: Some("0.4".into()),
        slow_n: Some(slow.into()),
        insoluble_n: Some(insoluble.into()),
        coated_n: Some(coated.into()),
        slow_soluble_n: Some(soluble.into()),
        ..Given::default()
    }
}

fn floors() -> Vec<(&'static str, &'static Rule)> {
    let sets = book().rule_sets().iter();
    let rules = sets.flat_map(|set| set.rules.iter().map(|rule| (set.about.code.as_str(), rule)));
    rules
        .filter(|(_, rule)| {
            rule.binds == BoundParty::Applicator
                && rule.values.iter().any(|value| matches!(value.duty, Some(Duty::SlowShare(_))))
        })
        .collect()
}

/// How every floor that binds the applicator stands to one product.
fn stand(given: &Given) -> BTreeSet<(&'static str, &'static str)> {
    let stands = |(code, rule): (&str, &'static Rule)| {
        // The two audiences and an uncertified applicator: some floors bind one of them only.
        [false, true].into_iter().find_map(|household| {
            let facts = Given { household, ..given.clone() }.facts(day("2026-05-20"));
            let decision = domain::decision::decide(without_bars(), &[code.to_owned()], &facts);
            let found = standing(&decision, &rule.id);
            (found != "silent").then_some((rule.id.as_str(), found))
        })
    };
    floors().into_iter().filter_map(stands).collect()
}

#[test]
fn only_vermont_asks_whether_slow_nitrogen_dissolves_in_water() {
    // Three quarters slow, more than every floor asks. 10 V.S.A. 1266b(a)(7): released over time and not water-soluble
    // (VT-03). Md. Code, Agric. 8-801(j): delayed, or available longer than a reference (MD-29), which soluble slow nitrogen
    // is. D.C. Code 8-104.03(e)(3) and the towns of Florida and Massachusetts name a share and no form (DC-15, FL-20, FL-22,
    // FL-24, FL-25, FL-28, FL-31, FL-33, MA-14).
    for (given, vermont) in [
        (label("15", "0", "0", "15"), "met"),
        (label("0", "15", "0", "15"), "care"),
        (label("0", "0", "15", "15"), "refused"),
    ] {
        let found = stand(&given);
        assert!(found.len() >= 8, "only {found:?}");
        for (rule, stands) in found {
            assert_eq!(stands, if rule == "us-vt.nitrogen.slow_share" { vermont } else { "met" }, "{rule}");
        }
    }
}

#[test]
fn nitrogen_that_is_only_stabilised_is_slow_nowhere() {
    // An inhibitor leaves urea water-soluble (T10); no text that was read counts it as slow-release.
    // New Hampshire asks near water alone (NH-12).
    let near = Some("40".into());
    let found = stand(&Given { enhanced_efficiency: true, water: near, ..label("0", "0", "0", "0") });
    assert!(found.len() >= 8, "only {found:?}");
    assert!(found.iter().all(|(_, stands)| *stands != "met"), "{found:?}");
}

#[test]
fn vermont_counts_the_insoluble_part_to_the_hundredth() {
    // 10 V.S.A. 1266b(a)(5) and (7): at least 15 % of all nitrogen (VT-02, VT-03); 3.00 of 20 % is the edge. Coated nitrogen
    // that would be needed to reach it leaves the answer open.
    let stands = |insoluble: &str, coated: &str, soluble: &str, slow: &str| {
        let facts = label(insoluble, coated, soluble, slow).facts(day("2026-06-15"));
        let decision = domain::decision::decide(book(), &["us-vt".to_owned()], &facts);
        standing(&decision, "us-vt.nitrogen.slow_share")
    };
    assert_eq!(stands("3", "0", "7", "10"), "met");
    assert_eq!(stands("2.99", "0", "7.01", "10"), "refused");
    assert_eq!(stands("2.99", "0.01", "7", "10"), "care");
    assert_eq!(stands("2.98", "0.01", "7.01", "10"), "refused");
}
