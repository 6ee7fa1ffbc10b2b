//! The acts under load: clear, record, correct. Each is pure, facts in, decision and effects out, so the writer can decide
//! for all who wait and commit once. Evidence that cannot be made whole refuses its act with an `ActFault`.

pub mod application;
pub mod clearance;
pub mod content;
pub mod correction;
pub mod credentials;
pub mod doubts;
pub mod effects;
pub mod facts;
pub mod fault;
pub mod gaps;
pub mod ground;
pub mod particulars;
pub mod record;
pub mod rows;
pub mod seen;

use std::collections::{HashMap, HashSet};

use domain::{
    actor::Actor,
    decision::{Decision, Finding, FindingKey},
    facts::{KeptDistances, PastProduct},
    ids::{
        ApplicationId, ClearanceId, CorrectionId, DeviceId, EquipmentId, LotId, PersonId, ProductId, PropertyId,
        SectionId, VisitId,
    },
    journal,
    law::Lawbook,
    time::Instant,
    weather::Weather,
};
use serde_json::json;
use uuid::Uuid;

use crate::{
    acts::{
        application::{ApplicationInput, ApplicationView},
        clearance::{ClearanceInput, ClearanceView},
        content::Content,
        correction::{CorrectionInput, CorrectionView},
        effects::{
            AttemptRow, ClearanceEndRow, DecisionRow, Effects, JournalRow, LineRow, PersonalTextsRow, RuleSetTextRow,
        },
        fault::{ActFault, journaled, written},
        particulars::PersonalTexts,
        rows::{
            EquipmentRow, LedgerRow, LotRow, PersonRow, ProductRow, PropertyRow, SectionRow, StoredApplication,
            StoredClearance, StoredCorrection, VisitRow,
        },
    },
    problem::FieldFault,
    secret::sha256,
};

/// Whether a weather service was asked about the place.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum ServiceAsked {
    /// None is configured, or the work is of an earlier day and the book holds nothing of it.
    #[default]
    No,
    /// What it left out is then not known, also where it said nothing.
    Yes,
    /// The work is of the same day, and nothing is kept of what one said when it began. What it would have said is not known either.
    NothingKept,
    /// One would have been asked, but the property has no coordinates. What it would have said is not known either.
    WithoutCoordinates,
}

/// What a decision is made with, beside what the request says, and the fetches behind it.
#[derive(Debug, Clone, Default)]
pub struct Provided {
    pub asked: ServiceAsked,
    pub weather: Weather,
    pub fetches: Vec<i64>,
}

/// Who asks, when, and what weather services say: as much as a check knows.
#[derive(Debug, Clone, Copy)]
pub struct Asker<'a> {
    pub actor: Actor,
    pub at: Instant,
    pub services: &'a Provided,
}

/// Who acts, when, and with which content.
#[derive(Debug, Clone)]
pub struct ActContext {
    pub actor: Actor,
    pub at: Instant,
    pub content: Content,
    /// An id of the server's own: of the attempt that is refused, or of the stock movement of a record.
    pub attempt_or_movement_id: Uuid,
    /// What weather services say, fetched before the act. It is no part of what was sent, and kept beside the decision.
    pub weather: Provided,
    /// What the hash of the texts about people is salted with: nobody else's and of this act alone.
    pub salt: String,
}

impl ActContext {
    fn asker(&self) -> Asker<'_> {
        Asker { actor: self.actor, at: self.at, services: &self.weather }
    }

    /// The services' part as it is kept, if they were to have one. That they said nothing is a part too: a correction is judged by
    /// it.
    fn weather_facts(&self) -> Result<Option<String>, ActFault> {
        (self.weather.asked != ServiceAsked::No)
            .then(|| written("what weather services said", &self.weather.weather))
            .transpose()
    }

    /// Its hash, by which the journal vouches for it.
    fn weather_sha256(&self) -> Result<Option<String>, ActFault> {
        Ok(self.weather_facts()?.map(sha256))
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
    Cleared(ClearanceView),
    Recorded(Box<ApplicationView>),
    Corrected(CorrectionView),
    /// The same is stored under this id already, so nothing was written.
    StoredBefore,
    /// Something the act names is not there, or not this person's to know.
    Missing(&'static str),
    /// Values that contradict each other or the book.
    Invalid(Vec<FieldFault>),
    /// The id names something else: these fields differ.
    Reused(Vec<String>),
    /// The id names a thing of another kind, at this address where it has one of its own.
    Taken(&'static str, Option<String>),
    /// The book has moved on.
    Conflict(String),
    /// Known, but not this person's to do.
    NotAllowed(&'static str),
    Stopped {
        summary: String,
        findings: Vec<Finding>,
    },
}

/// The facts of a batch, as they stand after the acts decided so far, and what is to be written.
#[derive(Debug, Default)]
pub struct BatchFacts {
    pub journal_seq: i64,
    pub journal_hash: String,
    pub properties: HashMap<PropertyId, PropertyRow>,
    pub sections: HashMap<SectionId, SectionRow>,
    pub products: HashMap<ProductId, ProductRow>,
    /// What lies on the sections or is to lie there, by the labels, which are never edited.
    pub earlier_products: HashMap<ProductId, PastProduct>,
    pub lots: HashMap<LotId, LotRow>,
    pub visits: HashMap<VisitId, VisitRow>,
    pub equipment: HashMap<EquipmentId, EquipmentRow>,
    pub people: HashMap<PersonId, PersonRow>,
    pub clearances: HashMap<ClearanceId, StoredClearance>,
    pub applications: HashMap<ApplicationId, StoredApplication>,
    pub corrections: HashMap<CorrectionId, StoredCorrection>,
    /// Ids that additions to records have.
    pub additions: HashSet<Uuid>,
    /// The shortest distances that additions say of their records.
    pub kept_since: HashMap<ApplicationId, KeptDistances>,
    /// What phones are called.
    pub devices: HashMap<DeviceId, String>,
    /// Under which id something was refused, its fingerprint, and what that is salted with where it has texts about people.
    pub attempts: HashSet<(String, String, Option<String>)>,
    pub rule_set_texts: HashSet<String>,
    pub effects: Effects,
}

/// Decides one act and notes its effects. After a fault the noted effects are not whole and nothing of them may be written.
pub fn decide(act: &Act, world: &mut BatchFacts, law: &Lawbook) -> Result<ActOutcome, ActFault> {
    match act {
        Act::Clear(context, id, input) => clearance::clear(context, *id, input, world, law),
        Act::Record(context, id, input) => record::record(context, *id, input, world, law),
        Act::Correct(context, id, input) => correction::correct(context, *id, input, world, law),
    }
}

impl BatchFacts {
    /// What an id names already that is not of the kind asked for: one id names one thing.
    pub fn taken(&self, id: Uuid, kind: &'static str) -> Option<ActOutcome> {
        let uses = [
            ("application", self.applications.contains_key(&ApplicationId::from_uuid(id)), Some("applications")),
            ("clearance", self.clearances.contains_key(&ClearanceId::from_uuid(id)), Some("clearances")),
            ("correction", self.corrections.contains_key(&CorrectionId::from_uuid(id)), Some("corrections")),
            ("addition to a record", self.additions.contains(&id), None),
        ];
        let other = uses.into_iter().find(|(named, is, _)| *is && *named != kind);
        other.map(|(named, _, list)| ActOutcome::Taken(named, list.map(|list| format!("/api/v1/{list}/{id}"))))
    }

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
            pattern: None,
            packed: None,
        });
    }

    /// Adds lines to the ledger, for the acts that follow and for the database.
    pub fn add_to_ledger(&mut self, product_id: ProductId, lines: Vec<LineRow>) -> Result<(), ActFault> {
        for line in &lines {
            let section = self.sections.get_mut(&line.section_id);
            let section = section.ok_or_else(|| ActFault::not_loaded("section", &line.section_id))?;
            section.ledger.push(LedgerRow {
                application: line.application_id,
                applied_on: line.applied_on,
                area: line.area,
                product: line.product,
                nitrogen: line.nitrogen,
                quick_nitrogen: line.quick_nitrogen,
                phosphate: line.phosphate,
                potash: line.potash,
                flags: line.flags,
                purpose: line.purpose,
                division: line.division,
                parts: line.parts,
                product_id,
            });
        }
        self.effects.lines.extend(lines);
        Ok(())
    }

    /// Adds to the balance of a product, or takes from it.
    pub fn move_stock(&mut self, product: ProductId, moved: i64) -> Result<(), ActFault> {
        let row = self.products.get_mut(&product).ok_or_else(|| ActFault::not_loaded("product", &product))?;
        row.balance += moved;
        Ok(())
    }

    /// A product that an act has looked up before.
    pub fn product(&self, id: ProductId) -> Result<&ProductRow, ActFault> {
        self.products.get(&id).ok_or_else(|| ActFault::not_loaded("product", &id))
    }

    /// What went down earlier, or is to, by its label. Its record may stand here only since a moment, written by an act of the same
    /// batch, which had looked the product up.
    pub fn earlier_product(&self, id: ProductId) -> Result<PastProduct, ActFault> {
        let just_used = || self.products.get(&id).map(|product| PastProduct::of(&product.label));
        // Counted by guess, it could let down what a cap no longer has room for.
        self.earlier_products.get(&id).copied().or_else(just_used).ok_or_else(|| ActFault::not_loaded("product", &id))
    }

    /// Somebody of the staff whom the act names.
    pub fn person(&self, id: PersonId) -> Result<&PersonRow, ActFault> {
        self.people.get(&id).ok_or_else(|| ActFault::not_loaded("person", &id))
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
        let ended_at = at.millis();
        self.effects.clearance_ends.push(ClearanceEndRow { clearance_id: id, how, application_id: by, ended_at });
    }

    /// Keeps the decision word for word, the text of every rule set it was made under, and the weather services' part in it.
    pub fn keep_decision(
        &mut self,
        subject: &str,
        context: &ActContext,
        decision: &Decision,
        law: &Lawbook,
    ) -> Result<String, ActFault> {
        let body = written("a decision", decision)?;
        let hash = sha256(&body);
        let decided_at = context.at.millis();
        self.effects.decisions.push(DecisionRow { subject: subject.to_owned(), decided_at, body });
        if let Some(facts) = context.weather_facts()? {
            self.effects.weather(subject, decided_at, facts, &context.weather.fetches);
        }
        for set in &decision.rule_sets {
            if let (Some(known), Some(hash)) = (law.rule_set(&set.code), &set.hash)
                && self.rule_set_texts.insert(hash.clone())
            {
                let (hash, code, text) = (hash.clone(), set.code.clone(), known.text.clone());
                self.effects.rule_set_texts.push(RuleSetTextRow { hash, code, text });
            }
        }
        Ok(hash)
    }

    /// Whether the same was refused under this id before. Without its salt, which goes with its texts, an attempt is not known again.
    fn refused_before(&self, subject: &str, content: &Content) -> bool {
        let same = |(of, fingerprint, salt): &(String, String, Option<String>)| {
            of == subject && content.salted(salt.as_deref()) == *fingerprint
        };
        self.attempts.iter().any(same)
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
    ) -> Result<ActOutcome, ActFault> {
        if !self.refused_before(subject, &context.content) {
            let id = context.attempt_or_movement_id.to_string();
            let decision_hash = self.keep_decision(&format!("attempt/{id}"), context, decision, law)?;
            let texts = attempt_texts(context, &id)?;
            let (kept, _) = context.content.kept();
            let fingerprint = context.content.salted(texts.as_ref().map(|texts| texts.salt.as_str()));
            let row = AttemptRow {
                id: id.clone(),
                kind,
                subject_id: subject.to_owned(),
                property_id: property,
                about_on: decision.on,
                person_id: context.actor.person,
                device_id: context.actor.device,
                received_at: context.at.millis(),
                content: kept,
                fingerprint: fingerprint.clone(),
            };
            let mut payload = json!({
                "content": context.content.impersonal, "row": journaled("an attempt", &row)?, "decision_sha256": decision_hash,
                "weather_sha256": context.weather_sha256()?,
            });
            if let Some(texts) = &texts {
                payload["texts_sha256"] = texts.sha256().into();
            }
            let salt = texts.as_ref().map(|texts| texts.salt.clone());
            self.attempts.insert((subject.to_owned(), fingerprint, salt));
            self.effects.personal_texts.extend(texts);
            self.effects.attempts.push(row);
            self.journal(context, "attempt.refused", &id, payload.to_string());
        }
        Ok(ActOutcome::Stopped { summary: decision.summary.clone(), findings: decision.findings.clone() })
    }
}

/// What an attempt says of people, if it says anything. The hash of what says nothing of them needs no salt.
fn attempt_texts(context: &ActContext, id: &str) -> Result<Option<PersonalTextsRow>, ActFault> {
    let personal = &context.content.personal;
    if *personal == PersonalTexts::default() {
        return Ok(None);
    }
    let body = written("the texts of an attempt", personal)?;
    Ok(Some(PersonalTextsRow { record_id: id.to_owned(), salt: context.salt.clone(), body }))
}

/// Findings that stop and were not acknowledged one by one.
pub fn unacknowledged(decision: &Decision, acknowledged: &[FindingKey]) -> bool {
    let stops = |finding: &&Finding| finding.verdict == domain::decision::Verdict::Stop;
    decision.findings.iter().filter(stops).any(|finding| !acknowledged.iter().any(|key| key.0 == finding.key))
}
