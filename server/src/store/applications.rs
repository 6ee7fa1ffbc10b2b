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
        particulars::DESTROYED,
        rows::{self, CorrectionRow, StoredApplication, StoredCorrection},
    },
    paging::{PageRequest, Sequenced},
    scope::Scope,
    store::{bad_row, packing, read, read_instant, read_json},
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

/// A row of the view `application_rows`.
pub(super) struct ApplicationRead {
    pub(super) seq: i64,
    pub(super) body: String,
    /// The clock that was fixed with it, or else the property's.
    pub(super) time_zone: String,
    pub(super) lines: String,
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

impl TryFrom<ApplicationRead> for Sequenced<ApplicationView> {
    type Error = sqlx::Error;

    fn try_from(ApplicationRead { seq, body, time_zone, lines }: ApplicationRead) -> Result<Self, sqlx::Error> {
        let mut stored: StoredApplication = read_json(&body, "application")?;
        packing::open(&mut stored)?;
        let StoredApplication { row, correction_ids, texts, .. } = stored;
        let content: ApplicationInput = read_json(&row.content, "content of an application")?;
        // Nobody knows whether it came in on its day, where it is not known what day it was there.
        let zone = domain::time::zone(&time_zone).ok();
        let received = read_instant(row.received_at)?;
        let late = zone.map(|zone| received.day_in(&zone) > row.applied_on);
        let lines: Vec<StoredLine> = read_json(&lines, "application lines")?;
        // Which parts a line lies in stands in the record; the ledger has their places in the division.
        let named = |section: SectionId| content.lines.iter().find(|line| line.section_id == section);
        let parts = |line: &LineView| named(line.section_id).map(|said| said.parts.clone()).unwrap_or_default();
        let lines = lines.into_iter().map(line).map(|line| LineView { parts: parts(&line), ..line }).collect();
        let view = application::view(row, content, texts, lines, correction_ids, late);
        Ok(Self { seq, item: view.map_err(|fault| bad_row("application")(&fault))? })
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
        r#"SELECT a.seq AS "seq!", a.body AS "body!: String", a.time_zone AS "time_zone!: String", a.lines AS "lines!: String" FROM application_rows AS a
           WHERE a.id = $1 AND ($2 IS NULL OR EXISTS (SELECT 1 FROM sight AS v WHERE v.property_id = a.property_id AND v.viewer = $2))"#,
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
    let person = scope.viewer();
    let rows = sqlx::query_as!(
        ApplicationRead,
        r#"SELECT a.seq AS "seq!", a.body AS "body!: String", a.time_zone AS "time_zone!: String", a.lines AS "lines!: String" FROM application_rows AS a
           WHERE a.seq < $1
             AND ($2 IS NULL OR a.property_id = $2)
             AND ($3 IS NULL OR EXISTS (SELECT 1 FROM application_lines AS l WHERE l.application_id = a.id AND l.section_id = $3))
             AND ($4 IS NULL OR a.applied_on >= $4)
             AND ($5 IS NULL OR a.applied_on <= $5)
             AND ($6 IS NULL OR a.beyond_the_rules = $6)
             AND ($7 IS NULL OR EXISTS (SELECT 1 FROM sight AS v WHERE v.property_id = a.property_id AND v.viewer = $7))
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
