//! Stricter law never lets more through. Every number of every rule is made stricter, one rule at a time.

use std::collections::BTreeMap;

use domain::{
    application::Purpose,
    decision::{Decision, Verdict, decide},
    law::{EMBEDDED, Lawbook},
    quantity::{ProductMass, Quantity, Unit},
    time::Day,
};
use proptest::prelude::*;
use toml::{Table, Value};

use crate::{
    cases::without_bars,
    facts::{Given, Report, day},
    properties::facts,
};

/// The embedded files by code, without what bars local rules, so that every rule is seen to work.
fn files() -> &'static BTreeMap<String, Table> {
    static FILES: std::sync::LazyLock<BTreeMap<String, Table>> = std::sync::LazyLock::new(|| {
        let read = |text: &str| -> Table {
            let mut table: Table = text.parse().expect("a law file");
            table.remove("preempts_local");
            table
        };
        EMBEDDED.iter().map(|(name, text)| (name.trim_end_matches(".toml").to_owned(), read(text))).collect()
    });
    &FILES
}

/// A set with the places around it and the company.
fn around(code: &str, changed: Option<&Table>) -> Lawbook {
    let mut texts = vec![("company.toml".to_owned(), files()["company"].to_string())];
    let mut at = Some(code.to_owned());
    while let Some(code) = at.take_if(|code| code != "company") {
        let table = &files()[&code];
        let text = changed.filter(|changed| changed["code"] == table["code"]).unwrap_or(table).to_string();
        at = table.get("parent").and_then(Value::as_str).map(str::to_owned);
        texts.push((format!("{code}.toml"), text));
    }
    if code == "company"
        && let Some(changed) = changed
    {
        texts[0].1 = changed.to_string();
    }
    let texts: Vec<(&str, &str)> = texts.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
    Lawbook::from_texts(&texts).unwrap_or_else(|faults| panic!("{code}: {faults:#?}"))
}

fn change<U: Unit>(table: &mut Table, field: &str, by: impl Fn(i64) -> i64) {
    if let Some(Value::String(text)) = table.get_mut(field) {
        let number: Quantity<U> = Quantity::parse(text).expect("a number");
        *text = Quantity::<U>::checked(by(number.raw())).expect("a stricter number").to_string();
    }
}

fn change_each(table: &mut Table, field: &str) {
    if let Some(Value::Table(inner)) = table.get_mut(field) {
        for key in inner.keys().cloned().collect::<Vec<_>>() {
            change::<domain::quantity::NutrientPoundPerKsf>(inner, &key, |rate| rate / 2);
        }
    }
}

fn add(table: &mut Table, field: &str, by: i64) {
    if let Some(Value::Integer(count)) = table.get_mut(field) {
        *count = (*count + by).max(1);
    }
}

/// Makes one value of a rule stricter.
fn tighten(kind: &str, value: &mut Table) {
    match kind {
        "cap_application" | "cap_year" | "release" => {
            change::<domain::quantity::NutrientPoundPerKsf>(value, "value", |rate| rate / 2);
            change_each(value, "by_species");
            change_each(value, "by_waterfront");
        }
        "window" => {
            change_each(value, "caps");
            let first = value["first_barred"].as_str().expect("a day").to_owned();
            let earlier = day(&format!("2027-{first}")).plus_days(-10);
            value.insert("first_barred".to_owned(), Value::String(earlier.to_string()[5..].to_owned()));
        }
        "phosphorus_need" => {
            change::<domain::quantity::PercentPoint>(value, "threshold", |share| share / 2);
            change::<domain::quantity::PercentPoint>(value, "product_at_most", |share| share / 2);
            add(value, "report_months", -12);
            value.remove("excuses");
            value.remove("one_free_lb_per_ksf");
        }
        "soil_report_before" => add(value, "report_months", -12),
        "setback" => {
            change::<domain::quantity::Foot>(value, "value", |feet| feet + 1_000);
            value.remove("reduced");
            value.remove("waived_by_strip");
        }
        "rain" => change::<domain::quantity::RainInch>(value, "value", |depth| depth / 2),
        "heat" => change::<domain::quantity::Fahrenheit>(value, "value", |degrees| degrees - 100),
        "slow_share" => change::<domain::quantity::PercentPoint>(value, "value", |share| (share + 2_000).min(10_000)),
        "hold_after_seeding" | "interval" => add(value, "days", 20),
        "count_year" => add(value, "most", -2),
        // Ground, alerts and pavement name states and events, not numbers.
        _ => {}
    }
}

/// Every set with one of its judging rules made stricter.
fn stricter() -> &'static [(String, String, Lawbook, Lawbook)] {
    static BOOKS: std::sync::LazyLock<Vec<(String, String, Lawbook, Lawbook)>> = std::sync::LazyLock::new(|| {
        let mut books = Vec::new();
        for (code, table) in files() {
            let rules = table["rule"].as_array().expect("rules");
            for (at, rule) in rules.iter().enumerate() {
                let mut changed = table.clone();
                let kind = rule["kind"].as_str().expect("a kind").to_owned();
                let rules = changed["rule"].as_array_mut().expect("rules");
                let values = rules[at]["value"].as_array_mut().expect("values");
                for value in values {
                    tighten(&kind, value.as_table_mut().expect("a value"));
                }
                if changed != *table {
                    let id = rule["id"].as_str().expect("an id").to_owned();
                    books.push((code.clone(), id, around(code, None), around(code, Some(&changed))));
                }
            }
        }
        books
    });
    &BOOKS
}

fn largest(decision: &Decision) -> Option<ProductMass> {
    decision.sections[0].largest_lawful_product_lb
}

proptest! {
    #[test]
    fn a_stricter_number_never_turns_stop_into_go(facts in facts(), at in any::<prop::sample::Index>()) {
        let (code, rule, before, after) = at.get(stricter());
        let codes = [code.clone()];
        let (wide, narrow) = (decide(before, &codes, &facts), decide(after, &codes, &facts));
        prop_assert!(narrow.verdict >= wide.verdict, "{rule}: {} and then {}", wide.summary, narrow.summary);
        let (most, then) = (largest(&wide), largest(&narrow));
        prop_assert!(most.is_none_or(|most| then.is_some_and(|then| then <= most)), "{rule}: {most:?}, {then:?}");
    }
}

#[test]
fn every_rule_with_a_number_is_made_stricter_and_some_of_them_bite() {
    assert!(stricter().len() > 120, "only {} rules", stricter().len());
    // A good product in May, near several limits: where a stricter number refuses it, the change was a real one.
    let soil =
        Report { sampled_on: "2025-10-01".parse().expect("a day"), category: None, recommended: Some("1".into()) };
    let given = Given {
        n: Some("20".into()),
        slow_n: Some("10".into()),
        n_rate: Some("0.65".into()),
        p2o5: Some("1".into()),
        established_on: "2026-04-10".parse().ok(),
        rain: Some("1.5".into()),
        water: Some("20".into()),
        soil_reports: vec![soil],
        ..Given::default()
    };
    let facts = given.facts(day("2026-05-15"));
    let bites = stricter().iter().filter(|(code, _, before, after)| {
        let codes = [code.clone()];
        decide(before, &codes, &facts).verdict < decide(after, &codes, &facts).verdict
    });
    let bites = bites.count();
    assert!(bites > 20, "only {bites} bite");
}

/// The 1st and the 16th of every month of a leap year.
fn days() -> Vec<Day> {
    (1..=12).flat_map(|month| [1, 16].map(|date| Day::new(2028, month, date).expect("a day"))).collect()
}

#[test]
fn the_largest_amount_is_lawful_and_a_millionth_more_is_not_in_every_set_form_and_season() {
    let book = without_bars();
    let soil =
        Report { sampled_on: "2027-01-05".parse().expect("a day"), category: None, recommended: Some("1".into()) };
    let form = |slow: &str, p2o5: &str, liquid: bool, enhanced: bool, organic: bool| Given {
        n: Some("20".into()),
        slow_n: Some(slow.into()),
        p2o5: Some(p2o5.into()),
        liquid,
        enhanced_efficiency: enhanced,
        organic,
        release_percent: enhanced.then(|| "30".into()),
        soil_reports: vec![soil.clone()],
        ..Given::default()
    };
    let forms = [
        form("0", "0", false, false, false),
        form("14", "0", false, false, false),
        form("14", "1", false, false, false),
        form("0", "0", true, false, false),
        form("14", "0", false, true, false),
        form("14", "4", false, false, true),
    ];
    let (mut limited, mut free) = (0, 0);
    for set in book.rule_sets() {
        let codes = [set.about.code.clone()];
        for (form, on) in forms.iter().flat_map(|form| days().into_iter().map(move |on| (form, on))) {
            let mut facts = form.facts(on);
            facts.purpose = Purpose::Maintenance;
            let asked = decide(book, &codes, &facts);
            let Some(most) = largest(&asked) else {
                assert_ne!(asked.verdict, Verdict::Stop, "{} on {on}: {}", set.about.code, asked.summary);
                free += 1;
                continue;
            };
            limited += 1;
            if !most.is_zero() {
                facts.lines[0].product = most;
                let at = decide(book, &codes, &facts);
                assert_ne!(at.verdict, Verdict::Stop, "{} on {on}, {most} lb: {}", set.about.code, at.summary);
            }
            facts.lines[0].product = ProductMass::from_raw(most.raw() + 1);
            let over = decide(book, &codes, &facts);
            assert_eq!(over.verdict, Verdict::Stop, "{} on {on}, over {most} lb", set.about.code);
        }
    }
    assert!(limited > 2_000 && free > 1_000, "{limited} limited, {free} free");
}
