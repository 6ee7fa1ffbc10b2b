//! The traps of the reading notes about amounts: what is counted, on which ground, in which year, and how it compares.

use domain::{
    decision::{Decision, Outcome, Verdict, decide},
    quantity::ProductMass,
};

use crate::{
    cases::standing,
    facts::{Given, Report, amount, book, day},
    traps::{ask, half_slow, nitrogen, past, stands},
};

#[test]
fn t6_a_year_is_the_calendar_year_and_the_365_days() {
    // Barnstable, 3.2 lb a year (MA-14). 3 lb on 2025-10-01 lie in the 365 days to 2026-06-15, not in the calendar year.
    let given = Given { past: vec![past("2025-10-01", "3")], ..half_slow("0.5") };
    let decision = ask("us-ma-barnstable", "2026-06-15", &given);
    let year = decision.findings.iter().find(|finding| finding.rule == "us-ma-barnstable.nitrogen.total.year");
    let message = year.map(|finding| finding.message.clone()).unwrap_or_default();
    assert!(message.contains("in the 365 days to 2026-06-15") && !message.contains("calendar"), "{message}");
    // The 366th day is outside.
    let given = Given { past: vec![past("2025-06-15", "3")], ..half_slow("0.5") };
    assert_eq!(stands("us-ma-barnstable", "2026-06-15", &given, "nitrogen.total.year"), "met");
}

#[test]
fn t7_a_cap_is_on_the_ground_that_is_treated() {
    // 0.9 lb on each half is lawful (PA-02); 0.9 lb of the whole section on one half is 1.8 lb there.
    let mut facts = half_slow("0.9").facts(day("2026-05-15"));
    facts.lines[0].area = amount("500");
    let decision = decide(book(), &["us-pa".to_owned()], &facts);
    assert_eq!(standing(&decision, "us-pa.nitrogen.total.application"), "refused");
    facts.lines[0].product = ProductMass::from_raw(facts.lines[0].product.raw() / 2);
    let decision = decide(book(), &["us-pa".to_owned()], &facts);
    assert_eq!(standing(&decision, "us-pa.nitrogen.total.application"), "met");
}

#[test]
fn t8_quick_and_total_nitrogen_are_two_tests() {
    // 0.9 lb with 20 % slow: 0.72 quick (PA-01, PA-02).
    let given = Given { slow_n: Some("4".into()), ..nitrogen("0.9") };
    assert_eq!(stands("us-pa", "2026-05-15", &given, "nitrogen.total.application"), "met");
    assert_eq!(stands("us-pa", "2026-05-15", &given, "nitrogen.quick.application"), "refused");
}

#[test]
fn t9_slow_release_is_a_share_of_nitrogen_and_each_text_has_its_own_floor() {
    // 15 % in Vermont (VT-02), 20 % in the District (DC-15), 50 % in Alachua County (FL-31), of all N and never of weight.
    let share = |slow: &str| {
        let slow = Some(slow.to_owned());
        Given { insoluble_n: slow.clone(), slow_n: slow, ..nitrogen("0.4") }
    };
    for (code, under, at) in [("us-vt", "2.99", "3"), ("us-dc", "3.99", "4"), ("us-fl-alachua", "9.99", "10")] {
        assert_eq!(stands(code, "2026-05-15", &share(under), "nitrogen.slow_share"), "refused", "{code}");
        assert_eq!(stands(code, "2026-05-15", &share(at), "nitrogen.slow_share"), "met", "{code}");
    }
}

#[test]
fn t10_stabilised_urea_is_enhanced_and_still_quick() {
    // 10 V.S.A. 1266b(a)(7): slow release is not water-soluble. A label counts nitrogen that is only stabilised as quick.
    let given = Given { enhanced_efficiency: true, ..nitrogen("0.4") };
    assert_eq!(stands("us-vt", "2026-05-15", &given, "nitrogen.slow_share"), "refused");
}

#[test]
fn t12_liquids_count_and_can_have_a_lower_cap() {
    // Pinellas County: 0.5 lb quick N of a liquid (FL-20); the half pound and a bit of granules with half slow is fine.
    let liquid = Given { liquid: true, ..nitrogen("0.51") };
    let code = "us-fl-pinellas";
    assert_eq!(stands(code, "2026-10-15", &liquid, "nitrogen.quick.liquid.application"), "refused");
    assert_eq!(stands(code, "2026-10-15", &half_slow("0.51"), "nitrogen.quick.liquid.application"), "silent");
    // Spray earns the short distance in Illinois (IL-04), not in New York (NY-06).
    let spray = Given {
        liquid: true,
        water: Some("10".into()),
        equipment: Some(domain::equipment::Equipment::TargetedSprayer),
        ..nitrogen("0.4")
    };
    assert_eq!(stands("us-il", "2026-05-15", &spray, "water.distance"), "met");
    assert_eq!(stands("us-ny", "2026-05-15", &spray, "water.distance"), "refused");
}

#[test]
fn t24_maryland_asks_for_a_soil_test_for_nitrogen_too() {
    let given = Given { past: vec![past("2026-04-01", "0.4")], ..nitrogen("0.4") };
    let rule = "professional.soil_report.second_nitrogen";
    assert_eq!(stands("us-md", "2026-05-15", &given, rule), "refused");
    assert_eq!(stands("us-md", "2026-05-15", &nitrogen("0.4"), rule), "met");
}

#[test]
fn t25_no_number_an_unknown_number_and_zero_are_three_states() {
    let largest = |decision: &Decision| decision.sections[0].largest_lawful_product_lb;
    // None: New York caps no nitrogen (NY-10). Zero: its closed season. Unknown: Delaware's numbers were not found (DE-07).
    assert_eq!(largest(&ask("us-ny", "2026-05-15", &nitrogen("3"))), None);
    assert_eq!(largest(&ask("us-ny", "2026-12-24", &nitrogen("3"))), Some(ProductMass::ZERO));
    let delaware = ask("us-de", "2026-05-15", &nitrogen("3"));
    assert_eq!((delaware.verdict, largest(&delaware)), (Verdict::Care, None));
    assert_eq!(standing(&delaware, "law.us-de.DE-07"), "care");
}

#[test]
fn t26_nothing_is_rounded_before_it_is_compared() {
    // 0.7 passes at 0.700000 and fails at 0.700001 (PA-01); 20 % N, so a millionth of the rate is 5 millionths of product.
    let product = |pounds: &str| Given { n: Some("20".into()), product_lb: Some(pounds.into()), ..Given::default() };
    assert_eq!(stands("us-pa", "2026-05-15", &product("3.5"), "nitrogen.quick.application"), "met");
    assert_eq!(stands("us-pa", "2026-05-15", &product("3.500005"), "nitrogen.quick.application"), "refused");
    let given = Given { slow_n: Some("10".into()), ..product("4.52") };
    assert_eq!(stands("us-pa", "2026-05-15", &given, "nitrogen.total.application"), "refused", "0.904 is not 0.9");
    // A 20 % slow product's lawful maximum under 0.7 and 0.9 is 0.875 lb N: 4.375 lb of a product of 20 % N.
    let fifth = Given { slow_n: Some("4".into()), ..product("1") };
    let largest = ask("us-pa", "2026-05-15", &fifth).sections[0].largest_lawful_product_lb;
    assert_eq!(largest, Some(amount("4.375")));
}

#[test]
fn t28_recommended_numbers_warn_unless_a_text_makes_them_bind() {
    // The University's table binds a Maryland professional by COMAR 15.20.10.09 A(2)(c) and a household by nothing read.
    let given = |household| Given {
        household,
        slow_n: Some("10".into()),
        past: vec![past("2026-04-01", "2.5")],
        soil_reports: vec![Report {
            sampled_on: "2025-06-01".parse().expect("a day"),
            category: None,
            recommended: None,
        }],
        ..nitrogen("0.5")
    };
    assert_eq!(stands("us-md", "2026-05-15", &given(false), "professional.nitrogen.total.year"), "refused");
    assert_eq!(stands("us-md", "2026-05-15", &given(true), "household.nitrogen.total.year"), "care");
    // Virginia's table is guidance (VA-02).
    let much = Given { past: vec![past("2026-04-01", "3.2")], ..half_slow("0.5") };
    assert_eq!(stands("us-va", "2026-06-15", &much, "guidance.nitrogen.total.year"), "care");
}

#[test]
fn t29_less_than_and_not_more_than_differ_at_the_number() {
    // 0.90 passes in Maryland and fails in the District; 15 ft passes in Maryland and is not "beyond" in the District.
    let given = Given {
        slow_n: Some("10".into()),
        water: Some("15".into()),
        equipment: Some(domain::equipment::Equipment::RotarySpreader),
        ..nitrogen("0.9")
    };
    assert_eq!(stands("us-md", "2026-05-15", &given, "professional.nitrogen.total.application"), "met");
    assert_eq!(stands("us-dc", "2026-05-15", &given, "nitrogen.total.application"), "refused");
    assert_eq!(stands("us-md", "2026-05-15", &given, "water.distance"), "met");
    assert_eq!(stands("us-dc", "2026-05-15", &given, "water.distance"), "refused");
}

#[test]
fn t33_intervals_and_counts_follow_the_days_and_not_the_pounds() {
    // Wolverine Lake (MI-14): the smallest load counts as a visit, and two loads of one day are one.
    let book = crate::cases::without_bars();
    let given = Given { past: vec![past("2026-05-05", "0.01")], ..half_slow("0.1") };
    let on = |on: &str, given: &Given| {
        let decision = decide(book, &["us-mi-wolverine-lake".to_owned()], &given.facts(day(on)));
        let finding = decision.findings.iter().find(|finding| finding.rule == "us-mi-wolverine-lake.interval").cloned();
        finding.map(|finding| (finding.outcome, finding.hint))
    };
    let hint = "The first day that is far enough from every other is 2026-06-16.".to_owned();
    assert_eq!(on("2026-06-15", &given), Some((Outcome::Broken, hint)));
    assert_eq!(on("2026-06-16", &given), None);
    assert_eq!(on("2026-05-05", &given), None, "a second load of the day");
    // A reversal takes the visit away.
    let mut facts = given.facts(day("2026-06-15"));
    let mut reversal = facts.lines[0].section.past[0];
    reversal.nutrients.nitrogen_lb = domain::quantity::TotalNitrogen::from_raw(-reversal.nutrients.nitrogen_lb.raw());
    facts.lines[0].section.past.push(reversal);
    let decision = decide(book, &["us-mi-wolverine-lake".to_owned()], &facts);
    assert_eq!(standing(&decision, "us-mi-wolverine-lake.interval"), "met");
}

#[test]
fn t35_eighty_percent_is_tested_on_the_year_and_one_load_alone_can_pass_it() {
    // COMAR 15.20.10.09 B with tall fescue's 2.7: 2.16 lb (MD-35, MD-07). Each item of the list stands by itself.
    let given = |rate: &str, past| Given {
        enhanced_efficiency: true,
        slow_n: Some("20".into()),
        release_percent: Some("10".into()),
        past,
        soil_reports: vec![Report {
            sampled_on: "2025-06-01".parse().expect("a day"),
            category: None,
            recommended: None,
        }],
        ..nitrogen(rate)
    };
    let rule = "professional.enhanced.year_share";
    assert_eq!(stands("us-md", "2026-05-15", &given("2.16", Vec::new()), rule), "met");
    assert_eq!(stands("us-md", "2026-05-15", &given("2.18", Vec::new()), rule), "refused");
    assert_eq!(stands("us-md", "2026-05-15", &given("0.2", vec![past("2026-04-01", "2")]), rule), "refused");
}
