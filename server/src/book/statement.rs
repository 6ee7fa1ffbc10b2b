//! The yearly statement of a client, a property or a section: which land, how big, which cap, who set it, what went on, and
//! whether it is complete. Each figure is traced to its records, and gaps are named.

mod after;
mod changes;
mod law_then;
mod lines;
mod open_ends;

use std::{
    collections::{BTreeSet, HashMap},
    sync::Arc,
};

use domain::{
    ids::{ApplicationId, ClientId, CorrectionId, PropertyId, SectionId},
    land::Species,
    law::{Lawbook, year::YearCap},
    product::Nutrients,
    quantity::{Area, LimitShare, NutrientRate, NutrientRoom, ProductMass, ProductTotal},
    statement::{
        RecordedLine, Totals,
        caps::{CapRooms, DatedLoad, DatedLoads},
    },
    time::{Day, Instant},
};
use jiff::tz::TimeZone;
use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    acts::application::PartName,
    book::{gaps::Lacking, receipts::Receipt},
    store::statements::{MeasurementPart, Parts, RecordPart, SectionPart, SoilPart, Span},
    zone::UnknownZone,
};

pub use law_then::{Ground, LawThen, missing, told};

/// A statement.
#[derive(Debug, Serialize, ToSchema)]
pub struct Statement {
    #[schema(minimum = 1990, maximum = 2199)]
    pub year: i16,
    pub from: Day,
    pub to: Day,
    pub prepared_at: Instant,
    #[schema(max_length = 120)]
    pub company_name: String,
    pub client_id: ClientId,
    #[schema(max_length = 120)]
    pub client_name: String,
    #[schema(max_length = 300)]
    pub mailing_address: String,
    #[schema(max_items = 500)]
    pub sections: Vec<SectionStatement>,
    /// Everything put down on all sections.
    pub total: Nutrients,
    /// The rule sets whose caps are shown, with the day they were read.
    #[schema(max_items = 50)]
    pub rule_sets: Vec<RuleSetReading>,
    /// What keeps this statement from being complete, or must be known to read it. Empty when nothing does.
    #[schema(max_items = 100_000)]
    pub gaps: Vec<Gap>,
    #[schema(max_length = 400)]
    pub caution: &'static str,
    /// How far the journal had come when this was prepared. Like the date of preparation, it is another one each time.
    pub receipt: Receipt,
}

/// One thing that a reader of the statement must know.
#[derive(Debug, Serialize, ToSchema)]
#[schema(max_length = 1000)]
#[serde(transparent)]
pub struct Gap(pub String);

/// A rule set and the day it was read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct RuleSetReading {
    #[schema(max_length = 60)]
    pub code: String,
    #[schema(max_length = 120)]
    pub name: String,
    pub last_checked: Day,
}

/// One section's year.
#[derive(Debug, Serialize, ToSchema)]
pub struct SectionStatement {
    pub section_id: SectionId,
    #[schema(max_length = 120)]
    pub section_name: String,
    pub property_id: PropertyId,
    #[schema(max_length = 300)]
    pub address: String,
    pub species: Option<Species>,
    /// Area by the latest measurement; each line is counted with the area of its own day.
    pub area_sqft: Option<Area>,
    pub area_measured_on: Option<Day>,
    pub soil_sampled_on: Option<Day>,
    /// The tightest yearly nitrogen cap and who set it; null when no rule set that was read has one.
    pub cap: Option<YearCap>,
    pub applied: Nutrients,
    pub product_lb: ProductTotal,
    /// Each application at the rate of its own area, added up where most of it lies upon one another, and rounded up in the sixth
    /// decimal.
    pub nitrogen_lb_per_1000_sqft: NutrientRate,
    pub quick_nitrogen_lb_per_1000_sqft: NutrientRate,
    pub phosphate_lb_per_1000_sqft: NutrientRate,
    pub potash_lb_per_1000_sqft: NutrientRate,
    /// Nitrogen left under the cap, rounded down; below zero past it.
    pub remaining_nitrogen_lb_per_1000_sqft: Option<NutrientRoom>,
    pub percent_of_cap: Option<LimitShare>,
    /// Every yearly cap that binds here, on phosphate as well, held against the calendar year and against 365 days. The figures above
    /// are those of the calendar year.
    #[schema(max_items = 200)]
    pub caps: Vec<CapRooms>,
    /// The parts that applications named, each with all that may lie there; empty where none did, and everything is added up.
    #[schema(max_items = 64)]
    pub pieces: Vec<GroundYear>,
    #[schema(max_items = 100_000)]
    pub lines: Vec<StatementLine>,
}

/// A piece of a section's ground, and its year.
#[derive(Debug, Serialize, ToSchema)]
pub struct GroundYear {
    /// The part that it lies in; of each division one, where the section was divided anew.
    #[schema(max_items = 16)]
    pub parts: Vec<PartName>,
    pub nitrogen_lb_per_1000_sqft: NutrientRate,
}

/// What one application put on the section, by the last word on it.
#[derive(Debug, Serialize, ToSchema)]
pub struct StatementLine {
    pub application_id: ApplicationId,
    /// The correction that says what stands here.
    pub correction_id: Option<CorrectionId>,
    pub applied_on: Day,
    #[schema(max_length = 120)]
    pub product_name: String,
    #[schema(max_length = 40, example = "24-0-10")]
    pub grade: String,
    pub area_sqft: Area,
    /// The parts that it lies in; empty when it may lie anywhere.
    #[schema(max_items = 16)]
    pub parts: Vec<PartName>,
    pub product_lb: ProductMass,
    pub delivers: Nutrients,
    pub nitrogen_lb_per_1000_sqft: NutrientRate,
    #[schema(max_length = 120)]
    pub applied_by: String,
    /// Numbers of the licenses and certificates that this person held on the day, as they were fixed with the record; those that were
    /// added to it later say so. Of records of earlier versions, by the book of today. Empty when none is entered.
    #[schema(max_length = 10_000)]
    pub credential_numbers: String,
    /// By the last word on it, or by a distance that was added to its record later.
    pub beyond_the_rules: bool,
    /// Received after the day of application had ended at the property.
    pub late: bool,
}

const CAUTION: &str = "Caps come from rule sets read on the days shown, a working copy of public law. The label and the local authority prevail; ask them where it matters.";

/// What a statement is prepared with.
#[derive(Debug)]
pub struct Preparation<'a> {
    pub year: i16,
    /// Its days. Caps are those of the day as of which everything is named.
    pub span: Span,
    pub at: Instant,
    /// The company's clock.
    pub zone: TimeZone,
    pub company_name: String,
    pub law: &'a Lawbook,
    /// What counted when the span ended, where other versions of it count now.
    pub law_then: Option<LawThen>,
    /// What its records lack by the law of their days.
    pub lacking: Lacking,
    /// Made after everything was read, so that it covers all that stands on the statement.
    pub receipt: Receipt,
}

/// Puts a statement together; nothing if there is no section in it that the caller may see.
pub fn statement(preparation: Preparation<'_>, parts: &Parts) -> Result<Option<Statement>, UnknownZone> {
    let (first, left) = (parts.sections.first(), parts.left.first());
    let whose = first.map(|part| (part.client_id, part.client_name.clone(), part.mailing_address.clone()));
    // Whoever was told of a property and is no more is told that, if of nothing else.
    let taken_off = || !changes::taken_off(parts, preparation.span, &preparation.zone).is_empty();
    let whose = whose.or_else(|| {
        left.filter(|_| taken_off())
            .map(|left| (left.client_id, left.client_name.clone(), left.mailing_address.clone()))
    });
    let Some((client_id, client_name, mailing_address)) = whose else { return Ok(None) };
    let mut gaps = Vec::new();
    let today = preparation.at.day_in(&preparation.zone);
    if today < preparation.span.from {
        gaps.push(format!(
            "The year {} has not begun: by {today} nothing of it can have been recorded.",
            preparation.year
        ));
    }
    let mut total = Nutrients::NONE;
    let mut sections = Vec::new();
    let words = lines::last_words(&parts.records);
    for part in &parts.sections {
        let section = section_year(&preparation, part, (parts, &words), &mut gaps)?;
        total = total.checked_add(section.applied).unwrap_or(total);
        sections.push(section);
    }
    open_ends::told(parts, preparation.span.as_of, &mut gaps)?;
    gaps.extend(preparation.lacking.sentences.iter().cloned());
    gaps.extend(after::told(parts, &words, preparation.span, &preparation.zone));
    gaps.extend(changes::changes(parts, preparation.span, &preparation.zone));
    let then = preparation.law_then.as_ref();
    let grounds: Vec<Ground<'_>> = parts.sections.iter().map(Ground::from).collect();
    let told = then
        .map(|then| told(preparation.law, then, (&grounds, &preparation.lacking.otherwise), preparation.span.as_of));
    let told = told.unwrap_or_default();
    gaps.extend(missing(preparation.law, then, &grounds));
    gaps.extend(told.sets.into_iter().chain(told.caps));
    Ok(Some(Statement {
        year: preparation.year,
        from: preparation.span.from,
        to: preparation.span.to,
        prepared_at: preparation.at,
        company_name: preparation.company_name,
        client_id,
        client_name,
        mailing_address,
        sections,
        total,
        rule_sets: sets_read(preparation.law, &parts.sections, (then, &told.codes)),
        gaps: gaps.into_iter().map(Gap).collect(),
        caution: CAUTION,
        receipt: preparation.receipt,
    }))
}

/// The rule sets, each with its name and its day of reading: those of the version which counted then, where nothing here is told by a newer one. One
/// whose file is gone is named as it was read last.
fn sets_read(
    law: &Lawbook,
    sections: &[SectionPart],
    (then, told): (Option<&LawThen>, &BTreeSet<String>),
) -> Vec<RuleSetReading> {
    let mut read: Vec<RuleSetReading> = Vec::new();
    for code in sections.iter().flat_map(|section| &section.rule_sets) {
        let now = || law.rule_set(code).map(|set| &set.about).or_else(|| then?.gone(code));
        if let Some(about) = then.and_then(|then| then.about(code, told)).or_else(now) {
            let (name, last_checked) = (about.name.clone(), about.last_checked);
            let set = RuleSetReading { code: code.clone(), name, last_checked };
            if !read.contains(&set) {
                read.push(set);
            }
        }
    }
    read
}

fn section_year(
    preparation: &Preparation<'_>,
    part: &SectionPart,
    (parts, words): (&Parts, &lines::LastWords),
    gaps: &mut Vec<String>,
) -> Result<SectionStatement, UnknownZone> {
    let here = |line: &&crate::store::statements::LedgerPart| line.section == part.id;
    let totals = Totals::of_ledger(parts.ledger.iter().filter(here).map(|line| line.line));
    let placed = lines::lines_of(part, parts, words, gaps)?;
    let labels: HashMap<ApplicationId, &RecordPart> = parts.records.iter().map(|record| (record.id, record)).collect();
    let again = Totals::of_records(placed.iter().filter_map(|(line, parts)| {
        let label = &labels.get(&line.application_id)?.label;
        let (area, product) = (line.area_sqft, line.product_lb);
        Some(RecordedLine { application: line.application_id, area, parts: *parts, product, label })
    }));
    for application in totals.differing(&again) {
        gaps.push(format!(
            "{}, {}: the stored total and the recomputation from application {application} differ. Run `swardbook verify`.",
            part.address, part.name
        ));
    }
    let latest = MeasurementPart::standing(&part.measurements, preparation.span.as_of, |_| true);
    let sampled = SoilPart::newest(&part.soil_reports, preparation.span.as_of, |_| true);
    if latest.is_none() {
        let why = if part.measurements.is_empty() {
            "the section has never been measured"
        } else {
            "no measurement of the section counts: what was measured was withdrawn or is not confirmed"
        };
        gaps.push(format!("{}, {}: {why}.", part.address, part.name));
    }
    let cap = preparation.law.tightest_year_cap(&part.rule_sets, part.species, part.bound, preparation.span.as_of);
    if cap.is_none() {
        let why = if part.rule_sets.is_empty() {
            "no rule set is confirmed for the property"
        } else {
            "no rule set that was read sets one for this ground and those who work there"
        };
        gaps.push(format!(
            "{}, {}: no yearly nitrogen cap is shown, because {why}. That does not mean there is none.",
            part.address, part.name
        ));
    }
    let [nitrogen, quick, phosphate, potash] = totals.rates_rounded_up();
    let limit = cap.as_ref().map(|cap| cap.limit_lb_per_1000_sqft);
    Ok(SectionStatement {
        section_id: part.id,
        section_name: part.name.clone(),
        property_id: part.property_id,
        address: part.address.clone(),
        species: part.species,
        area_sqft: latest.map(|latest| latest.area),
        area_measured_on: latest.map(|latest| latest.on),
        soil_sampled_on: sampled.map(|sampled| sampled.on),
        cap,
        applied: totals.nutrients(),
        product_lb: totals.product(),
        nitrogen_lb_per_1000_sqft: nitrogen,
        quick_nitrogen_lb_per_1000_sqft: quick,
        phosphate_lb_per_1000_sqft: phosphate,
        potash_lb_per_1000_sqft: potash,
        remaining_nitrogen_lb_per_1000_sqft: limit.map(|limit| totals.nitrogen_room(limit)),
        percent_of_cap: limit.and_then(|limit| totals.percent_of(limit)),
        caps: caps_of(preparation, part, parts, gaps),
        pieces: lines::pieces(&totals, part),
        lines: placed.into_iter().map(|(line, _)| line).collect(),
    })
}

/// Every yearly cap that binds on a section, held against both years.
fn caps_of(preparation: &Preparation<'_>, part: &SectionPart, parts: &Parts, gaps: &mut Vec<String>) -> Vec<CapRooms> {
    let (law, span) = (preparation.law, preparation.span);
    for some in law.year_caps_on_some(&part.rule_sets, part.bound, span.as_of) {
        gaps.push(format!(
            "{}, {}: a yearly cap on {} of {} counts some products only, and is not held against the year here. A check of the work holds it.",
            part.address,
            part.name,
            some.nutrient.label(),
            some.place
        ));
    }
    let here = parts.before.iter().chain(&parts.ledger).filter(|line| line.section == part.id);
    let loads = DatedLoads::new(here.map(|line| DatedLoad::of(line.applied_on, &line.line)).collect());
    let caps = law.year_caps(&part.rule_sets, part.species, part.bound, span.as_of);
    loads.rooms(caps.into_iter().map(Arc::new), span.told())
}
