//! The act of recording what was put down. Stored as it truly happened, decided again with the true history, never edited.

use domain::{
    actor::Role,
    decision::{Decision, Verdict},
    ids::{ApplicationId, ClearanceId, CorrectionId},
    law::Lawbook,
    product::Label,
    time::{Day, Instant},
};
use jiff::SignedDuration;

use crate::{
    acts::{
        ActContext, ActOutcome, BatchFacts,
        application::{ApplicationInput, ledger_line, view},
        doubts,
        effects::{LineRow, MovementRow},
        facts::{self, Line, Question, Work},
        fault::{ActFault, journaled},
        ground,
        rows::{ApplicationRow, StoredApplication},
        sent_again, unacknowledged,
    },
    problem::FieldFault,
};

/// Records an application, or refuses it with every finding and keeps the attempt.
pub fn record(
    context: &ActContext,
    id: ApplicationId,
    input: &ApplicationInput,
    world: &mut BatchFacts,
    law: &Lawbook,
) -> Result<ActOutcome, ActFault> {
    if let Some(stored) = world.applications.get(&id) {
        return repeated(context, &stored.row, world);
    }
    if world.corrections.contains_key(&CorrectionId::from_uuid(id.uuid())) {
        return Ok(ActOutcome::Conflict(
            "This id names a correction already; an application needs an id of its own.".to_owned(),
        ));
    }
    let Some(property) = facts::property(world, input.property_id, context.actor) else {
        return Ok(ActOutcome::Missing("property"));
    };
    // Which law holds, and how large the lawn was, goes by the day: without it nothing more can be said.
    let zone = match facts::clock(input.property_id, property, input.started_at) {
        Ok(zone) => zone,
        Err(fault) => return Ok(ActOutcome::Invalid(vec![fault])),
    };
    let on = input.started_at.day_in(&zone);
    let lines = match resolve(context, input, on, world) {
        Ok(lines) => lines,
        Err(faults) => return Ok(ActOutcome::Invalid(faults)),
    };
    let (clearance, decision) = judge(context, input, on, &lines, world, law)?;
    if decision.verdict == Verdict::Stop && unacknowledged(&decision, &input.acknowledged) {
        return world.refuse(context, "application", &id.to_string(), input.property_id, &decision, law);
    }
    let row = row_of(context, id, input, on, &decision, world)?;
    let label = world.product(input.product_id)?.label.clone();
    let decision_hash = world.keep_decision(&format!("application/{id}"), context, &decision, law)?;
    store(context, &row, input, (&lines, &label), (&decision_hash, clearance), world)?;
    if let Some(clearance) = clearance {
        world.end_clearance(clearance, "used", Some(id), context.at);
    }
    world.applications.insert(id, StoredApplication { row: row.clone(), correction_ids: Vec::new() });
    let lines = ground::line_views(&lines, &label, world);
    let late = context.at.day_in(&zone) > on;
    Ok(ActOutcome::Recorded(Box::new(view(row, input.clone(), lines, Vec::new(), Some(late))?)))
}

/// The same id again: stored before if the content is the same, otherwise the fields that differ.
fn repeated(context: &ActContext, stored: &ApplicationRow, world: &BatchFacts) -> Result<ActOutcome, ActFault> {
    if facts::property(world, stored.property_id, context.actor).is_none() {
        return Ok(ActOutcome::Missing("application"));
    }
    sent_again(&stored.content, &stored.fingerprint, &context.content)
}

/// Asks the rules about work that was done, and says which clearance's room it takes.
fn judge(
    context: &ActContext,
    input: &ApplicationInput,
    on: Day,
    lines: &[Line],
    world: &BatchFacts,
    law: &Lawbook,
) -> Result<(Option<ClearanceId>, Decision), ActFault> {
    let person = input.applied_by.unwrap_or(context.actor.person);
    let (clearance, mut beside) = doubts::used_clearance(input, person, context.actor.person, on, world);
    beside.extend(doubts::visit_that_fits(input, on, world));
    beside.extend(doubts::visit_that_stands(input, person, world));
    beside.extend(doubts::steady_clock(input));
    let weather = input.weather.joined(&context.weather.weather);
    let question = Question {
        property: input.property_id,
        product: input.product_id,
        person,
        applicator_named: true,
        supervisor: None,
        on,
        at: input.started_at,
        purpose: input.purpose,
        equipment: input.equipment,
        weather: &weather,
        ground: Some(input.ground),
        pavement_cleaned: Some(input.pavement_cleaned),
        lines,
        without: None,
        without_hold: clearance,
        work: Some(Work { received_at: context.at, ended_at: input.started_at.max(input.finished_at) }),
        beside,
    };
    Ok((clearance, facts::judge(&question, world, law)?))
}

fn row_of(
    context: &ActContext,
    id: ApplicationId,
    input: &ApplicationInput,
    on: Day,
    decision: &Decision,
    world: &BatchFacts,
) -> Result<ApplicationRow, ActFault> {
    let verdict = decision.verdict;
    let person = input.applied_by.unwrap_or(context.actor.person);
    Ok(ApplicationRow {
        id,
        property_id: input.property_id,
        product_id: input.product_id,
        lot_id: input.lot_id,
        visit_id: input.visit_id,
        clearance_id: input.clearance_id,
        person_id: person,
        person_name: world.person(person)?.name.clone(),
        entered_by: context.actor.person,
        device_id: context.actor.device,
        applied_on: on,
        received_at: context.at.millis(),
        sent_at: input.sent_at.map(Instant::millis),
        verdict,
        beyond_the_rules: i64::from(verdict == Verdict::Stop),
        review_reason: doubts::review_reason(decision).map(str::to_owned),
        content: context.content.text.clone(),
        fingerprint: context.content.fingerprint.clone(),
    })
}

/// Everything the input names must be there and fit together.
fn resolve(
    context: &ActContext,
    input: &ApplicationInput,
    on: Day,
    world: &BatchFacts,
) -> Result<Vec<Line>, Vec<FieldFault>> {
    let mut faults = facts::repeated(input.lines.iter().map(|line| line.section_id));
    faults.extend(facts::rejects_service_values(&input.weather));
    if !world.products.contains_key(&input.product_id) {
        faults.push(FieldFault::at("/product_id", "not_found", "is no product of this company"));
    }
    if let Some(lot) = input.lot_id
        && world.lots.get(&lot) != Some(&input.product_id)
    {
        faults.push(FieldFault::at("/lot_id", "not_found", "is no lot of this product"));
    }
    if let Some(visit) = input.visit_id
        && world.visits.get(&visit).is_none_or(|visit| visit.property_id != input.property_id)
    {
        faults.push(FieldFault::at("/visit_id", "not_found", "is no visit to this property"));
    }
    faults.extend(machine_that_fits(input, world));
    if let Some(id) = input.clearance_id
        && !world
            .clearances
            .get(&id)
            .is_some_and(|c| c.row.property_id == input.property_id && c.row.product_id == input.product_id)
    {
        faults.push(FieldFault::at("/clearance_id", "not_found", "is no clearance for this property and product"));
    }
    if let Some(person) = input.applied_by {
        if context.actor.role == Role::Technician && person != context.actor.person {
            let detail = "is for the office and the owner; a technician records the own work";
            faults.push(FieldFault::at("/applied_by", "not_allowed", detail));
        } else if !world.people.contains_key(&person) {
            faults.push(FieldFault::at("/applied_by", "not_found", "names nobody of the staff"));
        }
    }
    let seconds = input.finished_at.since(input.started_at).as_secs();
    if !(0..=86_400).contains(&seconds) {
        faults.push(FieldFault::at(
            "/finished_at",
            "out_of_range",
            "must not lie before started_at, nor more than a day after it",
        ));
    }
    faults.extend(years_ahead(input, context.at));
    if input.acknowledged.is_empty() != input.reason.is_none() {
        faults.push(FieldFault::at(
            "/reason",
            "incomplete",
            "acknowledged and reason come together: which findings were read, and why it was done all the same",
        ));
    }
    let mut lines = Vec::new();
    for (at, line) in input.lines.iter().enumerate() {
        let pointer = format!("/lines/{at}");
        if line.product_lb.is_zero() {
            faults.push(FieldFault::at(
                format!("{pointer}/product_lb"),
                "out_of_range",
                "must be above zero; leave a section out if nothing was put on it",
            ));
        }
        let said = (line.section_id, line.parts.as_slice(), line.treated_area_sqft);
        let ground = ground::ground(world, input.property_id, said, on, &pointer);
        match ground.and_then(|ground| facts::line(line.section_id, ground, line.product_lb, &pointer)) {
            Ok(line) => lines.push(line),
            Err(fault) => faults.push(fault),
        }
    }
    if faults.is_empty() { Ok(lines) } else { Err(faults) }
}

/// A phone's clock may be an hour wrong, and its owner may say so. What ends more than a day from now has not been done: as a
/// record it would move the totals of a year that has not come, so no word of anybody lets it in.
fn years_ahead(input: &ApplicationInput, now: Instant) -> Option<FieldFault> {
    let detail = format!(
        "lies more than a day after now, which is {now} by the server's clock; correct the phone's clock and the time of the work"
    );
    let ahead = input.finished_at.since(now) > SignedDuration::from_hours(24);
    ahead.then(|| FieldFault::at("/finished_at", "out_of_range", detail))
}

/// What is wrong with the machine that the record names. The law's distances follow what the record says it was used as, so
/// the two must agree.
fn machine_that_fits(input: &ApplicationInput, world: &BatchFacts) -> Option<FieldFault> {
    let id = input.equipment_id?;
    let fault = |code: &str, detail: String| Some(FieldFault::at("/equipment_id", code, detail));
    match world.equipment.get(&id) {
        None => fault("not_found", "is no equipment of this company".to_owned()),
        Some(machine) if machine.active == 0 => {
            let detail =
                "is out of use. Name the machine that was used, or none; the office can put this one back into use";
            fault("not_active", detail.to_owned())
        }
        Some(machine) if !machine.kind.serves(input.equipment, machine.has_deflector == 1) => {
            let deflector = if machine.has_deflector == 1 { " with a deflector" } else { "" };
            let (kind, said) = (machine.kind.label(), input.equipment.label());
            fault("contradiction", format!("is {kind}{deflector}, and the record says that {said} was used"))
        }
        Some(_) => None,
    }
}

/// Notes everything that recording writes: record, ledger, stock, journal.
fn store(
    context: &ActContext,
    row: &ApplicationRow,
    input: &ApplicationInput,
    (lines, label): (&[Line], &Label),
    (decision_hash, used_clearance): (&str, Option<ClearanceId>),
    world: &mut BatchFacts,
) -> Result<(), ActFault> {
    let subject = row.id.to_string();
    let line_of = |line| ledger_line(&subject, row.id, line, label, row.applied_on, input.purpose);
    let ledger: Vec<LineRow> = lines.iter().map(line_of).collect();
    let used: i64 = lines.iter().map(|line| line.product.raw()).sum();
    world.effects.movements.push(MovementRow {
        id: context.attempt_or_movement_id.to_string(),
        product_id: row.product_id,
        lot_id: row.lot_id,
        kind: "applied",
        mass: -used,
        moved_on: row.applied_on,
        person_id: context.actor.person,
        record_id: subject.clone(),
        reason: None,
        recorded_at: context.at.millis(),
    });
    world.move_stock(row.product_id, -used)?;
    let payload = serde_json::json!({
        "content": context.content.value, "row": journaled("a record", row)?, "decision_sha256": decision_hash,
        "weather_sha256": context.weather_sha256()?, "lines": ledger, "used_clearance": used_clearance,
    });
    world.effects.applications.push(row.clone());
    world.add_to_ledger(ledger)?;
    world.journal(context, "application.recorded", &subject, payload.to_string());
    Ok(())
}
