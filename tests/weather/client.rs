//! How the services are asked: politely, briefly, and believed only as far as they can be.

use std::time::{Duration, Instant};

use harness::world::Company;
use serde_json::Value;
use wiremock::{
    Mock, MockServer, ResponseTemplate,
    matchers::{header_regex, method, path},
};

use super::fake_weather::{
    COUNTY, FakeWeather, GRID, OBSERVATION, POINT, ZONE, calm_grid, company, document, later, measured_at, moved,
    problem, sample,
};

/// What the public service is said to say.
pub async fn said(company: &Company) -> Value {
    let path = format!("/api/v1/properties/{}/weather", company.property);
    let answer = company.phone.get(&path).await.expect(200).body;
    answer["services"][0].clone()
}

pub fn gaps(said: &Value) -> String {
    said["gaps"].to_string()
}

pub fn has_forecast(said: &Value) -> bool {
    said["forecast_fetched_at"].is_string()
}

#[tokio::test]
async fn whoever_asks_says_who_it_is_and_asks_for_what_is_documented() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config_of_both()).await;
    let _ = said(&company).await;
    let requests = sky.server.received_requests().await.unwrap();
    assert!(requests.len() >= 7, "{requests:?}");
    for request in &requests {
        let agent = request.headers["user-agent"].to_str().unwrap();
        assert!(
            agent.starts_with("swardbook/") && agent.contains("(example.com lawn care, office@example.com)"),
            "{agent}"
        );
    }
    let known =
        [POINT, GRID, "/gridpoints/MLB/26,68/stations", OBSERVATION, "/alerts/active", COUNTY, ZONE, "/v1/forecast"];
    for request in &requests {
        assert!(known.contains(&request.url.path()), "{}", request.url);
        let keys: Vec<_> = request.url.query_pairs().map(|(key, _)| key.into_owned()).collect();
        if request.url.path() == "/alerts/active" {
            assert_eq!(
                request.url.query(),
                Some("status=actual&point=38.97,-76.49"),
                "no parameter that it does not know"
            );
        }
        let secret = keys.iter().any(|key| key == "apikey");
        assert_eq!(
            secret,
            request.url.path() == "/v1/forecast",
            "the key goes to its own service alone: {}",
            request.url
        );
    }
}

#[tokio::test]
async fn a_failure_that_passes_is_asked_again() {
    let sky = FakeWeather::calm().await;
    let once = Mock::given(method("GET")).and(path(GRID)).respond_with(problem(500, "nws-problem-500.json"));
    once.up_to_n_times(1).with_priority(1).mount(&sky.server).await;
    let company = company(sky.config()).await;
    let said = said(&company).await;
    assert!(has_forecast(&said), "{said:#}");
    assert_eq!(sky.asked(GRID).await, 2);
    assert_eq!(gaps(&said), "[]");
}

#[tokio::test]
async fn a_forecast_that_has_run_out_is_not_asked_for_again_and_the_last_one_is_shown_with_its_age() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    assert_eq!(said(&company).await["forecast_age"], "fresh");
    sky.says_instead(GRID, problem(503, "nws-problem-503-expired.json")).await;
    later(&company, 90);
    let now = said(&company).await;
    assert_eq!(sky.asked(GRID).await, 2, "once when it was good, once when it had run out");
    assert_eq!(now["forecast_fetched_at"], "2026-10-06T14:20:00.000Z");
    assert_eq!(now["forecast_age"], "ageing");
    assert!(gaps(&now).contains("has only a forecast that has run out"), "{now:#}");
}

#[tokio::test]
async fn whoever_is_refused_stops_asking() {
    for (status, body, kind) in [(403, "<html>Access denied</html>", "text/html"), (429, "slow down", "text/plain")] {
        let sky = FakeWeather::calm().await;
        sky.says_instead(GRID, ResponseTemplate::new(status).set_body_raw(body, kind)).await;
        let company = company(sky.config()).await;
        assert!(gaps(&said(&company).await).contains(&format!("answered {status}")));
        assert_eq!(sky.asked(GRID).await, 1, "{status} is no reason to try at once again");
        let before = sky.server.received_requests().await.unwrap().len();
        company.app.clock.advance(Duration::from_secs(30));
        let _ = said(&company).await;
        assert_eq!(
            sky.server.received_requests().await.unwrap().len(),
            before,
            "the whole host is left alone for a minute"
        );
        sky.says_instead(GRID, document(&calm_grid().to_string())).await;
    }
}

#[tokio::test]
async fn what_is_no_document_is_a_failure_whatever_its_status() {
    let huge = format!("{{\"properties\":\"{}\"}}", "x".repeat(3 * 1024 * 1024));
    let cut = calm_grid().to_string();
    let cases = [
        (ResponseTemplate::new(200).set_body_raw("<html>Sorry</html>", "text/html"), "something that is no JSON"),
        (
            ResponseTemplate::new(200).set_body_raw("<html>Sorry</html>", "application/geo+json"),
            "JSON that ends too soon",
        ),
        (document(&cut[..cut.len() / 2]), "JSON that ends too soon"),
        (document(&huge), "more than two megabytes"),
        (document("{}"), "not of the documented form"),
        (document("[]"), "not of the documented form"),
    ];
    for (answer, why) in cases {
        let sky = FakeWeather::calm().await;
        sky.says_instead(GRID, answer).await;
        let company = company(sky.config()).await;
        let said = said(&company).await;
        assert!(!has_forecast(&said), "{said:#}");
        assert!(gaps(&said).contains(why), "{why}: {said:#}");
        assert_eq!(sky.asked(GRID).await, 1, "{why}: asking again gives the same");
        assert!(!said.to_string().contains("html"), "nothing of what came is handed on");
    }
}

#[tokio::test]
async fn a_redirect_is_followed_to_the_same_question_on_the_same_host_and_nowhere_else() {
    let sky = FakeWeather::calm().await;
    let elsewhere = MockServer::start().await;
    let to = |at: String| {
        ResponseTemplate::new(301)
            .insert_header("location", at.as_str())
            .set_body_raw(sample("nws-problem-301-precision.json"), "application/problem+json")
    };
    sky.says_instead(POINT, to("/points/38.9700,-76.4900".to_owned())).await;
    sky.says("/points/38.9700,-76.4900", document(&moved("nws-points.json"))).await;
    let here = company(sky.config()).await;
    assert!(has_forecast(&said(&here).await));

    let sky = FakeWeather::calm().await;
    sky.says_instead(POINT, to(format!("{}/points/stolen", elsewhere.uri()))).await;
    let there = company(sky.config()).await;
    let said = said(&there).await;
    assert!(!has_forecast(&said) && gaps(&said).contains("answered 301"), "{said:#}");
    assert_eq!(elsewhere.received_requests().await.unwrap().len(), 0);
}

#[tokio::test]
async fn redirects_without_end_end() {
    let sky = FakeWeather::calm().await;
    sky.says_instead(POINT, ResponseTemplate::new(301).insert_header("location", POINT)).await;
    let company = company(sky.config()).await;
    let said = said(&company).await;
    assert!(gaps(&said).contains("redirects without end"), "{said:#}");
    assert!(sky.asked(POINT).await <= 5);
}

/// `Last-Modified` was seen in the future; it goes back as it came, and says nothing about age.
#[tokio::test]
async fn a_copy_is_asked_after_with_the_services_own_words() {
    let sky = FakeWeather::calm().await;
    let modified = "Tue, 06 Oct 2026 22:00:00 GMT";
    let body = document(&calm_grid().to_string())
        .insert_header("last-modified", modified)
        .insert_header("etag", "\"odd, W/x\"");
    sky.says_instead(GRID, body).await;
    let company = company(sky.config()).await;
    assert_eq!(said(&company).await["forecast_age"], "fresh");
    let unchanged = Mock::given(method("GET"))
        .and(path(GRID))
        .and(header_regex("if-modified-since", "^Tue, 06 Oct 2026 22:00:00 GMT$"))
        .and(header_regex("if-none-match", "^\"odd, W/x\"$"));
    unchanged.respond_with(ResponseTemplate::new(304)).with_priority(1).mount(&sky.server).await;
    later(&company, 40);
    let now = said(&company).await;
    assert_eq!(now["forecast_fetched_at"], "2026-10-06T15:00:00.000Z", "fetched anew");
    assert_eq!(now["forecast_issued_at"], "2026-10-06T13:42:11.000Z", "and made when it was made");
    assert_eq!(gaps(&now), "[]");
}

#[tokio::test]
async fn not_modified_to_a_first_question_is_a_failure() {
    let sky = FakeWeather::calm().await;
    sky.says_instead(GRID, ResponseTemplate::new(304)).await;
    let company = company(sky.config()).await;
    assert!(gaps(&said(&company).await).contains("to a first question"));
}

#[tokio::test]
async fn twenty_who_ask_at_once_are_one_question() {
    let sky = FakeWeather::calm().await;
    let slow = document(&calm_grid().to_string()).set_delay(Duration::from_millis(300));
    sky.says_instead(GRID, slow).await;
    let company = company(sky.config()).await;
    let path = format!("/api/v1/properties/{}/weather", company.property);
    let asking: Vec<_> = (0..20)
        .map(|_| {
            let (phone, path) = (company.phone.clone(), path.clone());
            tokio::spawn(async move { phone.get(&path).await.expect(200).body })
        })
        .collect();
    for one in asking {
        assert!(has_forecast(&one.await.unwrap()["services"][0]));
    }
    for at in [POINT, GRID, OBSERVATION, "/alerts/active", COUNTY, ZONE] {
        assert_eq!(sky.asked(at).await, 1, "{at}");
    }
}

#[tokio::test]
async fn twenty_who_ask_for_what_fails_do_not_fail_one_by_one() {
    let sky = FakeWeather::calm().await;
    sky.says_instead(
        GRID,
        ResponseTemplate::new(404).set_body_raw(sample("nws-problem-404-point.json"), "application/problem+json"),
    )
    .await;
    let company = company(sky.config()).await;
    let path = format!("/api/v1/properties/{}/weather", company.property);
    let asking: Vec<_> = (0..20)
        .map(|_| {
            let (phone, path) = (company.phone.clone(), path.clone());
            tokio::spawn(async move { phone.get(&path).await.expect(200).body })
        })
        .collect();
    for one in asking {
        assert!(!has_forecast(&one.await.unwrap()["services"][0]));
    }
    assert_eq!(sky.asked(GRID).await, 1);
}

/// A grid may move without notice: then the point is asked once more.
#[tokio::test]
async fn a_grid_that_moved_is_looked_up_anew() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    assert!(has_forecast(&said(&company).await));
    sky.says_instead(GRID, problem(404, "nws-problem-404-point.json")).await;
    let elsewhere = moved("nws-points.json").replace("\"gridX\": 26", "\"gridX\": 27");
    sky.says_instead(POINT, document(&elsewhere)).await;
    let mut there = calm_grid();
    there["properties"]["gridX"] = serde_json::json!(27);
    sky.says("/gridpoints/MLB/27,68", document(&there.to_string())).await;
    later(&company, 40);
    let now = said(&company).await;
    assert_eq!(now["forecast_fetched_at"], "2026-10-06T15:00:00.000Z", "{now:#}");
    assert_eq!(sky.asked(POINT).await, 2);
}

#[tokio::test]
async fn nobody_waits_longer_than_the_deadline() {
    let sky = FakeWeather::calm().await;
    sky.says_instead(GRID, document(&calm_grid().to_string()).set_delay(Duration::from_secs(20))).await;
    let company = company(sky.config()).await;
    let began = Instant::now();
    let said = said(&company).await;
    assert!(began.elapsed() < Duration::from_secs(6), "{:?}", began.elapsed());
    assert!(gaps(&said).contains("did not answer in time"), "{said:#}");
    assert!(said["weather"]["alerts"].is_object(), "what did answer is used");
}

#[tokio::test]
async fn a_host_that_cannot_be_reached_is_said() {
    let sky = FakeWeather::calm().await;
    let mut config = sky.config();
    drop(sky);
    let free = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    config.weather_url = format!("http://{free}");
    let company = company(config).await;
    let said = said(&company).await;
    assert!(gaps(&said).contains("could not be reached"), "{said:#}");
    assert!(said["failures_since_success"].as_u64().unwrap() > 0);
    assert_eq!(said["last_success_at"], Value::Null);
}

#[tokio::test]
async fn the_nearest_station_that_says_something_is_taken() {
    let sky = FakeWeather::calm().await;
    sky.says_instead(OBSERVATION, document(&moved("nws-observation-null.json"))).await;
    let doubted = measured_at("KXSB", &moved("nws-observation-qc-rejected.json"));
    sky.says("/stations/KXSB/observations/latest", document(&doubted)).await;
    let third = measured_at("XSC01", &moved("nws-observation.json"));
    sky.says("/stations/XSC01/observations/latest", document(&third)).await;
    let company = company(sky.config()).await;
    let said = said(&company).await;
    assert_eq!(said["station"], "XSC01", "{said:#}");
    // 29.4 °C is what a station makes of 85 °F; it is hotter than the 69.8 °F of the forecast.
    assert_eq!(said["weather"]["air_temperature"]["air_temperature_f"], "85");
    assert_eq!(said["weather"]["air_temperature"]["service"]["basis"], "observed");
    // 51.7 °C at the one before is 125.1 °F, and its own service does not believe it.
    assert_eq!(said["weather"]["doubted"]["air_temperature_f"], "125.1");
}

#[tokio::test]
async fn a_place_without_forecast_is_said() {
    let sky = FakeWeather::calm().await;
    sky.says_instead(POINT, document(&moved("nws-points-marine.json"))).await;
    let company = company(sky.config()).await;
    let said = said(&company).await;
    assert!(!has_forecast(&said) && gaps(&said).contains("has no forecast for this place"), "{said:#}");
    assert!(gaps(&said).contains("point, county and forecast zone"), "no county, so no whole list of alerts: {said:#}");
}

#[tokio::test]
async fn the_second_service_says_what_is_wrong_and_the_first_goes_on() {
    for (status, name) in [(400, "openmeteo-error-400.json"), (429, "openmeteo-error-429.json")] {
        let sky = FakeWeather::calm().await;
        sky.says("/v1/forecast", ResponseTemplate::new(status).set_body_raw(sample(name), "application/json")).await;
        let company = company(sky.config_of_both()).await;
        let path = format!("/api/v1/properties/{}/weather", company.property);
        let answer = company.phone.get(&path).await.expect(200).body;
        assert_eq!(answer["services"][1]["service"], "open_meteo");
        assert!(gaps(&answer["services"][1]).contains(&format!("answered {status}")), "{answer:#}");
        assert!(!answer.to_string().contains("tempeture"), "nothing of what came is handed on");
        assert_eq!(sky.asked("/v1/forecast").await, 1, "neither is mended by asking again at once");
        assert!(has_forecast(&answer["services"][0]), "its host is its own: {answer:#}");
    }
}
