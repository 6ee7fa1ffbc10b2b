//! A further record that takes an application back or says what truly happened. The original stays; totals follow.

use domain::{
    actor::Role,
    decision::{FindingKey, Verdict},
    ids::{ApplicationId, CorrectionId, DeviceId, PersonId},
    law::Lawbook,
    quantity::{Area, ProductMass},
    time::Instant,
};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    acts::{
        ActContext, ActOutcome, BatchFacts, Stored,
        application::{ApplicationInput, AppliedLine, LineView, ledger_line, line_view},
        differing,
        effects::{LineRow, MovementRow},
        facts::{self, Line, Question},
        rows::{ApplicationRow, CorrectionRow, standing_lines},
        unacknowledged, with_content,
    },
    problem::FieldFault,
};

/// What is wrong with an application, and what is true instead.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "application_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a14", "reason": "Weighed again: the bag was not empty.",
    "change": { "lines": [{ "section_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a13", "product_lb": "21.4" }] }
}))]
pub struct CorrectionInput {
    pub application_id: ApplicationId,
    #[schema(min_length = 1, max_length = 1000, format = "lines")]
    pub reason: String,
    /// The last correction that the sender knew of, if there was one. If another has come since, this one is refused, so
    /// that nobody's word is overridden unseen.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub replaces: Option<CorrectionId>,
    /// What stands in the place of all the application's lines. A line without `treated_area_sqft` keeps the area that stands for
    /// its section, whatever was measured since. Leave it out to take the whole application back.
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
) -> ActOutcome {
    if let Some(stored) = world.corrections.get(&id) {
        return repeated(context, id, stored, world);
    }
    if world.applications.contains_key(&ApplicationId::from_uuid(id.uuid())) {
        return ActOutcome::Conflict(
            "This id names an application already; a correction needs an id of its own.".to_owned(),
        );
    }
    let Some(application) = world.applications.get(&input.application_id).cloned() else {
        return ActOutcome::Missing("application");
    };
    if facts::property(world, application.property_id, context.actor).is_none() {
        return ActOutcome::Missing("application");
    }
    if context.actor.role == Role::Technician && application.person_id != context.actor.person {
        return ActOutcome::NotAllowed(
            "Somebody else recorded this application; that person or the office corrects it.",
        );
    }
    if application.last_correction != input.replaces {
        return outdated(&application);
    }
    let lines = match resolve(input, &application, world) {
        Ok(lines) if changes_nothing(input.application_id, &lines, world) => {
            let detail = "would change nothing: this is what stands already";
            return ActOutcome::Invalid(vec![FieldFault::at("/change", "contradiction", detail)]);
        }
        Ok(lines) => lines,
        Err(faults) => return ActOutcome::Invalid(faults),
    };
    let (verdict, decision_hash) = match judge(context, id, input, &application, &lines, world, law) {
        Ok(judged) => judged,
        Err(refused) => return refused,
    };
    let row = CorrectionRow {
        application_id: input.application_id,
        person_id: context.actor.person,
        device_id: context.actor.device,
        received_at: context.at.millis(),
        verdict,
        beyond_the_rules: i64::from(verdict == Verdict::Stop),
        content: context.content.clone(),
        fingerprint: context.fingerprint.clone(),
    };
    store(context, id, &row, &application, &lines, decision_hash.as_deref(), world);
    if let Some(corrected) = world.applications.get_mut(&input.application_id) {
        corrected.last_correction = Some(id);
    }
    let view = view(id, &row, line_views(&lines, &application, world));
    world.corrections.insert(id, row);
    view.map_or(ActOutcome::Missing("correction"), |view| ActOutcome::Corrected(Stored::new(view)))
}

/// The sender did not know the last word on the application.
fn outdated(application: &ApplicationRow) -> ActOutcome {
    ActOutcome::Conflict(match application.last_correction {
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

fn repeated(context: &ActContext, id: CorrectionId, stored: &CorrectionRow, world: &BatchFacts) -> ActOutcome {
    let application = world.applications.get(&stored.application_id);
    let Some(application) = application.filter(|a| facts::property(world, a.property_id, context.actor).is_some())
    else {
        return ActOutcome::Missing("correction");
    };
    if stored.fingerprint != context.fingerprint {
        return ActOutcome::Reused(differing(&stored.content, &context.content));
    }
    let lines = serde_json::from_str::<CorrectionInput>(&stored.content)
        .ok()
        .and_then(|input| resolve(&input, application, world).ok())
        .unwrap_or_default();
    let view = view(id, stored, line_views(&lines, application, world));
    view.map_or(ActOutcome::Missing("correction"), |view| ActOutcome::Corrected(Stored::again(view)))
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
        // Nor is a part of it refused because the lawn was measured smaller since.
        let kept = stands.filter(|area| line.treated_area_sqft.is_none_or(|part| part <= *area));
        let kept = kept.map(|area| Ok(line.treated_area_sqft.unwrap_or(area)));
        let (property, part, on) = (application.property_id, line.treated_area_sqft, application.applied_on);
        match kept.unwrap_or_else(|| facts::treated(world, property, line.section_id, part, on, &pointer)) {
            Ok(area) => lines.push(Line { section: line.section_id, area, product: line.product_lb }),
            Err(fault) => faults.push(fault),
        }
    }
    if faults.is_empty() { Ok(lines) } else { Err(faults) }
}

/// Asks the rules about what truly happened, as if the application had not been recorded. Taking it back asks nothing.
fn judge(
    context: &ActContext,
    id: CorrectionId,
    input: &CorrectionInput,
    application: &ApplicationRow,
    lines: &[Line],
    world: &mut BatchFacts,
    law: &Lawbook,
) -> Result<(Verdict, Option<String>), ActOutcome> {
    if lines.is_empty() {
        return Ok((Verdict::Go, None));
    }
    let Ok(recorded) = serde_json::from_str::<ApplicationInput>(&application.content) else {
        return Err(ActOutcome::Missing("application"));
    };
    // What the services said when the application was recorded, not what they say now.
    let weather = recorded.weather.joined(&context.weather.weather);
    let question = Question {
        property: application.property_id,
        product: application.product_id,
        person: application.person_id,
        on: application.applied_on,
        at: recorded.started_at,
        purpose: recorded.purpose,
        equipment: recorded.equipment,
        weather: &weather,
        ground: Some(recorded.ground),
        pavement_cleaned: Some(recorded.pavement_cleaned),
        lines,
        without: Some(input.application_id),
        without_hold: None,
        work: None,
        own: Vec::new(),
    };
    let decision = facts::judge(&question, world, law);
    if decision.verdict == Verdict::Stop && unacknowledged(&decision, &input.acknowledged) {
        return Err(world.refuse(context, "correction", &id.to_string(), application.property_id, &decision, law));
    }
    let hash = world.keep_decision(&format!("correction/{id}"), context, &decision, law);
    Ok((decision.verdict, Some(hash)))
}

/// Notes what correcting writes: the record, the ledger's reversal and what is true, the stock, the journal.
fn store(
    context: &ActContext,
    id: CorrectionId,
    row: &CorrectionRow,
    application: &ApplicationRow,
    lines: &[Line],
    decision_hash: Option<&str>,
    world: &mut BatchFacts,
) {
    let subject = id.to_string();
    let stored = serde_json::json!({
        "id": subject, "application_id": row.application_id, "person_id": row.person_id, "device_id": row.device_id,
        "received_at": row.received_at, "verdict": row.verdict, "beyond_the_rules": row.beyond_the_rules,
        "fingerprint": row.fingerprint,
    });
    world.effects.corrections.push(with_content(&stored, &row.content));
    let before = standing_lines(&world.sections, row.application_id);
    let mut ledger: Vec<LineRow> = before
        .iter()
        .map(|(section, standing)| LineRow {
            record_id: subject.clone(),
            application_id: row.application_id.to_string(),
            section_id: section.to_string(),
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
    let recorded = serde_json::from_str::<ApplicationInput>(&application.content).ok();
    let label = world.products.get(&application.product_id).map(|product| product.label.clone());
    if let (Some(recorded), Some(label)) = (recorded, label) {
        let row_of = |line: &Line| {
            ledger_line(&subject, row.application_id, line, &label, application.applied_on, recorded.purpose, 1)
        };
        ledger.extend(lines.iter().map(row_of));
    }
    let moved: i64 = -ledger.iter().map(|line| line.product).sum::<i64>();
    world.effects.movements.push(MovementRow {
        id: context.attempt_or_movement_id.to_string(),
        product_id: application.product_id.to_string(),
        lot_id: application.lot_id.map(|lot| lot.to_string()),
        kind: "corrected",
        mass: moved,
        moved_on: application.applied_on,
        person_id: context.actor.person.to_string(),
        record_id: subject.clone(),
        reason: None,
        recorded_at: context.at.millis(),
    });
    if let Some(product) = world.products.get_mut(&application.product_id) {
        product.balance += moved;
    }
    let payload = serde_json::json!({
        "content": serde_json::from_str::<serde_json::Value>(&row.content).unwrap_or_default(), "row": stored,
        "decision_sha256": decision_hash, "weather_sha256": context.weather_sha256(), "lines": ledger,
    });
    world.add_to_ledger(ledger);
    world.journal(context, "application.corrected", &subject, payload.to_string());
}

fn line_views(lines: &[Line], application: &ApplicationRow, world: &BatchFacts) -> Vec<LineView> {
    let Some(product) = world.products.get(&application.product_id) else { return Vec::new() };
    lines.iter().map(|line| line_view(line.section, line.area, line.product, &product.label)).collect()
}

/// A stored correction as it is shown.
pub fn view(id: CorrectionId, row: &CorrectionRow, lines: Vec<LineView>) -> Option<CorrectionView> {
    let content: CorrectionInput = serde_json::from_str(&row.content).ok()?;
    Some(CorrectionView {
        id,
        application_id: row.application_id,
        reason: content.reason,
        person_id: row.person_id,
        device_id: row.device_id,
        received_at: Instant::from_millis(row.received_at)?,
        lines,
        verdict: row.verdict,
        beyond_the_rules: row.beyond_the_rules == 1,
    })
}

/// Areas of stored lines for a view read back from the database.
pub fn stored_line(
    section: domain::ids::SectionId,
    area: i64,
    product: i64,
    label: &domain::product::Label,
) -> LineView {
    line_view(section, Area::from_raw(area), ProductMass::from_raw(product), label)
}
