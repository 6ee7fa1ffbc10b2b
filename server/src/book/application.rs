//! What was put down: the record. Stored as it truly happened, decided again with the true history, never edited.

use domain::{
    application::{Ground, Purpose},
    decision::{FindingKey, Verdict},
    equipment::Equipment,
    ids::{
        ApplicationId, ClearanceId, CorrectionId, DeviceId, LotId, PersonId, ProductId, PropertyId, SectionId, VisitId,
    },
    law::Lawbook,
    product::{Label, Nutrients},
    quantity::{Area, NutrientRate, ProductMass, rate_rounded_up},
    time::{Day, Instant},
    weather::Weather,
};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{
    act::{Done, Envelope, Reply, World, differing, unacknowledged},
    facts::{self, Line, Question},
};
use crate::{
    problem::FieldFault,
    store::world::{ApplicationRow, FLAG_ENHANCED, FLAG_ORGANIC, LineRow, MovementRow, standing_lines},
};

/// What was put down on one section.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AppliedLine {
    pub section_id: SectionId,
    /// Ground that was treated, if not the whole section.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub treated_area_sqft: Option<Area>,
    /// Product that was used here, as measured.
    pub product_lb: ProductMass,
}

/// A record as the phone sends it. Amount used, ground and clean-up are what a person saw; nothing of it is assumed.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "property_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a11", "product_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a12",
    "started_at": "2026-09-15T10:05:00-04:00", "finished_at": "2026-09-15T10:31:00-04:00",
    "purpose": "maintenance", "equipment": "rotary_spreader_with_deflector", "ground": "moist", "pavement_cleaned": true,
    "weather": { "air_temperature": { "air_temperature_f": "71.5", "source": "technician", "observed_at": "2026-09-15T10:05:00-04:00" } },
    "lines": [{ "section_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a13", "product_lb": "25.6" }]
}))]
pub struct ApplicationInput {
    pub property_id: PropertyId,
    pub product_id: ProductId,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot_id: Option<LotId>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub visit_id: Option<VisitId>,
    /// The clearance that this work used; its room is released.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clearance_id: Option<ClearanceId>,
    /// The local day of the start, in the property's zone, decides which law applies.
    pub started_at: Instant,
    pub finished_at: Instant,
    pub purpose: Purpose,
    pub equipment: Equipment,
    pub ground: Ground,
    /// Product on walks, drives and streets was swept or blown back.
    pub pavement_cleaned: bool,
    #[serde(default)]
    pub weather: Weather,
    #[schema(min_items = 1, max_items = 20)]
    pub lines: Vec<AppliedLine>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 2000)]
    pub notes: Option<String>,
    /// `key` of each stopping finding that the sender has read, when work that was done goes beyond the rules.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 200)]
    pub acknowledged: Vec<FindingKey>,
    /// Why it was done all the same. Required with `acknowledged`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 1000)]
    pub reason: Option<String>,
    /// When the phone sent this, by its own clock. Not part of the record's content.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sent_at: Option<Instant>,
}

/// What stands of an application on one section.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct LineView {
    pub section_id: SectionId,
    pub area_sqft: Area,
    pub product_lb: ProductMass,
    pub delivers: Nutrients,
    /// Nitrogen on 1,000 sq ft, rounded up in the sixth decimal.
    pub nitrogen_lb_per_1000_sqft: NutrientRate,
}

/// A stored record.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ApplicationView {
    pub id: ApplicationId,
    pub property_id: PropertyId,
    pub product_id: ProductId,
    pub lot_id: Option<LotId>,
    pub visit_id: Option<VisitId>,
    pub clearance_id: Option<ClearanceId>,
    pub person_id: PersonId,
    /// The phone it came through; null when it was entered in the office.
    pub device_id: Option<DeviceId>,
    pub applied_on: Day,
    pub started_at: Instant,
    pub finished_at: Instant,
    pub purpose: Purpose,
    pub equipment: Equipment,
    pub ground: Ground,
    pub pavement_cleaned: bool,
    pub weather: Weather,
    /// As it was recorded; corrections do not change it.
    #[schema(max_items = 20)]
    pub lines: Vec<LineView>,
    #[schema(max_length = 2000)]
    pub notes: Option<String>,
    pub verdict: Verdict,
    /// Stored although a rule said stop, after its findings were acknowledged.
    pub beyond_the_rules: bool,
    #[schema(max_items = 200)]
    pub acknowledged: Vec<FindingKey>,
    #[schema(max_length = 1000)]
    pub reason: Option<String>,
    pub received_at: Instant,
    pub sent_at: Option<Instant>,
    /// Received after the day of application had ended at the property.
    pub late: bool,
    /// The phone's clock at sending differed from the server's by more than ten minutes; seconds, ahead is positive.
    #[schema(minimum = -4_000_000_000_i64, maximum = 4_000_000_000_i64)]
    pub clock_skew_s: Option<i64>,
    /// Corrections of it, oldest first.
    #[schema(max_items = 1000)]
    pub correction_ids: Vec<CorrectionId>,
}

/// A record's content without the moment of sending, which differs between two tries of the same.
pub fn canonical(input: &ApplicationInput) -> serde_json::Value {
    serde_json::to_value(ApplicationInput { sent_at: None, ..input.clone() }).unwrap_or_default()
}

/// Records an application, or refuses it with every finding and keeps the attempt.
pub fn record(
    envelope: &Envelope,
    id: ApplicationId,
    input: &ApplicationInput,
    world: &mut World,
    law: &Lawbook,
) -> Reply {
    if let Some(stored) = world.applications.get(&id) {
        return repeated(envelope, id, stored, world);
    }
    if world.corrections.contains_key(&CorrectionId::from_uuid(id.uuid())) {
        return Reply::Conflict(
            "This id names a correction already; an application needs an id of its own.".to_owned(),
        );
    }
    let Some(property) = facts::property(world, input.property_id, envelope.actor) else {
        return Reply::Missing("property");
    };
    let zone = facts::zone(property);
    let on = input.started_at.day_in(&zone);
    let lines = match resolve(input, on, world) {
        Ok(lines) => lines,
        Err(faults) => return Reply::Invalid(faults),
    };
    let question = Question {
        property: input.property_id,
        product: input.product_id,
        on,
        at: input.started_at,
        purpose: input.purpose,
        equipment: input.equipment,
        weather: &input.weather,
        ground: Some(input.ground),
        pavement_cleaned: Some(input.pavement_cleaned),
        lines: &lines,
        without: None,
        without_hold: input.clearance_id,
        received_at: Some(envelope.at),
    };
    let decision = facts::judge(&question, world, law);
    let stopped = decision.verdict == Verdict::Stop;
    if stopped && unacknowledged(&decision, &input.acknowledged) {
        return world.refuse(envelope, "application", &id.to_string(), input.property_id, &decision, law);
    }
    let row = ApplicationRow {
        property_id: input.property_id,
        product_id: input.product_id,
        lot_id: input.lot_id,
        person_id: envelope.actor.person,
        device_id: envelope.actor.device,
        applied_on: on,
        received_at: envelope.at.millis(),
        sent_at: input.sent_at.map(Instant::millis),
        verdict: decision.verdict,
        beyond_the_rules: i64::from(stopped),
        content: envelope.content.clone(),
        fingerprint: envelope.fingerprint.clone(),
    };
    let decision_hash = world.keep_decision(&format!("application/{id}"), envelope.at, &decision, law);
    store(envelope, id, input, &row, &lines, &decision_hash, world);
    let label = world.products.get(&input.product_id).map(|product| product.label.clone());
    let lines = lines
        .iter()
        .filter_map(|line| Some(line_view(line.section, line.area, line.product, label.as_ref()?)))
        .collect();
    let late = envelope.at.day_in(&zone) > on;
    world.applications.insert(id, row.clone());
    match view(id, &row, lines, Vec::new(), late) {
        Ok(view) => Reply::Recorded(Box::new(Done::new(view))),
        Err(_) => Reply::Missing("application"),
    }
}

/// The same id again: the stored record if the content is the same, otherwise the fields that differ.
fn repeated(envelope: &Envelope, id: ApplicationId, stored: &ApplicationRow, world: &World) -> Reply {
    if facts::property(world, stored.property_id, envelope.actor).is_none() {
        return Reply::Missing("application");
    }
    if stored.fingerprint != envelope.fingerprint {
        return Reply::Reused(differing(&stored.content, &envelope.content));
    }
    let label = world.products.get(&stored.product_id).map(|product| product.label.clone());
    let lines = original_lines(stored, id, world, label.as_ref());
    let zone = world.properties.get(&stored.property_id).map(facts::zone);
    let late = zone
        .and_then(|zone| Some(Instant::from_millis(stored.received_at)?.day_in(&zone)))
        .is_some_and(|day| day > stored.applied_on);
    match view(id, stored, lines, Vec::new(), late) {
        Ok(view) => Reply::Recorded(Box::new(Done::again(view))),
        Err(_) => Reply::Missing("application"),
    }
}

/// Lines as first recorded: areas by the content, or by the measurement of the day.
fn original_lines(stored: &ApplicationRow, id: ApplicationId, world: &World, label: Option<&Label>) -> Vec<LineView> {
    let content: Option<ApplicationInput> = serde_json::from_str(&stored.content).ok();
    let standing = standing_lines(&world.sections, id);
    let area = |line: &AppliedLine| {
        let known =
            standing.iter().find(|(section, _)| *section == line.section_id).map(|(_, row)| Area::from_raw(row.2));
        line.treated_area_sqft.or(known).or_else(|| world.sections.get(&line.section_id)?.area_on(stored.applied_on))
    };
    let lines = content.map(|content| content.lines).unwrap_or_default();
    lines.iter().filter_map(|line| Some(line_view(line.section_id, area(line)?, line.product_lb, label?))).collect()
}

/// Everything the input names must be there and fit together.
fn resolve(input: &ApplicationInput, on: Day, world: &World) -> Result<Vec<Line>, Vec<FieldFault>> {
    let mut faults = facts::repeated(input.lines.iter().map(|line| line.section_id));
    if !world.products.contains_key(&input.product_id) {
        faults.push(FieldFault::at("/product_id", "not_found", "is no product of this company"));
    }
    if let Some(lot) = input.lot_id
        && world.lots.get(&lot) != Some(&input.product_id)
    {
        faults.push(FieldFault::at("/lot_id", "not_found", "is no lot of this product"));
    }
    if let Some(visit) = input.visit_id
        && world.visits.get(&visit) != Some(&input.property_id)
    {
        faults.push(FieldFault::at("/visit_id", "not_found", "is no visit to this property"));
    }
    if let Some(id) = input.clearance_id {
        let cleared = world.clearances.get(&id);
        if !cleared.is_some_and(|c| c.property_id == input.property_id && c.product_id == input.product_id) {
            faults.push(FieldFault::at("/clearance_id", "not_found", "is no clearance for this property and product"));
        } else if cleared.is_some_and(|c| c.ended.as_deref() == Some("used")) {
            faults.push(FieldFault::at("/clearance_id", "used", "was used by another application already"));
        }
    }
    let seconds = input.finished_at.since(input.started_at).as_secs();
    if !(0..=86_400).contains(&seconds) {
        faults.push(FieldFault::at("/finished_at", "out_of_range", "must lie after started_at, by a day at most"));
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

/// Notes everything that recording writes: record, ledger, stock, the clearance's end, journal.
fn store(
    envelope: &Envelope,
    id: ApplicationId,
    input: &ApplicationInput,
    row: &ApplicationRow,
    lines: &[Line],
    decision_hash: &str,
    world: &mut World,
) {
    let subject = id.to_string();
    world.effects.applications.push(serde_json::json!({
        "id": subject, "property_id": row.property_id, "product_id": row.product_id, "lot_id": row.lot_id,
        "visit_id": input.visit_id, "clearance_id": input.clearance_id, "person_id": row.person_id, "device_id": row.device_id,
        "applied_on": row.applied_on, "received_at": row.received_at, "sent_at": row.sent_at, "verdict": row.verdict,
        "beyond_the_rules": row.beyond_the_rules, "content": row.content, "fingerprint": row.fingerprint,
    }));
    let mut ledger = Vec::new();
    if let Some(label) = world.products.get(&input.product_id).map(|product| product.label.clone()) {
        ledger
            .extend(lines.iter().map(|line| ledger_line(&subject, id, line, &label, row.applied_on, input.purpose, 1)));
    }
    let used: i64 = lines.iter().map(|line| line.product.raw()).sum();
    world.effects.movements.push(MovementRow {
        // One movement a record, so the record's own id names it.
        id: subject.clone(),
        product_id: input.product_id.to_string(),
        lot_id: input.lot_id.map(|lot| lot.to_string()),
        kind: "applied",
        mass: -used,
        moved_on: row.applied_on,
        person_id: envelope.actor.person.to_string(),
        record_id: subject.clone(),
        reason: None,
        recorded_at: envelope.at.millis(),
    });
    if let Some(product) = world.products.get_mut(&input.product_id) {
        product.balance -= used;
    }
    if let Some(clearance) = input.clearance_id {
        world.end_clearance(clearance, "used", Some(id), envelope.at);
    }
    let payload = serde_json::json!({
        "content": serde_json::from_str::<serde_json::Value>(&row.content).unwrap_or_default(),
        "applied_on": row.applied_on, "verdict": row.verdict, "beyond_the_rules": row.beyond_the_rules == 1,
        "decision_sha256": decision_hash, "lines": ledger,
    });
    world.add_to_ledger(ledger);
    world.journal(envelope, "application.recorded", &subject, payload.to_string());
}

/// A row of the ledger; `sign` is -1 for what a correction takes back.
pub fn ledger_line(
    record: &str,
    application: ApplicationId,
    line: &Line,
    label: &Label,
    on: Day,
    purpose: Purpose,
    sign: i64,
) -> LineRow {
    let nutrients = label.nutrients_in(line.product);
    LineRow {
        record_id: record.to_owned(),
        application_id: application.to_string(),
        section_id: line.section.to_string(),
        applied_on: on,
        area: line.area.raw(),
        product: sign * line.product.raw(),
        nitrogen: sign * nutrients.nitrogen_lb.raw(),
        quick_nitrogen: sign * nutrients.quick_nitrogen_lb.raw(),
        phosphate: sign * nutrients.phosphate_lb.raw(),
        potash: sign * nutrients.potash_lb.raw(),
        flags: flags(label),
        purpose,
    }
}

pub fn flags(label: &Label) -> i64 {
    i64::from(label.enhanced_efficiency) * FLAG_ENHANCED + i64::from(label.organic) * FLAG_ORGANIC
}

pub fn line_view(section: SectionId, area: Area, product: ProductMass, label: &Label) -> LineView {
    let delivers = label.nutrients_in(product);
    LineView {
        section_id: section,
        area_sqft: area,
        product_lb: product,
        delivers,
        nitrogen_lb_per_1000_sqft: rate_rounded_up(delivers.nitrogen_lb.raw(), area),
    }
}

/// A stored record as it is shown.
pub fn view(
    id: ApplicationId,
    row: &ApplicationRow,
    lines: Vec<LineView>,
    correction_ids: Vec<CorrectionId>,
    late: bool,
) -> Result<ApplicationView, serde_json::Error> {
    let content: ApplicationInput = serde_json::from_str(&row.content)?;
    let skew = row
        .sent_at
        .map(|sent| (sent - row.received_at) / 1000)
        .filter(|skew| skew.abs() > facts::CLOCKS_DIFFER.as_secs());
    Ok(ApplicationView {
        id,
        property_id: row.property_id,
        product_id: row.product_id,
        lot_id: row.lot_id,
        visit_id: content.visit_id,
        clearance_id: content.clearance_id,
        person_id: row.person_id,
        device_id: row.device_id,
        applied_on: row.applied_on,
        started_at: content.started_at,
        finished_at: content.finished_at,
        purpose: content.purpose,
        equipment: content.equipment,
        ground: content.ground,
        pavement_cleaned: content.pavement_cleaned,
        weather: content.weather,
        lines,
        notes: content.notes,
        verdict: row.verdict,
        beyond_the_rules: row.beyond_the_rules == 1,
        acknowledged: content.acknowledged,
        reason: content.reason,
        received_at: Instant::from_millis(row.received_at).unwrap_or(content.finished_at),
        sent_at: row.sent_at.and_then(Instant::from_millis),
        late,
        clock_skew_s: skew,
        correction_ids,
    })
}
