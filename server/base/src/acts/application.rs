//! What was put down: the record as it is sent, kept and shown. The act of recording stands in `record.rs`.

use domain::{
    application::{Ground, Purpose},
    decision::{FindingKey, Verdict},
    equipment::Equipment,
    ids::{
        ApplicationId, ClearanceId, CorrectionId, DeviceId, EquipmentId, LotId, PersonId, ProductId, PropertyId,
        SectionId, VisitId,
    },
    product::{Label, Nutrients},
    quantity::{Area, NutrientRate, ProductMass, rate_rounded_up},
    time::{Day, Instant},
    weather::Weather,
};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    acts::{
        content::Content,
        effects::LineRow,
        facts::Line,
        fault::{ActFault, moment},
        particulars::PersonalTexts,
        rows::{ApplicationRow, FLAG_ENHANCED, FLAG_ORGANIC},
        seen::SeenFacts,
    },
    clock::CLOCKS_DIFFER,
};

/// What a part of a section is called.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(transparent)]
#[schema(min_length = 1, max_length = 60, format = "line", example = "east of the drive")]
pub struct PartName(pub String);

/// What was put down on one section.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AppliedLine {
    pub section_id: SectionId,
    /// Ground that was treated, if not the whole section, nor all of the parts that are named.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub treated_area_sqft: Option<Area>,
    /// The parts that it was put on, by the names that the section's division of the day gives them. Lines on different parts do
    /// not add up; a line that names none may lie anywhere.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 16)]
    pub parts: Vec<PartName>,
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
    /// Who did the work, when the office or the owner enters it for somebody; the sender otherwise.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub applied_by: Option<PersonId>,
    /// Who supervised the work, where somebody did.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub supervisor_id: Option<PersonId>,
    /// Nobody supervised the work, as somebody says who was there. Where this is left out and no supervisor is named, nobody has said.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub nobody_supervised: bool,
    /// Who else of the staff was there.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 10)]
    pub present_ids: Vec<PersonId>,
    /// The clearance that this work used; its room is released.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clearance_id: Option<ClearanceId>,
    /// The local day of the start, in the property's zone, decides which law applies.
    pub started_at: Instant,
    pub finished_at: Instant,
    /// What the phone's own clock said when the work began, beside `started_at`, which follows the server's clock.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub phone_started_at: Option<Instant>,
    /// What the phone's own clock said when the work ended.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub phone_finished_at: Option<Instant>,
    /// The largest jump of the phone's clock that it noticed between the download of the day and the end, in seconds; ahead is
    /// positive. Left out when there was none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -4_000_000_000_i64, maximum = 4_000_000_000_i64)]
    pub clock_jump_s: Option<i64>,
    pub purpose: Purpose,
    pub equipment: Equipment,
    /// The company's own machine that was used, if it is known which. It must be in use and of the kind that `equipment` says.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub equipment_id: Option<EquipmentId>,
    pub ground: Ground,
    /// Product on walks, drives and streets was swept or blown back.
    pub pavement_cleaned: bool,
    #[serde(default)]
    pub weather: Weather,
    /// What else was seen and done, as far as it is known when this is sent; the rest is added to the record later.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seen: Option<SeenFacts>,
    #[schema(min_items = 1, max_items = 20)]
    pub lines: Vec<AppliedLine>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 2000, format = "lines")]
    pub notes: Option<String>,
    /// `key` of each stopping finding that the sender has read, when work that was done goes beyond the rules.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 200)]
    pub acknowledged: Vec<FindingKey>,
    /// Why it was done all the same. Required with `acknowledged`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 1000, format = "lines")]
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
    /// The parts of the section that it lies in; left out when it may lie anywhere.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 16)]
    pub parts: Vec<PartName>,
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
    /// Who did the work.
    pub person_id: PersonId,
    /// The name of that person when it was recorded.
    #[schema(max_length = 120)]
    pub person_name: String,
    /// Who sent it.
    pub entered_by: PersonId,
    /// The phone it came through; null when it was entered in the office.
    pub device_id: Option<DeviceId>,
    pub applied_on: Day,
    pub started_at: Instant,
    pub finished_at: Instant,
    /// What the phone's own clock said when the work began, beside `started_at`, which follows the server's clock.
    pub phone_started_at: Option<Instant>,
    /// What the phone's own clock said when the work ended.
    pub phone_finished_at: Option<Instant>,
    /// The farthest that the phone's clock was moved while this was worked on, as the phone noticed; seconds, ahead is positive.
    #[schema(minimum = -4_000_000_000_i64, maximum = 4_000_000_000_i64)]
    pub clock_jump_s: Option<i64>,
    pub purpose: Purpose,
    pub equipment: Equipment,
    pub equipment_id: Option<EquipmentId>,
    pub ground: Ground,
    pub pavement_cleaned: bool,
    pub weather: Weather,
    pub supervisor_id: Option<PersonId>,
    /// Somebody said that nobody supervised the work.
    pub nobody_supervised: bool,
    #[schema(max_items = 10)]
    pub present_ids: Vec<PersonId>,
    /// What else was seen and done, as it was sent with the record.
    pub seen: Option<SeenFacts>,
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
    /// Received after the day of application had ended at the property; null where the property's zone is not known any more.
    pub late: Option<bool>,
    /// The phone's clock at sending differed from the server's by more than ten minutes; seconds, ahead is positive.
    #[schema(minimum = -4_000_000_000_i64, maximum = 4_000_000_000_i64)]
    pub clock_skew_s: Option<i64>,
    /// Corrections of it, oldest first.
    #[schema(max_items = 1000)]
    pub correction_ids: Vec<CorrectionId>,
}

impl ApplicationView {
    /// Whether the record itself has a line on a section, whatever was said since.
    pub fn tells_of(&self, section: SectionId) -> bool {
        self.lines.iter().any(|line| line.section_id == section)
    }
}

impl ApplicationInput {
    /// The record without what may differ between two tries of the same: the order in which findings were acknowledged, and
    /// whether the person who did the work is named or is the sender.
    #[must_use]
    pub fn canonical(mut self, sender: PersonId) -> Self {
        self.applied_by = self.applied_by.or(Some(sender));
        self.acknowledged.sort_by(|a, b| a.0.cmp(&b.0));
        self.acknowledged.dedup_by(|a, b| a.0 == b.0);
        self.present_ids.sort();
        self.present_ids.dedup();
        self.seen = self.seen.filter(|seen| !seen.is_empty());
        self
    }

    /// What is kept of it as its content: all but the moment of sending, with its texts about people apart.
    pub fn content(&self) -> Result<Content, ActFault> {
        Content::apart(&Self { sent_at: None, ..self.clone() })
    }
}

/// A row of the ledger.
pub fn ledger_line(
    record: &str,
    application: ApplicationId,
    line: &Line,
    label: &Label,
    on: Day,
    purpose: Purpose,
) -> LineRow {
    let nutrients = label.nutrients_in(line.product);
    LineRow {
        record_id: record.to_owned(),
        application_id: application,
        section_id: line.section,
        applied_on: on,
        area: line.area.raw(),
        product: line.product.raw(),
        nitrogen: nutrients.nitrogen_lb.raw(),
        quick_nitrogen: nutrients.quick_nitrogen_lb.raw(),
        phosphate: nutrients.phosphate_lb.raw(),
        potash: nutrients.potash_lb.raw(),
        flags: flags(label),
        purpose,
        division: line.parts.map(|parts| parts.division),
        parts: line.parts.map(|parts| parts.mask),
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
        parts: Vec::new(),
        product_lb: product,
        delivers,
        nitrogen_lb_per_1000_sqft: rate_rounded_up(delivers.nitrogen_lb.raw(), area),
    }
}

/// A record as it is shown: its row, with its content as it was read or is about to be written.
pub fn view(
    row: ApplicationRow,
    content: ApplicationInput,
    texts: Option<PersonalTexts>,
    lines: Vec<LineView>,
    correction_ids: Vec<CorrectionId>,
    late: Option<bool>,
) -> Result<ApplicationView, ActFault> {
    let texts = texts.unwrap_or_default();
    let skew =
        row.sent_at.map(|sent| (sent - row.received_at) / 1000).filter(|skew| skew.abs() > CLOCKS_DIFFER.as_secs());
    Ok(ApplicationView {
        id: row.id,
        property_id: row.property_id,
        product_id: row.product_id,
        lot_id: row.lot_id,
        visit_id: row.visit_id,
        clearance_id: row.clearance_id,
        person_id: row.person_id,
        person_name: texts.applicator.unwrap_or(row.person_name),
        entered_by: row.entered_by,
        device_id: row.device_id,
        applied_on: row.applied_on,
        started_at: content.started_at,
        finished_at: content.finished_at,
        phone_started_at: content.phone_started_at,
        phone_finished_at: content.phone_finished_at,
        clock_jump_s: content.clock_jump_s,
        purpose: content.purpose,
        equipment: content.equipment,
        equipment_id: content.equipment_id,
        ground: content.ground,
        pavement_cleaned: content.pavement_cleaned,
        weather: content.weather,
        supervisor_id: content.supervisor_id,
        nobody_supervised: content.nobody_supervised,
        present_ids: content.present_ids,
        seen: content.seen,
        lines,
        notes: texts.notes.or(content.notes),
        verdict: row.verdict,
        beyond_the_rules: row.beyond_the_rules == 1,
        acknowledged: content.acknowledged,
        reason: texts.reason.or(content.reason),
        received_at: moment("the receipt of a record", row.received_at)?,
        sent_at: row.sent_at.map(|sent| moment("the sending of a record", sent)).transpose()?,
        late,
        clock_skew_s: skew,
        correction_ids,
    })
}
