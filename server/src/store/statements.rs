//! What a statement is made of: the sections asked about, their ledger, the records behind it, and what is open.

use domain::{
    ids::{ApplicationId, ClientId, CorrectionId, PropertyId, SectionId, VisitId},
    land::Species,
    product::Label,
    statement::LedgerLine,
    time::{Day, Instant},
};
use sqlx::{SqliteConnection, SqlitePool};

use super::{read, read_day, read_instant, read_json, read_word};
use crate::access::Scope;

/// Which sections a statement is about.
#[derive(Debug, Clone, Copy)]
pub enum About {
    Client(ClientId),
    Property(PropertyId),
    Section(SectionId),
}

impl About {
    /// The three ids as the statements take them: one is given, the others are null.
    fn keys(self) -> (Option<String>, Option<String>, Option<String>) {
        match self {
            Self::Client(id) => (Some(id.to_string()), None, None),
            Self::Property(id) => (None, Some(id.to_string()), None),
            Self::Section(id) => (None, None, Some(id.to_string())),
        }
    }
}

/// A section with its property and client.
#[derive(Debug, Clone)]
pub struct SectionPart {
    pub id: SectionId,
    pub name: String,
    pub species: Option<Species>,
    pub property_id: PropertyId,
    pub property_name: String,
    pub address: String,
    pub time_zone: String,
    pub rule_sets: Vec<String>,
    pub client_id: ClientId,
    pub client_name: String,
    pub mailing_address: String,
    /// Day, sequence number, area in hundredths of a square foot, and when it was written in milliseconds.
    pub measurements: Vec<(Day, i64, i64, i64)>,
    pub latest_soil_sample: Option<Day>,
}

/// A line of the ledger with the record that wrote it.
#[derive(Debug, Clone)]
pub struct LedgerPart {
    pub section: SectionId,
    pub record_id: String,
    pub applied_on: Day,
    pub line: LedgerLine,
}

/// An application with the last word on it.
#[derive(Debug, Clone)]
pub struct RecordPart {
    pub id: ApplicationId,
    pub property_id: PropertyId,
    pub applied_on: Day,
    pub received_at: Instant,
    pub beyond_the_rules: bool,
    pub content: String,
    pub product_name: String,
    pub label: Label,
    pub person_name: String,
    /// The last correction's id, when it was received, and its content.
    pub last_correction: Option<(CorrectionId, Instant, String)>,
}

/// Everything of a statement.
#[derive(Debug, Default)]
pub struct Parts {
    pub sections: Vec<SectionPart>,
    pub ledger: Vec<LedgerPart>,
    pub records: Vec<RecordPart>,
    pub open_visits: Vec<(VisitId, PropertyId, Day)>,
    pub open_attempts: i64,
}

/// Loads a statement in one read transaction, so that its parts belong together.
pub async fn load(pool: &SqlitePool, about: About, from: Day, to: Day, scope: Scope) -> Result<Parts, sqlx::Error> {
    let mut connection = pool.acquire().await?;
    sqlx::query!("BEGIN").execute(&mut *connection).await?;
    let parts = parts(&mut connection, about, from, to, scope).await;
    sqlx::query!("COMMIT").execute(&mut *connection).await?;
    parts
}

async fn parts(
    connection: &mut SqliteConnection,
    about: About,
    from: Day,
    to: Day,
    scope: Scope,
) -> Result<Parts, sqlx::Error> {
    Ok(Parts {
        sections: sections(connection, about, scope).await?,
        ledger: ledger(connection, about, from, to).await?,
        records: records(connection, about, from, to).await?,
        open_visits: open_visits(connection, about, from, to).await?,
        open_attempts: open_attempts(connection, about).await?,
    })
}

async fn sections(
    connection: &mut SqliteConnection,
    about: About,
    scope: Scope,
) -> Result<Vec<SectionPart>, sqlx::Error> {
    let (client, property, section) = about.keys();
    let person = scope.person();
    let rows = sqlx::query!(
        r#"SELECT s.id AS "id!", s.name AS "name!", s.species, p.id AS "property_id!", p.name AS "property_name!", p.address AS "address!",
                  p.time_zone AS "time_zone!", p.rule_sets AS "rule_sets!", c.id AS "client_id!", c.name AS "client_name!",
                  c.mailing_address AS "mailing_address!",
                  (SELECT json_group_array(json_array(m.measured_on, m.seq, m.area, m.created_at)) FROM measurements AS m WHERE m.section_id = s.id)
                   AS "measurements!: String",
                  (SELECT max(r.sampled_on) FROM soil_reports AS r WHERE r.section_id = s.id) AS "latest_soil_sample?: String"
           FROM sections AS s JOIN properties AS p ON p.id = s.property_id JOIN clients AS c ON c.id = p.client_id
           WHERE s.id IN (
                   SELECT y.id FROM properties AS x JOIN sections AS y ON y.property_id = x.id WHERE x.client_id = $1
                   UNION SELECT y.id FROM sections AS y WHERE y.property_id = $2
                   UNION SELECT y.id FROM sections AS y WHERE y.id = $3)
             AND ($4 IS NULL OR EXISTS (SELECT 1 FROM visits AS v WHERE v.property_id = p.id AND v.person_id = $4))
           ORDER BY p.seq, s.seq"#,
        client,
        property,
        section,
        person
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(SectionPart {
                id: read(&row.id, "section id")?,
                name: row.name,
                species: row.species.as_deref().map(|word| read_word(word, "species")).transpose()?,
                property_id: read(&row.property_id, "property id")?,
                property_name: row.property_name,
                address: row.address,
                time_zone: row.time_zone,
                rule_sets: read_json(&row.rule_sets, "rule sets")?,
                client_id: read(&row.client_id, "client id")?,
                client_name: row.client_name,
                mailing_address: row.mailing_address,
                measurements: read_json(&row.measurements, "measurements")?,
                latest_soil_sample: row.latest_soil_sample.as_deref().map(read_day).transpose()?,
            })
        })
        .collect()
}

async fn ledger(
    connection: &mut SqliteConnection,
    about: About,
    from: Day,
    to: Day,
) -> Result<Vec<LedgerPart>, sqlx::Error> {
    let (client, property, section) = about.keys();
    let (from, to) = (from.to_string(), to.to_string());
    let rows = sqlx::query!(
        r#"SELECT l.section_id AS "section_id!", l.record_id AS "record_id!", l.application_id AS "application_id!",
                  l.applied_on AS "applied_on!", l.area AS "area!", l.product AS "product!", l.nitrogen AS "nitrogen!",
                  l.quick_nitrogen AS "quick_nitrogen!", l.phosphate AS "phosphate!", l.potash AS "potash!"
           FROM application_lines AS l
           WHERE l.section_id IN (
                   SELECT y.id FROM properties AS x JOIN sections AS y ON y.property_id = x.id WHERE x.client_id = $1
                   UNION SELECT y.id FROM sections AS y WHERE y.property_id = $2
                   UNION SELECT y.id FROM sections AS y WHERE y.id = $3)
             AND l.applied_on BETWEEN $4 AND $5
           ORDER BY l.applied_on, l.seq"#,
        client,
        property,
        section,
        from,
        to
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            let line = LedgerLine {
                application: read(&row.application_id, "application id")?,
                area: domain::quantity::Area::from_raw(row.area),
                product: row.product,
                nitrogen: row.nitrogen,
                quick_nitrogen: row.quick_nitrogen,
                phosphate: row.phosphate,
                potash: row.potash,
            };
            Ok(LedgerPart {
                section: read(&row.section_id, "section id")?,
                record_id: row.record_id,
                applied_on: read_day(&row.applied_on)?,
                line,
            })
        })
        .collect()
}

/// Records by their own property and day, not by way of the ledger: the second path must not lean on the first.
async fn records(
    connection: &mut SqliteConnection,
    about: About,
    from: Day,
    to: Day,
) -> Result<Vec<RecordPart>, sqlx::Error> {
    let (client, property, section) = about.keys();
    let (from, to) = (from.to_string(), to.to_string());
    let rows = sqlx::query!(
        r#"SELECT a.id AS "id!", a.property_id AS "property_id!", a.applied_on AS "applied_on!", a.received_at AS "received_at!",
                  a.beyond_the_rules AS "beyond_the_rules!", a.content AS "content!", d.name AS "product_name!", d.label AS "label!",
                  w.name AS "person_name!", k.id AS "correction_id?", k.received_at AS "corrected_at?", k.content AS "correction?"
           FROM applications AS a
           JOIN products AS d ON d.id = a.product_id
           JOIN people AS w ON w.id = a.person_id
           LEFT JOIN corrections AS k ON k.seq = (SELECT max(x.seq) FROM corrections AS x WHERE x.application_id = a.id)
           WHERE a.property_id IN (
                   SELECT x.id FROM properties AS x WHERE x.client_id = $1
                   UNION SELECT x.id FROM properties AS x WHERE x.id = $2
                   UNION SELECT y.property_id FROM sections AS y WHERE y.id = $3)
             AND a.applied_on BETWEEN $4 AND $5
           ORDER BY a.applied_on, a.seq"#,
        client,
        property,
        section,
        from,
        to
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| {
            let correction = match (row.correction_id, row.corrected_at, row.correction) {
                (Some(id), Some(at), Some(content)) => Some((read(&id, "correction id")?, read_instant(at)?, content)),
                _ => None,
            };
            Ok(RecordPart {
                id: read(&row.id, "application id")?,
                property_id: read(&row.property_id, "property id")?,
                applied_on: read_day(&row.applied_on)?,
                received_at: read_instant(row.received_at)?,
                beyond_the_rules: row.beyond_the_rules == 1,
                content: row.content,
                product_name: row.product_name,
                label: read_json(&row.label, "label")?,
                person_name: row.person_name,
                last_correction: correction,
            })
        })
        .collect()
}

async fn open_visits(
    connection: &mut SqliteConnection,
    about: About,
    from: Day,
    to: Day,
) -> Result<Vec<(VisitId, PropertyId, Day)>, sqlx::Error> {
    let (client, property, section) = about.keys();
    let (from, to) = (from.to_string(), to.to_string());
    let rows = sqlx::query!(
        r#"SELECT v.id AS "id!", v.property_id AS "property_id!", v.planned_on AS "planned_on!"
           FROM visits AS v
           WHERE v.property_id IN (
                   SELECT x.id FROM properties AS x WHERE x.client_id = $1
                   UNION SELECT x.id FROM properties AS x WHERE x.id = $2
                   UNION SELECT y.property_id FROM sections AS y WHERE y.id = $3)
             AND v.status = 'planned' AND v.planned_on BETWEEN $4 AND $5
             AND NOT EXISTS (SELECT 1 FROM applications AS a WHERE a.visit_id = v.id)
             AND ($3 IS NULL OR EXISTS (SELECT 1 FROM visit_sections AS x WHERE x.visit_id = v.id AND x.section_id = $3))
           ORDER BY v.planned_on, v.seq"#,
        client,
        property,
        section,
        from,
        to
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter()
        .map(|row| Ok((read(&row.id, "visit id")?, read(&row.property_id, "property id")?, read_day(&row.planned_on)?)))
        .collect()
}

async fn open_attempts(connection: &mut SqliteConnection, about: About) -> Result<i64, sqlx::Error> {
    let (client, property, section) = about.keys();
    let row = sqlx::query!(
        r#"SELECT count(DISTINCT t.subject_id) AS "open!: i64"
           FROM attempts AS t JOIN properties AS p ON p.id = t.property_id
           WHERE t.kind = 'application' AND NOT EXISTS (SELECT 1 FROM applications AS a WHERE a.id = t.subject_id)
             AND NOT EXISTS (SELECT 1 FROM reviews AS r WHERE r.record_id = t.id)
             AND ($1 IS NULL OR p.client_id = $1) AND ($2 IS NULL OR p.id = $2)
             AND ($3 IS NULL OR p.id = (SELECT s.property_id FROM sections AS s WHERE s.id = $3))"#,
        client,
        property,
        section
    )
    .fetch_one(connection)
    .await?;
    Ok(row.open)
}

/// A section's sums for the company's year.
#[derive(Debug)]
pub struct YearSum {
    pub section_id: SectionId,
    pub client_id: ClientId,
    pub species: Option<Species>,
    pub rule_sets: Vec<String>,
    pub client_name: String,
    pub address: String,
    pub section_name: String,
    /// Area in hundredths of a square foot; nitrogen, quick nitrogen, phosphate and potash in ten-billionths of a pound,
    /// added up for each treated area.
    pub loads: Vec<(i64, i64, i64, i64, i64)>,
}

/// Every section's year, added up by the database over a covering index.
pub async fn company_year(pool: &SqlitePool, from: Day, to: Day) -> Result<Vec<YearSum>, sqlx::Error> {
    let (from, to) = (from.to_string(), to.to_string());
    let rows = sqlx::query!(
        r#"SELECT s.id AS "section_id!", s.name AS "section_name!", s.species, p.address AS "address!", p.rule_sets AS "rule_sets!",
                  c.id AS "client_id!", c.name AS "client_name!",
                  (SELECT json_group_array(json_array(x.area, x.nitrogen, x.quick_nitrogen, x.phosphate, x.potash)) FROM (
                      SELECT l.area, sum(l.nitrogen) AS nitrogen, sum(l.quick_nitrogen) AS quick_nitrogen, sum(l.phosphate) AS phosphate,
                             sum(l.potash) AS potash
                      FROM application_lines AS l WHERE l.section_id = s.id AND l.applied_on BETWEEN $1 AND $2 GROUP BY l.area) AS x)
                   AS "loads!: String"
           FROM sections AS s JOIN properties AS p ON p.id = s.property_id JOIN clients AS c ON c.id = p.client_id
           ORDER BY c.seq, p.seq, s.seq"#,
        from,
        to
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(YearSum {
                section_id: read(&row.section_id, "section id")?,
                client_id: read(&row.client_id, "client id")?,
                species: row.species.as_deref().map(|word| read_word(word, "species")).transpose()?,
                rule_sets: read_json(&row.rule_sets, "rule sets")?,
                client_name: row.client_name,
                address: row.address,
                section_name: row.section_name,
                loads: read_json(&row.loads, "yearly loads")?,
            })
        })
        .collect()
}
