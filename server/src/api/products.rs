//! Products.

use axum::{Json, extract::State, response::Response};
use domain::{
    decision::LabelCheck,
    ids::{self, ProductId},
    product::{
        LabelFault,
        amounts::{Amounts, AmountsQuestion},
        arithmetic::GradeNutrient,
        printed_check::PrintedFault,
    },
    quantity::{Area, NutrientRate, Price, ProductMass, Volume},
    time::Day,
};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::{
    access::{AnyStaff, OfficeOrOwner, StaffOrPass},
    api::{ListQuery, whole},
    book::office::{self, IdempotentRequest},
    extract::{IdempotencyKey, IfMatch, PathId, Valid, ValidQuery},
    paging::Page,
    problem::{FieldFault, Problem},
    reply::{self, Created},
    routes::{Routes, routes},
    state::App,
    store::{
        self,
        journal::JournalContext,
        products::{Product, ProductInput, ProductStatus},
    },
};

pub fn routes() -> Routes {
    routes!(create_product, list_products, get_product, replace_product_status, get_label_check, get_product_amounts)
}

/// What no label can say.
fn faults(input: &ProductInput) -> Vec<FieldFault> {
    let place = |fault: LabelFault| match fault {
        LabelFault::SlowAboveTotal => {
            FieldFault::at("/label/slow_nitrogen_percent", "contradiction", fault.to_string())
        }
        LabelFault::AboveWhole => FieldFault::at("/label", "contradiction", fault.to_string()),
    };
    let mut faults: Vec<FieldFault> = input.label.faults().into_iter().map(place).collect();
    faults.extend(input.label.printed_faults().into_iter().map(|fault| printed(&fault)));
    if input.net_weight_lb.is_zero() {
        faults.push(FieldFault::at("/net_weight_lb", "out_of_range", "must be above zero"));
    } else {
        faults.extend(input.label.contents_fault(input.net_weight_lb).map(|fault| printed(&fault)));
    }
    faults
}

/// Where a fault of what the label prints beyond the grade lies.
fn printed(fault: &PrintedFault) -> FieldFault {
    let field = match fault {
        PrintedFault::FormsDoNotAddUp { .. } | PrintedFault::SlowFormsDoNotAddUp { .. } => "nitrogen_forms",
        PrintedFault::OrganicAboveTotal { .. } => "organic_nitrogen_percent",
        PrintedFault::ElementTwice { .. } | PrintedFault::GuaranteesAboveWhole => "further_nutrients",
        PrintedFault::NoDensity => "density_lb_per_gal",
        PrintedFault::ContentsDoNotWeigh { .. } => "net_contents",
        PrintedFault::WateringInTurned => "watering_in_at_most_in",
        PrintedFault::IngredientTwice { .. } | PrintedFault::IngredientsAboveWhole => "pesticide/ingredients",
        PrintedFault::LowestAboveMost { .. } => "pesticide/lowest_product_lb_per_1000_sqft",
    };
    FieldFault::at(format!("/label/printed/{field}"), "contradiction", fault.to_string())
}

/// Create a product
///
/// A label, copied from the bag: the grade, and under `printed` whatever else it prints. What it guarantees cannot be changed
/// afterwards: another label is another product. Lines that do not add up are refused; claims that the guarantees do not bear
/// are kept as printed and told as `remarks`.
#[utoipa::path(post, path = "/api/v1/products", operation_id = "create_product", tag = "products",
    security(("bearer" = ["office", "owner"])), params(IdempotencyKey), request_body = ProductInput,
    responses((status = 201, description = "Added.", body = Product, headers(("Location" = String, description = "Where it is.")))))]
pub async fn create_product(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    key: IdempotencyKey,
    Valid { value, fingerprint }: Valid<ProductInput>,
) -> Result<Created, Problem> {
    whole(faults(&value))?;
    let at = app.clock.now();
    let id: ProductId = app.ids.next(at);
    let deed = JournalContext { actor: Some(actor), at, act: "product.added", subject: id.uuid() };
    let repeat = IdempotentRequest { key, route: "create_product", fingerprint };
    office::create(&app, deed, repeat, format!("/api/v1/products/{id}"), move |connection| {
        Box::pin(async move { Ok(store::products::insert(connection, id, &value, at).await?) })
    })
    .await
}

/// List products
///
/// In the order in which they were added, with those on hold and the retired.
#[utoipa::path(get, path = "/api/v1/products", operation_id = "list_products", tag = "products",
    security(("bearer" = ["any staff", "pass"])), params(ListQuery),
    responses((status = 200, description = "A page of products.", body = Page<Product>)))]
async fn list_products(
    _: StaffOrPass,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<ListQuery>,
) -> Result<Json<Page<Product>>, Problem> {
    let span = app.cursors.span("products", &query, false)?;
    let rows = store::products::list(app.store.reader(), span).await?;
    Ok(Json(app.cursors.page("products", &query, rows)))
}

/// Get a product
///
/// With its stock and the version that a change of status must name.
#[utoipa::path(get, path = "/api/v1/products/{id}", operation_id = "get_product", tag = "products",
    security(("bearer" = ["any staff", "pass"])), params(("id" = ProductId, Path, description = "The product.")),
    responses((status = 200, description = "The product.", body = Product)))]
async fn get_product(
    _: StaffOrPass,
    State(app): State<App>,
    PathId(id): PathId<ids::Product>,
) -> Result<Response, Problem> {
    let product = store::products::get(app.store.reader(), id).await?.ok_or_else(|| Problem::not_found("product"))?;
    Ok(reply::json_versioned(&product))
}

#[derive(Debug, Clone, Serialize, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct LabelQuery {
    /// Code of the rule set of the place; those of the places around it take part.
    #[param(pattern = "^[a-z0-9-]{2,60}$", max_length = 60, example = "us-md")]
    rule_set: String,
    /// Local day asked about.
    on: Day,
}

/// Get the check of a product's label against a place's law
///
/// By the rules that bind labels and sellers. They judge the label and never an application: they say which product may not
/// be sold, or not used as labelled, in that place.
#[utoipa::path(get, path = "/api/v1/products/{id}/label-check", operation_id = "get_label_check", tag = "products",
    security(("bearer" = ["any staff"])), params(("id" = ProductId, Path, description = "The product."), LabelQuery),
    responses((status = 200, description = "What the rules say of the label.", body = LabelCheck)))]
async fn get_label_check(
    _: AnyStaff,
    State(app): State<App>,
    PathId(id): PathId<ids::Product>,
    ValidQuery(query): ValidQuery<LabelQuery>,
) -> Result<Json<LabelCheck>, Problem> {
    let product = store::products::get(app.store.reader(), id).await?.ok_or_else(|| Problem::not_found("product"))?;
    if app.law().rule_set(&query.rule_set).is_none() {
        let detail = "is no rule set of this server; take a code from the list of rule sets";
        return Err(Problem::invalid(vec![FieldFault::parameter("rule_set", "unknown_value", detail)]));
    }
    Ok(Json(domain::decision::check_label(&app.law(), &[query.rule_set], &product.label, query.on)))
}

#[derive(Debug, Clone, Serialize, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct AmountsQuery {
    /// The nutrient that target and price are about; nitrogen if it is left out.
    #[serde(default)]
    #[param(inline)]
    nutrient: Option<GradeNutrient>,
    /// Nutrient that is aimed at on 1,000 sq ft.
    #[serde(default)]
    target_lb_per_1000_sqft: Option<NutrientRate>,
    /// Ground that is to be treated.
    #[serde(default)]
    area_sqft: Option<Area>,
    /// An amount of product by weight. Give this or the volume, or neither.
    #[serde(default)]
    product_lb: Option<ProductMass>,
    /// An amount of a liquid product by volume.
    #[serde(default)]
    volume_gal: Option<Volume>,
    /// What one bag or jug costs.
    #[serde(default)]
    bag_price_usd: Option<Price>,
}

/// Get amounts of a product
///
/// Whatever follows from what is given: product for a target, on 1,000 sq ft and on an area, in one pass or in two; nutrients
/// that an amount delivers; ground that a package covers; packages to buy; a liquid by volume; the price of a pound of
/// nutrient and of an acre. Each figure with its derivation, and what is missing for the others. It is arithmetic and no
/// permission: a check says what may go down.
#[utoipa::path(get, path = "/api/v1/products/{id}/amounts", operation_id = "get_product_amounts", tag = "products",
    security(("bearer" = ["any staff"])), params(("id" = ProductId, Path, description = "The product."), AmountsQuery),
    responses((status = 200, description = "What follows.", body = Amounts)))]
async fn get_product_amounts(
    _: AnyStaff,
    State(app): State<App>,
    PathId(id): PathId<ids::Product>,
    ValidQuery(query): ValidQuery<AmountsQuery>,
) -> Result<Json<Amounts>, Problem> {
    if query.product_lb.is_some() && query.volume_gal.is_some() {
        let detail = "and product_lb both name an amount; give one of them";
        return Err(Problem::invalid(vec![FieldFault::parameter("volume_gal", "contradiction", detail)]));
    }
    let product = store::products::get(app.store.reader(), id).await?.ok_or_else(|| Problem::not_found("product"))?;
    let asked = AmountsQuestion {
        nutrient: query.nutrient,
        target: query.target_lb_per_1000_sqft,
        area: query.area_sqft,
        product: query.product_lb,
        volume: query.volume_gal,
        bag_price: query.bag_price_usd,
    };
    Ok(Json(product.label.amounts(product.net_weight_lb, asked)))
}

#[derive(Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({ "status": "hold" }))]
pub struct ProductStatusInput {
    pub status: ProductStatus,
}

/// Replace a product's status
///
/// Takes it out of use, for a while or for good, or puts it back.
#[utoipa::path(put, path = "/api/v1/products/{id}/status", operation_id = "replace_product_status", tag = "products",
    security(("bearer" = ["office", "owner"])), params(("id" = ProductId, Path, description = "The product."), IfMatch),
    request_body = ProductStatusInput, responses((status = 200, description = "Changed.", body = Product)))]
pub async fn replace_product_status(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    PathId(id): PathId<ids::Product>,
    if_match: IfMatch,
    Valid { value, .. }: Valid<ProductStatusInput>,
) -> Result<Json<Product>, Problem> {
    let deed =
        JournalContext { actor: Some(actor), at: app.clock.now(), act: "product.status_changed", subject: id.uuid() };
    let changed = office::change(&app, deed, move |connection| {
        Box::pin(async move {
            store::products::set_status(connection, id, value.status, if_match.versions).await?.or_problem("product")
        })
    });
    changed.await.map(Json)
}
