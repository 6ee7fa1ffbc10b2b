//! Permission before product leaves the hopper: the same decision as a check, and the room is held until it is used, given
//! back or the planned day ends, so two trucks cannot spend the same pound.

use domain::{
    application::{Ground, Purpose},
    decision::{Decision, Finding, Verdict},
    equipment::Equipment,
    facts::KeptDistances,
    ids::{ClearanceId, DeviceId, PersonId, ProductId, PropertyId, SectionId},
    law::Lawbook,
    product::{Label, product_for_target},
    quantity::{Area, NutrientRate, ProductMass},
    time::{Day, Instant},
    weather::Weather,
};
use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    acts::{
        ActContext, ActOutcome, Asker, BatchFacts,
        application::{LineView, PartName, flags, line_view},
        content::sent_again,
        effects::ClearanceLineRow,
        facts::{self, Line, Question, Sighting},
        fault::{ActFault, journaled, moment},
        ground,
        rows::{ClearanceRow, ClearedLine, HeldRow, PropertyRow, StoredClearance},
    },
    problem::FieldFault,
};

/// What is to be put down on one section: so much product, or as much as delivers a nitrogen target.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlannedLine {
    pub section_id: SectionId,
    /// Ground to be treated, if not the whole section, nor all of the parts that are named.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub treated_area_sqft: Option<Area>,
    /// The parts that it is to be put on, by the names that the section's division of the day gives them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 16)]
    pub parts: Vec<PartName>,
    /// Product to be used. Give this or the target, not both.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub product_lb: Option<ProductMass>,
    /// Nitrogen to be delivered; the product is worked out from the label and rounded down.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub target_nitrogen_lb_per_1000_sqft: Option<NutrientRate>,
}

/// What is to be done, as far as it is known beforehand.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "property_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a11", "product_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a12",
    "planned_on": "2026-09-15", "purpose": "maintenance", "equipment": "rotary_spreader_with_deflector", "ground": "moist",
    "lines": [{ "section_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a13", "target_nitrogen_lb_per_1000_sqft": "0.75" }]
}))]
pub struct ClearanceInput {
    pub property_id: PropertyId,
    pub product_id: ProductId,
    /// Local day of the work. A clearance is given for today and the two days after; a check for any day.
    pub planned_on: Day,
    pub purpose: Purpose,
    pub equipment: Equipment,
    /// As seen on the spot, today; leave it out before anybody has looked. For another day it counts as unseen.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ground: Option<Ground>,
    /// As it is now. For another day it counts as unseen.
    #[serde(default)]
    pub weather: Weather,
    /// Who is to supervise the work, where the law lets somebody trained work under one who is certified. As long as nobody is
    /// named, such a law asks for care.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub supervisor_id: Option<PersonId>,
    /// Nobody is to supervise the work, as somebody says who knows. Where this is left out and no supervisor is named, nobody has
    /// said.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub nobody_supervised: bool,
    #[schema(min_items = 1, max_items = 20)]
    pub lines: Vec<PlannedLine>,
}

/// A clearance that was given.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ClearanceView {
    pub id: ClearanceId,
    pub property_id: PropertyId,
    pub product_id: ProductId,
    pub person_id: PersonId,
    pub device_id: Option<DeviceId>,
    pub planned_on: Day,
    pub verdict: Verdict,
    #[schema(max_items = 20)]
    pub lines: Vec<LineView>,
    pub granted_at: Instant,
    /// The end of the planned day at the property. The room is free again from then on.
    pub expires_at: Instant,
    pub state: ClearanceState,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ClearanceState {
    /// It holds room.
    Open,
    Used,
    GivenBack,
    Expired,
}

/// How far ahead room may be held.
const DAYS_AHEAD: i32 = 2;

/// The question of a check or clearance, worked out to pounds of product, with the day and the clock at the property.
#[derive(Debug)]
pub struct Plan {
    lines: Vec<Line>,
    today: Day,
    zone: TimeZone,
}

/// For which days a plan is worked out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reach {
    /// A check asks about any day.
    AnyDay,
    /// A clearance holds room for days that are close.
    DaysToHold,
}

/// Gives a clearance, or refuses it with every finding and keeps the attempt.
pub fn clear(
    context: &ActContext,
    id: ClearanceId,
    input: &ClearanceInput,
    world: &mut BatchFacts,
    law: &Lawbook,
) -> Result<ActOutcome, ActFault> {
    if let Some(stored) = world.clearances.get(&id) {
        return repeated(context, stored, world);
    }
    if let Some(taken) = world.taken(id.uuid(), "clearance") {
        return Ok(taken);
    }
    let Some(property) = facts::property(world, input.property_id, context.actor) else {
        return Ok(ActOutcome::Missing("property"));
    };
    let plan = match plan(input, Reach::DaysToHold, context.at, property, world) {
        Ok(plan) => plan,
        Err(faults) => return Ok(ActOutcome::Invalid(faults)),
    };
    let decision = decide(context.asker(), input, &plan, world, law)?;
    if decision.verdict == Verdict::Stop {
        return world.refuse(context, "clearance", &id.to_string(), input.property_id, &decision, law);
    }
    let row = ClearanceRow {
        id,
        property_id: input.property_id,
        product_id: input.product_id,
        person_id: context.actor.person,
        device_id: context.actor.device,
        planned_on: input.planned_on,
        verdict: decision.verdict,
        content: context.content.text.clone(),
        fingerprint: context.content.fingerprint.clone(),
        granted_at: context.at.millis(),
        expires_at: input.planned_on.plus_days(1).starts_at(&plan.zone).millis(),
    };
    let lines = plan.lines.iter().map(|line| ClearedLine(line.section, line.area.raw(), line.product.raw())).collect();
    let stored = StoredClearance { row, ended: None, lines };
    let label = world.product(input.product_id)?.label.clone();
    let decision_hash = world.keep_decision(&format!("clearance/{id}"), context, &decision, law)?;
    hold(context, input, &stored, (&plan, &label), &decision_hash, world)?;
    let view = view(&stored, &label, context.at)?;
    world.clearances.insert(id, stored);
    Ok(ActOutcome::Cleared(view))
}

fn repeated(context: &ActContext, stored: &StoredClearance, world: &BatchFacts) -> Result<ActOutcome, ActFault> {
    if facts::property(world, stored.row.property_id, context.actor).is_none() {
        return Ok(ActOutcome::Missing("clearance"));
    }
    sent_again(&stored.row.content, &stored.row.fingerprint, &context.content)
}

/// Asks the rules about a plan, without effect. What the weather and the ground are like now says nothing about another
/// day: for that they count as unseen.
pub fn decide(
    asker: Asker<'_>,
    input: &ClearanceInput,
    plan: &Plan,
    world: &BatchFacts,
    law: &Lawbook,
) -> Result<Decision, ActFault> {
    let (weather, sighting, ground, beside) = if plan.today == input.planned_on {
        (input.weather.joined(&asker.services.weather), Sighting::Unsaid, input.ground, Vec::new())
    } else {
        (Weather::default(), Sighting::AnotherDay, None, another_day(input))
    };
    let question = Question {
        property: input.property_id,
        product: input.product_id,
        person: asker.actor.person,
        applicator_named: asker.actor.role == domain::actor::Role::Technician,
        supervisor: input.supervisor_id,
        nobody_supervised: input.nobody_supervised,
        on: input.planned_on,
        at: asker.at,
        purpose: input.purpose,
        equipment: input.equipment,
        weather: &weather,
        service_asked: asker.services.asked,
        sighting,
        ground,
        pavement_cleaned: None,
        kept: KeptDistances::default(),
        lines: &plan.lines,
        without: None,
        without_hold: None,
        work: None,
        beside,
    };
    facts::judge(&question, world, law)
}

/// Says that what was sent about weather and ground was not taken for the day that was asked about.
fn another_day(input: &ClearanceInput) -> Vec<Finding> {
    if input.ground.is_none() && input.weather == Weather::default() {
        return Vec::new();
    }
    let message = format!(
        "The weather and the ground that were sent are those of now; for {} they count as unseen.",
        input.planned_on
    );
    vec![facts::book_finding(facts::ON_THE_DAY, Verdict::Care, message, "Ask again on the day, on the lawn.")]
}

/// Works every line out to an area and a mass of product, and says what day it is there.
pub fn plan(
    input: &ClearanceInput,
    reach: Reach,
    at: Instant,
    property: &PropertyRow,
    world: &BatchFacts,
) -> Result<Plan, Vec<FieldFault>> {
    let mut faults = facts::repeated(input.lines.iter().map(|line| line.section_id));
    faults.extend(facts::rejects_service_values(&input.weather));
    let clock = facts::clock(input.property_id, property, at).map_err(|fault| faults.push(fault)).ok();
    let label = world.products.get(&input.product_id).map(|product| &product.label);
    if label.is_none() {
        faults.push(FieldFault::at("/product_id", "not_found", "is no product of this company"));
    }
    if input.supervisor_id.is_some_and(|id| !world.people.contains_key(&id)) {
        faults.push(FieldFault::at("/supervisor_id", "not_found", "names nobody of the staff"));
    }
    if input.nobody_supervised && input.supervisor_id.is_some() {
        faults.push(FieldFault::at("/nobody_supervised", "contradiction", "is said, and a supervisor is named"));
    }
    let mut lines = Vec::new();
    for (at, line) in input.lines.iter().enumerate() {
        let pointer = format!("/lines/{at}");
        let said = (line.section_id, line.parts.as_slice(), line.treated_area_sqft);
        let ground = ground::ground(world, input.property_id, said, input.planned_on, &pointer);
        match (ground, label) {
            (Ok(ground), Some(label)) => {
                let product = amount(line, ground.0, label, &pointer);
                match product.and_then(|product| facts::line(line.section_id, ground, product, &pointer)) {
                    Ok(line) => lines.push(line),
                    Err(fault) => faults.push(fault),
                }
            }
            (Err(fault), _) => faults.push(fault),
            (Ok(_), None) => {}
        }
    }
    let today = clock.as_ref().map(|zone| at.day_in(zone));
    faults.extend(today.filter(|_| reach == Reach::DaysToHold).and_then(|today| too_far(input.planned_on, today)));
    match clock.zip(today).filter(|_| faults.is_empty()) {
        Some((zone, today)) => Ok(Plan { lines, today, zone }),
        None => Err(faults),
    }
}

/// What is wrong with the day for which room is to be held.
fn too_far(planned_on: Day, today: Day) -> Option<FieldFault> {
    let detail = format!(
        "room is held for today ({today}) and the {DAYS_AHEAD} days after; use a check to ask about another day"
    );
    let near = (0..=DAYS_AHEAD).contains(&planned_on.days_since(today));
    (!near).then(|| FieldFault::at("/planned_on", "out_of_range", detail))
}

fn amount(line: &PlannedLine, area: Area, label: &Label, pointer: &str) -> Result<ProductMass, FieldFault> {
    match (line.product_lb, line.target_nitrogen_lb_per_1000_sqft) {
        (Some(product), None) if product.is_zero() => {
            Err(FieldFault::at(format!("{pointer}/product_lb"), "out_of_range", "must be above zero"))
        }
        (Some(product), None) => Ok(product),
        (None, Some(target)) => {
            let worked_out = product_for_target(label, area, target).filter(|product| !product.is_zero());
            let fits = |product: &ProductMass| ProductMass::checked(product.raw()).is_ok();
            worked_out.filter(fits).ok_or_else(|| {
                let pointer = format!("{pointer}/target_nitrogen_lb_per_1000_sqft");
                let detail = "cannot be met with this product: it has no nitrogen, or the target is next to nothing or beyond all measure";
                FieldFault::at(pointer, "impossible", detail)
            })
        }
        _ => Err(FieldFault::at(
            pointer,
            "incomplete",
            "give product_lb or target_nitrogen_lb_per_1000_sqft, one of the two",
        )),
    }
}

/// Notes everything that holding room writes: the clearance, its lines, the journal.
fn hold(
    context: &ActContext,
    input: &ClearanceInput,
    StoredClearance { row, lines, .. }: &StoredClearance,
    (plan, label): (&Plan, &Label),
    decision_hash: &str,
    world: &mut BatchFacts,
) -> Result<(), ActFault> {
    for (ClearedLine(section_id, area, product), line) in lines.iter().zip(&plan.lines) {
        let n = label.nutrients_in(ProductMass::from_raw(*product));
        let held = HeldRow {
            clearance: row.id,
            planned_on: row.planned_on,
            area: *area,
            product: *product,
            nitrogen: n.nitrogen_lb.raw(),
            quick_nitrogen: n.quick_nitrogen_lb.raw(),
            phosphate: n.phosphate_lb.raw(),
            potash: n.potash_lb.raw(),
            flags: flags(label),
            purpose: input.purpose,
            division: line.parts.map(|parts| parts.division),
            parts: line.parts.map(|parts| parts.mask),
            product_id: row.product_id,
        };
        world.effects.clearance_lines.push(ClearanceLineRow {
            clearance_id: row.id,
            section_id: *section_id,
            area: *area,
            product: *product,
            nitrogen: held.nitrogen,
            quick_nitrogen: held.quick_nitrogen,
            phosphate: held.phosphate,
            potash: held.potash,
            flags: held.flags,
            purpose: held.purpose,
            planned_on: row.planned_on,
            expires_at: row.expires_at,
            division: held.division,
            parts: held.parts,
        });
        let section = world.sections.get_mut(section_id);
        section.ok_or_else(|| ActFault::not_loaded("section", section_id))?.held.push(held);
    }
    let payload = serde_json::json!({
        "content": context.content.value, "row": journaled("a clearance", row)?, "decision_sha256": decision_hash,
        "weather_sha256": context.weather_sha256()?, "lines": lines,
    });
    world.effects.clearances.push(row.clone());
    world.journal(context, "clearance.granted", &row.id.to_string(), payload.to_string());
    Ok(())
}

/// A clearance as it is shown at a moment.
pub fn view(stored: &StoredClearance, label: &Label, now: Instant) -> Result<ClearanceView, ActFault> {
    let row = &stored.row;
    let state = match stored.ended.as_deref() {
        Some("used") => ClearanceState::Used,
        Some(_) => ClearanceState::GivenBack,
        None if row.expires_at <= now.millis() => ClearanceState::Expired,
        None => ClearanceState::Open,
    };
    let line = |line: &ClearedLine| line_view(line.0, Area::from_raw(line.1), ProductMass::from_raw(line.2), label);
    Ok(ClearanceView {
        id: row.id,
        property_id: row.property_id,
        product_id: row.product_id,
        person_id: row.person_id,
        device_id: row.device_id,
        planned_on: row.planned_on,
        verdict: row.verdict,
        lines: stored.lines.iter().map(line).collect(),
        granted_at: moment("the grant of a clearance", row.granted_at)?,
        expires_at: moment("the end of a clearance", row.expires_at)?,
        state,
    })
}
