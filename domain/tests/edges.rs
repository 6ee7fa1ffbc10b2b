//! Edges of the arithmetic that no published case reaches: late entries, old weather, ties, and what a cap is shown to be.

use domain::{
    application::Audience,
    decision::{Decision, Outcome, Verdict, decide},
    land::Species,
    law::Lawbook,
    weather::HeavyRain,
};

use crate::{
    cases::standing,
    facts::book,
    facts::{Given, Past, day},
};

pub fn codes(codes: &[&str]) -> Vec<String> {
    codes.iter().map(|code| (*code).to_owned()).collect()
}

/// New York with one town, whose single rule is given as kind, head and value.
pub fn town(kind: &str, head: &str, value: &str) -> Lawbook {
    let text = format!(
        r#"
code = "us-zz-town"
name = "A town"
level = "municipality"
parent = "us-ny"
last_checked = 2026-11-20
coverage = "Invented, for tests."

[[rule]]
id = "us-zz-town.rule"
kind = "{kind}"
binds = "applicator"
audience = ["professional"]
{head}

[[rule.value]]
from = 2001-01-01
{value}
cite = "Town Code 1"
href = "https://law.example/1"
mark = "read"
"#
    );
    Lawbook::with_files(&[("us-zz-town.toml".to_owned(), text)]).unwrap_or_else(|faults| panic!("{faults:#?}"))
}

pub fn ask(book: &Lawbook, on: &str, given: &Given) -> Decision {
    decide(book, &codes(&["us-zz-town"]), &given.facts(day(on)))
}

pub fn stands(book: &Lawbook, on: &str, given: &Given) -> &'static str {
    standing(&ask(book, on, given), "us-zz-town.rule")
}

pub fn nitrogen(past: &[&str]) -> Given {
    let entry = |on: &&str| Past { on: on.parse().ok(), n_rate: Some("0.5".into()), ..Past::default() };
    Given {
        n: Some("20".into()),
        slow_n: Some("10".into()),
        n_rate: Some("0.5".into()),
        past: past.iter().map(entry).collect(),
        ..Given::default()
    }
}

#[test]
fn a_count_sees_the_span_that_ends_on_a_later_entry() {
    // Two in 365 days are allowed. 2026-12-31 is the last day of a span that begins on 2026-01-01, and with the day between
    // it makes three; one day later 2026-01-01 has left the span.
    let book = town("count_year", "nutrient = \"nitrogen_total\"", "most = 2");
    assert_eq!(stands(&book, "2026-01-02", &nitrogen(&["2026-12-31", "2026-06-01"])), "refused");
    assert_eq!(stands(&book, "2026-01-02", &nitrogen(&["2027-01-01", "2026-06-01"])), "refused");
    assert_eq!(stands(&book, "2026-01-02", &nitrogen(&["2027-01-02", "2026-06-01"])), "met");
    assert_eq!(stands(&book, "2026-06-01", &nitrogen(&["2025-06-02", "2026-01-05"])), "refused");
    assert_eq!(stands(&book, "2026-06-01", &nitrogen(&["2025-06-01", "2026-01-05"])), "met");
    // The calendar year alone, where the text says so.
    let calendar = town("count_year", "nutrient = \"nitrogen_total\"", "most = 2\ncalendar_year = true");
    assert_eq!(stands(&calendar, "2026-01-02", &nitrogen(&["2025-12-31", "2025-12-30"])), "met");
    assert_eq!(stands(&calendar, "2026-12-31", &nitrogen(&["2026-01-01", "2026-06-01"])), "refused");
}

#[test]
fn an_interval_looks_both_ways_and_passes_over_what_is_not_the_nutrient() {
    let book = town("interval", "nutrient = \"phosphate\"", "days = 30");
    let phosphate = |on: &str| Past { on: on.parse().ok(), p2o5_rate: Some("0.1".into()), ..Past::default() };
    let given = |past: Past| Given {
        p2o5: Some("10".into()),
        purpose: Some(domain::application::Purpose::Establishment),
        past: vec![past],
        ..Given::default()
    };
    assert_eq!(stands(&book, "2026-06-15", &given(phosphate("2026-05-17"))), "refused");
    assert_eq!(stands(&book, "2026-06-15", &given(phosphate("2026-05-16"))), "met");
    assert_eq!(stands(&book, "2026-06-15", &given(phosphate("2026-07-14"))), "refused");
    assert_eq!(stands(&book, "2026-06-15", &given(phosphate("2026-07-15"))), "met");
    let nitrogen = Past { on: "2026-06-10".parse().ok(), n_rate: Some("0.5".into()), ..Past::default() };
    assert_eq!(stands(&book, "2026-06-15", &given(nitrogen)), "met");
    // Any fertilizer is nitrogen, phosphate or potash.
    let any = town("interval", "nutrient = \"any_fertilizer\"", "days = 30");
    assert_eq!(stands(&any, "2026-06-15", &given(phosphate("2026-06-10"))), "refused");
}

#[test]
fn the_first_day_after_an_interval_lies_behind_every_later_entry() {
    let book = town("interval", "nutrient = \"nitrogen_total\"", "days = 30");
    let decision = ask(&book, "2026-06-15", &nitrogen(&["2026-06-01", "2026-07-10"]));
    let finding = decision.findings.iter().find(|finding| finding.rule == "us-zz-town.rule").expect("too near");
    assert_eq!(finding.hint, "The first day that is far enough from every other is 2026-08-09.");
    assert_eq!(finding.actual.as_deref(), Some("14"));
    // However many there are: 29 days after each of these the next one begins to bar.
    let decision = ask(&book, "2026-06-15", &nitrogen(&["2026-06-14", "2026-07-10", "2026-08-08", "2026-09-06"]));
    let finding = decision.findings.iter().find(|finding| finding.rule == "us-zz-town.rule").expect("too near");
    assert_eq!(finding.hint, "The first day that is far enough from every other is 2026-10-06.");
    assert!(finding.message.contains("2026-06-14, a day away"), "{}", finding.message);
}

#[test]
fn the_fuller_of_the_two_years_is_the_one_shown() {
    // 3 lb lie in the 365 days and not in the calendar year; with half a pound the fuller year has 3.5.
    let given = Given {
        past: vec![Past { on: "2025-10-01".parse().ok(), n_rate: Some("3".into()), ..Past::default() }],
        ..nitrogen(&[])
    };
    let book = book();
    let decision = decide(book, &codes(&["us-fl-pinellas"]), &given.facts(day("2026-05-15")));
    let met = decision.met.iter().find(|met| met.rule == "us-fl-pinellas.nitrogen.total.year").expect("met");
    assert_eq!(met.actual.as_deref(), Some("3.5"));
}

#[test]
fn the_yearly_cap_that_is_shown_is_the_applicators() {
    let shown = |book: &Lawbook, code: &str| {
        let cap = book.tightest_year_cap(
            &codes(&[code]),
            Some(Species::TallFescue),
            Audience::Professional,
            day("2026-06-15"),
        )?;
        Some((cap.rule, cap.limit_lb_per_1000_sqft.to_string(), cap.advice, cap.limit_allowed))
    };
    let book = book();
    // New Jersey's 4.25 is a professional's and from memory (NJ-11); the 3.2 of consumer labels is not (NJ-12).
    let jersey = shown(book, "us-nj").expect("a cap");
    assert_eq!(jersey, ("us-nj.professional.nitrogen.total.year".to_owned(), "4.25".to_owned(), true, true));
    // The 2.5 lb of enhanced products are no cap on every product (DC-16), nor is a household's.
    assert_eq!(shown(book, "us-dc"), None);
    let head = "nutrient = \"nitrogen_total\"\nunit = \"lb/ksf\"";
    let value = "comparator = \"less_than\"\nvalue = \"2\"\ncounts = \"all_products\"";
    let own = town("cap_year", head, value);
    assert_eq!(shown(&own, "us-zz-town"), Some(("us-zz-town.rule".to_owned(), "2".to_owned(), false, false)));
    for narrower in ["compost = true", "organic = true", "slow_share_at_least = \"50\"", "purposes = [\"repair\"]"] {
        let own = town("cap_year", &format!("{head}\nwhen = {{ {narrower} }}"), value);
        assert_eq!(shown(&own, "us-zz-town"), None, "{narrower}");
    }
    // Phosphorus is no nitrogen.
    let phosphate = town("cap_year", &head.replace("nitrogen_total", "phosphate"), value);
    assert_eq!(shown(&phosphate, "us-zz-town"), None);
    // Wolverine Lake's lower number is for the water, and the set only warns (MI-13, MI-14).
    let lake = shown(book, "us-mi-wolverine-lake").expect("a cap");
    assert_eq!((lake.1.as_str(), lake.2), ("4", true));
}

#[test]
fn old_weather_can_stop_and_never_clears() {
    let book = town("rain", "unit = \"in\"", "occurring = true\nheavy_without_number = true\nhours = 12");
    let aged = |hours: i32, heavy: bool, rain: &str| Given {
        weather_age_hours: hours,
        heavy_rain: heavy,
        rain: Some(rain.into()),
        ..nitrogen(&[])
    };
    assert_eq!(stands(&book, "2026-06-15", &aged(0, false, "0")), "met");
    assert_eq!(stands(&book, "2026-06-15", &aged(3, false, "0")), "met");
    assert_eq!(stands(&book, "2026-06-15", &aged(4, false, "0")), "care");
    assert_eq!(stands(&book, "2026-06-15", &aged(25, false, "0")), "unknown");
    assert_eq!(stands(&book, "2026-06-15", &aged(4, true, "0")), "refused");
    assert_eq!(stands(&book, "2026-06-15", &aged(25, true, "0")), "unknown");
    assert_eq!(stands(&book, "2026-06-15", &aged(0, false, "0.001")), "care");
    // A forecast of six hours does not cover twelve.
    let short = Given { rain_hours: Some(6), ..aged(0, false, "0") };
    assert_eq!(stands(&book, "2026-06-15", &short), "unknown");
    // Whoever has not looked is asked to look, which is care and no stop.
    assert_eq!(
        ask(&book, "2026-06-15", &Given { heavy_rain_unknown: true, ..aged(0, false, "0") }).verdict,
        Verdict::Care
    );
}

#[test]
fn heavy_rain_and_the_forecast_are_two_reasons_of_which_the_graver_is_given() {
    let book = town("rain", "unit = \"in\"", "occurring = true\ncomparator = \"at_least\"\nvalue = \"1\"\nhours = 24");
    let given = |rain: &str| Given { rain: Some(rain.into()), ..nitrogen(&[]) };
    let message = |falls: Option<bool>, rain: &str| {
        let mut facts = given(rain).facts(day("2026-06-15"));
        facts.weather.heavy_rain =
            facts.weather.heavy_rain.and_then(|seen| falls.map(|falls| HeavyRain { falls, ..seen }));
        let decision = decide(&book, &codes(&["us-zz-town"]), &facts);
        decision.findings.iter().find(|f| f.rule == "us-zz-town.rule").map(|f| (f.outcome, f.message.clone()))
    };
    assert_eq!(message(Some(false), "0.9"), None);
    let wet = message(None, "1").expect("a forecast that bars");
    assert!(wet.0 == Outcome::Broken && wet.1.starts_with("1 in of rain is forecast"), "{wet:?}");
    let falls = message(Some(true), "0").expect("rain that bars");
    assert!(falls.0 == Outcome::Broken && falls.1.starts_with("Heavy rain falls"), "{falls:?}");
    let unseen = message(None, "0").expect("nobody looked");
    assert_eq!(unseen.0, Outcome::Unknown);
}

#[test]
fn a_distance_from_some_waters_asks_and_never_refuses() {
    let value =
        "comparator = \"at_least\"\nvalue = \"25\"\nmeasured_from = \"the line\"\nonly_where = \"a public water\"";
    let book = town("setback", "unit = \"ft\"", value);
    let at = |water: &str| Given { water: Some(water.into()), ..nitrogen(&[]) };
    assert_eq!(stands(&book, "2026-06-15", &at("25")), "met");
    assert_eq!(stands(&book, "2026-06-15", &at("24.99")), "unknown");
    assert_eq!(stands(&book, "2026-06-15", &at("none")), "met");
    let decision = ask(&book, "2026-06-15", &at("24.99"));
    assert_eq!(decision.verdict, Verdict::Care);
    assert_eq!(
        decision.findings[0].message,
        "The front lawn comes within 24.99 ft of water; where that is a public water, it must stay at least 25 ft away."
    );
    // Before the first day that was read it cannot stop the work either.
    let early = ask(&book, "2000-12-31", &at("none"));
    assert_eq!(standing(&early, "us-zz-town.rule"), "unknown");
    assert!(early.findings.iter().any(|f| f.rule == "us-zz-town.rule" && f.verdict == Verdict::Care));
}

#[test]
fn one_free_application_is_bounded_and_a_report_that_gives_more_is_not_held_down_by_it() {
    let value = "threshold = \"0\"\nsoil_report = \"recommendation\"\ncategories = [\"low\"]\nup_to_recommended = true\none_free_lb_per_ksf = \"0.25\"";
    let book = town("phosphorus_need", "unit = \"%\"", value);
    let given = |recommended: Option<&str>, past: &[&str]| {
        let report = |rate: &str| crate::facts::Report {
            sampled_on: "2026-01-10".parse().expect("a day"),
            category: None,
            recommended: Some(rate.into()),
        };
        let entry = |on: &&str| Past { on: on.parse().ok(), p2o5_rate: Some("0.1".into()), ..Past::default() };
        Given {
            p2o5: Some("10".into()),
            p2o5_rate: Some("0.3".into()),
            purpose: Some(domain::application::Purpose::Establishment),
            soil_reports: recommended.map(report).into_iter().collect(),
            past: past.iter().map(entry).collect(),
            ..Given::default()
        }
    };
    let largest = |recommended: Option<&str>, past: &[&str]| {
        let decision = ask(&book, "2026-06-15", &given(recommended, past));
        let most = decision.sections[0].largest_lawful_product_lb.map(|mass| mass.to_string());
        (standing(&decision, "us-zz-town.rule"), most.unwrap_or_default())
    };
    assert_eq!(largest(None, &[]), ("refused", "2.5".to_owned()));
    assert_eq!(largest(Some("1"), &[]), ("met", "10".to_owned()));
    assert_eq!(largest(Some("0.1"), &[]), ("refused", "2.5".to_owned()));
    assert_eq!(largest(Some("0.4"), &["2026-05-01"]), ("met", "3".to_owned()));
    assert_eq!(largest(None, &["2025-06-16"]), ("refused", "0".to_owned()));
    assert_eq!(largest(None, &["2025-06-15"]), ("refused", "2.5".to_owned()));
    assert_eq!(largest(None, &["2027-06-14"]), ("refused", "0".to_owned()));
    assert_eq!(largest(None, &["2027-06-15"]), ("refused", "2.5".to_owned()));
}

#[test]
fn a_credential_counts_from_its_first_day_through_its_last() {
    let head = "nutrient = \"nitrogen_total\"\nunit = \"lb/ksf\"\nunless_credential = \"zz-certified\"";
    let book = town("cap_application", head, "comparator = \"at_most\"\nvalue = \"0.1\"");
    let with_certificate = |code: &str, until: Option<&str>| Given {
        credentials: vec![crate::facts::Credential {
            rule_set: None,
            code: code.to_owned(),
            from: "2026-03-01".parse().expect("a day"),
            until: until.map(|until| until.parse().expect("a day")),
        }],
        ..nitrogen(&[])
    };
    let through = with_certificate("zz-certified", Some("2026-09-30"));
    for (on, expected) in
        [("2026-02-28", "refused"), ("2026-03-01", "silent"), ("2026-09-30", "silent"), ("2026-10-01", "refused")]
    {
        // New York's own season is closed in February and speaks for itself.
        assert_eq!(stands(&book, on, &through), expected, "{on}");
    }
    assert_eq!(stands(&book, "2029-06-15", &with_certificate("zz-certified", None)), "silent");
    assert_eq!(stands(&book, "2026-06-15", &with_certificate("other", None)), "refused");
}

#[test]
fn what_is_left_is_what_the_fuller_year_leaves() {
    // 3.1 lb lie in the calendar year and 3.6 in the 365 days; of the 4 lb of Pinellas County that leaves 0.9 and 0.4.
    let entry = |on: &str, rate: &str| Past { on: on.parse().ok(), n_rate: Some(rate.into()), ..Past::default() };
    let given = Given {
        n_rate: Some("1".into()),
        past: vec![entry("2026-03-01", "3.1"), entry("2025-10-01", "0.5")],
        slow_n: Some("10".into()),
        n: Some("20".into()),
        ..Given::default()
    };
    let book = book();
    let decision = decide(book, &codes(&["us-fl-pinellas"]), &given.facts(day("2026-05-15")));
    let finding = decision.findings.iter().find(|f| f.rule == "us-fl-pinellas.nitrogen.total.year").expect("too much");
    let start = "Only 0.4 lb N per 1,000 sq ft is left on the front lawn in the calendar year 2026 and in the 365 days";
    assert!(finding.message.starts_with(start), "{}", finding.message);
}
