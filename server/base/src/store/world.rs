//! What acts name, and all of it loaded with one statement.
//!
//! A statement costs two thread wake-ups whatever it does, so calls are counted, not statements.

use std::collections::HashSet;

use domain::{
    facts::{KeptDistances, PastProduct},
    ids::{ApplicationId, PersonId, ProductId, PropertyId, SectionId},
    product::Label,
    quantity::Distance,
    time::Instant,
};
use sqlx::SqliteConnection;

use crate::{
    acts::{
        Act, BatchFacts, clearance::ClearanceInput, correction::CorrectionInput, particulars::Named,
        rows::StoredApplication,
    },
    store::{bad_row, packing, read, read_json},
};

const FACTS: &str = include_str!("world_facts.sql");

/// What the acts name, to be loaded.
#[derive(Debug, Default)]
struct FactKeys {
    sections: HashSet<String>,
    properties: HashSet<String>,
    products: HashSet<String>,
    lots: HashSet<String>,
    visits: HashSet<String>,
    people: HashSet<String>,
    equipment: HashSet<String>,
    /// Clearances, applications and corrections, by which a repeated request is recognised, and phones.
    records: HashSet<String>,
    now: i64,
}

impl FactKeys {
    fn by<'a>(acts: impl Iterator<Item = &'a Act>) -> Self {
        let mut keys = Self::default();
        for act in acts {
            keys.add(act);
        }
        keys
    }

    /// What a plan names, whether it is only asked about or is to hold room.
    fn add_plan(&mut self, person: PersonId, input: &ClearanceInput) {
        self.people.insert(person.to_string());
        self.people.extend(input.supervisor_id.map(|id| id.to_string()));
        self.properties.insert(input.property_id.to_string());
        self.products.insert(input.product_id.to_string());
        self.sections.extend(input.lines.iter().map(|line| line.section_id.to_string()));
    }

    /// What a correction names, whether it is only shown or is to be made.
    fn add_correction(&mut self, input: &CorrectionInput) {
        self.records.insert(input.application_id.to_string());
        self.sections.extend(input.sections().map(|section| section.to_string()));
    }

    fn add(&mut self, act: &Act) {
        match act {
            Act::Clear(context, id, input) => {
                self.now = self.now.max(context.at.millis());
                self.records.insert(id.to_string());
                self.add_plan(context.actor.person, input);
            }
            Act::Record(context, id, input) => {
                self.now = self.now.max(context.at.millis());
                self.records.insert(id.to_string());
                self.records.extend(input.clearance_id.map(|id| id.to_string()));
                self.properties.insert(input.property_id.to_string());
                self.products.insert(input.product_id.to_string());
                self.lots.extend(input.lot_id.map(|id| id.to_string()));
                self.visits.extend(input.visit_id.map(|id| id.to_string()));
                self.equipment.extend(input.equipment_id.map(|id| id.to_string()));
                self.people.insert(input.applied_by.unwrap_or(context.actor.person).to_string());
                self.people.extend(input.supervisor_id.iter().chain(&input.present_ids).map(ToString::to_string));
                self.sections.extend(input.lines.iter().map(|line| line.section_id.to_string()));
            }
            Act::Correct(context, id, input) => {
                self.now = self.now.max(context.at.millis());
                self.records.insert(id.to_string());
                self.people.insert(context.actor.person.to_string());
                self.records.extend(context.actor.device.map(|device| device.to_string()));
                self.add_correction(input);
            }
        }
    }
}

fn array(ids: &HashSet<String>) -> Result<String, sqlx::Error> {
    serde_json::to_string(ids).map_err(|error| sqlx::Error::Encode(error.into()))
}

/// Loads the facts of all acts.
pub async fn load<'a>(
    connection: &mut SqliteConnection,
    acts: impl Iterator<Item = &'a Act>,
) -> Result<BatchFacts, sqlx::Error> {
    load_keys(connection, &FactKeys::by(acts)).await
}

/// Loads the facts of a check, which is no act and writes nothing.
pub async fn load_for_check(
    connection: &mut SqliteConnection,
    asker: PersonId,
    input: &ClearanceInput,
    now: Instant,
) -> Result<BatchFacts, sqlx::Error> {
    let mut keys = FactKeys { now: now.millis(), ..FactKeys::default() };
    keys.add_plan(asker, input);
    load_keys(connection, &keys).await
}

/// Loads the facts of a correction that is shown before it is made.
pub async fn load_for_correction_check(
    connection: &mut SqliteConnection,
    input: &CorrectionInput,
    now: Instant,
) -> Result<BatchFacts, sqlx::Error> {
    let mut keys = FactKeys { now: now.millis(), ..FactKeys::default() };
    keys.add_correction(input);
    load_keys(connection, &keys).await
}

/// Loads the facts of records that are judged once more as they stand.
pub async fn load_for_records(
    connection: &mut SqliteConnection,
    records: &[ApplicationId],
    now: Instant,
) -> Result<BatchFacts, sqlx::Error> {
    let records = records.iter().map(ToString::to_string).collect();
    load_keys(connection, &FactKeys { records, now: now.millis(), ..FactKeys::default() }).await
}

/// Loads what a record names, to tell what stood of it.
pub async fn load_named(connection: &mut SqliteConnection, named: &Named<'_>) -> Result<BatchFacts, sqlx::Error> {
    let people = [named.person].into_iter().chain(named.supervisor).chain(named.present.iter().copied());
    let keys = FactKeys {
        sections: named.sections.iter().map(ToString::to_string).collect(),
        properties: HashSet::from([named.property.to_string()]),
        products: HashSet::from([named.product.to_string()]),
        lots: named.lot.iter().map(ToString::to_string).collect(),
        equipment: named.equipment.iter().map(ToString::to_string).collect(),
        people: people.map(|id| id.to_string()).collect(),
        now: named.known_at.millis(),
        ..FactKeys::default()
    };
    load_keys(connection, &keys).await
}

/// Loads what is known at a moment of sections with their properties, of products, and of who may be sent.
pub async fn load_lawns(
    connection: &mut SqliteConnection,
    sections: &[SectionId],
    properties: &[PropertyId],
    products: &[ProductId],
    people: &[PersonId],
    now: i64,
) -> Result<BatchFacts, sqlx::Error> {
    let keys = FactKeys {
        people: people.iter().map(ToString::to_string).collect(),
        sections: sections.iter().map(ToString::to_string).collect(),
        properties: properties.iter().map(ToString::to_string).collect(),
        products: products.iter().map(ToString::to_string).collect(),
        now,
        ..FactKeys::default()
    };
    load_keys(connection, &keys).await
}

async fn load_keys(connection: &mut SqliteConnection, keys: &FactKeys) -> Result<BatchFacts, sqlx::Error> {
    let rows: Vec<(String, String, String)> = sqlx::query_as(FACTS)
        .bind(array(&keys.sections)?)
        .bind(array(&keys.properties)?)
        .bind(array(&keys.products)?)
        .bind(array(&keys.records)?)
        .bind(array(&keys.lots)?)
        .bind(array(&keys.visits)?)
        .bind(keys.now)
        .bind(array(&keys.people)?)
        .bind(array(&keys.equipment)?)
        .fetch_all(connection)
        .await?;
    let mut world = BatchFacts { journal_hash: domain::journal::BEGINNING.to_owned(), ..BatchFacts::default() };
    for (kind, id, body) in rows {
        take(&mut world, &kind, &id, &body)?;
    }
    Ok(world)
}

fn take(world: &mut BatchFacts, kind: &str, id: &str, body: &str) -> Result<(), sqlx::Error> {
    match kind {
        "head" => {
            world.journal_seq = read(id, "journal seq")?;
            body.clone_into(&mut world.journal_hash);
        }
        "property" => drop(world.properties.insert(read(id, "property id")?, read_json(body, "property facts")?)),
        "section" => drop(world.sections.insert(read(id, "section id")?, read_json(body, "section facts")?)),
        "product" => drop(world.products.insert(read(id, "product id")?, read_json(body, "product facts")?)),
        "earlier_product" => {
            let label: Label = read_json(body, "label")?;
            world.earlier_products.insert(read(id, "product id")?, PastProduct::of(&label));
        }
        "lot" => drop(world.lots.insert(read(id, "lot id")?, read_json(body, "lot facts")?)),
        "visit" => drop(world.visits.insert(read(id, "visit id")?, read_json(body, "visit facts")?)),
        "equipment" => drop(world.equipment.insert(read(id, "equipment id")?, read_json(body, "equipment facts")?)),
        "person" => drop(world.people.insert(read(id, "person id")?, read_json(body, "person facts")?)),
        "clearance" => drop(world.clearances.insert(read(id, "clearance id")?, read_json(body, "clearance facts")?)),
        "application" => {
            let mut stored: StoredApplication = read_json(body, "application facts")?;
            // What cannot be unpacked cannot be read, and is a fault of the act that needs it and of no other.
            if let Err(error) = packing::open(&mut stored) {
                tracing::error!(%error, id, "the content of a record cannot be unpacked");
                stored.row.content.clear();
            }
            drop(world.applications.insert(read(id, "application id")?, stored));
        }
        "correction" => {
            drop(world.corrections.insert(read(id, "correction id")?, read_json(body, "correction facts")?));
        }
        "addition" => drop(world.additions.insert(read(id, "addition id")?)),
        "kept_since" => {
            let (from_water, from_drains): (Option<Distance>, Option<Distance>) = read_json(body, "kept distances")?;
            let known = world.kept_since.entry(read(id, "application id")?).or_default();
            *known = known.shortest(KeptDistances { from_water, from_drains });
        }
        "device" => drop(world.devices.insert(read(id, "device id")?, body.to_owned())),
        "attempt" => {
            let (fingerprint, salt) = read_json(body, "attempt facts")?;
            let _ = world.attempts.insert((id.to_owned(), fingerprint, salt));
        }
        "rule_set_text" => drop(world.rule_set_texts.insert(id.to_owned())),
        other => return Err(bad_row("fact")(&other)),
    }
    Ok(())
}
