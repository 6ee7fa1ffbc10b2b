//! Weather that is really about here and now: what was made for another place, for another time, in part, or by nobody clears
//! nothing; and what stops is not made to vanish by what stands beside it.
//!
//! Sources: the API of the National Weather Service (<https://api.weather.gov/openapi.json>, and its documentation at
//! <https://weather-gov.github.io/api/>), the Common Alerting Protocol 1.2 of OASIS
//! (<https://docs.oasis-open.org/emergency/cap/v1.2/CAP-v1.2-os.html>), section 3.2.1, and RFC 9110.

use harness::new_id;
use serde_json::{Value, json};
use wiremock::ResponseTemplate;

use crate::pages::visitor::Visitor;

use super::{
    client::{gaps, has_forecast, said},
    fake_weather::{
        COUNTY, FakeWeather, GRID, NOW, OBSERVATION, POINT, TITLE, ZONE, alert_list, calm_grid, calm_observation,
        check, company, document, finding, flood_watch, later, measured_at, moved, plan, record,
    },
};

/// The answer to a check beneath a calm sky of which one part is something else.
async fn with(at: &str, answer: ResponseTemplate) -> Value {
    let sky = FakeWeather::calm().await;
    sky.says_instead(at, answer).await;
    let company = company(sky.config()).await;
    check(&company.phone, &plan(&company)).await
}

/// The outcome of the company's rule on alerts when the county's list has these; null when it is met.
async fn alerts(alerts: &[Value]) -> Value {
    let decision = with(COUNTY, document(&alert_list(alerts).to_string())).await;
    finding(&decision, "company.alerts")["outcome"].clone()
}

/// A grid of which some members are something else.
fn grid(changed: &Value) -> ResponseTemplate {
    let mut grid = calm_grid();
    for (name, value) in changed.as_object().into_iter().flatten() {
        grid["properties"][name] = value.clone();
    }
    document(&grid.to_string())
}

#[tokio::test]
async fn wind_that_nobody_knows_is_care_in_checks_and_in_working_windows() {
    let silent = json!({ "windSpeed": null, "windGust": null });
    let sky = FakeWeather::calm().await;
    sky.says_instead(GRID, grid(&silent)).await;
    let mut seen = calm_observation();
    (seen["properties"]["windSpeed"], seen["properties"]["windGust"]) = (Value::Null, Value::Null);
    sky.says_instead(OBSERVATION, document(&seen.to_string())).await;
    let company = company(sky.config()).await;
    let decision = check(&company.phone, &plan(&company)).await;
    assert_eq!(decision["verdict"], "care", "{decision:#}");
    assert_eq!(finding(&decision, "practice.wind")["outcome"], "unknown", "{decision:#}");
    let window =
        format!("/api/v1/properties/{}/working-windows/2026-10-06?product_id={}", company.property, company.feed);
    let window = company.phone.get(&window).await.expect(200).body;
    assert_eq!(window["products"][0]["verdict"], "care", "{window:#}");
    assert!(window["products"][0]["hours"].to_string().contains("practice.wind"), "{window:#}");
}

/// Common practice: wind is asked for every product. What is not known of it does not become known by a service that says less.
#[tokio::test]
async fn wind_is_not_known_by_a_service_that_says_nothing() {
    let sky = FakeWeather::blank().await;
    sky.says_everywhere(ResponseTemplate::new(404)).await;
    let company = company(sky.config()).await;
    let warm = json!({ "air_temperature": { "air_temperature_f": "71", "source": "technician", "observed_at": NOW } });
    let mut asked = plan(&company);
    asked["weather"] = warm.clone();
    let decision = check(&company.phone, &asked).await;
    assert_eq!(finding(&decision, "practice.wind")["outcome"], "unknown", "{decision:#}");
    // Whoever measured it knows it.
    asked["weather"]["wind"] = json!({ "wind_mph": "4", "source": "technician", "observed_at": NOW });
    assert_eq!(*finding(&check(&company.phone, &asked).await, "practice.wind"), Value::Null);
    // Nothing at all is said once, by the book.
    let nothing = check(&company.phone, &plan(&company)).await;
    assert_eq!(finding(&nothing, "book.weather.known")["verdict"], "care", "{nothing:#}");
    assert_eq!(*finding(&nothing, "practice.wind"), Value::Null, "{nothing:#}");

    let id = new_id();
    let mut work = record(&company);
    work["weather"] = warm;
    let stored = company.phone.put(&format!("/api/v1/applications/{id}"), &work).await.expect(201).body;
    assert_eq!(stored["verdict"], "care", "{stored:#}");
    let known = company.phone.get(&format!("/api/v1/applications/{id}/weather")).await.expect(200).body;
    assert_eq!((&known["from_services"]["wind"], &known["answers"]), (&Value::Null, &json!([])), "{known:#}");
    assert!(known["from_services"].is_object(), "that a service was asked is kept: {known:#}");
    let html = Visitor::named(&company, "office").await.open(&format!("/records/{id}")).await.html;
    assert!(html.contains("Nothing from a weather service was known"), "{html}");
    let change = json!({
        "application_id": id, "reason": "Weighed again.",
        "change": { "lines": [{ "section_id": company.front, "product_lb": "9" }] },
    });
    let corrected = company.phone.post("/api/v1/corrections/checks", &change).await.expect(200).body;
    assert_eq!(finding(&corrected["decision"], "practice.wind")["outcome"], "unknown", "{corrected:#}");
}

#[tokio::test]
async fn gusts_that_the_forecast_leaves_out_are_care() {
    let decision = with(GRID, grid(&json!({ "windGust": null }))).await;
    assert_eq!(finding(&decision, "practice.wind")["outcome"], "unknown", "{decision:#}");
}

/// `updated` is "the last time a change occurred to this collection" (the service's OpenAPI document, `AlertCollection`).
#[tokio::test]
async fn a_list_of_alerts_of_three_days_ago_is_not_fresh() {
    for updated in [json!("2026-10-03T14:00:00+00:00"), json!("2026-10-07T14:00:00+00:00"), json!("today"), Value::Null]
    {
        let mut list = alert_list(&[]);
        list["updated"] = updated.clone();
        let decision = with(COUNTY, document(&list.to_string())).await;
        assert_eq!(finding(&decision, "company.alerts")["outcome"], "unknown", "{updated}: {decision:#}");
    }
}

#[tokio::test]
async fn a_body_of_another_grid_is_no_forecast_of_here() {
    for (name, value) in [("gridId", json!("LWX")), ("gridX", json!(27)), ("gridY", json!(0)), ("gridX", Value::Null)] {
        let decision = with(GRID, grid(&json!({ name: value }))).await;
        assert_eq!(finding(&decision, "company.rain")["outcome"], "unknown", "{name}: {decision:#}");
    }
    let mut far = calm_grid();
    far["geometry"] =
        json!({ "type": "Polygon", "coordinates": [[[-95.0, 39.0], [-95.0, 39.02], [-94.98, 39.02], [-95.0, 39.0]]] });
    let decision = with(GRID, document(&far.to_string())).await;
    assert_eq!(finding(&decision, "company.rain")["outcome"], "unknown", "a cell that lies elsewhere: {decision:#}");
}

#[tokio::test]
async fn a_body_of_another_point_tells_no_grid_and_no_county() {
    let sky = FakeWeather::calm().await;
    let other = moved("nws-points.json").replace("-76.49", "-81.38").replace("38.97", "28.54");
    sky.says_instead(POINT, document(&other)).await;
    let company = company(sky.config()).await;
    let said = said(&company).await;
    assert!(!has_forecast(&said), "{said:#}");
    assert!(gaps(&said).contains("another place"), "{said:#}");
    assert_eq!(sky.asked(COUNTY).await, 0, "another place's county");
}

/// The title names what was asked for: seen as `... for 45.458 N, 122.6636 W` and as `... for Sierra County (NMC051) NM`.
#[tokio::test]
async fn a_list_of_another_zone_or_point_says_nothing_of_this_one() {
    for (at, title) in [
        (COUNTY, "Current watches, warnings, and advisories for Orange (FLC097) FL"),
        (ZONE, "Current watches, warnings, and advisories for Sample County (FLC095) FL"),
        ("/alerts/active", "Current watches, warnings, and advisories for 39.9 N, 76.49 W"),
        ("/alerts/active", "Current watches, warnings, and advisories for 38.97 N, 76.49 E"),
        (COUNTY, "Current watches, warnings, and advisories"),
    ] {
        let mut list = alert_list(&[]);
        list["title"] = json!(title);
        let decision = with(at, document(&list.to_string())).await;
        assert_eq!(finding(&decision, "company.alerts")["outcome"], "unknown", "{at} {title}: {decision:#}");
    }
}

#[tokio::test]
async fn a_measurement_of_another_station_is_not_taken() {
    let sky = FakeWeather::calm().await;
    let other = measured_at("KZZZ", &calm_observation().to_string());
    sky.says_instead(OBSERVATION, document(&other)).await;
    let company = company(sky.config()).await;
    let said = said(&company).await;
    assert_ne!(said["station"], "KXSA", "{said:#}");
    assert!(gaps(&said).contains("another station"), "{said:#}");
}

#[tokio::test]
async fn a_redirect_to_another_cell_is_not_followed() {
    let sky = FakeWeather::calm().await;
    sky.says_instead(GRID, ResponseTemplate::new(301).insert_header("location", "/gridpoints/MLB/27,68")).await;
    sky.says("/gridpoints/MLB/27,68", document(&calm_grid().to_string())).await;
    let company = company(sky.config()).await;
    let said = said(&company).await;
    assert!(!has_forecast(&said), "{said:#}");
    assert_eq!(sky.asked("/gridpoints/MLB/27,68").await, 0);
}

/// RFC 7946: a position may have an altitude (section 3.1.1), and an outline may be of several parts (section 3.1.7). What is there and
/// cannot be read may be anywhere.
#[tokio::test]
async fn an_outline_that_is_not_around_the_lawn_is_another_cells_in_whatever_form() {
    let ring = |longitude: f64, latitude: f64| {
        json!([
            [longitude - 0.01, latitude - 0.01, 80],
            [longitude + 0.01, latitude + 0.01, 80],
            [longitude - 0.01, latitude - 0.01, 80]
        ])
    };
    let under = async |geometry: Value| {
        let mut grid = calm_grid();
        grid["geometry"] = geometry;
        with(GRID, document(&grid.to_string())).await["verdict"].clone()
    };
    let polygon = |ring: Value| json!({ "type": "Polygon", "coordinates": [ring] });
    let parts = |ring: Value| json!({ "type": "MultiPolygon", "coordinates": [[ring]] });
    for (what, geometry) in [
        ("a polygon with altitudes", polygon(ring(-95.0, 39.0))),
        ("several polygons", parts(ring(-95.0, 39.0))),
        ("a collection", json!({ "type": "GeometryCollection", "geometries": [polygon(ring(-95.0, 39.0))] })),
        ("words", json!({ "type": "Polygon", "coordinates": "here" })),
        ("none at all", json!({ "type": "Polygon", "coordinates": [] })),
        ("an object that says nothing", json!({})),
    ] {
        assert_eq!(under(geometry).await, "care", "{what}");
    }
    assert_eq!(under(polygon(ring(-76.49, 38.97))).await, "go");
    assert_eq!(under(parts(ring(-76.49, 38.97))).await, "go");
    assert_eq!(under(Value::Null).await, "go", "its cell is named, and no outline speaks against it");
}

/// CAP 1.2 has five words: `Actual`, `Exercise`, `System`, `Test`, `Draft`. What is none of them is no exercise.
#[tokio::test]
async fn a_status_that_is_no_word_of_the_protocol_leaves_a_watch_a_watch() {
    for status in [json!("actual"), json!("ACTUAL"), json!(""), json!("Live"), Value::Null, json!("test")] {
        assert_eq!(alerts(&[flood_watch(&json!({ "status": status }))]).await, "broken", "{status}");
    }
    for status in ["Exercise", "System", "Test", "Draft"] {
        assert_eq!(alerts(&[flood_watch(&json!({ "status": status }))]).await, Value::Null, "{status}");
    }
    for kind in [json!("cancel"), json!("Cancelled"), Value::Null] {
        assert_eq!(alerts(&[flood_watch(&json!({ "messageType": kind }))]).await, "broken", "{kind}");
    }
}

#[tokio::test]
async fn a_watch_that_ends_before_it_was_sent_has_no_end() {
    let ends = "2026-10-06T12:00:00+00:00";
    assert_eq!(alerts(&[flood_watch(&json!({ "ends": ends }))]).await, "broken");
    assert_eq!(alerts(&[flood_watch(&json!({ "ends": null, "expires": ends }))]).await, "broken");
    let after = json!({ "ends": "2026-10-06T14:00:00+00:00" });
    assert_eq!(alerts(&[flood_watch(&after)]).await, Value::Null, "one that has ended since has");
}

/// CAP 1.2, `references`: earlier messages that an update or a cancellation speaks of.
#[tokio::test]
async fn a_later_alert_of_another_hazard_does_not_delete_a_watch_by_naming_it() {
    let first = flood_watch(&json!({}));
    let naming = |event: &str, kind: &str| {
        flood_watch(&json!({
            "id": "urn:oid:2.49.0.1.840.0.b1.001.1", "event": event, "messageType": kind,
            "sent": "2026-10-06T13:50:00+00:00", "ends": "2026-10-06T14:00:00+00:00",
            "references": [{ "identifier": "urn:oid:2.49.0.1.840.0.a1.001.1" }],
        }))
    };
    assert_eq!(alerts(&[first.clone(), naming("Heat Advisory", "Update")]).await, "broken");
    assert_eq!(alerts(&[first.clone(), naming("Heat Advisory", "Cancel")]).await, "broken");
    assert_eq!(
        alerts(&[first.clone(), naming("Flood Watch", "Alert")]).await,
        "broken",
        "a first message updates nothing"
    );
    assert_eq!(alerts(&[first, naming("Flood Watch", "Update")]).await, Value::Null, "its own update, which has ended");
}

/// `pagination.next` is "a link to the next page of records" (the service's OpenAPI document, `PaginationInfo`).
#[tokio::test]
async fn a_list_with_a_next_page_is_not_whole() {
    for page in [json!({ "next": "https://api.weather.gov/alerts/active?cursor=x" }), json!("more"), json!([])] {
        let mut list = alert_list(&[]);
        list["pagination"] = page.clone();
        let decision = with(COUNTY, document(&list.to_string())).await;
        assert_eq!(finding(&decision, "company.alerts")["outcome"], "unknown", "{page}: {decision:#}");
    }
    let mut list = alert_list(&[]);
    list["pagination"] = json!({ "next": null });
    assert_eq!(with(COUNTY, document(&list.to_string())).await["verdict"], "go", "no next page");
}

#[tokio::test]
async fn a_stop_among_six_hundred_alerts_stops() {
    let mut many: Vec<Value> = (0..599)
        .map(|at| flood_watch(&json!({ "id": format!("urn:oid:{at}"), "event": "Rip Current Statement" })))
        .collect();
    many.push(flood_watch(&json!({})));
    assert_eq!(alerts(&many).await, "broken");
    many.pop();
    assert_eq!(alerts(&many).await, "unknown", "more than any place has");
}

/// An alert has some 4 kB, most of it words for people. A list that is not read stops nothing.
#[tokio::test]
async fn a_stop_among_six_hundred_alerts_of_full_length_stops() {
    let words = "The flood watch remains in effect for portions of the county. ".repeat(64);
    let full = |changed: &Value| {
        let mut alert = flood_watch(changed);
        alert["properties"]["description"] = json!(words);
        alert
    };
    let mut many: Vec<Value> =
        (0..599).map(|at| full(&json!({ "id": format!("urn:oid:{at}"), "event": "Rip Current Statement" }))).collect();
    many.push(full(&json!({})));
    assert!(alert_list(&many).to_string().len() > 600 * 4_000);
    assert_eq!(alerts(&many).await, "broken");
}

#[tokio::test]
async fn warnings_and_emergencies_that_no_list_has_are_care() {
    for event in [
        "Dam Break Emergency",
        "Evacuation - Immediate",
        "Shelter In Place Warning",
        "Hazardous Materials Warning",
        "Red Flag Warning",
        "Something Nobody Has Read",
    ] {
        assert_eq!(alerts(&[flood_watch(&json!({ "event": event }))]).await, "care", "{event}");
    }
    for event in ["Rip Current Statement", "Heat Advisory", "Air Quality Alert"] {
        assert_eq!(alerts(&[flood_watch(&json!({ "event": event }))]).await, Value::Null, "{event}");
    }
}

/// KXSB lies some eight miles from the lawn: 0.109 degrees of latitude are 12.1 km, 0.063 of longitude 5.4 km.
#[tokio::test]
async fn a_station_far_from_the_lawn_is_told_with_its_distance() {
    let sky = FakeWeather::calm().await;
    sky.says_instead(OBSERVATION, document(&moved("nws-observation-null.json"))).await;
    let there = measured_at("KXSB", &calm_observation().to_string());
    sky.says("/stations/KXSB/observations/latest", document(&there)).await;
    let company = company(sky.config()).await;
    let now = said(&company).await;
    assert_eq!(now["station"], "KXSB", "{now:#}");
    assert!(gaps(&now).contains("KXSB lies 8 miles"), "{now:#}");
}

#[tokio::test]
async fn a_station_that_says_quite_another_temperature_than_the_forecast_is_told() {
    let sky = FakeWeather::calm().await;
    let mut cold = calm_observation();
    // 2 °C are 35.6 °F, which a station measures as a whole 36.
    cold["properties"]["temperature"]["value"] = json!(2);
    sky.says_instead(OBSERVATION, document(&cold.to_string())).await;
    let company = company(sky.config()).await;
    let now = said(&company).await;
    assert!(gaps(&now).contains("36 °F") && gaps(&now).contains("69.8 °F"), "{now:#}");
}

/// MADIS: X failed the first check, Q a later one, B was called bad (<https://madis-data.cprk.ncep.noaa.gov/doc/qc_info.txt>).
#[tokio::test]
async fn a_hot_reading_that_its_service_doubts_holds_and_does_not_stop() {
    for mark in ["X", "Q", "B"] {
        let mut hot = calm_observation();
        hot["properties"]["temperature"]["value"] = json!(33);
        hot["properties"]["temperature"]["qualityControl"] = json!(mark);
        let decision = with(OBSERVATION, document(&hot.to_string())).await;
        let heat = finding(&decision, "company.heat");
        assert_eq!(
            (&heat["outcome"], &decision["verdict"]),
            (&json!("unknown"), &json!("care")),
            "{mark}: {decision:#}"
        );
        assert!(heat["message"].as_str().unwrap().contains("91.4 °F"), "{heat}");
    }
}

/// RFC 9110, section 10.2.3: seconds, or a date.
#[tokio::test]
async fn a_service_that_says_when_to_ask_again_is_not_asked_before() {
    for after in ["600", "Tue, 06 Oct 2026 14:30:00 GMT"] {
        let sky = FakeWeather::calm().await;
        sky.says_instead(GRID, ResponseTemplate::new(503).insert_header("retry-after", after)).await;
        let company = company(sky.config()).await;
        let _ = said(&company).await;
        let asked = sky.asked(GRID).await;
        assert_eq!(asked, 1, "{after}: it was told not to ask again at once");
        later(&company, 9);
        assert!(gaps(&said(&company).await).contains("answered 503"));
        assert_eq!(sky.asked(GRID).await, asked, "{after}");
        later(&company, 2);
        let _ = said(&company).await;
        assert!(sky.asked(GRID).await > asked, "{after}: and asked when the time has come");
    }
}

#[tokio::test]
async fn a_service_that_never_wants_to_be_asked_again_is_asked_within_the_hour() {
    for after in ["99999999", "Sat, 06 Oct 2096 14:30:00 GMT"] {
        let sky = FakeWeather::calm().await;
        sky.says_instead(GRID, ResponseTemplate::new(503).insert_header("retry-after", after)).await;
        let company = company(sky.config()).await;
        let _ = said(&company).await;
        later(&company, 61);
        let _ = said(&company).await;
        assert_eq!(sky.asked(GRID).await, 2, "{after}");
    }
}

#[test]
fn the_title_of_the_fake_lists_names_all_three_questions() {
    assert!(["38.97 N, 76.49 W", "(FLC095)", "(FLZ045)"].iter().all(|part| TITLE.contains(part)));
}
