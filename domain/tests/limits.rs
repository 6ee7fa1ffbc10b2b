//! What happens exactly at a limit, and what is said beside it. Limits without a source are a town's, invented for the test.

use domain::{
    application::Audience,
    decision::{Decision, Verdict, decide},
    facts::Facts,
    land::Species,
    law::Lawbook,
    weather::{Basis, FromService, WeatherSource, Wind},
};
use jiff::SignedDuration;

use crate::{
    cases::standing,
    edges::{codes, town},
    facts::{Given, Past, amount, book, day},
    traps::{ask, half_slow, nitrogen, past},
};

/// A wind of this morning, so many minutes old.
fn wind(facts: &Facts, mph: &str, minutes: i64) -> Wind {
    Wind {
        wind_mph: amount(mph),
        gust_mph: None,
        source: WeatherSource::Technician,
        observed_at: facts.at.plus(SignedDuration::from_mins(-minutes)),
        service: None,
    }
}

fn in_wind(liquid: bool, limit: Option<&str>, wind: impl Fn(&Facts) -> Wind) -> Decision {
    let mut facts = Given { liquid, ..half_slow("0.4") }.facts(day("2026-05-15"));
    facts.label.wind_limit_mph = limit.map(amount);
    facts.weather.wind = Some(wind(&facts));
    decide(book(), &codes(&["us-pa"]), &facts)
}

#[test]
fn practice_warns_above_its_wind_and_not_at_it() {
    // Common practice, no source: 10 mph for spray, 15 mph for a spreader. It only warns.
    for (liquid, at, above) in [(true, "10", "10.01"), (false, "15", "15.01")] {
        let asked = |mph: &str| standing(&in_wind(liquid, None, |facts| wind(facts, mph, 5)), "practice.wind");
        assert_eq!((asked("9.99"), asked(at), asked(above)), ("silent", "silent", "care"), "{liquid}");
    }
}

#[test]
fn a_labels_wind_limit_is_allowed_and_beyond_it_is_not() {
    let asked = |mph: &str| standing(&in_wind(true, Some("8"), |facts| wind(facts, mph, 5)), "label.wind");
    assert_eq!((asked("8"), asked("8.01")), ("met", "refused"));
}

#[test]
fn a_wind_that_was_taken_hours_ago_says_how_many() {
    // 180 minutes are fresh; from 181 on another look is asked for. Two hours and more are told in hours.
    let at = |minutes: i64| in_wind(true, Some("8"), |facts| wind(facts, "5", minutes));
    assert_eq!(standing(&at(180), "label.wind"), "met");
    let decision = at(181);
    let found = decision.findings.iter().find(|finding| finding.rule == "label.wind").expect("a finding");
    assert_eq!(found.message, "The wind was taken 3 hours ago.");
}

#[test]
fn a_forecast_of_wind_with_a_gap_does_not_clear() {
    let forecast = |covered: &str| {
        in_wind(true, Some("8"), |facts| {
            let service = FromService {
                basis: Basis::Forecast,
                fetched_at: facts.at,
                issued_at: Some(facts.at),
                coverage_percent: amount(covered),
            };
            Wind { service: Some(service), source: WeatherSource::WeatherService, ..wind(facts, "5", 0) }
        })
    };
    assert_eq!(standing(&forecast("100"), "label.wind"), "met");
    assert_eq!(standing(&forecast("99.99"), "label.wind"), "unknown");
}

#[test]
fn a_clause_behind_a_semicolon_begins_small_and_keeps_its_words() {
    // The company's setting for heat (common practice): above 85 °F no quick-release nitrogen.
    let decision = ask("us-pa", "2026-05-15", &Given { air: Some("85.1".into()), ..nitrogen("0.4") });
    let found = decision.findings.iter().find(|finding| finding.rule == "company.heat.quick_nitrogen");
    let message = found.map(|finding| finding.message.as_str());
    assert_eq!(message, Some("The air is at 85.1 °F; quick-release N may not go down in air of more than 85 °F."));
}

/// A town whose cap for one application differs from turf to turf.
fn by_species() -> Lawbook {
    let value = "comparator = \"at_most\"\nby_species = { zoysia = \"0.5\", bermuda = \"1\" }";
    town("cap_application", "nutrient = \"nitrogen_total\"\nunit = \"lb/ksf\"", value)
}

#[test]
fn without_a_species_the_lowest_number_clears_and_only_the_highest_refuses() {
    let asked = |species: &str, rate: &str| {
        let given = Given { species: Some(species.into()), ..half_slow(rate) };
        standing(&decide(&by_species(), &codes(&["us-zz-town"]), &given.facts(day("2026-05-15"))), "us-zz-town.rule")
    };
    assert_eq!(
        ["0.5", "0.502", "1", "1.002"].map(|rate| asked("unknown", rate)),
        ["met", "unknown", "unknown", "refused"]
    );
    assert_eq!(["0.5", "0.502"].map(|rate| asked("zoysia", rate)), ["met", "refused"]);
    assert_eq!(["1", "1.002"].map(|rate| asked("bermuda", rate)), ["met", "refused"]);
    assert_eq!(asked("tall_fescue", "0.2"), "care", "the table has no number");
}

#[test]
fn where_nothing_is_left_the_way_out_names_no_amount() {
    // PA-01: 0.7 lb of quick nitrogen went down earlier that day, so none is left.
    let full = Past { quick_rate: Some("0.7".into()), ..past("2026-05-15", "0.7") };
    let decision = ask("us-pa", "2026-05-15", &Given { past: vec![full], ..nitrogen("0.1") });
    let found = decision.findings.iter().find(|finding| finding.rule == "us-pa.nitrogen.quick.application");
    assert_eq!(found.map(|finding| finding.hint.as_str()), Some("Put none of this 20-0-0 product on the front lawn."));
}

#[test]
fn a_label_limit_counts_potash_that_went_down_earlier_that_day() {
    // A product without nitrogen is known again by its potash: 2 lb of a 50 % product brought 1 lb.
    let mut facts = Given {
        k2o: Some("50".into()),
        label_product_limit: Some("4".into()),
        product_lb: Some("2".into()),
        ..Given::default()
    }
    .facts(day("2026-05-15"));
    let mut earlier = Given { past: vec![past("2026-05-15", "0")], ..Given::default() }.facts(day("2026-05-15")).lines
        [0]
    .section
    .past[0];
    earlier.nutrients = facts.label.nutrients_in(amount("2"));
    facts.lines[0].section.past.push(earlier);
    let asked = |facts: &Facts| standing(&decide(book(), &codes(&["us-pa"]), facts), "label.product.application");
    assert_eq!(asked(&facts), "met");
    facts.lines[0].product = amount("2.000001");
    assert_eq!(asked(&facts), "refused");
}

#[test]
fn every_set_that_nobody_gathered_is_named_once() {
    let facts = half_slow("0.4").facts(day("2026-05-15"));
    let decision = decide(book(), &codes(&["us-zz", "us-zy", "us-zz"]), &facts);
    let named: Vec<&str> = decision.rule_sets.iter().map(|set| set.code.as_str()).collect();
    assert_eq!(named, ["company", "us-zz", "us-zy"]);
    assert_eq!((standing(&decision, "law.us-zz"), standing(&decision, "law.us-zy")), ("unknown", "unknown"));
}

#[test]
fn a_yearly_cap_for_one_form_of_product_is_no_cap_that_is_shown_when_it_is_about_more() {
    let shown = |head: &str| {
        let head = format!("nutrient = \"nitrogen_total\"\nunit = \"lb/ksf\"\n{head}");
        let value = "comparator = \"at_most\"\nvalue = \"3\"\ncounts = \"all_products\"";
        let cap = town("cap_year", &head, value).tightest_year_cap(
            &codes(&["us-zz-town"]),
            Some(Species::TallFescue),
            Audience::Professional,
            day("2026-05-15"),
        );
        cap.map(|cap| cap.rule)
    };
    let rule = Some("us-zz-town.rule".to_owned());
    assert_eq!(shown(""), rule);
    // A lawn may get granular product all year, so the cap on it is shown; one on organic or enhanced products alone is not.
    assert_eq!(shown("when = { forms = [\"granular\"] }"), rule);
    assert_eq!(shown("when = { organic = true }"), None);
    assert_eq!(shown("when = { enhanced_efficiency = true }"), None);
    assert_eq!(shown("when = { phosphate_over = \"0\" }"), None);
}

#[test]
fn water_at_an_unknown_distance_that_may_be_of_some_kind_is_looked_at_and_stops_nothing() {
    // 330 CMR 31.05(4) by a summary: 100 ft from a surface source of public drinking water (MA-06).
    let decision = ask("us-ma", "2026-05-15", &Given { water: Some("unknown".into()), ..half_slow("0.4") });
    let found = decision.findings.iter().find(|finding| finding.rule == "us-ma.water_supply.distance");
    let found = found.map(|finding| (finding.verdict, finding.message.contains("within an unknown distance of water")));
    assert_eq!(found, Some((Verdict::Care, true)));
}

#[test]
fn a_window_that_is_full_of_one_nutrient_is_open_to_another() {
    // 0.6 lb of quick nitrogen lie in the window already, which takes nothing from what it lets through of phosphate.
    let caps = "first_barred = \"05-01\"\nlast_barred = \"05-31\"\nper = \"window\"\ncaps = { nitrogen_quick = \"0.5\", phosphate = \"0.25\" }";
    let book = town("window", "unit = \"lb/ksf\"", caps);
    let earlier = Past { quick_rate: Some("0.6".into()), ..past("2026-05-02", "0.6") };
    let asked = |rate: &str| {
        let given = Given {
            p2o5: Some("40".into()),
            p2o5_rate: Some(rate.into()),
            past: vec![earlier.clone()],
            ..Given::default()
        };
        standing(&decide(&book, &codes(&["us-zz-town"]), &given.facts(day("2026-05-15"))), "us-zz-town.rule")
    };
    assert_eq!((asked("0.25"), asked("0.252")), ("met", "refused"));
}

#[test]
fn a_report_due_on_the_29th_of_february_is_due_on_the_28th_in_other_years() {
    let due = |year: i16| {
        let book = town("report", "", "words = \"report to the town\"\ndue = \"02-29\"");
        let reports = book.reports_due(&codes(&["us-zz-town"]), Audience::Professional, year, amount("1000"));
        reports.iter().map(|report| report.due).collect::<Vec<_>>()
    };
    assert_eq!((due(2026), due(2027)), (vec![day("2027-02-28")], vec![day("2028-02-29")]));
}
