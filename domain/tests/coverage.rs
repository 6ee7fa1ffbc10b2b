//! What the cases and the list of rows must cover. A rule without a case that refuses is a rule nobody has tried.

use std::collections::{BTreeMap, BTreeSet};

use domain::{
    law::{
        Lawbook,
        duty::Duty,
        model::{Binds, Rule},
    },
    time::Day,
};

use crate::cases::shown;

const WHOLE: &[&str] = &["us-pa", "us-md", "us-ny", "us-fl-pinellas", "company"];

fn judging(book: &Lawbook) -> Vec<&Rule> {
    let sets = WHOLE.iter().map(|code| book.rule_set(code).unwrap_or_else(|| panic!("{code} is not embedded")));
    sets.flat_map(|set| &set.rules).filter(|rule| rule.binds == Binds::Applicator).collect()
}

#[test]
fn every_rule_is_seen_to_allow_and_to_refuse() {
    let (book, shown) = (Lawbook::embedded().expect("the embedded law"), shown());
    let rules = judging(&book);
    let missing = |seen: &BTreeSet<String>| -> Vec<&str> {
        rules.iter().filter(|rule| !seen.contains(&rule.id)).map(|rule| rule.id.as_str()).collect()
    };
    assert_eq!(missing(&shown.allowed), Vec::<&str>::new(), "rules that no case shows to allow");
    assert_eq!(missing(&shown.refused), Vec::<&str>::new(), "rules that no case shows to refuse");
}

#[test]
fn every_case_speaks_of_rules_that_exist() {
    let (book, shown) = (Lawbook::embedded().expect("the embedded law"), shown());
    let known: BTreeSet<&str> =
        book.rule_sets().iter().flat_map(|set| &set.rules).map(|rule| rule.id.as_str()).collect();
    let strangers: Vec<&String> = shown
        .allowed
        .union(&shown.refused)
        .filter(|rule| !known.contains(rule.as_str()) && !rule.starts_with("label.") && !rule.starts_with("law."))
        .collect();
    assert!(strangers.is_empty(), "{strangers:?}");
}

/// The last day before and the first day of everything that changes with the calendar.
fn edges(rule: &Rule) -> Vec<Day> {
    let mut days = Vec::new();
    // The first day this system can write needs no day before it.
    for from in rule.values.iter().map(|value| value.from).filter(|from| from.year() > 1990) {
        days.extend([from.plus_days(-1), from]);
    }
    days
}

#[test]
fn every_first_day_is_tried_with_the_day_before() {
    let (book, shown) = (Lawbook::embedded().expect("the embedded law"), shown());
    let missing: Vec<String> = judging(&book)
        .into_iter()
        .flat_map(|rule| edges(rule).into_iter().map(|day| (rule.id.clone(), day)))
        .filter(|edge| !shown.days.contains(edge))
        .map(|(rule, day)| format!("{rule} on {day}"))
        .collect();
    assert!(missing.is_empty(), "{missing:#?}");
}

#[test]
fn every_season_is_tried_at_both_ends() {
    let (book, shown) = (Lawbook::embedded().expect("the embedded law"), shown());
    let mut by_rule: BTreeMap<&str, BTreeSet<(i8, i8)>> = BTreeMap::new();
    for (rule, day) in &shown.days {
        by_rule.entry(rule).or_default().insert((day.date().month(), day.date().day()));
    }
    let mut missing = Vec::new();
    let rules = book.rule_sets().iter().flat_map(|set| &set.rules).filter(|rule| rule.binds == Binds::Applicator);
    let mut seasons = 0;
    for rule in rules {
        let windows = rule.values.iter().filter_map(|value| match &value.duty {
            Some(Duty::Window(window)) => Some(window),
            _ => None,
        });
        for window in windows {
            seasons += 1;
            // 2028 is a leap year, so that February 29 has a day.
            let on = |(month, date): (i8, i8)| Day::new(2028, month, date).expect("a day of a leap year");
            let (first, last) = (on(window.first_barred), on(window.last_barred));
            for day in [first.plus_days(-1), first, last, last.plus_days(1)] {
                let wanted = (day.date().month(), day.date().day());
                if !by_rule.get(rule.id.as_str()).is_some_and(|days| days.contains(&wanted)) {
                    missing.push(format!("{} on {wanted:?}", rule.id));
                }
            }
        }
    }
    assert!(seasons >= 9, "only {seasons} seasons");
    assert!(missing.is_empty(), "{missing:#?}");
}

/// `| PA-01 | us-pa.nitrogen.quick.application |`
fn readme() -> (BTreeMap<String, BTreeSet<String>>, BTreeSet<String>) {
    let (mut encoded, mut holes) = (BTreeMap::new(), BTreeSet::new());
    for line in include_str!("../law/README.md").lines().filter(|line| line.starts_with("| ")) {
        let cells: Vec<&str> = line.trim_matches('|').split('|').map(str::trim).collect();
        let [row, rest, ..] = cells.as_slice() else { continue };
        let is_row = row.split_once('-').is_some_and(|(place, number)| {
            place.len() == 2 && place.bytes().all(|b| b.is_ascii_uppercase()) && number.parse::<u16>().is_ok()
        });
        if !is_row {
            continue;
        }
        if let Some(hole) = rest.strip_prefix("not encoded") {
            assert!(hole.len() > 5, "{row}: why is it not encoded?");
            holes.insert((*row).to_owned());
        } else {
            let rules = rest.split(", ").map(|rule| rule.trim_matches('`').to_owned()).collect();
            assert!(encoded.insert((*row).to_owned(), rules).is_none(), "{row} is listed twice");
        }
    }
    (encoded, holes)
}

#[test]
fn the_list_of_rows_and_the_files_say_the_same() {
    let book = Lawbook::embedded().expect("the embedded law");
    let mut in_files: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for set in book.rule_sets() {
        let rows = |rows: &[String], rule: &str, map: &mut BTreeMap<String, BTreeSet<String>>| {
            for row in rows {
                map.entry(row.clone()).or_default().insert(rule.to_owned());
            }
        };
        for rule in &set.rules {
            for value in &rule.values {
                rows(&value.source.rows, &rule.id, &mut in_files);
            }
        }
        if let Some(bar) = &set.about.preempts_local {
            rows(&bar.rows, &format!("{} pre-emption", set.about.code), &mut in_files);
        }
    }
    let (listed, holes) = readme();
    assert!(holes.len() > 30, "only {} holes are named", holes.len());
    assert_eq!(listed, in_files);
    let both: Vec<&String> = holes.iter().filter(|row| in_files.contains_key(*row)).collect();
    assert!(both.is_empty(), "encoded and said not to be: {both:?}");
}
