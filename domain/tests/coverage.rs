//! What the cases and the list of rows must cover. A rule without a case that refuses is a rule nobody has tried.

use std::collections::{BTreeMap, BTreeSet};

use domain::{
    decision::Mark,
    law::{
        Lawbook,
        duty::{Duty, Proof},
        kind::BoundParty,
        model::Rule,
    },
    time::Day,
};

use crate::cases::shown;

use crate::facts::book;

/// Every rule that judges an application.
fn judging(book: &Lawbook) -> Vec<&Rule> {
    let rules = book.rule_sets().iter().flat_map(|set| &set.rules);
    rules.filter(|rule| rule.binds == BoundParty::Applicator && rule.kind.judges()).collect()
}

#[test]
fn every_rule_is_seen_to_allow_and_to_refuse() {
    let (book, shown) = (book(), shown());
    let rules = judging(book);
    let missing = |seen: &BTreeSet<String>| -> Vec<&str> {
        rules.iter().filter(|rule| !seen.contains(&rule.id)).map(|rule| rule.id.as_str()).collect()
    };
    // A rule that no report and no purpose opens says nothing where it allows: to a product without phosphorus.
    let only_refuses = |rule: &&&Rule| {
        rule.values.iter().all(|value| match &value.duty {
            Some(Duty::PhosphorusNeed(need)) => need.soil_report == Proof::Never && need.excuses.is_empty(),
            _ => false,
        })
    };
    let allowed: BTreeSet<String> = rules
        .iter()
        .filter(
            |rule| if only_refuses(rule) { shown.silent.contains(&rule.id) } else { shown.allowed.contains(&rule.id) },
        )
        .map(|rule| rule.id.clone())
        .collect();
    assert_eq!(missing(&allowed), Vec::<&str>::new(), "rules that no case shows to allow");
    assert_eq!(missing(&shown.refused), Vec::<&str>::new(), "rules that no case shows to refuse");
}

#[test]
fn every_case_speaks_of_rules_that_exist() {
    let (book, shown) = (book(), shown());
    let known: BTreeSet<&str> =
        book.rule_sets().iter().flat_map(|set| &set.rules).map(|rule| rule.id.as_str()).collect();
    let strangers: Vec<&String> = shown
        .allowed
        .union(&shown.refused)
        .filter(|rule| {
            let beside = ["label.", "law.", "practice."].iter().any(|own| rule.starts_with(own));
            !beside && !known.contains(rule.as_str())
        })
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
    let (book, shown) = (book(), shown());
    let missing: Vec<String> = judging(book)
        .into_iter()
        .flat_map(|rule| edges(rule).into_iter().map(|day| (rule.id.clone(), day)))
        .filter(|edge| !shown.days.contains(edge))
        .map(|(rule, day)| format!("{rule} on {day}"))
        .collect();
    assert!(missing.is_empty(), "{missing:#?}");
}

#[test]
fn every_season_is_tried_at_both_ends() {
    let (book, shown) = (book(), shown());
    let mut by_rule: BTreeMap<&str, BTreeSet<(i8, i8)>> = BTreeMap::new();
    for (rule, day) in &shown.days {
        by_rule.entry(rule).or_default().insert((day.date().month(), day.date().day()));
    }
    let mut missing = Vec::new();
    let rules = book.rule_sets().iter().flat_map(|set| &set.rules).filter(|rule| rule.binds == BoundParty::Applicator);
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

/// Rows of each place in the reading notes: how many, of which every one stands in the list.
const ROWS: &[(&str, usize)] = &[
    ("CO", 1),
    ("CT", 11),
    ("DC", 19),
    ("DE", 8),
    ("FL", 26),
    ("IL", 11),
    ("IN", 6),
    ("KY", 5),
    ("LR", 17),
    ("MA", 19),
    ("MD", 43),
    ("ME", 7),
    ("MI", 14),
    ("MN", 12),
    ("NH", 18),
    ("NJ", 26),
    ("NY", 19),
    ("OH", 7),
    ("PA", 16),
    ("PE", 21),
    ("RI", 1),
    ("VA", 21),
    ("VT", 12),
    ("WA", 7),
    ("WI", 12),
];

type ByRow = BTreeMap<String, BTreeSet<String>>;

/// What the list says of each row.
#[derive(Debug, Default)]
struct Listed {
    rules: ByRow,
    holes: ByRow,
    not_encoded: BTreeMap<String, String>,
}

/// `NY-04`, or for an entry without a number the key of its source: `NY7`.
fn is_row(text: &str) -> bool {
    is_numbered(text)
        || (text.len() > 2 && text.is_char_boundary(2) && is_numbered(&format!("{}-{}", &text[..2], &text[2..])))
}

fn is_numbered(text: &str) -> bool {
    text.split_once('-').is_some_and(|(place, number)| {
        place.len() == 2
            && place.bytes().all(|b| b.is_ascii_uppercase())
            && number.trim_end_matches(|c: char| c.is_ascii_lowercase()).parse::<u16>().is_ok()
    })
}

/// `| PA-01 | us-pa.nitrogen.quick.application |`
fn readme() -> Listed {
    let mut listed = Listed::default();
    for line in include_str!("../law/README.md").lines().filter(|line| line.starts_with("| ")) {
        let cells: Vec<&str> = line.trim_matches('|').split('|').map(str::trim).collect();
        let [row, rest, ..] = cells.as_slice() else { continue };
        if !is_row(row) {
            continue;
        }
        let names = |rest: &str| rest.split(", ").map(|name| name.trim_matches('`').to_owned()).collect();
        let twice = if let Some(why) = rest.strip_prefix("not encoded: ") {
            listed.not_encoded.insert((*row).to_owned(), why.to_owned()).is_some()
        } else if let Some(sets) = rest.strip_prefix("hole of ") {
            listed.holes.insert((*row).to_owned(), names(sets)).is_some()
        } else {
            listed.rules.insert((*row).to_owned(), names(rest)).is_some()
        };
        assert!(!twice, "{row} is listed twice");
    }
    listed
}

fn of_files(book: &Lawbook) -> (ByRow, ByRow) {
    let (mut rules, mut holes) = (ByRow::new(), ByRow::new());
    let add = |rows: &[String], name: &str, map: &mut ByRow| {
        for row in rows {
            map.entry(row.clone()).or_default().insert(name.to_owned());
        }
    };
    for set in book.rule_sets() {
        for rule in &set.rules {
            for value in &rule.values {
                add(&value.source.rows, &rule.id, &mut rules);
            }
        }
        if let Some(bar) = &set.about.preempts_local {
            add(&bar.rows, &format!("{} pre-emption", set.about.code), &mut rules);
        }
        for outside in &set.about.outside {
            add(&outside.rows, &format!("{} outside", set.about.code), &mut rules);
        }
        for hole in &set.about.holes {
            add(&hole.rows, &set.about.code, &mut holes);
        }
    }
    (rules, holes)
}

#[test]
fn the_list_of_rows_and_the_files_say_the_same() {
    let book = book();
    let (rules, holes) = of_files(book);
    let listed = readme();
    let differ = |listed: &ByRow, files: &ByRow| -> Vec<String> {
        let rows: BTreeSet<&String> = listed.keys().chain(files.keys()).collect();
        rows.into_iter().filter(|row| listed.get(*row) != files.get(*row)).cloned().collect()
    };
    assert_eq!(differ(&listed.rules, &rules), Vec::<String>::new(), "rows whose rules differ");
    assert_eq!(differ(&listed.holes, &holes), Vec::<String>::new(), "rows whose holes differ");
    for (row, why) in &listed.not_encoded {
        assert!(why.len() > 10, "{row}: why is it not encoded?");
        assert!(!rules.contains_key(row) && !holes.contains_key(row), "{row} is encoded and said not to be");
    }
}

/// A number that is only remembered may warn. That it is met shows nothing, so a hole beside it asks for care.
#[test]
fn beside_every_number_from_memory_stands_a_hole_that_asks() {
    let book = book();
    let mut remembered = 0;
    for set in book.rule_sets() {
        let asks = |row: &String| set.about.holes.iter().any(|hole| hole.asks_care && hole.rows.contains(row));
        for rule in judging(book).into_iter().filter(|rule| set.rules.contains(rule)) {
            for value in rule.values.iter().filter(|value| value.source.mark == Mark::Memory) {
                remembered += 1;
                assert!(value.source.rows.iter().any(asks), "{}: no hole of its set asks for care", rule.id);
            }
        }
    }
    assert_eq!(remembered, 15);
}

#[test]
fn every_row_of_the_notes_is_listed() {
    let listed = readme();
    let rows: BTreeSet<&String> = listed
        .rules
        .keys()
        .chain(listed.holes.keys())
        .chain(listed.not_encoded.keys())
        .filter(|row| is_numbered(row))
        .collect();
    let mut found: BTreeMap<&str, usize> = BTreeMap::new();
    for row in &rows {
        *found.entry(row.split('-').next().unwrap_or_default()).or_default() += 1;
    }
    assert_eq!(found.into_iter().collect::<Vec<_>>(), ROWS);
    assert_eq!(rows.len(), 359);
}

#[test]
fn the_list_of_sets_says_what_each_covers() {
    let text = include_str!("../law/README.md");
    for set in book().rule_sets() {
        let line = format!("| `{}` | {} |", set.about.code, set.about.coverage);
        assert!(text.contains(&line), "{} is not in the list of sets as its file says it", set.about.code);
    }
}
