//! Several products for a need of nitrogen, phosphate and potash: the scarcest first, then what is still lacking.

use serde::{Deserialize, Serialize};

use super::{Label, Nutrients, arithmetic::GradeNutrient};
use crate::{
    explain::{Derivation, SourceMark},
    quantity::{Phosphate, Potash, ProductMass, TotalNitrogen, largest_product},
};

/// Nutrients that an area needs, as masses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NutrientNeed {
    pub nitrogen_lb: TotalNitrogen,
    pub phosphate_lb: Phosphate,
    pub potash_lb: Potash,
}

/// So much of one of the products.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct BlendPart {
    /// Which of the products that were given, counted from zero.
    #[schema(maximum = 1_000)]
    pub product: usize,
    /// The nutrient it was taken for.
    pub taken_for: GradeNutrient,
    pub product_lb: ProductMass,
    pub delivers: Nutrients,
    pub derivation: Derivation,
}

/// What a blend leaves open of one nutrient.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Shortfall {
    pub nutrient: GradeNutrient,
    /// Ten-billionths of a pound.
    #[schema(minimum = 0, maximum = 100_000_000_000_000_000_i64)]
    pub missing_1e10_lb: i64,
}

#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Blend {
    #[schema(max_items = 1_000)]
    pub parts: Vec<BlendPart>,
    pub delivers: Nutrients,
    /// Nutrients that are not met exactly, by more than rounding to a millionth of a pound of product leaves open.
    #[schema(max_items = 3)]
    pub off: Vec<Shortfall>,
}

/// The scarcest first: phosphate, then nitrogen, then potash.
const IN_TURN: [GradeNutrient; 3] = [GradeNutrient::Phosphate, GradeNutrient::Nitrogen, GradeNutrient::Potash];

/// Fills a need from several products. For each nutrient in turn the product that brings it with the least of the others is
/// taken, as much as the rest of the need asks, rounded down; what it carries of the others is taken off their need. No
/// nutrient is brought beyond its need: where a product would, less of it is taken and what is missing is told.
pub fn blend_rounded_down(need: &NutrientNeed, products: &[Label]) -> Blend {
    let mut open = [need.nitrogen_lb.raw(), need.phosphate_lb.raw(), need.potash_lb.raw()];
    let (mut parts, mut delivers) = (Vec::new(), Nutrients::NONE);
    for nutrient in IN_TURN {
        let lacking = open_of(&open, nutrient);
        let Some((at, label)) = purest(products, nutrient) else { continue };
        if lacking <= 0 {
            continue;
        }
        let mass = GradeNutrient::ALL
            .into_iter()
            .filter_map(|each| largest_product(i128::from(open_of(&open, each)), each.percent(label)))
            .min()
            .unwrap_or(ProductMass::ZERO);
        if mass.is_zero() {
            continue;
        }
        let brought = label.nutrients_in(mass);
        let loads = [brought.nitrogen_lb.raw(), brought.phosphate_lb.raw(), brought.potash_lb.raw()];
        for (rest, load) in open.iter_mut().zip(loads) {
            *rest = rest.saturating_sub(load);
        }
        delivers = delivers.checked_add(brought).unwrap_or(delivers);
        let derivation = Derivation::of("product for what is still needed", "rest of the need / (percent / 100)")
            .with_text(&format!("{} still needed", nutrient.label()), &TotalNitrogen::from_raw(lacking), "lb")
            .with("percent", nutrient.percent(label))
            .from_source(
                SourceMark::Read2,
                "Extension answer 603771: the scarcest nutrient first, then what it leaves open",
            )
            .gives(mass, "down to the millionth of a pound")
            .derivation;
        parts.push(BlendPart { product: at, taken_for: nutrient, product_lb: mass, delivers: brought, derivation });
    }
    // A product is at most 100 % of a nutrient, so rounding it down to 1e-6 lb leaves less than 1e-6 lb open.
    let off = GradeNutrient::ALL
        .into_iter()
        .map(|nutrient| Shortfall { nutrient, missing_1e10_lb: open_of(&open, nutrient) })
        .filter(|short| short.missing_1e10_lb >= 10_000)
        .collect();
    Blend { parts, delivers, off }
}

const fn open_of(open: &[i64; 3], nutrient: GradeNutrient) -> i64 {
    let [nitrogen, phosphate, potash] = *open;
    match nutrient {
        GradeNutrient::Nitrogen => nitrogen,
        GradeNutrient::Phosphate => phosphate,
        GradeNutrient::Potash => potash,
    }
}

/// The product of whose three nutrients this one is the largest part.
fn purest(products: &[Label], nutrient: GradeNutrient) -> Option<(usize, &Label)> {
    let part = |label: &Label| {
        let all: i64 = GradeNutrient::ALL.iter().map(|each| each.percent(label).raw()).sum();
        (i128::from(nutrient.percent(label).raw()), i128::from(all.max(1)))
    };
    products.iter().enumerate().filter(|(_, label)| nutrient.percent(label).raw() > 0).max_by(|(_, a), (_, b)| {
        let ((part_a, all_a), (part_b, all_b)) = (part(a), part(b));
        (part_a * all_b).cmp(&(part_b * all_a))
    })
}
