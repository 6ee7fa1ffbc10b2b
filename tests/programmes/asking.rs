//! What a section needs and what its season looks like.

use harness::world::{Company, label, product};
use serde_json::json;

use super::{amount, call_off, describe, each, plan, programme, written};

#[tokio::test]
async fn the_need_follows_the_published_programme_the_level_and_the_credits() {
    // University of Maryland Extension, Lawn Fertilizer Schedule, read: tall fescue 0.7 to 0.9 lb in September and in October
    // to mid-November, 0.5 to 0.9 lb in May optional; computed: 1.4, 1.8 and 2.7 lb. Clippings a fourth less (Idaho, NC
    // State); shade half (Illinois, Lawn Talk).
    let company = Company::in_maryland().await;
    call_off(&company).await;
    let id = written(&company.office, &programme(&company)).await;
    for (level, clippings, shade, expected) in [
        ("low", "taken", "light", "1.4"),
        ("medium", "taken", "light", "1.8"),
        ("high", "taken", "light", "2.7"),
        ("high", "left", "light", "2.025"),
        ("high", "taken", "heavy", "1.35"),
        ("high", "left", "medium", "1.0125"),
    ] {
        describe(&company, &company.front, level, clippings, shade).await;
        let plan = plan(&company, &company.front, &id).await;
        let need = &plan["need"]["nitrogen"];
        assert_eq!(need["season_lb_per_1000_sqft"], expected, "{level} {clippings} {shade}");
        assert_eq!(need["still_lb_per_1000_sqft"], expected);
        let derivation = &need["derivation"];
        assert!(derivation["source"].as_str().unwrap().contains("University of Maryland Extension"), "{derivation}");
        assert_eq!((&derivation["mark"], &derivation["result"]), (&json!("read"), &json!(expected)));
        assert!(!derivation["inputs"].as_array().unwrap().is_empty());
    }
    // What nobody has said is named, and nothing is taken off for it.
    describe(&company, &company.front, "medium", "unknown", "unknown").await;
    let unsaid = plan(&company, &company.front, &id).await;
    assert_eq!(unsaid["need"]["nitrogen"]["season_lb_per_1000_sqft"], "1.8");
    let gaps = unsaid["gaps"].to_string();
    assert!(gaps.contains("clippings") && gaps.contains("light") && gaps.contains("K2O"), "{gaps}");
}

#[tokio::test]
async fn a_plan_goes_down_in_open_windows_under_the_caps() {
    let company = Company::in_maryland().await;
    describe(&company, &company.front, "medium", "taken", "light").await;
    let id = written(&company.office, &programme(&company)).await;
    let seen = plan(&company, &company.front, &id).await;
    // The visit of September 15 with 0.75 lb stands in the book: 1.8 - 0.75 is left (computed; its product is rounded down).
    let still = amount(&seen["need"]["nitrogen"]["still_lb_per_1000_sqft"]);
    assert!((still - 1.05).abs() < 0.000_01, "{still}");
    assert_eq!(each(&seen["rounds"], "round"), ["early autumn", "late autumn"]);
    let rates: Vec<f64> =
        seen["rounds"].as_array().unwrap().iter().map(|round| amount(&round["nitrogen_lb_per_1000_sqft"])).collect();
    assert!((rates.iter().sum::<f64>() - 1.05).abs() < 0.003, "{rates:?}");
    assert!(rates.iter().all(|rate| *rate <= 0.9), "COMAR 15.20.10: 0.9 lb at once: {rates:?}");
    assert_eq!(seen["unmet"], json!([]));
    assert_eq!(each(&seen["skipped"], "round"), ["midwinter"]);
    assert!(seen["skipped"][0]["why"].as_str().unwrap().contains("has no step on these days"), "{}", seen["skipped"]);
    // Step by step: of September 0.75 lb stands in a visit, and May is optional, which medium care leaves out.
    let schedule = &seen["schedule"];
    assert!(schedule["source"].as_str().unwrap().contains("University of Maryland Extension"), "{schedule}");
    assert_eq!(each(&schedule["steps"], "outcome"), ["not_at_this_level", "planned", "planned"], "{schedule:#}");
    assert_eq!(each(&schedule["steps"], "wanted_lb_per_1000_sqft"), ["0", "0.9", "0.9"]);
    let spent = amount(&schedule["steps"][1]["spent_lb_per_1000_sqft"]);
    assert!((spent - 0.75).abs() < 0.000_01, "{spent}");
    let round = &seen["rounds"][0];
    assert_eq!(round["derivation"]["result"], round["product_lb"]);
    // 31 USD for 50 lb (computed), up to the cent.
    let product: f64 = seen["rounds"].as_array().unwrap().iter().map(|round| amount(&round["product_lb"])).sum();
    assert!((amount(&seen["price_usd"]) - product * 31.0 / 50.0).abs() < 0.011, "{}", seen["price_usd"]);
    assert_eq!(seen["price_derivation"]["result"], seen["price_usd"]);
}

#[tokio::test]
async fn an_infeasible_plan_names_what_collides() {
    let company = Company::in_maryland().await;
    call_off(&company).await;
    let mut wanted = programme(&company);
    wanted["needs"] =
        json!([{ "nitrogen_lb_per_1000_sqft": "4", "potash_lb_per_1000_sqft": "0.3", "because": "An experiment" }]);
    let id = written(&company.office, &wanted).await;
    let seen = plan(&company, &company.front, &id).await;
    // Two open rounds of at most 0.9 lb (COMAR 15.20.10): 4 - 1.8 is missing (computed).
    let unmet = &seen["unmet"][0];
    assert_eq!(unmet["nutrient"], "nitrogen");
    assert!((amount(&unmet["missing_lb_per_1000_sqft"]) - 2.2).abs() < 0.003, "{unmet}");
    let words = unmet["conflicts_with"].to_string();
    assert!(words.contains("0.9") && words.contains("midwinter is closed"), "{words}");
    assert_eq!(seen["need"]["potash"]["derivation"]["source"], "An experiment");
    // A figure that the office entered follows no schedule.
    assert_eq!(seen["schedule"], json!(null));
}

#[tokio::test]
async fn the_cheapest_or_the_fewest_as_asked() {
    let company = Company::in_maryland().await;
    call_off(&company).await;
    let urea = product(&company.office, "Urea 46-0-0", &label("46", "0", "0", "0")).await;
    let mut wanted = programme(&company);
    wanted["products"] = json!([
        { "product_id": urea, "bag_price_usd": "50", "may_buy": true },
        { "product_id": company.feed, "bag_price_usd": "60", "may_buy": true },
    ]);
    wanted["needs"] =
        json!([{ "nitrogen_lb_per_1000_sqft": "1.2", "potash_lb_per_1000_sqft": "0.2", "because": "An experiment" }]);
    let id = written(&company.office, &wanted).await;
    let path = format!("/api/v1/sections/{}/plan?programme_id={id}", company.front);
    let kinds = |plan: &serde_json::Value| {
        let mut kinds = each(&plan["rounds"], "product_id").into_iter().map(str::to_owned).collect::<Vec<_>>();
        kinds.sort();
        kinds.dedup();
        kinds.len()
    };
    let cheap = company.office.get(&format!("{path}&aim=least_cost")).await.expect(200).body;
    let few = company.office.get(&format!("{path}&aim=fewest_products")).await.expect(200).body;
    assert_eq!((kinds(&cheap), kinds(&few)), (2, 1), "{cheap:#} {few:#}");
    assert!(amount(&cheap["price_usd"]) < amount(&few["price_usd"]));
    assert_eq!((&cheap["unmet"], &few["unmet"]), (&json!([]), &json!([])));
}

#[tokio::test]
async fn a_need_without_a_source_is_asked_for_and_never_guessed() {
    let company = Company::in_maryland().await;
    let id = written(&company.office, &programme(&company)).await;
    let path = format!("/api/v1/sections/{}/plan?programme_id={id}", company.front);
    // Nobody has said how much is made of the lawn.
    let told = company.office.get(&path).await.problem(422, "invalid");
    assert!(told.text.contains("level of maintenance"), "{}", told.text);
    let mut other = programme(&company);
    other["needs"] = json!([{ "species": "centipede", "nitrogen_lb_per_1000_sqft": "1", "because": "An experiment" }]);
    let other = written(&company.office, &other).await;
    let path = format!("/api/v1/sections/{}/plan?programme_id={other}", company.front);
    let told = company.office.get(&path).await.problem(422, "invalid");
    assert!(told.text.contains("tall fescue, for which the program states no need"), "{}", told.text);
    // The section's own entry says most.
    let mut own = programme(&company);
    own["needs"] = json!([
        { "nitrogen_lb_per_1000_sqft": "1", "because": "All others" },
        { "species": "tall_fescue", "nitrogen_lb_per_1000_sqft": "1.1", "because": "Tall fescue" },
        { "section_id": company.front, "nitrogen_lb_per_1000_sqft": "1.2", "because": "This lawn" },
    ]);
    let own = written(&company.office, &own).await;
    for (section, because) in [(&company.front, "This lawn"), (&company.rear, "Tall fescue")] {
        let plan = plan(&company, section, &own).await;
        assert_eq!(plan["need"]["nitrogen"]["derivation"]["source"], because);
    }
}

#[tokio::test]
async fn a_wrong_programme_is_refused_with_all_its_faults() {
    let company = Company::in_maryland().await;
    let nothing = "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7aff";
    let wrong = json!({
        "name": "Cool-season lawns", "season_year": 2026, "equipment": "drop_spreader",
        "rounds": [
            { "name": "autumn", "from": "2026-09-16", "to": "2026-09-10" },
            { "name": "autumn", "from": "2027-09-16", "to": "2027-09-30" },
        ],
        "products": [
            { "product_id": nothing, "bag_price_usd": "31", "may_buy": true },
            { "product_id": nothing, "bag_price_usd": "31", "may_buy": true },
        ],
        "needs": [
            { "published": "Nowhere, moss" },
            { "species": "centipede", "published": "Maryland, fine fescue" },
            { "species": "zoysia" },
            { "section_id": nothing, "nitrogen_lb_per_1000_sqft": "1" },
            { "maintenance": "low", "published": "Maryland, fine fescue", "nitrogen_lb_per_1000_sqft": "1", "because": "Both" },
        ],
        "least_product_lb_per_1000_sqft": "0.5",
    });
    let told = company.office.post("/api/v1/programmes", &wrong).await.problem(422, "invalid");
    for place in [
        "#/rounds/0/to",
        "#/rounds/1/name",
        "#/rounds/1/from",
        "#/products/0/product_id",
        "#/products/1/product_id",
        "#/needs/0/published",
        "#/needs/1/species",
        "#/needs/2/published",
        "#/needs/3/because",
        "#/needs/3/section_id",
        "#/needs/4/nitrogen_lb_per_1000_sqft",
    ] {
        assert!(told.faults().iter().any(|fault| fault == place), "{place} is not told: {}", told.text);
    }
    let mut shapeless = programme(&company);
    shapeless["rounds"] = json!([]);
    shapeless["season_year"] = json!(1066);
    shapeless["weather"] = json!("fine");
    let told = company.office.post("/api/v1/programmes", &shapeless).await.problem(422, "invalid");
    assert_eq!(told.faults(), ["#/rounds", "#/season_year", "#/weather"]);
    let id = written(&company.office, &programme(&company)).await;
    let section = format!("/api/v1/sections/{}/plan", company.front);
    for (path, status) in [
        (section.clone(), 422),
        (format!("{section}?programme_id={nothing}"), 404),
        (format!("{section}?programme_id={id}&from=2020-01-01"), 422),
        (format!("{section}?programme_id={id}&aim=most_cost"), 422),
        (format!("/api/v1/sections/{nothing}/plan?programme_id={id}"), 404),
        (format!("/api/v1/programmes/{id}/plan?client_id={nothing}"), 422),
        (format!("/api/v1/programmes/{id}/plan?lead_days=-1"), 422),
        (format!("/api/v1/programmes/{nothing}/plan"), 404),
    ] {
        let _ = company.office.get(&path).await.expect(status);
        let _ = company.phone.get(&path).await.expect(403);
    }
}

#[tokio::test]
async fn a_programme_is_changed_by_version_and_keeps_its_planned_rounds() {
    let company = Company::in_maryland().await;
    call_off(&company).await;
    describe(&company, &company.front, "medium", "taken", "light").await;
    let mut wanted = programme(&company);
    let id = written(&company.office, &wanted).await;
    let path = format!("/api/v1/programmes/{id}");
    let visits = json!({
        "round": "early autumn", "planned_on": "2026-09-16", "person_id": company.phone.id, "section_ids": [company.front],
    });
    let _ = company.office.post(&format!("{path}/visits"), &visits).await.expect(201);
    let _ = company.office.put(&path, &wanted).await.problem(428, "version-required");
    wanted["rounds"][0]["name"] = json!("first of autumn");
    let told = company.office.put_version(&path, "\"v1\"", &wanted).await.problem(422, "invalid");
    assert_eq!(told.faults(), ["#/rounds"]);
    wanted["rounds"][0]["name"] = json!("early autumn");
    wanted["name"] = json!("Cool-season lawns, second draft");
    let changed = company.office.put_version(&path, "\"v1\"", &wanted).await.expect(200).body;
    assert_eq!((&changed["version"], &changed["name"]), (&json!(2), &wanted["name"]));
    let _ = company.office.put_version(&path, "\"v1\"", &wanted).await.problem(412, "version-outdated");
    let listed = company.owner.get("/api/v1/programmes").await.expect(200).body;
    assert_eq!(listed["items"].as_array().unwrap().len(), 1);
    let published = company.phone.get("/api/v1/published-programmes").await.expect(200).body;
    assert!(each(&published["items"], "source").iter().all(|source| !source.is_empty()));
}

#[tokio::test]
async fn a_season_that_is_over_stands_against_its_own_need() {
    let company = Company::in_maryland().await;
    call_off(&company).await;
    describe(&company, &company.front, "medium", "taken", "light").await;
    let id = written(&company.office, &programme(&company)).await;
    let path = format!("/api/v1/sections/{}/plan?programme_id={id}&from=2027-01-05", company.front);
    let seen = company.office.get(&path).await.expect(200).body;
    let against: Vec<&str> =
        seen["unmet"][0]["conflicts_with"].as_array().unwrap().iter().map(|words| words.as_str().unwrap()).collect();
    // No rule and no limit is to blame, only the calendar.
    assert_eq!(
        against,
        [
            "round early autumn: It is over: it ended on 2026-09-30.",
            "round late autumn: It is over: it ended on 2026-11-15.",
            "round midwinter: It is over: it ended on 2026-12-20.",
            "the need of N",
        ]
    );
}
