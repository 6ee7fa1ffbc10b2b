//! Permission before product leaves the hopper: the same decision as a check, and the room is held until it is used, given
//! back or the planned day ends, so two trucks cannot spend the same pound.

use domain::{
    application::{Ground, Purpose},
    decision::{Decision, Finding, Verdict},
    equipment::Equipment,
    ids::{ClearanceId, DeviceId, PersonId, ProductId, PropertyId, SectionId},
    law::Lawbook,
    product::{Label, product_for_target},
    quantity::{Area, NutrientRate, ProductMass},
    time::{Day, Instant},
    weather::Weather,
};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    acts::{
        ActContext, ActOutcome, BatchFacts, Stored,
        application::{LineView, flags, line_view},
        differing,
        facts::{self, Line, Question},
        rows::{ClearanceRow, ClearedLine, HeldRow},
        with_content,
    },
    problem::FieldFault,
};

/// What is to be put down on one section: so much product, or as much as delivers a nitrogen target.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlannedLine {
    pub section_id: SectionId,
    /// Ground to be treated, if not the whole section.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub treated_area_sqft: Option<Area>,
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

/// The question of a check or clearance, worked out to pounds of product.
#[derive(Debug)]
pub struct Plan {
    pub lines: Vec<Line>,
}

/// Gives a clearance, or refuses it with every finding and keeps the attempt.
pub fn clear(
    context: &ActContext,
    id: ClearanceId,
    input: &ClearanceInput,
    world: &mut BatchFacts,
    law: &Lawbook,
) -> ActOutcome {
    if let Some(stored) = world.clearances.get(&id) {
        return repeated(context, id, stored, world);
    }
    let Some(property) = facts::property(world, input.property_id, context.actor) else {
        return ActOutcome::Missing("property");
    };
    let zone = facts::zone(property);
    let today = context.at.day_in(&zone);
    let planned = plan(input, world);
    let mut faults = planned.as_ref().err().cloned().unwrap_or_default();
    if !(0..=DAYS_AHEAD).contains(&input.planned_on.days_since(today)) {
        let detail = format!(
            "room is held for today ({today}) and the {DAYS_AHEAD} days after; use a check to ask about another day"
        );
        faults.push(FieldFault::at("/planned_on", "out_of_range", detail));
    }
    let mut plan = match planned {
        Ok(plan) if faults.is_empty() => plan,
        _ => return ActOutcome::Invalid(faults),
    };
    let decision = decide(context, input, &plan, world, law);
    if decision.verdict == Verdict::Stop {
        return world.refuse(context, "clearance", &id.to_string(), input.property_id, &decision, law);
    }
    let expires_at = input.planned_on.plus_days(1).starts_at(&zone);
    let row = ClearanceRow {
        property_id: input.property_id,
        product_id: input.product_id,
        person_id: context.actor.person,
        device_id: context.actor.device,
        planned_on: input.planned_on,
        verdict: decision.verdict,
        content: context.content.clone(),
        fingerprint: context.fingerprint.clone(),
        granted_at: context.at.millis(),
        expires_at: expires_at.millis(),
        ended: None,
        lines: plan
            .lines
            .drain(..)
            .map(|line| ClearedLine(line.section, line.area.raw(), line.product.raw()))
            .collect(),
    };
    let decision_hash = world.keep_decision(&format!("clearance/{id}"), context, &decision, law);
    hold(context, id, input, &row, &decision_hash, world);
    let view = world.products.get(&input.product_id).map(|product| view(id, &row, &product.label, context.at));
    world.clearances.insert(id, row);
    view.map_or(ActOutcome::Missing("product"), |view| ActOutcome::Cleared(Stored::new(view)))
}

fn repeated(context: &ActContext, id: ClearanceId, stored: &ClearanceRow, world: &BatchFacts) -> ActOutcome {
    if facts::property(world, stored.property_id, context.actor).is_none() {
        return ActOutcome::Missing("clearance");
    }
    if stored.fingerprint != context.fingerprint {
        return ActOutcome::Reused(differing(&stored.content, &context.content));
    }
    let label = world.products.get(&stored.product_id).map(|product| &product.label);
    label.map_or(ActOutcome::Missing("product"), |label| {
        ActOutcome::Cleared(Stored::again(view(id, stored, label, context.at)))
    })
}

/// Asks the rules about a plan, without effect. What the weather and the ground are like now says nothing about another
/// day: for that they count as unseen.
pub fn decide(
    context: &ActContext,
    input: &ClearanceInput,
    plan: &Plan,
    world: &BatchFacts,
    law: &Lawbook,
) -> Decision {
    let at = context.at;
    let today = world.properties.get(&input.property_id).map(|property| at.day_in(&facts::zone(property)));
    let (weather, ground, own) = if today == Some(input.planned_on) {
        (input.weather.joined(&context.weather.weather), input.ground, Vec::new())
    } else {
        (Weather::default(), None, another_day(input))
    };
    let question = Question {
        property: input.property_id,
        product: input.product_id,
        person: context.actor.person,
        on: input.planned_on,
        at,
        purpose: input.purpose,
        equipment: input.equipment,
        weather: &weather,
        ground,
        pavement_cleaned: None,
        lines: &plan.lines,
        without: None,
        without_hold: None,
        work: None,
        own,
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
    vec![facts::own("book.seen.on_the_day", Verdict::Care, message, "Ask again on the day, on the lawn.")]
}

/// Works every line out to an area and a mass of product.
pub fn plan(input: &ClearanceInput, world: &BatchFacts) -> Result<Plan, Vec<FieldFault>> {
    let mut faults = facts::repeated(input.lines.iter().map(|line| line.section_id));
    faults.extend(facts::rejects_service_values(&input.weather));
    faults.extend(facts::clock(world, input.property_id));
    let label = world.products.get(&input.product_id).map(|product| &product.label);
    if label.is_none() {
        faults.push(FieldFault::at("/product_id", "not_found", "is no product of this company"));
    }
    let mut lines = Vec::new();
    for (at, line) in input.lines.iter().enumerate() {
        let pointer = format!("/lines/{at}");
        let area = facts::treated(
            world,
            input.property_id,
            line.section_id,
            line.treated_area_sqft,
            input.planned_on,
            &pointer,
        );
        match (area, label) {
            (Ok(area), Some(label)) => match amount(line, area, label, &pointer) {
                Ok(product) => lines.push(Line { section: line.section_id, area, product }),
                Err(fault) => faults.push(fault),
            },
            (Err(fault), _) => faults.push(fault),
            (Ok(_), None) => {}
        }
    }
    if faults.is_empty() { Ok(Plan { lines }) } else { Err(faults) }
}

fn amount(line: &PlannedLine, area: Area, label: &Label, pointer: &str) -> Result<ProductMass, FieldFault> {
    match (line.product_lb, line.target_nitrogen_lb_per_1000_sqft) {
        (Some(product), None) if product.is_zero() => {
            Err(FieldFault::at(format!("{pointer}/product_lb"), "out_of_range", "must be above zero"))
        }
        (Some(product), None) => Ok(product),
        (None, Some(target)) => {
            product_for_target(label, area, target).filter(|product| !product.is_zero()).ok_or_else(|| {
                let pointer = format!("{pointer}/target_nitrogen_lb_per_1000_sqft");
                FieldFault::at(
                    pointer,
                    "impossible",
                    "cannot be met with this product: it has no nitrogen, or the target is next to nothing",
                )
            })
        }
        _ => Err(FieldFault::at(
            pointer,
            "incomplete",
            "give product_lb or target_nitrogen_lb_per_1000_sqft, one of the two",
        )),
    }
}

fn hold(
    context: &ActContext,
    id: ClearanceId,
    input: &ClearanceInput,
    row: &ClearanceRow,
    decision_hash: &str,
    world: &mut BatchFacts,
) {
    let subject = id.to_string();
    let stored = serde_json::json!({
        "id": subject, "property_id": row.property_id, "product_id": row.product_id, "person_id": row.person_id,
        "device_id": row.device_id, "planned_on": row.planned_on, "verdict": row.verdict,
        "fingerprint": row.fingerprint, "granted_at": row.granted_at, "expires_at": row.expires_at,
    });
    world.effects.clearances.push(with_content(&stored, &row.content));
    let Some(label) = world.products.get(&input.product_id).map(|product| product.label.clone()) else { return };
    for ClearedLine(section, area, product) in &row.lines {
        let n = label.nutrients_in(ProductMass::from_raw(*product));
        let (nitrogen, quick) = (n.nitrogen_lb.raw(), n.quick_nitrogen_lb.raw());
        let (phosphate, potash) = (n.phosphate_lb.raw(), n.potash_lb.raw());
        world.effects.clearance_lines.push(serde_json::json!({
            "clearance_id": subject, "section_id": section, "area": area, "product": product, "nitrogen": nitrogen,
            "quick_nitrogen": quick, "phosphate": phosphate, "potash": potash, "flags": flags(&label),
            "purpose": input.purpose, "planned_on": row.planned_on, "expires_at": row.expires_at,
        }));
        if let Some(section) = world.sections.get_mut(section) {
            let held = HeldRow {
                clearance: id,
                planned_on: row.planned_on,
                area: *area,
                nitrogen,
                quick_nitrogen: quick,
                phosphate,
                potash,
                flags: flags(&label),
                purpose: input.purpose,
            };
            section.held.push(held);
        }
    }
    let payload = serde_json::json!({
        "content": serde_json::from_str::<serde_json::Value>(&row.content).unwrap_or_default(), "row": stored,
        "decision_sha256": decision_hash, "weather_sha256": context.weather_sha256(), "lines": row.lines,
    });
    world.journal(context, "clearance.granted", &subject, payload.to_string());
}

/// A stored clearance as it is shown at a moment.
pub fn view(id: ClearanceId, row: &ClearanceRow, label: &Label, now: Instant) -> ClearanceView {
    let state = match row.ended.as_deref() {
        Some("used") => ClearanceState::Used,
        Some(_) => ClearanceState::GivenBack,
        None if row.expires_at <= now.millis() => ClearanceState::Expired,
        None => ClearanceState::Open,
    };
    let line = |line: &ClearedLine| line_view(line.0, Area::from_raw(line.1), ProductMass::from_raw(line.2), label);
    ClearanceView {
        id,
        property_id: row.property_id,
        product_id: row.product_id,
        person_id: row.person_id,
        device_id: row.device_id,
        planned_on: row.planned_on,
        verdict: row.verdict,
        lines: row.lines.iter().map(line).collect(),
        granted_at: Instant::from_millis(row.granted_at).unwrap_or(now),
        expires_at: Instant::from_millis(row.expires_at).unwrap_or(now),
        state,
    }
}
