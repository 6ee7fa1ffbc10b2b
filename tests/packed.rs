//! Texts that the server packs, read and changed from outside, as SQL functions of a connection; and that packing loses nothing.

use harness::{new_id, world::Company};
use rusqlite::{Connection, functions::FunctionFlags, types::Value as SqlValue};
use serde_json::json;

use crate::rewritten::guarded_again;

/// The largest text that these tests meet.
const LONGEST: usize = 1 << 20;

fn unpacked(packed: &[u8], pattern: &str) -> String {
    let mut frames = zstd::bulk::Decompressor::with_dictionary(pattern.as_bytes()).unwrap();
    String::from_utf8(frames.decompress(packed, LONGEST).unwrap()).unwrap()
}

fn packed(text: &str, pattern: &str) -> Vec<u8> {
    let mut frames = zstd::bulk::Compressor::with_dictionary(3, pattern.as_bytes()).unwrap();
    frames.compress(text.as_bytes()).unwrap()
}

/// Lets SQL on this connection read what is packed, `unpacked(packed, pattern, line)`, and forge it,
/// `repacked(packed, pattern, old, new)`.
pub fn with_functions(book: &Connection) {
    let steady = FunctionFlags::SQLITE_UTF8 | FunctionFlags::SQLITE_DETERMINISTIC;
    let read = |context: &rusqlite::functions::Context<'_>| {
        let Some(frame) = context.get::<Option<Vec<u8>>>(0)? else { return Ok(SqlValue::Null) };
        let text = unpacked(&frame, &context.get::<String>(1)?);
        let line = text.split('\n').nth(usize::try_from(context.get::<i64>(2)?).unwrap()).unwrap_or_default();
        Ok(SqlValue::Text(line.to_owned()))
    };
    book.create_scalar_function("unpacked", 3, steady, read).unwrap();
    let forge = |context: &rusqlite::functions::Context<'_>| {
        let pattern = context.get::<String>(1)?;
        let text = unpacked(&context.get::<Vec<u8>>(0)?, &pattern);
        Ok(packed(&text.replace(&context.get::<String>(2)?, &context.get::<String>(3)?), &pattern))
    };
    book.create_scalar_function("repacked", 4, steady, forge).unwrap();
}

/// Opens a book for SQL that reads and forges what is packed.
pub fn open(file: &std::path::Path) -> Connection {
    let book = Connection::open(file).unwrap();
    with_functions(&book);
    book
}

/// The pattern of an entry `j` of the journal.
pub const PATTERN: &str = "(SELECT p.body FROM text_patterns AS p WHERE p.seq = j.pattern)";

/// Puts everything that is packed back to where it stood before there was packing.
pub fn unpack(book: &Connection) {
    with_functions(book);
    book.execute_batch(&format!(
        "DROP TRIGGER IF EXISTS journal_keep; DROP TRIGGER IF EXISTS applications_keep; DROP TRIGGER IF EXISTS weather_facts_keep;
         INSERT INTO decisions (subject, decided_at, body)
         SELECT CASE j.act WHEN 'application.recorded' THEN 'application/' WHEN 'application.corrected' THEN 'correction/'
                WHEN 'clearance.granted' THEN 'clearance/' ELSE 'attempt/' END || j.subject_id, j.written_at,
                unpacked(j.packed, {PATTERN}, 1) FROM journal AS j WHERE j.packed IS NOT NULL;
         UPDATE applications SET content = unpacked(packed, (SELECT p.body FROM text_patterns AS p WHERE p.seq = pattern), 0);
         UPDATE applications AS a SET time_zone = NULL, pattern = NULL, packed = NULL, particulars = (SELECT unpacked(j.packed, {PATTERN}, 2) FROM journal AS j
             WHERE j.subject_id = a.id AND j.act = 'application.recorded');
         UPDATE weather_facts AS w SET facts = (SELECT unpacked(j.packed, {PATTERN}, 3) FROM journal AS j
             WHERE j.packed IS NOT NULL AND j.subject_id = substr(w.subject, instr(w.subject, '/') + 1));
         UPDATE journal AS j SET payload = unpacked(j.packed, {PATTERN}, 0), pattern = NULL, packed = NULL
         WHERE j.packed IS NOT NULL;"
    ))
    .unwrap();
    guarded_again(book);
}

#[tokio::test]
async fn many_records_share_a_pattern_and_each_reads_as_it_was_written() {
    let company = Company::in_maryland().await;
    let mut ids = Vec::new();
    for at in 0..6 {
        ids.push(company.put_down(&company.front, &format!("1.{at}")).await);
    }
    let mut told = Vec::new();
    for id in &ids {
        told.push(company.owner.get(&format!("/api/v1/applications/{id}/decision")).await.expect(200).body);
    }
    let book = Connection::open(company.app.file()).unwrap();
    with_functions(&book);
    let patterns: i64 = book.query_row("SELECT count(*) FROM text_patterns", [], |row| row.get(0)).unwrap();
    assert_eq!(patterns, 2, "six records of one lawn are alike, and so is the content of each");
    let read = format!(
        "SELECT unpacked(j.packed, {PATTERN}, 1), length(j.packed), length({PATTERN}), j.payload FROM journal AS j
         WHERE j.act = 'application.recorded' ORDER BY j.seq"
    );
    let mut read = book.prepare(&read).unwrap();
    let rows = read.query_map([], |row| {
        Ok((row.get::<_, String>(0)?, row.get::<_, i64>(1)?, row.get::<_, i64>(2)?, row.get::<_, String>(3)?))
    });
    for ((decision, short, long, payload), told) in rows.unwrap().map(Result::unwrap).zip(&told) {
        assert_eq!(serde_json::from_str::<serde_json::Value>(&decision).unwrap(), *told);
        assert!(short * 10 < long, "{short} of {long} bytes");
        assert_eq!(payload, "", "it stands once");
    }
    // Whoever asks for the journal gets what was hashed.
    let entries = company.owner.get(&format!("/api/v1/journal?subject_id={}", ids[3])).await.expect(200).body;
    let payload = entries["items"][0]["payload"].as_str().unwrap();
    assert_eq!(serde_json::from_str::<serde_json::Value>(payload).unwrap()["row"]["id"], ids[3]);
    // A server that starts anew goes on with the pattern that is there.
    let company = company.restarted().await;
    let _ = company.put_down(&company.front, "1.7").await;
    let patterns: i64 = book.query_row("SELECT count(*) FROM text_patterns", [], |row| row.get(0)).unwrap();
    assert_eq!(patterns, 2);
}

/// What earlier versions wrote stands unpacked, and is read and checked as it was.
#[tokio::test]
async fn texts_that_were_written_before_packing_read_as_they_did() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "5").await;
    let change = json!({ "application_id": id, "reason": "Weighed again.", "change": { "lines": [{ "section_id": company.front, "product_lb": "4" }] } });
    let correction = new_id();
    let _ = company.phone.put(&format!("/api/v1/corrections/{correction}"), &change).await.expect(201);
    let attempt = new_id();
    let too_much = company.record(&company.front, "260");
    let _ = company.phone.put(&format!("/api/v1/applications/{attempt}"), &too_much).await.expect(422);
    let paths = [
        format!("/api/v1/applications/{id}/decision"),
        format!("/api/v1/applications/{id}/particulars"),
        format!("/api/v1/journal?subject_id={id}"),
        format!("/api/v1/journal?subject_id={correction}"),
    ];
    let told = async |company: &Company| {
        let mut told = Vec::new();
        for path in &paths {
            told.push(company.owner.get(path).await.expect(200).body);
        }
        told
    };
    let before = told(&company).await;
    let book = Connection::open(company.app.file()).unwrap();
    unpack(&book);
    drop(book);
    let company = company.restarted().await;
    assert_eq!(told(&company).await, before);
    let folder = company.app.stop().await;
    let found = server::book::verify::check_file(&folder.path().join("book.db")).await.unwrap();
    assert_eq!(found.faults, Vec::<String>::new());
}
