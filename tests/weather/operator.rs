//! What the operator sets and sees: a forward proxy, answers that cannot be read, and places that answer slowly.

use std::time::Duration;

use harness::world::Company;
use serde_json::json;
use server::{config, refresh};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use wiremock::ResponseTemplate;

use crate::{metrics::exposition::Exposition, pages::visitor::Visitor};

use super::{
    client::{gaps, has_forecast, said},
    fake_weather::{COUNTY, FakeWeather, GRID, ZONE, alert_list, calm_grid, company, document, later},
};

/// A forward proxy that notes the first line of each request and answers none of them.
async fn noting_proxy() -> (String, tokio::sync::mpsc::UnboundedReceiver<String>) {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let (noted, seen) = tokio::sync::mpsc::unbounded_channel();
    tokio::spawn(async move {
        while let Ok((mut stream, _)) = listener.accept().await {
            let mut head = vec![0; 4096];
            let read = stream.read(&mut head).await.unwrap_or(0);
            let line = String::from_utf8_lossy(&head[..read]).lines().next().unwrap_or_default().to_owned();
            let _ = noted.send(line);
            let _ = stream.write_all(b"HTTP/1.1 403 Forbidden\r\nContent-Length: 0\r\nConnection: close\r\n\r\n").await;
        }
    });
    (format!("http://name:word@{address}"), seen)
}

/// RFC 9112, section 3.2.2: a proxy is asked in the absolute form.
#[tokio::test]
async fn the_operators_proxy_is_asked_and_nobody_else() {
    let (proxy, mut seen) = noting_proxy().await;
    let sky = FakeWeather::calm().await;
    let company = company(config::Weather { weather_proxy: Some(proxy), ..sky.config() }).await;
    assert!(gaps(&said(&company).await).contains("answered 403"));
    let line = seen.recv().await.unwrap();
    assert!(line.starts_with(&format!("GET {}/", sky.server.uri())), "{line}");
    assert!(sky.server.received_requests().await.unwrap().is_empty(), "not past the proxy");
}

#[tokio::test]
async fn a_proxy_that_is_none_is_refused_at_the_start() {
    let sky = FakeWeather::blank().await;
    let config = config::Weather { weather_proxy: Some("proxy.example:3128".to_owned()), ..sky.config() };
    let clock: std::sync::Arc<dyn server::clock::Clock> = std::sync::Arc::new(server::clock::SystemClock);
    let refused = server::weather::Services::configured(&config, &clock).err().unwrap_or_default();
    assert!(refused.contains("must begin with http:// or https://"), "{refused}");
}

async fn today(company: &Company) -> String {
    Visitor::named(company, "office").await.open("/office").await.html
}

#[tokio::test]
async fn what_cannot_be_read_is_counted_once_and_told_on_today_with_the_first_bad_value() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let _ = said(&company).await;
    assert!(!today(&company).await.contains("Weather services"), "all was read");
    let mut grid = calm_grid();
    grid["properties"]["windGust"]["values"][0]["value"] = json!("<b>9999</b>");
    sky.says_instead(GRID, document(&grid.to_string())).await;
    sky.says_instead(COUNTY, document(&alert_list(&[json!({ "properties": { "event": 7 } })]).to_string())).await;
    later(&company, 35);
    for _ in 0..3 {
        let _ = said(&company).await;
    }
    let seen = Exposition::read(&company.owner.get("/api/v1/metrics").await.expect(200).text);
    let count = |part: &str| {
        let labels = [("service", "us_national_weather_service"), ("part", part)];
        seen.value("swardbook_weather_unreadable_total", &labels).map(|value| value.to_string())
    };
    assert_eq!((count("forecast").as_deref(), count("alerts").as_deref()), (Some("1"), Some("1")));
    let html = today(&company).await;
    assert!(html.contains("<h2>Weather services</h2>"), "{html}");
    assert!(html.contains("in its forecasts, one value could not be read"), "{html}");
    assert!(html.contains("&#60;b&#62;9999") && !html.contains("<b>9999"), "shown and not taken for a page: {html}");
    assert!(html.contains("2026-10-06 10:55 EDT"), "{html}");
    assert!(html.contains("in its alerts, one value could not be read") && html.contains("event"), "{html}");
    later(&company, 25 * 60);
    assert!(!today(&company).await.contains("Weather services"), "of a day ago");
}

/// Places of a latitude each, on the shore near the company's own; their numbers.
async fn shores(company: &Company, latitudes: &[f64]) -> Vec<String> {
    let client = company.office.get("/api/v1/clients").await.expect(200).body["items"][0]["id"].clone();
    let mut made = Vec::new();
    for latitude in latitudes {
        let property = json!({
            "client_id": client, "name": format!("{latitude}"), "address": format!("{latitude} Shore Drive, Annapolis"),
            "postal_code": "21401", "time_zone": "America/New_York", "rule_sets": ["us-md"],
            "latitude": latitude, "longitude": -76.5,
        });
        made.push(company.office.post("/api/v1/properties", &property).await.expect(201).id());
    }
    made
}

/// Five places that do not answer, asked at once; the company's own is healthy and new to the server.
#[tokio::test]
async fn slow_places_leave_a_healthy_new_one_its_weather() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let latitudes = [38.1, 38.2, 38.3, 38.4, 38.5];
    let slow = shores(&company, &latitudes).await;
    for latitude in latitudes {
        let never = ResponseTemplate::new(200).set_delay(Duration::from_mins(1));
        sky.says(&format!("/points/{latitude},-76.5"), never).await;
    }
    let asking: Vec<_> = slow
        .into_iter()
        .map(|id| {
            let phone = company.office.clone();
            tokio::spawn(async move { phone.get(&format!("/api/v1/properties/{id}/weather")).await.expect(200).body })
        })
        .collect();
    tokio::time::sleep(Duration::from_millis(300)).await;
    let healthy = said(&company).await;
    assert!(has_forecast(&healthy) && gaps(&healthy) == "[]", "beside them: {healthy:#}");
    for one in asking {
        assert!(one.await.unwrap()["services"][0]["gaps"].to_string().contains("did not answer in time"));
    }
}

/// Three that fail one after another, before anything else was asked, are no reason to give the host up.
#[tokio::test]
async fn a_healthy_place_is_asked_about_after_slow_ones() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    for at in ["/alerts/active", COUNTY, ZONE] {
        sky.says_instead(at, ResponseTemplate::new(200).set_delay(Duration::from_mins(1))).await;
    }
    let latitudes = [38.1, 38.2, 38.3];
    for (latitude, id) in latitudes.iter().zip(shores(&company, &latitudes).await) {
        let never = ResponseTemplate::new(200).set_delay(Duration::from_mins(1));
        sky.says(&format!("/points/{latitude},-76.5"), never).await;
        let slow = company.office.get(&format!("/api/v1/properties/{id}/weather")).await.expect(200).body;
        assert!(slow["services"][0]["gaps"].to_string().contains("did not answer in time"), "{slow:#}");
    }
    let healthy = said(&company).await;
    assert!(has_forecast(&healthy), "after them: {healthy:#}");
}

/// Three places: the first answers after four seconds, the others at once.
#[tokio::test]
async fn a_slow_place_does_not_hold_up_the_others() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    for id in shores(&company, &[38.5, 38.6, 38.7]).await {
        let section = harness::world::section(&company.office, &id, "front", "5000").await;
        let visit = json!({
            "property_id": id, "person_id": company.phone.id, "planned_on": "2026-10-07",
            "product_id": company.feed, "section_ids": [section], "purpose": "maintenance",
        });
        let _ = company.office.post("/api/v1/visits", &visit).await.expect(201);
    }
    let slow = ResponseTemplate::new(404).set_delay(Duration::from_secs(4));
    sky.says("/points/38.5,-76.5", slow).await;
    let round = refresh::round(company.app.beside());
    let healthy = async {
        tokio::time::sleep(Duration::from_millis(3_500)).await;
        (
            sky.asked("/points/38.5,-76.5").await,
            sky.asked("/points/38.6,-76.5").await,
            sky.asked("/points/38.7,-76.5").await,
        )
    };
    let (round, asked) = tokio::join!(round, healthy);
    assert_eq!(asked, (1, 1, 1), "the slow place has not answered yet");
    assert_eq!(round.unwrap().places, 3);
}
