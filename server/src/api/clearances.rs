//! Clearances: permission that holds room.

use axum::{
    Json,
    extract::State,
    http::StatusCode,
    response::{IntoResponse, Response},
};
use domain::{
    actor::Role,
    decision::Decision,
    ids::{self, ClearanceId},
};

use crate::{
    access::AnyStaff,
    acts::{
        Act, ActContext, ActOutcome, Provided,
        clearance::{ClearanceInput, ClearanceState, ClearanceView},
        content::Content,
    },
    book::{office, receipts, weather},
    extract::{PathId, Valid},
    problem::{FieldFault, Kind, Problem},
    routes::{Routes, routes},
    secret,
    state::App,
    store::{self, journal::JournalContext},
};

pub fn routes() -> Routes {
    routes!(grant_clearance, get_clearance, cancel_clearance, get_clearance_decision)
}

/// Makes the context of an act: who, when, and what is kept of it.
pub fn context(app: &App, staff: AnyStaff, content: Content) -> ActContext {
    let at = app.clock.now();
    ActContext {
        actor: staff.0,
        at,
        content,
        attempt_or_movement_id: app.ids.uuid(at),
        weather: Provided::default(),
        salt: secret::salt([app.ids.uuid(at), app.ids.uuid(at)]),
    }
}

/// The answers that every act has in common.
pub fn refused(reply: ActOutcome) -> Problem {
    match reply {
        ActOutcome::Missing(what) => Problem::not_found(what),
        ActOutcome::Invalid(faults) => Problem::invalid(faults),
        ActOutcome::Stopped { summary, findings } => Problem::stopped(&summary, findings),
        ActOutcome::Conflict(detail) => Problem::new(Kind::Conflict, detail),
        ActOutcome::NotAllowed(detail) => Problem::new(Kind::NotAllowed, detail),
        ActOutcome::Reused(fields) => {
            let fault = |field: &String| {
                FieldFault::at(format!("/{field}"), "differs", "differs from what is stored under this id")
            };
            let detail = format!("What is stored under this id differs in: {}.", fields.join(", "));
            Problem::new(Kind::IdReused, detail).with_errors(fields.iter().map(fault).collect())
        }
        ActOutcome::Taken(noun, address) => {
            let detail =
                format!("This id names a thing of another kind already ({noun}). Send yours under an id of its own.");
            let problem = Problem::new(Kind::IdReused, detail);
            address.map_or(problem.clone(), |address| problem.with_existing(address))
        }
        ActOutcome::Cleared(_) | ActOutcome::Recorded(_) | ActOutcome::Corrected(_) | ActOutcome::StoredBefore => {
            Problem::new(Kind::Fault, "The server mixed two answers up. It is logged under the request id.")
        }
    }
}

/// 201 for what is new.
pub fn stored_response(view: impl serde::Serialize) -> Response {
    (StatusCode::CREATED, Json(view)).into_response()
}

/// 200 for what was stored before with the same content, as it stands now.
pub fn stored_before_response(found: Option<impl serde::Serialize>, noun: &str) -> Result<Response, Problem> {
    let view = found.ok_or_else(|| Problem::not_found(noun))?;
    Ok(Json(view).into_response())
}

/// Grant a clearance
///
/// The same decision as a check, under an id that the phone makes. Refused with every finding on `stop`, and the attempt is
/// kept; on `go` and `care` the room is held until it is used, given back, or the planned day ends at the property. The
/// same again answers the stored clearance; other content under the same id is refused.
#[utoipa::path(put, path = "/api/v1/clearances/{id}", operation_id = "grant_clearance", tag = "clearances", security(("bearer" = ["any staff"])),
    params(("id" = ClearanceId, Path, description = "Made by the caller, UUID version 7 preferred.")), request_body = ClearanceInput,
    responses((status = 201, description = "Granted; the room is held.", body = ClearanceView, headers(("receipt" = String, description = "A receipt of this moment, base64."))),
              (status = 200, description = "Granted before, with the same content.", body = ClearanceView, headers(("receipt" = String, description = "A receipt of this moment, base64.")))))]
async fn grant_clearance(
    staff: AnyStaff,
    State(app): State<App>,
    PathId(id): PathId<ids::Clearance>,
    Valid { value, .. }: Valid<ClearanceInput>,
) -> Result<Response, Problem> {
    let mut context = context(&app, staff, Content::of(&value)?);
    context.weather =
        weather::for_plan(&app, value.property_id, staff.scope(), value.planned_on, &value.weather).await?;
    let at = context.at;
    match app.store.act(Act::Clear(context, id, Box::new(value))).await? {
        ActOutcome::Cleared(view) => Ok(receipts::beside(&app, stored_response(view)).await),
        ActOutcome::StoredBefore => {
            let found = store::clearances::get(app.store.reader(), id, staff.scope(), at).await?;
            Ok(receipts::beside(&app, stored_before_response(found, "clearance")?).await)
        }
        other => Err(refused(other)),
    }
}

/// Get a clearance
///
/// As it stands now: open, used, given back or expired.
#[utoipa::path(get, path = "/api/v1/clearances/{id}", operation_id = "get_clearance", tag = "clearances", security(("bearer" = ["any staff"])),
    params(("id" = ClearanceId, Path, description = "The clearance.")), responses((status = 200, description = "The clearance.", body = ClearanceView)))]
async fn get_clearance(
    staff: AnyStaff,
    State(app): State<App>,
    PathId(id): PathId<ids::Clearance>,
) -> Result<Json<ClearanceView>, Problem> {
    let found = store::clearances::get(app.store.reader(), id, staff.scope(), app.clock.now()).await?;
    found.map(Json).ok_or_else(|| Problem::not_found("clearance"))
}

/// Cancel a clearance
///
/// Frees the room it holds. Giving it back again changes nothing; a used one stays used.
#[utoipa::path(delete, path = "/api/v1/clearances/{id}", operation_id = "cancel_clearance", tag = "clearances",
    security(("bearer" = ["any staff"])), params(("id" = ClearanceId, Path, description = "The clearance.")),
    responses((status = 200, description = "Given back.", body = ClearanceView)))]
async fn cancel_clearance(
    staff: AnyStaff,
    State(app): State<App>,
    PathId(id): PathId<ids::Clearance>,
) -> Result<Json<ClearanceView>, Problem> {
    let at = app.clock.now();
    let deed = JournalContext { actor: Some(staff.0), at, act: "clearance.given_back", subject: id.uuid() };
    let given = office::change_once(&app, deed, move |connection| {
        Box::pin(async move {
            let missing = || Problem::not_found("clearance");
            let now = store::clearances::get(&mut *connection, id, staff.scope(), at).await?.ok_or_else(missing)?;
            if staff.0.role == Role::Technician && now.person_id != staff.0.person {
                return Err(Problem::new(
                    Kind::NotAllowed,
                    "Somebody else holds this clearance; that person or the office gives it back.",
                ));
            }
            if now.state == ClearanceState::Used {
                return Err(Problem::new(
                    Kind::Conflict,
                    "This clearance was used by an application; correct the application instead.",
                ));
            }
            let changed = store::clearances::give_back(&mut *connection, id, at).await?;
            let then = store::clearances::get(connection, id, staff.scope(), at).await?.ok_or_else(missing)?;
            Ok((then, changed))
        })
    });
    given.await.map(Json)
}

/// Get the decision behind a clearance
///
/// Word for word as it was given, with the hash of every rule set.
#[utoipa::path(get, path = "/api/v1/clearances/{id}/decision", operation_id = "get_clearance_decision", tag = "clearances",
    security(("bearer" = ["any staff"])), params(("id" = ClearanceId, Path, description = "The clearance.")),
    responses((status = 200, description = "The decision.", body = Decision)))]
async fn get_clearance_decision(
    staff: AnyStaff,
    State(app): State<App>,
    PathId(id): PathId<ids::Clearance>,
) -> Result<Json<Decision>, Problem> {
    let missing = || Problem::not_found("clearance");
    store::clearances::get(app.store.reader(), id, staff.scope(), app.clock.now()).await?.ok_or_else(missing)?;
    let decision = store::applications::decision(app.store.reader(), &format!("clearance/{id}")).await?;
    decision.map(Json).ok_or_else(missing)
}
