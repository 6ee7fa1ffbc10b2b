//! The check of a book finds what was changed behind the server's back.

mod everything;
mod learned;
mod nightly;
mod tampered;

use server::book::verify::check_file;

use self::everything::closed_book;
use crate::{packed, rewritten::guarded_again};

/// What is told of a book to which something was done without the server.
async fn faults_after(tamper: &[&str]) -> Vec<String> {
    let folder = closed_book().await;
    let file = folder.path().join("book.db");
    let connection = packed::open(&file);
    let triggers: Vec<String> = {
        let mut found = connection.prepare("SELECT name FROM sqlite_schema WHERE type = 'trigger'").unwrap();
        found.query_map([], |row| row.get(0)).unwrap().map(Result::unwrap).collect()
    };
    // The triggers refuse it; somebody who can write the file can also drop them, and put them back.
    for name in &triggers {
        connection.execute_batch(&format!("DROP TRIGGER {name}")).unwrap();
    }
    for sql in tamper {
        connection.execute_batch(sql).unwrap();
    }
    guarded_again(&connection);
    drop(connection);
    check_file(&file).await.unwrap().faults
}

/// Somebody who can write the file can take away what keeps records as they are, or plant what changes them.
#[tokio::test]
async fn every_change_of_the_tables_themselves_shows() {
    let folder = closed_book().await;
    let (whole, file) = (folder.path().join("book.db"), folder.path().join("changed.db"));
    for (what, sql, expected) in [
        ("a trigger", "DROP TRIGGER applications_keep", "the trigger applications_keep is missing"),
        (
            "another of its name",
            "DROP TRIGGER journal_stay; CREATE TRIGGER journal_stay BEFORE DELETE ON journal BEGIN SELECT 1; END",
            "the trigger journal_stay is another one",
        ),
        (
            "one that writes",
            "CREATE TRIGGER more AFTER INSERT ON stock_movements BEGIN UPDATE stock_totals SET mass = mass + 1; END",
            "the trigger more was planted",
        ),
        ("an index", "DROP INDEX journal_by_subject", "the index journal_by_subject is missing"),
        ("one more index", "CREATE UNIQUE INDEX once ON clients (name)", "the index once was planted"),
        ("a table", "CREATE TABLE more (id INTEGER)", "the table more was planted"),
        ("a column", "ALTER TABLE tokens ADD COLUMN more TEXT", "the table tokens is another one"),
        ("a constraint", "PRAGMA writable_schema = ON; UPDATE sqlite_schema SET sql = replace(sql, 'CHECK (id = 1)', 'CHECK (id > 0)')
             WHERE name = 'company'; PRAGMA writable_schema = RESET", "the table company is another one"),
        (
            "a view",
            "DROP VIEW sight; CREATE VIEW sight AS SELECT a.person_id AS viewer, a.property_id FROM assignments AS a",
            "the view sight is another one",
        ),
    ] {
        std::fs::copy(&whole, &file).unwrap();
        packed::open(&file).execute_batch(sql).unwrap();
        let faults = check_file(&file).await.unwrap().faults;
        assert!(faults.len() == 1 && faults[0].contains(expected), "{what}: {faults:#?}");
    }
}

#[tokio::test]
async fn an_untouched_book_has_no_faults() {
    assert_eq!(faults_after(&[]).await, Vec::<String>::new());
}

#[tokio::test]
async fn changes_of_what_stood_when_show() {
    let changes = [
        ("a member of an entry", "UPDATE dated_entries SET facts = json_remove(facts, '$.phone') WHERE client_id IS NOT NULL", "what stood when"),
        ("a second beginning", "PRAGMA ignore_check_constraints = 1; INSERT INTO dated_entries (id, section_id, since, facts, entered_at)
             SELECT '01a0a55e-0f00-7e3f-8091-7fa128da7a64', id, '0001-01-01', '{\"clippings\": \"taken\"}', 0 FROM sections LIMIT 1", "what stood when"),
        (
            "an entry",
            "UPDATE dated_entries SET facts = json_set(facts, '$.species', 'zoysia') WHERE section_id IS NOT NULL",
            "what stood when",
        ),
        (
            "the day of an entry",
            "UPDATE dated_entries SET since = '2025-01-01' WHERE since <> '0001-01-01'",
            "differs in since",
        ),
        ("a lost entry", "DELETE FROM dated_entries WHERE since <> '0001-01-01' AND section_id IS NULL", "dated_entries: "),
    ];
    each_shows(&changes).await;
}

#[tokio::test]
async fn what_is_packed_cannot_change_unseen() {
    let changes = [
        (
            "the content of a record",
            "UPDATE applications AS a SET packed = repacked(a.packed, (SELECT p.body FROM text_patterns AS p WHERE p.seq = a.pattern), '\"20\"', '\"19\"')",
            "the content of",
        ),
        (
            "what statements ask of it",
            "UPDATE applications SET content = json_set(content, '$.started_at', '2026-09-15T00:00:00.000Z')",
            "what is asked of the content of",
        ),
        ("a content that is no frame", "UPDATE applications SET packed = x'00'", "the content of"),
        ("one pattern for another", "UPDATE applications SET pattern = pattern - 1", "the content of"),
        (
            "a decision",
            "UPDATE journal AS j SET packed = repacked(j.packed, (SELECT p.body FROM text_patterns AS p WHERE p.seq = j.pattern), 'front lawn', 'back lawn') WHERE j.packed IS NOT NULL",
            "the decision of",
        ),
        (
            "a decision put beside the one that was made",
            "INSERT INTO decisions SELECT 'application/' || id, 0, '{}' FROM applications LIMIT 1",
            "what stands beside the packed texts of",
        ),
        ("a pattern", "UPDATE text_patterns SET body = body || 'x'", "does not follow from the one before"),
        (
            "a lost pattern",
            "PRAGMA foreign_keys = OFF; DELETE FROM text_patterns WHERE seq = 1",
            "does not follow from the one before",
        ),
        (
            "a packed text",
            "UPDATE journal SET packed = zeroblob(length(packed)) WHERE packed IS NOT NULL",
            "does not follow from the one before",
        ),
    ];
    each_shows(&changes).await;
}

#[tokio::test]
async fn every_kind_of_change_shows() {
    let changes = [
        (
            "an amount in the ledger",
            "UPDATE application_lines SET nitrogen = nitrogen - 1 WHERE product > 0",
            "the ledger of",
        ),
        ("a removed line", "DELETE FROM application_lines WHERE seq = 1", "do not follow from its records"),
        ("a removed entry", "DELETE FROM journal WHERE seq = 5", "journal entry 5 is missing"),
        (
            "a changed entry",
            "UPDATE journal SET payload = replace(payload, 'Client 001', 'Client 002')",
            "does not follow from the one before",
        ),
        ("a label", "UPDATE products SET label = replace(label, '\"24\"', '\"12\"')", "the label of"),
        ("an area", "UPDATE measurements SET area = area + 1", "the area of"),
        ("stock", "UPDATE stock_movements SET mass = mass + 1 WHERE kind = 'applied'", "the stock movement of"),
        ("a stock total", "UPDATE stock_totals SET mass = mass + 1", "the stock of"),
        ("a lot's total", "UPDATE lot_totals SET mass = mass + 1", "the stock of lot"),
        ("a removed correction", "DELETE FROM corrections", "the content of"),
        ("a mark", "UPDATE applications SET beyond_the_rules = 1", "the row of"),
        ("a mark of a correction", "UPDATE corrections SET beyond_the_rules = 1", "the row of"),
        ("who did it", "UPDATE applications SET person_name = 'Somebody Else'", "the row of"),
        ("when it came in", "UPDATE applications SET received_at = received_at - 1", "the row of"),
        ("the day", "UPDATE applications SET applied_on = '2026-09-14'", "the row of"),
        (
            "whose clearance",
            "UPDATE clearances SET person_id = (SELECT id FROM people WHERE role = 'owner')",
            "the row of",
        ),
        ("an attempt", "DELETE FROM attempts", "the content of"),
        ("a clearance that was used", "DELETE FROM clearance_ends WHERE how = 'used'", "the clearance that was used"),
        ("a clearance given back", "DELETE FROM clearance_ends WHERE how = 'given_back'", "the end of"),
        ("a review", "DELETE FROM reviews", "record"),
        ("a review's words", "UPDATE reviews SET note = 'Fine.'", "differs in note"),
        (
            "an invented review",
            "INSERT INTO reviews SELECT id, entered_by, 'Fine.', 0 FROM applications LIMIT 1",
            "reviews: 2 rows",
        ),
        ("whose it was", "UPDATE ownerships SET since = '2025-01-01' WHERE seq = 2", "whose property"),
        ("a change of hands", "DELETE FROM ownerships WHERE seq = 2", "whose property"),
        ("rule sets", "UPDATE properties SET rule_sets = '[]'", "differs in rule_sets"),
        ("a soil report", "UPDATE soil_reports SET phosphorus = 'low'", "differs in phosphorus"),
        ("a visit", "UPDATE visits SET status = 'done'", "differs in status"),
        ("a name", "UPDATE people SET name = 'Somebody Else' WHERE role = 'technician'", "differs in name"),
        ("a lawn", "UPDATE sections SET water = 'unknown', water_distance = NULL", "differs in water"),
        ("how pages write", "UPDATE settings SET date_order = 'month_day_year'", "settings: 1 rows"),
        ("a delivery", "UPDATE lots SET supplier = 'Another'", "differs in supplier"),
        (
            "an invented delivery",
            "INSERT INTO stock_movements (id, product_id, kind, mass, moved_on, person_id, recorded_at)
             SELECT 'x', id, 'received', 1, '2026-01-01', (SELECT id FROM people LIMIT 1), 0 FROM products",
            "stock_movements: ",
        ),
    ];
    each_shows(&changes).await;
}

#[tokio::test]
async fn what_was_fixed_with_a_record_cannot_change_unseen() {
    each_shows(&[
        (
            "what was fixed",
            "UPDATE journal AS j SET packed = repacked(j.packed, (SELECT p.body FROM text_patterns AS p WHERE p.seq = j.pattern), '\"21000\"', '\"21001\"') WHERE j.packed IS NOT NULL",
            "what was fixed of",
        ),
        (
            "other particulars beside those",
            "UPDATE applications SET particulars = '{}'",
            "what stands beside the packed texts of",
        ),
        ("a lost clock", "UPDATE applications SET time_zone = NULL", "what was fixed of"),
        ("its clock", "UPDATE applications SET time_zone = 'America/Chicago'", "what was fixed of"),
        ("whether it was complete", "UPDATE applications SET incomplete = 0", "the row of"),
        (
            "a name",
            "UPDATE personal_texts SET body = json_set(body, '$.client', 'Client 009')",
            "a text about people of",
        ),
        (
            "the reason of a correction",
            "UPDATE personal_texts SET body = json_set(body, '$.reason', 'None.') WHERE record_id IN (SELECT id FROM corrections)",
            "a text about people of",
        ),
        (
            "the notes of a refused record",
            "UPDATE personal_texts SET body = json_set(body, '$.notes', 'None.') WHERE record_id IN (SELECT id FROM attempts)",
            "a text about people of",
        ),
        ("a salt", "UPDATE personal_texts SET salt = '00'", "a text about people of"),
        ("lost texts", "DELETE FROM personal_texts", "a text about people of"),
        (
            "texts that are said to be destroyed, which the journal does not tell",
            "UPDATE personal_texts SET body = NULL, salt = NULL, destroyed_by = 1",
            "a text about people of",
        ),
        ("what was added", "UPDATE record_additions SET seen = replace(seen, 'clear', 'rain')", "differs in seen"),
        ("a lost addition", "DELETE FROM record_additions", "record_additions: 0 rows"),
    ])
    .await;
}

#[tokio::test]
async fn what_follows_from_entries_cannot_change_unseen() {
    each_shows(&[
        ("room that is held", "UPDATE clearance_lines SET nitrogen = nitrogen - 1", "the room that"),
        ("its area", "UPDATE clearance_lines SET area = area + 1", "the room that"),
        ("its product", "UPDATE clearance_lines SET product = product - 1", "the room that"),
        ("until when", "UPDATE clearance_lines SET expires_at = expires_at - 1", "the room that"),
        ("for which day", "UPDATE clearance_lines SET planned_on = '2026-09-14'", "the room that"),
        ("for what", "UPDATE clearance_lines SET purpose = 'repair'", "the room that"),
        ("of what kind", "UPDATE clearance_lines SET flags = flags + 1", "the room that"),
        ("room that is gone", "DELETE FROM clearance_lines", "the room that"),
        ("the day of a movement", "UPDATE stock_movements SET moved_on = '2026-09-13' WHERE kind = 'applied'", "a movement of stock"),
        ("the day of a correction's", "UPDATE stock_movements SET moved_on = '2026-09-13' WHERE kind = 'corrected'", "a movement of stock"),
        ("the day of a delivery", "UPDATE stock_movements SET moved_on = '2026-01-01' WHERE kind = 'received'", "a movement of stock"),
        ("who moved it", "UPDATE stock_movements SET person_id = (SELECT id FROM people WHERE role = 'owner')", "a movement of stock"),
        ("why it moved", "UPDATE stock_movements SET reason = 'None.'", "a movement of stock"),
        ("the text of a rule set", "UPDATE rule_set_texts SET text = text || ' '", "differs from its hash"),
        (
            "another text under its own hash",
            "UPDATE rule_set_texts SET text = '', hash = 'e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855' WHERE rowid = 1",
            "is gone, under which decisions were made",
        ),
        ("who was sent there", "DELETE FROM assignments", "and that is gone"),
        (
            "somebody whom nobody sent",
            "INSERT INTO assignments SELECT (SELECT id FROM people WHERE role = 'office'), property_id, since FROM assignments LIMIT 1",
            "is not what the journal tells of visits",
        ),
    ])
    .await;
}

#[tokio::test]
async fn every_change_of_machines_and_files_shows() {
    let changes = [
        ("a certificate", "UPDATE credentials SET valid_until = '2030-12-31'", "differs in valid_until"),
        ("a removed certificate", "DELETE FROM credentials", "credentials: 0 rows"),
        ("a machine", "UPDATE equipment SET has_deflector = 0", "differs in has_deflector"),
        ("a calibration", "UPDATE calibrations SET test = replace(test, '\"5.2\"', '\"5.1\"')", "differs in test"),
        (
            "what followed from it",
            "UPDATE calibrations SET result = replace(result, 'true', 'false')",
            "differs in result",
        ),
        ("a removed calibration", "DELETE FROM calibrations", "calibrations: 0 rows"),
        (
            "the machine of a record",
            "UPDATE applications SET content = replace(content, 'equipment_id', 'equipment_no')",
            "the content of",
        ),
        ("a label's file", "UPDATE file_bodies SET bytes = x'255044462d00'", "differs from its hash"),
        ("whose file", "UPDATE product_files SET kind = 'safety_data_sheet'", "differs in kind"),
        ("a removed file", "DELETE FROM product_files", "product_files: 0 rows"),
        ("an invented file", "INSERT INTO file_bodies VALUES ('ab', 'image/png', x'00')", "no product has the file"),
    ];
    each_shows(&changes).await;
}

#[tokio::test]
async fn every_change_of_the_season_shows() {
    each_shows(&[
        ("a round of a visit", "UPDATE visits SET round = 'early autumn' WHERE round IS NOT NULL", "differs in round"),
        (
            "a visit that was none of a round",
            "UPDATE visits SET round = 'late autumn', programme_id = (SELECT id FROM programmes)",
            "differs in programme_id, round",
        ),
        ("a programme", "UPDATE programmes SET content = replace(content, '\"2.5\"', '\"9.5\"')", "differs in needs"),
        (
            "an invented programme",
            "INSERT INTO programmes (id, content, version, created_at) SELECT 'x', content, 1, 0 FROM programmes",
            "programmes: 2 rows",
        ),
        ("a removed programme", "PRAGMA foreign_keys = OFF; DELETE FROM programmes", "is gone"),
        ("how a lawn is kept", "UPDATE sections SET clippings = 'left'", "differs in clippings"),
    ])
    .await;
}

/// Each change (what it is, how it is done, what the check says) shows.
async fn each_shows(changes: &[(&str, &str, &str)]) {
    for (what, sql, expected) in changes {
        let faults = faults_after(&[sql]).await;
        assert!(faults.iter().any(|fault| fault.contains(expected)), "{what}: {faults:#?}");
    }
}

#[tokio::test]
async fn what_was_measured_and_dug_shows() {
    let changes = [
        (
            "what an area was worked out from",
            "UPDATE measurements SET parts = replace(parts, '\"12\"', '\"13\"')",
            "differs in from",
        ),
        ("a distance", "UPDATE measurements SET parts = replace(parts, '\"3\"', '\"2\"')", "differs in from"),
        ("an error", "UPDATE measurements SET error = error - 1", "differs in error"),
        ("the lawn before distances", "UPDATE measurements SET lawn = lawn + 1", "differs in lawn_sqft"),
        ("who measured", "UPDATE measurements SET measured_by = 'Somebody'", "differs in measured_by"),
        (
            "a soil number",
            "UPDATE soil_reports SET readings = replace(readings, '\"30\"', '\"90\"')",
            "differs in values",
        ),
        ("an acidity", "UPDATE soil_reports SET acidity = acidity + 1", "differs in acidity"),
        ("lime", "UPDATE soil_reports SET lime_recommended = 0", "differs in lime_recommended_lb_per_1000_sqft"),
        ("a depth", "UPDATE soil_reports SET depth = 400", "differs in depth_in"),
    ];
    each_shows(&changes).await;
}
