//! Books that are rewritten behind the server's back, journal and all: as an earlier version wrote them, or as the destruction of
//! texts leaves them.

use std::path::Path;

use domain::journal::{BEGINNING, Entry};
use rusqlite::{Connection, params};
use serde_json::Value;

/// Number, moment, person, phone, act, subject and payload of an entry.
type JournalRow = (i64, i64, Option<String>, Option<String>, String, String, String);

/// Writes the journal anew from the first entry on, with other payloads. They must not be packed.
pub fn rechained(book: &Connection, change: impl Fn(&str, &mut Value)) {
    let mut rows = book
        .prepare("SELECT seq, written_at, person_id, device_id, act, subject_id, payload FROM journal ORDER BY seq")
        .unwrap();
    let entries: Vec<JournalRow> = rows
        .query_map([], |row| {
            Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?, row.get(4)?, row.get(5)?, row.get(6)?))
        })
        .unwrap()
        .map(Result::unwrap)
        .collect();
    let mut previous = BEGINNING.to_owned();
    for (seq, written_at_ms, person, device, act, subject, payload) in entries {
        let before: Value = serde_json::from_str(&payload).unwrap();
        let mut told = before.clone();
        change(&act, &mut told);
        let payload = if told == before { payload } else { told.to_string() };
        let entry = Entry {
            seq,
            written_at_ms,
            person_id: person.as_deref(),
            device_id: device.as_deref(),
            act: &act,
            subject_id: &subject,
            payload: &payload,
        };
        let hash = entry.hash(&previous);
        let update = "UPDATE journal SET payload = ?1, previous_hash = ?2, hash = ?3 WHERE seq = ?4";
        assert_eq!(book.execute(update, params![payload, previous, hash, seq]).unwrap(), 1);
        previous = hash;
    }
}

/// Drops the triggers that refuse what only a migration or a fault could do.
pub fn unguarded(file: &Path) -> Connection {
    let book = Connection::open(file).unwrap();
    for table in ["journal", "applications", "corrections", "attempts", "personal_texts"] {
        book.execute_batch(&format!("DROP TRIGGER {table}_keep; DROP TRIGGER IF EXISTS {table}_stay")).unwrap();
    }
    book
}

/// Destroys the texts about people of a record, a correction, an addition or an attempt, and says so in the journal.
pub fn destroyed(book: &Connection, id: &str) {
    let (seq, hash): (i64, String) = book
        .query_row("SELECT seq, hash FROM journal ORDER BY seq DESC LIMIT 1", [], |row| Ok((row.get(0)?, row.get(1)?)))
        .unwrap();
    let entry = Entry {
        seq: seq + 1,
        written_at_ms: 0,
        person_id: None,
        device_id: None,
        act: "texts.destroyed",
        subject_id: id,
        payload: "{}",
    };
    let insert = "INSERT INTO journal (seq, written_at, act, subject_id, payload, previous_hash, hash)
                  VALUES (?1, 0, 'texts.destroyed', ?2, '{}', ?3, ?4)";
    assert_eq!(book.execute(insert, params![seq + 1, id, hash, entry.hash(&hash)]).unwrap(), 1);
    let destroy = "UPDATE personal_texts SET body = NULL, salt = NULL, destroyed_by = ?1 WHERE record_id = ?2";
    assert_eq!(book.execute(destroy, params![seq + 1, id]).unwrap(), 1);
}

/// Puts back the triggers that are missing, as whoever wants to hide does: `verify` tells of each that is not there.
pub fn guarded_again(book: &Connection) {
    let of = |book: &Connection| -> Vec<(String, String, String)> {
        let mut told =
            book.prepare("SELECT name, tbl_name, sql FROM sqlite_schema WHERE type IN ('trigger', 'table')").unwrap();
        let read = |row: &rusqlite::Row<'_>| Ok((row.get(0)?, row.get(1)?, row.get(2)?));
        told.query_map([], read).unwrap().map(Result::unwrap).collect()
    };
    let there = of(book);
    let is_there = |name: &String| there.iter().any(|(known, ..)| known == name);
    for (name, table, sql) in of(&crate::plans::migrated()) {
        // A book of an earlier version does not have every table.
        if is_there(&table) && !is_there(&name) {
            book.execute_batch(&sql).unwrap();
        }
    }
}
