//! What was really put down against what was meant, by spreader and operator, over the records of a period.

use std::collections::BTreeMap;

use domain::{
    calibration::{
        ACCEPTED_PERCENT,
        drift::{Drift, Put, drift, target_on_part_rounded_nearest},
    },
    ids::{ApplicationId, EquipmentId, PersonId},
    quantity::{ProductMass, RateSum, largest_product},
    time::Day,
};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::store::drift::PutLine;

/// Whose drift is added up.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum DriftBy {
    #[default]
    EquipmentAndPerson,
    Equipment,
    Person,
}

/// The drift of one machine, one operator or both.
#[derive(Debug, Serialize, ToSchema)]
pub struct DriftLine {
    /// Null for records that name no machine, and when it is added up by operator.
    pub equipment_id: Option<EquipmentId>,
    #[schema(max_length = 120)]
    pub equipment_name: Option<String>,
    /// The operator; null when it is added up by machine.
    pub person_id: Option<PersonId>,
    #[schema(max_length = 120)]
    pub person_name: Option<String>,
    /// Null when no record has a target.
    pub drift: Option<Drift>,
    /// Records that have no target; nothing is guessed for them.
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    pub records_without_target: i64,
}

/// The drift over the records of a period, with how much of it could be judged at all.
#[derive(Debug, Serialize, ToSchema)]
pub struct DriftReport {
    pub from: Day,
    pub to: Day,
    pub by: DriftBy,
    /// Records that stand, as corrected; what was taken back is not among them.
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    pub records: i64,
    /// Records whose target is what the clearance that they used had cleared.
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    pub records_by_clearance: i64,
    /// Records whose target is the nitrogen of their visit, as it is planned now.
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    pub records_by_visit: i64,
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    pub records_without_target: i64,
    /// Records that name no machine.
    #[schema(minimum = 0, maximum = 1_000_000_000)]
    pub records_without_equipment: i64,
    /// How far from the target is accepted.
    #[schema(minimum = 0, maximum = 100)]
    pub accepted_percent: i64,
    #[schema(max_items = 100_000)]
    pub items: Vec<DriftLine>,
}

/// One record, added up over its lines. A target counts only if every line has it.
struct Record {
    on: Day,
    equipment: Option<EquipmentId>,
    person: PersonId,
    used: i64,
    cleared: Option<i64>,
    planned: Option<i64>,
}

type Key = (Option<EquipmentId>, Option<PersonId>);

impl Record {
    fn key(&self, by: DriftBy) -> Key {
        match by {
            DriftBy::EquipmentAndPerson => (self.equipment, Some(self.person)),
            DriftBy::Equipment => (self.equipment, None),
            DriftBy::Person => (None, Some(self.person)),
        }
    }

    /// What was meant. What was cleared for this very work goes before what was planned. A target of nothing is none.
    fn meant(&self) -> Option<i64> {
        self.cleared.or(self.planned).filter(|meant| *meant > 0)
    }
}

fn records(lines: &[PutLine]) -> Vec<Record> {
    let mut by_id: BTreeMap<ApplicationId, Record> = BTreeMap::new();
    for line in lines {
        let cleared = line.cleared.map(|(mass, area)| target_on_part_rounded_nearest(mass, area, line.area).raw());
        let planned = line
            .planned
            .and_then(|rate| largest_product(RateSum::default().largest_load(rate, line.area), line.nitrogen_percent));
        let record = by_id.entry(line.application).or_insert_with(|| Record {
            on: line.on,
            equipment: line.equipment,
            person: line.person,
            used: 0,
            cleared: Some(0),
            planned: Some(0),
        });
        record.used += line.used.raw();
        record.cleared = record.cleared.zip(cleared).map(|(sum, one)| sum + one);
        record.planned = record.planned.zip(planned).map(|(sum, one)| sum + one.raw());
    }
    by_id.into_values().collect()
}

fn count(records: &[Record], which: impl Fn(&Record) -> bool) -> i64 {
    i64::try_from(records.iter().filter(|record| which(record)).count()).unwrap_or(i64::MAX)
}

/// Adds the drift up.
pub fn report(from: Day, to: Day, by: DriftBy, lines: &[PutLine], names: &BTreeMap<String, String>) -> DriftReport {
    let records = records(lines);
    let puts: Vec<Put<Key>> = records
        .iter()
        .filter_map(|record| {
            let meant = ProductMass::from_raw(record.meant()?);
            Some(Put { key: record.key(by), on: record.on, meant, used: ProductMass::from_raw(record.used) })
        })
        .collect();
    let mut drifts = drift(&puts);
    let mut without: BTreeMap<Key, i64> = BTreeMap::new();
    for record in &records {
        *without.entry(record.key(by)).or_default() += i64::from(record.meant().is_none());
    }
    let called = |id: Option<String>| id.and_then(|id| names.get(&id).cloned());
    let items = without
        .into_iter()
        .map(|(key, records_without_target)| DriftLine {
            equipment_id: key.0,
            equipment_name: called(key.0.map(|id| id.to_string())),
            person_id: key.1,
            person_name: called(key.1.map(|id| id.to_string())),
            drift: drifts.remove(&key),
            records_without_target,
        })
        .collect();
    let by_clearance = |record: &Record| record.meant().is_some() && record.cleared.is_some();
    DriftReport {
        from,
        to,
        by,
        records: count(&records, |_| true),
        records_by_clearance: count(&records, by_clearance),
        records_by_visit: count(&records, |record| record.meant().is_some() && !by_clearance(record)),
        records_without_target: count(&records, |record| record.meant().is_none()),
        records_without_equipment: count(&records, |record| record.equipment.is_none()),
        accepted_percent: ACCEPTED_PERCENT,
        items,
    }
}
