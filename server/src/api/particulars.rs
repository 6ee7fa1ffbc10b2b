//! What a record tells beside its amounts.

use axum::{Json, extract::State};
use domain::ids::{self, ApplicationId};

use crate::{
    access::StaffOrPass,
    book::particulars::{self, RecordParticulars},
    extract::PathId,
    problem::Problem,
    routes::{Routes, routes},
    state::App,
    store,
};

pub fn routes() -> Routes {
    routes!(get_application_particulars)
}

/// Get the particulars of an application
///
/// Everything that stood on the day of the work and was fixed when the record was written: client and site, who worked and under
/// which certificate, product and label with the hash of its kept copy, machine and calibration, measurement and soil report. No
/// later change of any of them shows here. With what was added since, each with its own day, and the journal's entry and hash. Neither a
/// technician nor a pass for some clients is told who a client was whose property it is no more, nor the notes and reasons of that time.
#[utoipa::path(get, path = "/api/v1/applications/{id}/particulars", operation_id = "get_application_particulars", tag = "applications",
    security(("bearer" = ["any staff", "pass"])), params(("id" = ApplicationId, Path, description = "The application.")),
    responses((status = 200, description = "What it tells.", body = RecordParticulars)))]
async fn get_application_particulars(
    staff: StaffOrPass,
    State(app): State<App>,
    PathId(id): PathId<ids::Application>,
) -> Result<Json<RecordParticulars>, Problem> {
    let found = store::applications::get(app.store.reader(), id, staff.scope()).await?;
    let application = found.ok_or_else(|| Problem::not_found("application"))?;
    let mut told = particulars::of_record(&app, &application).await?;
    particulars::keep_particulars(&app, staff.scope(), &mut told).await?;
    Ok(Json(told))
}
