//! Licences and certificates of the staff.

use domain::{
    ids::{CredentialId, PersonId, RuleSetCode},
    time::{Day, Instant},
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqliteExecutor, SqlitePool};
use utoipa::ToSchema;

use crate::{
    paging::{PageRequest, Sequenced},
    store::{read, read_day, read_instant},
    version::{UpdateOutcome, Versioned, Versions},
};

/// A licence or certificate as the office writes it. A renewal is a further one.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "name": "Professional fertilizer applicator certificate", "number": "FA-1001",
    "issued_by": "Maryland Department of Agriculture", "rule_set": "us-md", "valid_from": "2026-01-01", "valid_until": "2026-12-31"
}))]
pub struct CredentialInput {
    /// What it is called on the paper, with its category.
    #[schema(min_length = 1, max_length = 120, format = "line")]
    pub name: String,
    /// Its number, as records name it.
    #[schema(min_length = 1, max_length = 60, format = "line")]
    pub number: String,
    /// The authority that issued it.
    #[schema(min_length = 1, max_length = 120, format = "line")]
    pub issued_by: String,
    /// The rule set of the jurisdiction in which it counts, if this server has one: work there asks for care once it has run out, and
    /// is stopped where the law asks for it.
    #[serde(default)]
    pub rule_set: Option<RuleSetCode>,
    /// The word by which rules name it that ask for it, such as `us-md-certified`, or that do not bind its holder, such as
    /// `us-fl-orange-certified`.
    #[serde(default)]
    #[schema(min_length = 1, max_length = 60, pattern = "^[a-z0-9.-]+$")]
    pub code: Option<String>,
    /// The first day on which it is valid.
    pub valid_from: Day,
    /// The last day on which it is valid; nothing when it has no end.
    #[serde(default)]
    pub valid_until: Option<Day>,
}

/// A licence or certificate of a member of staff.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Credential {
    pub id: CredentialId,
    pub person_id: PersonId,
    #[schema(max_length = 120)]
    pub name: String,
    #[schema(max_length = 60)]
    pub number: String,
    #[schema(max_length = 120)]
    pub issued_by: String,
    pub rule_set: Option<RuleSetCode>,
    #[schema(max_length = 60)]
    pub code: Option<String>,
    pub valid_from: Day,
    pub valid_until: Option<Day>,
    #[schema(minimum = 1, maximum = 1_000_000_000)]
    pub version: i64,
    pub created_at: Instant,
}

impl Versioned for Credential {
    fn version(&self) -> i64 {
        self.version
    }
}

struct CredentialRow {
    seq: i64,
    id: String,
    person_id: String,
    name: String,
    number: String,
    issued_by: String,
    rule_set: Option<String>,
    code: Option<String>,
    valid_from: String,
    valid_until: Option<String>,
    version: i64,
    created_at: i64,
}

impl TryFrom<CredentialRow> for Sequenced<Credential> {
    type Error = sqlx::Error;

    fn try_from(row: CredentialRow) -> Result<Self, sqlx::Error> {
        let item = Credential {
            id: read(&row.id, "credential id")?,
            person_id: read(&row.person_id, "person id")?,
            name: row.name,
            number: row.number,
            issued_by: row.issued_by,
            rule_set: row.rule_set.map(RuleSetCode),
            code: row.code,
            valid_from: read_day(&row.valid_from)?,
            valid_until: row.valid_until.as_deref().map(read_day).transpose()?,
            version: row.version,
            created_at: read_instant(row.created_at)?,
        };
        Ok(Self { seq: row.seq, item })
    }
}

pub async fn insert(
    connection: &mut SqliteConnection,
    id: CredentialId,
    person: PersonId,
    input: &CredentialInput,
    at: Instant,
) -> Result<Credential, sqlx::Error> {
    let (key, person, at) = (id.to_string(), person.to_string(), at.millis());
    let (from, until) = (input.valid_from.to_string(), input.valid_until.map(|day| day.to_string()));
    let rule_set = input.rule_set.as_ref().map(|code| code.0.as_str());
    sqlx::query!(
        "INSERT INTO credentials
             (id, person_id, name, number, issued_by, rule_set, code, valid_from, valid_until, version, created_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, 1, $10)",
        key,
        person,
        input.name,
        input.number,
        input.issued_by,
        rule_set,
        input.code,
        from,
        until,
        at
    )
    .execute(&mut *connection)
    .await?;
    get(connection, id).await?.ok_or(sqlx::Error::RowNotFound)
}

/// Replaces a credential if the version is the stored one, or any when none is named. Whose it is stays.
pub async fn update(
    connection: &mut SqliteConnection,
    id: CredentialId,
    input: &CredentialInput,
    versions: Versions,
) -> Result<UpdateOutcome<Credential>, sqlx::Error> {
    let key = id.to_string();
    let (from, until) = (input.valid_from.to_string(), input.valid_until.map(|day| day.to_string()));
    let rule_set = input.rule_set.as_ref().map(|code| code.0.as_str());
    let done = sqlx::query!(
        "UPDATE credentials SET name = $2, number = $3, issued_by = $4, rule_set = $5, code = $6, valid_from = $7,
             valid_until = $8, version = version + 1
         WHERE id = $1 AND ($9 IS NULL OR version IN (SELECT value FROM json_each($9)))",
        key,
        input.name,
        input.number,
        input.issued_by,
        rule_set,
        input.code,
        from,
        until,
        versions
    )
    .execute(&mut *connection)
    .await?;
    let stored = get(connection, id).await?;
    Ok(UpdateOutcome::of(done.rows_affected(), stored))
}

pub async fn get(executor: impl SqliteExecutor<'_>, id: CredentialId) -> Result<Option<Credential>, sqlx::Error> {
    let key = id.to_string();
    let row = sqlx::query_as!(
        CredentialRow,
        r#"SELECT seq AS "seq!", id AS "id!", person_id AS "person_id!", name AS "name!", number AS "number!",
                  issued_by AS "issued_by!", rule_set, code, valid_from AS "valid_from!", valid_until, version AS "version!",
                  created_at AS "created_at!"
           FROM credentials WHERE id = $1"#,
        key
    )
    .fetch_optional(executor)
    .await?;
    row.map(|row| Sequenced::try_from(row).map(|row| row.item)).transpose()
}

/// A page of one person's, in the order in which they were written.
pub async fn list(
    pool: &SqlitePool,
    span: PageRequest,
    person: PersonId,
) -> Result<Vec<Sequenced<Credential>>, sqlx::Error> {
    let person = person.to_string();
    let rows = sqlx::query_as!(
        CredentialRow,
        r#"SELECT seq AS "seq!", id AS "id!", person_id AS "person_id!", name AS "name!", number AS "number!",
                  issued_by AS "issued_by!", rule_set, code, valid_from AS "valid_from!", valid_until, version AS "version!",
                  created_at AS "created_at!"
           FROM credentials WHERE person_id = $1 AND seq > $2 ORDER BY seq LIMIT $3"#,
        person,
        span.after,
        span.take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(Sequenced::try_from).collect()
}

/// What a person held on a day, in the order in which it was written.
pub async fn valid_on(pool: &SqlitePool, person: PersonId, day: Day) -> Result<Vec<Credential>, sqlx::Error> {
    let (person, day) = (person.to_string(), day.to_string());
    let rows = sqlx::query_as!(
        CredentialRow,
        r#"SELECT seq AS "seq!", id AS "id!", person_id AS "person_id!", name AS "name!", number AS "number!",
                  issued_by AS "issued_by!", rule_set, code, valid_from AS "valid_from!", valid_until, version AS "version!",
                  created_at AS "created_at!"
           FROM credentials
           WHERE person_id = $1 AND valid_from <= $2 AND (valid_until IS NULL OR valid_until >= $2) ORDER BY seq"#,
        person,
        day
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(|row| Sequenced::try_from(row).map(|row| row.item)).collect()
}

/// All of them, of those who have left too, in the order in which they were written.
pub async fn list_all(pool: &SqlitePool) -> Result<Vec<Credential>, sqlx::Error> {
    let rows = sqlx::query_as!(
        CredentialRow,
        r#"SELECT seq AS "seq!", id AS "id!", person_id AS "person_id!", name AS "name!", number AS "number!",
                  issued_by AS "issued_by!", rule_set, code, valid_from AS "valid_from!", valid_until, version AS "version!",
                  created_at AS "created_at!"
           FROM credentials ORDER BY seq"#
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(|row| Sequenced::try_from(row).map(|row| row.item)).collect()
}
