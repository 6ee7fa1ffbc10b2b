//! What the office must look at today, beside the owner's list: visits that nobody closed, soil reports by their age, stock
//! against what is planned, and where properties lie.

use domain::{
    ids::{ProductId, PropertyId, SectionId, VisitId},
    quantity::{Area, NutrientRate, ProductRate},
    time::Day,
};
use sqlx::SqlitePool;

use super::{read, read_day, read_json};

/// Lists on the page are cut here; mending what is shown brings the rest.
const MOST: i64 = 200;

/// A visit that was to be made before a day, and is neither recorded nor closed.
#[derive(Debug)]
pub struct OpenVisit {
    pub id: VisitId,
    pub planned_on: Day,
    pub address: String,
    pub time_zone: String,
    pub person: String,
}

/// Visits planned before a day that are neither closed nor recorded on every section, the oldest first.
pub async fn open_visits(pool: &SqlitePool, before: Day) -> Result<Vec<OpenVisit>, sqlx::Error> {
    let before = before.to_string();
    let rows = sqlx::query!(
        r#"SELECT v.id AS "id!", v.planned_on AS "planned_on!", p.address AS "address!", p.time_zone AS "time_zone!", e.name AS "person!"
           FROM visits AS v JOIN properties AS p ON p.id = v.property_id JOIN people AS e ON e.id = v.person_id
           WHERE v.status = 'planned' AND v.planned_on < $1
             AND EXISTS (SELECT 1 FROM untreated_visit_sections AS u WHERE u.visit_id = v.id)
           ORDER BY v.planned_on, v.seq LIMIT $2"#,
        before,
        MOST
    )
    .fetch_all(pool)
    .await?;
    let visit = rows.into_iter().map(|row| {
        Ok(OpenVisit {
            id: read(&row.id, "visit id")?,
            planned_on: read_day(&row.planned_on)?,
            address: row.address,
            time_zone: row.time_zone,
            person: row.person,
        })
    });
    visit.collect()
}

/// The newest soil report of a section, and the rule sets that say how long it counts.
#[derive(Debug)]
pub struct NewestReport {
    pub section: SectionId,
    pub name: String,
    pub address: String,
    pub rule_sets: Vec<String>,
    pub sampled_on: Day,
}

/// The newest soil report of every section that has one, of clients whose service has not ended.
pub async fn newest_reports(pool: &SqlitePool) -> Result<Vec<NewestReport>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT s.id AS "id!", s.name AS "name!", p.address AS "address!", p.rule_sets AS "rule_sets!",
                  max(r.sampled_on) AS "sampled_on!: String"
           FROM sections AS s JOIN properties AS p ON p.id = s.property_id JOIN clients AS c ON c.id = p.client_id
           JOIN counted_soil_reports AS r ON r.section_id = s.id
           WHERE c.cancelled_on IS NULL
           GROUP BY s.id ORDER BY max(r.sampled_on), s.seq"#
    )
    .fetch_all(pool)
    .await?;
    let report = rows.into_iter().map(|row| {
        Ok(NewestReport {
            section: read(&row.id, "section id")?,
            name: row.name,
            address: row.address,
            rule_sets: read_json(&row.rule_sets, "rule sets")?,
            sampled_on: read_day(&row.sampled_on)?,
        })
    });
    report.collect()
}

/// What a visit that is still to be made wants on one of its sections.
#[derive(Debug)]
pub struct PlannedDemand {
    pub product: ProductId,
    pub target: Option<NutrientRate>,
    /// Where nitrogen does not state the amount.
    pub target_product: Option<ProductRate>,
    pub area: Option<Area>,
}

/// What all visits that are still to be made want, section by section.
pub async fn wanted(pool: &SqlitePool) -> Result<Vec<PlannedDemand>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT v.product_id AS "product_id!", v.target_nitrogen, v.target_product, m.area AS "area?"
           FROM visits AS v JOIN untreated_visit_sections AS s ON s.visit_id = v.id
           LEFT JOIN measurements AS m ON m.seq = (
               SELECT l.seq FROM counted_measurements AS l WHERE l.section_id = s.section_id ORDER BY l.measured_on DESC, l.place DESC LIMIT 1)
           WHERE v.status = 'planned'"#
    )
    .fetch_all(pool)
    .await?;
    let wanted = rows.into_iter().map(|row| {
        Ok(PlannedDemand {
            product: read(&row.product_id, "product id")?,
            target: row.target_nitrogen.map(NutrientRate::from_raw),
            target_product: row.target_product.map(ProductRate::from_raw),
            area: row.area.map(Area::from_raw),
        })
    });
    wanted.collect()
}

/// A property, as far as its place and its clock are to be looked at.
#[derive(Debug)]
pub struct Site {
    pub id: PropertyId,
    pub address: String,
    pub time_zone: String,
    pub rule_sets: Vec<String>,
}

/// All properties of clients whose service has not ended.
pub async fn sites(pool: &SqlitePool) -> Result<Vec<Site>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT p.id AS "id!", p.address AS "address!", p.time_zone AS "time_zone!", p.rule_sets AS "rule_sets!"
           FROM properties AS p JOIN clients AS c ON c.id = p.client_id WHERE c.cancelled_on IS NULL ORDER BY p.seq"#
    )
    .fetch_all(pool)
    .await?;
    let site = rows.into_iter().map(|row| {
        Ok(Site {
            id: read(&row.id, "property id")?,
            address: row.address,
            time_zone: row.time_zone,
            rule_sets: read_json(&row.rule_sets, "rule sets")?,
        })
    });
    site.collect()
}
