//! Combination products over HTTP: entered from the label, judged by it, and told by record, statement and list of gaps.
//! A pesticide is used as its label says (7 U.S.C. 136j(a)(2)(G)).

use harness::{
    new_id,
    world::{Company, label, product},
};
use serde_json::{Value, json};
use server::book::verify::check_file;

fn weed_and_feed() -> Value {
    let mut feed = label("20", "10", "0", "5");
    feed["product_limit_lb_per_1000_sqft"] = json!("4");
    feed["printed"] = json!({ "pesticide": {
        "epa_registration": "6767-230", "signal_word": "caution",
        "ingredients": [{ "name": "An herbicide", "percent": "0.61" }, { "name": "Another", "percent": "0.2" }],
        "target_pests": "Broadleaf weeds", "lowest_product_lb_per_1000_sqft": "2", "most_applications_a_year": 2,
        "least_days_between": 30, "reentry_hours": 24, "notice_after": "Leave the sign",
    } });
    feed
}

fn of(mut about: Value, product: &str) -> Value {
    about["product_id"] = json!(product);
    for member in ["lot_id", "visit_id"] {
        about.as_object_mut().unwrap().remove(member);
    }
    about
}

fn finding<'a>(decision: &'a Value, rule: &str) -> &'a Value {
    let found = decision["findings"].as_array().unwrap().iter().find(|finding| finding["rule"] == rule);
    found.unwrap_or(&Value::Null)
}

#[tokio::test]
async fn what_cannot_stand_on_a_pesticides_label_is_refused() {
    let company = Company::in_maryland().await;
    let mut odd = weed_and_feed();
    let part = &mut odd["printed"]["pesticide"];
    part["ingredients"][1] = json!({ "name": "an Herbicide", "percent": "99.4" });
    part["lowest_product_lb_per_1000_sqft"] = json!("4.5");
    let body = json!({ "name": "Weed and feed", "label": odd, "net_weight_lb": "50" });
    let refused = company.office.post("/api/v1/products", &body).await.problem(422, "invalid");
    let at = |member: &str| format!("#/label/printed/pesticide/{member}");
    assert_eq!(refused.faults(), [at("ingredients"), at("lowest_product_lb_per_1000_sqft")], "{}", refused.text);
    assert!(refused.text.contains("is given twice") && refused.text.contains("more than the product weighs"));
    let mut odd = weed_and_feed();
    let part = &mut odd["printed"]["pesticide"];
    (part["most_applications_a_year"], part["reentry_hours"]) = (json!(0), json!(-1));
    // A file symbol: EPA Label Review Manual, chapter 14.
    part["epa_registration"] = json!("6767-EGN");
    let body = json!({ "name": "Weed and feed", "label": odd, "net_weight_lb": "50" });
    let refused = company.office.post("/api/v1/products", &body).await.problem(422, "invalid");
    assert_eq!(refused.faults(), [at("epa_registration"), at("most_applications_a_year"), at("reentry_hours")]);
}

#[tokio::test]
async fn it_is_judged_by_its_label_and_the_record_tells_it() {
    let company = Company::under(&["us-pa"]).await;
    let product = product(&company.office, "Weed and feed 20-0-5", &weed_and_feed()).await;
    let check = async |lb: &str| {
        let plan = of(company.plan(&company.front, lb), &product);
        company.phone.post("/api/v1/checks", &plan).await.expect(200).body["decision"].clone()
    };
    // 8,200 sq ft: 2 lb on 1,000 are 16.4 lb, 4 are 32.8.
    let decision = check("24.6").await;
    assert_eq!(decision["verdict"], "care", "{decision:#}");
    let told = finding(&decision, "label.pesticide")["message"].as_str().unwrap().to_owned();
    assert!(told.contains("EPA Reg. No. 6767-230, CAUTION. Pesticide law is not judged here"), "{told}");
    let told = finding(&decision, "label.reentry")["message"].as_str().unwrap().to_owned();
    assert!(told.contains("24 hours after the work"), "{told}");
    assert_eq!(finding(&decision, "label.notice.after")["verdict"], "care");
    assert_eq!(finding(&check("16").await, "label.product.lowest")["verdict"], "care");
    assert_eq!(finding(&check("32.9").await, "label.product.application")["verdict"], "stop");
    let id = new_id();
    let path = format!("/api/v1/clearances/{id}");
    let _ = company.phone.put(&path, &of(company.plan(&company.front, "24.6"), &product)).await.expect(201);
    let decision = company.phone.get(&format!("{path}/decision")).await.expect(200).body;
    assert!(
        finding(&decision, "label.reentry")["message"].to_string().contains("24 hours after the work"),
        "{decision:#}"
    );

    let record = of(company.record(&company.rear, "15"), &product);
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), &record).await.expect(201);
    let told = company.office.get(&format!("/api/v1/applications/{id}/particulars")).await.expect(200).body;
    assert_eq!(
        told["particulars"]["product"]["pesticide"],
        json!({
            "epa_registration": "6767-230", "active_ingredients": "An herbicide 0.61 %, Another 0.2 %", "target_pests": "Broadleaf weeds",
            "reentry": "24 hours after the work",
        })
    );
    // Too soon on the same lawn, and as good as any on the other, which holds only room.
    let plan = of(company.plan(&company.rear, "15"), &product);
    let mut later = plan.clone();
    later["planned_on"] = json!("2026-10-14");
    let soon = company.phone.post("/api/v1/checks", &later).await.expect(200).body["decision"].clone();
    assert_eq!(finding(&soon, "label.applications.interval")["verdict"], "stop", "29 days");
    later["planned_on"] = json!("2026-10-15");
    let soon = company.phone.post("/api/v1/checks", &later).await.expect(200).body["decision"].clone();
    assert_eq!(finding(&soon, "label.applications.interval"), &Value::Null, "30 days");
    let statement = company.statement().await;
    assert!(statement["gaps"].to_string().contains("is a pesticide too, EPA Reg. No. 6767-230"), "{statement:#}");
    assert!(check_file(&company.app.file()).await.unwrap().faults.is_empty());
}

#[tokio::test]
async fn its_record_lacks_what_the_states_pesticide_law_lists() {
    // Minn. Stat. 18B.37: temperature, wind speed and wind direction; applicator and licence.
    let company = Company::under(&["us-mn"]).await;
    let product = product(&company.office, "Weed and feed 20-0-5", &weed_and_feed()).await;
    let lacks = async |record: &Value| {
        let id = new_id();
        let _ = company.phone.put(&format!("/api/v1/applications/{id}"), record).await.expect(201);
        let list = company.office.get("/api/v1/gaps?limit=200").await.expect(200).body;
        let records = list["items"].as_array().unwrap();
        let found = records.iter().find(|record| record["application_id"] == id);
        let names = |gap: &Value| gap["field"].as_str().or(gap["kind"].as_str()).unwrap().to_owned();
        found.map(|found| found["gaps"].as_array().unwrap().iter().map(names).collect::<Vec<_>>()).unwrap_or_default()
    };
    let record = of(company.record(&company.front, "24.6"), &product);
    let lacked = lacks(&record).await;
    for field in ["licence_number", "wind_speed", "wind_direction"] {
        assert!(lacked.contains(&field.to_owned()), "{field}: {lacked:?}");
    }
    assert!(!lacked.contains(&"epa_registration".to_owned()) && !lacked.contains(&"air_temperature".to_owned()));
    let mut whole = of(company.record(&company.rear, "15"), &product);
    whole["weather"]["wind"] =
        json!({ "wind_mph": "4", "source": "technician", "observed_at": "2026-09-15T13:00:00Z" });
    whole["seen"] = json!({ "wind_from": "northwest" });
    let lacked = lacks(&whole).await;
    assert!(!lacked.iter().any(|field| field.starts_with("wind")), "{lacked:?}");
    // Nobody can add a temperature later, so the phone asks for it on the spot, with the wind.
    let visit = json!({
        "property_id": company.property, "person_id": company.phone.id, "planned_on": "2026-09-15", "product_id": product,
        "section_ids": [company.rear], "purpose": "maintenance", "target_nitrogen_lb_per_1000_sqft": "0.5",
    });
    let visit = company.office.post("/api/v1/visits", &visit).await.expect(201).id();
    let day = company.phone.get("/api/v1/days/2026-09-15").await.expect(200).body;
    let stop = day["visits"].as_array().unwrap().iter().find(|stop| stop["visit"]["id"] == visit).unwrap();
    let asked: Vec<&Value> = stop["asks"].as_array().unwrap().iter().map(|ask| &ask["field"]).collect();
    assert_eq!(asked, ["air_temperature", "wind_speed", "wind_direction"], "Minn. Stat. 18B.37");
    // Fertilizer that is no pesticide has none of these duties.
    let plain = lacks(&company.record(&company.rear, "1")).await;
    assert!(!plain.iter().any(|field| field.starts_with("wind")), "{plain:?}");
}

/// A product without nutrients leaves none on the lawn, but its own mass stands in the book: its label's most for one application
/// holds over all loads of a day, cleared ones too.
#[tokio::test]
async fn what_holds_no_nutrient_is_counted_by_its_mass() {
    let company = Company::in_maryland().await;
    let bare = |name: &str| {
        let mut bare = label("0", "0", "0", "0");
        bare["product_limit_lb_per_1000_sqft"] = json!("4");
        json!({ "name": name, "label": bare, "net_weight_lb": "50" })
    };
    let first = company.office.post("/api/v1/products", &bare("Soil mineral")).await.expect(201).id();
    let other = company.office.post("/api/v1/products", &bare("Another mineral")).await.expect(201).id();
    let asked = async |product: &str, lb: &str| {
        let plan = of(company.plan(&company.front, lb), product);
        company.phone.post("/api/v1/checks", &plan).await.expect(200).body["decision"].clone()
    };
    let too_much = |decision: &Value| finding(decision, "label.product.application")["verdict"] == "stop";
    // 8,200 sq ft at 4 lb on 1,000 are 32.8 lb.
    assert!(!too_much(&asked(&first, "32.8").await));
    let path = format!("/api/v1/applications/{}", new_id());
    let _ = company.phone.put(&path, &of(company.record(&company.front, "20"), &first)).await.expect(201);
    assert!(!too_much(&asked(&first, "12.8").await));
    assert!(too_much(&asked(&first, "12.9").await));
    assert!(!too_much(&asked(&other, "32.8").await), "another product has a label of its own");
    let path = format!("/api/v1/clearances/{}", new_id());
    let _ = company.phone.put(&path, &of(company.plan(&company.front, "2.8"), &first)).await.expect(201);
    assert!(!too_much(&asked(&first, "10").await));
    assert!(too_much(&asked(&first, "10.1").await));
}
