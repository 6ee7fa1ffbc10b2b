//! A person's day: the visits with everything that is needed on the spot, read as it stood at one moment.

mod grounds;
mod places;
mod staff;

use std::collections::{BTreeSet, HashMap};

use domain::{
    calibration::half_rate_rounded_down,
    explain::Derivation,
    ids::{PersonId, ProductId, PropertyId, SectionId, VisitId},
    law::{DutySource, RequiredField},
    parts::Division,
    product::arithmetic::{GradeNutrient, product_rate_rounded_down},
    quantity::{Area, ProductRate},
    time::Day,
};
use serde::Serialize;
use sqlx::{SqliteConnection, SqlitePool};
use utoipa::ToSchema;

pub use grounds::{DividedSection, RecordedSection};
pub use staff::{StaffMember, staff};

use crate::{
    paging::Sequenced,
    scope::Scope,
    store::{
        ReadTransaction, bad_row,
        calibrations::{self, CalibrationInForce},
        products::{Product, ProductRow},
        properties::Property,
        read,
        sections::Section,
        visits::{Visit, VisitRow},
    },
};

/// One stop of the day, with all that belongs to it.
#[derive(Debug, Serialize, ToSchema)]
pub struct DayVisit {
    pub visit: Visit,
    pub property: Property,
    #[schema(max_length = 120)]
    pub client_name: String,
    #[schema(max_length = 40)]
    pub client_phone: Option<String>,
    /// Day on which the client's service ends or ended. From then on nothing is applied.
    pub client_cancelled_on: Option<Day>,
    #[schema(max_items = 20)]
    pub sections: Vec<Section>,
    pub product: Product,
    /// Product for the visit's target, to set a spreader by; null without one that the product can meet.
    pub rate: Option<VisitRate>,
    /// The calibrations in force on the day for this person and product, of every machine in use.
    #[schema(max_items = 200)]
    pub calibrations: Vec<CalibrationInForce>,
    /// Records of it stand that cover every planned section wholly.
    pub recorded: bool,
    /// What stands recorded of the planned sections, corrections counted; a section of which no record stands is not here.
    #[schema(max_items = 20)]
    pub recorded_sections: Vec<RecordedSection>,
    /// When the soil of the sections was last sampled; a section that is not here has no soil report by that day.
    #[schema(max_items = 20)]
    pub newest_samples: Vec<NewestSample>,
    /// What is worth knowing before leaving: a soil report that ends, a client who stops.
    #[schema(max_items = 40)]
    pub open: Vec<OpenPoint>,
    /// How sections are divided on the day; a section that is not here has no parts that a record could name.
    #[schema(max_items = 20)]
    pub divisions: Vec<DividedSection>,
    /// What the law of the day wants on the record that only somebody on the spot can see. The record lacks whatever of it is
    /// left out.
    #[schema(max_items = 30)]
    pub asks: Vec<RequiredField>,
    /// Where the law lets this person work there only under somebody who holds a certificate, or may let them; null where that is not
    /// so.
    pub supervision: Option<SupervisionNeed>,
}

/// Somebody has to be over the work, by what its person holds on the day.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct SupervisionNeed {
    pub source: DutySource,
    /// False where nobody read whether this person may work under such a supervisor: work under one asks for care.
    pub was_read: bool,
    /// Who of the staff may be named as the supervisor: holders of what the law asks, or of a certificate of which nobody has said
    /// which one it is, valid on the day.
    #[schema(max_items = 1000)]
    pub people: Vec<Colleague>,
}

/// Somebody of the staff, by name alone.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Colleague {
    pub id: PersonId,
    #[schema(max_length = 120)]
    pub name: String,
}

/// The newest soil report of a section.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct NewestSample {
    pub section_id: SectionId,
    pub sampled_on: Day,
}

/// Something about a stop that is not settled.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct OpenPoint {
    /// The section it is about; null when it is about the whole stop.
    pub section_id: Option<SectionId>,
    #[schema(max_length = 400)]
    pub words: String,
}

/// The rate at which a visit's product goes down for its target. What may go down is for a check to say.
#[derive(Debug, Serialize, ToSchema)]
pub struct VisitRate {
    /// In one pass, rounded down.
    pub product_lb_per_1000_sqft: ProductRate,
    /// In each of two passes at right angles.
    pub half_rate_lb_per_1000_sqft: ProductRate,
    #[schema(max_items = 2)]
    pub derivations: Vec<Derivation>,
}

impl DayVisit {
    /// The ground of a section that no record of this visit covers: all of it, without a record.
    pub fn open_area(&self, section: &Section) -> Option<Area> {
        self.recorded_of(section).map_or(section.area_sqft, |one| one.open_area_sqft)
    }

    /// Whether records of this visit cover a section wholly.
    pub fn is_covered(&self, section: &Section) -> bool {
        self.recorded_of(section).is_some_and(|one| one.open_area_sqft.is_none())
    }

    fn recorded_of(&self, section: &Section) -> Option<&RecordedSection> {
        self.recorded_sections.iter().find(|one| one.section_id == section.id)
    }
}

impl VisitRate {
    fn of(visit: &Visit, product: &Product) -> Option<Self> {
        if let Some(whole) = visit.target_product_lb_per_1000_sqft {
            let half = half_rate_rounded_down(whole);
            return Some(Self {
                product_lb_per_1000_sqft: whole,
                half_rate_lb_per_1000_sqft: half.value,
                derivations: vec![half.derivation],
            });
        }
        let target = visit.target_nitrogen_lb_per_1000_sqft?;
        let rate = product_rate_rounded_down(&product.label, GradeNutrient::Nitrogen, target)?;
        // A target that asks for more product than can be written is no rate to set anything by.
        let whole = ProductRate::checked(rate.value.raw()).ok()?;
        let half = half_rate_rounded_down(whole);
        Some(Self {
            product_lb_per_1000_sqft: whole,
            half_rate_lb_per_1000_sqft: half.value,
            derivations: vec![rate.derivation, half.derivation],
        })
    }
}

/// What the visits of a day name.
#[derive(Default)]
struct DayReferences {
    properties: HashMap<PropertyId, Property>,
    clients: HashMap<PropertyId, ClientWords>,
    sections: HashMap<SectionId, Section>,
    products: HashMap<ProductId, Product>,
    calibrations: Vec<CalibrationInForce>,
    sampled: HashMap<SectionId, Day>,
    divisions: HashMap<SectionId, Division>,
    recorded: HashMap<VisitId, Vec<RecordedSection>>,
}

#[derive(Clone)]
struct ClientWords {
    name: String,
    phone: Option<String>,
    cancelled_on: Option<Day>,
}

/// The visits of a person on a day that are planned or done, with property, sections and client as they stood on it.
pub async fn visits(pool: &SqlitePool, who: PersonId, on: Day, scope: Scope) -> Result<Vec<DayVisit>, sqlx::Error> {
    let (person, day) = (who.to_string(), on.to_string());
    // One transaction, so that everything is read as it stood at one moment.
    let mut moment = ReadTransaction::begin(pool).await?;
    let visits = planned(&mut moment, &person, &day).await?;
    let mut named = DayReferences::default();
    let properties: BTreeSet<PropertyId> = visits.iter().map(|visit| visit.property_id).collect();
    let sections: BTreeSet<SectionId> = visits.iter().flat_map(|visit| visit.section_ids.iter().copied()).collect();
    places::read_properties(&mut moment, &Vec::from_iter(properties), on, scope, &mut named).await?;
    places::read_sections(&mut moment, &Vec::from_iter(sections), on, &mut named).await?;
    read_products(&mut moment, &person, &day, &mut named).await?;
    read_samples(&mut moment, &person, &day, &mut named).await?;
    grounds::read_divisions(&mut moment, &person, &day, &mut named).await?;
    grounds::read_recorded(&mut moment, &person, &day, &mut named).await?;
    let products: Vec<ProductId> = named.products.keys().copied().collect();
    named.calibrations = calibrations::in_force(&mut *moment, None, &products, Some(who), on).await?;
    drop(moment);
    visits.into_iter().map(|visit| named.complete(visit)).collect()
}

impl DayReferences {
    fn complete(&self, visit: Visit) -> Result<DayVisit, sqlx::Error> {
        let missing = || bad_row("day")(&"a visit names what is not there");
        let client = self.clients.get(&visit.property_id).cloned().ok_or_else(missing)?;
        let section = |id: &SectionId| self.sections.get(id).cloned().ok_or_else(missing);
        let product = self.products.get(&visit.product_id).cloned().ok_or_else(missing)?;
        let with_it = |found: &&CalibrationInForce| found.calibration.product_id == visit.product_id;
        let sample = |id: &SectionId| {
            self.sampled.get(id).map(|sampled_on| NewestSample { section_id: *id, sampled_on: *sampled_on })
        };
        let records = self.recorded.get(&visit.id).map(Vec::as_slice).unwrap_or_default();
        let record = |id: &SectionId| records.iter().find(|one| one.section_id == *id).cloned();
        let recorded_sections: Vec<RecordedSection> = visit.section_ids.iter().filter_map(record).collect();
        let sections: Vec<Section> = visit.section_ids.iter().map(section).collect::<Result<_, _>>()?;
        let divided = |section: &Section| DividedSection::of(section, self.divisions.get(&section.id)?);
        let covered = recorded_sections.iter().filter(|one| one.open_area_sqft.is_none()).count();
        Ok(DayVisit {
            rate: VisitRate::of(&visit, &product),
            calibrations: self.calibrations.iter().filter(with_it).cloned().collect(),
            property: self.properties.get(&visit.property_id).cloned().ok_or_else(missing)?,
            client_name: client.name,
            client_phone: client.phone,
            client_cancelled_on: client.cancelled_on,
            divisions: sections.iter().filter_map(divided).collect(),
            sections,
            product,
            recorded: covered == visit.section_ids.len(),
            recorded_sections,
            newest_samples: visit.section_ids.iter().filter_map(sample).collect(),
            open: Vec::new(),
            asks: Vec::new(),
            supervision: None,
            visit,
        })
    }
}

async fn planned(connection: &mut SqliteConnection, person: &str, day: &str) -> Result<Vec<Visit>, sqlx::Error> {
    let rows = sqlx::query_as!(
        VisitRow,
        r#"SELECT v.seq AS "seq!", v.id AS "id!", v.property_id AS "property_id!", v.person_id AS "person_id!",
                  v.planned_on AS "planned_on!", v.product_id AS "product_id!",
                  (SELECT json_group_array(s.section_id) FROM visit_sections AS s WHERE s.visit_id = v.id) AS "section_ids!: String",
                  v.purpose AS "purpose!", v.target_nitrogen, v.target_product, v.status AS "status!", v.reason, v.programme_id, v.round,
                  v.version AS "version!",
                  v.created_at AS "created_at!"
           FROM visits AS v
           WHERE v.person_id = $1 AND v.planned_on = $2 AND v.status IN ('planned', 'done') ORDER BY v.seq"#,
        person,
        day
    )
    .fetch_all(connection)
    .await?;
    rows.into_iter().map(|row| Sequenced::try_from(row).map(|row| row.item)).collect()
}

async fn read_products(
    connection: &mut SqliteConnection,
    person: &str,
    day: &str,
    named: &mut DayReferences,
) -> Result<(), sqlx::Error> {
    let rows = sqlx::query_as!(
        ProductRow,
        r#"SELECT p.seq AS "seq!", p.id AS "id!", p.name AS "name!", p.label AS "label!", p.net_weight AS "net_weight!",
                  p.status AS "status!", p.version AS "version!", p.created_at AS "created_at!",
                  coalesce((SELECT t.mass FROM stock_totals AS t WHERE t.product_id = p.id), 0) AS "balance!: i64"
           FROM products AS p
           WHERE p.id IN (SELECT v.product_id FROM visits AS v WHERE v.person_id = $1 AND v.planned_on = $2)"#,
        person,
        day
    )
    .fetch_all(connection)
    .await?;
    for row in rows {
        let Sequenced { item, .. } = Sequenced::<Product>::try_from(row)?;
        named.products.insert(item.id, item);
    }
    Ok(())
}

/// The newest sample of each section that was dug by the day: what is dug later proves nothing about it.
async fn read_samples(
    connection: &mut SqliteConnection,
    person: &str,
    day: &str,
    named: &mut DayReferences,
) -> Result<(), sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT r.section_id AS "section_id!", max(r.sampled_on) AS "sampled_on!: String"
           FROM counted_soil_reports AS r
           WHERE r.sampled_on <= $2 AND r.section_id IN (SELECT w.section_id FROM visits AS v
               JOIN visit_sections AS w ON w.visit_id = v.id WHERE v.person_id = $1 AND v.planned_on = $2)
           GROUP BY r.section_id"#,
        person,
        day
    )
    .fetch_all(connection)
    .await?;
    for row in rows {
        named.sampled.insert(read(&row.section_id, "section id")?, super::read_day(&row.sampled_on)?);
    }
    Ok(())
}
