//! Several visits moved, handed over or called off at once: a day that is rained out, or somebody who is ill.

use axum::{Json, extract::State};
use domain::{
    ids::{PersonId, VisitId},
    time::{Day, Instant},
};
use serde::{Deserialize, Serialize};
use sqlx::SqliteConnection;
use utoipa::ToSchema;

use super::{all_faults, planning_faults, round_faults};
use crate::{
    access::OfficeOrOwner,
    api::{office_day, whole},
    book::credentials,
    extract::Valid,
    problem::{FieldFault, Problem},
    routes::{Routes, routes},
    scope::Scope,
    state::App,
    store::{
        self,
        journal::JournalContext,
        visits::{Visit, VisitChange, VisitStatus},
    },
    version::UpdateOutcome,
};

pub fn routes() -> Routes {
    routes!(move_visits)
}

/// A visit to be moved, with the version that was looked at.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct VisitToMove {
    pub id: VisitId,
    #[schema(minimum = 1, maximum = 1_000_000_000)]
    pub version: i64,
}

/// What becomes of visits that are still to be made. At least one of the three is said.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "visits": [{ "id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a41", "version": 1 }], "planned_on": "2026-09-16"
}))]
pub struct VisitMoves {
    #[schema(min_items = 1, max_items = 500)]
    pub visits: Vec<VisitToMove>,
    /// Local day on which all of them are to be made; without it each keeps its own.
    #[serde(default)]
    pub planned_on: Option<Day>,
    /// Who is to make all of them; without it each keeps whoever it has.
    #[serde(default)]
    pub person_id: Option<PersonId>,
    /// Why all of them are called off. Only without the other two.
    #[serde(default)]
    #[schema(min_length = 3, max_length = 500, format = "lines")]
    pub cancelled_because: Option<String>,
}

/// The visits as they stand now, in the order in which they were named.
#[derive(Debug, Serialize, ToSchema)]
pub struct MovedVisits {
    #[schema(max_items = 500)]
    pub visits: Vec<Visit>,
}

impl VisitMoves {
    /// What contradicts itself, whatever is stored.
    fn faults(&self) -> Vec<FieldFault> {
        let ids: Vec<VisitId> = self.visits.iter().map(|one| one.id).collect();
        let mut faults = FieldFault::repeats(&ids, |at| format!("/visits/{at}/id"), "stands in the list already");
        let moves = self.planned_on.is_some() || self.person_id.is_some();
        if self.cancelled_because.is_some() && moves {
            let detail = "is given only without planned_on and person_id: what is called off is not moved";
            faults.push(FieldFault::at("/cancelled_because", "contradiction", detail));
        }
        if self.cancelled_because.is_none() && !moves {
            let detail = "is missing: say the new day, the new person, or why they are called off";
            faults.push(FieldFault::at("/planned_on", "missing", detail));
        }
        faults
    }

    /// A visit as it is to be.
    fn applied(&self, visit: &Visit) -> VisitChange {
        VisitChange {
            property_id: visit.property_id,
            person_id: self.person_id.unwrap_or(visit.person_id),
            planned_on: self.planned_on.unwrap_or(visit.planned_on),
            product_id: visit.product_id,
            section_ids: visit.section_ids.clone(),
            purpose: visit.purpose,
            target_nitrogen_lb_per_1000_sqft: visit.target_nitrogen_lb_per_1000_sqft,
            target_product_lb_per_1000_sqft: visit.target_product_lb_per_1000_sqft,
            status: if self.cancelled_because.is_some() { VisitStatus::Cancelled } else { visit.status },
            reason: self.cancelled_because.clone().or_else(|| visit.reason.clone()),
        }
    }

    /// Whether a visit stands already as it is asked to: the request came before, and its answer was lost.
    fn is_met(&self, visit: &Visit) -> bool {
        let wanted = self.applied(visit);
        (wanted.planned_on, wanted.person_id, wanted.status, &wanted.reason)
            == (visit.planned_on, visit.person_id, visit.status, &visit.reason)
    }
}

/// One of the visits: as it stands already, or what it is to become.
enum Step {
    Stands(Visit),
    Change(VisitId, VisitChange, i64),
}

/// Move visits
///
/// Moves visits that are still to be made to another day, gives them to somebody else, or calls them off: all of them or none, each with an
/// entry of its own in the journal. Sent again, it changes nothing more. Of each that is still to be made, `certificate` says what stands
/// against it by the certificate of whoever goes. Whether law and weather allow the work is asked on the day.
#[utoipa::path(post, path = "/api/v1/visits/moves", operation_id = "move_visits", tag = "visits",
    security(("bearer" = ["office", "owner"])), request_body = VisitMoves,
    responses((status = 200, description = "As they stand now.", body = MovedVisits)))]
pub async fn move_visits(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    Valid { value, .. }: Valid<VisitMoves>,
) -> Result<Json<MovedVisits>, Problem> {
    whole(value.faults())?;
    let (at, today, law) = (app.clock.now(), office_day(&app).await?, app.law());
    let deed = move |id: VisitId| JournalContext { actor: Some(actor), at, act: "visit.changed", subject: id.uuid() };
    let moved = app.store.write(move |connection| {
        Box::pin(async move {
            let steps = steps(&mut *connection, &value, today).await?;
            let (mut visits, mut changed) = (Vec::new(), Vec::new());
            for step in steps {
                match step {
                    Step::Stands(visit) => visits.push(visit),
                    Step::Change(id, change, version) => {
                        visits.push(update(&mut *connection, id, &change, version, at).await?);
                        changed.push(id);
                    }
                }
            }
            let visits = credentials::told_of_each(&mut *connection, &law, visits, at).await?;
            for visit in visits.iter().filter(|visit| changed.contains(&visit.id)) {
                store::journal::append(&mut *connection, deed(visit.id), &serde_json::to_string(visit)?).await?;
            }
            Ok(MovedVisits { visits })
        })
    });
    moved.await.map(Json)
}

/// What is to be done with each, or every fault at once.
async fn steps(connection: &mut SqliteConnection, asked: &VisitMoves, today: Day) -> Result<Vec<Step>, Problem> {
    let (mut steps, mut faults) = (Vec::new(), Vec::new());
    for (at, one) in asked.visits.iter().enumerate() {
        let fault = |member: &str, code, detail: &str| {
            FieldFault::at(format!("/visits/{at}/{member}"), code, detail.to_owned())
        };
        let Some(visit) = store::visits::get(&mut *connection, one.id, Scope::Company).await? else {
            faults.push(fault("id", "not_found", "names no visit of this company"));
            continue;
        };
        if asked.is_met(&visit) {
            steps.push(Step::Stands(visit));
            continue;
        }
        if visit.status != VisitStatus::Planned {
            faults.push(fault("id", "not_open", "is done, not done or called off already, and is not moved"));
        } else if visit.version != one.version {
            faults.push(fault(
                "version",
                "outdated",
                "is not the one that is stored: somebody changed the visit since. Look at it again",
            ));
        }
        let change = asked.applied(&visit);
        let mut of_it = if asked.planned_on.is_some() { planning_faults(&change, today) } else { Vec::new() };
        of_it.extend(all_faults(&mut *connection, &change).await?);
        of_it.extend(round_faults(&mut *connection, one.id, &change).await?);
        for found in of_it {
            // What is asked of all is a fault of the request; what else stands against it is one of this visit.
            let pointer = found.pointer.clone().unwrap_or_default();
            let of_all = ["#/planned_on", "#/person_id"].contains(&pointer.as_str()) && found.code != "contradiction";
            if of_all && faults.contains(&found) {
                continue;
            }
            faults.push(if of_all { found } else { fault("id", "contradiction", &found.detail) });
        }
        steps.push(Step::Change(one.id, change, one.version));
    }
    whole(faults)?;
    Ok(steps)
}

async fn update(
    connection: &mut SqliteConnection,
    id: VisitId,
    change: &VisitChange,
    version: i64,
    at: Instant,
) -> Result<Visit, Problem> {
    let versions = Some(format!("[{version}]"));
    let done: UpdateOutcome<Visit> = store::visits::update(connection, id, change, versions, at).await?;
    done.or_problem("visit")
}
