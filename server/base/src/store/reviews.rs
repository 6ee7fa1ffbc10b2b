//! The owner's list: records that went beyond the rules, attempts that were refused and never came back, records whose
//! visit or clock was moved, additions and what was learned that make a record doubtful, records that heavy rain followed, what the office has
//! to confirm, and changes that moved a limit.

use domain::{
    ids::{ApplicationId, PersonId},
    time::Instant,
};
use serde::Serialize;
use sqlx::{SqliteConnection, SqlitePool};
use utoipa::ToSchema;

use crate::{
    paging::{PageRequest, Sequenced},
    store::{
        limit_moves::{self, LimitMove},
        read, read_instant, read_json,
    },
};

/// The kind of an entry about a change of a lawn.
const CHANGE: &str = "change";

/// One entry of the owner's list.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ReviewItem {
    /// `beyond_the_rules`; `refused_attempt`; `visit_changed` when the visit of a record was cancelled, closed or given to
    /// somebody else; `clock_moved` when the phone's clock was moved during the work; `heavy_rain_after` when heavy rain fell
    /// within a day of it; `added_beyond_the_rules` when a distance that was added to a record later shows that the work went beyond
    /// the rules; `added_shorter_distance` when it is shorter than what was told before; `learned_since` when a measurement, a soil
    /// report or a fact of an earlier day makes records doubtful that were written before it; `measurement_to_confirm` and
    /// `sighting_to_confirm` for what a technician measured or saw and the office has not confirmed yet;
    /// `limit_loosened`, `large_change` and `unlikely_figure` for a change of a lawn, which `change` tells.
    #[schema(max_length = 30, example = "beyond_the_rules")]
    pub why: String,
    /// `application`, `correction`, `addition`, `measurement`, `sighting`, `change`, for what was learned `measurement`, `soil_report` or
    /// `entry`, and for an attempt what was attempted.
    #[schema(max_length = 20, example = "application")]
    pub kind: String,
    /// The application, the correction, the addition, the measurement, the sighting, the change or the attempt; for what was learned an id
    /// of its own.
    #[schema(max_length = 36)]
    pub record_id: String,
    /// What was learned, and the records that it makes doubtful, where the entry is about that.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(required = false, max_items = 2000)]
    pub doubtful_ids: Vec<ApplicationId>,
    pub property_id: domain::ids::PropertyId,
    pub person_id: PersonId,
    pub received_at: Instant,
    /// What was changed, where it is a change.
    pub change: Option<LimitMove>,
    /// What the owner said about it; null as long as it is open.
    pub review: Option<Review>,
}

/// What the owner said.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Review {
    pub person_id: PersonId,
    #[schema(max_length = 1000)]
    pub note: String,
    pub reviewed_at: Instant,
}

struct ReviewRow {
    seq: i64,
    why: String,
    kind: String,
    record_id: String,
    doubtful: Option<String>,
    property_id: String,
    person_id: String,
    received_at: i64,
    reviewer: Option<String>,
    note: Option<String>,
    reviewed_at: Option<i64>,
}

impl TryFrom<ReviewRow> for Sequenced<ReviewItem> {
    type Error = sqlx::Error;

    fn try_from(row: ReviewRow) -> Result<Self, sqlx::Error> {
        let review = match (row.reviewer, row.note, row.reviewed_at) {
            (Some(person), Some(note), Some(at)) => {
                Some(Review { person_id: read(&person, "person id")?, note, reviewed_at: read_instant(at)? })
            }
            _ => None,
        };
        let item = ReviewItem {
            why: row.why,
            kind: row.kind,
            record_id: row.record_id,
            doubtful_ids: row.doubtful.as_deref().map_or(Ok(Vec::new()), |ids| read_json(ids, "doubtful records"))?,
            property_id: read(&row.property_id, "property id")?,
            person_id: read(&row.person_id, "person id")?,
            received_at: read_instant(row.received_at)?,
            change: None,
            review,
        };
        Ok(Self { seq: row.seq, item })
    }
}

/// A page of the list, the latest first, by the journal's order. `open` leaves out what was reviewed and attempts that
/// were stored since; `record` asks for one entry.
///
/// Each kind is read from the index that holds it alone, newest first, and no further than the page. The journal, which has an entry
/// for everything that was ever written, is asked one entry at a time and never joined: the planner would read all of it. Rows and
/// their entries are written in one order.
#[expect(clippy::too_many_lines, reason = "it is one statement, and its parts share their parameters")]
pub async fn list(
    pool: &SqlitePool,
    span: PageRequest,
    open: bool,
    record: Option<String>,
) -> Result<Vec<Sequenced<ReviewItem>>, sqlx::Error> {
    let rows = sqlx::query_as!(
        ReviewRow,
        r#"SELECT seq AS "seq!: i64", why AS "why!: String", kind AS "kind!: String", i.record_id AS "record_id!: String",
                  (SELECT json_group_array(d.application_id) FROM doubted_records AS f JOIN doubted_records AS d ON d.cause_id = f.cause_id
                   WHERE f.id = i.record_id) AS "doubtful?: String",
                  property_id AS "property_id!: String", i.person_id AS "person_id!: String", received_at AS "received_at!: i64",
                  r.person_id AS "reviewer?: String", r.note AS "note?: String", r.reviewed_at AS "reviewed_at?: i64"
           FROM (
               SELECT * FROM (
                   SELECT (SELECT j.seq FROM journal AS j WHERE j.subject_id = a.id AND j.act = 'application.recorded') AS seq,
                          'beyond_the_rules' AS why, 'application' AS kind, a.id AS record_id, a.property_id, a.person_id, a.received_at
                   FROM applications AS a
                   WHERE a.beyond_the_rules = 1 AND ($3 IS NULL OR a.id = $3)
                     AND (NOT $2 OR NOT EXISTS (SELECT 1 FROM reviews AS o WHERE o.record_id = a.id))
                     AND (SELECT j.seq FROM journal AS j WHERE j.subject_id = a.id AND j.act = 'application.recorded') < $1
                   ORDER BY a.seq DESC LIMIT $4)
               UNION ALL SELECT * FROM (
                   SELECT (SELECT j.seq FROM journal AS j WHERE j.subject_id = c.id AND j.act = 'application.corrected'),
                          'beyond_the_rules', 'correction', c.id, (SELECT a.property_id FROM applications AS a WHERE a.id = c.application_id),
                          c.person_id, c.received_at
                   FROM corrections AS c
                   WHERE c.beyond_the_rules = 1 AND ($3 IS NULL OR c.id = $3)
                     AND (NOT $2 OR NOT EXISTS (SELECT 1 FROM reviews AS o WHERE o.record_id = c.id))
                     AND (SELECT j.seq FROM journal AS j WHERE j.subject_id = c.id AND j.act = 'application.corrected') < $1
                   ORDER BY c.seq DESC LIMIT $4)
               UNION ALL SELECT * FROM (
                   SELECT (SELECT j.seq FROM journal AS j WHERE j.subject_id = x.id AND j.act = 'addition.recorded'),
                          'added_' || x.doubt, 'addition', x.id, (SELECT a.property_id FROM applications AS a WHERE a.id = x.application_id),
                          x.person_id, x.entered_at
                   FROM record_additions AS x
                   WHERE x.doubt IS NOT NULL AND ($3 IS NULL OR x.id = $3)
                     AND (NOT $2 OR NOT EXISTS (SELECT 1 FROM reviews AS o WHERE o.record_id = x.id))
                     AND (SELECT j.seq FROM journal AS j WHERE j.subject_id = x.id AND j.act = 'addition.recorded') < $1
                   ORDER BY x.seq DESC LIMIT $4)
               UNION ALL SELECT * FROM (
                   SELECT (SELECT j.seq FROM journal AS j WHERE j.subject_id = d.cause_id AND j.act = d.cause || '.added'),
                          'learned_since', d.cause, d.id, (SELECT a.property_id FROM applications AS a WHERE a.id = d.application_id),
                          (SELECT j.person_id FROM journal AS j WHERE j.subject_id = d.cause_id AND j.act = d.cause || '.added'), d.noted_at
                   FROM doubted_records AS d
                   WHERE d.seq = (SELECT min(f.seq) FROM doubted_records AS f WHERE f.cause_id = d.cause_id)
                     AND ($3 IS NULL OR d.id = $3)
                     AND (NOT $2 OR NOT EXISTS (SELECT 1 FROM reviews AS o WHERE o.record_id = d.id))
                     AND (SELECT j.seq FROM journal AS j WHERE j.subject_id = d.cause_id AND j.act = d.cause || '.added') < $1
                   ORDER BY d.seq DESC LIMIT $4)
               UNION ALL
               SELECT (SELECT j.seq FROM journal AS j WHERE j.subject_id = a.id AND j.act = 'application.recorded'),
                      'heavy_rain_after', 'application', a.id, a.property_id, a.person_id, a.received_at
               FROM applications AS a
               WHERE a.id IN (
                       SELECT w.application_id FROM weather_after AS w
                       WHERE w.heavy = 1 AND ($3 IS NULL OR w.application_id = $3)
                         AND (NOT $2 OR NOT EXISTS (SELECT 1 FROM reviews AS o WHERE o.record_id = w.application_id)))
                 AND a.beyond_the_rules = 0 AND a.review_reason IS NULL
               UNION ALL SELECT * FROM (
                   SELECT (SELECT j.seq FROM journal AS j WHERE j.subject_id = a.id AND j.act = 'application.recorded'),
                          a.review_reason, 'application', a.id, a.property_id, a.person_id, a.received_at
                   FROM applications AS a
                   WHERE a.review_reason IS NOT NULL AND a.beyond_the_rules = 0 AND ($3 IS NULL OR a.id = $3)
                     AND (NOT $2 OR NOT EXISTS (SELECT 1 FROM reviews AS o WHERE o.record_id = a.id))
                     AND (SELECT j.seq FROM journal AS j WHERE j.subject_id = a.id AND j.act = 'application.recorded') < $1
                   ORDER BY a.seq DESC LIMIT $4)
               UNION ALL SELECT * FROM (
                   SELECT (SELECT j.seq FROM journal AS j WHERE j.subject_id = m.id AND j.act = 'measurement.added'),
                          'measurement_to_confirm', 'measurement', m.id, (SELECT s.property_id FROM sections AS s WHERE s.id = m.section_id),
                          (SELECT j.person_id FROM journal AS j WHERE j.subject_id = m.id AND j.act = 'measurement.added'), m.created_at
                   FROM measurements AS m
                   WHERE m.to_confirm = 1 AND ($3 IS NULL OR m.id = $3)
                     AND (NOT $2 OR NOT EXISTS (SELECT 1 FROM measurement_confirmations AS o WHERE o.measurement_id = m.id))
                     AND (SELECT j.seq FROM journal AS j WHERE j.subject_id = m.id AND j.act = 'measurement.added') < $1
                   ORDER BY m.seq DESC LIMIT $4)
               UNION ALL SELECT * FROM (
                   SELECT (SELECT j.seq FROM journal AS j WHERE j.subject_id = g.id AND j.act = 'sighting.added'),
                          'sighting_to_confirm', 'sighting', g.id, (SELECT s.property_id FROM sections AS s WHERE s.id = g.section_id),
                          g.person_id, g.created_at
                   FROM sightings AS g
                   WHERE g.entry_id IS NULL AND ($3 IS NULL OR g.id = $3)
                     AND (NOT $2 OR NOT EXISTS (SELECT 1 FROM sighting_confirmations AS o WHERE o.sighting_id = g.id))
                     AND (SELECT j.seq FROM journal AS j WHERE j.subject_id = g.id AND j.act = 'sighting.added') < $1
                   ORDER BY g.seq DESC LIMIT $4)
               UNION ALL SELECT * FROM (
                   SELECT (SELECT j.seq FROM journal AS j WHERE j.subject_id = t.id AND j.act = 'attempt.refused'),
                          'refused_attempt', t.kind, t.id, t.property_id, t.person_id, t.received_at
                   FROM attempts AS t INDEXED BY attempts_to_review
                   WHERE t.kind <> 'clearance' AND ($3 IS NULL OR t.id = $3)
                     AND (NOT $2 OR NOT (
                         EXISTS (SELECT 1 FROM reviews AS o WHERE o.record_id = t.id)
                         OR EXISTS (SELECT 1 FROM applications AS a WHERE a.id = t.subject_id AND a.property_id = t.property_id)
                         OR EXISTS (SELECT 1 FROM corrections AS c JOIN applications AS a ON a.id = c.application_id
                             WHERE c.id = t.subject_id AND a.property_id = t.property_id)))
                     AND (SELECT j.seq FROM journal AS j WHERE j.subject_id = t.id AND j.act = 'attempt.refused') < $1
                   ORDER BY t.seq DESC LIMIT $4)
               UNION ALL SELECT * FROM (
                   SELECT (SELECT j.seq FROM journal AS j WHERE j.subject_id = l.id AND j.act = 'limit.moved'),
                          l.why, 'change', l.id, l.property_id, l.person_id, l.moved_at
                   FROM limit_moves AS l
                   WHERE ($3 IS NULL OR l.id = $3)
                     AND (NOT $2 OR NOT (
                         EXISTS (SELECT 1 FROM reviews AS o WHERE o.record_id = l.id)
                         OR EXISTS (SELECT 1 FROM measurements AS t WHERE t.corrects = l.subject_id)
                         OR EXISTS (SELECT 1 FROM soil_reports AS t WHERE t.corrects = l.subject_id)
                         OR EXISTS (SELECT 1 FROM dated_entries AS d JOIN dated_entries AS t ON t.corrects = d.seq WHERE d.id = l.subject_id)))
                     AND (SELECT j.seq FROM journal AS j WHERE j.subject_id = l.id AND j.act = 'limit.moved') < $1
                   ORDER BY l.seq DESC LIMIT $4)
           ) AS i
           LEFT JOIN reviews AS r ON r.record_id = i.record_id
           WHERE seq < $1 AND (NOT $2 OR r.record_id IS NULL)
           ORDER BY seq DESC LIMIT $4"#,
        span.after,
        open,
        record,
        span.take
    )
    .fetch_all(pool)
    .await?;
    let mut items = rows.into_iter().map(Sequenced::try_from).collect::<Result<Vec<Sequenced<ReviewItem>>, _>>()?;
    let changes: Vec<String> =
        items.iter().filter(|row| row.item.kind == CHANGE).map(|row| row.item.record_id.clone()).collect();
    if !changes.is_empty() {
        let mut told = limit_moves::of(pool, &changes).await?;
        for row in &mut items {
            row.item.change = told.remove(&row.item.record_id);
        }
    }
    Ok(items)
}

/// Keeps what the owner said; false if something was said before.
pub async fn insert(
    connection: &mut SqliteConnection,
    record: &str,
    person: PersonId,
    note: &str,
    at: Instant,
) -> Result<bool, sqlx::Error> {
    let (person, at) = (person.to_string(), at.millis());
    let done = sqlx::query!(
        "INSERT INTO reviews (record_id, person_id, note, reviewed_at) VALUES ($1, $2, $3, $4) ON CONFLICT (record_id) DO NOTHING",
        record,
        person,
        note,
        at
    )
    .execute(connection)
    .await?;
    Ok(done.rows_affected() == 1)
}
