//! What must hold for every load, not only for those somebody thought of. `PROPTEST_CASES` asks for more of them.

use domain::{
    application::Purpose,
    decision::{Decision, Verdict, decide},
    equipment::Equipment,
    facts::{Facts, HeldCredential, PastApplication},
    land::Water,
    law::{EMBEDDED, Lawbook},
    product::ProductForm,
    quantity::{Area, Distance, NutrientRate, Percent, Phosphate, ProductMass, QuickNitrogen, TotalNitrogen},
    soil::SoilCategory,
    time::Day,
};
use proptest::prelude::*;

use crate::facts::{Given, Report, day};

/// The embedded law with nothing that bars local rules, so that every set is tried.
fn book() -> &'static Lawbook {
    crate::cases::without_bars()
}

fn code() -> impl Strategy<Value = String> {
    let codes: Vec<String> = book().rule_sets().iter().map(|set| set.about.code.clone()).collect();
    prop::sample::select(codes)
}

fn entry() -> impl Strategy<Value = PastApplication> {
    let parts = (-500_i32..500, 1_i64..40_000_000, 0_i64..=100, 0_i64..5_000_000, 10_000_i64..2_000_000, any::<bool>());
    parts.prop_map(|(days, nitrogen, quick, phosphate, area, enhanced_efficiency)| PastApplication {
        on: day("2026-06-15").plus_days(days),
        area: Area::from_raw(area),
        parts: None,
        nutrients: domain::product::Nutrients {
            nitrogen_lb: TotalNitrogen::from_raw(nitrogen * 1_000),
            quick_nitrogen_lb: QuickNitrogen::from_raw(nitrogen * 10 * quick),
            phosphate_lb: Phosphate::from_raw(phosphate * 1_000),
            potash_lb: domain::quantity::Potash::ZERO,
        },
        enhanced_efficiency,
        organic: false,
        purpose: Purpose::Maintenance,
        product: domain::facts::PastProduct::default(),
        held: false,
    })
}

prop_compose! {
    pub fn facts()(
        days in 0_i32..1_500,
        nitrogen in 0_i64..4_600,
        slow in 0_i64..=100,
        phosphate in prop_oneof![Just(0_i64), 1_i64..1_000],
        product in 1_i64..20_000_000,
        area in 10_000_i64..2_000_000,
        flags in any::<[bool; 8]>(),
        feet in prop::option::of(0_i64..5_000),
        equipment in prop::sample::select(vec![Equipment::RotarySpreader, Equipment::DropSpreader, Equipment::TargetedSprayer]),
        release in prop::option::of(1_i64..=10_000),
        recommended in prop::option::of(0_i64..2_000_000),
        past in prop::collection::vec(entry(), 0..12),
        of_the_day in 0_usize..3,
        seeded in prop::option::of(-1_000_i32..100),
    ) -> Facts {
        let report = Report { sampled_on: "2025-06-01".parse().expect("a day"), category: Some(SoilCategory::Low), recommended: None };
        let mut facts = Given { soil_reports: vec![report], ..Given::default() }.facts(day("2024-01-15").plus_days(days));
        let label = &mut facts.label;
        label.nitrogen_percent = Percent::from_raw(nitrogen);
        label.slow_nitrogen_percent = Percent::from_raw(nitrogen * slow / 100);
        label.phosphate_percent = Percent::from_raw(phosphate);
        label.potash_percent = Percent::from_raw(500);
        label.form = if flags[0] { ProductForm::Liquid } else { ProductForm::Granular };
        (label.organic, label.enhanced_efficiency, label.labelled_for_establishment) = (flags[1], flags[2], flags[3]);
        label.release_percent_per_month = release.map(Percent::from_raw);
        facts.purpose = if flags[4] { Purpose::Establishment } else { Purpose::Maintenance };
        if flags[5] {
            facts.audience = domain::application::Audience::Household;
        }
        facts.label.compost = flags[6];
        facts.equipment = equipment;
        if flags[7] {
            let held = |code: &str| HeldCredential { code: Some(code.to_owned()), rule_set: None, valid_from: day("2025-01-01"), valid_until: Some(day("2026-06-30")) };
            facts.credentials = vec![held("us-fl-orange-certified"), held("us-ma-barnstable-certified")];
        }
        let line = &mut facts.lines[0];
        (line.area, line.section.area, line.product) = (Area::from_raw(area), Area::from_raw(area), ProductMass::from_raw(product));
        line.section.past = past;
        line.section.past.iter_mut().take(of_the_day).for_each(|entry| entry.on = facts.on);
        line.section.established_on = seeded.map(|days| facts.on.plus_days(days));
        line.section.water = feet.map_or(Water::None, |feet| Water::At(Distance::from_raw(feet)));
        line.section.soil_reports[0].phosphate_recommended = recommended.map(NutrientRate::from_raw);
        facts
    }
}

fn with_product(facts: &Facts, product: ProductMass) -> Facts {
    let mut facts = facts.clone();
    facts.lines[0].product = product;
    facts
}

fn stops(decision: &Decision) -> bool {
    decision.verdict == Verdict::Stop
}

/// One millionth of a pound.
const STEP: i64 = 1;

proptest! {
    #[test]
    fn the_largest_lawful_amount_is_accepted_and_the_next_is_refused(code in code(), facts in facts()) {
        let codes = [code];
        let asked = decide(book(), &codes, &facts);
        let Some(largest) = asked.sections[0].largest_lawful_product_lb else {
            // Nothing limits the amount, so nothing may refuse it either.
            prop_assert!(!stops(&asked), "{}", asked.summary);
            return Ok(());
        };
        if !largest.is_zero() {
            let at = decide(book(), &codes, &with_product(&facts, largest));
            prop_assert!(!stops(&at), "{largest}: {}", at.summary);
            prop_assert_eq!(at.sections[0].largest_lawful_product_lb, Some(largest));
        }
        let over = decide(book(), &codes, &with_product(&facts, ProductMass::from_raw(largest.raw() + STEP)));
        prop_assert!(stops(&over), "{largest} and a millionth: {}", over.summary);
    }

    #[test]
    fn what_is_lawful_stays_lawful_with_less(code in code(), facts in facts(), share in 1_i64..100) {
        let codes = [code];
        let decision = decide(book(), &codes, &facts);
        let less = ProductMass::from_raw((facts.lines[0].product.raw() * share / 100).max(1));
        if !stops(&decision) {
            prop_assert!(!stops(&decide(book(), &codes, &with_product(&facts, less))));
        }
    }

    #[test]
    fn the_order_of_earlier_records_does_not_matter(code in code(), facts in facts(), turn in 0_usize..12) {
        let mut turned = facts.clone();
        let past = &mut turned.lines[0].section.past;
        past.reverse();
        let middle = turn.min(past.len());
        past.rotate_left(middle);
        prop_assert_eq!(decide(book(), std::slice::from_ref(&code), &facts), decide(book(), &[code], &turned));
    }

    #[test]
    fn a_reversed_record_restores_the_room(code in code(), facts in facts(), record in entry()) {
        let mut reversed = facts.clone();
        let nutrients = &record.nutrients;
        let reversal = PastApplication {
            nutrients: domain::product::Nutrients {
                nitrogen_lb: TotalNitrogen::from_raw(-nutrients.nitrogen_lb.raw()),
                quick_nitrogen_lb: QuickNitrogen::from_raw(-nutrients.quick_nitrogen_lb.raw()),
                phosphate_lb: Phosphate::from_raw(-nutrients.phosphate_lb.raw()),
                potash_lb: domain::quantity::Potash::ZERO,
            },
            ..record
        };
        reversed.lines[0].section.past.extend([record, reversal]);
        let codes = [code];
        let (without, with) = (decide(book(), &codes, &facts), decide(book(), &codes, &reversed));
        prop_assert_eq!(without.verdict, with.verdict);
        prop_assert_eq!(without.sections, with.sections);
    }

    #[test]
    fn one_more_set_never_turns_stop_into_go(first in code(), second in code(), facts in facts()) {
        let alone = decide(book(), std::slice::from_ref(&first), &facts);
        let both = decide(book(), &[first, second], &facts);
        // The company alone is no law at all, which a set beside it mends.
        if alone.findings.iter().all(|finding| finding.rule != "law") {
            // So does a set of the place inside a state that says such a place decides.
            let local = |rule: &str| rule.strip_prefix("law.").and_then(|rest| rest.rsplit_once('.')).is_some_and(|(_, last)| last == "local");
            let law = alone.findings.iter().filter(|finding| !local(&finding.rule)).map(|finding| finding.verdict).max();
            prop_assert!(law.is_none_or(|verdict| both.verdict >= verdict));
            let most = |decision: &Decision| decision.sections[0].largest_lawful_product_lb;
            let (wide, narrow) = (most(&alone), most(&both));
            prop_assert!(wide.is_none_or(|wide| narrow.is_some_and(|narrow| narrow <= wide)), "{wide:?}, {narrow:?}");
        }
    }

    #[test]
    fn tightening_a_limit_never_turns_stop_into_go(facts in facts(), tighter in 0_usize..7, on in 0_i32..365) {
        let mut facts = facts;
        facts.on = day("2026-01-01").plus_days(on);
        let stricter = &stricter()[tighter];
        let codes = ["us-fl-pinellas".to_owned()];
        let (before, after) = (decide(book(), &codes, &facts), decide(stricter, &codes, &facts));
        prop_assert!(after.verdict >= before.verdict);
        let most = |decision: &Decision| decision.sections[0].largest_lawful_product_lb;
        prop_assert!(most(&before).is_none_or(|wide| most(&after).is_some_and(|narrow| narrow <= wide)));
    }
}

/// The embedded law, each time with one of the county's numbers made stricter.
fn stricter() -> &'static [Lawbook] {
    static BOOKS: std::sync::LazyLock<Vec<Lawbook>> = std::sync::LazyLock::new(|| {
        let changes = [
            ("value = \"1\"", "value = \"0.4\""),
            ("value = \"0.5\"", "value = \"0.2\""),
            ("value = \"4\"", "value = \"1.5\""),
            ("value = \"50\"", "value = \"80\""),
            ("first_barred = \"06-01\"", "first_barred = \"04-01\""),
            ("last_barred = \"09-30\"", "last_barred = \"11-30\""),
            ("days = 30", "days = 60"),
        ];
        changes.iter().map(|(from, to)| changed(from, to)).collect()
    });
    &BOOKS
}

fn changed(from: &str, to: &str) -> Lawbook {
    let county = "us-fl-pinellas.toml";
    let (_, text) = EMBEDDED.iter().find(|(name, _)| *name == county).expect("the county");
    assert!(text.contains(from), "{from} is not in the county's file");
    let text = text.replace(from, to);
    let pick = |(name, embedded): &(&'static str, &'static str)| {
        (*name, if *name == county { text.clone() } else { (*embedded).to_owned() })
    };
    let texts: Vec<(&str, String)> = EMBEDDED.iter().map(pick).collect();
    let texts: Vec<(&str, &str)> = texts.iter().map(|(name, text)| (*name, text.as_str())).collect();
    Lawbook::from_texts(&texts).expect("a stricter county")
}

#[test]
fn the_late_span_of_a_record_that_is_entered_after_others_is_seen() {
    // 2 lb on 2026-09-01 are known; 2.1 lb of 2025-10-01 are entered late. Neither the calendar year 2025 nor the 365 days to
    // 2025-10-01 hold both, but the 365 days to 2026-09-01 do: 4.1 is over Pinellas County's 4.
    let past = crate::facts::Past { on: "2026-09-01".parse().ok(), n_rate: Some("2".into()), ..Default::default() };
    let given = Given {
        n: Some("20".into()),
        slow_n: Some("10".into()),
        n_rate: Some("1".into()),
        past: vec![past],
        ..Given::default()
    };
    let facts = |rate: i64| {
        let mut facts = given.facts(Day::parse("2025-10-01").expect("a day"));
        facts.lines[0].product = ProductMass::from_raw(rate);
        facts
    };
    let codes = ["us-fl-pinellas".to_owned()];
    let decision = decide(book(), &codes, &facts(10_500_000));
    let year = decision.findings.iter().find(|finding| finding.rule == "us-fl-pinellas.nitrogen.total.year");
    let message = year.map(|finding| finding.message.as_str()).unwrap_or_default();
    assert!(message.contains("in the 365 days to 2026-09-01;"), "{message}");
    assert!(!message.contains("calendar year"), "{message}");
}
