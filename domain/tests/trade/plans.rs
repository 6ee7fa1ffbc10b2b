//! The season's plan: it meets what can be met, names what collides, and never breaks a rule.

use domain::{
    application::Purpose,
    decision::{Verdict, decide},
    facts::{Facts, PastApplication},
    law::Lawbook,
    product::{Label, Nutrients, arithmetic::GradeNutrient},
    programme::{
        PlanGoal, PlanProduct, PlanRound, SeasonNeed, SeasonPlan, SeasonQuestion, plan,
        purchases::{OrderSettings, purchases},
    },
    quantity::{NutrientRate, Percent, Price, ProductMass},
    time::Day,
};
use proptest::{prelude::*, test_runner::TestRunner};

use super::{amount, label, near};
use crate::facts::{Given, Report, day};

fn book() -> &'static Lawbook {
    crate::cases::without_bars()
}

fn round(name: &str, from: &str, to: &str) -> PlanRound {
    PlanRound { name: name.to_owned(), from: day(from), to: day(to), nitrogen_at_most_lb_per_1000_sqft: None }
}

fn rounds() -> Vec<PlanRound> {
    vec![
        round("late spring", "2026-05-01", "2026-06-05"),
        round("summer", "2026-07-01", "2026-07-20"),
        round("late summer", "2026-08-20", "2026-09-05"),
        round("autumn", "2026-09-20", "2026-10-10"),
        round("late autumn", "2026-10-25", "2026-11-12"),
    ]
}

fn product(label: Label, price: &str, on_hand: &str, may_buy: bool) -> PlanProduct {
    PlanProduct {
        name: label.grade(),
        label,
        bag_lb: amount("50"),
        bag_price_usd: amount(price),
        on_hand_lb: amount(on_hand),
        may_buy,
    }
}

/// A third of its nitrogen slow, as the trade's usual summer blend.
fn blend() -> Label {
    Label { slow_nitrogen_percent: amount("8"), ..label("24", "0", "10") }
}

fn need(nitrogen: &str, potash: &str) -> SeasonNeed {
    SeasonNeed {
        nitrogen_lb_per_1000_sqft: amount(nitrogen),
        phosphate_lb_per_1000_sqft: NutrientRate::ZERO,
        potash_lb_per_1000_sqft: amount(potash),
    }
}

/// Nitrogen that is down on all of the lawn.
fn past(on: &str, rate: &str) -> crate::facts::Past {
    crate::facts::Past {
        on: Some(on.parse().expect("a day")),
        n_rate: Some(rate.to_owned()),
        quick_rate: Some("0.3".to_owned()),
        p2o5_rate: None,
        area: Some("8200".to_owned()),
        enhanced_efficiency: false,
    }
}

struct Asked {
    rule_sets: Vec<String>,
    given: Given,
    rounds: Vec<PlanRound>,
    products: Vec<PlanProduct>,
    need: SeasonNeed,
    aim: PlanGoal,
}

impl Asked {
    fn maryland(need: SeasonNeed) -> Self {
        // Maryland asks for a soil report from the second application of the year.
        let soil_reports =
            vec![Report { sampled_on: "2025-09-01".parse().expect("a day"), category: None, recommended: None }];
        let given = Given { area: Some("8200".to_owned()), soil_reports, ..Given::default() };
        let products = vec![product(blend(), "31", "0", true)];
        Self { rule_sets: vec!["us-md".to_owned()], given, rounds: rounds(), products, need, aim: PlanGoal::LeastCost }
    }

    fn facts(&self, on: Day) -> Facts {
        self.given.facts(on)
    }

    fn plan(&self) -> SeasonPlan {
        let facts_on = |on: Day| self.facts(on);
        let question = SeasonQuestion {
            rule_sets: &self.rule_sets,
            facts_on: &facts_on,
            rounds: &self.rounds,
            products: &self.products,
            need: self.need,
            frame: None,
            least_product: amount("0.5"),
            aim: self.aim,
        };
        plan(book(), &question)
    }

    /// Every round before the decision, with all the others in the book.
    fn stands(&self, plan: &SeasonPlan) -> Result<(), String> {
        for (index, round) in plan.rounds.iter().enumerate() {
            let mut facts = self.facts(round.on);
            let product = &self.products[round.product];
            facts.label = product.label.clone();
            let line = &mut facts.lines[0];
            line.product = round.product_lb;
            let others = plan.rounds.iter().enumerate().filter(|(other, _)| *other != index).map(|(_, other)| other);
            for other in others {
                let label = &self.products[other.product].label;
                line.section.past.push(PastApplication {
                    on: other.on,
                    area: line.area,
                    nutrients: label.nutrients_in(other.product_lb),
                    enhanced_efficiency: label.enhanced_efficiency,
                    organic: label.organic,
                    purpose: Purpose::Maintenance,
                    product: domain::facts::PastProduct::of(label),
                    held: false,
                });
            }
            let decision = decide(book(), &self.rule_sets, &facts);
            if decision.verdict == Verdict::Stop {
                return Err(format!("round {index}: {}", decision.summary));
            }
        }
        Ok(())
    }
}

fn nitrogen(plan: &SeasonPlan) -> f64 {
    plan.delivers.nitrogen_lb.to_string().parse::<f64>().expect("a number") / 8.2
}

#[test]
fn maryland_s_tall_fescue_gets_its_year_in_lawful_steps() {
    // University of Maryland, lawn fertilizer schedule, read: 0.9 + 0.9 + 0.9 = 2.7 lb N is the maximum for tall fescue, none
    // after November 15.
    let asked = Asked::maryland(need("2.7", "0"));
    let plan = asked.plan();
    assert!((nitrogen(&plan) - 2.7).abs() < 0.003, "{plan:#?}");
    asked.stands(&plan).expect("lawful");
    assert_eq!(plan.unmet, []);
    for round in &plan.rounds {
        let rate = round.delivers.nitrogen_lb.to_string().parse::<f64>().expect("a number") / 8.2;
        assert!(rate < 0.9001, "{rate}");
        assert!(round.on <= day("2026-11-15"), "{}", round.on);
    }
    assert!(plan.rounds.len() >= 3 && !plan.skipped.is_empty(), "{plan:#?}");
    assert!(plan.skipped.iter().all(|skipped| !skipped.why.is_empty()));
    assert!(plan.price_usd > Price::ZERO);
}

#[test]
fn more_than_the_law_lets_through_names_what_collides() {
    let asked = Asked::maryland(need("4", "0"));
    let plan = asked.plan();
    asked.stands(&plan).expect("lawful");
    let unmet = &plan.unmet[0];
    assert_eq!(unmet.nutrient, GradeNutrient::Nitrogen);
    near(unmet.missing_lb_per_1000_sqft, "1.3", "0.01");
    let named = unmet.conflicts_with.join("\n");
    assert!(named.contains("2.7") && named.contains("the need of N"), "{named}");
}

#[test]
fn a_round_waits_for_the_day_on_which_last_year_stops_counting() {
    // 2.7 lb N in any 365 days (Maryland, read). Put down: 0.6 lb on 2025-10-21 and 1.8 lb in this spring. On October 15 0.3 lb
    // are left, from October 21 on 0.9 (computed).
    let mut asked = Asked::maryland(need("2.7", "0"));
    asked.given.past = vec![past("2025-10-21", "0.6"), past("2026-04-10", "0.9"), past("2026-05-26", "0.9")];
    asked.need.nitrogen_lb_per_1000_sqft = amount("0.9");
    asked.rounds = vec![round("late autumn", "2026-10-15", "2026-11-10")];
    let plan = asked.plan();
    asked.stands(&plan).expect("lawful");
    assert_eq!(plan.rounds.iter().map(|round| round.on).collect::<Vec<_>>(), [day("2026-10-21")]);
    assert!((nitrogen(&plan) - 0.9).abs() < 0.003 && plan.unmet.is_empty(), "{plan:#?}");
    // Together with a round before it as well: 0.9 lb in September, of which the year has 0.9 and not 0.3 left in late October.
    asked.given.past = vec![past("2025-10-21", "0.6"), past("2026-04-10", "0.9")];
    asked.need.nitrogen_lb_per_1000_sqft = amount("1.8");
    asked.rounds = vec![round("autumn", "2026-09-16", "2026-09-30"), round("late autumn", "2026-10-15", "2026-11-10")];
    let both = asked.plan();
    asked.stands(&both).expect("lawful");
    assert_eq!(both.rounds.last().map(|round| round.on), Some(day("2026-10-21")));
    assert!((nitrogen(&both) - 1.8).abs() < 0.003 && both.unmet.is_empty(), "{both:#?}");
    asked.given.past.push(past("2026-05-26", "0.9"));
    asked.need.nitrogen_lb_per_1000_sqft = amount("0.9");
    // Where the round ends before, it takes what there is on its first day.
    asked.rounds = vec![round("mid autumn", "2026-10-15", "2026-10-20")];
    let plan = asked.plan();
    assert_eq!(plan.rounds[0].on, day("2026-10-15"));
    near(plan.unmet[0].missing_lb_per_1000_sqft, "0.6", "0.003");
}

#[test]
fn of_limits_that_bind_together_only_those_are_named() {
    // 2.7 lb N in a year (Maryland, read), of which 2.2 are down: 0.5 lb are left, and the company's own limit is the same, so
    // that neither helps alone. What is on hand is enough for 1 lb: it binds only beyond both (computed).
    let mut asked = Asked::maryland(need("1.5", "0"));
    asked.given.past = vec![past("2026-04-10", "0.9"), past("2026-05-26", "0.9"), past("2026-06-30", "0.4")];
    asked.rounds = vec![round("autumn", "2026-09-20", "2026-10-10")];
    asked.rounds[0].nitrogen_at_most_lb_per_1000_sqft = Some(amount("0.5"));
    asked.products = vec![product(blend(), "31", "34.2", false)];
    let plan = asked.plan();
    asked.stands(&plan).expect("lawful");
    near(plan.unmet[0].missing_lb_per_1000_sqft, "1", "0.002");
    let named = plan.unmet[0].conflicts_with.join("\n");
    assert!(named.contains("2.7") && named.contains("the company's own limit of 0.5"), "{named}");
    assert!(!named.contains("on hand"), "{named}");
}

#[test]
fn stock_and_own_limits_collide_by_name() {
    let mut asked = Asked::maryland(need("1.8", "0"));
    asked.products = vec![product(blend(), "31", "40", false)];
    let plan = asked.plan();
    asked.stands(&plan).expect("lawful");
    // 40 lb of 24 % hold 9.6 lb, on 8,200 sq ft 1.17 lb: 0.63 lb is missing (computed).
    near(plan.unmet[0].missing_lb_per_1000_sqft, "0.629", "0.002");
    assert!(plan.unmet[0].conflicts_with[0].contains("on hand"), "{:?}", plan.unmet);
    asked.products[0].may_buy = true;
    for round in &mut asked.rounds {
        round.nitrogen_at_most_lb_per_1000_sqft = Some(amount("0.3"));
    }
    let plan = asked.plan();
    assert!(plan.unmet[0].conflicts_with.iter().any(|words| words.contains("own limit of 0.3")), "{:?}", plan.unmet);
    // Phosphate is asked for and nothing brings it.
    asked.need.phosphate_lb_per_1000_sqft = amount("0.5");
    let plan = asked.plan();
    assert!(plan.unmet[1].conflicts_with[0].contains("no product offered brings P2O5"), "{:?}", plan.unmet);
}

#[test]
fn the_cheapest_nitrogen_is_taken_and_few_products_if_asked() {
    let mut asked = Asked::maryland(need("1.4", "0.4"));
    // All soluble: 0.7 lb at once in Maryland. The blend brings potash; urea is cheap nitrogen (USGA 2022 prices).
    asked.products = vec![product(label("46", "0", "0"), "50", "0", true), product(blend(), "60", "0", true)];
    let cheap = asked.plan();
    asked.stands(&cheap).expect("lawful");
    assert_eq!(cheap.unmet, []);
    let kinds =
        |plan: &SeasonPlan| plan.rounds.iter().map(|round| round.product).collect::<std::collections::BTreeSet<_>>();
    assert_eq!(kinds(&cheap).len(), 2, "{cheap:#?}");
    asked.aim = PlanGoal::FewestProducts;
    let few = asked.plan();
    assert_eq!((kinds(&few).len(), few.unmet.len()), (1, 0), "{few:#?}");
    assert!(few.price_usd > cheap.price_usd);
}

#[test]
fn a_season_that_is_closed_leaves_every_round_out_with_its_reason() {
    let mut asked = Asked::maryland(need("1", "0"));
    asked.rounds = vec![round("midwinter", "2026-12-20", "2027-01-10")];
    let plan = asked.plan();
    assert_eq!((plan.rounds.len(), plan.delivers), (0, Nutrients::NONE));
    assert!(plan.skipped[0].why.contains("24-0-10"), "{:?}", plan.skipped);
    // Nothing else stands against it: neither the least amount nor phosphorus that is not needed.
    let [closed, needed] = plan.unmet[0].conflicts_with.as_slice() else { panic!("{:?}", plan.unmet) };
    assert!(closed.contains("midwinter is closed") && needed == "the need of N", "{:?}", plan.unmet);
    asked.rounds.clear();
    assert_eq!(asked.plan().rounds, []);
}

#[test]
fn purchases_are_whole_bags_by_month() {
    let asked = Asked::maryland(need("2.7", "0"));
    let plan = asked.plan();
    let plans = vec![plan; 12];
    let settings = OrderSettings { lead_days: 10, spare_percent: amount("5") };
    let mut products = asked.products.clone();
    products[0].on_hand_lb = amount("100");
    let found = purchases(&plans, &products, settings).expect("bags");
    // 2.7 lb N on 12 x 8,200 sq ft from 24 % is 1,107 lb (computed).
    let needed: i64 = found.months.iter().map(|month| month.needed_lb.raw()).sum();
    near(ProductMass::from_raw(needed), "1107", "1.5");
    let first = &found.months[0];
    assert_eq!(first.from_stock_lb, amount("100"));
    assert_eq!(first.order_by, plans[0].rounds[0].on.plus_days(-10));
    let bought: i64 = found.months.iter().map(|month| month.purchase.bought_lb.raw()).sum();
    assert!(bought + 100_000_000 >= needed && found.unused.is_empty(), "{found:#?}");
    // Nothing planned uses the stock: it is told.
    let idle = purchases(&[], &products, settings).expect("bags");
    assert_eq!((idle.months.len(), idle.unused[0].left_lb), (0, amount("100")));
}

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
        let products = labels.into_iter().map(|(n, slow, p, k, may_buy, on_hand)| {
            let mut label = label("0", "0", "0");
            (label.nitrogen_percent, label.slow_nitrogen_percent) = (Percent::from_raw(n), Percent::from_raw(n * slow / 100));
            (label.phosphate_percent, label.potash_percent) = (Percent::from_raw(p), Percent::from_raw(k));
            product(label, "40", &on_hand.to_string(), may_buy)
        }).collect();
        let rate = |thousandths| NutrientRate::from_raw(thousandths * 1_000);
        Asked {
            rule_sets: vec![set.to_owned()],
            given,
            rounds: rounds(),
            products,
            need: SeasonNeed { nitrogen_lb_per_1000_sqft: rate(wanted), phosphate_lb_per_1000_sqft: rate(phosphate), potash_lb_per_1000_sqft: rate(potash) },
            aim: if few { PlanGoal::FewestProducts } else { PlanGoal::LeastCost },
        }
    }
}

impl std::fmt::Debug for Asked {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:?} {:?} {:?} {:?}", self.rule_sets, self.given, self.products, self.need)
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
    let feeds = |round: &domain::programme::PlannedRound| {
        !asked.products[round.product].label.nitrogen_percent.is_zero()
    };
    let days: std::collections::BTreeSet<_> = plan.rounds.iter().map(|round| (round.round, feeds(round))).collect();
    prop_assert_eq!(days.len(), plan.rounds.len());
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
