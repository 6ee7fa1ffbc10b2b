//! The first and the last day that can be entered, at every place of the API that takes a day: what is worked out from them
//! leaves the calendar of entries, and the answer must fit the API document all the same.

use std::collections::BTreeSet;

use harness::{
    contract::document,
    world::{Company, course, property as property_under, rotary_spreader, section as section_of, soil_report},
};
use serde_json::{Value, json};

use crate::programmes::{programme, written};

const ENDS: [(&str, &str); 2] = [("1990-01-01", "1990"), ("2199-12-31", "2199")];

/// The reads that take a day or a year, as the document lists them.
fn takers() -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    for (path, operations) in document()["paths"].as_object().unwrap() {
        let parameters = operations["get"]["parameters"].as_array().map_or(&[][..], Vec::as_slice);
        let takes = |one: &Value| {
            let plain = |schema: &Value| schema["$ref"] == "#/components/schemas/Day" || one["name"] == "year";
            plain(&one["schema"]) || one["schema"]["oneOf"].as_array().is_some_and(|any| any.iter().any(plain))
        };
        if parameters.iter().any(takes) {
            let _ = found.insert(path.clone());
        }
    }
    found
}

#[tokio::test]
async fn answers_about_the_first_and_the_last_day_fit_the_document() {
    let company = Company::in_maryland().await;
    let office = &company.office;
    let (section, property, feed, client) = (&company.front, &company.property, &company.feed, &company.client);
    let spreader = rotary_spreader(office).await;
    let calibrated = course(&spreader, feed, "2026-09-14");
    let _ = company.phone.post("/api/v1/calibrations", &calibrated).await.expect(201);
    let report = json!({
        "sampled_on": "2026-09-01", "laboratory": "Sample Laboratory", "extractant": "mehlich_3", "cores": 12, "ph": "5.2",
        "phosphorus": "low", "acidity": { "meq": "6.5", "per": "100_g" },
    });
    let report = office.post(&format!("/api/v1/sections/{section}/soil-reports"), &report).await.expect(201).id();
    let plan = written(office, &programme(&company)).await;

    let mut asked = BTreeSet::new();
    for (day, year) in ENDS {
        let reads = [
            ("/applications", format!("/applications?from={day}&to={day}")),
            (
                "/calibrations/in-force",
                format!("/calibrations/in-force?equipment_id={spreader}&product_id={feed}&on={day}"),
            ),
            ("/days/{day}", format!("/days/{day}")),
            ("/days/{day}/load-sheet", format!("/days/{day}/load-sheet")),
            ("/days/{day}/working-windows", format!("/days/{day}/working-windows")),
            ("/drift", format!("/drift?from={day}&to={day}")),
            ("/products/{id}/label-check", format!("/products/{feed}/label-check?on={day}&rule_set=us-md")),
            ("/programmes/{id}/plan", format!("/programmes/{plan}/plan?from={day}")),
            ("/properties/{id}/rules", format!("/properties/{property}/rules?on={day}")),
            (
                "/properties/{id}/working-windows/{day}",
                format!("/properties/{property}/working-windows/{day}?product_id={feed}"),
            ),
            ("/rule-sets/{code}", format!("/rule-sets/us-md?on={day}")),
            ("/rule-sets/{code}/changes", format!("/rule-sets/us-md/changes?from={}&to={}", ENDS[0].0, ENDS[1].0)),
            ("/sections/{id}/plan", format!("/sections/{section}/plan?programme_id={plan}&from={day}")),
            ("/sections/{id}/rules", format!("/sections/{section}/rules?on={day}&product_id={feed}")),
            (
                "/soil-reports/{id}/lime",
                format!("/soil-reports/{report}/lime?goal=6.5&cce_percent=80&split_rule=georgia&first_on={day}"),
            ),
            ("/statements", format!("/statements?year={year}&client_id={client}")),
            ("/statements/company", format!("/statements/company?year={year}")),
            ("/visits", format!("/visits?planned_on={day}")),
        ];
        for (template, address) in reads {
            let reply = company.owner.get(&format!("/api/v1{address}")).await;
            // A plan is made from yesterday on, for three years at most.
            let _ = reply.expect(if template.ends_with("/plan") { 422 } else { 200 });
            let _ = asked.insert(format!("/api/v1{template}"));
        }
    }
    assert_eq!(asked, takers(), "every read that takes a day is asked here");

    let far =
        office.get(&format!("/api/v1/sections/{section}/rules?on=2199-12-31&product_id={feed}")).await.expect(200);
    // COMAR 15.20.10: closed from December 1 to the end of February, so the first open day is beyond what can be entered.
    assert_eq!(far.body["strictest"]["first_open_day"], "2200-03-01", "{}", far.text);
}

#[tokio::test]
async fn a_check_of_the_last_day_fits_the_document() {
    let company = Company::in_maryland().await;
    for (day, _) in ENDS {
        let mut plan = company.plan(&company.front, "12");
        plan["planned_on"] = json!(day);
        let _ = company.phone.post("/api/v1/checks", &plan).await.expect(200);
    }
}

#[tokio::test]
async fn every_state_s_rules_on_the_last_day_fit_the_document() {
    let company = Company::in_maryland().await;
    let office = &company.office;
    let sets = office.get("/api/v1/rule-sets?limit=200").await.expect(200).body;
    let codes: Vec<&str> = sets["items"].as_array().unwrap().iter().filter_map(|set| set["code"].as_str()).collect();
    // A state's code is its country's and two letters of its own.
    let states: Vec<&&str> = codes.iter().filter(|code| code.len() == 5 && code.starts_with("us-")).collect();
    assert!(states.len() > 15, "{codes:?}");
    for state in states {
        let property = property_under(office, &company.client, &[state]).await;
        let section = section_of(office, &property, "lawn", "5000").await;
        soil_report(office, &section, "2025-10-02", "low", "1").await;
        for day in ["1990-01-01", "2199-12-31"] {
            let _ = office.get(&format!("/api/v1/properties/{property}/rules?on={day}")).await.expect(200);
            let query = format!("on={day}&product_id={}", company.feed);
            let _ = office.get(&format!("/api/v1/sections/{section}/rules?{query}")).await.expect(200);
        }
    }
}
