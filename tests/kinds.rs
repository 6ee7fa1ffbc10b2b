//! Kinds of property and who does the work: dated facts of a property, which several laws ask.

use harness::{new_id, world::Company};
use rusqlite::Connection;
use serde_json::{Value, json};

use crate::pages::visitor::Visitor;

/// The property as the office would send it again, with other members.
async fn changed(company: &Company, members: Value) -> Value {
    let path = format!("/api/v1/properties/{}", company.property);
    let stored = company.office.get(&path).await.expect(200);
    let version = stored.header("etag").unwrap().to_owned();
    let mut body = stored.body;
    for derived in ["id", "client_since", "place_differs", "version", "created_at"] {
        body.as_object_mut().unwrap().remove(derived);
    }
    for (name, value) in members.as_object().unwrap() {
        body[name] = value.clone();
    }
    company.office.put_version(&path, &version, &body).await.expect(200).body
}

fn verdict(findings: &Value, rule: &str) -> Option<Value> {
    findings.as_array().unwrap().iter().find(|one| one["rule"] == rule).map(|one| one["verdict"].clone())
}

#[tokio::test]
async fn a_property_is_a_lawn_for_hire_until_somebody_says_otherwise() {
    let company = Company::in_maryland().await;
    let stored = company.office.get(&format!("/api/v1/properties/{}", company.property)).await.expect(200).body;
    let said = (&stored["kind"], &stored["worked_by"], &stored["nutrient_plan_on"]);
    assert_eq!(said, (&json!("lawn"), &json!("professional"), &Value::Null));
    let told = json!({ "kind": "golf_course", "worked_by": "own_ground", "nutrient_plan_on": "2026-03-01" });
    let now = changed(&company, told).await;
    let said = (&now["kind"], &now["worked_by"], &now["nutrient_plan_on"]);
    assert_eq!(said, (&json!("golf_course"), &json!("own_ground"), &json!("2026-03-01")));
    // A PUT is the whole property: what is left out is what it is with a new one, and not what stood.
    let path = format!("/api/v1/properties/{}", company.property);
    let mut bare = company.office.get(&path).await.expect(200).body;
    for left_out in
        ["id", "client_since", "place_differs", "version", "created_at", "kind", "worked_by", "nutrient_plan_on"]
    {
        bare.as_object_mut().unwrap().remove(left_out);
    }
    let reset = company.office.put_version(&path, "*", &bare).await.expect(200).body;
    let said = (&reset["kind"], &reset["worked_by"], &reset["nutrient_plan_on"]);
    assert_eq!(said, (&json!("lawn"), &json!("professional"), &Value::Null));
    let found = server::book::verify::check_file(&company.app.file()).await.unwrap();
    assert!(found.faults.is_empty(), "{:?}", found.faults);
}

#[tokio::test]
async fn a_farm_is_outside_maryland_s_law_from_its_day_on() {
    // Md. Code, Agric. 8-803.5(b)(2) (MD-31): commercial farms are outside. Nobody here holds a certificate.
    let company = Company::uncertified().await;
    let _ = changed(&company, json!({ "kind": "farm", "since": "2026-09-10" })).await;
    let mut before = company.record(&company.front, "10");
    before["started_at"] = json!("2026-09-09T09:05:00-04:00");
    before["finished_at"] = json!("2026-09-09T09:31:00-04:00");
    let sent = async |record: &Value| company.phone.put(&format!("/api/v1/applications/{}", new_id()), record).await;
    let refused = sent(&before).await.problem(422, "stopped-by-rules");
    assert_eq!(verdict(&refused.body["findings"], "us-md.credential"), Some(json!("stop")));
    let stored = sent(&company.record(&company.front, "10")).await.expect(201).body;
    assert_eq!(stored["beyond_the_rules"], false);
}

#[tokio::test]
async fn a_kind_that_nobody_knows_asks_for_care() {
    let company = Company::in_maryland().await;
    let _ = changed(&company, json!({ "kind": null })).await;
    let plan = company.plan(&company.front, "10");
    let decision = company.phone.post("/api/v1/checks", &plan).await.expect(200).body["decision"].clone();
    assert_eq!(verdict(&decision["findings"], "law.us-md.kind"), Some(json!("care")), "{decision}");
}

#[tokio::test]
async fn the_household_s_own_work_is_bound_by_its_own_rules() {
    // COMAR 15.20.10.16 B-D (MD-40): at least a fifth of a household's nitrogen is slow; no certificate is asked.
    let company = Company::uncertified().await;
    let _ = changed(&company, json!({ "worked_by": "household" })).await;
    let plan = company.plan(&company.front, "10");
    let decision = company.phone.post("/api/v1/checks", &plan).await.expect(200).body["decision"].clone();
    assert_eq!(verdict(&decision["findings"], "us-md.credential"), None, "{decision}");
    let met = decision["met"].as_array().unwrap();
    assert!(met.iter().any(|met| met["rule"] == "us-md.household.nitrogen.slow_share"), "{decision}");
}

#[tokio::test]
async fn the_owner_says_after_how_many_months_the_law_is_read_again() {
    let company = Company::in_maryland().await;
    let settings = company.owner.get("/api/v1/settings").await.expect(200);
    assert_eq!(settings.body["rule_sets_months"], 12);
    let version = settings.header("etag").unwrap().to_owned();
    let change = json!({ "date_order": "year_month_day", "rule_sets_months": 6 });
    let now = company.owner.put_version("/api/v1/settings", &version, &change).await.expect(200).body;
    assert_eq!(now["rule_sets_months"], 6);
    let found = server::book::verify::check_file(&company.app.file()).await.unwrap();
    assert!(found.faults.is_empty(), "{:?}", found.faults);
}

/// The first entries of older books name neither kind nor who works there nor the day of a plan. They mean what every property was
/// brought over as, and can be corrected all the same.
#[tokio::test]
async fn what_the_first_entry_of_an_older_book_does_not_name_is_corrected_too() {
    let company = Company::in_maryland().await;
    let made_older = format!(
        "DROP TRIGGER dated_entries_keep;
         UPDATE dated_entries SET facts = json_remove(facts, '$.kind', '$.worked_by', '$.nutrient_plan_on') WHERE id = '{}';",
        company.property
    );
    Connection::open(company.app.file()).unwrap().execute_batch(&made_older).unwrap();
    let history = format!("/api/v1/properties/{}/history", company.property);
    let enter = async |body: Value| company.office.post(&history, &body).await.expect(201).body;
    let since = json!({ "since": "2026-03-01", "facts": { "kind": "golf_course" }, "reason": "Nobody had said." });
    let said = enter(since).await;
    let _ = enter(json!({
        "since": "2026-04-01", "facts": { "kind": "golf_course" }, "corrects": said["id"], "reason": "A month later.",
    }))
    .await;
    let entries = company.office.get(&history).await.expect(200).body["items"].clone();
    let page = Visitor::named(&company, "office").await.open(&format!("/office/entries/{}", company.property)).await;
    assert!(page.html.contains("/facts/kind") && page.html.contains("/facts/worked_by"), "{}", page.html);
    let mut first = entries[0]["facts"].clone();
    assert_eq!(first["kind"], Value::Null, "the first entry does not name it");
    first["worked_by"] = json!("own_ground");
    let _ = enter(json!({ "facts": first, "corrects": company.property, "reason": "Theirs from the start." })).await;
    let stored = company.office.get(&format!("/api/v1/properties/{}", company.property)).await.expect(200).body;
    assert_eq!((&stored["kind"], &stored["worked_by"]), (&json!("golf_course"), &json!("own_ground")));
    // Of a client and a lawn nothing of the kind is known.
    let lawn = json!({ "since": "2026-03-01", "facts": { "kind": "golf_course" }, "reason": "x" });
    let refused = company.office.post(&format!("/api/v1/sections/{}/history", company.front), &lawn).await;
    assert_eq!(refused.problem(422, "invalid").faults(), ["#/facts/kind"]);
}
