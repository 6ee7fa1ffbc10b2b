//! Which version of each rule set counts, since when and by whom, and the texts of all versions that this book has met.

use std::{
    collections::{BTreeMap, HashMap},
    sync::{
        Arc, Mutex, PoisonError, RwLock,
        atomic::{AtomicI64, Ordering},
    },
};

use domain::{
    ids::{PersonId, RuleSetUseId},
    law::Lawbook,
    time::Instant,
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqliteExecutor};
use utoipa::ToSchema;

use super::{enum_text, read, read_enum, read_instant, read_json};

/// The law that counts while the server works, one for all who decide.
#[derive(Debug)]
pub struct LawInForce {
    law: RwLock<Arc<Lawbook>>,
    /// When a version last took another's place, in milliseconds: who asks about a later day need not look for earlier versions.
    changed_at: AtomicI64,
    /// The law that counted at the end of the span that was asked about last.
    past: Mutex<Option<PastLaw>>,
    /// What was missing when it was asked last, and of which law.
    gone: Mutex<Option<GoneSets>>,
    /// Held by whoever takes a new version in, from the reading of what counts to the taking: of two at once neither is lost.
    pub changing: tokio::sync::Mutex<()>,
}

impl LawInForce {
    pub fn of(law: Arc<Lawbook>) -> Self {
        let (law, changing) = (RwLock::new(law), tokio::sync::Mutex::new(()));
        Self { law, changed_at: AtomicI64::new(i64::MIN), past: Mutex::new(None), gone: Mutex::new(None), changing }
    }

    /// Codes of the rule sets by which this book counted and which a law does not have any more. Looked up once for each law: the
    /// operator's folder may be read again at any time.
    pub async fn gone(
        &self,
        executor: impl SqliteExecutor<'_>,
        law: &Arc<Lawbook>,
    ) -> Result<Arc<[String]>, sqlx::Error> {
        let known = self.gone.lock().unwrap_or_else(PoisonError::into_inner).clone();
        if let Some(known) = known.filter(|known| Arc::ptr_eq(&known.from, law)) {
            return Ok(known.codes);
        }
        let mut codes: Vec<String> = counting(executor).await?.into_keys().collect();
        codes.retain(|code| law.rule_set(code).is_none());
        codes.sort_unstable();
        let codes: Arc<[String]> = codes.into();
        let found = GoneSets { from: Arc::clone(law), codes: Arc::clone(&codes) };
        *self.gone.lock().unwrap_or_else(PoisonError::into_inner) = Some(found);
        Ok(codes)
    }

    /// The law that counts now.
    pub fn now(&self) -> Arc<Lawbook> {
        Arc::clone(&self.law.read().unwrap_or_else(PoisonError::into_inner))
    }

    /// From now on this one counts. The moment is when a version last took another's place, if any ever did.
    pub fn take(&self, law: Arc<Lawbook>, changed_at: Option<Instant>) {
        *self.law.write().unwrap_or_else(PoisonError::into_inner) = law;
        self.changed_at.store(changed_at.map_or(i64::MIN, Instant::millis), Ordering::Release);
    }

    /// When a version last took another's place; nothing where none ever did.
    pub fn changed_at(&self) -> Option<Instant> {
        Instant::from_millis(self.changed_at.load(Ordering::Acquire))
    }

    /// The law of before, if it was worked out last.
    pub fn past(&self, hashes: &BTreeMap<String, String>, law: &Arc<Lawbook>) -> Option<Arc<Lawbook>> {
        let past = self.past.lock().unwrap_or_else(PoisonError::into_inner);
        let known = past.as_ref().filter(|past| past.hashes == *hashes && Arc::ptr_eq(&past.beside, law))?;
        Some(Arc::clone(&known.law))
    }

    /// Remembers a law of before: whoever prints a year's statements asks for the same one for each.
    pub fn remember(&self, past: PastLaw) {
        *self.past.lock().unwrap_or_else(PoisonError::into_inner) = Some(past);
    }
}

/// The rule sets that are missing from a law.
#[derive(Debug, Clone)]
struct GoneSets {
    from: Arc<Lawbook>,
    codes: Arc<[String]>,
}

/// A law that counted before.
#[derive(Debug)]
pub struct PastLaw {
    /// The versions in which it differs, by the codes of their rule sets.
    pub hashes: BTreeMap<String, String>,
    /// The law that has counted since.
    pub beside: Arc<Lawbook>,
    pub law: Arc<Lawbook>,
}

/// How a version came to count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum TakenHow {
    /// It was there when the book met the rule set.
    First,
    /// The owner confirmed it.
    Confirmed,
    /// Its rules are those of the version before it.
    Same,
    /// The rule set bound no property.
    Unused,
    /// The version before it could no longer be read.
    Unreadable,
    /// The version before it no longer fitted the others.
    Unfit,
    /// The records had been decided by another version before versions were kept, and the program brought this one.
    Upgraded,
}

/// A version of a rule set that counts, or counted, from a moment on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct RuleSetUse {
    /// Null for what was there when the records met the rule set.
    pub id: Option<RuleSetUseId>,
    #[schema(max_length = 60, example = "us-md")]
    pub code: String,
    /// SHA-256 of the version's text, in hexadecimal.
    #[schema(max_length = 64)]
    pub hash: String,
    pub how: TakenHow,
    /// Who confirmed it.
    pub person_id: Option<PersonId>,
    pub since: Instant,
}

struct UseRow {
    id: Option<String>,
    code: String,
    hash: String,
    how: String,
    person_id: Option<String>,
    since: i64,
}

impl TryFrom<UseRow> for RuleSetUse {
    type Error = sqlx::Error;

    fn try_from(row: UseRow) -> Result<Self, sqlx::Error> {
        Ok(Self {
            id: row.id.as_deref().map(|id| read(id, "use of a rule set")).transpose()?,
            code: row.code,
            hash: row.hash,
            how: read_enum(&row.how, "use of a rule set")?,
            person_id: row.person_id.as_deref().map(|id| read(id, "person id")).transpose()?,
            since: read_instant(row.since)?,
        })
    }
}

/// The hash of the version that counts of each rule set that this book has met, by code.
pub async fn counting(executor: impl SqliteExecutor<'_>) -> Result<HashMap<String, String>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT code AS "code!", hash AS "hash!", max(seq) AS "seq!: i64" FROM rule_set_uses GROUP BY code"#
    );
    Ok(rows.fetch_all(executor).await?.into_iter().map(|row| (row.code, row.hash)).collect())
}

/// Texts of versions, by hash.
pub async fn texts(executor: impl SqliteExecutor<'_>, hashes: &[&str]) -> Result<HashMap<String, String>, sqlx::Error> {
    let hashes = serde_json::to_string(hashes).map_err(|error| sqlx::Error::Encode(error.into()))?;
    let rows = sqlx::query!(
        r#"SELECT v.hash AS "hash!", v.text AS "text!" FROM json_each($1) AS w CROSS JOIN rule_set_versions AS v WHERE v.hash = w.value"#,
        hashes
    );
    Ok(rows.fetch_all(executor).await?.into_iter().map(|row| (row.hash, row.text)).collect())
}

/// Every list of rule sets that a property ever had.
pub async fn lists(executor: impl SqliteExecutor<'_>) -> Result<Vec<Vec<String>>, sqlx::Error> {
    let rows = sqlx::query_scalar!(
        r#"SELECT DISTINCT facts ->> 'rule_sets' AS "list!: String" FROM dated_entries WHERE property_id IS NOT NULL AND facts ->> 'rule_sets' IS NOT NULL
           UNION SELECT rule_sets FROM properties"#
    );
    rows.fetch_all(executor).await?.iter().map(|list| read_json(list, "rule sets")).collect()
}

/// A text of a rule set that decisions were made by.
#[derive(Debug)]
pub struct DecidedText {
    pub hash: String,
    pub text: String,
}

/// The texts that decisions were made by of these rule sets, with their codes, in the order in which they came to decide.
pub async fn decided(
    executor: impl SqliteExecutor<'_>,
    codes: &[&str],
) -> Result<Vec<(String, DecidedText)>, sqlx::Error> {
    let codes = serde_json::to_string(codes).map_err(|error| sqlx::Error::Encode(error.into()))?;
    let rows = sqlx::query!(
        r#"SELECT t.code AS "code!", t.hash AS "hash!", t.text AS "text!" FROM rule_set_texts AS t
           WHERE t.code IN (SELECT w.value FROM json_each($1) AS w) ORDER BY t.rowid"#,
        codes
    );
    let rows = rows.fetch_all(executor).await?.into_iter();
    Ok(rows.map(|row| (row.code, DecidedText { hash: row.hash, text: row.text })).collect())
}

/// Keeps versions by code, hash and text, and gives code and hash of those that are new. One that was met before stays as it is.
pub async fn meet(
    connection: &mut SqliteConnection,
    versions: &[(&str, &str, &str)],
    at: Instant,
) -> Result<Vec<(String, String)>, sqlx::Error> {
    let versions = serde_json::to_string(versions).map_err(|error| sqlx::Error::Encode(error.into()))?;
    let at = at.millis();
    let rows = sqlx::query!(
        r#"INSERT INTO rule_set_versions (hash, code, met_at, text)
           SELECT value ->> 1, value ->> 0, $2, value ->> 2 FROM json_each($1) WHERE true ON CONFLICT (hash) DO NOTHING
           RETURNING code AS "code!", hash AS "hash!""#,
        versions,
        at
    );
    Ok(rows.fetch_all(connection).await?.into_iter().map(|row| (row.code, row.hash)).collect())
}

/// Code and hash of every version that was met, and of every use that needed no word; the second are marked.
pub async fn met(connection: &mut SqliteConnection) -> Result<Vec<(String, String, bool)>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT code AS "code!", hash AS "hash!", false AS "first!: bool" FROM rule_set_versions
           UNION ALL SELECT code, hash, true FROM rule_set_uses WHERE how = 'first'"#
    );
    Ok(rows.fetch_all(connection).await?.into_iter().map(|row| (row.code, row.hash, row.first)).collect())
}

/// Writes from when on a version counts.
pub async fn insert(connection: &mut SqliteConnection, one: &RuleSetUse) -> Result<(), sqlx::Error> {
    let (id, how) = (one.id.map(|id| id.to_string()), enum_text(&one.how)?);
    let (person, since) = (one.person_id.map(|id| id.to_string()), one.since.millis());
    sqlx::query!(
        "INSERT INTO rule_set_uses (id, code, hash, how, person_id, since) VALUES ($1, $2, $3, $4, $5, $6)",
        id,
        one.code,
        one.hash,
        how,
        person,
        since
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// Writes what was there when the book met these rule sets, by code and hash.
pub async fn insert_first(
    connection: &mut SqliteConnection,
    versions: &[(&str, &str)],
    at: Instant,
) -> Result<(), sqlx::Error> {
    let versions = serde_json::to_string(versions).map_err(|error| sqlx::Error::Encode(error.into()))?;
    let at = at.millis();
    sqlx::query!(
        "INSERT INTO rule_set_uses (code, hash, how, since) SELECT value ->> 0, value ->> 1, 'first', $2 FROM json_each($1)",
        versions,
        at
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// The version that counts of a rule set.
pub async fn current(executor: impl SqliteExecutor<'_>, code: &str) -> Result<Option<RuleSetUse>, sqlx::Error> {
    let row = sqlx::query_as!(
        UseRow,
        r#"SELECT id, code AS "code!", hash AS "hash!", how AS "how!", person_id, since AS "since!"
           FROM rule_set_uses WHERE code = $1 ORDER BY seq DESC LIMIT 1"#,
        code
    );
    row.fetch_optional(executor).await?.map(TryInto::try_into).transpose()
}

/// Every use of the rule sets of which more than one version has counted, in their order.
pub async fn of_changed(executor: impl SqliteExecutor<'_>, gone: &[String]) -> Result<Vec<RuleSetUse>, sqlx::Error> {
    let gone = serde_json::to_string(gone).map_err(|error| sqlx::Error::Encode(error.into()))?;
    let rows = sqlx::query_as!(
        UseRow,
        r#"SELECT id, code AS "code!", hash AS "hash!", how AS "how!", person_id, since AS "since!"
           FROM rule_set_uses AS u
           WHERE EXISTS (SELECT 1 FROM rule_set_uses AS x WHERE x.code = u.code AND x.seq <> u.seq)
              OR u.code IN (SELECT w.value FROM json_each($1) AS w)
           ORDER BY seq"#,
        gone
    );
    rows.fetch_all(executor).await?.into_iter().map(TryInto::try_into).collect()
}

/// One that stands in the journal.
pub async fn get(executor: impl SqliteExecutor<'_>, id: RuleSetUseId) -> Result<Option<RuleSetUse>, sqlx::Error> {
    let id = id.to_string();
    let row = sqlx::query_as!(
        UseRow,
        r#"SELECT id, code AS "code!", hash AS "hash!", how AS "how!", person_id, since AS "since!" FROM rule_set_uses WHERE id = $1"#,
        id
    );
    row.fetch_optional(executor).await?.map(TryInto::try_into).transpose()
}

/// Versions that count since a moment though nobody could look at what they change: the one before could not be read any more, did not
/// fit, or was not kept.
pub async fn unseen_since(executor: impl SqliteExecutor<'_>, after: i64) -> Result<Vec<RuleSetUse>, sqlx::Error> {
    let rows = sqlx::query_as!(
        UseRow,
        r#"SELECT id, code AS "code!", hash AS "hash!", how AS "how!", person_id, since AS "since!"
           FROM rule_set_uses WHERE how IN ('unreadable', 'unfit', 'upgraded') AND since > $1 ORDER BY seq"#,
        after
    );
    rows.fetch_all(executor).await?.into_iter().map(TryInto::try_into).collect()
}

/// When a version was met.
pub async fn met_at(executor: impl SqliteExecutor<'_>, hash: &str) -> Result<Option<Instant>, sqlx::Error> {
    let met = sqlx::query_scalar!(r#"SELECT met_at AS "met_at!" FROM rule_set_versions WHERE hash = $1"#, hash);
    met.fetch_optional(executor).await?.map(read_instant).transpose()
}

/// Every text that decisions were made under: hash, code, text.
pub async fn all_texts(connection: &mut SqliteConnection) -> Result<Vec<(String, String, String)>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT hash AS "hash!", code AS "code!", text AS "text!" FROM rule_set_texts ORDER BY code, hash"#
    );
    Ok(rows.fetch_all(connection).await?.into_iter().map(|row| (row.hash, row.code, row.text)).collect())
}
