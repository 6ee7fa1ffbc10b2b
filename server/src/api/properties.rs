//! Properties.

use std::collections::HashSet;

use axum::{Json, extract::State, response::Response};
use domain::{
    ids::{self, ClientId, PropertyId, RuleSetCode},
    law::{Lawbook, Level},
    time::Day,
};
use serde::{Deserialize, Serialize};
use sqlx::SqliteConnection;

use crate::{
    access::{OfficeOrOwner, StaffOrPass},
    api::{
        history::{Made, Turn, note_moves, since, since_of_new, sound_change},
        last_past_day, not_yet, whole,
    },
    book::{
        doubts::Before,
        history,
        office::{self, IdempotentRequest},
    },
    extract::{IdempotencyKey, IfMatch, IfNoneMatch, PathId, Valid, ValidQuery},
    paging::{Page, Paged},
    problem::{FieldFault, Problem},
    reply::{self, Created},
    routes::{Routes, routes},
    scope::Scope,
    state::App,
    store::{
        self,
        doubts::Cause,
        history::Subject,
        journal::JournalContext,
        properties::{Place, Property, PropertyInput},
    },
};

pub fn routes() -> Routes {
    routes!(create_property, list_properties, get_property, replace_property)
}

/// The company's own rules hold everywhere; nobody needs to name them.
const COMPANY_RULES: &str = "company";

#[derive(Debug, Clone, Serialize, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct PropertyFilter {
    /// Only those of this client.
    #[serde(default)]
    client_id: Option<ClientId>,
}

type PropertyQuery = Paged<PropertyFilter>;

/// Codes that name no jurisdiction this server knows, or name one twice.
fn rule_set_faults(codes: &[RuleSetCode], law: &Lawbook) -> Vec<FieldFault> {
    let mut seen = HashSet::new();
    let mut faults = Vec::new();
    for (at, RuleSetCode(code)) in codes.iter().enumerate() {
        let pointer = format!("/rule_sets/{at}");
        if code == COMPANY_RULES {
            faults.push(FieldFault::at(pointer, "unknown_value", "holds for every property and is not named here"));
        } else if law.rule_set(code).is_none() {
            let detail = "is no rule set of this server; take a code from the list of rule sets";
            faults.push(FieldFault::at(pointer, "unknown_value", detail));
        } else if !seen.insert(code) {
            faults.push(FieldFault::at(pointer, "repeated", "stands in the list already"));
        }
    }
    faults
}

/// County, municipality and rule sets lie in the state that is named.
fn place_faults(place: &Place, rule_sets: &[RuleSetCode]) -> Vec<FieldFault> {
    let within = |code: &RuleSetCode| code == &place.state || code.0.starts_with(&format!("{}-", place.state.0));
    let parts = [("/place/county", &place.county), ("/place/municipality", &place.municipality)];
    let outside =
        parts.into_iter().filter(|(_, code)| code.as_ref().is_some_and(|code| !within(code) || code == &place.state));
    let detail = format!("must begin with the state's code and a hyphen, such as {}-name", place.state.0);
    let mut faults: Vec<FieldFault> =
        outside.map(|(pointer, _)| FieldFault::at(pointer, "contradiction", detail.clone())).collect();
    for (at, _) in rule_sets.iter().enumerate().filter(|(_, code)| !within(code)) {
        let detail = format!("is of another state than `place`, which says {}", place.state.0);
        faults.push(FieldFault::at(format!("/rule_sets/{at}"), "contradiction", detail));
    }
    faults
}

/// A property lies in one state: its rule sets lead up to one.
fn one_state(codes: &[RuleSetCode], law: &Lawbook) -> Vec<FieldFault> {
    let state_of = |code: &str| {
        let stacked = law.over(&[code.to_owned()]);
        stacked
            .into_iter()
            .map(|used| used.code)
            .find(|code| law.rule_set(code).is_some_and(|set| set.about.level == Level::State))
    };
    let Some(first) = codes.iter().find_map(|code| state_of(&code.0)) else { return Vec::new() };
    let other = |(at, code): (usize, &RuleSetCode)| {
        let state = state_of(&code.0).filter(|state| *state != first)?;
        let detail = format!("belongs to {state}, and another of them to {first}; a property lies in one state");
        Some(FieldFault::at(format!("/rule_sets/{at}"), "contradiction", detail))
    };
    codes.iter().enumerate().filter_map(other).collect()
}

/// What is wrong with a property in itself.
pub(super) fn faults(input: &PropertyInput, law: &Lawbook, last: Day) -> Vec<FieldFault> {
    let mut faults = rule_set_faults(&input.rule_sets, law);
    if faults.is_empty() && input.place.is_none() {
        faults.extend(one_state(&input.rule_sets, law));
    }
    faults.extend(input.local_rules_checked_on.and_then(|day| not_yet("/local_rules_checked_on", day, last)));
    faults.extend(input.place.iter().flat_map(|place| place_faults(place, &input.rule_sets)));
    let missing = match (input.latitude, input.longitude) {
        (Some(_), None) => Some("/longitude"),
        (None, Some(_)) => Some("/latitude"),
        _ => None,
    };
    let detail = "is required, because latitude and longitude come together or not at all";
    faults.extend(missing.map(|pointer| FieldFault::at(pointer, "missing", detail)));
    faults
}

/// Refuses a property that is wrong in itself or names a client who is not in the book.
async fn check(
    connection: &mut SqliteConnection,
    input: &PropertyInput,
    mut faults: Vec<FieldFault>,
) -> Result<(), Problem> {
    if store::clients::get(connection, input.client_id, Scope::Company).await?.is_none() {
        faults.push(FieldFault::at("/client_id", "not_found", "names no client of this company"));
    }
    whole(faults)
}

/// Create a property
///
/// The site of a client. Sections are added to it; visits are planned to it. A property without a confirmed rule set can be
/// kept, but nothing can be cleared for it.
#[utoipa::path(post, path = "/api/v1/properties", operation_id = "create_property", tag = "properties",
    security(("bearer" = ["office", "owner"])), params(IdempotencyKey), request_body = PropertyInput,
    responses((status = 201, description = "Added.", body = Property, headers(("Location" = String, description = "Where it is.")))))]
pub async fn create_property(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    key: IdempotencyKey,
    Valid { value, fingerprint }: Valid<PropertyInput>,
) -> Result<Created, Problem> {
    let mut faults = faults(&value, &app.law(), last_past_day(&app).await?);
    faults.extend(since_of_new(value.since));
    let at = app.clock.now();
    let id: PropertyId = app.ids.next(at);
    let deed = JournalContext { actor: Some(actor), at, act: "property.added", subject: id.uuid() };
    let repeat = IdempotentRequest { key, route: "create_property", fingerprint };
    office::create(&app, deed, repeat, format!("/api/v1/properties/{id}"), move |connection| {
        Box::pin(async move {
            check(connection, &value, faults).await?;
            Ok(store::properties::insert(connection, id, &value, actor.person, at).await?)
        })
    })
    .await
}

/// List properties
///
/// In the order in which they were added, of all clients or of one. A technician sees those on the own visits.
#[utoipa::path(get, path = "/api/v1/properties", operation_id = "list_properties", tag = "properties",
    security(("bearer" = ["any staff", "pass"])), params(PropertyQuery),
    responses((status = 200, description = "A page of properties.", body = Page<Property>)))]
async fn list_properties(
    staff: StaffOrPass,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<PropertyQuery>,
) -> Result<Json<Page<Property>>, Problem> {
    let span = app.cursors.span("properties", &query, false)?;
    let rows = store::properties::list(app.store.reader(), span, query.client_id, staff.scope()).await?;
    Ok(Json(app.cursors.page("properties", &query, rows)))
}

/// Get a property
///
/// With the version that a change must name.
#[utoipa::path(get, path = "/api/v1/properties/{id}", operation_id = "get_property", tag = "properties",
    security(("bearer" = ["any staff", "pass"])), params(("id" = PropertyId, Path, description = "The property.")),
    responses((status = 304, description = "You have this version already."), (status = 200, description = "The property.", body = Property)))]
async fn get_property(
    staff: StaffOrPass,
    State(app): State<App>,
    known: IfNoneMatch,
    PathId(id): PathId<ids::Property>,
) -> Result<Response, Problem> {
    let property = store::properties::get(app.store.reader(), id, staff.scope())
        .await?
        .ok_or_else(|| Problem::not_found("property"))?;
    Ok(reply::json_with_etag(&known, &property))
}

/// Replace a property
///
/// Replaces everything that the office writes about it: what is left out is then what it is with a new property, a lawn, worked for
/// hire, without a nutrient plan, and not what stood before. Read it, change it, and send all of it. What is changed holds from `since` on; earlier days keep what stood then,
/// and records what they were decided under. When it changes hands, the statements of earlier years stay with the client of
/// those years, and the nitrogen stays with the land.
#[utoipa::path(put, path = "/api/v1/properties/{id}", operation_id = "replace_property", tag = "properties",
    security(("bearer" = ["office", "owner"])), params(("id" = PropertyId, Path, description = "The property."), IfMatch),
    request_body = PropertyInput, responses((status = 200, description = "Changed.", body = Property)))]
pub async fn replace_property(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    PathId(id): PathId<ids::Property>,
    if_match: IfMatch,
    Valid { value, .. }: Valid<PropertyInput>,
) -> Result<Json<Property>, Problem> {
    let mut faults = faults(&value, &app.law(), last_past_day(&app).await?);
    let is_named = value.since.is_some();
    let (since, in_future) = since(&app, value.since).await?;
    faults.extend(in_future);
    let at = app.clock.now();
    let entry = app.ids.next(at);
    let deed = JournalContext { actor: Some(actor), at, act: "property.changed", subject: id.uuid() };
    let (book, last) = (app.clone(), last_past_day(&app).await?);
    let changed = office::change(&app, deed, move |connection| {
        Box::pin(async move {
            if store::properties::get(&mut *connection, id, Scope::Company).await?.is_none() {
                return Err(Problem::not_found("property"));
            }
            let change =
                history::weigh(connection, Subject::Property(id), value.facts()?, (since, is_named), &mut faults)
                    .await?;
            check(&mut *connection, &value, faults).await?;
            let turn = sound_change(&mut *connection, &book, change.as_ref(), last).await?;
            let doubts = match &turn {
                Some(Turn { before, after }) => {
                    Before::of_turn(&mut *connection, &book, (Subject::Property(id), before, after), (since, at))
                        .await?
                }
                None => None,
            };
            let done = store::properties::update(&mut *connection, id, &value, if_match.versions)
                .await?
                .or_problem("property")?;
            let Some((change, turn)) = change.zip(turn) else { return Ok(done) };
            history::enter(&mut *connection, change, entry, deed).await?;
            let made = Made { entry: entry.uuid(), reason: None, today: last };
            note_moves(&mut *connection, &book, Subject::Property(id), &turn, made, deed).await?;
            if let Some(doubts) = doubts {
                doubts.note(&mut *connection, &book, Cause::Entry(entry.uuid()), deed).await?;
            }
            // Since when it is whose follows from the entries.
            let entered = store::properties::get(connection, id, Scope::Company).await?;
            entered.ok_or_else(|| Problem::not_found("property"))
        })
    });
    changed.await.map(Json)
}
