//! The law as this server reads it.

use axum::{
    Json,
    extract::{Path, State},
};
use domain::{
    application::Purpose,
    decision::RuleSetUsed,
    equipment::Equipment,
    ids::{self, ProductId, PropertyId, SectionId},
    law::{Intent, RuleChange, RuleDifference, RuleOnDay, RuleSetAbout, Strictest},
    time::{Day, Instant},
};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::{
    access::{AnyStaff, OfficeOrOwner, OwnerOnly, StaffOrPass},
    api::office_day,
    book::{self, rule_sets::effect::RuleSetEffect, site},
    extract::{PathId, Valid, ValidQuery},
    problem::{FieldFault, Problem},
    routes::{Routes, routes},
    state::App,
    store::{self, rule_sets::RuleSetUse},
};

pub fn routes() -> Routes {
    routes!(
        list_rule_sets,
        get_rule_set,
        list_rule_changes,
        get_waiting_rule_set,
        confirm_rule_set,
        get_property_rules,
        get_section_rules
    )
}

#[derive(Debug, Serialize, ToSchema)]
struct RuleSets {
    #[schema(max_items = 2000)]
    items: Vec<RuleSetAbout>,
    /// New versions of these rule sets, which do not count before the owner has confirmed them.
    #[schema(max_items = 2000)]
    waiting: Vec<RuleSetAbout>,
    /// A place that is not listed has no rule set here. That does not mean it has no law.
    #[schema(max_length = 300)]
    caution: &'static str,
}

const CAUTION: &str = "A working copy of public law, read on the days shown. A place that is not listed has no rule set here, which does not mean that it has no law. The label and the local authority prevail.";

/// List rule sets
///
/// With what each covers, the day it was last read, and the hash of its text.
#[utoipa::path(get, path = "/api/v1/rule-sets", operation_id = "list_rule_sets", tag = "rule sets", security(("bearer" = ["any staff", "pass"])),
    responses((status = 200, description = "Every rule set this server has.", body = RuleSets)))]
async fn list_rule_sets(_: StaffOrPass, State(app): State<App>) -> Json<RuleSets> {
    let law = app.law();
    let items = law.rule_sets().iter().map(|set| set.about.clone()).collect();
    let waiting = book::rule_sets::waiting(&app.offered_law(), &law).into_iter().cloned().collect();
    Json(RuleSets { items, waiting, caution: CAUTION })
}

/// What the rule set with a code says about itself.
fn about(app: &App, code: &str) -> Result<RuleSetAbout, Problem> {
    app.law().rule_set(code).map(|set| set.about.clone()).ok_or_else(no_rule_set)
}

fn no_rule_set() -> Problem {
    Problem::not_found("rule set")
}

#[derive(Debug, Clone, Serialize, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct RuleSetQuery {
    /// Local day asked about.
    on: Day,
}

#[derive(Debug, Serialize, ToSchema)]
struct RuleSetOnDay {
    about: RuleSetAbout,
    on: Day,
    /// The set, the places around it and the company's own, and why one of them does not count there.
    #[schema(max_items = 60)]
    rule_sets: Vec<RuleSetUsed>,
    /// What every rule of the set, of the places around it and of the company says on that day.
    #[schema(max_items = 2000)]
    rules: Vec<RuleOnDay>,
}

/// Get a rule set as it holds on a day
///
/// Every rule with its value, since when and until when, citation, link and how it was read. The places around it and the
/// company's own rules are included, since they bind there too.
#[utoipa::path(get, path = "/api/v1/rule-sets/{code}", operation_id = "get_rule_set", tag = "rule sets", security(("bearer" = ["any staff", "pass"])),
    params(("code" = String, Path, description = "Code of the rule set.", pattern = "^[a-z0-9-]{2,60}$", max_length = 60, example = "us-pa"), RuleSetQuery),
    responses((status = 200, description = "The rules of that day.", body = RuleSetOnDay)))]
async fn get_rule_set(
    _: StaffOrPass,
    State(app): State<App>,
    Path(code): Path<String>,
    ValidQuery(query): ValidQuery<RuleSetQuery>,
) -> Result<Json<RuleSetOnDay>, Problem> {
    let about = about(&app, &code)?;
    let rules = app.law().on_day(std::slice::from_ref(&code), query.on);
    let rule_sets = app.law().over(std::slice::from_ref(&code));
    Ok(Json(RuleSetOnDay { about, on: query.on, rule_sets, rules }))
}

#[derive(Debug, Clone, Serialize, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct ChangesQuery {
    /// The day from whose law on changes are listed.
    from: Day,
    /// The last day on which a change may begin.
    to: Day,
}

#[derive(Debug, Serialize, ToSchema)]
struct RuleChanges {
    about: RuleSetAbout,
    from: Day,
    to: Day,
    /// In the order of days; what each rule said before and what it says since.
    #[schema(max_items = 2000)]
    changes: Vec<RuleChange>,
}

/// List the changes of a rule set between two days
///
/// Every day after the first and up to the last on which one of its rules began to say something else, as far as the texts
/// were read.
#[utoipa::path(get, path = "/api/v1/rule-sets/{code}/changes", operation_id = "list_rule_changes", tag = "rule sets", security(("bearer" = ["any staff", "pass"])),
    params(("code" = String, Path, description = "Code of the rule set.", pattern = "^[a-z0-9-]{2,60}$", max_length = 60, example = "us-md"), ChangesQuery),
    responses((status = 200, description = "The changes.", body = RuleChanges)))]
async fn list_rule_changes(
    _: StaffOrPass,
    State(app): State<App>,
    Path(code): Path<String>,
    ValidQuery(query): ValidQuery<ChangesQuery>,
) -> Result<Json<RuleChanges>, Problem> {
    if query.from > query.to {
        return Err(Problem::invalid(vec![FieldFault::parameter("to", "out_of_range", "must not lie before `from`")]));
    }
    let about = about(&app, &code)?;
    let changes = app.law().changes(&code, query.from, query.to).ok_or_else(no_rule_set)?;
    Ok(Json(RuleChanges { about, from: query.from, to: query.to, changes }))
}

/// A new version of a rule set, held against the one that counts.
#[derive(Debug, Serialize, ToSchema)]
pub struct WaitingRuleSet {
    /// The version that counts.
    pub counts: RuleSetAbout,
    /// The version that waits. Its `hash` confirms it.
    pub waits: RuleSetAbout,
    /// When this server first had it.
    pub since: Instant,
    /// Field by field: about the set first, then rule by rule.
    #[schema(max_items = 5000)]
    pub differences: Vec<RuleDifference>,
    pub effect: RuleSetEffect,
    #[schema(max_length = 300)]
    pub caution: &'static str,
}

/// Get the new version of a rule set that waits
///
/// What it changes, before it counts: every field in which the two texts differ, with its citation, and for the next 365 days every
/// lawn section whose limits differ and every planned visit that is answered otherwise, with both answers. 404 when none waits.
#[utoipa::path(get, path = "/api/v1/rule-sets/{code}/waiting", operation_id = "get_waiting_rule_set", tag = "rule sets", security(("bearer" = ["office", "owner"])),
    params(("code" = String, Path, description = "Code of the rule set.", pattern = "^[a-z0-9-]{2,60}$", max_length = 60, example = "us-md")),
    responses((status = 200, description = "The new version.", body = WaitingRuleSet)))]
pub async fn get_waiting_rule_set(
    _: OfficeOrOwner,
    State(app): State<App>,
    Path(code): Path<String>,
) -> Result<Json<WaitingRuleSet>, Problem> {
    let (law, offered) = (app.law(), app.offered_law());
    let sets = law.rule_set(&code).zip(offered.rule_set(&code));
    let waits = sets.filter(|(counts, new)| counts.about.hash != new.about.hash);
    let (counts, new) = waits.ok_or_else(|| Problem::not_found("new version of a rule set"))?;
    let since = store::rule_sets::met_at(app.store.reader(), &new.about.hash).await?;
    let effect = book::rule_sets::effect::of(&app, new, office_day(&app).await?).await?;
    Ok(Json(WaitingRuleSet {
        counts: counts.about.clone(),
        waits: new.about.clone(),
        since: since.unwrap_or_else(|| app.clock.now()),
        differences: counts.differences(new).into_iter().take(5000).collect(),
        effect,
        caution: CAUTION,
    }))
}

#[derive(Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({ "hash": "5f2b8f0c9c1e7d3a6b4f2e1d0c9b8a7f6e5d4c3b2a190817263544f3e2d1c0b9" }))]
pub struct RuleSetConfirmation {
    /// `hash` of the version that waits, so that no other than the one that was looked at begins to count.
    #[schema(min_length = 64, max_length = 64, pattern = "^[0-9a-f]{64}$")]
    hash: String,
}

/// Confirm the new version of a rule set
///
/// From now on it counts, for every day: each of its values holds on the days that it names. Decisions that were made keep the version
/// that they were made under. 409 when another version waits by now. Said again, it changes nothing.
#[utoipa::path(put, path = "/api/v1/rule-sets/{code}/confirmation", operation_id = "confirm_rule_set", tag = "rule sets", security(("bearer" = ["owner"])),
    params(("code" = String, Path, description = "Code of the rule set.", pattern = "^[a-z0-9-]{2,60}$", max_length = 60, example = "us-md")),
    request_body = RuleSetConfirmation, responses((status = 200, description = "It counts.", body = RuleSetUse)))]
pub async fn confirm_rule_set(
    OwnerOnly(actor): OwnerOnly,
    State(app): State<App>,
    Path(code): Path<String>,
    Valid { value, .. }: Valid<RuleSetConfirmation>,
) -> Result<Json<RuleSetUse>, Problem> {
    book::rule_sets::confirm(&app, actor, code, value.hash).await.map(Json)
}

/// The law over a property on a day.
#[derive(Debug, Serialize, ToSchema)]
struct PropertyRules {
    property_id: PropertyId,
    on: Day,
    /// The confirmed sets, the places around them and the company's own, and why one of them does not count here.
    #[schema(max_items = 60)]
    rule_sets: Vec<RuleSetUsed>,
    /// What every rule of those that count says on that day.
    #[schema(max_items = 2000)]
    rules: Vec<RuleOnDay>,
    /// Of every line the strictest, for feeding an established lawn with the product that was named; null without one.
    strictest: Option<Strictest>,
    #[schema(max_length = 300)]
    caution: &'static str,
}

fn over(app: &App, property_id: PropertyId, codes: &[String], on: Day) -> PropertyRules {
    PropertyRules {
        property_id,
        on,
        rule_sets: app.law().over(codes),
        rules: app.law().on_day(codes, on),
        strictest: None,
        caution: CAUTION,
    }
}

/// Get the rules over a property
///
/// Every rule of the confirmed rule sets, of the places around them and of the company, as it holds on a day: value, since
/// and until when, citation, link and how it was read. Duties that judge no application are among them: records, credentials,
/// notices, reports.
#[utoipa::path(get, path = "/api/v1/properties/{id}/rules", operation_id = "get_property_rules", tag = "rule sets", security(("bearer" = ["any staff"])),
    params(("id" = PropertyId, Path, description = "The property."), RuleSetQuery),
    responses((status = 200, description = "The rules of that day.", body = PropertyRules)))]
async fn get_property_rules(
    staff: AnyStaff,
    State(app): State<App>,
    PathId(id): PathId<ids::Property>,
    ValidQuery(query): ValidQuery<RuleSetQuery>,
) -> Result<Json<PropertyRules>, Problem> {
    let property = store::properties::get(app.store.reader(), id, staff.scope()).await?;
    let property = property.ok_or_else(|| Problem::not_found("property"))?;
    let site = site::on(app.store.reader(), id, query.on).await?.ok_or_else(|| Problem::not_found("property"))?;
    Ok(Json(over(&app, property.id, &site.place.rule_sets, query.on)))
}

#[derive(Debug, Clone, Serialize, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct SectionRuleQuery {
    /// Local day asked about.
    on: Day,
    /// Product for which the strictest of all rules is worked out.
    #[serde(default)]
    product_id: Option<ProductId>,
    /// Equipment for which it is worked out; without it the one that gets no reduced distance.
    #[serde(default)]
    equipment: Option<Equipment>,
}

/// Get the rules over a lawn section
///
/// That of its property; with a product, also the strictest of it all: the lowest cap of each nutrient for one application
/// and for a year, whether the season is closed and when it opens, the longest distance from water, the shortest life of a
/// soil report, what the record must name and how long it is kept.
#[utoipa::path(get, path = "/api/v1/sections/{id}/rules", operation_id = "get_section_rules", tag = "rule sets", security(("bearer" = ["any staff"])),
    params(("id" = SectionId, Path, description = "The lawn section."), SectionRuleQuery),
    responses((status = 200, description = "The rules of that day.", body = PropertyRules)))]
async fn get_section_rules(
    staff: AnyStaff,
    State(app): State<App>,
    PathId(id): PathId<ids::Section>,
    ValidQuery(query): ValidQuery<SectionRuleQuery>,
) -> Result<Json<PropertyRules>, Problem> {
    let missing = || Problem::not_found("lawn section");
    let section = store::sections::get(app.store.reader(), id, staff.scope()).await?.ok_or_else(missing)?;
    let site = site::on(app.store.reader(), section.property_id, query.on).await?.ok_or_else(missing)?;
    let codes = &site.place.rule_sets;
    let mut rules = over(&app, section.property_id, codes, query.on);
    if let Some(id) = query.product_id {
        let product = store::products::get(app.store.reader(), id).await?.ok_or_else(|| {
            Problem::invalid(vec![FieldFault::parameter("product_id", "not_found", "names no product of this company")])
        })?;
        let intent = Intent {
            on: query.on,
            audience: site.place.worked_by,
            kind: site.place.kind,
            purpose: Purpose::Maintenance,
            label: &product.label,
            species: site::turf(app.store.reader(), section.id, query.on).await?,
            equipment: query.equipment.unwrap_or(Equipment::RotarySpreader),
        };
        rules.strictest = Some(app.law().strictest(codes, &intent));
    }
    Ok(Json(rules))
}
