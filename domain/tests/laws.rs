//! The embedded law as a whole: the folder and the list agree, every value is cited, and every day has an answer.

use std::{collections::BTreeSet, path::Path};

use domain::{
    decision::{Mark, Verdict, decide},
    law::{EMBEDDED, InForce, Lawbook, Level, model::InForceStatus},
    time::Day,
};

use crate::facts::{Given, book, day};

#[test]
fn the_list_names_every_file_of_the_folder() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("law");
    let files = std::fs::read_dir(folder).expect("the folder of law").map(|entry| entry.expect("a file").file_name());
    let found: BTreeSet<String> = files
        .filter_map(|name| name.into_string().ok())
        .filter(|name| Path::new(name).extension().is_some_and(|ending| ending == "toml"))
        .collect();
    let listed: BTreeSet<String> = EMBEDDED.iter().map(|(name, _)| (*name).to_owned()).collect();
    assert_eq!(found, listed);
    for (name, _) in EMBEDDED {
        let code = name.trim_end_matches(".toml");
        assert!(book().rule_set(code).is_some(), "{name} holds another code than its name");
    }
}

#[test]
fn every_value_is_cited_and_has_an_address() {
    for set in book().rule_sets() {
        for rule in &set.rules {
            for value in &rule.values {
                let source = &value.source;
                assert!(!source.citation.is_empty(), "{}", rule.id);
                if set.about.level == Level::Company {
                    assert_eq!(source.mark, Mark::Own, "{}", rule.id);
                    continue;
                }
                let href = source.href.as_deref().unwrap_or_default();
                assert!(href.starts_with("http"), "{} has no address", rule.id);
                assert!(!source.rows.is_empty(), "{} names no row", rule.id);
            }
        }
    }
}

#[test]
fn the_hash_is_of_the_text_as_it_stands() {
    use sha2::Digest as _;
    for set in book().rule_sets() {
        let (_, text) = EMBEDDED.iter().find(|(name, _)| *name == format!("{}.toml", set.about.code)).expect("a file");
        assert_eq!(set.text, *text);
        let expected: Vec<String> =
            sha2::Sha256::digest(text.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect();
        assert_eq!(set.about.hash, expected.concat(), "{}", set.about.code);
    }
}

#[test]
fn every_rule_says_its_duty_in_a_sentence_with_its_number() {
    let codes: Vec<String> = book().rule_sets().iter().map(|set| set.about.code.clone()).collect();
    let rules = book().on_day(&codes, day("2026-06-15"));
    assert!(rules.len() > 60, "only {} rules", rules.len());
    for rule in &rules {
        // New Hampshire's limits on label directions were repealed (2024 ch. 380, row NH-07), and Delaware's certificate for own
        // land (84 Del. Laws c. 439, row DE-06).
        let repealed = rule.rule.starts_with("us-nh.label.") || rule.rule == "us-de.credential.own_land";
        assert_eq!(rule.in_force, if repealed { InForce::Repealed } else { InForce::InForce }, "{}", rule.rule);
        assert!(rule.words.ends_with('.') && rule.words.len() > 20, "{}: {}", rule.rule, rule.words);
    }
    let words = |id: &str| rules.iter().find(|rule| rule.rule == id).map(|rule| rule.words.clone()).unwrap_or_default();
    assert_eq!(
        words("us-pa.nitrogen.quick.application"),
        "One application puts down at most 0.7 lb quick-release N on 1,000 sq ft."
    );
    assert_eq!(
        words("us-pa.nitrogen.winter"),
        "From December 16 through the end of February: at most 0.5 lb N on 1,000 sq ft in all."
    );
    assert_eq!(
        words("us-ny.water.distance"),
        "Keep at least 20 ft from surface water, 3 ft with a drop spreader or a rotary spreader with deflector, none behind a strip of natural vegetation 10 ft wide, none for first establishment (establishment: within 12 months of seeding)."
    );
}

#[test]
fn a_day_before_the_oldest_text_is_unknown_and_before_the_duty_began_is_not_yet() {
    let answers = |codes: &[&str], on: &str| {
        let codes: Vec<String> = codes.iter().map(|code| (*code).to_owned()).collect();
        book().on_day(&codes, day(on))
    };
    let of = |rules: &[domain::law::RuleOnDay], id: &str| {
        rules.iter().find(|rule| rule.rule == id).map(|rule| (rule.in_force, rule.since, rule.until))
    };
    let before = answers(&["us-md"], "2013-10-27");
    let (id, last) = ("us-md.professional.nitrogen.quick.application", day("2013-10-27"));
    assert_eq!(of(&before, id), Some((InForce::Unknown, None, Some(last))));
    assert_eq!(of(&answers(&["us-md"], "2013-10-28"), id), Some((InForce::InForce, Some(day("2013-10-28")), None)));
    let early = answers(&["us-pa"], "2020-01-01");
    assert_eq!(of(&early, "us-pa.nitrogen.total.application"), Some((InForce::NotYet, None, Some(day("2022-07-10")))));
}

#[test]
fn every_day_of_three_years_has_an_answer_in_every_set() {
    let book = book();
    let given = |liquid: bool, organic: bool| Given {
        n: Some("20".into()),
        slow_n: Some("10".into()),
        p2o5: Some("3".into()),
        k2o: Some("5".into()),
        liquid,
        organic,
        enhanced_efficiency: organic,
        product_lb: Some("2".into()),
        ..Given::default()
    };
    let mut asked = 0;
    for set in book.rule_sets() {
        let codes = [set.about.code.clone()];
        for (liquid, organic) in [(false, false), (true, true)] {
            let mut facts = given(liquid, organic).facts(day("2027-01-01"));
            while facts.on <= day("2029-12-31") {
                let decision = decide(book, &codes, &facts);
                let worst = decision.findings.iter().map(|finding| finding.verdict).max().unwrap_or(Verdict::Go);
                assert_eq!(decision.verdict, worst, "{} on {}", set.about.code, facts.on);
                assert_eq!(decision.sections.len(), 1);
                asked += 1;
                facts.on = facts.on.plus_days(1);
            }
        }
    }
    let days = i64::from(day("2029-12-31").days_since(day("2027-01-01"))) + 1;
    assert_eq!(days, 1096, "three years, one of them a leap year");
    assert_eq!(asked, days * 2 * i64::try_from(book.rule_sets().len()).expect("a count"));
}

#[test]
fn a_rule_stands_in_one_of_four_ways() {
    let text = include_str!("../law/company.toml").replace(
        "mark = \"own\"\nrows = []\n",
        "mark = \"own\"\nrows = []\nstarts = true\n\n[[rule.value]]\nfrom = 2026-07-01\nrepealed = true\ncite = \"Withdrawn\"\nmark = \"own\"\nrows = []\n",
    );
    let book = Lawbook::from_texts(&[("company.toml", &text)]).expect("a company with a withdrawn setting");
    let rule = &book.rule_set("company").expect("the company").rules[0];
    let on = |text: &str| rule.on(Day::parse(text).expect("a day")).expect("an answer");
    assert!(matches!(on("2026-06-30"), InForceStatus::InForce(..)));
    assert!(matches!(on("2026-07-01"), InForceStatus::Repealed(_)));
    // The repealed setting judges nothing.
    let hot = Given { n: Some("20".into()), n_rate: Some("0.5".into()), air: Some("99".into()), ..Given::default() };
    let stops = |date: &str| {
        let decision = decide(&book, &[], &hot.facts(day(date)));
        decision.findings.iter().any(|finding| finding.rule == "company.heat.quick_nitrogen")
    };
    assert!(stops("2026-06-30"));
    assert!(!stops("2026-07-01"));
}

#[test]
fn a_bar_that_excepts_a_county_excepts_every_place_inside_it() {
    // Massachusetts excepts Cape Cod and the islands (MA-13); here Barnstable stands for its county.
    let barnstable = |text: &str| text.replace("level = \"municipality\"", "level = \"county\"");
    let mut texts: Vec<(&str, String)> = EMBEDDED
        .iter()
        .map(|(name, text)| {
            (*name, if *name == "us-ma-barnstable.toml" { barnstable(text) } else { (*text).to_owned() })
        })
        .collect();
    let town = crate::duties::TOWN.replace("PARENT", "us-ma-barnstable").replace("EXTRA", "");
    texts.push(("us-zz-town.toml", town));
    let texts: Vec<(&str, &str)> = texts.iter().map(|(name, text)| (*name, text.as_str())).collect();
    let book = Lawbook::from_texts(&texts).expect("a town on the Cape");
    let over = book.over(&["us-zz-town".to_owned()]);
    assert!(over.iter().any(|set| set.code == "us-zz-town" && set.note.is_none()), "{over:#?}");
}

#[test]
fn text_that_is_no_toml_is_refused() {
    crate::loader::refuses("code = ", None, "the text", "is not TOML");
}

#[test]
fn a_reading_older_than_a_year_is_asked_for_again() {
    // Common practice, in calendar months: on the day on which the year is full the reading still stands.
    let about = |read: &str| {
        let text = crate::small_print::head("xx").replace("2026-11-20", read);
        let text = format!("{text}{}", crate::small_print::rule("xx", "pavement", "surface", "", ""));
        let book = Lawbook::from_texts(&[("xx.toml", &text)]).expect("invented law");
        book.rule_sets()[0].about.clone()
    };
    let asked = |read: &str, today: &str| about(read).needs_new_look(day(today), 12);
    assert!(!asked("2026-11-25", "2026-11-25") && !asked("2026-11-25", "2027-11-25"));
    assert!(asked("2026-11-25", "2027-11-26"));
    // A reading of February 29 is a year old with the last day of February.
    assert!(!asked("2028-02-29", "2029-02-28") && asked("2028-02-29", "2029-03-01"));
    assert!(about("2026-11-25").needs_new_look(day("2027-05-26"), 6), "six months");
    // A day before the reading asks for nothing.
    assert!(!asked("2026-11-25", "2020-01-01"));
}

#[test]
fn what_rests_on_a_law_firms_note_bears_the_mark_of_a_secondary_text() {
    // MA-05b: the threshold of 0.67 % is READ-2; MA-03, the same number for organics in 31.05(2)(d), is READ.
    let rules = book().on_day(&["us-ma".to_owned()], day("2026-06-15"));
    let mark = |id: &str| rules.iter().find(|rule| rule.rule == id).expect("the rule").mark;
    assert_eq!(mark("us-ma.phosphorus.need"), Mark::Read2);
    assert_eq!(mark("us-ma.phosphorus.organic.need"), Mark::Read);
}
