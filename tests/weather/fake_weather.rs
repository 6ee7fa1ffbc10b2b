//! A stand-in for the weather services, and a company beneath it.

use std::time::Duration;

use domain::law::Lawbook;
use harness::{TestApp, User, world::Company};
use serde_json::{Value, json};
use server::config;
use wiremock::{
    Mock, MockServer, ResponseTemplate,
    matchers::{method, path, path_regex},
};

/// The samples are of 18 June 2026; rules close that season, so they are moved to a Tuesday in an open one.
pub const NOW: &str = "2026-10-06T14:20:00Z";
pub const GRID: &str = "/gridpoints/MLB/26,68";
pub const POINT: &str = "/points/38.97,-76.49";
pub const OBSERVATION: &str = "/stations/KXSA/observations/latest";
pub const COUNTY: &str = "/alerts/active/zone/FLC095";
pub const ZONE: &str = "/alerts/active/zone/FLZ045";
const JSON: &str = "application/geo+json";

/// What the title of a list of alerts must name, by whichever of the three questions it is asked.
pub const TITLE: &str =
    "Current watches, warnings, and advisories for 38.97 N, 76.49 W and Sample (FLC095) FL and Sample (FLZ045) FL";

/// The places of the samples, and as far away from Annapolis.
const PLACES: [(&str, &str); 17] = [
    ("28.5384,-81.3789", "38.97,-76.49"),
    ("-81.3789", "-76.49"),
    ("28.5384", "38.97"),
    ("-81.3329", "-76.44"),
    ("28.5455", "38.977"),
    ("-81.316", "-76.4271"),
    ("28.4294", "38.861"),
    ("-81.42", "-76.5311"),
    ("28.6\n", "39.0316\n"),
    ("-80.3,", "-76.49,"),
    ("28.4\n", "38.97\n"),
    ("-81.39", "-76.501"),
    ("-81.365", "-76.476"),
    ("28.55", "38.982"),
    ("28.53", "38.962"),
    ("for 38.97 N, 81.3789 W", "for 38.97 N, 76.49 W and Sample (FLC095) FL and Sample (FLZ045) FL"),
    ("for 39.0 N, 95.0 W", "for 38.97 N, 76.49 W and Sample (FLC095) FL and Sample (FLZ045) FL"),
];

/// A sample as it stands in its file.
pub fn sample(name: &str) -> String {
    let file = harness::approved::top().join("tests/weather/samples").join(name);
    std::fs::read_to_string(&file).unwrap_or_else(|error| panic!("{}: {error}", file.display()))
}

/// A sample with its days moved to October, and its places to Annapolis. The titles of its lists of alerts name the point, the
/// county and the zone, so that each list serves for all three.
pub fn moved(name: &str) -> String {
    let mut text = sample(name);
    for (there, here) in PLACES {
        text = text.replace(there, here);
    }
    for (june, october) in [("17", "05"), ("18", "06"), ("19", "07"), ("20", "08")] {
        text = text.replace(&format!("2026-06-{june}"), &format!("2026-10-{october}"));
        text = text.replace(&format!("2606{june}T"), &format!("2610{october}T"));
    }
    text
}

/// A layer of one value for two days from six in the morning UTC.
fn layer(unit: &str, value: &Value) -> Value {
    json!({ "uom": unit, "values": [{ "validTime": "2026-10-06T06:00:00+00:00/P2DT18H", "value": value }] })
}

/// 21 °C (69.8 °F), 8 km/h (4.97 mph), gusts of 14 km/h, no rain: nothing for a rule to object to.
pub fn calm_grid() -> Value {
    json!({ "properties": {
        "gridId": "MLB", "gridX": 26, "gridY": 68,
        "updateTime": "2026-10-06T13:42:11+00:00",
        "temperature": layer("wmoUnit:degC", &json!(21)),
        "windSpeed": layer("wmoUnit:km_h-1", &json!(8)),
        "windGust": layer("wmoUnit:km_h-1", &json!(14)),
        "quantitativePrecipitation": layer("wmoUnit:mm", &json!(0)),
        "probabilityOfPrecipitation": layer("wmoUnit:percent", &json!(5)),
    }})
}

/// 20 °C, 9 km/h, rain not reported.
pub fn calm_observation() -> Value {
    let value = |unit: &str, value: Value| json!({ "unitCode": unit, "value": value, "qualityControl": "V" });
    json!({ "properties": {
        "station": "https://api.weather.gov/stations/KXSA",
        "timestamp": "2026-10-06T13:53:00+00:00",
        "temperature": value("wmoUnit:degC", json!(20)),
        "windSpeed": value("wmoUnit:km_h-1", json!(9)),
        "windGust": value("wmoUnit:km_h-1", Value::Null),
        "precipitationLastHour": value("wmoUnit:mm", Value::Null),
    }})
}

/// The same measurement, made at another station.
pub fn measured_at(station: &str, body: &str) -> String {
    body.replace("KXSA", station)
}

/// A list of such alerts.
pub fn alert_list(alerts: &[Value]) -> Value {
    json!({ "features": alerts, "title": TITLE, "updated": "2026-10-06T14:00:00+00:00" })
}

/// A flood watch of an hour ago that lasts until tomorrow, which the company's rules bar; `changed` in parts.
pub fn flood_watch(changed: &Value) -> Value {
    let mut alert = json!({ "properties": {
        "id": "urn:oid:2.49.0.1.840.0.a1.001.1", "event": "Flood Watch", "status": "Actual", "messageType": "Alert",
        "severity": "Severe", "sent": "2026-10-06T13:20:00+00:00", "expires": "2026-10-06T22:00:00+00:00",
        "ends": "2026-10-07T20:00:00+00:00", "references": [], "parameters": {},
    }});
    for (name, value) in changed.as_object().into_iter().flatten() {
        alert["properties"][name] = value.clone();
    }
    alert
}

pub fn document(body: &str) -> ResponseTemplate {
    ResponseTemplate::new(200).set_body_raw(body.as_bytes().to_vec(), JSON)
}

pub fn problem(status: u16, name: &str) -> ResponseTemplate {
    ResponseTemplate::new(status).set_body_raw(sample(name).into_bytes(), "application/problem+json")
}

/// The services' stand-in.
#[derive(Debug)]
pub struct FakeWeather {
    pub server: MockServer,
}

impl FakeWeather {
    /// Nothing is answered yet.
    pub async fn blank() -> Self {
        Self { server: MockServer::start().await }
    }

    /// A mild dry day without any alert.
    pub async fn calm() -> Self {
        let sky = Self::blank().await;
        sky.says(POINT, document(&moved("nws-points.json"))).await;
        sky.says(&format!("{GRID}/stations"), document(&moved("nws-stations.json"))).await;
        sky.says(GRID, document(&calm_grid().to_string())).await;
        sky.says(OBSERVATION, document(&calm_observation().to_string())).await;
        for list in ["/alerts/active", COUNTY, ZONE] {
            sky.says(list, document(&moved("nws-alerts-empty.json"))).await;
        }
        sky
    }

    /// Answers a path so from now on, unless something is said about it afterwards.
    pub async fn says(&self, at: &str, answer: ResponseTemplate) {
        Mock::given(method("GET")).and(path(at)).respond_with(answer).with_priority(9).mount(&self.server).await;
    }

    /// Answers a path so instead of what was said before.
    pub async fn says_instead(&self, at: &str, answer: ResponseTemplate) {
        Mock::given(method("GET")).and(path(at)).respond_with(answer).with_priority(5).mount(&self.server).await;
    }

    /// Answers everything so.
    pub async fn says_everywhere(&self, answer: ResponseTemplate) {
        Mock::given(method("GET"))
            .and(path_regex(".*"))
            .respond_with(answer)
            .with_priority(1)
            .mount(&self.server)
            .await;
    }

    /// How often a path was asked for.
    pub async fn asked(&self, at: &str) -> usize {
        let requests = self.server.received_requests().await.unwrap();
        requests.iter().filter(|request| request.url.path() == at).count()
    }

    pub fn config(&self) -> config::Weather {
        config::Weather {
            on: true,
            weather_contact: Some("example.com lawn care, office@example.com".to_owned()),
            weather_url: self.server.uri(),
            weather_stand_in: true,
            ..config::Weather::default()
        }
    }

    /// With the second service at the same stand-in.
    pub fn config_of_both(&self) -> config::Weather {
        let (open_meteo_url, open_meteo_key) = (Some(self.server.uri()), Some("secret-key".to_owned()));
        config::Weather { open_meteo_url, open_meteo_key, ..self.config() }
    }
}

/// A company's own limits, as an operator writes them: heat as it comes with the server, and the rain and the alerts that
/// county ordinances in Florida name.
const COMPANY: &str = r#"
code = "company"
name = "Company settings"
level = "company"
last_checked = 2026-09-01
coverage = "The company's own limits."

[[rule]]
id = "company.heat"
kind = "heat"
binds = "applicator"
audience = ["professional"]
nutrient = "nitrogen_quick"
unit = "°F"
[[rule.value]]
from = 1990-01-01
comparator = "at_least"
value = "85"
cite = "Company setting"
mark = "own"
rows = []

[[rule]]
id = "company.rain"
kind = "rain"
binds = "applicator"
audience = ["professional"]
unit = "in"
nutrients = ["nitrogen_total"]
[[rule.value]]
from = 1990-01-01
comparator = "at_least"
value = "2.0"
hours = 24
cite = "Company setting"
mark = "own"
rows = []

[[rule]]
id = "company.alerts"
kind = "alerts"
binds = "applicator"
audience = ["professional"]
nutrients = ["nitrogen_total"]
[[rule.value]]
from = 1990-01-01
alerts = [{ event = "flood", level = "watch" }, { event = "flood", level = "warning" }, { event = "tropical_storm", level = "watch" }]
cite = "Company setting"
mark = "own"
rows = []
"#;

pub fn law() -> Lawbook {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("company.toml"), COMPANY).unwrap();
    server::rules_folder::read(folder.path()).unwrap_or_else(|faults| panic!("{faults:?}"))
}

/// A company whose property lies beneath the sky: near Annapolis, for which the stand-in gives the sample's grid.
pub async fn company(config: config::Weather) -> Company {
    company_by(law(), config).await
}

/// The same by other law than the operator's of the samples.
pub async fn company_by(law: Lawbook, config: config::Weather) -> Company {
    let app = TestApp::under_a_sky(law, NOW, config).await;
    let company = Company::on(app, &["us-md"]).await;
    let path = format!("/api/v1/properties/{}", company.property);
    let property = company.office.get(&path).await.expect(200).body;
    let change = json!({
        "client_id": property["client_id"], "name": property["name"], "address": property["address"],
        "postal_code": property["postal_code"], "time_zone": "America/New_York", "rule_sets": ["us-md"],
        "latitude": 38.97, "longitude": -76.49,
    });
    let _ = company.office.put_version(&path, "\"v1\"", &change).await.expect(200);
    company
}

/// A plan that says nothing of the weather.
pub fn plan(company: &Company) -> Value {
    let mut plan = company.plan(&company.front, "10");
    plan["planned_on"] = json!("2026-10-06");
    plan["weather"] = json!({});
    plan
}

/// A record of work that begins now and says nothing of the weather.
pub fn record(company: &Company) -> Value {
    let mut record = company.record(&company.front, "10");
    record["started_at"] = json!(NOW);
    record["finished_at"] = json!("2026-10-06T14:25:00Z");
    record["visit_id"] = Value::Null;
    record["weather"] = json!({});
    record
}

/// The answer to a check of a plan.
pub async fn check(user: &User, plan: &Value) -> Value {
    user.post("/api/v1/checks", plan).await.expect(200).body["decision"].clone()
}

/// The finding of a rule, or null.
pub fn finding<'v>(decision: &'v Value, rule: &str) -> &'v Value {
    let found = decision["findings"].as_array().unwrap().iter().find(|finding| finding["rule"] == rule);
    found.unwrap_or(&Value::Null)
}

/// Moves the clock on.
pub fn later(company: &Company, minutes: u64) {
    company.app.clock.advance(Duration::from_secs(minutes * 60));
}
