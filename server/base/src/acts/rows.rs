//! The facts of acts as rows, with named fields: what `store/world.rs` loads and the acts read.

mod application;
mod property;

use domain::{
    application::Purpose,
    dated::Stood,
    decision::Verdict,
    equipment::EquipmentKind,
    facts::{PastApplication, PastProduct},
    ids::{
        ApplicationId, ClearanceId, CorrectionId, DeviceId, MeasurementId, PersonId, ProductId, PropertyId, SectionId,
    },
    land::{Species, Water},
    product::{Label, Nutrients},
    quantity::{Area, Distance, NutrientRate, ProductMass},
    soil::{SoilCategory, SoilReport},
    time::Day,
};
use serde::{Deserialize, Serialize};

use crate::acts::{
    fault::ActFault,
    particulars::{CalibrationFact, LabelFileFact, PersonalTexts},
};

pub use application::{ApplicationRow, StoredApplication};
pub use property::{PropertyFacts, PropertyRow, for_hire, lawn, local_rules_asked_by, service_ends};

use super::ground::{DivisionRow, parts_of};

pub const FLAG_ENHANCED: i64 = 1;
pub const FLAG_ORGANIC: i64 = 2;

/// Somebody who puts product down.
#[derive(Debug, Clone, Deserialize)]
pub struct PersonRow {
    pub name: String,
    pub credentials: Vec<CredentialRow>,
}

#[derive(Debug, Clone, Deserialize)]
pub struct CredentialRow {
    pub name: String,
    pub number: String,
    pub issued_by: String,
    pub rule_set: Option<String>,
    pub code: Option<String>,
    pub valid_from: Day,
    pub valid_until: Option<Day>,
}

#[derive(Debug, Clone, Deserialize)]
pub struct SectionRow {
    pub property_id: PropertyId,
    history: Stood<SectionFacts>,
    measurements: Vec<MeasurementRow>,
    soil_reports: Vec<SoilRow>,
    /// Sequence number, first day, and parts with name and area, of every division.
    #[serde(default)]
    pub(super) divisions: Vec<DivisionRow>,
    #[serde(rename = "lines")]
    pub ledger: Vec<LedgerRow>,
    pub held: Vec<HeldRow>,
}

/// A measurement that counts, in the order of `world_facts.sql`: day, place among those of its day, area, id, method.
#[derive(Debug, Clone, Deserialize)]
pub struct MeasurementRow(pub Day, i64, pub i64, pub MeasurementId, pub String);

#[derive(Debug, Clone, Deserialize)]
struct SoilRow {
    id: domain::ids::SoilReportId,
    sampled_on: Day,
    place: i64,
    laboratory: String,
    phosphorus: Option<SoilCategory>,
    phosphate_recommended: Option<i64>,
}

/// A line of the ledger. `world_facts.sql` gives it as an array in this order; a test holds the two together.
#[derive(Debug, Clone, Deserialize)]
pub struct LedgerRow {
    pub application: ApplicationId,
    pub applied_on: Day,
    pub area: i64,
    pub product: i64,
    pub nitrogen: i64,
    pub quick_nitrogen: i64,
    pub phosphate: i64,
    pub potash: i64,
    pub flags: i64,
    pub purpose: Purpose,
    pub division: Option<i64>,
    pub parts: Option<u16>,
    pub product_id: ProductId,
}

/// Room that a clearance holds, in the order of `world_facts.sql`.
#[derive(Debug, Clone, Deserialize)]
pub struct HeldRow {
    pub clearance: ClearanceId,
    pub planned_on: Day,
    pub area: i64,
    pub product: i64,
    pub nitrogen: i64,
    pub quick_nitrogen: i64,
    pub phosphate: i64,
    pub potash: i64,
    pub flags: i64,
    pub purpose: Purpose,
    pub division: Option<i64>,
    pub parts: Option<u16>,
    pub product_id: ProductId,
}

/// A planned stop, as far as a record is held against it.
#[derive(Debug, Clone, Deserialize)]
pub struct VisitRow {
    pub property_id: PropertyId,
    pub product_id: ProductId,
    pub planned_on: Day,
    /// Whose it is now.
    pub person_id: PersonId,
    pub status: String,
    pub section_ids: Vec<SectionId>,
}

/// A machine, as far as a record is held against it.
#[derive(Debug, Clone, Deserialize)]
pub struct EquipmentRow {
    pub name: String,
    pub kind: EquipmentKind,
    pub has_deflector: i64,
    pub active: i64,
    /// How old a calibration may be, where the company says so for this machine.
    pub limit_days: Option<i32>,
    /// Those that found a rate with the products and people that are loaded.
    pub calibrations: Vec<CalibrationFact>,
}

/// A delivery, as far as a record names it.
#[derive(Debug, Clone, Deserialize)]
pub struct LotRow {
    pub product_id: ProductId,
    pub lot_number: String,
}

#[derive(Debug, Clone, Deserialize)]
pub struct ProductRow {
    pub name: String,
    pub label: Label,
    pub net_weight: i64,
    pub status: String,
    pub balance: i64,
    /// Every copy of its label that is kept.
    pub label_files: Vec<LabelFileFact>,
}

/// A clearance, in the columns of its table.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct ClearanceRow {
    pub id: ClearanceId,
    pub property_id: PropertyId,
    pub product_id: ProductId,
    pub person_id: PersonId,
    pub device_id: Option<DeviceId>,
    pub planned_on: Day,
    pub verdict: Verdict,
    pub content: String,
    pub fingerprint: String,
    pub granted_at: i64,
    pub expires_at: i64,
}

/// A clearance as it stands: the view `clearance_rows`.
#[derive(Debug, Clone, Deserialize)]
pub struct StoredClearance {
    pub row: ClearanceRow,
    pub ended: Option<String>,
    pub lines: Vec<ClearedLine>,
}

/// Section, area, product.
#[derive(Debug, Clone, Deserialize, Serialize)]
pub struct ClearedLine(pub SectionId, pub i64, pub i64);

/// A correction, in the columns of its table: the view `correction_rows`.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct CorrectionRow {
    pub id: CorrectionId,
    pub application_id: ApplicationId,
    pub person_id: PersonId,
    pub device_id: Option<DeviceId>,
    pub received_at: i64,
    pub verdict: Verdict,
    pub beyond_the_rules: i64,
    /// Something stands on that it does not name. Named only then, so that the rows of earlier versions, which named every line,
    /// read in the journal as they were written.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub leaves_others: i64,
    /// What stood of the sections that it names and the record does not, as JSON, fixed when it was written. Named only where there are
    /// some, for the same reason.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sections: Option<String>,
    /// What was sent; since there are texts about people apart, without them.
    pub content: String,
    pub fingerprint: String,
}

/// A correction as it stands.
#[derive(Debug, Clone, Deserialize)]
pub struct StoredCorrection {
    pub row: CorrectionRow,
    /// Its texts about people; nothing for the corrections of earlier versions, and once they were destroyed.
    pub texts: Option<PersonalTexts>,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde asks for a reference")]
const fn is_zero(number: &i64) -> bool {
    *number == 0
}

/// What a section is on a day, as far as decisions read it.
#[derive(Debug, Clone, Deserialize)]
pub struct SectionFacts {
    pub name: String,
    pub species: Option<Species>,
    water: String,
    water_distance_ft: Option<Distance>,
    pub natural_strip_ft: Option<Distance>,
    pub established_on: Option<Day>,
    pub touches_pavement: bool,
}

impl SectionFacts {
    pub fn water(&self) -> Water {
        match (self.water.as_str(), self.water_distance_ft) {
            ("none", _) => Water::None,
            ("near", Some(distance)) => Water::At(distance),
            _ => Water::Unknown,
        }
    }
}

/// The last of some days up to one, by all that is told of it: by what stood then, and by what was entered later than it happened,
/// also where something else stands since.
fn last_told<T>(stood: &Stood<T>, day: Day, told: impl Fn(&T) -> Option<Day>) -> Option<Day> {
    let states = std::iter::once(stood.on(day)).chain(stood.begun_after(day));
    states.filter_map(told).filter(|one| *one <= day).max()
}

/// When a section was last seeded or sodded by a day.
pub fn seeded_by(section: &Stood<SectionFacts>, day: Day) -> Option<Day> {
    last_told(section, day, |state| state.established_on).or_else(|| section.on(day).established_on)
}

impl SectionRow {
    /// What the section was on a day. A seeding that was entered later than it was made is known for its own day too.
    pub fn on(&self, day: Day) -> SectionFacts {
        let facts = self.history.on(day).clone();
        SectionFacts { established_on: seeded_by(&self.history, day), ..facts }
    }

    /// The latest measurement on or before a day; the first one for days before any.
    pub fn measurement_on(&self, day: Day) -> Option<&MeasurementRow> {
        let latest = self.measurements.iter().filter(|one| one.0 <= day).max_by_key(|one| (one.0, one.1));
        latest.or_else(|| self.measurements.iter().min_by_key(|one| (one.0, one.1)))
    }

    /// The area by that measurement.
    pub fn area_on(&self, day: Day) -> Option<Area> {
        self.measurement_on(day).map(|one| Area::from_raw(one.2))
    }

    pub fn soil_reports(&self) -> Vec<SoilReport> {
        let report = |row: &SoilRow| SoilReport {
            id: row.id,
            sampled_on: row.sampled_on,
            place: row.place,
            laboratory: row.laboratory.clone(),
            phosphorus: row.phosphorus,
            phosphate_recommended: row.phosphate_recommended.map(NutrientRate::from_raw),
        };
        self.soil_reports.iter().map(report).collect()
    }

    /// What stands in the ledger of one application: reversals cancel what they take back.
    pub fn standing(&self, of: impl Fn(ApplicationId) -> bool) -> Vec<LedgerRow> {
        let mut standing: Vec<LedgerRow> = Vec::new();
        for row in self.ledger.iter().filter(|row| of(row.application)) {
            let same = |known: &&mut LedgerRow| {
                (known.application, known.applied_on, known.area, known.flags, known.purpose)
                    == (row.application, row.applied_on, row.area, row.flags, row.purpose)
                    && (known.division, known.parts) == (row.division, row.parts)
            };
            match standing.iter_mut().find(same) {
                Some(sum) => {
                    sum.product += row.product;
                    sum.nitrogen += row.nitrogen;
                    sum.quick_nitrogen += row.quick_nitrogen;
                    sum.phosphate += row.phosphate;
                    sum.potash += row.potash;
                }
                None => standing.push(row.clone()),
            }
        }
        standing.retain(|row| row.product != 0);
        standing
    }

    /// What rules count as put down or held, without one application and one clearance. `products` says what each was; of the one
    /// that is asked about they count the mass, too.
    pub fn past(
        &self,
        asked: Option<ProductId>,
        without: Option<ApplicationId>,
        without_hold: Option<ClearanceId>,
        products: impl Fn(ProductId) -> Result<PastProduct, ActFault>,
    ) -> Result<Vec<PastApplication>, ActFault> {
        let known = |id: ProductId, mass: i64| {
            let mass_of_this = (Some(id) == asked).then(|| ProductMass::from_raw(mass));
            Ok::<_, ActFault>(PastProduct { mass_of_this, ..products(id)? })
        };
        let put_down = self.standing(|id| Some(id) != without).into_iter().map(|row| {
            Ok(PastApplication {
                on: row.applied_on,
                area: Area::from_raw(row.area),
                parts: parts_of(row.division, row.parts),
                nutrients: nutrients(row.nitrogen, row.quick_nitrogen, row.phosphate, row.potash),
                enhanced_efficiency: row.flags & FLAG_ENHANCED != 0,
                organic: row.flags & FLAG_ORGANIC != 0,
                purpose: row.purpose,
                product: known(row.product_id, row.product)?,
                held: false,
            })
        });
        let held = self.held.iter().filter(|row| Some(row.clearance) != without_hold).map(|row| {
            Ok(PastApplication {
                on: row.planned_on,
                area: Area::from_raw(row.area),
                parts: parts_of(row.division, row.parts),
                nutrients: nutrients(row.nitrogen, row.quick_nitrogen, row.phosphate, row.potash),
                enhanced_efficiency: row.flags & FLAG_ENHANCED != 0,
                organic: row.flags & FLAG_ORGANIC != 0,
                purpose: row.purpose,
                product: known(row.product_id, row.product)?,
                held: true,
            })
        });
        put_down.chain(held).collect()
    }
}

pub fn nutrients(nitrogen: i64, quick: i64, phosphate: i64, potash: i64) -> Nutrients {
    use domain::quantity::{Phosphate, Potash, QuickNitrogen, TotalNitrogen};
    Nutrients {
        nitrogen_lb: TotalNitrogen::from_raw(nitrogen),
        quick_nitrogen_lb: QuickNitrogen::from_raw(quick),
        phosphate_lb: Phosphate::from_raw(phosphate),
        potash_lb: Potash::from_raw(potash),
    }
}
