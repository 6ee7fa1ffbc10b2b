//! Liquids: pounds by the gallon. The density is the label's own, never a table's.

use super::{Label, arithmetic::GradeNutrient};
use crate::{
    explain::{Derivation, Figure, SourceMark},
    quantity::{Density, ProductMass, Volume, quotient_down, quotient_nearest, quotient_up},
};

const SOURCE: &str =
    "Definition of density; worked the same way by Camberato (Purdue), Basic Calculations for Nitrogen Fertilizers";

impl Label {
    /// The label's weight of a gallon, if somebody copied it.
    pub fn density(&self) -> Option<Density> {
        self.printed.as_ref()?.density_lb_per_gal
    }
}

/// Pounds of a nutrient in a gallon: density x percent / 100, in ten-thousandths, to the nearest.
pub fn nutrient_per_gallon_rounded_nearest(
    label: &Label,
    density: Density,
    nutrient: GradeNutrient,
) -> Figure<Density> {
    let percent = nutrient.percent(label);
    let pounds = quotient_nearest(i128::from(density.raw()) * i128::from(percent.raw()), 10_000);
    Derivation::of(&format!("{} in a gallon", nutrient.label()), "density x percent / 100")
        .with("density", density)
        .with("percent", percent)
        .from_source(SourceMark::Read2, SOURCE)
        .gives(Density::from_raw(pounds), "to the nearest ten-thousandth of a pound")
}

/// Weight of a volume that was put down, rounded up, so that what it delivers never looks less than it is.
pub fn weight_rounded_up(volume: Volume, density: Density) -> Figure<ProductMass> {
    let pounds = quotient_up(i128::from(volume.raw()) * i128::from(density.raw()), 10_000);
    Derivation::of("weight of a liquid", "gallons x pounds per gallon")
        .with("volume", volume)
        .with("density", density)
        .from_source(SourceMark::Read2, SOURCE)
        .gives(ProductMass::from_raw(pounds), "up to the millionth of a pound")
}

/// Volume that weighs no more than so much, rounded down: what to measure out for an amount that must not be passed.
pub fn volume_rounded_down(product: ProductMass, density: Density) -> Figure<Volume> {
    let gallons = quotient_down(i128::from(product.raw()) * 10_000, i128::from(density.raw()));
    Derivation::of("volume of a liquid", "pounds / pounds per gallon")
        .with("product", product)
        .with("density", density)
        .converting("1 gallon is 128 fluid ounces")
        .from_source(SourceMark::Read2, SOURCE)
        .gives(Volume::from_raw(gallons), "down to the millionth of a gallon")
}

impl Volume {
    /// So many thousandths of a fluid ounce, exactly where it can be, else down: 128 to the gallon.
    pub fn of_fluid_ounces_rounded_down(thousandths: i64) -> Self {
        Self::from_raw(quotient_down(i128::from(thousandths) * 1_000, 128))
    }

    /// Fluid ounces in thousandths, rounded down.
    pub fn fluid_ounces_rounded_down(self) -> i64 {
        quotient_down(i128::from(self.raw()) * 128, 1_000)
    }
}
