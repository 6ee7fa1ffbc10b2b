//! The visits of some days as the office looks at them: who goes where, and how much of it.

use domain::{
    application::Purpose,
    ids::{PersonId, ProductId, PropertyId, VisitId},
    product::{
        Label,
        arithmetic::{GradeNutrient, product_at_rate_rounded_down, product_for_area_rounded_down},
    },
    quantity::{Area, NutrientRate, ProductMass, ProductRate},
    time::Day,
};
use sqlx::SqlitePool;

use super::VisitStatus;
use crate::store::{read, read_day, read_enum, read_json};

/// A visit with what tells it from others.
#[derive(Debug, Clone)]
pub struct WeekVisit {
    pub id: VisitId,
    pub version: i64,
    pub person_id: PersonId,
    pub person: String,
    pub planned_on: Day,
    pub status: VisitStatus,
    pub property_id: PropertyId,
    pub address: String,
    pub postal_code: String,
    pub client: String,
    pub product_id: ProductId,
    pub product: String,
    pub purpose: Purpose,
    pub target_nitrogen: Option<NutrientRate>,
    /// Of its sections that are measured.
    pub area: Area,
    /// What is to be put down on them; nothing where no amount is planned.
    pub product_lb: Option<ProductMass>,
    pub unmeasured: i64,
    /// A record names it.
    pub recorded: bool,
}

impl WeekVisit {
    /// Whether it is still to be made.
    pub fn is_open(&self) -> bool {
        self.status == VisitStatus::Planned && !self.recorded
    }
}

/// Visits that are planned from one day to another, by person and day.
pub async fn visits(pool: &SqlitePool, from: Day, to: Day) -> Result<Vec<WeekVisit>, sqlx::Error> {
    let (from, to) = (from.to_string(), to.to_string());
    let rows = sqlx::query!(
        r#"SELECT v.id AS "id!", v.version AS "version!", v.person_id AS "person_id!", w.name AS "person!", v.planned_on AS "planned_on!",
                  v.status AS "status!", v.purpose AS "purpose!", v.product_id AS "product_id!", v.property_id AS "property_id!", p.address AS "address!", p.postal_code AS "postal_code!",
                  c.name AS "client!", d.name AS "product!", d.label AS "label!", v.target_nitrogen, v.target_product,
                  (SELECT coalesce(sum(coalesce((SELECT l.area FROM counted_measurements AS l WHERE l.section_id = s.section_id
                                                ORDER BY l.measured_on DESC, l.place DESC LIMIT 1), 0)), 0)
                   FROM visit_sections AS s WHERE s.visit_id = v.id) AS "area!: i64",
                  (SELECT count(*) FROM visit_sections AS s WHERE s.visit_id = v.id
                   AND NOT EXISTS (SELECT 1 FROM counted_measurements AS l WHERE l.section_id = s.section_id)) AS "unmeasured!: i64",
                  EXISTS (SELECT 1 FROM applications AS a WHERE a.visit_id = v.id) AS "recorded!: bool"
           FROM visits AS v JOIN people AS w ON w.id = v.person_id JOIN properties AS p ON p.id = v.property_id
                JOIN clients AS c ON c.id = p.client_id JOIN products AS d ON d.id = v.product_id
           WHERE v.status IN ('planned', 'done', 'not_done', 'cancelled') AND v.planned_on BETWEEN $1 AND $2
           ORDER BY w.name, w.id, v.planned_on, p.postal_code, p.address, v.seq"#,
        from,
        to
    )
    .fetch_all(pool)
    .await?;
    rows.into_iter()
        .map(|row| {
            let (target_nitrogen, target_product) =
                (row.target_nitrogen.map(NutrientRate::from_raw), row.target_product.map(ProductRate::from_raw));
            let (label, area): (Label, Area) = (read_json(&row.label, "label")?, Area::from_raw(row.area));
            let by_nitrogen = |target| {
                product_for_area_rounded_down(&label, GradeNutrient::Nitrogen, target, area).map(|found| found.value)
            };
            let by_product = |target| product_at_rate_rounded_down(target, area).map(|found| found.value);
            Ok(WeekVisit {
                id: read(&row.id, "visit id")?,
                version: row.version,
                person_id: read(&row.person_id, "person id")?,
                person: row.person,
                planned_on: read_day(&row.planned_on)?,
                status: read_enum(&row.status, "visit status")?,
                property_id: read(&row.property_id, "property id")?,
                address: row.address,
                postal_code: row.postal_code,
                client: row.client,
                product_id: read(&row.product_id, "product id")?,
                product: row.product,
                purpose: read_enum(&row.purpose, "purpose")?,
                target_nitrogen,
                product_lb: target_product.map_or_else(|| target_nitrogen.and_then(by_nitrogen), by_product),
                area,
                unmeasured: row.unmeasured,
                recorded: row.recorded,
            })
        })
        .collect()
}
