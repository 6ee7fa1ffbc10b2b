//! Clients.

use domain::{
    dated::Facts,
    ids::{ClientId, PersonId},
    time::{Day, Instant},
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqliteExecutor, SqlitePool};
use utoipa::ToSchema;

use crate::{
    paging::{PageRequest, Sequenced},
    scope::Scope,
    store::{
        history::{self, NewEntry, Subject},
        read, read_day, read_instant,
    },
    version::{UpdateOutcome, Versioned, Versions},
};

/// A client as the office writes it.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({ "name": "Client 014", "mailing_address": "14 Street A, Sampletown", "phone": "555-0114", "email": "client014@example.com" }))]
pub struct ClientInput {
    #[schema(min_length = 1, max_length = 120, format = "line")]
    pub name: String,
    #[schema(min_length = 1, max_length = 300, format = "lines")]
    pub mailing_address: String,
    #[serde(default)]
    #[schema(min_length = 3, max_length = 40, pattern = "^[0-9+() ./x-]+$")]
    pub phone: Option<String>,
    #[serde(default)]
    #[schema(min_length = 3, max_length = 254, pattern = "^[!-?A-~]+@[!-?A-~]+$")]
    pub email: Option<String>,
    /// Day on which the service ends or ended. From then on nothing is applied for this client.
    #[serde(default)]
    pub cancelled_on: Option<Day>,
    /// First local day on which what is changed here is so; today if left out. What stood on earlier days stays with them.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub since: Option<Day>,
}

impl ClientInput {
    /// What the client's dated entries speak of.
    pub fn facts(&self) -> Result<Facts, sqlx::Error> {
        history::facts_of(self, &["since"])
    }
}

/// A client, who pays.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Client {
    pub id: ClientId,
    #[schema(max_length = 120)]
    pub name: String,
    #[schema(max_length = 300)]
    pub mailing_address: String,
    #[schema(max_length = 40)]
    pub phone: Option<String>,
    #[schema(max_length = 254)]
    pub email: Option<String>,
    pub cancelled_on: Option<Day>,
    #[schema(minimum = 1, maximum = 1_000_000_000)]
    pub version: i64,
    pub created_at: Instant,
}

impl Versioned for Client {
    fn version(&self) -> i64 {
        self.version
    }
}

struct ClientRow {
    seq: i64,
    id: String,
    name: String,
    mailing_address: String,
    phone: Option<String>,
    email: Option<String>,
    cancelled_on: Option<String>,
    version: i64,
    created_at: i64,
}

impl TryFrom<ClientRow> for Sequenced<Client> {
    type Error = sqlx::Error;

    fn try_from(row: ClientRow) -> Result<Self, sqlx::Error> {
        let item = Client {
            id: read(&row.id, "client id")?,
            name: row.name,
            mailing_address: row.mailing_address,
            phone: row.phone,
            email: row.email,
            cancelled_on: row.cancelled_on.as_deref().map(read_day).transpose()?,
            version: row.version,
            created_at: read_instant(row.created_at)?,
        };
        Ok(Self { seq: row.seq, item })
    }
}

pub async fn insert(
    connection: &mut SqliteConnection,
    id: ClientId,
    input: &ClientInput,
    by: PersonId,
    at: Instant,
) -> Result<Client, sqlx::Error> {
    let entry = NewEntry::first(Subject::Client(id), input.facts()?, by, at);
    let (key, at) = (id.to_string(), at.millis());
    let cancelled = input.cancelled_on.map(|day| day.to_string());
    sqlx::query!(
        "INSERT INTO clients (id, name, mailing_address, phone, email, cancelled_on, version, created_at)
         VALUES ($1, $2, $3, $4, $5, $6, 1, $7)",
        key,
        input.name,
        input.mailing_address,
        input.phone,
        input.email,
        cancelled,
        at
    )
    .execute(&mut *connection)
    .await?;
    history::append(connection, Subject::Client(id), &entry).await?;
    get(connection, id, Scope::Company).await?.ok_or(sqlx::Error::RowNotFound)
}

/// Replaces a client if the version is the stored one, or any when none is named.
pub async fn update(
    connection: &mut SqliteConnection,
    id: ClientId,
    input: &ClientInput,
    versions: Versions,
) -> Result<UpdateOutcome<Client>, sqlx::Error> {
    let key = id.to_string();
    let cancelled = input.cancelled_on.map(|day| day.to_string());
    let done = sqlx::query!(
        "UPDATE clients SET name = $2, mailing_address = $3, phone = $4, email = $7, cancelled_on = $5, version = version + 1
         WHERE id = $1 AND ($6 IS NULL OR version IN (SELECT value FROM json_each($6)))",
        key,
        input.name,
        input.mailing_address,
        input.phone,
        cancelled,
        versions,
        input.email
    )
    .execute(&mut *connection)
    .await?;
    let stored = get(connection, id, Scope::Company).await?;
    Ok(UpdateOutcome::of(done.rows_affected(), stored))
}

pub async fn get(executor: impl SqliteExecutor<'_>, id: ClientId, scope: Scope) -> Result<Option<Client>, sqlx::Error> {
    let (key, person) = (id.to_string(), scope.viewer());
    let row = sqlx::query_as!(
        ClientRow,
        r#"SELECT c.seq AS "seq!", c.id AS "id!", c.name AS "name!", c.mailing_address AS "mailing_address!", c.phone, c.email, c.cancelled_on,
                  c.version AS "version!", c.created_at AS "created_at!"
           FROM clients AS c
           WHERE c.id = $1 AND ($2 IS NULL OR EXISTS (
               SELECT 1 FROM properties AS p JOIN sight AS v ON v.property_id = p.id WHERE p.client_id = c.id AND v.viewer = $2))"#,
        key,
        person
    )
    .fetch_optional(executor)
    .await?;
    row.map(|row| Sequenced::try_from(row).map(|row| row.item)).transpose()
}

/// A page of clients, in the order in which they were written.
pub async fn list(pool: &SqlitePool, span: PageRequest, scope: Scope) -> Result<Vec<Sequenced<Client>>, sqlx::Error> {
    let person = scope.viewer();
    let rows = sqlx::query_as!(
        ClientRow,
        r#"SELECT c.seq AS "seq!", c.id AS "id!", c.name AS "name!", c.mailing_address AS "mailing_address!", c.phone, c.email, c.cancelled_on,
                  c.version AS "version!", c.created_at AS "created_at!"
           FROM clients AS c
           WHERE c.seq > $1 AND ($2 IS NULL OR EXISTS (
               SELECT 1 FROM properties AS p JOIN sight AS v ON v.property_id = p.id WHERE p.client_id = c.id AND v.viewer = $2))
           ORDER BY c.seq LIMIT $3"#,
        span.after,
        person,
        span.take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(Sequenced::try_from).collect()
}
