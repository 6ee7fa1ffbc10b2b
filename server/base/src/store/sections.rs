//! Lawn sections.

use std::collections::HashSet;

use domain::{
    dated::Facts,
    ids::{PersonId, PropertyId, SectionId},
    land::Species,
    quantity::{Area, Distance},
    time::{Day, Instant},
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqliteExecutor, SqlitePool};
use utoipa::ToSchema;

use crate::{
    paging::{PageRequest, Sequenced},
    scope::Scope,
    store::{
        enum_text,
        history::{self, NewEntry, Subject},
        id_list, read, read_day, read_enum, read_instant,
    },
    version::{UpdateOutcome, Versioned, Versions},
};

/// Whether there is water near a section. A setback is measured from it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum NearWater {
    /// Somebody looked: there is none that a setback could concern.
    None,
    /// There is, and its distance is given.
    Near,
    /// Nobody has looked.
    Unknown,
}

/// How much is made of a lawn. A published programme gives its need by it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum MaintenanceLevel {
    Low,
    Medium,
    High,
    /// Nobody has said.
    #[default]
    Unknown,
}

/// What becomes of the clippings.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Clippings {
    /// They stay on the lawn and spare it some nitrogen.
    Left,
    Taken,
    /// Nobody has said.
    #[default]
    Unknown,
}

/// How much of the day's light reaches the lawn (classes of the University of Connecticut).
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ShadeClass {
    /// 75 % of the light or more.
    Light,
    /// 25 to 75 %.
    Medium,
    /// Less than 25 %.
    Heavy,
    /// Nobody has said.
    #[default]
    Unknown,
}

/// A lawn section as the office writes it.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "property_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a11", "name": "front lawn", "species": "tall_fescue", "water": "near",
    "water_distance_ft": "40", "natural_strip_ft": "10", "established_on": "2019-09-10", "touches_pavement": true,
    "maintenance": "medium", "clippings": "left", "shade": "light"
}))]
pub struct SectionInput {
    /// Stays as it is when a section is changed: records count on it.
    pub property_id: PropertyId,
    #[schema(min_length = 1, max_length = 120, format = "line")]
    pub name: String,
    /// Turf that grows there, if somebody knows.
    #[serde(default)]
    pub species: Option<Species>,
    pub water: NearWater,
    /// Shortest distance from the section to the water, or to a drain, a ditch or a curb where the law of the place counts from those
    /// too. Required when `water` is `near`, and only then; it may be long.
    #[serde(default)]
    pub water_distance_ft: Option<Distance>,
    /// Width of the strip of natural vegetation between lawn and water.
    #[serde(default)]
    pub natural_strip_ft: Option<Distance>,
    /// Day on which the turf was seeded or sodded, if that is known.
    #[serde(default)]
    pub established_on: Option<Day>,
    /// Whether pavement, a walk or a drive lies beside it, from which product must be swept back.
    pub touches_pavement: bool,
    /// How much is made of it; a season's plan asks for it. Left out, nobody has said.
    #[serde(default)]
    pub maintenance: MaintenanceLevel,
    /// Left out, nobody has said.
    #[serde(default)]
    pub clippings: Clippings,
    /// Left out, nobody has said.
    #[serde(default)]
    pub shade: ShadeClass,
    /// First local day on which what is changed here is so; today if left out. What stood on earlier days stays with them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub since: Option<Day>,
}

impl SectionInput {
    /// What the section's dated entries speak of. It stays on its property.
    pub fn facts(&self) -> Result<Facts, sqlx::Error> {
        history::facts_of(self, &["since", "property_id"])
    }
}

/// A lawn section: the smallest piece of lawn with its own measurement, soil report and yearly total.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Section {
    pub id: SectionId,
    pub property_id: PropertyId,
    #[schema(max_length = 120)]
    pub name: String,
    pub species: Option<Species>,
    pub water: NearWater,
    /// Shortest distance from the section to the water.
    pub water_distance_ft: Option<Distance>,
    /// Width of the strip of natural vegetation between lawn and water.
    pub natural_strip_ft: Option<Distance>,
    /// Day on which the turf was seeded or sodded.
    pub established_on: Option<Day>,
    pub touches_pavement: bool,
    pub maintenance: MaintenanceLevel,
    pub clippings: Clippings,
    pub shade: ShadeClass,
    /// Area by the latest measurement; null before the first one.
    pub area_sqft: Option<Area>,
    /// Day of that measurement.
    pub measured_on: Option<Day>,
    /// Counts changes of the section and its measurements.
    #[schema(minimum = 1, maximum = 1_000_000_000)]
    pub version: i64,
    pub created_at: Instant,
}

impl Versioned for Section {
    fn version(&self) -> i64 {
        self.version
    }
}

pub(super) struct SectionRow {
    pub seq: i64,
    pub id: String,
    pub property_id: String,
    pub name: String,
    pub species: Option<String>,
    pub water: String,
    pub water_distance: Option<i64>,
    pub natural_strip: Option<i64>,
    pub established_on: Option<String>,
    pub touches_pavement: i64,
    pub maintenance: String,
    pub clippings: String,
    pub shade: String,
    pub area: Option<i64>,
    pub measured_on: Option<String>,
    pub version: i64,
    pub created_at: i64,
}

impl TryFrom<SectionRow> for Sequenced<Section> {
    type Error = sqlx::Error;

    fn try_from(row: SectionRow) -> Result<Self, sqlx::Error> {
        let item = Section {
            id: read(&row.id, "section id")?,
            property_id: read(&row.property_id, "property id")?,
            name: row.name,
            species: row.species.as_deref().map(|species| read_enum(species, "species")).transpose()?,
            water: read_enum(&row.water, "water")?,
            water_distance_ft: row.water_distance.map(Distance::from_raw),
            natural_strip_ft: row.natural_strip.map(Distance::from_raw),
            established_on: row.established_on.as_deref().map(read_day).transpose()?,
            touches_pavement: row.touches_pavement == 1,
            maintenance: read_enum(&row.maintenance, "maintenance")?,
            clippings: read_enum(&row.clippings, "clippings")?,
            shade: read_enum(&row.shade, "shade")?,
            area_sqft: row.area.map(Area::from_raw),
            measured_on: row.measured_on.as_deref().map(read_day).transpose()?,
            version: row.version,
            created_at: read_instant(row.created_at)?,
        };
        Ok(Self { seq: row.seq, item })
    }
}

/// What an input becomes in its row.
struct Columns {
    species: Option<String>,
    water: String,
    water_distance: Option<i64>,
    natural_strip: Option<i64>,
    established_on: Option<String>,
    touches_pavement: i64,
    maintenance: String,
    clippings: String,
    shade: String,
}

impl Columns {
    fn of(input: &SectionInput) -> Result<Self, sqlx::Error> {
        Ok(Self {
            species: input.species.as_ref().map(enum_text).transpose()?,
            water: enum_text(&input.water)?,
            water_distance: input.water_distance_ft.map(Distance::raw),
            natural_strip: input.natural_strip_ft.map(Distance::raw),
            established_on: input.established_on.map(|day| day.to_string()),
            touches_pavement: i64::from(input.touches_pavement),
            maintenance: enum_text(&input.maintenance)?,
            clippings: enum_text(&input.clippings)?,
            shade: enum_text(&input.shade)?,
        })
    }
}

pub async fn insert(
    connection: &mut SqliteConnection,
    id: SectionId,
    input: &SectionInput,
    by: PersonId,
    at: Instant,
) -> Result<Section, sqlx::Error> {
    let entry = NewEntry::first(Subject::Section(id), input.facts()?, by, at);
    let (key, property, at, columns) =
        (id.to_string(), input.property_id.to_string(), at.millis(), Columns::of(input)?);
    sqlx::query!(
        "INSERT INTO sections (id, property_id, name, species, water, water_distance, natural_strip, established_on,
             touches_pavement, maintenance, clippings, shade, version, created_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, 1, $13)",
        key,
        property,
        input.name,
        columns.species,
        columns.water,
        columns.water_distance,
        columns.natural_strip,
        columns.established_on,
        columns.touches_pavement,
        columns.maintenance,
        columns.clippings,
        columns.shade,
        at
    )
    .execute(&mut *connection)
    .await?;
    history::append(connection, Subject::Section(id), &entry).await?;
    get(connection, id, Scope::Company).await?.ok_or(sqlx::Error::RowNotFound)
}

/// Replaces a section if the version is the stored one, or any when none is named. It stays on its property.
pub async fn update(
    connection: &mut SqliteConnection,
    id: SectionId,
    input: &SectionInput,
    versions: Versions,
) -> Result<UpdateOutcome<Section>, sqlx::Error> {
    let (key, columns) = (id.to_string(), Columns::of(input)?);
    let done = sqlx::query!(
        "UPDATE sections SET name = $2, species = $3, water = $4, water_distance = $5, natural_strip = $6, established_on = $7,
             touches_pavement = $8, maintenance = $9, clippings = $10, shade = $11, version = version + 1
         WHERE id = $1 AND ($12 IS NULL OR version IN (SELECT value FROM json_each($12)))",
        key,
        input.name,
        columns.species,
        columns.water,
        columns.water_distance,
        columns.natural_strip,
        columns.established_on,
        columns.touches_pavement,
        columns.maintenance,
        columns.clippings,
        columns.shade,
        versions
    )
    .execute(&mut *connection)
    .await?;
    let stored = get(connection, id, Scope::Company).await?;
    Ok(UpdateOutcome::of(done.rows_affected(), stored))
}

/// Counts a measurement as a change of its section, because the section shows its area.
pub async fn remeasured(connection: &mut SqliteConnection, id: SectionId) -> Result<(), sqlx::Error> {
    let key = id.to_string();
    sqlx::query!("UPDATE sections SET version = version + 1 WHERE id = $1", key).execute(connection).await?;
    Ok(())
}

pub async fn get(
    executor: impl SqliteExecutor<'_>,
    id: SectionId,
    scope: Scope,
) -> Result<Option<Section>, sqlx::Error> {
    Ok(those(executor, &[id], None, scope).await?.pop())
}

/// Some sections, as far as whoever asks may see them, with the latest area: that of now, or by a day, for which the earliest counts
/// where there was none by then.
pub async fn those(
    executor: impl SqliteExecutor<'_>,
    ids: &[SectionId],
    on: Option<Day>,
    scope: Scope,
) -> Result<Vec<Section>, sqlx::Error> {
    let (ids, day, person) = (id_list(ids)?, on.map(|day| day.to_string()), scope.viewer());
    let rows = sqlx::query_as!(
        SectionRow,
        r#"SELECT s.seq AS "seq!", s.id AS "id!", s.property_id AS "property_id!", s.name AS "name!", s.species,
                  s.water AS "water!", s.water_distance, s.natural_strip, s.established_on,
                  s.touches_pavement AS "touches_pavement!", s.maintenance AS "maintenance!", s.clippings AS "clippings!",
                  s.shade AS "shade!", m.area AS "area?", m.measured_on AS "measured_on?",
                  s.version AS "version!", s.created_at AS "created_at!"
           FROM json_each($1) AS w CROSS JOIN sections AS s LEFT JOIN measurements AS m ON m.seq = coalesce(
               (SELECT l.seq FROM counted_measurements AS l WHERE l.section_id = s.id AND ($2 IS NULL OR l.measured_on <= $2)
                ORDER BY l.measured_on DESC, l.place DESC LIMIT 1),
               (SELECT l.seq FROM counted_measurements AS l WHERE l.section_id = s.id ORDER BY l.measured_on, l.place LIMIT 1))
           WHERE s.id = w.value AND ($3 IS NULL OR EXISTS (
               SELECT 1 FROM sight AS v WHERE v.property_id = s.property_id AND v.viewer = $3))"#,
        ids,
        day,
        person
    )
    .fetch_all(executor)
    .await?;
    rows.into_iter().map(|row| Sequenced::try_from(row).map(|row| row.item)).collect()
}

/// A page of sections, of all properties or of one, in the order in which they were written.
pub async fn list(
    pool: &SqlitePool,
    span: PageRequest,
    property: Option<PropertyId>,
    scope: Scope,
) -> Result<Vec<Sequenced<Section>>, sqlx::Error> {
    let (property, person) = (property.map(|id| id.to_string()), scope.viewer());
    let rows = sqlx::query_as!(
        SectionRow,
        r#"SELECT s.seq AS "seq!", s.id AS "id!", s.property_id AS "property_id!", s.name AS "name!", s.species,
                  s.water AS "water!", s.water_distance, s.natural_strip, s.established_on,
                  s.touches_pavement AS "touches_pavement!", s.maintenance AS "maintenance!", s.clippings AS "clippings!",
                  s.shade AS "shade!", m.area AS "area?", m.measured_on AS "measured_on?",
                  s.version AS "version!", s.created_at AS "created_at!"
           FROM sections AS s LEFT JOIN measurements AS m ON m.seq = (
               SELECT l.seq FROM counted_measurements AS l WHERE l.section_id = s.id ORDER BY l.measured_on DESC, l.place DESC LIMIT 1)
           WHERE s.seq > $1 AND ($2 IS NULL OR s.property_id = $2) AND ($3 IS NULL OR EXISTS (
               SELECT 1 FROM sight AS v WHERE v.property_id = s.property_id AND v.viewer = $3))
           ORDER BY s.seq LIMIT $4"#,
        span.after,
        property,
        person,
        span.take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(Sequenced::try_from).collect()
}

/// The sections of one property.
pub async fn ids_of(
    connection: &mut SqliteConnection,
    property: PropertyId,
) -> Result<HashSet<SectionId>, sqlx::Error> {
    let property = property.to_string();
    let rows = sqlx::query!(r#"SELECT id AS "id!" FROM sections WHERE property_id = $1"#, property)
        .fetch_all(connection)
        .await?;
    rows.iter().map(|row| read(&row.id, "section id")).collect()
}
