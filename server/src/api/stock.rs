//! Stock movements that are neither deliveries nor applications.

use axum::{Json, extract::State};
use domain::{ids::StockMovementId, quantity::StockBalance, time::Day};
use sqlx::SqliteConnection;

use crate::{
    access::OfficeOrOwner,
    api::{ProductQuery, last_past_day, not_yet, whole},
    book::office::{self, IdempotentRequest},
    extract::{IdempotencyKey, Valid, ValidQuery},
    paging::Page,
    problem::{FieldFault, Problem},
    reply::Created,
    routes::{Routes, routes},
    state::App,
    store::{
        self,
        journal::JournalContext,
        stock::{MovementKind, StockChange, StockMovement, StockMovementInput},
    },
};

pub fn routes() -> Routes {
    routes!(record_stock_movement, list_stock_movements)
}

/// What contradicts itself in a movement: a count says what is there, everything else what went out.
fn faults(input: &StockMovementInput, last: Day) -> Vec<FieldFault> {
    let mut faults: Vec<FieldFault> = not_yet("/moved_on", input.moved_on, last).into_iter().collect();
    let counted = input.kind == StockChange::Counted;
    let (wanted, given, other, unwanted) = if counted {
        ("/counted_lb", input.counted_lb.is_some(), "/mass_lb", input.mass_lb.is_some())
    } else {
        ("/mass_lb", input.mass_lb.is_some(), "/counted_lb", input.counted_lb.is_some())
    };
    if !given {
        faults.push(FieldFault::at(wanted, "missing", "is required for this kind of movement"));
    }
    if unwanted {
        faults.push(FieldFault::at(other, "contradiction", "does not belong to this kind of movement"));
    }
    if !counted && input.mass_lb.is_some_and(domain::quantity::Quantity::is_zero) {
        faults.push(FieldFault::at("/mass_lb", "out_of_range", "must be above zero"));
    }
    faults
}

/// What the book says is there, of the lot or of the whole product, if what the movement names is in it.
async fn balance(
    connection: &mut SqliteConnection,
    input: &StockMovementInput,
    faults: &mut Vec<FieldFault>,
) -> Result<StockBalance, Problem> {
    let product = store::products::get(&mut *connection, input.product_id).await?;
    if product.is_none() {
        faults.push(FieldFault::at("/product_id", "not_found", "names no product of this company"));
    }
    let mut lot = None;
    if let Some(id) = input.lot_id {
        lot = store::lots::get(connection, id).await?.filter(|lot| lot.product_id == input.product_id);
        if lot.is_none() {
            faults.push(FieldFault::at("/lot_id", "not_found", "names no lot of this product"));
        }
    }
    Ok(lot.map(|lot| lot.balance_lb).or(product.map(|product| product.balance_lb)).unwrap_or(StockBalance::ZERO))
}

/// What the movement adds to the stock: below zero for all that goes out.
fn change(input: &StockMovementInput, balance: StockBalance) -> i64 {
    match (input.kind, input.counted_lb, input.mass_lb) {
        (StockChange::Counted, Some(counted), _) => counted.raw() - balance.raw(),
        (_, _, Some(mass)) => -mass.raw(),
        _ => 0,
    }
}

fn kind(change: StockChange) -> MovementKind {
    match change {
        StockChange::Returned => MovementKind::Returned,
        StockChange::Spilled => MovementKind::Spilled,
        StockChange::Disposed => MovementKind::Disposed,
        StockChange::Counted => MovementKind::Counted,
    }
}

/// Record a stock movement
///
/// Product that went back, was spilled or disposed of, or a count. A count is written as the difference to the book, so
/// that stock stays the sum of its movements.
#[utoipa::path(post, path = "/api/v1/stock-movements", operation_id = "record_stock_movement", tag = "products",
    security(("bearer" = ["office", "owner"])), params(IdempotencyKey), request_body = StockMovementInput,
    responses((status = 201, description = "Written.", body = StockMovement, headers(("Location" = String, description = "The list it is in.")))))]
pub async fn record_stock_movement(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    key: IdempotencyKey,
    Valid { value, fingerprint }: Valid<StockMovementInput>,
) -> Result<Created, Problem> {
    let mut faults = faults(&value, last_past_day(&app).await?);
    let at = app.clock.now();
    let id: StockMovementId = app.ids.next(at);
    let deed = JournalContext { actor: Some(actor), at, act: "stock.moved", subject: id.uuid() };
    let repeat = IdempotentRequest { key, route: "record_stock_movement", fingerprint };
    let location = format!("/api/v1/stock-movements?product_id={}", value.product_id);
    office::create(&app, deed, repeat, location, move |connection| {
        Box::pin(async move {
            let balance = balance(&mut *connection, &value, &mut faults).await?;
            let moved = change(&value, balance);
            if balance.raw() + moved < 0 {
                let detail = format!(
                    "is more than the {} that the records show; enter the missing delivery or count first",
                    balance.with_unit()
                );
                faults.push(FieldFault::at("/mass_lb", "out_of_range", detail));
            }
            whole(faults)?;
            let movement = StockMovement {
                id,
                product_id: value.product_id,
                lot_id: value.lot_id,
                kind: kind(value.kind),
                mass_lb: StockBalance::from_raw(moved),
                moved_on: value.moved_on,
                person_id: actor.person,
                record_id: None,
                reason: Some(value.reason),
                recorded_at: at,
            };
            store::stock::insert(connection, &movement).await?;
            Ok(movement)
        })
    })
    .await
}

/// List stock movements
///
/// The newest first, of all products or of one.
#[utoipa::path(get, path = "/api/v1/stock-movements", operation_id = "list_stock_movements", tag = "products",
    security(("bearer" = ["office", "owner"])), params(ProductQuery),
    responses((status = 200, description = "A page of stock movements.", body = Page<StockMovement>)))]
async fn list_stock_movements(
    _: OfficeOrOwner,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<ProductQuery>,
) -> Result<Json<Page<StockMovement>>, Problem> {
    let span = app.cursors.span("stock-movements", &query, true)?;
    let rows = store::stock::list(app.store.reader(), span, query.product_id).await?;
    Ok(Json(app.cursors.page("stock-movements", &query, rows)))
}
