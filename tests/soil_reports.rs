//! Soil reports through HTTP: the sample, the laboratory's numbers with their extractant, what the published tables make of
//! them, the lime, and how long the law takes a report. Expected values are those of the published tables.

use harness::{Reply, world::Company};
use serde_json::{Value, json};

/// A report without numbers.
fn plain() -> Value {
    json!({ "sampled_on": "2025-10-02", "laboratory": "Sample Laboratory", "extractant": "mehlich_3", "cores": 12, "depth_in": "3" })
}

/// The same with more members.
fn with(more: &Value) -> Value {
    let mut report = plain();
    report.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    report
}

fn value(nutrient: &str, reading: &str, unit: &str) -> Value {
    json!({ "nutrient": nutrient, "reading": reading, "unit": unit, "basis": "element" })
}

async fn send(company: &Company, report: &Value) -> Reply {
    company.office.post(&format!("/api/v1/sections/{}/soil-reports", company.front), report).await
}

async fn read(company: &Company, report: &Value) -> Value {
    let id = send(company, report).await.expect(201).id();
    company.office.get(&format!("/api/v1/soil-reports/{id}/interpretation")).await.expect(200).body
}

async fn lime(company: &Company, report: &str, query: &str) -> Value {
    company.office.get(&format!("/api/v1/soil-reports/{report}/lime{query}")).await.expect(200).body
}

#[tokio::test]
async fn everything_on_the_laboratory_s_paper_is_kept() {
    let company = Company::in_maryland().await;
    let report = with(&json!({
        "laboratory_number": "26-00417", "tool": "probe", "before_planting": true, "depth_in": "6", "ph": "5.8", "buffer_ph": "6.3",
        "acidity": { "meq": "6.5", "per": "100_g" }, "organic_matter_percent": "3.1", "laboratory_table": "rutgers",
        "values": [value("phosphorus", "30", "lb_per_acre"), value("potassium", "82", "lb_per_acre"),
                   { "nutrient": "calcium", "reading": "615.5", "extractant": "ammonium_acetate", "unit": "ppm", "basis": "element" }],
        "phosphorus": "low", "phosphate_recommended_lb_per_1000_sqft": "0.7", "lime_recommended_lb_per_1000_sqft": "80",
    }));
    let made = send(&company, &report).await.expect(201).body;
    let found = company.phone.get(&format!("/api/v1/soil-reports/{}", made["id"].as_str().unwrap())).await.expect(200);
    for (name, sent) in report.as_object().unwrap().iter().filter(|(name, _)| *name != "values") {
        assert_eq!((&made[name], &found.body[name]), (sent, sent), "{name}");
    }
    // A number has its own extractant or that of the report.
    let extractants: Vec<&Value> =
        made["values"].as_array().unwrap().iter().map(|value| &value["extractant"]).collect();
    assert_eq!(extractants, ["mehlich_3", "mehlich_3", "ammonium_acetate"]);
    assert_eq!(found.body["values"][2]["reading"], "615.5");
    assert_eq!(made["cautions"], json!([]), "twelve cores, six inches before planting");
}

#[tokio::test]
async fn few_cores_and_odd_depths_are_told_and_not_refused() {
    // The least cores and the depths that the states' sheets name: 10, and 2 to 6 in.
    let company = Company::in_maryland().await;
    let made = send(&company, &with(&json!({ "cores": 9, "depth_in": "8" }))).await.expect(201).body;
    let cautions = made["cautions"].as_array().unwrap();
    assert_eq!(cautions.len(), 2, "{cautions:?}");
    assert!(cautions[0].as_str().unwrap().contains("Only 9 cores") && cautions[1].as_str().unwrap().contains("8 in"));
    // Penn State, read in a copy: 12 cores, 2 to 3 in. Ten cores of 3 in are enough elsewhere and not there.
    let sample = with(&json!({ "cores": 10, "depth_in": "3" }));
    assert_eq!(send(&company, &sample).await.expect(201).body["cautions"], json!([]));
    let pennsylvania = Company::under(&["us-pa"]).await;
    let told = read(&pennsylvania, &sample).await["cautions"].clone();
    assert!(told.as_array().unwrap().len() == 1 && told.to_string().contains("Penn State"), "{told}");
}

#[tokio::test]
async fn a_number_without_extractant_is_refused() {
    let company = Company::in_maryland().await;
    let mut report = with(&json!({ "values": [value("phosphorus", "30", "ppm")] }));
    report.as_object_mut().unwrap().remove("extractant");
    assert_eq!(send(&company, &report).await.problem(422, "invalid").faults(), ["#/extractant"]);
    let faults = with(&json!({
        "values": [
            value("phosphorus", "30", "ppm"), value("phosphorus", "31", "ppm"), value("potassium", "-1", "ppm"),
            { "nutrient": "calcium", "reading": "9", "unit": "furlongs", "basis": "element" },
        ],
    }));
    let refused = send(&company, &faults).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/values/2/reading", "#/values/3/unit"]);
    let twice = with(&json!({
        "values": [
            value("phosphorus", "30", "ppm"), value("phosphorus", "31", "ppm"),
            { "nutrient": "magnesium", "reading": "50", "unit": "index", "basis": "element", "north_carolina_equation": 21 },
            // The same nutrient by another extractant is another number.
            { "nutrient": "phosphorus", "reading": "12", "extractant": "bray_p1", "unit": "ppm", "basis": "element" },
        ],
        "sampled_on": "2027-01-01",
    }));
    let refused = send(&company, &twice).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/values/1/nutrient", "#/values/2/north_carolina_equation", "#/sampled_on"]);
}

#[tokio::test]
async fn numbers_are_read_by_the_table_of_their_own_laboratory() {
    let company = Company::in_maryland().await;
    // Rutgers NJAES, Relative Levels of Nutrients, read: 25 to 45 lb P an acre are low, 82 to 145 lb K medium.
    let report = with(&json!({
        "laboratory_table": "rutgers", "phosphorus": "optimum",
        "values": [value("phosphorus", "30", "lb_per_acre"), value("potassium", "82", "lb_per_acre"), value("magnesium", "90", "ppm")],
    }));
    let told = read(&company, &report).await;
    let class = |told: &Value, at: usize| told["values"][at]["interpretation"]["class"].clone();
    assert_eq!((class(&told, 0), class(&told, 1)), (json!("low"), json!("medium")));
    assert_eq!(told["values"][0]["interpretation"]["category"], "low");
    let derivation = &told["values"][0]["interpretation"]["derivation"];
    assert!(derivation["source"].as_str().unwrap().contains("Rutgers") && derivation["mark"] == "read", "{derivation}");
    // The table is in pounds an acre; a number in parts per million is not read with it.
    assert_eq!(told["values"][2]["interpretation"], Value::Null);
    assert!(told["values"][2]["not_read"].as_str().unwrap().contains("See the laboratory's own recommendation"));
    // No source says how much; and what was entered contradicts the table, which a person must see.
    assert_eq!(told["phosphate"]["recommendation"]["kind"], "see_laboratory");
    assert!(told["cautions"].to_string().contains("optimum") && told["cautions"].to_string().contains("low"));
    // The same numbers without a named table stay numbers.
    let mut bare = report;
    bare.as_object_mut().unwrap().remove("laboratory_table");
    let told = read(&company, &bare).await;
    assert_eq!((class(&told, 0), &told["phosphate"]["recommendation"]), (Value::Null, &Value::Null));
}

#[tokio::test]
async fn recommendations_have_a_source_or_there_are_none() {
    let company = Company::in_maryland().await;
    let equation = |number: i64, reading: &str| json!({ "nutrient": "phosphorus", "reading": reading, "unit": "index", "basis": "element", "north_carolina_equation": number });
    // NCDA&CS Circular 1 (2014), Table 2.4, read; value computed, exact: equation 21 at 50 is 7.25 lb on 1,000 sq ft.
    let told = read(&company, &with(&json!({ "values": [equation(21, "50")] }))).await;
    let advice = &told["phosphate"]["recommendation"];
    assert_eq!((&advice["kind"], &advice["rate_lb_per_1000_sqft"]), (&json!("published"), &json!("7.25")));
    assert!(advice["derivation"]["source"].as_str().unwrap().contains("Circular 1"));
    // The laboratory's own figure prevails.
    let own = with(&json!({ "values": [equation(21, "50")], "phosphate_recommended_lb_per_1000_sqft": "0.7" }));
    let told = read(&company, &own).await;
    assert_eq!(told["phosphate"]["recommendation"], json!({ "kind": "from_report", "rate_lb_per_1000_sqft": "0.7" }));
    // Landschoot and Wolf (2011), read: above 45 ppm Penn State recommends no phosphorus for home lawns.
    let lawn =
        with(&json!({ "laboratory_table": "penn_state_home_lawn", "values": [value("phosphorus", "60", "ppm")] }));
    let told = read(&company, &lawn).await;
    assert_eq!(told["phosphate"]["recommendation"]["kind"], "none_needed");
    assert!(told["potash"]["words"].as_str().unwrap().contains("See the laboratory's own"), "{}", told["potash"]);
}

#[tokio::test]
async fn lime_by_the_table_in_a_material_and_in_parts() {
    let company = Company::in_maryland().await;
    let acid = with(&json!({ "ph": "5.2", "acidity": { "meq": "6.5", "per": "100_g" } }));
    let id = send(&company, &acid).await.expect(201).id();
    // Penn State AASL, Lime Recommendations for Turf, read whole: acidity 6.5 for 6.5 is 110 lb.
    let told = lime(&company, &id, "?goal=6.5&cce_percent=80").await;
    assert_eq!(
        (&told["lime"]["by"], &told["lime"]["recommended_lb_per_1000_sqft"]),
        (&json!("penn_state"), &json!("110"))
    );
    // C118, computed: 110 lb at CCE 80 are 137.5 lb of material; on 8,200 sq ft 1,127.5 lb.
    let material = &told["material"];
    assert_eq!((&material["material_lb_per_1000_sqft"], &material["section_lb"]), (&json!("137.5"), &json!("1127.5")));
    assert_eq!(material["derivations"].as_array().unwrap().len(), 2);
    // Penn State AASL, rule read: over 100 lb in two or more, 4 to 6 months apart; computed.
    let parts = told["plan"]["parts"].as_array().unwrap();
    let days: Vec<&Value> = parts.iter().map(|part| &part["not_before"]).collect();
    assert_eq!(days, ["2026-09-15", "2027-01-15"]);
    assert_eq!(parts[0]["recommended_lb_per_1000_sqft"], "55");
    // University of Georgia AESL, crop sheet 772, and Penn State, read: what tall fescue wants.
    assert!(told["target_ph"].as_array().unwrap().len() > 1 && told["target_ph"][0]["from"] == "6", "{told}");
    assert_eq!((&told["georgia"]["asks_for_lime"], &told["not_known"]), (&json!(true), &json!([])));
    // Another rule splits otherwise: Georgia's puts half down and asks for a new test after four months.
    let georgia = lime(&company, &id, "?goal=6.5&cce_percent=80&split_rule=georgia&first_on=2026-10-01").await;
    assert_eq!(georgia["plan"]["parts"].as_array().unwrap().len(), 1);
    assert_eq!(georgia["plan"]["test_again_on"], "2027-02-01");
    // Without goal or material it says so, and makes nothing up.
    let open = lime(&company, &id, "").await;
    assert_eq!((&open["lime"], &open["plan"]), (&Value::Null, &Value::Null));
    assert!(open["not_known"].to_string().contains("`goal`"), "{open}");
    let open = lime(&company, &id, "?goal=6.5").await;
    assert!(open["material"].is_null() && open["not_known"].to_string().contains("`cce_percent`"), "{open}");
    let weak = lime(&company, &id, "?goal=6.5&cce_percent=0.01").await;
    assert_eq!((&weak["material"], &weak["plan"]), (&Value::Null, &Value::Null));
    assert!(weak["not_known"].to_string().contains("more than 1,000 lb"), "{weak}");
    let odd = lime(&company, &id, "?goal=6.7").await;
    assert!(odd["lime"].is_null() && odd["not_known"].to_string().contains("6, 6.5 and 7"), "{odd}");
    let bad = company.office.get(&format!("/api/v1/soil-reports/{id}/lime?goal=sour&by=feeling&cce_percent=0")).await;
    assert_eq!(bad.problem(422, "invalid").faults(), ["by", "cce_percent", "goal"]);
}

#[tokio::test]
async fn lime_by_the_formula_and_by_the_laboratory() {
    let company = Company::in_maryland().await;
    // NCDA&CS Circular 1, Table 2.1, read: acidity (6.6 - 6.3) x 4 = 1.2; 1.2 x (6 - 5) / (6.6 - 5) is 0.75 tons an acre,
    // 34.435261 lb on 1,000 sq ft (computed); with a credit of 0.25 tons 22.956841.
    let by_buffer = with(&json!({ "ph": "5", "buffer_ph": "6.3" }));
    let id = send(&company, &by_buffer).await.expect(201).id();
    let rate = |told: &Value| told["lime"]["recommended_lb_per_1000_sqft"].clone();
    let told = lime(&company, &id, "?by=north_carolina&goal=6").await;
    assert_eq!(rate(&told), "34.435261");
    assert!(told["lime"]["derivation"]["formula"].as_str().unwrap().contains("(6.6 - pH)"));
    assert_eq!(rate(&lime(&company, &id, "?by=north_carolina&goal=6&credit_tons_per_acre=0.25").await), "22.956841");
    // A buffer's pH alone is no acidity of just any laboratory: somebody must say whose buffer it is.
    assert!(lime(&company, &id, "?goal=6").await["lime"].is_null());
    // By volume the formula follows by itself, and the laboratory's own figure goes before everything.
    let volume = json!({ "ph": "5", "acidity": { "meq": "1.2", "per": "100_cm3" } });
    let id = send(&company, &with(&volume)).await.expect(201).id();
    assert_eq!(rate(&lime(&company, &id, "?goal=6").await), "34.435261");
    let mut own = with(&volume);
    own["lime_recommended_lb_per_1000_sqft"] = json!("92");
    let id = send(&company, &own).await.expect(201).id();
    let told = lime(&company, &id, "?cce_percent=100&split_rule=north_carolina").await;
    assert_eq!((&told["lime"]["by"], rate(&told)), (&json!("laboratory"), json!("92")));
    // New Hampshire's report, quoted, has 92 lb under 50 at once: two (computed).
    let parts = told["plan"]["parts"].as_array().unwrap();
    assert_eq!((parts.len(), &parts[1]["not_before"]), (2, &json!("2027-03-15")));
    assert!(lime(&company, &id, "").await["not_known"].to_string().contains("`split_rule`"));
    // Nothing known, nothing said.
    let id = send(&company, &with(&json!({ "ph": "5" }))).await.expect(201).id();
    let told = lime(&company, &id, "?goal=6.5&cce_percent=90").await;
    assert!(told["lime"].is_null() && told["not_known"].to_string().contains("no acidity"), "{told}");
}

#[tokio::test]
async fn each_rule_set_says_until_when_it_takes_a_report() {
    // COMAR 15.20.10 and Md. Code: soil of the last three years; the last day is that on which a decision still takes it.
    let company = Company::in_maryland().await;
    let id = send(&company, &with(&json!({ "sampled_on": "2023-10-02" }))).await.expect(201).id();
    let path = format!("/api/v1/soil-reports/{id}");
    let told = company.phone.get(&path).await.expect(200).body;
    let taken = told["taken_until"].as_array().unwrap();
    assert!(taken.len() > 1, "{told}");
    for rule in taken {
        assert_eq!((&rule["months"], &rule["until"]), (&json!(36), &json!("2026-10-02")), "{rule}");
        assert!(rule["rule"].as_str().unwrap().starts_with("us-md.") && rule["citation"].as_str().unwrap().len() > 5);
        assert!(rule["words"].as_str().unwrap().contains("this one until 2026-10-02"));
    }
    assert_eq!((&told["on"], &told["lime"]), (&json!("2026-09-15"), &json!(format!("{path}/lime"))));
    // Vermont, 6 V.S.A. 1266b: 18 months, over since 2025-04-02.
    let vermont = Company::under(&["us-vt"]).await;
    let id = send(&vermont, &with(&json!({ "sampled_on": "2023-10-02" }))).await.expect(201).id();
    let told = vermont.office.get(&format!("/api/v1/soil-reports/{id}")).await.expect(200).body;
    assert_eq!(told["taken_until"][0]["until"], "2025-04-02");
    assert!(told["taken_until"][0]["words"].as_str().unwrap().contains("no more after"), "{told}");
}

/// What the report says of the last day is what a decision does on it.
#[tokio::test]
async fn the_last_day_is_the_last_day_of_a_decision() {
    let company = Company::in_maryland().await;
    let label = harness::world::label("10", "3", "10", "0");
    let product = harness::world::product(&company.office, "Feed 10-10-0", &label).await;
    let report = json!({
        "sampled_on": "2023-10-05", "laboratory": "Sample Laboratory", "extractant": "mehlich_3", "phosphorus": "low",
        "phosphate_recommended_lb_per_1000_sqft": "1",
    });
    // A section of its own, on which no younger report lies.
    let section = harness::world::section(&company.office, &company.property, "side lawn", "4000").await;
    let path = format!("/api/v1/sections/{section}/soil-reports");
    let id = company.office.post(&path, &report).await.expect(201).id();
    let told = company.office.get(&format!("/api/v1/soil-reports/{id}")).await.expect(200).body;
    assert_eq!(told["taken_until"][0]["until"], "2026-10-05");
    for (day, met) in [("2026-10-05", true), ("2026-10-06", false)] {
        let mut plan = company.plan(&section, "5");
        plan["product_id"] = json!(product);
        plan["planned_on"] = json!(day);
        let decision = company.phone.post("/api/v1/checks", &plan).await.expect(200).body;
        let broken = decision["decision"]["findings"]
            .as_array()
            .unwrap()
            .iter()
            .any(|finding| finding["rule"] == "us-md.professional.phosphorus.need" && finding["verdict"] == "stop");
        assert_eq!(!broken, met, "{day}: {decision}");
    }
}

#[tokio::test]
async fn strangers_see_nothing_of_a_report_and_a_repeat_is_one() {
    let company = Company::in_maryland().await;
    let (_, stranger) = harness::world::technician(&company.app, &company.office, &company.owner, "Tech 02").await;
    let path = format!("/api/v1/sections/{}/soil-reports", company.front);
    let report = with(&json!({ "values": [value("phosphorus", "30", "ppm")] }));
    let key = "one-key-for-one-paper";
    let first = company.office.post_with_key(&path, key, &report).await.expect(201);
    let again = company.office.post_with_key(&path, key, &report).await.expect(201);
    assert_eq!((again.header("idempotency-replayed"), &again.body), (Some("true"), &first.body));
    for what in ["", "/interpretation", "/lime"] {
        let address = format!("/api/v1/soil-reports/{}{what}", first.id());
        let _ = company.phone.get(&address).await.expect(200);
        let _ = stranger.get(&address).await.problem(404, "not-found");
    }
    let _ = company.phone.post(&path, &report).await.problem(403, "not-allowed");
}
