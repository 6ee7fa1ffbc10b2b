//! Copies that are kept: how long they are used, what becomes of them when clocks, crowds or services go wrong.

use std::time::Duration;

use serde_json::json;
use wiremock::{
    Mock, ResponseTemplate,
    matchers::{method, path_regex},
};

use super::{
    client::{gaps, has_forecast, said},
    fake_weather::{FakeWeather, GRID, POINT, calm_grid, company, document, later, moved},
};

/// Thirty places at once are more than a slow host answers in four seconds, four at a time. That is this server's own crowd,
/// and no reason to leave the host alone for a minute.
#[tokio::test]
async fn a_crowd_of_our_own_is_not_the_hosts_failure() {
    let sky = FakeWeather::blank().await;
    let slow = document(&moved("nws-points-marine.json")).set_delay(Duration::from_millis(1_100));
    let points = Mock::given(method("GET")).and(path_regex("^/points/")).respond_with(slow).with_priority(9);
    points.mount(&sky.server).await;
    sky.says("/alerts/active", document(&moved("nws-alerts-empty.json"))).await;
    let company = company(sky.config()).await;
    let client = company.office.get("/api/v1/clients").await.expect(200).body["items"][0]["id"].clone();
    // Each caller has a few questions at work at a time.
    let mut callers = Vec::new();
    for _ in 0..6 {
        callers.push(company.app.sign_in("office", company.office.id.clone()).await);
    }
    let mut asking = Vec::new();
    for at in 0..30_usize {
        let property = json!({
            "client_id": client, "name": format!("No. {at}"), "address": format!("{at} Shore Drive, Annapolis"),
            "postal_code": "21401", "time_zone": "America/New_York", "rule_sets": ["us-md"],
            "latitude": 38.9, "longitude": -76.5 - f64::from(u8::try_from(at).unwrap()) / 100.0,
        });
        let id = company.office.post("/api/v1/properties", &property).await.expect(201).id();
        let office = callers[at % callers.len()].clone();
        asking.push(tokio::spawn(async move {
            office.get(&format!("/api/v1/properties/{id}/weather")).await.expect(200).body["services"][0].clone()
        }));
    }
    let (mut crowded, mut failures) = (0, 0);
    for one in asking {
        let said = one.await.unwrap();
        crowded += usize::from(gaps(&said).contains("many other questions"));
        failures = said["failures_since_success"].as_u64().unwrap().max(failures);
        assert!(!gaps(&said).contains("is not asked for a minute"), "{said:#}");
    }
    assert!(crowded > 0, "the test must make a crowd");
    assert_eq!(failures, 0, "the host answered whatever it was given time for");
}

/// A clock that ran a day ahead and was set right: what was fetched "tomorrow" is asked for again.
#[tokio::test]
async fn a_clock_that_is_set_back_does_not_freeze_what_was_fetched() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    later(&company, 11 * 60);
    let _ = said(&company).await;
    company.app.clock.set(harness::instant("2026-10-06T14:20:00Z"));
    let now = said(&company).await;
    assert_eq!(now["forecast_fetched_at"], "2026-10-06T14:20:00.000Z", "{now:#}");
    assert_eq!((&now["forecast_age"], sky.asked(GRID).await), (&json!("fresh"), 2));
}

/// A week later the service says of the place what it said before; by then the book has let the first answer go.
#[tokio::test]
async fn what_is_purged_is_fetched_and_kept_again() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let _ = said(&company).await;
    // After six days and a half the copy is still in use and the place is asked about; after nine more it is not.
    for hours in [156, 9 * 24] {
        later(&company, hours * 60);
        let _ = server::refresh::round(company.app.beside()).await.unwrap();
        let now = said(&company).await;
        assert!(!gaps(&now).contains("could not be kept"), "{now:#}");
        assert!(has_forecast(&now), "{now:#}");
    }
    assert_eq!(sky.asked(POINT).await, 3);
}

/// Beyond a week the last good copy is of no use to anybody, and the book need not have it.
#[tokio::test]
async fn a_copy_of_long_ago_is_none() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let _ = said(&company).await;
    sky.says_everywhere(ResponseTemplate::new(500)).await;
    later(&company, 6 * 24 * 60);
    assert!(has_forecast(&said(&company).await), "shown, with an age that clears nothing");
    later(&company, 24 * 60 + 1);
    assert!(!has_forecast(&said(&company).await));
}

/// Names of units and times are the service's own words; what of them is shown is short.
#[tokio::test]
async fn what_is_wrong_is_said_shortly_and_absurd_times_are_no_accident() {
    let sky = FakeWeather::calm().await;
    let mut grid = calm_grid();
    grid["properties"]["temperature"]["uom"] = json!("x".repeat(100_000));
    grid["properties"]["windSpeed"]["values"][0]["validTime"] = json!("2199-12-31T23:00:00+00:00/P366D");
    sky.says_instead(GRID, document(&grid.to_string())).await;
    let far = json!({
        "latitude": 38.97, "longitude": -76.49, "utc_offset_seconds": 0, "hourly_units": { "time": "unixtime", "precipitation": "mm", "temperature_2m": "°C" },
        "hourly": { "time": [i64::MIN, i64::MAX], "precipitation": [0, 0], "temperature_2m": [1, 1] },
    });
    sky.says("/v1/forecast", document(&far.to_string())).await;
    let company = company(sky.config_of_both()).await;
    let path = format!("/api/v1/properties/{}/weather", company.property);
    let answer = company.phone.get(&path).await.expect(200).body;
    assert!(answer.to_string().len() < 20_000);
    assert!(gaps(&answer["services"][1]).contains("a time that is none"), "{answer:#}");
}
