//! What acts name, and all of it loaded with one statement.
//!
//! A statement costs two thread wake-ups whatever it does, so calls are counted, not statements.

use std::collections::HashSet;

use domain::ids::{ProductId, PropertyId, SectionId};
use sqlx::SqliteConnection;

use crate::{
    acts::{Act, BatchFacts},
    store::{bad_row, read, read_json},
};

const FACTS: &str = include_str!("world_facts.sql");

/// What the acts name, to be loaded.
#[derive(Debug, Default)]
struct Wanted {
    sections: HashSet<String>,
    properties: HashSet<String>,
    products: HashSet<String>,
    lots: HashSet<String>,
    visits: HashSet<String>,
    people: HashSet<String>,
    equipment: HashSet<String>,
    /// Clearances, applications and corrections, by which a repeated request is recognised.
    records: HashSet<String>,
    now: i64,
}

impl Wanted {
    fn by<'a>(acts: impl Iterator<Item = &'a Act>) -> Self {
        let mut wanted = Self::default();
        for act in acts {
            wanted.add(act);
        }
        wanted
    }

    fn add(&mut self, act: &Act) {
        match act {
            Act::Clear(context, id, input) => {
                self.now = self.now.max(context.at.millis());
                self.people.insert(context.actor.person.to_string());
                self.records.insert(id.to_string());
                self.properties.insert(input.property_id.to_string());
                self.products.insert(input.product_id.to_string());
                self.sections.extend(input.lines.iter().map(|line| line.section_id.to_string()));
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
                self.sections.extend(input.lines.iter().map(|line| line.section_id.to_string()));
            }
            Act::Correct(context, id, input) => {
                self.now = self.now.max(context.at.millis());
                self.records.extend([id.to_string(), input.application_id.to_string()]);
                self.sections.extend(input.lines().map(|line| line.section_id.to_string()));
            }
        }
    }
}

fn array(ids: &HashSet<String>) -> String {
    serde_json::to_string(ids).unwrap_or_default()
}

/// Loads the facts of all acts.
pub async fn load<'a>(
    connection: &mut SqliteConnection,
    acts: impl Iterator<Item = &'a Act>,
) -> Result<BatchFacts, sqlx::Error> {
    load_wanted(connection, &Wanted::by(acts)).await
}

/// Loads what is known at a moment of sections with their properties, and of products.
pub async fn load_lawns(
    connection: &mut SqliteConnection,
    sections: &[SectionId],
    properties: &[PropertyId],
    products: &[ProductId],
    now: i64,
) -> Result<BatchFacts, sqlx::Error> {
    let wanted = Wanted {
        sections: sections.iter().map(ToString::to_string).collect(),
        properties: properties.iter().map(ToString::to_string).collect(),
        products: products.iter().map(ToString::to_string).collect(),
        now,
        ..Wanted::default()
    };
    load_wanted(connection, &wanted).await
}

async fn load_wanted(connection: &mut SqliteConnection, wanted: &Wanted) -> Result<BatchFacts, sqlx::Error> {
    let rows: Vec<(String, String, String)> = sqlx::query_as(FACTS)
        .bind(array(&wanted.sections))
        .bind(array(&wanted.properties))
        .bind(array(&wanted.products))
        .bind(array(&wanted.records))
        .bind(array(&wanted.lots))
        .bind(array(&wanted.visits))
        .bind(wanted.now)
        .bind(array(&wanted.people))
        .bind(array(&wanted.equipment))
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
        "lot" => drop(world.lots.insert(read(id, "lot id")?, read(body, "product id")?)),
        "visit" => drop(world.visits.insert(read(id, "visit id")?, read_json(body, "visit facts")?)),
        "equipment" => drop(world.equipment.insert(read(id, "equipment id")?, read_json(body, "equipment facts")?)),
        "person" => drop(world.people.insert(read(id, "person id")?, read_json(body, "person facts")?)),
        "clearance" => drop(world.clearances.insert(read(id, "clearance id")?, read_json(body, "clearance facts")?)),
        "application" => {
            drop(world.applications.insert(read(id, "application id")?, read_json(body, "application facts")?));
        }
        "correction" => {
            drop(world.corrections.insert(read(id, "correction id")?, read_json(body, "correction facts")?));
        }
        "attempt" => drop(world.attempts.insert((id.to_owned(), body.to_owned()))),
        "rule_set_text" => drop(world.rule_set_texts.insert(id.to_owned())),
        other => return Err(bad_row("fact")(&other)),
    }
    Ok(())
}
