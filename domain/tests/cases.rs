//! Cases of law, written for people in `cases/*.toml`: a sentence, a day, what is given, what is expected, and the source.

use std::collections::BTreeSet;

use domain::{
    decision::{Decision, Outcome, Verdict, decide},
    law::{EMBEDDED, Lawbook},
    time::Day,
};
use serde::Deserialize;

use crate::facts::{Given, book, day};

const FILES: &[(&str, &str)] = &[
    ("company.toml", include_str!("cases/company.toml")),
    ("certificates.toml", include_str!("cases/certificates.toml")),
    ("first-days.toml", include_str!("cases/first-days.toml")),
    ("kinds.toml", include_str!("cases/kinds.toml")),
    ("seasons.toml", include_str!("cases/seasons.toml")),
    ("us-fl-local.toml", include_str!("cases/us-fl-local.toml")),
    ("us-fl-pinellas.toml", include_str!("cases/us-fl-pinellas.toml")),
    ("us-ma-ct-vt-nh-me.toml", include_str!("cases/us-ma-ct-vt-nh-me.toml")),
    ("us-md.toml", include_str!("cases/us-md.toml")),
    ("us-mi-il-oh.toml", include_str!("cases/us-mi-il-oh.toml")),
    ("us-mn-wi-wa.toml", include_str!("cases/us-mn-wi-wa.toml")),
    ("us-nj-va-de-dc.toml", include_str!("cases/us-nj-va-de-dc.toml")),
    ("us-ny.toml", include_str!("cases/us-ny.toml")),
    ("us-pa.toml", include_str!("cases/us-pa.toml")),
];

#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct CaseFile {
    case: Vec<Case>,
    edge: Vec<Edge>,
}

/// One question and its whole answer.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Case {
    name: String,
    /// The published text behind the expectation.
    source: String,
    rows: Vec<String>,
    on: toml::value::Datetime,
    rule_sets: Vec<String>,
    /// Asked as if no place around barred local rules, to see what the local set itself says.
    #[serde(default)]
    as_if_it_stood: bool,
    given: Given,
    expect: Expect,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Expect {
    verdict: Verdict,
    /// Every rule that says stop, and no other.
    #[serde(default)]
    refused_by: Vec<String>,
    /// Rules that must be among those met.
    #[serde(default)]
    allowed_by: Vec<String>,
    /// Every rule that asks for care, and no other; left out, it is not looked at.
    care_by: Option<Vec<String>>,
    /// Rules that must say nothing at all.
    #[serde(default)]
    silent_by: Vec<String>,
    /// Largest lawful mass of the product.
    largest_product_lb: Option<String>,
}

/// Rules on several days.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Edge {
    name: String,
    source: String,
    rows: Vec<String>,
    rules: Vec<String>,
    rule_sets: Vec<String>,
    #[serde(default)]
    as_if_it_stood: bool,
    given: Given,
    #[serde(default)]
    met_on: Vec<toml::value::Datetime>,
    #[serde(default)]
    refused_on: Vec<toml::value::Datetime>,
    /// The rule is broken, and may only warn.
    #[serde(default)]
    care_on: Vec<toml::value::Datetime>,
    /// The rule is not in force, or does not speak.
    #[serde(default)]
    silent_on: Vec<toml::value::Datetime>,
    /// No text was read for the day.
    #[serde(default)]
    unknown_on: Vec<toml::value::Datetime>,
}

/// What the cases show, for the test of coverage.
#[derive(Debug, Default)]
pub struct Shown {
    pub allowed: BTreeSet<String>,
    pub refused: BTreeSet<String>,
    pub silent: BTreeSet<String>,
    /// Rule and day.
    pub days: BTreeSet<(String, Day)>,
    pub rows: BTreeSet<String>,
}

pub fn files() -> Vec<(&'static str, CaseFile)> {
    FILES
        .iter()
        .map(|(name, text)| (*name, toml::from_str(text).unwrap_or_else(|fault| panic!("{name}: {fault}"))))
        .collect()
}

/// The names of all cases and edges.
pub fn names() -> Vec<String> {
    let files = files();
    let names = files.iter().flat_map(|(_, file)| {
        file.case.iter().map(|case| case.name.clone()).chain(file.edge.iter().map(|edge| edge.name.clone()))
    });
    names.collect()
}

pub fn shown() -> Shown {
    let mut shown = Shown::default();
    let days = |dates: &[toml::value::Datetime]| dates.iter().map(|date| day(&date.to_string())).collect::<Vec<_>>();
    for (_, file) in files() {
        for case in file.case {
            shown.allowed.extend(case.expect.allowed_by);
            shown.silent.extend(case.expect.silent_by);
            shown.refused.extend(case.expect.refused_by);
            // What may only warn refuses by asking for care.
            shown.refused.extend(case.expect.care_by.unwrap_or_default());
            shown.rows.extend(case.rows);
        }
        for edge in file.edge {
            shown.rows.extend(edge.rows);
            if !edge.met_on.is_empty() {
                shown.allowed.extend(edge.rules.iter().cloned());
            }
            if !edge.refused_on.is_empty() || !edge.care_on.is_empty() {
                shown.refused.extend(edge.rules.iter().cloned());
            }
            for day in [edge.met_on, edge.refused_on, edge.care_on, edge.silent_on, edge.unknown_on]
                .iter()
                .flat_map(|on| days(on))
            {
                shown.days.extend(edge.rules.iter().map(|rule| (rule.clone(), day)));
            }
        }
    }
    shown
}

/// The embedded law as it would be if no place barred local rules.
pub fn without_bars() -> &'static Lawbook {
    static BOOK: std::sync::LazyLock<Lawbook> = std::sync::LazyLock::new(read_without_bars);
    &BOOK
}

fn read_without_bars() -> Lawbook {
    let free = |text: &str| {
        let mut table: toml::Table = text.parse().expect("a law file");
        table.remove("preempts_local");
        table.remove("local_rules");
        table.to_string()
    };
    let texts: Vec<(&str, String)> = EMBEDDED.iter().map(|(name, text)| (*name, free(text))).collect();
    let texts: Vec<(&str, &str)> = texts.iter().map(|(name, text)| (*name, text.as_str())).collect();
    Lawbook::from_texts(&texts).expect("the law without bars")
}

fn rules_with(decision: &Decision, verdict: Verdict) -> BTreeSet<&str> {
    decision.findings.iter().filter(|finding| finding.verdict == verdict).map(|finding| finding.rule.as_str()).collect()
}

fn set(rules: &[String]) -> BTreeSet<&str> {
    rules.iter().map(String::as_str).collect()
}

fn differences(case: &Case, decision: &Decision) -> Vec<String> {
    let mut found = Vec::new();
    if decision.verdict != case.expect.verdict {
        found.push(format!("verdict {:?}: {}", decision.verdict, decision.summary));
    }
    let refusing = rules_with(decision, Verdict::Stop);
    if refusing != set(&case.expect.refused_by) {
        found.push(format!("refused by {refusing:?}, not by {:?}", case.expect.refused_by));
    }
    let caring = rules_with(decision, Verdict::Care);
    if case.expect.care_by.as_ref().is_some_and(|expected| caring != set(expected)) {
        found.push(format!("care by {caring:?}, not by {:?}", case.expect.care_by));
    }
    for rule in &case.expect.allowed_by {
        if !decision.met.iter().any(|met| met.rule == *rule) || refusing.contains(rule.as_str()) {
            found.push(format!("{rule} is not met"));
        }
    }
    for rule in case.expect.silent_by.iter().filter(|rule| standing(decision, rule) != "silent") {
        found.push(format!("{rule} speaks"));
    }
    if let Some(expected) = &case.expect.largest_product_lb {
        let largest = decision.sections[0].largest_lawful_product_lb.map(|mass| mass.to_string());
        if largest.as_ref() != Some(expected) {
            found.push(format!("largest lawful amount {largest:?}, not {expected}"));
        }
    }
    found
}

#[test]
fn every_case_is_answered_as_written() {
    let (book, free) = (book(), without_bars());
    let mut failures = Vec::new();
    let mut asked = 0;
    for (file, cases) in files() {
        for case in &cases.case {
            assert!(!case.source.is_empty() && !case.rows.is_empty(), "{}: no source", case.name);
            let facts = case.given.facts(day(&case.on.to_string()));
            let decision = decide(if case.as_if_it_stood { free } else { book }, &case.rule_sets, &facts);
            asked += 1;
            failures.extend(differences(case, &decision).iter().map(|what| format!("{file}: {}: {what}", case.name)));
        }
    }
    assert!(asked > 60, "only {asked} cases were found");
    assert!(failures.is_empty(), "{}", failures.join("\n"));
}

/// How a rule stands in a decision.
pub fn standing(decision: &Decision, rule: &str) -> &'static str {
    let finding = decision.findings.iter().find(|finding| finding.rule == rule);
    match finding.map(|finding| (finding.outcome, finding.verdict)) {
        Some((Outcome::Broken, Verdict::Stop)) => "refused",
        Some((Outcome::Unknown, _)) => "unknown",
        Some(_) => "care",
        None if decision.met.iter().any(|met| met.rule == rule) => "met",
        None => "silent",
    }
}

#[test]
fn every_edge_of_a_date_falls_on_its_day() {
    let (book, free) = (book(), without_bars());
    let mut failures = Vec::new();
    let mut asked = 0;
    for (file, cases) in files() {
        for edge in &cases.edge {
            assert!(!edge.source.is_empty() && !edge.rows.is_empty(), "{}: no source", edge.name);
            let expectations = [
                ("met", &edge.met_on),
                ("refused", &edge.refused_on),
                ("care", &edge.care_on),
                ("silent", &edge.silent_on),
                ("unknown", &edge.unknown_on),
            ];
            for (expected, on) in
                expectations.iter().flat_map(|(expected, days)| days.iter().map(move |on| (expected, on)))
            {
                let asked_of = if edge.as_if_it_stood { &free } else { &book };
                let decision = decide(asked_of, &edge.rule_sets, &edge.given.facts(day(&on.to_string())));
                for rule in &edge.rules {
                    let found = standing(&decision, rule);
                    asked += 1;
                    if found != *expected {
                        failures.push(format!("{file}: {}: {rule} on {on} is {found}, not {expected}", edge.name));
                    }
                }
            }
        }
    }
    assert!(asked > 100, "only {asked} days were asked about");
    assert!(failures.is_empty(), "{}", failures.join("\n"));
}
