//! Reading records: applications, their corrections, the decisions behind them, and what was refused.

use domain::{
    decision::Decision,
    ids::{ApplicationId, AttemptId, CorrectionId, PersonId, PropertyId, SectionId},
    quantity::{Area, ProductMass},
    time::Instant,
};
use serde::{Deserialize, Serialize};
use sqlx::{SqliteExecutor, SqlitePool};
use utoipa::ToSchema;

use crate::{
    acts::{
        application::{self, ApplicationInput, ApplicationView, LineView, PartName},
        content::whole_content,
        correction::{self, CorrectionView, Said},
        particulars::{DESTROYED, PersonalTexts},
        rows::{self, ApplicationRow, CorrectionRow, StoredCorrection},
    },
    paging::{PageRequest, Sequenced},
    scope::Scope,
    store::{
        bad_row,
        packing::{self, Opener},
        read, read_day, read_enum, read_instant, read_json,
    },
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

/// A row of the view `application_reads`.
pub(super) struct ApplicationRead {
    pub(super) seq: i64,
    pub(super) id: String,
    pub(super) property_id: String,
    pub(super) product_id: String,
    pub(super) lot_id: Option<String>,
    pub(super) visit_id: Option<String>,
    pub(super) clearance_id: Option<String>,
    pub(super) person_id: String,
    pub(super) person_name: String,
    pub(super) entered_by: String,
    pub(super) device_id: Option<String>,
    pub(super) applied_on: String,
    pub(super) received_at: i64,
    pub(super) sent_at: Option<i64>,
    pub(super) verdict: String,
    pub(super) beyond_the_rules: i64,
    pub(super) content: String,
    pub(super) packed: Option<Vec<u8>>,
    pub(super) pattern: Option<String>,
    /// The clock that was fixed with it, or else the property's.
    pub(super) time_zone: String,
    pub(super) lines: String,
    pub(super) correction_ids: String,
    pub(super) texts: Option<String>,
}

/// Section, area, product, nitrogen, quick nitrogen, phosphate, potash.
type StoredLine = (SectionId, i64, i64, i64, i64, i64, i64);

/// The same with the names of the parts that it lies in.
#[derive(Deserialize)]
struct PlacedLine(SectionId, i64, i64, i64, i64, i64, i64, Vec<PartName>);

impl PlacedLine {
    fn shown(self) -> LineView {
        let Self(section, area, product, nitrogen, quick, phosphate, potash, parts) = self;
        LineView { parts, ..line((section, area, product, nitrogen, quick, phosphate, potash)) }
    }
}

/// A line as it stands in the ledger.
pub fn line((section, area, product, nitrogen, quick, phosphate, potash): StoredLine) -> LineView {
    let area = Area::from_raw(area);
    LineView {
        section_id: section,
        area_sqft: area,
        parts: Vec::new(),
        product_lb: ProductMass::from_raw(product),
        delivers: rows::nutrients(nitrogen, quick, phosphate, potash),
        nitrogen_lb_per_1000_sqft: domain::quantity::rate_rounded_up(nitrogen, area),
    }
}

/// Reads records as they are shown. Neighbours are packed by the same pattern, which is made ready once.
pub(super) fn shown(rows: Vec<ApplicationRead>) -> Result<Vec<Sequenced<ApplicationView>>, sqlx::Error> {
    let mut opener = Opener::default();
    rows.into_iter().map(|row| row.shown(&mut opener)).collect()
}

impl ApplicationRead {
    fn shown(self, opener: &mut Opener) -> Result<Sequenced<ApplicationView>, sqlx::Error> {
        let content: ApplicationInput = match (&self.packed, &self.pattern) {
            (Some(packed), Some(pattern)) => read_json(opener.open(packed, pattern)?, "content of an application")?,
            _ => read_json(&self.content, "content of an application")?,
        };
        let texts: Option<PersonalTexts> =
            self.texts.as_deref().map(|text| read_json(text, "personal texts")).transpose()?;
        let correction_ids: Vec<CorrectionId> = read_json(&self.correction_ids, "corrections of an application")?;
        let lines: Vec<StoredLine> = read_json(&self.lines, "application lines")?;
        let (seq, time_zone) = (self.seq, self.time_zone.clone());
        let row = self.row()?;
        // Nobody knows whether it came in on its day, where it is not known what day it was there.
        let zone = domain::time::zone(&time_zone).ok();
        let received = read_instant(row.received_at)?;
        let late = zone.map(|zone| received.day_in(&zone) > row.applied_on);
        // Which parts a line lies in stands in the record; the ledger has their places in the division.
        let named = |section: SectionId| content.lines.iter().find(|line| line.section_id == section);
        let parts = |line: &LineView| named(line.section_id).map(|said| said.parts.clone()).unwrap_or_default();
        let lines = lines.into_iter().map(line).map(|line| LineView { parts: parts(&line), ..line }).collect();
        let view = application::view(row, content, texts, lines, correction_ids, late);
        Ok(Sequenced { seq, item: view.map_err(|fault| bad_row("application")(&fault))? })
    }

    /// Its row, without what nobody is shown.
    fn row(self) -> Result<ApplicationRow, sqlx::Error> {
        Ok(ApplicationRow {
            id: read(&self.id, "application id")?,
            property_id: read(&self.property_id, "property id")?,
            product_id: read(&self.product_id, "product id")?,
            lot_id: self.lot_id.as_deref().map(|id| read(id, "lot id")).transpose()?,
            visit_id: self.visit_id.as_deref().map(|id| read(id, "visit id")).transpose()?,
            clearance_id: self.clearance_id.as_deref().map(|id| read(id, "clearance id")).transpose()?,
            person_id: read(&self.person_id, "person id")?,
            person_name: self.person_name,
            entered_by: read(&self.entered_by, "person id")?,
            device_id: self.device_id.as_deref().map(|id| read(id, "device id")).transpose()?,
            applied_on: read_day(&self.applied_on)?,
            received_at: self.received_at,
            sent_at: self.sent_at,
            verdict: read_enum(&self.verdict, "verdict")?,
            beyond_the_rules: self.beyond_the_rules,
            review_reason: None,
            incomplete: None,
            particulars: None,
            time_zone: Some(self.time_zone),
            pattern: None,
            packed: None,
            content: self.content,
            fingerprint: String::new(),
        })
    }
}

pub async fn get(
    executor: impl SqliteExecutor<'_>,
    id: ApplicationId,
    scope: Scope,
) -> Result<Option<ApplicationView>, sqlx::Error> {
    let (key, person) = (id.to_string(), scope.viewer());
    let row = sqlx::query_as!(
        ApplicationRead,
        r#"SELECT a.seq AS "seq!", a.id AS "id!", a.property_id AS "property_id!", a.product_id AS "product_id!", a.lot_id, a.visit_id,
                  a.clearance_id, a.person_id AS "person_id!", a.person_name AS "person_name!", a.entered_by AS "entered_by!", a.device_id,
                  a.applied_on AS "applied_on!", a.received_at AS "received_at!", a.sent_at, a.verdict AS "verdict!",
                  a.beyond_the_rules AS "beyond_the_rules!", a.content AS "content!", a.packed, a.pattern AS "pattern: String",
                  a.time_zone AS "time_zone!: String", a.lines AS "lines!: String", a.correction_ids AS "correction_ids!: String", a.texts
           FROM application_reads AS a
           WHERE a.id = $1 AND ($2 IS NULL OR EXISTS (SELECT 1 FROM sight AS v WHERE v.property_id = a.property_id AND v.viewer = $2))"#,
        key,
        person
    )
    .fetch_optional(executor)
    .await?;
    row.map(|row| row.shown(&mut Opener::default()).map(|row| row.item)).transpose()
}

/// A page of applications, the latest received first. Of the ways to find them one is gone, by the narrowest of what is asked: the
/// others are empty, and cost nothing. By its days only a quarter of a year or less is found: a longer time is read from the newest on,
/// as far as the page goes. The plus signs keep SQLite from planning it anew for every value of its limit and its mark.
pub async fn list(
    pool: &SqlitePool,
    span: PageRequest,
    filter: Filter,
    scope: Scope,
) -> Result<Vec<Sequenced<ApplicationView>>, sqlx::Error> {
    let person = scope.viewer();
    let rows = sqlx::query_as!(
        ApplicationRead,
        r#"SELECT a.seq AS "seq!", a.id AS "id!", a.property_id AS "property_id!", a.product_id AS "product_id!", a.lot_id, a.visit_id,
                  a.clearance_id, a.person_id AS "person_id!", a.person_name AS "person_name!", a.entered_by AS "entered_by!", a.device_id,
                  a.applied_on AS "applied_on!", a.received_at AS "received_at!", a.sent_at, a.verdict AS "verdict!",
                  a.beyond_the_rules AS "beyond_the_rules!", a.content AS "content!", a.packed, a.pattern AS "pattern: String",
                  a.time_zone AS "time_zone!: String", a.lines AS "lines!: String", a.correction_ids AS "correction_ids!: String", a.texts
           FROM application_reads AS a
           WHERE a.seq IN (
               SELECT * FROM (
                   SELECT i.seq FROM applications AS i
                   WHERE $3 IS NOT NULL AND i.id IN (SELECT l.application_id FROM application_lines AS l WHERE l.section_id = $3)
                     AND i.seq < $1 AND ($2 IS NULL OR i.property_id = $2)
                     AND ($4 IS NULL OR i.applied_on >= $4) AND ($5 IS NULL OR i.applied_on <= $5)
                     AND ($6 IS NULL OR i.beyond_the_rules = +$6)
                     AND ($7 IS NULL OR EXISTS (SELECT 1 FROM sight AS v WHERE v.property_id = i.property_id AND v.viewer = $7))
                   ORDER BY i.seq DESC LIMIT +$8)
               UNION ALL SELECT * FROM (
                   SELECT i.seq FROM applications AS i
                   WHERE $3 IS NULL AND i.property_id = $2 AND i.seq < $1
                     AND ($4 IS NULL OR i.applied_on >= $4) AND ($5 IS NULL OR i.applied_on <= $5)
                     AND ($6 IS NULL OR i.beyond_the_rules = +$6)
                     AND ($7 IS NULL OR EXISTS (SELECT 1 FROM sight AS v WHERE v.property_id = i.property_id AND v.viewer = $7))
                   ORDER BY i.seq DESC LIMIT +$8)
               UNION ALL SELECT * FROM (
                   SELECT i.seq FROM applications AS i INDEXED BY applications_by_day
                   WHERE coalesce($2, $3) IS NULL AND julianday($5) - julianday($4) <= 92 AND $6 IS NOT 1
                     AND i.applied_on BETWEEN $4 AND $5 AND i.seq < $1
                     AND ($6 IS NULL OR i.beyond_the_rules = +$6)
                     AND ($7 IS NULL OR EXISTS (SELECT 1 FROM sight AS v WHERE v.property_id = i.property_id AND v.viewer = $7))
                   ORDER BY i.seq DESC LIMIT +$8)
               UNION ALL SELECT * FROM (
                   SELECT i.seq FROM applications AS i
                   WHERE coalesce($2, $3) IS NULL AND $6 = 1 AND i.beyond_the_rules = 1 AND i.seq < $1
                     AND ($4 IS NULL OR i.applied_on >= $4) AND ($5 IS NULL OR i.applied_on <= $5)
                     AND ($6 IS NULL OR i.beyond_the_rules = +$6)
                     AND ($7 IS NULL OR EXISTS (SELECT 1 FROM sight AS v WHERE v.property_id = i.property_id AND v.viewer = $7))
                   ORDER BY i.seq DESC LIMIT +$8)
               UNION ALL SELECT * FROM (
                   SELECT i.seq FROM applications AS i
                   WHERE coalesce($2, $3) IS NULL AND (julianday($5) - julianday($4) <= 92) IS NOT 1 AND $6 IS NOT 1 AND i.seq < $1
                     AND ($4 IS NULL OR i.applied_on >= $4) AND ($5 IS NULL OR i.applied_on <= $5)
                     AND ($6 IS NULL OR i.beyond_the_rules = +$6)
                     AND ($7 IS NULL OR EXISTS (SELECT 1 FROM sight AS v WHERE v.property_id = i.property_id AND v.viewer = $7))
                   ORDER BY i.seq DESC LIMIT +$8))
           ORDER BY a.seq DESC"#,
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
    shown(rows)
}

/// The decision that a record, clearance or refused attempt was made under, word for word.
pub async fn decision(pool: &SqlitePool, subject: &str) -> Result<Option<Decision>, sqlx::Error> {
    let packed = packing::of_decision(pool, subject).await?.and_then(|texts| texts.decision);
    let body = match packed {
        Some(body) => Some(body),
        None => {
            sqlx::query_scalar!("SELECT body FROM decisions WHERE subject = $1", subject).fetch_optional(pool).await?
        }
    };
    body.map(|body| read_json(&body, "decision")).transpose()
}

/// A row of the view `correction_rows`.
struct CorrectionRead {
    seq: i64,
    body: String,
    lines: String,
    texts: Option<String>,
    destroyed_by: Option<i64>,
}

impl TryFrom<CorrectionRead> for Sequenced<CorrectionView> {
    type Error = sqlx::Error;

    fn try_from(read: CorrectionRead) -> Result<Self, sqlx::Error> {
        let row: CorrectionRow = read_json(&read.body, "correction")?;
        let told: Said = read_json(&row.content, "content of a correction")?;
        let lines: Vec<PlacedLine> = read_json(&read.lines, "correction lines")?;
        let texts = read.texts.as_deref().map(|text| read_json(text, "personal texts")).transpose()?;
        let (stored, destroyed) = (StoredCorrection { row, texts }, read.destroyed_by.is_some());
        let view =
            correction::view(&stored, told.reason, destroyed, lines.into_iter().map(PlacedLine::shown).collect());
        Ok(Self { seq: read.seq, item: view.map_err(|fault| bad_row("correction")(&fault))? })
    }
}

/// Corrections, oldest first: of one application, or one by its id.
pub async fn corrections(
    executor: impl SqliteExecutor<'_>,
    span: PageRequest,
    application: Option<ApplicationId>,
    id: Option<CorrectionId>,
    scope: Scope,
) -> Result<Vec<Sequenced<CorrectionView>>, sqlx::Error> {
    let (application, id, person) = (application.map(|id| id.to_string()), id.map(|id| id.to_string()), scope.viewer());
    let rows = sqlx::query_as!(
        CorrectionRead,
        r#"SELECT c.seq AS "seq!", c.body AS "body!: String", c.lines AS "lines!: String", told.body AS "texts?", told.destroyed_by AS "destroyed_by?"
           FROM correction_rows AS c JOIN applications AS a ON a.id = c.application_id
           LEFT JOIN personal_texts AS told ON told.record_id = c.id
           WHERE c.seq > $1 AND ($2 IS NULL OR c.application_id = $2) AND ($3 IS NULL OR c.id = $3)
             AND ($4 IS NULL OR EXISTS (SELECT 1 FROM sight AS v WHERE v.property_id = a.property_id AND v.viewer = $4))
           ORDER BY c.seq LIMIT $5"#,
        span.after,
        application,
        id,
        person,
        span.take
    )
    .fetch_all(executor)
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
    /// What was sent, word for word; without its notes and its reason once these were destroyed.
    #[schema(max_length = 1_000_000)]
    pub content: String,
    /// Says that notes and reason were destroyed; null while they are there, and where there were none.
    #[schema(max_length = 100)]
    pub destroyed: Option<String>,
    /// Something was stored under the same id since.
    pub stored_since: bool,
    pub decision: Option<Decision>,
}

pub async fn attempt(pool: &SqlitePool, id: AttemptId, scope: Scope) -> Result<Option<Attempt>, sqlx::Error> {
    let (key, person) = (id.to_string(), scope.viewer());
    let row = sqlx::query!(
        r#"SELECT t.kind AS "kind!", t.subject_id AS "subject_id!", t.property_id AS "property_id!", t.person_id AS "person_id!",
                  t.received_at AS "received_at!", t.content AS "content!",
                  p.body AS "texts?", p.destroyed_by AS "destroyed_by?",
                  EXISTS (SELECT 1 FROM applications AS a WHERE a.id = t.subject_id AND a.property_id = t.property_id)
                    OR EXISTS (SELECT 1 FROM corrections AS c JOIN applications AS a ON a.id = c.application_id
                        WHERE c.id = t.subject_id AND a.property_id = t.property_id)
                    OR EXISTS (SELECT 1 FROM clearances AS c WHERE c.id = t.subject_id AND c.property_id = t.property_id)
                    AS "stored_since!: bool"
           FROM attempts AS t LEFT JOIN personal_texts AS p ON p.record_id = t.id
           WHERE t.id = $1 AND ($2 IS NULL OR t.person_id = $2)"#,
        key,
        person
    )
    .fetch_optional(pool)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let decision = decision(pool, &packing::subject("attempt", id)).await?;
    let texts = row.texts.as_deref().map(|text| read_json(text, "personal texts")).transpose()?;
    let content = whole_content(&row.content, texts.as_ref()).map_err(|fault| bad_row("attempt")(&fault))?;
    Ok(Some(Attempt {
        id,
        kind: row.kind,
        subject_id: row.subject_id,
        property_id: read(&row.property_id, "property id")?,
        person_id: read(&row.person_id, "person id")?,
        received_at: read_instant(row.received_at)?,
        content,
        destroyed: row.destroyed_by.map(|_| DESTROYED.to_owned()),
        stored_since: row.stored_since,
        decision,
    }))
}
