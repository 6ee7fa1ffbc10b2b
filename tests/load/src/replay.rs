//! The rows that a server wrote, written once more by SQLite alone: the limit that the same file on the same disk sets.
//!
//! One book is a copy from before, the other has so many records more. What the second has and the first has not is written
//! into the first, in the order and with the keys that it has there, by one thread with prepared statements. Nothing is looked
//! up, decided, hashed or packed.

use std::{collections::BTreeMap, path::Path, time::Instant};

use rusqlite::{Connection, Row, params_from_iter, types::Value};
use serde::Serialize;

use crate::Fault;

/// Rows that are new in a table, and which of them belong to the same record.
#[derive(Debug)]
struct Table {
    insert: String,
    rows: Vec<Vec<Value>>,
}

#[derive(Debug, Serialize)]
pub struct Batch {
    pub records_a_commit: usize,
    pub records: usize,
    pub seconds: f64,
}

/// Writes `records` records, an equal part of them with each size of commit.
pub fn run(book: &Path, later: &Path, records: usize, sizes: &[usize]) -> Result<Vec<Batch>, Fault> {
    let connection = Connection::open(book)?;
    connection.execute("ATTACH ?1 AS later", [later.to_str().ok_or("a path that is no text")?])?;
    let tables = in_order(&connection)?
        .iter()
        .map(|name| table(&connection, name))
        .filter(|found| found.as_ref().map_or(true, |table| !table.rows.is_empty()))
        .collect::<Result<Vec<_>, _>>()?;
    if tables.iter().map(|table| table.rows.len()).max().unwrap_or_default() < records {
        return Err(format!("{} has fewer than {records} records more than {}", later.display(), book.display()).into());
    }
    connection.execute("DETACH later", [])?;
    connection.execute_batch("PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON;")?;
    connection.set_prepared_statement_cache_capacity(64);
    let mut measured = Vec::new();
    let part = records / sizes.len();
    for (number, size) in sizes.iter().enumerate() {
        let (first, start) = (number * part, Instant::now());
        for begin in (first..first + part).step_by(*size) {
            connection.execute_batch("BEGIN IMMEDIATE")?;
            for record in begin..(begin + size).min(first + part) {
                write(&connection, &tables, record, records)?;
            }
            connection.execute_batch("COMMIT")?;
        }
        measured.push(Batch { records_a_commit: *size, records: part, seconds: start.elapsed().as_secs_f64() });
    }
    Ok(measured)
}

/// Writes what one record has in each table.
fn write(connection: &Connection, tables: &[Table], record: usize, records: usize) -> Result<(), Fault> {
    for table in tables {
        let share = |number: usize| table.rows.len() * number / records;
        let mut statement = connection.prepare_cached(&table.insert)?;
        for row in table.rows.get(share(record)..share(record + 1)).unwrap_or_default() {
            statement.execute(params_from_iter(row))?;
        }
    }
    Ok(())
}

/// Every table, each behind those that its rows point to.
fn in_order(connection: &Connection) -> Result<Vec<String>, Fault> {
    let text = |row: &Row<'_>| row.get::<_, String>(0);
    let mut waiting: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let mut names = connection.prepare(
        "SELECT name FROM main.sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite%' AND name NOT LIKE '\\_%' ESCAPE '\\'",
    )?;
    for name in names.query_map([], text)? {
        let name = name?;
        let mut keys = connection.prepare("SELECT DISTINCT \"table\" FROM pragma_foreign_key_list(?1)")?;
        let targets = keys.query_map([&name], text)?.collect::<Result<Vec<_>, _>>()?;
        waiting.insert(name, targets);
    }
    let mut ordered: Vec<String> = Vec::new();
    while !waiting.is_empty() {
        let free = waiting
            .iter()
            .find(|(name, targets)| targets.iter().all(|target| target == *name || !waiting.contains_key(target)))
            .map(|(name, _)| name.clone())
            .ok_or("tables that point to each other in a circle")?;
        waiting.remove(&free);
        ordered.push(free);
    }
    Ok(ordered)
}

/// What a table has in the later book alone. A row that was changed there, such as a total, is not found: what changes it is a
/// trigger, and fires here too.
fn table(connection: &Connection, name: &str) -> Result<Table, Fault> {
    let mut columns = connection.prepare("SELECT name, pk FROM pragma_table_info(?1)")?;
    let columns = columns
        .query_map([name], |row| Ok((row.get::<_, String>(0)?, row.get::<_, i64>(1)?)))?
        .collect::<Result<Vec<_>, _>>()?;
    let without_rowid: bool =
        connection.query_row("SELECT wr FROM pragma_table_list(?1) WHERE schema = 'main'", [name], |row| row.get(0))?;
    let quoted: Vec<String> = columns.iter().map(|(name, _)| format!("\"{name}\"")).collect();
    let list = quoted.join(", ");
    let new = if without_rowid {
        let keys: Vec<String> = columns
            .iter()
            .filter(|(_, key)| *key > 0)
            .map(|(name, _)| format!("a.\"{name}\" = b.\"{name}\""))
            .collect();
        format!(
            "SELECT {list} FROM later.\"{name}\" AS b WHERE NOT EXISTS (SELECT 1 FROM main.\"{name}\" AS a WHERE {})",
            keys.join(" AND ")
        )
    } else {
        format!(
            "SELECT {list} FROM later.\"{name}\"
             WHERE rowid > (SELECT coalesce(max(rowid), 0) FROM main.\"{name}\") ORDER BY rowid"
        )
    };
    let mut statement = connection.prepare(&new)?;
    let read = |row: &Row<'_>| (0..columns.len()).map(|at| row.get::<_, Value>(at)).collect::<Result<Vec<_>, _>>();
    let rows = statement.query_map([], read)?.collect::<Result<Vec<_>, _>>()?;
    let gaps = vec!["?"; columns.len()].join(", ");
    Ok(Table { insert: format!("INSERT INTO main.\"{name}\" ({list}) VALUES ({gaps})"), rows })
}
