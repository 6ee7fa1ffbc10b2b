//! Amounts and areas at the ends of what can be entered: every figure that is worked out from them fits the API document, in
//! every answer. The harness holds each answer against the document.

use harness::{
    User,
    contract::operations,
    new_id,
    world::{Company, label, lot, product, section},
};
use proptest::{prelude::*, strategy::ValueTree, test_runner::TestRunner};
use serde_json::{Value, json};

use crate::hang_up::address;

/// Square feet, and pounds of product on them.
fn amounts() -> impl Strategy<Value = (String, String)> {
    let hundredths = prop_oneof![Just(1_u64), Just(1_000_000_000), 1..100_u64, 100..1_000_000_000_u64];
    let part = prop_oneof![2 => Just(1_000_000_u64), 1 => Just(1), 2 => 1..1_000_000_u64];
    (hundredths, part).prop_map(|(area, part)| {
        // Ten pounds on a square foot are the most: one tenth of a pound on each hundredth.
        let most = (area * 100_000).min(1_000_000_000_000);
        let millionths = (most / 1_000_000 * part + most % 1_000_000 * part / 1_000_000).clamp(1, most);
        (
            format!("{}.{:02}", area / 100, area % 100),
            format!("{}.{:06}", millionths / 1_000_000, millionths % 1_000_000),
        )
    })
}

/// Asks everything that the document lists and this book has.
async fn every_answer(company: &Company) {
    for (method, template, ..) in operations() {
        if method == "GET" && !template.ends_with("/metrics") {
            let reply = company.owner.get(&address(&template, company)).await;
            assert!(reply.status < 500, "{template}: {}", reply.text);
        }
    }
}

/// Stored, whatever the rules say of it.
async fn stored(user: &User, path: &str, mut body: Value) -> Value {
    let reply = user.put(path, &body).await;
    if reply.status == 422 {
        let refused = reply.problem(422, "stopped-by-rules").body;
        body["acknowledged"] =
            refused["findings"].as_array().unwrap().iter().map(|found| found["key"].clone()).collect();
        if body.get("application_id").is_none() {
            body["reason"] = json!("It was put down.");
        }
        return user.put(path, &body).await.expect(201).body;
    }
    reply.expect(201).body
}

#[tokio::test]
async fn whatever_is_put_on_whatever_ground_every_answer_fits_the_document() {
    let mut company = Company::in_maryland().await;
    let pure = product(&company.office, "Nothing but nitrogen", &label("100", "0", "0", "0")).await;
    company.lot = lot(&company.office, &pure, "LOT-9", "1000000").await;
    company.feed = pure;
    let mut runner = TestRunner::deterministic();
    for _ in 0..16 {
        let (area, pounds) = amounts().new_tree(&mut runner).unwrap().current();
        company.front = section(&company.office, &company.property, &format!("lawn {}", new_id()), &area).await;
        let _ = company.phone.post("/api/v1/checks", &company.plan(&company.front, &pounds)).await.expect(200);
        let id = new_id();
        let address = format!("/api/v1/applications/{id}");
        let _ = stored(&company.office, &address, company.record(&company.front, &pounds)).await;
        let change = json!({ "lines": [{ "section_id": company.front, "product_lb": "0.000001" }] });
        let correction = json!({ "application_id": id, "reason": "Weighed again.", "change": change });
        if pounds != "0.000001" && pounds != "0.00000100" {
            let _ = stored(&company.office, &format!("/api/v1/corrections/{}", new_id()), correction).await;
        }
        let _ = stored(
            &company.office,
            &format!("/api/v1/applications/{}", new_id()),
            company.record(&company.front, &pounds),
        )
        .await;
        for read in ["", "/decision", "/duties"] {
            let _ = company.owner.get(&format!("{address}{read}")).await.expect(200);
        }
        every_answer(&company).await;
    }
}

#[tokio::test]
async fn more_than_a_square_foot_can_carry_is_a_slip() {
    let company = Company::in_maryland().await;
    let small = section(&company.office, &company.property, "bed", "0.01").await;
    // Ten pounds on a square foot: a tenth of a pound on a hundredth of one.
    let id = new_id();
    let address = format!("/api/v1/applications/{id}");
    let _ = stored(&company.office, &address, company.record(&small, "0.1")).await;
    for way in ["applications", "clearances", "checks"] {
        let (body, path) = match way {
            "applications" => (company.record(&small, "0.100001"), format!("/api/v1/applications/{}", new_id())),
            _ => (company.plan(&small, "0.100001"), format!("/api/v1/clearances/{}", new_id())),
        };
        let refused = match way {
            "checks" => company.office.post("/api/v1/checks", &body).await,
            _ => company.office.put(&path, &body).await,
        };
        assert_eq!(refused.problem(422, "invalid").faults(), ["#/lines/0"], "{way}");
    }
    let change = json!({ "lines": [{ "section_id": small, "product_lb": "1" }] });
    let correction = json!({ "application_id": id, "reason": "Weighed again.", "change": change });
    let refused = company.office.put(&format!("/api/v1/corrections/{}", new_id()), &correction).await;
    assert_eq!(refused.problem(422, "invalid").faults(), ["#/change/lines/0"]);
}

/// Rates of a need, percent of a product, prices and weights of a bag: common ones, and the ends of what can be entered.
fn needs() -> impl Strategy<Value = (String, String, String, String, String)> {
    let rate = prop_oneof![Just("0.000001"), Just("0.75"), Just("1"), Just("10000"), Just("1000000000")];
    let percent = prop_oneof![Just("0.01"), Just("24"), Just("100")];
    let price = prop_oneof![Just("0.01"), Just("31"), Just("1000000000")];
    let bag = prop_oneof![Just("0.000001"), Just("50"), Just("1000000")];
    let area = prop_oneof![Just("0.01"), Just("8200"), Just("10000000")];
    (rate, percent, price, bag, area).prop_map(|(rate, percent, price, bag, area)| {
        (rate.to_owned(), percent.to_owned(), price.to_owned(), bag.to_owned(), area.to_owned())
    })
}

async fn bagged(company: &Company, name: &str, percent: &str, bag: &str) -> String {
    let body = json!({ "name": name, "label": label(percent, "0", "0", "0"), "net_weight_lb": bag });
    company.office.post("/api/v1/products", &body).await.expect(201).id()
}

/// The harness holds each answer against the document: one that is refused says where.
#[tokio::test]
async fn whatever_is_needed_at_whatever_price_every_answer_fits_the_document() {
    // New York sets no cap on one application, so that nothing holds a plan there to a lawful amount.
    for place in ["us-md", "us-ny"] {
        plans_fit(&Company::under(&[place]).await).await;
    }
}

async fn plans_fit(company: &Company) {
    let mut runner = TestRunner::deterministic();
    let mut named: Vec<(String, String, String, String, String)> = vec![
        // The need of a blend, and of a plan, whose product or price is beyond what is stored.
        ("1".into(), "0.01".into(), "31".into(), "50".into(), "10000000".into()),
        ("1000000000".into(), "24".into(), "31".into(), "50".into(), "8200".into()),
        ("1".into(), "24".into(), "1000000000".into(), "0.000001".into(), "8200".into()),
        // A rate of product that is beyond what is stored, though the amount is not.
        ("200".into(), "0.01".into(), "31".into(), "50".into(), "100".into()),
    ];
    named.extend((0..8).map(|_| needs().new_tree(&mut runner).unwrap().current()));
    for (at, (rate, percent, price, bag, area)) in named.into_iter().enumerate() {
        let what = format!("{rate} lb of {percent} % in bags of {bag} lb at {price} USD on {area} sq ft");
        let product = bagged(company, &format!("Feed {at}"), &percent, &bag).await;
        let need = json!({ "nitrogen_lb_per_1000_sqft": rate, "phosphate_lb_per_1000_sqft": "0", "potash_lb_per_1000_sqft": "0" });
        let mut blend = json!({ "area_sqft": area, "need": need, "products": [{ "product_id": product }] });
        for priced in [false, true] {
            if priced {
                blend["products"][0]["bag_price_usd"] = json!(price);
            }
            let told = company.office.post("/api/v1/blends", &blend).await;
            assert!(matches!(told.status, 200 | 422), "{what}: {}", told.text);
        }
        let lawn = section(&company.office, &company.property, &format!("lawn {at}"), &area).await;
        let programme = json!({
            "name": format!("Season {at}"), "season_year": 2026, "equipment": "drop_spreader",
            "rounds": [{ "name": "autumn", "from": "2026-09-16", "to": "2026-10-30" }],
            "products": [{ "product_id": product, "bag_price_usd": price, "may_buy": true }],
            "needs": [{ "section_id": lawn, "nitrogen_lb_per_1000_sqft": rate, "because": "Tried" }],
            "least_product_lb_per_1000_sqft": "0",
        });
        let written = company.office.post("/api/v1/programmes", &programme).await;
        if written.status == 422 {
            assert_eq!(written.problem(422, "invalid").faults(), ["#/needs/0/nitrogen_lb_per_1000_sqft"], "{what}");
            continue;
        }
        let id = written.expect(201).id();
        let told = company.office.get(&format!("/api/v1/sections/{lawn}/plan?programme_id={id}")).await;
        assert!(matches!(told.status, 200 | 422), "{what}: {}", told.text);
        let told = company.office.get(&format!("/api/v1/programmes/{id}/plan")).await;
        assert_eq!(told.status, 200, "{what}: {}", told.text);
    }
}

#[tokio::test]
async fn more_product_or_money_than_is_stored_is_refused_where_it_was_asked() {
    let company = Company::in_maryland().await;
    let thin = bagged(&company, "Thin", "0.01", "50").await;
    // 10,000,000 sq ft at 1 lb N are 10,000 lb of nitrogen, and at 0.01 % 100,000,000 lb of product; 1,000,000 are stored.
    let mut blend = json!({
        "area_sqft": "10000000", "products": [{ "product_id": thin }],
        "need": { "nitrogen_lb_per_1000_sqft": "1", "phosphate_lb_per_1000_sqft": "0", "potash_lb_per_1000_sqft": "0" },
    });
    assert_eq!(company.office.post("/api/v1/blends", &blend).await.problem(422, "invalid").faults(), ["#/need"]);
    blend["need"]["nitrogen_lb_per_1000_sqft"] = json!("0.01");
    let most = company.office.post("/api/v1/blends", &blend).await.expect(200).body;
    assert_eq!(most["parts"][0]["product_lb"], "1000000");
}

#[tokio::test]
async fn a_target_beyond_all_measure_is_refused() {
    let company = Company::in_maryland().await;
    let large = section(&company.office, &company.property, "meadow", "10000000").await;
    let mut plan = company.plan(&large, "1");
    for (target, status) in [("0.9", 200), ("100", 422), ("1000000000", 422)] {
        plan["lines"] = json!([{ "section_id": large, "target_nitrogen_lb_per_1000_sqft": target }]);
        let _ = company.office.post("/api/v1/checks", &plan).await.expect(status);
    }
}

#[tokio::test]
async fn work_of_a_day_that_has_not_come_is_refused_whoever_acknowledges_it() {
    let company = Company::in_maryland().await;
    let mut record = company.record(&company.front, "10");
    let put = async |record: &Value| company.office.put(&format!("/api/v1/applications/{}", new_id()), record).await;
    // The clock stands at 14:00 on 2026-09-15. A phone that is a day ahead can be explained, and stands beyond the rules.
    for (day, time) in [("2026-09-16", "13:59:59Z"), ("2026-09-16", "14:00:00Z")] {
        record["started_at"] = json!(format!("{day}T13:30:00Z"));
        record["finished_at"] = json!(format!("{day}T{time}"));
        let refused = put(&record).await.problem(422, "stopped-by-rules");
        assert!(refused.rules().iter().any(|rule| rule == "book.record.not_ahead"), "{}", refused.text);
    }
    record["acknowledged"] = json!(["book.record.not_ahead"]);
    record["reason"] = json!("The phone was set wrong.");
    for (start, end) in
        [("2026-09-16T13:30:00Z", "2026-09-16T14:00:01Z"), ("2031-09-16T13:30:00Z", "2031-09-16T13:50:00Z")]
    {
        (record["started_at"], record["finished_at"]) = (json!(start), json!(end));
        let refused = put(&record).await.problem(422, "invalid");
        assert_eq!(refused.faults(), ["#/finished_at"], "{}", refused.text);
    }
}
