//! Lime and products without nitrogen in the season's plan.

use domain::{
    programme::{
        PlanProduct, PlannedRound, SeasonPlan, days,
        liming::{LimeAsked, put_down_rounded_up},
    },
    quantity::{NutrientRate, ProductRate},
    soil::lime_rules::{CapOn, SplitRule},
};

use super::{
    amount, label,
    plans::{Asked, book, need, past, product, round},
};
use crate::facts::day;

/// What a report recommends, nothing of it down yet.
pub fn recommended(pounds: &str, rule: SplitRule) -> LimeAsked {
    LimeAsked {
        recommended: amount(pounds),
        spent: ProductRate::ZERO,
        last_on: None,
        rule,
        cap_on: CapOn::Recommendation,
        days_from_nitrogen: 0,
        report: "Sample Laboratory".to_owned(),
    }
}

/// A lawn of 8,200 sq ft for which a laboratory recommends so many pounds of lime, and limestone with a CCE of 80 %.
fn limed(pounds: &str, rule: SplitRule) -> Asked {
    let mut asked = Asked::maryland(need("1.8", "0"));
    let stone = product(label("0", "0", "0"), "6", "0", true);
    asked.products.push(PlanProduct { cce_percent: Some(amount("80")), ..stone });
    asked.lime = Some(recommended(pounds, rule));
    asked
}

/// Day and pounds of every spreading of lime.
fn spread(asked: &Asked, plan: &SeasonPlan) -> Vec<(String, String)> {
    let lime = plan.rounds.iter().filter(|round| asked.products[round.product].cce_percent.is_some());
    lime.map(|round| (round.on.to_string(), round.product_lb.to_string())).collect()
}

#[test]
fn one_part_goes_into_autumn_beside_the_feeding() {
    // Penn State AASL, read: 100 lb or less at once, in any season, autumn best. 75 lb at CCE 80 is 93.75 lb (read: 94), on
    // 8,200 sq ft 768.75 lb (computed).
    let mut asked = limed("75", SplitRule::PennState);
    // 2.7 lb N by 0.9 at once needs three of the five rounds, of which two lie before autumn: one at least is autumn's.
    asked.need = need("2.7", "0");
    let plan = asked.plan();
    asked.stands(&plan).expect("lawful");
    let spread = spread(&asked, &plan);
    assert_eq!((spread.len(), spread[0].1.as_str()), (1, "768.75"), "{spread:?}");
    assert!(spread[0].0.as_str() >= "2026-08-20", "{spread:?}");
    // One stop does for both.
    assert!(plan.rounds.iter().filter(|round| round.on.to_string() == spread[0].0).count() == 2, "{:#?}", plan.rounds);
    let lime = plan.lime.expect("lime");
    assert_eq!((lime.planned_lb_per_1000_sqft, lime.why.len()), (amount("75"), 0));
    assert_eq!(lime.source, "Penn State AASL: over 100 lb in two or more applications 4 to 6 months apart");
}

#[test]
fn parts_keep_the_wait_of_their_laboratory() {
    // Penn State AASL, read: 110 lb is two applications four to six months apart; computed: 55 lb each, at CCE 80 68.75 lb, on
    // 8,200 sq ft 563.75 lb.
    let asked = limed("110", SplitRule::PennState);
    let plan = asked.plan();
    asked.stands(&plan).expect("lawful");
    let [first, second] = spread(&asked, &plan).try_into().expect("two parts");
    assert_eq!((first.1.as_str(), second.1.as_str()), ("563.75", "563.75"));
    assert!(day(&second.0) >= day(&first.0).plus_months(4), "{first:?} {second:?}");
    // NC State, read in a copy: 50 lb at one time, the rest six months later; 92 lb, New Hampshire, read in a copy. In a season
    // of autumn alone the second half waits, and the plan says until when.
    let mut asked = limed("92", SplitRule::NorthCarolina);
    asked.rounds = vec![round("autumn", "2026-09-20", "2026-10-10"), round("late autumn", "2026-10-25", "2026-11-12")];
    let plan = asked.plan();
    assert_eq!(spread(&asked, &plan).len(), 1);
    let lime = plan.lime.expect("lime");
    assert_eq!(lime.planned_lb_per_1000_sqft, amount("46"));
    assert!(lime.why[0].starts_with("46 lb may follow from 2027-03-"), "{:?}", lime.why);
    // University of Georgia, read: over 50 lb half now, then test again in four months.
    let asked = limed("80", SplitRule::Georgia);
    let plan = asked.plan();
    let spread = spread(&asked, &plan);
    assert_eq!((spread.len(), spread[0].1.as_str()), (1, "410"));
    let lime = plan.lime.expect("lime");
    assert_eq!(lime.test_again_on, Some(day(&spread[0].0).plus_months(4)));
}

#[test]
fn what_stands_against_lime_is_said() {
    let mut asked = limed("75", SplitRule::PennState);
    asked.products.truncate(1);
    let lime = asked.plan().lime.expect("lime");
    assert!(lime.planned_lb_per_1000_sqft.is_zero() && lime.why[0].contains("no liming material"), "{:?}", lime.why);
    let mut asked = limed("75", SplitRule::PennState);
    asked.products[1].may_buy = false;
    let lime = asked.plan().lime.expect("lime");
    assert!(lime.why[0].contains("on hand"), "{:?}", lime.why);
    // A soil that needs none.
    asked.lime = None;
    let plan = asked.plan();
    assert_eq!((plan.lime.is_none(), spread(&asked, &plan)), (true, Vec::new()));
}

#[test]
fn potash_and_phosphate_without_nitrogen_are_planned_beside_it() {
    // Penn State author, read in a copy: 2 lb K2O on 1,000 sq ft from 0-0-22 is 9.1 lb. University of Maryland, read: 0.9 lb N
    // in September and in October. Each round takes a product with nitrogen and one without.
    let mut asked = Asked::maryland(need("1.8", "2"));
    asked.rounds = vec![round("autumn", "2026-09-16", "2026-09-30"), round("late", "2026-10-15", "2026-11-10")];
    let mut feed = label("30", "0", "0");
    feed.slow_nitrogen_percent = amount("10");
    asked.products = vec![product(feed, "40", "0", true), product(label("0", "0", "22"), "25", "0", true)];
    let plan = asked.plan();
    asked.stands(&plan).expect("lawful");
    assert_eq!(plan.unmet, [], "{plan:#?}");
    let potash: Vec<_> = plan.rounds.iter().filter(|round| round.product == 1).collect();
    let whole: i64 = potash.iter().map(|round| round.product_lb_per_1000_sqft.raw()).sum();
    assert!((whole - 9_090_909).abs() < 1_000, "{whole}");
    assert_eq!(plan.rounds.iter().filter(|round| round.product == 0).count(), 2, "{plan:#?}");
    // Phosphate where a report calls for it: as much as it says, and no more.
    asked.need.phosphate_lb_per_1000_sqft = amount("0.5");
    asked.need.potash_lb_per_1000_sqft = NutrientRate::ZERO;
    asked.products[1] = product(label("0", "45", "0"), "40", "0", true);
    asked.rule_sets = vec!["us-il".to_owned()];
    let plan = asked.plan();
    let phosphate: i64 = plan.rounds.iter().map(|round| round.delivers.phosphate_lb.raw()).sum();
    assert!(phosphate <= 41_000_000_000, "0.5 lb on 8,200 sq ft: {phosphate}");
}

#[test]
fn what_is_down_counts_and_the_next_part_waits() {
    // Penn State AASL, read: 110 lb is two applications 4 to 6 months apart; computed: 55 lb were put down on April 20, so 55 lb
    // are left, and none of it before August 20.
    let mut asked = limed("110", SplitRule::PennState);
    let lime = asked.lime.as_mut().expect("lime");
    (lime.spent, lime.last_on) = (amount("55"), Some(day("2026-04-20")));
    let plan = asked.plan();
    let [(on, pounds)] = spread(&asked, &plan).try_into().expect("one part");
    assert!(day(&on) >= day("2026-08-20"), "{on}");
    assert_eq!(pounds, "563.75");
    let lime = plan.lime.expect("lime");
    assert_eq!((lime.spent_lb_per_1000_sqft, lime.still_lb_per_1000_sqft), (amount("55"), amount("55")));
    // University of Georgia AESL, crop sheet 792, read: over 50 lb half, wait four months, test again. Half of 80 lb is down.
    let mut asked = limed("80", SplitRule::Georgia);
    let lime = asked.lime.as_mut().expect("lime");
    (lime.spent, lime.last_on) = (amount("40"), Some(day("2026-04-20")));
    let plan = asked.plan();
    assert_eq!(spread(&asked, &plan), Vec::new());
    let lime = plan.lime.expect("lime");
    assert_eq!(lime.test_again_on, Some(day("2026-08-20")));
    assert!(lime.why[0].contains("tested again on 2026-08-20"), "{:?}", lime.why);
    // All of it is down.
    let mut asked = limed("75", SplitRule::PennState);
    let lime = asked.lime.as_mut().expect("lime");
    (lime.spent, lime.last_on) = (amount("75"), Some(day("2026-04-20")));
    let plan = asked.plan();
    let lime = plan.lime.expect("lime");
    assert!(lime.still_lb_per_1000_sqft.is_zero() && lime.why.is_empty(), "{lime:?}");
}

#[test]
fn a_company_may_keep_days_between_lime_and_nitrogen() {
    // Two weeks are common practice; no source was read.
    let mut asked = limed("75", SplitRule::PennState);
    asked.need = need("2.7", "0");
    asked.lime.as_mut().expect("lime").days_from_nitrogen = 14;
    let plan = asked.plan();
    asked.stands(&plan).expect("lawful");
    let [(on, _)] = spread(&asked, &plan).try_into().expect("one part");
    for fed in plan.rounds.iter().filter(|round| round.product == 0) {
        assert!(fed.on.days_since(day(&on)).abs() >= 14, "{on} beside {}", fed.on);
    }
    // Where no day of any round is far enough, that is said.
    asked.rounds = vec![round("autumn", "2026-09-20", "2026-09-25")];
    let plan = asked.plan();
    let lime = plan.lime.expect("lime");
    assert!(lime.why[0].contains("within 14 days of nitrogen"), "{:?}", lime.why);
}

#[test]
fn lime_that_moves_keeps_its_days_from_nitrogen_that_is_down_and_takes_its_test_along() {
    // Georgia AESL, crop sheet 792, read: over 50 lb half, test again in four months. Two weeks are common practice.
    let mut asked = limed("80", SplitRule::Georgia);
    asked.need = need("0", "0");
    asked.rounds = vec![round("autumn", "2026-09-10", "2026-10-20")];
    asked.lime.as_mut().expect("lime").days_from_nitrogen = 14;
    asked.given.past = vec![past("2026-10-10", "0.1")];
    let mut rounds = asked.plan().rounds;
    assert_eq!(rounds.len(), 1, "{rounds:#?}");
    let stands = |rounds: &[PlannedRound]| asked.with(|question| days::stands(book(), question, rounds));
    for (on, far) in [("2026-09-26", true), ("2026-09-27", false), ("2026-10-12", false)] {
        rounds[0].on = day(on);
        assert_eq!(stands(&rounds).is_ok(), far, "{on}: {:?}", stands(&rounds));
        let tested = asked.with(|question| days::test_again_on(question, &rounds));
        assert_eq!(tested, Some(day(on).plus_months(4)));
    }
}

#[test]
fn the_new_test_is_asked_for_by_the_same_amount_that_was_split() {
    // Georgia AESL, crop sheet 792, read: over 50 lb half, test again in four months. 45 lb at a CCE of 80 are 56.25 lb of the
    // material (computed): held against the material half goes down first, and the soil is tested before the rest.
    for (cap_on, waits) in [(CapOn::Material, true), (CapOn::Recommendation, false)] {
        let mut asked = limed("45", SplitRule::Georgia);
        let lime = asked.lime.as_mut().expect("lime");
        (lime.spent, lime.last_on, lime.cap_on) = (amount("22.5"), Some(day("2026-04-20")), cap_on);
        let plan = asked.plan();
        assert_eq!(spread(&asked, &plan).is_empty(), waits, "{cap_on:?}");
        let lime = plan.lime.expect("lime");
        assert_eq!(lime.test_again_on, Some(day("2026-08-20")).filter(|_| waits));
    }
}

#[test]
fn lime_on_a_part_of_the_lawn_counts_at_its_own_rate() {
    // Penn State AASL, read: 94 lb of a material with a CCE of 80 do what 75 lb of pure calcium carbonate do; computed:
    // 93.75 lb x 80 / 100 = 75 lb on 1,000 sq ft, and 46.875 lb on half of it the same rate again.
    let spread = [("93.75", "80", "1000"), ("46.875", "80", "500")];
    let spread = spread.map(|(pounds, cce, area)| (amount(pounds), amount(cce), amount(area)));
    assert_eq!(put_down_rounded_up(spread), amount("150"));
    assert_eq!(put_down_rounded_up([]), ProductRate::ZERO);
}
