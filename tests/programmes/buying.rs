//! The company's season: all sections, and what to buy for them.

use harness::world::{Company, label, lot, product, property, section};
use serde_json::{Value, json};

use super::{amount, call_off, describe, programme, written};

fn sum(list: &Value, member: &str) -> f64 {
    list.as_array().unwrap().iter().map(|item| amount(&item[member])).sum()
}

#[tokio::test]
async fn purchases_follow_from_every_section_in_whole_bags_with_their_last_day_to_order() {
    let company = Company::in_maryland().await;
    call_off(&company).await;
    let mut wanted = programme(&company);
    wanted["needs"] = json!([{ "nitrogen_lb_per_1000_sqft": "1.8", "because": "An experiment" }]);
    let id = written(&company.office, &wanted).await;
    // All but 40 lb of the 2,000 go back, so that something is to be bought.
    let back = json!({
        "product_id": company.feed, "kind": "returned", "mass_lb": "1960", "moved_on": "2026-09-01", "reason": "Too much.",
    });
    let _ = company.office.post("/api/v1/stock-movements", &back).await.expect(201);
    let path = format!("/api/v1/programmes/{id}/plan?lead_days=10&spare_percent=5");
    let seen = company.office.get(&path).await.expect(200).body;
    assert_eq!(seen["sections"].as_array().unwrap().len(), 2, "{seen:#}");
    assert_eq!(seen["not_planned"], json!([]));
    let purchases = &seen["purchases"];
    // 1.8 lb N on 13,200 sq ft from 24 % is 99 lb of product (computed); 40 lb of it are in the shed.
    assert!((sum(purchases, "needed_lb") - 99.0).abs() < 0.1, "{purchases:#}");
    assert_eq!(purchases[0]["from_stock_lb"], "40");
    let first = seen["sections"][0]["rounds"][0]["on"].as_str().unwrap();
    assert_eq!((first, &purchases[0]["order_by"]), ("2026-09-16", &json!("2026-09-06")));
    assert_eq!(purchases[0]["month"], "2026-09-01");
    for month in purchases.as_array().unwrap() {
        let bags = month["bags"].as_i64().unwrap();
        assert_eq!(month["bought_lb"], json!((bags * 50).to_string()));
        assert_eq!(month["derivation"]["result"], json!(bags.to_string()));
    }
    let bought = sum(purchases, "bought_lb");
    assert!(bought + 40.0 >= 99.0 && bought - 59.0 * 1.05 < 50.0, "{bought}");
    assert!((amount(&seen["price_usd"]) - bought / 50.0 * 31.0).abs() < 0.001, "{}", seen["price_usd"]);
    // One client alone is the same here.
    let one = company.office.get(&format!("{path}&client_id={}", company.client)).await.expect(200).body;
    assert_eq!(one["purchases"], *purchases);
}

#[tokio::test]
async fn what_stands_in_visits_is_bought_too_and_not_planned_twice() {
    let company = Company::in_maryland().await;
    let mut wanted = programme(&company);
    wanted["needs"] = json!([{ "nitrogen_lb_per_1000_sqft": "0.75", "because": "An experiment" }]);
    let id = written(&company.office, &wanted).await;
    let seen = company.office.get(&format!("/api/v1/programmes/{id}/plan")).await.expect(200).body;
    // The example's visit brings the whole need of both sections: 0.75 lb N on 13,200 sq ft from 24 % is 41.25 lb (computed).
    assert!(seen["sections"].as_array().unwrap().iter().all(|section| section["rounds"] == json!([])), "{seen:#}");
    assert!((sum(&seen["purchases"], "needed_lb") - 41.25).abs() < 0.001, "{seen:#}");
    assert_eq!((&seen["purchases"][0]["bags"], &seen["price_usd"]), (&json!(0), &json!("0")));
}

#[tokio::test]
async fn stock_that_may_not_be_bought_is_given_out_once() {
    let company = Company::in_maryland().await;
    call_off(&company).await;
    let rest = product(&company.office, "Rest 24-0-10", &label("24", "7.2", "0", "10")).await;
    lot(&company.office, &rest, "LOT-9", "50").await;
    let mut wanted = programme(&company);
    wanted["products"] = json!([{ "product_id": rest, "bag_price_usd": "31", "may_buy": false }]);
    wanted["needs"] = json!([{ "nitrogen_lb_per_1000_sqft": "1.8", "because": "An experiment" }]);
    let id = written(&company.office, &wanted).await;
    let seen = company.office.get(&format!("/api/v1/programmes/{id}/plan")).await.expect(200).body;
    let sections = seen["sections"].as_array().unwrap();
    let used: f64 = sections.iter().map(|section| sum(&section["rounds"], "product_lb")).sum();
    assert!(used <= 50.0 && used > 49.0, "{used}");
    // 50 lb of 24 % are 12 lb N; the front lawn alone would take 14.76 lb (computed), so the rear lawn gets none.
    assert_eq!(sections[1]["rounds"], json!([]), "{seen:#}");
    assert!(sections[1]["unmet"].to_string().contains("on hand and no more may be bought"), "{seen:#}");
    assert!(seen["purchases"].as_array().unwrap().iter().all(|month| month["bags"] == 0), "{seen:#}");
}

#[tokio::test]
async fn what_the_limits_keep_in_the_shed_is_named() {
    let company = Company::in_maryland().await;
    call_off(&company).await;
    // Maryland lets no phosphorus through without a soil report that asks for it, and these reports ask for none.
    let starter = product(&company.office, "Starter 18-24-12", &label("18", "5", "24", "12")).await;
    lot(&company.office, &starter, "LOT-8", "500").await;
    let mut wanted = programme(&company);
    wanted["products"] = json!([{ "product_id": starter, "bag_price_usd": "40", "may_buy": false }]);
    wanted["needs"] = json!([{ "nitrogen_lb_per_1000_sqft": "1.8", "because": "An experiment" }]);
    let id = written(&company.office, &wanted).await;
    let seen = company.office.get(&format!("/api/v1/programmes/{id}/plan")).await.expect(200).body;
    let unused = &seen["unused"][0];
    assert_eq!((&unused["left_lb"], &unused["kept_by_limits"]), (&json!("500"), &json!(true)), "{seen:#}");
    assert!(unused["why"].to_string().contains("P2O5") || unused["why"].to_string().contains("phosph"), "{unused:#}");
}

#[tokio::test]
async fn sections_that_cannot_be_planned_say_why() {
    let company = Company::in_maryland().await;
    let home = property(&company.office, &company.client, &["us-md"]).await;
    let bare = json!({ "property_id": home, "name": "new lawn", "water": "none", "touches_pavement": false });
    let _ = company.office.post("/api/v1/sections", &bare).await.expect(201);
    section(&company.office, &home, "side lawn", "1000").await;
    describe(&company, &company.front, "low", "left", "light").await;
    let id = written(&company.office, &programme(&company)).await;
    let seen = company.office.get(&format!("/api/v1/programmes/{id}/plan")).await.expect(200).body;
    let why: Vec<&str> = super::each(&seen["not_planned"], "why");
    assert_eq!(why.len(), 3, "{why:?}");
    assert!(why.iter().any(|why| why.contains("no measurement")), "{why:?}");
    assert!(why.iter().any(|why| why.contains("level of maintenance")), "{why:?}");
}
