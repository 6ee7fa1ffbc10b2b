//! Liquids: C60 and C61.

use domain::{
    product::{
        arithmetic::GradeNutrient::Nitrogen,
        liquid::{nutrient_per_gallon_rounded_nearest, volume_rounded_down, weight_rounded_up},
    },
    quantity::{Density, ProductMass, Volume},
};
use proptest::prelude::*;

use super::{amount, close, label, near};

#[test]
fn c60_nitrogen_in_a_gallon() {
    // Camberato (Purdue), Basic Calculations for Nitrogen Fertilizers, read in a reprint: 28 % of 10.6 lb is 2.97 (2.968
    // exact; tolerance 0.005); 20 gal hold 59.4 from the rounded figure (59.36 exact; tolerance 0.05).
    let uan = label("28", "0", "0");
    near(nutrient_per_gallon_rounded_nearest(&uan, amount("10.6"), Nitrogen).value, "2.97", "0.005");
    let weight = weight_rounded_up(amount("20"), amount("10.6")).value;
    near(weight, "212", "0");
    near(uan.nutrients_in(weight).nitrogen_lb, "59.4", "0.05");
}

#[test]
fn c61_ounces_of_a_foliar() {
    // Woods, Calculating How Much of an Element Is Applied in a Liquid Fertilizer (2015), read: 0.083 lb in an ounce of 10.68
    // lb/gal (0.08344 exact; tolerance 0.0005); 6 fl oz are 0.5 lb, 0.02 lb N at 4 %, 0.002 lb Mn at 0.4 %; tolerance 0.005.
    let density: Density = amount("10.68");
    near(weight_rounded_up(Volume::of_fluid_ounces_rounded_down(1_000), density).value, "0.083", "0.0005");
    let six = weight_rounded_up(Volume::of_fluid_ounces_rounded_down(6_000), density).value;
    near(six, "0.5", "0.005");
    near(label("4", "0", "0").nutrients_in(six).nitrogen_lb, "0.02", "0.005");
    // Manganese is guaranteed as the element: 0.4 % of the weight, in ten-billionths of a pound.
    close(six.raw() * 40, 20_000_000, 50_000_000);
    assert_eq!(amount::<domain::quantity::Gallon>("1").fluid_ounces_rounded_down(), 128_000);
}

proptest! {
    #[test]
    fn a_volume_measured_out_never_weighs_more(product in 0_i64..1_000_000_000, density in 10_000_i64..200_000) {
        let (product, density) = (ProductMass::from_raw(product), Density::from_raw(density));
        let volume = volume_rounded_down(product, density).value;
        prop_assert!(weight_rounded_up(volume, density).value <= product);
    }
}
