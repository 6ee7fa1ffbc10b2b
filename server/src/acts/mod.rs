//! The acts under load: clear, record, correct. Each is pure, facts in, decision and effects out, so the writer can decide
//! for all who wait and commit once.

pub mod application;
pub mod clearance;
pub mod correction;
pub mod credentials;
pub mod doubts;
pub mod effects;
pub mod facts;
pub mod record;
pub mod rows;

use std::collections::{HashMap, HashSet};

use domain::{
    actor::Actor,
    decision::{Decision, Finding, FindingKey},
    ids::{
        ApplicationId, ClearanceId, CorrectionId, EquipmentId, LotId, PersonId, ProductId, PropertyId, SectionId,
        VisitId,
    },
    journal,
    law::Lawbook,
    time::Instant,
    weather::Weather,
};
use uuid::Uuid;

use crate::{
    acts::{
        application::{ApplicationInput, ApplicationView},
        clearance::{ClearanceInput, ClearanceView},
        correction::{CorrectionInput, CorrectionView},
        effects::{Effects, JournalRow, LineRow},
        rows::{
            ApplicationRow, ClearanceRow, CorrectionRow, EquipmentRow, LedgerRow, PersonRow, ProductRow, PropertyRow,
            SectionRow, VisitRow,
        },
    },
    problem::FieldFault,
};

/// What a decision is made with, beside what the request says, and the fetches behind it.
#[derive(Debug, Clone, Default)]
pub struct Provided {
    pub weather: Weather,
    pub fetches: Vec<i64>,
}

/// Who acts, when, and with which content.
#[derive(Debug, Clone)]
pub struct ActContext {
    pub actor: Actor,
    pub at: Instant,
    /// What was sent, as it is kept.
    pub content: String,
    pub fingerprint: String,
    /// An id of the server's own: of the attempt that is refused, or of the stock movement of a record.
    pub attempt_or_movement_id: Uuid,
    /// What weather services say, fetched before the act. It is no part of what was sent, and kept beside the decision.
    pub weather: Provided,
}

impl ActContext {
    /// The services' part as it is kept, if they said anything.
    fn weather_facts(&self) -> Option<String> {
        let said = !self.weather.fetches.is_empty();
        said.then(|| serde_json::to_string(&self.weather.weather).unwrap_or_default())
    }

    /// Its hash, by which the journal vouches for it.
    pub fn weather_sha256(&self) -> Option<String> {
        self.weather_facts().map(|facts| crate::secret::sha256(&facts))
    }
}

/// One act, ready to be decided.
#[derive(Debug, Clone)]
pub enum Act {
    Clear(ActContext, ClearanceId, Box<ClearanceInput>),
    Record(ActContext, ApplicationId, Box<ApplicationInput>),
    Correct(ActContext, CorrectionId, CorrectionInput),
}

/// How an act ended.
#[derive(Debug)]
pub enum ActOutcome {
    Cleared(Stored<ClearanceView>),
    Recorded(Box<Stored<ApplicationView>>),
    Corrected(Stored<CorrectionView>),
    /// Something the act names is not there, or not this person's to know.
    Missing(&'static str),
    /// Values that contradict each other or the book.
    Invalid(Vec<FieldFault>),
    /// The id names something else: these fields differ.
    Reused(Vec<String>),
    /// The book has moved on.
    Conflict(String),
    /// Known, but not this person's to do.
    NotAllowed(&'static str),
    Stopped {
        summary: String,
        findings: Vec<Finding>,
    },
}

/// A thing newly stored, or stored already with the same content.
#[derive(Debug)]
pub struct Stored<T> {
    pub view: T,
    pub new: bool,
}

impl<T> Stored<T> {
    pub fn new(view: T) -> Self {
        Self { view, new: true }
    }

    pub fn again(view: T) -> Self {
        Self { view, new: false }
    }
}

/// The facts of a batch, as they stand after the acts decided so far, and what is to be written.
#[derive(Debug, Default)]
pub struct BatchFacts {
    pub journal_seq: i64,
    pub journal_hash: String,
    pub properties: HashMap<PropertyId, PropertyRow>,
    pub sections: HashMap<SectionId, SectionRow>,
    pub products: HashMap<ProductId, ProductRow>,
    pub lots: HashMap<LotId, ProductId>,
    pub visits: HashMap<VisitId, VisitRow>,
    pub equipment: HashMap<EquipmentId, EquipmentRow>,
    pub people: HashMap<PersonId, PersonRow>,
    pub clearances: HashMap<ClearanceId, ClearanceRow>,
    pub applications: HashMap<ApplicationId, ApplicationRow>,
    pub corrections: HashMap<CorrectionId, CorrectionRow>,
    pub attempts: HashSet<(String, String)>,
    pub rule_set_texts: HashSet<String>,
    pub effects: Effects,
}

/// Decides one act and notes its effects.
pub fn decide(act: &Act, world: &mut BatchFacts, law: &Lawbook) -> ActOutcome {
    match act {
        Act::Clear(context, id, input) => clearance::clear(context, *id, input, world, law),
        Act::Record(context, id, input) => record::record(context, *id, input, world, law),
        Act::Correct(context, id, input) => correction::correct(context, *id, input, world, law),
    }
}

impl BatchFacts {
    /// Adds an entry to the hash chain.
    pub fn journal(&mut self, context: &ActContext, act: &'static str, subject: &str, payload: String) {
        self.journal_seq += 1;
        let person = context.actor.person.to_string();
        let device = context.actor.device.map(|device| device.to_string());
        let entry = journal::Entry {
            seq: self.journal_seq,
            written_at_ms: context.at.millis(),
            person_id: Some(&person),
            device_id: device.as_deref(),
            act,
            subject_id: subject,
            payload: &payload,
        };
        let hash = entry.hash(&self.journal_hash);
        let previous_hash = std::mem::replace(&mut self.journal_hash, hash.clone());
        self.effects.journal.push(JournalRow {
            seq: self.journal_seq,
            written_at: context.at.millis(),
            person_id: Some(person),
            device_id: device,
            act,
            subject_id: subject.to_owned(),
            payload,
            previous_hash,
            hash,
        });
    }

    /// Adds lines to the ledger, for the acts that follow and for the database.
    pub fn add_to_ledger(&mut self, lines: Vec<LineRow>) {
        for line in &lines {
            let (Ok(section), Ok(application)) = (line.section_id.parse(), line.application_id.parse()) else {
                continue;
            };
            if let Some(section) = self.sections.get_mut(&section) {
                section.ledger.push(LedgerRow {
                    application,
                    applied_on: line.applied_on,
                    area: line.area,
                    product: line.product,
                    nitrogen: line.nitrogen,
                    quick_nitrogen: line.quick_nitrogen,
                    phosphate: line.phosphate,
                    potash: line.potash,
                    flags: line.flags,
                    purpose: line.purpose,
                });
            }
        }
        self.effects.lines.extend(lines);
    }

    /// Frees the room that a clearance holds.
    pub fn end_clearance(&mut self, id: ClearanceId, how: &'static str, by: Option<ApplicationId>, at: Instant) {
        let Some(clearance) = self.clearances.get_mut(&id).filter(|clearance| clearance.ended.is_none()) else {
            return;
        };
        clearance.ended = Some(how.to_owned());
        for line in &clearance.lines {
            if let Some(section) = self.sections.get_mut(&line.0) {
                section.held.retain(|held| held.clearance != id);
            }
        }
        self.effects.clearance_ends.push(serde_json::json!([id, how, by, at.millis()]));
    }

    /// Keeps the decision word for word, the text of every rule set it was made under, and the weather services' part in it.
    pub fn keep_decision(&mut self, subject: &str, context: &ActContext, decision: &Decision, law: &Lawbook) -> String {
        let body = serde_json::to_string(decision).unwrap_or_default();
        let hash = crate::secret::sha256(&body);
        self.effects.decision(subject, context.at, &body);
        if let Some(facts) = context.weather_facts() {
            self.effects.weather(subject, context.at, &facts, &context.weather.fetches);
        }
        for set in &decision.rule_sets {
            if let (Some(known), Some(hash)) = (law.rule_set(&set.code), &set.hash)
                && self.rule_set_texts.insert(hash.clone())
            {
                self.effects.rule_set_text(hash, &set.code, &known.text);
            }
        }
        hash
    }

    /// Keeps what was refused, once for each different content, so that nothing that may have happened is lost.
    pub fn refuse(
        &mut self,
        context: &ActContext,
        kind: &'static str,
        subject: &str,
        property: PropertyId,
        decision: &Decision,
        law: &Lawbook,
    ) -> ActOutcome {
        if self.attempts.insert((subject.to_owned(), context.fingerprint.clone())) {
            let id = context.attempt_or_movement_id.to_string();
            let decision_hash = self.keep_decision(&format!("attempt/{id}"), context, decision, law);
            let stored = serde_json::json!({
                "id": id, "kind": kind, "subject_id": subject, "property_id": property, "about_on": decision.on,
                "person_id": context.actor.person, "device_id": context.actor.device,
                "received_at": context.at.millis(), "fingerprint": context.fingerprint,
            });
            self.effects.attempts.push(with_content(&stored, &context.content));
            let payload = serde_json::json!({
                "content": serde_json::from_str::<serde_json::Value>(&context.content).unwrap_or_default(),
                "row": stored, "decision_sha256": decision_hash, "weather_sha256": context.weather_sha256(),
            });
            self.journal(context, "attempt.refused", &id, payload.to_string());
        }
        ActOutcome::Stopped { summary: decision.summary.clone(), findings: decision.findings.clone() }
    }
}

/// A stored row with the content beside it, as the database takes it.
pub fn with_content(stored: &serde_json::Value, content: &str) -> serde_json::Value {
    let mut row = stored.clone();
    if let Some(members) = row.as_object_mut() {
        members.insert("content".to_owned(), content.into());
    }
    row
}

/// The members in which two stored contents differ.
pub fn differing(stored: &str, sent: &str) -> Vec<String> {
    let read =
        |text: &str| serde_json::from_str::<serde_json::Map<String, serde_json::Value>>(text).unwrap_or_default();
    let (stored, sent) = (read(stored), read(sent));
    let names: std::collections::BTreeSet<&String> = stored.keys().chain(sent.keys()).collect();
    names.into_iter().filter(|name| stored.get(*name) != sent.get(*name)).cloned().collect()
}

/// Findings that stop and were not acknowledged one by one.
pub fn unacknowledged(decision: &Decision, acknowledged: &[FindingKey]) -> bool {
    let stops = |finding: &&Finding| finding.verdict == domain::decision::Verdict::Stop;
    decision.findings.iter().filter(stops).any(|finding| !acknowledged.iter().any(|key| key.0 == finding.key))
}
