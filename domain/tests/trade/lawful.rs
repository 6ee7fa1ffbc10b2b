//! No plan breaks a rule, the stock, the need or its schedule, whatever the lawn.

use domain::{
    programme::{PlanGoal, PlanProduct, SeasonNeed, published::Maintenance, schedules::PUBLISHED},
    quantity::{NutrientRate, Percent},
    soil::lime_rules::SplitRule,
};
use proptest::{prelude::*, test_runner::TestRunner};

use super::{
    amount, label, planned_lime,
    plans::{Asked, on_a_lawn, product, rounds, still},
};
use crate::facts::{Given, Report};

prop_compose! {
    fn lawns()(
        set in prop::sample::select(vec!["us-md", "us-pa", "us-nj", "us-ny", "us-va", "us-de", "us-fl", "us-mn", "us-me", "us-fl-pinellas", "us-mi-pittsfield", "us-ma"]),
        species in prop::sample::select(vec!["tall_fescue", "fine_fescue", "kentucky_bluegrass", "bermuda", "st_augustine", "centipede"]),
        area in 500_i64..60_000,
        wanted in 0_i64..6_000,
        potash in 0_i64..3_000,
        phosphate in 0_i64..1_000,
        labels in prop::collection::vec((0_i64..4_600, 0_i64..=100, prop_oneof![Just(0_i64), 1_i64..2_500], 0_i64..2_000, any::<bool>(), 0_i64..500), 1..4),
        earlier in prop::collection::vec((1_i8..=12, 0_i64..1_000), 0..3),
        few in any::<bool>(),
        schedule in prop::option::of((0..PUBLISHED.len(), prop::sample::select(vec![Maintenance::Low, Maintenance::Medium, Maintenance::High]))),
        lime in prop::option::of((1_i64..300, prop::sample::select(vec![SplitRule::PennState, SplitRule::NorthCarolina, SplitRule::Georgia]))),
        reported in any::<bool>(),
    ) -> Asked {
        let past = earlier.into_iter().map(|(month, rate)| crate::facts::Past {
            on: Some(format!("2026-{month:02}-03").parse().expect("a day")),
            n_rate: Some(NutrientRate::from_raw(rate * 1_000).to_string()),
            quick_rate: Some(NutrientRate::from_raw(rate * 700).to_string()),
            p2o5_rate: None,
            area: Some(area.to_string()),
            enhanced_efficiency: false,
        }).collect();
        let report = Report { sampled_on: "2025-09-01".parse().expect("a day"), category: Some(domain::soil::SoilCategory::Low), recommended: None };
        let soil_reports = if reported { vec![report] } else { Vec::new() };
        let given = Given { area: Some(area.to_string()), species: Some(species.to_owned()), past, soil_reports, ..Given::default() };
        let mut products: Vec<PlanProduct> = labels.into_iter().map(|(n, slow, p, k, may_buy, on_hand)| {
            let mut label = label("0", "0", "0");
            (label.nitrogen_percent, label.slow_nitrogen_percent) = (Percent::from_raw(n), Percent::from_raw(n * slow / 100));
            (label.phosphate_percent, label.potash_percent) = (Percent::from_raw(p), Percent::from_raw(k));
            product(label, "40", &on_hand.to_string(), may_buy)
        }).collect();
        if lime.is_some() {
            let stone = product(label("0", "0", "0"), "6", "0", true);
            products.push(PlanProduct { cce_percent: Some(amount("90")), ..stone });
        }
        let rate = |thousandths| NutrientRate::from_raw(thousandths * 1_000);
        // Of every second lawn the nitrogen follows a schedule, whatever the grass.
        let frame = schedule.map(|(at, level)| on_a_lawn(&PUBLISHED[at], level, &given));
        let wanted = frame.as_ref().map_or(rate(wanted), |frame| still(frame, &given));
        Asked {
            rule_sets: vec![set.to_owned()],
            given,
            rounds: rounds(),
            products,
            frame,
            lime: lime.map(|(pounds, rule)| planned_lime::recommended(&pounds.to_string(), rule)),
            need: SeasonNeed { nitrogen_lb_per_1000_sqft: wanted, phosphate_lb_per_1000_sqft: rate(phosphate), potash_lb_per_1000_sqft: rate(potash) },
            aim: if few { PlanGoal::FewestProducts } else { PlanGoal::LeastCost },
        }
    }
}

fn never_breaks_a_rule(asked: &Asked) -> Result<(), TestCaseError> {
    let plan = asked.plan();
    if let Err(broken) = asked.stands(&plan) {
        return Err(TestCaseError::fail(broken));
    }
    // Nor the stock, nor the need.
    for (at, product) in asked.products.iter().enumerate().filter(|(_, product)| !product.may_buy) {
        let used: i64 =
            plan.rounds.iter().filter(|round| round.product == at).map(|round| round.product_lb.raw()).sum();
        prop_assert!(used <= product.on_hand_lb.raw() + 5_000, "{used}");
    }
    // One product with nitrogen in a round, and one without.
    let feeds =
        |round: &domain::programme::PlannedRound| !asked.products[round.product].label.nitrogen_percent.is_zero();
    let limed = |round: &&domain::programme::PlannedRound| asked.products[round.product].cce_percent.is_some();
    let spreadings = plan.rounds.iter().filter(limed).count();
    let days: std::collections::BTreeSet<_> =
        plan.rounds.iter().filter(|round| !limed(round)).map(|round| (round.round, feeds(round))).collect();
    prop_assert_eq!(days.len() + spreadings, plan.rounds.len());
    // Nor the schedule: one application in a step, on its days, and no more than it gives.
    for round in plan.rounds.iter().filter(|round| asked.frame.is_some() && feeds(round)) {
        let step = &asked.frame.as_ref().expect("a schedule").steps[round.step.expect("a step")];
        prop_assert!((step.from..=step.to).contains(&round.on), "{} {}", step.days(), round.on);
        prop_assert!(plan.rounds.iter().filter(|other| other.step == round.step).count() == 1, "{}", step.days());
        let area = asked.given.facts(round.on).lines[0].area;
        let rate = domain::quantity::rate_rounded_down(round.delivers.nitrogen_lb.raw(), area);
        prop_assert!(rate.raw() <= step.still().raw() + 2_000, "{} {rate}", step.days());
    }
    Ok(())
}

#[test]
fn a_plan_never_breaks_a_rule() {
    // A plan takes hundredths of a second, so the 2,000 lawns are shared out over the cores.
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let cases = 2_000_u32.div_ceil(u32::try_from(cores).expect("a number of cores"));
    let config = ProptestConfig { cases, source_file: Some(file!()), ..ProptestConfig::default() };
    let try_some = || {
        let tried = TestRunner::new(config.clone()).run(&lawns(), |asked| never_breaks_a_rule(&asked));
        tried.map_err(|broken| broken.to_string())
    };
    std::thread::scope(|scope| {
        let shares: Vec<_> = (0..cores).map(|_| scope.spawn(try_some)).collect();
        for share in shares {
            share.join().expect("a share of the lawns").unwrap_or_else(|broken| panic!("{broken}"));
        }
    });
}
