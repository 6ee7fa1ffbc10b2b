//! How much product for how much nutrient, and the other way round. Amounts that go on the ground are rounded down.

use serde::{Deserialize, Serialize};

use super::Label;
use crate::{
    explain::{Derivation, Figure, SourceMark},
    quantity::{
        Area, NutrientRate, Percent, ProductMass, ProductRate, RateSum, largest_product, quotient_down, quotient_up,
    },
};

/// The three nutrients of a grade.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum GradeNutrient {
    Nitrogen,
    Phosphate,
    Potash,
}

impl GradeNutrient {
    pub const ALL: [Self; 3] = [Self::Nitrogen, Self::Phosphate, Self::Potash];

    /// How a sentence calls it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Nitrogen => "N",
            Self::Phosphate => "P2O5",
            Self::Potash => "K2O",
        }
    }

    /// Its guarantee on a label.
    pub const fn percent(self, label: &Label) -> Percent {
        match self {
            Self::Nitrogen => label.nitrogen_percent,
            Self::Phosphate => label.phosphate_percent,
            Self::Potash => label.potash_percent,
        }
    }
}

const RATE_SOURCE: &str =
    "Definition of a grade; worked the same way by NC State (Caring for Your Lawn) and Maryland (HGIC lawn worksheet)";

fn rate_formula(figure: &str, formula: &str, label: &Label, nutrient: GradeNutrient) -> Derivation {
    Derivation::of(figure, formula)
        .with(&format!("{} on the label", nutrient.label()), nutrient.percent(label))
        .from_source(SourceMark::Read, RATE_SOURCE)
}

/// Pounds of product on 1,000 sq ft that deliver a rate of a nutrient: rate / (percent / 100), rounded down. Nothing for a
/// product without it.
pub fn product_rate_rounded_down(
    label: &Label,
    nutrient: GradeNutrient,
    target: NutrientRate,
) -> Option<Figure<ProductRate>> {
    let percent = nutrient.percent(label).raw();
    (percent > 0).then(|| {
        let rate = quotient_down(i128::from(target.raw()) * 10_000, i128::from(percent));
        rate_formula("product rate for a target", "target / (percent / 100)", label, nutrient)
            .with("target", target)
            .gives(ProductRate::from_raw(rate), "down to the millionth of a pound, so that the target is not passed")
    })
}

/// Pounds of product that put a rate of a nutrient on an area, rounded down. Nothing for a product without it.
pub fn product_for_area_rounded_down(
    label: &Label,
    nutrient: GradeNutrient,
    target: NutrientRate,
    area: Area,
) -> Option<Figure<ProductMass>> {
    let product = largest_product(RateSum::default().largest_load(target, area), nutrient.percent(label))?;
    let derivation = rate_formula("product for a target", "target x area / 1,000 / (percent / 100)", label, nutrient)
        .with("target", target)
        .with("area", area);
    Some(derivation.gives(product, "down to the millionth of a pound, so that the target is not passed"))
}

/// Pounds of product that lie on an area at a rate of product, rounded down. Nothing where that is more than is stored.
pub fn product_at_rate_rounded_down(rate: ProductRate, area: Area) -> Option<Figure<ProductMass>> {
    let raw = quotient_down(i128::from(rate.raw()) * i128::from(area.raw()), 100_000);
    let mass = ProductMass::checked(raw).ok()?;
    let derivation = Derivation::of("product for an area", "rate x area / 1,000")
        .with("rate", rate)
        .with("area", area)
        .from_source(SourceMark::Computed, "Follows from the rate and the area");
    Some(derivation.gives(mass, "down to the millionth of a pound"))
}

/// Rate of a nutrient that a product rate delivers, rounded up, so that it never looks less than it is.
pub fn delivered_rate_rounded_up(label: &Label, nutrient: GradeNutrient, product: ProductRate) -> Figure<NutrientRate> {
    let rate = quotient_up(i128::from(product.raw()) * i128::from(nutrient.percent(label).raw()), 10_000);
    rate_formula("nutrient delivered", "product rate x percent / 100", label, nutrient)
        .with("product rate", product)
        .gives(NutrientRate::from_raw(rate), "up to the millionth of a pound, so that it never looks less than it is")
}

/// Rate at which a mass of product lies on an area, rounded up; nothing for a rate beyond what is stored.
pub fn product_rate_on_area_rounded_up(product: ProductMass, area: Area) -> Option<ProductRate> {
    let rate = quotient_up(i128::from(product.raw()) * 1_000 * 100, i128::from(area.raw()));
    ProductRate::checked(rate).ok()
}

/// Ground that a mass of product covers at a rate of a nutrient, rounded down. Nothing for a product without it or a rate of
/// zero, and nothing for an area beyond what is stored.
pub fn coverage_rounded_down(
    label: &Label,
    nutrient: GradeNutrient,
    target: NutrientRate,
    product: ProductMass,
) -> Option<Figure<Area>> {
    let percent = nutrient.percent(label).raw();
    if percent == 0 || target.is_zero() {
        return None;
    }
    // 1e-6 lb x 1e-4 / (1e-6 lb per 1,000 sq ft) is 1e-4 x 1,000 sq ft, and an area is kept in 1e-2 sq ft.
    let area = quotient_down(i128::from(product.raw()) * i128::from(percent) * 10, i128::from(target.raw()));
    let area = Area::checked(area).ok()?;
    let derivation = rate_formula("ground covered", "product x percent / 100 / target x 1,000", label, nutrient)
        .with("product", product)
        .with("target", target);
    Some(derivation.gives(area, "down to the hundredth of a square foot"))
}

/// How fast the nitrogen of a product is released, by the share that is slowly available.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ReleaseClass {
    Quick,
    Moderate,
    Slow,
}

impl ReleaseClass {
    /// Less than 0.15 of the nitrogen is quick, up to 0.29 moderate, above it slow (Cornell Cooperative Extension Suffolk,
    /// Another Set of Calculations for Fertilizer; read in a reprint). Nothing without nitrogen.
    pub fn of(label: &Label) -> Option<Self> {
        let (total, slow) = (label.nitrogen_percent.raw(), label.slow_nitrogen_percent.raw());
        (total > 0).then(|| match slow * 100 {
            share if share < total * 15 => Self::Quick,
            share if share <= total * 29 => Self::Moderate,
            _ => Self::Slow,
        })
    }
}
