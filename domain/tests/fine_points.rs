//! Fine points of the rules themselves: what a sentence says, which day is named, where a limit stands. Where a set is named
//! `xx`, it is invented, and the expectation follows from its words.

use domain::{
    application::Audience,
    decision::{Decision, decide},
    facts::{Facts, PastApplication},
    land::Water,
    law::{Lawbook, nutrient::Nutrient},
    product::Nutrients,
    quantity::{RateSum, TotalNitrogen},
    soil::SoilCategory,
    weather::{Alert, AlertEvent, AlertLevel},
};

use crate::{
    facts::{Given, Report, amount, day},
    small_print::{RATE, at_most, book, codes, head, read, rule},
};

#[track_caller]
fn said(decision: &Decision, rule: &str) -> String {
    let finding = decision.findings.iter().find(|finding| finding.rule == rule);
    finding.unwrap_or_else(|| panic!("{rule} says nothing: {:#?}", decision.findings)).message.clone()
}

fn asked(book: &Lawbook, set: &str, facts: &Facts) -> Decision {
    decide(book, &codes(&[set]), facts)
}

#[test]
fn a_list_of_nutrients_belongs_to_no_cap() {
    let capped = rule("xx", "cap", "cap_application", &format!("{RATE}nutrients = [\"phosphate\"]\n"), &at_most("1"));
    let faults = read(&[("xx", capped)]).expect_err("a field too many");
    assert!(faults.iter().any(|fault| fault.field == "nutrients"), "{faults:#?}");
}

#[test]
fn a_hole_that_is_no_table_is_refused() {
    let text = format!("{}hole = [1]\n", head("xx"));
    let faults = Lawbook::from_texts(&[("xx.toml", &text)]).expect_err("a number");
    assert!(faults.iter().any(|fault| fault.what == "must be a list of tables"), "{faults:#?}");
}

#[test]
fn what_counts_from_the_end_of_employment_keeps_no_record_of_an_application() {
    let kept = |from: &str| {
        let value = format!("years = 3\ncounts_from = \"{from}\"");
        let book = book(&[("xx", rule("xx", "kept", "retention", "", &value))]);
        book.kept_until(&codes(&["xx"]), Audience::Professional, day("2026-05-15"), day("2026-06-15"))
            .map(|kept| kept.until)
    };
    assert_eq!(kept("application"), Some(day("2029-05-15")));
    assert_eq!(kept("end_of_employment"), None);
}

#[test]
fn phosphorus_is_counted_as_the_part_of_phosphate_that_it_is() {
    // P in P2O5 is 0.43643 by the standard atomic weights (IUPAC); the rules count 0.4364 and round a rate up.
    let mut sum = RateSum::default();
    sum.add(10_000_000_000, amount("1000"));
    assert_eq!(Nutrient::Phosphorus.rate(&sum).to_string(), "0.4364");
    assert_eq!(Nutrient::Phosphate.rate(&sum).to_string(), "1");
}

#[test]
fn a_barred_towns_rules_are_not_among_those_of_the_day() {
    let bar = "\n[preempts_local]\nwords = \"No town may.\"\nreach = \"all\"\ncite = \"Code 9\"\nhref = \"https://law.example/9\"\nmark = \"read\"\n";
    let cap = |code: &str| rule(code, "cap", "cap_application", RATE, &at_most("1"));
    let state = format!("{}{bar}{}", head("xx"), cap("xx"));
    let town = head("xx-town").replace("\"state\"", "\"municipality\"\nparent = \"xx\"");
    let town = format!("{town}{}", cap("xx-town"));
    let book = Lawbook::from_texts(&[("xx.toml", &state), ("xx-town.toml", &town)]).expect("a state and a town");
    let rules = book.on_day(&codes(&["xx-town"]), day("2026-06-15"));
    assert_eq!(rules.iter().map(|rule| rule.rule.as_str()).collect::<Vec<_>>(), ["xx.cap"]);
}

#[test]
fn a_distance_from_some_waters_only_whose_text_was_not_read_stops_nothing() {
    let water = |only: &str| {
        let value = format!("comparator = \"at_least\"\nvalue = \"15\"\nmeasured_from = \"water\"\n{only}");
        book(&[("xx", rule("xx", "water", "setback", "unit = \"ft\"\n", &value))])
    };
    let unknown = |book: &Lawbook| {
        let given = Given { n: Some("20".into()), ..Given::default() };
        let label = given.label();
        let intent = domain::law::Intent {
            on: day("2013-06-15"),
            audience: Audience::Professional,
            kind: Some(domain::land::PropertyKind::Lawn),
            purpose: domain::application::Purpose::Maintenance,
            label: &label,
            species: None,
            equipment: domain::equipment::Equipment::DropSpreader,
        };
        book.strictest(&codes(&["xx"]), &intent).unknown.len()
    };
    assert_eq!(unknown(&water("")), 1);
    assert_eq!(unknown(&water("only_where = \"a source of drinking water\"\n")), 0);
}

#[test]
fn a_cap_on_products_for_new_turf_is_a_cap_of_the_lawn() {
    let cap = |when: &str| {
        let value = format!("counts = \"all_products\"\n{}", at_most("2"));
        let book = book(&[("xx", rule("xx", "year", "cap_year", &format!("{RATE}{when}\n"), &value))]);
        book.tightest_year_cap(&codes(&["xx"]), None, Audience::Professional, day("2026-06-15"))
            .map(|cap| cap.limit_lb_per_1000_sqft)
    };
    assert_eq!(cap("when = { labelled_for_establishment = true }"), Some(amount("2")));
    assert_eq!(cap("when = { organic = true }"), None);
}

#[test]
fn an_alert_is_named_as_it_is_called() {
    let flood = Alert { event: AlertEvent::Flood, level: AlertLevel::Watch };
    let value = "alerts = [{ event = \"flood\", level = \"watch\" }]";
    let book = book(&[("xx", rule("xx", "alerts", "alerts", "", value))]);
    let facts = Given { alerts: vec![flood], ..Given::default() }.facts(day("2026-06-15"));
    let words = said(&asked(&book, "xx", &facts), "xx.alerts");
    assert_eq!(words, "In force: flood watch; under it nothing may go down.");
}

#[test]
fn of_phosphorus_no_room_is_told_in_the_unit_of_labels() {
    let value = format!("counts = \"all_products\"\n{}", at_most("0.1"));
    let head = "nutrient = \"phosphorus\"\nunit = \"lb/ksf\"\n";
    let book = book(&[("xx", rule("xx", "year", "cap_year", head, &value))]);
    let given = Given { p2o5: Some("10".into()), p2o5_rate: Some("0.5".into()), ..Given::default() };
    let words = said(&asked(&book, "xx", &given.facts(day("2026-06-15"))), "xx.year");
    assert!(words.starts_with("Too little is left on"), "{words}");
}

#[test]
fn a_single_capital_keeps_its_size_behind_a_semicolon() {
    let value = "comparator = \"more_than\"\nvalue = \"80\"";
    let head = "nutrient = \"nitrogen_total\"\nunit = \"\u{b0}F\"\n";
    let book = book(&[("xx", rule("xx", "heat", "heat", head, value))]);
    let facts = Given { n: Some("20".into()), n_rate: Some("0.5".into()), air: Some("90".into()), ..Given::default() }
        .facts(day("2026-06-15"));
    let words = said(&asked(&book, "xx", &facts), "xx.heat");
    assert!(words.starts_with("The air is at 90 \u{b0}F; N may not"), "{words}");
}

#[test]
fn low_phosphorus_fertilizer_holds_five_percent_and_no_more() {
    // COMAR 15.20.10.02 B(11) (MD-32): at most 5 % P2O5. At 5 % the report's 0.1 lb on 1,000 sq ft limits the amount to 2 lb.
    let largest = |percent: &str| {
        let report = Report {
            sampled_on: "2026-01-10".parse().expect("a day"),
            category: Some(SoilCategory::Medium),
            recommended: Some("0.1".into()),
        };
        let given = Given {
            area: Some("1000".into()),
            organic: true,
            p2o5: Some(percent.into()),
            product_lb: Some("1".into()),
            soil_reports: vec![report],
            ..Given::default()
        };
        let decision = asked(crate::facts::book(), "us-md", &given.facts(day("2026-06-15")));
        decision.sections[0].largest_lawful_product_lb.map(|mass| mass.to_string())
    };
    assert_eq!(largest("5").as_deref(), Some("2"));
    assert_eq!(largest("5.01").as_deref(), Some("0"));
}

#[test]
fn a_load_that_was_taken_back_is_not_among_the_days_that_still_release() {
    // D.C. Code 8-104.03(e)(2) (DC-16): less than 0.7 lb set free in a month.
    let given = Given {
        n: Some("20".into()),
        n_rate: Some("0.6".into()),
        enhanced_efficiency: true,
        release_percent: Some("50".into()),
        ..Given::default()
    };
    let mut facts = given.facts(day("2026-06-15"));
    let area = facts.lines[0].area;
    let load = |on: &str, sign: i64| PastApplication {
        on: day(on),
        area,
        parts: None,
        nutrients: Nutrients { nitrogen_lb: TotalNitrogen::from_raw(sign * area.raw() * 60_000), ..Nutrients::NONE },
        enhanced_efficiency: true,
        organic: false,
        purpose: domain::application::Purpose::Maintenance,
        product: domain::facts::PastProduct::default(),
        held: false,
    };
    facts.lines[0].section.past = vec![load("2026-05-01", 1), load("2026-05-02", 1), load("2026-05-02", -1)];
    facts.lines[0].section.water = Water::None;
    let decision = asked(crate::facts::book(), "us-dc", &facts);
    let words: String = decision.findings.iter().map(|finding| finding.message.as_str()).collect();
    assert!(words.contains("what went down there on 2026-05-01 may still set free"), "{words}");
}

#[test]
fn behind_a_natural_strip_nobody_need_know_how_far_the_water_is() {
    // N.Y. Environmental Conservation Law 17-2103(3)(c) (NY-07): no distance behind ten feet of natural vegetation.
    let at = |strip: &str| {
        let given = Given {
            n: Some("20".into()),
            n_rate: Some("0.5".into()),
            water: Some("unknown".into()),
            strip: Some(strip.into()),
            ..Given::default()
        };
        let decision = asked(crate::facts::book(), "us-ny", &given.facts(day("2026-06-15")));
        crate::cases::standing(&decision, "us-ny.water.distance")
    };
    assert_eq!((at("10"), at("9.99")), ("met", "unknown"));
}
