//! Rule sets whose file is gone: no statement that they bind is told otherwise without a word.

use std::sync::Arc;

use domain::law::{EMBEDDED, Lawbook};
use harness::{TestApp, world::Company};
use serde_json::json;
use server::rules_folder::read_again;

use super::{statement, under};
use crate::pages::visitor::Visitor;

/// An invented county of New York.
const COUNTY: &str = r#"
code = "us-ny-zz"
name = "Zz County"
level = "county"
parent = "us-ny"
last_checked = 2025-11-25
coverage = "An invented cap."

[[rule]]
id = "us-ny-zz.cap"
kind = "cap_year"
binds = "applicator"
audience = ["professional", "household"]
nutrient = "nitrogen_total"
unit = "lb/ksf"

[[rule.value]]
from = 2016-10-01
comparator = "at_most"
value = "1"
counts = "all_products"
cite = "An invented ordinance"
href = "https://example.org/ordinance"
mark = "read"
"#;

fn with_the_county() -> Lawbook {
    Lawbook::from_texts(&[EMBEDDED, &[("us-ny-zz.toml", COUNTY)]].concat()).unwrap()
}

async fn notes(company: &Company, year: u16) -> String {
    let path = format!("/api/v1/statements/company?year={year}");
    company.owner.get(&path).await.expect(200).body["notes"].to_string()
}

#[tokio::test]
async fn a_rule_set_whose_file_is_gone_is_told_on_every_statement() {
    let app = TestApp::empty_under(with_the_county()).await;
    let company = Company::on(app, &["us-ny", "us-ny-zz"]).await;
    let record = company.put_down(&company.front, "10").await;
    let company = under(company, Arc::new(with_the_county())).await;
    let before = statement(&company.owner, &company.client, 2026).await;
    assert_eq!(before["sections"][0]["cap"]["limit_lb_per_1000_sqft"], "1");
    assert_eq!(notes(&company, 2026).await, "[]");

    let company = under(company, Arc::new(Lawbook::embedded().unwrap())).await;
    for year in [2026, 2027] {
        let now = statement(&company.owner, &company.client, year).await;
        assert_ne!(now["sections"][0]["cap"]["limit_lb_per_1000_sqft"], "1");
        let told = now["gaps"].to_string();
        let gone = "Zz County: this rule set binds ground that is named here, and this server does not have its file any more.";
        assert!(told.contains(gone) && told.contains("It was read last on 2025-11-25."), "{told}");
        let cap =
            "front lawn: yearly cap on N of Zz County: none is shown (while its file was here: 1 lb per 1,000 sq ft).";
        assert!(told.contains(cap), "{told}");
        let read = json!({ "code": "us-ny-zz", "name": "Zz County", "last_checked": "2025-11-25" });
        assert!(now["rule_sets"].as_array().unwrap().contains(&read), "{}", now["rule_sets"]);
        assert!(notes(&company, year).await.contains(gone));
    }
    // Nor does a record pass for whole, or the lawn for one of New York alone.
    let duties = company.office.get(&format!("/api/v1/applications/{record}/duties")).await.expect(200).body;
    let gap = duties["gaps"].as_array().unwrap().iter().find(|gap| gap["kind"] == "rule_set").unwrap();
    assert_eq!((&gap["closing"], &gap["source"]["rule"]), (&json!("put_the_file_back"), &json!("us-ny-zz")), "{gap}");
    let list = company.office.get("/api/v1/gaps").await.expect(200).body;
    let gaps = list["items"].as_array().unwrap().iter().flat_map(|one| one["gaps"].as_array().unwrap());
    assert!(gaps.into_iter().any(|gap| gap["kind"] == "rule_set"), "{list:#}");
    let visitor = Visitor::named(&company, "office").await;
    let unknown = "what the rule set “us-ny-zz” asks of it: it bound the work, and this server does not have its file";
    assert!(visitor.open(&format!("/records/{record}")).await.html.contains(unknown));
    let today = visitor.open("/office").await.html;
    assert!(today.contains("“us-ny-zz” binds 1 property, and this server does not have its file"), "{today}");
    let property = visitor.open(&format!("/office/properties/{}", company.property)).await.html;
    assert!(property.contains("us-ny-zz: this server does not have its file"), "{property}");
    // With the file back, all is as it was.
    let company = under(company, Arc::new(with_the_county())).await;
    assert_eq!(statement(&company.owner, &company.client, 2026).await, before);
    assert_eq!(notes(&company, 2026).await, "[]");
}

#[tokio::test]
async fn a_file_that_goes_while_the_server_works_is_told_from_then_on() {
    let app = TestApp::empty_under(with_the_county()).await;
    let company = Company::on(app, &["us-ny", "us-ny-zz"]).await;
    company.put_down(&company.front, "10").await;
    let before = statement(&company.owner, &company.client, 2026).await;
    let past = statement(&company.owner, &company.client, 2025).await;
    // The operator takes the county's file away from beside the company's own, and puts it back.
    let folder = tempfile::tempdir().unwrap();
    let (name, text) = EMBEDDED.iter().find(|(name, _)| *name == "company.toml").unwrap();
    std::fs::write(folder.path().join(name), text).unwrap();
    read_again(company.app.beside(), folder.path()).await;
    let gone = "this server does not have its file any more. Neither its caps nor what it asks of records is shown. It was read last on \
                2025-11-25.";
    for year in [2025, 2026] {
        let now = statement(&company.owner, &company.client, year).await["gaps"].to_string();
        assert!(now.contains(gone), "{year}: {now}");
    }
    std::fs::write(folder.path().join("us-ny-zz.toml"), COUNTY).unwrap();
    read_again(company.app.beside(), folder.path()).await;
    assert_eq!(statement(&company.owner, &company.client, 2026).await, before);
    assert_eq!(statement(&company.owner, &company.client, 2025).await, past);
}
