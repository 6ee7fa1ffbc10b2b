//! From the fields of a rule to its duty, one function a kind.

use toml::Table;

use super::{
    comparator::Comparator,
    duty::{
        AlertBar, Amount, CapApplication, CapYear, CountYear, Counts, CredentialNeed, Duty, ForecastBar, GroundBar,
        Heat, HoldAfterSeeding, Interval, PhosphorusNeed, PlanNeed, Proof, Rain, Release, Setback, SlowShare,
        SoilReportBefore, Window,
    },
    fields::Fields,
    kind::RuleKind,
    nutrient::Nutrient,
    read_disclosure,
    scope::Scope,
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

/// Reads the fields of one value; nothing when one that is needed is missing or bad, which is then among the faults.
pub(super) fn duty(kind: RuleKind, head: &Head, fields: &mut Fields<'_>) -> Option<Duty> {
    match kind {
        RuleKind::CapApplication => cap_application(head, fields),
        RuleKind::CapYear => cap_year(head, fields),
        RuleKind::Window => window(fields),
        RuleKind::PhosphorusNeed => phosphorus_need(fields),
        RuleKind::SoilReportBefore => soil_report_before(head, fields),
        RuleKind::Setback => setback(head, fields),
        RuleKind::Ground => ground(head, fields),
        RuleKind::Rain => rain(head, fields),
        RuleKind::Alerts => alerts(head, fields),
        RuleKind::Heat => heat(head, fields),
        RuleKind::SlowShare => slow_share(fields),
        RuleKind::HoldAfterSeeding => hold_after_seeding(head, fields),
        RuleKind::Surface => Some(Duty::Surface(head.nutrients.clone())),
        RuleKind::Release => release(head, fields),
        RuleKind::Interval => interval(head, fields),
        RuleKind::CountYear => count_year(head, fields),
        RuleKind::PlanNeed => {
            let plan_months = fields.count("plan_months");
            Some(Duty::PlanNeed(PlanNeed { said: read_disclosure::saying(fields)?, plan_months }))
        }
        RuleKind::CredentialNeed => credential_need(head, fields),
        _ => read_disclosure::disclosure(kind, fields).map(Duty::Disclosure),
    }
}

/// Reads a comparator and refuses those that make no sense for the kind.
fn comparator(fields: &mut Fields<'_>, fitting: [Comparator; 2]) -> Option<Comparator> {
    let [inclusive, strict] = fitting;
    let about =
        format!("\"{}\" or \"{}\"", inclusive.label(), strict.label()).replace(' ', "_").replace("_or_", " or ");
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
    let (comparator, amount) = (comparator(fields, CAP), amount_by_turf(fields));
    Some(Duty::CapApplication(CapApplication { nutrient: head.nutrient?, comparator: comparator?, amount: amount? }))
}

fn cap_year(head: &Head, fields: &mut Fields<'_>) -> Option<Duty> {
    let comparator = comparator(fields, CAP);
    let counts: Option<Counts> = fields.required_word("counts", "\"all_products\" or \"within_scope\"");
    let amount = amount_by_turf(fields);
    let (nutrient, comparator) = (head.nutrient?, comparator?);
    Some(Duty::CapYear(CapYear { nutrient, comparator, amount: amount?, counts: counts? }))
}

/// One number, or a table of them.
fn amount_by_turf(fields: &mut Fields<'_>) -> Option<Amount> {
    let one = fields.amount("value").map(Amount::One);
    let species = fields.table("by_species").and_then(|table| by_species(table, fields));
    let waterfront = fields.table("by_waterfront").and_then(|table| by_waterfront(table, fields));
    match (fields.has("value"), fields.has("by_species"), fields.has("by_waterfront")) {
        (true, false, false) => one,
        (false, true, false) => species,
        (false, false, true) => waterfront,
        (false, false, false) => {
            fields.fault("value", "is missing: one number, or a table by species or by waterfront");
            None
        }
        _ => {
            fields.fault("value", "write one number, or one table by species or by waterfront, not several");
            None
        }
    }
}

fn by_waterfront(table: &Table, fields: &mut Fields<'_>) -> Option<Amount> {
    let mut inner = Fields::new(table, "", None);
    let waterfront = inner.required_amount("waterfront", "the number on the water");
    let elsewhere = inner.required_amount("elsewhere", "the number elsewhere");
    fields.take_faults("by_waterfront", inner.finish("a table by waterfront"));
    Some(Amount::ByWaterfront { waterfront: waterfront?, elsewhere: elsewhere? })
}

fn by_species(table: &Table, fields: &mut Fields<'_>) -> Option<Amount> {
    let mut rates: Vec<(Species, NutrientRate)> = Vec::new();
    for (name, value) in table {
        let species = toml::Value::String(name.clone()).try_into::<Species>();
        let rate = rate_of("by_species", name, value, fields);
        match (species, rate) {
            (Ok(species), Some(rate)) => rates.push((species, rate)),
            (Err(_), _) => fields.fault("by_species", format!("`{name}` is no species that sections know")),
            (Ok(_), None) => {}
        }
    }
    (!rates.is_empty()).then_some(Amount::BySpecies(rates))
}

/// The amount beside a name. What is wrong with it is said once, with the name.
fn rate_of(field: &str, name: &str, value: &toml::Value, fields: &mut Fields<'_>) -> Option<NutrientRate> {
    let read = match value.as_str() {
        Some(text) => NutrientRate::parse(text).map_err(|fault| fault.to_string()),
        None => Err("needs decimal text in quotes, such as \"0.7\"".to_owned()),
    };
    read.map_err(|what| fields.fault(field, format!("`{name}`: {what}"))).ok()
}

const BOTH_ENDS: &str = "a window has a first and a last barred day, both included";

fn window(fields: &mut Fields<'_>) -> Option<Duty> {
    let first = fields.month_day("first_barred", BOTH_ENDS);
    let last = fields.month_day("last_barred", BOTH_ENDS);
    let per = fields.required_word("per", "\"application\" or \"window\"");
    let mut caps: Vec<(Nutrient, NutrientRate)> = Vec::new();
    let table = fields.table("caps");
    if table.is_none_or(Table::is_empty) {
        fields.fault("caps", "is missing: a cap, which may be zero, for each nutrient the window bars");
    }
    for (name, value) in table.into_iter().flatten() {
        let nutrient = toml::Value::String(name.clone()).try_into::<Nutrient>();
        let rate = rate_of("caps", name, value, fields);
        match (nutrient, rate) {
            (Ok(Nutrient::AnyFertilizer), Some(rate)) if !rate.is_zero() => {
                fields.fault("caps", "any fertilizer can only be capped at zero");
            }
            (Ok(nutrient), Some(rate)) => caps.push((nutrient, rate)),
            (Err(_), _) => fields.fault("caps", format!("`{name}` is no nutrient")),
            (Ok(_), None) => {}
        }
    }
    let (first_barred, last_barred, per) = (first?, last?, per?);
    (!caps.is_empty()).then_some(Duty::Window(Window { first_barred, last_barred, per, caps }))
}

/// One growing season after seeding is held for a year where the text does not name more.
fn establishment_months(fields: &mut Fields<'_>) -> u16 {
    fields.count("establishment_months").unwrap_or(12)
}

fn phosphorus_need(fields: &mut Fields<'_>) -> Option<Duty> {
    let threshold = fields.required_amount("threshold", "the share of P2O5 up to which a product is not concerned");
    let proof = fields.required_word("soil_report", "\"never\", \"recommendation\" or \"category\"");
    let categories = fields.words("categories").unwrap_or_default();
    let report_months = fields.count("report_months");
    let up_to_recommended = fields.flag("up_to_recommended").unwrap_or(false);
    let product_at_most = fields.amount("product_at_most");
    let excuses = fields.tables("excuses").into_iter().map(|table| scope(table, "excuses", fields)).collect();
    let establishment_months = establishment_months(fields);
    let one_free = fields.amount("one_free_lb_per_ksf");
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
        establishment_months,
        one_free,
    }))
}

fn soil_report_before(head: &Head, fields: &mut Fields<'_>) -> Option<Duty> {
    let application = fields.required_count("application", "before which application: 1 is the first");
    let report_months = fields.count("report_months");
    let excused_purposes = fields.words("excused_purposes").unwrap_or_default();
    let establishment_months = establishment_months(fields);
    Some(Duty::SoilReportBefore(SoilReportBefore {
        nutrient: head.nutrient?,
        application: application?,
        report_months,
        excused_purposes,
        establishment_months,
    }))
}

fn setback(head: &Head, fields: &mut Fields<'_>) -> Option<Duty> {
    let (comparator, distance) = amount(fields, FLOOR);
    let measured_from = fields.required_text("measured_from", 120, "from where the distance counts");
    let reduced = fields.table("reduced").and_then(|table| reduced(table, fields));
    let waived_by_strip = fields.amount("waived_by_strip");
    let waived_purposes = fields.words("waived_purposes").unwrap_or_default();
    let establishment_months = establishment_months(fields);
    let counts = fields.words("counts").unwrap_or_default();
    let only_where = fields.text("only_where", 160).map(str::to_owned);
    Some(Duty::Setback(Setback {
        nutrients: head.nutrients.clone(),
        comparator: comparator?,
        distance: distance?,
        reduced,
        waived_by_strip,
        waived_purposes,
        establishment_months,
        measured_from: measured_from?.to_owned(),
        counts,
        only_where,
    }))
}

fn reduced(table: &Table, fields: &mut Fields<'_>) -> Option<(Distance, Vec<crate::equipment::Equipment>)> {
    let mut inner = Fields::new(table, "", None);
    let distance = inner.required_amount("distance", "the shorter distance");
    let equipment = inner.required_words("equipment", "the equipment that earns it");
    fields.take_faults("reduced", inner.finish("a reduced distance"));
    Some((distance?, equipment?))
}

fn ground(head: &Head, fields: &mut Fields<'_>) -> Option<Duty> {
    let barred = fields.required_words("barred", "the states of the ground that bar");
    let measure = fields.words("measure").unwrap_or_default();
    Some(Duty::Ground(GroundBar { nutrients: head.nutrients.clone(), barred: barred?, measure }))
}

fn rain(head: &Head, fields: &mut Fields<'_>) -> Option<Duty> {
    let occurring = fields.flag("occurring").unwrap_or(false);
    let heavy = fields.flag("heavy_without_number").unwrap_or(false);
    let forecast = if fields.has("value") || heavy || !occurring { Some(forecast_bar(heavy, fields)?) } else { None };
    Some(Duty::Rain(Rain { nutrients: head.nutrients.clone(), forecast, occurring }))
}

/// Reads when a forecast bars. A law that says "heavy" without a number that was read says so instead of a number.
fn forecast_bar(heavy: bool, fields: &mut Fields<'_>) -> Option<ForecastBar> {
    let hours = fields.required_count("hours", "the span of the forecast");
    let chance_over = fields.amount("chance_over_percent");
    if heavy && (fields.has("value") || fields.has("comparator")) {
        fields.fault("heavy_without_number", "says that no number was read, so no number may stand beside it");
    }
    let amount = if heavy {
        None
    } else {
        let (comparator, depth) = amount(fields, FLOOR);
        Some((comparator?, depth?))
    };
    Some(ForecastBar { amount, chance_over, hours: hours? })
}

fn interval(head: &Head, fields: &mut Fields<'_>) -> Option<Duty> {
    let days = fields.required_count("days", "the least number of days between two applications");
    Some(Duty::Interval(Interval { nutrient: head.nutrient?, days: days? }))
}

fn count_year(head: &Head, fields: &mut Fields<'_>) -> Option<Duty> {
    let most = fields.required_count("most", "the most applications in a year");
    let calendar = fields.flag("calendar_year").unwrap_or(false);
    Some(Duty::CountYear(CountYear { nutrient: head.nutrient?, most: most?, calendar }))
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
    let not_water_soluble = fields.flag("not_water_soluble").unwrap_or(false);
    let enhanced_counts = fields.flag("enhanced_counts").unwrap_or(false);
    if not_water_soluble && enhanced_counts {
        fields.fault("enhanced_counts", "stands beside `not_water_soluble`, and stabilised nitrogen is water-soluble");
    }
    let phosphorus_at_most = fields.amount("phosphorus_at_most");
    let only_where = fields.text("only_where", 160).map(str::to_owned);
    let (comparator, share) = (comparator?, share?);
    Some(Duty::SlowShare(SlowShare {
        comparator,
        share,
        not_water_soluble,
        enhanced_counts,
        phosphorus_at_most,
        only_where,
    }))
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

fn credential_need(head: &Head, fields: &mut Fields<'_>) -> Option<Duty> {
    let codes = fields.required_words("held", "the codes of the credentials of which one will do");
    let trained = fields.words("trained").unwrap_or_default();
    let supervision_unread = fields.flag("supervision_unread").unwrap_or(false);
    let said = read_disclosure::saying(fields);
    let nutrients = head.nutrients.clone();
    Some(Duty::CredentialNeed(CredentialNeed { nutrients, said: said?, held: codes?, trained, supervision_unread }))
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
        compost: inner.flag("compost"),
        enhanced_efficiency_phosphorus: inner.flag("enhanced_efficiency_phosphorus"),
        pesticide: inner.flag("pesticide"),
        slow_share_at_least: inner.amount("slow_share_at_least"),
        slow_share_below: inner.amount("slow_share_below"),
        phosphate_over: inner.amount("phosphate_over"),
    };
    if table.is_empty() {
        fields.fault(field, "names nothing, and would cover everything");
    }
    fields.take_faults(field, inner.finish("a scope"));
    scope
}
