//! The check of a whole book: is the chain unbroken, does every record stand as the journal says, and do the totals follow
//! from the records?

mod assignments;
mod command;
mod history;
mod holds;
mod records;
mod rule_sets;
mod since;
mod things;
mod totals;

use std::{collections::BTreeSet, path::Path};

use domain::{journal, receipt::Signed, time::Instant};
use serde_json::Value;
use sha2::Digest;
use sqlx::{Connection, SqliteConnection};

use self::{records::Told, since::Counted};
use crate::{
    book::receipts::against,
    secret::sha256,
    store::{
        self, gaps, lots,
        packing::Unpacker,
        receipts::whole_key,
        tables,
        verify::{self, Entry},
    },
};

pub use command::{checked, checked_since, public_key, run};
pub use since::{Base, Whole};

/// Entries read at once.
const PAGE: i64 = 500;

/// What was found.
#[derive(Debug, Default)]
pub struct Found {
    /// The newest table change that the file has, where this version knows newer ones.
    pub older: Option<i64>,
    pub entries: i64,
    /// Entries that were read, of those that are there.
    pub read: i64,
    /// Where an earlier run had come to, from which this one went on.
    pub base: Option<Base>,
    pub records: i64,
    pub sections: usize,
    pub last_hash: String,
    /// What the next run need not count again.
    pub counted: Counted,
    /// Stock by product, for the owner to hold against the shelf.
    pub stock: Vec<(String, i64)>,
    /// What each receipt covers that the records were held against and that fits.
    pub covered: Vec<String>,
    pub faults: Vec<String>,
}

/// Checks a file that a person need not be told about.
pub async fn check_file(file: &Path) -> Result<Found, sqlx::Error> {
    check_file_against(file, &[], None).await
}

/// Checks a file, whole or from where an earlier run had come to. One of an earlier version is copied first, and the copy is brought up
/// to date and checked whole: what was written then must still add up by today's measure.
pub async fn check_file_against(file: &Path, receipts: &[Signed], base: Option<Base>) -> Result<Found, sqlx::Error> {
    let had = tables::of_file(file).await?;
    let Some(had) = had.filter(|had| *had < tables::newest()) else {
        return check_moment(file, receipts, base).await;
    };
    let folder = file.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let folder = tempfile::tempdir_in(folder)?;
    let copy = folder.path().join("copy.db");
    store::backup::copy(file, &copy).await?;
    tables::bring_up(&copy).await?;
    let found = check_moment(&copy, receipts, None).await?;
    Ok(Found { older: Some(had), ..found })
}

/// Checks one moment of a file, also while a server writes to it. Where the journal is not that of the earlier run, everything is read.
async fn check_moment(file: &Path, receipts: &[Signed], base: Option<Base>) -> Result<Found, sqlx::Error> {
    let mut connection = verify::open(file).await?;
    let mut moment = connection.begin().await?;
    let own: Vec<Signed> = base.iter().map(|base| base.receipt.clone()).collect();
    let other = against::hold(&mut moment, &own).await?.faults;
    let base = base.filter(|_| other.is_empty());
    let mut found = check(&mut moment, base.as_ref()).await?;
    found.faults.extend(other);
    let held = against::hold(&mut moment, receipts).await?;
    found.covered = held.fits;
    found.faults.extend(held.faults);
    found.base = base;
    Ok(found)
}

/// From where the next run may go on; nothing where records have no key yet, by which to sign how far this one came.
pub async fn next_base(file: &Path, found: &Found, at: Instant) -> Result<Option<Base>, sqlx::Error> {
    let mut connection = verify::open(file).await?;
    let Some(key) = whole_key(&mut connection).await? else { return Ok(None) };
    let company = store::people::company(&mut connection).await?.map(|(name, _)| name).unwrap_or_default();
    let receipt = key.sign(&company, (found.entries, found.last_hash.clone()), at);
    let whole = found.base.as_ref().map_or(Whole { entry: found.entries, at }, |base| base.whole);
    Ok(Some(Base { receipt, whole, counted: found.counted.clone() }))
}

async fn check(connection: &mut SqliteConnection, base: Option<&Base>) -> Result<Found, sqlx::Error> {
    let read = base.map_or(0, Base::entry);
    let mut found = Found {
        entries: read,
        last_hash: base.map_or(journal::BEGINNING, |base| &base.receipt.receipt.head).to_owned(),
        faults: verify::integrity(connection, base.is_none()).await?,
        ..Found::default()
    };
    found.faults.extend(tables::differing(connection).await?);
    let (mut expected, mut unpacker) = (things::Expected::besides(base), Unpacker::default());
    let touched = journal(connection, base, &mut unpacker, &mut expected, &mut found).await?;
    expected.check(connection, &mut found.faults).await?;
    let records = found.counted.records;
    found.counted = expected.counted();
    found.counted.records += records;
    found.records = verify::records(connection).await?;
    if found.counted.records != found.records {
        let recorded = found.counted.records;
        found.faults.push(format!("{} records are stored, {recorded} of them stand in the journal", found.records));
    }
    weather_answers(connection, &mut found).await?;
    files(connection, &mut found.faults).await?;
    found.faults.extend(verify::strange_doors(connection).await?);
    found.faults.extend(verify::strange_browsers(connection).await?);
    found.faults.extend(verify::misfits(connection).await?);
    rule_sets(connection, &mut found.faults).await?;
    totals::check(connection, &mut unpacker, base.is_some().then_some(&touched), &mut found).await?;
    stock(connection, read, &mut found).await?;
    let unmarked = gaps::unmarked(connection).await?;
    if unmarked > 0 {
        found.faults.push(format!("{unmarked} records are not marked to be asked again what they lack"));
    }
    Ok(found)
}

/// Reads the journal, and holds what it tells of against what is stored. Says to which sections its records brought something.
async fn journal(
    connection: &mut SqliteConnection,
    base: Option<&Base>,
    unpacker: &mut Unpacker,
    expected: &mut things::Expected,
    found: &mut Found,
) -> Result<BTreeSet<String>, sqlx::Error> {
    let read = base.map_or(0, Base::entry);
    let (linked, broken) = verify::links(connection, read).await?;
    if linked != read || broken > 0 {
        found.faults.push(format!(
            "of the first {read} entries of the journal {} are missing, and {broken} do not follow from the one before",
            read - linked
        ));
    }
    let (mut after, mut touched, mut records) = (0, BTreeSet::new(), 0);
    loop {
        let page = verify::entries(connection, unpacker, (after, read), PAGE).await?;
        let Some(last) = page.last() else { break };
        after = last.seq;
        for entry in &page {
            chain(entry, read, found);
            records += i64::from(entry.is_record() && entry.content.is_some());
            let told = Told::by(entry).unwrap_or_else(|error| {
                found.faults.push(format!("journal entry {}: what it says cannot be read: {error}", entry.seq));
                Told { payload: Value::Null, has_stored_content: false }
            });
            expected.count(entry, &told.payload);
            records::check(entry, &told, &mut found.faults);
            holds::check(connection, entry, &told.payload, &mut found.faults).await?;
            thing(connection, entry, &told.payload, &mut found.faults).await?;
            let lines = told.payload["lines"].as_array().filter(|_| entry.moves_product()).into_iter().flatten();
            touched.extend(lines.filter_map(|line| Some(line["section_id"].as_str()?.to_owned())));
        }
        found.read += i64::try_from(page.len()).unwrap_or(i64::MAX);
    }
    found.counted.records = records;
    Ok(touched)
}

/// Stock follows from its movements, and the movements of records and deliveries from those.
async fn stock(connection: &mut SqliteConnection, read: i64, found: &mut Found) -> Result<(), sqlx::Error> {
    for (product, mass, total) in verify::stock(connection).await? {
        if mass != total {
            found.faults.push(format!("the stock of {product} does not follow from its movements"));
        }
        found.stock.push((product, mass));
    }
    for movement in store::stock::not_following(connection, read).await? {
        found.faults.push(format!("a movement of stock, {movement}, is not that of its record or delivery"));
    }
    for (product, lot) in lots::wrongly_totalled(connection).await? {
        found.faults.push(format!("the stock of lot {lot} of {product} does not follow from its movements"));
    }
    Ok(())
}

/// The entry follows the one before it, and its hash is that of its content. Of what an earlier run read, the links stand already, and
/// not every entry is read again.
fn chain(entry: &Entry, read: i64, found: &mut Found) {
    if entry.seq > read && entry.seq != found.entries + 1 {
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
    let previous = if entry.seq > read { &found.last_hash } else { &entry.previous_hash };
    if entry.previous_hash != *previous || entry.hash != hashed.hash(previous) {
        found.faults.push(format!(
            "journal entry {} ({} of {}) does not follow from the one before it",
            entry.seq, entry.act, entry.subject_id
        ));
    }
    if entry.seq > read {
        found.entries = entry.seq;
        found.last_hash.clone_from(&entry.hash);
    }
}

/// What weather services answered is what its hash says.
async fn weather_answers(connection: &mut SqliteConnection, found: &mut Found) -> Result<(), sqlx::Error> {
    loop {
        let page = verify::weather_bodies(connection, found.counted.weather_answer, 50).await?;
        let Some((last, ..)) = page.last() else { return Ok(()) };
        found.counted.weather_answer = *last;
        for (_, sha256, bytes) in &page {
            let body = crate::weather::unpacked(bytes);
            if body.is_none_or(|body| journal::hex(&sha2::Sha256::digest(body)) != *sha256) {
                found.faults.push(format!("the answer of a weather service differs from its hash {sha256}"));
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
    // Records are most of the journal, and nothing is asked of them here.
    if !things::is_thing(noun) {
        return Ok(());
    }
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
