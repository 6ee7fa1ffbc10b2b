//! The whole label as the trade prints it: lines that do not add up are refused, claims that are not borne are told.

use harness::world::{Company, label};
use serde_json::{Value, json};

/// Order of a guaranteed analysis by Clemson, Reading a Fertilizer Label: the forms beneath total nitrogen are parts of it.
fn printed() -> Value {
    json!({
        "nitrogen_forms": {
            "ammoniacal_percent": "1.5", "urea_percent": "12.5", "water_insoluble_percent": "2", "coated_slow_release_percent": "8",
        },
        "further_nutrients": [{ "element": "iron", "percent": "1" }, { "element": "sulfur", "percent": "4" }],
        "net_contents": { "weight_lb": "50" }, "claims_slow_release": true, "derived_from": "Coated urea, urea, ammonium sulfate",
        "particle_size": "SGN 150", "state_registration": "2026-0417",
        "pesticide": { "epa_registration": "6767-230", "signal_word": "caution", "active_ingredients": "an herbicide, 0.5 %" },
        "watering_in_at_least_in": "0.25", "watering_in_at_most_in": "0.5", "version": "3", "dated": "2025-11-01",
    })
}

fn product(printed: &Value) -> Value {
    let mut label = label("24", "10", "0", "10");
    label["printed"] = printed.clone();
    label["product_limit_lb_per_1000_sqft"] = json!("4");
    label["air_temperature_limit_f"] = json!("85");
    label["wind_limit_mph"] = json!("10");
    json!({ "name": "Weed and feed 24-0-10", "label": label, "net_weight_lb": "50" })
}

#[tokio::test]
async fn a_whole_label_is_kept_as_printed() {
    let company = Company::in_maryland().await;
    let made = company.office.post("/api/v1/products", &product(&printed())).await.expect(201).body;
    let path = format!("/api/v1/products/{}", made["id"].as_str().unwrap());
    let read = company.phone.get(&path).await.expect(200).body;
    let kept = &read["label"]["printed"];
    for (member, value) in printed().as_object().unwrap() {
        match member.as_str() {
            // Lines that the label does not print are zero.
            "nitrogen_forms" => assert_eq!(
                (&kept[member]["urea_percent"], &kept[member]["nitrate_percent"]),
                (&json!("12.5"), &json!("0"))
            ),
            "pesticide" => assert_eq!(
                (&kept[member]["epa_registration"], &kept[member]["signal_word"]),
                (&json!("6767-230"), &json!("caution"))
            ),
            _ => assert_eq!(&kept[member], value, "{member}"),
        }
    }
    assert_eq!(read["remarks"], json!([]));
    // A label without any of it is what it was.
    let plain = json!({ "name": "Feed 10-0-0", "label": label("10", "0", "0", "0"), "net_weight_lb": "50" });
    let plain = company.office.post("/api/v1/products", &plain).await.expect(201).body;
    assert!(plain["label"].get("printed").is_none() && plain["remarks"] == json!([]));
}

#[tokio::test]
async fn what_cannot_stand_on_one_label_is_refused_at_once() {
    let company = Company::in_maryland().await;
    let mut odd = printed();
    odd["nitrogen_forms"]["urea_percent"] = json!("12");
    odd["further_nutrients"] = json!([{ "element": "iron", "percent": "1" }, { "element": "iron", "percent": "2" }]);
    odd["net_contents"] = json!({ "weight_lb": "40" });
    odd["watering_in_at_most_in"] = json!("0.1");
    let refused = company.office.post("/api/v1/products", &product(&odd)).await.problem(422, "invalid");
    let places = ["nitrogen_forms", "further_nutrients", "watering_in_at_most_in", "net_contents"]
        .map(|field| format!("#/label/printed/{field}"));
    assert_eq!(refused.faults(), places, "{}", refused.text);
    assert!(refused.text.contains("add up to 23.5 % and the label guarantees 24 %"), "{}", refused.text);

    // The form of a registration number is EPA's (Label Review Manual, chapter 14).
    let mut odd = printed();
    odd["pesticide"]["epa_registration"] = json!("6767-23O");
    odd["pesticide"]["signal_word"] = json!("careful");
    odd["derived_from"] = json!("\u{202e}aeru");
    odd["colour"] = json!("green");
    let refused = company.office.post("/api/v1/products", &product(&odd)).await.problem(422, "invalid");
    let places = ["colour", "derived_from", "pesticide/epa_registration", "pesticide/signal_word"]
        .map(|field| format!("#/label/printed/{field}"));
    assert_eq!(refused.faults(), places, "{}", refused.text);

    let mut jug = product(&json!({ "net_contents": { "volume_gal": "2.5" } }));
    jug["label"]["form"] = json!("liquid");
    let refused = company.office.post("/api/v1/products", &jug).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/label/printed/density_lb_per_gal"]);
    // By the definition of density: 2.5 gal of 10.58 lb weigh 26.45 lb, not 50.
    jug["label"]["printed"]["density_lb_per_gal"] = json!("10.58");
    let refused = company.office.post("/api/v1/products", &jug).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/label/printed/net_contents"]);
    jug["net_weight_lb"] = json!("26.5");
    let _ = company.office.post("/api/v1/products", &jug).await.expect(201);
    let both = product(&json!({ "net_contents": { "volume_gal": "2.5", "weight_lb": "50" } }));
    let _ = company.office.post("/api/v1/products", &both).await.problem(422, "invalid");
}

#[tokio::test]
async fn a_claim_that_is_not_borne_is_told() {
    let company = Company::in_maryland().await;
    // Pennsylvania, 7 Pa. Code § 73.6: at least 15 % of the nitrogen; 3.5 of 24 % is 14.6 %.
    let mut label = label("24", "3.5", "0", "10");
    label["printed"] = json!({ "claims_slow_release": true });
    let claimed = json!({ "name": "Slow feed", "label": label, "net_weight_lb": "50" });
    let made = company.office.post("/api/v1/products", &claimed).await.expect(201).body;
    let remark = &made["remarks"][0];
    assert!(remark["message"].as_str().unwrap().contains("less than 15 %"), "{remark}");
    assert!(remark["source"].as_str().unwrap().contains("73.6"), "{remark}");
    let listed = company.phone.get("/api/v1/products").await.expect(200).body;
    assert_eq!(listed["items"][1]["remarks"], made["remarks"]);
}
