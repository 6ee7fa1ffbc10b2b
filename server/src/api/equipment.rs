//! Equipment: spreaders and sprayers.

use axum::{Json, extract::State, response::Response};
use domain::{
    equipment::EquipmentKind,
    ids::{self, EquipmentId},
    product::ProductForm,
    quantity::{Distance, ProductMass, Volume},
};

use crate::{
    access::{AnyStaff, OfficeOrOwner},
    api::{ListQuery, whole},
    book::office::{self, IdempotentRequest},
    extract::{IdempotencyKey, IfMatch, IfNoneMatch, PathId, Valid, ValidQuery},
    paging::Page,
    problem::{FieldFault, Problem},
    reply::{self, Created},
    routes::{Routes, routes},
    state::App,
    store::{
        self,
        equipment::{EquipmentInput, EquipmentView},
        journal::JournalContext,
    },
};

pub fn routes() -> Routes {
    routes!(create_equipment, list_equipment, get_equipment, replace_equipment)
}

/// What no such machine has.
fn faults(input: &EquipmentInput) -> Vec<FieldFault> {
    let mut faults = Vec::new();
    let mut contradicts = |pointer: &str, detail: String| {
        faults.push(FieldFault::at(pointer, "contradiction", detail));
    };
    let words = input.kind.label();
    if input.has_deflector && input.kind != EquipmentKind::RotarySpreader {
        contradicts("/has_deflector", format!("{words} has none; only a rotary spreader does"));
    }
    let spreads = input.kind.form() == ProductForm::Granular;
    if spreads && input.tank_gal.is_some() {
        contradicts("/tank_gal", format!("{words} has a hopper; give what it holds as hopper_lb"));
    }
    if !spreads && input.hopper_lb.is_some() {
        contradicts("/hopper_lb", format!("{words} has a tank; give what it holds as tank_gal"));
    }
    let zeros = [
        ("/hopper_lb", input.hopper_lb.is_some_and(ProductMass::is_zero)),
        ("/tank_gal", input.tank_gal.is_some_and(Volume::is_zero)),
        ("/swath_ft", input.swath_ft.is_some_and(Distance::is_zero)),
    ];
    let zero = |pointer| FieldFault::at(pointer, "out_of_range", "must be above zero; leave it out if it is not known");
    faults.extend(zeros.into_iter().filter(|(_, zero)| *zero).map(|(pointer, _)| zero(pointer)));
    faults
}

/// Create a piece of equipment
///
/// A spreader or sprayer of the company, which calibrations and records can then name.
#[utoipa::path(post, path = "/api/v1/equipment", operation_id = "create_equipment", tag = "equipment",
    security(("bearer" = ["office", "owner"])), params(IdempotencyKey), request_body = EquipmentInput,
    responses((status = 201, description = "Added.", body = EquipmentView, headers(("Location" = String, description = "Where it is.")))))]
pub async fn create_equipment(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    key: IdempotencyKey,
    Valid { value, fingerprint }: Valid<EquipmentInput>,
) -> Result<Created, Problem> {
    whole(faults(&value))?;
    let at = app.clock.now();
    let id: EquipmentId = app.ids.next(at);
    let deed = JournalContext { actor: Some(actor), at, act: "equipment.added", subject: id.uuid() };
    let repeat = IdempotentRequest { key, route: "create_equipment", fingerprint };
    office::create(&app, deed, repeat, format!("/api/v1/equipment/{id}"), move |connection| {
        Box::pin(async move { Ok(store::equipment::insert(connection, id, &value, at).await?) })
    })
    .await
}

/// List equipment
///
/// In the order in which it was added, with what is out of use.
#[utoipa::path(get, path = "/api/v1/equipment", operation_id = "list_equipment", tag = "equipment",
    security(("bearer" = ["any staff"])), params(ListQuery),
    responses((status = 200, description = "A page of equipment.", body = Page<EquipmentView>)))]
async fn list_equipment(
    _: AnyStaff,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<ListQuery>,
) -> Result<Json<Page<EquipmentView>>, Problem> {
    let span = app.cursors.span("equipment", &query, false)?;
    let rows = store::equipment::list(app.store.reader(), span).await?;
    Ok(Json(app.cursors.page("equipment", &query, rows)))
}

/// Get a piece of equipment
///
/// With the version that a change must name.
#[utoipa::path(get, path = "/api/v1/equipment/{id}", operation_id = "get_equipment", tag = "equipment",
    security(("bearer" = ["any staff"])), params(("id" = EquipmentId, Path, description = "The equipment.")),
    responses((status = 304, description = "You have this version already."),
              (status = 200, description = "The equipment.", body = EquipmentView)))]
async fn get_equipment(
    _: AnyStaff,
    State(app): State<App>,
    known: IfNoneMatch,
    PathId(id): PathId<ids::Equipment>,
) -> Result<Response, Problem> {
    let found = store::equipment::get(app.store.reader(), id).await?;
    Ok(reply::json_with_etag(&known, &found.ok_or_else(|| Problem::not_found("equipment"))?))
}

/// Replace a piece of equipment
///
/// Its name, what it holds and covers, whether a deflector is fitted, and whether it is in use. Its kind stays.
#[utoipa::path(put, path = "/api/v1/equipment/{id}", operation_id = "replace_equipment", tag = "equipment",
    security(("bearer" = ["office", "owner"])), params(("id" = EquipmentId, Path, description = "The equipment."), IfMatch),
    request_body = EquipmentInput, responses((status = 200, description = "Changed.", body = EquipmentView)))]
pub async fn replace_equipment(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    PathId(id): PathId<ids::Equipment>,
    if_match: IfMatch,
    Valid { value, .. }: Valid<EquipmentInput>,
) -> Result<Json<EquipmentView>, Problem> {
    let mut faults = faults(&value);
    let deed = JournalContext { actor: Some(actor), at: app.clock.now(), act: "equipment.changed", subject: id.uuid() };
    let changed = office::change(&app, deed, move |connection| {
        Box::pin(async move {
            let known = store::equipment::get(&mut *connection, id).await?;
            let known = known.ok_or_else(|| Problem::not_found("equipment"))?;
            if known.kind != value.kind {
                let detail =
                    format!("this is {}, and stays one; add a machine of another kind anew", known.kind.label());
                faults.push(FieldFault::at("/kind", "contradiction", detail));
            }
            whole(faults)?;
            store::equipment::update(connection, id, &value, if_match.versions).await?.or_problem("equipment")
        })
    });
    changed.await.map(Json)
}
