//! Visits moved together: a day that is rained out, somebody who is ill, a round that is called off.

use harness::{new_id, world::Company};
use serde_json::{Value, json};

/// Plans a further visit of the company's technician and answers its id.
async fn plan(company: &Company, section: &str, on: &str) -> String {
    let visit = json!({
        "property_id": company.property, "person_id": company.phone.id, "planned_on": on, "product_id": company.feed,
        "section_ids": [section], "purpose": "maintenance", "target_nitrogen_lb_per_1000_sqft": "0.5",
    });
    company.office.post("/api/v1/visits", &visit).await.expect(201).id()
}

async fn stored(company: &Company, id: &str) -> Value {
    company.office.get(&format!("/api/v1/visits/{id}")).await.expect(200).body
}

async fn entries(company: &Company) -> usize {
    company.owner.get("/api/v1/journal?limit=200").await.expect(200).body["items"].as_array().unwrap().len()
}

fn named(ids: &[&String]) -> Value {
    ids.iter().map(|id| json!({ "id": id, "version": 1 })).collect()
}

#[tokio::test]
async fn a_day_that_is_rained_out_moves_in_one_act() {
    let company = Company::in_maryland().await;
    let (one, two) =
        (plan(&company, &company.front, "2026-09-17").await, plan(&company, &company.rear, "2026-09-17").await);
    let before = entries(&company).await;
    let asked = json!({ "visits": named(&[&one, &two]), "planned_on": "2026-09-18" });
    let moved = company.office.post("/api/v1/visits/moves", &asked).await.expect(200).body;
    for (at, id) in [&one, &two].into_iter().enumerate() {
        assert_eq!(
            moved["visits"][at],
            stored(&company, id).await,
            "as they stand now, in the order in which they were named"
        );
        assert_eq!(
            (&moved["visits"][at]["planned_on"], &moved["visits"][at]["version"]),
            (&json!("2026-09-18"), &json!(2))
        );
    }
    assert_eq!(entries(&company).await, before + 2, "each has an entry of its own");
    let day = company.phone.get("/api/v1/days/2026-09-18").await.expect(200).body;
    assert_eq!(day["visits"].as_array().unwrap().len(), 2, "the phone has them on the new day");
    // The answer was lost, and it is sent again.
    let again = company.office.post("/api/v1/visits/moves", &asked).await.expect(200).body;
    assert_eq!(again, moved);
    assert_eq!(entries(&company).await, before + 2);
}

#[tokio::test]
async fn all_are_moved_or_none_with_every_fault_at_once() {
    let company = Company::in_maryland().await;
    let (one, done) =
        (plan(&company, &company.front, "2026-09-17").await, plan(&company, &company.rear, "2026-09-17").await);
    let mut closed = stored(&company, &done).await;
    for member in ["id", "version", "created_at", "programme_id", "round", "certificate"] {
        closed.as_object_mut().unwrap().remove(member);
    }
    closed["status"] = json!("done");
    let _ = company.office.put_version(&format!("/api/v1/visits/{done}"), "\"v1\"", &closed).await.expect(200);
    let before = entries(&company).await;
    let nobody = new_id();
    let visits = json!([{ "id": one, "version": 7 }, { "id": done, "version": 2 }, { "id": nobody, "version": 1 }]);
    let refused =
        company.office.post("/api/v1/visits/moves", &json!({ "visits": visits, "planned_on": "2026-09-18" })).await;
    let problem = refused.expect(422).body;
    let faults: Vec<(String, String)> = problem["errors"]
        .as_array()
        .unwrap()
        .iter()
        .map(|fault| (fault["pointer"].as_str().unwrap().to_owned(), fault["code"].as_str().unwrap().to_owned()))
        .collect();
    let fault = |pointer: &str, code: &str| (pointer.to_owned(), code.to_owned());
    assert_eq!(
        faults,
        [
            fault("#/visits/0/version", "outdated"),
            fault("#/visits/1/id", "not_open"),
            fault("#/visits/2/id", "not_found")
        ]
    );
    assert_eq!(
        (entries(&company).await, stored(&company, &one).await["planned_on"].clone()),
        (before, json!("2026-09-17"))
    );

    // What is asked of all is said once; what contradicts itself is said before anything is looked up.
    let both = json!([{ "id": one, "version": 1 }, { "id": company.visit, "version": 1 }]);
    let codes = async |asked: Value| {
        let problem = company.office.post("/api/v1/visits/moves", &asked).await.expect(422).body;
        let of = |fault: &Value| format!("{} {}", fault["pointer"].as_str().unwrap(), fault["code"].as_str().unwrap());
        problem["errors"].as_array().unwrap().iter().map(of).collect::<Vec<_>>().join(", ")
    };
    assert_eq!(codes(json!({ "visits": both, "person_id": nobody })).await, "#/person_id not_found");
    assert_eq!(codes(json!({ "visits": both, "planned_on": "2036-01-01" })).await, "#/planned_on out_of_range");
    assert_eq!(codes(json!({ "visits": both })).await, "#/planned_on missing");
    let reason = json!({ "visits": both, "planned_on": "2026-09-18", "cancelled_because": "Rain." });
    assert_eq!(codes(reason).await, "#/cancelled_because contradiction");
    let twice = json!([{ "id": one, "version": 1 }, { "id": one, "version": 1 }]);
    assert_eq!(codes(json!({ "visits": twice, "planned_on": "2026-09-18" })).await, "#/visits/1/id repeated");
    let _ = company
        .phone
        .post("/api/v1/visits/moves", &json!({ "visits": both, "planned_on": "2026-09-18" }))
        .await
        .expect(403);
}

#[tokio::test]
async fn a_client_whose_service_ends_is_named_and_the_others_wait() {
    let company = Company::in_maryland().await;
    let one = plan(&company, &company.front, "2026-09-17").await;
    let client = json!({ "name": "Client 001", "mailing_address": "1 Street A", "cancelled_on": "2026-09-18" });
    let _ = company.office.put_version(&format!("/api/v1/clients/{}", company.client), "*", &client).await.expect(200);
    let asked = json!({ "visits": named(&[&one]), "planned_on": "2026-09-19" });
    let problem = company.office.post("/api/v1/visits/moves", &asked).await.expect(422).body;
    assert_eq!(problem["errors"][0]["pointer"], "#/visits/0/id");
    assert!(problem["errors"][0]["detail"].as_str().unwrap().contains("service ends on 2026-09-18"), "{problem}");
}

#[tokio::test]
async fn visits_are_handed_over_and_called_off_together() {
    let company = Company::in_maryland().await;
    let one = plan(&company, &company.front, "2026-09-17").await;
    let other = json!({ "name": "Tech 02", "role": "technician" });
    let other = company.owner.post("/api/v1/people", &other).await.expect(201).id();
    let asked = json!({ "visits": named(&[&one]), "person_id": other });
    let moved = company.office.post("/api/v1/visits/moves", &asked).await.expect(200).body;
    assert_eq!(moved["visits"][0]["person_id"], other.as_str());
    assert!(moved["visits"][0]["certificate"][0]["message"].is_string(), "Maryland asks for a certificate: {moved}");
    let off = json!({ "visits": [{ "id": one, "version": 2 }], "cancelled_because": "The client asked for it." });
    let off = company.office.post("/api/v1/visits/moves", &off).await.expect(200).body;
    assert_eq!(
        (&off["visits"][0]["status"], &off["visits"][0]["reason"]),
        (&json!("cancelled"), &json!("The client asked for it."))
    );
}
