//! The facts of acts as rows, with named fields: what `store/world.rs` loads and the acts read.

use std::collections::{HashMap, HashSet};

use domain::{
    application::{Audience, Purpose},
    dated::Stood,
    decision::Verdict,
    equipment::EquipmentKind,
    facts::{PastApplication, PastProduct, SiteFacts},
    ids::{
        ApplicationId, ClearanceId, CorrectionId, DeviceId, LotId, PersonId, ProductId, PropertyId, SectionId, VisitId,
    },
    land::{PropertyKind, Species, Water},
    product::{Label, Nutrients},
    quantity::{Area, Distance, NutrientRate},
    soil::{SoilCategory, SoilReport},
    time::{Day, Instant},
};
use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};

use super::ground::{DivisionRow, parts_of};

pub const FLAG_ENHANCED: i64 = 1;
pub const FLAG_ORGANIC: i64 = 2;

#[derive(Debug, Clone, Deserialize)]
pub struct PropertyRow {
    /// Whose it was from which day on, the first without one, and when that client's service ends by the book of now.
    owners: Vec<(Option<Day>, Option<Day>)>,
    /// By the book of now.
    local_rules_checked_on: Option<Day>,
    /// All its lawn sections together, by their newest measurements.
    lawn_area: Option<i64>,
    /// People who were ever sent here.
    pub visited_by: HashSet<PersonId>,
    history: Stood<PropertyFacts>,
}

/// What a property is on a day, as far as decisions read it.
#[derive(Debug, Clone, Deserialize)]
pub struct PropertyFacts {
    pub time_zone: String,
    pub rule_sets: Vec<String>,
    pub latitude: Option<f64>,
    pub longitude: Option<f64>,
    pub place: Option<PlaceCodes>,
    local_rules_checked_on: Option<Day>,
    #[serde(default = "lawn")]
    pub kind: Option<PropertyKind>,
    #[serde(default = "for_hire")]
    pub worked_by: Audience,
    #[serde(default)]
    pub nutrient_plan_on: Option<Day>,
}

/// What entries and requests mean that do not name the kind.
#[expect(clippy::unnecessary_wraps, reason = "the default of a member that may be null")]
pub const fn lawn() -> Option<PropertyKind> {
    Some(PropertyKind::Lawn)
}

/// Likewise of who does the work.
pub const fn for_hire() -> Audience {
    Audience::Professional
}

/// Codes of county and municipality, as far as they are known.
#[derive(Debug, Clone, Default, Deserialize)]
pub struct PlaceCodes {
    pub county: Option<String>,
    pub municipality: Option<String>,
}

impl PropertyRow {
    /// When the service ends of whoever is the client on a day.
    pub fn cancelled_on(&self, day: Day) -> Option<Day> {
        let begun = self.owners.iter().filter(|(since, _)| *since <= Some(day));
        begun.max_by_key(|(since, _)| *since).and_then(|(_, ends)| *ends)
    }

    /// The last day up to this one on which county and municipality were asked, as far as it is known.
    pub fn local_rules_checked_on(&self, day: Day) -> Option<Day> {
        let known = [self.local_rules_checked_on, self.history.on(day).local_rules_checked_on];
        known.into_iter().flatten().filter(|asked| *asked <= day).max()
    }

    /// What rules read of the ground on a day.
    pub fn site_on(&self, day: Day) -> SiteFacts {
        let stood = self.on(day);
        let area = Area::from_raw(self.lawn_area.unwrap_or_default());
        SiteFacts { kind: stood.kind, plan_on: stood.nutrient_plan_on, area }
    }

    /// What the property was on a day.
    pub fn on(&self, day: Day) -> &PropertyFacts {
        self.history.on(day)
    }

    /// The clocks by which moments there become days: that of the day, and that of now, in case the first has left the tables
    /// since. Zones lie less than a day apart, so the day by universal time will do to ask which one it was.
    pub fn time_zones(&self, at: Instant) -> [&str; 2] {
        [&self.history.on(at.day_in(&TimeZone::UTC)).time_zone, &self.history.present().time_zone]
    }
}

/// Somebody who puts product down.
#[derive(Debug, Clone, Deserialize)]
pub struct PersonRow {
    pub name: String,
    pub credentials: Vec<CredentialRow>,
}

#[derive(Debug, Clone, Deserialize)]
pub struct CredentialRow {
    pub name: String,
    pub rule_set: Option<String>,
    pub code: Option<String>,
    pub valid_from: Day,
    pub valid_until: Option<Day>,
}

#[derive(Debug, Clone, Deserialize)]
pub struct SectionRow {
    pub property_id: PropertyId,
    /// By the book of now.
    established_on: Option<Day>,
    history: Stood<SectionFacts>,
    measurements: Vec<(Day, i64, i64)>,
    soil_reports: Vec<SoilRow>,
    /// Sequence number, first day, and parts with name and area, of every division.
    #[serde(default)]
    pub(super) divisions: Vec<DivisionRow>,
    #[serde(rename = "lines")]
    pub ledger: Vec<LedgerRow>,
    pub held: Vec<HeldRow>,
}

#[derive(Debug, Clone, Deserialize)]
struct SoilRow {
    id: domain::ids::SoilReportId,
    sampled_on: Day,
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
}

/// Room that a clearance holds, in the order of `world_facts.sql`.
#[derive(Debug, Clone, Deserialize)]
pub struct HeldRow {
    pub clearance: ClearanceId,
    pub planned_on: Day,
    pub area: i64,
    pub nitrogen: i64,
    pub quick_nitrogen: i64,
    pub phosphate: i64,
    pub potash: i64,
    pub flags: i64,
    pub purpose: Purpose,
    pub division: Option<i64>,
    pub parts: Option<u16>,
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
    pub kind: EquipmentKind,
    pub has_deflector: i64,
    pub active: i64,
}

#[derive(Debug, Clone, Deserialize)]
pub struct ProductRow {
    pub name: String,
    pub label: Label,
    pub net_weight: i64,
    pub status: String,
    pub balance: i64,
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

/// A record, in the columns of its table.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct ApplicationRow {
    pub id: ApplicationId,
    pub property_id: PropertyId,
    pub product_id: ProductId,
    pub lot_id: Option<LotId>,
    pub visit_id: Option<VisitId>,
    pub clearance_id: Option<ClearanceId>,
    /// Who did the work.
    pub person_id: PersonId,
    /// That person's name at the time.
    pub person_name: String,
    pub entered_by: PersonId,
    pub device_id: Option<DeviceId>,
    pub applied_on: Day,
    pub received_at: i64,
    pub sent_at: Option<i64>,
    pub verdict: Verdict,
    pub beyond_the_rules: i64,
    /// Why the owner should look at it, where it breaks no rule. Named only where there is one, so that the rows of earlier
    /// versions read in the journal as they were written.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub review_reason: Option<String>,
    pub content: String,
    pub fingerprint: String,
}

/// A record as it stands: the view `application_rows`.
#[derive(Debug, Clone, Deserialize)]
pub struct StoredApplication {
    pub row: ApplicationRow,
    /// Corrections of it, oldest first.
    pub correction_ids: Vec<CorrectionId>,
}

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
    pub content: String,
    pub fingerprint: String,
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

impl SectionRow {
    /// What the section was on a day. A seeding that was entered later than it was made is known for its own day too.
    pub fn on(&self, day: Day) -> SectionFacts {
        let mut facts = self.history.on(day).clone();
        facts.established_on = self.established_on.filter(|seeded| *seeded <= day).or(facts.established_on);
        facts
    }

    /// The area by the latest measurement on or before a day; the first one for days before any.
    pub fn area_on(&self, day: Day) -> Option<Area> {
        let latest = self.measurements.iter().filter(|(on, ..)| *on <= day).max_by_key(|(on, seq, _)| (*on, *seq));
        let earliest = || self.measurements.iter().min_by_key(|(on, seq, _)| (*on, *seq));
        latest.or_else(earliest).map(|(_, _, area)| Area::from_raw(*area))
    }

    pub fn soil_reports(&self) -> Vec<SoilReport> {
        let report = |row: &SoilRow| SoilReport {
            id: row.id,
            sampled_on: row.sampled_on,
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
                    (sum.product, sum.nitrogen, sum.quick_nitrogen, sum.phosphate, sum.potash) = (
                        sum.product + row.product,
                        sum.nitrogen + row.nitrogen,
                        sum.quick_nitrogen + row.quick_nitrogen,
                        sum.phosphate + row.phosphate,
                        sum.potash + row.potash,
                    );
                }
                None => standing.push(row.clone()),
            }
        }
        standing.retain(|row| row.product != 0);
        standing
    }

    /// What rules count as put down or held, without one application and one clearance.
    pub fn past(&self, without: Option<ApplicationId>, without_hold: Option<ClearanceId>) -> Vec<PastApplication> {
        let put_down = self.standing(|id| Some(id) != without).into_iter().map(|row| PastApplication {
            on: row.applied_on,
            area: Area::from_raw(row.area),
            parts: parts_of(row.division, row.parts),
            nutrients: nutrients(row.nitrogen, row.quick_nitrogen, row.phosphate, row.potash),
            enhanced_efficiency: row.flags & FLAG_ENHANCED != 0,
            organic: row.flags & FLAG_ORGANIC != 0,
            purpose: row.purpose,
            product: PastProduct::default(),
            held: false,
        });
        let held = self.held.iter().filter(|row| Some(row.clearance) != without_hold).map(|row| PastApplication {
            on: row.planned_on,
            area: Area::from_raw(row.area),
            parts: parts_of(row.division, row.parts),
            nutrients: nutrients(row.nitrogen, row.quick_nitrogen, row.phosphate, row.potash),
            enhanced_efficiency: row.flags & FLAG_ENHANCED != 0,
            organic: row.flags & FLAG_ORGANIC != 0,
            purpose: row.purpose,
            product: PastProduct::default(),
            held: true,
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

/// Sections of one application, each with what stands.
pub(crate) fn standing_lines(
    sections: &HashMap<SectionId, SectionRow>,
    application: ApplicationId,
) -> Vec<(SectionId, LedgerRow)> {
    let mut lines: Vec<(SectionId, LedgerRow)> = sections
        .iter()
        .flat_map(|(id, section)| section.standing(|of| of == application).into_iter().map(|row| (*id, row)))
        .collect();
    lines.sort_by_key(|(id, _)| *id);
    lines
}
