//! The working window: hour by hour, why not, and when next.

use harness::world::Company;
use serde_json::{Value, json};

use crate::pages::visitor::Visitor;

use super::fake_weather::{COUNTY, FakeWeather, GRID, calm_grid, company, document, moved};

async fn visit(company: &Company, day: &str) -> String {
    visit_of(company, day, &company.front).await
}

async fn visit_of(company: &Company, day: &str, section: &str) -> String {
    let visit = json!({
        "property_id": company.property, "person_id": company.phone.id, "planned_on": day,
        "product_id": company.feed, "section_ids": [section], "purpose": "maintenance",
    });
    company.office.post("/api/v1/visits", &visit).await.expect(201).id()
}

async fn window(company: &Company, day: &str) -> Value {
    let path = format!("/api/v1/properties/{}/working-windows/{day}", company.property);
    company.phone.get(&path).await.expect(200).body
}

/// Hours of 20 °C but for an afternoon of 31.1 °C (88 °F) from 15 to 19 UTC on the 6th.
fn warm_afternoon() -> Value {
    let mut grid = calm_grid();
    grid["properties"]["temperature"]["values"] = json!([
        { "validTime": "2026-10-06T06:00:00+00:00/PT9H", "value": 20 },
        { "validTime": "2026-10-06T15:00:00+00:00/PT4H", "value": 31.111_111_111_111_11 },
        { "validTime": "2026-10-06T19:00:00+00:00/P2D", "value": 20 },
    ]);
    grid
}

#[tokio::test]
async fn the_hours_of_today_say_why_not() {
    let sky = FakeWeather::calm().await;
    sky.says_instead(GRID, document(&warm_afternoon().to_string())).await;
    let company = company(sky.config()).await;
    let id = visit(&company, "2026-10-06").await;
    let answer = window(&company, "2026-10-06").await;
    let product = &answer["products"][0];
    assert_eq!(product["visit_id"], id);
    let hours: Vec<(&str, &str)> = product["hours"]
        .as_array()
        .unwrap()
        .iter()
        .map(|hour| (&hour["starts_at"].as_str().unwrap()[11..16], hour["verdict"].as_str().unwrap()))
        .collect();
    // It is 10:20 in New York; work ends at 19:00, which is 23:00Z. The first hour is the rest of this one, whose greatest
    // temperature within sixty minutes reaches into the heat.
    let expected = [
        ("14:20", "stop"),
        ("15:00", "stop"),
        ("16:00", "stop"),
        ("17:00", "stop"),
        ("18:00", "stop"),
        ("19:00", "go"),
        ("20:00", "go"),
        ("21:00", "go"),
        ("22:00", "go"),
    ];
    assert_eq!(hours, expected, "{product:#}");
    let why = &product["hours"][2]["findings"][0];
    assert_eq!((&why["rule"], &why["actual"]), (&json!("company.heat"), &json!("88")));
    let suits = json!({ "from": "2026-10-06T19:00:00.000Z", "to": "2026-10-06T23:00:00.000Z", "verdict": "go" });
    assert_eq!(product["window"], suits);
    // Tomorrow from seven in New York.
    let next = json!({ "from": "2026-10-07T11:00:00.000Z", "to": "2026-10-07T23:00:00.000Z", "verdict": "go" });
    assert_eq!(product["next_window"], next);
    assert_eq!(answer["gaps"], json!([]));
}

#[tokio::test]
async fn the_desk_sees_the_hours_as_a_strip_and_as_a_table() {
    let sky = FakeWeather::calm().await;
    let mut grid = warm_afternoon();
    // 2.54 mm in the two hours from 21:00Z are 0.05 in an hour; the wind of 8 km/h is 4.98 mph, rounded up, and tenths up are 5.
    grid["properties"]["quantitativePrecipitation"]["values"] = json!([
        { "validTime": "2026-10-06T06:00:00+00:00/PT15H", "value": 0 },
        { "validTime": "2026-10-06T21:00:00+00:00/PT2H", "value": 2.54 },
        { "validTime": "2026-10-06T23:00:00+00:00/P2D", "value": 0 },
    ]);
    sky.says_instead(GRID, document(&grid.to_string())).await;
    let company = company(sky.config()).await;
    // Two visits with one product and one answer are one strip.
    for section in [&company.front, &company.rear] {
        let _ = visit_of(&company, "2026-10-06", section).await;
    }
    let answer = window(&company, "2026-10-06").await;
    let office = Visitor::named(&company, "office").await;
    let path = format!("/office/properties/{}/weather", company.property);
    assert!(office.open(&format!("/office/properties/{}", company.property)).await.html.contains(&path));
    let html = office.open(&path).await.html;
    assert_eq!(
        (html.matches("class=\"picture hours\"").count(), html.contains("<p>2 visits.</p>")),
        (1, true),
        "{html}"
    );
    let strip = html.split_once("class=\"picture hours\"").expect("a strip").1.split_once("</svg>").unwrap().0;
    let texts: Vec<&str> = strip.split("</text>").filter_map(|text| text.rsplit('>').next()).collect();
    let (verdicts, table) = (&answer["products"][0]["hours"], html.split_once("as a table\"><table>").unwrap().1);
    let rows: Vec<&str> = table.split_once("</table>").unwrap().0.split("<tr>").skip(2).collect();
    let figures = answer["hours"].as_array().unwrap();
    assert_eq!((rows.len(), figures.len(), verdicts.as_array().unwrap().len()), (9, 9, 9), "{html}");
    let mut seen = Vec::new();
    for (at, (row, known)) in rows.iter().zip(figures).enumerate() {
        let [begins, verdict, wind, rain] = texts[3 + 4 * at..7 + 4 * at] else { panic!("{texts:?}") };
        let cell = |n: usize| cell_of(row, n);
        assert_eq!((cell(1), cell(3), cell(5)), (verdict, wind, rain), "{begins}: {row}");
        assert_eq!(verdict.split(' ').nth(1), verdicts[at]["verdict"].as_str(), "{begins}");
        assert_eq!(known["starts_at"], verdicts[at]["starts_at"]);
        seen.push((begins, verdict, known["rain_in"].as_str().unwrap_or("?"), rain));
    }
    assert_eq!(seen[0], ("10:20", "■ stop", "0", "0"), "what is left of this hour, in New York");
    assert_eq!(seen[1].0, "11 AM");
    assert_eq!((seen[7].0, seen[7].2, seen[7].3), ("5 PM", "0.05", "0.05"));
    assert_eq!(cell_of(rows[3], 2), "88", "the greatest of the hour, as the rule took it");
    assert!(html.contains("<strong>10:20 AM to 3:00 PM</strong> <span class=\"stop\">■ stop</span>"), "{html}");
    let wrong = office.open(&format!("{path}?day=soon&product_id=me")).await;
    assert_eq!(wrong.status, 422);
    assert!(wrong.beside("product_id", "fault").starts_with('■'), "{}", wrong.html);
    let wrong = office.open(&format!("{path}?day=soon&product_id=")).await;
    assert!(wrong.status == 422 && wrong.beside("day", "fault").starts_with('■'), "{}", wrong.html);
    assert_eq!(Visitor::technician(&company).await.open(&path).await.status, 403);
}

/// What stands in a cell of a row.
fn cell_of(row: &str, n: usize) -> &str {
    row.split("<td").nth(n).unwrap().split_once('>').unwrap().1.split_once("</td>").unwrap().0
}

#[tokio::test]
async fn without_a_service_the_desk_sees_that_nothing_is_known() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let html = office.open(&format!("/office/properties/{}/weather", company.property)).await.html;
    for words in ["No weather service is configured", ">▲ care</text>", ">?</text>", "<td class=\"n\">not known</td>"]
    {
        assert!(html.contains(words), "{words}: {html}");
    }
    let none =
        office.open(&format!("/office/properties/{}/weather?day=2026-09-20&product_id=", company.property)).await;
    assert!(none.html.contains("No visit is planned here on this day"), "{}", none.html);
}

/// The forecast ends on 9 October at 00:00Z; rain of the 24 hours after an hour is known only up to a day before that.
#[tokio::test]
async fn beyond_the_forecast_nothing_is_go() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let _ = visit(&company, "2026-10-08").await;
    let product = window(&company, "2026-10-08").await["products"][0].clone();
    assert_eq!((&product["verdict"], &product["next_window"]), (&json!("care"), &Value::Null), "{product:#}");
    for hour in product["hours"].as_array().unwrap() {
        assert_eq!(hour["verdict"], "care", "{hour:#}");
        assert!(hour["findings"].to_string().contains("has a gap"), "{hour:#}");
    }
    let past = window(&company, "2026-10-05").await;
    assert_eq!(past["products"], json!([]), "no visit was planned");
}

#[tokio::test]
async fn without_services_or_coordinates_the_hours_ask_for_a_look() {
    let company = Company::in_maryland().await;
    let answer = window(&company, "2026-09-15").await;
    assert_eq!(answer["products"][0]["verdict"], "care", "the visit of the sample company: {answer:#}");
    assert!(answer["gaps"].to_string().contains("No weather service is configured"));
    let sky = FakeWeather::calm().await;
    let app = harness::TestApp::under_a_sky(super::fake_weather::law(), super::fake_weather::NOW, sky.config()).await;
    let company = Company::on(app, &["us-md"]).await;
    let path =
        format!("/api/v1/properties/{}/working-windows/2026-10-06?product_id={}", company.property, company.feed);
    let answer = company.phone.get(&path).await.expect(200).body;
    assert!(answer["gaps"].to_string().contains("no coordinates"), "{answer:#}");
    assert_eq!(answer["products"][0]["verdict"], "care");
    assert_eq!(sky.server.received_requests().await.unwrap().len(), 0);
}

#[tokio::test]
async fn a_product_that_is_not_there_is_the_querys_fault_not_the_propertys() {
    let company = Company::in_maryland().await;
    let path =
        format!("/api/v1/properties/{}/working-windows/2026-10-06?product_id={}", company.property, harness::new_id());
    assert_eq!(company.phone.get(&path).await.problem(422, "invalid").faults(), ["product_id"]);
}

#[tokio::test]
async fn a_place_without_law_has_no_window() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let path = format!("/api/v1/properties/{}", company.property);
    let property = company.office.get(&path).await.expect(200).body;
    let change = json!({
        "client_id": property["client_id"], "name": property["name"], "address": property["address"],
        "postal_code": property["postal_code"], "time_zone": "America/New_York", "rule_sets": [],
        "latitude": 38.97, "longitude": -76.49,
    });
    let _ = company.office.put_version(&path, "\"v2\"", &change).await.expect(200);
    let _ = visit(&company, "2026-10-06").await;
    let product = window(&company, "2026-10-06").await["products"][0].clone();
    assert_eq!((&product["verdict"], &product["window"]), (&json!("stop"), &Value::Null), "{product:#}");
}

#[tokio::test]
async fn the_offices_day_begins_with_what_closes_first() {
    let sky = FakeWeather::calm().await;
    sky.says_instead(GRID, document(&warm_afternoon().to_string())).await;
    let company = company(sky.config()).await;
    let quick = visit(&company, "2026-10-06").await;
    // All slow nitrogen: heat is no matter, so its window is open at once; both end with the day.
    let slow =
        harness::world::product(&company.office, "Slow 10-0-0", &harness::world::label("10", "10", "0", "0")).await;
    let body = json!({
        "property_id": company.property, "person_id": company.phone.id, "planned_on": "2026-10-06",
        "product_id": slow, "section_ids": [company.rear], "purpose": "maintenance",
    });
    let slow = company.office.post("/api/v1/visits", &body).await.expect(201).id();
    let order = async || {
        let answer = company.office.get("/api/v1/days/2026-10-06/working-windows").await.expect(200).body;
        let ids: Vec<String> = answer["visits"]
            .as_array()
            .unwrap()
            .iter()
            .map(|visit| visit["visit"]["id"].as_str().unwrap().to_owned())
            .collect();
        (ids, answer)
    };
    let (ids, answer) = order().await;
    assert_eq!(ids, [slow.clone(), quick.clone()], "the one that may begin first: {answer:#}");
    let refused = company.phone.get("/api/v1/days/2026-10-06/working-windows").await;
    let _ = refused.problem(403, "not-allowed");
    // A flood watch stops both.
    sky.says_instead(COUNTY, document(&moved("nws-alerts-active.json"))).await;
    super::fake_weather::later(&company, 3);
    let (_, answer) = order().await;
    assert!(answer["visits"].as_array().unwrap().iter().all(|visit| visit["hours"]["verdict"] == "stop"), "{answer:#}");
    let wrong = company.office.get("/api/v1/days/2026-13-06/working-windows").await;
    let _ = wrong.problem(422, "invalid");
}

/// US clocks change on 2026-11-01 from 02:00 to 01:00 and on 2027-03-14 from 02:00 to 03:00: seven in the morning in New York is
/// 11:00Z before the first, 12:00Z from then on, and 11:00Z again from the second.
#[tokio::test]
async fn the_hours_of_work_are_those_of_the_clock_on_both_days_of_change() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    for (day, first, last) in [
        ("2026-10-31", "2026-10-31T11:00:00.000Z", "2026-10-31T23:00:00.000Z"),
        ("2026-11-01", "2026-11-01T12:00:00.000Z", "2026-11-02T00:00:00.000Z"),
        ("2027-03-13", "2027-03-13T12:00:00.000Z", "2027-03-14T00:00:00.000Z"),
        ("2027-03-14", "2027-03-14T11:00:00.000Z", "2027-03-14T23:00:00.000Z"),
    ] {
        let path = format!("/api/v1/properties/{}/working-windows/{day}?product_id={}", company.property, company.feed);
        let answer = company.phone.get(&path).await.expect(200).body;
        let hours = answer["products"][0]["hours"].as_array().unwrap();
        assert_eq!((hours.len(), &hours[0]["starts_at"], &hours[11]["ends_at"]), (12, &json!(first), &json!(last)));
        assert_eq!(answer["products"][0]["verdict"], "care", "no forecast reaches so far");
    }
}

#[tokio::test]
async fn a_visit_where_no_day_can_be_told_has_no_hours_and_the_rest_of_the_day_comes() {
    let sky = FakeWeather::calm().await;
    let company = company(sky.config()).await;
    let id = visit(&company, "2026-10-06").await;
    let told = async || company.phone.get("/api/v1/days/2026-10-06").await.expect(200).body["weather"].clone();
    assert_eq!(told().await[0]["visit_id"], id);
    let book = rusqlite::Connection::open(company.app.file()).unwrap();
    book.execute_batch(harness::LOSE_ZONES).unwrap();
    let told = told().await;
    assert_eq!((&told[0]["visit_id"], &told[0]["verdict"]), (&json!(id), &Value::Null), "{told:#}");
    assert!(told[0]["gaps"].to_string().contains("`America/Nowhere`, which this server does not know"), "{told:#}");
    let mut plan = company.plan(&company.front, "5");
    plan["planned_on"] = json!("2026-10-06");
    let refused = company.phone.post("/api/v1/checks", &plan).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/property_id"]);
}
