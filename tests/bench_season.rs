//! How long the season's plan of a whole company takes, asked over HTTP.
//!
//! `cargo bench -p swardbook-tests --bench season`. 180 clients with two lawn sections each, ten earlier records on each
//! section, six rounds and three products.
#![expect(clippy::unwrap_used, reason = "a benchmark fails by panicking")]

use std::{path::Path, time::Instant};

use harness::{
    TestApp, client,
    world::{Company, label, lot, product},
};
use rusqlite::{Connection, params};
use serde_json::{Value, json};

const CLIENTS: usize = 180;
const SECTIONS: usize = 2 * CLIENTS;
/// Earlier records on a section.
const RECORDS: usize = 10;

fn main() {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
    runtime.block_on(run());
}

async fn run() {
    let company = Company::in_maryland().await;
    let urea = product(&company.office, "Urea 46-0-0", &label("46", "0", "0", "0")).await;
    let potash = product(&company.office, "Winter 10-0-20", &label("10", "5", "0", "20")).await;
    lot(&company.office, &potash, "LOT-3", "1000").await;
    let token = company.office.token.clone().unwrap();
    let programme = programme(&[(&company.feed, "31"), (&urea, "50"), (&potash, "40")]);
    let mut scheduled = programme.clone();
    let programme = company.office.post("/api/v1/programmes", &programme).await.expect(201).id();
    scheduled["needs"] = json!([{ "published": "Maryland, tall fescue and Kentucky bluegrass" }]);
    let scheduled = company.office.post("/api/v1/programmes", &scheduled).await.expect(201).id();
    let folder = company.app.stop().await;
    fill(&folder.path().join("book.db"));
    let app = TestApp::reopen(folder).await;
    let cores = std::thread::available_parallelism().unwrap();
    println!("{CLIENTS} clients, {SECTIONS} sections, {RECORDS} records each, 6 rounds, 3 products, {cores} cores");
    for (what, path) in [
        ("company, least cost", format!("programmes/{programme}/plan?from=2027-01-01&aim=least_cost")),
        ("company, fewest products", format!("programmes/{programme}/plan?from=2027-01-01&aim=fewest_products")),
        ("company, by a schedule", format!("programmes/{scheduled}/plan?from=2027-01-01&aim=least_cost")),
        ("one section", format!("sections/{}/plan?programme_id={programme}&from=2027-01-01", uuid_of(3, 7))),
    ] {
        let mut times = Vec::new();
        let mut last = Value::Null;
        for _ in 0..5 {
            let start = Instant::now();
            let reply = client().get(app.url(&format!("/api/v1/{path}"))).bearer_auth(&token).send().await.unwrap();
            assert_eq!(reply.status().as_u16(), 200, "{}", reply.text().await.unwrap());
            last = serde_json::from_slice(&reply.bytes().await.unwrap()).unwrap();
            times.push(start.elapsed().as_secs_f64());
        }
        times.sort_by(f64::total_cmp);
        let rounds: usize = last["sections"]
            .as_array()
            .map_or_else(|| count(&last["rounds"]), |all| all.iter().map(|section| count(&section["rounds"])).sum());
        println!(
            "{what:<26} {:.3} s (median of 5, {:.3} to {:.3}), {rounds} rounds planned, {} kB",
            times[2],
            times[0],
            times[4],
            last.to_string().len() / 1000
        );
    }
}

fn count(list: &Value) -> usize {
    list.as_array().map_or(0, Vec::len)
}

fn programme(products: &[(&str, &str)]) -> Value {
    let products: Vec<Value> = products
        .iter()
        .map(|(id, price)| json!({ "product_id": id, "bag_price_usd": price, "may_buy": true }))
        .collect();
    json!({
        "name": "Season", "season_year": 2027, "equipment": "rotary_spreader_with_deflector",
        "rounds": [
            { "name": "early spring", "from": "2027-03-15", "to": "2027-04-15" },
            { "name": "late spring", "from": "2027-05-01", "to": "2027-06-05" },
            { "name": "summer", "from": "2027-07-01", "to": "2027-07-25" },
            { "name": "late summer", "from": "2027-08-20", "to": "2027-09-10" },
            { "name": "autumn", "from": "2027-09-20", "to": "2027-10-12" },
            { "name": "late autumn", "from": "2027-10-25", "to": "2027-11-14" },
        ],
        "products": products,
        "needs": [{
            "nitrogen_lb_per_1000_sqft": "2.6", "potash_lb_per_1000_sqft": "1", "because": "A benchmark",
        }],
        "least_product_lb_per_1000_sqft": "0.5",
    })
}

/// Writes clients, sections and records straight into the file.
fn fill(file: &Path) {
    let mut connection = Connection::open(file).unwrap();
    let transaction = connection.transaction().unwrap();
    let (person, product): (String, String) = transaction
        .query_row(
            "SELECT (SELECT id FROM people WHERE role = 'technician'), (SELECT id FROM products ORDER BY seq LIMIT 1)",
            [],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )
        .unwrap();
    for number in 0..SECTIONS {
        let (client, property, section) = (uuid_of(1, number / 2), uuid_of(2, number / 2), uuid_of(3, number));
        if number.is_multiple_of(2) {
            transaction.execute("INSERT INTO clients (id, name, mailing_address, version, created_at) VALUES (?1, ?2, 'Street A', 1, 0)", params![client, format!("Client {number}")]).unwrap();
            transaction.execute("INSERT INTO properties (id, client_id, name, address, postal_code, time_zone, rule_sets, version, created_at) VALUES (?1, ?2, 'Home', 'Street A', '21000', 'America/New_York', '[\"us-md\"]', 1, 0)", params![property, client]).unwrap();
            transaction
                .execute(
                    "INSERT INTO ownerships (property_id, client_id, since) VALUES (?1, ?2, '0001-01-01')",
                    params![property, client],
                )
                .unwrap();
        }
        let area = 200_000 + (i64::try_from(number).unwrap() * 7_919) % 1_500_000;
        transaction.execute("INSERT INTO sections (id, property_id, name, species, water, touches_pavement, maintenance, version, created_at) VALUES (?1, ?2, 'lawn', 'tall_fescue', 'none', 0, 'high', 1, 0)", params![section, property]).unwrap();
        transaction.execute("INSERT INTO measurements (id, section_id, area, measured_on, method, measured_by, created_at) VALUES (?1, ?2, ?3, '2020-01-01', 'wheel', 'Office', 0)", params![uuid_of(5, number), section, area]).unwrap();
        transaction.execute("INSERT INTO soil_reports (id, section_id, sampled_on, laboratory, extractant, phosphorus, created_at) VALUES (?1, ?2, '2025-10-01', 'Laboratory', 'mehlich_3', 'optimum', 0)", params![uuid_of(6, number), section]).unwrap();
        for record in 0..RECORDS {
            let id = uuid_of(7, number * RECORDS + record);
            let day = format!("20{:02}-0{}-1{}", 25 + record / 5, 4 + record % 5, number % 10);
            let product_mass = area * 25;
            transaction.execute("INSERT INTO applications (id, property_id, product_id, person_id, person_name, entered_by, applied_on, received_at, verdict, beyond_the_rules, content, fingerprint) VALUES (?1, ?2, ?3, ?4, 'Tech 01', ?4, ?5, 0, 'go', 0, '{}', ?1)", params![id, property, product, person, day]).unwrap();
            transaction.execute("INSERT INTO application_lines (record_id, application_id, section_id, applied_on, area, product, nitrogen, quick_nitrogen, phosphate, potash, flags, purpose) VALUES (?1, ?1, ?2, ?3, ?4, ?5, ?6, ?7, 0, ?8, 0, 'maintenance')", params![id, section, day, area, product_mass, product_mass * 2_400, product_mass * 1_680, product_mass * 1_000]).unwrap();
        }
    }
    transaction.execute_batch(harness::FIRST_ENTRIES).unwrap();
    transaction.commit().unwrap();
}

fn uuid_of(kind: u128, number: usize) -> String {
    uuid::Uuid::from_u128(0x0190_0000_0000_7000_8000_0000_0000_0000 | (kind << 40) | number as u128).to_string()
}
