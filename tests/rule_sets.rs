//! A new version of a rule set: what it changes is seen before it counts, the owner lets it count, and nobody is held up by one that
//! changes nothing for anybody.

use std::sync::Arc;

use domain::law::{EMBEDDED, Lawbook};
use harness::{TODAY, TestApp, User, world::Company};
use rusqlite::Connection;
use serde_json::{Value, json};
use server::book::verify::check_file;
use tokio::task::JoinSet;

use crate::pages::visitor::Visitor;

const TOTAL: &str = "us-md.professional.nitrogen.total.application";
const WAITING: &str = "/api/v1/rule-sets/us-md/waiting";
const CONFIRMATION: &str = "/api/v1/rule-sets/us-md/confirmation";

/// The built-in rule sets with other texts of some.
/// A rule set's code, and what becomes of its text.
type Change<'a> = (&'a str, &'a dyn Fn(&str) -> String);

fn law_of(changes: &[Change<'_>], added: &[(&str, &str)]) -> Lawbook {
    let text = |name: &str, text: &str| {
        changes.iter().find(|change| change.0 == name).map_or_else(|| text.to_owned(), |change| change.1(text))
    };
    let texts: Vec<(&str, String)> = EMBEDDED.iter().map(|(name, of)| (*name, text(name, of))).collect();
    let texts: Vec<(&str, &str)> = texts.iter().map(|(name, text)| (*name, text.as_str())).collect();
    Lawbook::from_texts(&[texts, added.to_vec()].concat()).unwrap()
}

/// The built-in rule sets with another text of one.
fn law_with(file: &str, change: impl Fn(&str) -> String) -> Arc<Lawbook> {
    Arc::new(law_of(&[(file, &change)], &[]))
}

/// An invented Maryland in which no place has rules of its own.
fn without_places(text: &str) -> String {
    text.replacen("level = \"state\"", "level = \"state\"\nlocal_rules = \"absent\"", 1)
}

/// An invented county or town, with an invented closed season.
fn place(level: &str, code: &str, parent: &str) -> String {
    format!(
        r#"code = "{code}"
name = "An invented place"
level = "{level}"
parent = "{parent}"
last_checked = 2026-03-01
coverage = "An invented closed season only."

[[rule]]
id = "{code}.season"
kind = "window"
binds = "applicator"
audience = ["professional", "household"]
unit = "lb/ksf"

[[rule.value]]
from = 2016-10-01
first_barred = "12-01"
last_barred = "02-15"
per = "application"
caps = {{ nitrogen_total = "0" }}
cite = "An invented ordinance"
href = "https://example.org/ordinance"
mark = "read"
"#
    )
}

/// Does to the tables what their triggers forbid, and puts the triggers back.
fn against_triggers(company: &Company, triggers: &[&str], change: &str) {
    let book = Connection::open(company.app.file()).unwrap();
    let keeper = |name: &&str| -> String {
        let made = "SELECT sql FROM sqlite_schema WHERE name = $1";
        book.query_row(made, [name], |row| row.get(0)).unwrap()
    };
    let keepers: Vec<String> = triggers.iter().map(keeper).collect();
    let drops: Vec<String> = triggers.iter().map(|name| format!("DROP TRIGGER {name}")).collect();
    book.execute_batch(&format!("{}; {change}; {};", drops.join("; "), keepers.join("; "))).unwrap();
}

fn told(entry: &Value) -> Value {
    serde_json::from_str(entry["payload"].as_str().unwrap()).unwrap()
}

/// COMAR 15.20.10.09 C(2) lets 0.9 lb N on 1,000 sq ft through at once; an invented change of it lets 0.7 through.
fn lower(text: &str) -> String {
    let (before, rule) = text.split_once(&format!("id = \"{TOTAL}\"")).unwrap();
    format!("{before}id = \"{TOTAL}\"{}", rule.replacen("value = \"0.9\"", "value = \"0.7\"", 1))
}

/// Stops the company's server and starts another version of it on the same records.
async fn under(company: Company, law: Arc<Lawbook>) -> Company {
    let folder = company.app.stop().await;
    let app = TestApp::reopen_under(folder, TODAY, law).await;
    let user = |user: &User| app.user(user.token.as_deref().unwrap(), user.id.clone());
    let (owner, office, phone) = (user(&company.owner), user(&company.office), user(&company.phone));
    Company { app, owner, office, phone, ..company }
}

/// 30.75 lb of a 24 % product on 8,200 sq ft is 0.9 lb on 1,000 sq ft.
async fn verdict(company: &Company) -> (String, Value) {
    let plan = company.plan(&company.front, "30.75");
    let decision = company.phone.post("/api/v1/checks", &plan).await.expect(200).body["decision"].clone();
    (decision["verdict"].as_str().unwrap().to_owned(), decision)
}

async fn counted(company: &Company) -> Vec<Value> {
    let journal = company.owner.get("/api/v1/journal?limit=200").await.expect(200).body;
    let entries = journal["items"].as_array().unwrap().iter();
    entries.filter(|entry| entry["act"] == "rule_set.counted").cloned().collect()
}

async fn waiting(company: &Company) -> Vec<String> {
    let list = company.phone.get("/api/v1/rule-sets").await.expect(200).body;
    list["waiting"].as_array().unwrap().iter().map(|about| about["code"].as_str().unwrap().to_owned()).collect()
}

#[tokio::test]
async fn a_new_version_waits_until_the_owner_has_seen_what_it_changes() {
    let company = Company::in_maryland().await;
    assert_eq!(counted(&company).await, Vec::<Value>::new(), "what is there at the first start is no news");
    assert_eq!(verdict(&company).await.0, "go");
    let _ = company.office.get(WAITING).await.problem(404, "not-found");
    let company = under(company, law_with("us-md.toml", lower)).await;
    assert_eq!(verdict(&company).await.0, "go", "the version of before counts");
    assert_eq!(waiting(&company).await, ["us-md"]);
    let _ = company.phone.get(WAITING).await.problem(403, "not-allowed");
    let waits = company.office.get(WAITING).await.expect(200).body;
    let differences = waits["differences"].as_array().unwrap();
    let value = differences.iter().find(|one| one["field"] == "value").unwrap();
    assert_eq!((&value["rule"], &value["before"], &value["after"]), (&json!(TOTAL), &json!("0.9"), &json!("0.7")));
    assert_eq!(value["citation"], "COMAR 15.20.10.09 C(2)");
    assert!(differences.iter().all(|one| one["rule"] == TOTAL), "{differences:#?}");
    let says = differences.iter().find(|one| one["field"] == "says").unwrap();
    assert!(says["after"].as_str().unwrap().contains("0.7 lb"), "{says}");

    // Both lawns get the lower limit, and the visit of today, 0.75 lb on 1,000 sq ft, does not fit under it any more.
    let effect = &waits["effect"];
    assert_eq!((&effect["sections_judged"], &effect["sections_changed"]), (&json!(2), &json!(2)), "{effect:#}");
    let limit = &effect["sections"][0]["limits"][0];
    assert_eq!((&limit["what"], &limit["from"]), (&json!("N in one application"), &json!("2026-09-15")));
    assert_eq!(limit["before"], "at most 0.9 lb per 1,000 sq ft");
    assert_eq!(limit["after"], "at most 0.7 lb per 1,000 sq ft");
    assert_eq!(limit["rule"], TOTAL);
    assert_eq!((&effect["visits_judged"], &effect["visits_changed"]), (&json!(1), &json!(1)), "{effect:#}");
    let visit = &effect["visits"][0];
    assert_eq!(visit["visit_id"], company.visit);
    assert_ne!(visit["before"]["verdict"], "stop", "{visit:#}");
    assert_eq!(visit["after"]["verdict"], "stop", "{visit:#}");
    let front = |side: &str| {
        let sections = visit[side]["sections"].as_array().unwrap();
        sections.iter().find(|one| one["section_id"] == company.front).unwrap().clone()
    };
    // 0.9 and 0.7 lb on 8.2 thousand sq ft, by 24 %: 30.75 lb, and 23.9166 lb rounded down.
    assert_eq!(front("before")["largest_lawful_product_lb"], "30.75");
    assert_eq!(front("after")["largest_lawful_product_lb"], "23.916666");
    assert_eq!(front("after")["bound_by"], TOTAL);

    let hash = waits["waits"]["hash"].clone();
    let stale = json!({ "hash": waits["counts"]["hash"] });
    let _ = company.owner.put(CONFIRMATION, &stale).await.problem(409, "conflict");
    let confirmation = json!({ "hash": hash });
    let _ = company.office.put(CONFIRMATION, &confirmation).await.problem(403, "not-allowed");
    let no_set = "/api/v1/rule-sets/us-zz/confirmation";
    let _ = company.owner.put(no_set, &confirmation).await.problem(404, "not-found");
    assert_eq!(counted(&company).await, Vec::<Value>::new());
    let said = company.owner.put(CONFIRMATION, &confirmation).await.expect(200).body;
    assert_eq!((&said["how"], &said["person_id"]), (&json!("confirmed"), &json!(company.owner.id)));
    assert_eq!(company.owner.put(CONFIRMATION, &confirmation).await.expect(200).body, said, "said again");
    let entries = counted(&company).await;
    assert_eq!(entries.len(), 1, "{entries:#?}");
    assert_eq!(entries[0]["person_id"], json!(company.owner.id));

    // It counts at once, for checks and for the writer, and after the next start too.
    let (stop, decision) = verdict(&company).await;
    assert_eq!(stop, "stop", "{decision:#}");
    assert_eq!(decision["rule_sets"][0]["hash"], hash);
    let record = company.record(&company.front, "30.75");
    let refused = company.phone.put(&format!("/api/v1/applications/{}", harness::new_id()), &record).await;
    assert_eq!(refused.problem(422, "stopped-by-rules").rules(), [TOTAL]);
    let _ = company.office.get(WAITING).await.problem(404, "not-found");
    let company = under(company, law_with("us-md.toml", lower)).await;
    assert_eq!((verdict(&company).await.0.as_str(), waiting(&company).await.len()), ("stop", 0));
    let folder = company.app.stop().await;
    let found = check_file(&folder.path().join("book.db")).await.unwrap();
    assert_eq!(found.faults, Vec::<String>::new());
}

#[tokio::test]
async fn a_version_that_changes_nothing_for_anybody_counts_at_once() {
    let company = Company::in_maryland().await;
    let read_again =
        |text: &str| text.replacen("last_checked = 2026-11-25", "last_checked = 2026-11-26 # read again", 1);
    let company = under(company, law_with("us-md.toml", read_again)).await;
    assert_eq!(waiting(&company).await, [""; 0]);
    let list = company.phone.get("/api/v1/rule-sets").await.expect(200).body;
    let maryland = list["items"].as_array().unwrap().iter().find(|set| set["code"] == "us-md").unwrap();
    assert_eq!(maryland["last_checked"], "2026-11-26");
    let entries = counted(&company).await;
    assert_eq!(entries.len(), 1);
    assert_eq!((&told(&entries[0])["how"], &entries[0]["person_id"]), (&json!("same"), &Value::Null));

    // No property lies in Wisconsin, so nobody need look at what its rules become.
    let other = |text: &str| text.replacen("name = \"Wisconsin\"", "name = \"State of Wisconsin\"", 1);
    let company = under(company, law_with("us-wi.toml", other)).await;
    // The built-in text of Maryland is another one again, with equal rules.
    assert_eq!(waiting(&company).await, [""; 0]);
    let how: Vec<Value> = counted(&company).await.iter().map(|entry| told(entry)["how"].clone()).collect();
    assert_eq!(how, ["same", "same", "unused"]);
    let folder = company.app.stop().await;
    let found = check_file(&folder.path().join("book.db")).await.unwrap();
    assert_eq!(found.faults, Vec::<String>::new());
}

#[tokio::test]
async fn a_version_that_cannot_be_read_any_more_gives_way_and_is_told() {
    let company = Company::in_maryland().await;
    let change = "UPDATE rule_set_versions SET text = 'of = \"an older format\"' WHERE code = 'us-md'";
    against_triggers(&company, &["rule_set_versions_keep"], change);
    let company = under(company, law_with("us-md.toml", lower)).await;
    assert_eq!(verdict(&company).await.0, "stop", "the new one counts");
    let today = Visitor::named(&company, "office").await.open("/office").await.html;
    assert!(today.contains("this server cannot read the previous one any more"), "{today}");
    assert!(counted(&company).await[0]["payload"].as_str().unwrap().contains("unreadable"));
    let folder = company.app.stop().await;
    let found = check_file(&folder.path().join("book.db")).await.unwrap();
    assert!(found.faults.iter().any(|fault| fault.contains("a version of a rule set differs")), "{:?}", found.faults);
}

#[tokio::test]
async fn the_page_shows_what_changes_and_only_the_owner_lets_it_count() {
    let company = under(Company::in_maryland().await, law_with("us-md.toml", lower)).await;
    let path = "/office/rules/us-md/new";
    let (office, owner) = (Visitor::named(&company, "office").await, Visitor::named(&company, "owner").await);
    let today = office.open("/office").await.html;
    assert!(today.contains("Maryland: a new version of the rules has been waiting since"), "{today}");
    assert!(today.contains(path), "{today}");
    assert!(office.open("/rules").await.html.contains("a new version waits"));
    let read = office.open(path).await;
    assert_eq!(read.status, 200);
    for words in
        ["at most 0.9 lb per 1,000 sq ft", "at most 0.7 lb per 1,000 sq ft", "2 of the 2 lawn sections", "■ stop"]
    {
        assert!(read.html.contains(words), "no {words}: {}", read.html);
    }
    assert!(!read.html.contains("<button>Use the new version"), "{}", read.html);
    let form = owner.open(path).await;
    assert_eq!(office.send(&form, &[]).await.status, 403);
    assert_eq!(owner.send(&form, &[]).await.status, 303);
    assert_eq!(verdict(&company).await.0, "stop");
    assert_eq!(office.open(path).await.status, 404);
}

#[tokio::test]
async fn a_use_that_nobody_confirmed_is_found() {
    let company = Company::in_maryland().await;
    let folder = company.app.stop().await;
    let file = folder.path().join("book.db");
    let book = Connection::open(&file).unwrap();
    let forged = "INSERT INTO rule_set_uses (code, hash, how, since) SELECT code, hash, 'first', 0 FROM rule_set_uses WHERE code = 'us-md'";
    assert_eq!(book.execute(forged, []).unwrap(), 1);
    drop(book);
    let found = check_file(&file).await.unwrap();
    assert!(
        found.faults.iter().any(|fault| fault.starts_with("rule set us-md cannot have counted")),
        "{:?}",
        found.faults
    );
}

#[tokio::test]
async fn one_version_that_does_not_fit_takes_no_other_with_it() {
    let before = TestApp::empty_under(law_of(&[("us-md.toml", &without_places)], &[])).await;
    let company = Company::on(before, &["us-md"]).await;
    // The state of before has no room for the new county, and the fault shows in the county's file. The company's limit has nothing to
    // do with it.
    let cooler = |text: &str| text.replacen("value = \"85\"", "value = \"80\"", 1);
    let county = place("county", "us-md-zz", "us-md");
    let after = law_of(&[("us-md.toml", &lower), ("company.toml", &cooler)], &[("us-md-zz.toml", &county)]);
    let company = under(company, Arc::new(after)).await;
    assert_eq!(waiting(&company).await, ["company"]);
    assert_eq!(verdict(&company).await.0, "stop", "the new version of the state counts");
    let entries = counted(&company).await;
    assert_eq!(entries.len(), 1, "{entries:#?}");
    assert_eq!((&told(&entries[0])["code"], &told(&entries[0])["how"]), (&json!("us-md"), &json!("unfit")));
    let today = Visitor::named(&company, "office").await.open("/office").await.html;
    assert!(today.contains("the previous one does not fit the other rule sets of this server any more"), "{today}");
    let folder = company.app.stop().await;
    let found = check_file(&folder.path().join("book.db")).await.unwrap();
    assert_eq!(found.faults, Vec::<String>::new());
}

#[tokio::test]
async fn the_page_names_the_version_that_comes_first() {
    // Two towns beside each other become a county and a town in it: the town fits only once the county is one.
    let (town, other) = (place("municipality", "us-md-a", "us-md"), place("municipality", "us-md-b", "us-md"));
    let before = law_of(&[], &[("us-md-a.toml", &town), ("us-md-b.toml", &other)]);
    let company = Company::on(TestApp::empty_under(before).await, &["us-md", "us-md-a", "us-md-b"]).await;
    let (county, inside) = (place("county", "us-md-a", "us-md"), place("municipality", "us-md-b", "us-md-a"));
    let after = law_of(&[], &[("us-md-a.toml", &county), ("us-md-b.toml", &inside)]);
    let company = under(company, Arc::new(after)).await;
    assert_eq!(waiting(&company).await, ["us-md-a", "us-md-b"]);
    let owner = Visitor::named(&company, "owner").await;
    let later = owner.open("/office/rules/us-md-b/new").await;
    assert_eq!(later.status, 200);
    assert!(later.html.contains("once the new version of this one counts"), "{}", later.html);
    assert!(later.html.contains("/office/rules/us-md-a/new"), "{}", later.html);
    let first = owner.open("/office/rules/us-md-a/new").await;
    assert_eq!(owner.send(&first, &[]).await.status, 303);
    let now = owner.open("/office/rules/us-md-b/new").await.html;
    assert!(now.contains("What changes"), "{now}");
}

#[tokio::test]
async fn what_waits_behind_a_confirmation_is_decided_by_it() {
    let company = under(Company::in_maryland().await, law_with("us-md.toml", lower)).await;
    let waits = company.office.get(WAITING).await.expect(200).body;
    let hash = waits["waits"]["hash"].as_str().unwrap().to_owned();
    let record = company.record(&company.front, "0.25");
    let mut sending = JoinSet::new();
    for number in 0..40 {
        let (owner, phone, record) = (company.owner.clone(), company.phone.clone(), record.clone());
        let confirmation = json!({ "hash": hash });
        sending.spawn(async move {
            if number == 8 {
                return owner.put(CONFIRMATION, &confirmation).await.status;
            }
            phone.put(&format!("/api/v1/applications/{}", harness::new_id()), &record).await.status
        });
    }
    let statuses = sending.join_all().await;
    assert!(statuses.contains(&200), "{statuses:?}");
    let journal = company.owner.get("/api/v1/journal?limit=200").await.expect(200).body;
    let entries = journal["items"].as_array().unwrap().iter();
    let behind: Vec<&Value> = entries
        .skip_while(|entry| entry["act"] != "rule_set.counted")
        .filter(|entry| entry["act"] == "application.recorded")
        .collect();
    assert!(!behind.is_empty(), "no record came behind the confirmation");
    for entry in behind {
        let path = format!("/api/v1/applications/{}/decision", entry["subject_id"].as_str().unwrap());
        let decision = company.owner.get(&path).await.expect(200).body;
        assert!(decision.to_string().contains(&hash), "decided by the version of before: {decision:#}");
    }
}

#[tokio::test]
async fn a_version_that_no_start_has_met_is_found() {
    let company = Company::in_maryland().await;
    let forged = law_with("us-md.toml", lower);
    let set = forged.rule_set("us-md").unwrap();
    let book = Connection::open(company.app.file()).unwrap();
    let version = "INSERT INTO rule_set_versions (hash, code, met_at, text) VALUES ($1, 'us-md', 0, $2)";
    assert_eq!(book.execute(version, [&set.about.hash, &set.text]).unwrap(), 1);
    drop(book);
    let change = format!("UPDATE rule_set_uses SET hash = '{}' WHERE code = 'us-md'", set.about.hash);
    against_triggers(&company, &["rule_set_uses_keep"], &change);
    let folder = company.app.stop().await;
    let found = check_file(&folder.path().join("book.db")).await.unwrap();
    let told = |words: &str| found.faults.iter().any(|fault| fault.contains(words) && fault.contains("us-md"));
    assert!(told("is in no entry of the journal"), "{:?}", found.faults);
}

#[tokio::test]
async fn what_an_upgrade_brings_to_an_older_book_is_told() {
    let company = Company::in_maryland().await;
    let _ = company.put_down(&company.front, "20").await;
    // As a book of before uses were written.
    let keepers = ["rule_set_uses_stay", "rule_set_versions_stay"];
    against_triggers(&company, &keepers, "DELETE FROM rule_set_uses; DELETE FROM rule_set_versions");
    let company = under(company, law_with("us-md.toml", lower)).await;
    assert_eq!(waiting(&company).await, [""; 0]);
    let entries = counted(&company).await;
    assert_eq!(entries.len(), 1, "{entries:#?}");
    assert_eq!((&told(&entries[0])["code"], &told(&entries[0])["how"]), (&json!("us-md"), &json!("upgraded")));
    let today = Visitor::named(&company, "office").await.open("/office").await.html;
    assert!(today.contains("Maryland: this version of the program brought new rules"), "{today}");
    let company = under(company, law_with("us-md.toml", lower)).await;
    assert_eq!(counted(&company).await.len(), 1, "told once");
}
