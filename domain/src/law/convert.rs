//! From the fields of a rule to its duty, one function a kind.

use toml::Table;

use super::{
    duty::{
        AlertBar, CapApplication, CapYear, Counts, Duty, GroundBar, Heat, HoldAfterSeeding, MonthDay, PhosphorusNeed,
        Proof, Rain, Release, Setback, SlowShare, SoilReportBefore, Window, YearAmount,
    },
    fields::Fields,
    model::{Comparator, Kind, Scope},
    nutrient::Nutrient,
};
use crate::{
    land::Species,
    quantity::{Distance, NutrientRate, Quantity, Unit},
};

/// The part of a rule's head that its values share.
#[derive(Debug, Clone, Default)]
pub(super) struct Head {
    pub(super) nutrient: Option<Nutrient>,
    pub(super) nutrients: Vec<Nutrient>,
}

impl Kind {
    /// The unit a kind's numbers are written in, if it has numbers with one.
    pub(super) const fn unit(self) -> Option<&'static str> {
        match self {
            Self::CapApplication | Self::CapYear | Self::Window | Self::Release => Some("lb/ksf"),
            Self::PhosphorusNeed | Self::SlowShare => Some("%"),
            Self::Setback => Some("ft"),
            Self::Rain => Some("in"),
            Self::Heat => Some("°F"),
            Self::SoilReportBefore | Self::Ground | Self::Alerts | Self::HoldAfterSeeding | Self::Surface => None,
        }
    }

    pub(super) const fn has_nutrient(self) -> bool {
        matches!(
            self,
            Self::CapApplication
                | Self::CapYear
                | Self::Release
                | Self::SoilReportBefore
                | Self::Heat
                | Self::HoldAfterSeeding
        )
    }

    pub(super) const fn has_nutrients(self) -> bool {
        matches!(self, Self::Setback | Self::Ground | Self::Rain | Self::Alerts | Self::Surface)
    }
}

/// Reads the fields of one value; nothing when one that is needed is missing or bad, which is then among the faults.
pub(super) fn duty(kind: Kind, head: &Head, fields: &mut Fields<'_>) -> Option<Duty> {
    match kind {
        Kind::CapApplication => cap_application(head, fields),
        Kind::CapYear => cap_year(head, fields),
        Kind::Window => window(fields),
        Kind::PhosphorusNeed => phosphorus_need(fields),
        Kind::SoilReportBefore => soil_report_before(head, fields),
        Kind::Setback => setback(head, fields),
        Kind::Ground => ground(head, fields),
        Kind::Rain => rain(head, fields),
        Kind::Alerts => alerts(head, fields),
        Kind::Heat => heat(head, fields),
        Kind::SlowShare => slow_share(fields),
        Kind::HoldAfterSeeding => hold_after_seeding(head, fields),
        Kind::Surface => Some(Duty::Surface(head.nutrients.clone())),
        Kind::Release => release(head, fields),
    }
}

/// Reads a comparator and refuses those that make no sense for the kind.
fn comparator(fields: &mut Fields<'_>, fitting: [Comparator; 2]) -> Option<Comparator> {
    let [inclusive, strict] = fitting;
    let about =
        format!("\"{}\" or \"{}\"", inclusive.words(), strict.words()).replace(' ', "_").replace("_or_", " or ");
    let found = fields.required_word("comparator", &about)?;
    if fitting.contains(&found) {
        return Some(found);
    }
    fields.fault("comparator", format!("does not fit this kind: {about}"));
    None
}

const CAP: [Comparator; 2] = [Comparator::AtMost, Comparator::LessThan];
const FLOOR: [Comparator; 2] = [Comparator::AtLeast, Comparator::MoreThan];

fn amount<U: Unit>(fields: &mut Fields<'_>, fitting: [Comparator; 2]) -> (Option<Comparator>, Option<Quantity<U>>) {
    (comparator(fields, fitting), fields.required_amount("value", "the number, as decimal text"))
}

fn cap_application(head: &Head, fields: &mut Fields<'_>) -> Option<Duty> {
    let (comparator, limit) = amount(fields, CAP);
    Some(Duty::CapApplication(CapApplication { nutrient: head.nutrient?, comparator: comparator?, limit: limit? }))
}

fn cap_year(head: &Head, fields: &mut Fields<'_>) -> Option<Duty> {
    let comparator = comparator(fields, CAP);
    let counts: Option<Counts> = fields.required_word("counts", "\"all_products\" or \"within_scope\"");
    let one = fields.amount("value").map(YearAmount::One);
    let table = fields.table("by_species").and_then(|table| by_species(table, fields));
    let amount = match (fields.has("value"), fields.has("by_species")) {
        (true, false) => one,
        (false, true) => table,
        _ => {
            fields.fault("value", "write either one value or a table by species");
            None
        }
    };
    let (nutrient, comparator) = (head.nutrient?, comparator?);
    Some(Duty::CapYear(CapYear { nutrient, comparator, amount: amount?, counts: counts? }))
}

fn by_species(table: &Table, fields: &mut Fields<'_>) -> Option<YearAmount> {
    let mut rates: Vec<(Species, NutrientRate)> = Vec::new();
    for (name, value) in table {
        let species = toml::Value::String(name.clone()).try_into::<Species>();
        let rate = value.as_str().and_then(|text| fields.parsed("by_species", text));
        match (species, rate) {
            (Ok(species), Some(rate)) => rates.push((species, rate)),
            (Err(_), _) => fields.fault("by_species", format!("`{name}` is no species that sections know")),
            (_, None) => fields.fault("by_species", format!("`{name}` needs decimal text")),
        }
    }
    (!rates.is_empty()).then_some(YearAmount::BySpecies(rates))
}

fn window(fields: &mut Fields<'_>) -> Option<Duty> {
    let first = month_day(fields, "first_barred");
    let last = month_day(fields, "last_barred");
    let per = fields.required_word("per", "\"application\" or \"window\"");
    let mut caps: Vec<(Nutrient, NutrientRate)> = Vec::new();
    let table = fields.table("caps");
    if table.is_none_or(Table::is_empty) {
        fields.fault("caps", "is missing: a cap, which may be zero, for each nutrient the window bars");
    }
    for (name, value) in table.into_iter().flatten() {
        let nutrient = toml::Value::String(name.clone()).try_into::<Nutrient>();
        let rate: Option<NutrientRate> = value.as_str().and_then(|text| fields.parsed("caps", text));
        match (nutrient, rate) {
            (Ok(Nutrient::AnyFertilizer), Some(rate)) if !rate.is_zero() => {
                fields.fault("caps", "any fertilizer can only be capped at zero");
            }
            (Ok(nutrient), Some(rate)) => caps.push((nutrient, rate)),
            (Err(_), _) => fields.fault("caps", format!("`{name}` is no nutrient")),
            (_, None) => fields.fault("caps", format!("`{name}` needs decimal text")),
        }
    }
    let (first_barred, last_barred, per) = (first?, last?, per?);
    (!caps.is_empty()).then_some(Duty::Window(Window { first_barred, last_barred, per, caps }))
}

/// Reads `12-16`. Every month may end on the 31st but those that cannot; February may end on the 29th.
fn month_day(fields: &mut Fields<'_>, field: &'static str) -> Option<MonthDay> {
    let text = fields.required_text(field, 5, "a window has a first and a last barred day, both included")?;
    let read = text.split_once('-').and_then(|(month, day)| {
        let two = |part: &str| part.len() == 2 && part.bytes().all(|b| b.is_ascii_digit());
        let (month, day) = (two(month).then_some(month)?, two(day).then_some(day)?);
        let (month, day): (i8, i8) = (month.parse().ok()?, day.parse().ok()?);
        // 2024 had every day a year can have.
        crate::time::Day::new(2024, month, day).ok().map(|_| (month, day))
    });
    if read.is_none() {
        fields.fault(field, "must be a month and a day such as \"12-16\"");
    }
    read
}

fn phosphorus_need(fields: &mut Fields<'_>) -> Option<Duty> {
    let threshold = fields.required_amount("threshold", "the share of P2O5 up to which a product is not concerned");
    let proof = fields.required_word("soil_report", "\"never\", \"recommendation\" or \"category\"");
    let categories = fields.words("categories").unwrap_or_default();
    let report_months = fields.count("report_months");
    let up_to_recommended = fields.flag("up_to_recommended").unwrap_or(false);
    let product_at_most = fields.amount("product_at_most");
    let excuses = fields.tables("excuses").into_iter().map(|table| scope(table, "excuses", fields)).collect();
    match proof {
        Some(Proof::Never) if !categories.is_empty() || report_months.is_some() || up_to_recommended => {
            fields.fault("soil_report", "is \"never\", so no field may speak of a report");
        }
        Some(Proof::Category | Proof::Recommendation) if categories.is_empty() => {
            fields.fault("categories", "is missing: the categories that show a need");
        }
        _ => {}
    }
    Some(Duty::PhosphorusNeed(PhosphorusNeed {
        threshold: threshold?,
        soil_report: proof?,
        categories,
        report_months,
        up_to_recommended,
        product_at_most,
        excuses,
    }))
}

fn soil_report_before(head: &Head, fields: &mut Fields<'_>) -> Option<Duty> {
    let application = fields.required_count("application", "before which application: 1 is the first");
    let report_months = fields.count("report_months");
    let excused_purposes = fields.words("excused_purposes").unwrap_or_default();
    let (nutrient, application) = (head.nutrient?, application?);
    Some(Duty::SoilReportBefore(SoilReportBefore { nutrient, application, report_months, excused_purposes }))
}

fn setback(head: &Head, fields: &mut Fields<'_>) -> Option<Duty> {
    let (comparator, distance) = amount(fields, FLOOR);
    let measured_from = fields.required_text("measured_from", 120, "from where the distance counts");
    let reduced = fields.table("reduced").and_then(|table| reduced(table, fields));
    let waived_by_strip = fields.amount("waived_by_strip");
    let waived_purposes = fields.words("waived_purposes").unwrap_or_default();
    Some(Duty::Setback(Setback {
        nutrients: head.nutrients.clone(),
        comparator: comparator?,
        distance: distance?,
        reduced,
        waived_by_strip,
        waived_purposes,
        measured_from: measured_from?.to_owned(),
    }))
}

fn reduced(table: &Table, fields: &mut Fields<'_>) -> Option<(Distance, Vec<crate::equipment::Equipment>)> {
    let mut inner = Fields::new(table, "", None);
    let distance = inner.required_amount("distance", "the shorter distance");
    let equipment = inner.required_words("equipment", "the equipment that earns it");
    for fault in inner.finish("a reduced distance") {
        fields.fault("reduced", format!("`{}` {}", fault.field, fault.what));
    }
    Some((distance?, equipment?))
}

fn ground(head: &Head, fields: &mut Fields<'_>) -> Option<Duty> {
    let barred = fields.required_words("barred", "the states of the ground that bar");
    let measure = fields.words("measure").unwrap_or_default();
    Some(Duty::Ground(GroundBar { nutrients: head.nutrients.clone(), barred: barred?, measure }))
}

fn rain(head: &Head, fields: &mut Fields<'_>) -> Option<Duty> {
    let (comparator, amount) = amount(fields, FLOOR);
    let hours = fields.required_count("hours", "the span of the forecast");
    let nutrients = head.nutrients.clone();
    Some(Duty::Rain(Rain { nutrients, comparator: comparator?, amount: amount?, hours: hours? }))
}

fn alerts(head: &Head, fields: &mut Fields<'_>) -> Option<Duty> {
    let alerts = fields.required_words("alerts", "the watches and warnings that bar");
    Some(Duty::Alerts(AlertBar { nutrients: head.nutrients.clone(), alerts: alerts? }))
}

fn heat(head: &Head, fields: &mut Fields<'_>) -> Option<Duty> {
    let (comparator, temperature) = amount(fields, FLOOR);
    Some(Duty::Heat(Heat { nutrient: head.nutrient?, comparator: comparator?, temperature: temperature? }))
}

fn slow_share(fields: &mut Fields<'_>) -> Option<Duty> {
    let (comparator, share) = amount(fields, FLOOR);
    Some(Duty::SlowShare(SlowShare { comparator: comparator?, share: share? }))
}

fn hold_after_seeding(head: &Head, fields: &mut Fields<'_>) -> Option<Duty> {
    let days = fields.required_count("days", "the days to wait");
    Some(Duty::HoldAfterSeeding(HoldAfterSeeding { nutrient: head.nutrient?, days: days? }))
}

fn release(head: &Head, fields: &mut Fields<'_>) -> Option<Duty> {
    let (comparator, limit) = amount(fields, CAP);
    let per = fields.required_word("per", "\"month\" or \"any_time\"");
    Some(Duty::Release(Release { nutrient: head.nutrient?, comparator: comparator?, limit: limit?, per: per? }))
}

/// Reads which products and purposes are meant.
pub(super) fn scope(table: &Table, field: &str, fields: &mut Fields<'_>) -> Scope {
    let mut inner = Fields::new(table, "", None);
    let scope = Scope {
        forms: inner.words("forms").unwrap_or_default(),
        purposes: inner.words("purposes").unwrap_or_default(),
        enhanced_efficiency: inner.flag("enhanced_efficiency"),
        organic: inner.flag("organic"),
        labelled_for_establishment: inner.flag("labelled_for_establishment"),
    };
    if table.is_empty() {
        fields.fault(field, "names nothing, and would cover everything");
    }
    for fault in inner.finish("a scope") {
        fields.fault(field, format!("`{}` {}", fault.field, fault.what));
    }
    scope
}
