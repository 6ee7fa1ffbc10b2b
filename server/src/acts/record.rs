//! The act of recording what was put down. Stored as it truly happened, decided again with the true history, never edited.

use domain::{
    actor::Role,
    decision::{Decision, Verdict},
    ids::{ApplicationId, ClearanceId, CorrectionId},
    law::Lawbook,
    product::Label,
    quantity::Area,
    time::{Day, Instant},
};

use crate::{
    acts::doubts,
    acts::{
        ActContext, ActOutcome, BatchFacts, Stored,
        application::{ApplicationInput, AppliedLine, LineView, ledger_line, line_view, view},
        differing,
        effects::MovementRow,
        facts::{self, Line, Question, Work},
        rows::{ApplicationRow, standing_lines},
        unacknowledged, with_content,
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
) -> ActOutcome {
    if let Some(stored) = world.applications.get(&id) {
        return repeated(context, id, stored, world);
    }
    if world.corrections.contains_key(&CorrectionId::from_uuid(id.uuid())) {
        return ActOutcome::Conflict(
            "This id names a correction already; an application needs an id of its own.".to_owned(),
        );
    }
    let Some(property) = facts::property(world, input.property_id, context.actor) else {
        return ActOutcome::Missing("property");
    };
    let zone = facts::zone(property);
    let on = input.started_at.day_in(&zone);
    let lines = match resolve(context, input, on, world) {
        Ok(lines) => lines,
        Err(faults) => return ActOutcome::Invalid(faults),
    };
    let person = input.applied_by.unwrap_or(context.actor.person);
    let (clearance, mut own) = doubts::used_clearance(input, person, context.actor.person, on, world);
    own.extend(doubts::visit_that_fits(input, on, world));
    own.extend(doubts::visit_that_stands(input, person, world));
    own.extend(doubts::steady_clock(input));
    let weather = input.weather.joined(&context.weather.weather);
    let question = Question {
        property: input.property_id,
        product: input.product_id,
        person,
        on,
        at: input.started_at,
        purpose: input.purpose,
        equipment: input.equipment,
        weather: &weather,
        ground: Some(input.ground),
        pavement_cleaned: Some(input.pavement_cleaned),
        lines: &lines,
        without: None,
        without_hold: clearance,
        work: Some(Work { received_at: context.at, ended_at: input.started_at.max(input.finished_at) }),
        own,
    };
    let decision = facts::judge(&question, world, law);
    if decision.verdict == Verdict::Stop && unacknowledged(&decision, &input.acknowledged) {
        return world.refuse(context, "application", &id.to_string(), input.property_id, &decision, law);
    }
    let row = row_of(context, input, on, &decision, world);
    let decision_hash = world.keep_decision(&format!("application/{id}"), context, &decision, law);
    store(context, id, input, &row, &lines, (&decision_hash, clearance), world);
    if let Some(clearance) = clearance {
        world.end_clearance(clearance, "used", Some(id), context.at);
    }
    let label = world.products.get(&input.product_id).map(|product| product.label.clone());
    let lines = lines
        .iter()
        .filter_map(|line| Some(line_view(line.section, line.area, line.product, label.as_ref()?)))
        .collect();
    let late = context.at.day_in(&zone) > on;
    world.applications.insert(id, row.clone());
    match view(id, &row, lines, Vec::new(), late) {
        Ok(view) => ActOutcome::Recorded(Box::new(Stored::new(view))),
        Err(_) => ActOutcome::Missing("application"),
    }
}

fn row_of(
    context: &ActContext,
    input: &ApplicationInput,
    on: Day,
    decision: &Decision,
    world: &BatchFacts,
) -> ApplicationRow {
    let verdict = decision.verdict;
    let person = input.applied_by.unwrap_or(context.actor.person);
    ApplicationRow {
        property_id: input.property_id,
        product_id: input.product_id,
        lot_id: input.lot_id,
        person_id: person,
        person_name: world.people.get(&person).map(|person| person.name.clone()).unwrap_or_default(),
        entered_by: context.actor.person,
        device_id: context.actor.device,
        applied_on: on,
        received_at: context.at.millis(),
        sent_at: input.sent_at.map(Instant::millis),
        verdict,
        beyond_the_rules: i64::from(verdict == Verdict::Stop),
        content: context.content.clone(),
        fingerprint: context.fingerprint.clone(),
        review_reason: doubts::review_reason(decision).map(str::to_owned),
        last_correction: None,
    }
}

/// The same id again: the stored record if the content is the same, otherwise the fields that differ.
fn repeated(context: &ActContext, id: ApplicationId, stored: &ApplicationRow, world: &BatchFacts) -> ActOutcome {
    if facts::property(world, stored.property_id, context.actor).is_none() {
        return ActOutcome::Missing("application");
    }
    if stored.fingerprint != context.fingerprint {
        return ActOutcome::Reused(differing(&stored.content, &context.content));
    }
    let label = world.products.get(&stored.product_id).map(|product| product.label.clone());
    let lines = original_lines(stored, id, world, label.as_ref());
    let zone = world.properties.get(&stored.property_id).map(facts::zone);
    let late = zone
        .and_then(|zone| Some(Instant::from_millis(stored.received_at)?.day_in(&zone)))
        .is_some_and(|day| day > stored.applied_on);
    match view(id, stored, lines, Vec::new(), late) {
        Ok(view) => ActOutcome::Recorded(Box::new(Stored::again(view))),
        Err(_) => ActOutcome::Missing("application"),
    }
}

/// Lines as first recorded: areas by the content, or by the measurement of the day.
fn original_lines(
    stored: &ApplicationRow,
    id: ApplicationId,
    world: &BatchFacts,
    label: Option<&Label>,
) -> Vec<LineView> {
    let content: Option<ApplicationInput> = serde_json::from_str(&stored.content).ok();
    let standing = standing_lines(&world.sections, id);
    let area = |line: &AppliedLine| {
        let known =
            standing.iter().find(|(section, _)| *section == line.section_id).map(|(_, row)| Area::from_raw(row.area));
        line.treated_area_sqft.or(known).or_else(|| world.sections.get(&line.section_id)?.area_on(stored.applied_on))
    };
    let lines = content.map(|content| content.lines).unwrap_or_default();
    lines.iter().filter_map(|line| Some(line_view(line.section_id, area(line)?, line.product_lb, label?))).collect()
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
    faults.extend(facts::clock(world, input.property_id));
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
            .is_some_and(|c| c.property_id == input.property_id && c.product_id == input.product_id)
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
        match facts::treated(world, input.property_id, line.section_id, line.treated_area_sqft, on, &pointer) {
            Ok(area) => lines.push(Line { section: line.section_id, area, product: line.product_lb }),
            Err(fault) => faults.push(fault),
        }
    }
    if faults.is_empty() { Ok(lines) } else { Err(faults) }
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
    id: ApplicationId,
    input: &ApplicationInput,
    row: &ApplicationRow,
    lines: &[Line],
    (decision_hash, used_clearance): (&str, Option<ClearanceId>),
    world: &mut BatchFacts,
) {
    let subject = id.to_string();
    let mut stored = serde_json::json!({
        "id": subject, "property_id": row.property_id, "product_id": row.product_id, "lot_id": row.lot_id,
        "visit_id": input.visit_id, "clearance_id": input.clearance_id, "person_id": row.person_id,
        "person_name": row.person_name, "entered_by": row.entered_by, "device_id": row.device_id,
        "applied_on": row.applied_on, "received_at": row.received_at, "sent_at": row.sent_at, "verdict": row.verdict,
        "beyond_the_rules": row.beyond_the_rules, "fingerprint": row.fingerprint,
    });
    // Named only where there is one, so that the rows of earlier versions read as they were written.
    if let (Some(reason), Some(members)) = (&row.review_reason, stored.as_object_mut()) {
        members.insert("review_reason".to_owned(), reason.as_str().into());
    }
    world.effects.applications.push(with_content(&stored, &row.content));
    let mut ledger = Vec::new();
    if let Some(label) = world.products.get(&input.product_id).map(|product| product.label.clone()) {
        ledger
            .extend(lines.iter().map(|line| ledger_line(&subject, id, line, &label, row.applied_on, input.purpose, 1)));
    }
    let used: i64 = lines.iter().map(|line| line.product.raw()).sum();
    world.effects.movements.push(MovementRow {
        id: context.attempt_or_movement_id.to_string(),
        product_id: input.product_id.to_string(),
        lot_id: input.lot_id.map(|lot| lot.to_string()),
        kind: "applied",
        mass: -used,
        moved_on: row.applied_on,
        person_id: context.actor.person.to_string(),
        record_id: subject.clone(),
        reason: None,
        recorded_at: context.at.millis(),
    });
    if let Some(product) = world.products.get_mut(&input.product_id) {
        product.balance -= used;
    }
    let payload = serde_json::json!({
        "content": serde_json::from_str::<serde_json::Value>(&row.content).unwrap_or_default(), "row": stored,
        "decision_sha256": decision_hash, "weather_sha256": context.weather_sha256(), "lines": ledger, "used_clearance": used_clearance,
    });
    world.add_to_ledger(ledger);
    world.journal(context, "application.recorded", &subject, payload.to_string());
}
