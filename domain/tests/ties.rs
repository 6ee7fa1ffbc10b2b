//! Ties, newest reports, windows of one day, and the words that say which number it was.

use domain::{
    application::{Audience, Purpose},
    decision::{Decision, check_label, decide},
    equipment::Equipment,
    land::Species,
    law::{Intent, Lawbook},
};

use crate::{
    cases::standing,
    edges::{ask, codes, nitrogen, stands, town},
    facts::book,
    facts::{Given, Past, Report, day},
};

pub fn entry(on: &str, rate: &str) -> Past {
    Past { on: on.parse().ok(), n_rate: Some(rate.into()), ..Past::default() }
}

fn message(decision: &Decision, rule: &str) -> String {
    let finding = decision.findings.iter().find(|finding| finding.rule == rule);
    finding.map(|finding| finding.message.clone()).unwrap_or_default()
}

#[test]
fn when_the_cap_is_full_nothing_is_left() {
    let given = Given { past: vec![entry("2026-03-01", "4")], ..nitrogen(&[]) };
    let decision = decide(book(), &codes(&["us-fl-pinellas"]), &given.facts(day("2026-05-15")));
    let message = message(&decision, "us-fl-pinellas.nitrogen.total.year");
    assert!(message.starts_with("Nothing is left on the front lawn in the calendar year 2026"), "{message}");
}

#[test]
fn a_window_of_one_day_holds_on_that_day_of_each_year_by_itself() {
    let value =
        "first_barred = \"07-04\"\nlast_barred = \"07-04\"\nper = \"window\"\ncaps = { nitrogen_total = \"0.7\" }";
    let book = town("window", "unit = \"lb/ksf\"", value);
    let with = |on: &str| Given { past: vec![entry(on, "0.3")], ..nitrogen(&[]) };
    assert_eq!(stands(&book, "2026-07-04", &with("2026-07-04")), "refused");
    assert_eq!(stands(&book, "2026-07-04", &with("2025-07-04")), "met");
    assert_eq!(stands(&book, "2026-07-05", &with("2026-07-04")), "met");
    let decision = ask(&book, "2026-07-04", &with("2026-07-04"));
    let message = message(&decision, "us-zz-town.rule");
    let start =
        "From July 4 through July 4 at most 0.7 lb N per 1,000 sq ft may go down, all loads of the window together;";
    assert!(message.starts_with(start), "{message}");
    // Where the cap is on each application, loads of two days do not add up, and loads of one day are one application.
    let two_days = value.replace("last_barred = \"07-04\"", "last_barred = \"07-05\"");
    let each = town("window", "unit = \"lb/ksf\"", &two_days.replace("\"window\"", "\"application\""));
    assert_eq!(stands(&each, "2026-07-05", &with("2026-07-04")), "met");
    assert_eq!(stands(&each, "2026-07-05", &with("2026-07-05")), "refused");
}

#[test]
fn a_winter_window_counts_its_own_winter_only() {
    // 3 Pa.C.S. 6813(b)(4) (PA-07): 0.5 lb from December 16 through the end of February.
    let rule = "us-pa.nitrogen.winter";
    let stands = |on: &str, past: &str| {
        let given = Given { past: vec![entry(past, "0.4")], n_rate: Some("0.2".into()), ..nitrogen(&[]) };
        standing(&decide(book(), &codes(&["us-pa"]), &given.facts(day(on))), rule)
    };
    for (on, past, expected) in [
        ("2026-12-20", "2026-12-16", "refused"),
        ("2026-12-20", "2026-12-15", "met"),
        ("2026-12-20", "2027-02-28", "refused"),
        ("2026-12-20", "2027-03-01", "met"),
        ("2026-12-20", "2028-01-10", "met"),
        ("2027-01-10", "2026-12-16", "refused"),
        ("2027-01-10", "2026-02-20", "met"),
        ("2028-02-29", "2027-12-16", "refused"),
    ] {
        assert_eq!(stands(on, past), expected, "{on} after {past}");
    }
}

#[test]
fn of_two_equal_distances_the_one_that_is_not_enough_itself_is_stricter() {
    // Beyond 10 ft with a drop spreader in the District (DC-02), at least 10 ft in Sarasota County (FL-24).
    let label = Given { n: Some("20".into()), slow_n: Some("14".into()), ..Given::default() }.label();
    let intent = Intent {
        on: day("2026-06-15"),
        audience: Audience::Professional,
        kind: Some(domain::land::PropertyKind::Lawn),
        purpose: Purpose::Maintenance,
        label: &label,
        species: Some(Species::TallFescue),
        equipment: Equipment::DropSpreader,
    };
    for order in [["us-dc", "us-fl-sarasota"], ["us-fl-sarasota", "us-dc"]] {
        let found = book().strictest(&codes(&order), &intent).distance.expect("a distance");
        assert_eq!((found.distance_allowed, found.rule.0.as_str()), (false, "us-dc.water.distance"));
    }
}

#[test]
fn a_table_without_the_species_says_which_table() {
    // Marion County (FL-23) names five species, Virginia's table of single rates eight (VA-01).
    let given = Given { species: Some("other".into()), ..nitrogen(&[]) };
    let year = decide(book(), &codes(&["us-fl-marion"]), &given.facts(day("2026-06-15")));
    let words = "The yearly table has no number for another species, which grows on the front lawn.";
    assert_eq!(message(&year, "us-fl-marion.nitrogen.total.year"), words);
    let single = decide(book(), &codes(&["us-va"]), &given.facts(day("2026-06-15")));
    let words = "The table has no number for another species, which grows on the front lawn.";
    assert_eq!(message(&single, "us-va.guidance.nitrogen.total.application"), words);
}

pub fn report(on: &str, recommended: &str) -> Report {
    Report { sampled_on: on.parse().expect("a day"), category: None, recommended: Some(recommended.into()) }
}

#[test]
fn the_newest_report_speaks() {
    let given = |reports: &[(&str, &str)]| Given {
        p2o5: Some("10".into()),
        p2o5_rate: Some("0.1".into()),
        soil_reports: reports.iter().map(|(on, rate)| report(on, rate)).collect(),
        ..Given::default()
    };
    let on_day =
        |reports: &[(&str, &str)]| decide(book(), &codes(&["us-wi"]), &given(reports).facts(day("2026-06-15")));
    let rule = "us-wi.phosphorus.need";
    assert_eq!(standing(&on_day(&[("2025-04-01", "1"), ("2026-04-01", "0")]), rule), "refused");
    assert_eq!(standing(&on_day(&[("2026-04-01", "1"), ("2025-04-01", "0")]), rule), "met");
    // Of reports that are all too old the newest is named, and one of soil dug later proves nothing.
    let old = message(&on_day(&[("2019-04-01", "1"), ("2021-04-01", "1")]), rule);
    assert!(old.ends_with("The newest is of 2021-04-01."), "{old}");
    assert_eq!(standing(&on_day(&[("2026-06-16", "1")]), rule), "refused");
}

#[test]
fn the_largest_amount_of_phosphorus_is_none_where_no_amount_helps_and_free_where_nothing_limits() {
    let largest = |code: &str, given: &Given| {
        let decision = decide(book(), &codes(&[code]), &given.facts(day("2026-06-15")));
        decision.sections[0].largest_lawful_product_lb.map(|mass| mass.to_string())
    };
    // COMAR 15.20.10.02 B(11) (MD-32): over 5 % P2O5 is no low phosphorus fertilizer, in no amount.
    let rich = Given {
        organic: true,
        p2o5: Some("6".into()),
        product_lb: Some("1".into()),
        soil_reports: vec![Report { category: Some(domain::soil::SoilCategory::Medium), ..report("2026-01-10", "1") }],
        ..Given::default()
    };
    assert_eq!(largest("us-md", &rich).as_deref(), Some("0"));
    // MCL 324.8512b (MI-02, MI-03): new turf needs no report, so what a report recommends does not bind it.
    let new = Given {
        p2o5: Some("10".into()),
        p2o5_rate: Some("0.5".into()),
        purpose: Some(Purpose::Establishment),
        soil_reports: vec![report("2026-01-10", "0.1")],
        ..Given::default()
    };
    assert_eq!(largest("us-mi", &new), None);
    let fed = Given { purpose: Some(Purpose::Maintenance), ..new };
    assert_eq!(largest("us-mi", &fed).as_deref(), Some("1"));
}

#[test]
fn a_label_is_checked_by_a_local_rule_as_far_as_the_state_lets_it_count() {
    // Minn. Stat. 18C.110 (MN-08): local rules on products with phosphorus do not count.
    let text = r#"
code = "us-zz-town"
name = "A town"
level = "municipality"
parent = "us-mn"
last_checked = 2026-11-20
coverage = "Invented, for tests."

[[rule]]
id = "us-zz-town.floor"
kind = "slow_share"
binds = "label"
audience = ["professional"]
unit = "%"

[[rule.value]]
from = 2001-01-01
comparator = "at_least"
value = "50"
cite = "Town Code 1"
href = "https://law.example/1"
mark = "read"
"#;
    let book = Lawbook::with_files(&[("us-zz-town.toml".to_owned(), text.to_owned())]).expect("a town");
    let check = |p2o5: &str| {
        let label = Given { n: Some("20".into()), p2o5: Some(p2o5.into()), ..Given::default() }.label();
        check_label(&book, &codes(&["us-zz-town"]), &label, day("2026-06-15")).findings
    };
    let rules = |p2o5: &str| check(p2o5).into_iter().map(|finding| finding.rule).collect::<Vec<_>>();
    assert_eq!(rules("0"), ["us-zz-town.floor"]);
    // No rule on labels is left then, which is no leave to sell it.
    assert_eq!(rules("1"), ["law.labels"]);
    assert_eq!(check("1")[0].message, "No rule on labels of this place was read.");
}

#[test]
fn the_recommended_phosphate_is_bounded_by_the_fuller_year() {
    // 0.4 lb lie in the 365 days and not in the calendar year; a report of 1 lb leaves 0.6, 6 lb of a product of 10 %.
    let given = Given {
        p2o5: Some("10".into()),
        p2o5_rate: Some("0.7".into()),
        soil_reports: vec![report("2026-01-10", "1")],
        past: vec![Past { on: "2025-10-01".parse().ok(), p2o5_rate: Some("0.4".into()), ..Past::default() }],
        ..Given::default()
    };
    let decision = decide(book(), &codes(&["us-mi"]), &given.facts(day("2026-06-15")));
    assert_eq!(standing(&decision, "us-mi.phosphorus.need"), "refused");
    let largest = decision.sections[0].largest_lawful_product_lb.map(|mass| mass.to_string());
    assert_eq!(largest.as_deref(), Some("6"));
}

#[test]
fn a_season_closes_only_what_the_product_holds() {
    // N.J.S.A. 58:10A-62(b) (NJ-02): nitrogen or phosphorus; New York's season bars any fertilizer (NY-04).
    let label = Given { k2o: Some("20".into()), ..Given::default() }.label();
    let intent = Intent {
        on: day("2027-01-10"),
        audience: Audience::Professional,
        kind: Some(domain::land::PropertyKind::Lawn),
        purpose: Purpose::Maintenance,
        label: &label,
        species: None,
        equipment: Equipment::DropSpreader,
    };
    let closed = |code: &str| book().strictest(&codes(&[code]), &intent).closed_by.len();
    assert_eq!((closed("us-nj"), closed("us-ny")), (0, 1));
}

#[test]
fn rules_are_said_in_plain_words() {
    let said = |code: &str, rule: &str| {
        let rules = book().on_day(&codes(&[code]), day("2026-06-15"));
        rules
            .into_iter()
            .find(|known| known.rule == format!("{code}.{rule}"))
            .map(|rule| rule.words)
            .unwrap_or_default()
    };
    for (code, rule, words) in [
        ("us-nj", "ground", "No N or P2O5 on ground that is frozen."),
        ("us-pa", "ground", "No N or P2O5 on ground that is frozen two inches deep or more or covered with snow."),
        ("us-nj", "rain", "No fertilizer when heavy rain falls or heavy rain is forecast within 24 hours."),
        ("us-nj", "label.nitrogen.slow_share", "On the label: Of all N at least 20 % is slow-release."),
        (
            "us-pa",
            "seller.slow_share",
            "For sellers: Of all N at least 20 % is slow-release or enhanced in another way (granular products).",
        ),
        ("us-mi-wolverine-lake", "interval", "At least 42 days lie between two applications of fertilizer."),
        ("us-mi-wolverine-lake", "count", "A calendar year has at most 5 applications of fertilizer."),
        (
            "us-mi-wolverine-lake",
            "nitrogen.total.year",
            "A year puts down at most, in lb N on 1,000 sq ft: 4 on the water and 5 elsewhere; the calendar year and any 365 days both count.",
        ),
        (
            "us-fl-orange",
            "season",
            "From June 1 through September 30: no N and no P2O5, unless the applicator holds `us-fl-orange-certified`.",
        ),
        (
            "us-va",
            "phosphorus.need",
            "P2O5 only where a soil report of the last 36 months shows a need, or without a report: first establishment or repair of turf or compost (establishment: within 12 months of seeding).",
        ),
        ("us-wa-whatcom-lakes", "phosphorus.need", "No P2O5 goes down, whatever a soil report says."),
        (
            "us-ma",
            "water_supply.distance",
            "Keep at least 100 ft from the water, where it is a surface source of public drinking water.",
        ),
        (
            "us-oh-western-basin",
            "rain.bare",
            "No fertilizer when more than 1 in of rain is forecast within 12 hours with a chance of more than 50 % (granular products; first establishment).",
        ),
        ("us-va", "training.retention", "Records of training are kept for 3 years after the employment ends."),
        (
            "us-fl-lake-mary",
            "nitrogen.total.slow.application",
            "One application puts down at most 2 lb N on 1,000 sq ft (products whose N is at least 65 % slow-release).",
        ),
    ] {
        assert_eq!(said(code, rule), words);
    }
}

#[test]
fn without_a_species_the_lowest_number_clears_and_only_the_highest_refuses() {
    // The University's table runs from 1.4 to 2.7 (MD-07 to MD-11).
    let with = |past: &str| {
        let given = Given {
            species: Some("unknown".into()),
            past: vec![entry("2026-03-20", past)],
            soil_reports: vec![report("2025-06-01", "0")],
            ..nitrogen(&[])
        };
        let decision = decide(book(), &codes(&["us-md"]), &given.facts(day("2026-06-15")));
        standing(&decision, "us-md.professional.nitrogen.total.year")
    };
    assert_eq!(with("0.9"), "met");
    assert_eq!(with("0.91"), "unknown");
    assert_eq!(with("2.2"), "unknown");
    assert_eq!(with("2.21"), "refused");
}

#[test]
fn an_open_season_says_nothing_of_what_it_never_closes_for() {
    let potash = Given { k2o: Some("20".into()), ..Given::default() };
    let decision = decide(book(), &codes(&["us-nj"]), &potash.facts(day("2026-06-15")));
    assert_eq!(standing(&decision, "us-nj.professional.season"), "silent");
}
