//! A person's day.

use axum::{
    Json,
    extract::{Path, State},
};
use domain::{actor::Role, ids::PersonId, time::Day};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use utoipa_axum::{router::OpenApiRouter, routes};

use crate::{
    access::AnyStaff,
    app::App,
    book,
    extract::ValidQuery,
    problem::{FieldFault, Problem},
    store::{self, days::DayPlan},
};

pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(get_day))
}

#[derive(Debug, Clone, Serialize, Deserialize, ToSchema, utoipa::IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct DayQuery {
    /// Whose day, if not the caller's. The office and the owner may read anybody's.
    #[serde(default)]
    person_id: Option<PersonId>,
}

/// Read a day
///
/// Everything that a phone needs for the caller's day without network, in one answer: visits that are planned or done, with
/// property, sections and product as they stand now, and what is open about each: a soil report that ends, a client who stops.
#[utoipa::path(get, path = "/api/v1/days/{day}", operation_id = "get_day", tag = "visits", security(("bearer" = ["any staff"])),
    params(("day" = Day, Path, description = "The local day."), DayQuery),
    responses((status = 200, description = "The day.", body = DayPlan)))]
async fn get_day(
    AnyStaff(actor): AnyStaff,
    State(app): State<App>,
    Path(day): Path<String>,
    ValidQuery(query): ValidQuery<DayQuery>,
) -> Result<Json<DayPlan>, Problem> {
    let day = Day::parse(&day)
        .map_err(|bad| Problem::invalid(vec![FieldFault::parameter("day", "wrong_format", bad.to_string())]))?;
    let person = query.person_id.unwrap_or(actor.person);
    if actor.role == Role::Technician && person != actor.person {
        return Err(Problem::not_found("person"));
    }
    let person = store::people::get(app.store.reader(), person).await?.ok_or_else(|| Problem::not_found("person"))?;
    let downloaded_at = app.clock.now();
    let mut visits = store::days::visits(app.store.reader(), person.id, day).await?;
    book::days::open(&app.law, day, &mut visits);
    Ok(Json(DayPlan { day, person_id: person.id, person_name: person.name, visits, downloaded_at }))
}
