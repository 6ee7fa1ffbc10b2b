//! The load sheet of a truck and a day: product, whole bags, water, and how often hopper or tank is filled.

use serde::{Deserialize, Serialize};

use crate::{
    explain::{Derivation, SourceMark},
    product::buying::{BuyingFault, bags_rounded_up},
    quantity::{Area, Percent, ProductMass, SprayRate, StockBalance, Volume, quotient_down, quotient_up},
};

/// One stop.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LoadStop {
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// Which of the products, counted from zero.
    #[schema(maximum = 1_000)]
    pub product: usize,
    pub area_sqft: Area,
    pub product_lb: ProductMass,
}

/// A product on the truck and what it is put down with.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LoadProduct {
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    pub bag_lb: ProductMass,
    /// What the hopper holds of this product; left out for a liquid.
    #[serde(default)]
    pub hopper_lb: Option<ProductMass>,
    /// Tank and calibrated rate; left out for a granule.
    #[serde(default)]
    pub tank: Option<Tank>,
}

/// A sprayer's tank and what it was calibrated to put down.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Tank {
    pub holds_gal: Volume,
    pub rate_gal_per_1000_sqft: SprayRate,
}

/// What one stop takes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct StopLoad {
    #[schema(max_length = 120)]
    pub name: String,
    #[schema(maximum = 1_000)]
    pub product: usize,
    pub product_lb: ProductMass,
    /// Finished spray, rounded up; nothing for a granule.
    pub spray_gal: Option<Volume>,
}

/// What the truck takes of one product.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct ProductLoad {
    #[schema(maximum = 1_000)]
    pub product: usize,
    /// What all stops take.
    pub needed_lb: ProductMass,
    /// Whole bags for it and the spare.
    #[schema(minimum = 0, maximum = 1_000_000_000_000_i64)]
    pub bags: i64,
    pub loaded_lb: ProductMass,
    /// Finished spray of all stops, and how often hopper or tank is filled; nothing without hopper and tank.
    pub spray_gal: Option<Volume>,
    #[schema(minimum = 0, maximum = 1_000_000)]
    pub fills: Option<i64>,
    /// Product for one full tank, rounded down, where every stop takes the same rate; nothing otherwise.
    pub product_lb_per_tank: Option<ProductMass>,
    /// How the bags follow.
    pub derivation: Derivation,
    /// How the fills follow, and for a liquid the spray.
    pub fills_derivation: Option<Derivation>,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct LoadSheet {
    #[schema(max_items = 500)]
    pub stops: Vec<StopLoad>,
    #[schema(max_items = 1_000)]
    pub products: Vec<ProductLoad>,
}

/// Adds up the day. `spare` is loaded beyond the need (*common practice* is 10 %) and comes back when it is not used.
pub fn load_sheet(stops: &[LoadStop], products: &[LoadProduct], spare: Percent) -> Result<LoadSheet, BuyingFault> {
    let spray = |stop: &LoadStop| {
        let tank = products.get(stop.product)?.tank?;
        let gallons = i128::from(stop.area_sqft.raw()) * i128::from(tank.rate_gal_per_1000_sqft.raw());
        Some(Volume::from_raw(quotient_up(gallons, 100_000)))
    };
    let of_stop = |stop: &LoadStop| StopLoad {
        name: stop.name.clone(),
        product: stop.product,
        product_lb: stop.product_lb,
        spray_gal: spray(stop),
    };
    let sheet: Vec<StopLoad> = stops.iter().map(of_stop).collect();
    let mut loads = Vec::new();
    for (at, product) in products.iter().enumerate() {
        let here: Vec<&LoadStop> = stops.iter().filter(|stop| stop.product == at).collect();
        if !here.is_empty() {
            loads.push(of_product(at, product, &here, spare)?);
        }
    }
    Ok(LoadSheet { stops: sheet, products: loads })
}

fn of_product(
    at: usize,
    product: &LoadProduct,
    stops: &[&LoadStop],
    spare: Percent,
) -> Result<ProductLoad, BuyingFault> {
    let needed: i128 = stops.iter().map(|stop| i128::from(stop.product_lb.raw())).sum();
    let area: i128 = stops.iter().map(|stop| i128::from(stop.area_sqft.raw())).sum();
    let mass = |raw: i64| ProductMass::checked(raw).map_err(|_| BuyingFault::TooMany);
    let needed_lb = mass(quotient_up(needed, 1))?;
    let asked = mass(quotient_up(needed * (10_000 + i128::from(spare.raw())), 10_000))?;
    let purchase = bags_rounded_up(asked, product.bag_lb)?;
    let spray_gal = product
        .tank
        .map(|tank| Volume::from_raw(quotient_up(area * i128::from(tank.rate_gal_per_1000_sqft.raw()), 100_000)));
    let counted = match (product.tank, product.hopper_lb) {
        (Some(tank), _) if tank.holds_gal.raw() > 0 => spray_gal.map(|spray| tank_fills(area, spray, &tank)),
        (None, Some(hopper)) if hopper.raw() > 0 => Some(hopper_fills(needed_lb, hopper)),
        _ => None,
    };
    let (fills, fills_derivation) = counted.unzip();
    let derivation = Derivation::of("bags to load", "sum of the stops, and the spare, / net weight of a bag")
        .with("all stops", StockBalance::from_raw(needed_lb.raw()))
        .with("spare", spare)
        .with("net weight of a bag", product.bag_lb)
        .from_source(SourceMark::CommonPractice, "The route's need and a spare, in whole bags")
        .gives_text(&purchase.bags, "bags", "up to whole bags; no stop takes more for it");
    Ok(ProductLoad {
        product: at,
        needed_lb,
        bags: purchase.bags,
        loaded_lb: purchase.bought_lb,
        spray_gal,
        fills,
        product_lb_per_tank: product.tank.and_then(|tank| per_tank(&tank, stops)),
        derivation,
        fills_derivation,
    })
}

/// How often the tank is filled, by the area of all stops in hundredths of a square foot and the spray for it.
fn tank_fills(area: i128, spray: Volume, tank: &Tank) -> (i64, Derivation) {
    let fills = quotient_up(i128::from(spray.raw()), i128::from(tank.holds_gal.raw()));
    let derivation = Derivation::of("fills of the tank", "sum of the areas x spray rate / 1,000 / tank")
        .with_text("areas of all stops", &format!("{}.{:02}", area / 100, area % 100), "sq ft")
        .with("spray rate", tank.rate_gal_per_1000_sqft)
        .with("spray of all stops, up to the millionth of a gallon", spray)
        .with("tank", tank.holds_gal)
        .from_source(SourceMark::Computed, "Definition of a spray rate; the rate comes from the sprayer's calibration")
        .gives_text(&fills, "fills", "up to whole fills; the last one may be partly full");
    (fills, derivation)
}

/// How often the hopper is filled.
fn hopper_fills(needed: ProductMass, hopper: ProductMass) -> (i64, Derivation) {
    let fills = quotient_up(i128::from(needed.raw()), i128::from(hopper.raw()));
    let derivation = Derivation::of("fills of the hopper", "product of all stops / hopper")
        .with("product of all stops", needed)
        .with("hopper", hopper)
        .from_source(SourceMark::Computed, "What the hopper holds of this product, as whoever asks says")
        .gives_text(&fills, "fills", "up to whole fills; the last one may be partly full");
    (fills, derivation)
}

/// Product for a full tank: the area that it covers at the rate of the stops, if they share one to within a millionth.
fn per_tank(tank: &Tank, stops: &[&LoadStop]) -> Option<ProductMass> {
    let first = stops.first()?;
    let (mass, area) = (i128::from(first.product_lb.raw()), i128::from(first.area_sqft.raw()));
    let alike = |stop: &&&LoadStop| {
        let (here, there) = (i128::from(stop.product_lb.raw()) * area, mass * i128::from(stop.area_sqft.raw()));
        (here - there).abs() * 1_000_000 <= there.abs()
    };
    if tank.rate_gal_per_1000_sqft.raw() <= 0 || area <= 0 || stops.iter().filter(alike).count() != stops.len() {
        return None;
    }
    // gallons / rate x 1,000 is the area of a tank, in hundredths of a square foot, times the product on one of them.
    let covered = i128::from(tank.holds_gal.raw()) * 100_000;
    Some(ProductMass::from_raw(quotient_down(covered * mass, i128::from(tank.rate_gal_per_1000_sqft.raw()) * area)))
}
