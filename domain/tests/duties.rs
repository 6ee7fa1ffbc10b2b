//! Duties that judge no application, the check of a label, local rules under a bar, and what changed between two days.

use domain::{
    application::Audience,
    decision::{Outcome, Verdict, check_label, decide},
    law::{EMBEDDED, InForce, Lawbook, disclosure::RecordField},
    quantity::Area,
};

use crate::facts::{Given, amount, book, day};

const PRO: Audience = Audience::Professional;

fn codes(codes: &[&str]) -> Vec<String> {
    codes.iter().map(|code| (*code).to_owned()).collect()
}

fn acres(hundredths: i64) -> Area {
    // 1 acre is 43,560 sq ft; a hundredth of it 435.6.
    Area::from_raw(hundredths * 43_560)
}

/// The fields that 2VAC5-405-100 A(1)-(8) names (row VA-10).
fn virginia() -> Vec<RecordField> {
    use RecordField as F;
    vec![
        F::CustomerName,
        F::CustomerAddress,
        F::CustomerTelephone,
        F::SiteAddress,
        F::ApplicatorName,
        F::Date,
        F::WeatherAtStart,
        F::AreaTreated,
        F::NutrientAnalysis,
        F::TotalAmount,
        F::EquipmentOrMethod,
    ]
}

#[test]
fn v23_a_virginia_record_without_the_weather_at_the_start_is_incomplete() {
    let missing = |written: &[RecordField]| -> Vec<RecordField> {
        let missing = book().missing_fields(&codes(&["us-va"]), PRO, day("2026-05-15"), written);
        missing.iter().map(|required| required.field).collect()
    };
    assert_eq!(missing(&virginia()), []);
    let without: Vec<RecordField> =
        virginia().into_iter().filter(|field| *field != RecordField::WeatherAtStart).collect();
    assert_eq!(missing(&without), [RecordField::WeatherAtStart]);
    // The plants may stand for the area and the supervisor for the applicator.
    let other: Vec<RecordField> = virginia()
        .into_iter()
        .map(|field| match field {
            RecordField::AreaTreated => RecordField::PlantsTreated,
            RecordField::ApplicatorName => RecordField::SupervisorName,
            other => other,
        })
        .collect();
    assert_eq!(missing(&other), []);
}

#[test]
fn v24_a_maryland_record_without_the_label_is_incomplete() {
    // COMAR 15.20.10.13 B(1)-(8) (row MD-27).
    use RecordField as F;
    let all =
        [F::SiteAddress, F::ApplicatorName, F::Date, F::AreaTreated, F::NutrientAnalysis, F::Rate, F::TotalAmount];
    let missing = book().missing_fields(&codes(&["us-md"]), PRO, day("2026-05-15"), &all);
    assert_eq!(missing.len(), 1);
    assert_eq!(missing[0].field, F::LabelCopy);
    assert_eq!(missing[0].source.citation, "COMAR 15.20.10.13 A, B(1)-(8)");
    // A household keeps no such record.
    assert_eq!(book().record_fields(&codes(&["us-md"]), Audience::Household, day("2026-05-15")), []);
}

#[test]
fn fields_of_several_sets_are_their_union_and_retention_the_longest() {
    let fields = |sets: &[&str]| -> Vec<RecordField> {
        let fields = book().record_fields(&codes(sets), PRO, day("2026-05-15"));
        fields.iter().map(|required| required.field).collect()
    };
    let (md, de, both) = (fields(&["us-md"]), fields(&["us-de"]), fields(&["us-md", "us-de"]));
    assert!(md.iter().chain(&de).all(|field| both.contains(field)), "{both:?}");
    assert_eq!(both.len(), 9, "Maryland's eight, and Delaware's equipment or method");
    let kept = |sets: &[&str]| {
        let kept = book().kept_until(&codes(sets), PRO, day("2020-05-15"), day("2026-05-15"));
        kept.map(|kept| (kept.years, kept.until))
    };
    // COMAR 15.20.10.13 B: 3 years; 3 DE Admin. Code 1201-12.5: 6 years.
    assert_eq!(kept(&["us-md"]), Some((3, day("2023-05-15"))));
    assert_eq!(kept(&["us-md", "us-de"]), Some((6, day("2026-05-15"))));
    assert_eq!(kept(&["us-ny"]), None);
}

#[test]
fn v25_a_log_of_five_years_may_not_go_in_delaware() {
    let kept = book().kept_until(&codes(&["us-de"]), PRO, day("2021-11-25"), day("2026-11-25")).expect("a retention");
    assert!(kept.until >= day("2026-11-25"), "{kept:?}");
    assert_eq!(kept.until, day("2027-11-25"));
    assert_eq!(kept.source.rule, "us-de.retention");
}

#[test]
fn v47_virginia_reports_more_than_fifty_acres_by_february_1() {
    let due = |treated: Area| book().reports_due(&codes(&["us-va"]), PRO, 2025, treated);
    assert_eq!(due(acres(5_000)), []);
    let reports = due(acres(5_010));
    assert_eq!(reports.len(), 1);
    assert_eq!(reports[0].due, day("2026-02-01"));
    assert!(reports[0].words.contains("by ZIP code"), "{}", reports[0].words);
    assert_eq!(reports[0].source.rule, "us-va.report");
}

#[test]
fn reports_come_in_the_order_of_their_days() {
    // IN-05, VA-11, MD-37, OH-06: January 30, February 1, March 1, November 30.
    let reports = book().reports_due(&codes(&["us-md", "us-oh", "us-va", "us-in"]), PRO, 2025, acres(10_000));
    let days: Vec<String> = reports.iter().map(|report| report.due.to_string()).collect();
    assert_eq!(days, ["2026-01-30", "2026-02-01", "2026-03-01", "2026-11-30"]);
}

#[test]
fn the_credentials_that_rules_ask_for_or_reward_are_named() {
    // DE-06, FL-06, FL-22, MA-15, LR-05, MD-28, MI-09, MN-04, NJ-19, LR-02 (Virginia) and IN-03.
    let book = book();
    let known: Vec<&str> = book.credentials().into_iter().collect();
    assert_eq!(
        known,
        [
            "us-de-certified",
            "us-fl-limited-certified",
            "us-fl-orange-certified",
            "us-in-category-3b",
            "us-ma-barnstable-certified",
            "us-ma-nantucket-licensed",
            "us-md-certified",
            "us-md-trained",
            "us-mi-golf-trained",
            "us-mn-golf-trained",
            "us-nj-certified",
            "us-nj-trained",
            "us-va-certified",
            "us-va-trained",
        ]
    );
}

pub const TOWN: &str = r#"
code = "us-zz-town"
name = "A town"
level = "municipality"
parent = "PARENT"
last_checked = 2026-11-20
coverage = "Invented, for tests."
EXTRA

[[rule]]
id = "us-zz-town.nitrogen.application"
kind = "cap_application"
binds = "applicator"
audience = ["professional"]
nutrient = "nitrogen_total"
unit = "lb/ksf"

[[rule.value]]
from = 2001-01-01
comparator = "at_most"
value = "0.1"
cite = "Town Code 1"
href = "https://law.example/1"
mark = "read"
"#;

/// The verdict on half a pound, and whether the town's rule spoke.
fn in_town(parent: &str, extra: &str, p2o5: &str) -> (Verdict, bool) {
    let text = TOWN.replace("PARENT", parent).replace("EXTRA", extra);
    let book =
        Lawbook::with_files(&[("us-zz-town.toml".to_owned(), text)]).unwrap_or_else(|faults| panic!("{faults:#?}"));
    let given = Given {
        n: Some("20".into()),
        slow_n: Some("10".into()),
        insoluble_n: Some("10".into()),
        n_rate: Some("0.5".into()),
        p2o5: Some(p2o5.into()),
        purpose: Some(domain::application::Purpose::Establishment),
        established_on: "2026-05-01".parse().ok(),
        ..Given::default()
    };
    let decision = decide(&book, &codes(&["us-zz-town"]), &given.facts(day("2026-06-15")));
    let spoke = decision.findings.iter().any(|finding| finding.rule.starts_with("us-zz-town."));
    (decision.verdict, spoke)
}

#[test]
fn v50_illinois_lets_older_ordinances_stand_and_younger_ones_on_a_finding() {
    // 415 ILCS 65/9 (IL-11).
    assert_eq!(in_town("us-il", "enacted_on = 2015-06-01", "0"), (Verdict::Go, false));
    assert_eq!(in_town("us-il", "enacted_on = 2010-07-06", "0"), (Verdict::Go, false));
    assert_eq!(in_town("us-il", "enacted_on = 2010-07-05", "0"), (Verdict::Stop, true));
    assert_eq!(in_town("us-il", "enacted_on = 2009-06-01", "0"), (Verdict::Stop, true));
    let finding = "enacted_on = 2015-06-01\n\n[stands_by]\nwords = \"The Department found it reasonable.\"\ncite = \"Finding 1\"\nhref = \"https://law.example/f\"\nmark = \"read\"";
    assert_eq!(in_town("us-il", finding, "0"), (Verdict::Stop, true));
    // Where the day of enactment is not known, nothing shows whether it stands: it warns.
    assert_eq!(in_town("us-il", "", "0"), (Verdict::Care, true));
}

#[test]
fn michigan_lets_older_ordinances_on_phosphorus_stand() {
    // MCL 324.8517 (MI-10, MI-13): phosphorus ordinances in force on 2010-12-16.
    assert_eq!(in_town("us-mi", "enacted_on = 2010-12-16", "1"), (Verdict::Stop, true));
    assert_eq!(in_town("us-mi", "enacted_on = 2010-12-16", "0"), (Verdict::Go, false));
    assert_eq!(in_town("us-mi", "enacted_on = 2010-12-17", "1"), (Verdict::Go, false));
}

#[test]
fn a_state_that_bars_lets_nothing_stand_and_one_that_is_not_known_lets_it_warn() {
    // N.J. (NJ-20), Va. (VA-13): barred. Minn. (MN-08): barred for products with phosphorus. Vt. (PE-21): not found.
    // New Jersey's rates (NJ-09) and Minnesota's rates of phosphorus (MN-05) were not read, which asks for care by itself.
    assert_eq!(in_town("us-nj", "enacted_on = 2000-01-01", "0"), (Verdict::Care, false));
    assert!(!in_town("us-va", "", "0").1);
    assert_eq!(in_town("us-mn", "", "0"), (Verdict::Stop, true));
    assert_eq!(in_town("us-mn", "", "1"), (Verdict::Care, false));
    assert_eq!(in_town("us-vt", "", "0"), (Verdict::Care, true));
    // Massachusetts excepts Cape Cod and the islands (MA-13), and no other place.
    assert!(!in_town("us-ma", "", "0").1);
}

fn bag(n: &str, slow: &str, p2o5: &str, most: Option<&str>) -> domain::product::Label {
    let given = Given {
        n: Some(n.into()),
        slow_n: Some(slow.into()),
        p2o5: Some(p2o5.into()),
        label_product_limit: most.map(str::to_owned),
        ..Given::default()
    };
    given.label()
}

#[test]
fn a_label_is_checked_at_its_own_largest_rate_and_stops_nothing_else() {
    let check = |sets: &[&str], label| check_label(book(), &codes(sets), &label, day("2026-05-15"));
    let stops = |check: &domain::decision::LabelCheck| -> Vec<String> {
        check.findings.iter().filter(|finding| finding.verdict == Verdict::Stop).map(|f| f.rule.clone()).collect()
    };
    // Md. Code, Agric. 6-224(a)(1): 0.7 quick, 0.9 in all, 20 % slow. 3.5 lb of 20 % N is 0.7 lb.
    let fine = check(&["us-md"], bag("20", "4", "0", Some("3.5")));
    assert_eq!((fine.verdict, fine.met.len()), (Verdict::Go, 3), "{:#?}", fine.findings);
    let much = check(&["us-md"], bag("20", "4", "0", Some("4.5")));
    assert_eq!(stops(&much), ["us-md.label.nitrogen.quick.application"]);
    let quick = check(&["us-md"], bag("20", "3.9", "0", Some("3.5")));
    assert_eq!(stops(&quick), ["us-md.label.nitrogen.slow_share"]);
    // A label without a largest amount cannot be compared.
    let silent = check(&["us-md"], bag("20", "4", "0", None));
    assert_eq!(silent.verdict, Verdict::Care);
    assert_eq!(silent.findings.len(), 2);
    // 3 Pa.C.S. 6804: no phosphorus in a turf product that is not organic, 20 % enhanced nitrogen (PA-11).
    assert_eq!(stops(&check(&["us-pa"], bag("20", "4", "1", None))), ["us-pa.seller.phosphorus.need"]);
    assert_eq!(stops(&check(&["us-pa"], bag("20", "3", "0", None))), ["us-pa.seller.slow_share"]);
    // Fla. Admin. Code 5E-1.003(2): 2.0 lb only of a product that is 65 % slow (FL-02).
    assert_eq!(stops(&check(&["us-fl"], bag("20", "13", "0", Some("10")))), Vec::<String>::new());
    assert_eq!(
        stops(&check(&["us-fl"], bag("20", "14", "0", Some("10.01")))),
        ["us-fl.label.nitrogen.total.slow.application"]
    );
}

#[test]
fn what_changed_between_two_days_is_told_by_rule() {
    let book = book();
    let changes = book.changes("us-fl-alachua", day("2019-04-08"), day("2026-01-01")).expect("the set");
    let season = changes.iter().find(|change| change.rule == "us-fl-alachua.season").expect("the season moved");
    assert_eq!(season.on, day("2019-04-09"));
    assert_eq!(season.before.words, "From December 1 through the end of February: no N.");
    assert_eq!(season.after.words, "From July 1 through the end of February: no N.");
    assert_eq!(season.before.until, Some(day("2019-04-08")));
    let floor = changes.iter().find(|change| change.rule == "us-fl-alachua.nitrogen.slow_share").expect("a floor");
    assert_eq!((floor.before.in_force, floor.after.in_force), (InForce::Unknown, InForce::InForce));
    assert_eq!(book.changes("us-fl-alachua", day("2019-04-09"), day("2026-01-01")), Some(Vec::new()));
    assert_eq!(book.changes("us-zz", day("2019-04-09"), day("2026-01-01")), None);
}

#[test]
fn the_rules_of_a_place_are_told_with_their_duties_and_their_force() {
    let book = book();
    let rules = book.on_day(&codes(&["us-de"]), day("2026-05-15"));
    let words =
        |id: &str| rules.iter().find(|rule| rule.rule == id).map(|rule| rule.words.as_str()).unwrap_or_default();
    assert_eq!(words("us-de.retention"), "Records are kept for 6 years after the application.");
    assert_eq!(words("us-de.record.deadline"), "The record is written while the work is done.");
    assert!(
        words("us-de.credential").ends_with("(where at least 10890 sq ft are concerned)."),
        "{}",
        words("us-de.credential")
    );
    let lake = book.on_day(&codes(&["us-mi-wolverine-lake"]), day("2026-05-15"));
    let interval = lake.iter().find(|rule| rule.rule == "us-mi-wolverine-lake.interval").expect("the interval");
    assert!(interval.note.as_deref().is_some_and(|note| note.starts_with("Only warns")), "{interval:#?}");
}

#[test]
fn the_companys_own_file_takes_the_place_of_the_built_in_one_and_only_tightens() {
    let (_, company) = EMBEDDED.iter().find(|(name, _)| *name == "company.toml").expect("the company");
    let stricter = company.replace("\"85\"", "\"75\"");
    let book = Lawbook::with_files(&[("company.toml".to_owned(), stricter)]).expect("a stricter company");
    assert_eq!(book.rule_sets().len(), EMBEDDED.len());
    let warm = Given { n: Some("20".into()), n_rate: Some("0.4".into()), air: Some("80".into()), ..Given::default() };
    let verdict = |book: &Lawbook| decide(book, &codes(&["us-wi"]), &warm.facts(day("2026-06-15"))).verdict;
    assert_eq!((verdict(self::book()), verdict(&book)), (Verdict::Go, Verdict::Stop));
    // A laxer limit of the company's changes nothing of the law: Pennsylvania's 0.7 still refuses.
    let lax = r#"

[[rule]]
id = "company.nitrogen"
kind = "cap_application"
binds = "applicator"
audience = ["professional"]
nutrient = "nitrogen_quick"
unit = "lb/ksf"

[[rule.value]]
from = 1990-01-01
comparator = "at_most"
value = "5"
cite = "Company setting"
mark = "own"
"#;
    let book = Lawbook::with_files(&[("company.toml".to_owned(), format!("{company}{lax}"))]).expect("a lax company");
    let given = Given { n: Some("20".into()), n_rate: Some("0.8".into()), ..Given::default() };
    let decision = decide(&book, &codes(&["us-pa"]), &given.facts(day("2026-06-15")));
    assert_eq!(decision.findings[0].rule, "us-pa.nitrogen.quick.application");
    assert_eq!((decision.verdict, decision.findings[0].outcome), (Verdict::Stop, Outcome::Broken));
    assert_eq!(decision.sections[0].largest_lawful_product_lb, Some(amount("3.5")));
}

#[test]
fn a_faulty_file_of_the_operator_loads_nothing_and_names_every_fault() {
    let bad = TOWN.replace("PARENT", "us-nowhere").replace("EXTRA", "").replace("cite = \"Town Code 1\"\n", "");
    let again = TOWN.replace("PARENT", "us-ny").replace("EXTRA", "").replace("us-zz-town", "us-md");
    let files = [("bad.toml".to_owned(), bad), ("again.toml".to_owned(), again)];
    let faults = Lawbook::with_files(&files).expect_err("two faulty files");
    let places: Vec<String> = faults.iter().map(|fault| format!("{} {}", fault.file, fault.field)).collect();
    for place in ["bad.toml cite", "bad.toml parent", "again.toml code"] {
        assert!(places.iter().any(|known| known == place), "{place} is not among {places:?}");
    }
}

#[test]
fn a_count_over_365_days_names_the_first_day_that_is_open_again() {
    // Two applications a year, both of the last months: the third must wait until the first of them has left the span.
    let text = TOWN
        .replace("PARENT", "us-ny")
        .replace("EXTRA", "")
        .replace("cap_application", "count_year")
        .replace("unit = \"lb/ksf\"\n", "")
        .replace("comparator = \"at_most\"\nvalue = \"0.1\"\n", "most = 2\n");
    let book =
        Lawbook::with_files(&[("us-zz-town.toml".to_owned(), text)]).unwrap_or_else(|faults| panic!("{faults:#?}"));
    let past = |on: &str| crate::facts::Past { on: on.parse().ok(), n_rate: Some("0.5".into()), ..Default::default() };
    let given = Given {
        n: Some("20".into()),
        slow_n: Some("10".into()),
        n_rate: Some("0.5".into()),
        past: vec![past("2025-09-10"), past("2026-05-10")],
        ..Given::default()
    };
    let finding = |on: &str| {
        let decision = decide(&book, &codes(&["us-zz-town"]), &given.facts(day(on)));
        decision.findings.iter().find(|finding| finding.rule == "us-zz-town.nitrogen.application").cloned()
    };
    let third = finding("2026-08-01").expect("the third");
    assert_eq!(third.actual.as_deref(), Some("3"));
    // 2025-09-10 is the first of the 365 days to 2026-09-09, and no longer among those to 2026-09-10.
    assert_eq!(third.hint, "The first day on which another one is allowed is 2026-09-10.");
    assert!(finding("2026-09-09").is_some());
    assert_eq!(finding("2026-09-10"), None);
}

#[test]
fn the_example_of_the_readme_is_read_and_judges() {
    let text = include_str!("../law/README.md");
    let (_, rest) = text.split_once("```toml\n").expect("an example");
    let (example, _) = rest.split_once("```").expect("its end");
    let book = Lawbook::with_files(&[("us-ny-example-town.toml".to_owned(), example.to_owned())])
        .unwrap_or_else(|faults| panic!("{faults:#?}"));
    let given =
        Given { n: Some("20".into()), slow_n: Some("10".into()), n_rate: Some("0.5".into()), ..Given::default() };
    let verdict = |on: &str| decide(&book, &codes(&["us-ny-example-town"]), &given.facts(day(on))).verdict;
    assert_eq!((verdict("2026-06-30"), verdict("2026-07-01")), (Verdict::Go, Verdict::Stop));
    assert_eq!((verdict("2026-08-31"), verdict("2026-09-01")), (Verdict::Stop, Verdict::Go));
    assert_eq!((verdict("2018-07-15"), verdict("2019-07-15")), (Verdict::Go, Verdict::Stop));
}
