//! Every value of a book changed behind the server's back, one at a time: the check says so, or this file says why it cannot.

use std::{
    collections::{BTreeMap, BTreeSet},
    path::{Path, PathBuf},
};

use rusqlite::{Connection, types::Value};
use server::book::verify::check_file;

use super::everything::{closed_book, sky_book, unpacked_book};
use crate::rewritten::guarded_again;

/// Columns of which a change of one value does not show, with the reason. `*` is every column of the table that does not show. Whoever
/// adds a column that `verify` does not hold has to say here why not.
const APART: &[(&str, &[&str], &str)] = &[
    ("calibrations", &["finds"], "follows from the test, which is held"),
    ("clearance_ends", &["ended_at"], "when; that and how it ended is held"),
    ("company", &["*"], "written once at set-up and told to no entry; every receipt signs the name"),
    ("decisions", &["decided_at"], "when; the decision itself is held, and since packing there is no row"),
    ("disk_proof", &["*"], "a counter that means nothing: it proves that the disk takes a write"),
    (
        "enrolment_codes",
        &["hash"],
        "a secret: the journal is told that a code was made, for whom and until when, and nothing of the code",
    ),
    ("equipment", &["limit_days", "limit_applications"], "means nothing without the other, and together they are held"),
    ("idempotency_keys", &["*"], "answers kept for a day for whoever asks again; no record"),
    ("installation", &["*"], "secrets of the server that sign links to pages and let the first owner in once"),
    (
        "pass_sessions",
        &["hash", "ended_at"],
        "a secret; when a browser was left, which then reads nothing beyond the minutes after its last page, and that is held",
    ),
    ("passes", &["code_hash"], "a secret: the journal is told of the pass, and nothing of its code"),
    ("password_codes", &["hash", "used_at"], "a secret as above; what is not used yet ends by itself"),
    ("people", &["password_hash"], "a secret: no entry tells of it"),
    ("personal_texts", &["destroyed_by"], "means nothing while the text is there, which is held"),
    ("properties", &["county", "municipality"], "mean nothing without a state, and with one they are held"),
    ("reviews", &["reviewed_at"], "when; the review itself is held"),
    (
        "rule_set_uses",
        &["how", "since"],
        "of the first use of a set, which the start that met it tells of; later uses are held",
    ),
    ("rule_set_versions", &["met_at"], "when; the version itself is held"),
    ("sections", &["version"], "refuses an edit of what was changed meanwhile; a new measurement raises it, too"),
    (
        "security_events",
        &["seq", "name", "address", "tries", "last_at"],
        "kept for a time and then deleted, so it is in no chain",
    ),
    ("settings", &["id"], "the one row there is"),
    ("signing_key", &["id"], "the one row there is"),
    ("stock_movements", &["id"], "names the movement of a record or delivery, and nothing asks by it"),
    ("text_patterns", &["kind"], "says by what the next text is packed; what is packed is held"),
    (
        "tokens",
        &["hash", "last_used_at"],
        "a secret of which the journal is told nothing; when it was used last is a help for its owner",
    ),
    (
        "weather_after",
        &["*"],
        "rain after a record, for the owner's list; the answers that it was read from are held by their hash",
    ),
    ("weather_bodies", &["seq", "content_type"], "how an answer came; the answer itself is held"),
    ("weather_facts", &["decided_at"], "when; the facts themselves are held"),
    ("weather_fetches", &["*"], "how and when a service was asked; its answer and what was read from it are held"),
];

/// Tables of which the number of a row says nothing but in which order lists show them, and by which their next page is asked for.
const ORDERED: &[&str] = &[
    "application_lines",
    "attempts",
    "calibrations",
    "clearances",
    "clients",
    "corrections",
    "credentials",
    "dated_entries",
    "devices",
    "doubted_records",
    "equipment",
    "limit_moves",
    "lots",
    "measurements",
    "ownerships",
    "passes",
    "people",
    "product_files",
    "products",
    "programmes",
    "properties",
    "record_additions",
    "rule_set_uses",
    "sections",
    "sightings",
    "soil_reports",
    "stock_movements",
    "visits",
];

/// The same value, a little otherwise, and of the same type.
fn other(value: Value, declared: &str) -> Value {
    match value {
        Value::Null => match declared {
            "INTEGER" => Value::Integer(1),
            "REAL" => Value::Real(1.0),
            "BLOB" => Value::Blob(vec![1]),
            _ => Value::Text("x".to_owned()),
        },
        Value::Integer(flag @ 0..=1) => Value::Integer(1 - flag),
        Value::Integer(number) => Value::Integer(number + 1),
        Value::Real(number) => Value::Real(number + 0.5),
        Value::Blob(mut bytes) => {
            if let Some(byte) = bytes.last_mut() {
                *byte ^= 1;
            }
            Value::Blob(bytes)
        }
        Value::Text(text) => Value::Text(bumped(&text)),
    }
}

/// A text of which the last letter or digit is another one: a day becomes another day, an id another id.
fn bumped(text: &str) -> String {
    let Some(at) = text.rfind(|letter: char| letter.is_ascii_alphanumeric()) else { return format!("{text}x") };
    let (before, rest) = text.split_at(at);
    let letter = rest.as_bytes()[0];
    let next = if [b'9', b'f', b'z', b'F', b'Z'].contains(&letter) { letter - 1 } else { letter + 1 };
    format!("{before}{}{}", char::from(next), &rest[1..])
}

#[derive(Debug, Clone)]
struct Column {
    table: String,
    name: String,
    declared: String,
    keys: Vec<String>,
}

fn texts(book: &Connection, sql: &str) -> Vec<String> {
    let mut found = book.prepare(sql).unwrap();
    found.query_map([], |row| row.get(0)).unwrap().map(Result::unwrap).collect()
}

/// Every column that is stored, of every table.
fn columns(book: &Connection) -> Vec<Column> {
    let tables = texts(
        book,
        "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite\\_%' ESCAPE '\\'
         AND name NOT LIKE '\\_sqlx%' ESCAPE '\\' ORDER BY name",
    );
    let mut columns = Vec::new();
    for table in tables {
        let keys = texts(book, &format!("SELECT name FROM pragma_table_info('{table}') WHERE pk > 0 ORDER BY pk"));
        let mut told = book.prepare(&format!("SELECT name, type FROM pragma_table_info('{table}')")).unwrap();
        let found: Vec<(String, String)> =
            told.query_map([], |row| Ok((row.get(0)?, row.get(1)?))).unwrap().map(Result::unwrap).collect();
        columns.extend(found.into_iter().map(|(name, declared)| Column {
            table: table.clone(),
            name,
            declared,
            keys: keys.clone(),
        }));
    }
    columns
}

/// Changes one value: of the newest row that has one.
fn tamper(file: &Path, column: &Column) {
    let book = Connection::open(file).unwrap();
    book.execute_batch("PRAGMA foreign_keys = OFF; PRAGMA ignore_check_constraints = ON").unwrap();
    // Somebody who can write the file can drop what refuses it, and put it back.
    for name in texts(&book, "SELECT name FROM sqlite_schema WHERE type = 'trigger'") {
        book.execute_batch(&format!("DROP TRIGGER {name}")).unwrap();
    }
    let Column { table, name, declared, keys } = column;
    let list = keys.join(", ");
    let pick = format!("SELECT {name}, {list} FROM {table} ORDER BY {name} IS NULL, {list} DESC LIMIT 1");
    let mut row: Vec<Value> =
        book.query_row(&pick, [], |row| (0..=keys.len()).map(|at| row.get(at)).collect()).unwrap();
    let new = other(row.remove(0), declared);
    let named: Vec<String> = keys.iter().enumerate().map(|(at, key)| format!("{key} = ?{}", at + 2)).collect();
    let update = format!("UPDATE {table} SET {name} = ?1 WHERE {}", named.join(" AND "));
    row.insert(0, new);
    assert_eq!(book.execute(&update, rusqlite::params_from_iter(row)).unwrap(), 1, "{table}.{name}");
    guarded_again(&book);
}

/// Those of which a change does not show.
async fn unseen(of: Vec<(Column, PathBuf)>, folder: &Path) -> BTreeSet<String> {
    let mut unseen = BTreeSet::new();
    for (column, whole) in of {
        let file = folder.join(format!("{}.{}.db", column.table, column.name));
        std::fs::copy(&whole, &file).unwrap();
        tamper(&file, &column);
        // What cannot be read any more shows, too.
        if check_file(&file).await.is_ok_and(|found| found.faults.is_empty()) {
            unseen.insert(format!("{}.{}", column.table, column.name));
        }
        std::fs::remove_file(&file).unwrap();
    }
    unseen
}

#[tokio::test]
async fn a_change_of_any_value_shows() {
    let books = [closed_book().await, sky_book().await, unpacked_book().await];
    let (mut tried, mut empty) = (BTreeMap::new(), BTreeSet::new());
    for folder in &books {
        let file = folder.path().join("book.db");
        assert_eq!(check_file(&file).await.unwrap().faults, Vec::<String>::new());
        let book = Connection::open(&file).unwrap();
        for column in columns(&book) {
            let any = format!("SELECT EXISTS (SELECT 1 FROM {})", column.table);
            let name = format!("{}.{}", column.table, column.name);
            if book.query_row(&any, [], |row| row.get::<_, bool>(0)).unwrap() {
                empty.remove(&column.table);
                tried.entry(name).or_insert((column, file.clone()));
            } else if !tried.contains_key(&name) {
                empty.insert(column.table);
            }
        }
    }
    assert_eq!(
        empty,
        BTreeSet::new(),
        "If you are here because of a new table: let one of these books have a row of it."
    );
    assert!(tried.len() > 300, "{} columns", tried.len());
    let folder = tempfile::tempdir().unwrap();
    let tried_names: BTreeSet<String> = tried.values().map(|(column, _)| column.table.clone()).collect();
    let mut halves = [Vec::new(), Vec::new()];
    for (at, one) in tried.into_values().enumerate() {
        halves[at % 2].push(one);
    }
    // Each half by a thread of its own: a check holds what cannot be handed from one to another.
    let work = halves.map(|half| {
        let path = folder.path().to_owned();
        let alone = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        std::thread::spawn(move || alone.block_on(unseen(half, &path)))
    });
    let unseen: BTreeSet<String> = work.into_iter().flat_map(|half| half.join().unwrap()).collect();
    let known = tried_names;
    let says = |name: &str| {
        let (table, column) = name.split_once('.').unwrap();
        let apart =
            APART.iter().find(|(of, names, _)| *of == table && names.iter().any(|one| [column, "*"].contains(one)));
        apart.is_some() || column == "seq" && ORDERED.contains(&table)
    };
    let new: Vec<&String> = unseen.iter().filter(|name| !says(name)).collect();
    let named = APART.iter().flat_map(|(table, names, _)| names.iter().map(move |name| format!("{table}.{name}")));
    let named = named.chain(ORDERED.iter().map(|table| format!("{table}.seq"))).filter(|name| !name.ends_with('*'));
    let seen: Vec<String> = named.filter(|name| !unseen.contains(name)).collect();
    let gone: Vec<&str> = APART.iter().map(|(table, ..)| *table).filter(|table| !known.contains(*table)).collect();
    assert!(gone.is_empty(), "no such tables: {gone:?}");
    assert!(
        new.is_empty() && seen.is_empty(),
        "If you are here because of {new:#?}: a change of it does not show. Let `verify` hold it, or say in APART why it does not. \
         Of {seen:#?} a change shows by now: take it out of APART."
    );
}
