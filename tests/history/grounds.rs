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
        (reply.status == 422).then(|| reply.body["findings"].to_string()).unwrap_or_default().contains("large_site")
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
