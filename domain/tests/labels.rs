//! Labels against the rules that bind labels and sellers, written for people in `cases/labels.toml`.

use std::collections::BTreeSet;

use domain::{
    decision::{Verdict, check_label},
    law::{duty::Duty, kind::BoundParty, model::Rule},
};
use serde::Deserialize;

use crate::facts::{Given, book, day};

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Labels {
    label: Vec<Label>,
}

/// One label and everything that is said of it.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Label {
    name: String,
    /// The published text behind the expectation.
    source: String,
    rows: Vec<String>,
    on: toml::value::Datetime,
    rule_sets: Vec<String>,
    given: Given,
    #[serde(default)]
    refused_by: BTreeSet<String>,
    #[serde(default)]
    allowed_by: BTreeSet<String>,
    #[serde(default)]
    care_by: BTreeSet<String>,
}

fn labels() -> Vec<Label> {
    toml::from_str::<Labels>(include_str!("cases/labels.toml")).expect("labels").label
}

#[test]
fn every_label_is_judged_as_written() {
    let book = book();
    let mut failures = Vec::new();
    for label in labels() {
        assert!(!label.source.is_empty() && !label.rows.is_empty(), "{}: no source", label.name);
        let check = check_label(book, &label.rule_sets, &label.given.label(), day(&label.on.to_string()));
        let with = |verdict| -> BTreeSet<String> {
            let findings = check.findings.iter().filter(|finding| finding.verdict == verdict);
            findings.map(|finding| finding.rule.clone()).collect()
        };
        let met: BTreeSet<String> = check.met.iter().map(|met| met.rule.clone()).collect();
        if with(Verdict::Stop) != label.refused_by || with(Verdict::Care) != label.care_by {
            failures.push(format!("{}: stop {:?}, care {:?}", label.name, with(Verdict::Stop), with(Verdict::Care)));
        }
        if !label.allowed_by.is_subset(&met) {
            failures.push(format!("{}: {:?} are not met", label.name, label.allowed_by.difference(&met)));
        }
        if label.refused_by.is_empty() && label.care_by.is_empty() {
            assert_eq!(check.verdict, Verdict::Go, "{}", label.name);
        }
    }
    assert!(failures.is_empty(), "{}", failures.join("\n"));
}

#[test]
fn every_rule_for_labels_is_seen_to_allow_and_to_refuse() {
    let book = book();
    let (mut allowed, mut refused) = (BTreeSet::new(), BTreeSet::new());
    for label in labels() {
        allowed.extend(label.allowed_by);
        refused.extend(label.refused_by);
        refused.extend(label.care_by);
    }
    let judges = |rule: &&Rule| rule.binds != BoundParty::Applicator && rule.kind.judges();
    let rules: Vec<&Rule> = book.rule_sets().iter().flat_map(|set| &set.rules).filter(judges).collect();
    assert!(rules.len() > 20, "only {}", rules.len());
    // What a label says of phosphorus cannot be read from its numbers, so such a rule never allows by itself.
    let reads_directions =
        |rule: &Rule| rule.binds == BoundParty::Label && matches!(rule.values[0].duty, Some(Duty::PhosphorusNeed(_)));
    let missing: Vec<&str> = rules
        .iter()
        .filter(|rule| !refused.contains(&rule.id) || !(allowed.contains(&rule.id) || reads_directions(rule)))
        .map(|rule| rule.id.as_str())
        .collect();
    assert!(missing.is_empty(), "{missing:?}");
}
