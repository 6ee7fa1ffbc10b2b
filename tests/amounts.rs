//! What follows from a label, and blends: the published figures through HTTP, each with its derivation.

use domain::quantity::ProductMass;
use harness::{
    User, new_id,
    world::{Company, label},
};
use serde_json::{Value, json};

async fn product(office: &User, grade: [&str; 3], net: &str) -> String {
    let [nitrogen, phosphate, potash] = grade;
    let body =
        json!({ "name": grade.join("-"), "label": label(nitrogen, "0", phosphate, potash), "net_weight_lb": net });
    office.post("/api/v1/products", &body).await.expect(201).id()
}

async fn amounts(user: &User, product: &str, query: &str) -> Value {
    user.get(&format!("/api/v1/products/{product}/amounts?{query}")).await.expect(200).body
}

fn sources(body: &Value, figure: &str) -> String {
    let derivations = body["derivations"].as_array().unwrap();
    let found = derivations.iter().find(|derivation| derivation["figure"] == figure);
    found.unwrap_or_else(|| panic!("{figure} has no derivation: {body}"))["source"].as_str().unwrap().to_owned()
}

#[tokio::test]
async fn published_figures() {
    let company = Company::in_maryland().await;
    let (office, phone) = (&company.office, &company.phone);
    // USGA Green Section Record 60(5), 2022: a 50 lb bag of urea at 50 USD holds 23 lb N at 2.17 USD a pound (2.1739 exact);
    // an acre at 1 lb N costs 95 USD (94.70 exact).
    let urea = product(office, ["46", "0", "0"], "50").await;
    let found = amounts(phone, &urea, "target_lb_per_1000_sqft=1&product_lb=50&bag_price_usd=50").await;
    assert_eq!(
        (&found["price_usd_per_lb_of_nutrient"], &found["price_usd_per_acre"]),
        (&json!("2.1739"), &json!("94.7"))
    );
    assert_eq!(found["delivers"]["nitrogen_lb"], "23");
    assert!(sources(&found, "price of a pound of nutrient").contains("USGA"));

    // Georgia county agent: 50 lb of 12-4-8 cover 10,000 sq ft at 0.6 lb N, 5 lb on 1,000 sq ft.
    let centipede = product(office, ["12", "4", "8"], "50").await;
    let found = amounts(phone, &centipede, "target_lb_per_1000_sqft=0.6&area_sqft=43560").await;
    assert_eq!((&found["package_covers_sqft"], &found["product_lb_per_1000_sqft"]), (&json!("10000"), &json!("5")));
    // An acre takes 217.8 lb, five bags, and two passes of 2.5 lb at right angles (UMass).
    assert_eq!((&found["product_lb"], &found["purchase"]["bags"]), (&json!("217.8"), &json!(5)));
    assert_eq!(found["half_rate_lb_per_1000_sqft"], "2.5");
    for figure in
        ["ground covered", "product for a target", "bags to buy", "rate for each of two passes at right angles"]
    {
        assert!(!sources(&found, figure).is_empty());
    }

    // UMass: 3 lb N from 24-25-4 are 12.5 lb, which carry 3.125 P2O5 and 0.5 K2O.
    let starter = product(office, ["24", "25", "4"], "50").await;
    let found = amounts(phone, &starter, "target_lb_per_1000_sqft=3").await;
    assert_eq!(found["product_lb_per_1000_sqft"], "12.5");
    assert_eq!(
        (&found["phosphate_lb_per_1000_sqft"], &found["potash_lb_per_1000_sqft"]),
        (&json!("3.125"), &json!("0.5"))
    );

    // Virginia worksheet: 7,056.72 lb in bags of 50 lb are 142 (141.13), and nothing more is put down for it.
    let found = amounts(phone, &starter, "product_lb=7056.72").await;
    assert_eq!((&found["purchase"]["bags"], &found["purchase"]["left_over_lb"]), (&json!(142), &json!("43.28")));

    // Camberato (Purdue): 28 % of 10.6 lb a gallon is 2.97 lb N (2.968 exact); 20 gal weigh 212 lb and hold 59.4 (59.36 exact).
    let uan = json!({
        "name": "Liquid 28-0-0", "net_weight_lb": "26.5",
        "label": { "form": "liquid", "nitrogen_percent": "28", "slow_nitrogen_percent": "0", "phosphate_percent": "0", "potash_percent": "0",
            "printed": { "density_lb_per_gal": "10.6", "net_contents": { "volume_gal": "2.5" } } },
    });
    let uan = office.post("/api/v1/products", &uan).await.expect(201).id();
    let found = amounts(phone, &uan, "volume_gal=20").await;
    assert_eq!((&found["product_lb"], &found["delivers"]["nitrogen_lb"]), (&json!("212"), &json!("59.36")));
    assert_eq!((&found["nutrient_lb_per_gal"], &found["purchase"]["bags"]), (&json!("2.968"), &json!(8)));
    // For 1 lb N on 1,000 sq ft 3.571428 lb, which are 0.336927 gal, rounded down.
    let found = amounts(phone, &uan, "target_lb_per_1000_sqft=1&area_sqft=1000").await;
    assert_eq!((&found["product_lb"], &found["volume_gal"]), (&json!("3.571428"), &json!("0.336927")));
}

#[tokio::test]
async fn what_does_not_follow_is_told_and_what_does_not_fit_refused() {
    let company = Company::in_maryland().await;
    let (phone, feed) = (&company.phone, &company.feed);
    let bare = amounts(phone, feed, "").await;
    assert!(bare["product_lb"].is_null() && bare["missing"].as_array().unwrap().len() == 3, "{bare}");
    let none = amounts(phone, feed, "nutrient=phosphate&target_lb_per_1000_sqft=1&bag_price_usd=39").await;
    assert!(none["missing"][0].as_str().unwrap().contains("guarantees no P2O5"), "{none}");
    // A purchase beyond a million pounds is not stored.
    let many = amounts(phone, feed, "product_lb=999999.999999").await;
    assert_eq!(many["purchase"]["bags"], 20_000, "{many}");
    let small = product(&company.office, ["10", "0", "0"], "300").await;
    let many = amounts(phone, &small, "product_lb=999999.999999").await;
    assert!(many["purchase"].is_null() && many["missing"][0].as_str().unwrap().contains("cannot be counted"), "{many}");
    let path = |query: &str| format!("/api/v1/products/{feed}/amounts?{query}");
    let refused = async |query: &str| phone.get(&path(query)).await.problem(422, "invalid").faults();
    assert_eq!(refused("product_lb=1&volume_gal=1").await, ["volume_gal"]);
    assert_eq!(
        refused("product_lb=-1&area_sqft=0&bag_price_usd=1.999&nutrient=iron").await,
        ["area_sqft", "bag_price_usd", "nutrient", "product_lb"]
    );
    assert_eq!(refused("rate=1").await, ["rate"]);
    let _ = phone.get(&path("product_lb=1&product_lb=2")).await.problem(400, "malformed-request");
    let _ = phone.get(&format!("/api/v1/products/{}/amounts", new_id())).await.problem(404, "not-found");
    let _ = company.app.nobody().get(&path("product_lb=1")).await.problem(401, "not-signed-in");
}

fn blend(products: &[(&str, Option<&str>)], need: [&str; 3]) -> Value {
    let [nitrogen, phosphate, potash] = need;
    let products: Vec<Value> = products
        .iter()
        .map(|(id, price)| {
            price.map_or_else(
                || json!({ "product_id": id }),
                |price| json!({ "product_id": id, "bag_price_usd": price }),
            )
        })
        .collect();
    json!({ "area_sqft": "1000", "products": products, "need": {
        "nitrogen_lb_per_1000_sqft": nitrogen, "phosphate_lb_per_1000_sqft": phosphate, "potash_lb_per_1000_sqft": potash,
    } })
}

/// Extension answer 603771 (<https://ask.extension.org/questions/603771>), read in a copy: 3.5 N, 1.75 P2O5 and 3.5 K2O on 1,000
/// sq ft from 21-22-4, 32-0-4 and 0-0-60 are 8 lb, 5.6 lb and (computed) 4.93 lb; exactly 7.9545, 5.717 and 4.922.
#[tokio::test]
async fn a_blend_meets_three_needs() {
    let company = Company::in_maryland().await;
    let (office, phone) = (&company.office, &company.phone);
    let starter = product(office, ["21", "22", "4"], "50").await;
    let urea = product(office, ["32", "0", "4"], "50").await;
    let potash = product(office, ["0", "0", "60"], "50").await;
    let need = ["3.5", "1.75", "3.5"];
    let ask = async |body: &Value| phone.post("/api/v1/blends", body).await.expect(200).body;
    let masses = |body: &Value| -> Vec<(String, i64)> {
        let part = |part: &Value| {
            let mass = ProductMass::parse(part["product_lb"].as_str().unwrap()).unwrap();
            (part["product_id"].as_str().unwrap().to_owned(), mass.raw())
        };
        let mut parts: Vec<_> = body["parts"].as_array().unwrap().iter().map(part).collect();
        parts.sort_by_key(|(_, mass)| -mass);
        parts
    };
    let in_turn = ask(&blend(&[(&urea, None), (&potash, None), (&starter, None)], need)).await;
    let cheapest = ask(&blend(&[(&urea, Some("30")), (&potash, Some("35")), (&starter, Some("45"))], need)).await;
    for (found, by) in [(&in_turn, "scarcest"), (&cheapest, "least_price")] {
        assert_eq!((&found["by"], &found["met"]), (&json!(by), &json!(true)), "{found}");
        let expected = [(&starter, 7_954_500), (&urea, 5_717_000), (&potash, 4_922_000)];
        for ((id, mass), (product, pounds)) in masses(found).iter().zip(expected) {
            assert!(id == product && (mass - pounds).abs() <= 1_000, "{found}");
        }
        assert!(
            found["parts"]
                .as_array()
                .unwrap()
                .iter()
                .all(|part| part["derivation"]["source"].as_str().is_some_and(|s| !s.is_empty()))
        );
    }
    // By the definition of a rate: 1.75 lb on 1,000 sq ft are 1.75 lb on this area.
    let derived = &in_turn["need_derivations"][1];
    assert_eq!((&in_turn["need"]["phosphate_lb"], &derived["result"]), (&json!("1.75"), &json!("1.75")));
    // One bag of each is opened: 30, 35 and 45 USD.
    assert_eq!((&cheapest["purchase_usd"], &in_turn["purchase_usd"]), (&json!("110"), &Value::Null));
    assert_eq!(cheapest["parts"][0]["purchase"]["bags"], 1);
    // Without a source of phosphate it is told, and nothing else is brought beyond its need.
    let lacking = ask(&blend(&[(&urea, None)], need)).await;
    assert_eq!((&lacking["met"], &lacking["missing"]["phosphate_lb"]), (&json!(false), &json!("1.75")));
    // Room for more potash lets the cheaper nitrogen in: 46-0-0 at 50 USD has none, 32-0-4 at 30 USD brings it.
    let plain = product(office, ["46", "0", "0"], "50").await;
    let two = [(urea.as_str(), Some("30")), (plain.as_str(), Some("50"))];
    let strict = ask(&blend(&two, ["3.2", "0", "0"])).await;
    assert_eq!(strict["parts"][0]["product_id"], json!(plain));
    let mut roomy = blend(&two, ["3.2", "0", "0"]);
    roomy["at_most"] = json!({ "nitrogen_lb_per_1000_sqft": "3.2", "phosphate_lb_per_1000_sqft": "0", "potash_lb_per_1000_sqft": "5" });
    assert_eq!(ask(&roomy).await["parts"][0]["product_id"], json!(urea));
}

#[tokio::test]
async fn a_blend_that_contradicts_itself_is_refused() {
    let company = Company::in_maryland().await;
    let (phone, feed, other) = (&company.phone, company.feed.as_str(), new_id());
    let refused = async |body: &Value| phone.post("/api/v1/blends", body).await.problem(422, "invalid").faults();
    let twice = blend(&[(feed, Some("39")), (feed, None), (&other, Some("10"))], ["1", "0", "0"]);
    let expected = ["#/products/1/product_id", "#/products/1/bag_price_usd", "#/products/2/product_id"];
    assert_eq!(refused(&twice).await, expected);
    let mut most = blend(&[(feed, None)], ["1", "0", "0"]);
    most["at_most"] = json!({ "nitrogen_lb_per_1000_sqft": "0.9", "phosphate_lb_per_1000_sqft": "0", "potash_lb_per_1000_sqft": "0" });
    assert_eq!(refused(&most).await, ["#/at_most", "#/at_most/nitrogen_lb_per_1000_sqft"]);
    assert_eq!(refused(&blend(&[], ["1", "0", "0"])).await, ["#/products"]);
    let mut huge = blend(&[(feed, None)], ["1000", "0", "0"]);
    huge["area_sqft"] = json!("10000000");
    let _ = phone.post("/api/v1/blends", &huge).await;
    huge["need"]["nitrogen_lb_per_1000_sqft"] = json!("1e3");
    assert_eq!(refused(&huge).await, ["#/need/nitrogen_lb_per_1000_sqft"]);
}
