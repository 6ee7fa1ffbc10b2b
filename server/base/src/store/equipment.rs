//! Spreaders and sprayers.

use domain::{
    calibration::AgeLimits,
    equipment::EquipmentKind,
    ids::EquipmentId,
    quantity::{Distance, ProductMass, Volume},
    time::Instant,
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqliteExecutor, SqlitePool};
use utoipa::ToSchema;

use crate::{
    paging::{PageRequest, Sequenced},
    store::{enum_text, read, read_enum, read_instant},
    version::{UpdateOutcome, Versioned, Versions},
};

/// A spreader or sprayer as the office writes it.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "name": "Spreader 01", "kind": "rotary_spreader", "has_deflector": true, "hopper_lb": "120", "swath_ft": "12", "active": true,
    "calibration_limits": { "days": 180, "applications": 200 }
}))]
pub struct EquipmentInput {
    #[schema(min_length = 1, max_length = 120, format = "line")]
    pub name: String,
    /// What it is. Never changes afterwards: a machine of another kind is another machine.
    pub kind: EquipmentKind,
    /// A deflector or guard is fitted, which throws nothing to the side of the water. Only a rotary spreader has one.
    #[serde(default)]
    pub has_deflector: bool,
    /// What the hopper of a spreader holds.
    #[serde(default)]
    pub hopper_lb: Option<ProductMass>,
    /// What the tank of a sprayer holds.
    #[serde(default)]
    pub tank_gal: Option<Volume>,
    /// Width that it covers, as its maker or its owner states it. What it really covers, a row of pans tells.
    #[serde(default)]
    pub swath_ft: Option<Distance>,
    /// When a calibration of it is old, as the company has set it; 365 days or 4 applications when it has not.
    #[serde(default)]
    pub calibration_limits: Option<AgeLimits>,
    /// In use. Records of other work cannot name a machine that is not.
    pub active: bool,
}

/// A spreader or sprayer of the company.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct EquipmentView {
    pub id: EquipmentId,
    #[schema(max_length = 120)]
    pub name: String,
    pub kind: EquipmentKind,
    pub has_deflector: bool,
    pub hopper_lb: Option<ProductMass>,
    pub tank_gal: Option<Volume>,
    pub swath_ft: Option<Distance>,
    /// When a calibration of it is old, as the company has set it; null when it has not.
    pub calibration_limits: Option<AgeLimits>,
    pub active: bool,
    #[schema(minimum = 1, maximum = 1_000_000_000)]
    pub version: i64,
    pub created_at: Instant,
}

impl Versioned for EquipmentView {
    fn version(&self) -> i64 {
        self.version
    }
}

struct EquipmentRow {
    seq: i64,
    id: String,
    name: String,
    kind: String,
    has_deflector: i64,
    hopper: Option<i64>,
    tank: Option<i64>,
    swath: Option<i64>,
    limit_days: Option<i64>,
    limit_applications: Option<i64>,
    active: i64,
    version: i64,
    created_at: i64,
}

/// Limits from their two columns.
pub(super) fn limits(days: Option<i64>, applications: Option<i64>) -> Option<AgeLimits> {
    let (days, applications) = days.zip(applications)?;
    Some(AgeLimits { days: i32::try_from(days).ok()?, applications: i32::try_from(applications).ok()? })
}

impl TryFrom<EquipmentRow> for Sequenced<EquipmentView> {
    type Error = sqlx::Error;

    fn try_from(row: EquipmentRow) -> Result<Self, sqlx::Error> {
        let item = EquipmentView {
            id: read(&row.id, "equipment id")?,
            name: row.name,
            kind: read_enum(&row.kind, "kind of equipment")?,
            has_deflector: row.has_deflector == 1,
            hopper_lb: row.hopper.map(ProductMass::from_raw),
            tank_gal: row.tank.map(Volume::from_raw),
            swath_ft: row.swath.map(Distance::from_raw),
            calibration_limits: limits(row.limit_days, row.limit_applications),
            active: row.active == 1,
            version: row.version,
            created_at: read_instant(row.created_at)?,
        };
        Ok(Self { seq: row.seq, item })
    }
}

/// What an input becomes in its row.
struct Columns {
    has_deflector: i64,
    hopper: Option<i64>,
    tank: Option<i64>,
    swath: Option<i64>,
    limit_days: Option<i32>,
    limit_applications: Option<i32>,
    active: i64,
}

impl Columns {
    fn of(input: &EquipmentInput) -> Self {
        Self {
            has_deflector: i64::from(input.has_deflector),
            hopper: input.hopper_lb.map(ProductMass::raw),
            tank: input.tank_gal.map(Volume::raw),
            swath: input.swath_ft.map(Distance::raw),
            limit_days: input.calibration_limits.map(|limits| limits.days),
            limit_applications: input.calibration_limits.map(|limits| limits.applications),
            active: i64::from(input.active),
        }
    }
}

pub async fn insert(
    connection: &mut SqliteConnection,
    id: EquipmentId,
    input: &EquipmentInput,
    at: Instant,
) -> Result<EquipmentView, sqlx::Error> {
    let (key, kind, at, columns) = (id.to_string(), enum_text(&input.kind)?, at.millis(), Columns::of(input));
    sqlx::query!(
        "INSERT INTO equipment (id, name, kind, has_deflector, hopper, tank, swath, limit_days, limit_applications, active,
             version, created_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, 1, $11)",
        key,
        input.name,
        kind,
        columns.has_deflector,
        columns.hopper,
        columns.tank,
        columns.swath,
        columns.limit_days,
        columns.limit_applications,
        columns.active,
        at
    )
    .execute(&mut *connection)
    .await?;
    get(connection, id).await?.ok_or(sqlx::Error::RowNotFound)
}

/// Replaces a machine if the version is the stored one, or any when none is named. Its kind stays.
pub async fn update(
    connection: &mut SqliteConnection,
    id: EquipmentId,
    input: &EquipmentInput,
    versions: Versions,
) -> Result<UpdateOutcome<EquipmentView>, sqlx::Error> {
    let (key, columns) = (id.to_string(), Columns::of(input));
    let done = sqlx::query!(
        "UPDATE equipment SET name = $2, has_deflector = $3, hopper = $4, tank = $5, swath = $6, limit_days = $7,
             limit_applications = $8, active = $9, version = version + 1
         WHERE id = $1 AND ($10 IS NULL OR version IN (SELECT value FROM json_each($10)))",
        key,
        input.name,
        columns.has_deflector,
        columns.hopper,
        columns.tank,
        columns.swath,
        columns.limit_days,
        columns.limit_applications,
        columns.active,
        versions
    )
    .execute(&mut *connection)
    .await?;
    let stored = get(connection, id).await?;
    Ok(UpdateOutcome::of(done.rows_affected(), stored))
}

pub async fn get(executor: impl SqliteExecutor<'_>, id: EquipmentId) -> Result<Option<EquipmentView>, sqlx::Error> {
    let key = id.to_string();
    let row = sqlx::query_as!(
        EquipmentRow,
        r#"SELECT seq AS "seq!", id AS "id!", name AS "name!", kind AS "kind!", has_deflector AS "has_deflector!", hopper, tank,
                  swath, limit_days, limit_applications, active AS "active!", version AS "version!", created_at AS "created_at!"
           FROM equipment WHERE id = $1"#,
        key
    )
    .fetch_optional(executor)
    .await?;
    row.map(|row| Sequenced::try_from(row).map(|row| row.item)).transpose()
}

/// A page of equipment, in the order in which it was written.
pub async fn list(pool: &SqlitePool, span: PageRequest) -> Result<Vec<Sequenced<EquipmentView>>, sqlx::Error> {
    let rows = sqlx::query_as!(
        EquipmentRow,
        r#"SELECT seq AS "seq!", id AS "id!", name AS "name!", kind AS "kind!", has_deflector AS "has_deflector!", hopper, tank,
                  swath, limit_days, limit_applications, active AS "active!", version AS "version!", created_at AS "created_at!"
           FROM equipment WHERE seq > $1 ORDER BY seq LIMIT $2"#,
        span.after,
        span.take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(Sequenced::try_from).collect()
}
