//! Blends: several products that together meet a need. A question without effect.

use axum::{Json, extract::State};
use domain::{
    explain::{Derivation, SourceMark},
    ids::ProductId,
    product::{
        Nutrients,
        arithmetic::{GradeNutrient, product_rate_on_area_rounded_up},
        blend::{Blend, BlendPart, NutrientNeed, blend_rounded_down},
        blend_price::{Offer, cheapest_rounded_down},
        buying::{Purchase, bags_rounded_up},
    },
    quantity::{
        Area, NutrientRate, Phosphate, Potash, Price, ProductMass, ProductRate, Quantity, RateSum, TotalNitrogen, Unit,
    },
};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    access::AnyStaff,
    api::whole,
    extract::Valid,
    problem::{FieldFault, Problem},
    routes::{Routes, routes},
    state::App,
    store::{self, products::Product},
};

pub fn routes() -> Routes {
    routes!(compute_blend)
}

/// Rates of the three nutrients of a grade.
#[derive(Debug, Clone, Copy, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[expect(clippy::struct_field_names, reason = "an amount has its unit in its name")]
struct NutrientRates {
    nitrogen_lb_per_1000_sqft: NutrientRate,
    phosphate_lb_per_1000_sqft: NutrientRate,
    potash_lb_per_1000_sqft: NutrientRate,
}

/// A product that may take part.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct BlendProduct {
    product_id: ProductId,
    /// What a bag or jug costs.
    #[serde(default)]
    bag_price_usd: Option<Price>,
}

/// A need, and the products that may meet it.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "area_sqft": "8200",
    "need": { "nitrogen_lb_per_1000_sqft": "0.75", "phosphate_lb_per_1000_sqft": "0", "potash_lb_per_1000_sqft": "0.5" },
    "products": [
        { "product_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a12", "bag_price_usd": "39" },
        { "product_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a15", "bag_price_usd": "31.5" }
    ]
}))]
struct BlendInput {
    area_sqft: Area,
    /// What the lawn needs.
    need: NutrientRates,
    /// No more than this may come with it, such as the room under a cap; the need itself if it is left out. Takes a price for
    /// every product.
    #[serde(default)]
    at_most: Option<NutrientRates>,
    /// With a price for every product the cheapest blend is found; with none, the scarcest nutrient is filled first.
    #[schema(min_items = 1, max_items = 20)]
    products: Vec<BlendProduct>,
}

/// How a blend was found.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
enum BlendBy {
    /// Phosphate first, then nitrogen, then potash, each by the product that brings it with the least of the others.
    Scarcest,
    /// Least money for the amounts that are put down.
    LeastPrice,
}

/// So much of one product.
#[derive(Debug, Serialize, ToSchema)]
struct BlendLine {
    product_id: ProductId,
    #[schema(max_length = 120)]
    name: String,
    taken_for: GradeNutrient,
    product_lb: ProductMass,
    /// On the area, rounded up.
    product_lb_per_1000_sqft: Option<ProductRate>,
    delivers: Nutrients,
    /// Whole packages that hold it.
    purchase: Option<Purchase>,
    /// What those packages cost.
    purchase_usd: Option<Price>,
    derivation: Derivation,
}

/// What a blend meets and what it leaves open.
#[derive(Debug, Serialize, ToSchema)]
struct BlendResult {
    by: BlendBy,
    /// The need on the area, rounded down in the tenth decimal.
    need: NutrientNeed,
    #[schema(max_items = 3)]
    need_derivations: Vec<Derivation>,
    at_most: NutrientNeed,
    #[schema(max_items = 20)]
    parts: Vec<BlendLine>,
    delivers: Nutrients,
    /// What no blend of these products brings without too much of another nutrient; zeros when the need is met.
    missing: NutrientNeed,
    met: bool,
    /// The rest of the packages that are opened is left over; null where a price is missing.
    purchase_usd: Option<Price>,
}

/// Compute a blend
///
/// How much of each of several products meets a need of nitrogen, phosphate and potash on an area, bringing no nutrient beyond
/// it: the cheapest blend where every product has a price. Changes nothing, and is no permission: what may go down is for a
/// check to say, product by product.
#[utoipa::path(post, path = "/api/v1/blends", operation_id = "compute_blend", tag = "products", security(("bearer" = ["any staff"])),
    request_body = BlendInput, responses((status = 200, description = "The blend.", body = BlendResult)))]
async fn compute_blend(
    _: AnyStaff,
    State(app): State<App>,
    Valid { value, .. }: Valid<BlendInput>,
) -> Result<Json<BlendResult>, Problem> {
    let mut faults = faults(&value);
    let mut products = Vec::new();
    for (at, wanted) in value.products.iter().enumerate() {
        if let Some(product) = store::products::get(app.store.reader(), wanted.product_id).await? {
            products.push(product);
        } else {
            let pointer = format!("/products/{at}/product_id");
            faults.push(FieldFault::at(pointer, "not_found", "is no product of this company"));
        }
    }
    let need = on_area("/need", &value.need, value.area_sqft, &mut faults);
    let at_most = value.at_most.map(|most| on_area("/at_most", &most, value.area_sqft, &mut faults));
    whole(faults)?;
    answer(&value, need, at_most.unwrap_or(need), &products).map(Json)
}

/// What contradicts itself.
fn faults(input: &BlendInput) -> Vec<FieldFault> {
    let products = input.products.iter().map(|product| product.product_id);
    let place = |at| format!("/products/{at}/product_id");
    let mut faults = FieldFault::repeats(products, place, "stands in the list already");
    let priced = input.products.iter().filter(|product| product.bag_price_usd.is_some()).count();
    if priced > 0 && priced < input.products.len() {
        for (at, _) in input.products.iter().enumerate().filter(|(_, product)| product.bag_price_usd.is_none()) {
            let detail = "give every product its price, or none: the cheapest of some cannot be known";
            faults.push(FieldFault::at(format!("/products/{at}/bag_price_usd"), "incomplete", detail));
        }
    }
    let Some(most) = &input.at_most else { return faults };
    if priced == 0 {
        let detail = "is heeded by the cheapest blend; give every product its price, or leave it out";
        faults.push(FieldFault::at("/at_most", "incomplete", detail));
    }
    let need = &input.need;
    let below = [
        ("nitrogen", most.nitrogen_lb_per_1000_sqft < need.nitrogen_lb_per_1000_sqft),
        ("phosphate", most.phosphate_lb_per_1000_sqft < need.phosphate_lb_per_1000_sqft),
        ("potash", most.potash_lb_per_1000_sqft < need.potash_lb_per_1000_sqft),
    ];
    faults.extend(below.into_iter().filter(|(_, below)| *below).map(|(nutrient, _)| {
        let pointer = format!("/at_most/{nutrient}_lb_per_1000_sqft");
        FieldFault::at(pointer, "contradiction", "is less than the need; lower the need to what may be brought")
    }));
    faults
}

/// Rates as masses on the area, rounded down, or what of them cannot be stored.
fn on_area(pointer: &str, rates: &NutrientRates, area: Area, faults: &mut Vec<FieldFault>) -> NutrientNeed {
    fn load<U: Unit>(rate: NutrientRate, area: Area) -> Option<Quantity<U>> {
        let load = RateSum::default().largest_load(rate, area);
        Quantity::checked(i64::try_from(load).ok()?).ok()
    }
    let nitrogen = load(rates.nitrogen_lb_per_1000_sqft, area);
    let phosphate = load(rates.phosphate_lb_per_1000_sqft, area);
    let potash = load(rates.potash_lb_per_1000_sqft, area);
    if nitrogen.is_none() || phosphate.is_none() || potash.is_none() {
        faults.push(FieldFault::at(pointer, "out_of_range", "is more on this area than is stored; check both"));
    }
    NutrientNeed {
        nitrogen_lb: nitrogen.unwrap_or(TotalNitrogen::ZERO),
        phosphate_lb: phosphate.unwrap_or(Phosphate::ZERO),
        potash_lb: potash.unwrap_or(Potash::ZERO),
    }
}

/// How the need on the area follows from its rates.
fn need_derived(input: &BlendInput, need: &NutrientNeed) -> Vec<Derivation> {
    let rates = &input.need;
    let of = |nutrient: GradeNutrient, rate: NutrientRate| {
        Derivation::of(&format!("{} needed on the area", nutrient.label()), "rate x area / 1,000")
            .with("rate", rate)
            .with("area", input.area_sqft)
            .from_source(SourceMark::Computed, "Definition of a rate")
    };
    let rounding = "down to the ten-billionth of a pound";
    vec![
        of(GradeNutrient::Nitrogen, rates.nitrogen_lb_per_1000_sqft).gives(need.nitrogen_lb, rounding).derivation,
        of(GradeNutrient::Phosphate, rates.phosphate_lb_per_1000_sqft).gives(need.phosphate_lb, rounding).derivation,
        of(GradeNutrient::Potash, rates.potash_lb_per_1000_sqft).gives(need.potash_lb, rounding).derivation,
    ]
}

fn answer(
    input: &BlendInput,
    need: NutrientNeed,
    at_most: NutrientNeed,
    products: &[Product],
) -> Result<BlendResult, Problem> {
    let prices: Option<Vec<Price>> = input.products.iter().map(|product| product.bag_price_usd).collect();
    let (by, found) = if let Some(prices) = &prices {
        let offers: Vec<Offer<'_>> =
            products.iter().zip(prices).map(|(product, price)| offer(product, *price)).collect();
        (BlendBy::LeastPrice, cheapest_rounded_down(&need, &at_most, &offers))
    } else {
        let labels: Vec<_> = products.iter().map(|product| product.label.clone()).collect();
        (BlendBy::Scarcest, Some(blend_rounded_down(&need, &labels)))
    };
    let unsolved = || {
        let detail = "cannot be worked out with these amounts; ask with fewer products or a smaller need";
        Problem::invalid(vec![FieldFault::at("/products", "invalid", detail)])
    };
    let found: Blend = found.ok_or_else(unsolved)?;
    if found.parts.iter().any(|part| ProductMass::checked(part.product_lb.raw()).is_err()) {
        let detail = "takes more product on this area than is stored; check both, and what the products hold";
        return Err(Problem::invalid(vec![FieldFault::at("/need", "out_of_range", detail)]));
    }
    let parts: Vec<BlendLine> =
        found.parts.into_iter().filter_map(|part| line(part, products, prices.as_deref(), input.area_sqft)).collect();
    let purchase_usd = parts
        .iter()
        .try_fold(Price::ZERO, |sum, part| sum.checked_add(part.purchase_usd?))
        .filter(|sum| prices.is_some() && Price::checked(sum.raw()).is_ok());
    let open = |nutrient| found.off.iter().find(|off| off.nutrient == nutrient).map_or(0, |off| off.missing_1e10_lb);
    let missing = NutrientNeed {
        nitrogen_lb: TotalNitrogen::from_raw(open(GradeNutrient::Nitrogen)),
        phosphate_lb: Phosphate::from_raw(open(GradeNutrient::Phosphate)),
        potash_lb: Potash::from_raw(open(GradeNutrient::Potash)),
    };
    let met = found.off.is_empty();
    let need_derivations = need_derived(input, &need);
    Ok(BlendResult { by, need, need_derivations, at_most, parts, delivers: found.delivers, missing, met, purchase_usd })
}

fn offer(product: &Product, bag_price_usd: Price) -> Offer<'_> {
    Offer { label: &product.label, bag_lb: product.net_weight_lb, bag_price_usd }
}

fn line(part: BlendPart, products: &[Product], prices: Option<&[Price]>, area: Area) -> Option<BlendLine> {
    let product = products.get(part.product)?;
    let purchase = bags_rounded_up(part.product_lb, product.net_weight_lb).ok();
    let price = prices.and_then(|prices| prices.get(part.product));
    let purchase_usd = price.zip(purchase.as_ref()).and_then(|(price, purchase)| {
        price.raw().checked_mul(purchase.bags).and_then(|cents| Price::checked(cents).ok())
    });
    Some(BlendLine {
        product_id: product.id,
        name: product.name.clone(),
        taken_for: part.taken_for,
        product_lb: part.product_lb,
        product_lb_per_1000_sqft: product_rate_on_area_rounded_up(part.product_lb, area),
        delivers: part.delivers,
        purchase,
        purchase_usd,
        derivation: part.derivation,
    })
}
