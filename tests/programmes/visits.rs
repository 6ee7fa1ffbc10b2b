//! The visits of a round: planned once on a section, whoever asks and however often.

use harness::{
    contract::document,
    world::{Company, property, section, soil_report},
};
use serde_json::{Value, json};

use super::{call_off, describe, each, plan, programme, written};

async fn ready(company: &Company) -> String {
    call_off(company).await;
    for section in [&company.front, &company.rear] {
        describe(company, section, "medium", "taken", "light").await;
    }
    written(&company.office, &programme(company)).await
}

fn autumn(company: &Company, sections: &[&String]) -> Value {
    json!({ "round": "early autumn", "planned_on": "2026-09-18", "person_id": company.phone.id, "section_ids": sections })
}

async fn acts(company: &Company) -> Vec<String> {
    let journal = company.owner.get("/api/v1/journal?limit=200").await.expect(200).body;
    each(&journal["items"], "act").into_iter().map(str::to_owned).collect()
}

#[tokio::test]
async fn a_round_becomes_visits_with_a_journal_entry_each() {
    let company = Company::in_maryland().await;
    let id = ready(&company).await;
    let path = format!("/api/v1/programmes/{id}/visits");
    let before = acts(&company).await.len();
    let body = autumn(&company, &[&company.front, &company.rear]);
    let key = "one-key-for-one-round";
    let made = company.office.post_with_key(&path, key, &body).await.expect(201);
    assert_eq!(made.body["left_out"], json!([]));
    let visits = made.body["visits"].as_array().unwrap();
    let mut sections: Vec<&Value> = visits.iter().flat_map(|visit| visit["section_ids"].as_array().unwrap()).collect();
    sections.sort_by_key(ToString::to_string);
    assert_eq!(sections.len(), 2);
    let new = &acts(&company).await[before..];
    assert_eq!(new.len(), visits.len());
    assert!(new.iter().all(|act| act == "visit.planned"), "{new:?}");
    for visit in visits {
        assert_eq!((&visit["round"], &visit["programme_id"]), (&json!("early autumn"), &json!(id)));
        let read = company.phone.get(&format!("/api/v1/visits/{}", visit["id"].as_str().unwrap())).await.expect(200);
        assert_eq!(read.body, *visit);
        // The published schedule gives 0.9 lb in September (University of Maryland Extension, read); the target is rounded
        // down to the thousandth.
        let target: f64 = super::amount(&visit["target_nitrogen_lb_per_1000_sqft"]);
        assert!(target <= 0.9 && target > 0.89, "{target}");
    }
    // The same again is the first answer, and nothing is written.
    let again = company.office.post_with_key(&path, key, &body).await.expect(201);
    assert_eq!((again.body, again.headers.get("idempotency-replayed").is_some()), (made.body, true));
    assert_eq!(acts(&company).await.len(), before + new.len());
    let other = autumn(&company, &[&company.front]);
    let _ = company.office.post_with_key(&path, key, &other).await.problem(422, "idempotency-key-reused");
    // In the plan the round is taken, and what it brings counts.
    let seen = plan(&company, &company.front, &id).await;
    assert_eq!(each(&seen["skipped"], "round"), ["early autumn", "midwinter"]);
    assert!(seen["skipped"][0]["why"].as_str().unwrap().contains("2026-09-18"), "{}", seen["skipped"]);
    let still = super::amount(&seen["need"]["nitrogen"]["still_lb_per_1000_sqft"]);
    assert!((still - 0.9).abs() < 0.012, "{still}");
}

/// The front, the rear and a third lawn whose plans differ by the rounding of their amounts: one visit with the lowest target. The
/// program's day holds when it is named as well: two stops, counted by hand.
#[tokio::test]
async fn one_visit_a_property_and_no_more_stops_than_the_day_has() {
    let company = Company::in_maryland().await;
    call_off(&company).await;
    let mut sections = vec![company.front.clone(), company.rear.clone()];
    sections.push(section(&company.office, &company.property, "strip", "333.33").await);
    let mut homes = vec![company.property.clone()];
    for _ in 0..3 {
        homes.push(property(&company.office, &company.client, &["us-md"]).await);
        sections.push(section(&company.office, &homes[homes.len() - 1], "lawn", "6000").await);
    }
    for (at, section) in sections.iter().enumerate() {
        // Maryland asks for a soil report from the second application of the year (COMAR 15.20.10).
        if at > 1 {
            let _ = soil_report(&company.office, section, "2025-10-02", "optimum", "0").await;
        }
        describe(&company, section, "medium", "taken", "light").await;
    }
    let mut body = programme(&company);
    body["technicians"] = json!([{ "person_id": company.phone.id, "stops_per_day": 2 }]);
    let id = written(&company.office, &body).await;
    let mut rates = Vec::new();
    for section in &sections[..3] {
        let seen = plan(&company, section, &id).await;
        let round = seen["rounds"].as_array().unwrap().iter().find(|round| round["round"] == "early autumn").unwrap();
        rates.push(super::amount(&round["nitrogen_lb_per_1000_sqft"]));
    }
    let lowest = rates.iter().copied().fold(f64::INFINITY, f64::min);
    assert!(rates.iter().any(|rate| *rate > lowest), "they differ: {rates:?}");
    let asked: Vec<&String> = sections.iter().collect();
    let path = format!("/api/v1/programmes/{id}/visits");
    let made = company.office.post(&path, &autumn(&company, &asked)).await.expect(201).body;
    let visits = made["visits"].as_array().unwrap();
    let mut there = each(&made["visits"], "property_id");
    there.sort_unstable();
    let stops: std::collections::BTreeSet<&str> = there.iter().copied().collect();
    assert_eq!((visits.len(), stops.len()), (2, 2), "{made:#}");
    let own = visits.iter().find(|visit| visit["property_id"] == json!(company.property)).expect("a visit there");
    assert_eq!(own["section_ids"].as_array().unwrap().len(), 3, "{own:#}");
    let target = super::amount(&own["target_nitrogen_lb_per_1000_sqft"]);
    assert!(target <= lowest && target > lowest - 0.001, "{target}, {rates:?}");
    let left = made["left_out"].as_array().unwrap();
    assert_eq!(left.len(), 2, "{made:#}");
    assert!(left.iter().all(|left| left["why"].as_str().unwrap().contains("no technician has room on 2026-09-18")));
    // The day is full; another day, or somebody whom the program does not limit, takes the rest.
    let rest: Vec<String> = left.iter().map(|left| left["section_id"].as_str().unwrap().to_owned()).collect();
    let mut again = autumn(&company, &rest.iter().collect::<Vec<_>>());
    let told = company.office.post(&path, &again).await.problem(422, "invalid");
    assert!(told.text.contains("no technician has room on 2026-09-18"), "{}", told.text);
    again["planned_on"] = json!("2026-09-21");
    let made = company.office.post(&path, &again).await.expect(201).body;
    assert_eq!((made["visits"].as_array().unwrap().len(), &made["left_out"]), (2, &json!([])), "{made:#}");
}

#[tokio::test]
async fn a_round_is_never_planned_twice_on_a_section() {
    let company = Company::in_maryland().await;
    let id = ready(&company).await;
    let path = format!("/api/v1/programmes/{id}/visits");
    let front = autumn(&company, &[&company.front]);
    let first = company.office.post(&path, &front).await.expect(201).body;
    let told = company.office.post(&path, &front).await.problem(422, "invalid");
    assert!(told.text.contains("planned already"), "{}", told.text);
    let both = autumn(&company, &[&company.front, &company.rear]);
    let second = company.office.post(&path, &both).await.expect(201).body;
    assert_eq!(second["visits"][0]["section_ids"], json!([company.rear]));
    assert_eq!(second["left_out"][0]["section_id"], json!(company.front));
    // Called off, it may be planned anew; then the old one cannot come back.
    let mut change = first["visits"][0].clone();
    let visit = format!("/api/v1/visits/{}", change["id"].as_str().unwrap());
    for derived in ["id", "version", "created_at", "programme_id", "round"] {
        let _ = change.as_object_mut().unwrap().remove(derived);
    }
    let planned = change.clone();
    change["status"] = json!("cancelled");
    change["reason"] = json!("The client is away.");
    let called_off = company.office.put_version(&visit, "*", &change).await.expect(200).body;
    assert_eq!(called_off["round"], "early autumn");
    let _ = company.office.post(&path, &front).await.expect(201);
    let told = company.office.put_version(&visit, "*", &planned).await.problem(422, "invalid");
    assert_eq!(told.faults(), ["#/section_ids/0"]);
}

#[tokio::test]
async fn twenty_who_ask_at_once_plan_it_once() {
    let company = Company::in_maryland().await;
    let id = ready(&company).await;
    let path = format!("/api/v1/programmes/{id}/visits");
    let body = autumn(&company, &[&company.front, &company.rear]);
    let mut asking = tokio::task::JoinSet::new();
    for _ in 0..20 {
        let (office, path, body) = (company.office.clone(), path.clone(), body.clone());
        asking.spawn(async move { office.post(&path, &body).await.status });
    }
    let answers = asking.join_all().await;
    assert_eq!(answers.iter().filter(|status| **status == 201).count(), 1, "{answers:?}");
    assert!(answers.iter().all(|status| matches!(status, 201 | 422)), "{answers:?}");
    let visits = company.office.get("/api/v1/visits?planned_on=2026-09-18").await.expect(200).body;
    let sections: usize =
        visits["items"].as_array().unwrap().iter().map(|visit| visit["section_ids"].as_array().unwrap().len()).sum();
    assert_eq!(sections, 2, "{visits:#}");
}

#[tokio::test]
async fn what_does_not_fit_is_refused_or_left_out() {
    let company = Company::in_maryland().await;
    let id = ready(&company).await;
    let path = format!("/api/v1/programmes/{id}/visits");
    let mut wrong = autumn(&company, &[&company.front, &company.front]);
    wrong["planned_on"] = json!("2026-10-18");
    let told = company.office.post(&path, &wrong).await.problem(422, "invalid");
    assert_eq!(told.faults(), ["#/planned_on", "#/section_ids/1"]);
    wrong["round"] = json!("midsummer");
    let told = company.office.post(&path, &wrong).await.problem(422, "invalid");
    assert_eq!(told.faults(), ["#/round", "#/section_ids/1"]);
    let mut closed = autumn(&company, &[&company.front]);
    (closed["round"], closed["planned_on"]) = (json!("midwinter"), json!("2026-12-10"));
    let told = company.office.post(&path, &closed).await.problem(422, "invalid");
    assert!(told.text.contains("has no step on these days"), "{}", told.text);
    let nothing = "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7aff".to_owned();
    let told = company.office.post(&path, &autumn(&company, &[&nothing])).await.problem(422, "invalid");
    assert!(told.text.contains("no such section"), "{}", told.text);
    let mut nobody = autumn(&company, &[&company.front]);
    nobody["person_id"] = json!(nothing);
    let told = company.office.post(&path, &nobody).await.problem(422, "invalid");
    assert_eq!(told.faults(), ["#/person_id"]);
    let body = autumn(&company, &[&company.front]);
    let _ = company.phone.post(&path, &body).await.problem(403, "not-allowed");
    let lost = format!("/api/v1/programmes/{nothing}/visits");
    let _ = company.office.post(&lost, &body).await.problem(404, "not-found");
    assert!(document()["paths"]["/api/v1/programmes/{id}/visits"]["post"]["requestBody"].is_object());
    let visits = company.office.get("/api/v1/visits?planned_on=2026-09-18").await.expect(200).body;
    assert_eq!(visits["items"], json!([]));
}
