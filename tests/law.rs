//! The law over HTTP: what holds where and when, what changed, what a label and a record must say, and rule files of an
//! operator's own.

use std::{fs, path::Path};

use harness::{TestApp, approved, world::Company};
use serde_json::{Value, json};
use server::{rules_folder, serve};

fn rule<'a>(rules: &'a Value, id: &str) -> &'a Value {
    let found = rules["rules"].as_array().unwrap().iter().find(|rule| rule["rule"] == id);
    found.unwrap_or_else(|| panic!("{id} is not in {rules:#}"))
}

#[tokio::test]
async fn a_property_and_its_sections_are_read_the_law_of_a_day() {
    let company = Company::in_maryland().await;
    let address = format!("/api/v1/properties/{}/rules", company.property);
    let today = company.phone.get(&format!("{address}?on=2026-09-15")).await.expect(200).body;
    // COMAR 15.20.10.09 C(1), since 2013-10-28 (row MD-03).
    let quick = rule(&today, "us-md.professional.nitrogen.quick.application");
    assert_eq!(quick["in_force"], "in_force");
    assert!(quick["words"].as_str().unwrap().contains("0.7 lb"), "{quick:#}");
    assert_eq!(quick["citation"], "COMAR 15.20.10.09 C(1)");
    assert!(quick["href"].as_str().unwrap().starts_with("http"), "{quick:#}");
    // Duties that judge nothing are among them, and so are the company's own limits.
    assert_eq!(rule(&today, "us-md.retention")["kind"], "retention");
    assert!(today["rules"].as_array().unwrap().iter().any(|rule| rule["rule_set"] == "company"));
    let before = company.phone.get(&format!("{address}?on=2005-01-01")).await.expect(200).body;
    assert_ne!(rule(&before, "us-md.professional.nitrogen.quick.application")["in_force"], "in_force");
    // The strictest of it all for one product: 0.9 lb N in one application (MD-03), of which 0.7 quick.
    let address = format!("/api/v1/sections/{}/rules?on=2026-09-15", company.front);
    assert_eq!(company.phone.get(&address).await.expect(200).body["strictest"], json!(null));
    let strictest =
        company.phone.get(&format!("{address}&product_id={}", company.feed)).await.expect(200).body["strictest"]
            .clone();
    let cap = |nutrient: &str, per: &str| {
        let caps = strictest["caps"].as_array().unwrap();
        let found = caps.iter().find(|cap| cap["nutrient"] == nutrient && cap["per"] == per);
        found.unwrap_or_else(|| panic!("{strictest:#}"))["limit_lb_per_1000_sqft"].clone()
    };
    assert_eq!(cap("nitrogen_total", "application"), "0.9");
    assert_eq!(cap("nitrogen_quick", "application"), "0.7");
    assert_eq!(strictest["first_open_day"], "2026-09-15");
    let refused = company.phone.get(&format!("{address}&product_id={}", company.front)).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["product_id"]);
    // Other people's properties are not there.
    let (_, stranger) = harness::world::technician(&company.app, &company.office, &company.owner, "Tech 02").await;
    let _ = stranger.get(&address).await.problem(404, "not-found");
}

#[tokio::test]
async fn what_changed_between_two_days_is_told_with_before_and_after() {
    let company = Company::in_maryland().await;
    let address = "/api/v1/rule-sets/us-md/changes?from=2013-01-01&to=2026-12-31";
    let answer = company.phone.get(address).await.expect(200).body;
    let changes = answer["changes"].as_array().unwrap();
    assert!(!changes.is_empty());
    let days: Vec<&str> = changes.iter().map(|change| change["on"].as_str().unwrap()).collect();
    assert!(days.is_sorted() && days.iter().all(|day| *day > "2013-01-01"), "{days:?}");
    for change in changes {
        assert_ne!(change["before"]["words"], change["after"]["words"], "{change:#}");
    }
    let none = company.phone.get("/api/v1/rule-sets/us-md/changes?from=2026-01-01&to=2026-01-01").await.expect(200);
    assert_eq!(none.body["changes"], json!([]));
    let back = company.phone.get("/api/v1/rule-sets/us-md/changes?from=2026-01-02&to=2026-01-01").await;
    assert_eq!(back.problem(422, "invalid").faults(), ["to"]);
    let _ = company
        .phone
        .get("/api/v1/rule-sets/us-xx/changes?from=2026-01-01&to=2026-01-02")
        .await
        .problem(404, "not-found");
}

#[tokio::test]
async fn a_label_is_held_against_the_rules_that_bind_labels() {
    let company = Company::in_maryland().await;
    let mut label = harness::world::label("24", "2", "0", "10");
    label["product_limit_lb_per_1000_sqft"] = json!("5");
    let hot = harness::world::product(&company.office, "Feed 24-0-10 (little slow)", &label).await;
    // 5 lb of 24 % are 1.2 lb N, above the 0.9 lb that a label may direct in Maryland (row MD-02), and 2 of 24 is less than
    // a fifth slow.
    let address = format!("/api/v1/products/{hot}/label-check?rule_set=us-md&on=2026-09-15");
    let answer = company.office.get(&address).await.expect(200).body;
    assert_eq!(answer["verdict"], "stop", "{answer:#}");
    let rules: Vec<&str> =
        answer["findings"].as_array().unwrap().iter().map(|finding| finding["rule"].as_str().unwrap()).collect();
    assert!(rules.contains(&"us-md.label.nitrogen.total.application"), "{rules:?}");
    assert!(rules.contains(&"us-md.label.nitrogen.slow_share"), "{rules:?}");
    let unknown = company.office.get(&address.replace("us-md", "us-xx")).await.problem(422, "invalid");
    assert_eq!(unknown.faults(), ["rule_set"]);
}

#[tokio::test]
async fn a_record_is_held_against_what_the_law_wants_written() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "20").await;
    let duties = company.phone.get(&format!("/api/v1/applications/{id}/duties")).await.expect(200).body;
    // COMAR 15.20.10.13 (row MD-27): everything it names but the label stands in the record; kept three years (row MD-28).
    let fields: Vec<&str> =
        duties["required"].as_array().unwrap().iter().map(|field| field["field"].as_str().unwrap()).collect();
    assert!(fields.contains(&"label_copy") && fields.contains(&"total_amount"), "{fields:?}");
    // The label itself is not in the book, only its figures.
    assert_eq!(duties["missing"].as_array().unwrap().len(), 1);
    assert_eq!(duties["missing"][0]["field"], "label_copy");
    assert_eq!(duties["kept_until"]["until"], "2029-09-15");
}

#[tokio::test]
async fn the_owner_sees_which_reports_the_law_wants() {
    let company = Company::in_maryland().await;
    let due = async || {
        company.owner.get("/api/v1/statements/company?year=2026").await.expect(200).body["reports_due"].clone()
    };
    assert_eq!(due().await, json!([]), "nothing was put down yet");
    company.put_down(&company.front, "20").await;
    let reports = due().await;
    // Maryland's licensees report for the calendar year by March 1.
    assert_eq!(reports[0]["due"], "2027-03-01", "{reports:#}");
}

const LEE: &str = r#"code = "us-fl-lee"
name = "A county, Florida"
level = "county"
parent = "us-fl"
last_checked = 2026-03-01
coverage = "An invented closed season only."

[[rule]]
id = "us-fl-lee.season"
kind = "window"
binds = "applicator"
audience = ["professional", "household"]
unit = "lb/ksf"

[[rule.value]]
from = 2016-10-01
first_barred = "06-01"
last_barred = "09-30"
per = "application"
caps = { nitrogen_total = "0" }
cite = "An invented ordinance"
href = "https://example.org/ordinance"
mark = "read"
"#;

fn folder(files: &[(&str, &str)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in files {
        fs::write(folder.path().join(name), text).unwrap();
    }
    folder
}

#[tokio::test]
async fn an_operators_own_rule_file_judges_like_any_other() {
    let folder = folder(&[("us-fl-lee.toml", LEE), ("notes.txt", "not a rule file")]);
    let law = rules_folder::read(folder.path()).unwrap();
    let told = rules_folder::summary_lines(folder.path(), &law);
    assert_eq!(
        told,
        [
            "us-fl-lee: A county, Florida, within us-fl, 1 rule, last checked 2026-03-01",
            "notes.txt: left alone; it is no rule file"
        ]
    );
    let company = Company::on(TestApp::empty_under(law).await, &["us-fl-lee"]).await;
    let check = company.phone.post("/api/v1/checks", &company.plan(&company.front, "5")).await.expect(200).body;
    assert_eq!(check["decision"]["verdict"], "stop");
    assert!(check.to_string().contains("us-fl-lee.season"), "{check:#}");
    let list = company.phone.get("/api/v1/rule-sets").await.expect(200).body;
    assert!(list["items"].as_array().unwrap().iter().any(|set| set["code"] == "us-fl-lee"));
}

#[test]
fn a_faulty_file_stops_the_start_and_every_fault_is_told() {
    let without_citation = LEE.replace("cite = \"An invented ordinance\"\n", "");
    let no_such_parent = LEE.replace("us-fl-lee", "us-fl-hendry").replace("parent = \"us-fl\"", "parent = \"us-zz\"");
    let folder = folder(&[("us-fl-lee.toml", &without_citation), ("us-fl-hendry.toml", &no_such_parent)]);
    fs::write(folder.path().join("binary.toml"), [0xff, 0xfe, 0x00]).unwrap();
    let refused = serve::law(Some(folder.path())).unwrap_err().to_string();
    assert!(refused.contains("nothing was loaded"), "{refused}");
    assert!(refused.contains("binary.toml, field `file`: cannot be read as text"), "{refused}");
    fs::create_dir(folder.path().join("more")).unwrap();
    let refused = serve::law(Some(folder.path())).unwrap_err().to_string();
    assert!(refused.contains("more, field `file`: is a folder"), "all of them at once: {refused}");
    assert!(refused.contains("us-fl-lee.toml, rule us-fl-lee.season, field `cite`"), "{refused}");
    assert!(refused.contains("us-fl-hendry.toml, field `parent`: `us-zz` is no rule set"), "{refused}");
    let nowhere = serve::law(Some(Path::new("nowhere"))).unwrap_err().to_string();
    assert!(nowhere.contains("the folder cannot be read"), "{nowhere}");
    let empty = tempfile::tempdir().unwrap();
    let nothing = serve::law(Some(empty.path())).unwrap_err().to_string();
    assert!(nothing.contains("holds no rule file"), "{nothing}");
    assert!(serve::law(None).is_ok());
}

#[test]
fn the_schema_of_rule_files_is_the_committed_one_and_fits_the_files() {
    let schema = domain::law::rule_file_schema();
    let advice = "the schema of rule files changed; whoever writes rule files has an older one.";
    approved::compare("openapi/rule-file.schema.json", &format!("{schema:#}\n"), advice);
    let validator = jsonschema::validator_for(&schema).unwrap();
    let json_of = |text: &str| {
        let table: toml::Table = text.parse().unwrap();
        serde_json::to_value(table).unwrap()
    };
    for (file, text) in domain::law::EMBEDDED.iter().chain(&[("us-fl-lee.toml", LEE)]) {
        let faults: Vec<String> =
            validator.iter_errors(&dates_as_text(json_of(text))).map(|fault| fault.to_string()).collect();
        assert!(faults.is_empty(), "{file}: {faults:#?}");
    }
    let faulty = json_of(&LEE.replace("cite =", "citation ="));
    assert!(!validator.is_valid(&dates_as_text(faulty)), "a wrong field is no fault of the schema");
}

/// A date of TOML as JSON has it: TOML's reader gives it a member of its own.
fn dates_as_text(value: Value) -> Value {
    match value {
        Value::Object(members) if members.contains_key("$__toml_private_datetime") => {
            members["$__toml_private_datetime"].clone()
        }
        Value::Object(members) => members.into_iter().map(|(name, value)| (name, dates_as_text(value))).collect(),
        Value::Array(items) => items.into_iter().map(dates_as_text).collect(),
        other => other,
    }
}
