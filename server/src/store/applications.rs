//! Reading records: applications, their corrections, the decisions behind them, and what was refused.

use domain::{
    decision::Decision,
    ids::{ApplicationId, AttemptId, CorrectionId, PersonId, PropertyId, SectionId},
    quantity::{Area, ProductMass},
    time::Instant,
};
use serde::Serialize;
use sqlx::{SqliteExecutor, SqlitePool};
use utoipa::ToSchema;

use crate::{
    acts::{
        application::{self, ApplicationView, LineView},
        correction::{self, CorrectionView},
        rows,
    },
    paging::{PageRequest, Sequenced},
    scope::Scope,
    store::{read, read_day, read_enum, read_instant, read_json},
};

/// Which applications a list shows.
#[derive(Debug, Default)]
pub struct Filter {
    pub property: Option<String>,
    pub section: Option<String>,
    pub from: Option<String>,
    pub to: Option<String>,
    pub beyond_the_rules: Option<bool>,
}

struct StoredRow {
    seq: i64,
    id: String,
    property_id: String,
    product_id: String,
    lot_id: Option<String>,
    person_id: String,
    person_name: String,
    entered_by: String,
    device_id: Option<String>,
    applied_on: String,
    received_at: i64,
    sent_at: Option<i64>,
    verdict: String,
    beyond_the_rules: i64,
    content: String,
    fingerprint: String,
    time_zone: String,
    lines: String,
    corrections: String,
}

/// Section, area, product, nitrogen, quick nitrogen, phosphate, potash.
type StoredLine = (SectionId, i64, i64, i64, i64, i64, i64);

/// A line as it stands in the ledger.
pub fn line((section, area, product, nitrogen, quick, phosphate, potash): StoredLine) -> LineView {
    let area = Area::from_raw(area);
    LineView {
        section_id: section,
        area_sqft: area,
        product_lb: ProductMass::from_raw(product),
        delivers: rows::nutrients(nitrogen, quick, phosphate, potash),
        nitrogen_lb_per_1000_sqft: domain::quantity::rate_rounded_up(nitrogen, area),
    }
}

impl TryFrom<StoredRow> for Sequenced<ApplicationView> {
    type Error = sqlx::Error;

    fn try_from(stored: StoredRow) -> Result<Self, sqlx::Error> {
        let id = read(&stored.id, "application id")?;
        let applied_on = read_day(&stored.applied_on)?;
        let row = rows::ApplicationRow {
            property_id: read(&stored.property_id, "property id")?,
            product_id: read(&stored.product_id, "product id")?,
            lot_id: stored.lot_id.as_deref().map(|id| read(id, "lot id")).transpose()?,
            person_id: read(&stored.person_id, "person id")?,
            person_name: stored.person_name,
            entered_by: read(&stored.entered_by, "person id")?,
            device_id: stored.device_id.as_deref().map(|id| read(id, "device id")).transpose()?,
            applied_on,
            received_at: stored.received_at,
            sent_at: stored.sent_at,
            verdict: read_enum(&stored.verdict, "verdict")?,
            beyond_the_rules: stored.beyond_the_rules,
            content: stored.content,
            fingerprint: stored.fingerprint,
            review_reason: None,
            last_correction: None,
        };
        let zone = domain::time::zone(&stored.time_zone).unwrap_or(jiff::tz::TimeZone::UTC);
        let late = read_instant(stored.received_at)?.day_in(&zone) > applied_on;
        let lines: Vec<StoredLine> = read_json(&stored.lines, "application lines")?;
        let corrections: Vec<CorrectionId> = read_json(&stored.corrections, "correction ids")?;
        let lines = lines.into_iter().map(line).collect();
        let item = application::view(id, &row, lines, corrections, late)
            .map_err(|error| super::bad_row("application")(&error))?;
        Ok(Self { seq: stored.seq, item })
    }
}

pub async fn get(
    executor: impl SqliteExecutor<'_>,
    id: ApplicationId,
    scope: Scope,
) -> Result<Option<ApplicationView>, sqlx::Error> {
    let (key, person) = (id.to_string(), scope.person());
    let row = sqlx::query_as!(
        StoredRow,
        r#"SELECT a.seq AS "seq!", a.id AS "id!", a.property_id AS "property_id!", a.product_id AS "product_id!", a.lot_id,
                  a.person_id AS "person_id!", a.person_name AS "person_name!", a.entered_by AS "entered_by!", a.device_id,
                  a.applied_on AS "applied_on!", a.received_at AS "received_at!", a.sent_at,
                  a.verdict AS "verdict!", a.beyond_the_rules AS "beyond_the_rules!", a.content AS "content!",
                  a.fingerprint AS "fingerprint!", p.time_zone AS "time_zone!",
                  (SELECT json_group_array(json_array(l.section_id, l.area, l.product, l.nitrogen, l.quick_nitrogen, l.phosphate, l.potash))
                   FROM application_lines AS l WHERE l.application_id = a.id AND l.record_id = a.id) AS "lines!: String",
                  (SELECT json_group_array(c.id) FROM (SELECT id FROM corrections WHERE application_id = a.id ORDER BY seq) AS c)
                   AS "corrections!: String"
           FROM applications AS a JOIN properties AS p ON p.id = a.property_id
           WHERE a.id = $1 AND ($2 IS NULL OR EXISTS (SELECT 1 FROM assignments AS v WHERE v.property_id = a.property_id AND v.person_id = $2))"#,
        key,
        person
    )
    .fetch_optional(executor)
    .await?;
    row.map(|row| Sequenced::try_from(row).map(|row| row.item)).transpose()
}

/// A page of applications, the latest received first.
pub async fn list(
    pool: &SqlitePool,
    span: PageRequest,
    filter: Filter,
    scope: Scope,
) -> Result<Vec<Sequenced<ApplicationView>>, sqlx::Error> {
    let person = scope.person();
    let rows = sqlx::query_as!(
        StoredRow,
        r#"SELECT a.seq AS "seq!", a.id AS "id!", a.property_id AS "property_id!", a.product_id AS "product_id!", a.lot_id,
                  a.person_id AS "person_id!", a.person_name AS "person_name!", a.entered_by AS "entered_by!", a.device_id,
                  a.applied_on AS "applied_on!", a.received_at AS "received_at!", a.sent_at,
                  a.verdict AS "verdict!", a.beyond_the_rules AS "beyond_the_rules!", a.content AS "content!",
                  a.fingerprint AS "fingerprint!", p.time_zone AS "time_zone!",
                  (SELECT json_group_array(json_array(l.section_id, l.area, l.product, l.nitrogen, l.quick_nitrogen, l.phosphate, l.potash))
                   FROM application_lines AS l WHERE l.application_id = a.id AND l.record_id = a.id) AS "lines!: String",
                  (SELECT json_group_array(c.id) FROM (SELECT id FROM corrections WHERE application_id = a.id ORDER BY seq) AS c)
                   AS "corrections!: String"
           FROM applications AS a JOIN properties AS p ON p.id = a.property_id
           WHERE a.seq < $1
             AND ($2 IS NULL OR a.property_id = $2)
             AND ($3 IS NULL OR EXISTS (SELECT 1 FROM application_lines AS l WHERE l.application_id = a.id AND l.section_id = $3))
             AND ($4 IS NULL OR a.applied_on >= $4)
             AND ($5 IS NULL OR a.applied_on <= $5)
             AND ($6 IS NULL OR a.beyond_the_rules = $6)
             AND ($7 IS NULL OR EXISTS (SELECT 1 FROM assignments AS v WHERE v.property_id = a.property_id AND v.person_id = $7))
           ORDER BY a.seq DESC LIMIT $8"#,
        span.after,
        filter.property,
        filter.section,
        filter.from,
        filter.to,
        filter.beyond_the_rules,
        person,
        span.take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(Sequenced::try_from).collect()
}

/// The decision that a record, clearance or refused attempt was made under, word for word.
pub async fn decision(pool: &SqlitePool, subject: &str) -> Result<Option<Decision>, sqlx::Error> {
    let row = sqlx::query!("SELECT body FROM decisions WHERE subject = $1", subject).fetch_optional(pool).await?;
    row.map(|row| read_json(&row.body, "decision")).transpose()
}

struct CorrectionStored {
    seq: i64,
    id: String,
    application_id: String,
    person_id: String,
    device_id: Option<String>,
    received_at: i64,
    verdict: String,
    beyond_the_rules: i64,
    content: String,
    fingerprint: String,
    lines: String,
}

impl TryFrom<CorrectionStored> for Sequenced<CorrectionView> {
    type Error = sqlx::Error;

    fn try_from(stored: CorrectionStored) -> Result<Self, sqlx::Error> {
        let row = rows::CorrectionRow {
            application_id: read(&stored.application_id, "application id")?,
            person_id: read(&stored.person_id, "person id")?,
            device_id: stored.device_id.as_deref().map(|id| read(id, "device id")).transpose()?,
            received_at: stored.received_at,
            verdict: read_enum(&stored.verdict, "verdict")?,
            beyond_the_rules: stored.beyond_the_rules,
            content: stored.content,
            fingerprint: stored.fingerprint,
        };
        let lines: Vec<StoredLine> = read_json(&stored.lines, "correction lines")?;
        let item = correction::view(read(&stored.id, "correction id")?, &row, lines.into_iter().map(line).collect());
        Ok(Self { seq: stored.seq, item: item.ok_or_else(|| super::bad_row("correction")(&stored.id))? })
    }
}

/// Corrections, oldest first: of one application, or one by its id.
pub async fn corrections(
    pool: &SqlitePool,
    span: PageRequest,
    application: Option<ApplicationId>,
    id: Option<CorrectionId>,
    scope: Scope,
) -> Result<Vec<Sequenced<CorrectionView>>, sqlx::Error> {
    let (application, id, person) = (application.map(|id| id.to_string()), id.map(|id| id.to_string()), scope.person());
    let rows = sqlx::query_as!(
        CorrectionStored,
        r#"SELECT c.seq AS "seq!", c.id AS "id!", c.application_id AS "application_id!", c.person_id AS "person_id!", c.device_id,
                  c.received_at AS "received_at!", c.verdict AS "verdict!", c.beyond_the_rules AS "beyond_the_rules!",
                  c.content AS "content!", c.fingerprint AS "fingerprint!",
                  (SELECT json_group_array(json_array(l.section_id, l.area, l.product, l.nitrogen, l.quick_nitrogen, l.phosphate, l.potash))
                   FROM application_lines AS l WHERE l.application_id = c.application_id AND l.record_id = c.id AND l.product > 0)
                   AS "lines!: String"
           FROM corrections AS c JOIN applications AS a ON a.id = c.application_id
           WHERE c.seq > $1 AND ($2 IS NULL OR c.application_id = $2) AND ($3 IS NULL OR c.id = $3)
             AND ($4 IS NULL OR EXISTS (SELECT 1 FROM assignments AS v WHERE v.property_id = a.property_id AND v.person_id = $4))
           ORDER BY c.seq LIMIT $5"#,
        span.after,
        application,
        id,
        person,
        span.take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(Sequenced::try_from).collect()
}

/// What was sent and refused. It may have happened all the same.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Attempt {
    pub id: AttemptId,
    /// `clearance`, `application` or `correction`.
    #[schema(max_length = 20, example = "application")]
    pub kind: String,
    /// The id under which it was sent.
    #[schema(max_length = 36)]
    pub subject_id: String,
    pub property_id: PropertyId,
    pub person_id: PersonId,
    pub received_at: Instant,
    /// What was sent, word for word.
    #[schema(max_length = 1_000_000)]
    pub content: String,
    /// Something was stored under the same id since.
    pub stored_since: bool,
    pub decision: Option<Decision>,
}

pub async fn attempt(pool: &SqlitePool, id: AttemptId, scope: Scope) -> Result<Option<Attempt>, sqlx::Error> {
    let (key, person) = (id.to_string(), scope.person());
    let row = sqlx::query!(
        r#"SELECT t.kind AS "kind!", t.subject_id AS "subject_id!", t.property_id AS "property_id!", t.person_id AS "person_id!",
                  t.received_at AS "received_at!", t.content AS "content!", d.body AS "decision?",
                  EXISTS (SELECT 1 FROM applications AS a WHERE a.id = t.subject_id AND a.property_id = t.property_id)
                    OR EXISTS (SELECT 1 FROM corrections AS c JOIN applications AS a ON a.id = c.application_id
                        WHERE c.id = t.subject_id AND a.property_id = t.property_id)
                    OR EXISTS (SELECT 1 FROM clearances AS c WHERE c.id = t.subject_id AND c.property_id = t.property_id)
                    AS "stored_since!: bool"
           FROM attempts AS t LEFT JOIN decisions AS d ON d.subject = 'attempt/' || t.id
           WHERE t.id = $1 AND ($2 IS NULL OR t.person_id = $2)"#,
        key,
        person
    )
    .fetch_optional(pool)
    .await?;
    row.map(|row| {
        Ok(Attempt {
            id,
            kind: row.kind,
            subject_id: row.subject_id,
            property_id: read(&row.property_id, "property id")?,
            person_id: read(&row.person_id, "person id")?,
            received_at: read_instant(row.received_at)?,
            content: row.content,
            stored_since: row.stored_since,
            decision: row.decision.map(|body| read_json(&body, "decision")).transpose()?,
        })
    })
    .transpose()
}
