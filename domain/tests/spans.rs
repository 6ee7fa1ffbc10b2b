//! Spans of days: first open days, seasons, retention, and what counts on the day itself.

use domain::{
    application::{Audience, Purpose},
    decision::decide,
    equipment::Equipment,
    law::Intent,
};

use crate::{
    cases::standing,
    edges::{ask, codes, nitrogen, stands, town},
    facts::book,
    facts::{Given, day},
    ties::{entry, report},
};

#[test]
fn a_longer_forecast_that_is_too_wet_asks_for_a_look_and_stops_nothing() {
    let book = town("rain", "unit = \"in\"", "comparator = \"at_least\"\nvalue = \"1\"\nhours = 12");
    let given = Given { rain: Some("1.1".into()), rain_hours: Some(24), ..nitrogen(&[]) };
    let decision = ask(&book, "2026-06-15", &given);
    assert_eq!(standing(&decision, "us-zz-town.rule"), "unknown");
    assert_eq!(decision.verdict, domain::decision::Verdict::Care);
}

#[test]
fn new_turf_opens_on_the_day_after_the_days_to_wait() {
    // Thirty days from 2026-10-02 end with 2026-11-01, which is still barred (FL-21).
    let given = Given { established_on: "2026-10-02".parse().ok(), ..nitrogen(&[]) };
    let on = |on: &str| {
        let decision = decide(book(), &codes(&["us-fl-pinellas"]), &given.facts(day(on)));
        decision.findings.iter().find(|f| f.rule == "us-fl-pinellas.new_turf").map(|f| f.hint.clone())
    };
    assert_eq!(on("2026-11-01").as_deref(), Some("The first open day is 2026-11-02."));
    assert_eq!(on("2026-11-02"), None);
}

#[test]
fn the_first_open_day_is_found_however_far_it_lies() {
    // All days but January 1 are barred: from January 2 the next open day lies 364 days ahead.
    let value =
        "first_barred = \"01-02\"\nlast_barred = \"12-31\"\nper = \"application\"\ncaps = { nitrogen_total = \"0\" }";
    let book = town("window", "unit = \"lb/ksf\"", value);
    let label = nitrogen(&[]).label();
    let intent = Intent {
        on: day("2026-01-02"),
        audience: Audience::Professional,
        kind: Some(domain::land::PropertyKind::Lawn),
        purpose: Purpose::Maintenance,
        label: &label,
        species: None,
        equipment: Equipment::DropSpreader,
    };
    let found = book.strictest(&codes(&["us-zz-town"]), &intent);
    // New York's own season closes January 1 (NY-04), so with it there is none within a year.
    assert_eq!(found.first_open_day, None);
    let spring = town("window", "unit = \"lb/ksf\"", &value.replace("01-02", "05-02").replace("12-31", "04-30"));
    let intent = Intent { on: day("2026-05-02"), ..intent };
    let found = spring.strictest(&codes(&["us-zz-town"]), &intent);
    assert_eq!(found.first_open_day, Some(day("2027-05-01")));
    // One application in a year, and one stands on the last day of 2026: a second load of that day is the same application.
    let one = town("count_year", "nutrient = \"nitrogen_total\"", "most = 1");
    let decision = ask(&one, "2026-01-01", &nitrogen(&["2026-12-31"]));
    let finding = decision.findings.iter().find(|f| f.rule == "us-zz-town.rule").expect("the second");
    assert_eq!(finding.hint, "The first day on which another one is allowed is 2026-12-31.");
}

#[test]
fn a_report_of_soil_that_was_dug_on_the_day_counts() {
    let given = Given {
        p2o5: Some("10".into()),
        p2o5_rate: Some("0.1".into()),
        soil_reports: vec![report("2026-06-15", "1")],
        ..Given::default()
    };
    let decision = decide(book(), &codes(&["us-wi"]), &given.facts(day("2026-06-15")));
    assert_eq!(standing(&decision, "us-wi.phosphorus.need"), "met");
}

#[test]
fn near_water_the_lower_number_clears_and_only_the_higher_refuses() {
    // Wolverine Lake: 4 lb a year on the lake and 5 elsewhere (MI-14).
    let lake = crate::cases::without_bars();
    let with = |water: &str, past: &str| {
        let given = Given { water: Some(water.into()), past: vec![entry("2026-04-02", past)], ..nitrogen(&[]) };
        let decision = decide(lake, &codes(&["us-mi-wolverine-lake"]), &given.facts(day("2026-06-15")));
        standing(&decision, "us-mi-wolverine-lake.nitrogen.total.year")
    };
    for (water, past, expected) in [
        ("100", "3.5", "met"),
        ("100", "3.51", "unknown"),
        ("100", "4.5", "unknown"),
        ("100", "4.51", "refused"),
        ("unknown", "4", "unknown"),
        ("none", "4.5", "met"),
        ("none", "4.51", "refused"),
    ] {
        assert_eq!(with(water, past), expected, "{past} lb before, water {water}");
    }
}

#[test]
fn a_product_that_releases_nothing_is_within_every_release() {
    let value = "comparator = \"at_most\"\nvalue = \"0.7\"\nper = \"month\"";
    let book = town("release", "nutrient = \"nitrogen_total\"\nunit = \"lb/ksf\"", value);
    let with =
        |percent: &str| Given { release_percent: Some(percent.into()), n_rate: Some("9".into()), ..nitrogen(&[]) };
    assert_eq!(stands(&book, "2026-06-15", &with("0")), "met");
    assert_eq!(stands(&book, "2026-06-15", &with("7.77")), "met");
    assert_eq!(stands(&book, "2026-06-15", &with("7.78")), "refused");
}

#[test]
fn retention_follows_the_texts_that_held_from_the_application_to_today() {
    let value = "years = 5\ncounts_from = \"application\"\ncite = \"Town Code 1\"\nhref = \"https://law.example/1\"\nmark = \"read\"\n\n[[rule.value]]\nfrom = 2010-01-01\nyears = 2\ncounts_from = \"application\"\ncite = \"Town Code 1\"\nhref = \"https://law.example/1\"\nmark = \"read\"\n\n[[rule.value]]\nfrom = 2030-01-01\nyears = 9\ncounts_from = \"application\"";
    let book = town("retention", "", value);
    let kept = |applied: &str, today: &str| {
        let kept = book.kept_until(&codes(&["us-zz-town"]), Audience::Professional, day(applied), day(today));
        kept.map(|kept| kept.years)
    };
    assert_eq!(kept("2009-12-31", "2009-12-31"), Some(5));
    assert_eq!(kept("2009-12-31", "2012-01-01"), Some(5));
    assert_eq!(kept("2010-01-01", "2012-01-01"), Some(2));
    assert_eq!(kept("2010-01-01", "2029-12-31"), Some(2));
    assert_eq!(kept("2010-01-01", "2030-01-01"), Some(9));
    assert_eq!(kept("1999-01-01", "2012-01-01"), Some(5), "a text of a later day counts where none was read");
}

#[test]
fn what_binds_says_which_year_leaves_less() {
    // Pinellas County ch. 58 art. XIII: 4 lb N a year (FL-20). "Year" is not defined, so the calendar year and the 365 days
    // both count (T6): 3.5 lb of the autumn before weigh in the span, and nothing of them in the calendar year.
    let words = |past: Vec<crate::facts::Past>| {
        let given = Given { past, ..nitrogen(&[]) };
        let decision = decide(book(), &codes(&["us-fl-pinellas"]), &given.facts(day("2026-05-15")));
        assert_eq!(decision.sections[0].bound_by.as_deref(), Some("us-fl-pinellas.nitrogen.total.year"));
        decision.sections[0].bound_by_words.clone().unwrap_or_default()
    };
    let span = words(vec![entry("2025-10-10", "3.5")]);
    assert!(span.contains("the calendar year and any 365 days both count"), "{span}");
    assert!(span.ends_with(" Less is left in the 365 days to 2026-05-15."), "{span}");
    // A record of later in the year weighs in the calendar year, and in the span that ends with it.
    let both = words(vec![entry("2025-05-17", "1"), entry("2026-01-10", "2.5")]);
    assert!(both.ends_with(" Less is left in the 365 days to 2026-05-15."), "{both}");
    let calendar = words(vec![entry("2026-01-10", "3.5")]);
    assert!(!calendar.contains("Less is left"), "both leave the same: {calendar}");
}

#[test]
fn a_count_of_the_year_says_which_years_it_means() {
    // Wolverine Lake s. 870.05 counts in a calendar year (MI-14); a text that leaves it open counts in both.
    let said = |more: &str| {
        let book = town("count_year", "nutrient = \"nitrogen_total\"", &format!("most = 4{more}"));
        let rules = book.on_day(&codes(&["us-zz-town"]), day("2026-06-15"));
        rules.into_iter().find(|rule| rule.rule == "us-zz-town.rule").expect("the rule").words
    };
    assert_eq!(said("\ncalendar_year = true"), "A calendar year has at most 4 applications of N.");
    assert_eq!(said(""), "A year has at most 4 applications of N; the calendar year and any 365 days both count.");
}

#[test]
fn a_broken_count_names_the_year_in_which_it_breaks() {
    // One a year, with the year left open (T6): in January the application of the summer before lies in the 365 days only.
    let book = town("count_year", "nutrient = \"nitrogen_total\"", "most = 1");
    let message = |past: &str| {
        let given = Given { past: vec![entry(past, "0.2")], ..nitrogen(&[]) };
        let decision = ask(&book, "2026-05-15", &given);
        let found = decision.findings.into_iter().find(|finding| finding.rule == "us-zz-town.rule");
        found.map(|finding| finding.message).unwrap_or_default()
    };
    assert!(message("2025-10-10").contains("in the 365 days to 2026-05-15;"), "{}", message("2025-10-10"));
    assert!(message("2026-04-10").contains("in the calendar year 2026;"), "{}", message("2026-04-10"));
}

#[test]
fn phosphate_beyond_the_report_names_the_year() {
    // MCL 324.8512b: at most what corrects the deficiency (MI-02), here 0.5 lb; half of it went down in the autumn before.
    let past = crate::facts::Past { p2o5_rate: Some("0.3".into()), ..entry("2025-10-10", "0.3") };
    let given = Given {
        p2o5: Some("10".into()),
        p2o5_rate: Some("0.3".into()),
        past: vec![past],
        soil_reports: vec![crate::facts::Report {
            sampled_on: "2026-01-10".parse().expect("a day"),
            category: None,
            recommended: Some("0.5".into()),
        }],
        ..Given::default()
    };
    let decision = decide(book(), &codes(&["us-mi"]), &given.facts(day("2026-05-15")));
    let found = decision.findings.iter().find(|finding| finding.rule == "us-mi.phosphorus.need").expect("a finding");
    let words = "gets up to 0.6 lb P2O5 per 1,000 sq ft in the 365 days to 2026-05-15; the laboratory recommends 0.5";
    assert!(found.message.contains(words), "{}", found.message);
}
