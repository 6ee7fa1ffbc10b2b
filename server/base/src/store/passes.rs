//! Passes: leave for somebody from outside to read, for a while; and the browsers into which their codes were typed.

use domain::{
    ids::{ClientId, PassId, PersonId},
    time::Instant,
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqliteExecutor, SqlitePool};
use utoipa::ToSchema;

use crate::{
    paging::{PageRequest, Sequenced},
    store::{read, read_instant, read_json},
};

/// A pass as the owner makes it.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({ "name": "Inspector of the state", "whole_company": true, "days": 3 }))]
pub struct PassInput {
    /// For whom it is, as it will stand in the security log.
    #[schema(min_length = 1, max_length = 120, format = "line")]
    pub name: String,
    /// It shows all of the company's lawns and records.
    #[serde(default)]
    pub whole_company: bool,
    /// It shows the lawns and records of these clients. Give these or `whole_company`.
    #[serde(default)]
    #[schema(max_items = 200)]
    pub client_ids: Vec<ClientId>,
    /// Days until it ends by itself.
    #[schema(minimum = 1, maximum = 90)]
    pub days: u8,
}

/// Leave for somebody from outside to read.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Pass {
    pub id: PassId,
    #[schema(max_length = 120)]
    pub name: String,
    pub whole_company: bool,
    #[schema(max_items = 200)]
    pub client_ids: Vec<ClientId>,
    pub made_by: PersonId,
    pub created_at: Instant,
    /// When it ends by itself.
    pub expires_at: Instant,
    /// When the owner ended it before; null if nobody did.
    pub ended_at: Option<Instant>,
}

impl Pass {
    pub fn is_over(&self, now: Instant) -> bool {
        self.ended_at.is_some() || self.expires_at <= now
    }
}

struct PassRow {
    seq: i64,
    id: String,
    name: String,
    whole_company: i64,
    client_ids: String,
    made_by: String,
    created_at: i64,
    expires_at: i64,
    ended_at: Option<i64>,
}

impl TryFrom<PassRow> for Sequenced<Pass> {
    type Error = sqlx::Error;

    fn try_from(row: PassRow) -> Result<Self, sqlx::Error> {
        let item = Pass {
            id: read(&row.id, "pass id")?,
            name: row.name,
            whole_company: row.whole_company == 1,
            client_ids: read_json(&row.client_ids, "clients of a pass")?,
            made_by: read(&row.made_by, "person id")?,
            created_at: read_instant(row.created_at)?,
            expires_at: read_instant(row.expires_at)?,
            ended_at: row.ended_at.map(read_instant).transpose()?,
        };
        Ok(Self { seq: row.seq, item })
    }
}

pub async fn insert(connection: &mut SqliteConnection, pass: &Pass, code_hash: &str) -> Result<(), sqlx::Error> {
    let (id, made_by) = (pass.id.to_string(), pass.made_by.to_string());
    let (created_at, expires_at) = (pass.created_at.millis(), pass.expires_at.millis());
    sqlx::query!(
        "INSERT INTO passes (id, name, whole_company, code_hash, made_by, created_at, expires_at) VALUES ($1, $2, $3, $4, $5, $6, $7)",
        id,
        pass.name,
        pass.whole_company,
        code_hash,
        made_by,
        created_at,
        expires_at
    )
    .execute(&mut *connection)
    .await?;
    for client in &pass.client_ids {
        let client = client.to_string();
        sqlx::query!("INSERT INTO pass_clients (pass_id, client_id) VALUES ($1, $2)", id, client)
            .execute(&mut *connection)
            .await?;
    }
    Ok(())
}

/// Ends a pass, and says whether it had not been ended before.
pub async fn end(
    connection: &mut SqliteConnection,
    id: PassId,
    by: PersonId,
    at: Instant,
) -> Result<bool, sqlx::Error> {
    let (id, by, at) = (id.to_string(), by.to_string(), at.millis());
    let done = sqlx::query!(
        "INSERT INTO pass_ends (pass_id, ended_by, ended_at) SELECT id, $2, $3 FROM passes WHERE id = $1
         ON CONFLICT (pass_id) DO NOTHING",
        id,
        by,
        at
    )
    .execute(connection)
    .await?;
    Ok(done.rows_affected() > 0)
}

pub async fn get(executor: impl SqliteExecutor<'_>, id: PassId) -> Result<Option<Pass>, sqlx::Error> {
    let key = id.to_string();
    let row = sqlx::query_as!(
        PassRow,
        r#"SELECT p.seq AS "seq!", p.id AS "id!", p.name AS "name!", p.whole_company AS "whole_company!", p.made_by AS "made_by!",
                  p.created_at AS "created_at!", p.expires_at AS "expires_at!", e.ended_at AS "ended_at?",
                  (SELECT json_group_array(c.client_id) FROM pass_clients AS c WHERE c.pass_id = p.id) AS "client_ids!: String"
           FROM passes AS p LEFT JOIN pass_ends AS e ON e.pass_id = p.id WHERE p.id = $1"#,
        key
    )
    .fetch_optional(executor)
    .await?;
    row.map(|row| Sequenced::try_from(row).map(|row| row.item)).transpose()
}

/// The pass behind a code, if it has not ended.
pub async fn by_code(pool: &SqlitePool, code_hash: &str, now: Instant) -> Result<Option<Pass>, sqlx::Error> {
    let row = sqlx::query_as!(
        PassRow,
        r#"SELECT p.seq AS "seq!", p.id AS "id!", p.name AS "name!", p.whole_company AS "whole_company!", p.made_by AS "made_by!",
                  p.created_at AS "created_at!", p.expires_at AS "expires_at!", e.ended_at AS "ended_at?",
                  (SELECT json_group_array(c.client_id) FROM pass_clients AS c WHERE c.pass_id = p.id) AS "client_ids!: String"
           FROM passes AS p LEFT JOIN pass_ends AS e ON e.pass_id = p.id WHERE p.code_hash = $1"#,
        code_hash
    )
    .fetch_optional(pool)
    .await?;
    let pass = row.map(|row| Sequenced::try_from(row).map(|row| row.item)).transpose()?;
    Ok(pass.filter(|pass| !pass.is_over(now)))
}

/// Keeps a browser into which the code of a pass was typed.
pub async fn insert_session(
    connection: &mut SqliteConnection,
    hash: &str,
    pass: PassId,
    at: Instant,
) -> Result<(), sqlx::Error> {
    let (pass, at) = (pass.to_string(), at.millis());
    sqlx::query!(
        "INSERT INTO pass_sessions (hash, pass_id, created_at, last_used_at) VALUES ($1, $2, $3, $3)",
        hash,
        pass,
        at
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// The pass behind a browser's session, if neither has ended and somebody used the session not long ago.
pub async fn by_session(pool: &SqlitePool, hash: &str, now: Instant) -> Result<Option<Pass>, sqlx::Error> {
    let millis = now.millis();
    let row = sqlx::query!(
        r#"SELECT pass_id AS "pass_id!" FROM pass_sessions
           WHERE hash = $1 AND ended_at IS NULL AND last_used_at > $2 - (SELECT s.idle_minutes FROM settings AS s) * 60000"#,
        hash,
        millis
    )
    .fetch_optional(pool)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let pass = get(pool, read(&row.pass_id, "pass id")?).await?;
    Ok(pass.filter(|pass| !pass.is_over(now)))
}

/// Notes that a browser's session was used, if it has not ended meanwhile.
pub async fn note_use(connection: &mut SqliteConnection, hash: &str, at: Instant) -> Result<(), sqlx::Error> {
    let at = at.millis();
    sqlx::query!("UPDATE pass_sessions SET last_used_at = $2 WHERE hash = $1 AND ended_at IS NULL", hash, at)
        .execute(connection)
        .await?;
    Ok(())
}

/// Ends a browser's session; the pass stays good.
pub async fn end_session(connection: &mut SqliteConnection, hash: &str, at: Instant) -> Result<(), sqlx::Error> {
    let at = at.millis();
    sqlx::query!("UPDATE pass_sessions SET ended_at = $2 WHERE hash = $1 AND ended_at IS NULL", hash, at)
        .execute(connection)
        .await?;
    Ok(())
}

/// A page of passes, the newest first.
pub async fn list(pool: &SqlitePool, span: PageRequest) -> Result<Vec<Sequenced<Pass>>, sqlx::Error> {
    let rows = sqlx::query_as!(
        PassRow,
        r#"SELECT p.seq AS "seq!", p.id AS "id!", p.name AS "name!", p.whole_company AS "whole_company!", p.made_by AS "made_by!",
                  p.created_at AS "created_at!", p.expires_at AS "expires_at!", e.ended_at AS "ended_at?",
                  (SELECT json_group_array(c.client_id) FROM pass_clients AS c WHERE c.pass_id = p.id) AS "client_ids!: String"
           FROM passes AS p LEFT JOIN pass_ends AS e ON e.pass_id = p.id WHERE p.seq < $1 ORDER BY p.seq DESC LIMIT $2"#,
        span.after,
        span.take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(Sequenced::try_from).collect()
}
