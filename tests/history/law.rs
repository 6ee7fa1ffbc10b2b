//! Versions of the law that came to count after a year had ended: the statement of that year shows the caps as they are read now, and
//! says what it showed before. A new day of reading alone changes nothing on it.

mod gone;

use std::sync::Arc;

use domain::law::{EMBEDDED, Lawbook};
use harness::{TestApp, User, world::Company};
use serde_json::{Value, json};

const LATER: &str = "2027-03-04T15:00:00Z";

/// The built-in rule sets with another text of Maryland's.
fn law_with(change: impl Fn(&str) -> String) -> Arc<Lawbook> {
    let text = |name: &str, of: &str| if name == "us-md.toml" { change(of) } else { of.to_owned() };
    let texts: Vec<(&str, String)> = EMBEDDED.iter().map(|(name, of)| (*name, text(name, of))).collect();
    let texts: Vec<(&str, &str)> = texts.iter().map(|(name, text)| (*name, text.as_str())).collect();
    Arc::new(Lawbook::from_texts(&texts).unwrap())
}

fn read_on(text: &str, day: &str) -> String {
    let (before, rest) = text.split_once("last_checked = ").unwrap();
    format!("{before}last_checked = {day}{}", &rest[10..])
}

/// COMAR 15.20.10.09 A(2)(c) with the University's schedule lets 2.7 lb N a year through on tall fescue; an invented change 0.4.
fn lowered(text: &str) -> String {
    read_on(&text.replacen("tall_fescue = \"2.7\"", "tall_fescue = \"0.4\"", 1), "2027-02-01")
}

/// Starts another version of the server on the same records, the year after.
async fn under(company: Company, law: Arc<Lawbook>) -> Company {
    let folder = company.app.stop().await;
    let app = TestApp::reopen_under(folder, LATER, law).await;
    let owner = app.sign_in("owner", company.owner.id.clone()).await;
    let office = app.sign_in("office", company.office.id.clone()).await;
    Company { app, owner, office, ..company }
}

async fn statement(owner: &User, client: &str, year: u16) -> Value {
    let path = format!("/api/v1/statements?year={year}&client_id={client}");
    let mut told = owner.get(&path).await.expect(200).body;
    // The receipt is another one each time, as the moment of preparation is.
    told["receipt"] = Value::Null;
    told
}

fn corrected(statement: &Value) -> Vec<&str> {
    let gaps = statement["gaps"].as_array().unwrap().iter().filter_map(Value::as_str);
    gaps.filter(|gap| gap.starts_with("Corrected on")).collect()
}

#[tokio::test]
async fn another_version_of_the_law_is_told_on_the_statement_of_a_past_year() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "10").await;
    let company = under(company, Arc::new(Lawbook::embedded().unwrap())).await;
    let before = statement(&company.owner, &company.client, 2026).await;
    assert_eq!(before["sections"][0]["cap"]["limit_lb_per_1000_sqft"], "2.7");
    assert_eq!(corrected(&before), [""; 0]);

    // Read again, it says the same: the statement does not change by a letter.
    let company = under(company, law_with(|text| read_on(text, "2027-01-15"))).await;
    assert_eq!(statement(&company.owner, &company.client, 2026).await, before);
    let present = statement(&company.owner, &company.client, 2027).await;
    assert_eq!(present["rule_sets"][0]["last_checked"], "2027-01-15", "{}", present["rule_sets"]);

    // Another cap waits for the owner, and until then nothing changes.
    let company = under(company, law_with(lowered)).await;
    assert_eq!(statement(&company.owner, &company.client, 2026).await, before);
    let waits = company.owner.get("/api/v1/rule-sets/us-md/waiting").await.expect(200).body;
    let confirmation = json!({ "hash": waits["waits"]["hash"] });
    let _ = company.owner.put("/api/v1/rule-sets/us-md/confirmation", &confirmation).await.expect(200);
    let now = statement(&company.owner, &company.client, 2026).await;
    assert_eq!(now["sections"][0]["cap"]["limit_lb_per_1000_sqft"], "0.4");
    let read = before["rule_sets"][0]["last_checked"].as_str().unwrap();
    let set = before["rule_sets"][0]["name"].as_str().unwrap();
    let [of_set, front, behind] = corrected(&now)[..] else { panic!("{:?}", corrected(&now)) };
    let version = format!(
        "Corrected on 2027-03-04: {set}: its caps are told by the version read on 2027-02-01 (before the correction: the one read on {read})."
    );
    assert_eq!(of_set, version);
    let cap = |lawn: &str| {
        format!(
            "Corrected on 2027-03-04: 1 Street A, Sampletown, {lawn}: yearly cap on N of {set}: 0.4 lb per 1,000 sq ft (before the \
             correction: 2.7 lb per 1,000 sq ft)."
        )
    };
    assert_eq!([front, behind], [cap("front lawn"), cap("rear lawn")]);
    assert_eq!(now["rule_sets"][0]["last_checked"], "2027-02-01");
    // What went down is what it was.
    assert_eq!(now["sections"][0]["lines"], before["sections"][0]["lines"]);
    // The year in which it was confirmed is told by it from its first day, and has nothing to correct.
    let present = statement(&company.owner, &company.client, 2027).await;
    assert_eq!((corrected(&present), &present["rule_sets"][0]["last_checked"]), (Vec::new(), &json!("2027-02-01")));
    // After the next start the same is told.
    let company = under(company, law_with(lowered)).await;
    assert_eq!(statement(&company.owner, &company.client, 2026).await, now);
}

#[tokio::test]
async fn records_are_asked_again_by_a_version_that_asks_more() {
    // COMAR 15.20.10.13 B names what a record holds; an invented change of it asks for the customer's telephone number, too.
    let asks = |from: &'static str| {
        law_with(move |text| {
            let (before, rule) = text.split_once("id = \"us-md.record.fields\"").unwrap();
            let (old, rest) = rule.split_once("\n[[rule]]").unwrap();
            let value = old.split_once("[[rule.value]]").unwrap().1.replace("2013-10-28", from);
            let value = value.replace("\"date\"", "\"date\", \"customer_telephone\"");
            format!("{before}id = \"us-md.record.fields\"{old}\n[[rule.value]]{value}\n[[rule]]{rest}")
        })
    };
    let confirmed = async |company: &Company| {
        let waits = company.owner.get("/api/v1/rule-sets/us-md/waiting").await.expect(200).body;
        let confirmation = json!({ "hash": waits["waits"]["hash"] });
        let _ = company.owner.put("/api/v1/rule-sets/us-md/confirmation", &confirmation).await.expect(200);
    };
    let lacking = async |company: &Company| -> Vec<Value> {
        let list = company.owner.get("/api/v1/gaps?limit=200").await.expect(200).body;
        list["items"].as_array().unwrap().iter().map(|record| record["application_id"].clone()).collect()
    };
    let company = Company::in_maryland().await;
    let files = format!("/api/v1/products/{}/files?kind=label", company.feed);
    let _ = company.office.post_file(&files, "application/pdf", b"%PDF-1.7\n").await.expect(201);
    let record = company.put_down(&company.front, "10").await;
    assert_eq!(lacking(&company).await, [""; 0]);
    // Another cap asks no record for anything else, and neither does a duty that begins after the day of the work.
    let company = under(company, law_with(lowered)).await;
    confirmed(&company).await;
    let asked = |company: &Company| -> i64 {
        let book = rusqlite::Connection::open(company.app.file()).unwrap();
        book.query_row("SELECT count(*) FROM asked_again", [], |row| row.get(0)).unwrap()
    };
    assert_eq!(asked(&company), 0);
    let company = under(company, asks("2026-09-16")).await;
    confirmed(&company).await;
    assert_eq!((asked(&company), lacking(&company).await), (0, Vec::new()));
    let company = under(company, asks("2026-09-15")).await;
    assert_eq!(lacking(&company).await, [""; 0], "it does not count yet");
    confirmed(&company).await;
    assert_eq!(lacking(&company).await, [json!(record)]);
    let told = statement(&company.owner, &company.client, 2026).await["gaps"].to_string();
    assert!(told.contains("lacks the customer's telephone number (COMAR 15.20.10.13"), "{told}");
    // Of the year that is over it is said that its records were asked for less when it ended.
    assert!(told.contains("Corrected on 2027-03-04: "), "{told}");
    assert!(told.contains("what records lack is told by the version read on"), "{told}");
    let present = statement(&company.owner, &company.client, 2027).await["gaps"].to_string();
    assert!(!present.contains("what records lack"), "{present}");
    let found = server::book::verify::check_file(&company.app.file()).await.unwrap();
    assert!(found.faults.is_empty(), "{:?}", found.faults);
}

#[tokio::test]
async fn a_set_that_is_called_otherwise_keeps_its_name_on_a_past_statement() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "10").await;
    let company = under(company, Arc::new(Lawbook::embedded().unwrap())).await;
    let before = statement(&company.owner, &company.client, 2026).await;
    let renamed = |text: &str| read_on(text, "2027-01-15").replacen("name = \"", "name = \"The State of ", 1);
    let company = under(company, law_with(renamed)).await;
    let waits = company.owner.get("/api/v1/rule-sets/us-md/waiting").await.expect(200).body;
    let confirmation = json!({ "hash": waits["waits"]["hash"] });
    let _ = company.owner.put("/api/v1/rule-sets/us-md/confirmation", &confirmation).await.expect(200);
    assert_eq!(statement(&company.owner, &company.client, 2026).await, before);
    let present = statement(&company.owner, &company.client, 2027).await;
    assert_eq!(present["rule_sets"][0]["name"], "The State of Maryland", "{}", present["rule_sets"]);
}
