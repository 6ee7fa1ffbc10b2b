//! A further record that takes an application back or says what truly happened. The original stays; totals follow.

use domain::{
    actor::Role,
    application::Purpose,
    decision::{FindingKey, Verdict},
    ids::{ApplicationId, CorrectionId, DeviceId, PersonId},
    law::Lawbook,
    quantity::Area,
    time::Instant,
};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    acts::{
        ActContext, ActOutcome, BatchFacts,
        application::{ApplicationInput, AppliedLine, LineView, ledger_line, line_view},
        effects::{LineRow, MovementRow},
        facts::{self, Line, Question},
        fault::{ActFault, journaled, moment, read},
        rows::{ApplicationRow, CorrectionRow, standing_lines},
        sent_again, unacknowledged,
    },
    problem::FieldFault,
};

/// What is wrong with an application, and what is true instead.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "application_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a14", "reason": "Weighed again: the bag was not empty.",
    "change": { "lines": [
        { "section_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a13", "product_lb": "21.4" },
        { "section_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a15", "product_lb": "12.8" }
    ] }
}))]
pub struct CorrectionInput {
    pub application_id: ApplicationId,
    #[schema(min_length = 1, max_length = 1000, format = "lines")]
    pub reason: String,
    /// The last correction that the sender knew of, if there was one. If another has come since, this one is refused, so
    /// that nobody's word is overridden unseen.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub replaces: Option<CorrectionId>,
    /// What stands in the place of all the application's lines; a section that is left out is taken back. A line without
    /// `treated_area_sqft` keeps the area that stands for its section, whatever was measured since. Leave it out to take the
    /// whole application back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub change: Option<CorrectionChange>,
    /// `key` of each stopping finding that the sender has read, when what truly happened goes beyond the rules.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 200)]
    pub acknowledged: Vec<FindingKey>,
}

/// The lines as they truly were.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CorrectionChange {
    #[schema(min_items = 1, max_items = 20)]
    pub lines: Vec<AppliedLine>,
}

impl CorrectionInput {
    /// The content as it is kept: findings in one order, so that the same again is recognised.
    #[must_use]
    pub fn canonical(mut self) -> Self {
        self.acknowledged.sort_by(|a, b| a.0.cmp(&b.0));
        self.acknowledged.dedup_by(|a, b| a.0 == b.0);
        self
    }

    pub fn lines(&self) -> impl Iterator<Item = &AppliedLine> {
        self.change.iter().flat_map(|change| change.lines.iter())
    }
}

/// A stored correction.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct CorrectionView {
    pub id: CorrectionId,
    pub application_id: ApplicationId,
    #[schema(max_length = 1000)]
    pub reason: String,
    pub person_id: PersonId,
    pub device_id: Option<DeviceId>,
    pub received_at: Instant,
    /// What stands since; empty when the application was taken back.
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
    if world.applications.contains_key(&ApplicationId::from_uuid(id.uuid())) {
        return Ok(ActOutcome::Conflict(
            "This id names an application already; a correction needs an id of its own.".to_owned(),
        ));
    }
    let Some(stored) = world.applications.get(&input.application_id) else {
        return Ok(ActOutcome::Missing("application"));
    };
    let (application, last) = (stored.row.clone(), stored.correction_ids.last().copied());
    if facts::property(world, application.property_id, context.actor).is_none() {
        return Ok(ActOutcome::Missing("application"));
    }
    if context.actor.role == Role::Technician && application.person_id != context.actor.person {
        return Ok(ActOutcome::NotAllowed(
            "Somebody else recorded this application; that person or the office corrects it.",
        ));
    }
    if last != input.replaces {
        return Ok(outdated(last));
    }
    let lines = match resolve(input, &application, world) {
        Ok(lines) if changes_nothing(input.application_id, &lines, world) => {
            let detail = "would change nothing: this is what stands already";
            return Ok(ActOutcome::Invalid(vec![FieldFault::at("/change", "contradiction", detail)]));
        }
        Ok(lines) => lines,
        Err(faults) => return Ok(ActOutcome::Invalid(faults)),
    };
    let (truth, verdict, decision_hash) = match judge(context, id, input, &application, lines, world, law)? {
        Judged::Holds(truth, verdict, decision_hash) => (truth, verdict, decision_hash),
        Judged::Refused(refused) => return Ok(refused),
    };
    let row = CorrectionRow {
        id,
        application_id: input.application_id,
        person_id: context.actor.person,
        device_id: context.actor.device,
        received_at: context.at.millis(),
        verdict,
        beyond_the_rules: i64::from(verdict == Verdict::Stop),
        content: context.content.text.clone(),
        fingerprint: context.content.fingerprint.clone(),
    };
    store(context, &row, &application, truth.as_ref(), decision_hash.as_deref(), world)?;
    if let Some(corrected) = world.applications.get_mut(&input.application_id) {
        corrected.correction_ids.push(id);
    }
    let views = match &truth {
        Some(truth) => line_views(&truth.lines, &application, world)?,
        None => Vec::new(),
    };
    let view = view(&row, input.reason.clone(), views)?;
    world.corrections.insert(id, row);
    Ok(ActOutcome::Corrected(view))
}

/// The sender did not know the last word on the application.
fn outdated(last: Option<CorrectionId>) -> ActOutcome {
    ActOutcome::Conflict(match last {
        Some(last) => format!(
            "The last word on this application is correction {last}. Read it; if yours still holds, name it in `replaces`."
        ),
        None => "This application has not been corrected yet; leave `replaces` out.".to_owned(),
    })
}

/// Whether the lines are those that stand already.
fn changes_nothing(application: ApplicationId, lines: &[Line], world: &BatchFacts) -> bool {
    let mut wanted: Vec<_> = lines.iter().map(|line| (line.section, line.area.raw(), line.product.raw())).collect();
    wanted.sort_unstable();
    let standing: Vec<_> =
        standing_lines(&world.sections, application).iter().map(|(id, row)| (*id, row.area, row.product)).collect();
    wanted == standing
}

fn repeated(context: &ActContext, stored: &CorrectionRow, world: &BatchFacts) -> Result<ActOutcome, ActFault> {
    let application = world.applications.get(&stored.application_id);
    if application.and_then(|a| facts::property(world, a.row.property_id, context.actor)).is_none() {
        return Ok(ActOutcome::Missing("correction"));
    }
    sent_again(&stored.content, &stored.fingerprint, &context.content)
}

fn resolve(
    input: &CorrectionInput,
    application: &ApplicationRow,
    world: &BatchFacts,
) -> Result<Vec<Line>, Vec<FieldFault>> {
    let place = |fault: FieldFault| FieldFault {
        pointer: fault.pointer.map(|p| p.replacen("#/lines", "#/change/lines", 1)),
        ..fault
    };
    let mut faults: Vec<FieldFault> =
        facts::repeated(input.lines().map(|line| line.section_id)).into_iter().map(place).collect();
    // A line that names no area keeps the one that stands: the lawn was treated as it was measured then.
    let standing = standing_lines(&world.sections, input.application_id);
    let mut lines = Vec::new();
    for (at, line) in input.lines().enumerate() {
        let pointer = format!("/change/lines/{at}");
        if line.product_lb.is_zero() {
            faults.push(FieldFault::at(
                format!("{pointer}/product_lb"),
                "out_of_range",
                "must be above zero; leave the section out if nothing was put on it",
            ));
        }
        let stands = standing.iter().find(|(section, _)| *section == line.section_id);
        let stands = stands.map(|(_, row)| Area::from_raw(row.area));
        // Nor is a part of it refused because the lawn was measured smaller since. The rules want to know how large it is all the
        // same, so it must be measured.
        let kept = stands.filter(|area| line.treated_area_sqft.is_none_or(|part| part <= *area));
        let (property, part, on) = (application.property_id, line.treated_area_sqft, application.applied_on);
        let area = match kept {
            Some(area) => {
                let measured = facts::measured(world, property, line.section_id, on, &pointer);
                measured.map(|_| part.unwrap_or(area))
            }
            None => facts::treated(world, property, line.section_id, part, on, &pointer),
        };
        match area.and_then(|area| facts::line(line.section_id, area, line.product_lb, &pointer)) {
            Ok(line) => lines.push(line),
            Err(fault) => faults.push(fault),
        }
    }
    if faults.is_empty() { Ok(lines) } else { Err(faults) }
}

/// What truly happened, where the application is not taken back: its lines, and what they were put down for.
struct Truth {
    lines: Vec<Line>,
    purpose: Purpose,
}

enum Judged {
    Holds(Option<Truth>, Verdict, Option<String>),
    Refused(ActOutcome),
}

/// Asks the rules about what truly happened, as if the application had not been recorded. Taking it back asks nothing.
fn judge(
    context: &ActContext,
    id: CorrectionId,
    input: &CorrectionInput,
    application: &ApplicationRow,
    lines: Vec<Line>,
    world: &mut BatchFacts,
    law: &Lawbook,
) -> Result<Judged, ActFault> {
    if lines.is_empty() {
        return Ok(Judged::Holds(None, Verdict::Go, None));
    }
    let recorded: ApplicationInput = read("the content of a record", &application.content)?;
    // What the services said when the application was recorded, not what they say now.
    let weather = recorded.weather.joined(&context.weather.weather);
    let question = Question {
        property: application.property_id,
        product: application.product_id,
        person: application.person_id,
        applicator_named: true,
        supervisor: None,
        on: application.applied_on,
        at: recorded.started_at,
        purpose: recorded.purpose,
        equipment: recorded.equipment,
        weather: &weather,
        ground: Some(recorded.ground),
        pavement_cleaned: Some(recorded.pavement_cleaned),
        lines: &lines,
        without: Some(input.application_id),
        without_hold: None,
        work: None,
        beside: Vec::new(),
    };
    let decision = facts::judge(&question, world, law)?;
    if decision.verdict == Verdict::Stop && unacknowledged(&decision, &input.acknowledged) {
        let subject = id.to_string();
        let refused = world.refuse(context, "correction", &subject, application.property_id, &decision, law)?;
        return Ok(Judged::Refused(refused));
    }
    let hash = world.keep_decision(&format!("correction/{id}"), context, &decision, law)?;
    Ok(Judged::Holds(Some(Truth { lines, purpose: recorded.purpose }), decision.verdict, Some(hash)))
}

/// Notes what correcting writes: the record, the ledger's reversal and what is true, the stock, the journal.
fn store(
    context: &ActContext,
    row: &CorrectionRow,
    application: &ApplicationRow,
    truth: Option<&Truth>,
    decision_hash: Option<&str>,
    world: &mut BatchFacts,
) -> Result<(), ActFault> {
    let subject = row.id.to_string();
    let before = standing_lines(&world.sections, row.application_id);
    let mut ledger: Vec<LineRow> = before
        .iter()
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
        })
        .collect();
    if let Some(Truth { lines, purpose }) = truth {
        let label = &world.product(application.product_id)?.label;
        let (of, on) = (row.application_id, application.applied_on);
        ledger.extend(lines.iter().map(|line| ledger_line(&subject, of, line, label, on, *purpose)));
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
        "content": context.content.value, "row": journaled("a correction", row)?, "decision_sha256": decision_hash,
        "weather_sha256": context.weather_sha256()?, "lines": ledger,
    });
    world.effects.corrections.push(row.clone());
    world.add_to_ledger(ledger)?;
    world.journal(context, "application.corrected", &subject, payload.to_string());
    Ok(())
}

fn line_views(lines: &[Line], application: &ApplicationRow, world: &BatchFacts) -> Result<Vec<LineView>, ActFault> {
    let label = &world.product(application.product_id)?.label;
    Ok(lines.iter().map(|line| line_view(line.section, line.area, line.product, label)).collect())
}

/// A correction as it is shown: its row, with the reason that its content gives.
pub fn view(row: &CorrectionRow, reason: String, lines: Vec<LineView>) -> Result<CorrectionView, ActFault> {
    Ok(CorrectionView {
        id: row.id,
        application_id: row.application_id,
        reason,
        person_id: row.person_id,
        device_id: row.device_id,
        received_at: moment("the receipt of a correction", row.received_at)?,
        lines,
        verdict: row.verdict,
        beyond_the_rules: row.beyond_the_rules == 1,
    })
}
