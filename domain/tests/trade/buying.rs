//! Bags and money: C58, C59, C80, C94, and what buying never does.

use domain::{
    product::{
        arithmetic::GradeNutrient::{Nitrogen, Potash},
        buying::{BuyingFault, bags_rounded_up, price_per_acre_rounded_nearest, price_per_pound_rounded_nearest},
    },
    quantity::ProductMass,
};
use proptest::prelude::*;

use super::{amount, label, near};

#[test]
fn c58_c59_c94_price_of_nitrogen() {
    let urea = label("46", "0", "0");
    let (bag, price) = (amount("50"), amount("50"));
    // USGA Green Section Record 60(5), 2022, read: 23 lb N, 2.17 USD a pound (2.1739 exact); tolerance 0.005.
    near(urea.nutrients_in(bag).nitrogen_lb, "23", "0");
    near(price_per_pound_rounded_nearest(&urea, Nitrogen, bag, price).expect("N").value, "2.17", "0.005");
    // The same, read: 95 and 148 USD an acre at 1 lb (94.70 and 147.73 exact), 12 USD at an eighth (11.84); tolerance 0.5.
    let mixed = label("23", "0", "6");
    let acre = |label, price: &str, rate: &str| {
        price_per_acre_rounded_nearest(label, Nitrogen, amount("50"), amount(price), amount(rate)).expect("N").value
    };
    near(acre(&urea, "50", "1"), "95", "0.5");
    near(acre(&urea, "50", "1"), "94.70", "0");
    near(acre(&mixed, "39", "1"), "148", "0.5");
    near(acre(&urea, "50", "0.125"), "12", "0.5");
    // C94, Texas A&M, read: 40 lb of 15 % N at 15 USD hold 6 lb at 2.50 USD; exact.
    let cheap = label("15", "0", "0");
    near(price_per_pound_rounded_nearest(&cheap, Nitrogen, amount("40"), amount("15")).expect("N").value, "2.50", "0");
    assert_eq!(price_per_pound_rounded_nearest(&cheap, Potash, amount("40"), amount("15")), None);
}

#[test]
fn c80_bags_are_whole() {
    // Virginia worksheet, read in a copy: 7,056.72 lb in bags of 50 lb are 142, rounded up from 141.13.
    let purchase = bags_rounded_up(amount("7056.72"), amount("50")).expect("bags");
    assert_eq!((purchase.bags, purchase.bought_lb.to_string().as_str()), (142, "7100"));
    assert_eq!(
        (purchase.needed_lb.to_string().as_str(), purchase.left_over_lb.to_string().as_str()),
        ("7056.72", "43.28")
    );
    assert_eq!(bags_rounded_up(amount("100"), amount("50")).map(|purchase| purchase.bags), Ok(2));
    assert_eq!(bags_rounded_up(amount("0"), amount("50")).map(|purchase| purchase.bags), Ok(0));
    assert_eq!(bags_rounded_up(amount("1"), ProductMass::ZERO), Err(BuyingFault::EmptyBag));
    assert_eq!(
        bags_rounded_up(amount("900000"), amount("0.000001")).map(|purchase| purchase.bags),
        Ok(900_000_000_000)
    );
}

proptest! {
    #[test]
    fn buying_never_raises_what_is_put_down(needed in 0_i64..1_000_000_000_000, bag in 1_i64..100_000_000) {
        let (needed, bag) = (ProductMass::from_raw(needed), ProductMass::from_raw(bag));
        if let Ok(purchase) = bags_rounded_up(needed, bag) {
            prop_assert_eq!(purchase.needed_lb, needed);
            prop_assert!(purchase.bought_lb >= needed && purchase.left_over_lb < bag);
            prop_assert_eq!(purchase.needed_lb.raw() + purchase.left_over_lb.raw(), purchase.bought_lb.raw());
        }
    }
}
