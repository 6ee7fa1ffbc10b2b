//! Stock movements. Stock is always their sum; they are only ever inserted.

use domain::{
    ids::{LotId, PersonId, ProductId, StockMovementId},
    quantity::{ProductMass, StockBalance},
    time::{Day, Instant},
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqlitePool};
use utoipa::ToSchema;

use crate::{
    paging::{PageRequest, Sequenced},
    store::{enum_text, read, read_day, read_enum, read_instant},
};

/// What the office writes about stock beside deliveries.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum StockChange {
    /// Sent back to the supplier: out.
    Returned,
    /// Lost and not put to use: out.
    Spilled,
    /// Disposed of: out.
    Disposed,
    /// Weighed or counted: the difference from the records, in or out.
    Counted,
}

/// Why product moved.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum MovementKind {
    /// Delivered with a lot.
    Received,
    /// Put down; `record_id` is the application.
    Applied,
    /// Sent back to the supplier.
    Returned,
    /// Lost and not put to use.
    Spilled,
    Disposed,
    /// The difference between a count and the book.
    Counted,
    /// The difference that a correction makes; `record_id` is the correction.
    Corrected,
}

impl MovementKind {
    /// How a page calls it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Received => "delivered",
            Self::Applied => "put down",
            Self::Returned => "sent back",
            Self::Spilled => "spilled",
            Self::Disposed => "disposed of",
            Self::Counted => "counted: the difference from the records",
            Self::Corrected => "corrected",
        }
    }
}

/// A stock movement as the office writes it.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "product_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a12", "kind": "spilled", "mass_lb": "12.5", "moved_on": "2026-04-02",
    "reason": "Bag torn in the yard, swept up wet"
}))]
pub struct StockMovementInput {
    pub product_id: ProductId,
    /// The lot it belonged to, if somebody knows. A count with a lot counts that lot alone.
    #[serde(default)]
    pub lot_id: Option<LotId>,
    pub kind: StockChange,
    /// What went out, above zero. Required for everything but a count, and only then.
    #[serde(default)]
    pub mass_lb: Option<ProductMass>,
    /// What is there now. Required for a count, and only then. It is compared with the book as it stands when this is
    /// written, so count when the phones have sent the day.
    #[serde(default)]
    pub counted_lb: Option<ProductMass>,
    /// Not a day to come.
    pub moved_on: Day,
    #[schema(min_length = 3, max_length = 500, format = "lines")]
    pub reason: String,
}

/// Product that came in or went out.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct StockMovement {
    pub id: StockMovementId,
    pub product_id: ProductId,
    pub lot_id: Option<LotId>,
    pub kind: MovementKind,
    /// Product that came in; below zero for product that went out.
    pub mass_lb: StockBalance,
    pub moved_on: Day,
    /// Who wrote it.
    pub person_id: PersonId,
    /// The application or the correction that moved it.
    #[schema(max_length = 36, format = "uuid")]
    pub record_id: Option<String>,
    #[schema(max_length = 500)]
    pub reason: Option<String>,
    pub recorded_at: Instant,
}

struct MovementRow {
    seq: i64,
    id: String,
    product_id: String,
    lot_id: Option<String>,
    kind: String,
    mass: i64,
    moved_on: String,
    person_id: String,
    record_id: Option<String>,
    reason: Option<String>,
    recorded_at: i64,
}

impl TryFrom<MovementRow> for Sequenced<StockMovement> {
    type Error = sqlx::Error;

    fn try_from(row: MovementRow) -> Result<Self, sqlx::Error> {
        let item = StockMovement {
            id: read(&row.id, "stock movement id")?,
            product_id: read(&row.product_id, "product id")?,
            lot_id: row.lot_id.as_deref().map(|id| read(id, "lot id")).transpose()?,
            kind: read_enum(&row.kind, "movement kind")?,
            mass_lb: StockBalance::from_raw(row.mass),
            moved_on: read_day(&row.moved_on)?,
            person_id: read(&row.person_id, "person id")?,
            record_id: row.record_id,
            reason: row.reason,
            recorded_at: read_instant(row.recorded_at)?,
        };
        Ok(Self { seq: row.seq, item })
    }
}

/// Writes a movement that no application and no correction made.
pub async fn insert(connection: &mut SqliteConnection, movement: &StockMovement) -> Result<(), sqlx::Error> {
    let (id, product, lot) =
        (movement.id.to_string(), movement.product_id.to_string(), movement.lot_id.map(|id| id.to_string()));
    let (kind, mass, moved_on) = (enum_text(&movement.kind)?, movement.mass_lb.raw(), movement.moved_on.to_string());
    let (person, at) = (movement.person_id.to_string(), movement.recorded_at.millis());
    sqlx::query!(
        "INSERT INTO stock_movements (id, product_id, lot_id, kind, mass, moved_on, person_id, record_id, reason, recorded_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
        id,
        product,
        lot,
        kind,
        mass,
        moved_on,
        person,
        movement.record_id,
        movement.reason,
        at
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// A page of movements, of all products or of one, newest first.
pub async fn list(
    pool: &SqlitePool,
    span: PageRequest,
    product: Option<ProductId>,
) -> Result<Vec<Sequenced<StockMovement>>, sqlx::Error> {
    let product = product.map(|id| id.to_string());
    let rows = sqlx::query_as!(
        MovementRow,
        r#"SELECT seq AS "seq!", id AS "id!", product_id AS "product_id!", lot_id, kind AS "kind!", mass AS "mass!",
                  moved_on AS "moved_on!", person_id AS "person_id!", record_id, reason, recorded_at AS "recorded_at!"
           FROM stock_movements
           WHERE seq IN (
               SELECT * FROM (SELECT m.seq FROM stock_movements AS m WHERE m.product_id = $2 AND m.seq < $1 ORDER BY m.seq DESC LIMIT $3)
               UNION ALL
               SELECT * FROM (SELECT m.seq FROM stock_movements AS m WHERE $2 IS NULL AND m.seq < $1 ORDER BY m.seq DESC LIMIT $3))
           ORDER BY seq DESC"#,
        span.after,
        product,
        span.take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(Sequenced::try_from).collect()
}

/// Movements that do not follow from the record, the correction or the delivery that made them, by product and day.
/// Those of records after the entry `read` of the journal, and all deliveries.
pub async fn not_following(connection: &mut SqliteConnection, read: i64) -> Result<Vec<String>, sqlx::Error> {
    sqlx::query_scalar!(
        r#"SELECT p.name || ' on ' || m.moved_on AS "told!: String"
           FROM stock_movements AS m JOIN products AS p ON p.id = m.product_id
               LEFT JOIN corrections AS c ON c.id = m.record_id
               LEFT JOIN applications AS a ON a.id = coalesce(c.application_id, m.record_id)
               LEFT JOIN journal AS j ON j.subject_id = m.record_id AND j.act IN ('application.recorded', 'application.corrected')
           WHERE m.record_id IS NOT NULL AND ($1 = 0 OR j.seq > $1)
             AND (m.kind IS NOT iif(c.id IS NULL, 'applied', 'corrected') OR m.product_id IS NOT a.product_id OR m.lot_id IS NOT a.lot_id
                  OR m.moved_on IS NOT a.applied_on OR m.person_id IS NOT j.person_id OR m.recorded_at IS NOT j.written_at
                  OR m.reason IS NOT NULL)
           UNION ALL
           SELECT p.name || ' on ' || m.moved_on
           FROM stock_movements AS m JOIN products AS p ON p.id = m.product_id
               LEFT JOIN lots AS l ON l.id = m.lot_id
               LEFT JOIN journal AS j ON j.subject_id = m.lot_id AND j.act = 'lot.received'
           WHERE m.record_id IS NULL AND m.kind = 'received'
             AND (m.product_id IS NOT l.product_id OR m.moved_on IS NOT l.received_on OR m.person_id IS NOT j.person_id
                  OR m.recorded_at IS NOT j.written_at OR m.reason IS NOT NULL)"#,
        read
    )
    .fetch_all(connection)
    .await
}
