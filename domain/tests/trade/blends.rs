//! The cheapest blend: never above a ceiling, and never dearer than the blend that is made in turn.

use domain::{
    product::{
        Label,
        arithmetic::GradeNutrient,
        blend::{NutrientNeed, blend_rounded_down},
        blend_price::{Offer, cheapest_rounded_down},
    },
    quantity::{Percent, Phosphate, Potash, Price, ProductMass, TotalNitrogen},
};
use proptest::prelude::*;

use super::{amount, label, near};

fn offer<'a>(label: &'a Label, price: &str) -> Offer<'a> {
    Offer { label, bag_lb: amount("50"), bag_price_usd: amount(price) }
}

#[test]
fn c25_at_the_least_price() {
    // The need and products of extension answer 603771, read in a copy. With every nutrient met exactly there is one blend of
    // the three: solved by hand, 7.9545 lb of 21-22-4, 5.717 of 32-0-4 and 4.922 of 0-0-60 (computed).
    let (starter, urea, potash) = (label("21", "22", "4"), label("32", "0", "4"), label("0", "0", "60"));
    let offers = [offer(&starter, "45"), offer(&urea, "30"), offer(&potash, "35")];
    let need = NutrientNeed { nitrogen_lb: amount("3.5"), phosphate_lb: amount("1.75"), potash_lb: amount("3.5") };
    let blend = cheapest_rounded_down(&need, &need, &offers).expect("a blend");
    let masses: Vec<ProductMass> = blend.parts.iter().map(|part| part.product_lb).collect();
    for (mass, pounds) in masses.iter().zip(["7.9545", "5.7173", "4.9215"]) {
        near(*mass, pounds, "0.001");
    }
    assert_eq!((masses.len(), blend.off.len()), (3, 0));
    // Two products for N alone: the cheaper pound of nitrogen is taken.
    let nitrogen = NutrientNeed { nitrogen_lb: amount("3.2"), phosphate_lb: amount("0"), potash_lb: amount("0") };
    let room = NutrientNeed { potash_lb: amount("5"), ..nitrogen };
    let plain = label("46", "0", "0");
    let two = cheapest_rounded_down(&nitrogen, &room, &[offer(&urea, "30"), offer(&plain, "50")]).expect("a blend");
    assert_eq!(two.parts.iter().map(|part| part.product).collect::<Vec<_>>(), [0]);
    // Where potash may not come with it, the dearer one.
    let strict =
        cheapest_rounded_down(&nitrogen, &nitrogen, &[offer(&urea, "30"), offer(&plain, "50")]).expect("a blend");
    assert_eq!(strict.parts.iter().map(|part| part.product).collect::<Vec<_>>(), [1]);
    // Nothing brings phosphate: it is told, and the rest is met.
    let lacking = cheapest_rounded_down(&need, &need, &[offer(&plain, "50")]).expect("a blend");
    assert_eq!(
        lacking.off.iter().map(|off| off.nutrient).collect::<Vec<_>>(),
        [GradeNutrient::Phosphate, GradeNutrient::Potash]
    );
}

proptest! {
    #[test]
    fn no_ceiling_is_passed_and_no_blend_in_turn_is_cheaper(
        grades in prop::collection::vec((0_i64..4_600, 0_i64..3_000, 0_i64..2_000, 1_000_i64..9_000), 1..6),
        (n, p, k) in (0_i64..200, 0_i64..100, 0_i64..100),
        (more_n, more_p, more_k) in (0_i64..100, 0_i64..100, 0_i64..100),
    ) {
        let labels: Vec<Label> = grades.iter().map(|(n, p, k, _)| {
            let mut label = label("0", "0", "0");
            (label.nitrogen_percent, label.phosphate_percent, label.potash_percent) = (Percent::from_raw(*n), Percent::from_raw(*p), Percent::from_raw(*k));
            label
        }).collect();
        let offers: Vec<Offer<'_>> = labels.iter().zip(&grades).map(|(label, (.., price))| Offer { label, bag_lb: amount("50"), bag_price_usd: Price::from_raw(*price) }).collect();
        let tenths = |n: i64, p: i64, k: i64| NutrientNeed {
            nitrogen_lb: TotalNitrogen::from_raw(n * 1_000_000_000),
            phosphate_lb: Phosphate::from_raw(p * 1_000_000_000),
            potash_lb: Potash::from_raw(k * 1_000_000_000),
        };
        let (need, most) = (tenths(n, p, k), tenths(n + more_n, p + more_p, k + more_k));
        let blend = cheapest_rounded_down(&need, &most, &offers).expect("a blend");
        prop_assert!(blend.delivers.nitrogen_lb <= most.nitrogen_lb && blend.delivers.phosphate_lb <= most.phosphate_lb && blend.delivers.potash_lb <= most.potash_lb);
        let price = |parts: &[(usize, i64)]| parts.iter().map(|(at, mass)| i128::from(*mass) * i128::from(grades[*at].3)).sum::<i128>();
        let of = |blend: &domain::product::blend::Blend| blend.parts.iter().map(|part| (part.product, part.product_lb.raw())).collect::<Vec<_>>();
        let in_turn = blend_rounded_down(&need, &labels);
        if in_turn.off.is_empty() {
            prop_assert!(blend.off.is_empty(), "{:?}", blend.off);
            // A hair for rounding: a thousandth of a pound of the dearest.
            prop_assert!(price(&of(&blend)) <= price(&of(&in_turn)) + 9_000 * 1_000);
        }
    }
}
