//! Finding a lawn: by what the client is called, by the address, or by the lot that went onto it.

use domain::ids::PropertyId;
use sqlx::SqlitePool;

use super::read;

/// A property that was found.
#[derive(Debug)]
pub struct Found {
    pub property_id: PropertyId,
    pub address: String,
    pub client_name: String,
}

/// So many are found at most.
pub const MOST: i64 = 50;

/// Properties whose client, address or applied lot holds a text.
pub async fn properties(pool: &SqlitePool, text: &str) -> Result<Vec<Found>, sqlx::Error> {
    // CROSS JOIN keeps the order: from the few lots of that number to where they went. What a person types is text, also a percent sign.
    let pattern = format!("%{}%", text.replace('\\', "\\\\").replace('%', "\\%").replace('_', "\\_"));
    let rows = sqlx::query!(
        r#"SELECT p.id AS "id!", p.address AS "address!", c.name AS "client_name!"
           FROM properties AS p JOIN clients AS c ON c.id = p.client_id
           WHERE c.name LIKE $1 ESCAPE '\' OR p.address LIKE $1 ESCAPE '\' OR p.name LIKE $1 ESCAPE '\'
              OR p.id IN (SELECT a.property_id FROM lots AS l CROSS JOIN applications AS a ON a.lot_id = l.id WHERE l.lot_number LIKE $1 ESCAPE '\')
           ORDER BY c.name, p.address LIMIT $2"#,
        pattern,
        MOST
    )
    .fetch_all(pool)
    .await?;
    let found = rows.into_iter().map(|row| {
        Ok(Found { property_id: read(&row.id, "property id")?, address: row.address, client_name: row.client_name })
    });
    found.collect()
}
