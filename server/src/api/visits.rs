//! Visits: planned stops.

pub mod moves;

use axum::{Json, extract::State, response::Response};
use domain::{
    ids::{self, PersonId, PropertyId, SectionId, VisitId},
    time::Day,
};
use serde::{Deserialize, Serialize};
use sqlx::SqliteConnection;

use crate::{
    access::{AnyStaff, OfficeOrOwner},
    api::{office_day, whole},
    book::{
        credentials,
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
        journal::JournalContext,
        products::ProductStatus,
        visits::{Filter, Visit, VisitChange, VisitInput, VisitStatus},
    },
};

pub fn routes() -> Routes {
    routes!(create_visit, list_visits, get_visit, replace_visit).merge(moves::routes())
}

#[derive(Debug, Clone, Serialize, Deserialize, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct VisitFilter {
    /// Only those of this person.
    #[serde(default)]
    person_id: Option<PersonId>,
    /// Only those of this day.
    #[serde(default)]
    planned_on: Option<Day>,
    /// Only those to this property.
    #[serde(default)]
    property_id: Option<PropertyId>,
}

type VisitQuery = Paged<VisitFilter>;

/// A visit is planned for the days around now: one of another decade is a slip of the finger.
fn planning_faults(input: &VisitChange, today: Day) -> Vec<FieldFault> {
    let (first, last) = (today.minus_months(12), today.minus_months(-36));
    let detail = format!("must lie between {first} and {last}");
    let fault = || FieldFault::at("/planned_on", "out_of_range", detail);
    if (first..=last).contains(&input.planned_on) { Vec::new() } else { vec![fault()] }
}

/// What contradicts itself in a visit.
fn faults(input: &VisitChange) -> Vec<FieldFault> {
    let place = |at| format!("/section_ids/{at}");
    let mut faults = FieldFault::repeats(&input.section_ids, place, "stands in the list already");
    match (input.target_product_lb_per_1000_sqft, input.target_nitrogen_lb_per_1000_sqft) {
        (Some(_), Some(_)) => {
            let detail = "is given only without target_nitrogen_lb_per_1000_sqft: one of the two states the amount";
            faults.push(FieldFault::at("/target_product_lb_per_1000_sqft", "contradiction", detail));
        }
        (Some(product), None) if product.is_zero() => {
            let detail = "must be above zero; leave it out if the amount is not planned";
            faults.push(FieldFault::at("/target_product_lb_per_1000_sqft", "out_of_range", detail));
        }
        _ => {}
    }
    let needs_reason = matches!(input.status, VisitStatus::NotDone | VisitStatus::Cancelled);
    match (needs_reason, &input.reason) {
        (true, None) => {
            let detail = "is required when a visit was not done or is cancelled";
            faults.push(FieldFault::at("/reason", "missing", detail));
        }
        (false, Some(_)) => {
            let detail = "is given only when a visit was not done or is cancelled";
            faults.push(FieldFault::at("/reason", "contradiction", detail));
        }
        _ => {}
    }
    faults
}

/// What a visit to this property on this day finds wrong there.
async fn property_faults(
    connection: &mut SqliteConnection,
    input: &VisitChange,
    faults: &mut Vec<FieldFault>,
) -> Result<(), Problem> {
    let Some(property) = store::properties::get(&mut *connection, input.property_id, Scope::Company).await? else {
        faults.push(FieldFault::at("/property_id", "not_found", "names no property of this company"));
        return Ok(());
    };
    let own = store::sections::ids_of(&mut *connection, property.id).await?;
    for (at, id) in input.section_ids.iter().enumerate().filter(|(_, id)| !own.contains(id)) {
        let detail = format!("{id} is no section of this property");
        faults.push(FieldFault::at(format!("/section_ids/{at}"), "not_found", detail));
    }
    let client = store::clients::get(connection, property.client_id, Scope::Company).await?;
    let ended = client.and_then(|client| client.cancelled_on).filter(|ended| *ended <= input.planned_on);
    if let Some(ended) = ended.filter(|_| input.status == VisitStatus::Planned) {
        let detail = format!("the client's service ends on {ended}; nothing is applied there from then on");
        faults.push(FieldFault::at("/planned_on", "contradiction", detail));
    }
    Ok(())
}

/// Refuses a visit that contradicts itself or the book. Who may go and what may be used is asked only of a visit that is
/// still to be made: the past stays as it was.
pub(super) async fn check(connection: &mut SqliteConnection, input: &VisitChange) -> Result<(), Problem> {
    whole(all_faults(connection, input).await?)
}

async fn all_faults(connection: &mut SqliteConnection, input: &VisitChange) -> Result<Vec<FieldFault>, Problem> {
    let mut faults = faults(input);
    let planned = input.status == VisitStatus::Planned;
    property_faults(&mut *connection, input, &mut faults).await?;
    match store::people::get(&mut *connection, input.person_id).await? {
        None => faults.push(FieldFault::at("/person_id", "not_found", "names nobody of the staff")),
        Some(person) if planned && !person.active => {
            faults.push(FieldFault::at("/person_id", "not_active", "is not active any more"));
        }
        Some(_) => {}
    }
    match store::products::get(&mut *connection, input.product_id).await? {
        None => faults.push(FieldFault::at("/product_id", "not_found", "names no product of this company")),
        Some(product) if planned && product.status == ProductStatus::Retired => {
            faults.push(FieldFault::at("/product_id", "not_active", "is retired; plan with another product"));
        }
        Some(product) if planned && product.label.nitrogen_percent.is_zero() => {
            let detail = "cannot be met: the product guarantees no nitrogen. State its amount by target_product_lb_per_1000_sqft";
            let target = input.target_nitrogen_lb_per_1000_sqft.filter(|target| !target.is_zero());
            faults.extend(target.map(|_| FieldFault::at("/target_nitrogen_lb_per_1000_sqft", "contradiction", detail)));
        }
        Some(_) => {}
    }
    Ok(faults)
}

/// A visit of a round that was called off may not come back when the round is planned anew for one of its sections.
async fn round_faults(
    connection: &mut SqliteConnection,
    id: VisitId,
    input: &VisitChange,
) -> Result<Vec<FieldFault>, Problem> {
    let stored = store::visits::get(&mut *connection, id, Scope::Company).await?;
    let of = stored.and_then(|visit| visit.programme_id.zip(visit.round));
    let stands = matches!(input.status, VisitStatus::Planned | VisitStatus::Done);
    let Some((programme, round)) = of.filter(|_| stands) else { return Ok(Vec::new()) };
    let taken = store::visits::of_round(connection, programme, &round, Some(id)).await?;
    let twice = |(at, _): (usize, &SectionId)| {
        let detail = format!("has another visit for the round {round}; call that one off first");
        FieldFault::at(format!("/section_ids/{at}"), "planned_already", detail)
    };
    Ok(input.section_ids.iter().enumerate().filter(|(_, id)| taken.contains(id)).map(twice).collect())
}

/// Create a visit
///
/// One person, one property, one day, one product. It is in the person's day at once. Somebody whose certificate will have run out by
/// then can be named all the same, since it may be renewed; `certificate` of the answer says so.
#[utoipa::path(post, path = "/api/v1/visits", operation_id = "create_visit", tag = "visits",
    security(("bearer" = ["office", "owner"])), params(IdempotencyKey), request_body = VisitInput,
    responses((status = 201, description = "Planned.", body = Visit, headers(("Location" = String, description = "Where it is.")))))]
pub async fn create_visit(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    key: IdempotencyKey,
    Valid { value, fingerprint }: Valid<VisitInput>,
) -> Result<Created, Problem> {
    let visit = VisitChange::from(value);
    let at = app.clock.now();
    whole(planning_faults(&visit, office_day(&app).await?))?;
    let id: VisitId = app.ids.next(at);
    let deed = JournalContext { actor: Some(actor), at, act: "visit.planned", subject: id.uuid() };
    let repeat = IdempotentRequest { key, route: "create_visit", fingerprint };
    let law = app.law();
    office::create(&app, deed, repeat, format!("/api/v1/visits/{id}"), move |connection| {
        Box::pin(async move {
            check(&mut *connection, &visit).await?;
            let made = store::visits::insert(&mut *connection, id, &visit, None, at).await?;
            Ok(credentials::told(connection, &law, made, at).await?)
        })
    })
    .await
}

/// List visits
///
/// In the order in which they were planned, all or those of a person, a day, a property. A technician sees the own.
#[utoipa::path(get, path = "/api/v1/visits", operation_id = "list_visits", tag = "visits",
    security(("bearer" = ["any staff"])), params(VisitQuery),
    responses((status = 200, description = "A page of visits.", body = Page<Visit>)))]
async fn list_visits(
    staff: AnyStaff,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<VisitQuery>,
) -> Result<Json<Page<Visit>>, Problem> {
    let span = app.cursors.span("visits", &query, false)?;
    let filter = Filter { person: query.person_id, planned_on: query.planned_on, property: query.property_id };
    let rows = store::visits::list(app.store.reader(), span, filter, staff.scope()).await?;
    Ok(Json(app.cursors.page("visits", &query, rows)))
}

/// Get a visit
///
/// With the version that a change must name. A technician reads the own.
#[utoipa::path(get, path = "/api/v1/visits/{id}", operation_id = "get_visit", tag = "visits",
    security(("bearer" = ["any staff"])), params(("id" = VisitId, Path, description = "The visit.")),
    responses((status = 304, description = "You have this version already."), (status = 200, description = "The visit.", body = Visit)))]
async fn get_visit(
    staff: AnyStaff,
    State(app): State<App>,
    known: IfNoneMatch,
    PathId(id): PathId<ids::Visit>,
) -> Result<Response, Problem> {
    let visit = store::visits::get(app.store.reader(), id, staff.scope()).await?;
    Ok(reply::json_with_etag(&known, &visit.ok_or_else(|| Problem::not_found("visit"))?))
}

/// Replace a visit
///
/// Replaces the planning, and says how the visit ended: done, not done or cancelled, the last two with a reason. Of one that is still to
/// be made, `certificate` says what stands against it by the certificate of whoever goes.
#[utoipa::path(put, path = "/api/v1/visits/{id}", operation_id = "replace_visit", tag = "visits",
    security(("bearer" = ["office", "owner"])), params(("id" = VisitId, Path, description = "The visit."), IfMatch),
    request_body = VisitChange, responses((status = 200, description = "Changed.", body = Visit)))]
pub async fn replace_visit(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    PathId(id): PathId<ids::Visit>,
    if_match: IfMatch,
    Valid { value, .. }: Valid<VisitChange>,
) -> Result<Json<Visit>, Problem> {
    let at = app.clock.now();
    let deed = JournalContext { actor: Some(actor), at, act: "visit.changed", subject: id.uuid() };
    let law = app.law();
    let changed = office::change(&app, deed, move |connection| {
        Box::pin(async move {
            let mut faults = all_faults(&mut *connection, &value).await?;
            faults.extend(round_faults(&mut *connection, id, &value).await?);
            whole(faults)?;
            let changed = store::visits::update(&mut *connection, id, &value, if_match.versions, at).await?;
            Ok(credentials::told(connection, &law, changed.or_problem("visit")?, at).await?)
        })
    });
    changed.await.map(Json)
}
