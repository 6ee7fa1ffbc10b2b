//! Lots: deliveries of a product.

use axum::{Json, extract::State};
use domain::{
    ids::{self, LotId, StockMovementId},
    quantity::StockBalance,
};

use crate::{
    access::{AnyStaff, OfficeOrOwner},
    api::{ProductQuery, last_past_day, not_yet, whole},
    book::office::{self, IdempotentRequest},
    extract::{IdempotencyKey, PathId, Valid, ValidQuery},
    paging::Page,
    problem::{FieldFault, Kind, Problem},
    reply::Created,
    routes::{Routes, routes},
    state::App,
    store::{
        self,
        journal::JournalContext,
        lots::{Lot, LotInput},
        stock::{MovementKind, StockMovement},
    },
};

pub fn routes() -> Routes {
    routes!(create_lot, list_lots, get_lot)
}

/// A lot number that the product has already.
fn number_taken(error: sqlx::Error) -> Problem {
    if store::broken_constraint(&error) == Some("lots.product_id, lots.lot_number") {
        let detail = "This product has a lot with this number already. Is it the same delivery, written twice?";
        Problem::new(Kind::Conflict, detail)
    } else {
        error.into()
    }
}

/// Create a lot
///
/// A delivery of a product. What came with it is added to the stock.
#[utoipa::path(post, path = "/api/v1/lots", operation_id = "create_lot", tag = "products",
    security(("bearer" = ["office", "owner"])), params(IdempotencyKey), request_body = LotInput,
    responses((status = 201, description = "Added.", body = Lot, headers(("Location" = String, description = "Where it is.")))))]
pub async fn create_lot(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    key: IdempotencyKey,
    Valid { value, fingerprint }: Valid<LotInput>,
) -> Result<Created, Problem> {
    let mut faults: Vec<FieldFault> =
        not_yet("/received_on", value.received_on, last_past_day(&app).await?).into_iter().collect();
    if value.received_lb.is_zero() {
        faults.push(FieldFault::at("/received_lb", "out_of_range", "must be above zero"));
    }
    let at = app.clock.now();
    let id: LotId = app.ids.next(at);
    let movement_id: StockMovementId = app.ids.next(at);
    let deed = JournalContext { actor: Some(actor), at, act: "lot.received", subject: id.uuid() };
    let repeat = IdempotentRequest { key, route: "create_lot", fingerprint };
    office::create(&app, deed, repeat, format!("/api/v1/lots/{id}"), move |connection| {
        Box::pin(async move {
            if store::products::get(&mut *connection, value.product_id).await?.is_none() {
                faults.push(FieldFault::at("/product_id", "not_found", "names no product of this company"));
            }
            whole(faults)?;
            store::lots::insert(&mut *connection, id, &value, at).await.map_err(number_taken)?;
            let movement = StockMovement {
                id: movement_id,
                product_id: value.product_id,
                lot_id: Some(id),
                kind: MovementKind::Received,
                mass_lb: StockBalance::from_raw(value.received_lb.raw()),
                moved_on: value.received_on,
                person_id: actor.person,
                record_id: None,
                reason: None,
                recorded_at: at,
            };
            store::stock::insert(&mut *connection, &movement).await?;
            Ok(store::lots::get(connection, id).await?.ok_or(sqlx::Error::RowNotFound)?)
        })
    })
    .await
}

/// List lots
///
/// In the order in which they were added, of all products or of one.
#[utoipa::path(get, path = "/api/v1/lots", operation_id = "list_lots", tag = "products",
    security(("bearer" = ["any staff"])), params(ProductQuery),
    responses((status = 200, description = "A page of lots.", body = Page<Lot>)))]
async fn list_lots(
    _: AnyStaff,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<ProductQuery>,
) -> Result<Json<Page<Lot>>, Problem> {
    let span = app.cursors.span("lots", &query, false)?;
    let rows = store::lots::list(app.store.reader(), span, query.product_id).await?;
    Ok(Json(app.cursors.page("lots", &query, rows)))
}

/// Get a lot
///
/// With what is left of it.
#[utoipa::path(get, path = "/api/v1/lots/{id}", operation_id = "get_lot", tag = "products",
    security(("bearer" = ["any staff"])), params(("id" = LotId, Path, description = "The lot.")),
    responses((status = 200, description = "The lot.", body = Lot)))]
async fn get_lot(_: AnyStaff, State(app): State<App>, PathId(id): PathId<ids::Lot>) -> Result<Json<Lot>, Problem> {
    store::lots::get(app.store.reader(), id).await?.map(Json).ok_or_else(|| Problem::not_found("lot"))
}
