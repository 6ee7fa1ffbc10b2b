//! Caps of a year that count only some products: the plan is bound by them in just those.

use domain::{facts::PastApplication, law::Lawbook, product::Label};

use super::{
    label,
    plans::{Asked, need, product},
};
use crate::small_print::{RATE, at_most, book, codes, rule};

/// A year of at most 0.5 lb N from products with less than half of it slow-release.
fn law() -> Lawbook {
    let when = format!("{RATE}when = {{ slow_share_below = \"50\" }}\n");
    book(&[("xx", rule("xx", "quick", "cap_year", &when, &format!("counts = \"within_scope\"\n{}", at_most("0.5"))))])
}

#[test]
fn what_a_cap_does_not_count_goes_down_beside_it() {
    let law = law();
    let slow = Label { slow_nitrogen_percent: super::amount("15"), ..label("20", "0", "0") };
    let asked = Asked {
        rule_sets: codes(&["xx"]),
        // The cheap one is quick: of it the cap lets 0.5 lb N through, and 2 lb come from the dear one.
        products: vec![product(label("20", "0", "0"), "20", "0", true), product(slow, "60", "0", true)],
        ..Asked::maryland(need("2.5", "0"))
    };
    let plan = asked.with(|question| domain::programme::plan(&law, question));
    assert_eq!(plan.unmet, [], "{plan:#?}");
    let of = |number: usize| -> f64 {
        let rounds = plan.rounds.iter().filter(|round| round.product == number);
        rounds.map(|round| round.delivers.nitrogen_lb.to_string().parse::<f64>().expect("a number") / 8.2).sum()
    };
    assert!((of(0) - 0.5).abs() < 0.003, "{} lb of the quick one", of(0));
    assert!((of(1) - 2.0).abs() < 0.01, "{} lb of the slow one", of(1));
    // What went down before of a product that the cap does not count takes no room from it.
    let mut later = Asked { need: need("0.5", "0"), ..asked };
    later.rounds.truncate(1);
    let earlier = PastApplication::planned(
        &later.products[1].label,
        super::amount("80"),
        (crate::facts::day("2026-03-20"), super::amount("8200")),
        domain::application::Purpose::Maintenance,
    );
    let facts_on = |on| {
        let mut facts = later.given.facts(on);
        facts.lines[0].section.past.push(earlier);
        facts
    };
    let plan = later.with(|question| {
        domain::programme::plan(&law, &domain::programme::SeasonQuestion { facts_on: &facts_on, ..*question })
    });
    assert_eq!((plan.unmet.len(), plan.rounds[0].product), (0, 0), "{plan:#?}");
}
