//! Random histories with late records, corrections of corrections, measurements and changes of turf and hands, played on a
//! server and on a model in exact fractions. Statements, room, stock and `verify` are compared after each step; a history that
//! differs is cut down to the few steps that it takes.
//!
//! `HISTORIES=20000` plays so many instead of sixty, `HISTORY_SEED=7` others.

mod compare;
mod histories;
mod model;
mod play;
mod today;

use std::{fs, path::Path, sync::Arc};

use domain::law::Lawbook;
use harness::{
    TestApp,
    world::{Company, label, lot, product},
};
use jiff::civil::date;
use proptest::test_runner::{Config, RngAlgorithm, TestCaseError, TestRng, TestRunner};
use serde_json::json;
use tempfile::TempDir;

use histories::{Step, history};
use model::{Model, Section, Since, exact};
use play::{Beginning, Play};

const LAW: &str = r#"code = "us-zz"
name = "An invented state"
level = "state"
last_checked = 2026-03-01
coverage = "An invented yearly limit only."
local_rules = "absent"

[[rule]]
id = "us-zz.year"
kind = "cap_year"
binds = "applicator"
audience = ["professional", "household"]
nutrient = "nitrogen_total"
unit = "lb/ksf"

[[rule.value]]
from = 2001-01-01
comparator = "at_most"
by_species = { tall_fescue = "2.7", zoysia = "1.8", kentucky_bluegrass = "3.1" }
counts = "all_products"
cite = "An invented ordinance"
href = "https://example.org/ordinance"
mark = "read"
"#;

const NOW: &str = "2026-11-20T17:00:00Z";

fn law() -> Arc<Lawbook> {
    Arc::new(Lawbook::from_texts(&[("us-zz.toml", LAW)]).unwrap())
}

/// A company with three clients, a property of two sections and two products, and its book.
async fn beginning() -> (Beginning, TempDir) {
    let app = TestApp::empty_under(Lawbook::from_texts(&[("us-zz.toml", LAW)]).unwrap()).await;
    app.clock.set(harness::instant(NOW));
    let company = Company::on(app, &["us-zz"]).await;
    let office = &company.office;
    let mut clients = vec![company.client.clone()];
    for number in [2, 3] {
        let client = json!({ "name": format!("Client 00{number}"), "mailing_address": format!("{number} Street B") });
        clients.push(office.post("/api/v1/clients", &client).await.expect(201).id());
    }
    let second = product(office, "Feed 11.37-7.03-31", &label("11.37", "0", "7.03", "31")).await;
    let _ = lot(office, &second, "LOT-2", model::DELIVERED).await;
    let section = async |id: &str, area| {
        let measured = office.get(&format!("/api/v1/sections/{id}/measurements")).await.expect(200).body;
        let id = measured["items"][0]["id"].as_str().unwrap().to_owned();
        Section {
            turf: vec![Since { id: String::new(), day: None, value: 0 }],
            measurements: vec![Since { id, day: Some(date(2025, 3, 1)), value: exact(area) }],
        }
    };
    let today = date(2026, 11, 20);
    let of = Beginning {
        owner: company.owner.token.clone().unwrap(),
        office: company.office.token.clone().unwrap(),
        phone: company.phone.token.clone().unwrap(),
        clients,
        property: company.property.clone(),
        sections: vec![company.front.clone(), company.rear.clone()],
        products: vec![company.feed.clone(), second],
        model: Model {
            today,
            sections: vec![section(&company.front, "8200").await, section(&company.rear, "5000").await],
            owners: vec![Since { id: String::new(), day: None, value: 0 }],
            records: Vec::new(),
            holds: Vec::new(),
        },
    };
    (of, company.app.stop().await)
}

/// A server on a copy of a book.
async fn copy_of(book: &Path, law: &Arc<Lawbook>) -> TestApp {
    let folder = tempfile::tempdir().unwrap();
    fs::copy(book.join("book.db"), folder.path().join("book.db")).unwrap();
    TestApp::reopen_under(folder, NOW, Arc::clone(law)).await
}

async fn play(of: &Beginning, book: &Path, law: &Arc<Lawbook>, steps: &[Step]) {
    let mut play = Play::new(copy_of(book, law).await, of);
    for (at, step) in steps.iter().enumerate() {
        play.step(step).await;
        play.compare(at).await;
    }
}

#[expect(clippy::disallowed_methods, reason = "how many histories a run plays is said to the tests, not to the server")]
fn number(name: &str, otherwise: u64) -> u64 {
    std::env::var(name).map_or(otherwise, |text| text.parse().unwrap())
}

/// Plays half of the histories; two tests, so that both halves run at once.
fn histories(half: u64) {
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().unwrap();
    let (of, book) = runtime.block_on(beginning());
    let law = law();
    let cases = u32::try_from(number("HISTORIES", 60) / 2).unwrap();
    let config = Config { cases, failure_persistence: None, max_shrink_iters: 300, ..Config::default() };
    let mut seed = [0; 32];
    seed[..8].copy_from_slice(&(number("HISTORY_SEED", 1) * 2 + half).to_le_bytes());
    let mut runner = TestRunner::new_with_rng(config, TestRng::from_seed(RngAlgorithm::ChaCha, &seed));
    let found = runner.run(&history(), |steps| {
        let played = std::panic::AssertUnwindSafe(|| runtime.block_on(play(&of, book.path(), &law, &steps)));
        std::panic::catch_unwind(played).map_err(|panic| {
            let text = panic.downcast_ref::<String>().cloned();
            TestCaseError::fail(text.unwrap_or_else(|| "it failed".to_owned()))
        })
    });
    if let Err(error) = found {
        panic!("{error}");
    }
}

#[test]
fn random_histories_add_up_as_in_exact_fractions() {
    histories(0);
}

#[test]
fn other_random_histories_add_up_as_in_exact_fractions() {
    histories(1);
}
