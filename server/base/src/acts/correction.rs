//! A further record that takes an application back or says what truly happened. The original stays; totals follow.

mod anew;
mod check;
mod draft;
mod words;

use domain::{
    decision::{FindingKey, Verdict},
    ids::{ApplicationId, CorrectionId, DeviceId, PersonId, SectionId},
    law::Lawbook,
    time::Instant,
};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use self::draft::Draft;
pub use self::{
    anew::stops,
    check::{CorrectionCheck, check},
    words::{Said, last_word},
};
use crate::acts::{
    ActContext, ActOutcome, BatchFacts,
    application::{AppliedLine, LineView, ledger_line},
    content::{sent_again, whole_content},
    effects::{LineRow, MovementRow, PersonalTextsRow},
    facts::{self, Line},
    fault::{ActFault, journaled, moment, written},
    ground,
    particulars::{self, DESTROYED, PersonalTexts},
    rows::{CorrectionRow, StoredCorrection},
    unacknowledged,
};
use crate::secret::sha256;

/// What is wrong with an application, and what is true instead.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "application_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a14", "reason": "Weighed again: the bag was not empty.",
    "change": { "lines": [
        { "section_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a13", "product_lb": "21.4" }
    ], "taken_back": ["01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a15"] }
}))]
pub struct CorrectionInput {
    pub application_id: ApplicationId,
    #[schema(min_length = 1, max_length = 1000, format = "lines")]
    pub reason: String,
    /// The last correction that the sender knew of, if there was one. If another has come since, this one is refused, so
    /// that nobody's word is overridden unseen.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub replaces: Option<CorrectionId>,
    /// What was otherwise than the record says. Leave it out to take the whole application back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub change: Option<CorrectionChange>,
    /// `key` of each stopping finding that the sender has read, when what truly happened goes beyond the rules.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 200)]
    pub acknowledged: Vec<FindingKey>,
}

/// The lines that change. Every section that is named in neither list stands exactly as it does, whatever was measured since.
#[derive(Debug, Clone, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CorrectionChange {
    /// What truly went down on these sections, in the place of what stands there. A line without `treated_area_sqft` keeps the
    /// area that stands for its section.
    #[serde(default)]
    #[schema(max_items = 20)]
    pub lines: Vec<AppliedLine>,
    /// Sections on which nothing of this application went down.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 20)]
    pub taken_back: Vec<SectionId>,
    /// Sections among the lines, without parts there, whose product may lie anywhere on them, where the record names parts. Left out,
    /// a line that names no parts keeps those that stand.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 20)]
    pub anywhere: Vec<SectionId>,
}

impl CorrectionChange {
    /// Whether it says anything of a section.
    pub fn names(&self, section: SectionId) -> bool {
        self.lines.iter().any(|line| line.section_id == section) || self.taken_back.contains(&section)
    }
}

impl CorrectionInput {
    /// The content as it is kept: findings in one order, so that the same again is recognised.
    #[must_use]
    pub fn canonical(mut self) -> Self {
        self.acknowledged.sort_by(|a, b| a.0.cmp(&b.0));
        self.acknowledged.dedup_by(|a, b| a.0 == b.0);
        self
    }

    /// Sections that it names, whether they are the record's or not.
    pub fn sections(&self) -> impl Iterator<Item = SectionId> {
        let change = self.change.iter();
        change
            .flat_map(|change| change.lines.iter().map(|line| line.section_id).chain(change.taken_back.iter().copied()))
    }
}

/// A stored correction.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct CorrectionView {
    pub id: CorrectionId,
    pub application_id: ApplicationId,
    /// Once it was destroyed, the words that say so.
    #[schema(max_length = 1000)]
    pub reason: String,
    pub person_id: PersonId,
    /// What that person was called when it was made; null in corrections of earlier versions, and once it was destroyed.
    #[schema(max_length = 120)]
    pub person_name: Option<String>,
    pub device_id: Option<DeviceId>,
    /// What the phone was called that it came through; null as the name is.
    #[schema(max_length = 80)]
    pub device_name: Option<String>,
    /// Its reason and the names were destroyed, since they need not be kept any more.
    pub texts_destroyed: bool,
    pub received_at: Instant,
    /// Everything that stands since, by section, named or not; empty when the application was taken back.
    #[schema(max_items = 20)]
    pub lines: Vec<LineView>,
    pub verdict: Verdict,
    pub beyond_the_rules: bool,
}

/// Corrects an application, or refuses it with every finding and keeps the attempt.
pub fn correct(
    context: &ActContext,
    id: CorrectionId,
    input: &CorrectionInput,
    world: &mut BatchFacts,
    law: &Lawbook,
) -> Result<ActOutcome, ActFault> {
    if let Some(stored) = world.corrections.get(&id) {
        return repeated(context, stored, world);
    }
    if let Some(taken) = world.taken(id.uuid(), "correction") {
        return Ok(taken);
    }
    let draft = match Draft::of(context.actor, input, world) {
        Ok(draft) => draft,
        Err(refused) => return Ok(*refused),
    };
    let (verdict, decision_hash) = match judge(context, id, input, &draft, world, law)? {
        Judged::Holds(verdict, decision_hash) => (verdict, decision_hash),
        Judged::Refused(refused) => return Ok(refused),
    };
    let (kept, fingerprint) = context.content.kept();
    let row = CorrectionRow {
        id,
        application_id: input.application_id,
        person_id: context.actor.person,
        device_id: context.actor.device,
        received_at: context.at.millis(),
        verdict,
        beyond_the_rules: i64::from(verdict == Verdict::Stop),
        leaves_others: i64::from(draft.leaves_others),
        sections: newly_named(&draft, world)?,
        content: kept,
        fingerprint,
    };
    let texts = PersonalTexts {
        made_by: Some(world.person(context.actor.person)?.name.clone()),
        made_on: context.actor.device.and_then(|device| world.devices.get(&device).cloned()),
        ..context.content.personal.clone()
    };
    let texts_row = PersonalTextsRow {
        record_id: id.to_string(),
        salt: context.salt.clone(),
        body: written("the texts of a correction", &texts)?,
    };
    store(context, &row, &draft, (decision_hash.as_deref(), texts_row), world)?;
    if let Some(corrected) = world.applications.get_mut(&input.application_id) {
        corrected.correction_ids.push(id);
    }
    let label = &world.product(draft.application.product_id)?.label;
    let lines = ground::line_views(&draft.after, label, world);
    let stored = StoredCorrection { row, texts: Some(texts) };
    let view = view(&stored, None, false, lines)?;
    world.corrections.insert(id, stored);
    Ok(ActOutcome::Corrected(view))
}

/// What stands of the sections whose ground the correction takes from a measurement anew: nothing of the record stood there, whether or
/// not the record itself names them.
fn newly_named(draft: &Draft, world: &BatchFacts) -> Result<Option<String>, ActFault> {
    let stands = |section: SectionId| draft.before.iter().any(|(known, _)| *known == section);
    let mut named: Vec<SectionId> = draft.after.iter().map(|line| line.section).filter(|id| !stands(*id)).collect();
    named.dedup();
    let told = particulars::sections(&named, draft.application.applied_on, world)?;
    if told.is_empty() { Ok(None) } else { written("what stood of a section", &told).map(Some) }
}

fn repeated(context: &ActContext, stored: &StoredCorrection, world: &BatchFacts) -> Result<ActOutcome, ActFault> {
    let application = world.applications.get(&stored.row.application_id);
    if application.and_then(|a| facts::property(world, a.row.property_id, context.actor)).is_none() {
        return Ok(ActOutcome::Missing("correction"));
    }
    let whole = whole_content(&stored.row.content, stored.texts.as_ref())?;
    sent_again(&whole, &sha256(&whole), &context.content)
}

enum Judged {
    Holds(Verdict, Option<String>),
    Refused(ActOutcome),
}

/// Asks the rules about the record as it will stand. Taking it back asks nothing.
fn judge(
    context: &ActContext,
    id: CorrectionId,
    input: &CorrectionInput,
    draft: &Draft,
    world: &mut BatchFacts,
    law: &Lawbook,
) -> Result<Judged, ActFault> {
    if draft.after.is_empty() {
        return Ok(Judged::Holds(Verdict::Go, None));
    }
    let decision = draft.judge(&draft.after, &context.weather, world, law)?;
    if decision.verdict == Verdict::Stop && unacknowledged(&decision, &input.acknowledged) {
        let subject = id.to_string();
        let refused = world.refuse(context, "correction", &subject, draft.application.property_id, &decision, law)?;
        return Ok(Judged::Refused(refused));
    }
    let hash = world.keep_decision(&format!("correction/{id}"), context, &decision, law)?;
    Ok(Judged::Holds(decision.verdict, Some(hash)))
}

/// Notes what correcting writes: the record, the ledger's reversal of what changes and what is true there, the stock, the journal.
/// A line that stays as it stands has no row: it was written by the record, or by an earlier correction.
fn store(
    context: &ActContext,
    row: &CorrectionRow,
    draft: &Draft,
    (decision_hash, texts): (Option<&str>, PersonalTextsRow),
    world: &mut BatchFacts,
) -> Result<(), ActFault> {
    let (subject, application, changed) = (row.id.to_string(), &draft.application, draft.changed());
    let taken_back = draft.before.iter().filter(|(section, _)| changed.contains(section));
    let mut ledger: Vec<LineRow> = taken_back
        .map(|(section, standing)| LineRow {
            record_id: subject.clone(),
            application_id: row.application_id,
            section_id: *section,
            applied_on: standing.applied_on,
            area: standing.area,
            product: -standing.product,
            nitrogen: -standing.nitrogen,
            quick_nitrogen: -standing.quick_nitrogen,
            phosphate: -standing.phosphate,
            potash: -standing.potash,
            flags: standing.flags,
            purpose: standing.purpose,
            division: standing.division,
            parts: standing.parts,
        })
        .collect();
    let label = &world.product(application.product_id)?.label;
    let (of, on) = (row.application_id, application.applied_on);
    let true_now: Vec<&Line> = draft.after.iter().filter(|line| changed.contains(&line.section)).collect();
    if !true_now.is_empty() {
        let purpose = draft.recorded()?.purpose;
        ledger.extend(true_now.into_iter().map(|line| ledger_line(&subject, of, line, label, on, purpose)));
    }
    let moved: i64 = -ledger.iter().map(|line| line.product).sum::<i64>();
    world.effects.movements.push(MovementRow {
        id: context.attempt_or_movement_id.to_string(),
        product_id: application.product_id,
        lot_id: application.lot_id,
        kind: "corrected",
        mass: moved,
        moved_on: application.applied_on,
        person_id: context.actor.person,
        record_id: subject.clone(),
        reason: None,
        recorded_at: context.at.millis(),
    });
    world.move_stock(application.product_id, moved)?;
    let payload = serde_json::json!({
        "content": context.content.impersonal, "row": journaled("a correction", row)?, "decision_sha256": decision_hash,
        "weather_sha256": context.weather_sha256()?, "lines": ledger, "texts_sha256": texts.sha256(),
    });
    world.effects.personal_texts.push(texts);
    world.effects.corrections.push(row.clone());
    world.add_to_ledger(application.product_id, ledger)?;
    world.journal(context, "application.corrected", &subject, payload.to_string());
    Ok(())
}

/// A correction as it is shown. `told` is the reason in the content of those of earlier versions.
pub fn view(
    StoredCorrection { row, texts }: &StoredCorrection,
    told: Option<String>,
    destroyed: bool,
    lines: Vec<LineView>,
) -> Result<CorrectionView, ActFault> {
    let texts = texts.clone().unwrap_or_default();
    Ok(CorrectionView {
        id: row.id,
        application_id: row.application_id,
        reason: texts.reason.or(told).unwrap_or_else(|| DESTROYED.to_owned()),
        person_id: row.person_id,
        person_name: texts.made_by,
        device_id: row.device_id,
        device_name: texts.made_on,
        texts_destroyed: destroyed,
        received_at: moment("the receipt of a correction", row.received_at)?,
        lines,
        verdict: row.verdict,
        beyond_the_rules: row.beyond_the_rules == 1,
    })
}
