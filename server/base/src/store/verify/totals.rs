//! What every total is recomputed from.

use std::collections::HashMap;

use domain::product::Label;
use sqlx::SqliteConnection;

use crate::store::packing::Unpacker;

/// By which only some sections are looked at: a list of their ids (JSON). All of them where there is none.
type Of<'a> = Option<&'a str>;

/// Nutrients by section as the ledger has them, in the order nitrogen, quick nitrogen, phosphate, potash, product.
pub async fn ledger_sums(
    connection: &mut SqliteConnection,
    of: Of<'_>,
) -> Result<Vec<(String, [i64; 5])>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT section_id AS "section_id!", sum(nitrogen) AS "nitrogen!: i64", sum(quick_nitrogen) AS "quick_nitrogen!: i64",
                  sum(phosphate) AS "phosphate!: i64", sum(potash) AS "potash!: i64", sum(product) AS "product!: i64"
           FROM application_lines WHERE $1 IS NULL OR section_id IN (SELECT s.value FROM json_each($1) AS s)
           GROUP BY section_id ORDER BY section_id"#,
        of
    )
    .fetch_all(connection)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| (row.section_id, [row.nitrogen, row.quick_nitrogen, row.phosphate, row.potash, row.product]))
        .collect())
}

/// The label of every product; nothing for one that cannot be read.
pub async fn labels(connection: &mut SqliteConnection) -> Result<HashMap<String, Option<Label>>, sqlx::Error> {
    let rows = sqlx::query!(r#"SELECT id AS "id!", label AS "label!" FROM products"#).fetch_all(connection).await?;
    Ok(rows.into_iter().map(|row| (row.id, serde_json::from_str(&row.label).ok())).collect())
}

/// Every word on an application: its content, and what was said since as `acts::correction::last_word` reads it.
#[derive(Debug)]
pub struct Word {
    pub seq: i64,
    pub id: String,
    pub product_id: String,
    pub content: String,
    pub since: String,
}

/// The words on the next applications after a sequence number.
pub async fn words(
    connection: &mut SqliteConnection,
    unpacker: &mut Unpacker,
    of: Of<'_>,
    after: i64,
    take: i64,
) -> Result<Vec<Word>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT a.seq AS "seq!", a.id AS "id!", a.product_id AS "product_id!", a.content AS "content!", a.packed, a.pattern,
                  (SELECT json_group_array(json_array(k.id, k.leaves_others, k.content))
                   FROM (SELECT x.id, x.leaves_others, x.content FROM corrections AS x WHERE x.application_id = a.id ORDER BY x.seq) AS k)
                   AS "since!: String"
           FROM applications AS a
           WHERE a.seq > $1 AND ($3 IS NULL OR a.id IN (SELECT l.application_id FROM application_lines AS l
                                                        WHERE l.section_id IN (SELECT s.value FROM json_each($3) AS s)))
           ORDER BY a.seq LIMIT $2"#,
        after,
        take,
        of
    )
    .fetch_all(&mut *connection)
    .await?;
    let mut words = Vec::with_capacity(rows.len());
    for row in rows {
        // What cannot be unpacked cannot be read, and is told so.
        let content = match (row.packed, row.pattern) {
            (Some(packed), Some(pattern)) => {
                unpacker.text(&mut *connection, pattern, &packed).await.unwrap_or_default()
            }
            _ => row.content,
        };
        words.push(Word { seq: row.seq, id: row.id, product_id: row.product_id, content, since: row.since });
    }
    Ok(words)
}
