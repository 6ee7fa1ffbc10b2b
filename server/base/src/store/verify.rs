//! What the check of a book reads: the journal, and for each entry the row it is about.

use std::path::Path;

use serde_json::Value;
use sqlx::SqliteConnection;

mod counted;
mod doors;
mod misfits;
mod totals;

pub use counted::{assignments, counts, links, owners, weather_bodies};
pub use doors::{strange_browsers, strange_doors};
pub use misfits::misfits;
pub use totals::{Word, labels, ledger_sums, words};

use super::{packing::Unpacker, read_instant, read_json};

/// One journal entry, and what stands in the book for it.
#[derive(Debug)]
pub struct Entry {
    pub seq: i64,
    pub written_at: i64,
    pub person_id: Option<String>,
    pub device_id: Option<String>,
    pub act: String,
    pub subject_id: String,
    pub payload: String,
    pub previous_hash: String,
    pub hash: String,
    /// Content of the application, correction, clearance or attempt of that id.
    pub content: Option<String>,
    /// Of an application what its content is packed as, and by what.
    pub content_packed: Option<Vec<u8>>,
    pub content_pattern: Option<i64>,
    /// What stands of a packed content for statements of SQL.
    pub asked: Option<String>,
    /// Its other columns, as JSON.
    pub row: Option<String>,
    /// The clearance that an application used up, and how a clearance ended.
    pub used_clearance: Option<String>,
    pub ended: Option<String>,
    /// The decision of that id.
    pub decision: Option<String>,
    /// What was fixed with the record, and the clock that is kept beside it.
    pub particulars: Option<String>,
    pub time_zone: Option<String>,
    /// Texts about people of that record, attempt or addition, as JSON: `salt`, `body`, and whether the journal tells of their destruction.
    pub texts: Option<String>,
    /// What weather services said for that decision.
    pub weather: Option<String>,
    /// The ledger's lines of that record, as JSON.
    pub lines: Option<String>,
    /// Stock that the record moved, and product in its lines.
    pub moved: i64,
    pub used: i64,
    /// The product's label, as JSON.
    pub label: Option<String>,
    /// The measurement's area.
    pub area: Option<i64>,
    /// By which the payload, the decision, what was fixed and the weather are packed, and what they are packed as.
    pub pattern: Option<i64>,
    pub packed: Option<Vec<u8>>,
    /// Something stands beside what is packed, which no server puts there.
    pub beside: bool,
}

impl Entry {
    /// An application, a correction or a clearance.
    pub fn is_record(&self) -> bool {
        self.moves_product() || self.act == "clearance.granted"
    }

    pub fn moves_product(&self) -> bool {
        ["application.recorded", "application.corrected"].contains(&self.act.as_str())
    }
}

/// Opens a book to read only.
pub async fn open(file: &Path) -> Result<SqliteConnection, sqlx::Error> {
    super::open_read_only(file).await
}

/// What the database itself says about its file: empty when it is sound.
/// Whether every index has what its table has is asked only of the whole.
pub async fn integrity(connection: &mut SqliteConnection, whole: bool) -> Result<Vec<String>, sqlx::Error> {
    let check = if whole { "PRAGMA integrity_check" } else { "PRAGMA quick_check" };
    let mut said: Vec<String> = sqlx::query_scalar(check).fetch_all(&mut *connection).await?;
    said.retain(|line| line != "ok");
    let orphans: Vec<(String, Option<i64>, String)> =
        sqlx::query_as(r#"SELECT "table", rowid, parent FROM pragma_foreign_key_check"#).fetch_all(connection).await?;
    said.extend(
        orphans.into_iter().map(|(table, row, parent)| format!("row {row:?} of {table} names nothing in {parent}")),
    );
    Ok(said)
}

/// The next entries of the journal after the first number of the span, but for those of what grows with the years up to the second.
pub async fn entries(
    connection: &mut SqliteConnection,
    unpacker: &mut Unpacker,
    span: (i64, i64),
    take: i64,
) -> Result<Vec<Entry>, sqlx::Error> {
    let mut entries = rows(&mut *connection, span, take).await?;
    unpack(connection, unpacker, &mut entries).await?;
    Ok(entries)
}

/// Whether acts of such a name grow with the years, and not with the size of the company. `rows` names the same.
pub fn grows(act: &str) -> bool {
    let nouns = ["application.", "clearance.", "attempt.", "addition.", "visit.", "stock.", "soil_report."];
    nouns.iter().any(|noun| act.starts_with(noun))
}

async fn rows(connection: &mut SqliteConnection, span: (i64, i64), take: i64) -> Result<Vec<Entry>, sqlx::Error> {
    let rows = sqlx::query_as!(
        Entry,
        r#"SELECT j.seq AS "seq!", j.written_at AS "written_at!", j.person_id, j.device_id, j.act AS "act!", j.subject_id AS "subject_id!",
                  j.payload AS "payload!", j.previous_hash AS "previous_hash!", j.hash AS "hash!",
                  CASE j.act
                      WHEN 'application.recorded' THEN (SELECT a.content FROM applications AS a WHERE a.id = j.subject_id)
                      WHEN 'application.corrected' THEN (SELECT c.content FROM corrections AS c WHERE c.id = j.subject_id)
                      WHEN 'clearance.granted' THEN (SELECT c.content FROM clearances AS c WHERE c.id = j.subject_id)
                      WHEN 'attempt.refused' THEN (SELECT t.content FROM attempts AS t WHERE t.id = j.subject_id)
                  END AS "content?: String",
                  NULL AS "asked?: String", (SELECT a.packed FROM applications AS a WHERE a.id = j.subject_id) AS "content_packed?: Vec<u8>",
                  (SELECT a.pattern FROM applications AS a WHERE a.id = j.subject_id) AS "content_pattern?: i64",
                  CASE j.act
                      WHEN 'application.recorded' THEN (SELECT json_patch(json_object('id', a.id, 'property_id', a.property_id,
                          'product_id', a.product_id, 'lot_id', a.lot_id, 'visit_id', a.visit_id, 'clearance_id', a.clearance_id,
                          'person_id', a.person_id, 'person_name', a.person_name, 'entered_by', a.entered_by,
                          'device_id', a.device_id, 'applied_on', a.applied_on, 'received_at', a.received_at, 'sent_at', a.sent_at,
                          'verdict', a.verdict, 'beyond_the_rules', a.beyond_the_rules, 'fingerprint', a.fingerprint), json_patch(iif(a.review_reason IS NULL, '{}',
                          json_object('review_reason', a.review_reason)), iif(a.incomplete IS NULL, '{}', json_object('incomplete', a.incomplete)))) FROM applications AS a WHERE a.id = j.subject_id)
                      WHEN 'application.corrected' THEN (SELECT json_patch(json_object('id', c.id, 'application_id', c.application_id,
                          'person_id', c.person_id, 'device_id', c.device_id, 'received_at', c.received_at, 'verdict', c.verdict,
                          'beyond_the_rules', c.beyond_the_rules, 'fingerprint', c.fingerprint),
                          json_patch(iif(c.leaves_others = 0, '{}', json_object('leaves_others', c.leaves_others)),
                          iif(c.sections IS NULL, '{}', json_object('sections', c.sections)))) FROM corrections AS c WHERE c.id = j.subject_id)
                      WHEN 'clearance.granted' THEN (SELECT json_object('id', c.id, 'property_id', c.property_id,
                          'product_id', c.product_id, 'person_id', c.person_id, 'device_id', c.device_id,
                          'planned_on', c.planned_on, 'verdict', c.verdict, 'fingerprint', c.fingerprint, 'granted_at', c.granted_at, 'expires_at', c.expires_at)
                          FROM clearances AS c WHERE c.id = j.subject_id)
                      WHEN 'attempt.refused' THEN (SELECT json_object('id', t.id, 'kind', t.kind, 'subject_id', t.subject_id,
                          'property_id', t.property_id, 'about_on', t.about_on, 'person_id', t.person_id, 'device_id', t.device_id,
                          'received_at', t.received_at, 'fingerprint', t.fingerprint)
                          FROM attempts AS t WHERE t.id = j.subject_id)
                  END AS "row?: String",
                  CASE j.act WHEN 'application.recorded' THEN (SELECT e.clearance_id FROM applications AS a JOIN clearance_ends AS e ON e.clearance_id = a.clearance_id
                       WHERE a.id = j.subject_id AND e.how = 'used' AND e.application_id = a.id)
                  END AS "used_clearance?: String",
                  CASE j.act WHEN 'clearance.given_back' THEN (SELECT e.how FROM clearance_ends AS e WHERE e.clearance_id = j.subject_id) END AS "ended?: String",
                  (SELECT d.body FROM decisions AS d WHERE d.subject = CASE j.act
                      WHEN 'application.recorded' THEN 'application/' || j.subject_id WHEN 'application.corrected' THEN 'correction/' || j.subject_id
                      WHEN 'clearance.granted' THEN 'clearance/' || j.subject_id WHEN 'attempt.refused' THEN 'attempt/' || j.subject_id END) AS "decision?: String",
                  (SELECT a.particulars FROM applications AS a WHERE a.id = j.subject_id AND j.act = 'application.recorded') AS "particulars?: String", (SELECT a.time_zone FROM applications AS a WHERE a.id = j.subject_id) AS "time_zone?: String",
                  (SELECT json_object('salt', t.salt, 'body', t.body, 'destroyed', EXISTS (SELECT 1 FROM journal AS k WHERE k.seq = t.destroyed_by
                       AND k.subject_id = t.record_id AND k.act = 'texts.destroyed')) FROM personal_texts AS t
                   WHERE t.record_id = j.subject_id AND j.act IN ('application.recorded', 'application.corrected', 'attempt.refused', 'addition.recorded')) AS "texts?: String",
                  (SELECT w.facts FROM weather_facts AS w WHERE w.subject = CASE j.act
                      WHEN 'application.recorded' THEN 'application/' || j.subject_id WHEN 'application.corrected' THEN 'correction/' || j.subject_id
                      WHEN 'clearance.granted' THEN 'clearance/' || j.subject_id WHEN 'attempt.refused' THEN 'attempt/' || j.subject_id END)
                   AS "weather?: String",
                  CASE WHEN j.act IN ('application.recorded', 'application.corrected') THEN
                      (SELECT json_group_array(json_patch(json_object('record_id', l.record_id, 'application_id', l.application_id,
                              'section_id', l.section_id, 'applied_on', l.applied_on, 'area', l.area, 'product', l.product,
                              'nitrogen', l.nitrogen, 'quick_nitrogen', l.quick_nitrogen, 'phosphate', l.phosphate, 'potash', l.potash,
                              'flags', l.flags, 'purpose', l.purpose),
                              iif(l.division IS NULL, '{}', json_object('division', l.division, 'parts', l.parts)))) FROM (SELECT * FROM application_lines WHERE record_id = j.subject_id AND application_id =
                                 CASE j.act WHEN 'application.recorded' THEN j.subject_id
                                 ELSE (SELECT c.application_id FROM corrections AS c WHERE c.id = j.subject_id) END ORDER BY seq) AS l)
                  END AS "lines?: String",
                  (SELECT coalesce(sum(m.mass), 0) FROM stock_movements AS m WHERE m.record_id = j.subject_id) AS "moved!: i64",
                  (SELECT coalesce(sum(l.product), 0) FROM application_lines AS l WHERE l.record_id = j.subject_id AND l.application_id =
                       CASE j.act WHEN 'application.recorded' THEN j.subject_id
                       ELSE (SELECT c.application_id FROM corrections AS c WHERE c.id = j.subject_id) END) AS "used!: i64",
                  (SELECT p.label FROM products AS p WHERE p.id = j.subject_id) AS "label?: String", (SELECT m.area FROM measurements AS m WHERE m.id = j.subject_id) AS "area?: i64", j.pattern, j.packed, 0 AS "beside!: bool"
           FROM journal AS j WHERE j.seq > $1 AND (j.seq > $3 OR substr(j.act, 1, instr(j.act, '.')) NOT IN ('application.', 'clearance.', 'attempt.', 'addition.', 'visit.', 'stock.', 'soil_report.')) ORDER BY j.seq LIMIT $2"#,
        span.0,
        take,
        span.1
    );
    rows.fetch_all(connection).await
}

/// Puts what is packed to where it stood before there was packing.
async fn unpack(
    connection: &mut SqliteConnection,
    unpacker: &mut Unpacker,
    entries: &mut [Entry],
) -> Result<(), sqlx::Error> {
    for entry in entries {
        if let (Some(packed), Some(pattern)) = (&entry.content_packed, entry.content_pattern) {
            entry.asked = entry.content.take();
            entry.content = unpacker.text(&mut *connection, pattern, packed).await.ok();
        }
        let (Some(pattern), Some(packed)) = (entry.pattern, &entry.packed) else { continue };
        // What cannot be unpacked has been changed: it stays empty, and its hash will tell.
        let Ok(texts) = unpacker.unpack(&mut *connection, pattern, packed).await else { continue };
        // Pages and API read what is packed, so that is what is held against the entry, whatever stands beside it.
        let whole = |text: &Option<String>| text.as_ref().is_some_and(|text| !text.is_empty());
        entry.beside =
            !entry.payload.is_empty() || [&entry.decision, &entry.particulars, &entry.weather].into_iter().any(whole);
        entry.payload = texts.payload;
        entry.decision = texts.decision;
        entry.particulars = texts.particulars;
        // The row of the facts is what leads to the services' answers, so it must be there.
        entry.weather = entry.weather.take().and(texts.weather);
    }
    Ok(())
}

/// How many rows of records there are: each must have had its entry.
pub async fn records(connection: &mut SqliteConnection) -> Result<i64, sqlx::Error> {
    let row = sqlx::query!(
        r#"SELECT (SELECT count(*) FROM applications) + (SELECT count(*) FROM corrections) + (SELECT count(*) FROM clearances) AS "records!: i64""#
    )
    .fetch_one(connection)
    .await?;
    Ok(row.records)
}

/// Stock by product: its name, the sum of its movements, and the total that is kept.
pub async fn stock(connection: &mut SqliteConnection) -> Result<Vec<(String, i64, i64)>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT p.name AS "name!", coalesce(sum(m.mass), 0) AS "mass!: i64",
                  coalesce((SELECT t.mass FROM stock_totals AS t WHERE t.product_id = p.id), 0) AS "total!: i64"
           FROM products AS p LEFT JOIN stock_movements AS m ON m.product_id = p.id GROUP BY p.id ORDER BY p.seq"#
    )
    .fetch_all(connection)
    .await?;
    Ok(rows.into_iter().map(|row| (row.name, row.mass, row.total)).collect())
}

/// The next file after a hash: its hash, its bytes, and whether a product has it.
pub async fn file_body(
    connection: &mut SqliteConnection,
    after: &str,
) -> Result<Option<(String, Vec<u8>, bool)>, sqlx::Error> {
    let row = sqlx::query!(
        r#"SELECT sha256 AS "sha256!", bytes AS "bytes!",
                  EXISTS (SELECT 1 FROM product_files AS f WHERE f.sha256 = b.sha256) AS "named!: bool"
           FROM file_bodies AS b WHERE sha256 > $1 ORDER BY sha256 LIMIT 1"#,
        after
    )
    .fetch_optional(connection)
    .await?;
    Ok(row.map(|row| (row.sha256, row.bytes, row.named)))
}

/// The next version of a rule set after a hash: its hash and its text.
pub async fn rule_set_version(
    connection: &mut SqliteConnection,
    after: &str,
) -> Result<Option<(String, String)>, sqlx::Error> {
    let row = sqlx::query!(
        r#"SELECT hash AS "hash!", text AS "text!" FROM rule_set_versions WHERE hash > $1 ORDER BY hash LIMIT 1"#,
        after
    );
    Ok(row.fetch_optional(connection).await?.map(|row| (row.hash, row.text)))
}

/// Uses of rule sets that cannot be: a first one that is not the first of its code, or one whose version is not there or of another
/// code. By code and hash.
pub async fn impossible_uses(connection: &mut SqliteConnection) -> Result<Vec<(String, String)>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT u.code AS "code!", u.hash AS "hash!" FROM rule_set_uses AS u LEFT JOIN rule_set_versions AS v ON v.hash = u.hash
           WHERE v.code IS NOT u.code OR u.how = 'first' AND EXISTS (SELECT 1 FROM rule_set_uses AS e WHERE e.code = u.code AND e.seq < u.seq)"#
    );
    Ok(rows.fetch_all(connection).await?.into_iter().map(|row| (row.code, row.hash)).collect())
}

/// Whether a later entry tells of the same thing, by the beginning of its act.
pub async fn is_followed(
    connection: &mut SqliteConnection,
    subject: &str,
    seq: i64,
    acts: &str,
) -> Result<bool, sqlx::Error> {
    let row = sqlx::query!(
        r#"SELECT EXISTS (SELECT 1 FROM journal WHERE subject_id = $1 AND seq > $2 AND act LIKE $3) AS "followed!: bool""#,
        subject,
        seq,
        acts
    )
    .fetch_one(connection)
    .await?;
    Ok(row.followed)
}

/// A stock movement, and its mass in millionths of a pound.
pub async fn movement(connection: &mut SqliteConnection, id: &str) -> Result<Option<(Value, i64)>, sqlx::Error> {
    let row = sqlx::query!(
        r#"SELECT json_object('id', id, 'product_id', product_id, 'lot_id', lot_id, 'kind', kind, 'moved_on', moved_on,
                  'person_id', person_id, 'record_id', record_id, 'reason', reason) AS "body!: String",
                  mass AS "mass!", recorded_at AS "recorded_at!"
           FROM stock_movements WHERE id = $1"#,
        id
    )
    .fetch_optional(connection)
    .await?;
    row.map(|row| {
        let mut body: Value = read_json(&row.body, "stock movement")?;
        body["recorded_at"] = read_instant(row.recorded_at)?.to_string().into();
        Ok((body, row.mass))
    })
    .transpose()
}

/// What the owner said about a record.
pub async fn review(connection: &mut SqliteConnection, id: &str) -> Result<Option<Value>, sqlx::Error> {
    let row = sqlx::query!(
        r#"SELECT json_object('record_id', record_id, 'note', note, 'person_id', person_id) AS "body!: String"
           FROM reviews WHERE record_id = $1"#,
        id
    )
    .fetch_optional(connection)
    .await?;
    row.map(|row| read_json(&row.body, "review")).transpose()
}
