//! Products. What a label guarantees is never edited.

use domain::{
    ids::ProductId,
    product::{Label, printed_check::LabelRemark},
    quantity::{Percent, ProductMass, StockBalance},
    time::Instant,
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqliteExecutor, SqlitePool};
use utoipa::ToSchema;

use crate::{
    paging::{PageRequest, Sequenced},
    store::{enum_text, read, read_enum, read_instant, read_json},
    version::{UpdateOutcome, Versioned, Versions},
};

/// A product as the office writes it from its label.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "name": "Turf feed 24-0-10",
    "label": {
        "form": "granular", "nitrogen_percent": "24", "slow_nitrogen_percent": "7.2", "phosphate_percent": "0", "potash_percent": "10",
        "printed": {
            "nitrogen_forms": { "ammoniacal_percent": "2", "urea_percent": "14.8", "coated_slow_release_percent": "7.2" },
            "net_contents": { "weight_lb": "50" }, "watering_in_at_least_in": "0.25", "derived_from": "Coated urea, urea, muriate of potash"
        }
    },
    "net_weight_lb": "50"
}))]
pub struct ProductInput {
    #[schema(min_length = 1, max_length = 120, format = "line")]
    pub name: String,
    pub label: Label,
    /// What one bag or jug weighs, without its package. Above zero.
    pub net_weight_lb: ProductMass,
}

/// Whether a product may be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ProductStatus {
    Active,
    /// Not to be used until somebody says so.
    Hold,
    /// Not to be used any more.
    Retired,
}

impl ProductStatus {
    /// How a page calls it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Active => "✓ in use",
            Self::Hold => "▲ on hold",
            Self::Retired => "■ retired",
        }
    }
}

/// A product: a label, and what is in stock of it.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Product {
    pub id: ProductId,
    #[schema(max_length = 120)]
    pub name: String,
    pub label: Label,
    /// What one bag or jug weighs.
    pub net_weight_lb: ProductMass,
    /// Nitrogen, phosphate and potash in percent, as the trade writes them.
    #[schema(max_length = 30, example = "24-0-10")]
    pub grade: String,
    /// Quick-release nitrogen: what the label does not claim to be slow.
    pub quick_nitrogen_percent: Percent,
    /// Slow nitrogen in percent of all nitrogen, rounded down; null without nitrogen.
    pub slow_share_percent: Option<Percent>,
    /// Claims of the label that its own guarantees do not bear, and what a liquid lacks.
    #[schema(max_items = 20)]
    pub remarks: Vec<LabelRemark>,
    pub status: ProductStatus,
    /// The sum of all stock movements.
    pub balance_lb: StockBalance,
    /// Counts changes of the product, not of its stock.
    #[schema(minimum = 1, maximum = 1_000_000_000)]
    pub version: i64,
    pub created_at: Instant,
}

impl Versioned for Product {
    fn version(&self) -> i64 {
        self.version
    }
}

pub(super) struct ProductRow {
    pub seq: i64,
    pub id: String,
    pub name: String,
    pub label: String,
    pub net_weight: i64,
    pub status: String,
    pub balance: i64,
    pub version: i64,
    pub created_at: i64,
}

impl TryFrom<ProductRow> for Sequenced<Product> {
    type Error = sqlx::Error;

    fn try_from(row: ProductRow) -> Result<Self, sqlx::Error> {
        let label: Label = read_json(&row.label, "label")?;
        let item = Product {
            id: read(&row.id, "product id")?,
            name: row.name,
            net_weight_lb: ProductMass::from_raw(row.net_weight),
            grade: label.grade(),
            quick_nitrogen_percent: label.quick_nitrogen_percent(),
            slow_share_percent: label.slow_share(),
            remarks: label.remarks(),
            label,
            status: read_enum(&row.status, "product status")?,
            balance_lb: StockBalance::from_raw(row.balance),
            version: row.version,
            created_at: read_instant(row.created_at)?,
        };
        Ok(Self { seq: row.seq, item })
    }
}

pub async fn insert(
    connection: &mut SqliteConnection,
    id: ProductId,
    input: &ProductInput,
    at: Instant,
) -> Result<Product, sqlx::Error> {
    let (key, net_weight, at) = (id.to_string(), input.net_weight_lb.raw(), at.millis());
    let label = serde_json::to_string(&input.label).map_err(|error| sqlx::Error::Encode(error.into()))?;
    sqlx::query!(
        "INSERT INTO products (id, name, label, net_weight, status, version, created_at) VALUES ($1, $2, $3, $4, 'active', 1, $5)",
        key,
        input.name,
        label,
        net_weight,
        at
    )
    .execute(&mut *connection)
    .await?;
    get(connection, id).await?.ok_or(sqlx::Error::RowNotFound)
}

/// Sets the status if the version is the stored one, or any when none is named.
pub async fn set_status(
    connection: &mut SqliteConnection,
    id: ProductId,
    status: ProductStatus,
    versions: Versions,
) -> Result<UpdateOutcome<Product>, sqlx::Error> {
    let (key, status) = (id.to_string(), enum_text(&status)?);
    let done = sqlx::query!(
        "UPDATE products SET status = $2, version = version + 1 WHERE id = $1 AND ($3 IS NULL OR version IN (SELECT value FROM json_each($3)))",
        key,
        status,
        versions
    )
    .execute(&mut *connection)
    .await?;
    let stored = get(connection, id).await?;
    Ok(UpdateOutcome::of(done.rows_affected(), stored))
}

pub async fn get(executor: impl SqliteExecutor<'_>, id: ProductId) -> Result<Option<Product>, sqlx::Error> {
    let key = id.to_string();
    let row = sqlx::query_as!(
        ProductRow,
        r#"SELECT p.seq AS "seq!", p.id AS "id!", p.name AS "name!", p.label AS "label!", p.net_weight AS "net_weight!",
                  p.status AS "status!", p.version AS "version!", p.created_at AS "created_at!",
                  coalesce((SELECT t.mass FROM stock_totals AS t WHERE t.product_id = p.id), 0) AS "balance!: i64"
           FROM products AS p WHERE p.id = $1"#,
        key
    )
    .fetch_optional(executor)
    .await?;
    row.map(|row| Sequenced::try_from(row).map(|row| row.item)).transpose()
}

/// A page of products, in the order in which they were written.
pub async fn list(pool: &SqlitePool, span: PageRequest) -> Result<Vec<Sequenced<Product>>, sqlx::Error> {
    let rows = sqlx::query_as!(
        ProductRow,
        r#"SELECT p.seq AS "seq!", p.id AS "id!", p.name AS "name!", p.label AS "label!", p.net_weight AS "net_weight!",
                  p.status AS "status!", p.version AS "version!", p.created_at AS "created_at!",
                  coalesce((SELECT t.mass FROM stock_totals AS t WHERE t.product_id = p.id), 0) AS "balance!: i64"
           FROM products AS p WHERE p.seq > $1 ORDER BY p.seq LIMIT $2"#,
        span.after,
        span.take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(Sequenced::try_from).collect()
}
