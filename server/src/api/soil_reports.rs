//! Soil reports of lawn sections.

use axum::{Json, extract::State};
use domain::ids::{self, SectionId, SoilReportId};
use utoipa_axum::{router::OpenApiRouter, routes};

use super::{ListQuery, fingerprint_at, last_past_day, not_yet, whole};
use crate::{
    access::{AnyStaff, OfficeOrOwner, Scope},
    app::App,
    book::office::{self, Deed, Repeat},
    extract::{IdempotencyKey, PathId, Valid, ValidQuery},
    problem::Problem,
    reply::{Created, Page},
    store::{
        self,
        soil_reports::{SoilReport, SoilReportInput},
    },
};

pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(create_soil_report, list_soil_reports)).routes(routes!(get_soil_report))
}

/// Add a soil report
///
/// What the laboratory answered about one section, with its extractant. A wrong one is followed by a corrected one.
#[utoipa::path(post, path = "/api/v1/sections/{id}/soil-reports", operation_id = "create_soil_report", tag = "sections",
    security(("bearer" = ["office", "owner"])), params(("id" = SectionId, Path, description = "The section."), IdempotencyKey),
    request_body = SoilReportInput,
    responses((status = 201, description = "Added.", body = SoilReport, headers(("Location" = String, description = "Where it is.")))))]
pub async fn create_soil_report(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    key: IdempotencyKey,
    PathId(section): PathId<ids::Section>,
    Valid { value, fingerprint }: Valid<SoilReportInput>,
) -> Result<Created, Problem> {
    let last = last_past_day(&app).await?;
    let at = app.clock.now();
    let id: SoilReportId = app.ids.next(at);
    let deed = Deed { actor: Some(actor), at, act: "soil_report.added", subject: id.uuid() };
    let repeat = Repeat { key, route: "create_soil_report", fingerprint: fingerprint_at(section, &fingerprint) };
    office::create(&app, deed, repeat, format!("/api/v1/soil-reports/{id}"), move |connection| {
        Box::pin(async move {
            let known = store::sections::get(&mut *connection, section, Scope::Company).await?;
            known.ok_or_else(|| Problem::not_found("lawn section"))?;
            whole(not_yet("/sampled_on", value.sampled_on, last).into_iter().collect())?;
            Ok(store::soil_reports::insert(connection, id, section, &value, at).await?)
        })
    })
    .await
}

/// List a section's soil reports
///
/// In the order in which they were written. A technician sees those of sections on the own visits.
#[utoipa::path(get, path = "/api/v1/sections/{id}/soil-reports", operation_id = "list_soil_reports", tag = "sections",
    security(("bearer" = ["any staff"])), params(("id" = SectionId, Path, description = "The section."), ListQuery),
    responses((status = 200, description = "A page of soil reports.", body = Page<SoilReport>)))]
async fn list_soil_reports(
    staff: AnyStaff,
    State(app): State<App>,
    PathId(section): PathId<ids::Section>,
    ValidQuery(query): ValidQuery<ListQuery>,
) -> Result<Json<Page<SoilReport>>, Problem> {
    let list = format!("sections/{section}/soil-reports");
    let span = app.cursors.span(&list, &query, false)?;
    let known = store::sections::get(app.store.reader(), section, staff.scope()).await?;
    known.ok_or_else(|| Problem::not_found("lawn section"))?;
    let rows = store::soil_reports::list(app.store.reader(), span, section).await?;
    Ok(Json(app.cursors.page(&list, &query, rows)))
}

/// Read a soil report
///
/// With cautions about how the sample was taken.
#[utoipa::path(get, path = "/api/v1/soil-reports/{id}", operation_id = "get_soil_report", tag = "sections",
    security(("bearer" = ["any staff"])), params(("id" = SoilReportId, Path, description = "The soil report.")),
    responses((status = 200, description = "The soil report.", body = SoilReport)))]
async fn get_soil_report(
    staff: AnyStaff,
    State(app): State<App>,
    PathId(id): PathId<ids::SoilReport>,
) -> Result<Json<SoilReport>, Problem> {
    let report = store::soil_reports::get(app.store.reader(), id, staff.scope()).await?;
    report.map(Json).ok_or_else(|| Problem::not_found("soil report"))
}
