//! Everything that a batch of acts writes, as rows. `store/effects.sql` puts each field into the column of its name; a test
//! holds the two together.

use domain::{
    application::Purpose,
    ids::{ApplicationId, ClearanceId, DeviceId, LotId, PersonId, ProductId, PropertyId, SectionId},
    time::Day,
};
use serde::Serialize;

use super::rows::{ApplicationRow, ClearanceRow, CorrectionRow};
use crate::secret::sha256;

#[derive(Debug, Clone, Serialize)]
pub struct DecisionRow {
    pub subject: String,
    pub decided_at: i64,
    pub body: String,
}

#[derive(Debug, Clone, Serialize)]
pub struct RuleSetTextRow {
    pub hash: String,
    pub code: String,
    pub text: String,
}

/// Room that a clearance holds on one section.
#[derive(Debug, Clone, Serialize)]
pub struct ClearanceLineRow {
    pub clearance_id: ClearanceId,
    pub section_id: SectionId,
    pub area: i64,
    pub product: i64,
    pub nitrogen: i64,
    pub quick_nitrogen: i64,
    pub phosphate: i64,
    pub potash: i64,
    pub flags: i64,
    pub purpose: Purpose,
    pub planned_on: Day,
    pub expires_at: i64,
    pub division: Option<i64>,
    pub parts: Option<u16>,
}

#[derive(Debug, Clone, Serialize)]
pub struct ClearanceEndRow {
    pub clearance_id: ClearanceId,
    pub how: &'static str,
    pub application_id: Option<ApplicationId>,
    pub ended_at: i64,
}

/// A row of the nutrient ledger.
#[derive(Debug, Clone, Serialize)]
pub struct LineRow {
    pub record_id: String,
    pub application_id: ApplicationId,
    pub section_id: SectionId,
    pub applied_on: Day,
    pub area: i64,
    pub product: i64,
    pub nitrogen: i64,
    pub quick_nitrogen: i64,
    pub phosphate: i64,
    pub potash: i64,
    pub flags: i64,
    pub purpose: Purpose,
    /// Named only where the line lies in parts, so that lines of earlier versions read in the journal as they were written.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub division: Option<i64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub parts: Option<u16>,
}

#[derive(Debug, Clone, Serialize)]
pub struct MovementRow {
    pub id: String,
    pub product_id: ProductId,
    pub lot_id: Option<LotId>,
    pub kind: &'static str,
    pub mass: i64,
    pub moved_on: Day,
    pub person_id: PersonId,
    pub record_id: String,
    pub reason: Option<String>,
    pub recorded_at: i64,
}

/// What was sent and refused.
#[derive(Debug, Clone, Serialize)]
pub struct AttemptRow {
    pub id: String,
    pub kind: &'static str,
    pub subject_id: String,
    pub property_id: PropertyId,
    pub about_on: Day,
    pub person_id: PersonId,
    pub device_id: Option<DeviceId>,
    pub received_at: i64,
    pub content: String,
    pub fingerprint: String,
}

#[derive(Debug, Clone, Serialize)]
pub struct JournalRow {
    pub seq: i64,
    pub written_at: i64,
    pub person_id: Option<String>,
    pub device_id: Option<String>,
    pub act: &'static str,
    pub subject_id: String,
    pub payload: String,
    pub previous_hash: String,
    pub hash: String,
    /// Nothing as acts write it; the store packs it with what belongs to it, and says by which pattern, and the bytes in
    /// hexadecimal.
    pub pattern: Option<i64>,
    pub packed: Option<String>,
}

#[derive(Debug, Clone, Serialize)]
pub struct WeatherFactsRow {
    pub subject: String,
    pub decided_at: i64,
    pub facts: String,
}

#[derive(Debug, Clone, Serialize)]
pub struct WeatherEvidenceRow {
    pub subject: String,
    pub fetch: i64,
}

/// Texts about people, with what their hash is salted with.
#[derive(Debug, Clone, Serialize)]
pub struct PersonalTextsRow {
    pub record_id: String,
    pub salt: String,
    pub body: String,
}

impl PersonalTextsRow {
    /// By which the journal vouches for them, and tells nothing of them once they were destroyed.
    pub fn sha256(&self) -> String {
        sha256(format!("{}{}", self.salt, self.body))
    }
}

/// Everything a batch writes.
#[derive(Debug, Default)]
pub struct Effects {
    pub decisions: Vec<DecisionRow>,
    pub rule_set_texts: Vec<RuleSetTextRow>,
    pub clearances: Vec<ClearanceRow>,
    pub clearance_lines: Vec<ClearanceLineRow>,
    pub clearance_ends: Vec<ClearanceEndRow>,
    pub applications: Vec<ApplicationRow>,
    pub corrections: Vec<CorrectionRow>,
    pub lines: Vec<LineRow>,
    pub movements: Vec<MovementRow>,
    pub attempts: Vec<AttemptRow>,
    pub journal: Vec<JournalRow>,
    pub weather_facts: Vec<WeatherFactsRow>,
    pub weather_evidence: Vec<WeatherEvidenceRow>,
    pub personal_texts: Vec<PersonalTextsRow>,
}

impl Effects {
    pub fn is_empty(&self) -> bool {
        self.journal.is_empty()
    }

    /// What weather services said for a decision, and the fetches behind it.
    pub fn weather(&mut self, subject: &str, decided_at: i64, facts: String, fetches: &[i64]) {
        self.weather_facts.push(WeatherFactsRow { subject: subject.to_owned(), decided_at, facts });
        let behind = |fetch: &i64| WeatherEvidenceRow { subject: subject.to_owned(), fetch: *fetch };
        self.weather_evidence.extend(fetches.iter().map(behind));
    }
}
