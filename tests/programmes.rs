//! The season's plan over HTTP: a programme, what a section needs, what goes down when, what to buy, and the visits of a round.

mod asking;
mod buying;
mod lawful;
mod liming;
mod load_sheets;
mod stops;
mod visits;

use harness::{User, world::Company};
use serde_json::{Value, json};

/// Two autumn rounds and one in which Maryland lets nothing through (COMAR 15.20.10: none from December 1 to the end of
/// February).
pub fn programme(company: &Company) -> Value {
    json!({
        "name": "Cool-season lawns", "season_year": 2026, "equipment": "rotary_spreader_with_deflector",
        "rounds": [
            { "name": "early autumn", "from": "2026-09-16", "to": "2026-09-30" },
            { "name": "late autumn", "from": "2026-10-01", "to": "2026-11-15" },
            { "name": "midwinter", "from": "2026-12-05", "to": "2026-12-20" },
        ],
        "products": [{ "product_id": company.feed, "bag_price_usd": "31", "may_buy": true }],
        "needs": [{ "species": "tall_fescue", "published": "Maryland, tall fescue and Kentucky bluegrass" }],
        "least_product_lb_per_1000_sqft": "0.5",
    })
}

pub async fn written(office: &User, programme: &Value) -> String {
    office.post("/api/v1/programmes", programme).await.expect(201).id()
}

/// Says what a plan asks of a section.
pub async fn describe(company: &Company, section: &str, maintenance: &str, clippings: &str, shade: &str) {
    let path = format!("/api/v1/sections/{section}");
    let mut change = company.office.get(&path).await.expect(200).body;
    for derived in ["id", "area_sqft", "measured_on", "version", "created_at"] {
        let _ = change.as_object_mut().unwrap().remove(derived);
    }
    change["maintenance"] = json!(maintenance);
    change["clippings"] = json!(clippings);
    change["shade"] = json!(shade);
    let _ = company.office.put_version(&path, "*", &change).await.expect(200);
}

/// Takes the visit of the example off, so that the autumn is free.
pub async fn call_off(company: &Company) {
    let path = format!("/api/v1/visits/{}", company.visit);
    let mut change = company.office.get(&path).await.expect(200).body;
    for derived in ["id", "version", "created_at", "programme_id", "round"] {
        let _ = change.as_object_mut().unwrap().remove(derived);
    }
    change["status"] = json!("cancelled");
    change["reason"] = json!("The season is planned anew.");
    let _ = company.office.put_version(&path, "*", &change).await.expect(200);
}

pub async fn plan(company: &Company, section: &str, programme: &str) -> Value {
    let path = format!("/api/v1/sections/{section}/plan?programme_id={programme}");
    company.office.get(&path).await.expect(200).body
}

/// An amount of an answer.
#[track_caller]
pub fn amount(value: &Value) -> f64 {
    value.as_str().unwrap_or_else(|| panic!("{value} is no amount")).parse().unwrap()
}

/// Everything in a list that has a member, as one member of it.
pub fn each<'a>(list: &'a Value, member: &str) -> Vec<&'a str> {
    list.as_array().unwrap().iter().map(|item| item[member].as_str().unwrap()).collect()
}
