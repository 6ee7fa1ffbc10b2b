//! What services said is kept once, stays with the records it decided, and goes when nothing needs it.

use harness::new_id;
use rusqlite::{Connection, OpenFlags};
use serde_json::{Value, json};
use server::refresh;
use sha2::{Digest, Sha256};
use wiremock::ResponseTemplate;

use super::fake_weather::{COUNTY, FakeWeather, GRID, NOW, calm_grid, company, document, later, moved, plan, record};

fn look(file: &std::path::Path) -> Connection {
    Connection::open_with_flags(file, OpenFlags::SQLITE_OPEN_READ_ONLY).unwrap()
}

fn count(file: &std::path::Path, sql: &str) -> i64 {
    look(file).query_row(sql, [], |row| row.get(0)).unwrap()
}

#[tokio::test]
async fn from_a_record_one_reaches_what_was_known() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), &record(&company)).await.expect(201);
    // Another sky, another day: what was known then stays.
    sky.says_instead(COUNTY, document(&moved("nws-alerts-active.json"))).await;
    later(&company, 26 * 60);
    let path = format!("/api/v1/applications/{id}/weather");
    let known = company.phone.get(&path).await.expect(200).body;
    let facts = &known["from_services"];
    assert_eq!(facts["alerts"]["active"], json!([]));
    assert_eq!(facts["alerts"]["service"]["coverage_percent"], "100");
    assert_eq!(facts["alerts"]["looked_at"], "2026-10-06T14:20:00.000Z");
    // 21 °C is 69.8 °F, hotter than the station's 20 °C.
    assert_eq!(facts["air_temperature"]["air_temperature_f"], "69.8");
    assert_eq!(facts["rain_forecast"].as_array().unwrap().len(), 4);
    let answers = known["answers"].as_array().unwrap();
    let grid = answers.iter().find(|answer| answer["path"] == GRID).unwrap();
    let sha256 = domain::journal::hex(&Sha256::digest(calm_grid().to_string()));
    assert_eq!(grid["sha256"], sha256, "the hash is of what came over the wire");
    assert_eq!((answers.len(), &grid["outcome"]), (7, &json!("ok")), "{answers:#?}");
    let nobody = company.app.nobody().get(&path).await;
    let _ = nobody.problem(401, "not-signed-in");
    let other = company.phone.get(&format!("/api/v1/applications/{}/weather", new_id())).await;
    let _ = other.problem(404, "not-found");
}

/// The journal vouches for the facts, and each answer for its own hash.
#[tokio::test]
async fn evidence_that_was_changed_behind_the_servers_back_shows() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), &record(&company)).await.expect(201);
    let folder = company.app.stop().await;
    let file = folder.path().join("book.db");
    let faults = async || server::book::verify::check_file(&file).await.unwrap().faults;
    assert_eq!(faults().await, Vec::<String>::new());
    let tamper = |sql: &str| {
        let connection = Connection::open(&file).unwrap();
        for trigger in ["weather_facts_keep", "weather_facts_stay", "weather_evidence_stay", "weather_bodies_keep"] {
            connection.execute_batch(&format!("DROP TRIGGER IF EXISTS {trigger}")).unwrap();
        }
        assert!(connection.execute(sql, []).unwrap() > 0);
        crate::rewritten::guarded_again(&connection);
    };
    // The facts are packed with the record, and nothing stands beside them.
    tamper("UPDATE weather_facts SET facts = '{}'");
    let found = faults().await;
    let beside = format!("what stands beside the packed texts of {id}");
    assert!(found.len() == 1 && found[0].contains(&beside), "{found:?}");
    tamper("UPDATE weather_facts SET facts = ''");
    assert_eq!(faults().await, Vec::<String>::new());
    tamper("UPDATE weather_bodies SET bytes = x'1f8b' WHERE seq = 1");
    let found = faults().await;
    assert!(found.iter().any(|fault| fault.contains("differs from its hash")), "{found:?}");
    // Without the row nothing leads to the services' answers.
    tamper("DELETE FROM weather_evidence");
    tamper("DELETE FROM weather_facts");
    let found = faults().await;
    assert!(found.iter().any(|fault| fault.contains(&format!("the weather of {id}"))), "{found:?}");
}

#[tokio::test]
async fn a_correction_is_judged_by_what_was_known_at_the_record() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), &record(&company)).await.expect(201);
    sky.says_instead(COUNTY, document(&moved("nws-alerts-active.json"))).await;
    later(&company, 10);
    let change = json!({
        "application_id": id, "reason": "Weighed again.",
        "change": { "lines": [{ "section_id": company.front, "product_lb": "9" }] },
    });
    let corrected = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &change).await.expect(201).body;
    assert_eq!(corrected["verdict"], "go", "the flood watch of ten minutes later is no part of it");
}

/// A phone without network sends its record a day later: what was known when the work began decides, not what is known now.
#[tokio::test]
async fn a_late_record_is_judged_by_what_was_known_when_the_work_began() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let _ = company.phone.put(&format!("/api/v1/clearances/{}", new_id()), &plan(&company)).await.expect(201);
    sky.says_instead(COUNTY, document(&moved("nws-alerts-active.json"))).await;
    later(&company, 20 * 60);
    let asked = sky.server.received_requests().await.unwrap().len();
    let late =
        company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record(&company)).await.expect(201).body;
    assert_eq!(late["verdict"], "go", "{late:#}");
    assert_eq!(
        sky.server.received_requests().await.unwrap().len(),
        asked,
        "nobody is asked what it was like yesterday"
    );
    let mut before = record(&company);
    before["started_at"] = json!("2026-10-05T14:20:00Z");
    before["finished_at"] = json!("2026-10-05T14:25:00Z");
    let before = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &before).await.expect(201).body;
    assert_eq!(before["verdict"], "care", "of the day before that nothing was known");
}

#[tokio::test]
async fn the_same_body_is_kept_once_and_not_modified_is_a_fetch_of_it() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let path = format!("/api/v1/properties/{}/weather", company.property);
    let _ = company.phone.get(&path).await.expect(200);
    let file = company.app.file();
    let bodies = count(&file, "SELECT count(*) FROM weather_bodies");
    // Three empty lists of alerts are one body.
    assert_eq!((count(&file, "SELECT count(*) FROM weather_fetches"), bodies), (7, 5));
    sky.says_instead(GRID, ResponseTemplate::new(304)).await;
    later(&company, 40);
    let _ = company.phone.get(&path).await.expect(200);
    let again = format!("SELECT count(*) FROM weather_fetches WHERE path = '{GRID}'");
    assert_eq!(count(&file, &again), 2);
    assert_eq!(
        count(&file, &format!("SELECT count(DISTINCT body_sha256) FROM weather_fetches WHERE path = '{GRID}'")),
        1
    );
    assert_eq!(count(&file, "SELECT count(*) FROM weather_bodies"), bodies);
}

#[tokio::test]
async fn a_key_is_written_nowhere() {
    let sky = FakeWeather::calm().await;
    sky.says("/v1/forecast", document(&moved("openmeteo-forecast.json"))).await;
    let company = company(sky.config_of_both()).await;
    let path = format!("/api/v1/properties/{}/weather", company.property);
    let shown = company.phone.get(&path).await.expect(200);
    assert!(!shown.text.contains("secret-key"));
    assert_eq!(sky.asked("/v1/forecast").await, 1);
    let folder = company.app.stop().await;
    let bytes = std::fs::read(folder.path().join("book.db")).unwrap();
    let found = bytes.windows(10).any(|window| window == b"secret-key");
    assert!(!found, "the key stands in the book");
}

#[tokio::test]
async fn a_restart_remembers_what_was_fetched() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let token = company.phone.token.clone().unwrap();
    let path = format!("/api/v1/properties/{}/weather", company.property);
    let _ = company.phone.get(&path).await.expect(200);
    let app = company.app.restart().await;
    let again = app.user(&token, None).get(&path).await.expect(200).body;
    assert_eq!(again["services"][0]["forecast_age"], "fresh");
    for at in [GRID, COUNTY] {
        assert_eq!(sky.asked(at).await, 1, "{at}");
    }
}

#[tokio::test]
async fn what_nothing_needs_is_purged_after_a_week_and_what_a_record_needs_stays() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), &record(&company)).await.expect(201);
    later(&company, 60);
    // A look that decides nothing leaves fetches behind that nothing refers to.
    let look = format!("/api/v1/properties/{}/weather", company.property);
    let changed = calm_grid().to_string().replace("\"value\":21", "\"value\":22");
    sky.says_instead(GRID, document(&changed)).await;
    let _ = company.phone.get(&look).await.expect(200);
    let file = company.app.file();
    let before = count(&file, "SELECT count(*) FROM weather_fetches");
    later(&company, 9 * 24 * 60);
    sky.says_everywhere(ResponseTemplate::new(404)).await;
    let round = refresh::round(company.app.beside()).await.unwrap();
    assert!(round.purged > 0, "{round:?}");
    let kept = count(&file, "SELECT count(*) FROM weather_fetches WHERE asked_at < 1791900000000");
    assert_eq!(kept, 7, "of {before}, those of the record are left");
    assert_eq!(count(&file, "SELECT count(*) FROM weather_bodies"), 5);
    let known = company.phone.get(&format!("/api/v1/applications/{id}/weather")).await.expect(200).body;
    assert_eq!(known["answers"].as_array().unwrap().len(), 7, "{known:#}");
}

/// Records are kept for ever, longer than any law asks, and the answers behind them stay as long: also those that looks which
/// decided nothing had shared, and none of the others.
#[tokio::test]
async fn ten_years_later_the_answers_behind_a_record_are_there_and_no_others() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), &record(&company)).await.expect(201);
    let look = format!("/api/v1/properties/{}/weather", company.property);
    let warmer = calm_grid().to_string().replace("\"value\":21", "\"value\":22");
    sky.says_instead(GRID, document(&warmer)).await;
    for _ in 0..3 {
        later(&company, 60);
        let _ = company.phone.get(&look).await.expect(200);
    }
    let file = company.app.file();
    assert_eq!(count(&file, "SELECT count(*) FROM weather_bodies"), 6);
    company.app.clock.set(harness::instant("2036-10-06T14:20:00Z"));
    sky.says_everywhere(ResponseTemplate::new(404)).await;
    assert!(refresh::round(company.app.beside()).await.unwrap().purged > 0);
    assert_eq!(count(&file, "SELECT count(*) FROM weather_bodies"), 5);
    assert_eq!(count(&file, "SELECT count(*) FROM weather_fetches WHERE body_sha256 IS NOT NULL"), 7);
    let folder = company.app.stop().await;
    let found = server::book::verify::check_file(&folder.path().join("book.db")).await.unwrap();
    assert!(found.faults.is_empty(), "{:#?}", found.faults);
    // And nobody takes it out by hand.
    let connection = Connection::open(folder.path().join("book.db")).unwrap();
    for table in ["weather_fetches", "weather_bodies", "weather_evidence", "weather_facts"] {
        assert!(connection.execute(&format!("DELETE FROM {table}"), []).is_err(), "{table}");
    }
}

#[tokio::test]
async fn the_office_reads_what_a_service_said_word_for_word() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), &record(&company)).await.expect(201);
    let path = format!("/api/v1/applications/{id}/weather");
    let known = company.owner.get(&path).await.expect(200).body;
    for asked in known["answers"].as_array().unwrap() {
        let sha256 = asked["sha256"].as_str().unwrap();
        let answer = company.office.get(&format!("{path}/{sha256}")).await.expect(200).body;
        let body = answer["body"].as_str().unwrap();
        assert_eq!(domain::journal::hex(&Sha256::digest(body)), sha256);
        assert_eq!(
            (&answer["content_type"], &answer["asked"]["sha256"]),
            (&json!("application/geo+json"), &json!(sha256))
        );
        if asked["path"] == GRID {
            assert_eq!(body, calm_grid().to_string());
        }
    }
    let sha256 = known["answers"][0]["sha256"].as_str().unwrap();
    let _ = company.phone.get(&format!("{path}/{sha256}")).await.problem(403, "not-allowed");
    for wrong in ["0".repeat(64), "x".to_owned(), sha256.to_uppercase()] {
        let _ = company.owner.get(&format!("{path}/{wrong}")).await.problem(404, "not-found");
    }
    let other = format!("/api/v1/applications/{}/weather/{sha256}", new_id());
    let _ = company.owner.get(&other).await.problem(404, "not-found");
}

/// 8 mm (0.315 in) within an hour is more than the 0.30 in that are called heavy.
#[tokio::test]
async fn heavy_rain_after_the_work_puts_the_record_on_the_owners_list() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let put = async |product: &str| {
        let id = new_id();
        let mut record = record(&company);
        record["lines"][0]["product_lb"] = json!(product);
        let _ = company.phone.put(&format!("/api/v1/applications/{id}"), &record).await.expect(201);
        id
    };
    let id = put("10").await;
    let report = |at: &str, mm: Value| {
        json!({ "properties": {
        "station": "https://api.weather.gov/stations/KXSA", "timestamp": at, "precipitationLastHour": { "unitCode": "wmoUnit:mm", "value": mm, "qualityControl": "V" } } })
    };
    // What names no station, another, or two is not taken for this one's.
    let (mut unnamed, mut torn) =
        (report("2026-10-06T18:53:00+00:00", json!(30)), report("2026-10-06T19:53:00+00:00", json!(30)));
    unnamed["properties"]["station"] = Value::Null;
    torn["properties"]["stationId"] = json!("KXSB");
    let list = json!({ "features": [
        unnamed,
        torn,
        report("2026-10-06T15:53:00+00:00", json!(8)),
        report("2026-10-06T16:53:00+00:00", json!(0.5)),
        report("2026-10-06T17:53:00+00:00", Value::Null),
    ]});
    sky.says("/stations/KXSA/observations", document(&list.to_string())).await;
    later(&company, 60);
    assert_eq!(refresh::round(company.app.beside()).await.unwrap().after, 0, "the day is not over");
    later(&company, 24 * 60);
    let round = refresh::round(company.app.beside()).await.unwrap();
    assert_eq!(round.after, 1);
    assert_eq!(refresh::round(company.app.beside()).await.unwrap().after, 0, "it is noted once");
    let owner = company.app.sign_in("owner", None).await;
    let known = owner.get(&format!("/api/v1/applications/{id}/weather")).await.expect(200).body;
    let rain = &known["rain_after"][0];
    // 8.5 mm are 0.33465 in, rounded up; 8 mm are 0.31497 in; two hours of 24 are 8.33 %.
    assert_eq!((&rain["rain_in"], &rain["wettest_hour_in"]), (&json!("0.335"), &json!("0.315")), "{rain}");
    assert_eq!(
        (&rain["coverage_percent"], &rain["heavy"], &rain["station"]),
        (&json!("8.33"), &json!(true), &json!("KXSA"))
    );
    let reviews = owner.get("/api/v1/reviews").await.expect(200).body;
    assert_eq!(reviews["items"][0]["why"], "heavy_rain_after", "{reviews:#}");
    assert_eq!(reviews["items"][0]["record_id"], id);
    let note = json!({ "note": "Called the client." });
    let _ = owner.put(&format!("/api/v1/reviews/{id}"), &note).await.expect(200);
    assert_eq!(owner.get("/api/v1/reviews").await.expect(200).body["items"], json!([]));
    let asked: Vec<String> = sky.server.received_requests().await.unwrap().iter().map(|r| r.url.to_string()).collect();
    let window = format!("start={NOW}&end=2026-10-07T14:20:00Z&limit=500");
    assert!(asked.iter().any(|url| url.ends_with(&window)), "{asked:#?}");
    let folder = company.app.stop().await;
    let found = server::book::verify::check_file(&folder.path().join("book.db")).await.unwrap();
    assert!(found.faults.is_empty(), "{:#?}", found.faults);
}

/// Tomorrow's visits have their forecast before anybody asks.
#[tokio::test]
async fn the_grids_of_the_coming_visits_are_fetched_ahead() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let round = refresh::round(company.app.beside()).await.unwrap();
    assert_eq!((round.places, sky.asked(GRID).await), (0, 0), "no visit is planned for today or tomorrow");
    let visit = json!({
        "property_id": company.property, "person_id": company.phone.id, "planned_on": "2026-10-07",
        "product_id": company.feed, "section_ids": [company.front], "purpose": "maintenance",
    });
    let _ = company.office.post("/api/v1/visits", &visit).await.expect(201);
    let round = refresh::round(company.app.beside()).await.unwrap();
    assert_eq!((round.places, round.gaps, sky.asked(GRID).await), (1, 0, 1));
    let _ = company.phone.get(&format!("/api/v1/properties/{}/weather", company.property)).await.expect(200);
    assert_eq!(sky.asked(GRID).await, 1, "and nobody waits for it");
}
