//! What every record asks of the database is found by index: a plan that reads a whole table of records would be felt after
//! the first season.

use rusqlite::Connection;

/// A book without rows, with every table and index.
pub fn migrated() -> Connection {
    let connection = Connection::open_in_memory().unwrap();
    let folder = harness::approved::top().join("migrations");
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    for file in files {
        connection.execute_batch(&std::fs::read_to_string(file).unwrap()).unwrap();
    }
    connection
}

#[test]
fn the_facts_of_an_act_are_found_without_reading_whole_tables() {
    let connection = migrated();
    let facts = include_str!("../server/base/src/store/world_facts.sql");
    let mut plan = connection.prepare(&format!("EXPLAIN QUERY PLAN {facts}")).unwrap();
    let none = rusqlite::params!["[]", "[]", "[]", "[]", "[]", "[]", 0, "[]", "[]"];
    let steps: Vec<String> = plan.query_map(none, |row| row.get(3)).unwrap().map(Result::unwrap).collect();
    // What is wanted (w, n, json_each) is a handful, and so are the texts of rule sets (r), a record's corrections (its) and what a
    // measurement took the place of (taken).
    let handful = ["SCAN w", "SCAN n", "SCAN json_each", "SCAN r", "SCAN its", "SCAN taken", "SCAN CONSTANT ROW"];
    let whole: Vec<&String> = steps
        .iter()
        .filter(|step| step.starts_with("SCAN") && !handful.iter().any(|few| step.starts_with(few)))
        .collect();
    assert!(steps.iter().any(|step| step.starts_with("SEARCH")), "{steps:#?}");
    assert!(
        whole.is_empty(),
        "If you are here because of {whole:#?}: lead the join from what is wanted to what is stored."
    );
}

/// Tables whose rows are as many as the company is large, and not as it is old: a read of the whole is a page's work.
const SMALL: [&str; 18] = [
    "clients",
    "company",
    "credentials",
    "devices",
    "disk_proof",
    "equipment",
    "installation",
    "lot_totals",
    "lots",
    "people",
    "product_files",
    "products",
    "programmes",
    "properties",
    "sections",
    "settings",
    "signing_key",
    "stock_totals",
];

/// A table that is read whole, and the statement that does so.
struct Scan {
    table: String,
    statement: String,
}

/// Names of a statement's tables by their short names.
fn aliases(statement: &str) -> std::collections::HashMap<&str, &str> {
    let words: Vec<&str> = statement.split_whitespace().collect();
    let named = |at: &[&'_ str]| ["FROM", "JOIN"].iter().any(|word| at[0].ends_with(word)) && at[2] == "AS";
    words.windows(4).filter(|at| named(at)).map(|at| (at[3].trim_matches([',', ')', '(']), at[1])).collect()
}

/// The scans of a statement, of tables alone: what a statement made itself (a list of ids, a subquery) is as small as it is.
fn scans(connection: &Connection, statement: &str, tables: &[String]) -> Vec<Scan> {
    let mut plan = connection.prepare(&format!("EXPLAIN QUERY PLAN {statement}")).unwrap();
    let (known, mut found, mut steps) = (aliases(statement), Vec::new(), plan.raw_query());
    while let Some(step) = steps.next().unwrap() {
        let step: String = step.get(3).unwrap();
        let Some(name) = step.strip_prefix("SCAN ").and_then(|rest| rest.split(' ').next()) else { continue };
        let table = (*known.get(name).unwrap_or(&name)).to_owned();
        if tables.contains(&table) && !SMALL.contains(&table.as_str()) {
            found.push(Scan { table, statement: statement.split_whitespace().collect::<Vec<_>>().join(" ") });
        }
    }
    found
}

/// The statements of the server, as they were recorded, and the texts that it sends by another way.
fn statements() -> Vec<String> {
    let recorded = std::fs::read_dir(harness::approved::top().join(".sqlx")).unwrap();
    let mut statements: Vec<String> = recorded
        .map(|entry| std::fs::read_to_string(entry.unwrap().path()).unwrap())
        .map(|text| serde_json::from_str::<serde_json::Value>(&text).unwrap()["query"].as_str().unwrap().to_owned())
        .collect();
    assert!(statements.len() > 100, "{} recorded statements", statements.len());
    statements.push(include_str!("../server/base/src/store/world_facts.sql").to_owned());
    // The effects are several statements in one text.
    let effects = include_str!("../server/base/src/store/effects.sql");
    statements.extend(effects.split(";\n").filter(|one| one.contains("INSERT")).map(str::to_owned));
    statements
}

/// What a table of this file allows: a table, a part of the statement, and why.
fn allowed(text: &'static str, what: &str) -> Vec<[String; 2]> {
    let allowed: toml::Table = text.parse().unwrap();
    let member = |one: &toml::Value, member: &str| one[member].as_str().unwrap().to_owned();
    allowed[what].as_array().unwrap().iter().map(|one| [member(one, "scan"), member(one, "contains")]).collect()
}

/// Scans that nothing allows, and what is allowed and done no more.
fn held_against(allowed: &[[String; 2]], found: impl Iterator<Item = Scan>) -> (Vec<String>, Vec<[String; 2]>) {
    let mut used = vec![false; allowed.len()];
    let mut offenders = Vec::new();
    for scan in found {
        let fits = |[table, part]: &[String; 2]| {
            [scan.table.as_str(), "*"].contains(&table.as_str()) && scan.statement.contains(part)
        };
        match allowed.iter().position(fits) {
            Some(at) => used[at] = true,
            None => offenders.push(format!("{}: {}", scan.table, scan.statement)),
        }
    }
    let idle = allowed.iter().zip(&used).filter(|(_, used)| !**used).map(|(one, _)| one.clone()).collect();
    (offenders, idle)
}

fn tables(connection: &Connection) -> Vec<String> {
    let mut names = connection.prepare("SELECT name FROM sqlite_schema WHERE type = 'table'").unwrap();
    let tables: Vec<String> = names.query_map([], |row| row.get(0)).unwrap().map(Result::unwrap).collect();
    assert!(SMALL.iter().all(|small| tables.iter().any(|table| table == small)), "{tables:?}");
    tables
}

#[test]
fn no_statement_reads_the_whole_of_a_table_that_grows() {
    let connection = migrated();
    let (tables, statements) = (tables(&connection), statements());
    let found = statements.iter().flat_map(|statement| scans(&connection, statement, &tables));
    let (offenders, idle) = held_against(&allowed(include_str!("expected/scans.toml"), "allowed"), found);
    assert!(
        offenders.is_empty(),
        "If you are here because of {offenders:#?}: give it an index or lead the join from the few to the many, or say in tests/expected/scans.toml why it may."
    );
    assert!(idle.is_empty(), "tests/expected/scans.toml allows what no statement does any more: {idle:#?}");
}

/// A book of ten years, as far as the planner knows: it has the numbers, and none of the rows.
fn grown_old() -> Connection {
    let connection = migrated();
    connection.execute_batch("ANALYZE; DELETE FROM sqlite_stat1;").unwrap();
    connection.execute_batch(include_str!("expected/old_book.sql")).unwrap();
    connection.execute_batch("ANALYZE sqlite_schema").unwrap();
    connection
}

/// Where a statement walks through a table that grows: the whole of it, from a place in it to its end, or through all records of a time.
fn walks(connection: &Connection, statement: &str, tables: &[String]) -> Vec<Scan> {
    let mut plan = connection.prepare(&format!("EXPLAIN QUERY PLAN {statement}")).unwrap();
    let (known, mut found, mut steps) = (aliases(statement), Vec::new(), plan.raw_query());
    while let Some(step) = steps.next().unwrap() {
        let step: String = step.get(3).unwrap();
        let walked = ["(rowid<?)", "(rowid>?)", "applications_by_day (applied_on>?", "BLOOM FILTER"];
        let name =
            step.trim_start_matches("SCAN ").trim_start_matches("SEARCH ").trim_start_matches("BLOOM FILTER ON ");
        let Some(name) =
            name.split(' ').next().filter(|_| step.starts_with("SCAN ") || walked.iter().any(|how| step.contains(how)))
        else {
            continue;
        };
        let table = (*known.get(name).unwrap_or(&name)).to_owned();
        if tables.contains(&table) && !SMALL.contains(&table.as_str()) {
            found.push(Scan { table, statement: statement.split_whitespace().collect::<Vec<_>>().join(" ") });
        }
    }
    found
}

/// Counted in a book, the planner may find another way than in an empty one, and once chose to read all of the journal for the owner's
/// list. What is shown on a page is found as fast in a book of ten years as in a new one.
#[test]
fn no_statement_walks_through_a_book_that_has_grown_old() {
    let connection = grown_old();
    let (tables, statements) = (tables(&connection), statements());
    let found = statements.iter().flat_map(|statement| walks(&connection, statement, &tables));
    let mut known = allowed(include_str!("expected/scans.toml"), "allowed");
    let walking = allowed(include_str!("expected/scans.toml"), "walks");
    known.extend(walking.iter().cloned());
    let (offenders, idle) = held_against(&known, found);
    assert!(
        offenders.is_empty(),
        "If you are here because of {offenders:#?}: lead it by an index to what is asked for, or say in tests/expected/scans.toml why it may."
    );
    let idle: Vec<_> = idle.into_iter().filter(|one| walking.contains(one)).collect();
    assert!(idle.is_empty(), "tests/expected/scans.toml allows what no statement does any more: {idle:#?}");
}
