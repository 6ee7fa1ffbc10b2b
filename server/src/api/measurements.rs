//! Measurements of lawn sections.

use axum::{Json, extract::State};
use domain::ids::{self, MeasurementId, SectionId};
use utoipa_axum::{router::OpenApiRouter, routes};

use super::{ListQuery, fingerprint_at, last_past_day, not_yet, whole};
use crate::{
    access::AnyStaff,
    app::App,
    book::office::{self, Deed, Repeat},
    extract::{IdempotencyKey, PathId, Valid, ValidQuery},
    problem::Problem,
    reply::{Created, Page},
    store::{
        self,
        measurements::{Measurement, MeasurementInput},
    },
};

pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new().routes(routes!(create_measurement, list_measurements))
}

/// Add a measurement
///
/// A section's area from a day on. It supersedes the earlier ones and leaves their records as they are. A technician
/// measures the sections on the own visits.
#[utoipa::path(post, path = "/api/v1/sections/{id}/measurements", operation_id = "create_measurement", tag = "sections",
    security(("bearer" = ["any staff"])), params(("id" = SectionId, Path, description = "The section."), IdempotencyKey),
    request_body = MeasurementInput,
    responses((status = 201, description = "Added.", body = Measurement, headers(("Location" = String, description = "The list it is in.")))))]
pub async fn create_measurement(
    staff: AnyStaff,
    State(app): State<App>,
    key: IdempotencyKey,
    PathId(section): PathId<ids::Section>,
    Valid { value, fingerprint }: Valid<MeasurementInput>,
) -> Result<Created, Problem> {
    let last = last_past_day(&app).await?;
    let at = app.clock.now();
    let id: MeasurementId = app.ids.next(at);
    let deed = Deed { actor: Some(staff.0), at, act: "measurement.added", subject: id.uuid() };
    let repeat = Repeat { key, route: "create_measurement", fingerprint: fingerprint_at(section, &fingerprint) };
    office::create(&app, deed, repeat, format!("/api/v1/sections/{section}/measurements"), move |connection| {
        Box::pin(async move {
            let known = store::sections::get(&mut *connection, section, staff.scope()).await?;
            known.ok_or_else(|| Problem::not_found("lawn section"))?;
            whole(not_yet("/measured_on", value.measured_on, last).into_iter().collect())?;
            let measurement = store::measurements::insert(&mut *connection, id, section, value, at).await?;
            store::sections::remeasured(connection, section).await?;
            Ok(measurement)
        })
    })
    .await
}

/// List a section's measurements
///
/// In the order in which they were written. The one with the latest day holds; of two with one day, the later written.
#[utoipa::path(get, path = "/api/v1/sections/{id}/measurements", operation_id = "list_measurements", tag = "sections",
    security(("bearer" = ["any staff"])), params(("id" = SectionId, Path, description = "The section."), ListQuery),
    responses((status = 200, description = "A page of measurements.", body = Page<Measurement>)))]
async fn list_measurements(
    staff: AnyStaff,
    State(app): State<App>,
    PathId(section): PathId<ids::Section>,
    ValidQuery(query): ValidQuery<ListQuery>,
) -> Result<Json<Page<Measurement>>, Problem> {
    let list = format!("sections/{section}/measurements");
    let span = app.cursors.span(&list, &query, false)?;
    let known = store::sections::get(app.store.reader(), section, staff.scope()).await?;
    known.ok_or_else(|| Problem::not_found("lawn section"))?;
    let rows = store::measurements::list(app.store.reader(), span, section).await?;
    Ok(Json(app.cursors.page(&list, &query, rows)))
}
