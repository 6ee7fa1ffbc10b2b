//! A year that counts only some products counts what lies on a lawn by what it was, and what a clearance holds by what it will be:
//! the labels of both are known. The law here is invented; each expectation follows from its words.

use domain::law::Lawbook;
use harness::{
    TestApp, new_id,
    world::{self, Company},
};
use serde_json::{Value, json};

/// A field of a scope, and what a label inside of it and one outside have instead of `plain`.
const FIELDS: [(&str, Change, Change); 8] = [
    ("forms = [\"liquid\"]", ("form", "\"liquid\""), PLAIN),
    ("enhanced_efficiency = true", ("enhanced_efficiency", "true"), PLAIN),
    ("organic = false", PLAIN, ("organic", "true")),
    ("labelled_for_establishment = true", ("labelled_for_establishment", "true"), PLAIN),
    ("compost = false", PLAIN, ("compost", "true")),
    ("slow_share_at_least = \"20\"", PLAIN, ("slow_nitrogen_percent", "\"3.99\"")),
    ("slow_share_below = \"20\"", ("slow_nitrogen_percent", "\"3.99\""), PLAIN),
    ("phosphate_over = \"2\"", ("phosphate_percent", "\"2.01\""), PLAIN),
];

/// A member of a label, and what stands there as JSON.
type Change = (&'static str, &'static str);

const PLAIN: Change = ("potash_percent", "\"1\"");

/// A state whose rules each give a year 1 lb of nitrogen of the products of a scope, and nothing else.
fn law() -> Lawbook {
    let mut text = "code = \"us-zz\"\nname = \"An invented state\"\nlevel = \"state\"\nlast_checked = 2026-03-01\n\
                    coverage = \"Invented years only.\"\nlocal_rules = \"absent\"\n"
        .to_owned();
    for (at, (when, ..)) in FIELDS.iter().enumerate() {
        let rule = format!(
            "[[rule]]\nid = \"us-zz.year{at}\"\nkind = \"cap_year\"\nbinds = \"applicator\"\n\
             audience = [\"professional\", \"household\"]\nnutrient = \"nitrogen_total\"\nunit = \"lb/ksf\"\nwhen = {{ {when} }}\n\
             [[rule.value]]\nfrom = 2016-10-01\ncomparator = \"at_most\"\nvalue = \"1\"\ncounts = \"within_scope\"\n\
             cite = \"An invented act\"\nhref = \"https://example.org/act\"\nmark = \"read\"\n"
        );
        text.push_str(&rule);
    }
    Lawbook::from_texts(&[("us-zz.toml", &text)]).unwrap()
}

async fn product(company: &Company, name: &str, (member, value): Change) -> String {
    let mut label = world::label("20", "4", "2", "1");
    label[member] = value.parse().unwrap();
    world::product(&company.office, name, &label).await
}

/// A record or a plan for another product.
fn of(mut about: Value, product: &str) -> Value {
    about["product_id"] = json!(product);
    for member in ["lot_id", "visit_id"] {
        about.as_object_mut().unwrap().remove(member);
    }
    about
}

/// What the rule says of 0.5 lb N of a product: `broken`, or null where it is met.
async fn asked(company: &Company, rule: &str, section: &str, product: &str) -> Value {
    let plan = of(company.plan(section, "2.5"), product);
    let decision = company.phone.post("/api/v1/checks", &plan).await.expect(200).body["decision"].clone();
    let of_it = |list: &str| decision[list].as_array().unwrap().iter().find(|one| one["rule"] == rule).cloned();
    let found = of_it("findings").map(|found| found["outcome"].clone());
    assert!(found.is_some() || of_it("met").is_some(), "{rule} was not asked: {decision:#}");
    found.unwrap_or_default()
}

#[tokio::test]
async fn what_lies_on_a_lawn_is_counted_by_what_it_was() {
    let company = Company::on(TestApp::empty_under(law()).await, &["us-zz"]).await;
    for (at, (when, inside, outside)) in FIELDS.into_iter().enumerate() {
        let rule = format!("us-zz.year{at}");
        let inside = product(&company, &format!("Inside {at}"), inside).await;
        let outside = product(&company, &format!("Outside {at}"), outside).await;
        for (earlier, expected) in [(&outside, Value::Null), (&inside, json!("broken"))] {
            // 0.6 lb N lie there, or are to lie there by a clearance.
            let lawn = world::section(&company.office, &company.property, &format!("lawn {at}"), "1000").await;
            let record = of(company.record(&lawn, "3"), earlier);
            let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await.expect(201);
            assert_eq!(asked(&company, &rule, &lawn, &inside).await, expected, "put down: {when}");
            let lawn = world::section(&company.office, &company.property, &format!("other {at}"), "1000").await;
            let plan = of(company.plan(&lawn, "3"), earlier);
            let _ = company.phone.put(&format!("/api/v1/clearances/{}", new_id()), &plan).await.expect(201);
            assert_eq!(asked(&company, &rule, &lawn, &inside).await, expected, "held: {when}");
        }
    }
}
