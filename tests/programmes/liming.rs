//! The lime that a soil report asks for: planned, made into visits, loaded, put down, and counted from then on.

use harness::{
    new_id,
    world::{Company, label, lot, product},
};
use serde_json::{Value, json};

use super::{amount, call_off, describe, plan, programme, written};

/// Limestone with a calcium carbonate equivalent of 80 %, and what a laboratory says of the front lawn.
async fn limed(company: &Company, report: &Value) -> String {
    call_off(company).await;
    describe(company, &company.front, "medium", "taken", "light").await;
    let mut stone = label("0", "0", "0", "0");
    stone["printed"] = json!({ "cce_percent": "80" });
    let stone = product(&company.office, "Limestone", &stone).await;
    let mut body = json!({ "sampled_on": "2026-03-02", "laboratory": "Sample Laboratory", "extractant": "mehlich_3", "ph": "5.6",
        "phosphorus": "optimum", "phosphate_recommended_lb_per_1000_sqft": "0" });
    body.as_object_mut().unwrap().extend(report.as_object().unwrap().clone());
    let _ = company.office.post(&format!("/api/v1/sections/{}/soil-reports", company.front), &body).await.expect(201);
    stone
}

fn with_lime(company: &Company, stone: &str, lime: &Value) -> Value {
    let mut body = programme(company);
    body["products"]
        .as_array_mut()
        .unwrap()
        .push(json!({ "product_id": stone, "bag_price_usd": "6", "may_buy": true }));
    body["lime"] = lime.clone();
    body
}

#[tokio::test]
async fn lime_is_planned_visited_loaded_and_counted() {
    let company = Company::in_maryland().await;
    let stone = limed(&company, &json!({ "lime_recommended_lb_per_1000_sqft": "110" })).await;
    let id = written(&company.office, &with_lime(&company, &stone, &json!({ "split_rule": "penn_state" }))).await;
    // Penn State AASL, online report, home lawn to maintain, read: over 100 lb in two or more applications 4 to 6 months apart.
    // Computed: 55 lb each, at CCE 80 68.75 lb on 1,000 sq ft, 563.75 lb on 8,200 sq ft.
    let seen = plan(&company, &company.front, &id).await;
    let of_stone = |plan: &Value| -> Vec<Value> {
        let rounds = plan["rounds"].as_array().unwrap().iter();
        rounds.filter(|round| round["product_id"] == json!(stone)).cloned().collect()
    };
    let [part] = of_stone(&seen).try_into().expect("one part");
    assert_eq!((&part["product_lb"], &part["round"]), (&json!("563.75"), &json!("early autumn")), "{part:#}");
    let lime = &seen["lime"];
    assert_eq!(
        [&lime["recommended_lb_per_1000_sqft"], &lime["spent_lb_per_1000_sqft"], &lime["planned_lb_per_1000_sqft"]],
        [&json!("110"), &json!("0"), &json!("55")]
    );
    assert!(lime["why"][0].as_str().unwrap().starts_with("55 lb may follow from 2027-01-"), "{lime:#}");
    // It is bought: 563.75 lb and a twentieth more is 12 bags of 50 lb.
    let whole = company.office.get(&format!("/api/v1/programmes/{id}/plan")).await.expect(200).body;
    let bought = whole["purchases"].as_array().unwrap().iter().find(|one| one["product_id"] == json!(stone));
    assert_eq!(bought.map(|one| &one["bags"]), Some(&json!(12)), "{whole:#}");
    // The visit states its amount by the product, and the load sheet takes it from there.
    let asked = json!({ "round": "early autumn", "planned_on": "2026-09-18", "person_id": company.phone.id,
        "section_ids": [company.front] });
    let made = company.office.post(&format!("/api/v1/programmes/{id}/visits"), &asked).await.expect(201).body;
    assert_eq!((made["left_out"].clone(), made["visits"].as_array().unwrap().len()), (json!([]), 2), "{made:#}");
    let visit = made["visits"].as_array().unwrap().iter().find(|visit| visit["product_id"] == json!(stone)).unwrap();
    assert_eq!(visit["target_product_lb_per_1000_sqft"], "68.75");
    let person = company.phone.id.clone().unwrap();
    let sheet =
        company.office.get(&format!("/api/v1/days/2026-09-18/load-sheet?person_id={person}")).await.expect(200).body;
    let stop = sheet["stops"].as_array().unwrap().iter().find(|stop| stop["product_id"] == json!(stone)).unwrap();
    assert_eq!(stop["product_lb"], "563.75");
    let again = plan(&company, &company.front, &id).await;
    assert_eq!((&again["lime"]["spent_lb_per_1000_sqft"], of_stone(&again).len()), (&json!("55"), 0), "{again:#}");
    // Recorded, it counts as what was put down.
    let bags = lot(&company.office, &stone, "LIME-1", "1000").await;
    let mut record = company.record(&company.front, "563.75");
    (record["product_id"], record["lot_id"]) = (json!(stone), json!(bags));
    record["visit_id"] = visit["id"].clone();
    let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await.expect(201);
    let after = plan(&company, &company.front, &id).await;
    assert_eq!(after["lime"]["spent_lb_per_1000_sqft"], "55", "{after:#}");
}

#[tokio::test]
async fn what_is_missing_for_lime_is_named() {
    for (report, lime, words) in [
        // No rule was read for this laboratory.
        (json!({ "lime_recommended_lb_per_1000_sqft": "75" }), json!({}), "by whose rule"),
        (json!({ "acidity": { "meq": "6.5", "per": "100_g" } }), json!({}), "which pH is wanted"),
        (
            json!({ "lime_recommended_lb_per_1000_sqft": "75", "sampled_on": "2026-03-03", "before_planting": true }),
            json!({ "split_rule": "georgia" }),
            "before planting",
        ),
    ] {
        let company = Company::in_maryland().await;
        let stone = limed(&company, &report).await;
        let id = written(&company.office, &with_lime(&company, &stone, &lime)).await;
        let seen = plan(&company, &company.front, &id).await;
        assert!(each_text(&seen["gaps"]).iter().any(|gap| gap.contains(words)), "{words}: {}", seen["gaps"]);
        assert_eq!(seen["lime"], Value::Null);
    }
    // Penn State AASL, table for turf, read: acidity 6.5, goal 6.5: 110 lb, split by its own rule.
    let company = Company::in_maryland().await;
    let stone = limed(&company, &json!({ "acidity": { "meq": "6.5", "per": "100_g" } })).await;
    let id = written(&company.office, &with_lime(&company, &stone, &json!({ "goal_ph": "6.5" }))).await;
    let seen = plan(&company, &company.front, &id).await;
    assert!((amount(&seen["lime"]["recommended_lb_per_1000_sqft"]) - 110.0).abs() < f64::EPSILON, "{}", seen["lime"]);
    assert!(seen["lime"]["source"].as_str().unwrap().starts_with("Penn State"), "{}", seen["lime"]);
}

#[tokio::test]
async fn a_visit_states_its_amount_once() {
    let company = Company::in_maryland().await;
    let mut visit = json!({ "property_id": company.property, "person_id": company.phone.id, "planned_on": "2026-09-20",
        "product_id": company.feed, "section_ids": [company.front], "purpose": "maintenance",
        "target_nitrogen_lb_per_1000_sqft": "0.5", "target_product_lb_per_1000_sqft": "3" });
    let told = company.office.post("/api/v1/visits", &visit).await.problem(422, "invalid");
    assert_eq!(told.faults(), ["#/target_product_lb_per_1000_sqft"]);
    visit["target_nitrogen_lb_per_1000_sqft"] = Value::Null;
    let made = company.office.post("/api/v1/visits", &visit).await.expect(201);
    assert_eq!(made.body["target_product_lb_per_1000_sqft"], "3");
    let day = company.phone.get("/api/v1/days/2026-09-20").await.expect(200).body;
    assert_eq!(day["visits"][0]["rate"]["product_lb_per_1000_sqft"], "3", "{day:#}");
}

fn each_text(list: &Value) -> Vec<&str> {
    list.as_array().unwrap().iter().map(|item| item.as_str().unwrap()).collect()
}
