//! Lots: deliveries of a product. Only ever inserted.

use domain::{
    ids::{LotId, ProductId},
    quantity::{ProductMass, StockBalance},
    time::{Day, Instant},
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqliteExecutor, SqlitePool};
use utoipa::ToSchema;

use crate::{
    paging::{PageRequest, Sequenced},
    store::{read, read_day, read_instant},
};

/// A delivery as the office writes it.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "product_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a12", "lot_number": "L26-0311", "supplier": "Supplier 01",
    "received_on": "2026-03-11", "received_lb": "2000"
}))]
pub struct LotInput {
    pub product_id: ProductId,
    /// As it stands on the bags; once for a product.
    #[schema(min_length = 1, max_length = 60, format = "line")]
    pub lot_number: String,
    #[schema(min_length = 1, max_length = 120, format = "line")]
    pub supplier: String,
    /// Not a day to come.
    pub received_on: Day,
    /// All that was delivered, without packages. Above zero.
    pub received_lb: ProductMass,
}

/// A delivery of a product, and what is left of it.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Lot {
    pub id: LotId,
    pub product_id: ProductId,
    #[schema(max_length = 60)]
    pub lot_number: String,
    #[schema(max_length = 120)]
    pub supplier: String,
    pub received_on: Day,
    /// All that was delivered.
    pub received_lb: ProductMass,
    /// The sum of the stock movements that name this lot. Uses without a lot are not in it.
    pub balance_lb: StockBalance,
    pub created_at: Instant,
}

struct LotRow {
    seq: i64,
    id: String,
    product_id: String,
    lot_number: String,
    supplier: String,
    received_on: String,
    received: i64,
    balance: i64,
    created_at: i64,
}

impl TryFrom<LotRow> for Sequenced<Lot> {
    type Error = sqlx::Error;

    fn try_from(row: LotRow) -> Result<Self, sqlx::Error> {
        let item = Lot {
            id: read(&row.id, "lot id")?,
            product_id: read(&row.product_id, "product id")?,
            lot_number: row.lot_number,
            supplier: row.supplier,
            received_on: read_day(&row.received_on)?,
            received_lb: ProductMass::from_raw(row.received),
            balance_lb: StockBalance::from_raw(row.balance),
            created_at: read_instant(row.created_at)?,
        };
        Ok(Self { seq: row.seq, item })
    }
}

/// The lot alone: what came with it is a stock movement, written beside it.
pub async fn insert(
    connection: &mut SqliteConnection,
    id: LotId,
    input: &LotInput,
    at: Instant,
) -> Result<(), sqlx::Error> {
    let (key, product, at) = (id.to_string(), input.product_id.to_string(), at.millis());
    let received_on = input.received_on.to_string();
    sqlx::query!(
        "INSERT INTO lots (id, product_id, lot_number, supplier, received_on, created_at) VALUES ($1, $2, $3, $4, $5, $6)",
        key,
        product,
        input.lot_number,
        input.supplier,
        received_on,
        at
    )
    .execute(connection)
    .await?;
    Ok(())
}

pub async fn get(executor: impl SqliteExecutor<'_>, id: LotId) -> Result<Option<Lot>, sqlx::Error> {
    let key = id.to_string();
    let row = sqlx::query_as!(
        LotRow,
        r#"SELECT l.seq AS "seq!", l.id AS "id!", l.product_id AS "product_id!", l.lot_number AS "lot_number!",
                  l.supplier AS "supplier!", l.received_on AS "received_on!", l.created_at AS "created_at!",
                  (SELECT coalesce(sum(m.mass), 0) FROM stock_movements AS m WHERE m.lot_id = l.id AND m.kind = 'received')
                      AS "received!: i64",
                  coalesce((SELECT t.mass FROM lot_totals AS t WHERE t.lot_id = l.id), 0) AS "balance!: i64"
           FROM lots AS l WHERE l.id = $1"#,
        key
    )
    .fetch_optional(executor)
    .await?;
    row.map(|row| Sequenced::try_from(row).map(|row| row.item)).transpose()
}

/// A page of lots, of all products or of one, in the order in which they were written.
pub async fn list(
    pool: &SqlitePool,
    span: PageRequest,
    product: Option<ProductId>,
) -> Result<Vec<Sequenced<Lot>>, sqlx::Error> {
    let product = product.map(|id| id.to_string());
    let rows = sqlx::query_as!(
        LotRow,
        r#"SELECT l.seq AS "seq!", l.id AS "id!", l.product_id AS "product_id!", l.lot_number AS "lot_number!",
                  l.supplier AS "supplier!", l.received_on AS "received_on!", l.created_at AS "created_at!",
                  (SELECT coalesce(sum(m.mass), 0) FROM stock_movements AS m WHERE m.lot_id = l.id AND m.kind = 'received')
                      AS "received!: i64",
                  coalesce((SELECT t.mass FROM lot_totals AS t WHERE t.lot_id = l.id), 0) AS "balance!: i64"
           FROM lots AS l WHERE l.seq > $1 AND ($2 IS NULL OR l.product_id = $2) ORDER BY l.seq LIMIT $3"#,
        span.after,
        product,
        span.take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(Sequenced::try_from).collect()
}

/// Lots whose kept total is not the sum of their movements: product and number.
pub async fn wrongly_totalled(connection: &mut SqliteConnection) -> Result<Vec<(String, String)>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT p.name AS "product!", l.lot_number AS "lot!"
           FROM lots AS l JOIN products AS p ON p.id = l.product_id LEFT JOIN lot_totals AS t ON t.lot_id = l.id
           LEFT JOIN (SELECT m.lot_id, sum(m.mass) AS mass FROM stock_movements AS m WHERE m.lot_id IS NOT NULL GROUP BY m.lot_id) AS s
               ON s.lot_id = l.id
           WHERE coalesce(s.mass, 0) <> coalesce(t.mass, 0) ORDER BY l.seq"#
    )
    .fetch_all(connection)
    .await?;
    Ok(rows.into_iter().map(|row| (row.product, row.lot)).collect())
}
