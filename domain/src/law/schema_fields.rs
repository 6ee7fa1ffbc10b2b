//! The fields of a rule file, by what they stand in.

use super::{disclosure, kind::RuleKind, names::names, nutrient::Nutrient};
use crate::{application, equipment, land, product, soil, weather};

/// How a field is written.
#[derive(Debug, Clone, Copy)]
pub(super) enum Shape {
    /// With its longest length.
    Text(usize),
    /// A web address, with its longest length.
    Link(usize),
    Flag,
    Count,
    Day,
    MonthDay,
    Decimal,
    Mark,
    Cap,
    Floor,
    Word(fn() -> &'static [&'static str]),
    Words(fn() -> &'static [&'static str]),
    Texts,
    /// Ids of rules.
    Names,
    Object(&'static [Field]),
    Objects(&'static [Field]),
    /// Decimal text by word.
    Amounts(fn() -> &'static [&'static str]),
}

#[derive(Debug, Clone, Copy)]
pub(super) struct Field {
    pub(super) name: &'static str,
    pub(super) shape: Shape,
    pub(super) required: bool,
}

const fn must(name: &'static str, shape: Shape) -> Field {
    Field { name, shape, required: true }
}

const fn may(name: &'static str, shape: Shape) -> Field {
    Field { name, shape, required: false }
}

/// A rule set; its closed lists and tables are put in where the schema is made.
pub(super) const SET: [Field; 15] = [
    must("code", Shape::Text(60)),
    must("name", Shape::Text(120)),
    must("level", Shape::Flag),
    must("last_checked", Shape::Day),
    must("coverage", Shape::Text(600)),
    may("parent", Shape::Text(60)),
    may("local_rules", Shape::Flag),
    may("local_decides", Shape::Text(300)),
    may("enacted_on", Shape::Day),
    may("preempts_local", Shape::Flag),
    may("stands_by", Shape::Flag),
    may("public_work_is_for_hire", Shape::Flag),
    may("outside", Shape::Objects(&OUTSIDE)),
    may("hole", Shape::Flag),
    may("rule", Shape::Flag),
];

/// What every value says: since when, where it stands written and how it was read.
pub(super) const SOURCE: [Field; 6] = [
    must("from", Shape::Day),
    may("starts", Shape::Flag),
    must("cite", Shape::Text(400)),
    may("href", Shape::Link(600)),
    must("mark", Shape::Mark),
    may("rows", Shape::Texts),
];

pub(super) const PREEMPTION: [Field; 9] = [
    must("words", Shape::Text(300)),
    must("cite", Shape::Text(400)),
    may("href", Shape::Link(600)),
    must("mark", Shape::Mark),
    may("rows", Shape::Texts),
    may("reach", Shape::Flag),
    may("older_than", Shape::Day),
    may("older_reach", Shape::Flag),
    may("except", Shape::Texts),
];

pub(super) const AUTHORIZATION: [Field; 5] = [
    must("words", Shape::Text(300)),
    must("cite", Shape::Text(400)),
    may("href", Shape::Link(600)),
    must("mark", Shape::Mark),
    may("rows", Shape::Texts),
];

const OUTSIDE: [Field; 10] = [
    must("kinds", Shape::Words(names::<land::PropertyKind>)),
    may("rules", Shape::Names),
    must("from", Shape::Day),
    may("credential", Shape::Text(60)),
    may("with_plan", Shape::Flag),
    may("condition", Shape::Text(200)),
    must("cite", Shape::Text(400)),
    may("href", Shape::Link(600)),
    must("mark", Shape::Mark),
    may("rows", Shape::Texts),
];

pub(super) const COVERAGE_GAP: [Field; 6] = [
    must("words", Shape::Text(300)),
    must("rows", Shape::Texts),
    may("asks_care", Shape::Flag),
    may("about_labels", Shape::Flag),
    may("outside_kinds", Shape::Words(names::<land::PropertyKind>)),
    may("when", Shape::Object(&SCOPE)),
];

pub(super) const SCOPE: [Field; 11] = [
    may("forms", Shape::Words(names::<product::ProductForm>)),
    may("purposes", Shape::Words(names::<application::Purpose>)),
    may("enhanced_efficiency", Shape::Flag),
    may("organic", Shape::Flag),
    may("labelled_for_establishment", Shape::Flag),
    may("compost", Shape::Flag),
    may("enhanced_efficiency_phosphorus", Shape::Flag),
    may("pesticide", Shape::Flag),
    may("slow_share_at_least", Shape::Decimal),
    may("slow_share_below", Shape::Decimal),
    may("phosphate_over", Shape::Decimal),
];

const BY_WATERFRONT: [Field; 2] = [must("waterfront", Shape::Decimal), must("elsewhere", Shape::Decimal)];
const REDUCED: [Field; 2] =
    [must("distance", Shape::Decimal), must("equipment", Shape::Words(names::<equipment::Equipment>))];
const ALERT: [Field; 2] = [
    must("event", Shape::Word(names::<weather::AlertEvent>)),
    must("level", Shape::Word(names::<weather::AlertLevel>)),
];
const AMOUNT: [Field; 4] = [
    must("comparator", Shape::Cap),
    may("value", Shape::Decimal),
    may("by_species", Shape::Amounts(names::<land::Species>)),
    may("by_waterfront", Shape::Object(&BY_WATERFRONT)),
];
const AMOUNT_OF_YEAR: [Field; 5] = [
    must("comparator", Shape::Cap),
    must("counts", Shape::Word(names::<super::duty::Counts>)),
    may("value", Shape::Decimal),
    may("by_species", Shape::Amounts(names::<land::Species>)),
    may("by_waterfront", Shape::Object(&BY_WATERFRONT)),
];
const WINDOW: [Field; 4] = [
    must("first_barred", Shape::MonthDay),
    must("last_barred", Shape::MonthDay),
    must("per", Shape::Word(names::<super::duty::WindowPer>)),
    must("caps", Shape::Amounts(names::<Nutrient>)),
];
const NEED: [Field; 9] = [
    must("threshold", Shape::Decimal),
    must("soil_report", Shape::Word(names::<super::duty::Proof>)),
    may("categories", Shape::Words(names::<soil::SoilCategory>)),
    may("report_months", Shape::Count),
    may("up_to_recommended", Shape::Flag),
    may("product_at_most", Shape::Decimal),
    may("excuses", Shape::Objects(&SCOPE)),
    may("establishment_months", Shape::Count),
    may("one_free_lb_per_ksf", Shape::Decimal),
];
const SOIL_REPORT: [Field; 4] = [
    must("application", Shape::Count),
    may("report_months", Shape::Count),
    may("excused_purposes", Shape::Words(names::<application::Purpose>)),
    may("establishment_months", Shape::Count),
];
const SETBACK: [Field; 9] = [
    must("comparator", Shape::Floor),
    must("value", Shape::Decimal),
    must("measured_from", Shape::Text(120)),
    may("reduced", Shape::Object(&REDUCED)),
    may("waived_by_strip", Shape::Decimal),
    may("waived_purposes", Shape::Words(names::<application::Purpose>)),
    may("establishment_months", Shape::Count),
    may("counts", Shape::Words(names::<super::duty::BesideWater>)),
    may("only_where", Shape::Text(160)),
];
const GROUND: [Field; 2] = [
    must("barred", Shape::Words(names::<application::Ground>)),
    may("measure", Shape::Words(names::<application::Ground>)),
];
const RAIN: [Field; 6] = [
    may("occurring", Shape::Flag),
    may("heavy_without_number", Shape::Flag),
    may("comparator", Shape::Floor),
    may("value", Shape::Decimal),
    may("hours", Shape::Count),
    may("chance_over_percent", Shape::Decimal),
];
const ALERTS: [Field; 1] = [must("alerts", Shape::Objects(&ALERT))];
const FLOOR: [Field; 2] = [must("comparator", Shape::Floor), must("value", Shape::Decimal)];
const SLOW_SHARE: [Field; 6] = [
    must("comparator", Shape::Floor),
    must("value", Shape::Decimal),
    may("not_water_soluble", Shape::Flag),
    may("enhanced_counts", Shape::Flag),
    may("phosphorus_at_most", Shape::Decimal),
    may("only_where", Shape::Text(160)),
];
const DAYS: [Field; 1] = [must("days", Shape::Count)];
const RELEASE: [Field; 3] = [
    must("comparator", Shape::Cap),
    must("value", Shape::Decimal),
    must("per", Shape::Word(names::<super::duty::ReleasePer>)),
];
const COUNT: [Field; 2] = [must("most", Shape::Count), may("calendar_year", Shape::Flag)];
const RECORD_FIELDS: [Field; 1] = [must("fields", Shape::Words(names::<disclosure::RecordField>))];
const RECORD_DEADLINE: [Field; 2] = [may("hours", Shape::Count), may("during_the_work", Shape::Flag)];
const RETENTION: [Field; 2] =
    [must("years", Shape::Count), must("counts_from", Shape::Word(names::<disclosure::CountsFrom>))];
const SAYING: [Field; 3] =
    [must("words", Shape::Text(400)), may("area_comparator", Shape::Floor), may("area_sqft", Shape::Decimal)];
const PLAN_NEED: [Field; 4] = [
    must("words", Shape::Text(400)),
    may("plan_months", Shape::Count),
    may("area_comparator", Shape::Floor),
    may("area_sqft", Shape::Decimal),
];
const CREDENTIAL_NEED: [Field; 6] = [
    must("words", Shape::Text(400)),
    must("held", Shape::Texts),
    may("trained", Shape::Texts),
    may("supervision_unread", Shape::Flag),
    may("area_comparator", Shape::Floor),
    may("area_sqft", Shape::Decimal),
];
const REPORT: [Field; 4] = [
    must("due", Shape::MonthDay),
    must("words", Shape::Text(400)),
    may("area_comparator", Shape::Floor),
    may("area_sqft", Shape::Decimal),
];

/// The fields of a value of a kind, besides those that every value has.
pub(super) const fn of_kind(kind: RuleKind) -> &'static [Field] {
    match kind {
        RuleKind::CapApplication => &AMOUNT,
        RuleKind::CapYear => &AMOUNT_OF_YEAR,
        RuleKind::Window => &WINDOW,
        RuleKind::PhosphorusNeed => &NEED,
        RuleKind::SoilReportBefore => &SOIL_REPORT,
        RuleKind::Setback => &SETBACK,
        RuleKind::Ground => &GROUND,
        RuleKind::Rain => &RAIN,
        RuleKind::Alerts => &ALERTS,
        RuleKind::Heat => &FLOOR,
        RuleKind::SlowShare => &SLOW_SHARE,
        RuleKind::HoldAfterSeeding | RuleKind::Interval => &DAYS,
        RuleKind::Surface => &[],
        RuleKind::Release => &RELEASE,
        RuleKind::CountYear => &COUNT,
        RuleKind::PlanNeed => &PLAN_NEED,
        RuleKind::CredentialNeed => &CREDENTIAL_NEED,
        RuleKind::RecordFields => &RECORD_FIELDS,
        RuleKind::RecordDeadline => &RECORD_DEADLINE,
        RuleKind::Retention => &RETENTION,
        RuleKind::Report => &REPORT,
        RuleKind::Credential
        | RuleKind::Notice
        | RuleKind::Plan
        | RuleKind::Conduct
        | RuleKind::Meaning
        | RuleKind::Penalty => &SAYING,
    }
}

/// Fields of which the reader misses one, while another would do.
#[cfg(test)]
pub(super) const fn choices(kind: RuleKind) -> &'static [&'static str] {
    match kind {
        RuleKind::CapApplication | RuleKind::CapYear => &["value"],
        RuleKind::Rain => &["hours", "comparator", "value"],
        RuleKind::RecordDeadline => &["hours"],
        _ => &[],
    }
}
