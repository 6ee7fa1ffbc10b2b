//! Everything that follows from a label at once: the published figures again, and what is told where nothing follows.

use domain::product::{
    Label, ProductForm,
    amounts::{Amounts, AmountsQuestion},
    arithmetic::GradeNutrient,
    printed::PrintedLabel,
};

use super::{amount, label, near};

fn derived(amounts: &Amounts) -> Vec<&str> {
    amounts.derivations.iter().map(|derivation| derivation.figure.as_str()).collect()
}

#[test]
fn c58_a_bag_of_urea() {
    // USGA Green Section Record 60(5), 2022, read: a 50 lb bag of 46-0-0 at 50 USD holds 23 lb N at 2.17 USD; an acre at 1 lb
    // is 95 USD; tolerances 0.005 and 0.5.
    let asked = AmountsQuestion {
        target: Some(amount("1")),
        bag_price: Some(amount("50")),
        product: Some(amount("50")),
        ..AmountsQuestion::default()
    };
    let found = label("46", "0", "0").amounts(amount("50"), asked);
    near(found.price_usd_per_lb_of_nutrient.expect("N"), "2.17", "0.005");
    near(found.price_usd_per_acre.expect("N"), "95", "0.5");
    near(found.delivers.expect("an amount").nitrogen_lb, "23", "0");
    assert_eq!(found.purchase.as_ref().map(|purchase| purchase.bags), Some(1));
    for figure in [
        "product rate for a target",
        "rate for each of two passes at right angles",
        "price of an acre",
        "bags to buy",
        "N delivered",
    ] {
        assert!(derived(&found).contains(&figure), "{figure}: {:?}", derived(&found));
    }
    assert!(found.missing.is_empty() && found.cautions.is_empty(), "{found:?}");
}

#[test]
fn c90_a_bag_covers() {
    // Georgia county agent, read in a copy: 50 lb of 12-4-8 cover 10,000 sq ft at 0.6 lb N; exact.
    let asked =
        AmountsQuestion { target: Some(amount("0.6")), area: Some(amount("43560")), ..AmountsQuestion::default() };
    let found = label("12", "4", "8").amounts(amount("50"), asked);
    near(found.package_covers_sqft.expect("N"), "10000", "0.01");
    near(found.product_lb_per_1000_sqft.expect("N"), "5", "0");
    near(found.half_rate_lb_per_1000_sqft.expect("N"), "2.5", "0");
    near(found.product_lb.expect("an area"), "217.8", "0");
    assert_eq!(found.purchase.map(|purchase| purchase.bags), Some(5));
}

#[test]
fn c60_a_liquid_by_volume() {
    // Camberato (Purdue), read in a reprint: 28 % of 10.6 lb a gallon is 2.97 (tolerance 0.005); 20 gal hold 59.4 (0.05).
    let printed = PrintedLabel { density_lb_per_gal: Some(amount("10.6")), ..PrintedLabel::default() };
    let uan = Label { form: ProductForm::Liquid, printed: Some(Box::new(printed)), ..label("28", "0", "0") };
    let found =
        uan.amounts(amount("26.5"), AmountsQuestion { volume: Some(amount("20")), ..AmountsQuestion::default() });
    near(found.nutrient_lb_per_gal.expect("a density"), "2.97", "0.005");
    near(found.product_lb.expect("a density"), "212", "0");
    near(found.delivers.expect("an amount").nitrogen_lb, "59.4", "0.05");
    assert_eq!(found.volume_gal, Some(amount("20")));
    let dry = label("28", "0", "0")
        .amounts(amount("26.5"), AmountsQuestion { volume: Some(amount("20")), ..AmountsQuestion::default() });
    assert!(dry.product_lb.is_none() && dry.missing[0].0.contains("weight of a gallon"), "{:?}", dry.missing);
}

#[test]
fn what_does_not_follow_is_told() {
    let asked = AmountsQuestion {
        nutrient: Some(GradeNutrient::Potash),
        target: Some(amount("1")),
        bag_price: Some(amount("50")),
        ..AmountsQuestion::default()
    };
    let found = label("46", "0", "0").amounts(amount("50"), asked);
    assert_eq!(
        (found.product_lb_per_1000_sqft, found.price_usd_per_acre, found.package_covers_sqft),
        (None, None, None)
    );
    assert!(found.missing[0].0.contains("guarantees no K2O"), "{:?}", found.missing);
    // 1,000 lb of a nutrient that is a ten-thousandth of the product is more product than can be written.
    let absurd = AmountsQuestion { target: Some(amount("1000")), ..AmountsQuestion::default() };
    let found = label("0.01", "0", "0").amounts(amount("50"), absurd);
    assert!(found.product_lb_per_1000_sqft.is_none() && found.missing[0].0.contains("beyond"), "{:?}", found.missing);
}

#[test]
fn the_labels_own_limit_is_told() {
    let limited = Label { product_limit_lb_per_1000_sqft: Some(amount("3")), ..label("24", "0", "10") };
    let at = |target: &str| {
        limited
            .amounts(amount("50"), AmountsQuestion { target: Some(amount(target)), ..AmountsQuestion::default() })
            .cautions
            .len()
    };
    assert_eq!((at("0.72"), at("0.73")), (0, 1));
    let on = |product: &str| {
        let asked = AmountsQuestion {
            product: Some(amount(product)),
            area: Some(amount("1000")),
            ..AmountsQuestion::default()
        };
        limited.amounts(amount("50"), asked).cautions.len()
    };
    assert_eq!((on("3"), on("3.000001")), (0, 1));
}
