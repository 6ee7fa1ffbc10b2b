//! The load sheet of a truck and a day.

use harness::{
    new_id,
    world::{Company, product, technician},
};
use serde_json::json;

use super::amount;

#[tokio::test]
async fn a_day_s_load_adds_up() {
    // Computed: 0.75 lb N from 24 % is 3.125 lb on 1,000 sq ft: 25.625 lb on 8,200 and 15.625 lb on 5,000 sq ft, 41.25 lb.
    // With a tenth to spare 45.375 lb, one bag of 50; three fills of a 20 lb hopper.
    let company = Company::in_maryland().await;
    let path = "/api/v1/days/2026-09-15/load-sheet?hopper_lb=20";
    let sheet = company.phone.get(path).await.expect(200).body;
    let mut stops: Vec<&str> = super::each(&sheet["stops"], "product_lb");
    stops.sort_unstable();
    assert_eq!(stops, ["15.625", "25.625"]);
    assert!(sheet["stops"][0]["derivation"]["formula"].as_str().unwrap().contains("target x area"));
    let load = &sheet["products"][0];
    assert_eq!((&load["needed_lb"], &load["bags"], &load["loaded_lb"]), (&json!("41.25"), &json!(1), &json!("50")));
    assert_eq!((&load["fills"], &load["spray_gal"]), (&json!(3), &json!(null)));
    assert_eq!((&load["derivation"]["result"], &load["fills_derivation"]["result"]), (&json!("1"), &json!("3")));
    assert!(sheet["caution"].as_str().unwrap().contains("label"));
    // As a table: a row for each stop and each product, with the same figures.
    let csv = company.phone.get(&format!("{path}&format=csv")).await.expect(200);
    assert_eq!(csv.header("content-type"), Some("text/csv; charset=utf-8; header=present"));
    let mut reader = csv::Reader::from_reader(csv.text.as_bytes());
    let head = reader.headers().unwrap().clone();
    let column = |name: &str| head.iter().position(|known| known == name).unwrap();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let kinds: Vec<&str> = rows.iter().map(|row| &row[column("row")]).collect();
    assert_eq!(kinds, ["stop", "stop", "load", "caution"]);
    assert_eq!((&rows[2][column("product_lb")], &rows[2][column("bags")]), ("41.25", "1"));
    let _ = company.phone.get_with(path, &[("accept", "text/html")]).await.problem(406, "not-acceptable");
    // What is recorded is on the lawn, not on the truck.
    company.put_down(&company.front, "20").await;
    let after = company.phone.get(path).await.expect(200).body;
    assert_eq!(super::each(&after["stops"], "section_id"), [&company.rear]);
    // Of a section of which a part is recorded, the rest is still to be loaded: 3.125 lb on 1,000 sq ft, 9.375 lb on 3,000.
    let mut part = company.record(&company.rear, "2");
    part["lines"][0]["treated_area_sqft"] = json!("2000");
    let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &part).await.expect(201);
    let after = company.phone.get(path).await.expect(200).body;
    assert_eq!(super::each(&after["stops"], "product_lb"), ["9.375"]);
    company.put_down(&company.rear, "5").await;
    let after = company.phone.get(path).await.expect(200).body;
    assert_eq!((&after["stops"], &after["products"]), (&json!([]), &json!([])));
}

#[tokio::test]
async fn a_liquid_needs_its_tank_and_its_water() {
    // Computed: at 1.5 gal on 1,000 sq ft 13,200 sq ft take 19.8 gal, from a 10 gal tank in two fills. 0.25 lb N from 25 % is
    // 1 lb on 1,000 sq ft, 13.2 lb; at 11 lb a gallon that is 1.2 gal, so 18.6 gal of water. A tank covers 6,666.67 sq ft.
    let company = Company::in_maryland().await;
    let liquid = json!({
        "form": "liquid", "nitrogen_percent": "25", "slow_nitrogen_percent": "12", "phosphate_percent": "0",
        "potash_percent": "0", "printed": { "density_lb_per_gal": "11" },
    });
    let liquid = product(&company.office, "Liquid 25-0-0", &liquid).await;
    let visit = json!({
        "property_id": company.property, "person_id": company.phone.id, "planned_on": "2026-09-20", "product_id": liquid,
        "section_ids": [company.front, company.rear], "purpose": "maintenance", "target_nitrogen_lb_per_1000_sqft": "0.25",
    });
    let _ = company.office.post("/api/v1/visits", &visit).await.expect(201);
    let path = format!("/api/v1/days/2026-09-20/load-sheet?person_id={}", company.phone.id.as_deref().unwrap());
    let sheet = company.office.get(&format!("{path}&tank_gal=10&spray_gal_per_1000_sqft=1.5")).await.expect(200).body;
    let load = &sheet["products"][0];
    assert_eq!((amount(&load["spray_gal"]), &load["fills"]), (19.8, &json!(2)));
    assert_eq!((&load["water_gal"], &load["product_lb_per_tank"]), (&json!("18.6"), &json!("6.666666")));
    assert_eq!(load["fills_derivation"]["inputs"][0]["value"], "13200.00");
    let bare = company.office.get(&path).await.expect(200).body;
    assert_eq!((&bare["products"][0]["spray_gal"], &bare["products"][0]["fills"]), (&json!(null), &json!(null)));
    for (query, places) in [
        ("tank_gal=10", ["spray_gal_per_1000_sqft"]),
        ("spray_gal_per_1000_sqft=1.5", ["tank_gal"]),
        ("hopper_lb=0", ["hopper_lb"]),
        ("spare_percent=101", ["spare_percent"]),
        ("hopper_lb=heavy", ["hopper_lb"]),
    ] {
        let told = company.office.get(&format!("{path}&{query}")).await.problem(422, "invalid");
        assert_eq!(told.faults(), places, "{query}");
    }
}

#[tokio::test]
async fn fills_are_counted_with_the_machine_that_goes_along() {
    // As above: 41.25 lb, three fills of a 20 lb hopper, two of one of 40 lb. 1.5 gal caught on 1,000 sq ft: 13,200 sq ft take
    // 19.8 gal, two tanks of 10 gal.
    let company = Company::in_maryland().await;
    let machine = |name: &str, kind: &str, member: &str, holds: &str| {
        let mut machine = json!({ "name": name, "kind": kind, "active": true });
        machine[member] = json!(holds);
        machine
    };
    let add = async |machine: serde_json::Value| {
        company.office.post("/api/v1/equipment", &machine).await.expect(201).body["id"].clone()
    };
    let small = add(machine("Spreader 11", "rotary_spreader", "hopper_lb", "20")).await;
    let large = add(machine("Spreader 12", "rotary_spreader", "hopper_lb", "40")).await;
    let path = "/api/v1/days/2026-09-15/load-sheet";
    let fills = async |query: &str| {
        let load = company.phone.get(&format!("{path}{query}")).await.expect(200).body["products"][0].clone();
        (load["fills"].clone(), load["counted_with"].clone())
    };
    assert_eq!(fills("").await, (json!(null), json!(null)));
    let named = format!("?equipment_id={}", small.as_str().unwrap());
    assert_eq!(fills(&named).await, (json!(3), json!("Spreader 11")));
    assert_eq!(fills(&format!("{named}&hopper_lb=50")).await, (json!(1), json!(null)));
    // Nobody names one: it is the machine that the operator calibrated last with the product.
    let calibration = json!({
        "equipment_id": large, "product_id": company.feed, "calibrated_on": "2026-09-14",
        "test": { "method": "course", "put_in_lb": "10", "left_over_lb": "6.9", "swath_ft": "8", "swath_by": "half_of_centre",
                  "distance_ft": "125", "target_lb_per_1000_sqft": "3.125" },
    });
    let _ = company.phone.post("/api/v1/calibrations", &calibration).await.expect(201);
    assert_eq!(fills("").await, (json!(2), json!("Spreader 12")));
    let unknown = format!("{path}?equipment_id={}", company.front);
    let told = company.phone.get(&unknown).await.problem(422, "invalid");
    assert_eq!(told.faults(), ["equipment_id"]);

    let liquid = json!({
        "form": "liquid", "nitrogen_percent": "25", "slow_nitrogen_percent": "12", "phosphate_percent": "0",
        "potash_percent": "0", "printed": { "density_lb_per_gal": "11" },
    });
    let liquid = product(&company.office, "Liquid 25-0-0", &liquid).await;
    let gun = add(machine("Sprayer 11", "spray_gun", "tank_gal", "10")).await;
    let visit = json!({
        "property_id": company.property, "person_id": company.phone.id, "planned_on": "2026-09-20", "product_id": liquid,
        "section_ids": [company.front, company.rear], "purpose": "maintenance", "target_nitrogen_lb_per_1000_sqft": "0.25",
    });
    let _ = company.office.post("/api/v1/visits", &visit).await.expect(201);
    let calibration = json!({
        "equipment_id": gun, "product_id": liquid, "calibrated_on": "2026-09-14",
        "test": { "method": "gun", "caught_gal": "1.5", "area_sqft": "1000", "target_gal_per_1000_sqft": "1.5" },
    });
    let _ = company.phone.post("/api/v1/calibrations", &calibration).await.expect(201);
    let sheet = company.phone.get("/api/v1/days/2026-09-20/load-sheet").await.expect(200).body;
    let load = &sheet["products"][0];
    assert_eq!((amount(&load["spray_gal"]), &load["fills"]), (19.8, &json!(2)));
    assert_eq!(load["counted_with"], json!("Sprayer 11"));
}

#[tokio::test]
async fn a_technician_reads_the_own_day_only_and_gaps_are_named() {
    let company = Company::in_maryland().await;
    let (_, other) = technician(&company.app, &company.office, &company.owner, "Tech 02").await;
    let path = "/api/v1/days/2026-09-15/load-sheet";
    let of_phone = format!("{path}?person_id={}", company.phone.id.as_deref().unwrap());
    let hidden = other.get(&of_phone).await.problem(404, "not-found");
    assert!(!hidden.text.contains("Client 001"));
    assert_eq!(other.get(path).await.expect(200).body["stops"], json!([]));
    let _ = company.phone.get(&of_phone).await.expect(200);
    let _ = company.app.nobody().get(path).await.expect(401);
    let _ = company.office.get("/api/v1/days/tomorrow/load-sheet").await.problem(422, "invalid");
    let visit = json!({
        "property_id": company.property, "person_id": company.phone.id, "planned_on": "2026-09-21", "product_id": company.feed,
        "section_ids": [company.front], "purpose": "maintenance",
    });
    let _ = company.office.post("/api/v1/visits", &visit).await.expect(201);
    let sheet = company.phone.get("/api/v1/days/2026-09-21/load-sheet").await.expect(200).body;
    assert_eq!(sheet["stops"], json!([]));
    assert!(sheet["gaps"][0].as_str().unwrap().contains("no nitrogen target"), "{}", sheet["gaps"]);
}
