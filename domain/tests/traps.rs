//! The traps of the reading notes, each with a test of its own here or a case whose name begins with its number. A trap is a
//! place where texts differ in a way that breaks code which takes them to be alike.

use std::collections::BTreeSet;

use domain::{
    application::Purpose,
    decision::{Decision, Outcome, Verdict, decide},
    law::{Lawbook, duty::Duty, model::Binds, told::Told},
    quantity::{Area, ProductMass},
};

use crate::{
    cases::standing,
    facts::{Given, Past, Report, amount, day},
};

fn book() -> &'static Lawbook {
    static BOOK: std::sync::LazyLock<Lawbook> =
        std::sync::LazyLock::new(|| Lawbook::embedded().expect("the embedded law"));
    &BOOK
}

fn ask(code: &str, on: &str, given: &Given) -> Decision {
    decide(book(), &[code.to_owned()], &given.facts(day(on)))
}

/// How one rule stands.
fn stands(code: &str, on: &str, given: &Given, rule: &str) -> &'static str {
    standing(&ask(code, on, given), &format!("{code}.{rule}"))
}

fn nitrogen(rate: &str) -> Given {
    Given { n: Some("20".into()), n_rate: Some(rate.into()), ..Given::default() }
}

fn half_slow(rate: &str) -> Given {
    Given { slow_n: Some("10".into()), ..nitrogen(rate) }
}

fn past(on: &str, n_rate: &str) -> Past {
    Past { on: on.parse().ok(), n_rate: Some(n_rate.into()), ..Past::default() }
}

fn words(code: &str, on: &str, rule: &str) -> String {
    let rules = book().on_day(&[code.to_owned()], day(on));
    let found = rules.iter().find(|known| known.rule == rule);
    found.map(|rule| rule.words.clone()).unwrap_or_default()
}

#[test]
fn every_trap_and_every_vector_has_a_test() {
    let names: Vec<String> = crate::cases::names();
    let sources = [include_str!("traps.rs"), include_str!("duties.rs"), include_str!("decisions.rs")];
    let has = |letter: char, number: u32| {
        let tag = format!("{letter}{number}");
        let in_a_case = names.iter().any(|name| {
            let tags = name.split(':').next().unwrap_or_default();
            name.contains(':') && tags.split(", ").any(|known| known == tag)
        });
        let function = format!("fn {}{number}_", letter.to_ascii_lowercase());
        in_a_case || sources.iter().any(|source| source.contains(&function))
    };
    let missing: Vec<String> = (1..=53)
        .map(|number| ('V', number))
        .chain((1..=38).map(|number| ('T', number)))
        .filter(|(letter, number)| !has(*letter, *number))
        .map(|(letter, number)| format!("{letter}{number}"))
        .collect();
    assert!(missing.is_empty(), "{missing:?}");
}

#[test]
fn t2_a_label_rule_judges_no_applicator() {
    // Md. Code, Agric. 6-224(a)(1)(ii) asks 20 % slow of a label; COMAR 15.20.10.09 C does not ask it of a professional.
    let given = Given { slow_n: Some("3".into()), ..nitrogen("0.8") };
    assert_eq!(stands("us-md", "2026-05-15", &given, "label.nitrogen.slow_share"), "silent");
    assert_eq!(ask("us-md", "2026-05-15", &given).verdict, Verdict::Go);
    // RSA 431:4-a bound New Hampshire's labels until 2024 (rows NH-01 to NH-04): 1.5 lb stops nobody.
    assert_eq!(stands("us-nh", "2024-06-15", &nitrogen("1.5"), "label.nitrogen.total.application"), "silent");
}

#[test]
fn t3_the_words_before_after_and_between_bar_different_days() {
    let refused = |code: &str, on: &str, rule: &str| stands(code, on, &half_slow("0.4"), rule) == "refused";
    // "Before March 1 or after December 1" (NJ-02), "after March 1 and before November 15" (DC-01), "between December 1 and
    // April 1" (NY-04), "between December 7 and February 15" (DE-01).
    assert!(!refused("us-nj", "2027-03-01", "professional.season") && refused("us-dc", "2027-03-01", "season"));
    assert!(refused("us-ny", "2027-04-01", "season") && refused("us-de", "2027-02-15", "season"));
    // A window that ends with February ends on the 29th in a leap year (MD-14).
    assert!(refused("us-md", "2028-02-29", "professional.season.closed"));
    assert!(!refused("us-md", "2028-03-01", "professional.season.closed"));
}

#[test]
fn t4_a_partial_window_lowers_a_cap_and_the_two_states_count_different_nitrogen() {
    // 3 Pa.C.S. 6813(b)(4): 0.5 lb of all nitrogen. COMAR 15.20.10.09 D: 0.5 lb of water-soluble nitrogen and nothing slow.
    let soluble = nitrogen("0.5");
    let slow = Given { slow_n: Some("20".into()), ..nitrogen("0.3") };
    assert_eq!(stands("us-pa", "2026-12-20", &soluble, "nitrogen.winter"), "met");
    assert_eq!(stands("us-pa", "2026-12-20", &slow, "nitrogen.winter"), "met");
    assert_eq!(stands("us-md", "2026-11-20", &soluble, "professional.season.reduced"), "met");
    assert_eq!(stands("us-md", "2026-11-20", &slow, "professional.season.reduced"), "refused");
}

#[test]
fn t5_a_closed_season_covers_what_its_text_names() {
    let potash = Given { k2o: Some("20".into()), ..Given::default() };
    // Nitrogen or phosphorus (NJ-02, DE-01); any fertilizer (NY-04, VT-06); nitrogen only (FL-31).
    assert_eq!(stands("us-nj", "2027-01-10", &potash, "professional.season"), "silent");
    assert_eq!(stands("us-de", "2027-01-10", &potash, "season"), "silent");
    assert_eq!(stands("us-ny", "2027-01-10", &potash, "season"), "refused");
    assert_eq!(stands("us-vt", "2027-01-10", &potash, "season"), "refused");
    assert_eq!(stands("us-fl-alachua", "2026-07-10", &potash, "season"), "silent");
}

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
    let share = |slow: &str| Given { slow_n: Some(slow.into()), ..nitrogen("0.4") };
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
fn t13_a_distance_says_what_it_is_measured_from() {
    for (code, rule, from) in [
        ("us-pa", "us-pa.water.distance", "the top of the bank"),
        ("us-fl-pinellas", "us-fl-pinellas.water.distance", "the top of the slope or the seawall"),
        ("us-nh", "us-nh.water.distance", "a storm drain"),
        ("us-fl-neptune-beach", "us-fl-neptune-beach.water.distance", "a curb, a gutter or a street"),
        ("us-nh", "us-nh.shoreland.distance", "the reference line"),
    ] {
        let words = words(code, "2026-05-15", rule);
        assert!(words.contains(from), "{rule}: {words}");
    }
}

#[test]
fn t17_the_first_growing_season_is_a_purpose_that_a_person_names() {
    let starter = |purpose| Given { p2o5: Some("10".into()), purpose: Some(purpose), ..Given::default() };
    for code in ["us-mn", "us-ma", "us-wi", "us-wa", "us-vt", "us-il", "us-ny"] {
        assert_eq!(stands(code, "2026-06-15", &starter(Purpose::Establishment), "phosphorus.need"), "met", "{code}");
        assert_eq!(stands(code, "2026-06-15", &starter(Purpose::Maintenance), "phosphorus.need"), "refused", "{code}");
    }
}

#[test]
fn t18_frozen_ground_means_other_things_in_other_texts() {
    let on = |ground: &str| Given { ground: Some(ground.into()), ..half_slow("0.4") };
    // Two inches deep or snow (PA-06); frozen at all (NJ-03, WI-04); only for products with phosphorus (WA-02).
    assert_eq!(stands("us-pa", "2026-03-05", &on("frozen"), "ground"), "care");
    assert_eq!(stands("us-pa", "2026-03-05", &on("frozen_two_inches"), "ground"), "refused");
    assert_eq!(stands("us-pa", "2026-03-05", &on("snow_covered"), "ground"), "refused");
    assert_eq!(stands("us-nj", "2026-03-05", &on("frozen"), "ground"), "refused");
    assert_eq!(stands("us-nj", "2026-03-05", &on("snow_covered"), "ground"), "met");
    assert_eq!(stands("us-wa", "2026-03-05", &on("frozen"), "ground"), "silent");
}

#[test]
fn t19_heavy_rain_has_a_comparator_an_amount_a_span_a_chance_and_a_tense() {
    let rain = |inches: &str| Given { rain: Some(inches.into()), ..half_slow("0.4") };
    // At least 2.0 in (FL-20) and more than 2 in (FL-30).
    assert_eq!(stands("us-fl-pinellas", "2026-11-15", &rain("2"), "rain"), "refused");
    assert_eq!(stands("us-fl-north-palm-beach", "2026-11-15", &rain("2"), "rain"), "met");
    // "Occurring" only (DC-05); without a number (NJ-04, NJ-05); no rule on rain in the regulation (MD-25).
    assert_eq!(stands("us-dc", "2026-05-15", &rain("5"), "rain"), "met");
    assert_eq!(stands("us-nj", "2026-05-15", &rain("0.2"), "rain"), "care");
    assert_eq!(stands("us-md", "2026-05-15", &Given { heavy_rain: true, ..rain("5") }, "rain"), "silent");
    let falls = Given { heavy_rain: true, ..rain("0") };
    assert_eq!(stands("us-dc", "2026-05-15", &falls, "rain"), "refused");
    // The span: 1.1 in within 24 hours do not show what falls within Ohio's 12.
    let bare = Given { purpose: Some(Purpose::Establishment), rain_chance: Some("60".into()), ..rain("1.1") };
    assert_eq!(stands("us-oh-western-basin", "2026-05-15", &bare, "rain.bare"), "unknown");
}

#[test]
fn t21_the_strictest_of_state_county_and_company_binds_and_a_bar_is_obeyed() {
    // Pinellas County's 4 lb a year binds beside a state that has none (FL-20); Maryland lets no county add (MD-41).
    let given = Given { past: vec![past("2026-01-15", "3.9")], ..half_slow("0.5") };
    let decision = ask("us-fl-pinellas", "2026-05-15", &given);
    assert_eq!(decision.sections[0].bound_by.as_deref(), Some("us-fl-pinellas.nitrogen.total.year"));
    // The company's own limit on heat stands beside every law.
    let hot = Given { air: Some("86".into()), ..nitrogen("0.4") };
    assert_eq!(standing(&ask("us-wi", "2026-06-15", &hot), "company.heat.quick_nitrogen"), "refused");
    let barred = book().rule_set("us-md").and_then(|set| set.about.preempts_local.as_ref());
    assert!(barred.is_some_and(|bar| bar.citation.contains("8-803.8")));
}

#[test]
fn t22_a_record_is_judged_by_the_law_of_its_day() {
    // Alachua County's season moved on 2019-04-09 (FL-31, FL-32).
    let given = half_slow("0.4");
    assert_eq!(stands("us-fl-alachua", "2018-07-10", &given, "season"), "met");
    assert_eq!(stands("us-fl-alachua", "2026-07-10", &given, "season"), "refused");
    // New Hampshire's distance came with 2025 (NH-08), and its label limits went with 2024 (NH-07).
    let near = Given { water: Some("10".into()), ..given };
    assert_eq!(stands("us-nh", "2024-12-31", &near, "water.distance"), "silent");
    assert_eq!(stands("us-nh", "2025-01-01", &near, "water.distance"), "refused");
    let changes = book().changes("us-nh", day("2024-12-31"), day("2025-01-01")).expect("the set");
    let ended: BTreeSet<&str> =
        changes.iter().map(|change| change.rule.as_str()).filter(|rule| rule.starts_with("us-nh.label.")).collect();
    assert_eq!(ended.len(), 8, "{ended:?}");
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
fn t31_where_the_text_was_read_it_wins_over_a_page() {
    // The Code says 50 acres where an agency page says 100 (VA-11); the regulation says water-soluble (MD-15).
    assert!(words("us-va", "2026-05-15", "us-va.report").contains("more than 2178000 sq ft"));
    let reduced = words("us-md", "2026-05-15", "us-md.professional.season.reduced");
    assert!(reduced.contains("at most 0.5 lb quick-release N"), "{reduced}");
}

#[test]
fn t33_intervals_and_counts_follow_the_days_and_not_the_pounds() {
    // Wolverine Lake (MI-14): the smallest load counts as a visit, and two loads of one day are one.
    let book = crate::cases::without_bars();
    let given = Given { past: vec![past("2026-05-05", "0.01")], ..half_slow("0.1") };
    let on = |on: &str, given: &Given| {
        let decision = decide(&book, &["us-mi-wolverine-lake".to_owned()], &given.facts(day(on)));
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
    let decision = decide(&book, &["us-mi-wolverine-lake".to_owned()], &facts);
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

#[test]
fn t37_whoever_mixes_is_a_manufacturer() {
    for (code, rule, word) in [
        ("us-wi", "us-wi.credential.blending", "manufactures"),
        ("us-oh", "us-oh.credential.blending", "blender"),
        ("us-in", "us-in.credential.licence", "tank-mixed"),
    ] {
        assert!(words(code, "2026-05-15", rule).contains(word), "{rule}");
    }
}

#[test]
fn t30_a_local_text_needs_its_parents_bar_before_it_loads() {
    // Ordinance 317 of 2015 is younger than Michigan's bar of 2010-12-16 (MI-13); nothing of it runs, and it says why.
    let decision = ask("us-mi-pittsfield", "2026-12-24", &half_slow("0.4"));
    assert_eq!(standing(&decision, "us-mi-pittsfield.season"), "silent");
    let note = decision.rule_sets.iter().find(|set| set.code == "us-mi-pittsfield").and_then(|set| set.note.clone());
    assert!(note.is_some_and(|note| note.contains("324.8517")));
}

#[test]
fn what_binds_labels_and_sellers_is_never_told_as_the_applicators() {
    for set in book().rule_sets() {
        for rule in set.rules.iter().filter(|rule| rule.binds != Binds::Applicator) {
            let told = rule.values.iter().any(|value| {
                matches!(value.duty, Some(Duty::Told(Told::RecordFields(_) | Told::Retention(_) | Told::Report(_))))
            });
            assert!(!told, "{} is a duty of the company, and binds something else", rule.id);
        }
    }
    let nothing =
        book().reports_due(&["us-ny".to_owned()], domain::application::Audience::Professional, 2025, Area::from_raw(1));
    assert_eq!(nothing, []);
}
