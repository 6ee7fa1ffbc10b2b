//! A technician sees the clients on the own visits. Everything about the others is not there: reads answer 404, lists
//! leave them out, and no write has an effect.

use harness::{
    User, new_id,
    world::{Company, technician},
};
use reqwest::Method;
use serde_json::{Value, json};

/// A client with everything that a client can have, and a technician who never goes there.
struct Strangers {
    company: Company,
    stranger: User,
    clearance: String,
    application: String,
    correction: String,
    attempt: String,
    soil_report: String,
}

impl Strangers {
    async fn meet() -> Self {
        let company = Company::in_maryland().await;
        let (_, stranger) = technician(&company.app, &company.office, &company.owner, "Tech 02").await;
        let clearance = new_id();
        let plan = company.plan(&company.rear, "5");
        let _ = company.phone.put(&format!("/api/v1/clearances/{clearance}"), &plan).await.expect(201);
        let application = company.put_down(&company.front, "20").await;
        let correction = new_id();
        let change = json!({
            "application_id": application, "reason": "Weighed again.",
            "change": { "lines": [{ "section_id": company.front, "product_lb": "19" }] },
        });
        let _ = company.phone.put(&format!("/api/v1/corrections/{correction}"), &change).await.expect(201);
        let too_much = company.record(&company.front, "260");
        let refused = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &too_much).await;
        let _ = refused.problem(422, "stopped-by-rules");
        let reviews = company.owner.get("/api/v1/reviews").await.expect(200).body;
        let attempt = reviews["items"][0]["record_id"].as_str().unwrap().to_owned();
        let reports = company.owner.get(&format!("/api/v1/sections/{}/soil-reports", company.front)).await.expect(200);
        let soil_report = reports.body["items"][0]["id"].as_str().unwrap().to_owned();
        Self { company, stranger, clearance, application, correction, attempt, soil_report }
    }

    /// Every address that tells something about the client.
    fn addresses(&self) -> Vec<String> {
        let Company { client, property, front, visit, .. } = &self.company;
        let Self { clearance, application, correction, attempt, soil_report, .. } = self;
        vec![
            format!("clients/{client}"),
            format!("properties/{property}"),
            format!("properties/{property}/weather"),
            format!("properties/{property}/working-windows/2026-09-15"),
            format!("applications/{application}/weather"),
            format!("sections/{front}"),
            format!("sections/{front}/measurements"),
            format!("sections/{front}/soil-reports"),
            format!("soil-reports/{soil_report}"),
            format!("soil-reports/{soil_report}/interpretation"),
            format!("soil-reports/{soil_report}/lime"),
            format!("visits/{visit}"),
            format!("clearances/{clearance}"),
            format!("clearances/{clearance}/decision"),
            format!("applications/{application}"),
            format!("applications/{application}/decision"),
            format!("corrections/{correction}"),
            format!("attempts/{attempt}"),
            format!("statements?year=2026&client_id={client}"),
            format!("statements?year=2026&property_id={property}"),
            format!("statements?year=2026&section_id={front}"),
            format!("statements?year=2026&section_id={front}&format=csv"),
            format!("days/2026-09-15?person_id={}", self.company.phone.id.as_deref().unwrap()),
            format!("days/2026-09-15/load-sheet?person_id={}", self.company.phone.id.as_deref().unwrap()),
        ]
    }
}

#[tokio::test]
async fn what_belongs_to_other_clients_is_not_there() {
    let strangers = Strangers::meet().await;
    for address in strangers.addresses() {
        let path = format!("/api/v1/{address}");
        // The one who goes there reads it: the address is right.
        let _ = strangers.company.phone.get(&path).await.expect(200);
        let hidden = strangers.stranger.get(&path).await.problem(404, "not-found");
        for told in [&strangers.company.client, "Client 001", "Street A"] {
            assert!(!hidden.text.contains(told), "{path} tells {told}: {}", hidden.text);
        }
    }
}

#[tokio::test]
async fn lists_leave_other_clients_out() {
    let strangers = Strangers::meet().await;
    let Company { client, property, front, phone, .. } = &strangers.company;
    let lists = [
        "clients".to_owned(),
        "properties".to_owned(),
        format!("properties?client_id={client}"),
        "sections".to_owned(),
        format!("sections?property_id={property}"),
        "visits".to_owned(),
        format!("visits?property_id={property}"),
        format!("visits?person_id={}", phone.id.as_deref().unwrap()),
        "applications".to_owned(),
        format!("applications?property_id={property}"),
        format!("applications?section_id={front}"),
        "corrections".to_owned(),
        format!("corrections?application_id={}", strangers.application),
    ];
    for list in lists {
        let path = format!("/api/v1/{list}");
        let own = phone.get(&path).await.expect(200).body;
        assert!(!own["items"].as_array().unwrap().is_empty(), "{path} is empty for the one who goes there");
        let other = strangers.stranger.get(&path).await.expect(200).body;
        assert_eq!(other["items"], json!([]), "{path}");
    }
    let day = strangers.stranger.get("/api/v1/days/2026-09-15").await.expect(200).body;
    assert_eq!(day["visits"], json!([]));
}

/// Everything that the owner sees of the book.
async fn the_book(owner: &User) -> Vec<Value> {
    let mut book = Vec::new();
    let lists = ["journal", "clients", "sections", "visits", "applications", "corrections", "stock-movements"];
    for list in lists {
        book.push(owner.get(&format!("/api/v1/{list}?limit=200")).await.expect(200).body["items"].clone());
    }
    book.push(owner.get("/api/v1/reviews?open=false&limit=200").await.expect(200).body["items"].clone());
    book
}

#[tokio::test]
async fn writing_to_other_clients_has_no_effect() {
    let strangers = Strangers::meet().await;
    let company = &strangers.company;
    let before = the_book(&company.owner).await;
    let measured =
        json!({ "area_sqft": "9000", "measured_on": "2026-09-15", "method": "wheel", "measured_by": "Tech 02" });
    let correct = json!({ "application_id": strangers.application, "reason": "Not mine to correct." });
    let again = company.record(&company.front, "20");
    let other = company.record(&company.front, "21");
    let plan = company.plan(&company.front, "5");
    let stopped = company.record(&company.front, "260");
    let writes: [(Method, String, Option<&Value>); 10] = [
        (Method::POST, format!("sections/{}/measurements", company.front), Some(&measured)),
        (Method::POST, "checks".to_owned(), Some(&plan)),
        (Method::PUT, format!("clearances/{}", new_id()), Some(&plan)),
        (Method::PUT, format!("clearances/{}", strangers.clearance), Some(&plan)),
        (Method::DELETE, format!("clearances/{}", strangers.clearance), None),
        (Method::PUT, format!("applications/{}", new_id()), Some(&other)),
        (Method::PUT, format!("applications/{}", new_id()), Some(&stopped)),
        (Method::PUT, format!("applications/{}", strangers.application), Some(&again)),
        (Method::PUT, format!("applications/{}", strangers.application), Some(&other)),
        (Method::PUT, format!("corrections/{}", new_id()), Some(&correct)),
    ];
    for (method, address, body) in writes {
        let reply = strangers.stranger.send(method.clone(), &format!("/api/v1/{address}"), &[], body).await;
        assert!(matches!(reply.status, 404 | 409), "{method} {address} answered {}: {}", reply.status, reply.text);
        for told in [&company.property, "Client 001", "Tech 01", "\"25.6\""] {
            assert!(!reply.text.contains(told), "{method} {address} tells {told}: {}", reply.text);
        }
    }
    assert_eq!(the_book(&company.owner).await, before, "a technician changed what is not theirs");
}
