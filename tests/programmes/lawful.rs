//! No planned round is one that the law would stop: each is sent back as a check, and as a record on its day.

use harness::{
    instant, new_id,
    world::{Company, certify, fair_weather, label, product, property, soil_report},
};
use serde_json::{Value, json};

use super::{call_off, written};

/// Numbers that look drawn and are the same in every run.
struct Drawn(u64);

impl Drawn {
    fn up_to(&mut self, most: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % (most + 1)
    }

    fn one_of<'a>(&mut self, list: &[&'a str]) -> &'a str {
        list[usize::try_from(self.up_to(list.len() as u64 - 1)).unwrap()]
    }
}

/// Six rounds of the next season, from an early spring to a winter that many states close.
fn rounds() -> Value {
    json!([
        { "name": "early spring", "from": "2027-03-05", "to": "2027-04-10" },
        { "name": "late spring", "from": "2027-05-01", "to": "2027-06-05" },
        { "name": "summer", "from": "2027-07-01", "to": "2027-07-25" },
        { "name": "late summer", "from": "2027-08-20", "to": "2027-09-10", "nitrogen_at_most_lb_per_1000_sqft": "0.8" },
        { "name": "autumn", "from": "2027-09-20", "to": "2027-10-12" },
        { "name": "late autumn", "from": "2027-10-25", "to": "2027-12-15" },
    ])
}

const PLACES: [&str; 10] = ["us-md", "us-pa", "us-nj", "us-ny", "us-va", "us-de", "us-fl", "us-mn", "us-me", "us-ma"];
const TURF: [&str; 5] = ["tall_fescue", "fine_fescue", "kentucky_bluegrass", "zoysia", "st_augustine"];
const EQUIPMENT: [&str; 3] = ["rotary_spreader", "rotary_spreader_with_deflector", "drop_spreader"];

async fn lawn(company: &Company, place: &str, drawn: &mut Drawn) -> (String, String) {
    let home = property(&company.office, &company.client, &[place]).await;
    let mut body = json!({
        "property_id": home, "name": "lawn", "species": drawn.one_of(&TURF), "water": "none", "touches_pavement": true,
        "established_on": "2015-09-01", "maintenance": "high", "clippings": "taken", "shade": "light",
    });
    if drawn.up_to(2) == 0 {
        (body["water"], body["water_distance_ft"]) = (json!("near"), json!((5 + drawn.up_to(60)).to_string()));
    }
    let id = company.office.post("/api/v1/sections", &body).await.expect(201).id();
    let area = (500 + drawn.up_to(40_000)).to_string();
    let measured =
        json!({ "area_sqft": area, "measured_on": "2025-03-01", "method": "wheel", "measured_by": "Office 01" });
    let _ = company.office.post(&format!("/api/v1/sections/{id}/measurements"), &measured).await.expect(201);
    if drawn.up_to(1) == 0 {
        soil_report(&company.office, &id, "2025-10-02", drawn.one_of(&["low", "optimum"]), "0.3").await;
    }
    (home, id)
}

#[tokio::test]
async fn every_planned_round_stands_as_a_check_on_its_day() {
    let company = Company::in_maryland().await;
    // A season is planned with whoever holds what a place asks for.
    for place in PLACES.into_iter().filter(|place| *place != "us-md") {
        certify(&company.office, company.phone.id.as_deref().unwrap(), place).await;
    }
    let mut drawn = Drawn(20_260_915);
    let mut products = Vec::new();
    for (n, slow, p, k) in [(46, 0, 0, 0), (24, 8, 0, 10), (18, 5, 4, 12), (10, 9, 2, 6), (0, 0, 0, 50)] {
        let [n, slow, p, k] = [n, slow, p, k].map(|percent: i32| percent.to_string());
        products.push(product(&company.office, &format!("{n}-{p}-{k}"), &label(&n, &slow, &p, &k)).await);
    }
    let (mut planned, mut left_out) = (0, 0);
    for turn in 0..30 {
        let place = PLACES[turn % PLACES.len()];
        let (home, section) = lawn(&company, place, &mut drawn).await;
        let equipment = drawn.one_of(&EQUIPMENT);
        let first = usize::try_from(drawn.up_to(2)).unwrap();
        let offered: Vec<Value> = products[first..first + 3]
            .iter()
            .map(|id| json!({ "product_id": id, "bag_price_usd": (20 + drawn.up_to(40)).to_string(), "may_buy": true }))
            .collect();
        let nitrogen = format!("{}.{}", drawn.up_to(4), drawn.up_to(9));
        let body = json!({
            "name": "Drawn", "season_year": 2027, "equipment": equipment, "rounds": rounds(), "products": offered,
            "needs": [{ "nitrogen_lb_per_1000_sqft": nitrogen, "potash_lb_per_1000_sqft": "1", "because": "Drawn" }],
            "least_product_lb_per_1000_sqft": "0.5",
        });
        let id = written(&company.office, &body).await;
        let path = format!("/api/v1/sections/{section}/plan?programme_id={id}&from=2027-01-01");
        let seen = company.office.get(&path).await.expect(200).body;
        left_out += seen["skipped"].as_array().unwrap().len();
        for round in seen["rounds"].as_array().unwrap() {
            let check = json!({
                "property_id": home, "product_id": round["product_id"], "planned_on": round["on"], "purpose": "maintenance",
                "equipment": equipment, "lines": [{ "section_id": section, "product_lb": round["product_lb"] }],
            });
            let answer = company.office.post("/api/v1/checks", &check).await.expect(200).body;
            assert_ne!(answer["decision"]["verdict"], "stop", "{place} {round:#} {:#}", answer["decision"]);
            planned += 1;
        }
    }
    assert!(planned > 40 && left_out > 20, "{planned} rounds were planned, {left_out} left out");
}

#[tokio::test]
async fn a_whole_season_that_was_planned_can_be_put_down() {
    let company = Company::in_maryland().await;
    call_off(&company).await;
    let body = json!({
        "name": "Next year", "season_year": 2027, "equipment": "rotary_spreader_with_deflector", "rounds": rounds(),
        "products": [{ "product_id": company.feed, "bag_price_usd": "31", "may_buy": true }],
        "needs": [{ "nitrogen_lb_per_1000_sqft": "2.7", "because": "University of Maryland Extension: the most for tall fescue" }],
        "least_product_lb_per_1000_sqft": "0.5",
    });
    let id = written(&company.office, &body).await;
    let path = format!("/api/v1/sections/{}/plan?programme_id={id}", company.front);
    company.app.clock.set(instant("2027-01-02T14:00:00Z"));
    // A session does not last until the next season.
    let office = company.app.sign_in("office", None).await;
    let seen = office.get(&path).await.expect(200).body;
    assert_eq!(seen["unmet"], json!([]), "{seen:#}");
    for round in seen["rounds"].as_array().unwrap() {
        let day = round["on"].as_str().unwrap();
        company.app.clock.set(instant(&format!("{day}T16:00:00Z")));
        let office = company.app.sign_in("office", None).await;
        let mut record = company.record(&company.front, round["product_lb"].as_str().unwrap());
        let _ = record.as_object_mut().unwrap().remove("visit_id");
        record["started_at"] = json!(format!("{day}T13:05:00Z"));
        record["finished_at"] = json!(format!("{day}T13:31:00Z"));
        record["weather"] = weather_of(day);
        record["applied_by"] = json!(company.phone.id);
        let _ = office.put(&format!("/api/v1/applications/{}", new_id()), &record).await.expect(201);
    }
    // What was put down counts: nothing is left to plan.
    let office = company.app.sign_in("office", None).await;
    let after = office.get(&path).await.expect(200).body;
    assert!(super::amount(&after["need"]["nitrogen"]["still_lb_per_1000_sqft"]) < 0.003, "{after:#}");
    assert_eq!(after["rounds"], json!([]));
}

/// The example's fair weather, seen on another day.
fn weather_of(day: &str) -> Value {
    serde_json::from_str(&fair_weather().to_string().replace("2026-09-15", day)).unwrap()
}
