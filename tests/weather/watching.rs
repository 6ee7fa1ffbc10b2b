//! What whoever watches the server sees of the services, what a phone takes along, and how politely the background asks.

use std::sync::{
    Arc,
    atomic::{AtomicUsize, Ordering},
};

use harness::world::Company;
use serde_json::{Value, json};
use server::{config, refresh};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use wiremock::ResponseTemplate;

use crate::metrics::exposition::Exposition;

use super::fake_weather::{COUNTY, FakeWeather, GRID, calm_grid, company, document, later, moved};

async fn visit(company: &Company, day: &str) -> String {
    let visit = json!({
        "property_id": company.property, "person_id": company.phone.id, "planned_on": day,
        "product_id": company.feed, "section_ids": [company.front], "purpose": "maintenance",
    });
    company.office.post("/api/v1/visits", &visit).await.expect(201).id()
}

/// The value of a sample; nothing when there is none.
fn sample(text: &str, name: &str) -> Option<i64> {
    text.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(' ')?.parse().ok())
}

const NWS: &str = "{service=\"us_national_weather_service\"}";

#[tokio::test]
async fn metrics_tell_ages_and_failures_and_nothing_of_clients() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let _ = visit(&company, "2026-10-06").await;
    let read = async || company.office.get("/api/v1/metrics").await.expect(200).text;
    let name = |family: &str| format!("swardbook_weather_{family}{NWS}");
    let age = |part: &str| {
        format!("swardbook_weather_answer_age_seconds{{service=\"us_national_weather_service\",part=\"{part}\"}}")
    };
    let before = read().await;
    assert_eq!(sample(&before, &name("answers_total")), Some(0));
    assert_eq!(sample(&before, &age("forecast")), None, "nobody has been asked: there is no age");
    let _ = refresh::round(company.app.beside()).await.unwrap();
    later(&company, 10);
    let good = read().await;
    assert_eq!(sample(&good, &name("answers_total")), Some(7), "{good}");
    for part in ["alerts", "forecast", "observation", "place"] {
        assert_eq!(sample(&good, &age(part)), Some(600), "{part}: {good}");
    }
    assert_eq!(sample(&good, "swardbook_weather_round_places"), Some(1));
    assert_eq!(sample(&good, "swardbook_weather_round_age_seconds"), Some(600));
    sky.says_everywhere(ResponseTemplate::new(500)).await;
    later(&company, 30);
    let _ = company.phone.get(&format!("/api/v1/properties/{}/weather", company.property)).await.expect(200);
    let bad = read().await;
    assert_eq!(sample(&bad, &name("resting")), Some(1), "{bad}");
    assert!(sample(&bad, &name("failures_total")) >= Some(3), "{bad}");
    assert!(sample(&bad, &name("failures_since_success")) >= Some(3), "{bad}");
    assert_eq!(sample(&bad, &name("answers_total")), Some(7));
    for secret in ["38.97", "76.49", "MLB", "KXSA", company.property.as_str(), "swardbook.db", "Annapolis"] {
        assert!(!bad.contains(secret), "{secret}: {bad}");
    }
    let _ = company.phone.get("/api/v1/metrics").await.problem(403, "not-allowed");
    let _ = company.app.nobody().get("/api/v1/metrics").await.problem(401, "not-signed-in");
}

#[tokio::test]
async fn metrics_of_both_services_are_written_as_the_open_format_has_them() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config_of_both()).await;
    let _ = visit(&company, "2026-10-06").await;
    let _ = refresh::round(company.app.beside()).await.unwrap();
    let seen = Exposition::read(&company.owner.get("/api/v1/metrics").await.expect(200).text);
    for (name, kind, unit) in [
        ("answers", "counter", None),
        ("failures", "counter", None),
        ("failures_since_success", "gauge", None),
        ("resting", "gauge", None),
        ("answer_age_seconds", "gauge", Some("seconds")),
        ("round_age_seconds", "gauge", Some("seconds")),
        ("round_places", "gauge", None),
        ("round_gaps", "gauge", None),
    ] {
        let about = seen.about(&format!("swardbook_weather_{name}")).map(|(kind, unit, _)| (kind, unit));
        assert_eq!(about, Some((kind, unit)), "{name}");
    }
    for service in ["us_national_weather_service", "open_meteo"] {
        assert!(seen.value("swardbook_weather_answers_total", &[("service", service)]).is_some(), "{service}");
    }
}

#[tokio::test]
async fn a_phone_takes_the_weather_of_its_day_along_and_nobody_is_asked_for_it() {
    let sky = FakeWeather::calm().await;
    let mut grid = calm_grid();
    grid["properties"]["temperature"]["values"] = json!([
        { "validTime": "2026-10-06T06:00:00+00:00/PT9H", "value": 20 },
        { "validTime": "2026-10-06T15:00:00+00:00/PT4H", "value": 31.111_111_111_111_11 },
        { "validTime": "2026-10-06T19:00:00+00:00/P2D", "value": 20 },
    ]);
    sky.says_instead(GRID, document(&grid.to_string())).await;
    let company = company(sky.config()).await;
    let id = visit(&company, "2026-10-06").await;
    let day = async || company.phone.get("/api/v1/days/2026-10-06").await.expect(200).body;
    let nothing = day().await;
    assert_eq!(nothing["weather"][0]["verdict"], "care", "nothing is known yet: {nothing:#}");
    assert_eq!(sky.server.received_requests().await.unwrap().len(), 0);
    let _ = refresh::round(company.app.beside()).await.unwrap();
    later(&company, 20);
    // Whatever the services do now, the phone does not wait for them.
    sky.says_everywhere(ResponseTemplate::new(200).set_delay(std::time::Duration::from_secs(20))).await;
    let asked = sky.server.received_requests().await.unwrap().len();
    let began = std::time::Instant::now();
    let answer = day().await;
    assert!(began.elapsed() < std::time::Duration::from_secs(2), "{:?}", began.elapsed());
    assert_eq!(sky.server.received_requests().await.unwrap().len(), asked);
    let weather = &answer["weather"][0];
    assert_eq!((&weather["visit_id"], &weather["verdict"], &weather["gaps"]), (&json!(id), &json!("go"), &json!([])));
    let stretches: Vec<(&str, &str, &str)> = weather["stretches"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| {
            (
                &one["from"].as_str().unwrap()[11..16],
                &one["to"].as_str().unwrap()[11..16],
                one["verdict"].as_str().unwrap(),
            )
        })
        .collect();
    assert_eq!(stretches, [("14:40", "19:00", "stop"), ("19:00", "23:00", "go")], "{weather:#}");
    assert!(weather["stretches"][0]["why"].as_str().unwrap().contains("88 °F"), "{weather:#}");
    assert_eq!(weather["stretches"][1]["why"], Value::Null);
    let hot = [0, 1].map(|at| &weather["stretches"][at]["too_hot"]);
    assert_eq!(hot, [&json!(true), &json!(false)]);
    let service = &weather["services"][0];
    assert_eq!(service["forecast_fetched_at"], "2026-10-06T14:20:00.000Z", "with its source and age");
    assert_eq!(service["weather"]["alerts"]["looked_at"], "2026-10-06T14:20:00.000Z");
    // An old list of alerts clears nothing, however fresh the forecast.
    later(&company, 20);
    let older = day().await;
    assert_eq!(older["weather"][0]["verdict"], "care", "{older:#}");
    later(&company, 9 * 60);
    let over = day().await;
    assert_eq!(
        (&over["weather"][0]["verdict"], &over["weather"][0]["stretches"]),
        (&Value::Null, &json!([])),
        "after 19:00"
    );
}

#[tokio::test]
async fn a_phones_day_tells_alerts_and_missing_places() {
    let sky = FakeWeather::calm().await;
    sky.says_instead(COUNTY, document(&moved("nws-alerts-active.json"))).await;
    let company = company(sky.config()).await;
    let _ = visit(&company, "2026-10-06").await;
    let _ = refresh::round(company.app.beside()).await.unwrap();
    let day = company.phone.get("/api/v1/days/2026-10-06").await.expect(200).body;
    assert_eq!(day["weather"][0]["verdict"], "stop", "{day:#}");
    assert!(day["weather"][0]["stretches"][0]["why"].as_str().unwrap().contains("flood warning"));
    assert_eq!(day["weather"][0]["stretches"][0]["too_hot"], false, "an alert is no heat");
    let without = Company::in_maryland().await;
    let day = without.phone.get("/api/v1/days/2026-09-15").await.expect(200).body;
    assert_eq!(day["weather"], json!([]), "no service is configured");
    let app = harness::TestApp::under_a_sky(super::fake_weather::law(), harness::TODAY, sky.config()).await;
    let nowhere = Company::on(app, &["us-md"]).await;
    let day = nowhere.phone.get("/api/v1/days/2026-09-15").await.expect(200).body;
    assert_eq!(day["weather"][0]["verdict"], "care");
    assert!(day["weather"][0]["gaps"].to_string().contains("no coordinates"), "{day:#}");
}

/// A host that counts how many questions are on their way at once, and answers each after a while.
async fn counting_host() -> (String, Arc<[AtomicUsize; 3]>) {
    let counts: Arc<[AtomicUsize; 3]> = Arc::default();
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = format!("http://{}", listener.local_addr().unwrap());
    let shared = Arc::clone(&counts);
    tokio::spawn(async move {
        while let Ok((mut stream, _)) = listener.accept().await {
            let counts = Arc::clone(&shared);
            tokio::spawn(async move {
                let mut head = vec![0; 4096];
                let read = stream.read(&mut head).await.unwrap_or(0);
                let asked = String::from_utf8_lossy(&head[..read]).into_owned();
                let now = counts[0].fetch_add(1, Ordering::SeqCst) + 1;
                counts[1].fetch_max(now, Ordering::SeqCst);
                counts[2].fetch_add(1, Ordering::SeqCst);
                tokio::time::sleep(std::time::Duration::from_millis(60)).await;
                counts[0].fetch_sub(1, Ordering::SeqCst);
                let point = asked.split_once("/points/").and_then(|(_, rest)| rest.split_once(' '));
                let body = if let Some((latitude, longitude)) = point.and_then(|(point, _)| point.split_once(',')) {
                    moved("nws-points.json").replace("-76.49", longitude).replace("38.97", latitude)
                } else {
                    json!({ "features": [] }).to_string()
                };
                let head = format!(
                    "HTTP/1.1 200 OK\r\nContent-Type: application/geo+json\r\nContent-Length: {}\r\nConnection: close\r\n\r\n",
                    body.len()
                );
                let _ = stream.write_all(format!("{head}{body}").as_bytes()).await;
            });
        }
    });
    (address, counts)
}

/// Each place begun after a pause of at least a tenth of a second, and at no time more than four questions on their way.
#[tokio::test]
async fn the_background_asks_few_questions_at_once() {
    let (weather_url, counts) = counting_host().await;
    let sky = FakeWeather::blank().await;
    let company = company(config::Weather { weather_url, ..sky.config() }).await;
    let client = company.office.get("/api/v1/clients").await.expect(200).body["items"][0]["id"].clone();
    for at in 0..5 {
        let property = json!({
            "client_id": client, "name": format!("No. {at}"), "address": format!("{at} Shore Drive, Annapolis"),
            "postal_code": "21401", "time_zone": "America/New_York", "rule_sets": ["us-md"],
            "latitude": 38.9, "longitude": -76.5 - f64::from(at) / 100.0,
        });
        let id = company.office.post("/api/v1/properties", &property).await.expect(201).id();
        let section = harness::world::section(&company.office, &id, "front", "5000").await;
        let visit = json!({
            "property_id": id, "person_id": company.phone.id, "planned_on": "2026-10-07",
            "product_id": company.feed, "section_ids": [section], "purpose": "maintenance",
        });
        let _ = company.office.post("/api/v1/visits", &visit).await.expect(201);
    }
    let began = std::time::Instant::now();
    let round = refresh::round(company.app.beside()).await.unwrap();
    assert_eq!(round.places, 5);
    assert!(began.elapsed() >= std::time::Duration::from_millis(400), "four pauses: {:?}", began.elapsed());
    assert!(counts[2].load(Ordering::SeqCst) >= 10, "it asked");
    let most = counts[1].load(Ordering::SeqCst);
    assert!((2..=4).contains(&most), "{most} at once");
}
