//! The long texts of SQL that no compiler checks, held against the rows that they are written from and read into.

use std::collections::{BTreeMap, BTreeSet};

const EFFECTS: &str = include_str!("../server/base/src/store/effects.sql");
const FACTS: &str = include_str!("../server/base/src/store/world_facts.sql");
/// A view that was made anew stands in the last of these that has it.
const VIEWS: [&str; 5] = [
    include_str!("../migrations/0015_record_rows.sql"),
    include_str!("../migrations/0017_record_particulars.sql"),
    include_str!("../migrations/0018_lines_and_parts.sql"),
    include_str!("../migrations/0024_packed_texts.sql"),
    include_str!("../migrations/0038_corrected_in_place.sql"),
];

/// Fields of the structs of a file, in their order.
fn fields(file: &str) -> BTreeMap<String, Vec<String>> {
    let parsed = syn::parse_file(file).unwrap();
    let structs = parsed.items.into_iter().filter_map(|item| match item {
        syn::Item::Struct(one) => Some(one),
        _ => None,
    });
    let named = structs.map(|one| {
        let fields = one.fields.iter().filter_map(|field| field.ident.as_ref().map(ToString::to_string)).collect();
        (one.ident.to_string(), fields)
    });
    named.collect()
}

fn words(list: &str) -> Vec<&str> {
    list.split(',').map(str::trim).collect()
}

/// Table, columns, and the members that are put into them, of each insertion.
fn insertions() -> Vec<(&'static str, Vec<&'static str>, Vec<&'static str>)> {
    let parts = EFFECTS.split("INSERT INTO ").skip(1);
    let read = |part: &'static str| {
        let (table, rest) = part.split_once(" (").unwrap();
        let (columns, rest) = rest.split_once(')').unwrap();
        let (_, rest) = rest.split_once("SELECT").unwrap();
        let members: Vec<&str> = rest.split("->> '").skip(1).map(|text| text.split('\'').next().unwrap()).collect();
        (table, words(columns), members)
    };
    parts.map(read).collect()
}

/// The row that each table is written from, and the file that has it.
const ROWS: [(&str, &str); 14] = [
    ("decisions", "DecisionRow"),
    ("rule_set_texts", "RuleSetTextRow"),
    ("clearances", "ClearanceRow"),
    ("clearance_lines", "ClearanceLineRow"),
    ("applications", "ApplicationRow"),
    ("clearance_ends", "ClearanceEndRow"),
    ("corrections", "CorrectionRow"),
    ("application_lines", "LineRow"),
    ("stock_movements", "MovementRow"),
    ("attempts", "AttemptRow"),
    ("journal", "JournalRow"),
    ("weather_facts", "WeatherFactsRow"),
    ("weather_evidence", "WeatherEvidenceRow"),
    ("personal_texts", "PersonalTextsRow"),
];

/// Every row of the acts by its name.
fn rows() -> BTreeMap<String, Vec<String>> {
    let mut rows = fields(include_str!("../server/base/src/acts/rows.rs"));
    rows.extend(fields(include_str!("../server/base/src/acts/rows/application.rs")));
    rows.extend(fields(include_str!("../server/base/src/acts/effects.rs")));
    rows
}

#[test]
fn every_field_of_an_effect_goes_into_the_column_of_its_name() {
    let (insertions, rows) = (insertions(), rows());
    for (table, columns, members) in &insertions {
        let renamed = |column: &&'static str| match (*table, *column) {
            // Who worked at a property is written from the applications themselves.
            ("assignments", "since") => "received_at",
            // Which record was corrected is known by its id.
            ("asked_again", "application_seq") => "application_id",
            (_, column) => column,
        };
        assert_eq!(columns.iter().map(renamed).collect::<Vec<_>>(), *members, "{table}");
    }
    let written: BTreeSet<&str> =
        insertions.iter().map(|(table, ..)| *table).filter(|it| !["assignments", "asked_again"].contains(it)).collect();
    assert_eq!(written, ROWS.iter().map(|(table, _)| *table).collect(), "each table has its row");
    for (table, row) in ROWS {
        let (_, columns, _) = insertions.iter().find(|(known, ..)| *known == table).unwrap();
        assert_eq!(*columns, rows[row], "{table} is written from {row}");
    }
}

#[test]
fn every_view_of_records_has_the_fields_that_it_is_read_into() {
    let rows = rows();
    for (view, row, stored) in [
        ("application_rows", "ApplicationRow", Some("StoredApplication")),
        ("correction_rows", "CorrectionRow", None),
        ("clearance_rows", "ClearanceRow", Some("StoredClearance")),
    ] {
        let made = format!("CREATE VIEW {view} AS");
        let (_, text) = VIEWS.iter().rev().find_map(|file| file.split_once(&made)).unwrap();
        let (_, text) = text.split_once("json_object(").unwrap();
        let (body, _) = text.split_once("AS body").unwrap();
        let members: Vec<&str> = body.split('\'').skip(1).step_by(2).collect();
        let fields: Vec<&str> = match stored {
            None => rows[row].iter().map(String::as_str).collect(),
            // The row first, and what is known beside it.
            Some(stored) => {
                let beside = rows[stored].iter().filter(|field| *field != "row");
                std::iter::once("row").chain(rows[row].iter().chain(beside).map(String::as_str)).collect()
            }
        };
        assert_eq!(members, fields, "{view} is read into {row}");
        for member in &rows[row] {
            let column = format!("{}.{member}", view.chars().next().unwrap());
            // JSON holds no bytes.
            let given = [format!("'{member}', {column}"), format!("'{member}', hex({column})")];
            assert!(given.iter().any(|it| body.contains(it)), "{view} gives {member} from the column of its name");
        }
    }
}

#[test]
fn the_facts_of_a_section_come_in_the_order_of_their_rows() {
    let rows = fields(include_str!("../server/base/src/acts/rows.rs"));
    for (member, row, short, beside) in [("lines", "LedgerRow", "l.", "a."), ("held", "HeldRow", "h.", "c.")] {
        let (_, text) = FACTS.split_once(&format!("'{member}', (SELECT json_group_array(json_array(")).unwrap();
        let (columns, _) = text.split_once("))").unwrap();
        // Which product it was stands with the record, or with the clearance.
        let plain = |column: &str| column.replace(short, "").replace(beside, "");
        let columns: Vec<String> = words(columns).into_iter().map(plain).collect();
        let (first, others) = columns.split_first().unwrap();
        assert_eq!(
            (first.trim_end_matches("_id"), others),
            (rows[row][0].as_str(), &rows[row][1..]),
            "{member} is read into {row}"
        );
    }
}
