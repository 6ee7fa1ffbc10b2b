//! The two long texts of SQL that no compiler checks, held against the rows that they are written from and read into.

use std::collections::BTreeMap;

const EFFECTS: &str = include_str!("../server/src/store/effects.sql");
const FACTS: &str = include_str!("../server/src/store/world_facts.sql");

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

/// Table, columns, and the members that are put into them, of each insertion of rows with named members.
fn insertions() -> Vec<(&'static str, Vec<&'static str>, Vec<&'static str>)> {
    let parts = EFFECTS.split("INSERT INTO ").skip(1);
    let read = |part: &'static str| {
        let (table, rest) = part.split_once(" (").unwrap();
        let (columns, rest) = rest.split_once(')').unwrap();
        let (_, rest) = rest.split_once("SELECT").unwrap();
        let (values, _) = rest.split_once("FROM").unwrap();
        let members: Vec<&str> = values.split("->> '").skip(1).map(|text| text.split('\'').next().unwrap()).collect();
        (table, words(columns), members)
    };
    parts.map(read).filter(|(_, _, members)| !members.is_empty()).collect()
}

#[test]
fn every_member_of_an_effect_goes_into_the_column_of_its_name() {
    let insertions = insertions();
    assert!(insertions.len() >= 8, "{insertions:#?}");
    for (table, columns, members) in &insertions {
        // Who worked at a property is written from the applications themselves.
        let renamed = |column: &&'static str| match (*table, *column) {
            ("assignments", "since") => "received_at",
            (_, column) => column,
        };
        assert_eq!(columns.iter().map(renamed).collect::<Vec<_>>(), *members, "{table}");
    }
    let rows = fields(include_str!("../server/src/acts/effects.rs"));
    for (table, row) in
        [("application_lines", "LineRow"), ("stock_movements", "MovementRow"), ("journal", "JournalRow")]
    {
        let (_, columns, _) = insertions.iter().find(|(known, ..)| *known == table).unwrap();
        assert_eq!(*columns, rows[row], "{table} is written from {row}");
    }
}

#[test]
fn the_facts_of_a_section_come_in_the_order_of_their_rows() {
    let rows = fields(include_str!("../server/src/acts/rows.rs"));
    for (member, row, short) in [("lines", "LedgerRow", "l."), ("held", "HeldRow", "h.")] {
        let (_, text) = FACTS.split_once(&format!("'{member}', (SELECT json_group_array(json_array(")).unwrap();
        let (columns, _) = text.split_once("))").unwrap();
        let columns: Vec<String> =
            words(columns).into_iter().map(|column| column.replace(short, "").replace("_id", "")).collect();
        assert_eq!(columns, rows[row], "{member} is read into {row}");
    }
}
