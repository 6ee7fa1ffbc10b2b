//! Visits: planned stops.

mod inputs;
pub mod week;

use std::collections::HashSet;

use domain::{
    application::Purpose,
    decision::Finding,
    ids::{PersonId, ProductId, ProgrammeId, PropertyId, SectionId, VisitId},
    quantity::{NutrientRate, ProductRate},
    time::{Day, Instant},
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqliteExecutor, SqlitePool};
use utoipa::ToSchema;

use crate::{
    paging::{PageRequest, Sequenced},
    scope::Scope,
    store::{enum_text, read, read_day, read_enum, read_instant, read_json},
    version::{UpdateOutcome, Versioned, Versions},
};

pub use inputs::{VisitChange, VisitInput};

/// How a visit stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum VisitStatus {
    Planned,
    Done,
    /// Somebody was there or on the way, and it was not done.
    NotDone,
    /// Called off beforehand.
    Cancelled,
}

/// A planned stop: one person, one property, one day, one product.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Visit {
    pub id: VisitId,
    pub property_id: PropertyId,
    pub person_id: PersonId,
    /// Local day at the property.
    pub planned_on: Day,
    pub product_id: ProductId,
    /// Sections to be treated, in the order of their ids.
    #[schema(max_items = 20)]
    pub section_ids: Vec<SectionId>,
    pub purpose: Purpose,
    /// Nitrogen to be delivered.
    pub target_nitrogen_lb_per_1000_sqft: Option<NutrientRate>,
    /// Product to be put down, where nitrogen does not state the amount. Left out where there is none, as in earlier visits.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub target_product_lb_per_1000_sqft: Option<ProductRate>,
    pub status: VisitStatus,
    /// Why it was not done or called off.
    #[schema(max_length = 500)]
    pub reason: Option<String>,
    /// The programme that it was planned from, if it was. A round is planned once on a section.
    pub programme_id: Option<ProgrammeId>,
    /// Which round of the programme it is.
    #[schema(max_length = 120)]
    pub round: Option<String>,
    #[schema(minimum = 1, maximum = 1_000_000_000)]
    pub version: i64,
    pub created_at: Instant,
    /// What a check of that day would say of the certificate of whoever goes: one that has run out by then, or none that the law asks
    /// for. Told when a planned visit is written; left out of every other answer, and where nothing stands against it.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 20, required = false)]
    pub certificate: Vec<Finding>,
}

impl Versioned for Visit {
    fn version(&self) -> i64 {
        self.version
    }
}

/// Which visits a list shows.
#[derive(Debug, Clone, Copy, Default)]
pub struct Filter {
    pub person: Option<PersonId>,
    pub planned_on: Option<Day>,
    pub property: Option<PropertyId>,
}

pub(super) struct VisitRow {
    pub seq: i64,
    pub id: String,
    pub property_id: String,
    pub person_id: String,
    pub planned_on: String,
    pub product_id: String,
    pub section_ids: String,
    pub purpose: String,
    pub target_nitrogen: Option<i64>,
    pub target_product: Option<i64>,
    pub status: String,
    pub reason: Option<String>,
    pub programme_id: Option<String>,
    pub round: Option<String>,
    pub version: i64,
    pub created_at: i64,
}

impl TryFrom<VisitRow> for Sequenced<Visit> {
    type Error = sqlx::Error;

    fn try_from(row: VisitRow) -> Result<Self, sqlx::Error> {
        let mut section_ids: Vec<SectionId> = read_json(&row.section_ids, "section ids")?;
        section_ids.sort();
        let item = Visit {
            id: read(&row.id, "visit id")?,
            property_id: read(&row.property_id, "property id")?,
            person_id: read(&row.person_id, "person id")?,
            planned_on: read_day(&row.planned_on)?,
            product_id: read(&row.product_id, "product id")?,
            section_ids,
            purpose: read_enum(&row.purpose, "purpose")?,
            target_nitrogen_lb_per_1000_sqft: row.target_nitrogen.map(NutrientRate::from_raw),
            target_product_lb_per_1000_sqft: row.target_product.map(ProductRate::from_raw),
            status: read_enum(&row.status, "visit status")?,
            reason: row.reason,
            programme_id: row.programme_id.as_deref().map(|id| read(id, "programme id")).transpose()?,
            round: row.round,
            version: row.version,
            created_at: read_instant(row.created_at)?,
            certificate: Vec::new(),
        };
        Ok(Self { seq: row.seq, item })
    }
}

struct Columns {
    property: String,
    person: String,
    planned_on: String,
    product: String,
    target_nitrogen: Option<i64>,
    target_product: Option<i64>,
    purpose: String,
    status: String,
}

impl Columns {
    fn of(input: &VisitChange) -> Result<Self, sqlx::Error> {
        Ok(Self {
            property: input.property_id.to_string(),
            person: input.person_id.to_string(),
            planned_on: input.planned_on.to_string(),
            product: input.product_id.to_string(),
            target_nitrogen: input.target_nitrogen_lb_per_1000_sqft.map(NutrientRate::raw),
            target_product: input.target_product_lb_per_1000_sqft.map(ProductRate::raw),
            purpose: enum_text(&input.purpose)?,
            status: enum_text(&input.status)?,
        })
    }
}

/// Writes a visit, of a round of a programme if it was planned from one.
pub async fn insert(
    connection: &mut SqliteConnection,
    id: VisitId,
    input: &VisitChange,
    of: Option<(ProgrammeId, &str)>,
    at: Instant,
) -> Result<Visit, sqlx::Error> {
    let (key, at, columns) = (id.to_string(), at.millis(), Columns::of(input)?);
    let (programme, round) = of.map(|(programme, round)| (programme.to_string(), round)).unzip();
    sqlx::query!(
        "INSERT INTO visits (id, property_id, person_id, planned_on, product_id, target_nitrogen, purpose, status, reason,
             programme_id, round, target_product, version, created_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, 1, $13)",
        key,
        columns.property,
        columns.person,
        columns.planned_on,
        columns.product,
        columns.target_nitrogen,
        columns.purpose,
        columns.status,
        input.reason,
        programme,
        round,
        columns.target_product,
        at
    )
    .execute(&mut *connection)
    .await?;
    set_sections(connection, &key, &input.section_ids).await?;
    assign(connection, &columns, at).await?;
    get(connection, id, Scope::Company).await?.ok_or(sqlx::Error::RowNotFound)
}

/// Replaces a visit if the version is the stored one, or any when none is named.
pub async fn update(
    connection: &mut SqliteConnection,
    id: VisitId,
    input: &VisitChange,
    versions: Versions,
    at: Instant,
) -> Result<UpdateOutcome<Visit>, sqlx::Error> {
    let (key, at, columns) = (id.to_string(), at.millis(), Columns::of(input)?);
    let done = sqlx::query!(
        "UPDATE visits SET property_id = $2, person_id = $3, planned_on = $4, product_id = $5, target_nitrogen = $6, purpose = $7,
             status = $8, reason = $9, target_product = $10, version = version + 1
         WHERE id = $1 AND ($11 IS NULL OR version IN (SELECT value FROM json_each($11)))",
        key,
        columns.property,
        columns.person,
        columns.planned_on,
        columns.product,
        columns.target_nitrogen,
        columns.purpose,
        columns.status,
        input.reason,
        columns.target_product,
        versions
    )
    .execute(&mut *connection)
    .await?;
    if done.rows_affected() > 0 {
        sqlx::query!("DELETE FROM visit_sections WHERE visit_id = $1", key).execute(&mut *connection).await?;
        set_sections(connection, &key, &input.section_ids).await?;
        assign(connection, &columns, at).await?;
    }
    let stored = get(connection, id, Scope::Company).await?;
    Ok(UpdateOutcome::of(done.rows_affected(), stored))
}

/// From now on the person may read the property and record work there, also when the visit goes to somebody else.
async fn assign(connection: &mut SqliteConnection, columns: &Columns, at: i64) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "INSERT INTO assignments (person_id, property_id, since) VALUES ($1, $2, $3) ON CONFLICT (person_id, property_id) DO NOTHING",
        columns.person,
        columns.property,
        at
    )
    .execute(connection)
    .await?;
    Ok(())
}

async fn set_sections(
    connection: &mut SqliteConnection,
    visit: &str,
    sections: &[SectionId],
) -> Result<(), sqlx::Error> {
    for section in sections {
        let section = section.to_string();
        sqlx::query!("INSERT INTO visit_sections (visit_id, section_id) VALUES ($1, $2)", visit, section)
            .execute(&mut *connection)
            .await?;
    }
    Ok(())
}

/// A visit. A technician reads the own ones.
pub async fn get(executor: impl SqliteExecutor<'_>, id: VisitId, scope: Scope) -> Result<Option<Visit>, sqlx::Error> {
    let (key, person) = (id.to_string(), scope.viewer());
    let row = sqlx::query_as!(
        VisitRow,
        r#"SELECT v.seq AS "seq!", v.id AS "id!", v.property_id AS "property_id!", v.person_id AS "person_id!",
                  v.planned_on AS "planned_on!", v.product_id AS "product_id!",
                  (SELECT json_group_array(s.section_id) FROM visit_sections AS s WHERE s.visit_id = v.id) AS "section_ids!: String",
                  v.purpose AS "purpose!", v.target_nitrogen, v.target_product, v.status AS "status!", v.reason, v.programme_id, v.round,
                  v.version AS "version!",
                  v.created_at AS "created_at!"
           FROM visits AS v WHERE v.id = $1 AND ($2 IS NULL OR v.person_id = $2)"#,
        key,
        person
    )
    .fetch_optional(executor)
    .await?;
    row.map(|row| Sequenced::try_from(row).map(|row| row.item)).transpose()
}

/// A page of visits, in the order in which they were written.
pub async fn list(
    pool: &SqlitePool,
    span: PageRequest,
    filter: Filter,
    scope: Scope,
) -> Result<Vec<Sequenced<Visit>>, sqlx::Error> {
    let own = scope.viewer();
    let (person, property) = (filter.person.map(|id| id.to_string()), filter.property.map(|id| id.to_string()));
    let planned_on = filter.planned_on.map(|day| day.to_string());
    let rows = sqlx::query_as!(
        VisitRow,
        r#"SELECT v.seq AS "seq!", v.id AS "id!", v.property_id AS "property_id!", v.person_id AS "person_id!",
                  v.planned_on AS "planned_on!", v.product_id AS "product_id!",
                  (SELECT json_group_array(s.section_id) FROM visit_sections AS s WHERE s.visit_id = v.id) AS "section_ids!: String",
                  v.purpose AS "purpose!", v.target_nitrogen, v.target_product, v.status AS "status!", v.reason, v.programme_id, v.round,
                  v.version AS "version!",
                  v.created_at AS "created_at!"
           FROM visits AS v
           WHERE v.seq IN (
               SELECT * FROM (
                   SELECT i.seq FROM visits AS i
                   WHERE i.property_id = $5 AND i.seq > $1 AND ($2 IS NULL OR i.person_id = $2) AND ($3 IS NULL OR i.person_id = $3)
                     AND ($4 IS NULL OR i.planned_on = $4)
                   ORDER BY i.seq LIMIT $6)
               UNION ALL SELECT * FROM (
                   SELECT i.seq FROM visits AS i
                   WHERE $5 IS NULL AND i.person_id = coalesce($2, $3) AND i.planned_on = $4 AND i.seq > $1
                     AND ($2 IS NULL OR $3 IS NULL OR $2 = $3)
                   ORDER BY i.seq LIMIT $6)
               UNION ALL SELECT * FROM (
                   SELECT i.seq FROM visits AS i
                   WHERE $5 IS NULL AND coalesce($2, $3) IS NULL AND i.status IN ('planned', 'done', 'not_done', 'cancelled')
                     AND i.planned_on = $4 AND i.seq > $1
                   ORDER BY i.seq LIMIT $6)
               UNION ALL SELECT * FROM (
                   SELECT i.seq FROM visits AS i
                   WHERE $5 IS NULL AND $4 IS NULL AND i.seq > $1 AND ($2 IS NULL OR i.person_id = $2)
                     AND ($3 IS NULL OR i.person_id = $3)
                   ORDER BY i.seq LIMIT $6))
           ORDER BY v.seq"#,
        span.after,
        own,
        person,
        planned_on,
        property,
        span.take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(Sequenced::try_from).collect()
}

/// Sections on which a round of a programme is planned or done already, by a visit other than one.
pub async fn of_round(
    connection: &mut SqliteConnection,
    programme: ProgrammeId,
    round: &str,
    other_than: Option<VisitId>,
) -> Result<HashSet<SectionId>, sqlx::Error> {
    let (programme, other) = (programme.to_string(), other_than.map(|id| id.to_string()));
    let rows = sqlx::query!(
        r#"SELECT w.section_id AS "section_id!" FROM visits AS v JOIN visit_sections AS w ON w.visit_id = v.id
           WHERE v.programme_id = $1 AND v.round = $2 AND v.status IN ('planned', 'done') AND v.id IS NOT $3"#,
        programme,
        round,
        other
    )
    .fetch_all(connection)
    .await?;
    rows.iter().map(|row| read(&row.section_id, "section id")).collect()
}
