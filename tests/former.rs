//! What was written in a former client's time is no concern of the next one: neither the next client's pass nor technicians read it,
//! and no statement names the one to the other.

use harness::{User, new_id, world::Company};
use serde_json::{Value, json};

use crate::pages::visitor::Visitor;

/// Stands in every text that somebody wrote while the property was the former client's.
const WORD: &str = "QUINCE";

/// A record, one beyond the rules, a correction and two additions, and then the property is sold.
async fn sold() -> (Company, [String; 2], String, String) {
    let company = Company::in_maryland().await;
    let mut first = company.record(&company.front, "10");
    first["notes"] = json!(format!("{WORD} has the key"));
    let ids = [new_id(), new_id()];
    let _ = company.phone.put(&format!("/api/v1/applications/{}", ids[0]), &first).await.expect(201);
    let mut beyond = company.record(&company.rear, "60");
    beyond["notes"] = json!(format!("{WORD} asked for more"));
    let path = format!("/api/v1/applications/{}", ids[1]);
    let refused = company.phone.put(&path, &beyond).await.problem(422, "stopped-by-rules");
    let stops = refused.body["findings"].as_array().unwrap().iter().filter(|finding| finding["verdict"] == "stop");
    beyond["acknowledged"] = stops.map(|finding| finding["key"].clone()).collect();
    beyond["reason"] = json!(format!("{WORD} wanted it"));
    let _ = company.phone.put(&path, &beyond).await.expect(201);
    let less = json!({ "lines": [{ "section_id": company.front, "product_lb": "9" }] });
    let less = json!({ "application_id": ids[0], "reason": format!("{WORD} weighed it"), "change": less });
    let correction = new_id();
    let _ = company.phone.put(&format!("/api/v1/corrections/{correction}"), &less).await.expect(201);
    let from_the_book = json!({ "from_the_book": true });
    let additions = format!("/api/v1/applications/{}/additions", ids[0]);
    let _ = company.office.post(&additions, &from_the_book).await.expect(201);
    let measured = json!({ "area_sqft": "8300", "measured_on": "2026-09-01", "method": "wheel", "measured_by": "Office 01", "note": format!("{WORD} held the tape") });
    let path = format!("/api/v1/sections/{}/measurements", company.front);
    let mut again = measured.clone();
    again["corrects"] = json!(company.office.post(&path, &measured).await.expect(201).id());
    again["reason"] = json!(format!("{WORD} says the strip is not theirs"));
    again["area_sqft"] = json!("8200");
    let _ = company.office.post(&path, &again).await.expect(201);
    let larger =
        json!({ "area_sqft": "9100", "measured_on": "2026-09-02", "method": "wheel", "measured_by": "Tech 01" });
    let larger = company.phone.post(&path, &larger).await.expect(201).id();
    let no = json!({ "holds": false, "note": format!("{WORD} agrees that it is less") });
    let _ = company.office.put(&format!("/api/v1/measurements/{larger}/confirmation"), &no).await.expect(200);
    let buyer = json!({ "name": "Client 002", "mailing_address": "2 Street B" });
    let buyer = company.office.post("/api/v1/clients", &buyer).await.expect(201).id();
    let sold = json!({ "since": "2026-09-15", "facts": { "client_id": buyer }, "reason": format!("{WORD} sold it") });
    let _ = company.office.post(&format!("/api/v1/properties/{}/history", company.property), &sold).await.expect(201);
    (company, ids, correction, buyer)
}

async fn told_to(user: &User, company: &Company, ids: &[String; 2], correction: &str) -> String {
    let mut paths = vec![
        "/api/v1/applications".to_owned(),
        "/api/v1/corrections".to_owned(),
        format!("/api/v1/corrections/{correction}"),
        format!("/api/v1/sections/{}/measurements", company.front),
        format!("/api/v1/sections/{}/soil-reports", company.front),
        format!("/api/v1/statements?year=2026&property_id={}", company.property),
    ];
    for id in ids {
        paths.extend(["", "/particulars", "/duties"].map(|of| format!("/api/v1/applications/{id}{of}")));
    }
    let mut told = String::new();
    for path in paths {
        told.push_str(&user.get(&path).await.expect(200).text);
    }
    told
}

#[tokio::test]
async fn words_of_a_former_clients_time_stay_with_the_company() {
    let (company, ids, correction, buyer) = sold().await;
    let pass = json!({ "name": "Inspector", "client_ids": [buyer], "days": 3 });
    let pass = company.owner.post("/api/v1/passes", &pass).await.expect(201).body;
    let outside = company.app.user(pass["token"].as_str().unwrap(), None);
    for user in [&outside, &company.phone] {
        let told = told_to(user, &company, &ids, &correction).await;
        assert!(!told.contains(WORD), "{told}");
        let kept: Value = user.get(&format!("/api/v1/applications/{}/particulars", ids[0])).await.expect(200).body;
        assert_eq!(kept["particulars"].get("client_id"), None);
        assert_eq!(kept["additions"][0]["particulars"].get("client_id"), None);
    }
    // The company reads all of it.
    let told = told_to(&company.office, &company, &ids, &correction).await;
    for words in [
        "has the key",
        "asked for more",
        "wanted it",
        "weighed it",
        "held the tape",
        "says the strip",
        "agrees that it is less",
    ] {
        assert!(told.contains(&format!("{WORD} {words}")), "{words}: {told}");
    }
    assert!(told.contains(&format!("\"client_id\":\"{}\"", company.client)));
    // What is written in the new client's time is read.
    let mut new = company.record(&company.front, "1");
    new["notes"] = json!("The dog is friendly");
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), &new).await.expect(201);
    let read = outside.get(&format!("/api/v1/applications/{id}")).await.expect(200).body;
    assert_eq!(read["notes"], "The dog is friendly");
}

#[tokio::test]
async fn no_statement_names_one_client_to_another() {
    let (company, _, _, buyer) = sold().await;
    company.app.clock.set(harness::instant("2028-03-04T15:00:00Z"));
    let office = company.app.sign_in("office", None).await;
    let sold =
        json!({ "since": "2026-08-15", "facts": { "client_id": buyer }, "reason": format!("{WORD} moved out before") });
    let _ = office.post(&format!("/api/v1/properties/{}/history", company.property), &sold).await.expect(201);
    let told = office.get(&format!("/api/v1/statements?year=2026&client_id={buyer}")).await.expect(200);
    assert!(!told.text.contains(WORD) && !told.text.contains("Client 001"), "{}", told.text);
    let words = "from 2026-08-15 on, client: Client 002 (before the correction: another client).";
    assert!(told.text.contains(words), "{}", told.text);
    let former = office.get(&format!("/api/v1/statements?year=2026&client_id={}", company.client)).await.expect(200);
    assert!(!former.text.contains(WORD) && !former.text.contains("Client 002"), "{}", former.text);
    let page = Visitor::named(&company, "office").await.open(&format!("/year/{buyer}?year=2026")).await;
    assert!(page.status == 200 && !page.html.contains(WORD), "{}", page.html);
}

/// A reason that was given in a former client's time stands on that client's statement, for the company alone.
#[tokio::test]
async fn a_reason_of_a_former_clients_time_is_on_no_limited_statement() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "10").await;
    let at = async |moment: &str| {
        company.app.clock.set(harness::instant(moment));
        company.app.sign_in("office", None).await
    };
    let office = at("2027-02-01T15:00:00Z").await;
    let path = format!("/api/v1/sections/{}/measurements", company.front);
    let measured =
        json!({ "area_sqft": "8300", "measured_on": "2026-05-01", "method": "wheel", "measured_by": "Office 01" });
    let mut again = measured.clone();
    again["corrects"] = json!(office.post(&path, &measured).await.expect(201).id());
    (again["reason"], again["area_sqft"]) = (json!(format!("{WORD} says the strip is theirs")), json!("8250"));
    let _ = office.post(&path, &again).await.expect(201);
    let seen = json!({ "species": "fine_fescue", "seen_on": "2027-01-20", "note": format!("{WORD} sowed it") });
    let seen = office.post(&format!("/api/v1/sections/{}/sightings", company.front), &seen).await.expect(201).id();

    let office = at("2027-03-02T15:00:00Z").await;
    let buyer = json!({ "name": "Client 002", "mailing_address": "2 Street B" });
    let buyer = office.post("/api/v1/clients", &buyer).await.expect(201).id();
    let sold = json!({ "since": "2027-03-01", "facts": { "client_id": buyer }, "reason": "Sold." });
    let _ = office.post(&format!("/api/v1/properties/{}/history", company.property), &sold).await.expect(201);
    let statement = format!("/api/v1/statements?year=2026&property_id={}", company.property);
    let told = office.get(&statement).await.expect(200).text;
    assert!(told.contains("Corrected on 2027-02-01") && told.contains(WORD), "{told}");
    let owner = company.app.sign_in("owner", None).await;
    let pass = json!({ "name": "Inspector", "client_ids": [buyer], "days": 3 });
    let pass = owner.post("/api/v1/passes", &pass).await.expect(201).body;
    let outside = company.app.user(pass["token"].as_str().unwrap(), None);
    let told = outside.get(&statement).await.expect(200).text;
    assert!(told.contains("Corrected on 2027-02-01") && !told.contains(WORD), "{told}");
    let looked = company.phone.get(&format!("/api/v1/sightings/{seen}")).await.expect(200).body;
    assert!(!looked["note"].as_str().unwrap().contains(WORD), "{looked}");
    // What the office learns only later of the time before does not move a reason to the client of now.
    let earlier = json!({ "since": "2026-01-01", "facts": { "client_id": buyer }, "reason": "Sold long before." });
    let _ = office.post(&format!("/api/v1/properties/{}/history", company.property), &earlier).await.expect(201);
    let told = office.get(&format!("/api/v1/statements?year=2026&client_id={buyer}")).await.expect(200).text;
    assert!(told.contains("Corrected on 2027-02-01") && !told.contains(WORD), "{told}");
}

/// A first entry that is corrected makes no former client of anybody.
#[tokio::test]
async fn a_corrected_address_keeps_no_note_from_a_technician() {
    let company = Company::in_maryland().await;
    let path = format!("/api/v1/sections/{}/measurements", company.front);
    let measured = json!({ "area_sqft": "8300", "measured_on": "2026-09-01", "method": "wheel", "measured_by": "Office 01", "note": "gate on the left" });
    let measured = company.office.post(&path, &measured).await.expect(201).id();
    let history = format!("/api/v1/properties/{}/history", company.property);
    let mut facts = company.office.get(&history).await.expect(200).body["items"][0]["facts"].clone();
    facts["address"] = json!("11 Street A, Sampletown");
    let right = json!({ "facts": facts, "corrects": company.property, "reason": "The number was another one." });
    let _ = company.office.post(&history, &right).await.expect(201);
    let read = company.phone.get(&format!("/api/v1/measurements/{measured}")).await.expect(200).body;
    assert_eq!(read["note"], "gate on the left");
}
