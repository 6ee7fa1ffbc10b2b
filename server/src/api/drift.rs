//! Drift: what was really put down against what was meant.

use axum::{Json, extract::State};
use domain::{
    ids::{EquipmentId, PersonId},
    time::Day,
};
use serde::{Deserialize, Serialize};
use utoipa::IntoParams;

use crate::{
    access::OfficeOrOwner,
    api::whole,
    book::drift::{self, DriftBy, DriftReport},
    extract::ValidQuery,
    problem::{FieldFault, Problem},
    routes::{Routes, routes},
    state::App,
    store::{self, drift::Period},
};

pub fn routes() -> Routes {
    routes!(get_drift)
}

/// Days that one report covers at most: a season, and the year around it.
const MOST_DAYS: i32 = 366;

#[derive(Debug, Clone, Serialize, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct DriftQuery {
    /// First day of application.
    from: Day,
    /// Last day of application, at most 366 days after the first.
    to: Day,
    /// Whose drift is added up; of each machine and operator if it is left out.
    #[serde(default)]
    #[param(inline)]
    by: Option<DriftBy>,
    /// Only records that name this machine.
    #[serde(default)]
    equipment_id: Option<EquipmentId>,
    /// Only records of this operator.
    #[serde(default)]
    person_id: Option<PersonId>,
}

/// Get the drift of spreaders
///
/// Over the records of a period, as corrected: what was used against what was meant for the same ground, by machine and
/// operator. What was meant is what the clearance that the record used had cleared, or else the nitrogen at which its visit
/// is planned with the same product. A record with neither is counted as without a target, and nothing is guessed for it.
#[utoipa::path(get, path = "/api/v1/drift", operation_id = "get_drift", tag = "equipment", security(("bearer" = ["office", "owner"])),
    params(DriftQuery), responses((status = 200, description = "The drift.", body = DriftReport)))]
async fn get_drift(
    _: OfficeOrOwner,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<DriftQuery>,
) -> Result<Json<DriftReport>, Problem> {
    let days = query.to.days_since(query.from);
    let mut faults = Vec::new();
    if !(0..=MOST_DAYS).contains(&days) {
        let detail = format!("must not lie before `from`, nor more than {MOST_DAYS} days after it");
        faults.push(FieldFault::parameter("to", "out_of_range", detail));
    }
    let mut connection = store::ReadTransaction::begin(app.store.reader()).await?;
    let missing =
        |name: &str, what| FieldFault::parameter(name, "not_found", format!("names no {what} of this company"));
    if let Some(id) = query.equipment_id
        && store::equipment::get(&mut *connection, id).await?.is_none()
    {
        faults.push(missing("equipment_id", "equipment"));
    }
    if let Some(id) = query.person_id
        && store::people::get(&mut *connection, id).await?.is_none()
    {
        faults.push(missing("person_id", "person"));
    }
    whole(faults)?;
    let period = Period { from: query.from, to: query.to, equipment: query.equipment_id, person: query.person_id };
    let names = store::drift::names(&mut connection).await?;
    let lines = store::drift::lines(&mut connection, &period).await?;
    Ok(Json(drift::report(query.from, query.to, query.by.unwrap_or_default(), &lines, &names)))
}
