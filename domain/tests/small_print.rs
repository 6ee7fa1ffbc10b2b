//! The small print of reading and stacking the law. The rule files here are invented; each expectation follows from their
//! words.

use domain::{
    application::{Audience, Purpose},
    decision::decide,
    equipment::Equipment,
    land::Species,
    law::{CapPer, Intent, LawFault, Lawbook, nutrient::Nutrient},
};

use crate::facts::{Given, amount, day};

pub fn head(code: &str) -> String {
    format!(
        "code = \"{code}\"\nname = \"Nowhere\"\nlevel = \"state\"\nlast_checked = 2026-11-20\ncoverage = \"Invented.\"\n"
    )
}

/// A rule of a set with what its head and its one value say beside what every rule says.
pub fn rule(code: &str, name: &str, kind: &str, more: &str, value: &str) -> String {
    format!(
        "\n[[rule]]\nid = \"{code}.{name}\"\nkind = \"{kind}\"\nbinds = \"applicator\"\naudience = [\"professional\"]\n{more}\n\
         [[rule.value]]\nfrom = 2014-01-01\n{value}\ncite = \"Example Code 1\"\nhref = \"https://law.example/1\"\nmark = \"read\"\nrows = [\"XX-01\"]\n"
    )
}

pub const RATE: &str = "nutrient = \"nitrogen_total\"\nunit = \"lb/ksf\"\n";

pub fn at_most(value: &str) -> String {
    format!("comparator = \"at_most\"\nvalue = \"{value}\"")
}

/// A cap of the whole year.
pub fn of_a_year(code: &str, name: &str, when: &str, value: &str) -> String {
    let value = format!("counts = \"all_products\"\n{}", at_most(value));
    rule(code, name, "cap_year", &format!("{RATE}{when}\n"), &value)
}

pub fn read(sets: &[(&str, String)]) -> Result<Lawbook, Vec<LawFault>> {
    let files: Vec<(String, String)> =
        sets.iter().map(|(code, rules)| (format!("{code}.toml"), format!("{}{rules}", head(code)))).collect();
    let texts: Vec<(&str, &str)> = files.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
    Lawbook::from_texts(&texts)
}

pub fn book(sets: &[(&str, String)]) -> Lawbook {
    read(sets).expect("invented law")
}

pub fn codes(codes: &[&str]) -> Vec<String> {
    codes.iter().map(|code| (*code).to_owned()).collect()
}

#[test]
fn a_report_due_on_the_last_of_february_is_due_in_every_year() {
    let due = rule("xx", "report", "report", "", "words = \"report it\"\ndue = \"02-29\"");
    let book = book(&[("xx", due)]);
    let on = |year| book.reports_due(&codes(&["xx"]), Audience::Professional, year, amount("1"))[0].due;
    assert_eq!((on(2026), on(2027)), (day("2027-02-28"), day("2028-02-29")));
}

#[test]
fn a_field_that_is_there_and_wrong_is_not_called_missing() {
    for (field, value) in
        [("value", "comparator = \"at_most\"\nvalue = 7"), ("comparator", "comparator = \"nearly\"\nvalue = \"7\"")]
    {
        let faults = read(&[("xx", rule("xx", "nitrogen", "cap_application", RATE, value))]).expect_err("a bad value");
        assert_eq!(faults.iter().map(|fault| fault.field.as_str()).collect::<Vec<_>>(), [field], "{faults:#?}");
        assert!(!faults[0].what.contains("missing"), "{faults:#?}");
    }
}

#[test]
fn a_company_lies_in_no_place() {
    let company = head("company").replace("\"state\"", "\"company\"\nparent = \"xx\"");
    let texts = [("xx.toml", head("xx")), ("company.toml", company)];
    let texts: Vec<(&str, &str)> = texts.iter().map(|(name, text)| (*name, text.as_str())).collect();
    let faults = Lawbook::from_texts(&texts).expect_err("a company in a state");
    let parent: Vec<&LawFault> = faults.iter().filter(|fault| fault.field == "parent").collect();
    assert!(parent.iter().any(|fault| fault.what == "does not belong to the company's set"), "{faults:#?}");
}

#[test]
fn what_is_not_gathered_is_said_once() {
    let decision = decide(&book(&[]), &codes(&["us-yy", "us-yy", "us-zz"]), &Given::default().facts(day("2026-06-15")));
    let said = |rule: &str| decision.findings.iter().filter(|finding| finding.rule == rule).count();
    assert_eq!((said("law.us-yy"), said("law.us-zz")), (1, 1), "{:#?}", decision.findings);
}

#[test]
fn the_application_before_which_a_report_lies_is_counted_in_words() {
    for (number, word) in [("1", "first"), ("2", "second"), ("3", "third"), ("4", "4th")] {
        let value = format!("application = {number}\nreport_months = 36");
        let report = rule("xx", "report", "soil_report_before", "nutrient = \"phosphate\"\n", &value);
        let rules = book(&[("xx", report)]).on_day(&codes(&["xx"]), day("2026-06-15"));
        let told = serde_json::to_string(&rules).expect("the rules");
        assert!(told.contains(&format!("lies before the {word} application of P2O5")), "{told}");
    }
}

fn yearly(book: &Lawbook, sets: &[&str], species: Species) -> (String, String) {
    let given = Given { n: Some("20".into()), slow_n: Some("14".into()), ..Given::default() };
    yearly_of(book, sets, species, &given).expect("a yearly cap")
}

fn yearly_of(book: &Lawbook, sets: &[&str], species: Species, given: &Given) -> Option<(String, String)> {
    let label = given.label();
    let intent = Intent {
        on: day("2026-06-15"),
        audience: Audience::Professional,
        kind: Some(domain::land::PropertyKind::Lawn),
        purpose: Purpose::Maintenance,
        label: &label,
        species: Some(species),
        equipment: Equipment::DropSpreader,
    };
    let caps = book.strictest(&codes(sets), &intent).caps;
    let year = |nutrient: Nutrient, per: CapPer| (nutrient, per) == (Nutrient::NitrogenTotal, CapPer::Year);
    let cap = caps.iter().find(|cap| year(cap.nutrient, cap.per))?;
    Some((cap.limit_lb_per_1000_sqft.to_string(), cap.rule.0.clone()))
}

#[test]
fn a_bar_on_local_rules_about_phosphorus_leaves_other_products_to_the_town() {
    let bar = "\n[preempts_local]\nwords = \"No town may.\"\nreach = \"phosphorus\"\ncite = \"Code 9\"\nhref = \"https://law.example/9\"\nmark = \"read\"\n";
    let town = head("xx-town").replace("\"state\"", "\"municipality\"\nparent = \"xx\"");
    let texts = [
        ("xx.toml", format!("{}{bar}{}", head("xx"), of_a_year("xx", "year", "", "9"))),
        ("xx-town.toml", format!("{town}{}", of_a_year("xx-town", "year", "", "3"))),
    ];
    let texts: Vec<(&str, &str)> = texts.iter().map(|(name, text)| (*name, text.as_str())).collect();
    let book = Lawbook::from_texts(&texts).expect("a state and a town");
    let cap = |phosphate: &str| {
        let given = Given { n: Some("20".into()), p2o5: Some(phosphate.into()), ..Given::default() };
        yearly_of(&book, &["xx-town"], Species::Zoysia, &given).map(|(_, rule)| rule)
    };
    assert_eq!(cap("0").as_deref(), Some("xx-town.year"));
    assert_eq!(cap("1").as_deref(), Some("xx.year"));
}

#[test]
fn each_species_has_the_cap_of_its_own_line() {
    // University of Maryland schedule: fine fescue 1.4, zoysia 1.8, tall fescue 2.7 (rows MD-07 to MD-09).
    let book = crate::facts::book();
    let cap = |species| yearly(book, &["us-md"], species).0;
    assert_eq!(
        [Species::TallFescue, Species::FineFescue, Species::Zoysia].map(cap),
        ["2.7".to_owned(), "1.4".to_owned(), "1.8".to_owned()]
    );
}

#[test]
fn of_two_equal_caps_the_first_set_is_named() {
    let cap = |code: &str| of_a_year(code, "year", "", "3");
    let book = book(&[("xx", cap("xx")), ("yy", cap("yy"))]);
    assert_eq!(yearly(&book, &["xx", "yy"], Species::Zoysia).1, "xx.year");
    assert_eq!(yearly(&book, &["yy", "xx"], Species::Zoysia).1, "yy.year");
}

#[test]
fn a_cap_on_one_form_is_a_cap_of_the_lawn_and_one_on_few_products_is_not() {
    let shown = |when: &str| {
        let rules = format!("{}{}", of_a_year("xx", "all", "", "4"), of_a_year("xx", "some", when, "2"));
        let book = book(&[("xx", rules)]);
        let cap =
            book.tightest_year_cap(&codes(&["xx"]), None, Audience::Professional, day("2026-06-15")).expect("a cap");
        cap.limit_lb_per_1000_sqft.to_string()
    };
    assert_eq!(shown("when = { forms = [\"liquid\"] }"), "2");
    assert_eq!(shown("when = { enhanced_efficiency = true }"), "4");
}

#[test]
fn an_empty_text_and_one_without_end_are_refused() {
    let whole = rule("xx", "nitrogen", "cap_application", RATE, &at_most("0.8"));
    let refused = |cite: &str| {
        let text = whole.replace("\"Example Code 1\"", &format!("\"{cite}\""));
        let faults = read(&[("xx", text)]).expect_err("a bad citation");
        assert!(faults.iter().all(|fault| fault.field == "cite"), "{faults:#?}");
        faults[0].what.clone()
    };
    assert_eq!(refused("  "), "is empty");
    assert!(refused(&"x".repeat(5_000)).starts_with("is longer than "));
}

#[test]
fn two_values_from_one_day_overlap_and_are_in_order() {
    let value = |amount: &str| {
        format!(
            "{}\ncite = \"C\"\nhref = \"https://law.example/1\"\nmark = \"read\"\nrows = [\"XX-01\"]",
            at_most(amount)
        )
    };
    let twice = format!("{}\n\n[[rule.value]]\nfrom = 2014-01-01\n{}", value("0.8"), at_most("0.9"));
    let faults = read(&[("xx", rule("xx", "nitrogen", "cap_application", RATE, &twice))]).expect_err("two values");
    assert_eq!(faults.len(), 1, "{faults:#?}");
    assert!(faults[0].what.contains("they overlap"), "{faults:#?}");
}

#[test]
fn what_a_cap_counts_and_a_release_spans_is_said() {
    let told = |rules: String| {
        let rules = book(&[("xx", rules)]).on_day(&codes(&["xx"]), day("2026-06-15"));
        serde_json::to_string(&rules).expect("the rules")
    };
    let counting =
        |counts: &str| told(rule("xx", "year", "cap_year", RATE, &format!("counts = \"{counts}\"\n{}", at_most("3"))));
    assert!(counting("within_scope").contains("counting only such products"));
    assert!(!counting("all_products").contains("counting only such products"));
    let release = |per: &str| {
        let head = format!("{RATE}when = {{ enhanced_efficiency = true }}\n");
        told(rule("xx", "release", "release", &head, &format!("per = \"{per}\"\n{}", at_most("0.7"))))
    };
    assert!(release("month").contains("lb N on 1,000 sq ft in a month"), "{}", release("month"));
    assert!(release("any_time").contains("lb N on 1,000 sq ft at any time"), "{}", release("any_time"));
}

#[test]
fn the_fields_of_a_record_are_named() {
    let fields = "fields = [\"customer_name\", \"site_address\", \"applicator_name\"]";
    let book = book(&[("xx", rule("xx", "record", "record_fields", "", fields))]);
    let told = serde_json::to_string(&book.on_day(&codes(&["xx"]), day("2026-06-15"))).expect("the rules");
    for words in ["the customer's name", "the address of the site", "the applicator's name"] {
        assert!(told.contains(words), "{words}: {told}");
    }
}

#[test]
fn slow_nitrogen_is_what_is_not_quick() {
    // 10 lb of 20-0-0 of which 14 is slow hold 2 lb of nitrogen, 1.4 of them slow.
    let label = Given { n: Some("20".into()), slow_n: Some("14".into()), ..Given::default() }.label();
    let nutrients = label.nutrients_in(amount("10"));
    assert_eq!(Nutrient::NitrogenSlow.load(&nutrients), 14_000_000_000);
}

#[test]
fn a_closed_season_is_no_cap_and_closes_for_what_it_bars_alone() {
    let window = "first_barred = \"12-01\"\nlast_barred = \"02-15\"\nper = \"application\"\ncaps = { nitrogen_total = \"0\", phosphate = \"0.2\" }";
    let book = book(&[("xx", rule("xx", "winter", "window", "unit = \"lb/ksf\"\n", window))]);
    let strictest = |n: &str, p: &str| {
        let given = Given { n: Some(n.into()), p2o5: Some(p.into()), ..Given::default() };
        let label = given.label();
        let intent = Intent {
            on: day("2026-01-10"),
            audience: Audience::Professional,
            kind: Some(domain::land::PropertyKind::Lawn),
            purpose: Purpose::Maintenance,
            label: &label,
            species: None,
            equipment: Equipment::DropSpreader,
        };
        let answer = book.strictest(&codes(&["xx"]), &intent);
        let caps: Vec<String> = answer.caps.iter().map(|cap| cap.limit_lb_per_1000_sqft.to_string()).collect();
        (answer.closed_by.len(), caps)
    };
    assert_eq!(strictest("20", "0"), (1, vec![]), "nitrogen is barred, and there is no phosphate to cap");
    assert_eq!(strictest("0", "10"), (0, vec!["0.2".to_owned()]), "no nitrogen: open, with the cap on phosphate");
}
