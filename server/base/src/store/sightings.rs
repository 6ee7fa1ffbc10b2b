//! What somebody on the spot saw of a lawn section, and what the office says of what waits. Only ever inserted.

use domain::{
    dated::Facts,
    ids::{DatedEntryId, PersonId, SectionId, SightingId},
    land::Species,
    quantity::Distance,
    time::{Day, Instant},
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqliteExecutor};
use utoipa::ToSchema;

use crate::{
    problem::FieldFault,
    scope::Scope,
    store::{
        history::FactsByName,
        measurements::confirmations::{Confirmation, ConfirmationInput, ConfirmationRow},
        read, read_day, read_instant, read_json,
        sections::NearWater,
    },
};

/// What somebody saw of a lawn section on the spot. What is left out stays as it is.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "seen_on": "2026-09-15", "water": "near", "water_distance_ft": "12", "note": "A ditch was dug along the fence; taped."
}))]
pub struct SightingInput {
    /// Local day on which it was seen. It is so from then on.
    pub seen_on: Day,
    /// `near` or `none`. Whoever says so says all of it: the distance, and the natural strip if there is one.
    #[serde(default)]
    pub water: Option<NearWater>,
    /// Shortest distance from the section to the water. Required when `water` is `near`, and only then.
    #[serde(default)]
    pub water_distance_ft: Option<Distance>,
    /// Width of the strip of natural vegetation between lawn and water.
    #[serde(default)]
    pub natural_strip_ft: Option<Distance>,
    /// Turf that grows there.
    #[serde(default)]
    pub species: Option<Species>,
    /// How it was seen or measured. The history of the section shows it as the reason.
    #[schema(min_length = 1, max_length = 300, format = "line")]
    pub note: String,
}

impl SightingInput {
    /// What of it does not fit together.
    pub fn faults(&self) -> Vec<FieldFault> {
        let says_of_water = self.water_distance_ft.is_some() || self.natural_strip_ft.is_some();
        let fault = |code: &str, detail: &str| Some(FieldFault::at("/water", code, detail));
        let found = match self.water {
            None if says_of_water => fault("missing", "is required with what is said of its distance"),
            None if self.species.is_none() => fault("missing", "is required where the turf is not named either"),
            Some(NearWater::Unknown) => fault("contradiction", "is what somebody saw, so it is near or there is none"),
            _ => None,
        };
        found.into_iter().collect()
    }

    /// The same as members of a section.
    pub fn facts(&self) -> Result<Facts, serde_json::Error> {
        let mut facts = Facts::new();
        if let Some(water) = self.water {
            facts.insert("water".to_owned(), serde_json::to_value(water)?);
            facts.insert("water_distance_ft".to_owned(), serde_json::to_value(self.water_distance_ft)?);
            facts.insert("natural_strip_ft".to_owned(), serde_json::to_value(self.natural_strip_ft)?);
        }
        if let Some(species) = self.species {
            facts.insert("species".to_owned(), serde_json::to_value(species)?);
        }
        Ok(facts)
    }
}

/// What somebody saw of a lawn section.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Sighting {
    pub id: SightingId,
    pub section_id: SectionId,
    pub person_id: PersonId,
    pub seen_on: Day,
    /// What it says, in the members of a section.
    #[schema(value_type = FactsByName)]
    pub facts: Facts,
    #[schema(max_length = 300)]
    pub note: String,
    /// It would let more go down, so it counts only once the office has confirmed it.
    pub waits_for_office: bool,
    /// What the office said of it; null while it waits, and where it counted at once.
    pub confirmation: Option<Confirmation>,
    /// The entry in the section's history by which it counts.
    pub entry_id: Option<DatedEntryId>,
    pub created_at: Instant,
}

struct SightingRow {
    id: String,
    section_id: String,
    person_id: String,
    seen_on: String,
    facts: String,
    note: String,
    entry_id: Option<String>,
    created_at: i64,
    confirmation: Option<String>,
    confirmed_entry: Option<String>,
}

impl TryFrom<SightingRow> for Sighting {
    type Error = sqlx::Error;

    fn try_from(row: SightingRow) -> Result<Self, sqlx::Error> {
        let confirmation = row.confirmation.as_deref().map(|text| read_json(text, "confirmation")).transpose()?;
        let confirmation = confirmation.map(ConfirmationRow::confirmation).transpose()?;
        let entry = row.entry_id.or(row.confirmed_entry);
        Ok(Self {
            id: read(&row.id, "id of what was seen")?,
            section_id: read(&row.section_id, "section id")?,
            person_id: read(&row.person_id, "person id")?,
            seen_on: read_day(&row.seen_on)?,
            facts: read_json(&row.facts, "what was seen")?,
            note: row.note,
            waits_for_office: entry.is_none() && confirmation.is_none(),
            confirmation,
            entry_id: entry.as_deref().map(|id| read(id, "id of an entry")).transpose()?,
            created_at: read_instant(row.created_at)?,
        })
    }
}

/// What is to be kept of a sighting beside what was sent; without an entry it waits.
#[derive(Debug, Clone, Copy)]
pub struct Seen {
    pub section: SectionId,
    pub person: PersonId,
    pub entry: Option<DatedEntryId>,
    pub at: Instant,
}

pub async fn insert(
    connection: &mut SqliteConnection,
    id: SightingId,
    input: &SightingInput,
    facts: &Facts,
    seen: Seen,
) -> Result<Sighting, sqlx::Error> {
    let (key, section, person) = (id.to_string(), seen.section.to_string(), seen.person.to_string());
    let (day, entry, at) = (input.seen_on.to_string(), seen.entry.map(|id| id.to_string()), seen.at.millis());
    let facts = serde_json::to_string(facts).map_err(|error| sqlx::Error::Encode(error.into()))?;
    sqlx::query!(
        "INSERT INTO sightings (id, section_id, person_id, seen_on, facts, note, entry_id, created_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
        key,
        section,
        person,
        day,
        facts,
        input.note,
        entry,
        at
    )
    .execute(&mut *connection)
    .await?;
    get(connection, id, Scope::Company).await?.ok_or(sqlx::Error::RowNotFound)
}

/// Keeps what the office says of one that waits, and the entry by which it counts from now on.
pub async fn confirm(
    connection: &mut SqliteConnection,
    id: SightingId,
    input: &ConfirmationInput,
    (person, at): (PersonId, Instant),
    entry: Option<DatedEntryId>,
) -> Result<(), sqlx::Error> {
    let (id, person, at) = (id.to_string(), person.to_string(), at.millis());
    let entry = entry.map(|id| id.to_string());
    sqlx::query!(
        "INSERT INTO sighting_confirmations (sighting_id, holds, note, person_id, confirmed_at, entry_id)
         VALUES ($1, $2, $3, $4, $5, $6)",
        id,
        input.holds,
        input.note,
        person,
        at,
        entry
    )
    .execute(connection)
    .await?;
    Ok(())
}

pub async fn get(
    executor: impl SqliteExecutor<'_>,
    id: SightingId,
    scope: Scope,
) -> Result<Option<Sighting>, sqlx::Error> {
    let (key, viewer) = (id.to_string(), scope.viewer());
    let row = sqlx::query_as!(
        SightingRow,
        r#"SELECT g.id AS "id!", g.section_id AS "section_id!", g.person_id AS "person_id!", g.seen_on AS "seen_on!",
                  g.facts AS "facts!", g.note AS "note!", g.entry_id, g.created_at AS "created_at!",
                  (SELECT json_object('holds', c.holds, 'note', c.note, 'person_id', c.person_id, 'confirmed_at', c.confirmed_at)
                   FROM sighting_confirmations AS c WHERE c.sighting_id = g.id) AS "confirmation: String",
                  (SELECT c.entry_id FROM sighting_confirmations AS c WHERE c.sighting_id = g.id) AS "confirmed_entry: String"
           FROM sightings AS g
           WHERE g.id = $1 AND ($2 IS NULL OR EXISTS (
               SELECT 1 FROM sections AS s JOIN sight AS v ON v.property_id = s.property_id
               WHERE s.id = g.section_id AND v.viewer = $2))"#,
        key,
        viewer
    )
    .fetch_optional(executor)
    .await?;
    row.map(Sighting::try_from).transpose()
}
