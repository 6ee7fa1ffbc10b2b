//! Divisions of lawn sections into parts that are treated one by one.

use axum::{Json, extract::State};
use domain::{
    ids::{self, DivisionId, SectionId},
    quantity::Area,
};

use crate::{
    access::{AnyStaff, OfficeOrOwner},
    api::{ListQuery, fingerprint_at, last_past_day, not_yet, whole},
    book::office::{self, IdempotentRequest},
    extract::{IdempotencyKey, PathId, Valid, ValidQuery},
    paging::Page,
    problem::{FieldFault, Problem},
    reply::Created,
    routes::{Routes, routes},
    scope::Scope,
    state::App,
    store::{
        self,
        divisions::{Division, DivisionInput},
        journal::JournalContext,
    },
};

pub fn routes() -> Routes {
    routes!(create_division, list_divisions, get_division)
}

/// Create a division
///
/// Says how a section is divided from a day on: parts by name, which share no ground. A line of a record may then say in which
/// parts it lies, and lines on different parts of one division do not add up. The latest day up to that of the work holds; of two
/// with one day, the later entered. It is never edited, and what was recorded by an earlier one stays on its parts, each of which
/// counts as if it might be any part of the new one.
#[utoipa::path(post, path = "/api/v1/sections/{id}/divisions", operation_id = "create_division", tag = "sections",
    security(("bearer" = ["office", "owner"])), params(("id" = SectionId, Path, description = "The section."), IdempotencyKey),
    request_body = DivisionInput,
    responses((status = 201, description = "Added.", body = Division, headers(("Location" = String, description = "Where it is.")))))]
pub async fn create_division(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    key: IdempotencyKey,
    PathId(section): PathId<ids::Section>,
    Valid { value, fingerprint }: Valid<DivisionInput>,
) -> Result<Created, Problem> {
    let last = last_past_day(&app).await?;
    let at = app.clock.now();
    let id: DivisionId = app.ids.next(at);
    let deed = JournalContext { actor: Some(actor), at, act: "division.added", subject: id.uuid() };
    let repeat =
        IdempotentRequest { key, route: "create_division", fingerprint: fingerprint_at(section, &fingerprint) };
    office::create(&app, deed, repeat, format!("/api/v1/divisions/{id}"), move |connection| {
        Box::pin(async move {
            let known = store::sections::get(&mut *connection, section, Scope::Company).await?;
            known.ok_or_else(|| Problem::not_found("lawn section"))?;
            let measured = store::measurements::area_on(&mut *connection, section, value.since).await?;
            let mut faults = faults(&value, measured);
            faults.extend(not_yet("/since", value.since, last));
            whole(faults)?;
            Ok(store::divisions::insert(connection, id, section, &value, actor.person, at).await?)
        })
    })
    .await
}

/// Parts have different names, and together are no more than the section.
fn faults(value: &DivisionInput, measured: Option<Area>) -> Vec<FieldFault> {
    let place = |at: usize| format!("/parts/{at}/name");
    let names = value.parts.iter().map(|part| part.name.as_str());
    let mut faults = FieldFault::repeats(names, place, "is the name of another part");
    for (at, _) in value.parts.iter().enumerate().filter(|(_, part)| part.area_sqft.is_zero()) {
        faults.push(FieldFault::at(format!("/parts/{at}/area_sqft"), "out_of_range", "must be above zero"));
    }
    let together = value.parts.iter().try_fold(Area::ZERO, |sum, part| sum.checked_add(part.area_sqft));
    match measured {
        None => {
            let detail = "cannot be held against the section, which has no measurement that counts; measure it first";
            faults.push(FieldFault::at("/parts", "not_measured", detail));
        }
        Some(area) if together.is_none_or(|together| together > area) => {
            let detail = format!("are together more than the section's measured {}", area.with_unit());
            faults.push(FieldFault::at("/parts", "out_of_range", detail));
        }
        Some(_) => {}
    }
    faults
}

/// Get a division
///
/// Since when it holds, and its parts.
#[utoipa::path(get, path = "/api/v1/divisions/{id}", operation_id = "get_division", tag = "sections",
    security(("bearer" = ["any staff"])), params(("id" = DivisionId, Path, description = "The division.")),
    responses((status = 200, description = "The division.", body = Division)))]
async fn get_division(
    staff: AnyStaff,
    State(app): State<App>,
    PathId(id): PathId<ids::Division>,
) -> Result<Json<Division>, Problem> {
    let found = store::divisions::get(app.store.reader(), id, staff.scope()).await?;
    found.map(Json).ok_or_else(|| Problem::not_found("division"))
}

/// List a section's divisions
///
/// In the order in which they were entered.
#[utoipa::path(get, path = "/api/v1/sections/{id}/divisions", operation_id = "list_divisions", tag = "sections",
    security(("bearer" = ["any staff"])), params(("id" = SectionId, Path, description = "The section."), ListQuery),
    responses((status = 200, description = "A page of divisions.", body = Page<Division>)))]
async fn list_divisions(
    staff: AnyStaff,
    State(app): State<App>,
    PathId(section): PathId<ids::Section>,
    ValidQuery(query): ValidQuery<ListQuery>,
) -> Result<Json<Page<Division>>, Problem> {
    let list = format!("sections/{section}/divisions");
    let span = app.cursors.span(&list, &query, false)?;
    let known = store::sections::get(app.store.reader(), section, staff.scope()).await?;
    known.ok_or_else(|| Problem::not_found("lawn section"))?;
    let rows = store::divisions::list(app.store.reader(), span, section).await?;
    Ok(Json(app.cursors.page(&list, &query, rows)))
}
