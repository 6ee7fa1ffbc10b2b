//! How large the ground was, and whose, on the day of the work: what is measured or changed later decides nothing about it.

use harness::{Reply, new_id, world};
use serde_json::json;

use super::{Company, property, put};

/// A record of half an hour of a morning, sent now.
async fn sent(company: &Company, section: &str, day: &str) -> Reply {
    let mut record = company.record(section, "5");
    record["started_at"] = json!(format!("{day}T09:05:00-04:00"));
    record["finished_at"] = json!(format!("{day}T09:31:00-04:00"));
    company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await
}

async fn measured(company: &Company, section: &str, area: &str, on: &str) {
    let body = json!({ "area_sqft": area, "measured_on": on, "method": "wheel", "measured_by": "Office 01" });
    let _ = company.office.post(&format!("/api/v1/sections/{section}/measurements"), &body).await.expect(201);
}

#[tokio::test]
async fn a_late_record_is_judged_by_how_large_the_site_was_then() {
    // Wis. Adm. Code NR 151.14 as trade press tells it (WI-06): a site of more than 5 acres, 217,800 sq ft, needs a plan.
    let company = Company::under(&["us-wi"]).await;
    let large = async |section: &str, day: &str| {
        let reply = sent(&company, section, day).await;
        reply.status == 422 && reply.body["findings"].to_string().contains("large_site")
    };
    measured(&company, &company.front, "250000", "2026-09-10").await;
    assert!(!large(&company.front, "2026-09-09").await);
    assert!(!large(&company.rear, "2026-09-09").await);
    assert!(large(&company.rear, "2026-09-10").await);
    // A lawn that was first measured later makes no earlier day's site larger, but work on it is work on that much ground.
    measured(&company, &company.front, "8200", "2026-09-11").await;
    let field = world::section(&company.office, &company.property, "field", "1").await;
    let later = json!({
        "property_id": company.property, "name": "back field", "species": "tall_fescue", "water": "none", "touches_pavement": true,
    });
    let back = company.office.post("/api/v1/sections", &later).await.expect(201).id();
    measured(&company, &back, "250000", "2026-09-14").await;
    assert!(!large(&field, "2026-09-12").await);
    assert!(large(&back, "2026-09-12").await);
    assert!(large(&company.front, "2026-09-14").await);
}

#[tokio::test]
async fn a_late_record_asks_for_the_certificate_that_the_lawn_of_its_day_needed() {
    // 84 Del. Laws c. 439 (DE-06): from a quarter of an acre, 10,890 sq ft, on. Sections of 4,000 and 5,000 are less.
    let company = Company::on(harness::TestApp::empty().await, &[]).await;
    let put_down = json!({ "rule_sets": ["us-de"], "since": "2025-01-01" });
    let _ =
        put(&company.office, &format!("/api/v1/properties/{}", company.property), &property(&company, &put_down)).await;
    let certificate = async |section: &str, day: &str| {
        let reply = sent(&company, section, day).await;
        reply.body["findings"].to_string().contains("\"us-de.credential\"")
    };
    measured(&company, &company.front, "4000", "2026-09-01").await;
    assert!(certificate(&company.rear, "2026-08-31").await);
    assert!(!certificate(&company.rear, "2026-09-01").await);
    measured(&company, &company.front, "20000", "2026-09-14").await;
    assert!(!certificate(&company.front, "2026-09-13").await);
    assert!(certificate(&company.front, "2026-09-14").await);
}

#[tokio::test]
async fn a_client_who_came_back_was_away_on_the_days_between() {
    let company = Company::in_maryland().await;
    let path = format!("/api/v1/clients/{}", company.client);
    let client = |since: &str, ends: Option<&str>| {
        json!({
            "name": "Client 001", "mailing_address": "1 Street A, Sampletown", "cancelled_on": ends, "since": since,
        })
    };
    // The office hears of it two days late.
    let _ = put(&company.office, &path, &client("2026-09-05", Some("2026-09-03"))).await;
    let _ = put(&company.office, &path, &client("2026-09-12", None)).await;
    let stopped = async |day: &str| {
        let reply = sent(&company, &company.front, day).await;
        reply.status == 422 && reply.rules().iter().any(|rule| rule == "book.client.active")
    };
    assert!(!stopped("2026-09-02").await);
    for away in ["2026-09-03", "2026-09-04", "2026-09-05", "2026-09-11"] {
        assert!(stopped(away).await, "{away}");
    }
    assert!(!stopped("2026-09-12").await);
}

#[tokio::test]
async fn a_past_day_and_its_load_are_those_of_the_day() {
    // 2VAC5-405-100 A(4), Virginia's, wants the weather at the start; where no rule set binds nothing is asked.
    let mut company = Company::under(&["us-va"]).await;
    company.office = super::on(&company, "2026-09-17T15:00:00Z").await.0;
    let told = async |user: &harness::User| {
        let person = company.phone.id.as_deref().unwrap();
        let path = format!("/api/v1/days/2026-09-15?person_id={person}");
        let mut stop = user.get(&path).await.expect(200).body["visits"][0].clone();
        let load = user.get(&format!("/api/v1/days/2026-09-15/load-sheet?person_id={person}")).await.expect(200).body;
        // Versions say what may be changed now.
        stop["property"]["version"] = json!(null);
        let _ = stop["sections"].as_array_mut().unwrap().iter_mut().map(|one| one["version"] = json!(null)).count();
        (stop, load["stops"].clone(), load["products"].clone())
    };
    let before = told(&company.office).await;
    assert_eq!(
        (&before.0["asks"][0]["field"], before.0["asks"].as_array().unwrap().len()),
        (&json!("weather_at_start"), 1)
    );
    let since = "2026-09-16";
    let (place, lawn) =
        (format!("/api/v1/properties/{}", company.property), format!("/api/v1/sections/{}", company.front));
    let client = json!({
        "name": "Renamed", "mailing_address": "9 Street Z", "phone": "555-0199", "cancelled_on": "2026-09-17", "since": since,
    });
    let _ = put(&company.office, &format!("/api/v1/clients/{}", company.client), &client).await;
    let moved = json!({
        "address": "77 New Street", "rule_sets": [], "kind": "farm", "local_rules_checked_on": since, "since": since,
    });
    let _ = put(&company.office, &place, &property(&company, &moved)).await;
    let sown = json!({
        "species": "zoysia", "name": "meadow", "water": "unknown", "water_distance_ft": null, "established_on": since,
        "since": since,
    });
    let _ = put(&company.office, &lawn, &super::section(&company, &sown)).await;
    measured(&company, &company.front, "12000", since).await;
    assert_eq!(told(&company.office).await, before);
    assert_eq!(told(&company.phone).await, before);
    // Sold, it is the seller's day still, whom whoever does not see the whole company is not told.
    let buyer = json!({ "name": "Client 002", "mailing_address": "2 Street B" });
    let buyer = company.office.post("/api/v1/clients", &buyer).await.expect(201).id();
    let sold = json!({ "client_id": buyer, "rule_sets": [], "kind": "farm", "since": "2026-09-17" });
    let _ = put(&company.office, &place, &property(&company, &sold)).await;
    assert_eq!(told(&company.office).await, before);
    assert_eq!(told(&company.phone).await.0["client_name"], "A former client");
    // Today has what is so today.
    let visit = json!({
        "property_id": company.property, "person_id": company.phone.id, "planned_on": "2026-09-17", "product_id": company.feed,
        "section_ids": [company.front], "purpose": "maintenance", "target_nitrogen_lb_per_1000_sqft": "0.75",
    });
    let _ = company.office.post("/api/v1/visits", &visit).await.expect(201);
    let now = company.phone.get("/api/v1/days/2026-09-17").await.expect(200).body["visits"][0].clone();
    let of = (&now["client_name"], &now["sections"][0]["name"], &now["sections"][0]["area_sqft"], &now["asks"]);
    assert_eq!(of, (&json!("Client 002"), &json!("meadow"), &json!("12000"), &json!([])));
}

#[tokio::test]
async fn a_seeding_stands_for_its_own_days_when_the_lawn_is_seeded_again() {
    // Pinellas County ch. 58 art. XIII: nothing on new turf in the first 30 days (nutrient-law row FL-21).
    let company = Company::under(&["us-fl-pinellas"]).await;
    let lawn = format!("/api/v1/sections/{}", company.front);
    let place = format!("/api/v1/properties/{}", company.property);
    let office = super::on(&company, "2026-10-05T15:00:00Z").await.0;
    // New turf, and whether county and town were asked, as the judge sees a day.
    let judged = async |day: &str| {
        let mut plan = company.plan(&company.front, "5");
        plan["planned_on"] = json!(day);
        let told =
            company.phone.post("/api/v1/checks", &plan).await.expect(200).body["decision"]["findings"].to_string();
        (told.contains("us-fl-pinellas.new_turf"), !told.contains("book.place.local_rules"))
    };
    let enter = async |since: &str, seeded: &str, asked: &str| {
        let sown = super::section(&company, &json!({ "established_on": seeded, "since": since }));
        let _ = put(&office, &lawn, &sown).await;
        let asked = json!({ "rule_sets": ["us-fl-pinellas"], "local_rules_checked_on": asked, "since": since });
        let _ = put(&office, &place, &property(&company, &asked)).await;
    };
    let day_of = async || {
        let path = format!("/api/v1/days/2026-09-15?person_id={}", company.phone.id.as_deref().unwrap());
        let stop = office.get(&path).await.expect(200).body["visits"][0].clone();
        let front =
            stop["sections"].as_array().unwrap().iter().find(|one| one["id"] == company.front.as_str()).unwrap();
        (front["established_on"].clone(), stop["property"]["local_rules_checked_on"].clone())
    };
    assert_eq!(judged("2026-09-15").await, (false, false));
    // Both are entered later than they happened, and then the lawn is seeded again and the county asked again.
    enter("2026-09-17", "2026-09-10", "2026-09-12").await;
    assert_eq!(judged("2026-09-15").await, (true, true));
    assert_eq!(day_of().await, (json!("2026-09-10"), json!("2026-09-12")));
    enter("2026-10-02", "2026-10-01", "2026-10-01").await;
    assert_eq!(judged("2026-09-15").await, (true, true), "what is so now takes nothing from that day");
    assert_eq!(day_of().await, (json!("2026-09-10"), json!("2026-09-12")), "and the day is shown as it is judged");
    assert_eq!(judged("2026-09-09").await, (false, false), "before either");
    assert_eq!(judged("2026-10-02").await, (true, true));
}

#[tokio::test]
async fn a_section_that_is_put_down_again_tells_the_ground_that_it_was_given() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "5").await;
    let correct = async |change: serde_json::Value, replaces: Option<&String>| {
        let mut correction = json!({ "application_id": id, "reason": "It was another lawn.", "change": change });
        if let Some(replaces) = replaces {
            correction["replaces"] = json!(replaces);
        }
        let word = new_id();
        let _ = company.phone.put(&format!("/api/v1/corrections/{word}"), &correction).await.expect(201);
        word
    };
    let other = json!({ "lines": [{ "section_id": company.rear, "product_lb": "3" }], "taken_back": [company.front] });
    let moved = correct(other, None).await;
    measured(&company, &company.front, "4100", "2026-02-01").await;
    let back = json!({ "lines": [{ "section_id": company.front, "product_lb": "2" }] });
    let word = correct(back, Some(&moved)).await;
    let lines = company.office.get(&format!("/api/v1/corrections/{word}")).await.expect(200).body["lines"].clone();
    let line = lines.as_array().unwrap().iter().find(|line| line["section_id"] == company.front).unwrap();
    assert_eq!(line["area_sqft"], "4100");
    let told = company.office.get(&format!("/api/v1/applications/{id}/particulars")).await.expect(200).body;
    assert_eq!(told["particulars"]["sections"][0]["measurement"]["area_sqft"], "8200");
    let since = told["sections_since"].as_array().unwrap();
    let again = since.iter().find(|section| section["section_id"] == company.front).unwrap();
    assert_eq!(again["measurement"]["area_sqft"], "4100");
    assert_eq!(told["sections_not_fixed"], json!([]));
    let found = server::book::verify::check_file(&company.app.file()).await.unwrap();
    assert_eq!(found.faults, Vec::<String>::new());
}
