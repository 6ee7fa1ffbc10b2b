//! What was planted in the season, done as its people would do it.

use jiff::SignedDuration;
use serde_json::{Value, json};

use super::{
    land::{self},
    plants::{self, Plant},
    rounds::{Company, Stop},
};
use crate::demo::{
    company::phone_id,
    http::{Caller, expect},
};

/// Sends what a rule stops, and once more with every finding acknowledged and a reason.
pub async fn insisted(phone: &Caller, path: &str, sent: &mut Value, why: &str) -> Result<(), String> {
    let refused = expect(phone.put(path, sent).await?, 422, "what is beyond the rules")?;
    let findings = refused["findings"].as_array().into_iter().flatten();
    let stops: Vec<&Value> =
        findings.filter(|finding| finding["verdict"] == "stop").map(|finding| &finding["key"]).collect();
    sent["acknowledged"] = json!(stops);
    if sent.get("application_id").is_none() {
        sent["reason"] = json!(why);
    }
    expect(phone.put(path, sent).await?, 201, "what was acknowledged").map(drop)
}

/// What follows a record in which something was planted; the number of further records.
pub async fn after(
    company: &Company<'_>,
    office: &Caller,
    stop: &Stop,
    plant: Plant,
    id: &str,
    record: Value,
) -> Result<usize, String> {
    let technician = company.crew.get(stop.technician).ok_or("no technician")?;
    let phone = &technician.phone;
    let correction = format!("/api/v1/corrections/{}", phone_id(stop.start.plus(SignedDuration::from_hours(1))));
    match plant {
        Plant::SentTwice => {
            let mut other = record;
            other["lines"][0]["product_lb"] = json!("1");
            let again = phone.put(&format!("/api/v1/applications/{id}"), &other).await?;
            expect(again, 409, "another amount under the same id").map(|_| 0)
        }
        Plant::WrongLot => {
            let taken_back =
                json!({ "application_id": id, "reason": "The wrong lot was named; the record is written anew." });
            expect(phone.put(&correction, &taken_back).await?, 201, "a record that is taken back")?;
            let mut anew = record;
            anew["lot_id"] = json!(company.store.lots[1]);
            let path = format!("/api/v1/applications/{}", phone_id(stop.start.plus(SignedDuration::from_mins(1))));
            expect(phone.put(&path, &anew).await?, 201, "the record with its lot").map(|_| 1)
        }
        Plant::WrongProperty => mistaken(company, stop, phone, &record).await,
        Plant::Spill => {
            let spilled = json!({
                "product_id": stop.visit["product_id"], "lot_id": stop.product_lot, "kind": "spilled", "mass_lb": "6", "moved_on": stop.day,
                "reason": "A bag tore on the drive; swept up and thrown away.",
            });
            office.made("/api/v1/stock-movements", &spilled).await.map(|_| 0)
        }
        Plant::OverTheCap => {
            let (section, area) =
                company.places.get(stop.place).and_then(|place| place.sections.first()).ok_or("no section")?;
            let pounds = format!("{}.{}", area * 7 / 1000, area * 7 % 1000 / 100);
            let mut change = json!({
                "application_id": id, "reason": "Bags counted again: twice as many are empty as were written down.",
                "change": { "lines": [{ "section_id": section, "product_lb": pounds }] },
            });
            insisted(phone, &correction, &mut change, "").await.map(|()| 0)
        }
        _ => Ok(0),
    }
}

/// The technician stood on the wrong property first, and what went down there is recorded there.
async fn mistaken(company: &Company<'_>, stop: &Stop, phone: &Caller, record: &Value) -> Result<usize, String> {
    let place = company.places.get(plants::TREATED_BY_MISTAKE).ok_or("no place")?;
    let (section, area) = place.sections.first().ok_or("no section")?;
    let mut wrong = record.clone();
    let before = stop.start.plus(SignedDuration::from_mins(-20));
    wrong["property_id"] = json!(place.property);
    wrong["started_at"] = json!(before);
    wrong["finished_at"] = json!(before.plus(SignedDuration::from_mins(8)));
    wrong["lines"] = json!([{ "section_id": section, "product_lb": (area * 6 / 10_000).max(1).to_string() }]);
    wrong["notes"] =
        json!("Wrong property: the one two doors on was meant. Stopped when it was noticed; both clients were told.");
    if let Some(members) = wrong.as_object_mut() {
        members.remove("visit_id");
    }
    let path = format!("/api/v1/applications/{}", phone_id(before));
    expect(phone.put(&path, &wrong).await?, 201, "the record of the wrong property").map(|_| 1)
}

/// Before this autumn's round: one lawn is measured anew, one soil report belonged to another lawn, and the store is counted.
pub async fn before_autumn(company: &Company<'_>, office: &Caller) -> Result<u32, String> {
    let plot = company.plots.get(plants::MISMEASURED).ok_or("no plot")?;
    let (section, _) =
        company.places.get(plants::MISMEASURED).and_then(|place| place.sections.first()).ok_or("no section")?;
    let true_area = plot.lawns.first().map_or(0, |lawn| lawn.area);
    let measured = json!({
        "area_sqft": true_area.to_string(), "measured_on": "2026-08-20", "method": "wheel", "measured_by": "Tech 02",
        "note": "The aerial image had counted the hedge and a roof.",
    });
    office.made(&format!("/api/v1/sections/{section}/measurements"), &measured).await?;

    let (section, _) = company.places.get(5).and_then(|place| place.sections.get(1)).ok_or("no section")?;
    let lawn = company.plots.get(5).and_then(|plot| plot.lawns.get(1)).ok_or("no lawn")?;
    let path = format!("/api/v1/sections/{section}/soil-reports");
    let wrong = office.made(&path, &land::soil_report(lawn, "2026-03-17")).await?;
    let mut corrected = land::soil_report(lawn, "2026-03-17");
    corrected["corrects"] = json!(wrong);
    corrected["not_of_this_lawn"] = json!(true);
    corrected["reason"] = json!("The sample bag bore the number of the lawn next door.");
    office.made(&path, &corrected).await?;

    let (spring, feed, light) = (&company.store.shelf.spring, &company.store.shelf.feed, &company.store.light);
    for (product, received, gap) in [(spring, 15_000, 30), (feed, 9_000, 6), (light, 2_500, 6)] {
        counted(office, product, received, gap).await?;
    }
    Ok(true_area)
}

/// The store is counted: of what was used, so many thousandths more are gone than the records say.
async fn counted(office: &Caller, product: &str, received: u32, gap: u32) -> Result<(), String> {
    let found = expect(office.get(&format!("/api/v1/products/{product}")).await?, 200, "a product")?;
    let balance: f64 = found["balance_lb"].as_str().and_then(|text| text.parse().ok()).ok_or("no balance")?;
    let missing = (f64::from(received) - balance) * f64::from(gap) / 1000.0;
    let counted = json!({
        "product_id": product, "kind": "counted", "counted_lb": format!("{:.1}", (balance - missing).max(0.0)), "moved_on": "2026-08-28",
        "reason": "Counted before the autumn.",
    });
    office.made("/api/v1/stock-movements", &counted).await.map(drop)
}
