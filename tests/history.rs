//! What stood when: past statements, late records and decisions use the facts of their day, whatever is changed afterwards.

mod before;
mod grounds;
mod law;
mod measured;
mod since;
mod spelling;

use harness::{User, instant, new_id, world::Company};
use serde_json::{Value, json};

use crate::pages::visitor::Visitor;

const PLACE: &str = "America/New_York";

fn section(company: &Company, change: &Value) -> Value {
    let mut body = json!({
        "property_id": company.property, "name": "front lawn", "species": "tall_fescue", "water": "near", "water_distance_ft": "200",
        "touches_pavement": true, "established_on": "2015-09-01",
    });
    let _ = change.as_object().unwrap().iter().map(|(name, value)| body[name] = value.clone()).count();
    body
}

fn property(company: &Company, change: &Value) -> Value {
    let mut body = json!({
        "client_id": company.client, "name": "Home", "address": "1 Street A, Sampletown", "postal_code": "21000",
        "time_zone": PLACE, "rule_sets": ["us-md"],
    });
    let _ = change.as_object().unwrap().iter().map(|(name, value)| body[name] = value.clone()).count();
    body
}

async fn put(user: &User, path: &str, body: &Value) -> Value {
    user.put_version(path, "*", body).await.expect(200).body
}

async fn history(company: &Company, path: &str) -> Vec<Value> {
    let reply = company.office.get(&format!("{path}/history")).await.expect(200);
    reply.body["items"].as_array().unwrap().clone()
}

/// A company whose sessions are made anew after the clock was moved.
async fn on(company: &Company, at: &str) -> (User, User) {
    company.app.clock.set(instant(at));
    (company.app.sign_in("office", None).await, company.app.sign_in("owner", None).await)
}

/// The statement of 2026 as it is printed.
async fn printed(company: &Company) -> String {
    let page = Visitor::named(company, "owner").await.open(&format!("/year/{}?year=2026", company.client)).await;
    assert_eq!(page.status, 200);
    let (told, receipt) = page.html.split_once("<h2>Receipt</h2>").unwrap();
    assert!(receipt.contains("Signature: "), "{receipt}");
    told.to_owned()
}

/// A statement as CSV. The receipt is another one each time, as the moment of preparation is.
async fn as_csv(owner: &User, address: &str) -> String {
    let text = owner.get(address).await.expect(200).text;
    let (receipt, told): (Vec<&str>, Vec<&str>) = text.split("\r\n").partition(|row| row.starts_with("receipt,"));
    assert_eq!(receipt.len(), 8, "{text}");
    told.join("\r\n")
}

#[tokio::test]
async fn a_past_statement_is_the_same_after_twenty_changes_of_todays_facts() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "10").await;
    let (office, owner) = on(&company, "2028-03-04T15:00:00Z").await;
    let address = format!("/api/v1/statements?year=2026&client_id={}", company.client);
    let csv = format!("{address}&format=csv");
    let (mut before, csv_before) = (owner.get(&address).await.expect(200).body, as_csv(&owner, &csv).await);
    let printed_before = printed(&company).await;
    let year_before = owner.get("/api/v1/statements/company?year=2026").await.expect(200).text;
    let client = json!({
        "name": "Somebody Else", "mailing_address": "99 Other Street", "phone": "555-0199", "email": "else@example.com",
    });
    let _ = put(&office, &format!("/api/v1/clients/{}", company.client), &client).await;
    for (number, change) in [
        json!({ "address": "77 New Street" }),
        json!({ "address": "77 New Street", "name": "Cottage" }),
        json!({ "address": "77 New Street", "rule_sets": ["us-va"] }),
        json!({ "address": "77 New Street", "rule_sets": [] }),
        json!({ "address": "77 New Street", "rule_sets": [], "postal_code": "90210" }),
        json!({ "rule_sets": [], "time_zone": "Pacific/Auckland" }),
        json!({ "rule_sets": ["us-nj"], "time_zone": "Pacific/Auckland", "latitude": 40.2, "longitude": -74.7 }),
    ]
    .iter()
    .enumerate()
    {
        let stored =
            put(&office, &format!("/api/v1/properties/{}", company.property), &property(&company, change)).await;
        assert_eq!(stored["version"], number + 2);
    }
    for change in [
        json!({ "species": "zoysia" }),
        json!({ "species": "kentucky_bluegrass" }),
        json!({ "species": "kentucky_bluegrass", "name": "meadow" }),
        json!({ "name": "meadow", "water": "near", "water_distance_ft": "3" }),
        json!({ "water": "unknown", "water_distance_ft": null }),
        json!({ "water": "unknown", "water_distance_ft": null, "maintenance": "high" }),
        json!({ "maintenance": "low", "clippings": "left" }),
        json!({ "maintenance": "low", "shade": "heavy" }),
        json!({ "established_on": "2028-03-01" }),
        json!({ "established_on": "2028-03-01", "touches_pavement": false }),
    ] {
        let _ = put(&office, &format!("/api/v1/sections/{}", company.front), &section(&company, &change)).await;
    }
    // Measured long ago and entered now, but on no day of that year.
    for (area, on) in [("20000", "2028-03-01"), ("15000", "2027-01-01")] {
        let measured = json!({ "area_sqft": area, "measured_on": on, "method": "wheel", "measured_by": "Office 01" });
        let _ = office.post(&format!("/api/v1/sections/{}/measurements", company.front), &measured).await.expect(201);
    }
    let person = json!({ "name": "Renamed", "role": "technician" });
    let technician = company.phone.id.clone().unwrap();
    let _ = put(&owner, &format!("/api/v1/people/{technician}"), &person).await;
    // At the same moment all of it is the same, printed and as CSV.
    assert_eq!(printed(&company).await, printed_before);
    assert!(
        printed_before.contains("1 Street A, Sampletown") && printed_before.contains("8,200 sq ft"),
        "{printed_before}"
    );
    assert_eq!(as_csv(&owner, &csv).await, csv_before);
    let (_, owner) = on(&company, "2028-03-05T15:00:00Z").await;
    let mut after = owner.get(&address).await.expect(200).body;
    for statement in [&mut before, &mut after] {
        statement["prepared_at"] = Value::Null;
        statement["receipt"] = Value::Null;
    }
    assert_eq!(after, before);
    assert_eq!(owner.get("/api/v1/statements/company?year=2026").await.expect(200).text, year_before);
    // This year is told by what stands now.
    let now =
        owner.get(&format!("/api/v1/statements?year=2028&property_id={}", company.property)).await.expect(200).body;
    assert_eq!(now["client_name"], "Somebody Else");
    assert_eq!(now["sections"][0]["area_sqft"], "20000");
}

#[tokio::test]
async fn what_is_learned_late_is_told_on_the_statement_of_its_year() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "10").await;
    let (office, owner) = on(&company, "2028-03-04T15:00:00Z").await;
    let late = json!({
        "since": "2026-08-01", "facts": { "species": "zoysia" }, "reason": "The client had it sodded then and told us now.",
    });
    let address = format!("/api/v1/sections/{}/history", company.front);
    let entered = office.post(&address, &late).await.expect(201);
    assert_eq!(entered.body["entered_at"], "2028-03-04T15:00:00.000Z");
    let statement =
        owner.get(&format!("/api/v1/statements?year=2026&client_id={}", company.client)).await.expect(200).body;
    let front = &statement["sections"][0];
    assert_eq!(front["species"], "zoysia");
    let gaps = statement["gaps"].to_string();
    assert!(gaps.contains("from 2026-08-01 on the turf is zoysia, before it was tall fescue"), "{gaps}");
    let told = "Corrected on 2028-03-04: 1 Street A, Sampletown, front lawn: from 2026-08-01 on, species: zoysia (before the correction: tall fescue). Reason: The client had it sodded";
    assert!(gaps.contains(told), "{gaps}");
    // The section's row follows.
    let now = office.get(&format!("/api/v1/sections/{}", company.front)).await.expect(200).body;
    assert_eq!((now["species"].as_str(), now["version"].as_i64()), (Some("zoysia"), Some(3)));
    // And the company's year.
    let year = owner.get("/api/v1/statements/company?year=2026").await.expect(200).body;
    let place = year["sections"][0]["cap"].as_u64().unwrap();
    assert_eq!(year["caps"][usize::try_from(place).unwrap()], front["cap"]);
    let untouched =
        owner.get(&format!("/api/v1/statements?year=2025&section_id={}", company.front)).await.expect(200).body;
    assert_eq!(untouched["sections"][0]["species"], "tall_fescue");
}

#[tokio::test]
async fn a_late_record_is_judged_by_what_stood_on_its_day() {
    let company = Company::in_maryland().await;
    let lawn = format!("/api/v1/sections/{}", company.front);
    // Water came within two feet yesterday; the work was the day before.
    let change = section(&company, &json!({ "water": "near", "water_distance_ft": "2", "since": "2026-09-14" }));
    let _ = put(&company.office, &lawn, &change).await;
    let setback = |reply: &harness::Reply| reply.rules().iter().any(|rule| rule.contains("water"));
    let today =
        company.phone.put(&format!("/api/v1/applications/{}", new_id()), &company.record(&company.front, "10")).await;
    let today = today.problem(422, "stopped-by-rules");
    assert!(setback(&today), "{}", today.text);
    let mut earlier = company.record(&company.front, "10");
    (earlier["started_at"], earlier["finished_at"]) = (json!("2026-09-13T14:00:00Z"), json!("2026-09-13T14:20:00Z"));
    let stored = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &earlier).await.expect(201);
    assert_eq!(stored.body["applied_on"], "2026-09-13");
    // So is the law: on that day another place's rules bound.
    let place = format!("/api/v1/properties/{}", company.property);
    let _ = put(&company.office, &place, &property(&company, &json!({ "rule_sets": [], "since": "2026-09-15" }))).await;
    let mut between = company.record(&company.rear, "10");
    (between["started_at"], between["finished_at"]) = (json!("2026-09-14T14:00:00Z"), json!("2026-09-14T14:20:00Z"));
    let stored = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &between).await.expect(201).body;
    let decision =
        company.owner.get(&format!("/api/v1/applications/{}/decision", stored["id"].as_str().unwrap())).await;
    assert!(decision.expect(200).body["rule_sets"].to_string().contains("us-md"));
    let duties = format!("/api/v1/applications/{}/duties", stored["id"].as_str().unwrap());
    let duties = company.owner.get(&duties).await.expect(200).body;
    assert!(!duties["required"].as_array().unwrap().is_empty(), "the record's own law asks for things: {duties}");
}

#[tokio::test]
async fn an_entry_dated_too_early_is_corrected_and_the_old_one_stays_to_be_read() {
    let company = Company::in_maryland().await;
    let lawn = format!("/api/v1/sections/{}", company.front);
    let _ =
        put(&company.office, &lawn, &section(&company, &json!({ "species": "zoysia", "since": "2026-05-01" }))).await;
    let entries = history(&company, &lawn).await;
    assert_eq!(entries[0]["id"], json!(company.front), "the first entry has the section's own id");
    assert_eq!((&entries[0]["since"], &entries[0]["facts"]["species"]), (&Value::Null, &json!("tall_fescue")));
    assert_eq!(entries[1]["facts"], json!({ "species": "zoysia" }));
    let correction = json!({
        "since": "2026-07-01", "facts": { "species": "zoysia" }, "corrects": entries[1]["id"], "reason": "July, not May.",
    });
    let first =
        company.office.post_with_key(&format!("{lawn}/history"), "correction-key-0001", &correction).await.expect(201);
    let again =
        company.office.post_with_key(&format!("{lawn}/history"), "correction-key-0001", &correction).await.expect(201);
    assert_eq!(again.body, first.body, "sent again, it is not stored again");
    let entries = history(&company, &lawn).await;
    assert_eq!(entries.len(), 3);
    assert_eq!((&entries[1]["corrected_by"], &entries[2]["corrects"]), (&entries[2]["id"], &entries[1]["id"]));
    // The same entry is not corrected twice, nor what is not there, nor with members that are not there.
    for (body, pointer) in [
        (correction.clone(), "#/corrects"),
        (
            json!({ "since": "2026-07-01", "facts": { "species": "bahia" }, "corrects": new_id(), "reason": "x" }),
            "#/corrects",
        ),
        (json!({ "since": "2026-07-01", "facts": { "colour": "green" }, "reason": "x" }), "#/facts/colour"),
        (json!({ "since": "2026-07-01", "facts": {}, "reason": "x" }), "#/facts"),
        (json!({ "facts": { "species": "bahia" }, "reason": "x" }), "#/since"),
        (json!({ "since": "2026-09-16", "facts": { "species": "bahia" }, "reason": "x" }), "#/since"),
        (json!({ "since": "2026-07-01", "facts": { "species": "moss" }, "reason": "x" }), "#/facts/species"),
        (json!({ "since": "2026-07-01", "facts": { "water": "none" }, "reason": "x" }), "#/facts/water_distance_ft"),
        (
            json!({ "since": "2026-07-01", "facts": { "property_id": company.property }, "reason": "x" }),
            "#/facts/property_id",
        ),
        (json!({ "facts": { "species": "bahia" }, "corrects": company.front, "reason": "x" }), "#/facts/clippings"),
        (
            json!({ "since": "2026-07-01", "facts": { "name": "x" }, "corrects": entries[2]["id"], "reason": "x" }),
            "#/facts/species",
        ),
        (
            json!({ "since": "2026-07-01", "facts": { "species": "bahia" }, "corrects": company.front, "reason": "x" }),
            "#/since",
        ),
        (json!({ "since": "2026-07-01", "facts": { "species": "bahia" } }), "#/reason"),
    ] {
        let refused = company.office.post(&format!("{lawn}/history"), &body).await.problem(422, "invalid");
        assert!(refused.faults().iter().any(|fault| fault == pointer), "{body}: {:?}", refused.faults());
    }
    assert_eq!(history(&company, &lawn).await.len(), 3, "what is refused leaves nothing");
    let _ = company.office.get(&format!("/api/v1/sections/{}/history", new_id())).await.problem(404, "not-found");
    let technician = company.phone.get(&format!("{lawn}/history")).await;
    let _ = technician.problem(403, "not-allowed");
}

#[tokio::test]
async fn a_change_before_another_entry_is_refused_and_says_which() {
    let company = Company::in_maryland().await;
    let lawn = format!("/api/v1/sections/{}", company.front);
    let _ =
        put(&company.office, &lawn, &section(&company, &json!({ "species": "zoysia", "since": "2026-06-01" }))).await;
    let earlier = section(&company, &json!({ "species": "bahia", "since": "2026-05-01" }));
    let refused = company.office.put_version(&lawn, "*", &earlier).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/since"]);
    assert!(refused.text.contains("2026-06-01"), "{}", refused.text);
    // Of another member nothing was said since.
    let other = section(&company, &json!({ "species": "zoysia", "name": "lawn in front", "since": "2026-05-01" }));
    assert_eq!(put(&company.office, &lawn, &other).await["name"], "lawn in front");
    // What changes nothing makes no entry.
    let same = section(&company, &json!({ "species": "zoysia", "name": "lawn in front" }));
    let _ = put(&company.office, &lawn, &same).await;
    assert_eq!(history(&company, &lawn).await.len(), 3);
}

#[tokio::test]
async fn the_day_of_a_change_of_hands_is_corrected() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "10").await;
    let buyer = json!({ "name": "Client 002", "mailing_address": "2 Street B, Sampletown" });
    let buyer = company.office.post("/api/v1/clients", &buyer).await.expect(201).id();
    let place = format!("/api/v1/properties/{}", company.property);
    let sold = property(&company, &json!({ "client_id": buyer, "since": "2025-09-01" }));
    assert_eq!(put(&company.office, &place, &sold).await["client_since"], "2025-09-01");
    let year = |client: &str, year: i16| format!("/api/v1/statements?year={year}&client_id={client}");
    let _ = company.owner.get(&year(&company.client, 2026)).await.problem(404, "not-found");
    let entries = history(&company, &place).await;
    let correction = json!({
        "since": "2026-09-01", "facts": { "client_id": buyer }, "corrects": entries[1]["id"], "reason": "A year too early.",
    });
    let _ = company.office.post(&format!("{place}/history"), &correction).await.expect(201);
    assert_eq!(company.office.get(&place).await.expect(200).body["client_since"], "2026-09-01");
    let seller = company.owner.get(&year(&company.client, 2026)).await.expect(200).body;
    assert!(seller["gaps"].to_string().contains("changed hands on 2026-09-01"), "{}", seller["gaps"]);
    let bought = company.owner.get(&year(&buyer, 2025)).await.expect(200).body;
    assert_eq!(bought["sections"], json!([]));
    let taken = "from 2025-09-01 on, client: another client (before the correction: Client 002).";
    assert!(bought["gaps"].to_string().contains(taken), "{}", bought["gaps"]);
    // Said after the year was over, it takes the property off the seller's statement, which says so. Neither names the other.
    let corrected = history(&company, &place).await.pop().unwrap();
    let back = json!({
        "since": "2025-12-30", "facts": { "client_id": buyer }, "corrects": corrected["id"], "reason": "The deed says so.",
    });
    let (office, owner) = on(&company, "2027-03-04T15:00:00Z").await;
    let _ = office.post(&format!("{place}/history"), &back).await.expect(201);
    let sentence = "from 2026-01-01 on, client: another client (before the correction: Client 001).";
    let seller = owner.get(&year(&company.client, 2026)).await.expect(200).body;
    assert_eq!((&seller["client_name"], &seller["sections"]), (&json!("Client 001"), &json!([])));
    assert_eq!(seller["gaps"], json!([format!("Corrected on 2027-03-04: 1 Street A, Sampletown: {sentence}")]));
    let bought = owner.get(&year(&buyer, 2026)).await.expect(200).body;
    let buyers = "from 2026-01-01 on, client: Client 002 (before the correction: another client).";
    assert!(bought["gaps"].to_string().contains(buyers), "{}", bought["gaps"]);
    assert!(printed(&company).await.contains(sentence));
    let _ = owner.get(&year(&company.client, 2027)).await.problem(404, "not-found");
    let nobody = json!({ "since": "2026-09-10", "facts": { "client_id": new_id() }, "reason": "x" });
    let refused = office.post(&format!("{place}/history"), &nobody).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/facts/client_id"]);
    // The book verifies with all of it.
    let file = company.app.file().file_name().unwrap().to_owned();
    let folder = company.app.stop().await;
    let found = server::book::verify::check_file(&folder.path().join(file)).await.unwrap();
    assert_eq!(found.faults, Vec::<String>::new());
}

#[tokio::test]
async fn a_correction_is_told_by_what_it_changes_and_a_corrected_mistake_is_not() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "10").await;
    let lawn = format!("/api/v1/sections/{}", company.front);
    let _ =
        put(&company.office, &lawn, &section(&company, &json!({ "species": "zoysia", "since": "2026-05-01" }))).await;
    let (office, owner) = on(&company, "2027-03-04T15:00:00Z").await;
    let gaps = async |owner: &User, year: i16| {
        let path = format!("/api/v1/statements?year={year}&section_id={}", company.front);
        owner.get(&path).await.expect(200).body["gaps"].to_string()
    };
    assert!(!gaps(&owner, 2026).await.contains("Corrected on"));
    let entries = office.get(&format!("{lawn}/history")).await.expect(200).body["items"].as_array().unwrap().clone();
    // It was this year, not last: last year's turf is another one than was told.
    let later = json!({
        "since": "2027-02-01", "facts": { "species": "zoysia" }, "corrects": entries[1]["id"], "reason": "Sodded this year.",
    });
    let corrected = office.post(&format!("{lawn}/history"), &later).await.expect(201).body;
    let told = gaps(&owner, 2026).await;
    let sentence =
        "from 2026-05-01 on, species: tall fescue (before the correction: zoysia). Reason: Sodded this year.";
    assert!(told.contains(sentence), "{told}");
    // Put back: what was told at first holds again, and nothing is to be said.
    let back = json!({
        "since": "2026-05-01", "facts": { "species": "zoysia" }, "corrects": corrected["id"], "reason": "Last year after all.",
    });
    let _ = office.post(&format!("{lawn}/history"), &back).await.expect(201);
    assert!(!gaps(&owner, 2026).await.contains("Corrected on"));
    // A telephone is no concern of the statement.
    let phone = json!({ "since": "2026-01-01", "facts": { "phone": "555-0177" }, "reason": "Wrong all the time." });
    let _ = office.post(&format!("/api/v1/clients/{}/history", company.client), &phone).await.expect(201);
    assert!(!gaps(&owner, 2026).await.contains("555-0177"));
}

#[tokio::test]
async fn a_day_that_would_be_lost_is_refused() {
    let company = Company::in_maryland().await;
    let lawn = format!("/api/v1/sections/{}", company.front);
    let _ =
        put(&company.office, &lawn, &section(&company, &json!({ "species": "zoysia", "since": "2026-09-01" }))).await;
    // It stands already, and earlier it was otherwise: nothing would be stored, and the day would be lost.
    let earlier = section(&company, &json!({ "species": "zoysia", "since": "2026-05-01" }));
    let refused = company.office.put_version(&lawn, "*", &earlier).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/since"]);
    let mut new = section(&company, &json!({ "since": "2026-05-01" }));
    let refused = company.office.post("/api/v1/sections", &new).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/since"]);
    new["since"] = Value::Null;
    let _ = company.office.post("/api/v1/sections", &new).await.expect(201);
    // The rules of a day are those of what grew there then.
    let rules = async |on: &str| {
        let path = format!("{lawn}/rules?on={on}&product_id={}", company.feed);
        company.office.get(&path).await.expect(200).body["strictest"].to_string()
    };
    assert_ne!(rules("2026-08-31").await, rules("2026-09-02").await);
}

#[tokio::test]
async fn a_clients_end_of_service_is_that_of_whoever_was_the_client() {
    let company = Company::in_maryland().await;
    let buyer = json!({ "name": "Client 002", "mailing_address": "2 Street B", "cancelled_on": "2026-09-14" });
    let buyer = company.office.post("/api/v1/clients", &buyer).await.expect(201).id();
    let place = format!("/api/v1/properties/{}", company.property);
    let _ =
        put(&company.office, &place, &property(&company, &json!({ "client_id": buyer, "since": "2026-09-15" }))).await;
    let stopped =
        company.phone.put(&format!("/api/v1/applications/{}", new_id()), &company.record(&company.front, "5")).await;
    assert!(stopped.problem(422, "stopped-by-rules").rules().iter().any(|rule| rule == "book.client.active"));
    let mut before = company.record(&company.front, "5");
    (before["started_at"], before["finished_at"]) = (json!("2026-09-14T14:00:00Z"), json!("2026-09-14T14:20:00Z"));
    let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &before).await.expect(201);
}
