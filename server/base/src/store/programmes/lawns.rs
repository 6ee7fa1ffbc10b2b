//! What a season's plan reads: sections with what their need follows from, and the visits that stand in the book.

use domain::{
    application::Purpose,
    ids::{ClientId, PersonId, ProductId, ProgrammeId, PropertyId, SectionId, VisitId},
    quantity::{Area, NeutralisingValue, NutrientRate, ProductMass, ProductRate, SoilAcidity, SoilPh},
    soil::{liming::Acidity, table::SoilTable},
    time::Day,
};
use sqlx::SqlitePool;

use crate::store::{
    read, read_day, read_enum,
    sections::{Clippings, MaintenanceLevel, ShadeClass},
};

/// Which sections a plan is for.
#[derive(Debug, Clone)]
pub enum Lawns {
    All,
    Client(ClientId),
    These(Vec<SectionId>),
}

/// A section, as far as its need follows from it.
#[derive(Debug, Clone)]
pub struct Lawn {
    pub section_id: SectionId,
    pub section_name: String,
    pub property_id: PropertyId,
    pub address: String,
    pub client_id: ClientId,
    pub client_name: String,
    pub maintenance: MaintenanceLevel,
    pub clippings: Clippings,
    pub shade: ShadeClass,
    /// The latest soil report.
    pub report: Option<LawnReport>,
}

/// What the latest soil report recommends.
#[derive(Debug, Clone)]
pub struct LawnReport {
    pub laboratory: String,
    pub sampled_on: Day,
    pub phosphate: Option<NutrientRate>,
    pub potash: Option<NutrientRate>,
    /// As pure calcium carbonate.
    pub lime: Option<ProductRate>,
    pub ph: Option<SoilPh>,
    pub buffer_ph: Option<SoilPh>,
    pub acidity: Option<Acidity>,
    pub laboratory_table: Option<SoilTable>,
    pub before_planting: bool,
}

/// Sections in the order of client, property and section. The last one more than asked for tells that there are too many.
pub async fn lawns(pool: &SqlitePool, of: Lawns, take: i64) -> Result<Vec<Lawn>, sqlx::Error> {
    let (client, sections) = match of {
        Lawns::All => (None, None),
        Lawns::Client(id) => (Some(id.to_string()), None),
        Lawns::These(ids) => (None, serde_json::to_string(&ids).ok()),
    };
    let rows = sqlx::query!(
        r#"SELECT s.id AS "section_id!", s.name AS "section_name!", p.id AS "property_id!", p.address AS "address!",
                  c.id AS "client_id!", c.name AS "client_name!", s.maintenance AS "maintenance!",
                  s.clippings AS "clippings!", s.shade AS "shade!", r.laboratory AS "laboratory?", r.sampled_on AS "sampled_on?",
                  r.phosphate_recommended AS "phosphate?", r.potash_recommended AS "potash?",
                  r.lime_recommended AS "lime?", r.ph AS "ph?", r.buffer_ph AS "buffer_ph?", r.acidity AS "acidity?",
                  r.acidity_per AS "acidity_per?", r.laboratory_table AS "laboratory_table?", r.before_planting AS "before_planting?"
           FROM sections AS s JOIN properties AS p ON p.id = s.property_id JOIN clients AS c ON c.id = p.client_id
           LEFT JOIN soil_reports AS r ON r.seq = (
               SELECT l.seq FROM counted_soil_reports AS l WHERE l.section_id = s.id ORDER BY l.sampled_on DESC, l.place DESC LIMIT 1)
           WHERE ($1 IS NULL OR c.id = $1) AND ($2 IS NULL OR s.id IN (SELECT value FROM json_each($2)))
           ORDER BY c.seq, p.seq, s.seq LIMIT $3"#,
        client,
        sections,
        take
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter()
        .map(|row| {
            let sampled_on = row.sampled_on.as_deref().map(read_day).transpose()?;
            let per = row.acidity_per.as_deref().map(|per| read_enum(per, "acidity")).transpose()?;
            let laboratory_table =
                row.laboratory_table.as_deref().map(|table| read_enum(table, "table")).transpose()?;
            let report = row.laboratory.zip(sampled_on).map(|(laboratory, sampled_on)| LawnReport {
                laboratory,
                sampled_on,
                phosphate: row.phosphate.map(NutrientRate::from_raw),
                potash: row.potash.map(NutrientRate::from_raw),
                lime: row.lime.map(ProductRate::from_raw),
                ph: row.ph.map(SoilPh::from_raw),
                buffer_ph: row.buffer_ph.map(SoilPh::from_raw),
                acidity: row.acidity.zip(per).map(|(raw, per)| Acidity { meq: SoilAcidity::from_raw(raw), per }),
                laboratory_table,
                before_planting: row.before_planting == Some(1),
            });
            Ok(Lawn {
                section_id: read(&row.section_id, "section id")?,
                section_name: row.section_name,
                property_id: read(&row.property_id, "property id")?,
                address: row.address,
                client_id: read(&row.client_id, "client id")?,
                client_name: row.client_name,
                maintenance: read_enum(&row.maintenance, "maintenance")?,
                clippings: read_enum(&row.clippings, "clippings")?,
                shade: read_enum(&row.shade, "shade")?,
                report,
            })
        })
        .collect()
}

/// One section of a visit that is planned or done.
#[derive(Debug, Clone)]
pub struct VisitLine {
    pub visit_id: VisitId,
    pub section_id: SectionId,
    pub property_id: PropertyId,
    pub person_id: PersonId,
    pub planned_on: Day,
    pub product_id: ProductId,
    pub target: Option<NutrientRate>,
    /// Where nitrogen does not state the amount.
    pub target_product: Option<ProductRate>,
    pub purpose: Purpose,
    pub of: Option<(ProgrammeId, String)>,
    /// Still to be made: planned, and no record names it.
    pub open: bool,
    /// The section's area by its latest measurement.
    pub area: Option<Area>,
}

/// Every visit that is planned or done from a day on, a section a line.
pub async fn visit_lines(pool: &SqlitePool, from: Day) -> Result<Vec<VisitLine>, sqlx::Error> {
    let from = from.to_string();
    let rows = sqlx::query!(
        r#"SELECT v.id AS "visit_id!", w.section_id AS "section_id!", v.property_id AS "property_id!", v.person_id AS "person_id!", v.planned_on AS "planned_on!", v.product_id AS "product_id!",
                  v.target_nitrogen, v.target_product, v.purpose AS "purpose!", v.programme_id, v.round,
                  (v.status = 'planned' AND EXISTS (
                      SELECT 1 FROM untreated_visit_sections AS u WHERE u.visit_id = v.id AND u.section_id = w.section_id)) AS "open!: bool",
                  (SELECT m.area FROM counted_measurements AS m WHERE m.section_id = w.section_id ORDER BY m.measured_on DESC, m.place DESC LIMIT 1)
                   AS "area?: i64"
           FROM visits AS v JOIN visit_sections AS w ON w.visit_id = v.id
           WHERE v.status IN ('planned', 'done') AND v.planned_on >= $1 ORDER BY v.seq, w.section_id"#,
        from
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter()
        .map(|row| {
            let programme = row.programme_id.as_deref().map(|id| read(id, "programme id")).transpose()?;
            Ok(VisitLine {
                visit_id: read(&row.visit_id, "visit id")?,
                section_id: read(&row.section_id, "section id")?,
                property_id: read(&row.property_id, "property id")?,
                person_id: read(&row.person_id, "person id")?,
                planned_on: read_day(&row.planned_on)?,
                product_id: read(&row.product_id, "product id")?,
                target: row.target_nitrogen.map(NutrientRate::from_raw),
                target_product: row.target_product.map(ProductRate::from_raw),
                purpose: read_enum(&row.purpose, "purpose")?,
                of: programme.zip(row.round),
                open: row.open,
                area: row.area.map(Area::from_raw),
            })
        })
        .collect()
}

/// Lime that stands put down on a section by one record.
#[derive(Debug, Clone)]
pub struct LimeLine {
    pub section_id: SectionId,
    pub applied_on: Day,
    pub area: Area,
    pub product: ProductMass,
    pub cce: NeutralisingValue,
}

/// What of liming materials stands put down on these sections from a day on, corrections counted.
pub async fn lime_lines(pool: &SqlitePool, sections: &[SectionId], from: Day) -> Result<Vec<LimeLine>, sqlx::Error> {
    let sections = serde_json::to_string(sections).map_err(|error| sqlx::Error::Encode(error.into()))?;
    let from = from.to_string();
    let rows = sqlx::query!(
        r#"SELECT l.section_id AS "section_id!", l.applied_on AS "applied_on!", l.area AS "area!", sum(l.product) AS "product!: i64",
                  json_extract(p.label, '$.printed.cce_percent') AS "cce!: String"
           FROM json_each($1) AS w CROSS JOIN application_lines AS l CROSS JOIN applications AS a CROSS JOIN products AS p
           WHERE l.section_id = w.value AND l.applied_on >= $2 AND a.id = l.application_id AND p.id = a.product_id
             AND json_extract(p.label, '$.printed.cce_percent') IS NOT NULL
           GROUP BY l.section_id, l.application_id, l.applied_on, l.area HAVING sum(l.product) > 0"#,
        sections,
        from
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(LimeLine {
                section_id: read(&row.section_id, "section id")?,
                applied_on: read_day(&row.applied_on)?,
                area: Area::from_raw(row.area),
                product: ProductMass::from_raw(row.product),
                cce: read_enum(&row.cce, "calcium carbonate equivalent")?,
            })
        })
        .collect()
}
