//! Watches, warnings and emergencies where no law names them. Maryland's law speaks of no alert, and neither do the company
//! settings that come with the server; what is asked there is *common practice*.

use domain::law::Lawbook;
use serde_json::{Value, json};
use wiremock::ResponseTemplate;

use super::fake_weather::{
    COUNTY, FakeWeather, POINT, ZONE, alert_list, check, company_by, document, finding, flood_watch, later, plan,
};

/// The decision beneath a calm sky of which the county's list is something else.
async fn under(answer: ResponseTemplate) -> Value {
    let sky = FakeWeather::calm().await;
    sky.says_instead(COUNTY, answer).await;
    let company = company_by(Lawbook::embedded().unwrap(), sky.config()).await;
    check(&company.phone, &plan(&company)).await
}

fn list(event: &str) -> Value {
    alert_list(&[flood_watch(&json!({ "event": event }))])
}

/// Names as the service's list of event types has them (<https://api.weather.gov/alerts/types>).
#[tokio::test]
async fn an_emergency_asks_for_care_where_no_law_names_one() {
    let calm = under(document(&alert_list(&[]).to_string())).await;
    assert_eq!(calm["verdict"], "go", "{calm:#}");
    for event in [
        "Dam Break Emergency",
        "Evacuation - Immediate",
        "Tornado Warning",
        "Flash Flood Warning",
        "Severe Thunderstorm Warning",
        "Flood Watch",
        "Hurricane Warning",
    ] {
        let decision = under(document(&list(event).to_string())).await;
        assert_eq!(decision["verdict"], "care", "{event}: {decision:#}");
        assert_eq!(finding(&decision, "practice.alerts")["outcome"], "care", "{event}: {decision:#}");
    }
    // Heat is measured, and has its own rule.
    let heat = under(document(&list("Heat Advisory").to_string())).await;
    assert_eq!(heat["verdict"], "go", "{heat:#}");
}

#[tokio::test]
async fn a_list_that_is_not_whole_is_care_where_no_law_asks_for_one() {
    let mut stale = alert_list(&[]);
    stale["updated"] = json!("2026-10-03T14:00:00+00:00");
    let mut paged = alert_list(&[]);
    paged["pagination"] = json!({ "next": "https://api.weather.gov/alerts/active?cursor=1" });
    let mut foreign = alert_list(&[]);
    foreign["title"] = json!("Current watches, warnings, and advisories for Sierra County (NMC051) NM");
    for (what, answer) in [
        ("stale", document(&stale.to_string())),
        ("paged", document(&paged.to_string())),
        ("of another place", document(&foreign.to_string())),
        ("not there", ResponseTemplate::new(404)),
        ("an error", ResponseTemplate::new(500)),
    ] {
        let decision = under(answer).await;
        assert_eq!(decision["verdict"], "care", "{what}: {decision:#}");
        assert_eq!(finding(&decision, "practice.alerts")["outcome"], "unknown", "{what}: {decision:#}");
    }
}

#[tokio::test]
async fn alerts_that_nobody_answers_are_care_and_are_so_in_the_hours_that_suit() {
    let sky = FakeWeather::calm().await;
    let company = company_by(Lawbook::embedded().unwrap(), sky.config()).await;
    let path =
        format!("/api/v1/properties/{}/working-windows/2026-10-06?product_id={}", company.property, company.feed);
    let hours = async || company.phone.get(&path).await.expect(200).body["products"][0].clone();
    assert_eq!(hours().await["verdict"], "go");
    for at in ["/alerts/active", COUNTY, ZONE] {
        sky.says_instead(at, ResponseTemplate::new(404)).await;
    }
    later(&company, 3);
    let ahead = hours().await;
    assert_eq!(ahead["verdict"], "care", "{ahead:#}");
    assert!(ahead["hours"].to_string().contains("practice.alerts"), "{ahead:#}");
    assert_eq!(finding(&check(&company.phone, &plan(&company)).await, "practice.alerts")["outcome"], "unknown");
    assert_eq!(sky.asked(POINT).await, 1);
}
