//! Staff, their sessions and phones, and the set-up of the book.

use domain::{
    actor::{Actor, Role},
    ids::PersonId,
    time::Instant,
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqliteExecutor, SqlitePool};
use utoipa::ToSchema;

use crate::{
    paging::{PageRequest, Sequenced},
    store::{Store, enum_text, read, read_enum, read_instant, sessions},
    tokens::Holder,
    version::{UpdateOutcome, Versioned, Versions},
};

/// A member of staff as the owner writes it.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({ "name": "Tech 01", "role": "technician" }))]
pub struct PersonInput {
    #[schema(min_length = 1, max_length = 120, format = "line")]
    pub name: String,
    pub role: Role,
    /// Name and password to sign in with. A technician needs none: the phone is enrolled with a code.
    #[serde(default)]
    pub sign_in: Option<SignIn>,
    /// Ends what the person may do, at once.
    #[serde(default = "yes")]
    pub active: bool,
}

fn yes() -> bool {
    true
}

#[derive(Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SignIn {
    /// Lower-case letters, digits and . _ @ -
    #[schema(min_length = 3, max_length = 80, pattern = "^[a-z0-9._@-]+$", example = "owner")]
    pub name: String,
    /// Fifteen characters or more; any characters.
    #[schema(min_length = 15, max_length = 200, example = "three plain words here")]
    pub password: String,
}

impl std::fmt::Debug for SignIn {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("SignIn").field("name", &self.name).finish_non_exhaustive()
    }
}

/// A member of staff.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Person {
    pub id: PersonId,
    #[schema(max_length = 120)]
    pub name: String,
    pub role: Role,
    /// Name to sign in with, if the person has a password.
    #[schema(max_length = 80)]
    pub sign_in: Option<String>,
    pub active: bool,
    #[schema(minimum = 1, maximum = 1_000_000_000)]
    pub version: i64,
    pub created_at: Instant,
}

impl Versioned for Person {
    fn version(&self) -> i64 {
        self.version
    }
}

struct PersonRow {
    seq: i64,
    id: String,
    name: String,
    role: String,
    sign_in: Option<String>,
    active: i64,
    version: i64,
    created_at: i64,
}

impl TryFrom<PersonRow> for Sequenced<Person> {
    type Error = sqlx::Error;

    fn try_from(row: PersonRow) -> Result<Self, sqlx::Error> {
        let item = Person {
            id: read(&row.id, "person id")?,
            name: row.name,
            role: read_enum(&row.role, "role")?,
            sign_in: row.sign_in,
            active: row.active == 1,
            version: row.version,
            created_at: read_instant(row.created_at)?,
        };
        Ok(Self { seq: row.seq, item })
    }
}

/// The person behind a token, if the token has not ended, the person is active and the device not revoked. A session that nobody
/// used for a while has ended too; a phone has not, because it lies in a truck. `used` is a use that is not written down yet. The book
/// is asked where nobody asked since it was last written, or within the last minute, which no session is idle for.
pub async fn actor_by_token(
    store: &Store,
    hash: &str,
    now: Instant,
    used: Option<i64>,
) -> Result<Option<Actor>, sqlx::Error> {
    if let Some(actor) = store.tokens.holder(hash, now) {
        return Ok(Some(actor));
    }
    let asked = store.tokens.asked();
    let holder = holder(store.quick_reader(), hash, now, used).await?;
    if let Some(holder) = holder {
        store.tokens.keep(hash, holder, asked);
    }
    Ok(holder.map(|holder| holder.actor))
}

async fn holder(
    pool: &SqlitePool,
    hash: &str,
    asked_at: Instant,
    used: Option<i64>,
) -> Result<Option<Holder>, sqlx::Error> {
    let now = asked_at.millis();
    let row = sqlx::query!(
        r#"SELECT p.id AS "person!", p.role AS "role!", t.device_id, t.expires_at AS "expires_at!"
           FROM tokens AS t
           JOIN people AS p ON p.id = t.person_id
           LEFT JOIN devices AS d ON d.id = t.device_id
           WHERE t.hash = $1 AND t.ended_at IS NULL AND t.expires_at > $2 AND p.active = 1 AND d.revoked_at IS NULL
             AND (t.device_id IS NOT NULL
                  OR max(coalesce(t.last_used_at, t.created_at), coalesce($3, 0)) > $2 - (SELECT s.idle_minutes FROM settings AS s) * 60000)"#,
        hash,
        now,
        used
    )
    .fetch_optional(pool)
    .await?;
    row.map(|row| {
        let actor = Actor {
            person: read(&row.person, "person id")?,
            role: read_enum(&row.role, "role")?,
            device: row.device_id.as_deref().map(|id| read(id, "device id")).transpose()?,
        };
        Ok(Holder { actor, expires_at: read_instant(row.expires_at)?, asked_at })
    })
    .transpose()
}

pub async fn insert(
    connection: &mut SqliteConnection,
    id: PersonId,
    input: &PersonInput,
    password_hash: Option<&str>,
    at: Instant,
) -> Result<Person, sqlx::Error> {
    let (key, at, role) = (id.to_string(), at.millis(), enum_text(&input.role)?);
    let sign_in = input.sign_in.as_ref().map(|sign_in| &sign_in.name);
    let active = i64::from(input.active);
    sqlx::query!(
        "INSERT INTO people (id, name, role, sign_in, password_hash, active, version, created_at) VALUES ($1, $2, $3, $4, $5, $6, 1, $7)",
        key,
        input.name,
        role,
        sign_in,
        password_hash,
        active,
        at
    )
    .execute(&mut *connection)
    .await?;
    get(connection, id).await?.ok_or(sqlx::Error::RowNotFound)
}

/// Replaces a person. Without a new sign-in the old one stays. Whoever gets another password or another role, or is let go,
/// loses every token and code made before: what a phone was given as a technician must not be an owner's.
pub async fn update(
    connection: &mut SqliteConnection,
    id: PersonId,
    input: &PersonInput,
    password_hash: Option<&str>,
    versions: Versions,
    at: Instant,
) -> Result<UpdateOutcome<Person>, sqlx::Error> {
    let (key, role, active) = (id.to_string(), enum_text(&input.role)?, i64::from(input.active));
    let sign_in = input.sign_in.as_ref().map(|sign_in| &sign_in.name);
    let before = get(&mut *connection, id).await?;
    let done = sqlx::query!(
        "UPDATE people SET name = $2, role = $3, sign_in = coalesce($4, sign_in), password_hash = coalesce($5, password_hash),
             active = $6, version = version + 1
         WHERE id = $1 AND ($7 IS NULL OR version IN (SELECT value FROM json_each($7)))",
        key,
        input.name,
        role,
        sign_in,
        password_hash,
        active,
        versions
    )
    .execute(&mut *connection)
    .await?;
    let other_role = before.is_some_and(|before| before.role != input.role);
    if done.rows_affected() > 0 && (password_hash.is_some() || !input.active || other_role) {
        sessions::end_all(&mut *connection, id, at).await?;
    }
    let stored = get(connection, id).await?;
    Ok(UpdateOutcome::of(done.rows_affected(), stored))
}

/// Sets another password while the old one is still what was looked at, and ends every token and code made before.
pub async fn set_password(
    connection: &mut SqliteConnection,
    id: PersonId,
    [old, new]: [&str; 2],
    at: Instant,
) -> Result<Option<Person>, sqlx::Error> {
    let key = id.to_string();
    let done = sqlx::query!(
        "UPDATE people SET password_hash = $3, version = version + 1 WHERE id = $1 AND password_hash = $2 AND active = 1",
        key,
        old,
        new
    )
    .execute(&mut *connection)
    .await?;
    if done.rows_affected() == 0 {
        return Ok(None);
    }
    sessions::end_all(&mut *connection, id, at).await?;
    get(connection, id).await
}

pub async fn get(executor: impl SqliteExecutor<'_>, id: PersonId) -> Result<Option<Person>, sqlx::Error> {
    let key = id.to_string();
    let row = sqlx::query_as!(
        PersonRow,
        r#"SELECT seq AS "seq!", id AS "id!", name AS "name!", role AS "role!", sign_in, active AS "active!", version AS "version!",
                  created_at AS "created_at!" FROM people WHERE id = $1"#,
        key
    )
    .fetch_optional(executor)
    .await?;
    row.map(|row| Sequenced::try_from(row).map(|row| row.item)).transpose()
}

pub async fn list(pool: &SqlitePool, span: PageRequest) -> Result<Vec<Sequenced<Person>>, sqlx::Error> {
    let rows = sqlx::query_as!(
        PersonRow,
        r#"SELECT seq AS "seq!", id AS "id!", name AS "name!", role AS "role!", sign_in, active AS "active!", version AS "version!",
                  created_at AS "created_at!" FROM people WHERE seq > $1 ORDER BY seq LIMIT $2"#,
        span.after,
        span.take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(Sequenced::try_from).collect()
}

/// Active owners other than one person: the last owner can neither be demoted nor ended.
pub async fn other_owners(connection: &mut SqliteConnection, id: PersonId) -> Result<i64, sqlx::Error> {
    let key = id.to_string();
    let row = sqlx::query!(
        r#"SELECT count(*) AS "owners!: i64" FROM people WHERE role = 'owner' AND active = 1 AND id <> $1"#,
        key
    )
    .fetch_one(connection)
    .await?;
    Ok(row.owners)
}

/// The person and the stored password behind a name to sign in with.
pub async fn by_sign_in(pool: &SqlitePool, name: &str) -> Result<Option<(PersonId, String)>, sqlx::Error> {
    let row = sqlx::query!(
        r#"SELECT id AS "id!", password_hash AS "password_hash!" FROM people WHERE sign_in = $1 AND active = 1 AND password_hash IS NOT NULL"#,
        name
    )
    .fetch_optional(pool)
    .await?;
    row.map(|row| Ok((read(&row.id, "person id")?, row.password_hash))).transpose()
}

/// The secrets of this installation, made when they are first asked for. `new_code_hash` replaces the set-up code as long
/// as nobody has used it, so that a lost first print-out can be had again by starting anew.
pub async fn installation(
    connection: &mut SqliteConnection,
    new_key: &[u8],
    new_code_hash: &str,
) -> Result<Installation, sqlx::Error> {
    let company = sqlx::query!("SELECT name FROM company").fetch_optional(&mut *connection).await?;
    let row = sqlx::query!(
        r#"INSERT INTO installation (id, link_key, setup_code_hash) VALUES (1, $1, $2)
           ON CONFLICT (id) DO UPDATE SET setup_code_hash = excluded.setup_code_hash
           RETURNING link_key AS "link_key!""#,
        new_key,
        new_code_hash
    )
    .fetch_one(connection)
    .await?;
    Ok(Installation { link_key: row.link_key, company: company.map(|company| company.name) })
}

#[derive(Debug)]
pub struct Installation {
    pub link_key: Vec<u8>,
    /// The company's name once the set-up is done.
    pub company: Option<String>,
}

/// Writes the company if the code is the one that was printed and none is written yet.
pub async fn set_up(
    connection: &mut SqliteConnection,
    code_hash: &str,
    name: &str,
    time_zone: &str,
    at: Instant,
) -> Result<bool, sqlx::Error> {
    let at = at.millis();
    let done = sqlx::query!(
        "INSERT INTO company (id, name, time_zone, created_at)
         SELECT 1, $2, $3, $4 FROM installation WHERE setup_code_hash = $1 AND NOT EXISTS (SELECT 1 FROM company)",
        code_hash,
        name,
        time_zone,
        at
    )
    .execute(connection)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Whether the set-up is done.
pub async fn is_set_up(connection: &mut SqliteConnection) -> Result<bool, sqlx::Error> {
    Ok(sqlx::query!("SELECT name FROM company").fetch_optional(connection).await?.is_some())
}

/// Whether a person is active and the stored password still the one that was looked at.
pub async fn still_signs_in(
    connection: &mut SqliteConnection,
    id: PersonId,
    password_hash: &str,
) -> Result<bool, sqlx::Error> {
    let key = id.to_string();
    let row =
        sqlx::query!("SELECT id FROM people WHERE id = $1 AND active = 1 AND password_hash = $2", key, password_hash);
    Ok(row.fetch_optional(connection).await?.is_some())
}

/// The company's name and zone, once the set-up is done.
pub async fn company(executor: impl SqliteExecutor<'_>) -> Result<Option<(String, String)>, sqlx::Error> {
    let row = sqlx::query!("SELECT name, time_zone FROM company").fetch_optional(executor).await?;
    Ok(row.map(|row| (row.name, row.time_zone)))
}
