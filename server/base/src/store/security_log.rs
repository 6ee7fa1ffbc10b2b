//! The security log: who came in, who tried, and who let whom in. Bounded by age, and of those who only try by number.

use domain::{
    ids::{PassId, PersonId},
    time::Instant,
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteConnection, SqliteExecutor, SqlitePool};
use utoipa::ToSchema;

use crate::{
    field_fault::truncate_chars,
    paging::{PageRequest, Sequenced},
    store::{enum_text, read, read_enum, read_instant},
};

/// What happened at the door.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SecurityEventKind {
    SignedIn,
    SignInFailed,
    /// Too many tries: counted once a minute for each address, however many there are.
    SignInLimited,
    SignedOut,
    SignedOutEverywhere,
    /// Before something that asks for it again.
    PasswordConfirmed,
    PasswordChanged,
    /// The owner set another one.
    PasswordReset,
    PasswordCodeMade,
    PersonAdded,
    RoleChanged,
    AccessEnded,
    AccessReturned,
    EnrolmentCodeMade,
    PhoneConnected,
    PhoneSignedOut,
    PassMade,
    PassEnded,
    /// Its code was typed into a browser.
    PassOpened,
    PassRead,
}

impl SecurityEventKind {
    /// What anybody can bring about without being let in, as often as they like.
    const fn is_failure(self) -> bool {
        matches!(self, Self::SignInFailed | Self::SignInLimited)
    }

    /// How a page says it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::SignedIn => "signed in",
            Self::SignInFailed => "▲ sign-in failed",
            Self::SignInLimited => "▲ too many tries",
            Self::SignedOut => "signed out",
            Self::SignedOutEverywhere => "signed out everywhere",
            Self::PasswordConfirmed => "showed the password again",
            Self::PasswordChanged => "changed the password",
            Self::PasswordCodeMade => "code for a new password made",
            Self::PasswordReset => "password set by the owner",
            Self::PersonAdded => "person added",
            Self::RoleChanged => "role changed",
            Self::AccessEnded => "access ended",
            Self::AccessReturned => "access given back",
            Self::EnrolmentCodeMade => "code for a phone made",
            Self::PhoneConnected => "phone connected",
            Self::PhoneSignedOut => "phone signed out",
            Self::PassMade => "pass made",
            Self::PassEnded => "pass ended",
            Self::PassOpened => "code of a pass typed",
            Self::PassRead => "read with a pass",
        }
    }
}

/// One line of the security log.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct SecurityEvent {
    #[schema(minimum = 1, maximum = 9_007_199_254_740_991_i64)]
    pub seq: i64,
    /// When it happened; of failures that are counted together, the first.
    pub at: Instant,
    pub kind: SecurityEventKind,
    /// Whom it is about, where that is known.
    pub person_id: Option<PersonId>,
    /// Who did it.
    pub by_id: Option<PersonId>,
    pub pass_id: Option<PassId>,
    /// A name to sign in with that is known, or what a phone or a pass is called. What else was typed as a name is not kept: it may
    /// be a password.
    #[schema(max_length = 200)]
    pub name: Option<String>,
    /// From which address, where the server knows it; of IP version 6 the network.
    #[schema(max_length = 60)]
    pub address: Option<String>,
    /// What was read, or what changed.
    #[schema(max_length = 400)]
    pub detail: Option<String>,
    /// How many failures of one kind, name and address within an hour the line counts. Null for what happens once.
    #[schema(minimum = 1, maximum = 9_007_199_254_740_991_i64)]
    pub tries: Option<i64>,
    /// When the last of them was.
    pub last_at: Option<Instant>,
}

/// What is to be written.
#[derive(Debug, Clone)]
pub struct NewSecurityEvent {
    pub kind: SecurityEventKind,
    pub person: Option<PersonId>,
    pub by: Option<PersonId>,
    pub pass: Option<PassId>,
    pub name: Option<String>,
    pub address: Option<String>,
    pub detail: Option<String>,
}

impl NewSecurityEvent {
    pub const fn of(kind: SecurityEventKind) -> Self {
        Self { kind, person: None, by: None, pass: None, name: None, address: None, detail: None }
    }

    /// Somebody did it to a person, maybe to themselves.
    #[must_use]
    pub const fn by(mut self, by: PersonId, person: PersonId) -> Self {
        (self.by, self.person) = (Some(by), Some(person));
        self
    }

    #[must_use]
    pub fn named(mut self, name: impl Into<String>) -> Self {
        self.name = Some(truncate_chars(name.into(), 200));
        self
    }

    /// Named as somebody typed it to sign in, if that is somebody's name: people type their password there.
    #[must_use]
    pub fn tried_as(self, name: &str, is_known: bool) -> Self {
        self.named(if is_known { name } else { "a name that nobody has" })
    }

    #[must_use]
    pub fn from(mut self, address: Option<String>) -> Self {
        self.address = address;
        self
    }

    #[must_use]
    pub fn saying(mut self, detail: impl Into<String>) -> Self {
        self.detail = Some(truncate_chars(detail.into(), 400));
        self
    }
}

/// Failures within this time are one line.
const COUNTED_TOGETHER_MS: i64 = 3_600_000;
/// Lines of failures in a day. Further addresses and names are counted on a line that names none.
const FAILURES_A_DAY: i64 = 200;
const A_DAY_MS: i64 = 86_400_000;

/// Writes a line, in the transaction of what it tells, and forgets what is older than the settings say. A failure is counted on the
/// line of its kind, name and address, if there is one of the last hour.
pub async fn insert(
    connection: &mut SqliteConnection,
    at: Instant,
    mut event: NewSecurityEvent,
) -> Result<(), sqlx::Error> {
    if event.kind.is_failure() {
        if counted(&mut *connection, at, &event).await? {
            return Ok(());
        }
        if failures_of_a_day(&mut *connection, at).await? >= FAILURES_A_DAY {
            event = NewSecurityEvent::of(event.kind).saying("from further addresses, or at further names");
            if counted(&mut *connection, at, &event).await? {
                return Ok(());
            }
        }
    }
    append(connection, at, event).await
}

/// Counts a failure on the line that there is of its like, and says whether there is one.
async fn counted(
    connection: &mut SqliteConnection,
    at: Instant,
    event: &NewSecurityEvent,
) -> Result<bool, sqlx::Error> {
    let (kind, at) = (enum_text(&event.kind)?, at.millis());
    let since = at - COUNTED_TOGETHER_MS;
    let person = event.person.map(|id| id.to_string());
    let row = sqlx::query!(
        r#"UPDATE security_events SET tries = tries + 1, last_at = max(last_at, $1)
           WHERE seq = (
               SELECT max(e.seq) FROM security_events AS e
               WHERE e.tries IS NOT NULL AND e.at BETWEEN $2 AND $1 AND e.kind = $3 AND e.person_id IS $4 AND e.name IS $5
                 AND e.address IS $6 AND e.detail IS $7)
           RETURNING tries AS "tries!: i64""#,
        at,
        since,
        kind,
        person,
        event.name,
        event.address,
        event.detail
    )
    .fetch_optional(connection)
    .await?;
    let Some(row) = row else { return Ok(false) };
    // The server's own log is not to be filled either: it is told at the second, fourth, eighth, and so on.
    if row.tries.count_ones() == 1 {
        tracing::info!(target: "security", kind, name = event.name, address = event.address, detail = event.detail, tries = row.tries, "security");
    }
    Ok(true)
}

async fn failures_of_a_day(connection: &mut SqliteConnection, at: Instant) -> Result<i64, sqlx::Error> {
    let (since, at) = (at.millis() - A_DAY_MS, at.millis());
    let row = sqlx::query!(
        r#"SELECT count(*) AS "lines!: i64" FROM security_events WHERE tries IS NOT NULL AND at BETWEEN $1 AND $2"#,
        since,
        at
    )
    .fetch_one(connection)
    .await?;
    Ok(row.lines)
}

async fn append(connection: &mut SqliteConnection, at: Instant, event: NewSecurityEvent) -> Result<(), sqlx::Error> {
    let kind = enum_text(&event.kind)?;
    tracing::info!(target: "security", kind, name = event.name, address = event.address, detail = event.detail, "security");
    let (person, by) = (event.person.map(|id| id.to_string()), event.by.map(|id| id.to_string()));
    let (pass, at) = (event.pass.map(|id| id.to_string()), at.millis());
    let (tries, last_at) = event.kind.is_failure().then_some((1_i64, at)).unzip();
    let written = sqlx::query!(
        "INSERT INTO security_events (at, kind, person_id, by_id, pass_id, name, address, detail, tries, last_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
        at,
        kind,
        person,
        by,
        pass,
        event.name,
        event.address,
        event.detail,
        tries,
        last_at
    )
    .execute(&mut *connection)
    .await?;
    forget(connection, written.last_insert_rowid(), at).await
}

/// Lines forgotten with each that is written, at most: no write is to hold up the others when the settings shorten the log.
const FORGOTTEN: i64 = 500;

/// Forgets the oldest lines that are older than the settings say. Age goes by the earlier of this line and the one before it, so that
/// one moment of a clock set ahead makes no line old, and what it wrote does not either once the clock is right again.
async fn forget(connection: &mut SqliteConnection, seq: i64, at: i64) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "DELETE FROM security_events WHERE seq IN (
             SELECT e.seq FROM security_events AS e
             WHERE e.at < min($2, (SELECT b.at FROM security_events AS b WHERE b.seq = $1 - 1))
                          - (SELECT s.security_log_days FROM settings AS s) * 86400000
             ORDER BY e.at LIMIT $3)",
        seq,
        at,
        FORGOTTEN
    )
    .execute(connection)
    .await?;
    Ok(())
}

/// A page of the log, the newest first.
pub async fn list(pool: &SqlitePool, span: PageRequest) -> Result<Vec<Sequenced<SecurityEvent>>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT seq AS "seq!", at, kind, person_id, by_id, pass_id, name, address, detail, tries, last_at
           FROM security_events WHERE seq < $1 ORDER BY seq DESC LIMIT $2"#,
        span.after,
        span.take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter()
        .map(|row| {
            let item = SecurityEvent {
                seq: row.seq,
                at: read_instant(row.at)?,
                kind: read_enum(&row.kind, "kind of security event")?,
                person_id: row.person_id.as_deref().map(|id| read(id, "person id")).transpose()?,
                by_id: row.by_id.as_deref().map(|id| read(id, "person id")).transpose()?,
                pass_id: row.pass_id.as_deref().map(|id| read(id, "pass id")).transpose()?,
                name: row.name,
                address: row.address,
                detail: row.detail,
                tries: row.tries,
                last_at: row.last_at.map(read_instant).transpose()?,
            };
            Ok(Sequenced { seq: row.seq, item })
        })
        .collect()
}

/// Whether somebody signed in by this name from this address before.
pub async fn has_signed_in(
    executor: impl SqliteExecutor<'_>,
    name: &str,
    address: Option<&str>,
) -> Result<bool, sqlx::Error> {
    let row = sqlx::query!(
        r#"SELECT EXISTS (SELECT 1 FROM security_events WHERE name = $1 AND address = $2 AND kind = 'signed_in') AS "known!: bool""#,
        name,
        address
    )
    .fetch_one(executor)
    .await?;
    Ok(row.known)
}

/// Whether anybody was let in from this address before, by a password or with a phone.
pub async fn came_from(executor: impl SqliteExecutor<'_>, address: Option<String>) -> Result<bool, sqlx::Error> {
    let row = sqlx::query!(
        r#"SELECT EXISTS (
               SELECT 1 FROM security_events WHERE address = $1 AND kind IN ('signed_in', 'phone_connected')) AS "known!: bool""#,
        address
    )
    .fetch_one(executor)
    .await?;
    Ok(row.known)
}
