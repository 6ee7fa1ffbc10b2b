//! Where a property lies: suggested from coordinates, confirmed by a person, and said when the two disagree.

use harness::world::Company;
use serde_json::json;

#[tokio::test]
async fn coordinates_suggest_the_jurisdictions() {
    let company = Company::in_maryland().await;
    // Clearwater in Pinellas County, Florida, as GeoNames has it.
    let address = "/api/v1/places?latitude=27.96585&longitude=-82.8001";
    let found = company.office.get(address).await.expect(200).body;
    assert_eq!((&found["state"], &found["county"]), (&json!("us-fl"), &json!("us-fl-pinellas")));
    assert_eq!(found["rule_sets"], json!(["us-fl", "us-fl-pinellas"]));
    // Which town it is, no boundary here says: a person chooses among those that have rules here.
    let towns = found["local_rule_sets"].as_array().unwrap();
    assert!(towns.contains(&json!("us-fl-lake-mary")) && !towns.contains(&json!("us-fl-orange")), "{towns:?}");
    assert_eq!(found["counties_near"], json!([]));
    assert!(found["words"].as_str().unwrap().contains("Ask the county"), "{found}");
    let sea = company.office.get("/api/v1/places?latitude=30&longitude=-40").await.expect(200).body;
    assert_eq!((&sea["state"], &sea["rule_sets"]), (&json!(null), &json!([])));
    let _ = company.phone.get(address).await.problem(403, "not-allowed");
    for (query, fault) in [
        ("latitude=91&longitude=0", "latitude"),
        ("latitude=NaN&longitude=0", "latitude"),
        ("latitude=38&longitude=-181", "longitude"),
        ("latitude=38", "longitude"),
        ("latitude=38&longitude=-76&radius=3", "radius"),
    ] {
        let refused = company.office.get(&format!("/api/v1/places?{query}")).await.problem(422, "invalid");
        assert_eq!(refused.faults(), [fault], "{query}");
    }
}

#[tokio::test]
async fn a_place_is_confirmed_and_a_contradiction_is_said() {
    let company = Company::in_maryland().await;
    let body = json!({
        "client_id": company.client, "name": "Shore", "address": "3 Street C", "postal_code": "21401",
        "time_zone": "America/New_York", "latitude": 38.97845, "longitude": -76.49218, "rule_sets": ["us-md"],
        "place": { "state": "us-md", "county": "us-md-anne-arundel", "municipality": "us-md-annapolis" },
    });
    let stored = company.office.post("/api/v1/properties", &body).await.expect(201).body;
    assert_eq!(stored["place"], body["place"]);
    assert_eq!(stored["place_differs"], json!(null));
    // The coordinates say Maryland, a person says Pennsylvania: kept as confirmed, and said.
    let mut other = body.clone();
    other["place"] = json!({ "state": "us-pa" });
    other["rule_sets"] = json!(["us-pa"]);
    let address = format!("/api/v1/properties/{}", stored["id"].as_str().unwrap());
    let changed = company.office.put_version(&address, "\"v1\"", &other).await.expect(200).body;
    assert_eq!(changed["place"], json!({ "state": "us-pa", "county": null, "municipality": null }));
    let told = changed["place_differs"].as_str().unwrap();
    assert!(told.contains("Maryland") && told.contains("us-pa"), "{told}");
    // What contradicts itself is refused, all at once.
    other["place"] = json!({ "state": "us-pa", "county": "us-md-anne-arundel", "municipality": "us-pa" });
    other["rule_sets"] = json!(["us-pa", "us-md"]);
    let refused = company.office.post("/api/v1/properties", &other).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/place/county", "#/place/municipality", "#/rule_sets/1"]);
}

#[tokio::test]
async fn where_local_rules_may_stand_somebody_must_have_asked() {
    // New York lets counties have stricter rules; Maryland bars them.
    let company = Company::under(&["us-ny"]).await;
    let rules = async || {
        let answer = company.phone.post("/api/v1/checks", &company.plan(&company.front, "5")).await.expect(200).body;
        let decision = &answer["decision"];
        let findings: Vec<String> =
            decision["findings"].as_array().unwrap().iter().map(|f| f["rule"].as_str().unwrap().to_owned()).collect();
        (decision["verdict"].as_str().unwrap().to_owned(), findings)
    };
    let (verdict, findings) = rules().await;
    assert_eq!(verdict, "care");
    assert!(findings.contains(&"book.place.local_rules".to_owned()), "{findings:?}");
    let mut property = json!({
        "client_id": company.client, "name": "Home", "address": "1 Street A", "postal_code": "11901",
        "time_zone": "America/New_York", "rule_sets": ["us-ny"], "local_rules_checked_on": "2026-03-01",
        "place": { "state": "us-ny", "county": "us-ny-suffolk" },
    });
    let address = format!("/api/v1/properties/{}", company.property);
    let _ = company.office.put_version(&address, "*", &property).await.expect(200);
    // Suffolk County has a rule set here, which nobody has confirmed for this property.
    assert_eq!(rules().await.1, ["book.place.confirmed"]);
    property["place"]["county"] = json!("us-ny-ontario");
    let stored = company.office.put_version(&address, "*", &property).await.expect(200).body;
    assert_eq!(stored["local_rules_checked_on"], "2026-03-01");
    assert_eq!(rules().await, ("go".to_owned(), Vec::new()));
    let maryland = Company::in_maryland().await;
    let answer = maryland.phone.post("/api/v1/checks", &maryland.plan(&maryland.front, "5")).await.expect(200).body;
    assert_eq!(answer["decision"]["verdict"], "go");
}

#[tokio::test]
async fn a_check_says_when_it_may_be_the_wrong_law() {
    let company = Company::in_maryland().await;
    let address = format!("/api/v1/properties/{}", company.property);
    let mut property = json!({
        "client_id": company.client, "name": "Home", "address": "1 Street A", "postal_code": "21000",
        "time_zone": "America/New_York", "rule_sets": ["us-md"], "latitude": 40.2737, "longitude": -76.88442,
    });
    let rules = async || {
        let answer = company.phone.post("/api/v1/checks", &company.plan(&company.front, "5")).await.expect(200).body;
        let findings = answer["decision"]["findings"].as_array().unwrap();
        findings.iter().map(|finding| finding["rule"].as_str().unwrap().to_owned()).collect::<Vec<_>>()
    };
    // Harrisburg, Pennsylvania, as GeoNames has it, under Maryland's law.
    let _ = company.office.put_version(&address, "*", &property).await.expect(200);
    assert_eq!(rules().await, ["book.place.agrees"]);
    // A county's set alone brings the state's with it, and its question.
    property["latitude"] = json!(40.91704);
    property["longitude"] = json!(-72.66204);
    property["rule_sets"] = json!(["us-ny-suffolk"]);
    let _ = company.office.put_version(&address, "*", &property).await.expect(200);
    assert!(rules().await.contains(&"book.place.local_rules".to_owned()), "{:?}", rules().await);
    // What was asked more than a year ago is asked again; what is to come was not asked.
    property["local_rules_checked_on"] = json!("2025-09-14");
    let _ = company.office.put_version(&address, "*", &property).await.expect(200);
    assert!(rules().await.contains(&"book.place.local_rules".to_owned()), "{:?}", rules().await);
    property["local_rules_checked_on"] = json!("2025-09-15");
    let _ = company.office.put_version(&address, "*", &property).await.expect(200);
    assert!(!rules().await.contains(&"book.place.local_rules".to_owned()), "{:?}", rules().await);
    property["local_rules_checked_on"] = json!("2030-01-01");
    property["rule_sets"] = json!(["us-ny-suffolk", "us-md"]);
    let refused = company.office.put_version(&address, "*", &property).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/rule_sets/1", "#/local_rules_checked_on"]);
}
