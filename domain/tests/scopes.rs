//! Which products a rule is about: every field of a scope with every kind of rule that judges, in judging, counting and
//! wording. The rule files here are invented; each expectation follows from their words.

use domain::{
    application::Audience,
    application::Purpose,
    decision::{Decision, decide},
    facts::{PastApplication, PastProduct},
    law::kind::RuleKind,
};

use crate::{
    cases::standing,
    facts::{Given, amount, day},
    small_print::{at_most, book, codes, rule},
};

/// A field of a scope, a product inside and one outside, and how a sentence tells it.
struct Field {
    when: &'static str,
    inside: Given,
    outside: Given,
    words: &'static str,
    /// Whether the record of an earlier application may not tell the two apart.
    may_be_unsaid: bool,
}

fn product(slow: &str, p2o5: &str) -> Given {
    Given {
        n: Some("20".into()),
        slow_n: Some(slow.into()),
        p2o5: Some(p2o5.into()),
        pavement: true,
        pavement_cleaned: Some(true),
        ..Given::default()
    }
}

fn fields() -> Vec<Field> {
    let plain = || product("4", "2");
    let field = |when, inside, outside, words, may_be_unsaid| Field { when, inside, outside, words, may_be_unsaid };
    let repair = || Given { purpose: Some(Purpose::Repair), ..plain() };
    vec![
        field("forms = [\"liquid\"]", Given { liquid: true, ..plain() }, plain(), "liquid products", true),
        field("purposes = [\"repair\"]", repair(), plain(), "repair of turf", false),
        field(
            "enhanced_efficiency = true",
            Given { enhanced_efficiency: true, ..plain() },
            plain(),
            "enhanced-efficiency products",
            false,
        ),
        field("organic = false", plain(), Given { organic: true, ..plain() }, "other than natural organic", false),
        field(
            "labelled_for_establishment = true",
            Given { labelled_for_establishment: true, ..plain() },
            plain(),
            "labelled for establishment",
            true,
        ),
        field("compost = false", plain(), Given { compost: true, ..plain() }, "other than compost", true),
        field(
            "enhanced_efficiency_phosphorus = true",
            Given { enhanced_efficiency_phosphorus: true, ..plain() },
            plain(),
            "enhanced-efficiency phosphorus",
            true,
        ),
        field(
            "pesticide = true",
            Given { pesticide: Some("6767-230".into()), ..plain() },
            plain(),
            "pesticides too",
            true,
        ),
        field("slow_share_at_least = \"20\"", plain(), product("3.99", "2"), "at least 20 % slow-release", false),
        field("slow_share_below = \"20\"", product("3.99", "2"), plain(), "less than 20 % slow-release", false),
        field("phosphate_over = \"2\"", product("4", "2.01"), plain(), "more than 2 % P2O5", true),
    ]
}

/// Every kind that judges: the head of a rule of it, and a value that speaks of every product above.
fn kinds() -> Vec<(RuleKind, &'static str, &'static str, &'static str)> {
    const RATE: &str = "nutrient = \"nitrogen_total\"\nunit = \"lb/ksf\"";
    const N: &str = "nutrient = \"nitrogen_total\"";
    let most = "comparator = \"at_most\"\nvalue = \"9\"";
    let year = "counts = \"within_scope\"\ncomparator = \"at_most\"\nvalue = \"9\"";
    let least = "comparator = \"at_least\"\nvalue = \"3\"";
    vec![
        (RuleKind::CapApplication, "cap_application", RATE, most),
        (RuleKind::CapYear, "cap_year", RATE, year),
        (
            RuleKind::Window,
            "window",
            "unit = \"lb/ksf\"",
            "first_barred = \"01-01\"\nlast_barred = \"12-31\"\nper = \"application\"\ncaps = { nitrogen_total = \"0\" }",
        ),
        (RuleKind::PhosphorusNeed, "phosphorus_need", "unit = \"%\"", "threshold = \"0\"\nsoil_report = \"never\""),
        (RuleKind::SoilReportBefore, "soil_report_before", N, "application = 1"),
        (
            RuleKind::Setback,
            "setback",
            "unit = \"ft\"",
            "comparator = \"at_least\"\nvalue = \"3\"\nmeasured_from = \"the water\"",
        ),
        (RuleKind::Ground, "ground", "", "barred = [\"moist\"]"),
        (RuleKind::Rain, "rain", "unit = \"in\"", "occurring = true"),
        (RuleKind::Alerts, "alerts", "", "alerts = [{ event = \"flood\", level = \"watch\" }]"),
        (RuleKind::Heat, "heat", "nutrient = \"nitrogen_total\"\nunit = \"°F\"", least),
        (RuleKind::SlowShare, "slow_share", "unit = \"%\"", least),
        (RuleKind::HoldAfterSeeding, "hold_after_seeding", N, "days = 30"),
        (RuleKind::Surface, "surface", "", ""),
        (RuleKind::Release, "release", RATE, "per = \"month\"\ncomparator = \"at_most\"\nvalue = \"9\""),
        (RuleKind::Interval, "interval", N, "days = 30"),
        (RuleKind::CountYear, "count_year", N, "most = 4"),
        (RuleKind::PlanNeed, "plan_need", "", "words = \"A plan stands\""),
        (RuleKind::CredentialNeed, "credential_need", "", "words = \"Nobody without it\"\nheld = [\"xx-held\"]"),
    ]
}

#[test]
fn every_field_with_every_kind_is_asked_inside_and_silent_outside() {
    let kinds = kinds();
    let judging: Vec<RuleKind> = RuleKind::ALL.into_iter().filter(|kind| kind.judges()).collect();
    assert_eq!(kinds.iter().map(|(kind, ..)| *kind).collect::<Vec<_>>(), judging);
    for field in fields() {
        for (_, kind, head, value) in &kinds {
            let when = format!("{head}\nwhen = {{ {} }}\n", field.when);
            let law = book(&[("xx", rule("xx", "rule", kind, &when, value))]);
            let stands = |given: &Given| {
                let decision = decide(&law, &codes(&["xx"]), &given.facts(day("2026-06-15")));
                standing(&decision, "xx.rule")
            };
            assert_ne!(stands(&field.inside), "silent", "{kind} {}", field.when);
            assert_eq!(stands(&field.outside), "silent", "{kind} {}", field.when);
            let told = law.on_day(&codes(&["xx"]), day("2026-06-15")).remove(0).words;
            assert!(told.contains(field.words), "{kind}: {told}");
        }
    }
}

/// An earlier load of 0.6 lb N on 1,000 sq ft of the product, as its label tells it or as a record that does not.
fn earlier(given: &Given, said: bool) -> PastApplication {
    let label = given.label();
    PastApplication {
        on: day("2026-04-10"),
        area: amount("1000"),
        parts: None,
        nutrients: label.nutrients_in(amount("3")),
        enhanced_efficiency: label.enhanced_efficiency,
        organic: label.organic,
        purpose: given.purpose.unwrap_or(Purpose::Maintenance),
        product: if said { PastProduct::of(&label) } else { PastProduct::default() },
        held: false,
    }
}

/// A year of at most 1 lb, which counts the products of a scope; 0.5 lb of a product inside it goes down.
fn year(field: &Field, past: Vec<PastApplication>) -> Decision {
    let value = format!("counts = \"within_scope\"\n{}", at_most("1"));
    let when = format!("nutrient = \"nitrogen_total\"\nunit = \"lb/ksf\"\nwhen = {{ {} }}\n", field.when);
    let law = book(&[("xx", rule("xx", "rule", "cap_year", &when, &value))]);
    let mut facts = Given { product_lb: Some("2.5".into()), ..field.inside.clone() }.facts(day("2026-06-15"));
    facts.lines[0].section.past = past;
    decide(&law, &codes(&["xx"]), &facts)
}

#[test]
fn a_year_of_some_products_counts_those_and_no_others() {
    for field in fields() {
        let stands = |past: Vec<PastApplication>| standing(&year(&field, past), "xx.rule");
        assert_eq!(stands(vec![earlier(&field.inside, true)]), "refused", "{}", field.when);
        assert_eq!(stands(vec![earlier(&field.outside, true)]), "met", "{}", field.when);
        // What is not known to lie outside is counted.
        let unsaid = if field.may_be_unsaid { "refused" } else { "met" };
        assert_eq!(stands(vec![earlier(&field.outside, false)]), unsaid, "{}", field.when);
        assert_eq!(stands(vec![earlier(&field.inside, false)]), "refused", "{}", field.when);
    }
}

#[test]
fn what_takes_a_load_back_is_counted_as_that_load_is() {
    for field in fields() {
        for (given, said) in [(&field.inside, true), (&field.inside, false), (&field.outside, false)] {
            let load = earlier(given, said);
            let mut back = load;
            let negative = |raw: i64| -raw;
            back.nutrients.nitrogen_lb =
                domain::quantity::Quantity::from_raw(negative(load.nutrients.nitrogen_lb.raw()));
            back.nutrients.quick_nitrogen_lb =
                domain::quantity::Quantity::from_raw(negative(load.nutrients.quick_nitrogen_lb.raw()));
            back.nutrients.phosphate_lb =
                domain::quantity::Quantity::from_raw(negative(load.nutrients.phosphate_lb.raw()));
            assert_eq!(standing(&year(&field, vec![load, back]), "xx.rule"), "met", "{}", field.when);
        }
    }
}

#[test]
fn a_record_without_phosphate_is_known_to_hold_none() {
    let over = Field { when: "phosphate_over = \"2\"", ..fields().remove(10) };
    let without = Given { p2o5: None, ..over.outside.clone() };
    assert_eq!(standing(&year(&over, vec![earlier(&without, false)]), "xx.rule"), "met");
}

#[test]
fn a_statement_shows_no_cap_that_counts_only_some_products() {
    let shown = |when: &str, counts: &str| {
        let value = format!("counts = \"{counts}\"\n{}", at_most("1"));
        let head = format!("nutrient = \"nitrogen_total\"\nunit = \"lb/ksf\"\n{when}");
        let law = book(&[("xx", rule("xx", "rule", "cap_year", &head, &value))]);
        law.tightest_year_cap(&codes(&["xx"]), None, Audience::Professional, day("2026-06-15")).is_some()
    };
    let liquid = "when = { forms = [\"liquid\"] }\n";
    assert!(shown("", "within_scope"), "about every product");
    assert!(shown(liquid, "all_products"), "whatever went down counts against it");
    assert!(!shown(liquid, "within_scope"), "what lies there is not all of it counted");
}
