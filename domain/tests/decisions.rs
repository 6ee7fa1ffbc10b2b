//! How the answers of many rules become one decision.

use domain::{
    decision::{Decision, Mark, Outcome, Verdict, decide},
    facts::Facts,
    law::{EMBEDDED, Lawbook},
};

use crate::facts::{Given, Past, amount, book, day};

/// The embedded law with one more file.
fn with(name: &str, text: &str) -> Lawbook {
    let mut texts = EMBEDDED.to_vec();
    texts.push((name, text));
    Lawbook::from_texts(&texts).unwrap_or_else(|faults| panic!("{faults:#?}"))
}

fn urea(rate: &str) -> Given {
    Given { n: Some("20".into()), n_rate: Some(rate.into()), ..Given::default() }
}

fn ask(book: &Lawbook, codes: &[&str], facts: &Facts) -> Decision {
    let codes: Vec<String> = codes.iter().map(|code| (*code).to_owned()).collect();
    decide(book, &codes, facts)
}

fn spring(given: &Given) -> Facts {
    given.facts(day("2026-05-15"))
}

const LOCAL: &str = r#"
code = "us-xx-county"
name = "A county"
level = "county"
parent = "PARENT"
last_checked = 2026-11-20
coverage = "Invented, for tests."

[[rule]]
id = "us-xx-county.nitrogen.application"
kind = "cap_application"
binds = "applicator"
audience = ["professional"]
nutrient = "nitrogen_total"
unit = "lb/ksf"

[[rule.value]]
from = 2014-01-01
comparator = "at_most"
value = "0.1"
cite = "County Code 1"
href = "https://law.example/1"
mark = "MARK"
rows = ["XX-01"]
"#;

fn county(parent: &str, mark: &str) -> Lawbook {
    with("us-xx-county.toml", &LOCAL.replace("PARENT", parent).replace("MARK", mark))
}

#[test]
fn v36_a_local_set_under_a_state_that_bars_it_is_inert_and_says_why() {
    // Md. Code, Agric. 8-803.8: a county may not set its own turf fertilizer standards.
    let given = Given { water: Some("200".into()), ..urea("0.5") };
    let decision = ask(&county("us-md", "read"), &["us-xx-county"], &spring(&given));
    assert_eq!(decision.verdict, Verdict::Go);
    let used: Vec<(&str, bool)> =
        decision.rule_sets.iter().map(|set| (set.code.as_str(), set.note.is_some())).collect();
    assert_eq!(used, [("us-md", false), ("us-xx-county", true), ("company", false)]);
    let note = decision.rule_sets[1].note.as_deref().unwrap_or_default();
    assert!(note.contains("8-803.8"), "{note}");
    assert!(!decision.met.iter().any(|met| met.rule.starts_with("us-xx-county.")));
}

#[test]
fn a_local_set_under_a_state_that_allows_it_is_added_to_the_state() {
    // ECL 17-2105 lets local law be stricter.
    let decision = ask(&county("us-ny", "read"), &["us-xx-county"], &spring(&urea("0.5")));
    assert_eq!(decision.verdict, Verdict::Stop);
    assert_eq!(decision.findings[0].rule, "us-xx-county.nitrogen.application");
    assert!(decision.met.iter().any(|met| met.rule == "us-ny.season"), "the state's own rules ran too");
    assert_eq!(decision.sections[0].largest_lawful_product_lb.map(|mass| mass.to_string()).as_deref(), Some("0.5"));
    assert_eq!(decision.sections[0].bound_by.as_deref(), Some("us-xx-county.nitrogen.application"));
}

#[test]
fn a_value_from_memory_warns_and_never_binds() {
    let decision = ask(&county("us-ny", "memory"), &["us-xx-county"], &spring(&urea("0.5")));
    assert_eq!(decision.verdict, Verdict::Care);
    let finding = &decision.findings[0];
    assert_eq!((finding.outcome, finding.mark), (Outcome::Broken, Mark::Memory));
    assert_eq!(decision.sections[0].largest_lawful_product_lb, None);
}

#[test]
fn law_that_nobody_gathered_is_never_no_law() {
    let book = book();
    for codes in [&[][..], &["us-zz"][..], &["us-pa", "us-zz"][..], &["company"][..], &["label"][..]] {
        let decision = ask(book, codes, &spring(&urea("0.5")));
        assert_eq!(decision.verdict, Verdict::Stop, "{codes:?}");
        let finding = &decision.findings[0];
        assert_eq!(finding.outcome, Outcome::Unknown, "{codes:?}");
        assert_eq!(decision.sections[0].largest_lawful_product_lb, Some(amount("0")), "{codes:?}");
    }
    let decision = ask(book, &["us-zz"], &spring(&urea("0.5")));
    assert_eq!(decision.findings[0].key, "law.us-zz");
    assert!(decision.rule_sets.iter().any(|set| set.code == "us-zz" && set.note.is_some()));
}

#[test]
fn a_day_before_the_oldest_text_stops_the_work() {
    let decision = ask(book(), &["us-md"], &urea("0.5").facts(day("2013-10-27")));
    assert_eq!(decision.verdict, Verdict::Stop);
    assert!(decision.findings.iter().all(|finding| finding.outcome == Outcome::Unknown), "{:#?}", decision.findings);
    assert!(decision.findings[0].message.starts_with("No text of this rule was read for 2013-10-27"));
}

#[test]
fn two_lines_on_one_section_see_each_other() {
    // 0.4 lb quick nitrogen twice on the same ground is 0.8, over Pennsylvania's 0.7; either alone is lawful.
    let mut facts = spring(&urea("0.4"));
    let line = facts.lines[0].clone();
    facts.lines.push(line.clone());
    let decision = ask(book(), &["us-pa"], &facts);
    assert_eq!(decision.verdict, Verdict::Stop);
    assert_eq!(decision.findings[0].actual.as_deref(), Some("0.8"));
    assert_eq!(decision.sections.len(), 2);
    // The other line leaves 0.3 lb, 1.5 lb of product.
    assert_eq!(decision.sections[0].largest_lawful_product_lb, Some(amount("1.5")));
    facts.lines[1].section.id = "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a11".parse().expect("an id");
    assert_eq!(ask(book(), &["us-pa"], &facts).verdict, Verdict::Go);
}

#[test]
fn a_part_of_a_section_counts_at_its_own_rate() {
    // 0.7 lb on half of the section is 1.4 lb on 1,000 sq ft of the ground that is treated.
    let mut facts = spring(&urea("0.7"));
    facts.lines[0].area = amount("500");
    let decision = ask(book(), &["us-pa"], &facts);
    assert_eq!(decision.findings[0].actual.as_deref(), Some("1.4"));
}

#[test]
fn the_gravest_finding_comes_first_and_names_its_section() {
    let given =
        Given { ground: Some("unseen".into()), air: Some("90".into()), water: Some("unknown".into()), ..urea("0.9") };
    let decision = ask(book(), &["us-pa"], &spring(&given));
    let order: Vec<(Verdict, Outcome)> = decision.findings.iter().map(|f| (f.verdict, f.outcome)).collect();
    assert_eq!(
        order,
        [
            (Verdict::Stop, Outcome::Broken),
            (Verdict::Stop, Outcome::Broken),
            (Verdict::Stop, Outcome::Unknown),
            (Verdict::Care, Outcome::Unknown)
        ]
    );
    assert_eq!(decision.findings[0].key, format!("us-pa.nitrogen.quick.application@{}", crate::facts::SECTION));
    assert_eq!(decision.findings[1].key, "company.heat.quick_nitrogen");
    assert!(decision.summary.starts_with("Stop: "), "{}", decision.summary);
    assert!(decision.summary.ends_with("(and 2 more reasons)"), "{}", decision.summary);
}

#[test]
fn a_message_says_what_is_left_and_what_would_do() {
    let given = Given {
        slow_n: Some("10".into()),
        past: vec![Past { on: "2026-03-10".parse().ok(), n_rate: Some("3.67".into()), ..Past::default() }],
        ..urea("0.75")
    };
    let decision = ask(book(), &["us-fl-pinellas"], &spring(&given));
    let finding = &decision.findings[0];
    assert_eq!(
        finding.message,
        "Only 0.33 lb N per 1,000 sq ft is left on the front lawn in the calendar year 2026 and in the 365 days to 2026-05-15; this load puts down 0.75, and a year may get at most 4 lb N per 1,000 sq ft."
    );
    assert_eq!(finding.hint, "Put down at most 1.65 lb of this 20-0-0 product on the front lawn.");
    let answer = &decision.sections[0];
    assert_eq!(answer.nitrogen_room_before_lb_per_1000_sqft, Some(amount("0.33")));
    assert_eq!(answer.nitrogen_room_after_lb_per_1000_sqft, Some(amount("-0.42")));
    assert_eq!(answer.bound_by.as_deref(), Some("us-fl-pinellas.nitrogen.total.year"));
}

#[test]
fn the_room_of_the_year_is_shown_for_a_product_without_nitrogen() {
    let given = Given {
        k2o: Some("60".into()),
        past: vec![Past { on: "2026-03-10".parse().ok(), n_rate: Some("1".into()), ..Past::default() }],
        ..Given::default()
    };
    let answer = &ask(book(), &["us-fl-pinellas"], &spring(&given)).sections[0];
    assert_eq!(answer.nitrogen_room_before_lb_per_1000_sqft, Some(amount("3")));
    assert_eq!(answer.nitrogen_room_after_lb_per_1000_sqft, Some(amount("3")));
    assert_eq!(answer.largest_lawful_product_lb, None);
}

#[test]
fn a_closed_season_names_the_first_open_day() {
    let hint =
        |codes: &[&str], on: &str, given: &Given| ask(book(), codes, &given.facts(day(on))).findings[0].hint.clone();
    assert_eq!(hint(&["us-ny"], "2026-12-24", &urea("0.5")), "The first open day for this product is 2027-04-02.");
    assert_eq!(hint(&["us-nj"], "2027-12-24", &urea("0.5")), "The first open day for this product is 2028-03-01.");
    // In Maryland slow nitrogen meets two closed windows in a row.
    let slow = Given { slow_n: Some("20".into()), ..urea("0.3") };
    assert_eq!(hint(&["us-md"], "2026-11-20", &slow), "The first open day for this product is 2027-03-01.");
}

#[test]
fn the_same_set_twice_is_asked_once() {
    let once = ask(book(), &["us-fl-pinellas"], &spring(&urea("0.5")));
    let twice = ask(book(), &["us-fl", "us-fl-pinellas", "us-fl-pinellas", "company"], &spring(&urea("0.5")));
    assert_eq!(once, twice);
}

#[test]
fn a_decision_survives_being_written_down() {
    let decision = ask(book(), &["us-md", "us-ny"], &spring(&urea("0.9")));
    let text = serde_json::to_string(&decision).expect("JSON");
    assert_eq!(serde_json::from_str::<Decision>(&text).expect("a decision"), decision);
}

#[test]
fn less_than_refuses_the_number_itself() {
    // D.C. Code 8-104.03(e)(1) says "less than": 0.1 lb where less than 0.1 is allowed is refused.
    let text = LOCAL.replace("PARENT", "us-ny").replace("MARK", "read").replace("at_most", "less_than");
    let book = with("us-xx-county.toml", &text);
    let asked = |product: &str| {
        let given = Given { n: Some("20".into()), product_lb: Some(product.into()), ..Given::default() };
        ask(&book, &["us-xx-county"], &spring(&given))
    };
    let at = asked("0.5");
    assert_eq!(at.verdict, Verdict::Stop);
    assert_eq!(at.sections[0].largest_lawful_product_lb, Some(amount("0.499999")));
    assert_eq!(asked("0.499999").verdict, Verdict::Go);
}

#[test]
fn a_yearly_cap_within_its_scope_counts_only_such_products() {
    let verdict = |counts: &str, organic: bool| {
        let text = LOCAL
            .replace("PARENT", "us-ny")
            .replace("MARK", "read")
            .replace("cap_application", "cap_year")
            .replace("unit = ", "when = { organic = true }\nunit = ")
            .replace("value = \"0.1\"", &format!("value = \"1\"\ncounts = \"{counts}\""));
        let past = vec![Past { on: "2026-04-10".parse().ok(), n_rate: Some("0.6".into()), ..Past::default() }];
        let mut facts = spring(&Given { organic: true, past, ..urea("0.5") });
        facts.lines[0].section.past[0].organic = organic;
        ask(&with("us-xx-county.toml", &text), &["us-xx-county"], &facts).verdict
    };
    assert_eq!(verdict("all_products", false), Verdict::Stop);
    assert_eq!(verdict("within_scope", true), Verdict::Stop);
    assert_eq!(verdict("within_scope", false), Verdict::Go);
}
