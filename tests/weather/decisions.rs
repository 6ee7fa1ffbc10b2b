//! What services say, in decisions: it joins what a person said, and stops where it must.

use serde_json::{Value, json};

use crate::pages::visitor::Visitor;

use super::fake_weather::{
    COUNTY, FakeWeather, GRID, NOW, OBSERVATION, ZONE, calm_grid, calm_observation, check, company, document, finding,
    moved, plan, record,
};
use harness::{new_id, world::Company};

/// The sample: a warning for the county whose own area misses the lawn, so only the question by county shows it.
#[tokio::test]
async fn a_warning_elsewhere_in_the_county_stops() {
    let sky = FakeWeather::calm().await;
    let mut list: Value = serde_json::from_str(&moved("nws-alerts-active.json")).unwrap();
    list["features"].as_array_mut().unwrap().retain(|alert| alert["properties"]["event"] == "Flood Warning");
    sky.says_instead(COUNTY, document(&list.to_string())).await;
    let company = company(sky.config()).await;
    let decision = check(&company.phone, &plan(&company)).await;
    assert_eq!(decision["verdict"], "stop", "{decision:#}");
    assert!(finding(&decision, "company.alerts")["message"].as_str().unwrap().contains("flood warning"));
}

/// A watch of today for the day after tomorrow is in force today.
#[tokio::test]
async fn a_watch_is_in_force_from_its_issue() {
    let sky = FakeWeather::calm().await;
    let mut list: Value = serde_json::from_str(&moved("nws-alerts-active.json")).unwrap();
    list["features"].as_array_mut().unwrap().retain(|alert| alert["properties"]["event"] == "Tropical Storm Watch");
    assert_eq!(list["features"][0]["properties"]["onset"], "2026-10-08T08:00:00-04:00");
    sky.says_instead(ZONE, document(&list.to_string())).await;
    let company = company(sky.config()).await;
    let decision = check(&company.phone, &plan(&company)).await;
    assert_eq!(finding(&decision, "company.alerts")["outcome"], "broken", "{decision:#}");
}

#[tokio::test]
async fn a_name_nobody_has_read_before_asks_for_care_and_what_is_over_or_a_test_does_not() {
    let of = async |names: &[&str]| {
        let sky = FakeWeather::calm().await;
        let mut list: Value = serde_json::from_str(&moved("nws-alerts-active.json")).unwrap();
        let events = list["features"].as_array_mut().unwrap();
        events.retain(|alert| names.contains(&alert["properties"]["event"].as_str().unwrap()));
        assert!(!events.is_empty());
        sky.says_instead("/alerts/active", document(&list.to_string())).await;
        let company = company(sky.config()).await;
        check(&company.phone, &plan(&company)).await
    };
    let unknown = of(&["Heavy Sample Rain Outlook"]).await;
    assert_eq!(unknown["verdict"], "care");
    assert!(finding(&unknown, "company.alerts")["message"].as_str().unwrap().contains("Heavy Sample Rain Outlook"));
    let over = of(&["Severe Thunderstorm Warning", "Test Message", "Flood Advisory"]).await;
    assert_eq!(over["verdict"], "go", "ended, a test, cancelled: {over:#}");
}

/// The sample forecast: within 24 hours between 45.72 mm (1.8 in) and 60.72 mm (2.391 in) fall, around the limit of 2 in.
#[tokio::test]
async fn rain_around_the_limit_asks_for_care_and_rain_over_it_stops() {
    let sky = FakeWeather::calm().await;
    sky.says_instead(GRID, document(&moved("nws-gridpoints.json"))).await;
    let company = company(sky.config()).await;
    let decision = check(&company.phone, &plan(&company)).await;
    let rain = finding(&decision, "company.rain");
    assert_eq!(rain["verdict"], "care", "{decision:#}");
    assert!(rain["message"].as_str().unwrap().starts_with("Between 1.8 and 2.391 in of rain"), "{rain}");

    let wetter = moved("nws-gridpoints.json").replace("20.32", "25.5");
    let sky = FakeWeather::calm().await;
    sky.says_instead(GRID, document(&wetter)).await;
    let company = super::fake_weather::company(sky.config()).await;
    let decision = check(&company.phone, &plan(&company)).await;
    // The least: 25.5 + 12.7 + 5.08 + 7.62 = 50.9 mm, which is 2.0039 in.
    assert_eq!(finding(&decision, "company.rain")["outcome"], "broken", "{decision:#}");
    assert_eq!(finding(&decision, "company.rain")["actual"], "2.003");
}

/// 29.4 °C at the station is an 85 °F that was measured; the limit is "at least 85".
#[tokio::test]
async fn an_85_that_comes_as_29_4_celsius_stops_quick_nitrogen() {
    let sky = FakeWeather::calm().await;
    sky.says_instead(OBSERVATION, document(&moved("nws-observation.json"))).await;
    let company = company(sky.config()).await;
    let decision = check(&company.phone, &plan(&company)).await;
    assert_eq!(finding(&decision, "company.heat")["outcome"], "broken", "{decision:#}");
    assert_eq!(finding(&decision, "company.heat")["actual"], "85");
}

/// Work that begins at 68 °F and ends at 88 °F is work in heat.
#[tokio::test]
async fn heat_that_comes_within_the_hour_stops() {
    let sky = FakeWeather::calm().await;
    let mut grid = calm_grid();
    grid["properties"]["temperature"]["values"] = json!([
        { "validTime": "2026-10-06T14:00:00+00:00/PT1H", "value": 20 },
        { "validTime": "2026-10-06T15:00:00+00:00/PT9H", "value": 31.111_111_111_111_11 },
    ]);
    sky.says_instead(GRID, document(&grid.to_string())).await;
    let company = company(sky.config()).await;
    let decision = check(&company.phone, &plan(&company)).await;
    assert_eq!(finding(&decision, "company.heat")["actual"], "88", "{decision:#}");
    assert_eq!(decision["verdict"], "stop");
}

#[tokio::test]
async fn what_a_person_measured_on_the_lawn_stands_and_a_flood_watch_stands_beside_it() {
    let sky = FakeWeather::calm().await;
    sky.says_instead(OBSERVATION, document(&moved("nws-observation.json"))).await;
    sky.says_instead(COUNTY, document(&moved("nws-alerts-active.json"))).await;
    let company = company(sky.config()).await;
    let mut plan = plan(&company);
    let at = super::fake_weather::NOW;
    plan["weather"] = json!({
        "air_temperature": { "air_temperature_f": "71", "source": "technician", "observed_at": at },
        "alerts": { "active": [], "source": "technician", "looked_at": at },
    });
    let decision = check(&company.phone, &plan).await;
    assert!(decision["met"].to_string().contains("company.heat"), "measured in the shade of the house: {decision:#}");
    assert_eq!(
        finding(&decision, "company.alerts")["outcome"],
        "broken",
        "a look that missed the watch does not lift it"
    );
}

#[tokio::test]
async fn a_request_that_says_all_asks_nobody() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let mut plan = plan(&company);
    let at = super::fake_weather::NOW;
    plan["weather"] = json!({
        "air_temperature": { "air_temperature_f": "71", "source": "technician", "observed_at": at },
        "rain_forecast": [{ "rain_in": "0", "hours": 24, "source": "technician", "issued_at": at }],
        "alerts": { "active": [], "source": "technician", "looked_at": at },
        "wind": { "wind_mph": "4", "source": "technician", "observed_at": at },
    });
    assert_eq!(check(&company.phone, &plan).await["verdict"], "go");
    assert_eq!(sky.server.received_requests().await.unwrap().len(), 0);
}

#[tokio::test]
async fn another_days_weather_is_unseen_whatever_services_say() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let mut plan = plan(&company);
    plan["planned_on"] = json!("2026-10-07");
    plan["ground"] = Value::Null;
    let decision = check(&company.phone, &plan).await;
    assert_eq!(decision["verdict"], "care", "{decision:#}");
    assert_eq!(sky.server.received_requests().await.unwrap().len(), 0);
}

#[tokio::test]
async fn a_label_that_names_a_wind_is_held_against_the_gusts() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let with = async |limit: &str| {
        let mut label = harness::world::label("20", "10", "0", "5");
        label["form"] = json!("liquid");
        label["wind_limit_mph"] = json!(limit);
        let product = harness::world::product(&company.office, &format!("Liquid {limit}"), &label).await;
        let mut plan = plan(&company);
        plan["product_id"] = json!(product);
        check(&company.phone, &plan).await
    };
    // Gusts of 14 km/h are 8.7 mph.
    assert_eq!(finding(&with("8.6").await, "label.wind")["outcome"], "broken");
    let decision = with("8.7").await;
    assert!(decision["met"].to_string().contains("label.wind"), "{decision:#}");
}

#[tokio::test]
async fn strong_wind_without_a_label_asks_for_care_by_form() {
    let sky = FakeWeather::calm().await;
    let mut gusty = calm_observation();
    // 22.224 km/h is 13.81 mph: spray drifts, granules do not.
    gusty["properties"]["windSpeed"]["value"] = json!(22.224);
    sky.says_instead(OBSERVATION, document(&gusty.to_string())).await;
    let company = company(sky.config()).await;
    assert_eq!(check(&company.phone, &plan(&company)).await["verdict"], "go");
    let mut label = harness::world::label("20", "10", "0", "5");
    label["form"] = json!("liquid");
    let product = harness::world::product(&company.office, "Liquid", &label).await;
    let mut plan = plan(&company);
    plan["product_id"] = json!(product);
    let decision = check(&company.phone, &plan).await;
    assert_eq!(finding(&decision, "practice.wind")["verdict"], "care", "{decision:#}");
    assert_eq!(finding(&decision, "practice.wind")["actual"], "13.81");
}

/// The second service's model can ask for a look at the ground; it clears nothing.
#[tokio::test]
async fn a_model_that_has_the_soil_frozen_asks_for_a_probe() {
    let sky = FakeWeather::calm().await;
    let times: Vec<i64> = (0..72).map(|hour| 1_791_244_800 + hour * 3_600).collect();
    let soil = |value: f64| {
        json!({
            "latitude": 38.97, "longitude": -76.49, "utc_offset_seconds": 0, "hourly_units": { "time": "unixtime", "soil_temperature_6cm": "°C" },
            "hourly": { "time": times, "soil_temperature_6cm": vec![value; 72] },
        })
    };
    sky.says("/v1/forecast", document(&soil(-0.5).to_string())).await;
    let cold = company(sky.config_of_both()).await;
    let decision = check(&cold.phone, &plan(&cold)).await;
    assert_eq!(finding(&decision, "us-md.ground")["verdict"], "care", "{decision:#}");
    let mut frozen = plan(&cold);
    frozen["ground"] = json!("frozen");
    sky.says_instead("/v1/forecast", document(&soil(20.0).to_string())).await;
    super::fake_weather::later(&cold, 40);
    assert_eq!(
        check(&cold.phone, &frozen).await["verdict"],
        "stop",
        "what a person saw stands, however warm the model has it"
    );
}

#[tokio::test]
async fn a_clearance_and_a_record_are_decided_with_it_too() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let id = new_id();
    let cleared = company.phone.put(&format!("/api/v1/clearances/{id}"), &plan(&company)).await.expect(201).body;
    assert_eq!(cleared["verdict"], "go");
    let stored =
        company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record(&company)).await.expect(201).body;
    assert_eq!(stored["verdict"], "go", "{stored:#}");
    assert_eq!(stored["weather"]["alerts"], Value::Null, "what was sent is kept as it was sent");
    sky.says_instead(COUNTY, document(&moved("nws-alerts-active.json"))).await;
    super::fake_weather::later(&company, 3);
    let refused = company.phone.put(&format!("/api/v1/clearances/{}", new_id()), &plan(&company)).await;
    let refused = refused.problem(422, "stopped-by-rules");
    assert!(refused.rules().contains(&"company.alerts".to_owned()), "{}", refused.text);
}

/// Work of the day before, of which the book holds no answer: no service was asked about it, and none is said to have been.
#[tokio::test]
async fn late_work_of_which_nothing_is_kept_was_asked_of_nobody() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config_of_both()).await;
    let mut late = record(&company);
    let yesterday = "2026-10-05T14:20:00Z";
    late["started_at"] = json!(yesterday);
    late["finished_at"] = json!("2026-10-05T14:25:00Z");
    late["weather"] = json!({
        "air_temperature": { "air_temperature_f": "71", "source": "technician", "observed_at": yesterday },
    });
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), &late).await.expect(201);
    let decision = company.phone.get(&format!("/api/v1/applications/{id}/decision")).await.expect(200).body;
    assert_eq!(*finding(&decision, "practice.wind"), Value::Null, "whoever was there felt the wind: {decision:#}");
    let alerts = finding(&decision, "company.alerts");
    assert_eq!(alerts["outcome"], "unknown", "the company's own rule still asks: {decision:#}");
    assert!(alerts["hint"].as_str().unwrap().starts_with("Ask whoever was there"), "{alerts}");
    let known = company.phone.get(&format!("/api/v1/applications/{id}/weather")).await.expect(200).body;
    assert_eq!((&known["from_services"], &known["answers"]), (&Value::Null, &json!([])), "{known:#}");
    let html = Visitor::named(&company, "office").await.open(&format!("/records/{id}")).await.html;
    assert!(html.contains("No weather service was part of it."), "{html}");
}

/// Common practice: a service that is on and cannot be asked leaves as much open as one that does not answer.
#[tokio::test]
async fn a_property_without_coordinates_is_no_clearer_than_one_with_them() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let path = format!("/api/v1/properties/{}", company.property);
    let mut property = company.office.get(&path).await.expect(200).body;
    let kept = ["client_id", "name", "address", "postal_code", "time_zone", "rule_sets"];
    property.as_object_mut().unwrap().retain(|name, _| kept.contains(&name.as_str()));
    let _ = company.office.put_version(&path, "\"v2\"", &property).await.expect(200);
    let nothing = check(&company.phone, &plan(&company)).await;
    let known = finding(&nothing, "book.weather.known");
    assert!(known["message"].as_str().unwrap().contains("has no coordinates"), "{nothing:#}");

    let mut told = plan(&company);
    told["weather"] =
        json!({ "air_temperature": { "air_temperature_f": "71", "source": "technician", "observed_at": NOW } });
    let decision = check(&company.phone, &told).await;
    assert_eq!(finding(&decision, "practice.wind")["outcome"], "unknown", "{decision:#}");
    let place = finding(&decision, "book.weather.coordinates");
    assert!(place["message"].as_str().unwrap().contains("has no coordinates"), "{decision:#}");

    let mut work = record(&company);
    work["weather"] = told["weather"].clone();
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), &work).await.expect(201);
    let stored = company.phone.get(&format!("/api/v1/applications/{id}/decision")).await.expect(200).body;
    assert_eq!(finding(&stored, "practice.wind")["outcome"], "unknown", "{stored:#}");
    let change = json!({
        "application_id": id, "reason": "Weighed again.",
        "change": { "lines": [{ "section_id": company.front, "product_lb": "9" }] },
    });
    let corrected = company.phone.post("/api/v1/corrections/checks", &change).await.expect(200).body;
    assert_eq!(finding(&corrected["decision"], "practice.wind")["outcome"], "unknown", "{corrected:#}");
    let place = finding(&corrected["decision"], "book.weather.coordinates");
    assert_eq!(place["verdict"], "care", "the correction names the same reason: {corrected:#}");
    let (_, decision) = decided(&company, &half_an_hour(&company)).await;
    assert_eq!(finding(&decision, "practice.wind")["outcome"], "unknown", "{decision:#}");
    assert_eq!(finding(&decision, "book.weather.coordinates")["verdict"], "care", "{decision:#}");
    assert_eq!(sky.server.received_requests().await.unwrap().len(), 0, "nobody knows what to ask for");
}

/// A technician who sends the record when the work is done, half an hour after it began and without a check before it.
fn half_an_hour(company: &Company) -> Value {
    let mut work = record(company);
    work["lines"][0]["product_lb"] = json!("2");
    work["started_at"] = json!("2026-10-06T13:54:00Z");
    work["finished_at"] = json!(NOW);
    let measured = json!({ "air_temperature_f": "71", "source": "technician", "observed_at": work["started_at"] });
    work["weather"] = json!({ "air_temperature": measured });
    work
}

async fn decided(company: &Company, work: &Value) -> (String, Value) {
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), work).await.expect(201);
    let decision = company.phone.get(&format!("/api/v1/applications/{id}/decision")).await.expect(200).body;
    (id, decision)
}

/// Common practice: how long a job takes makes nothing known that was not.
#[tokio::test]
async fn a_job_of_half_an_hour_leaves_wind_and_alerts_as_open_as_one_of_now() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config_of_both()).await;
    let work = half_an_hour(&company);
    let (id, decision) = decided(&company, &work).await;
    assert_eq!(decision["verdict"], "care", "{decision:#}");
    assert_eq!(finding(&decision, "practice.wind")["outcome"], "unknown", "{decision:#}");
    assert_eq!(finding(&decision, "company.alerts")["outcome"], "unknown", "{decision:#}");
    assert_eq!(*finding(&decision, "book.weather.coordinates"), Value::Null, "{decision:#}");
    assert_eq!(sky.server.received_requests().await.unwrap().len(), 0, "nobody is asked about what is over");
    let html = Visitor::named(&company, "office").await.open(&format!("/records/{id}")).await.html;
    assert!(html.contains("or nothing is kept of when the work began."), "{html}");

    let mut told = work.clone();
    told["weather"]["wind"] = json!({ "wind_mph": "4", "source": "technician", "observed_at": work["started_at"] });
    told["weather"]["alerts"] = json!({ "active": [], "source": "technician", "looked_at": work["started_at"] });
    let (_, decision) = decided(&company, &told).await;
    assert!(!decision["findings"].to_string().contains("practice.wind"), "what was measured stands: {decision:#}");

    // At the end of the day it is still today; after midnight and ten minutes it is the work of an earlier day. Its local day ends at
    // 04:00 by UTC.
    let late = async |minutes| {
        super::fake_weather::later(&company, minutes);
        let (_, decision) = decided(&company, &half_an_hour(&company)).await;
        finding(&decision, "practice.wind")["outcome"].clone()
    };
    assert_eq!(late(13 * 60 + 39).await, "unknown", "23:59 at the lawn");
    assert_eq!(late(1).await, Value::Null, "midnight");
}

/// Work that ends some minutes before midnight is not of long ago when it is sent a minute later.
#[tokio::test]
async fn a_job_that_runs_up_to_midnight_is_of_now() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    super::fake_weather::later(&company, 13 * 60 + 41);
    let mut work = half_an_hour(&company);
    work["started_at"] = json!("2026-10-07T03:30:00Z");
    work["finished_at"] = json!("2026-10-07T03:58:00Z");
    work["weather"]["air_temperature"]["observed_at"] = work["started_at"].clone();
    let (_, decision) = decided(&company, &work).await;
    assert_eq!(finding(&decision, "practice.wind")["outcome"], "unknown", "{decision:#}");
}
