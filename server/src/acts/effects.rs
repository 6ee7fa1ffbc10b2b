//! Everything that a batch of acts writes, as rows.

use domain::{
    application::Purpose,
    time::{Day, Instant},
};
use serde::Serialize;

/// A row of the nutrient ledger.
#[derive(Debug, Clone, Serialize)]
pub struct LineRow {
    pub record_id: String,
    pub application_id: String,
    pub section_id: String,
    pub applied_on: Day,
    pub area: i64,
    pub product: i64,
    pub nitrogen: i64,
    pub quick_nitrogen: i64,
    pub phosphate: i64,
    pub potash: i64,
    pub flags: i64,
    pub purpose: Purpose,
}

#[derive(Debug, Clone, Serialize)]
pub struct MovementRow {
    pub id: String,
    pub product_id: String,
    pub lot_id: Option<String>,
    pub kind: &'static str,
    pub mass: i64,
    pub moved_on: Day,
    pub person_id: String,
    pub record_id: String,
    pub reason: Option<String>,
    pub recorded_at: i64,
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
}

/// Everything a batch writes. Rows of records are JSON already, because their columns differ.
#[derive(Debug, Default)]
pub struct Effects {
    pub decisions: Vec<serde_json::Value>,
    pub rule_set_texts: Vec<serde_json::Value>,
    pub clearances: Vec<serde_json::Value>,
    pub clearance_lines: Vec<serde_json::Value>,
    pub clearance_ends: Vec<serde_json::Value>,
    pub applications: Vec<serde_json::Value>,
    pub corrections: Vec<serde_json::Value>,
    pub lines: Vec<LineRow>,
    pub movements: Vec<MovementRow>,
    pub attempts: Vec<serde_json::Value>,
    pub journal: Vec<JournalRow>,
    pub weather_facts: Vec<serde_json::Value>,
    pub weather_evidence: Vec<serde_json::Value>,
}

impl Effects {
    pub fn is_empty(&self) -> bool {
        self.journal.is_empty()
    }

    pub fn decision(&mut self, subject: &str, at: Instant, body: &str) {
        self.decisions.push(serde_json::json!([subject, at.millis(), body]));
    }

    /// What weather services said for a decision, and the fetches behind it.
    pub fn weather(&mut self, subject: &str, at: Instant, facts: &str, fetches: &[i64]) {
        self.weather_facts.push(serde_json::json!([subject, at.millis(), facts]));
        self.weather_evidence.extend(fetches.iter().map(|fetch| serde_json::json!([subject, fetch])));
    }

    pub fn rule_set_text(&mut self, hash: &str, code: &str, text: &str) {
        self.rule_set_texts.push(serde_json::json!([hash, code, text]));
    }
}
