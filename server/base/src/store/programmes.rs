//! Programmes: the company's plan of a season. What a plan reads of sections and visits stands in `programmes/lawns.rs`.

pub mod lawns;

use domain::{
    equipment::Equipment,
    ids::{PersonId, ProductId, ProgrammeId, SectionId},
    land::Species,
    programme::{PlanRound, published::Maintenance, timing::Credits},
    quantity::{Area, NutrientRate, Price, ProductRate, SoilPh},
    soil::lime_rules::{CapOn, SplitRule},
    time::Instant,
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqliteExecutor, SqlitePool};
use utoipa::ToSchema;

use crate::{
    paging::{PageRequest, Sequenced},
    store::{read, read_instant, read_json},
    version::{UpdateOutcome, Versioned, Versions},
};

/// A product that the programme may use.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ProgrammeProduct {
    pub product_id: ProductId,
    /// Price of one bag or jug, by which the least cost is found.
    pub bag_price_usd: Price,
    /// Whether more than the stock may be used.
    pub may_buy: bool,
}

/// What sections need in the year. The entry that says most about a section counts: its own, else that of its species and
/// level, of its species, of its level, else the one that names nothing.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ProgrammeNeed {
    /// Of this section alone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub section_id: Option<SectionId>,
    /// Of this turf.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub species: Option<Species>,
    /// Of this level.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub maintenance: Option<Maintenance>,
    /// Nitrogen by a published programme and the section's level; its name from the list of published programmes. Give this
    /// or a figure.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 120)]
    pub published: Option<String>,
    /// Nitrogen of the year in full sun with clippings taken, as the office enters it where no source was read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub nitrogen_lb_per_1000_sqft: Option<NutrientRate>,
    /// P2O5 of the year where no soil report recommends any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub phosphate_lb_per_1000_sqft: Option<NutrientRate>,
    /// K2O of the year where no soil report recommends any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub potash_lb_per_1000_sqft: Option<NutrientRate>,
    /// What the figures rest on. Required with a figure.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 3, max_length = 300, format = "line")]
    pub because: Option<String>,
}

/// A programme as the office writes it.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "name": "Cool-season lawns", "season_year": 2026, "equipment": "rotary_spreader_with_deflector",
    "rounds": [
        { "name": "late spring", "from": "2026-05-01", "to": "2026-06-05", "nitrogen_at_most_lb_per_1000_sqft": "0.7" },
        { "name": "early autumn", "from": "2026-09-01", "to": "2026-09-30" }
    ],
    "products": [{ "product_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a12", "bag_price_usd": "31", "may_buy": true }],
    "needs": [
        { "species": "tall_fescue", "published": "Maryland, tall fescue and Kentucky bluegrass" },
        { "nitrogen_lb_per_1000_sqft": "1", "potash_lb_per_1000_sqft": "0.5", "because": "Our own practice for mixed lawns" }
    ],
    "least_product_lb_per_1000_sqft": "0.5"
}))]
pub struct ProgrammeInput {
    #[schema(min_length = 1, max_length = 120, format = "line")]
    pub name: String,
    /// What is put down in this calendar year counts towards the need.
    #[schema(minimum = 1990, maximum = 2199)]
    pub season_year: i64,
    /// With what the company means to work; setbacks are held against it.
    pub equipment: Equipment,
    /// Passes over the lawns, each with a name of its own.
    #[schema(min_items = 1, max_items = 10)]
    pub rounds: Vec<PlanRound>,
    /// Products that may be used, each once.
    #[schema(min_items = 1, max_items = 10)]
    pub products: Vec<ProgrammeProduct>,
    #[schema(min_items = 1, max_items = 200)]
    pub needs: Vec<ProgrammeNeed>,
    /// Less of a product is not worth a pass.
    pub least_product_lb_per_1000_sqft: ProductRate,
    /// What clippings and shade spare; left out, a fourth for clippings and half for shade.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub credits: Option<Credits>,
    /// How the lime that soil reports ask for is planned; left out, by the rule of each report's own laboratory.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lime: Option<ProgrammeLime>,
    /// Who goes, and what each can do on a day, each once. With nobody, the plan gives no stop to anybody and no day has a limit.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 20)]
    pub technicians: Vec<ProgrammeTechnician>,
}

/// What somebody can do on a day. What is left out is not limited.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ProgrammeTechnician {
    pub person_id: PersonId,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 200)]
    pub stops_per_day: Option<i64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub area_sqft_per_day: Option<Area>,
}

/// How the lime that soil reports ask for is planned.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ProgrammeLime {
    /// Whose rule splits it. Left out, that of the laboratory that the figure comes from, as far as its rule was read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub split_rule: Option<SplitRule>,
    /// What the most at once is held against; the recommendation unless said otherwise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cap_on: Option<CapOn>,
    /// The pH that is wanted, where the lime is to be worked out from the report's acidity.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub goal_ph: Option<SoilPh>,
    /// Days between lime and a product with nitrogen, before and after. Left out or 0, both may go down on one day.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 60)]
    pub days_from_nitrogen: Option<i32>,
}

/// The company's plan of a season: rounds, products that may be used, and what the lawns need.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Programme {
    pub id: ProgrammeId,
    #[schema(max_length = 120)]
    pub name: String,
    #[schema(minimum = 1990, maximum = 2199)]
    pub season_year: i64,
    pub equipment: Equipment,
    #[schema(max_items = 10)]
    pub rounds: Vec<PlanRound>,
    #[schema(max_items = 10)]
    pub products: Vec<ProgrammeProduct>,
    #[schema(max_items = 200)]
    pub needs: Vec<ProgrammeNeed>,
    pub least_product_lb_per_1000_sqft: ProductRate,
    pub credits: Credits,
    /// Left out where the programme says nothing of it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lime: Option<ProgrammeLime>,
    /// Left out where it names nobody.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 20)]
    pub technicians: Vec<ProgrammeTechnician>,
    #[schema(minimum = 1, maximum = 1_000_000_000)]
    pub version: i64,
    pub created_at: Instant,
}

impl Versioned for Programme {
    fn version(&self) -> i64 {
        self.version
    }
}

struct ProgrammeRow {
    seq: i64,
    id: String,
    content: String,
    version: i64,
    created_at: i64,
}

impl TryFrom<ProgrammeRow> for Sequenced<Programme> {
    type Error = sqlx::Error;

    fn try_from(row: ProgrammeRow) -> Result<Self, sqlx::Error> {
        let content: ProgrammeInput = read_json(&row.content, "programme")?;
        let item = Programme {
            id: read(&row.id, "programme id")?,
            name: content.name,
            season_year: content.season_year,
            equipment: content.equipment,
            rounds: content.rounds,
            products: content.products,
            needs: content.needs,
            least_product_lb_per_1000_sqft: content.least_product_lb_per_1000_sqft,
            credits: content.credits.unwrap_or(Credits::DEFAULT),
            lime: content.lime,
            technicians: content.technicians,
            version: row.version,
            created_at: read_instant(row.created_at)?,
        };
        Ok(Self { seq: row.seq, item })
    }
}

fn content(input: &ProgrammeInput) -> Result<String, sqlx::Error> {
    serde_json::to_string(input).map_err(|error| sqlx::Error::Encode(error.into()))
}

pub async fn insert(
    connection: &mut SqliteConnection,
    id: ProgrammeId,
    input: &ProgrammeInput,
    at: Instant,
) -> Result<Programme, sqlx::Error> {
    let (key, content, at) = (id.to_string(), content(input)?, at.millis());
    sqlx::query!("INSERT INTO programmes (id, content, version, created_at) VALUES ($1, $2, 1, $3)", key, content, at)
        .execute(&mut *connection)
        .await?;
    get(connection, id).await?.ok_or(sqlx::Error::RowNotFound)
}

/// Replaces a programme if the version is the stored one, or any when none is named.
pub async fn update(
    connection: &mut SqliteConnection,
    id: ProgrammeId,
    input: &ProgrammeInput,
    versions: Versions,
) -> Result<UpdateOutcome<Programme>, sqlx::Error> {
    let (key, content) = (id.to_string(), content(input)?);
    let done = sqlx::query!(
        "UPDATE programmes SET content = $2, version = version + 1
         WHERE id = $1 AND ($3 IS NULL OR version IN (SELECT value FROM json_each($3)))",
        key,
        content,
        versions
    )
    .execute(&mut *connection)
    .await?;
    let stored = get(connection, id).await?;
    Ok(UpdateOutcome::of(done.rows_affected(), stored))
}

pub async fn get(executor: impl SqliteExecutor<'_>, id: ProgrammeId) -> Result<Option<Programme>, sqlx::Error> {
    let key = id.to_string();
    let row = sqlx::query_as!(
        ProgrammeRow,
        r#"SELECT seq AS "seq!", id AS "id!", content AS "content!", version AS "version!", created_at AS "created_at!"
           FROM programmes WHERE id = $1"#,
        key
    )
    .fetch_optional(executor)
    .await?;
    row.map(|row| Sequenced::try_from(row).map(|row| row.item)).transpose()
}

/// A page of programmes, in the order in which they were written.
pub async fn list(pool: &SqlitePool, span: PageRequest) -> Result<Vec<Sequenced<Programme>>, sqlx::Error> {
    let rows = sqlx::query_as!(
        ProgrammeRow,
        r#"SELECT seq AS "seq!", id AS "id!", content AS "content!", version AS "version!", created_at AS "created_at!"
           FROM programmes WHERE seq > $1 ORDER BY seq LIMIT $2"#,
        span.after,
        span.take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(Sequenced::try_from).collect()
}

/// Rounds of a programme that visits name.
pub async fn rounds_in_use(connection: &mut SqliteConnection, id: ProgrammeId) -> Result<Vec<String>, sqlx::Error> {
    let key = id.to_string();
    let rows = sqlx::query!(
        r#"SELECT DISTINCT round AS "round!" FROM visits WHERE programme_id = $1 AND round IS NOT NULL ORDER BY round"#,
        key
    )
    .fetch_all(connection)
    .await?;
    Ok(rows.into_iter().map(|row| row.round).collect())
}
