//! One stop a property and day, and no more on a day than the technicians can do. The figures are counted by hand.

use std::collections::{BTreeMap, BTreeSet};

use harness::{
    new_id,
    world::{Company, certify, property, section, soil_report, technician},
};
use serde_json::{Value, json};

use super::{call_off, describe, programme, written};

/// Three properties with lawns of tall fescue: the example's with two sections, and two more with one each.
async fn three(company: &Company) -> Vec<String> {
    call_off(company).await;
    let mut sections = vec![company.front.clone(), company.rear.clone()];
    for _ in 0..2 {
        let home = property(&company.office, &company.client, &["us-md"]).await;
        let lawn = section(&company.office, &home, "lawn", "6000").await;
        // Maryland asks for a soil report from the second application of the year (COMAR 15.20.10).
        let _ = soil_report(&company.office, &lawn, "2025-10-02", "optimum", "0").await;
        sections.push(lawn);
    }
    for section in &sections {
        describe(company, section, "medium", "taken", "light").await;
    }
    sections
}

fn with(company: &Company, technicians: &Value) -> Value {
    let mut body = programme(company);
    body["technicians"] = technicians.clone();
    body
}

async fn company_plan(company: &Company, id: &str) -> Value {
    company.office.get(&format!("/api/v1/programmes/{id}/plan")).await.expect(200).body
}

/// Every round of every section's plan is in a stop, or told among what found no day.
fn nothing_is_lost(seen: &Value) {
    let all = |name: &str| seen[name].as_array().unwrap().clone();
    let (stops, lost) = (all("stops"), all("not_placed"));
    for section in all("sections") {
        for round in section["rounds"].as_array().unwrap() {
            let here = |line: &Value| line["section_id"] == section["section_id"] && line["round"] == round["round"];
            let placed = stops.iter().flat_map(|stop| stop["lines"].as_array().unwrap()).any(here);
            let told = lost.iter().any(|left| {
                left["round"] == round["round"]
                    && left["section_ids"].as_array().unwrap().contains(&section["section_id"])
            });
            assert!(placed != told, "{round:#} {stops:#?} {lost:#?}");
        }
    }
}

#[tokio::test]
async fn one_product_on_two_sections_without_a_common_day_is_two_stops() {
    let company = Company::in_maryland().await;
    call_off(&company).await;
    for section in [&company.front, &company.rear] {
        describe(&company, section, "medium", "taken", "light").await;
    }
    // University of Maryland Extension, read: 0.9 lb each in September and in October. The rear lawn has September's already
    // (0.9 lb on 5,000 sq ft from 24 % nitrogen are 18.75 lb, computed), so in one long round it waits for October.
    let mut record = company.record(&company.rear, "18.75");
    let _ = record.as_object_mut().unwrap().remove("visit_id");
    let path = format!("/api/v1/applications/{}", new_id());
    let _ = company.phone.put(&path, &record).await.expect(201);
    let mut body = programme(&company);
    body["rounds"] = json!([{ "name": "autumn", "from": "2026-09-16", "to": "2026-11-15" }]);
    let id = written(&company.office, &body).await;
    let seen = company_plan(&company, &id).await;
    nothing_is_lost(&seen);
    let stops = seen["stops"].as_array().unwrap();
    let of = |section: &String| {
        let here = |stop: &&Value| stop["lines"].as_array().unwrap().iter().any(|line| line["section_id"] == **section);
        stops.iter().find(here).map(|stop| stop["on"].as_str().unwrap().to_owned())
    };
    let (front, rear) = (of(&company.front).unwrap(), of(&company.rear).unwrap());
    assert!(front.as_str() < "2026-10-01" && rear.as_str() >= "2026-10-01", "{front} {rear}");
}

#[tokio::test]
async fn nobody_s_certificate_is_lent_to_another() {
    // COMAR 15.20.10.02-.03 (MD-28): paid application is by a certified applicator.
    let company = Company::uncertified().await;
    let _ = three(&company).await;
    let without = company.phone.id.clone().unwrap();
    let (holder, _) = technician(&company.app, &company.office, &company.owner, "Tech 02").await;
    certify(&company.office, &holder, "us-md").await;
    let office = company.office.get("/api/v1/people?limit=100").await.expect(200).body;
    let clerk = office["items"].as_array().unwrap().iter().find(|person| person["role"] == "office").unwrap();
    certify(&company.office, clerk["id"].as_str().unwrap(), "us-md").await;
    let rounds = async |person: &str| {
        let id = written(&company.office, &with(&company, &json!([{ "person_id": person }]))).await;
        let seen = company_plan(&company, &id).await;
        nothing_is_lost(&seen);
        seen["sections"].as_array().unwrap().iter().map(|one| one["rounds"].as_array().unwrap().len()).sum::<usize>()
    };
    assert_eq!(rounds(&without).await, 0, "the clerk's certificate is not the technician's");
    assert!(rounds(&holder).await > 0);
    // The same when a person is named for the visits of a round.
    let id = written(&company.office, &programme(&company)).await;
    let path = format!("/api/v1/programmes/{id}/visits");
    let asked = |person: &str| json!({ "round": "early autumn", "section_ids": [company.front], "planned_on": "2026-09-18", "person_id": person });
    let told = company.office.post(&path, &asked(&without)).await.problem(422, "invalid");
    assert_eq!(told.faults(), ["#/section_ids/0"]);
    let _ = company.office.post(&path, &asked(&holder)).await.expect(201);
}

#[tokio::test]
async fn a_stop_goes_only_to_a_technician_who_holds_what_the_law_asks_for_on_its_day() {
    // COMAR 15.20.10.02-.03 (MD-28): paid application is by a certified applicator.
    let company = Company::uncertified().await;
    let _ = three(&company).await;
    let without = company.phone.id.clone().unwrap();
    let (holder, _) = technician(&company.app, &company.office, &company.owner, "Tech 02").await;
    certify(&company.office, &holder, "us-md").await;
    // The first who is named has as little to do as the second, so without a certificate to ask for it would be the first.
    let both = json!([{ "person_id": without }, { "person_id": holder }]);
    let id = written(&company.office, &with(&company, &both)).await;
    let seen = company_plan(&company, &id).await;
    nothing_is_lost(&seen);
    let stops = seen["stops"].as_array().unwrap();
    assert!(!stops.is_empty() && stops.iter().all(|stop| stop["person_id"] == holder), "{stops:#?}");
    // Of one whose certificate runs out in the middle of the season, only the stops up to that day.
    let held = json!({
        "name": "Certificate", "number": "FA-2", "issued_by": "A state", "rule_set": "us-md", "code": "us-md-certified",
        "valid_from": "2026-01-01", "valid_until": "2026-09-30",
    });
    let _ = company.office.post(&format!("/api/v1/people/{without}/credentials"), &held).await.expect(201);
    let one_each = json!([{ "person_id": without, "stops_per_day": 1 }, { "person_id": holder, "stops_per_day": 1 }]);
    let id = written(&company.office, &with(&company, &one_each)).await;
    let seen = company_plan(&company, &id).await;
    nothing_is_lost(&seen);
    let of_first = seen["stops"].as_array().unwrap().iter().filter(|stop| stop["person_id"] == without);
    let days: Vec<&str> = of_first.map(|stop| stop["on"].as_str().unwrap()).collect();
    assert!(!days.is_empty() && days.iter().all(|on| *on <= "2026-09-30"), "{days:?}");
}

#[tokio::test]
async fn what_a_property_gets_in_a_round_is_one_stop() {
    let company = Company::in_maryland().await;
    let _ = three(&company).await;
    let id = written(&company.office, &programme(&company)).await;
    let seen = company_plan(&company, &id).await;
    assert_eq!(seen["not_placed"], json!([]));
    let stops = seen["stops"].as_array().unwrap();
    let places: BTreeSet<(&str, &str)> =
        stops.iter().map(|stop| (stop["on"].as_str().unwrap(), stop["property_id"].as_str().unwrap())).collect();
    assert_eq!(places.len(), stops.len(), "{stops:#?}");
    // Two autumn rounds (University of Maryland Extension, read: 0.9 lb each in September and in October) at three properties.
    assert_eq!(stops.len(), 6, "{stops:#?}");
    let own: Vec<&Value> = stops.iter().filter(|stop| stop["property_id"] == json!(company.property)).collect();
    assert!(own.iter().all(|stop| stop["lines"].as_array().unwrap().len() == 2), "{own:#?}");
    assert!(own.iter().all(|stop| stop["area_sqft"] == "13200" && stop["person_id"].is_null()), "{own:#?}");
    // The plan of each section has the days of its stops.
    for section in seen["sections"].as_array().unwrap() {
        for round in section["rounds"].as_array().unwrap() {
            let there = |stop: &&Value| {
                stop["on"] == round["on"]
                    && stop["lines"].as_array().unwrap().iter().any(|line| line["section_id"] == section["section_id"])
            };
            assert!(stops.iter().any(|stop| there(&stop)), "{round:#} {stops:#?}");
        }
    }
}

#[tokio::test]
async fn no_day_is_over_what_the_technicians_can_do() {
    let company = Company::in_maryland().await;
    let _ = three(&company).await;
    let crew = json!([{ "person_id": company.phone.id, "stops_per_day": 1 }]);
    let id = written(&company.office, &with(&company, &crew)).await;
    let seen = company_plan(&company, &id).await;
    assert_eq!(seen["not_placed"], json!([]));
    let mut a_day: BTreeMap<&str, usize> = BTreeMap::new();
    for stop in seen["stops"].as_array().unwrap() {
        *a_day.entry(stop["on"].as_str().unwrap()).or_default() += 1;
        assert_eq!((&stop["person_id"], &stop["person_name"]), (&json!(company.phone.id), &json!("Tech 01")));
    }
    assert_eq!((a_day.values().max(), a_day.len()), (Some(&1), 6), "{a_day:?}");
    // Less ground a day than a lawn has: that lawn finds no day, and it is said.
    let crew = json!([{ "person_id": company.phone.id, "area_sqft_per_day": "7000" }]);
    let id = written(&company.office, &with(&company, &crew)).await;
    let seen = company_plan(&company, &id).await;
    let lost = seen["not_placed"].as_array().unwrap();
    assert!(lost.iter().all(|one| one["section_ids"] == json!([company.front])), "{lost:#?}");
    nothing_is_lost(&seen);
    assert!(lost[0]["why"].as_str().unwrap().contains("8200 sq ft are more than any technician"), "{lost:#?}");
    // The other section of that property has its stop all the same.
    assert!(seen["stops"].as_array().unwrap().iter().any(|stop| stop["area_sqft"] == "5000"), "{seen:#}");
}

#[tokio::test]
async fn visits_are_spread_over_the_days_of_the_technicians() {
    let company = Company::in_maryland().await;
    let sections = three(&company).await;
    let (second, _) = technician(&company.app, &company.office, &company.owner, "Tech 02").await;
    certify(&company.office, &second, "us-md").await;
    let crew = json!([
        { "person_id": company.phone.id, "stops_per_day": 1 }, { "person_id": second, "stops_per_day": 1 },
    ]);
    let id = written(&company.office, &with(&company, &crew)).await;
    let path = format!("/api/v1/programmes/{id}/visits");
    let mut asked = json!({ "round": "early autumn", "section_ids": sections, "planned_on": "2026-09-18" });
    let told = company.office.post(&path, &asked).await.problem(422, "invalid");
    assert_eq!(told.faults(), ["#/person_id"]);
    let _ = asked.as_object_mut().unwrap().remove("planned_on");
    let made = company.office.post(&path, &asked).await.expect(201).body;
    assert_eq!(made["left_out"], json!([]));
    let mut stops: BTreeMap<(String, String), BTreeSet<String>> = BTreeMap::new();
    let mut of: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for visit in made["visits"].as_array().unwrap() {
        let [day, person, home] =
            ["planned_on", "person_id", "property_id"].map(|member| visit[member].as_str().unwrap().to_owned());
        let _ = of.entry(home.clone()).or_default().insert(day.clone());
        let _ = stops.entry((day, person)).or_default().insert(home);
    }
    // One property a person and day, and each property on one day: two on the first day, the third on the second.
    assert!(stops.values().all(|homes| homes.len() == 1), "{stops:?}");
    assert!(of.len() == 3 && of.values().all(|days| days.len() == 1), "{of:?}");
    assert_eq!(of.values().flatten().collect::<BTreeSet<_>>().len(), 2, "{of:?}");
    // What stands takes room: the late round cannot use those days, and nobody is sent twice.
    let seen = company_plan(&company, &id).await;
    let mut people: BTreeMap<(&str, &str), usize> = BTreeMap::new();
    for stop in seen["stops"].as_array().unwrap() {
        *people.entry((stop["on"].as_str().unwrap(), stop["person_id"].as_str().unwrap())).or_default() += 1;
    }
    assert!(people.values().all(|stops| *stops == 1), "{people:?}");
    // Without technicians a day and a person are needed.
    let id = written(&company.office, &programme(&company)).await;
    let told = company.office.post(&format!("/api/v1/programmes/{id}/visits"), &asked).await.problem(422, "invalid");
    assert_eq!(told.faults(), ["#/planned_on"]);
}

#[tokio::test]
async fn a_programme_names_its_technicians_once() {
    let company = Company::in_maryland().await;
    let twice = json!([{ "person_id": company.phone.id }, { "person_id": company.phone.id }]);
    let told = company.office.post("/api/v1/programmes", &with(&company, &twice)).await.problem(422, "invalid");
    assert_eq!(told.faults(), ["#/technicians/1/person_id"]);
    let nobody = json!([{ "person_id": "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7aff", "stops_per_day": 8 }]);
    let told = company.office.post("/api/v1/programmes", &with(&company, &nobody)).await.problem(422, "invalid");
    assert_eq!(told.faults(), ["#/technicians/0/person_id"]);
}
