//! The season's plan: it meets what can be met, names what collides, and never breaks a rule.

use domain::{
    application::Purpose,
    decision::{Verdict, decide},
    facts::{Facts, PastApplication},
    law::Lawbook,
    product::{Label, Nutrients, arithmetic::GradeNutrient},
    programme::{
        PlanGoal, PlanProduct, PlanRound, SeasonNeed, SeasonPlan, SeasonQuestion,
        frame::{Frame, Spared, frame},
        liming::LimeAsked,
        open_days::{ClosedDays, closed_days},
        plan,
        published::{Maintenance, Published},
        purchases::{OrderSettings, purchases},
        timing::Credits,
    },
    quantity::{NutrientRate, Price, ProductMass},
    time::Day,
};

use super::{amount, label, near};
use crate::facts::{Given, Report, day};

pub fn book() -> &'static Lawbook {
    crate::cases::without_bars()
}

pub fn round(name: &str, from: &str, to: &str) -> PlanRound {
    PlanRound { name: name.to_owned(), from: day(from), to: day(to), nitrogen_at_most_lb_per_1000_sqft: None }
}

pub fn rounds() -> Vec<PlanRound> {
    vec![
        round("late spring", "2026-05-01", "2026-06-05"),
        round("summer", "2026-07-01", "2026-07-20"),
        round("late summer", "2026-08-20", "2026-09-05"),
        round("autumn", "2026-09-20", "2026-10-10"),
        round("late autumn", "2026-10-25", "2026-11-12"),
    ]
}

pub fn product(label: Label, price: &str, on_hand: &str, may_buy: bool) -> PlanProduct {
    PlanProduct {
        name: label.grade(),
        label,
        bag_lb: amount("50"),
        bag_price_usd: amount(price),
        on_hand_lb: amount(on_hand),
        may_buy,

        cce_percent: None,
    }
}

/// A third of its nitrogen slow, as the trade's usual summer blend.
pub fn blend() -> Label {
    Label { slow_nitrogen_percent: amount("8"), ..label("24", "0", "10") }
}

pub fn need(nitrogen: &str, potash: &str) -> SeasonNeed {
    SeasonNeed {
        nitrogen_lb_per_1000_sqft: amount(nitrogen),
        phosphate_lb_per_1000_sqft: NutrientRate::ZERO,
        potash_lb_per_1000_sqft: amount(potash),
    }
}

/// Nitrogen that is down on all of the lawn.
pub fn past(on: &str, rate: &str) -> crate::facts::Past {
    crate::facts::Past {
        on: Some(on.parse().expect("a day")),
        n_rate: Some(rate.to_owned()),
        quick_rate: Some("0.3".to_owned()),
        p2o5_rate: None,
        area: Some("8200".to_owned()),
        enhanced_efficiency: false,
    }
}

pub struct Asked {
    pub rule_sets: Vec<String>,
    pub given: Given,
    pub rounds: Vec<PlanRound>,
    pub products: Vec<PlanProduct>,
    pub need: SeasonNeed,
    pub frame: Option<Frame>,
    pub lime: Option<LimeAsked>,
    pub aim: PlanGoal,
}

/// A schedule in 2026 on a lawn in full sun whose clippings are taken.
pub fn on_a_lawn(programme: &'static Published, level: Maintenance, given: &Given) -> Frame {
    let spared = Spared { credits: Credits::DEFAULT, clippings_left: false, shaded: false };
    let past = given.facts(day("2026-01-01")).lines[0].section.past.clone();
    frame(programme, level, spared, (2026, day("2026-01-01")), &past)
}

/// What a schedule's year still asks for, after all that was put down in it.
pub fn still(frame: &Frame, given: &Given) -> NutrientRate {
    let line = &given.facts(day("2026-01-01")).lines[0];
    let mut down = domain::quantity::RateSum::default();
    for past in line.section.past.iter().filter(|past| past.on.year() == 2026) {
        down.add(past.nutrients.nitrogen_lb.raw(), past.area);
    }
    let year = frame.programme.at_level(frame.level).raw();
    NutrientRate::from_raw((year - down.rounded_up().raw()).max(0))
}

impl std::fmt::Debug for Asked {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{:?} {:?} {:?} {:?}", self.rule_sets, self.given, self.products, self.need)
    }
}

impl Asked {
    pub fn maryland(need: SeasonNeed) -> Self {
        // Maryland asks for a soil report from the second application of the year.
        let soil_reports =
            vec![Report { sampled_on: "2025-09-01".parse().expect("a day"), category: None, recommended: None }];
        let given = Given { area: Some("8200".to_owned()), soil_reports, ..Given::default() };
        let products = vec![product(blend(), "31", "0", true)];
        Self {
            rule_sets: vec!["us-md".to_owned()],
            given,
            rounds: rounds(),
            products,
            need,
            frame: None,
            lime: None,
            aim: PlanGoal::LeastCost,
        }
    }

    fn facts(&self, on: Day) -> Facts {
        self.given.facts(on)
    }

    pub fn plan(&self) -> SeasonPlan {
        self.with(|question| plan(book(), question))
    }

    pub fn with<T>(&self, work: impl FnOnce(&SeasonQuestion<'_>) -> T) -> T {
        let facts_on = |on: Day| self.facts(on);
        work(&SeasonQuestion {
            rule_sets: &self.rule_sets,
            facts_on: &facts_on,
            rounds: &self.rounds,
            products: &self.products,
            need: self.need,
            frame: self.frame.as_ref(),
            lime: self.lime.as_ref(),
            least_product: amount("0.5"),
            aim: self.aim,
        })
    }

    /// Every round before the decision, with all the others in the book.
    pub fn stands(&self, plan: &SeasonPlan) -> Result<(), String> {
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
                    parts: None,
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
fn closed_days_are_those_of_the_law() {
    // COMAR 15.20.10.09 D, as `us-md.toml` has it: slow-release nitrogen until November 15, any until December 1, then none until March.
    let mut asked = Asked::maryland(need("1", "0"));
    let days = |asked: &Asked, from: &str, to: &str| {
        let found = asked.with(|question| closed_days(book(), question, (day(from), day(to))));
        assert!(found.iter().all(|one| one.why.contains("COMAR 15.20.10.09 D")), "{found:#?}");
        found.into_iter().map(|ClosedDays { from, to, .. }| (from, to)).collect::<Vec<_>>()
    };
    let (slow, winter) = ((day("2026-11-16"), day("2026-12-01")), (day("2026-12-02"), day("2027-02-28")));
    assert_eq!(days(&asked, "2026-11-01", "2027-03-31"), [slow, winter], "one stretch a rule");
    assert_eq!(days(&asked, "2026-05-01", "2026-11-15"), []);
    assert_eq!(days(&asked, "2026-12-20", "2026-12-24"), [(day("2026-12-20"), day("2026-12-24"))]);
    // A day is open if one of the products may go down on it.
    asked.products.push(product(label("46", "0", "0"), "50", "0", true));
    assert_eq!(days(&asked, "2026-11-01", "2027-03-31"), [winter]);
    asked.products.push(product(label("0", "0", "50"), "20", "0", true));
    assert_eq!(days(&asked, "2026-11-01", "2027-03-31"), [], "potash alone has no season");
    asked.products.clear();
    assert_eq!(days(&asked, "2026-11-01", "2027-03-31"), [], "without a product nothing is asked");
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
