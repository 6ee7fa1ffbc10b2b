//! The traps of the reading notes about dates, places and words (`trap_amounts.rs` has those about amounts), each with a test of its own here or a case whose name begins with its number. A trap is a
//! place where texts differ in a way that breaks code which takes them to be alike.

use std::collections::BTreeSet;

use domain::{
    application::Purpose,
    decision::{Decision, Verdict, decide},
    law::{disclosure::DisclosureDuty, duty::Duty, kind::BoundParty},
    quantity::Area,
};

use crate::{
    cases::standing,
    facts::book,
    facts::{Given, Past, day},
};

pub fn ask(code: &str, on: &str, given: &Given) -> Decision {
    decide(book(), &[code.to_owned()], &given.facts(day(on)))
}

/// How one rule stands.
pub fn stands(code: &str, on: &str, given: &Given, rule: &str) -> &'static str {
    standing(&ask(code, on, given), &format!("{code}.{rule}"))
}

pub fn nitrogen(rate: &str) -> Given {
    Given { n: Some("20".into()), n_rate: Some(rate.into()), ..Given::default() }
}

pub fn half_slow(rate: &str) -> Given {
    Given { slow_n: Some("10".into()), ..nitrogen(rate) }
}

pub fn past(on: &str, n_rate: &str) -> Past {
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
    let sources = [
        include_str!("traps.rs"),
        include_str!("trap_amounts.rs"),
        include_str!("duties.rs"),
        include_str!("decisions.rs"),
    ];
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
    let given = Given { slow_n: Some("3".into()), water: Some("200".into()), ..nitrogen("0.8") };
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
    // A window that ends with February ends on the 29th in a leap year (MD-14), and says so.
    let closed = words("us-md", "2026-01-10", "us-md.professional.season.closed");
    assert!(closed.contains("through the end of February"), "{closed}");
    assert!(refused("us-md", "2028-02-29", "professional.season.closed"));
    assert!(!refused("us-md", "2028-03-01", "professional.season.closed"));
}

#[test]
fn the_first_open_day_of_a_season_that_only_warns_is_open_in_it() {
    let hint = |code: &str, on: &str, given: &Given, rule: &str| {
        let decision = ask(code, on, given);
        let finding = decision.findings.iter().find(|finding| finding.rule == rule).expect("a finding");
        assert_eq!(finding.verdict, Verdict::Care);
        finding.hint.clone()
    };
    // P.A. 12-155 s.2, December 1 to March 15, from memory (CT-04).
    let starter = Given { p2o5: Some("10".into()), ..nitrogen("0.4") };
    assert_eq!(
        hint("us-ct", "2026-12-05", &starter, "us-ct.phosphorus.season"),
        "The first open day for this product is 2027-03-16."
    );
    // Village code s. 870.05, November 15 to April 1; nothing shows that it stands (MI-14).
    assert_eq!(
        hint("us-mi-wolverine-lake", "2026-11-20", &nitrogen("0.4"), "us-mi-wolverine-lake.season"),
        "The first open day for this product is 2027-04-02."
    );
}

#[test]
fn t15_illinois_the_district_and_delaware_bind_who_works_for_hire_alone() {
    // 415 ILCS 65/5a speaks of applicators for hire, D.C. Code 8-104.03 of who applies for wages while residents are urged
    // (DC-01), 3 DE Admin. Code 1201-6.2 of certified commercial handlers (DE-01).
    for code in ["us-il", "us-dc", "us-de"] {
        let refusing = |household: bool| {
            let given = Given { household, ground: Some("frozen".into()), p2o5: Some("1".into()), ..half_slow("0.4") };
            let decision = ask(code, "2027-01-10", &given);
            let refused = decision.findings.into_iter().filter(|finding| finding.verdict == Verdict::Stop);
            refused.map(|finding| finding.rule).collect::<BTreeSet<_>>()
        };
        assert!(refusing(false).contains(&format!("{code}.ground")), "{code}: {:?}", refusing(false));
        assert_eq!(refusing(true), BTreeSet::new(), "{code}");
    }
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
    let starter = |purpose| Given {
        p2o5: Some("10".into()),
        purpose: Some(purpose),
        established_on: "2026-05-01".parse().ok(),
        ..Given::default()
    };
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
fn t31_where_the_text_was_read_it_wins_over_a_page() {
    // The Code says 50 acres where an agency page says 100 (VA-11); the regulation says water-soluble (MD-15).
    assert!(words("us-va", "2026-05-15", "us-va.report").contains("more than 2178000 sq ft"));
    let reduced = words("us-md", "2026-05-15", "us-md.professional.season.reduced");
    assert!(reduced.contains("at most 0.5 lb quick-release N"), "{reduced}");
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
        for rule in set.rules.iter().filter(|rule| rule.binds != BoundParty::Applicator) {
            let told = rule.values.iter().any(|value| {
                matches!(
                    value.duty,
                    Some(Duty::Disclosure(
                        DisclosureDuty::RecordFields(_) | DisclosureDuty::Retention(_) | DisclosureDuty::Report(_)
                    ))
                )
            });
            assert!(!told, "{} is a duty of the company, and binds something else", rule.id);
        }
    }
    let nothing =
        book().reports_due(&["us-ny".to_owned()], domain::application::Audience::Professional, 2025, Area::from_raw(1));
    assert_eq!(nothing, []);
}
