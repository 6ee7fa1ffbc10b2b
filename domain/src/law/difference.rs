//! What one version of a rule set says otherwise than another.
//!
//! The fields are compared as the files write them, so that nothing a reader of the law may need is left out because no sentence
//! tells it.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use toml::{Table, Value as Toml};

use super::{
    about::RuleSetAbout,
    model::{Rule, RuleSet},
    on_day,
};
use crate::{text::truncate_chars, time::Day};

/// The longest text of a side.
const LENGTH: usize = 600;

/// One thing that two versions of a rule set say otherwise.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct RuleDifference {
    /// The rule; null for what the set says about itself.
    #[schema(max_length = 120, example = "us-md.professional.nitrogen.total.application")]
    pub rule: Option<String>,
    /// The value that holds from this day on; null for what is not dated.
    pub from: Option<Day>,
    /// `whole rule` and `whole value` for what only one version has, as a sentence; `says` for the sentence of a value that both
    /// have; else the field of the rule file.
    #[schema(max_length = 200, example = "says")]
    pub field: String,
    /// Null where the version that counts does not have it.
    #[schema(max_length = 600)]
    pub before: Option<String>,
    /// Null where the new version does not have it.
    #[schema(max_length = 600)]
    pub after: Option<String>,
    /// Where it is written.
    #[schema(max_length = 400)]
    pub citation: Option<String>,
}

type Fields = BTreeMap<String, String>;

impl RuleSet {
    /// Whether the rules are equal, so that nothing changes for anybody: the files differ in comments, in the day of reading, in the
    /// words about what they cover, or in links and notes to the same citations.
    pub fn has_rules_of(&self, other: &Self) -> bool {
        self.is_about_what(other)
            && self.rules.len() == other.rules.len()
            && self.rules.iter().zip(&other.rules).all(|(one, two)| without_notes(one) == without_notes(two))
    }

    /// Whether both say the same about the set itself, but for the words about what it covers and the day of reading.
    pub(super) fn is_about_what(&self, other: &Self) -> bool {
        let about = RuleSetAbout {
            coverage: other.about.coverage.clone(),
            hash: other.about.hash.clone(),
            last_checked: other.about.last_checked,
            ..self.about.clone()
        };
        about == other.about
    }

    /// What a newer version of this set says otherwise: about the set first, then rule by rule.
    pub fn differences(&self, newer: &Self) -> Vec<RuleDifference> {
        let (before, after) = (table(self), table(newer));
        let mut found = Vec::new();
        let of_set = |table: &Table| fields(table.iter().filter(|(name, _)| *name != "rule"));
        compare(&mut found, (None, None), (&of_set(&before), &of_set(&after)), None);
        for rule in &self.rules {
            match newer.rules.iter().find(|other| other.id == rule.id) {
                None => found.push(whole(self, rule, true)),
                Some(other) => {
                    let tables = (rule_table(&before, &rule.id), rule_table(&after, &rule.id));
                    rule_differences(&mut found, (self, rule, &tables.0), (newer, other, &tables.1));
                }
            }
        }
        let added = newer.rules.iter().filter(|rule| !self.rules.iter().any(|known| known.id == rule.id));
        found.extend(added.map(|rule| whole(newer, rule, false)));
        found
    }
}

/// The rule as it judges and is cited.
fn without_notes(rule: &Rule) -> Rule {
    let mut rule = rule.clone();
    for value in &mut rule.values {
        value.source.href = None;
        value.source.rows.clear();
    }
    rule
}

/// The file as it is written. It was read before, so it is a table.
fn table(set: &RuleSet) -> Table {
    set.text.parse().unwrap_or_default()
}

fn rule_table(set: &Table, id: &str) -> Table {
    let rules = set.get("rule").and_then(Toml::as_array).into_iter().flatten().filter_map(Toml::as_table);
    let mut named = rules.filter(|rule| rule.get("id").and_then(Toml::as_str) == Some(id));
    named.next().cloned().unwrap_or_default()
}

/// The fields of the value that holds from a day on.
fn value_fields(rule: &Table, from: Day) -> Fields {
    let values = rule.get("value").and_then(Toml::as_array).into_iter().flatten().filter_map(Toml::as_table);
    let mut dated = values.filter(|value| value.get("from").is_some_and(|day| day.to_string() == from.to_string()));
    dated.next().map(|value| fields(value.iter())).unwrap_or_default()
}

/// Names and texts of fields, those of inner tables with the names of the outer before them.
fn fields<'t>(table: impl Iterator<Item = (&'t String, &'t Toml)>) -> Fields {
    fn note(name: &str, value: &Toml, found: &mut Fields) {
        match value {
            Toml::Table(inner) => inner.iter().for_each(|(key, value)| note(&format!("{name}.{key}"), value, found)),
            Toml::Array(items) if items.iter().any(Toml::is_table) => {
                items.iter().zip(1..).for_each(|(item, place)| note(&format!("{name} {place}"), item, found));
            }
            Toml::String(text) => drop(found.insert(name.to_owned(), text.clone())),
            other => drop(found.insert(name.to_owned(), other.to_string())),
        }
    }
    let mut found = Fields::new();
    table.for_each(|(name, value)| note(name, value, &mut found));
    found
}

/// Notes every field that is not the same on both sides.
fn compare(
    found: &mut Vec<RuleDifference>,
    (rule, from): (Option<&str>, Option<Day>),
    (before, after): (&Fields, &Fields),
    citation: Option<&str>,
) {
    let added = after.keys().filter(|name| !before.contains_key(*name));
    for name in before.keys().chain(added) {
        let (old, new) = (before.get(name), after.get(name));
        if old != new {
            found.push(RuleDifference {
                rule: rule.map(str::to_owned),
                from,
                field: truncate_chars(name, 200),
                before: old.map(|text| truncate_chars(text, LENGTH)),
                after: new.map(|text| truncate_chars(text, LENGTH)),
                citation: citation.map(str::to_owned),
            });
        }
    }
}

/// What the rule says from a day on, as a sentence.
fn sentence(set: &RuleSet, rule: &Rule, from: Day) -> Option<String> {
    on_day::rule(set, rule, from).map(|said| said.words)
}

fn newest_citation(rule: &Rule) -> Option<String> {
    rule.values.last().map(|value| value.source.citation.clone())
}

/// A rule that only one version has, by what it says last.
fn whole(set: &RuleSet, rule: &Rule, gone: bool) -> RuleDifference {
    let from = rule.values.last().map(|value| value.from);
    let words = from.and_then(|from| sentence(set, rule, from));
    let (before, after) = if gone { (words, None) } else { (None, words) };
    let citation = newest_citation(rule);
    RuleDifference { rule: Some(rule.id.clone()), from, field: "whole rule".to_owned(), before, after, citation }
}

fn rule_differences(
    found: &mut Vec<RuleDifference>,
    (set, rule, table): (&RuleSet, &Rule, &Table),
    (newer, other, newer_table): (&RuleSet, &Rule, &Table),
) {
    let undated = |table: &Table| fields(table.iter().filter(|(name, _)| *name != "value"));
    let citation = newest_citation(other);
    let of_rule = (Some(rule.id.as_str()), None);
    compare(found, of_rule, (&undated(table), &undated(newer_table)), citation.as_deref());
    let mut days: Vec<Day> = rule.values.iter().chain(&other.values).map(|value| value.from).collect();
    days.sort();
    days.dedup();
    for from in days {
        let (old, new) = (value_on(rule, from), value_on(other, from));
        let words = |set: &RuleSet, rule: &Rule, there: bool| there.then(|| sentence(set, rule, from)).flatten();
        let (before, after) = (words(set, rule, old.is_some()), words(newer, other, new.is_some()));
        let field = if old.is_some() && new.is_some() { "says" } else { "whole value" };
        let citation = new.or(old).map(|value| value.source.citation.clone());
        if before != after {
            let (rule, field, citation) = (Some(rule.id.clone()), field.to_owned(), citation.clone());
            found.push(RuleDifference { rule, from: Some(from), field, before, after, citation });
        }
        if old.is_some() && new.is_some() {
            let sides = (&value_fields(table, from), &value_fields(newer_table, from));
            compare(found, (Some(rule.id.as_str()), Some(from)), sides, citation.as_deref());
        }
    }
}

fn value_on(rule: &Rule, from: Day) -> Option<&super::model::Value> {
    rule.values.iter().find(|value| value.from == from)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::law::{EMBEDDED, Lawbook, LimitedLawn};

    /// Maryland's file as it is built in, and with a change.
    fn changed(change: impl Fn(&str) -> String) -> (Lawbook, Lawbook) {
        let text = EMBEDDED.iter().find(|(name, _)| *name == "us-md.toml").map_or("", |(_, text)| *text);
        let after = change(text);
        assert_ne!(text, after);
        let read = |text: &str| {
            Lawbook::from_texts(&[("us-md.toml", text)]).unwrap_or_else(|faults| unreachable!("{faults:?}"))
        };
        (read(text), read(&after))
    }

    fn set(book: &Lawbook) -> &RuleSet {
        book.rule_set("us-md").unwrap_or_else(|| unreachable!("it was read"))
    }

    #[test]
    fn notes_are_no_change_of_the_rules_and_marks_and_citations_are() {
        let equal = |change: &dyn Fn(&str) -> String| {
            let (before, after) = changed(change);
            set(&before).has_rules_of(set(&after))
        };
        assert!(equal(&|text| format!("# another comment\n{text}")));
        assert!(equal(&|text| text.replacen("coverage = \"", "coverage = \"In short: ", 1)));
        assert!(equal(&|text| text.replacen("rows = [\"MD-03\"]", "rows = [\"MD-04\"]", 1)));
        assert!(!equal(&|text| text.replacen(
            "cite = \"COMAR 15.20.10.09 C(1)\"",
            "cite = \"COMAR 15.20.10.09 C\"",
            1
        )));
        assert!(!equal(&|text| text.replacen("words = \"A county", "words = \"No county", 1)));
    }

    #[test]
    fn a_rule_that_is_gone_and_one_that_is_new_are_told_as_sentences() {
        let id = "us-md.professional.nitrogen.quick.application";
        let (before, after) = changed(|text| text.replace(id, "us-md.professional.nitrogen.quick.once"));
        let found = set(&before).differences(set(&after));
        let told: Vec<_> =
            found.iter().map(|one| (one.field.as_str(), one.before.is_some(), one.after.is_some())).collect();
        assert_eq!(told, [("whole rule", true, false), ("whole rule", false, true)], "{found:#?}");
        assert_eq!(found[0].rule.as_deref(), Some(id));
        assert_eq!(found[0].citation.as_deref(), Some("COMAR 15.20.10.09 C(1)"));
    }

    #[test]
    fn a_value_from_a_later_day_on_changes_the_limit_from_that_day_on() {
        // COMAR 15.20.10.09 C(1): 0.7 lb of quick-release nitrogen at once; an invented change lowers it from 2027-04-01 on.
        let (before, after) = changed(|text| {
            let value = |from: &str, value: &str| {
                format!(
                    "[[rule.value]]\nfrom = {from}\ncomparator = \"at_most\"\nvalue = \"{value}\"\ncite = \"An invented change\"\nhref = \"https://example.org\"\nmark = \"read\"\n"
                )
            };
            let at = text.find("# No floor of slow-release").unwrap_or_default();
            format!("{}{}{}", &text[..at], value("2027-04-01", "0.6"), &text[at..])
        });
        let found = set(&before).differences(set(&after));
        assert_eq!(found.len(), 1, "{found:#?}");
        assert_eq!((found[0].field.as_str(), found[0].before.as_ref()), ("whole value", None));
        assert_eq!(found[0].from.map(|day| day.to_string()).as_deref(), Some("2027-04-01"));
        let lawn = LimitedLawn {
            rule_sets: vec!["us-md".to_owned()],
            audience: crate::application::Audience::Professional,
            kind: Some(crate::land::PropertyKind::Lawn),
            species: None,
        };
        let first = Day::parse("2026-09-15").unwrap_or_else(|_| unreachable!("it is a day"));
        let limits = lawn.differences(&before, &after, first, 365);
        let told: Vec<_> = limits
            .iter()
            .map(|one| {
                (
                    one.what.as_str(),
                    one.from.to_string(),
                    one.until.to_string(),
                    one.before.as_deref(),
                    one.after.as_deref(),
                )
            })
            .collect();
        let (at_most_7, at_most_6) = ("at most 0.7 lb per 1,000 sq ft", "at most 0.6 lb per 1,000 sq ft");
        let expected = (
            "quick-release N in one application",
            "2027-04-01".to_owned(),
            "2027-09-14".to_owned(),
            Some(at_most_7),
            Some(at_most_6),
        );
        assert_eq!(told, [expected]);
        assert_eq!(lawn.differences(&before, &before, first, 365), []);
    }
}
