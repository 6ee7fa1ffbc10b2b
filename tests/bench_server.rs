//! How fast the whole server is, beside the same work in bare SQLite, in one run on one machine.
//!
//! `cargo bench -p swardbook-tests --bench server`. Absolute figures swing with whatever else the machine does, so the time
//! of an fsync is printed beside them; compare ratios of one run only. The callers run in the same process as the server
//! and take their share of the cores.
#![expect(
    clippy::unwrap_used,
    clippy::cast_precision_loss,
    reason = "a benchmark fails by panicking and prints floats"
)]

use std::{
    fs::File,
    io::Write,
    path::Path,
    sync::Arc,
    sync::atomic::{AtomicUsize, Ordering},
    time::{Duration, Instant},
};

use harness::{TestApp, client, new_id, world::Company};
use rusqlite::{Connection, params};
use serde_json::{Value, json};
use tokio::task::JoinSet;

/// Records that stand in the book before anything is measured.
const RECORDS: usize = 100_000;
/// Lawn sections they are spread over, two a property.
const SECTIONS: usize = 4_000;
/// Each measurement runs this long.
const SPAN: Duration = Duration::from_secs(4);

fn main() {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
    runtime.block_on(run());
}

async fn run() {
    let company = Company::in_maryland().await;
    let (phone, owner) = (company.phone.token.clone().unwrap(), company.owner.token.clone().unwrap());
    let seed = Seed {
        record: company.record(&company.front, "0.001"),
        client: company.client.clone(),
        property: company.property.clone(),
    };
    let folder = company.app.stop().await;
    let file = folder.path().join("book.db");
    fill(&file, &seed);
    println!("book: {RECORDS} records on {SECTIONS} sections, {} MB", file.metadata().unwrap().len() / 1_000_000);
    println!("fsync of 4 KiB: {:.2} ms (median of 200)\n", fsync_ms(folder.path()));

    let app = Arc::new(TestApp::reopen(folder).await);
    writes(&app, &seed, &phone).await;
    reads(&app, &seed, &owner).await;
    let folder = Arc::into_inner(app).unwrap().stop().await;
    bare(&folder.path().join("book.db"));
}

struct Seed {
    record: Value,
    client: String,
    property: String,
}

/// Writes sections and records straight into the file: a hundred thousand over HTTP would only take longer.
fn fill(file: &Path, seed: &Seed) {
    let mut connection = Connection::open(file).unwrap();
    let transaction = connection.transaction().unwrap();
    let (person, product): (String, String) = transaction
        .query_row("SELECT (SELECT id FROM people WHERE role = 'technician'), (SELECT id FROM products)", [], |row| {
            Ok((row.get(0)?, row.get(1)?))
        })
        .unwrap();
    for number in 0..SECTIONS {
        let (client, property, section) = (uuid_of(1, number / 8), uuid_of(2, number / 2), uuid_of(3, number));
        if number.is_multiple_of(8) {
            transaction.execute("INSERT INTO clients (id, name, mailing_address, version, created_at) VALUES (?1, ?2, 'Street A', 1, 0)", params![client, format!("Client {number}")]).unwrap();
        }
        if number.is_multiple_of(2) {
            transaction.execute("INSERT INTO properties (id, client_id, name, address, postal_code, time_zone, rule_sets, version, created_at) VALUES (?1, ?2, 'Home', 'Street A', '21000', 'America/New_York', '[\"us-md\"]', 1, 0)", params![property, client]).unwrap();
            transaction
                .execute(
                    "INSERT INTO ownerships (property_id, client_id, since) VALUES (?1, ?2, '0001-01-01')",
                    params![property, client],
                )
                .unwrap();
            transaction
                .execute(
                    "INSERT INTO assignments (person_id, property_id, since) VALUES (?1, ?2, 0)",
                    params![person, property],
                )
                .unwrap();
            transaction.execute("INSERT INTO visits (id, property_id, person_id, planned_on, product_id, purpose, status, version, created_at) VALUES (?1, ?2, ?3, '2026-09-15', ?4, 'maintenance', 'planned', 1, 0)", params![uuid_of(4, number), property, person, product]).unwrap();
        }
        transaction.execute("INSERT INTO sections (id, property_id, name, species, water, touches_pavement, version, created_at) VALUES (?1, ?2, 'lawn', 'tall_fescue', 'none', 0, 1, 0)", params![section, property]).unwrap();
        transaction.execute("INSERT INTO measurements (id, section_id, area, measured_on, method, measured_by, created_at) VALUES (?1, ?2, 800000, '2020-01-01', 'wheel', 'Office', 0)", params![uuid_of(5, number), section]).unwrap();
        transaction.execute("INSERT INTO soil_reports (id, section_id, sampled_on, laboratory, extractant, phosphorus, created_at) VALUES (?1, ?2, '2025-10-01', 'Laboratory', 'mehlich_3', 'optimum', 0)", params![uuid_of(6, number), section]).unwrap();
    }
    let content = seed.record.to_string();
    for number in 0..RECORDS {
        let (id, section) = (uuid_of(7, number), number % SECTIONS);
        let day = format!("20{:02}-0{}-1{}", 20 + number * 7 / RECORDS, 4 + number % 5, number % 10);
        transaction.execute("INSERT INTO applications (id, property_id, product_id, person_id, person_name, entered_by, applied_on, received_at, verdict, beyond_the_rules, content, fingerprint) VALUES (?1, ?2, ?3, ?4, 'Tech 01', ?4, ?5, 0, 'go', 0, ?6, ?1)", params![id, uuid_of(2, section / 2), product, person, day, content]).unwrap();
        transaction.execute("INSERT INTO application_lines (record_id, application_id, section_id, applied_on, area, product, nitrogen, quick_nitrogen, phosphate, potash, flags, purpose) VALUES (?1, ?1, ?2, ?3, 800000, 1000000, 2400000000, 1680000000, 0, 1000000000, 0, 'maintenance')", params![id, uuid_of(3, section), day]).unwrap();
    }
    transaction.execute_batch(harness::FIRST_ENTRIES).unwrap();
    transaction.commit().unwrap();
}

fn uuid_of(kind: u128, number: usize) -> String {
    uuid::Uuid::from_u128(0x0190_0000_0000_7000_8000_0000_0000_0000 | (kind << 40) | number as u128).to_string()
}

fn fsync_ms(folder: &Path) -> f64 {
    let mut file = File::create(folder.join("probe")).unwrap();
    let mut times: Vec<f64> = (0..200)
        .map(|_| {
            file.write_all(&[0; 4096]).unwrap();
            let start = Instant::now();
            file.sync_all().unwrap();
            start.elapsed().as_secs_f64() * 1000.0
        })
        .collect();
    times.sort_by(f64::total_cmp);
    times[100]
}

/// Requests a second and the 99th percentile in milliseconds, with so many callers at once.
async fn load(
    callers: usize,
    request: impl Fn(usize) -> reqwest::RequestBuilder + Send + Sync + 'static,
    status: u16,
) -> (f64, f64) {
    let (request, count) = (Arc::new(request), Arc::new(AtomicUsize::new(0)));
    let end = Instant::now() + SPAN;
    let mut tasks = JoinSet::new();
    for _ in 0..callers {
        let (request, count) = (Arc::clone(&request), Arc::clone(&count));
        tasks.spawn(async move {
            let mut times = Vec::new();
            while Instant::now() < end {
                let start = Instant::now();
                let reply = request(count.fetch_add(1, Ordering::Relaxed)).send().await.unwrap();
                assert_eq!(reply.status().as_u16(), status);
                reply.bytes().await.unwrap();
                times.push(start.elapsed().as_secs_f64() * 1000.0);
            }
            times
        });
    }
    let mut times: Vec<f64> = tasks.join_all().await.into_iter().flatten().collect();
    times.sort_by(f64::total_cmp);
    (times.len() as f64 / SPAN.as_secs_f64(), times[times.len() * 99 / 100])
}

/// A durable record: idempotency, facts, decision, ledger, stock, journal, fsync.
async fn writes(app: &Arc<TestApp>, seed: &Seed, token: &str) {
    println!("durable record through the whole server");
    for callers in [1, 8, 64] {
        let (http, base, token, record) = (client(), app.url(""), token.to_owned(), seed.record.clone());
        let request = move |number: usize| {
            let section = number % SECTIONS;
            let mut record = record.clone();
            record["property_id"] = json!(uuid_of(2, section / 2));
            record["lines"][0]["section_id"] = json!(uuid_of(3, section));
            record["visit_id"] = Value::Null;
            http.put(format!("{base}/api/v1/applications/{}", new_id()))
                .bearer_auth(&token)
                .header("content-type", "application/json")
                .body(record.to_string())
        };
        let (rate, p99) = load(callers, request, 201).await;
        println!("  {callers:>2} callers: {rate:>7.0} a second, 99th percentile {p99:>7.2} ms");
    }
}

async fn reads(app: &Arc<TestApp>, seed: &Seed, token: &str) {
    println!("reads, 64 callers");
    for (what, path) in [
        ("hello (no database)", "/healthz".to_owned()),
        ("one property", format!("/api/v1/properties/{}", seed.property)),
        ("fifty applications", "/api/v1/applications".to_owned()),
        ("one client's statement", format!("/api/v1/statements?year=2026&client_id={}", seed.client)),
    ] {
        let (http, url, token) = (client(), app.url(&path), token.to_owned());
        let status = if path == "/healthz" { 204 } else { 200 };
        let (rate, p99) = load(64, move |_| http.get(&url).bearer_auth(&token), status).await;
        println!("  {what:<24} {rate:>7.0} a second, 99th percentile {p99:>7.2} ms");
    }
    let mut times = Vec::new();
    for _ in 0..5 {
        let start = Instant::now();
        let reply =
            client().get(app.url("/api/v1/statements/company?year=2025")).bearer_auth(token).send().await.unwrap();
        let bytes = reply.bytes().await.unwrap().len();
        times.push((start.elapsed().as_secs_f64() * 1000.0, bytes));
    }
    times.sort_by(|a, b| a.0.total_cmp(&b.0));
    println!(
        "year of all {SECTIONS} sections over {RECORDS} records: {:.0} ms, {} kB (median of 5)",
        times[2].0,
        times[2].1 / 1000
    );
}

/// The same statements in bare SQLite through its C interface, one thread, prepared, same durability: the limit.
fn bare(file: &Path) {
    println!("the same rows in bare SQLite, one thread, synchronous=FULL");
    let connection = Connection::open(file).unwrap();
    connection
        .execute_batch("PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON;")
        .unwrap();
    let (person, product): (String, String) = connection
        .query_row("SELECT (SELECT id FROM people WHERE role = 'technician'), (SELECT id FROM products)", [], |row| {
            Ok((row.get(0)?, row.get(1)?))
        })
        .unwrap();
    // The bytes that the server writes now: what is packed, and the little that stands beside it.
    let (content, packed, entry): (String, Vec<u8>, Vec<u8>) = connection
        .query_row(
            "SELECT a.content, a.packed, j.packed FROM journal AS j JOIN applications AS a ON a.id = j.subject_id
             WHERE j.act = 'application.recorded' AND j.packed IS NOT NULL LIMIT 1",
            [],
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
        )
        .unwrap();
    let mut seq: i64 = connection.query_row("SELECT max(seq) FROM journal", [], |row| row.get(0)).unwrap();
    for batch in [1_usize, 8, 64] {
        let (start, mut number) = (Instant::now(), 0);
        while start.elapsed() < SPAN {
            connection.execute_batch("BEGIN IMMEDIATE").unwrap();
            for _ in 0..batch {
                number += 1;
                seq += 1;
                let section = number % SECTIONS;
                one(
                    &connection,
                    &Row {
                        id: new_id(),
                        section: uuid_of(3, section),
                        property: uuid_of(2, section / 2),
                        person: &person,
                        product: &product,
                        content: &content,
                        packed: &packed,
                        entry: &entry,
                        seq,
                    },
                );
            }
            connection.execute_batch("COMMIT").unwrap();
        }
        println!("  {batch:>2} a commit: {:>7.0} a second", number as f64 / start.elapsed().as_secs_f64());
    }
}

struct Row<'a> {
    id: String,
    section: String,
    property: String,
    person: &'a str,
    product: &'a str,
    content: &'a str,
    packed: &'a [u8],
    entry: &'a [u8],
    seq: i64,
}

fn one(connection: &Connection, row: &Row<'_>) {
    let known: i64 = connection
        .prepare_cached("SELECT count(*) FROM applications WHERE id = ?1")
        .unwrap()
        .query_row([&row.id], |r| r.get(0))
        .unwrap();
    assert_eq!(known, 0);
    let _section: String = connection.prepare_cached("SELECT s.name FROM sections AS s JOIN properties AS p ON p.id = s.property_id JOIN clients AS c ON c.id = p.client_id WHERE s.id = ?1").unwrap().query_row([&row.section], |r| r.get(0)).unwrap();
    let mut past = connection.prepare_cached("SELECT applied_on, area, nitrogen, quick_nitrogen, phosphate, potash FROM application_lines WHERE section_id = ?1").unwrap();
    let total: i64 = past.query_map([&row.section], |r| r.get::<_, i64>(2)).unwrap().map(Result::unwrap).sum();
    assert!(total >= 0);
    let _balance: i64 = connection
        .prepare_cached("SELECT mass FROM stock_totals WHERE product_id = ?1")
        .unwrap()
        .query_row([row.product], |r| r.get(0))
        .unwrap();
    connection.prepare_cached("INSERT INTO applications (id, property_id, product_id, person_id, person_name, entered_by, applied_on, received_at, verdict, beyond_the_rules, content, pattern, packed, fingerprint) VALUES (?1, ?2, ?3, ?4, 'Tech 01', ?4, '2026-09-15', 0, 'go', 0, ?5, 1, ?6, ?1)").unwrap().execute(params![row.id, row.property, row.product, row.person, row.content, row.packed]).unwrap();
    connection.prepare_cached("INSERT INTO application_lines (record_id, application_id, section_id, applied_on, area, product, nitrogen, quick_nitrogen, phosphate, potash, flags, purpose) VALUES (?1, ?1, ?2, '2026-09-15', 800000, 1000, 2400000, 1680000, 0, 1000000, 0, 'maintenance')").unwrap().execute(params![row.id, row.section]).unwrap();
    connection.prepare_cached("INSERT INTO stock_movements (id, product_id, kind, mass, moved_on, person_id, record_id, recorded_at) VALUES (?1, ?2, 'applied', -1000, '2026-09-15', ?3, ?1, 0)").unwrap().execute(params![row.id, row.product, row.person]).unwrap();
    connection.prepare_cached("INSERT INTO journal (seq, written_at, person_id, act, subject_id, payload, previous_hash, hash, pattern, packed) VALUES (?1, 0, ?2, 'application.recorded', ?3, '', ?3, ?3, 1, ?4)").unwrap().execute(params![row.seq, row.person, row.id, row.entry]).unwrap();
}
