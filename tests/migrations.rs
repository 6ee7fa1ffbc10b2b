//! The tables: made from nothing, made once, typed, guarded against edits, and refused to an older server.

use std::{collections::BTreeSet, path::Path, sync::Arc};

use domain::law::Lawbook;
use harness::{
    User, new_id,
    world::{Company, course, rotary_spreader, technician},
};
use rusqlite::{Connection, OpenFlags};
use serde_json::json;
use server::store::Store;

/// Tables whose rows are only ever inserted. A new one of that kind gets its two triggers and a line here.
const INSERT_ONLY: [&str; 41] = [
    "application_lines",
    "applications",
    "assignments",
    "attempts",
    "calibrations",
    "clearance_ends",
    "clearance_lines",
    "clearances",
    "corrections",
    "dated_entries",
    "decisions",
    "divisions",
    "doubted_records",
    "file_bodies",
    "journal",
    "limit_moves",
    "lots",
    "measurement_confirmations",
    "measurements",
    "pass_clients",
    "pass_ends",
    "passes",
    "personal_texts",
    "product_files",
    "record_additions",
    "reviews",
    "rule_set_texts",
    "rule_set_uses",
    "rule_set_versions",
    "security_events",
    "sighting_confirmations",
    "sightings",
    "signing_key",
    "soil_reports",
    "stock_movements",
    "text_patterns",
    "weather_after",
    "weather_bodies",
    "weather_evidence",
    "weather_facts",
    "weather_fetches",
];

/// Columns that end in `_id` and name no row of another table.
const FREE_IDS: [(&str, &str); 12] = [
    ("application_lines", "record_id: an application or a correction"),
    ("attempts", "subject_id: what the phone would have called the record, which was refused"),
    ("clearance_ends", "application_id: written before the application, in one transaction"),
    ("doubted_records", "cause_id: a measurement, a soil report or an entry"),
    ("idempotency_keys", "person_id: purged by age, and no record"),
    ("journal", "device_id: the journal must outlive whatever it names"),
    ("journal", "person_id: the journal must outlive whatever it names"),
    ("journal", "subject_id: the journal must outlive whatever it names"),
    ("limit_moves", "subject_id: a measurement, a dated entry or a soil report"),
    ("personal_texts", "record_id: an application, an addition to one, a correction or an attempt"),
    (
        "reviews",
        "record_id: an application, an addition to one, a correction, an attempt, a doubt or a change of a limit",
    ),
    ("stock_movements", "record_id: an application or a correction"),
];

async fn open_and_close(file: &Path) -> Result<(), String> {
    let law = Arc::new(Lawbook::embedded().map_err(|faults| format!("{faults:?}"))?);
    let (store, writer) = Store::open(file, law).await.map_err(|error| error.to_string())?;
    drop(store);
    writer.finish().await.map_err(|error| error.to_string())
}

fn texts(connection: &Connection, sql: &str) -> Vec<String> {
    let mut statement = connection.prepare(sql).unwrap();
    let rows = statement.query_map([], |row| row.get(0)).unwrap();
    rows.map(Result::unwrap).collect()
}

fn tables(connection: &Connection) -> Vec<String> {
    let own = "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE '\\_sqlx%' ESCAPE '\\'
               AND name NOT LIKE 'sqlite%' ORDER BY name";
    texts(connection, own)
}

#[tokio::test]
async fn a_new_file_gets_its_tables_and_a_second_start_changes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("book.db");
    open_and_close(&file).await.unwrap();
    let look = || {
        let connection = Connection::open_with_flags(&file, OpenFlags::SQLITE_OPEN_READ_ONLY).unwrap();
        let schema = texts(&connection, "SELECT coalesce(sql, name) FROM sqlite_schema ORDER BY name");
        let applied = texts(
            &connection,
            "SELECT version || ' ' || hex(checksum) || ' ' || installed_on FROM _sqlx_migrations ORDER BY version",
        );
        (schema, applied)
    };
    let first = look();
    assert!(first.0.len() > 60, "{:?}", first.0);
    let files = std::fs::read_dir(harness::approved::top().join("migrations")).unwrap().count();
    assert_eq!(first.1.len(), files, "each file of migrations/ is applied once");
    open_and_close(&file).await.unwrap();
    assert_eq!(look(), first);
}

/// A request that is sent again is known by the name of its operation. Five were renamed, and what they had answered must be found.
#[test]
fn an_answer_kept_under_an_older_name_of_its_operation_is_found() {
    let book = Connection::open_in_memory().unwrap();
    let folder = harness::approved::top().join("migrations");
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|file| file.unwrap().path()).collect();
    files.sort();
    let renaming = files.iter().position(|file| file.ends_with("0015_record_rows.sql")).unwrap();
    let run = |file: &std::path::PathBuf| book.execute_batch(&std::fs::read_to_string(file).unwrap()).unwrap();
    files[..renaming].iter().for_each(run);
    for route in [
        "create_calibration",
        "create_client",
        "create_measurement",
        "create_soil_report",
        "create_stock_movement",
        "plan_round_visits",
    ] {
        let kept = "INSERT INTO idempotency_keys VALUES ('p', ?1, 'key', 'fingerprint', 201, '{}', 0)";
        assert_eq!(book.execute(kept, [route]).unwrap(), 1);
    }
    files[renaming..].iter().for_each(run);
    let routes = texts(&book, "SELECT route FROM idempotency_keys ORDER BY route");
    assert_eq!(
        routes,
        [
            "create_client",
            "create_round_visits",
            "record_calibration",
            "record_measurement",
            "record_soil_report",
            "record_stock_movement"
        ]
    );
    let document = harness::contract::document();
    let known = |id: &String| {
        document["paths"]
            .as_object()
            .unwrap()
            .values()
            .flat_map(|item| item.as_object().unwrap().values())
            .any(|operation| operation["operationId"] == **id)
    };
    assert!(routes.iter().all(known), "{routes:?}");
}

#[tokio::test]
async fn a_file_of_a_newer_version_is_refused_in_words() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("book.db");
    open_and_close(&file).await.unwrap();
    let newer = "INSERT INTO _sqlx_migrations (version, description, success, checksum, execution_time)
                 VALUES (9999, 'from the future', 1, x'00', 0)";
    assert_eq!(Connection::open(&file).unwrap().execute(newer, []).unwrap(), 1);
    let refused = open_and_close(&file).await.unwrap_err();
    assert!(refused.contains("newer version") && refused.contains("9999"), "{refused}");
}

#[tokio::test]
async fn a_file_whose_tables_were_made_otherwise_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("book.db");
    open_and_close(&file).await.unwrap();
    let other = "UPDATE _sqlx_migrations SET checksum = x'00' WHERE version = 1";
    assert_eq!(Connection::open(&file).unwrap().execute(other, []).unwrap(), 1);
    let refused = open_and_close(&file).await.unwrap_err();
    assert!(refused.contains("does not fit this version"), "{refused}");
}

#[tokio::test]
async fn what_is_no_database_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("book.db");
    std::fs::write(
        &file,
        "a list of lawns, written by hand, longer than the head of a database file would be.".repeat(9),
    )
    .unwrap();
    let refused = open_and_close(&file).await.unwrap_err();
    assert!(refused.contains("it is no SQLite file"), "{refused}");
}

/// A book that has at least one row in every insert-only table.
async fn full_book() -> (tempfile::TempDir, Connection) {
    let company = Company::in_maryland().await;
    let phone: &User = &company.phone;
    let clearance = new_id();
    let plan = company.plan(&company.front, "20");
    let _ = phone.put(&format!("/api/v1/clearances/{clearance}"), &plan).await.expect(201);
    let id = new_id();
    let mut record = company.record(&company.front, "20");
    record["clearance_id"] = json!(clearance);
    let _ = phone.put(&format!("/api/v1/applications/{id}"), &record).await.expect(201);
    let smaller =
        json!({ "area_sqft": "8000", "measured_on": "2026-01-02", "method": "wheel", "measured_by": "Office 01" });
    let measurements = format!("/api/v1/sections/{}/measurements", company.front);
    let _ = company.office.post(&measurements, &smaller).await.expect(201);
    let change = json!({ "application_id": id, "reason": "It was the neighbour's." });
    let _ = phone.put(&format!("/api/v1/corrections/{}", new_id()), &change).await.expect(201);
    let added = json!({ "seen": { "sky": "clear" } });
    let _ = phone.post(&format!("/api/v1/applications/{id}/additions"), &added).await.expect(201);
    let refused = new_id();
    let path = format!("/api/v1/applications/{refused}");
    let _ = phone.put(&path, &company.record(&company.front, "260")).await.problem(422, "stopped-by-rules");
    let reviews = company.owner.get("/api/v1/reviews").await.expect(200).body;
    let entry = reviews["items"][0]["record_id"].as_str().unwrap().to_owned();
    let note = json!({ "note": "It was never put down." });
    let _ = company.owner.put(&format!("/api/v1/reviews/{entry}"), &note).await.expect(200);
    let _ = technician(&company.app, &company.office, &company.owner, "Tech 02").await;
    let pass = json!({ "name": "Inspector", "client_ids": [company.client], "days": 3 });
    let pass = company.owner.post("/api/v1/passes", &pass).await.expect(201).body;
    let pass = format!("/api/v1/passes/{}", pass["pass"]["id"].as_str().unwrap());
    let _ = company.owner.delete(&pass).await.expect(200);
    let larger =
        json!({ "area_sqft": "9000", "measured_on": "2026-09-14", "method": "wheel", "measured_by": "Tech 01" });
    let larger =
        phone.post(&format!("/api/v1/sections/{}/measurements", company.front), &larger).await.expect(201).id();
    let holds = format!("/api/v1/measurements/{larger}/confirmation");
    let _ = company.office.put(&holds, &json!({ "holds": true })).await.expect(200);
    let larger =
        json!({ "area_sqft": "9100", "measured_on": "2026-09-14", "method": "plan", "measured_by": "Office 01" });
    let _ = company.office.post(&format!("/api/v1/sections/{}/measurements", company.front), &larger).await.expect(201);
    let seen = json!({ "seen_on": "2026-09-14", "species": "tall_fescue", "water": "near", "water_distance_ft": "90", "note": "A pond." });
    let sightings = format!("/api/v1/sections/{}/sightings", company.front);
    let _ = phone.post(&sightings, &seen).await.expect(201);
    let gone = json!({ "seen_on": "2026-09-15", "water": "none", "note": "It is dry." });
    let gone = phone.post(&sightings, &gone).await.expect(201).id();
    let _ = company
        .office
        .put(&format!("/api/v1/sightings/{gone}/confirmation"), &json!({ "holds": true }))
        .await
        .expect(200);
    let half = json!({ "since": "2026-03-01", "parts": [{ "name": "front half", "area_sqft": "4100" }] });
    let _ = company.office.post(&format!("/api/v1/sections/{}/divisions", company.front), &half).await.expect(201);
    let spreader = rotary_spreader(&company.office).await;
    let _ =
        company.phone.post("/api/v1/calibrations", &course(&spreader, &company.feed, "2026-09-14")).await.expect(201);
    let files = format!("/api/v1/products/{}/files?kind=label", company.feed);
    let _ = company.office.post_file(&files, "application/pdf", b"%PDF-1.7\n%%EOF\n").await.expect(201);
    let folder = company.app.stop().await;
    let connection = Connection::open(folder.path().join("book.db")).unwrap();
    weather_of(&connection, &id);
    (folder, connection)
}

/// A weather service's answer behind the record, and rain after it.
fn weather_of(connection: &Connection, application: &str) {
    let body = "INSERT INTO weather_bodies (sha256, content_type, bytes) VALUES ('aa', 'application/geo+json', x'00')";
    let fetch =
        "INSERT INTO weather_fetches (seq, provider, path, asked_at, outcome, http_status, attempts, body_sha256)
                 VALUES (1, 'us_national_weather_service', '/gridpoints/MLB/26,68', 0, 'ok', 200, 1, 'aa')";
    for row in [body, fetch] {
        assert_eq!(connection.execute(row, []).unwrap(), 1);
    }
    let subject = format!("application/{application}");
    let facts = "INSERT INTO weather_facts (subject, decided_at, facts) VALUES ($1, 0, '{}')";
    let evidence = "INSERT INTO weather_evidence (subject, fetch) VALUES ($1, 1)";
    for row in [facts, evidence] {
        assert_eq!(connection.execute(row, [&subject]).unwrap(), 1);
    }
    let old = "INSERT INTO decisions (subject, decided_at, body) VALUES ('application/of an earlier version', 0, '{}')";
    assert_eq!(connection.execute(old, []).unwrap(), 1);
    let after = "INSERT INTO weather_after VALUES ($1, 'open_meteo', 'modelled', NULL, 335, 315, 7200, 1, 1, 0)";
    assert_eq!(connection.execute(after, [application]).unwrap(), 1);
}

/// What no record needs may go: a fetch that nothing refers to, and then its body.
#[tokio::test]
async fn weather_that_nothing_refers_to_can_be_purged_and_an_answer_has_a_body() {
    let (_folder, connection) = full_book().await;
    let more = "INSERT INTO weather_bodies (sha256, content_type, bytes) VALUES ('bb', 'application/geo+json', x'01');
                INSERT INTO weather_fetches (seq, provider, path, asked_at, outcome, attempts, body_sha256)
                VALUES (2, 'open_meteo', '/v1/forecast', 0, 'ok', 1, 'bb')";
    connection.execute_batch(more).unwrap();
    let delete = |sql: &str| connection.execute(sql, []);
    let body = delete("DELETE FROM weather_bodies WHERE sha256 = 'bb'").unwrap_err().to_string();
    assert!(body.contains("never deleted"), "{body}");
    assert_eq!(delete("DELETE FROM weather_fetches WHERE seq = 2").unwrap(), 1);
    assert_eq!(delete("DELETE FROM weather_bodies WHERE sha256 = 'bb'").unwrap(), 1);
    let empty = delete(
        "INSERT INTO weather_fetches (provider, path, asked_at, outcome, attempts) VALUES ('open_meteo', '/', 0, 'ok', 1)",
    );
    assert!(empty.unwrap_err().to_string().contains("weather_fetches_whole"));
}

#[tokio::test]
async fn what_is_only_inserted_can_be_neither_edited_nor_deleted() {
    let (_folder, connection) = full_book().await;
    connection.pragma_update(None, "foreign_keys", false).unwrap();
    let guarded: BTreeSet<String> = texts(
        &connection,
        "SELECT DISTINCT tbl_name FROM sqlite_schema WHERE type = 'trigger' AND sql LIKE '%BEFORE UPDATE ON%' ORDER BY 1",
    )
    .into_iter()
    .collect();
    let named: BTreeSet<String> = INSERT_ONLY.iter().map(|table| (*table).to_owned()).collect();
    assert_eq!(
        guarded, named,
        "If you are here because an insert-only table is new or lost a trigger: it needs `_keep` (BEFORE UPDATE) and \
         `_stay` (BEFORE DELETE) in its migration, and a line in this file."
    );
    for table in &named {
        let rows: i64 = connection.query_row(&format!("SELECT count(*) FROM {table}"), [], |row| row.get(0)).unwrap();
        assert!(rows > 0, "{table} has no row, so its triggers were not asked: let `full_book` write one");
        for column in texts(&connection, &format!("SELECT name FROM pragma_table_info('{table}')")) {
            let edit = connection.execute(&format!("UPDATE {table} SET {column} = {column}"), []);
            let refused = edit.expect_err(&format!("{table}.{column} can be edited")).to_string();
            assert!(refused.contains("never edited"), "{table}: {refused}");
        }
        let delete = connection.execute(&format!("DELETE FROM {table}"), []);
        let refused = delete.expect_err(&format!("rows of {table} can be deleted")).to_string();
        assert!(refused.contains("never deleted"), "{table}: {refused}");
    }
    let kind = connection.execute("UPDATE equipment SET kind = 'spray_gun'", []).unwrap_err().to_string();
    assert!(kind.contains("the kind of a machine is never edited"), "{kind}");
    let delete = connection.execute("DELETE FROM equipment", []).unwrap_err().to_string();
    assert!(delete.contains("equipment is never deleted"), "{delete}");
    for column in ["id", "label", "net_weight"] {
        let refused = connection.execute(&format!("UPDATE products SET {column} = {column}"), []).unwrap_err();
        assert!(refused.to_string().contains("a label is never edited"), "{refused}");
    }
}

#[tokio::test]
async fn every_table_keeps_to_its_types() {
    let (_folder, connection) = full_book().await;
    let loose = texts(
        &connection,
        "SELECT name FROM pragma_table_list WHERE schema = 'main' AND type = 'table' AND strict = 0
         AND name NOT LIKE 'sqlite%' AND name NOT LIKE '\\_sqlx%' ESCAPE '\\'",
    );
    assert_eq!(loose, [""; 0], "If you are here because of these tables: end CREATE TABLE with STRICT.");
    let half = connection.execute("UPDATE people SET version = 1.5", []).unwrap_err().to_string();
    assert!(half.contains("cannot store REAL value in INTEGER column"), "{half}");
}

#[tokio::test]
async fn every_reference_is_declared_and_holds() {
    let (_folder, connection) = full_book().await;
    let mut undeclared = Vec::new();
    for table in tables(&connection) {
        let declared: BTreeSet<String> =
            texts(&connection, &format!("SELECT \"from\" FROM pragma_foreign_key_list('{table}')"))
                .into_iter()
                .collect();
        for column in texts(&connection, &format!("SELECT name FROM pragma_table_info('{table}')")) {
            let free = FREE_IDS.iter().any(|(t, why)| *t == table && why.split(':').next() == Some(column.as_str()));
            if column.ends_with("_id") && !declared.contains(&column) && !free {
                undeclared.push(format!("{table}.{column}"));
            }
        }
    }
    assert!(
        undeclared.is_empty(),
        "If you are here because of {undeclared:?}: declare what it REFERENCES, or say in FREE_IDS why it cannot be."
    );
    let broken = texts(&connection, "SELECT \"table\" FROM pragma_foreign_key_check");
    assert_eq!(broken, [""; 0], "rows whose reference leads nowhere");
    let sound = texts(&connection, "SELECT * FROM pragma_integrity_check");
    assert_eq!(sound, ["ok"]);
    connection.pragma_update(None, "foreign_keys", true).unwrap();
    let orphan = connection.execute("DELETE FROM clients", []).unwrap_err().to_string();
    assert!(orphan.contains("FOREIGN KEY"), "{orphan}");
}
