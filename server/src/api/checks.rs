//! A question without effect: how much, may I, what binds?

use axum::{Json, extract::State};
use domain::{decision::Decision, ids::VisitId, quantity::NutrientRate, time::Day};
use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    access::AnyStaff,
    acts::{
        Asker,
        clearance::{self, ClearanceInput, Reach},
        facts,
    },
    book::weather,
    extract::Valid,
    problem::Problem,
    routes::{Routes, routes},
    scope::Scope,
    state::App,
    store,
};

pub fn routes() -> Routes {
    routes!(check_application)
}

/// The answer to a check.
#[derive(Debug, Serialize, ToSchema)]
struct CheckResult {
    decision: Decision,
    /// The next planned visit to the property, and whether its nitrogen still fits after this application.
    next_visit: Option<NextVisit>,
}

#[derive(Debug, Serialize, ToSchema)]
struct NextVisit {
    visit_id: VisitId,
    planned_on: Day,
    target_nitrogen_lb_per_1000_sqft: Option<NutrientRate>,
    /// Whether the target fits under the yearly cap of every section asked about; null when there is no target or no cap.
    fits: Option<bool>,
    /// The same in a sentence.
    #[schema(max_length = 400)]
    words: String,
}

/// Check a planned application
///
/// Runs every rule of law, label and company on what is planned, for any day, and changes nothing. Answers the verdict,
/// every finding with its citation and what would clear it, what would be delivered, the largest lawful amount and the
/// limit that binds it, the room left before and after, and whether the next planned visit still fits.
#[utoipa::path(post, path = "/api/v1/checks", operation_id = "check_application", tag = "checks", security(("bearer" = ["any staff"])),
    request_body = ClearanceInput, responses((status = 200, description = "The answer, whatever the verdict.", body = CheckResult)))]
async fn check_application(
    AnyStaff(actor): AnyStaff,
    State(app): State<App>,
    Valid { value, .. }: Valid<ClearanceInput>,
) -> Result<Json<CheckResult>, Problem> {
    let at = app.clock.now();
    let scope = Scope::of(actor);
    let services = weather::for_plan(&app, value.property_id, scope, value.planned_on, &value.weather).await?;
    let mut connection = app.store.reader().acquire().await?;
    let world = store::world::load_for_check(&mut connection, actor.person, &value, at).await?;
    drop(connection);
    let property = facts::property(&world, value.property_id, actor).ok_or_else(|| Problem::not_found("property"))?;
    let plan = clearance::plan(&value, Reach::AnyDay, at, property, &world).map_err(Problem::invalid)?;
    let asker = Asker { actor, at, services: &services };
    let decision = clearance::decide(asker, &value, &plan, &world, &app.law())?;
    let next = store::clearances::next_visit(app.store.reader(), value.property_id, value.planned_on).await?;
    let next_visit = next.map(|(visit_id, planned_on, target)| next_visit(visit_id, planned_on, target, &decision));
    Ok(Json(CheckResult { decision, next_visit }))
}

fn next_visit(visit_id: VisitId, planned_on: Day, target: Option<i64>, decision: &Decision) -> NextVisit {
    let rooms: Option<Vec<_>> =
        decision.sections.iter().map(|section| section.nitrogen_room_after_lb_per_1000_sqft).collect();
    let tightest = rooms.and_then(|rooms| rooms.into_iter().min());
    let fits = target.zip(tightest).map(|(target, room)| target <= room.raw());
    let target_nitrogen_lb_per_1000_sqft = target.map(NutrientRate::from_raw);
    let words = match (fits, target_nitrogen_lb_per_1000_sqft, tightest) {
        (Some(true), Some(target), _) => {
            format!("The visit planned on {planned_on} with {target} lb N per 1,000 sq ft still fits.")
        }
        (Some(false), Some(target), Some(room)) => format!(
            "The visit planned on {planned_on} with {target} lb N per 1,000 sq ft does not fit: {room} lb per 1,000 sq ft would be left. Lower its rate, or this one."
        ),
        _ => format!(
            "A visit is planned on {planned_on}; without a target and a yearly cap nothing can be said about it."
        ),
    };
    NextVisit { visit_id, planned_on, target_nitrogen_lb_per_1000_sqft, fits, words }
}
