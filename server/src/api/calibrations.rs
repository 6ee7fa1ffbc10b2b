//! Calibrations: what a machine really puts down for one product and one operator.

use axum::{Json, extract::State};
use domain::{
    actor::{Actor, Role},
    calibration::{CalibrationFault, catch_test::CatchTest},
    ids::{self, CalibrationId, EquipmentId, PersonId, ProductId},
    time::Day,
};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::{
    access::AnyStaff,
    api::{last_past_day, not_yet, whole},
    book::office::{self, IdempotentRequest},
    extract::{IdempotencyKey, PathId, Valid, ValidQuery},
    paging::{Page, Paged},
    problem::{FieldFault, Problem},
    reply::Created,
    routes::{Routes, routes},
    state::App,
    store::{
        self,
        calibrations::{Calibration, CalibrationInForce, CalibrationInput, Filter},
        equipment::EquipmentView,
        journal::JournalContext,
        products::Product,
    },
};

pub fn routes() -> Routes {
    routes!(record_calibration, list_calibrations, get_calibration, get_calibrations_in_force)
}

/// Where in the test a fault lies.
fn place(fault: CalibrationFault) -> FieldFault {
    let (pointer, code) = match fault {
        CalibrationFault::LeftMoreThanPutIn => ("/test/left_over_lb", "contradiction"),
        CalibrationFault::NoRow | CalibrationFault::RowTooNarrow => ("/test/catches", "contradiction"),
        CalibrationFault::NoSpacing => ("/test/spacing_ft", "out_of_range"),
        CalibrationFault::NoCourse
        | CalibrationFault::NothingCaught
        | CalibrationFault::NoTime
        | CalibrationFault::OutOfRange => ("/test", "out_of_range"),
    };
    FieldFault::at(pointer, code, fault.to_string())
}

/// The target's field, if nothing is aimed at.
fn no_target(test: &CatchTest) -> Option<FieldFault> {
    let (field, zero) = match test {
        CatchTest::Course { target_lb_per_1000_sqft: target, .. }
        | CatchTest::KnownArea { target_lb_per_1000_sqft: target, .. } => ("target_lb_per_1000_sqft", target.is_zero()),
        CatchTest::Gun { target_gal_per_1000_sqft: target, .. } => ("target_gal_per_1000_sqft", target.is_zero()),
        CatchTest::Boom { target_gal_per_acre: target, .. } => ("target_gal_per_acre", target.is_zero()),
        CatchTest::Pans { .. } => return None,
    };
    zero.then(|| FieldFault::at(format!("/test/{field}"), "out_of_range", "must be above zero: a rate is aimed at"))
}

/// What does not go together with the machine, the product and the sender.
fn faults(
    input: &CalibrationInput,
    sender: Actor,
    equipment: Option<&EquipmentView>,
    product: Option<&Product>,
) -> Vec<FieldFault> {
    let mut faults = Vec::new();
    match equipment {
        None => faults.push(FieldFault::at("/equipment_id", "not_found", "is no equipment of this company")),
        Some(machine) => {
            if !machine.active {
                let detail = "is out of use; the office puts it back into use first";
                faults.push(FieldFault::at("/equipment_id", "not_active", detail));
            }
            if !machine.kind.takes(&input.test) {
                let kind = machine.kind;
                let detail = format!("{} is calibrated by {}", kind.label(), kind.tests_in_words());
                faults.push(FieldFault::at("/test/method", "contradiction", detail));
            }
        }
    }
    match (product, equipment) {
        (None, _) => faults.push(FieldFault::at("/product_id", "not_found", "is no product of this company")),
        (Some(product), Some(machine)) if product.label.form != machine.kind.form() => {
            let detail = format!("does not go through {}: one is granular, the other liquid", machine.kind.label());
            faults.push(FieldFault::at("/product_id", "contradiction", detail));
        }
        _ => {}
    }
    if sender.role == Role::Technician && input.person_id.is_some_and(|person| person != sender.person) {
        let detail = "is for the office and the owner; a technician writes down the own calibrations";
        faults.push(FieldFault::at("/person_id", "not_allowed", detail));
    }
    faults.extend(no_target(&input.test));
    faults
}

/// Record a calibration
///
/// A catch test with a drop or rotary spreader, a row of pans for the effective swath, a known area, a spray gun or a boom.
/// The answer tells the rate, whether it lies within 5 % of the target, and half of the target for each of two passes, with
/// the derivation of each. Wear what the label asks for, and catch on a tarpaulin or in pans, away from drains and water.
#[utoipa::path(post, path = "/api/v1/calibrations", operation_id = "record_calibration", tag = "equipment",
    security(("bearer" = ["any staff"])), params(IdempotencyKey), request_body = CalibrationInput,
    responses((status = 201, description = "Added.", body = Calibration, headers(("Location" = String, description = "Where it is.")))))]
pub async fn record_calibration(
    AnyStaff(actor): AnyStaff,
    State(app): State<App>,
    key: IdempotencyKey,
    Valid { value, fingerprint }: Valid<CalibrationInput>,
) -> Result<Created, Problem> {
    let last = last_past_day(&app).await?;
    let at = app.clock.now();
    let id: CalibrationId = app.ids.next(at);
    let deed = JournalContext { actor: Some(actor), at, act: "calibration.added", subject: id.uuid() };
    let repeat = IdempotentRequest { key, route: "record_calibration", fingerprint };
    office::create(&app, deed, repeat, format!("/api/v1/calibrations/{id}"), move |connection| {
        Box::pin(async move {
            let equipment = store::equipment::get(&mut *connection, value.equipment_id).await?;
            let product = store::products::get(&mut *connection, value.product_id).await?;
            let person = value.person_id.unwrap_or(actor.person);
            let mut faults = faults(&value, actor, equipment.as_ref(), product.as_ref());
            if store::people::get(&mut *connection, person).await?.is_none() {
                faults.push(FieldFault::at("/person_id", "not_found", "names nobody of the staff"));
            }
            faults.extend(not_yet("/calibrated_on", value.calibrated_on, last));
            let result = value.test.result();
            faults.extend(result.as_ref().err().map(|fault| place(*fault)));
            whole(faults)?;
            let calibration = Calibration {
                id,
                equipment_id: value.equipment_id,
                product_id: value.product_id,
                person_id: person,
                calibrated_on: value.calibrated_on,
                setting: value.setting,
                test: value.test,
                result: result.map_err(|fault| Problem::invalid(vec![place(fault)]))?,
                note: value.note,
                entered_by: actor.person,
                created_at: at,
            };
            store::calibrations::insert(connection, &calibration).await?;
            Ok(calibration)
        })
    })
    .await
}

#[derive(Debug, Clone, Serialize, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
#[expect(clippy::struct_field_names, reason = "the parameters of an address name whose id they are")]
struct CalibrationFilter {
    /// Only those of this machine.
    #[serde(default)]
    equipment_id: Option<EquipmentId>,
    /// Only those with this product.
    #[serde(default)]
    product_id: Option<ProductId>,
    /// Only those of this operator.
    #[serde(default)]
    person_id: Option<PersonId>,
}

type CalibrationQuery = Paged<CalibrationFilter>;

/// List calibrations
///
/// In the order in which they were written, all or those of a machine, a product, an operator.
#[utoipa::path(get, path = "/api/v1/calibrations", operation_id = "list_calibrations", tag = "equipment",
    security(("bearer" = ["any staff"])), params(CalibrationQuery),
    responses((status = 200, description = "A page of calibrations.", body = Page<Calibration>)))]
async fn list_calibrations(
    _: AnyStaff,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<CalibrationQuery>,
) -> Result<Json<Page<Calibration>>, Problem> {
    let span = app.cursors.span("calibrations", &query, false)?;
    let filter = Filter { equipment: query.equipment_id, product: query.product_id, person: query.person_id };
    let rows = store::calibrations::list(app.store.reader(), span, filter).await?;
    Ok(Json(app.cursors.page("calibrations", &query, rows)))
}

/// Get a calibration
///
/// What was measured and what followed from it, each figure with its derivation.
#[utoipa::path(get, path = "/api/v1/calibrations/{id}", operation_id = "get_calibration", tag = "equipment",
    security(("bearer" = ["any staff"])), params(("id" = CalibrationId, Path, description = "The calibration.")),
    responses((status = 200, description = "The calibration.", body = Calibration)))]
async fn get_calibration(
    _: AnyStaff,
    State(app): State<App>,
    PathId(id): PathId<ids::Calibration>,
) -> Result<Json<Calibration>, Problem> {
    let found = store::calibrations::get(app.store.reader(), id).await?;
    found.map(Json).ok_or_else(|| Problem::not_found("calibration"))
}

#[derive(Debug, Clone, Serialize, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct InForceQuery {
    /// The machine.
    equipment_id: EquipmentId,
    /// The product that is to go through it.
    product_id: ProductId,
    /// Local day asked about.
    on: Day,
    /// Only those of this operator; those of every operator if it is left out.
    #[serde(default)]
    person_id: Option<PersonId>,
}

/// What is in force on a day.
#[derive(Debug, Serialize, ToSchema)]
struct CalibrationsInForce {
    on: Day,
    equipment_id: EquipmentId,
    product_id: ProductId,
    /// Of each operator the latest calibration that found a rate, and the latest row of pans.
    #[schema(max_items = 2000)]
    items: Vec<CalibrationInForce>,
    /// What follows for a person who is about to begin.
    #[schema(max_length = 400)]
    words: String,
}

/// Get the calibrations in force
///
/// For a machine and a product on a day, of every operator or of one: the latest calibration, whether it was within 5 % of its
/// target, and whether it is fresh, due or out by its days and by the records made with it since.
#[utoipa::path(get, path = "/api/v1/calibrations/in-force", operation_id = "get_calibrations_in_force", tag = "equipment",
    security(("bearer" = ["any staff"])), params(InForceQuery),
    responses((status = 200, description = "What is in force.", body = CalibrationsInForce)))]
async fn get_calibrations_in_force(
    _: AnyStaff,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<InForceQuery>,
) -> Result<Json<CalibrationsInForce>, Problem> {
    let reader = app.store.reader();
    let mut faults = Vec::new();
    let missing =
        |name: &str, what: &str| FieldFault::parameter(name, "not_found", format!("names no {what} of this company"));
    if store::equipment::get(reader, query.equipment_id).await?.is_none() {
        faults.push(missing("equipment_id", "equipment"));
    }
    if store::products::get(reader, query.product_id).await?.is_none() {
        faults.push(missing("product_id", "product"));
    }
    whole(faults)?;
    let equipment = Some(query.equipment_id);
    let items =
        store::calibrations::in_force(reader, equipment, &[query.product_id], query.person_id, query.on).await?;
    let words = words(&items);
    Ok(Json(CalibrationsInForce {
        on: query.on,
        equipment_id: query.equipment_id,
        product_id: query.product_id,
        items,
        words,
    }))
}

fn words(items: &[CalibrationInForce]) -> String {
    use domain::calibration::CalibrationStatus;
    let rates = || items.iter().filter(|item| !matches!(item.calibration.test, CatchTest::Pans { .. }));
    let accepted = |item: &&CalibrationInForce| item.calibration.result.acceptance.as_ref().is_some_and(|a| a.accepted);
    let good = rates().filter(accepted).filter(|item| item.standing != CalibrationStatus::Out).count();
    match (rates().count(), good) {
        (0, _) => "No rate was measured with this machine and product. Calibrate before use.".to_owned(),
        (_, 0) => "None of these is both within 5 % of its target and not too old. Calibrate before use.".to_owned(),
        (_, good) => format!("Within 5 % of the target and not too old: {good} of {}.", rates().count()),
    }
}
