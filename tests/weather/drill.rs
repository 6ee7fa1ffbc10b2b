//! The fault drill: whatever goes wrong with a service, no `go` comes from it, and what stopped before does not soften.

use std::time::{Duration, Instant};

use serde_json::{Value, json};
use wiremock::ResponseTemplate;

use super::fake_weather::{
    COUNTY, FakeWeather, GRID, OBSERVATION, POINT, ZONE, calm_grid, calm_observation, check, company, document,
    finding, later, moved, plan, problem,
};

/// The rules on weather that a plan is asked.
const RULES: [&str; 3] = ["company.heat", "company.rain", "company.alerts"];

/// A grid with one member of a layer's entries changed.
fn grid_with(layer: &str, values: Value) -> ResponseTemplate {
    let mut grid = calm_grid();
    grid["properties"][layer]["values"] = values;
    document(&grid.to_string())
}

#[tokio::test]
async fn a_calm_sky_that_answers_clears() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let decision = check(&company.phone, &plan(&company)).await;
    assert_eq!(decision["verdict"], "go", "{decision:#}");
    for rule in RULES {
        assert!(decision["met"].to_string().contains(rule), "{rule} was asked and met: {decision:#}");
    }
}

#[tokio::test]
async fn no_service_at_all_clears_nothing() {
    let company = company(server::config::Weather::default()).await;
    let decision = check(&company.phone, &plan(&company)).await;
    assert_eq!(decision["verdict"], "care", "{decision:#}");
    for rule in RULES {
        assert_eq!(finding(&decision, rule)["outcome"], "unknown", "{rule}: {decision:#}");
    }
}

/// A question that failed is not answered by what was said five minutes ago.
#[tokio::test]
async fn alerts_that_fail_are_not_cleared_by_the_list_before() {
    for at in ["/alerts/active", COUNTY, ZONE] {
        let sky = FakeWeather::calm().await;
        let company = company(sky.config()).await;
        assert_eq!(check(&company.phone, &plan(&company)).await["verdict"], "go");
        sky.says_instead(at, ResponseTemplate::new(500)).await;
        later(&company, 5);
        let decision = check(&company.phone, &plan(&company)).await;
        assert_eq!(finding(&decision, "company.alerts")["outcome"], "unknown", "{at}: {decision:#}");
        // The record that is sent half an hour later, of work that began then, is judged by no more than was known.
        later(&company, 30);
        let mut record = super::fake_weather::record(&company);
        record["started_at"] = json!("2026-10-06T14:26:00Z");
        record["finished_at"] = json!("2026-10-06T14:40:00Z");
        let path = format!("/api/v1/applications/{}", harness::new_id());
        let stored = company.phone.put(&path, &record).await.expect(201).body;
        assert_eq!(stored["verdict"], "care", "{at}: {stored:#}");
    }
}

/// What stands beside an alert's name is not always as documented; the alert stops all the same.
#[tokio::test]
async fn a_null_beside_an_alert_does_not_hide_it() {
    let flood = |parameters: Value, references: Value| {
        let mut list: Value = serde_json::from_str(&moved("nws-alerts-active.json")).unwrap();
        let alerts = list["features"].as_array_mut().unwrap();
        alerts.retain(|alert| alert["properties"]["event"] == "Flood Warning");
        alerts[0]["properties"]["parameters"] = parameters;
        alerts[0]["properties"]["references"] = references;
        list.to_string()
    };
    for (parameters, references) in [
        (json!({ "VTEC": [null] }), json!([])),
        (json!({ "VTEC": [null, "/O.NEW.KMLB.FL.W.0011.261006T1340Z-000000T0000Z/"] }), json!([null])),
        (json!({ "VTEC": null }), json!(null)),
        (json!({ "VTEC": "/O.NEW/" }), json!([{ "identifier": null }])),
        (json!({ "VTEC": ["", "////", "/O.NEW/", "/....../"] }), json!({})),
        (Value::Null, json!([7])),
        (json!([]), json!("x")),
    ] {
        let sky = FakeWeather::calm().await;
        sky.says_instead(COUNTY, document(&flood(parameters.clone(), references))).await;
        let company = company(sky.config()).await;
        let decision = check(&company.phone, &plan(&company)).await;
        assert_eq!(decision["verdict"], "stop", "{parameters}: {decision:#}");
        assert_eq!(finding(&decision, "company.alerts")["outcome"], "broken", "{parameters}");
    }
    // An entry that is none, or that has no name, leaves the list incomplete.
    for entry in [Value::Null, json!({}), json!({ "properties": { "event": null } })] {
        let list = json!({ "features": [entry] }).to_string();
        never_go("an entry that cannot be read", "company.alerts", COUNTY, document(&list)).await;
    }
    let many = json!({ "features": vec![json!({}); 501] }).to_string();
    never_go("more entries than any place has", "company.alerts", COUNTY, document(&many)).await;
}

/// A station's mild word of now says nothing of the hour that the forecast does not know.
#[tokio::test]
async fn a_mild_measurement_without_a_forecast_clears_no_heat() {
    never_go("no forecast", "company.heat", GRID, problem(500, "nws-problem-500.json")).await;
    let hole = json!([{ "validTime": "2026-10-06T06:00:00+00:00/PT8H", "value": 20 }]);
    never_go("a forecast that ends", "company.heat", GRID, grid_with("temperature", hole)).await;
}

/// Gusts that nobody forecasts are not calm.
#[tokio::test]
async fn gusts_that_are_not_known_clear_no_label() {
    let outcome = async |gusts: Value| {
        let sky = FakeWeather::calm().await;
        sky.says_instead(GRID, grid_with("windGust", gusts)).await;
        let company = company(sky.config()).await;
        let mut label = harness::world::label("20", "10", "0", "5");
        label["wind_limit_mph"] = json!("10");
        let mut plan = plan(&company);
        plan["product_id"] = json!(harness::world::product(&company.office, "Windy", &label).await);
        let decision = check(&company.phone, &plan).await;
        finding(&decision, "label.wind")["outcome"].clone()
    };
    let span = "2026-10-06T06:00:00+00:00/P2D";
    assert_eq!(outcome(json!([{ "validTime": span, "value": 14 }])).await, Value::Null, "met");
    assert_eq!(outcome(json!([{ "validTime": span, "value": null }])).await, "unknown");
    assert_eq!(outcome(json!([])).await, "unknown");
    let gap = json!([{ "validTime": "2026-10-06T06:00:00+00:00/PT9H", "value": 14 }]);
    assert_eq!(outcome(gap).await, "unknown", "the hour from 14:20 is known to 15:00");
    assert_eq!(outcome(json!([{ "validTime": span, "value": 40 }])).await, "broken");
}

/// One part of the sky goes wrong; the rule that needs it must not be met, and nothing that is merely unknown stops.
async fn never_go(what: &str, rule: &str, at: &str, answer: ResponseTemplate) {
    let sky = FakeWeather::calm().await;
    sky.says_instead(at, answer).await;
    let company = company(sky.config()).await;
    let decision = check(&company.phone, &plan(&company)).await;
    assert_eq!(decision["verdict"], "care", "{what}: {decision:#}");
    assert_eq!(finding(&decision, rule)["verdict"], "care", "{what}: {decision:#}");
}

#[tokio::test]
async fn a_forecast_that_fails_clears_no_rain() {
    never_go("an error", "company.rain", GRID, problem(500, "nws-problem-500.json")).await;
    never_go("a forecast that has run out", "company.rain", GRID, problem(503, "nws-problem-503-expired.json")).await;
    let html = ResponseTemplate::new(200).set_body_raw("<html>It is fine today</html>", "text/html");
    never_go("HTML with 200", "company.rain", GRID, html).await;
    never_go("a grid of nothing", "company.rain", GRID, document(r#"{"properties":{}}"#)).await;
    let old = calm_grid().to_string().replace("2026-10-06T13:42:11", "2026-10-03T00:00:00");
    never_go("an old forecast with fresh headers", "company.rain", GRID, document(&old)).await;
    let ahead = calm_grid().to_string().replace("2026-10-06T13:42:11", "2026-10-07T00:00:00");
    never_go("a forecast of the future", "company.rain", GRID, document(&ahead)).await;
}

#[tokio::test]
async fn rain_with_a_hole_or_of_absurd_amounts_is_not_dry() {
    let entry = |span: &str, value: Value| json!({ "validTime": span, "value": value });
    let hole = json!([
        entry("2026-10-06T12:00:00+00:00/PT12H", json!(0)),
        entry("2026-10-07T00:00:00+00:00/PT6H", Value::Null),
        entry("2026-10-07T06:00:00+00:00/PT48H", json!(0)),
    ]);
    never_go("a null block", "company.rain", GRID, grid_with("quantitativePrecipitation", hole)).await;
    let short = json!([entry("2026-10-06T12:00:00+00:00/PT12H", json!(0))]);
    never_go("a series that ends", "company.rain", GRID, grid_with("quantitativePrecipitation", short)).await;
    for absurd in [json!(-1), json!(9_000), json!("0"), json!(true)] {
        let absurd = json!([entry("2026-10-06T06:00:00+00:00/P3D", absurd)]);
        never_go("an absurd amount", "company.rain", GRID, grid_with("quantitativePrecipitation", absurd)).await;
    }
    never_go("no values", "company.rain", GRID, grid_with("quantitativePrecipitation", json!([]))).await;
}

#[tokio::test]
async fn alerts_that_cannot_be_asked_are_care_and_never_none() {
    for at in ["/alerts/active", COUNTY, ZONE] {
        never_go("one of three questions failed", "company.alerts", at, ResponseTemplate::new(500)).await;
        never_go("a list without entries", "company.alerts", at, document("{}")).await;
    }
    let sky = FakeWeather::calm().await;
    for at in ["/alerts/active", COUNTY, ZONE] {
        sky.says_instead(at, ResponseTemplate::new(404)).await;
    }
    let company = company(sky.config()).await;
    let decision = check(&company.phone, &plan(&company)).await;
    assert_eq!(decision["verdict"], "care", "{decision:#}");
    assert_eq!(finding(&decision, "company.alerts")["outcome"], "unknown");
    assert!(decision["met"].to_string().contains("company.rain"), "the forecast worked");
}

#[tokio::test]
async fn heat_that_is_not_known_is_not_mild() {
    let sky = FakeWeather::calm().await;
    sky.says_instead(GRID, grid_with("temperature", json!([]))).await;
    for station in ["KXSA", "KXSB", "XSC01"] {
        let at = format!("/stations/{station}/observations/latest");
        sky.says_instead(&at, document(&moved("nws-observation-null.json"))).await;
    }
    let company = company(sky.config()).await;
    let decision = check(&company.phone, &plan(&company)).await;
    assert_eq!(finding(&decision, "company.heat")["outcome"], "unknown", "{decision:#}");
    assert_eq!(decision["verdict"], "care");
}

#[tokio::test]
async fn a_host_that_is_down_answers_fast_with_what_was_known_and_clears_nothing_after_an_hour() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    assert_eq!(check(&company.phone, &plan(&company)).await["verdict"], "go");
    sky.says_everywhere(ResponseTemplate::new(502)).await;
    for (minutes, fetched) in [(90, "2026-10-06T14:20:00.000Z"), (6 * 60, "2026-10-06T14:20:00.000Z")] {
        later(&company, minutes);
        let began = Instant::now();
        let decision = check(&company.phone, &plan(&company)).await;
        assert!(began.elapsed() < Duration::from_secs(6), "{:?}", began.elapsed());
        assert_eq!(decision["verdict"], "care", "after {minutes} minutes: {decision:#}");
        let path = format!("/api/v1/properties/{}/weather", company.property);
        let shown = company.phone.get(&path).await.expect(200).body;
        assert_eq!(shown["services"][0]["forecast_fetched_at"], fetched, "the last good copy is shown with its age");
        assert!(!shown["services"][0]["gaps"].as_array().unwrap().is_empty());
    }
    // After a day there is nothing left to know.
    later(&company, 24 * 60);
    let mut tomorrow = plan(&company);
    tomorrow["planned_on"] = json!("2026-10-07");
    let decision = check(&company.phone, &tomorrow).await;
    assert_eq!(finding(&decision, "company.rain")["outcome"], "unknown", "{decision:#}");
}

#[tokio::test]
async fn what_stops_goes_on_stopping_when_the_service_goes_down() {
    let sky = FakeWeather::calm().await;
    sky.says_instead(COUNTY, document(&moved("nws-alerts-active.json"))).await;
    let flood = json!([{ "validTime": "2026-10-06T18:00:00+00:00/PT6H", "value": 60 }, { "validTime": "2026-10-07T00:00:00+00:00/P2D", "value": 0 }]);
    sky.says_instead(GRID, grid_with("quantitativePrecipitation", flood)).await;
    let company = company(sky.config()).await;
    let before = check(&company.phone, &plan(&company)).await;
    assert_eq!(before["verdict"], "stop", "{before:#}");
    sky.says_everywhere(ResponseTemplate::new(500)).await;
    later(&company, 60);
    let after = check(&company.phone, &plan(&company)).await;
    for rule in ["company.rain", "company.alerts"] {
        assert_eq!(finding(&before, rule)["outcome"], "broken", "{before:#}");
        assert_eq!(finding(&after, rule)["outcome"], "broken", "{after:#}");
    }
}

#[tokio::test]
async fn an_old_measurement_is_none() {
    let sky = FakeWeather::calm().await;
    let old = calm_observation().to_string().replace("T13:53:00", "T13:00:00");
    for station in ["KXSA", "KXSB", "XSC01"] {
        sky.says_instead(&format!("/stations/{station}/observations/latest"), document(&old)).await;
    }
    let company = company(sky.config()).await;
    let path = format!("/api/v1/properties/{}/weather", company.property);
    let shown = company.phone.get(&path).await.expect(200).body;
    assert_eq!(shown["services"][0]["station"], Value::Null, "80 minutes old");
    assert_eq!(shown["services"][0]["weather"]["air_temperature"]["service"]["basis"], "forecast");
    assert_eq!(sky.asked(OBSERVATION).await, 1);
    assert_eq!(sky.asked(POINT).await, 1);
}

/// What is missing of a forecast is said, also when the service says it with `null` or with what no weather brings.
#[tokio::test]
async fn what_a_forecast_leaves_out_is_said() {
    let span = "2026-10-06T06:00:00+00:00/P2D";
    for (layer, name, value) in [
        ("temperature", "temperature", Value::Null),
        ("windSpeed", "wind", json!(9_999)),
        ("windGust", "gusts", json!("12")),
        ("quantitativePrecipitation", "rain", json!(-3)),
    ] {
        let sky = FakeWeather::calm().await;
        sky.says_instead(GRID, grid_with(layer, json!([{ "validTime": span, "value": value }]))).await;
        let company = company(sky.config()).await;
        let path = format!("/api/v1/properties/{}/weather", company.property);
        let shown = company.phone.get(&path).await.expect(200).body;
        let gaps = shown["services"][0]["gaps"].as_array().unwrap();
        assert_eq!(gaps.len(), 1, "{shown:#}");
        assert!(
            gaps[0]["why"].as_str().unwrap().starts_with(&format!("The forecast of {name} leaves some")),
            "{gaps:?}"
        );
    }
}

/// The lists of alerts fail alone, whatever number of them: the rest of the host goes on being asked.
#[tokio::test]
async fn alerts_that_fail_alone_leave_the_rest_asked_for() {
    let sky = FakeWeather::calm().await;
    for at in ["/alerts/active", COUNTY, ZONE] {
        sky.says_instead(at, ResponseTemplate::new(200).set_body_raw("<html>", "text/html")).await;
    }
    // The station answers after the lists have failed.
    let late = document(&calm_observation().to_string()).set_delay(Duration::from_millis(200));
    sky.says_instead(OBSERVATION, late).await;
    let company = company(sky.config()).await;
    let path = format!("/api/v1/properties/{}/weather", company.property);
    for _ in 0..3 {
        company.app.clock.advance(Duration::from_secs(20));
        let shown = company.phone.get(&path).await.expect(200).body;
        let service = &shown["services"][0];
        assert!(!service["gaps"].to_string().contains("is not asked for a minute"), "{shown:#}");
        assert_eq!(service["station"], "KXSA", "{shown:#}");
    }
    let decision = check(&company.phone, &plan(&company)).await;
    assert_eq!(finding(&decision, "company.alerts")["outcome"], "unknown");
    assert!(decision["met"].to_string().contains("company.rain"), "{decision:#}");
}
