//! What stood of everything that a record names, fixed when it is written: client and site, who worked under which certificate,
//! product and label, machine and calibration, measurement and soil report. Later changes of any of them change nothing on it.

mod product;

use std::{cmp::Reverse, collections::BTreeMap};

use domain::{
    application::{Audience, is_valid_on},
    calibration::AgeLimits,
    equipment::EquipmentKind,
    ids::{
        CalibrationId, ClientId, EquipmentId, LotId, MeasurementId, PersonId, ProductFileId, ProductId, PropertyId,
        RuleSetCode, SectionId, SoilReportId,
    },
    land::{PropertyKind, Species},
    quantity::{Area, NutrientRate, ProductRate},
    soil::SoilCategory,
    time::{Day, Instant},
};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::acts::{
    BatchFacts,
    fault::ActFault,
    rows::{CredentialRow, PersonRow, SectionRow},
};

pub use product::{LabelFileThen, PesticideThen, ProductThen};

/// What stood on the day of the work, without any text about people.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Particulars {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub client_id: Option<ClientId>,
    #[schema(max_length = 10)]
    pub postal_code: String,
    /// By which moments became days.
    #[schema(max_length = 60)]
    pub time_zone: String,
    /// Rule sets that were confirmed for the property.
    #[schema(max_items = 20, value_type = Vec<RuleSetCode>)]
    pub rule_sets: Vec<String>,
    /// What kind of ground it was, if somebody had said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kind: Option<PropertyKind>,
    /// Whose work it was: for hire, on own ground, or of the household.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub worked_by: Option<Audience>,
    /// Licences and certificates of the applicator that were valid on the day.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 100)]
    pub credentials: Vec<CredentialThen>,
    /// Those of the applicator that count at the place and were not valid on the day, where nothing of their kind was: the last that
    /// ran out, or one that began later.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 100)]
    pub credentials_not_valid: Vec<CredentialThen>,
    /// Those of the supervisor.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 100)]
    pub supervisor_credentials: Vec<CredentialThen>,
    pub product: ProductThen,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 60)]
    pub lot_number: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub machine: Option<MachineThen>,
    #[schema(max_items = 20)]
    pub sections: Vec<SectionThen>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CredentialThen {
    #[schema(max_length = 120)]
    pub name: String,
    #[schema(max_length = 60)]
    pub number: String,
    /// The authority that issued it.
    #[schema(max_length = 120)]
    pub issued_by: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 60)]
    pub rule_set: Option<String>,
    /// The code by which rules call it, where somebody had chosen which one it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 60)]
    pub code: Option<String>,
    pub valid_from: Day,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub valid_until: Option<Day>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct MachineThen {
    #[schema(max_length = 120)]
    pub name: String,
    pub kind: EquipmentKind,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub calibration: Option<CalibrationThen>,
}

/// The calibration in force for the machine, the product and the operator.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CalibrationThen {
    pub id: CalibrationId,
    pub calibrated_on: Day,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 60)]
    pub setting: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub product_lb_per_1000_sqft: Option<ProductRate>,
    /// By how many days it was older than the company lets it be for this machine, 365 unless it says otherwise; left out where it
    /// was not. How often it was used is not told here.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, maximum = 4_000_000)]
    pub too_old_by_days: Option<i32>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct SectionThen {
    pub section_id: SectionId,
    #[schema(max_length = 120)]
    pub name: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub species: Option<Species>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub measurement: Option<MeasurementThen>,
    /// The soil report that was relied on: the latest sampled by then.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub soil_report: Option<SoilReportThen>,
}

/// The measurement by which the area was known.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct MeasurementThen {
    pub id: MeasurementId,
    pub measured_on: Day,
    #[schema(max_length = 20)]
    pub method: String,
    pub area_sqft: Area,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct SoilReportThen {
    pub id: SoilReportId,
    pub sampled_on: Day,
    #[schema(max_length = 120)]
    pub laboratory: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub phosphorus: Option<SoilCategory>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub phosphate_recommended_lb_per_1000_sqft: Option<NutrientRate>,
}

/// Texts about people that belong to a record. They can be destroyed when it need not be kept any more.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct PersonalTexts {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 120)]
    pub client: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 300)]
    pub mailing_address: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 40)]
    pub telephone: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 300)]
    pub site_address: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 120)]
    pub applicator: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 120)]
    pub supervisor: Option<String>,
    /// Who else of the staff was there.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 10, value_type = Vec<NameThen>)]
    pub present: Vec<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 2000)]
    pub notes: Option<String>,
    /// Why it was done although a rule said stop, or why it was corrected.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 1000)]
    pub reason: Option<String>,
    /// What whoever made the correction or the addition was called then.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 120)]
    pub made_by: Option<String>,
    /// What the phone was called through which it came.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 80)]
    pub made_on: Option<String>,
}

/// What stands in the place of a text that was destroyed.
pub const DESTROYED: &str = "Destroyed, since it need not be kept any more.";

/// What somebody was called.
#[derive(Debug, ToSchema)]
#[schema(max_length = 120)]
pub struct NameThen(pub String);

/// A client on a day.
#[derive(Debug, Clone, Deserialize)]
pub struct ClientFacts {
    pub name: String,
    pub mailing_address: String,
    pub phone: Option<String>,
    #[serde(default)]
    pub cancelled_on: Option<Day>,
}

/// A kept copy of a label, with the moment from which it was there, in the order of `world_facts.sql`.
#[derive(Debug, Clone, Deserialize)]
pub struct LabelFileFact(pub i64, pub ProductFileId, pub Option<Day>, pub String);

/// A calibration that found a rate, in the order of `world_facts.sql`: day, sequence, id, product, operator, setting, rate.
#[derive(Debug, Clone, Deserialize)]
pub struct CalibrationFact(
    pub Day,
    pub i64,
    pub CalibrationId,
    pub ProductId,
    pub PersonId,
    pub Option<String>,
    pub Option<ProductRate>,
);

/// What a record names, and when.
#[derive(Debug, Clone)]
pub struct Named<'a> {
    pub property: PropertyId,
    pub product: ProductId,
    pub lot: Option<LotId>,
    pub equipment: Option<EquipmentId>,
    pub person: PersonId,
    pub supervisor: Option<PersonId>,
    pub present: &'a [PersonId],
    pub sections: Vec<SectionId>,
    pub on: Day,
    /// What came into the book later than this is not of it.
    pub known_at: Instant,
}

/// What stands of everything that a record names, by the book as it was loaded.
pub fn of(named: &Named<'_>, world: &BatchFacts) -> Result<(Particulars, PersonalTexts), ActFault> {
    let property = world.properties.get(&named.property);
    let property = property.ok_or_else(|| ActFault::not_loaded("property", &named.property))?;
    let place = property.on(named.on);
    let client = property.client(place.client_id).map(|stood| stood.on(named.on));
    let client = client.ok_or_else(|| ActFault::not_loaded("client", &place.client_id))?;
    let person = world.person(named.person)?;
    let supervisor = named.supervisor.map(|id| world.person(id)).transpose()?;
    let present: Vec<String> =
        named.present.iter().map(|id| world.person(*id).map(|one| one.name.clone())).collect::<Result<_, _>>()?;
    let sections = sections(&named.sections, named.on, world)?;
    let lot = |id| world.lots.get(&id).map(|lot| lot.lot_number.clone());
    let particulars = Particulars {
        client_id: Some(place.client_id),
        postal_code: place.postal_code.clone(),
        time_zone: place.time_zone.clone(),
        rule_sets: place.rule_sets.clone(),
        kind: place.kind,
        worked_by: Some(place.worked_by),
        credentials: valid(person, named.on),
        credentials_not_valid: not_valid(person, named.on, &place.rule_sets),
        supervisor_credentials: supervisor.map(|one| valid(one, named.on)).unwrap_or_default(),
        product: product::product(world.product(named.product)?, named.known_at),
        lot_number: named.lot.and_then(lot),
        machine: machine(named, world),
        sections,
    };
    let texts = PersonalTexts {
        client: Some(client.name.clone()),
        mailing_address: Some(client.mailing_address.clone()),
        telephone: client.phone.clone(),
        site_address: Some(place.address.clone()),
        applicator: Some(person.name.clone()),
        supervisor: supervisor.map(|one| one.name.clone()),
        present,
        ..PersonalTexts::default()
    };
    Ok((particulars, texts))
}

fn then(row: &CredentialRow) -> CredentialThen {
    CredentialThen {
        name: row.name.clone(),
        number: row.number.clone(),
        issued_by: row.issued_by.clone(),
        rule_set: row.rule_set.clone(),
        code: row.code.clone(),
        valid_from: row.valid_from,
        valid_until: row.valid_until,
    }
}

fn is_valid(row: &CredentialRow, on: Day) -> bool {
    is_valid_on(row.valid_from, row.valid_until, on)
}

fn valid(person: &PersonRow, on: Day) -> Vec<CredentialThen> {
    person.credentials.iter().filter(|row| is_valid(row, on)).map(then).collect()
}

/// Of each kind that counts at the place and of which none was valid, the one that was so last, or the first that became so later.
fn not_valid(person: &PersonRow, on: Day, codes: &[String]) -> Vec<CredentialThen> {
    let covers =
        |set: &str| codes.iter().any(|code| code.strip_prefix(set).is_some_and(|rest| !rest.starts_with(|c| c != '-')));
    let is_renewed = |row: &CredentialRow| {
        let mut held = person.credentials.iter().filter(|held| is_valid(held, on) && held.rule_set == row.rule_set);
        held.any(|held| held.code.is_none() || row.code.is_none() || held.code == row.code)
    };
    // What ran out says more than what was yet to begin, and the latest of it most.
    let rank = |row: &CredentialRow| (row.valid_until.filter(|until| *until < on), Reverse(row.valid_from));
    let mut last: BTreeMap<_, &CredentialRow> = BTreeMap::new();
    let of_the_place = person.credentials.iter().filter(|row| row.rule_set.as_deref().is_some_and(covers));
    for row in of_the_place.filter(|row| !is_valid(row, on) && !is_renewed(row)) {
        let known = last.entry((&row.rule_set, &row.code)).or_insert(row);
        if rank(row) > rank(known) {
            *known = row;
        }
    }
    last.into_values().map(then).collect()
}

fn machine(named: &Named<'_>, world: &BatchFacts) -> Option<MachineThen> {
    let row = world.equipment.get(&named.equipment?)?;
    let limit = row.limit_days.unwrap_or(AgeLimits::DEFAULT.days);
    let of_it = |fact: &&CalibrationFact| fact.3 == named.product && fact.4 == named.person && fact.0 <= named.on;
    let latest = row.calibrations.iter().filter(of_it).max_by_key(|fact| (fact.0, fact.1));
    let calibration = latest.map(|fact| CalibrationThen {
        id: fact.2,
        calibrated_on: fact.0,
        setting: fact.5.clone(),
        product_lb_per_1000_sqft: fact.6,
        too_old_by_days: Some(named.on.days_since(fact.0) - limit).filter(|days| *days > 0),
    });
    Some(MachineThen { name: row.name.clone(), kind: row.kind, calibration })
}

/// What stands of some sections on a day.
pub fn sections(named: &[SectionId], on: Day, world: &BatchFacts) -> Result<Vec<SectionThen>, ActFault> {
    named.iter().map(|id| section(*id, on, world)).collect()
}

fn section(id: SectionId, on: Day, world: &BatchFacts) -> Result<SectionThen, ActFault> {
    let row: &SectionRow = world.sections.get(&id).ok_or_else(|| ActFault::not_loaded("section", &id))?;
    let stood = row.on(on);
    let measurement = row.measurement_on(on).map(|found| MeasurementThen {
        id: found.3,
        measured_on: found.0,
        method: found.4.clone(),
        area_sqft: Area::from_raw(found.2),
    });
    let reports = row.soil_reports();
    let by_then = reports.into_iter().filter(|report| report.sampled_on <= on);
    let relied = by_then.max_by_key(|report| (report.sampled_on, report.place));
    let soil_report = relied.map(|report| SoilReportThen {
        id: report.id,
        sampled_on: report.sampled_on,
        laboratory: report.laboratory,
        phosphorus: report.phosphorus,
        phosphate_recommended_lb_per_1000_sqft: report.phosphate_recommended,
    });
    Ok(SectionThen { section_id: id, name: stood.name, species: stood.species, measurement, soil_report })
}
