//! Labels and safety data sheets of products. The bytes are kept once by their hash; nothing is edited or deleted.

use domain::{
    ids::{PersonId, ProductFileId, ProductId},
    time::{Day, Instant},
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqliteExecutor, SqlitePool};
use utoipa::ToSchema;

use crate::{
    media::{FileBody, MediaType},
    paging::{PageRequest, Sequenced},
    store::{enum_text, read, read_day, read_enum, read_instant},
};

/// What a file of a product is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum FileKind {
    Label,
    SafetyDataSheet,
}

/// A label or a safety data sheet of a product, without its bytes. A newer one stands beside the older.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ProductFile {
    pub id: ProductFileId,
    pub product_id: ProductId,
    pub kind: FileKind,
    /// Day that the file itself bears, such as the revision of a safety data sheet.
    pub dated: Option<Day>,
    pub media_type: MediaType,
    #[schema(minimum = 1, maximum = 4_194_304)]
    pub size_bytes: i64,
    /// SHA-256 of the bytes, in hexadecimal; it is the file's `ETag` too.
    #[schema(max_length = 64, example = "2cf24dba5fb0a30e26e83b2ac5b9e29e1b161e5c1fa7425e73043362938b9824")]
    pub sha256: String,
    /// Who added it.
    pub person_id: PersonId,
    pub created_at: Instant,
}

struct FileRow {
    seq: i64,
    id: String,
    product_id: String,
    kind: String,
    dated: Option<String>,
    media_type: String,
    size: i64,
    sha256: String,
    person_id: String,
    created_at: i64,
}

impl TryFrom<FileRow> for Sequenced<ProductFile> {
    type Error = sqlx::Error;

    fn try_from(row: FileRow) -> Result<Self, sqlx::Error> {
        let item = ProductFile {
            id: read(&row.id, "product file id")?,
            product_id: read(&row.product_id, "product id")?,
            kind: read_enum(&row.kind, "kind of file")?,
            dated: row.dated.as_deref().map(read_day).transpose()?,
            media_type: read_enum(&row.media_type, "media type")?,
            size_bytes: row.size,
            sha256: row.sha256,
            person_id: read(&row.person_id, "person id")?,
            created_at: read_instant(row.created_at)?,
        };
        Ok(Self { seq: row.seq, item })
    }
}

/// What a file belongs to, and who brings it when.
#[derive(Debug, Clone, Copy)]
pub struct About {
    pub id: ProductFileId,
    pub product: ProductId,
    pub kind: FileKind,
    pub dated: Option<Day>,
    pub person: PersonId,
    pub at: Instant,
}

/// Keeps a file; its bytes only if they are not kept already.
pub async fn insert(
    connection: &mut SqliteConnection,
    about: About,
    file: &FileBody,
) -> Result<ProductFile, sqlx::Error> {
    let (id, product, kind) = (about.id.to_string(), about.product.to_string(), enum_text(&about.kind)?);
    let (dated, person, at) = (about.dated.map(|day| day.to_string()), about.person.to_string(), about.at.millis());
    let (media_type, bytes) = (file.media.name(), file.bytes.as_ref());
    sqlx::query!(
        "INSERT INTO file_bodies (sha256, media_type, bytes) VALUES ($1, $2, $3) ON CONFLICT (sha256) DO NOTHING",
        file.sha256,
        media_type,
        bytes
    )
    .execute(&mut *connection)
    .await?;
    sqlx::query!(
        "INSERT INTO product_files (id, product_id, kind, dated, sha256, person_id, created_at) VALUES ($1, $2, $3, $4, $5, $6, $7)",
        id,
        product,
        kind,
        dated,
        file.sha256,
        person,
        at
    )
    .execute(&mut *connection)
    .await?;
    get(connection, about.id).await?.ok_or(sqlx::Error::RowNotFound)
}

pub async fn get(executor: impl SqliteExecutor<'_>, id: ProductFileId) -> Result<Option<ProductFile>, sqlx::Error> {
    let key = id.to_string();
    let row = sqlx::query_as!(
        FileRow,
        r#"SELECT f.seq AS "seq!", f.id AS "id!", f.product_id AS "product_id!", f.kind AS "kind!", f.dated,
                  b.media_type AS "media_type!", length(b.bytes) AS "size!: i64", f.sha256 AS "sha256!",
                  f.person_id AS "person_id!", f.created_at AS "created_at!"
           FROM product_files AS f JOIN file_bodies AS b ON b.sha256 = f.sha256 WHERE f.id = $1"#,
        key
    )
    .fetch_optional(executor)
    .await?;
    row.map(|row| Sequenced::try_from(row).map(|row| row.item)).transpose()
}

/// A page of a product's files, in the order in which they were added.
pub async fn list(
    pool: &SqlitePool,
    span: PageRequest,
    product: ProductId,
) -> Result<Vec<Sequenced<ProductFile>>, sqlx::Error> {
    let product = product.to_string();
    let rows = sqlx::query_as!(
        FileRow,
        r#"SELECT f.seq AS "seq!", f.id AS "id!", f.product_id AS "product_id!", f.kind AS "kind!", f.dated,
                  b.media_type AS "media_type!", length(b.bytes) AS "size!: i64", f.sha256 AS "sha256!",
                  f.person_id AS "person_id!", f.created_at AS "created_at!"
           FROM product_files AS f JOIN file_bodies AS b ON b.sha256 = f.sha256
           WHERE f.product_id = $1 AND f.seq > $2 ORDER BY f.seq LIMIT $3"#,
        product,
        span.after,
        span.take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(Sequenced::try_from).collect()
}

/// The bytes of a file.
pub async fn bytes(pool: &SqlitePool, sha256: &str) -> Result<Option<Vec<u8>>, sqlx::Error> {
    let row = sqlx::query!(r#"SELECT bytes AS "bytes!" FROM file_bodies WHERE sha256 = $1"#, sha256)
        .fetch_optional(pool)
        .await?;
    Ok(row.map(|row| row.bytes))
}
