//! The facts of all acts that wait, in one statement. What they write stands in `effects.rs`.
//!
//! A statement costs two thread wake-ups whatever it does, so calls are counted, not statements.

use std::collections::{HashMap, HashSet};

use domain::{
    application::{PastApplication, Purpose},
    equipment::EquipmentKind,
    ids::{ApplicationId, ClearanceId, ProductId, PropertyId, SectionId},
    land::{Species, Water},
    product::{Label, Nutrients},
    quantity::{Area, Distance, NutrientRate},
    soil::{SoilCategory, SoilReport},
    time::Day,
};
use serde::{Deserialize, Serialize};
use sqlx::SqliteConnection;

use super::{bad_row, read, read_json};
use crate::book::act::{Act, World};

pub const FLAG_ENHANCED: i64 = 1;
pub const FLAG_ORGANIC: i64 = 2;

const FACTS: &str = include_str!("world_facts.sql");

#[derive(Debug, Clone, Deserialize)]
pub struct PropertyRow {
    pub client_id: String,
    pub time_zone: String,
    pub rule_sets: Vec<String>,
    pub cancelled_on: Option<Day>,
    pub latitude: Option<f64>,
    pub longitude: Option<f64>,
    /// Codes of county and municipality, as far as they are known.
    pub places: Vec<Option<String>>,
    pub local_rules_checked_on: Option<Day>,
    /// People who were ever sent here.
    pub visited_by: HashSet<domain::ids::PersonId>,
}

#[derive(Debug, Clone, Deserialize)]
pub struct SectionRow {
    pub property_id: PropertyId,
    pub name: String,
    species: Option<Species>,
    water: String,
    water_distance: Option<i64>,
    natural_strip: Option<i64>,
    pub established_on: Option<Day>,
    touches_pavement: i64,
    measurements: Vec<(Day, i64, i64)>,
    soil_reports: Vec<SoilRow>,
    #[serde(rename = "lines")]
    pub ledger: Vec<LedgerRow>,
    pub held: Vec<HeldRow>,
}

#[derive(Debug, Clone, Deserialize)]
struct SoilRow {
    id: domain::ids::SoilReportId,
    sampled_on: Day,
    laboratory: String,
    phosphorus: Option<SoilCategory>,
    phosphate_recommended: Option<i64>,
}

/// A line of the ledger: application, day, area, product, nitrogen, quick nitrogen, phosphate, potash, flags, purpose.
#[derive(Debug, Clone, Deserialize)]
pub struct LedgerRow(
    pub ApplicationId,
    pub Day,
    pub i64,
    pub i64,
    pub i64,
    pub i64,
    pub i64,
    pub i64,
    pub i64,
    pub Purpose,
);

/// Room held: clearance, day, area, nitrogen, quick nitrogen, phosphate, potash, flags, purpose.
#[derive(Debug, Clone, Deserialize)]
pub struct HeldRow(pub ClearanceId, pub Day, pub i64, pub i64, pub i64, pub i64, pub i64, pub i64, pub Purpose);

/// A planned stop, as far as a record is held against it.
#[derive(Debug, Clone, Deserialize)]
pub struct VisitRow {
    pub property_id: PropertyId,
    pub product_id: ProductId,
    pub planned_on: Day,
    pub section_ids: Vec<SectionId>,
}

/// A machine, as far as a record is held against it.
#[derive(Debug, Clone, Deserialize)]
pub struct EquipmentRow {
    pub kind: EquipmentKind,
    pub has_deflector: i64,
    pub active: i64,
}

#[derive(Debug, Clone, Deserialize)]
pub struct ProductRow {
    pub name: String,
    pub label: Label,
    pub net_weight: i64,
    pub status: String,
    pub balance: i64,
}

#[derive(Debug, Clone, Deserialize)]
pub struct ClearanceRow {
    pub property_id: PropertyId,
    pub product_id: ProductId,
    pub person_id: domain::ids::PersonId,
    pub device_id: Option<domain::ids::DeviceId>,
    pub planned_on: Day,
    pub verdict: domain::decision::Verdict,
    pub content: String,
    pub fingerprint: String,
    pub granted_at: i64,
    pub expires_at: i64,
    pub ended: Option<String>,
    pub lines: Vec<ClearedLine>,
}

/// Section, area, product.
#[derive(Debug, Clone, Deserialize, Serialize)]
pub struct ClearedLine(pub SectionId, pub i64, pub i64);

#[derive(Debug, Clone, Deserialize)]
pub struct ApplicationRow {
    pub property_id: PropertyId,
    pub product_id: ProductId,
    pub lot_id: Option<domain::ids::LotId>,
    /// Who did the work.
    pub person_id: domain::ids::PersonId,
    /// That person's name at the time.
    pub person_name: String,
    pub entered_by: domain::ids::PersonId,
    pub device_id: Option<domain::ids::DeviceId>,
    pub applied_on: Day,
    pub received_at: i64,
    pub sent_at: Option<i64>,
    pub verdict: domain::decision::Verdict,
    pub beyond_the_rules: i64,
    pub content: String,
    pub fingerprint: String,
    /// The correction that says what stands now.
    pub last_correction: Option<domain::ids::CorrectionId>,
}

#[derive(Debug, Clone, Deserialize)]
pub struct CorrectionRow {
    pub application_id: ApplicationId,
    pub person_id: domain::ids::PersonId,
    pub device_id: Option<domain::ids::DeviceId>,
    pub received_at: i64,
    pub verdict: domain::decision::Verdict,
    pub beyond_the_rules: i64,
    pub content: String,
    pub fingerprint: String,
}

impl SectionRow {
    /// The area by the latest measurement on or before a day; the first one for days before any.
    pub fn area_on(&self, day: Day) -> Option<Area> {
        let latest = self.measurements.iter().filter(|(on, ..)| *on <= day).max_by_key(|(on, seq, _)| (*on, *seq));
        let earliest = || self.measurements.iter().min_by_key(|(on, seq, _)| (*on, *seq));
        latest.or_else(earliest).map(|(_, _, area)| Area::from_raw(*area))
    }

    pub fn species(&self) -> Option<Species> {
        self.species
    }

    pub fn touches_pavement(&self) -> bool {
        self.touches_pavement == 1
    }

    pub fn water(&self) -> Water {
        match (self.water.as_str(), self.water_distance) {
            ("none", _) => Water::None,
            ("near", Some(distance)) => Water::At(Distance::from_raw(distance)),
            _ => Water::Unknown,
        }
    }

    pub fn natural_strip(&self) -> Option<Distance> {
        self.natural_strip.map(Distance::from_raw)
    }

    pub fn soil_reports(&self) -> Vec<SoilReport> {
        let report = |row: &SoilRow| SoilReport {
            id: row.id,
            sampled_on: row.sampled_on,
            laboratory: row.laboratory.clone(),
            phosphorus: row.phosphorus,
            phosphate_recommended: row.phosphate_recommended.map(NutrientRate::from_raw),
        };
        self.soil_reports.iter().map(report).collect()
    }

    /// What stands in the ledger of one application: reversals cancel what they take back.
    pub fn standing(&self, of: impl Fn(ApplicationId) -> bool) -> Vec<LedgerRow> {
        let mut standing: Vec<LedgerRow> = Vec::new();
        for row in self.ledger.iter().filter(|row| of(row.0)) {
            let same = |known: &&mut LedgerRow| {
                (known.0, known.1, known.2, known.8, known.9) == (row.0, row.1, row.2, row.8, row.9)
            };
            match standing.iter_mut().find(same) {
                Some(sum) => {
                    (sum.3, sum.4, sum.5, sum.6, sum.7) =
                        (sum.3 + row.3, sum.4 + row.4, sum.5 + row.5, sum.6 + row.6, sum.7 + row.7);
                }
                None => standing.push(row.clone()),
            }
        }
        standing.retain(|row| row.3 != 0);
        standing
    }

    /// What rules count as put down or held, without one application and one clearance.
    pub fn past(&self, without: Option<ApplicationId>, without_hold: Option<ClearanceId>) -> Vec<PastApplication> {
        let put_down = self.standing(|id| Some(id) != without).into_iter().map(|row| PastApplication {
            on: row.1,
            area: Area::from_raw(row.2),
            nutrients: nutrients(row.4, row.5, row.6, row.7),
            enhanced_efficiency: row.8 & FLAG_ENHANCED != 0,
            organic: row.8 & FLAG_ORGANIC != 0,
            purpose: row.9,
            held: false,
        });
        let held = self.held.iter().filter(|row| Some(row.0) != without_hold).map(|row| PastApplication {
            on: row.1,
            area: Area::from_raw(row.2),
            nutrients: nutrients(row.3, row.4, row.5, row.6),
            enhanced_efficiency: row.7 & FLAG_ENHANCED != 0,
            organic: row.7 & FLAG_ORGANIC != 0,
            purpose: row.8,
            held: true,
        });
        put_down.chain(held).collect()
    }
}

pub fn nutrients(nitrogen: i64, quick: i64, phosphate: i64, potash: i64) -> Nutrients {
    use domain::quantity::{Phosphate, Potash, QuickNitrogen, TotalNitrogen};
    Nutrients {
        nitrogen_lb: TotalNitrogen::from_raw(nitrogen),
        quick_nitrogen_lb: QuickNitrogen::from_raw(quick),
        phosphate_lb: Phosphate::from_raw(phosphate),
        potash_lb: Potash::from_raw(potash),
    }
}

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
    fn by(acts: &[Box<Act>]) -> Self {
        let mut wanted = Self::default();
        for act in acts {
            wanted.add(act);
        }
        wanted
    }

    fn add(&mut self, act: &Act) {
        match act {
            Act::Clear(envelope, id, input) => {
                self.now = self.now.max(envelope.at.millis());
                self.records.insert(id.to_string());
                self.properties.insert(input.property_id.to_string());
                self.products.insert(input.product_id.to_string());
                self.sections.extend(input.lines.iter().map(|line| line.section_id.to_string()));
            }
            Act::Record(envelope, id, input) => {
                self.now = self.now.max(envelope.at.millis());
                self.records.insert(id.to_string());
                self.records.extend(input.clearance_id.map(|id| id.to_string()));
                self.properties.insert(input.property_id.to_string());
                self.products.insert(input.product_id.to_string());
                self.lots.extend(input.lot_id.map(|id| id.to_string()));
                self.visits.extend(input.visit_id.map(|id| id.to_string()));
                self.equipment.extend(input.equipment_id.map(|id| id.to_string()));
                self.people.insert(input.applied_by.unwrap_or(envelope.actor.person).to_string());
                self.sections.extend(input.lines.iter().map(|line| line.section_id.to_string()));
            }
            Act::Correct(envelope, id, input) => {
                self.now = self.now.max(envelope.at.millis());
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
pub async fn load(connection: &mut SqliteConnection, acts: &[Box<Act>]) -> Result<World, sqlx::Error> {
    load_wanted(connection, &Wanted::by(acts)).await
}

/// Loads what is known at a moment of sections with their properties, and of products.
pub async fn load_lawns(
    connection: &mut SqliteConnection,
    sections: &[SectionId],
    properties: &[PropertyId],
    products: &[ProductId],
    now: i64,
) -> Result<World, sqlx::Error> {
    let wanted = Wanted {
        sections: sections.iter().map(ToString::to_string).collect(),
        properties: properties.iter().map(ToString::to_string).collect(),
        products: products.iter().map(ToString::to_string).collect(),
        now,
        ..Wanted::default()
    };
    load_wanted(connection, &wanted).await
}

async fn load_wanted(connection: &mut SqliteConnection, wanted: &Wanted) -> Result<World, sqlx::Error> {
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
    let mut world = World { journal_hash: domain::journal::BEGINNING.to_owned(), ..World::default() };
    for (kind, id, body) in rows {
        take(&mut world, &kind, &id, &body)?;
    }
    Ok(world)
}

fn take(world: &mut World, kind: &str, id: &str, body: &str) -> Result<(), sqlx::Error> {
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
        "person" => drop(world.people.insert(read(id, "person id")?, body.to_owned())),
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

/// Sections of one application, each with what stands.
pub(crate) fn standing_lines(
    sections: &HashMap<SectionId, SectionRow>,
    application: ApplicationId,
) -> Vec<(SectionId, LedgerRow)> {
    let mut lines: Vec<(SectionId, LedgerRow)> = sections
        .iter()
        .flat_map(|(id, section)| section.standing(|of| of == application).into_iter().map(|row| (*id, row)))
        .collect();
    lines.sort_by_key(|(id, _)| *id);
    lines
}
