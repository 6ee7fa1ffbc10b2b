//! Who did the work, and whose it is to record and to read: a visit given to somebody else, work entered in the office, a
//! property that changes hands.

use harness::{
    User, new_id,
    world::{Company, certify, technician},
};
use serde_json::{Value, json};

/// Gives the visit to another technician, whose phone is answered.
async fn give_away(company: &Company) -> User {
    let (other, phone) = technician(&company.app, &company.office, &company.owner, "Tech 02").await;
    certify(&company.office, &other, "us-md").await;
    let change = json!({
        "property_id": company.property, "person_id": other, "planned_on": "2026-09-15", "product_id": company.feed,
        "section_ids": [company.front, company.rear], "purpose": "maintenance", "status": "planned",
    });
    let _ =
        company.office.put_version(&format!("/api/v1/visits/{}", company.visit), "\"v1\"", &change).await.expect(200);
    phone
}

#[tokio::test]
async fn whoever_was_sent_keeps_what_was_done_there() {
    let company = Company::in_maryland().await;
    let (id, record) = (new_id(), company.record(&company.front, "10"));
    let address = format!("/api/v1/applications/{id}");
    let _ = company.phone.put(&address, &record).await.expect(201);
    let other = give_away(&company).await;
    // The phone that was out of reach sends again, reads its record, and sends what else it did.
    let _ = company.phone.put(&address, &record).await.expect(200);
    let _ = company.phone.get(&address).await.expect(200);
    company.put_down(&company.rear, "5").await;
    let too_much = company.record(&company.rear, "260");
    let refused = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &too_much).await;
    let _ = refused.problem(422, "stopped-by-rules");
    let reviews = company.owner.get("/api/v1/reviews").await.expect(200).body;
    let why: Vec<&str> = reviews["items"].as_array().unwrap().iter().filter_map(|one| one["why"].as_str()).collect();
    assert_eq!(why, ["refused_attempt", "visit_changed"], "the attempt is kept, and what else was done is on the list");
    // The day is the other one's.
    assert_eq!(company.phone.get("/api/v1/days/2026-09-15").await.expect(200).body["visits"], json!([]));
    assert_eq!(other.get("/api/v1/days/2026-09-15").await.expect(200).body["visits"][0]["visit"]["id"], company.visit);
    let _ = company.phone.get(&format!("/api/v1/visits/{}", company.visit)).await.problem(404, "not-found");
}

#[tokio::test]
async fn the_office_enters_work_for_whoever_did_it() {
    let company = Company::in_maryland().await;
    let technician_id = company.phone.id.clone().unwrap();
    let mut record = company.record(&company.front, "10");
    record["applied_by"] = json!(technician_id);
    let id = new_id();
    let address = format!("/api/v1/applications/{id}");
    let stored = company.office.put(&address, &record).await.expect(201).body;
    assert_eq!(stored["person_id"], json!(technician_id));
    assert_eq!(stored["person_name"], "Tech 01");
    assert_eq!(stored["entered_by"], json!(company.office.id));
    assert_eq!(company.phone.get(&address).await.expect(200).body, stored);
    // The phone sends the same work without saying who it is by: it is the same record.
    let mut by_phone = record.clone();
    by_phone.as_object_mut().unwrap().remove("applied_by");
    let _ = company.phone.put(&address, &by_phone).await.expect(200);
    // A new name does not rewrite who it was.
    let renamed = json!({ "name": "Tech 01 B", "role": "technician" });
    let person = format!("/api/v1/people/{technician_id}");
    let _ = company.owner.put_version(&person, "\"v1\"", &renamed).await.expect(200);
    let statement = company.statement().await;
    assert_eq!(statement["sections"][0]["lines"][0]["applied_by"], "Tech 01");
    // Nobody records for a colleague, nor for somebody who is not there.
    for (sender, person) in [(&company.phone, company.office.id.clone().unwrap()), (&company.office, new_id())] {
        record["applied_by"] = json!(person);
        let refused = sender.put(&format!("/api/v1/applications/{}", new_id()), &record).await;
        assert_eq!(refused.problem(422, "invalid").faults(), ["#/applied_by"]);
    }
}

/// Gives the property to a new client, whose id is answered.
async fn sell(company: &Company, since: &Value, expected: u16) -> (String, Value) {
    let client = json!({ "name": "Client 002", "mailing_address": "2 Street B, Sampletown" });
    let client = company.office.post("/api/v1/clients", &client).await.expect(201).id();
    let mut change = json!({
        "client_id": client, "name": "Home", "address": "1 Street A, Sampletown", "postal_code": "21000",
        "time_zone": "America/New_York", "rule_sets": ["us-md"],
    });
    if !since.is_null() {
        change["since"] = since.clone();
    }
    let address = format!("/api/v1/properties/{}", company.property);
    let reply = company.office.put_version(&address, "*", &change).await.expect(expected);
    (client, reply.body)
}

async fn statement_of(company: &Company, client: &str, year: i16, expected: u16) -> Value {
    let address = format!("/api/v1/statements?year={year}&client_id={client}");
    company.office.get(&address).await.expect(expected).body
}

#[tokio::test]
async fn a_property_that_changes_hands_leaves_past_years_where_they_were() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "10").await;
    for wrong in ["2026-09-16", "0000-01-01"] {
        let (_, refused) = sell(&company, &json!(wrong), 422).await;
        assert!(refused.to_string().contains("#/since"), "{refused}");
    }
    let (buyer, _) = sell(&company, &json!("2026-09-01"), 200).await;
    // The year of the sale is on both statements, and it is the land's.
    for client in [&company.client, &buyer] {
        let statement = statement_of(&company, client, 2026, 200).await;
        assert_eq!(statement["client_id"], json!(client));
        assert_eq!(statement["sections"][0]["applied"]["nitrogen_lb"], "2.4");
        assert!(statement["gaps"].to_string().contains("changed hands on 2026-09-01"), "{statement:#}");
    }
    // Years before are the seller's, years after the buyer's.
    let _ = statement_of(&company, &company.client, 2025, 200).await;
    let _ = statement_of(&company, &buyer, 2025, 404).await;
    let _ = statement_of(&company, &company.client, 2027, 404).await;
    assert_eq!(statement_of(&company, &buyer, 2027, 200).await["client_name"], "Client 002");
    let by_land = company.office.get(&format!("/api/v1/statements?year=2025&property_id={}", company.property)).await;
    assert_eq!(by_land.expect(200).body["client_name"], "Client 001");
    for (year, name) in [(2025, "Client 001"), (2026, "Client 002")] {
        let all = company.office.get(&format!("/api/v1/statements/company?year={year}")).await.expect(200).body;
        assert_eq!(all["sections"][0]["client_name"], name, "{year}");
    }
    // Said again with another day, it is no other change of hands.
    let same = json!({
        "client_id": buyer, "name": "Home", "address": "1 Street A, Sampletown", "postal_code": "21000",
        "time_zone": "America/New_York", "rule_sets": ["us-md"], "since": "2026-09-10",
    });
    let said = company.office.put_version(&format!("/api/v1/properties/{}", company.property), "*", &same).await;
    assert_eq!(said.expect(200).body["client_since"], "2026-09-01");
}

#[tokio::test]
async fn a_hand_over_that_was_a_mistake_leaves_no_trace_on_the_statement() {
    let company = Company::in_maryland().await;
    let (_, _) = sell(&company, &Value::Null, 200).await;
    let back = json!({
        "client_id": company.client, "name": "Home", "address": "1 Street A, Sampletown", "postal_code": "21000",
        "time_zone": "America/New_York", "rule_sets": ["us-md"],
    });
    let property = format!("/api/v1/properties/{}", company.property);
    let _ = company.office.put_version(&property, "*", &back).await.expect(200);
    let statement = statement_of(&company, &company.client, 2026, 200).await;
    assert!(!statement["gaps"].to_string().contains("changed hands"), "{statement:#}");
}
