//! An inspector's questions about a year of records in three states, each answered from what is stored. What is likely asked, and
//! in which order, is a judgement from agencies' own accounts of their inspections; each law that makes a record answer is named.

use harness::world::{Company, certify, course, label, lot, product, property, rotary_spreader, section, soil_report};
use serde_json::{Value, json};
use server::{book::verify::check_file, secret::sha256};

struct Year {
    company: Company,
    /// The lawn of each state's property.
    lawns: Vec<(String, String)>,
    starter: String,
    records: Vec<String>,
    late_winter: String,
}

const LABEL: &[u8] = b"%PDF-1.7\n%%EOF\n";

async fn a_year_in_three_states() -> Year {
    let company = Company::in_maryland().await;
    let office = &company.office;
    let person = company.phone.id.clone().unwrap();
    certify(office, &person, "us-de").await;
    let spreader = rotary_spreader(office).await;
    let _ =
        company.phone.post("/api/v1/calibrations", &course(&spreader, &company.feed, "2026-02-01")).await.expect(201);
    let starter = product(office, "Starter 18-24-12", &label("18", "9", "24", "12")).await;
    let _ = lot(office, &starter, "LOT-S", "500").await;
    for of in [&company.feed, &starter] {
        for kind in ["label", "safety_data_sheet"] {
            let files = format!("/api/v1/products/{of}/files?kind={kind}");
            let _ = office.post_file(&files, "application/pdf", LABEL).await.expect(201);
        }
    }
    let mut lawns = vec![(company.property.clone(), company.front.clone())];
    for set in ["us-va", "us-de"] {
        let place = property(office, &company.client, &[set]).await;
        let lawn = section(office, &place, "front lawn", "6000").await;
        let _ = soil_report(office, &lawn, "2025-10-02", "low", "1").await;
        let visit = json!({
            "property_id": place, "person_id": person, "planned_on": "2026-09-14", "product_id": company.feed,
            "section_ids": [lawn], "purpose": "maintenance", "target_nitrogen_lb_per_1000_sqft": "0.75",
        });
        let _ = office.post("/api/v1/visits", &visit).await.expect(201);
        lawns.push((place, lawn));
    }
    let mut records = Vec::new();
    for (place, lawn) in &lawns {
        let mut record = company.record(lawn, "10");
        record["property_id"] = json!(place);
        record.as_object_mut().unwrap().remove("visit_id");
        record["equipment_id"] = json!(spreader);
        record["supervisor_id"] = json!(office.id);
        record["seen"] = json!({ "notices": [{ "kind": "door_card", "at": "2026-09-15T13:35:00Z", "to": "client" }] });
        records.push(company.put_anyhow(record).await);
    }
    // Phosphate for a lawn whose soil report asks for it, and work in a closed season.
    let mut phosphate = company.record(&lawns[1].1, "5");
    (phosphate["property_id"], phosphate["product_id"]) = (json!(lawns[1].0), json!(starter));
    phosphate["purpose"] = json!("repair");
    for member in ["visit_id", "lot_id"] {
        phosphate.as_object_mut().unwrap().remove(member);
    }
    records.push(company.put_anyhow(phosphate).await);
    let mut winter = company.record(&company.rear, "5");
    winter["started_at"] = json!("2026-02-20T09:05:00-05:00");
    winter["finished_at"] = json!("2026-02-20T09:31:00-05:00");
    let late_winter = company.put_anyhow(winter).await;
    Year { company, lawns, starter, records, late_winter }
}

#[tokio::test]
async fn an_inspectors_questions_are_answered_from_what_is_stored() {
    let year = a_year_in_three_states().await;
    let (owner, office) = (&year.company.owner, &year.company.office);
    let told = async |id: &str| owner.get(&format!("/api/v1/applications/{id}/particulars")).await.expect(200).body;
    // Everything that is asked of a record was fixed with it; what the company changes afterwards answers nothing of it.
    let person = year.company.phone.id.as_deref().unwrap();
    let renamed = json!({ "name": "Somebody Else", "role": "technician" });
    let _ = owner.put_version(&format!("/api/v1/people/{person}"), "*", &renamed).await.expect(200);

    // 1. Licences of everyone who applied on a day (COMAR 15.20.10.02; 3 Del. Admin. Code 1201).
    let of_day = owner.get("/api/v1/applications?from=2026-09-15&to=2026-09-15").await.expect(200).body;
    let of_day = of_day["items"].as_array().unwrap();
    assert_eq!(of_day.len(), 4);
    for record in of_day {
        let told = told(record["id"].as_str().unwrap()).await;
        assert_eq!(told["texts"]["applicator"], "Tech 01", "the name of that day");
        let held = told["particulars"]["credentials"].as_array().unwrap();
        assert!(held.iter().all(|one| one["number"] == "C-1") && held.len() == 2, "{held:?}");
        // 10. Supervision.
        if record["product_id"] == json!(year.company.feed) {
            assert_eq!(told["texts"]["supervisor"], "Office 01");
            // 6. Calibration, as it was in force for machine, product and person.
            let calibration = &told["particulars"]["machine"]["calibration"];
            assert_eq!((&calibration["setting"], &calibration["calibrated_on"]), (&json!("14"), &json!("2026-02-01")));
            // 9. Notices left.
            let seen =
                owner.get(&format!("/api/v1/applications/{}", record["id"].as_str().unwrap())).await.expect(200).body;
            assert_eq!(seen["seen"]["notices"][0]["kind"], "door_card");
        }
        // 3. The label as it was, by its hash (COMAR 15.20.10.13 B: a label or legible copy).
        assert_eq!(told["particulars"]["product"]["label_file"]["sha256"], sha256(LABEL));
    }
    // And the safety data sheet beside it.
    let files = office.get(&format!("/api/v1/products/{}/files", year.starter)).await.expect(200).body;
    let kinds: Vec<&Value> = files["items"].as_array().unwrap().iter().map(|file| &file["kind"]).collect();
    assert_eq!(kinds, ["label", "safety_data_sheet"]);

    // 2. All records of a client in a period, with each product.
    let address = format!("/api/v1/statements?year=2026&client_id={}", year.company.client);
    let statement = owner.get(&address).await.expect(200).body;
    let lines = statement["sections"].as_array().unwrap().iter().flat_map(|one| one["lines"].as_array().unwrap());
    let lines: Vec<&Value> = lines.collect();
    assert_eq!(lines.len(), 5);
    assert_eq!(lines.iter().filter(|line| line["product_name"] == "Starter 18-24-12").count(), 1);

    // 4. The soil test behind any phosphorus.
    let phosphate = told(&year.records[3]).await;
    assert_eq!(phosphate["particulars"]["sections"][0]["soil_report"]["sampled_on"], "2025-10-02");

    // 5. Season dates: in Maryland none goes down from Nov. 16 to the end of February (COMAR 15.20.10.09 D; Md. Code, Agric. 8-803.5).
    // The record stands, marked, and its decision says why.
    let winter = owner.get(&format!("/api/v1/applications/{}", year.late_winter)).await.expect(200).body;
    assert_eq!((&winter["beyond_the_rules"], &winter["late"]), (&json!(true), &json!(true)));
    let decision = owner.get(&format!("/api/v1/applications/{}/decision", year.late_winter)).await.expect(200).text;
    assert!(decision.contains("COMAR 15.20.10.09 D"), "{decision}");
    assert!(statement["gaps"].to_string().contains("beyond the rules"), "{:#}", statement["gaps"]);

    // 7. Purchases against use: delivered less what is on record.
    let stock = owner.get(&format!("/api/v1/products/{}", year.company.feed)).await.expect(200).body;
    assert_eq!(stock["balance_lb"], "1965", "2,000 less three times 10 and 5");

    // What is missing is said: an honest list of gaps beats silence. Each names its law and how it is closed.
    let gaps = owner.get("/api/v1/gaps?limit=200").await.expect(200).body;
    for record in gaps["items"].as_array().unwrap() {
        for gap in record["gaps"].as_array().unwrap() {
            assert!(
                !gap["source"]["citation"].as_str().unwrap().is_empty() && !gap["hint"].as_str().unwrap().is_empty()
            );
        }
    }
    // The late record of Maryland is no gap there; a client's telephone is one in Virginia (2VAC5-405-100 A 1).
    assert!(gaps["items"].to_string().contains("customer_telephone"), "{gaps:#}");
    assert_eq!(year.lawns.len(), 3);
    let found = check_file(&year.company.app.file()).await.unwrap();
    assert!(found.faults.is_empty(), "{:?}", found.faults);
}
