//! The check of a whole book: is the chain unbroken, does every record stand as the journal says, and do the totals follow
//! from the records?

mod command;
mod history;
mod rule_sets;
mod things;

use std::{collections::BTreeMap, path::Path};

use domain::{journal, product::Label, receipt::Signed};
use serde_json::Value;
use sha2::Digest;
use sqlx::{Connection, SqliteConnection};

use crate::{
    acts::correction,
    book::receipts::against,
    secret::sha256,
    store::{
        self, gaps, lots, packing, tables,
        verify::{self, Entry},
    },
};

pub use command::{checked, public_key, run};

/// Entries read at once.
const PAGE: i64 = 500;

/// What was found.
#[derive(Debug, Default)]
pub struct Found {
    /// The newest table change that the file has, where this version knows newer ones.
    pub older: Option<i64>,
    pub entries: i64,
    pub records: i64,
    pub sections: usize,
    pub last_hash: String,
    /// Stock by product, for the owner to hold against the shelf.
    pub stock: Vec<(String, i64)>,
    /// What each receipt covers that the records were held against and that fits.
    pub covered: Vec<String>,
    pub faults: Vec<String>,
}

/// Checks a file that a person need not be told about.
pub async fn check_file(file: &Path) -> Result<Found, sqlx::Error> {
    check_file_against(file, &[]).await
}

/// Checks a file. One of an earlier version is copied first, and the copy is brought up to date and checked: what was written then
/// must still add up by today's measure.
pub async fn check_file_against(file: &Path, receipts: &[Signed]) -> Result<Found, sqlx::Error> {
    let had = tables::of_file(file).await?;
    let Some(had) = had.filter(|had| *had < tables::newest()) else {
        return check_moment(file, receipts).await;
    };
    let folder = file.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let folder = tempfile::tempdir_in(folder)?;
    let copy = folder.path().join("copy.db");
    store::backup::copy(file, &copy).await?;
    tables::bring_up(&copy).await?;
    let found = check_moment(&copy, receipts).await?;
    Ok(Found { older: Some(had), ..found })
}

/// Checks one moment of a file, also while a server writes to it.
async fn check_moment(file: &Path, receipts: &[Signed]) -> Result<Found, sqlx::Error> {
    let mut connection = verify::open(file).await?;
    let mut moment = connection.begin().await?;
    let mut found = check(&mut moment).await?;
    let held = against::hold(&mut moment, receipts).await?;
    found.covered = held.fits;
    found.faults.extend(held.faults);
    Ok(found)
}

async fn check(connection: &mut SqliteConnection) -> Result<Found, sqlx::Error> {
    let mut found = Found {
        last_hash: journal::BEGINNING.to_owned(),
        faults: verify::integrity(connection).await?,
        ..Found::default()
    };
    let mut recorded = 0;
    let mut expected = things::Expected::default();
    loop {
        let page = verify::entries(connection, found.entries, PAGE).await?;
        if page.is_empty() {
            break;
        }
        for entry in &page {
            chain(entry, &mut found);
            recorded += i64::from(entry.is_record() && entry.content.is_some());
            let payload: Value = serde_json::from_str(&entry.payload).unwrap_or_else(|error| {
                found.faults.push(format!("journal entry {}: what it says cannot be read: {error}", entry.seq));
                Value::Null
            });
            expected.count(entry, &payload);
            record(entry, &payload, &mut found.faults);
            thing(connection, entry, &payload, &mut found.faults).await?;
        }
    }
    expected.check(connection, &mut found.faults).await?;
    found.records = verify::records(connection).await?;
    if recorded != found.records {
        found.faults.push(format!("{} records are stored, {recorded} of them stand in the journal", found.records));
    }
    weather_answers(connection, &mut found.faults).await?;
    files(connection, &mut found.faults).await?;
    rule_sets(connection, &mut found.faults).await?;
    totals(connection, &mut found).await?;
    let unmarked = gaps::unmarked(connection).await?;
    if unmarked > 0 {
        found.faults.push(format!("{unmarked} records are not marked to be asked again what they lack"));
    }
    for (product, mass, total) in verify::stock(connection).await? {
        if mass != total {
            found.faults.push(format!("the stock of {product} does not follow from its movements"));
        }
        found.stock.push((product, mass));
    }
    for (product, lot) in lots::wrongly_totalled(connection).await? {
        found.faults.push(format!("the stock of lot {lot} of {product} does not follow from its movements"));
    }
    Ok(found)
}

/// The entry follows the one before it, and its hash is that of its content.
fn chain(entry: &Entry, found: &mut Found) {
    if entry.seq != found.entries + 1 {
        found.faults.push(format!("journal entry {} is missing", found.entries + 1));
    }
    let hashed = journal::Entry {
        seq: entry.seq,
        written_at_ms: entry.written_at,
        person_id: entry.person_id.as_deref(),
        device_id: entry.device_id.as_deref(),
        act: &entry.act,
        subject_id: &entry.subject_id,
        payload: &entry.payload,
    };
    if entry.previous_hash != found.last_hash || entry.hash != hashed.hash(&found.last_hash) {
        found.faults.push(format!(
            "journal entry {} ({} of {}) does not follow from the one before it",
            entry.seq, entry.act, entry.subject_id
        ));
    }
    found.entries = entry.seq;
    found.last_hash.clone_from(&entry.hash);
}

/// What weather services answered is what its hash says.
async fn weather_answers(connection: &mut SqliteConnection, faults: &mut Vec<String>) -> Result<(), sqlx::Error> {
    let mut after = 0;
    loop {
        let page = verify::weather_bodies(connection, after, 50).await?;
        let Some((last, ..)) = page.last() else { return Ok(()) };
        after = *last;
        for (_, sha256, bytes) in &page {
            let body = crate::weather::unpacked(bytes);
            if body.is_none_or(|body| journal::hex(&sha2::Sha256::digest(body)) != *sha256) {
                faults.push(format!("the answer of a weather service differs from its hash {sha256}"));
            }
        }
    }
}

/// A label or safety data sheet is what its hash says, and belongs to a product.
async fn files(connection: &mut SqliteConnection, faults: &mut Vec<String>) -> Result<(), sqlx::Error> {
    let mut after = String::new();
    while let Some((sha256, bytes, named)) = verify::file_body(connection, &after).await? {
        if journal::hex(&sha2::Sha256::digest(&bytes)) != sha256 {
            faults.push(format!("a product's file differs from its hash {sha256}"));
        }
        if !named {
            faults.push(format!("no product has the file {sha256}"));
        }
        after = sha256;
    }
    Ok(())
}

/// The version of each rule set that counts or counted is there, and is what its hash says.
async fn rule_sets(connection: &mut SqliteConnection, faults: &mut Vec<String>) -> Result<(), sqlx::Error> {
    let mut after = String::new();
    while let Some((hash, text)) = verify::rule_set_version(connection, &after).await? {
        if sha256(&text) != hash {
            faults.push(format!("a version of a rule set differs from its hash {hash}"));
        }
        after = hash;
    }
    let impossible = verify::impossible_uses(connection).await?.into_iter();
    faults.extend(impossible.map(|(code, hash)| format!("rule set {code} cannot have counted by the version {hash}")));
    Ok(())
}

/// A thing of the office is as the last entry about it says.
async fn thing(
    connection: &mut SqliteConnection,
    entry: &Entry,
    payload: &Value,
    faults: &mut Vec<String>,
) -> Result<(), sqlx::Error> {
    let noun = entry.act.split('.').next().unwrap_or_default();
    if verify::is_followed(&mut *connection, &entry.subject_id, entry.seq, &format!("{noun}.%")).await? {
        return Ok(());
    }
    let Some(now) = things::now(connection, entry).await? else { return Ok(()) };
    let differing = things::differing(noun, payload, &now);
    if !differing.is_empty() {
        let what = if now.is_null() { "is gone".to_owned() } else { format!("differs in {}", differing.join(", ")) };
        faults.push(format!("{noun} {} {what}, by journal entry {}", entry.subject_id, entry.seq));
    }
    Ok(())
}

/// What is stored of a record is what the entry says was stored.
fn record(entry: &Entry, payload: &Value, faults: &mut Vec<String>) {
    let json = |text: &Option<String>| {
        text.as_deref().and_then(|text| serde_json::from_str::<Value>(text).ok()).unwrap_or_default()
    };
    let mut differs =
        |what: &str| faults.push(format!("{what} of {} differs from journal entry {}", entry.subject_id, entry.seq));
    if entry.is_record() || entry.act == "attempt.refused" {
        if json(&entry.content) != payload["content"] {
            differs("the content");
        }
        let left = entry.content.as_deref().and_then(|text| packing::asked_of(text).ok());
        if entry.asked.is_some() && entry.asked != left {
            differs("what is asked of the content");
        }
        if json(&entry.row) != payload["row"] {
            differs("the row");
        }
    }
    if entry.beside {
        differs("what stands beside the packed texts");
    }
    if entry.act == "application.recorded" && !fixed_stands(entry, &json(&entry.particulars), payload) {
        differs("what was fixed");
    }
    if !texts_stand(&json(&entry.texts), payload["texts_sha256"].as_str()) {
        differs("a text about people");
    }
    if entry.moves_product() {
        if json(&entry.lines) != payload["lines"] {
            differs("the ledger");
        }
        if entry.moved != -entry.used {
            differs("the stock movement");
        }
    }
    let used = payload["used_clearance"].as_str();
    if entry.used_clearance.as_deref() != used {
        differs("the clearance that was used up by the record");
    }
    if entry.act == "clearance.given_back" && entry.ended.as_deref() != Some("given_back") {
        differs("the end");
    }
    if let Some(stated) = payload["decision_sha256"].as_str()
        && entry.decision.as_deref().map(sha256).as_deref() != Some(stated)
    {
        differs("the decision");
    }
    let weather = entry.weather.as_deref().map(sha256);
    if weather.as_deref() != payload["weather_sha256"].as_str() && (entry.is_record() || entry.act == "attempt.refused")
    {
        differs("the weather");
    }
    if entry.act == "product.added" && json(&entry.label) != payload["label"] {
        differs("the label");
    }
    if entry.act == "measurement.added" {
        let stated = payload["area_sqft"].as_str().and_then(|text| domain::quantity::Area::parse(text).ok());
        if stated.map(domain::quantity::Area::raw) != entry.area {
            differs("the area");
        }
        if !super::measurements::follows(payload) {
            faults.push(format!(
                "the area of measurement {} in journal entry {} does not follow from its parts",
                entry.subject_id, entry.seq
            ));
        }
    }
}

/// Whether what was fixed with a record is what the journal vouches for, and the clock beside it is that clock.
fn fixed_stands(entry: &Entry, fixed: &Value, payload: &Value) -> bool {
    let clock = match &entry.time_zone {
        Some(zone) => fixed["time_zone"] == zone.as_str(),
        // Earlier versions packed nothing, and kept no clock beside it.
        None => entry.packed.is_none(),
    };
    clock && entry.particulars.as_ref().map(sha256).as_deref() == payload["particulars_sha256"].as_str()
}

/// Whether texts about people are what the journal vouches for. Those that were destroyed stand if the journal tells of that.
fn texts_stand(kept: &Value, stated: Option<&str>) -> bool {
    match (kept["salt"].as_str(), kept["body"].as_str(), stated) {
        (Some(salt), Some(body), Some(stated)) => sha256(format!("{salt}{body}")) == stated,
        (None, None, Some(_)) => kept["destroyed"] == 1,
        (salt, body, None) => salt.is_none() && body.is_none(),
        _ => false,
    }
}

/// Each section's sums in the ledger are those of the labels times the last word on every application.
async fn totals(connection: &mut SqliteConnection, found: &mut Found) -> Result<(), sqlx::Error> {
    let stored: BTreeMap<String, [i64; 5]> = verify::ledger_sums(connection).await?.into_iter().collect();
    let mut again: BTreeMap<String, [i64; 5]> = BTreeMap::new();
    for (id, label, content, since) in verify::words(connection).await? {
        let lines = correction::last_word(&content, &since);
        let (Ok(lines), Ok(label)) = (lines, serde_json::from_str::<Label>(&label)) else {
            found.faults.push(format!("the content of application {id} cannot be read"));
            continue;
        };
        for (line, _) in lines {
            let n = label.nutrients_in(line.product_lb);
            let loads = [
                n.nitrogen_lb.raw(),
                n.quick_nitrogen_lb.raw(),
                n.phosphate_lb.raw(),
                n.potash_lb.raw(),
                line.product_lb.raw(),
            ];
            let sums = again.entry(line.section_id.to_string()).or_default();
            for (sum, load) in sums.iter_mut().zip(loads) {
                *sum += load;
            }
        }
    }
    let zero = [0; 5];
    for section in stored.keys().chain(again.keys().filter(|section| !stored.contains_key(*section))) {
        if stored.get(section).unwrap_or(&zero) != again.get(section).unwrap_or(&zero) {
            found.faults.push(format!("the totals of section {section} do not follow from its records"));
        }
    }
    found.sections = stored.len();
    Ok(())
}
