//! Calibrations. Only ever inserted: another measurement is another calibration.

use domain::{
    calibration::{
        Age, AgeLimits, CalibrationStatus, age,
        catch_test::{CatchResult, CatchTest},
        standing,
    },
    ids::{CalibrationId, EquipmentId, PersonId, ProductId},
    time::{Day, Instant},
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqliteExecutor, SqlitePool};
use utoipa::ToSchema;

use crate::{
    paging::{PageRequest, Sequenced},
    store::{equipment, read, read_day, read_instant, read_json},
};

/// A calibration as whoever made it writes it down.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "equipment_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a21", "product_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a12",
    "calibrated_on": "2026-09-14", "setting": "14",
    "test": {
        "method": "course", "put_in_lb": "10", "left_over_lb": "5.2", "swath_ft": "8", "swath_by": "half_of_centre",
        "distance_ft": "125", "target_lb_per_1000_sqft": "5"
    }
}))]
pub struct CalibrationInput {
    pub equipment_id: EquipmentId,
    pub product_id: ProductId,
    /// Who walked or drove, since speed changes the rate; the sender if it is left out. A technician writes down the own.
    #[serde(default)]
    pub person_id: Option<PersonId>,
    /// Not a day to come.
    pub calibrated_on: Day,
    /// The gate, dial or nozzle and pressure that it was set to, as the machine shows it.
    #[serde(default)]
    #[schema(min_length = 1, max_length = 60, format = "line")]
    pub setting: Option<String>,
    /// What was measured.
    pub test: CatchTest,
    #[serde(default)]
    #[schema(min_length = 1, max_length = 1000, format = "lines")]
    pub note: Option<String>,
}

/// A calibration: what a machine really put down for one product and one operator. Never edited.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Calibration {
    pub id: CalibrationId,
    pub equipment_id: EquipmentId,
    pub product_id: ProductId,
    /// The operator.
    pub person_id: PersonId,
    pub calibrated_on: Day,
    #[schema(max_length = 60)]
    pub setting: Option<String>,
    pub test: CatchTest,
    /// What followed from the test when it was written down, each figure with its derivation.
    pub result: CatchResult,
    #[schema(max_length = 1000)]
    pub note: Option<String>,
    pub entered_by: PersonId,
    pub created_at: Instant,
}

/// A calibration that nothing newer of its kind supersedes on a day, and how old it is then.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct CalibrationInForce {
    pub calibration: Calibration,
    #[schema(minimum = 0, maximum = 4_000_000)]
    pub days_since: i32,
    /// Records that name this machine, product and operator, of the calibration's day to the day asked about; those that were
    /// taken back do not count.
    #[schema(minimum = 0, maximum = 2_000_000_000)]
    pub applications_since: i32,
    pub age: Age,
    pub standing: CalibrationStatus,
    /// The limits by which it was judged: the company's own for this machine, or 365 days and 4 applications.
    pub limits: AgeLimits,
}

struct CalibrationRow {
    seq: i64,
    id: String,
    equipment_id: String,
    product_id: String,
    person_id: String,
    calibrated_on: String,
    setting: Option<String>,
    test: String,
    result: String,
    note: Option<String>,
    entered_by: String,
    created_at: i64,
}

impl TryFrom<CalibrationRow> for Sequenced<Calibration> {
    type Error = sqlx::Error;

    fn try_from(row: CalibrationRow) -> Result<Self, sqlx::Error> {
        let item = Calibration {
            id: read(&row.id, "calibration id")?,
            equipment_id: read(&row.equipment_id, "equipment id")?,
            product_id: read(&row.product_id, "product id")?,
            person_id: read(&row.person_id, "person id")?,
            calibrated_on: read_day(&row.calibrated_on)?,
            setting: row.setting,
            test: read_json(&row.test, "catch test")?,
            result: read_json(&row.result, "result of a catch test")?,
            note: row.note,
            entered_by: read(&row.entered_by, "person id")?,
            created_at: read_instant(row.created_at)?,
        };
        Ok(Self { seq: row.seq, item })
    }
}

pub async fn insert(connection: &mut SqliteConnection, calibration: &Calibration) -> Result<(), sqlx::Error> {
    let json = |error: serde_json::Error| sqlx::Error::Encode(error.into());
    let (id, equipment) = (calibration.id.to_string(), calibration.equipment_id.to_string());
    let (product, person) = (calibration.product_id.to_string(), calibration.person_id.to_string());
    let (on, entered_by) = (calibration.calibrated_on.to_string(), calibration.entered_by.to_string());
    let finds = if matches!(calibration.test, CatchTest::Pans { .. }) { "swath" } else { "rate" };
    let test = serde_json::to_string(&calibration.test).map_err(json)?;
    let result = serde_json::to_string(&calibration.result).map_err(json)?;
    let at = calibration.created_at.millis();
    sqlx::query!(
        "INSERT INTO calibrations (id, equipment_id, product_id, person_id, calibrated_on, setting, finds, test, result, note,
             entered_by, created_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)",
        id,
        equipment,
        product,
        person,
        on,
        calibration.setting,
        finds,
        test,
        result,
        calibration.note,
        entered_by,
        at
    )
    .execute(connection)
    .await?;
    Ok(())
}

pub async fn get(executor: impl SqliteExecutor<'_>, id: CalibrationId) -> Result<Option<Calibration>, sqlx::Error> {
    let key = id.to_string();
    let row = sqlx::query_as!(
        CalibrationRow,
        r#"SELECT seq AS "seq!", id AS "id!", equipment_id AS "equipment_id!", product_id AS "product_id!", person_id AS "person_id!",
                  calibrated_on AS "calibrated_on!", setting, test AS "test!", result AS "result!", note, entered_by AS "entered_by!",
                  created_at AS "created_at!"
           FROM calibrations WHERE id = $1"#,
        key
    )
    .fetch_optional(executor)
    .await?;
    row.map(|row| Sequenced::try_from(row).map(|row| row.item)).transpose()
}

/// Which calibrations a list shows.
#[derive(Debug, Default)]
pub struct Filter {
    pub equipment: Option<EquipmentId>,
    pub product: Option<ProductId>,
    pub person: Option<PersonId>,
}

/// A page of calibrations, in the order in which they were written.
pub async fn list(
    pool: &SqlitePool,
    span: PageRequest,
    filter: Filter,
) -> Result<Vec<Sequenced<Calibration>>, sqlx::Error> {
    let (equipment, product) = (filter.equipment.map(|id| id.to_string()), filter.product.map(|id| id.to_string()));
    let person = filter.person.map(|id| id.to_string());
    let rows = sqlx::query_as!(
        CalibrationRow,
        r#"SELECT seq AS "seq!", id AS "id!", equipment_id AS "equipment_id!", product_id AS "product_id!", person_id AS "person_id!",
                  calibrated_on AS "calibrated_on!", setting, test AS "test!", result AS "result!", note, entered_by AS "entered_by!",
                  created_at AS "created_at!"
           FROM calibrations
           WHERE seq > $1 AND ($2 IS NULL OR equipment_id = $2) AND ($3 IS NULL OR product_id = $3)
             AND ($4 IS NULL OR person_id = $4)
           ORDER BY seq LIMIT $5"#,
        span.after,
        equipment,
        product,
        person,
        span.take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(Sequenced::try_from).collect()
}

/// The calibrations in force on a day: of each machine in use (or of one), each of these products and each operator (or one),
/// the latest that found a rate and the latest that found a swath.
pub async fn in_force(
    executor: impl SqliteExecutor<'_>,
    equipment: Option<EquipmentId>,
    products: &[ProductId],
    person: Option<PersonId>,
    on: Day,
) -> Result<Vec<CalibrationInForce>, sqlx::Error> {
    let products = serde_json::to_string(products).map_err(|error| sqlx::Error::Encode(error.into()))?;
    let (equipment, person, day) =
        (equipment.map(|id| id.to_string()), person.map(|id| id.to_string()), on.to_string());
    let rows = sqlx::query!(
        r#"SELECT c.seq AS "seq!", c.id AS "id!", c.equipment_id AS "equipment_id!", c.product_id AS "product_id!",
                  c.person_id AS "person_id!", c.calibrated_on AS "calibrated_on!", c.setting, c.test AS "test!", c.result AS "result!",
                  c.note, c.entered_by AS "entered_by!", c.created_at AS "created_at!", e.limit_days, e.limit_applications,
                  (SELECT count(*) FROM applications AS a
                   WHERE a.equipment_id = c.equipment_id AND a.product_id = c.product_id AND a.person_id = c.person_id
                     AND a.applied_on BETWEEN c.calibrated_on AND $4
                     AND (SELECT sum(l.product) FROM application_lines AS l WHERE l.application_id = a.id) > 0)
                   AS "applications_since!: i64"
           FROM calibrations AS c JOIN equipment AS e ON e.id = c.equipment_id
           WHERE c.product_id IN (SELECT value FROM json_each($2)) AND ($3 IS NULL OR c.person_id = $3)
             AND (($1 IS NULL AND e.active = 1) OR c.equipment_id = $1)
             AND c.seq = (SELECT l.seq FROM calibrations AS l
                 WHERE l.equipment_id = c.equipment_id AND l.product_id = c.product_id AND l.person_id = c.person_id
                   AND l.finds = c.finds AND l.calibrated_on <= $4
                 ORDER BY l.calibrated_on DESC, l.seq DESC LIMIT 1)
           ORDER BY c.seq"#,
        equipment,
        products,
        person,
        day
    )
    .fetch_all(executor)
    .await?;
    rows.into_iter()
        .map(|row| {
            let limits = equipment::limits(row.limit_days, row.limit_applications).unwrap_or(AgeLimits::DEFAULT);
            let used = i32::try_from(row.applications_since).unwrap_or(i32::MAX);
            let Sequenced { item, .. } = Sequenced::<Calibration>::try_from(CalibrationRow {
                seq: row.seq,
                id: row.id,
                equipment_id: row.equipment_id,
                product_id: row.product_id,
                person_id: row.person_id,
                calibrated_on: row.calibrated_on,
                setting: row.setting,
                test: row.test,
                result: row.result,
                note: row.note,
                entered_by: row.entered_by,
                created_at: row.created_at,
            })?;
            Ok(CalibrationInForce {
                days_since: on.days_since(item.calibrated_on),
                applications_since: used,
                age: age(item.calibrated_on, on, used, limits),
                standing: standing(item.calibrated_on, on, used, limits),
                limits,
                calibration: item,
            })
        })
        .collect()
}
