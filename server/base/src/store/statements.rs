//! What a statement is made of: the sections asked about, their ledger, the records behind it, and what is open.

mod later;
mod measured;
mod numbers;
mod sections;

use std::collections::{BTreeMap, BTreeSet, HashMap};

use domain::{
    ids::{ApplicationId, ClientId, PropertyId, SectionId, VisitId},
    product::Label,
    statement::{
        LedgerLine,
        caps::{DAYS_BEFORE, ToldYear},
    },
    time::{Day, Instant},
};
use sqlx::{SqliteConnection, SqlitePool};

use crate::{
    acts::ground,
    scope::Scope,
    store::{
        ReadTransaction,
        history::Histories,
        packing::{Opener, Unpacker},
        read, read_day, read_instant, read_json,
    },
};
pub use later::Later;
pub use measured::{MeasurementPart, Said, SoilPart};
use numbers::credential_numbers;
pub use sections::{ClientPast, LeftProperty, PropertyPast, SectionPart, SectionPast};

/// Which sections a statement is about.
#[derive(Debug, Clone, Copy)]
pub enum About {
    Client(ClientId),
    Property(PropertyId),
    Section(SectionId),
}

impl About {
    /// What is missing when there is nothing to state.
    pub fn label(self) -> &'static str {
        match self {
            Self::Client(_) => "client with a lawn section",
            Self::Property(_) => "property with a lawn section",
            Self::Section(_) => "lawn section",
        }
    }

    /// The three ids as the statements take them: one is given, the others are null.
    fn keys(self) -> (Option<String>, Option<String>, Option<String>) {
        match self {
            Self::Client(id) => (Some(id.to_string()), None, None),
            Self::Property(id) => (None, Some(id.to_string()), None),
            Self::Section(id) => (None, None, Some(id.to_string())),
        }
    }
}

/// A line of the ledger, in the order in which the ledger was written within a day.
#[derive(Debug, Clone)]
pub struct LedgerPart {
    pub section: SectionId,
    pub applied_on: Day,
    pub line: LedgerLine,
}

/// How work was ever said to have gone beyond the rules.
#[derive(Debug, Clone, Copy)]
pub struct OnceBeyond {
    /// By the record or by a correction of it.
    pub by_a_word: bool,
    /// By a distance that was added to it later.
    pub by_an_addition: bool,
}

/// An application with the last word on it.
#[derive(Debug, Clone)]
pub struct RecordPart {
    pub id: ApplicationId,
    pub property_id: PropertyId,
    pub applied_on: Day,
    pub received_at: Instant,
    /// The clock by which its day was told, as it was fixed with it; nothing for the records of earlier versions.
    pub time_zone: Option<String>,
    /// By the last word on it.
    pub beyond_the_rules: bool,
    pub once_beyond: OnceBeyond,
    pub content: String,
    pub product_name: String,
    pub label: Label,
    /// Who did the work, by the name of that time.
    pub person_name: String,
    /// Numbers of the licences and certificates that were valid for that person on the day: as fixed with the record, and marked
    /// where they were added to it later. For the records of earlier versions, by the book of today.
    pub credential_numbers: Vec<String>,
    /// What was said since, as `acts::correction::last_word` reads it.
    pub since: String,
    /// When each of them came in, in the same order.
    pub since_at: Vec<Instant>,
    pub corrected: bool,
}

/// The days of a statement.
#[derive(Debug, Clone, Copy)]
pub struct Span {
    pub from: Day,
    pub to: Day,
    /// The day as of which everything is named: today, or the last day of a span that is over.
    pub as_of: Day,
}

impl Span {
    /// The year of which caps are told; every span is one.
    pub fn told(self) -> ToldYear {
        ToldYear { from: self.from, to: self.to, as_of: self.as_of }
    }
}

/// Everything of a statement.
#[derive(Debug, Default)]
pub struct Parts {
    pub sections: Vec<SectionPart>,
    /// Of a client: what may have been told as the client's before somebody corrected whose it was.
    pub left: Vec<LeftProperty>,
    pub ledger: Vec<LedgerPart>,
    /// Lines of the days before the span that lie in one year of 365 days with its first.
    pub before: Vec<LedgerPart>,
    pub records: Vec<RecordPart>,
    pub open_visits: Vec<(VisitId, PropertyId, Day)>,
    /// Refused and never stored since: what was attempted, where, and the day of the work.
    pub open_attempts: Vec<(String, PropertyId, Day)>,
    /// What may have come to the records only after the span.
    pub later: Later,
    /// The caller may not see all of it.
    pub limited: bool,
    /// The entries about whatever is not as it was first entered.
    pub histories: Histories,
}

impl Parts {
    /// The records of which something stands on a section of the statement. Others of the same property are none of its matter.
    pub fn records_on_it(&self) -> impl Iterator<Item = ApplicationId> {
        let mut standing: BTreeMap<(ApplicationId, SectionId), i64> = BTreeMap::new();
        for part in &self.ledger {
            *standing.entry((part.line.application, part.section)).or_default() += part.line.product;
        }
        let there: BTreeSet<ApplicationId> =
            standing.into_iter().filter(|(_, product)| *product > 0).map(|((record, _), _)| record).collect();
        self.records.iter().map(|record| record.id).filter(move |id| there.contains(id))
    }
}

/// Loads a statement in one read transaction, so that its parts belong together.
pub async fn load(pool: &SqlitePool, about: About, span: Span, scope: Scope) -> Result<Parts, sqlx::Error> {
    let mut moment = ReadTransaction::begin(pool).await?;
    parts(&mut moment, about, span, scope).await
}

async fn parts(
    connection: &mut SqliteConnection,
    about: About,
    span: Span,
    scope: Scope,
) -> Result<Parts, sqlx::Error> {
    let sections::Loaded { sections, left, histories } = sections::load(connection, about, span, scope).await?;
    // Everything else is asked of these sections and their properties, so that nothing of another is told.
    let those = Those {
        sections: ids(sections.iter().map(|section| section.id.to_string())),
        properties: ids(sections.iter().map(|section| section.property_id.to_string())),
        from: span.from.to_string(),
        to: span.to.to_string(),
    };
    let before = Those {
        from: span.from.plus_days(-DAYS_BEFORE).to_string(),
        to: span.from.plus_days(-1).to_string(),
        ..those.clone()
    };
    Ok(Parts {
        ledger: ledger(connection, &those).await?,
        before: ledger(connection, &before).await?,
        records: records(connection, &those).await?,
        open_visits: open_visits(connection, &those).await?,
        open_attempts: open_attempts(connection, &those).await?,
        later: later::later(connection, &those).await?,
        limited: scope.viewer().is_some(),
        sections,
        left,
        histories,
    })
}

/// Sections and properties as JSON arrays of ids, and the span.
#[derive(Clone)]
struct Those {
    sections: String,
    properties: String,
    from: String,
    to: String,
}

pub(super) fn ids(ids: impl Iterator<Item = String>) -> String {
    serde_json::to_string(&ids.collect::<BTreeSet<_>>()).unwrap_or_default()
}

async fn ledger(connection: &mut SqliteConnection, those: &Those) -> Result<Vec<LedgerPart>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT l.section_id AS "section_id!", l.application_id AS "application_id!",
                  l.applied_on AS "applied_on!", l.area AS "area!", l.product AS "product!", l.nitrogen AS "nitrogen!",
                  l.quick_nitrogen AS "quick_nitrogen!", l.phosphate AS "phosphate!", l.potash AS "potash!",
                  l.division, l.parts AS "parts: u16"
           FROM application_lines AS l
           WHERE l.section_id IN (SELECT value FROM json_each($1)) AND l.applied_on BETWEEN $2 AND $3
           ORDER BY l.applied_on, l.seq"#,
        those.sections,
        those.from,
        those.to
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            let line = LedgerLine {
                application: read(&row.application_id, "application id")?,
                area: domain::quantity::Area::from_raw(row.area),
                parts: ground::parts_of(row.division, row.parts),
                product: row.product,
                nitrogen: row.nitrogen,
                quick_nitrogen: row.quick_nitrogen,
                phosphate: row.phosphate,
                potash: row.potash,
            };
            Ok(LedgerPart {
                section: read(&row.section_id, "section id")?,
                applied_on: read_day(&row.applied_on)?,
                line,
            })
        })
        .collect()
}

/// Records by their own property and day, not by way of the ledger: the second path must not lean on the first.
async fn records(connection: &mut SqliteConnection, those: &Those) -> Result<Vec<RecordPart>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT a.id AS "id!", a.property_id AS "property_id!", a.applied_on AS "applied_on!", a.received_at AS "received_at!",
                  coalesce(a.time_zone, a.particulars ->> 'time_zone') AS "time_zone?: String",
                  coalesce(k.beyond_the_rules, a.beyond_the_rules) AS "beyond_the_rules!: bool",
                  (a.beyond_the_rules OR EXISTS (
                      SELECT 1 FROM corrections AS b WHERE b.application_id = a.id AND b.beyond_the_rules = 1)) AS "once_beyond!: bool",
                  EXISTS (SELECT 1 FROM record_additions AS x WHERE x.application_id = a.id AND x.doubt = 'beyond_the_rules')
                   AS "beyond_by_addition!: bool",
                  a.content AS "content!", a.packed, (SELECT p.body FROM text_patterns AS p WHERE p.seq = a.pattern) AS "pattern?: String", d.name AS "product_name!", d.label AS "label!", 
                  coalesce((SELECT t.body ->> 'applicator' FROM personal_texts AS t WHERE t.record_id = a.id), a.person_name) AS "person_name!: String",
                  a.particulars, j.pattern AS told_pattern, j.packed AS told,
                  (SELECT json_group_array(json(x.particulars -> '$.credentials')) FROM record_additions AS x
                   WHERE x.application_id = a.id AND json_type(x.particulars, '$.credentials') IS NOT NULL) AS "added!: String",
                  CASE WHEN a.particulars IS NULL AND j.packed IS NULL THEN
                      (SELECT json_group_array(h.number) FROM (
                          SELECT c.number FROM credentials AS c
                          WHERE c.person_id = a.person_id AND c.valid_from <= a.applied_on
                            AND (c.valid_until IS NULL OR c.valid_until >= a.applied_on)
                          ORDER BY c.seq) AS h) END AS "numbers_now: String",
                  (SELECT json_group_array(json_array(w.id, w.leaves_others, w.content))
                   FROM (SELECT x.id, x.leaves_others, x.content FROM corrections AS x WHERE x.application_id = a.id ORDER BY x.seq) AS w)
                   AS "since!: String",
                  (SELECT json_group_array(w.received_at)
                   FROM (SELECT x.received_at FROM corrections AS x WHERE x.application_id = a.id ORDER BY x.seq) AS w) AS "since_at!: String",
                  (k.id IS NOT NULL) AS "corrected!: bool"
           FROM json_each($1) AS w CROSS JOIN applications AS a
           CROSS JOIN products AS d
           LEFT JOIN journal AS j ON j.subject_id = a.id AND j.act = 'application.recorded'
           LEFT JOIN corrections AS k ON k.seq = (SELECT max(x.seq) FROM corrections AS x WHERE x.application_id = a.id)
           WHERE a.property_id = w.value AND +a.applied_on BETWEEN $2 AND $3 AND d.id = a.product_id
           ORDER BY a.applied_on, a.seq"#,
        those.properties,
        those.from,
        those.to
    )
    .fetch_all(&mut *connection)
    .await?;
    let (mut opener, mut unpacker, mut labels) =
        (Opener::default(), Unpacker::default(), HashMap::<String, Label>::new());
    let mut records = Vec::with_capacity(rows.len());
    for row in rows {
        let fixed = match (row.told_pattern, &row.told) {
            (Some(pattern), Some(told)) => unpacker.unpack(connection, pattern, told).await?.particulars,
            _ => row.particulars,
        };
        let content = match (&row.packed, &row.pattern) {
            (Some(packed), Some(pattern)) => opener.open(packed, pattern)?.to_owned(),
            _ => row.content,
        };
        records.push(RecordPart {
            id: read(&row.id, "application id")?,
            property_id: read(&row.property_id, "property id")?,
            applied_on: read_day(&row.applied_on)?,
            received_at: read_instant(row.received_at)?,
            time_zone: row.time_zone,
            beyond_the_rules: row.beyond_the_rules,
            once_beyond: OnceBeyond { by_a_word: row.once_beyond, by_an_addition: row.beyond_by_addition },
            content,
            product_name: row.product_name,
            label: label_of(&mut labels, row.label)?,
            person_name: row.person_name,
            credential_numbers: credential_numbers(fixed.as_deref(), &row.added, row.numbers_now.as_deref())?,
            since: row.since,
            since_at: moments(&row.since_at)?,
            corrected: row.corrected,
        });
    }
    Ok(records)
}

/// Moments of a list, in its order.
fn moments(text: &str) -> Result<Vec<Instant>, sqlx::Error> {
    read_json::<Vec<i64>>(text, "moments")?.into_iter().map(read_instant).collect()
}

/// A label by its text, read once: a year's records are of few products.
fn label_of(known: &mut HashMap<String, Label>, text: String) -> Result<Label, sqlx::Error> {
    if let Some(label) = known.get(&text) {
        return Ok(label.clone());
    }
    let label: Label = read_json(&text, "label")?;
    known.insert(text, label.clone());
    Ok(label)
}

/// Planned visits with a section on which nothing that stands was put down for them.
async fn open_visits(
    connection: &mut SqliteConnection,
    those: &Those,
) -> Result<Vec<(VisitId, PropertyId, Day)>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT v.id AS "id!", v.property_id AS "property_id!", v.planned_on AS "planned_on!"
           FROM visits AS v
           WHERE v.property_id IN (SELECT value FROM json_each($1)) AND v.status = 'planned' AND v.planned_on BETWEEN $3 AND $4
             AND EXISTS (
                 SELECT 1 FROM untreated_visit_sections AS x
                 WHERE x.visit_id = v.id AND x.section_id IN (SELECT value FROM json_each($2)))
           ORDER BY v.planned_on, v.seq"#,
        those.properties,
        those.sections,
        those.from,
        those.to
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| Ok((read(&row.id, "visit id")?, read(&row.property_id, "property id")?, read_day(&row.planned_on)?)))
        .collect()
}

/// Refused records and corrections of the span that were neither stored since nor reviewed.
async fn open_attempts(
    connection: &mut SqliteConnection,
    those: &Those,
) -> Result<Vec<(String, PropertyId, Day)>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT t.kind AS "kind!", t.property_id AS "property_id!", t.about_on AS "about_on!"
           FROM attempts AS t
           WHERE t.property_id IN (SELECT value FROM json_each($1)) AND t.about_on BETWEEN $2 AND $3
             AND t.kind IN ('application', 'correction')
             AND NOT EXISTS (SELECT 1 FROM applications AS a WHERE a.id = t.subject_id AND a.property_id = t.property_id)
             AND NOT EXISTS (SELECT 1 FROM corrections AS c JOIN applications AS a ON a.id = c.application_id
                 WHERE c.id = t.subject_id AND a.property_id = t.property_id)
             AND NOT EXISTS (SELECT 1 FROM reviews AS r WHERE r.record_id = t.id)
           GROUP BY t.subject_id, t.kind, t.property_id, t.about_on ORDER BY t.about_on, min(t.seq)"#,
        those.properties,
        those.from,
        those.to
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| Ok((row.kind, read(&row.property_id, "property id")?, read_day(&row.about_on)?)))
        .collect()
}
