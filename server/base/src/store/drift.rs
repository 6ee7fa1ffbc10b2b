//! What the records of a period put down, and what was meant: read line by line for the report of drift.

use std::collections::{BTreeMap, HashMap};

use domain::{
    ids::{ApplicationId, EquipmentId, PersonId},
    quantity::{Area, NutrientRate, Percent, ProductMass},
    time::Day,
};
use futures_util::TryStreamExt;
use sqlx::SqliteConnection;

use super::{read, read_day};

/// What stands of one record on one section, beside what was meant for that ground.
#[derive(Debug)]
pub struct PutLine {
    pub application: ApplicationId,
    pub on: Day,
    pub equipment: Option<EquipmentId>,
    pub person: PersonId,
    pub area: Area,
    pub used: ProductMass,
    /// What the clearance that this record used had cleared on the section, and for how much ground.
    pub cleared: Option<(ProductMass, Area)>,
    /// The nitrogen at which the visit was planned, if it was planned with this product for this section.
    pub planned: Option<NutrientRate>,
    pub nitrogen_percent: Percent,
}

/// Whose records, and of which days.
#[derive(Debug)]
pub struct Period {
    pub from: Day,
    pub to: Day,
    pub equipment: Option<EquipmentId>,
    pub person: Option<PersonId>,
}

/// Every standing line of the records of a period, record by record. What a correction took back has no line, and what it
/// put in the place of the first word is the line.
pub async fn lines(connection: &mut SqliteConnection, period: &Period) -> Result<Vec<PutLine>, sqlx::Error> {
    let percents = nitrogen_percents(&mut *connection).await?;
    let (from, to) = (period.from.to_string(), period.to.to_string());
    let (equipment, person) = (period.equipment.map(|id| id.to_string()), period.person.map(|id| id.to_string()));
    // A season has tens of thousands of records, so the database neither sorts them nor adds their lines up.
    let mut rows = sqlx::query!(
        r#"SELECT a.id AS "id!", a.applied_on AS "applied_on!", a.equipment_id, a.person_id AS "person_id!", a.product_id AS "product_id!",
                  l.section_id AS "section_id!", l.area AS "area!", l.product AS "used!", c.product AS "cleared?", c.area AS "cleared_area?",
                  v.target_nitrogen
           FROM applications AS a
           CROSS JOIN application_lines AS l
           LEFT JOIN clearance_ends AS e ON e.clearance_id = a.clearance_id AND e.application_id = a.id AND e.how = 'used'
           LEFT JOIN clearance_lines AS c ON c.clearance_id = e.clearance_id AND c.section_id = l.section_id
           LEFT JOIN visits AS v ON v.id = a.visit_id AND v.product_id = a.product_id
               AND EXISTS (SELECT 1 FROM visit_sections AS s WHERE s.visit_id = v.id AND s.section_id = l.section_id)
           WHERE l.application_id = a.id AND a.applied_on BETWEEN $1 AND $2
             AND ($3 IS NULL OR a.equipment_id = $3) AND ($4 IS NULL OR a.person_id = $4)
           ORDER BY a.applied_on, a.seq"#,
        from,
        to,
        equipment,
        person
    )
    .fetch(connection);
    let (mut lines, mut record) = (Vec::new(), Vec::<(String, i64, PutLine)>::new());
    while let Some(row) = rows.try_next().await? {
        let application: ApplicationId = read(&row.id, "application id")?;
        if record.first().is_some_and(|(.., line)| line.application != application) {
            lines.extend(standing(&mut record));
        }
        let same = |(section, _, line): &&mut (String, i64, PutLine)| {
            *section == row.section_id && line.area == Area::from_raw(row.area)
        };
        if let Some((_, used, _)) = record.iter_mut().find(same) {
            *used += row.used;
            continue;
        }
        let cleared = row.cleared.zip(row.cleared_area);
        let line = PutLine {
            application,
            on: read_day(&row.applied_on)?,
            equipment: row.equipment_id.as_deref().map(|id| read(id, "equipment id")).transpose()?,
            person: read(&row.person_id, "person id")?,
            area: Area::from_raw(row.area),
            used: ProductMass::ZERO,
            cleared: cleared.map(|(mass, area)| (ProductMass::from_raw(mass), Area::from_raw(area))),
            planned: row.target_nitrogen.map(NutrientRate::from_raw),
            nitrogen_percent: *percents.get(&row.product_id).ok_or(sqlx::Error::RowNotFound)?,
        };
        record.push((row.section_id, row.used, line));
    }
    lines.extend(standing(&mut record));
    Ok(lines)
}

/// The lines of a record of which something stands.
fn standing(record: &mut Vec<(String, i64, PutLine)>) -> impl Iterator<Item = PutLine> {
    let stands = |(_, used, line): (String, i64, PutLine)| {
        (used > 0).then(|| PutLine { used: ProductMass::from_raw(used), ..line })
    };
    record.drain(..).filter_map(stands)
}

/// How much nitrogen each product has, by its id.
async fn nitrogen_percents(connection: &mut SqliteConnection) -> Result<HashMap<String, Percent>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT id AS "id!", label ->> 'nitrogen_percent' AS "nitrogen_percent!: String" FROM products"#
    )
    .fetch_all(connection)
    .await?;
    let percent = |text: &str| Percent::parse(text).map_err(|error| super::bad_row("percent of nitrogen")(&error));
    rows.into_iter().map(|row| Ok((row.id, percent(&row.nitrogen_percent)?))).collect()
}

/// The names of all equipment and of all staff, by their ids.
pub async fn names(connection: &mut SqliteConnection) -> Result<BTreeMap<String, String>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT id AS "id!: String", name AS "name!: String" FROM equipment UNION ALL SELECT id, name FROM people"#
    )
    .fetch_all(connection)
    .await?;
    Ok(rows.into_iter().map(|row| (row.id, row.name)).collect())
}
