//! The act of recording what was put down. Stored as it truly happened, decided again with the true history, never edited.

use domain::{
    actor::Role,
    application::Audience,
    decision::{Decision, Verdict},
    ids::{ApplicationId, ClearanceId, SectionId},
    law::{Bound, Lawbook},
    product::Label,
    time::{Day, Instant},
};
use jiff::SignedDuration;

use crate::{
    acts::{
        ActContext, ActOutcome, BatchFacts,
        application::{ApplicationInput, ledger_line, view},
        content::{sent_again, whole_content},
        doubts,
        effects::{LineRow, MovementRow, PersonalTextsRow},
        facts::{self, Line, Question, Sighting, Work},
        fault::{ActFault, journaled, written},
        gaps::{self, Known, OfTheDay, Written},
        ground,
        particulars::{self, Named, Particulars, PersonalTexts},
        rows::{ApplicationRow, StoredApplication},
        seen, unacknowledged,
    },
    problem::FieldFault,
    secret::sha256,
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
        return repeated(context, stored, world);
    }
    if let Some(taken) = world.taken(id.uuid(), "application") {
        return Ok(taken);
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
    let (particulars, texts) = fixed(context, input, on, world)?;
    let mut row = row_of(context, id, input, on, &decision);
    let late = context.at.day_in(&zone) > on;
    let pesticide = particulars.product.pesticide.is_some();
    let bound = Bound { pesticide, ..bound(input, on, world) };
    let asked = OfTheDay { rule_sets: particulars.rule_sets.clone(), bound, learned: None };
    row.incomplete = Some(i64::from(lacks(context, input, (&particulars, &texts), (on, late), (&asked, law))));
    row.particulars = Some(written("the particulars of a record", &particulars)?);
    row.time_zone = Some(particulars.time_zone.clone());
    let label = world.product(input.product_id)?.label.clone();
    let decision_hash = world.keep_decision(&format!("application/{id}"), context, &decision, law)?;
    let texts_row = PersonalTextsRow {
        record_id: id.to_string(),
        salt: context.salt.clone(),
        body: written("the texts of a record", &texts)?,
    };
    store(context, &row, input, (&lines, &label), (&decision_hash, clearance), texts_row, world)?;
    if let Some(clearance) = clearance {
        world.end_clearance(clearance, "used", Some(id), context.at);
    }
    world.applications.insert(id, stored_now(&row, &texts));
    let lines = ground::line_views(&lines, &label, world);
    Ok(ActOutcome::Recorded(Box::new(view(row, input.clone(), Some(texts), lines, Vec::new(), Some(late))?)))
}

/// The same id again: stored before if the content is the same, otherwise the fields that differ.
fn repeated(context: &ActContext, stored: &StoredApplication, world: &BatchFacts) -> Result<ActOutcome, ActFault> {
    if facts::property(world, stored.row.property_id, context.actor).is_none() {
        return Ok(ActOutcome::Missing("application"));
    }
    let whole = whole_content(&stored.row.content, stored.texts.as_ref())?;
    sent_again(&whole, &sha256(&whole), &context.content)
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
        supervisor: input.supervisor_id,
        nobody_supervised: input.nobody_supervised,
        on,
        at: input.started_at,
        purpose: input.purpose,
        equipment: input.equipment,
        weather: &weather,
        service_asked: context.weather.asked,
        sighting: Sighting::of(input.seen.as_ref()),
        ground: Some(input.ground),
        pavement_cleaned: Some(input.pavement_cleaned),
        kept: seen::kept(input.seen.as_ref()),
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
) -> ApplicationRow {
    let verdict = decision.verdict;
    let person = input.applied_by.unwrap_or(context.actor.person);
    let (kept, fingerprint) = context.content.kept();
    ApplicationRow {
        id,
        property_id: input.property_id,
        product_id: input.product_id,
        lot_id: input.lot_id,
        visit_id: input.visit_id,
        clearance_id: input.clearance_id,
        person_id: person,
        // It stands among the texts about people.
        person_name: String::new(),
        entered_by: context.actor.person,
        device_id: context.actor.device,
        applied_on: on,
        received_at: context.at.millis(),
        sent_at: input.sent_at.map(Instant::millis),
        verdict,
        beyond_the_rules: i64::from(verdict == Verdict::Stop),
        review_reason: doubts::review_reason(decision).map(str::to_owned),
        incomplete: None,
        particulars: None,
        time_zone: None,
        pattern: None,
        packed: None,
        content: kept,
        fingerprint,
    }
}

fn stored_now(row: &ApplicationRow, texts: &PersonalTexts) -> StoredApplication {
    StoredApplication { row: row.clone(), correction_ids: Vec::new(), texts: Some(texts.clone()), pattern: None }
}

/// What stands of everything that the record names, and its texts about people.
fn fixed(
    context: &ActContext,
    input: &ApplicationInput,
    on: Day,
    world: &BatchFacts,
) -> Result<(Particulars, PersonalTexts), ActFault> {
    let named = Named {
        property: input.property_id,
        product: input.product_id,
        lot: input.lot_id,
        equipment: input.equipment_id,
        person: input.applied_by.unwrap_or(context.actor.person),
        supervisor: input.supervisor_id,
        present: &input.present_ids,
        sections: input.lines.iter().map(|line| line.section_id).collect(),
        on,
        known_at: context.at,
    };
    let (particulars, texts) = particulars::of(&named, world)?;
    Ok((particulars, PersonalTexts { notes: input.notes.clone(), reason: input.reason.clone(), ..texts }))
}

/// Who worked there on a day, and on which ground. The property was looked up before.
fn bound(input: &ApplicationInput, on: Day, world: &BatchFacts) -> Bound {
    let place = world.properties.get(&input.property_id);
    let worked_on: Vec<SectionId> = input.lines.iter().map(|line| line.section_id).collect();
    let audience = place.map_or(Audience::Professional, |place| place.on(on).worked_by);
    Bound { site: place.map(|place| place.site_on(on, &worked_on)), ..audience.into() }
}

/// Whether the record lacks anything that the law of its day asks.
fn lacks(
    context: &ActContext,
    input: &ApplicationInput,
    (particulars, texts): (&Particulars, &PersonalTexts),
    (on, after_the_day): (Day, bool),
    (asked, law): (&OfTheDay, &Lawbook),
) -> bool {
    let mut known = Known::default();
    known.fixed(particulars, Some(texts));
    known.stand(&input.lines.iter().map(|line| line.section_id).collect::<Vec<_>>());
    input.seen.iter().for_each(|seen| known.seen(seen));
    known.weather(&input.weather);
    known.weather(&context.weather.weather);
    let written = Written { on, finished_at: input.finished_at, received_at: context.at, after_the_day };
    !gaps::gaps(&known, written, asked, law).is_empty()
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
        && world.lots.get(&lot).map(|lot| lot.product_id) != Some(input.product_id)
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
    faults.extend(people_that_are_there(input, world));
    let seconds = input.finished_at.since(input.started_at).as_secs();
    if !(0..=86_400).contains(&seconds) {
        faults.push(FieldFault::at(
            "/finished_at",
            "out_of_range",
            "must not lie before started_at, nor more than a day after it",
        ));
    }
    faults.extend(years_ahead(input, context.at));
    faults.extend(input.seen.iter().flat_map(|seen| seen.faults(input.started_at, context.at)));
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

/// A supervisor and others who were there must be of the staff.
fn people_that_are_there(input: &ApplicationInput, world: &BatchFacts) -> Vec<FieldFault> {
    let supervisor = input.supervisor_id.map(|id| ("/supervisor_id".to_owned(), id));
    let present = input.present_ids.iter().enumerate().map(|(at, id)| (format!("/present_ids/{at}"), *id));
    let unknown = supervisor.into_iter().chain(present).filter(|(_, id)| !world.people.contains_key(id));
    let unknown = unknown.map(|(at, _)| FieldFault::at(at, "not_found", "names nobody of the staff"));
    let both = input.nobody_supervised && input.supervisor_id.is_some();
    let detail = "says that nobody supervised the work, and supervisor_id names somebody who did";
    let both = both.then(|| FieldFault::at("/nobody_supervised", "contradiction", detail));
    unknown.chain(both).collect()
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
    texts: PersonalTextsRow,
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
        "content": context.content.impersonal, "row": journaled("a record", row)?, "decision_sha256": decision_hash,
        "weather_sha256": context.weather_sha256()?, "lines": ledger, "used_clearance": used_clearance,
        "particulars_sha256": row.particulars.as_ref().map(sha256), "texts_sha256": texts.sha256(),
    });
    world.effects.personal_texts.push(texts);
    world.effects.applications.push(row.clone());
    world.add_to_ledger(row.product_id, ledger)?;
    world.journal(context, "application.recorded", &subject, payload.to_string());
    Ok(())
}
