//! Calibrations through HTTP: the published figures again, whose they are, what is in force on a day, and the phone's day.

use harness::{
    User, new_id,
    world::{Company, course, product, rotary_spreader, technician},
};
use serde_json::{Value, json};

const PATH: &str = "/api/v1/calibrations";

/// A machine, and a liquid or granular product that goes through it.
async fn machine(office: &User, kind: &str) -> String {
    let body = json!({ "name": kind, "kind": kind, "active": true });
    office.post("/api/v1/equipment", &body).await.expect(201).id()
}

async fn liquid(office: &User) -> String {
    let label = json!({
        "form": "liquid", "nitrogen_percent": "28", "slow_nitrogen_percent": "0", "phosphate_percent": "0", "potash_percent": "0",
        "printed": { "density_lb_per_gal": "10.6" },
    });
    product(office, "Liquid 28-0-0", &label).await
}

fn of(equipment: &str, product: &str, test: &Value) -> Value {
    json!({ "equipment_id": equipment, "product_id": product, "calibrated_on": "2026-09-14", "test": test })
}

#[tokio::test]
async fn each_test_gives_its_published_figure_and_its_derivation() {
    let company = Company::in_maryland().await;
    let (office, phone, feed) = (&company.office, &company.phone, &company.feed);
    let (rotary, drop_) = (rotary_spreader(office).await, machine(office, "drop_spreader").await);
    let (gun, boom) = (machine(office, "spray_gun").await, machine(office, "boom_sprayer").await);
    let liquid = liquid(office).await;
    let result = async |body: &Value| phone.post(PATH, body).await.expect(201).body["result"].clone();

    // UMass Extension, Rotary Spreader Calibration Procedures: 5.00 lb are met by 4.75 to 5.25, and 5.00 are two passes of 2.5.
    // Georgia, Calibrating Spreaders: weigh back after a measured walk; 4.8 lb on 8 x 125 ft are 4.8 (computed).
    let found = result(&course(&rotary, feed, "2026-09-14")).await;
    assert_eq!(found["product_lb_per_1000_sqft"], "4.8");
    assert_eq!(found["half_rate_lb_per_1000_sqft"], "2.5");
    assert_eq!(
        (&found["acceptance"]["accepted"], &found["acceptance"]["deviation_hundredths_percent"]),
        (&json!(true), &json!(-400))
    );
    let derivation = &found["derivations"][0];
    assert_eq!((&derivation["result"], &derivation["mark"]), (&json!("4.8"), &json!("read")));
    assert!(
        derivation["source"].as_str().unwrap().contains("Georgia")
            && derivation["inputs"].as_array().unwrap().len() == 4
    );
    assert!(found["acceptance"]["derivation"]["source"].as_str().unwrap().contains("UMass"));

    // Clemson, Calibrating Spreaders: a drop spreader's swath is its hopper. 0.5 lb on 2 x 50 ft are 5 (computed).
    let dropped = json!({
        "method": "course", "put_in_lb": "3", "left_over_lb": "2.5", "swath_ft": "2", "swath_by": "hopper", "distance_ft": "50",
        "target_lb_per_1000_sqft": "5",
    });
    assert_eq!(result(&of(&drop_, feed, &dropped)).await["product_lb_per_1000_sqft"], "5");

    // Penn State (Landschoot), Fertilizer Calibration, read in a reprint: a known area of 50 x 100 ft; 19 lb are 3.8 (computed).
    let known = json!({
        "method": "known_area", "put_in_lb": "50", "left_over_lb": "31", "area_sqft": "5000", "target_lb_per_1000_sqft": "4",
    });
    let found = result(&of(&rotary, feed, &known)).await;
    assert_eq!((&found["product_lb_per_1000_sqft"], &found["acceptance"]["accepted"]), (&json!("3.8"), &json!(true)));

    // Ohio State, Calibrating Rotary Spreaders: 4 in at the centre and 2 in at 6 ft on either side is a swath of 12 ft.
    let pans = json!({ "method": "pans", "spacing_ft": "3", "catches": ["1", "2", "3", "4", "3", "2", "1"] });
    let found = result(&of(&rotary, feed, &pans)).await;
    assert_eq!((&found["effective_swath_ft"], &found["acceptance"]), (&json!("12"), &Value::Null));

    // The longest row is told whole: 201 pans, even but for the two ends, with the centre in the middle.
    let mut row = vec!["99999.999"; 201];
    (row[0], row[200]) = ("0", "0");
    let pans = json!({ "method": "pans", "spacing_ft": "0.25", "catches": row });
    // Half of the centre lies half a pan inside either end: 199 spacings (computed).
    assert_eq!(result(&of(&rotary, feed, &pans)).await["effective_swath_ft"], "49.75");

    // Pesticide Environmental Stewardship, Spray Gun Calibration: 5.25 gal on 1,000 sq ft are 228.7 on the acre (228.69 exact).
    let caught = json!({ "method": "gun", "caught_gal": "5.25", "area_sqft": "1000", "target_gal_per_1000_sqft": "5" });
    let found = result(&of(&gun, &liquid, &caught)).await;
    assert_eq!((&found["spray_gal_per_1000_sqft"], &found["spray_gal_per_acre"]), (&json!("5.25"), &json!("228.69")));

    // LSU AgCenter, Sprayer Calibration: 20 oz at 20 in over 200 ft are 20.4 gal an acre (20.419 exact).
    let nozzle = json!({
        "method": "boom", "caught_fl_oz": "20", "spacing_in": "20", "course_ft": "200", "target_gal_per_acre": "20",
    });
    let found = result(&of(&boom, &liquid, &nozzle)).await;
    assert!(found["spray_gal_per_acre"].as_str().unwrap().starts_with("20.4"), "{found}");
    assert_eq!((&found["acceptance"]["accepted"], found.get("worn_nozzles")), (&json!(true), None));
    // The same: a nozzle not within 10 percent is replaced. Of 20, 20, 23, 20, 20 and 20 the mean is 20.5, and 23 is 12 % above.
    let mut all = nozzle.clone();
    all["other_nozzles_fl_oz"] = json!(["20", "23", "20", "20", "20"]);
    let found = result(&of(&boom, &liquid, &all)).await;
    assert_eq!(found["worn_nozzles"], json!([3]));
    assert_eq!(found["derivations"][1]["result"], "3");
    all["other_nozzles_fl_oz"] = json!(["20.5"]);
    assert_eq!(result(&of(&boom, &liquid, &all)).await["worn_nozzles"], json!([]));
}

#[tokio::test]
async fn what_does_not_go_together_is_told() {
    let company = Company::in_maryland().await;
    let (office, phone, feed) = (&company.office, &company.phone, &company.feed);
    let rotary = rotary_spreader(office).await;
    let liquid = liquid(office).await;
    let refused = async |body: &Value| phone.post(PATH, body).await.problem(422, "invalid");

    // A hopper's swath on a rotary spreader, a liquid in it, nothing that came out, no target, a day to come: all at once.
    let mut odd = course(&rotary, &liquid, "2027-01-01");
    odd["test"]["swath_by"] = json!("hopper");
    odd["test"]["left_over_lb"] = json!("10");
    odd["test"]["target_lb_per_1000_sqft"] = json!("0");
    let told = refused(&odd).await;
    let expected = ["#/test/method", "#/product_id", "#/test/target_lb_per_1000_sqft", "#/calibrated_on", "#/test"];
    assert_eq!(told.faults(), expected, "{}", told.text);
    let mut more = course(&rotary, feed, "2026-09-14");
    more["test"]["left_over_lb"] = json!("11");
    assert_eq!(refused(&more).await.faults(), ["#/test/left_over_lb"]);
    let narrow = json!({ "method": "pans", "spacing_ft": "3", "catches": ["4", "4", "4"] });
    assert_eq!(refused(&of(&rotary, feed, &narrow)).await.faults(), ["#/test/catches"]);
    let nothing =
        refused(&of(&new_id(), &new_id(), &json!({ "method": "pans", "spacing_ft": "1", "catches": ["1", "4", "1"] })))
            .await;
    assert_eq!(nothing.faults(), ["#/equipment_id", "#/product_id"]);

    // A method that is none names those that are; a member that is missing is told as one of the method that was meant.
    let guess = refused(&of(&rotary, feed, &json!({ "method": "guess" }))).await;
    assert_eq!(guess.faults(), ["#/test/method"]);
    assert!(guess.text.contains("course, known_area, pans, gun, boom"), "{}", guess.text);
    let half = json!({ "method": "gun", "caught_gal": "5.25", "area_sqft": "1000" });
    assert_eq!(refused(&of(&rotary, feed, &half)).await.faults(), ["#/test/target_gal_per_1000_sqft"]);
    let lists = json!({ "method": "pans", "spacing_ft": "1", "catches": ["1", "2"] });
    assert_eq!(refused(&of(&rotary, feed, &lists)).await.faults(), ["#/test/catches"]);

    let out = json!({ "name": "Spreader 01", "kind": "rotary_spreader", "has_deflector": true, "active": false });
    let _ = office.put_version(&format!("/api/v1/equipment/{rotary}"), "*", &out).await.expect(200);
    let told = refused(&course(&rotary, feed, "2026-09-14")).await;
    assert_eq!(told.body["errors"][0]["code"], "not_active");
}

#[tokio::test]
async fn a_technician_writes_down_the_own() {
    let company = Company::in_maryland().await;
    let (office, phone) = (&company.office, &company.phone);
    let rotary = rotary_spreader(office).await;
    let own = phone.id.clone().unwrap();
    let mut test = course(&rotary, &company.feed, "2026-09-14");
    let made = phone.post(PATH, &test).await.expect(201).body;
    assert_eq!((&made["person_id"], &made["entered_by"]), (&json!(own), &json!(own)));
    let (other, _) = technician(&company.app, office, &company.owner, "Tech 02").await;
    test["person_id"] = json!(other);
    let refused = phone.post(PATH, &test).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/person_id"]);
    let entered = office.post(PATH, &test).await.expect(201).body;
    assert_eq!((&entered["person_id"], &entered["entered_by"]), (&json!(other), &json!(office.id)));
    test["person_id"] = json!(new_id());
    assert_eq!(office.post(PATH, &test).await.problem(422, "invalid").faults(), ["#/person_id"]);
    let listed = async |query: &str| {
        phone.get(&format!("{PATH}?{query}")).await.expect(200).body["items"].as_array().unwrap().len()
    };
    assert_eq!(listed("limit=50").await, 2);
    assert_eq!(listed(&format!("person_id={other}")).await, 1);
    assert_eq!(listed(&format!("equipment_id={}", new_id())).await, 0);
    let _ = company.app.nobody().post(PATH, &test).await.problem(401, "not-signed-in");
}

#[tokio::test]
async fn what_is_in_force_grows_old() {
    let company = Company::in_maryland().await;
    let (phone, feed) = (&company.phone, &company.feed);
    let rotary = rotary_spreader(&company.office).await;
    let ask = async |on: &str| {
        let query = format!("{PATH}/in-force?equipment_id={rotary}&product_id={feed}&on={on}");
        phone.get(&query).await.expect(200).body
    };
    assert!(ask("2026-09-15").await["words"].as_str().unwrap().starts_with("No rate was measured"));
    let first = phone.post(PATH, &course(&rotary, feed, "2026-09-01")).await.expect(201).id();
    let second = phone.post(PATH, &course(&rotary, feed, "2026-09-10")).await.expect(201).id();
    let pans = json!({ "method": "pans", "spacing_ft": "3", "catches": ["1", "2", "3", "4", "3", "2", "1"] });
    let mut pans = of(&rotary, feed, &pans);
    pans["calibrated_on"] = json!("2026-09-10");
    let swath = phone.post(PATH, &pans).await.expect(201).id();
    let ids = |body: &Value| -> Vec<String> {
        body["items"]
            .as_array()
            .unwrap()
            .iter()
            .map(|item| item["calibration"]["id"].as_str().unwrap().to_owned())
            .collect()
    };
    // The later supersedes the earlier from its day on; a row of pans stands beside the rate.
    assert_eq!(ids(&ask("2026-08-31").await), Vec::<String>::new());
    assert_eq!(ids(&ask("2026-09-09").await), [first]);
    let now = ask("2026-09-15").await;
    assert_eq!(ids(&now), [second, swath]);
    let rate = &now["items"][0];
    assert_eq!((&rate["standing"], &rate["age"], &rate["days_since"]), (&json!("fresh"), &json!("current"), &json!(5)));
    assert_eq!(rate["limits"], json!({ "days": 365, "applications": 4 }));

    // NC State, Calibration of Turfgrass and Boom Sprayers and Spreaders: after every fourth application. Only what names the
    // machine counts, and what was taken back does not.
    let put = async |day: &str, named: bool| {
        let mut record = company.record(&company.front, "2");
        record["started_at"] = json!(format!("{day}T09:05:00-04:00"));
        record["finished_at"] = json!(format!("{day}T09:31:00-04:00"));
        if named {
            record["equipment_id"] = json!(rotary);
        }
        let id = new_id();
        let _ = phone.put(&format!("/api/v1/applications/{id}"), &record).await.expect(201);
        id
    };
    let standing = async |on: &str| {
        let body = ask(on).await;
        (
            body["items"][0]["applications_since"].as_i64().unwrap(),
            body["items"][0]["standing"].as_str().unwrap().to_owned(),
        )
    };
    let _ = put("2026-09-09", true).await;
    let _ = put("2026-09-10", false).await;
    let mistaken = put("2026-09-10", true).await;
    for day in ["2026-09-11", "2026-09-12", "2026-09-13"] {
        let _ = put(day, true).await;
    }
    assert_eq!(standing("2026-09-12").await, (3, "due".to_owned()));
    assert_eq!(standing("2026-09-13").await, (4, "out".to_owned()));
    let back = json!({ "application_id": mistaken, "reason": "It was another lawn." });
    let _ = phone.put(&format!("/api/v1/corrections/{}", new_id()), &back).await.expect(201);
    assert_eq!(standing("2026-09-13").await, (3, "due".to_owned()));
    assert!(ask("2027-09-11").await["words"].as_str().unwrap().contains("Calibrate before use"));

    // The company's own limits.
    let own = json!({
        "name": "Spreader 01", "kind": "rotary_spreader", "has_deflector": true, "active": true,
        "calibration_limits": { "days": 40, "applications": 200 },
    });
    let _ = company.office.put_version(&format!("/api/v1/equipment/{rotary}"), "*", &own).await.expect(200);
    let at = async |on: &str| standing(on).await.1;
    assert_eq!((at("2026-09-20").await, at("2026-09-21").await), ("fresh".to_owned(), "due".to_owned()));
    assert_eq!((at("2026-10-20").await, at("2026-10-21").await), ("due".to_owned(), "out".to_owned()));
    let lost = phone.get(&format!("{PATH}/in-force?equipment_id={}&product_id={feed}&on=2026-09-15", new_id())).await;
    assert_eq!(lost.problem(422, "invalid").faults(), ["equipment_id"]);
}

#[tokio::test]
async fn the_phones_day_names_rate_half_rate_and_calibration() {
    let company = Company::in_maryland().await;
    let rotary = rotary_spreader(&company.office).await;
    let made = company.phone.post(PATH, &course(&rotary, &company.feed, "2026-09-14")).await.expect(201).id();
    let mut others = course(&rotary, &company.feed, "2026-09-14");
    others["person_id"] = json!(company.office.id);
    let _ = company.office.post(PATH, &others).await.expect(201);
    let day = company.phone.get("/api/v1/days/2026-09-15").await.expect(200).body;
    let visit = &day["visits"][0];
    // By the definition of a grade (NC State, Caring for Your Lawn): 0.75 lb N of a 24 % product are 3.125 lb, half 1.5625.
    assert_eq!(visit["rate"]["product_lb_per_1000_sqft"], "3.125");
    assert_eq!(visit["rate"]["half_rate_lb_per_1000_sqft"], "1.5625");
    assert!(visit["rate"]["derivations"][1]["source"].as_str().unwrap().contains("UMass"));
    let found = visit["calibrations"].as_array().unwrap();
    assert_eq!(found.len(), 1, "the own alone: {found:?}");
    assert_eq!((&found[0]["calibration"]["id"], &found[0]["standing"]), (&json!(made), &json!("fresh")));
}
