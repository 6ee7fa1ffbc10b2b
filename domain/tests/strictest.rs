//! The stacked sets as one answer, held against the decision, which asks every rule by itself.

use domain::{
    application::{Audience, Purpose},
    decision::{Verdict, decide},
    equipment::Equipment,
    land::{Species, Water},
    law::{CapPer, Intent, Strictest},
    quantity::{Distance, Quantity},
    time::Day,
};
use proptest::prelude::*;

use crate::{
    facts::book,
    facts::{Given, day},
    properties::facts,
};

fn strictest(codes: &[&str], on: &str, given: &Given, equipment: Equipment) -> Strictest {
    let codes: Vec<String> = codes.iter().map(|code| (*code).to_owned()).collect();
    let label = given.label();
    let intent = Intent {
        on: day(on),
        audience: Audience::Professional,
        kind: Some(domain::land::PropertyKind::Lawn),
        purpose: Purpose::Maintenance,
        label: &label,
        species: Some(Species::TallFescue),
        equipment,
    };
    book().strictest(&codes, &intent)
}

fn product() -> Given {
    Given { n: Some("20".into()), slow_n: Some("14".into()), p2o5: Some("1".into()), ..Given::default() }
}

fn cap(answer: &Strictest, nutrient: &str, per: CapPer) -> Option<(String, bool, String)> {
    let wanted: domain::law::nutrient::Nutrient = toml::Value::from(nutrient).try_into().expect("a nutrient");
    let cap = answer.caps.iter().find(|cap| cap.nutrient == wanted && cap.per == per)?;
    Some((cap.limit_lb_per_1000_sqft.to_string(), cap.limit_allowed, cap.rule.0.clone()))
}

#[test]
fn of_several_sets_the_strictest_of_every_line_holds() {
    let both = strictest(&["us-pa", "us-dc", "us-de"], "2026-06-15", &product(), Equipment::DropSpreader);
    // 0.9 in Pennsylvania allows 0.9 and in the District does not (PA-02, DC-14).
    let total = cap(&both, "nitrogen_total", CapPer::Application);
    assert_eq!(total, Some(("0.9".to_owned(), false, "us-dc.nitrogen.total.application".to_owned())));
    // 15 ft in Pennsylvania, whatever the spreader (PA-08); beyond 10 ft in the District with a drop spreader (DC-02).
    let distance = both.distance.clone().expect("a distance");
    assert_eq!((distance.distance_ft.to_string(), distance.rule.0.as_str()), ("15".to_owned(), "us-pa.water.distance"));
    // Six years in Delaware (DE-04), and its fields.
    assert_eq!(both.kept_until.as_ref().map(|kept| kept.years), Some(6));
    assert_eq!(both.record_fields.len(), 5);
    // 36 months in the District (DC-10), 18 in Vermont (VT-05).
    assert_eq!(both.soil_report_months.map(|found| found.months), Some(36));
    let vermont = strictest(&["us-dc", "us-vt"], "2026-06-15", &product(), Equipment::DropSpreader);
    let months = vermont.soil_report_months.expect("an age");
    // Eighteen months are counted back from the day of application: from 2026-08-31 they end on 2025-02-28.
    assert_eq!((months.months, months.last_day(day("2025-02-28"))), (18, day("2026-08-31")));
}

#[test]
fn barred_days_add_up_and_the_first_open_day_is_open_in_every_set() {
    // Delaware opens on February 16, New Jersey on March 1, New York on April 2 (DE-01, NJ-02, NY-04).
    let open = |codes: &[&str]| strictest(codes, "2027-01-10", &product(), Equipment::DropSpreader).first_open_day;
    assert_eq!(open(&["us-de"]), Some(day("2027-02-16")));
    assert_eq!(open(&["us-de", "us-nj"]), Some(day("2027-03-01")));
    assert_eq!(open(&["us-de", "us-nj", "us-ny"]), Some(day("2027-04-02")));
    let closed = strictest(&["us-de", "us-nj", "us-ny"], "2027-01-10", &product(), Equipment::DropSpreader).closed_by;
    assert_eq!(closed.len(), 3);
    assert_eq!(open(&["us-wi"]), Some(day("2027-01-10")));
}

#[test]
fn a_season_that_lowers_a_cap_is_among_the_caps_of_its_days() {
    let on = |code: &str, on: &str, given: &Given| strictest(&[code], on, given, Equipment::DropSpreader);
    let all_quick = Given { n: Some("20".into()), ..Given::default() };
    let lowered = |rule: &str| Some(("0.5".to_owned(), true, rule.to_owned()));
    // COMAR 15.20.10.09 D: half a pound of water-soluble N from November 16 through December 1 (MD-15).
    let late = on("us-md", "2026-11-20", &all_quick);
    for per in [CapPer::Application, CapPer::Season] {
        assert_eq!(cap(&late, "nitrogen_quick", per), lowered("us-md.professional.season.reduced"));
    }
    let early = on("us-md", "2026-11-15", &all_quick);
    assert_eq!(cap(&early, "nitrogen_quick", CapPer::Application).map(|cap| cap.0).as_deref(), Some("0.7"));
    assert_eq!(cap(&early, "nitrogen_quick", CapPer::Season), None);
    // 3 Pa.C.S. 6813(b)(4): half a pound of all N after December 15 and before March 1 (PA-07).
    let winter = on("us-pa", "2026-12-20", &product());
    assert_eq!(cap(&winter, "nitrogen_total", CapPer::Application), lowered("us-pa.nitrogen.winter"));
}

#[test]
fn a_rule_without_a_text_for_the_day_is_named() {
    // No text of COMAR 15.20.10.09 C before 2013-10-28 was read (MD-03).
    let before = strictest(&["us-md"], "2013-10-27", &product(), Equipment::DropSpreader);
    let quick = "us-md.professional.nitrogen.quick.application";
    assert!(before.unknown.iter().any(|rule| rule.0 == quick), "{:?}", before.unknown);
    assert_eq!(cap(&before, "nitrogen_quick", CapPer::Application), None);
    let after = strictest(&["us-md"], "2013-10-28", &product(), Equipment::DropSpreader);
    assert!(after.unknown.iter().all(|rule| rule.0 != quick), "{:?}", after.unknown);
    assert_eq!(cap(&after, "nitrogen_quick", CapPer::Application).map(|cap| cap.0).as_deref(), Some("0.7"));
    assert_eq!(strictest(&["us-md"], "2026-06-15", &product(), Equipment::DropSpreader).unknown, []);
}

#[test]
fn what_only_warns_is_not_among_the_strictest() {
    // New Jersey's professional rates are from memory (NJ-09 to NJ-11); Wolverine Lake only warns (MI-13).
    assert_eq!(strictest(&["us-nj"], "2026-06-15", &product(), Equipment::DropSpreader).caps, []);
    let lake = strictest(&["us-mi-wolverine-lake"], "2026-06-15", &product(), Equipment::DropSpreader);
    assert_eq!(cap(&lake, "nitrogen_total", CapPer::Year), None);
}

#[test]
fn the_years_cap_is_that_of_the_turf_and_of_equal_caps_the_wider_place_is_named() {
    let year = |codes: &[&str]| {
        cap(&strictest(codes, "2026-06-15", &product(), Equipment::DropSpreader), "nitrogen_total", CapPer::Year)
    };
    // University of Maryland: tall fescue 2.7, fine fescue 1.4 (MD-07, MD-09); Pinellas County: 4 for every turf (FL-20).
    let maryland = "us-md.professional.nitrogen.total.year".to_owned();
    assert_eq!(year(&["us-md"]), Some(("2.7".to_owned(), true, maryland)));
    assert_eq!(
        year(&["us-fl-pinellas"]),
        Some(("4".to_owned(), true, "us-fl-pinellas.nitrogen.total.year".to_owned()))
    );
    // Sarasota County caps the year at 4.0 too (FL-24).
    let both = year(&["us-fl-pinellas", "us-fl-sarasota"]).map(|(_, _, rule)| rule);
    assert_eq!(both.as_deref(), Some("us-fl-pinellas.nitrogen.total.year"));
}

#[test]
fn what_a_state_bars_for_phosphorus_alone_is_asked_of_other_products() {
    // Minn. Stat. 18C.110 (MN-08): Roseville's season (MN-10) counts for products without phosphorus only.
    let closed = |p2o5: &str| {
        let given = Given { p2o5: Some(p2o5.into()), ..product() };
        strictest(&["us-mn-roseville"], "2026-11-20", &given, Equipment::DropSpreader).closed_by.len()
    };
    assert_eq!((closed("0"), closed("0.01")), (1, 0));
}

proptest! {
    #[test]
    fn more_sets_are_never_laxer_and_the_decision_agrees(
        facts in facts(),
        codes in prop::sample::subsequence(book().rule_sets().iter().map(|set| set.about.code.clone()).collect::<Vec<_>>(), 1..4),
    ) {
        let label = facts.label.clone();
        let intent = |on: Day| Intent {
            on,
            audience: facts.audience,
            kind: Some(domain::land::PropertyKind::Lawn),
            purpose: facts.purpose,
            label: &label,
            species: facts.lines[0].section.species,
            equipment: facts.equipment,
        };
        let all = book().strictest(&codes, &intent(facts.on));
        for code in &codes {
            let one = book().strictest(std::slice::from_ref(code), &intent(facts.on));
            for cap in &one.caps {
                let lower = all.caps.iter().find(|known| known.nutrient == cap.nutrient && known.per == cap.per);
                prop_assert!(lower.is_some_and(|lower| lower.limit_lb_per_1000_sqft <= cap.limit_lb_per_1000_sqft));
            }
            let feet = |answer: &Strictest| answer.distance.as_ref().map(|found| found.distance_ft);
            prop_assert!(feet(&all) >= feet(&one));
            prop_assert!(one.closed_by.iter().all(|rule| all.closed_by.contains(rule)));
            let known: Vec<_> = all.record_fields.iter().map(|field| field.field).collect();
            let holds = one.record_fields.iter().all(|wanted| wanted.field.is_met_by(&known));
            prop_assert!(holds, "a field of {code} is missing");
        }
        // A credential opens rules to its holder only, which the strictest does not know of.
        let mut facts = facts.clone();
        facts.credentials.clear();
        let decision = decide(book(), &codes, &facts);
        for rule in &all.closed_by {
            let refused = decision.findings.iter().any(|f| f.rule == rule.0 && f.verdict == Verdict::Stop);
            prop_assert!(refused, "{} closes the season and the decision does not say so", rule.0);
        }
        let is_unknown = |rule: &str| {
            decision.findings.iter().any(|f| f.rule == rule && f.outcome == domain::decision::Outcome::Unknown)
        };
        prop_assert!(all.unknown.iter().all(|rule| is_unknown(&rule.0)), "{:?}", all.unknown);
        // Forty thousand pounds of what holds a hundredth of it are over every cap of one application, and the rule that is
        // named says so.
        let much = |share: domain::quantity::Percent| share.raw() == 0 || share.raw() >= 100;
        let label = &facts.label;
        let quick = label.nitrogen_percent.raw() - label.slow_nitrogen_percent.raw();
        let telling = much(label.nitrogen_percent) && much(label.phosphate_percent) && much(label.potash_percent);
        let telling = telling && (quick == 0 || quick >= 100);
        for cap in all.caps.iter().filter(|cap| telling && cap.per == CapPer::Application) {
            let mut over = facts.clone();
            over.lines[0].product = domain::quantity::ProductMass::from_raw(40_000_000_000);
            let decision = decide(book(), &codes, &over);
            let named = decision.findings.iter().any(|f| f.rule == cap.rule.0 && f.verdict == Verdict::Stop);
            prop_assert!(named, "{} does not refuse", cap.rule.0);
        }
        if let Some(found) = &all.distance {
            let step = Quantity::from_raw(i64::from(found.distance_allowed));
            let near: Distance = found.distance_ft.checked_sub(step).expect("a distance");
            facts.lines[0].section.water = Water::At(near);
            let decision = decide(book(), &codes, &facts);
            let spoke = |rule: &str| {
                let care = |f: &domain::decision::Finding| f.rule == rule && f.verdict == Verdict::Care;
                decision.met.iter().any(|met| met.rule == rule) || decision.findings.iter().any(care)
            };
            let refused = decision.findings.iter().any(|f| f.rule == found.rule.0 && f.verdict == Verdict::Stop);
            // A purpose may lift a distance, or would if the day of seeding were known.
            prop_assert!(refused || (facts.purpose == Purpose::Establishment && spoke(&found.rule.0)), "{}", found.rule.0);
        }
    }
}
