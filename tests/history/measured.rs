//! Area and soil sample that were entered or corrected after a year had ended: its statement follows, and says so.

use harness::User;
use serde_json::{Value, json};

use super::{Company, on};
use crate::pages::visitor::Visitor;

fn measured(area: &str, on: &str) -> Value {
    json!({ "area_sqft": area, "measured_on": on, "method": "wheel", "measured_by": "Office 01" })
}

async fn statement(owner: &User, year: i32, section: &str) -> (Value, Vec<String>) {
    let reply = owner.get(&format!("/api/v1/statements?year={year}&section_id={section}")).await.expect(200).body;
    let gaps = reply["gaps"].as_array().unwrap().iter().map(|gap| gap.as_str().unwrap().to_owned());
    (reply["sections"][0].clone(), gaps.filter(|gap| gap.starts_with("Corrected on")).collect())
}

const FRONT: &str = "1 Street A, Sampletown, front lawn";

#[tokio::test]
async fn a_measurement_that_comes_in_after_the_year_is_told_and_corrected() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "10").await;
    let (office, owner) = on(&company, "2028-03-04T15:00:00Z").await;
    let printed = async || {
        let page = Visitor::named(&company, "owner").await.open(&format!("/year/{}?year=2026", company.client)).await;
        // The receipt is another one each time, as the moment of preparation is.
        let (told, _) = page.html.split_once("<h2>Receipt</h2>").unwrap();
        told.lines().map(ToOwned::to_owned).collect::<Vec<String>>()
    };
    let (before, none) = statement(&owner, 2026, &company.front).await;
    assert_eq!((before["area_sqft"].as_str(), none.len()), (Some("8200"), 0));
    let page_before = printed().await;
    let path = format!("/api/v1/sections/{}/measurements", company.front);
    let early = office.post(&path, &measured("20000", "2026-05-01")).await.expect(201);
    let (now, told) = statement(&owner, 2026, &company.front).await;
    assert_eq!((&now["area_sqft"], &now["area_measured_on"]), (&json!("20000"), &json!("2026-05-01")));
    let words = format!(
        "Corrected on 2028-03-04: {FRONT}: area: 20000 sq ft, measured on 2026-05-01 (before the correction: 8200 sq ft, measured on 2025-03-01)."
    );
    assert_eq!(told, std::slice::from_ref(&words));
    // What was put down is what it was: of the printed page the area and this sentence differ, and nothing else.
    assert_eq!((&now["lines"], &now["applied"]), (&before["lines"], &before["applied"]));
    let page = printed().await;
    let differing: Vec<&String> = page.iter().filter(|line| !page_before.contains(line)).collect();
    assert!(differing.iter().any(|line| line.contains(&words)), "{differing:?}");
    assert!(differing.iter().all(|line| line.contains("20,000 sq ft") || line.contains(&words)), "{differing:?}");
    assert!(differing.len() <= 2, "{differing:?}");
    // It was measured a year later: the further entry says so, and why.
    let mut right = measured("20000", "2027-05-01");
    right["corrects"] = json!(early.id());
    let refused = office.post(&path, &right).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/reason"]);
    right["reason"] = json!("A slip in the year.");
    let elsewhere = format!("/api/v1/sections/{}/measurements", company.rear);
    assert_eq!(office.post(&elsewhere, &right).await.problem(422, "invalid").faults(), ["#/corrects"]);
    let corrected = office.post(&path, &right).await.expect(201);
    assert_eq!((&corrected.body["corrects"], &corrected.body["reason"]), (&json!(early.id()), &right["reason"]));
    let old = office.get(&format!("/api/v1/measurements/{}", early.id())).await.expect(200).body;
    assert_eq!(old["corrected_by"], corrected.body["id"]);
    assert_eq!(office.post(&path, &right).await.problem(422, "invalid").faults(), ["#/corrects"]);
    right["corrects"] = Value::Null;
    assert_eq!(office.post(&path, &right).await.problem(422, "invalid").faults(), ["#/reason"]);
    // That year stands as it stood, and the next one tells.
    assert_eq!(statement(&owner, 2026, &company.front).await, (before, Vec::new()));
    assert_eq!(printed().await, page_before);
    let (next, told) = statement(&owner, 2027, &company.front).await;
    assert_eq!((next["area_sqft"].as_str(), told.len()), (Some("20000"), 1));
    assert!(told[0].ends_with("measured on 2025-03-01). Reason: A slip in the year."), "{told:?}");
    let section = office.get(&format!("/api/v1/sections/{}", company.front)).await.expect(200).body;
    assert_eq!((&section["area_sqft"], &section["measured_on"]), (&json!("20000"), &json!("2027-05-01")));
    let found = server::book::verify::check_file(&company.app.file()).await.unwrap();
    assert!(found.faults.is_empty(), "{:?}", found.faults);
}

#[tokio::test]
async fn a_soil_report_that_comes_in_after_the_year_is_told_and_corrected() {
    let company = Company::in_maryland().await;
    let (office, owner) = on(&company, "2028-03-04T15:00:00Z").await;
    let path = format!("/api/v1/sections/{}/soil-reports", company.front);
    let mut report =
        json!({ "sampled_on": "2026-10-02", "laboratory": "Laboratory", "extractant": "mehlich_3", "ph": "6.4" });
    let early = office.post(&path, &report).await.expect(201).id();
    let (now, told) = statement(&owner, 2026, &company.front).await;
    assert_eq!(now["soil_sampled_on"], "2026-10-02");
    let words = "soil sampled on: 2026-10-02 (before the correction: 2025-10-02).";
    assert_eq!(told, [format!("Corrected on 2028-03-04: {FRONT}: {words}")]);
    report["sampled_on"] = json!("2027-10-02");
    (report["corrects"], report["reason"]) = (json!(early), json!("The paper says 2027."));
    let right = office.post(&path, &report).await.expect(201);
    let (now, told) = statement(&owner, 2026, &company.front).await;
    assert_eq!((now["soil_sampled_on"].as_str(), told.len()), (Some("2025-10-02"), 0));
    let (now, told) = statement(&owner, 2027, &company.front).await;
    assert_eq!((now["soil_sampled_on"].as_str(), told.len()), (Some("2027-10-02"), 1));
    assert!(told[0].ends_with("Reason: The paper says 2027."), "{told:?}");
    let old = office.get(&format!("/api/v1/soil-reports/{early}")).await.expect(200).body;
    assert_eq!(old["corrected_by"], right.body["id"]);
    let again = office.post(&path, &report).await.problem(422, "invalid");
    assert_eq!(again.faults(), ["#/corrects"]);
    let found = server::book::verify::check_file(&company.app.file()).await.unwrap();
    assert!(found.faults.is_empty(), "{:?}", found.faults);
}

#[tokio::test]
async fn what_was_entered_after_the_year_tells_only_its_corrections() {
    // The company was founded in 2026: of 2025 nobody had said anything, until it was corrected.
    let company = Company::in_maryland().await;
    assert_eq!(statement(&company.owner, 2025, &company.front).await.1, Vec::<String>::new());
    let address = format!("/api/v1/sections/{}/history", company.front);
    let mut facts = company.office.get(&address).await.expect(200).body["items"][0]["facts"].clone();
    facts["species"] = json!("zoysia");
    let correction = json!({ "corrects": company.front, "facts": facts, "reason": "Looked at closely." });
    let _ = company.office.post(&address, &correction).await.expect(201);
    let (section, told) = statement(&company.owner, 2025, &company.front).await;
    assert_eq!(section["species"], "zoysia");
    assert_eq!(told.len(), 1, "{told:?}");
    let words = "species: zoysia (before the correction: tall fescue). Reason: Looked at closely.";
    assert!(told[0].starts_with("Corrected on 2026-09-15") && told[0].ends_with(words), "{told:?}");
    // So with its area: what is measured late is news of a lawn that nobody knew then, what is corrected is not.
    let path = format!("/api/v1/sections/{}/measurements", company.front);
    let late = company.office.post(&path, &measured("9000", "2025-06-01")).await.expect(201).id();
    assert_eq!(statement(&company.owner, 2025, &company.front).await.1, told);
    let mut right = measured("8500", "2025-06-01");
    (right["corrects"], right["reason"]) = (json!(late), json!("The drive was counted."));
    let _ = company.phone.post(&path, &right).await.problem(403, "not-allowed");
    let _ = company.office.post(&path, &right).await.expect(201);
    let (section, told) = statement(&company.owner, 2025, &company.front).await;
    assert_eq!((section["area_sqft"].as_str(), told.len()), (Some("8500"), 2));
    assert!(told.iter().any(|gap| gap.contains("area: 8500 sq ft") && gap.contains("9000 sq ft")), "{told:?}");
}

/// A company that enters a year which is over begins with what it knows; what it learns after that day is told.
#[tokio::test]
async fn what_is_learned_of_a_year_that_was_entered_late_is_told() {
    let company = Company::in_maryland().await;
    let (office, owner) = on(&company, "2026-09-20T15:00:00Z").await;
    assert_eq!(statement(&owner, 2025, &company.front).await.1, [""; 0]);
    // A change that names no reason belongs to the entering.
    let lawn = format!("/api/v1/sections/{}", company.front);
    let named = super::section(&company, &json!({ "name": "front lawn", "species": "bahia", "since": "2025-06-01" }));
    let _ = super::put(&office, &lawn, &named).await;
    let (then, told) = statement(&owner, 2025, &company.front).await;
    assert_eq!((then["species"].as_str(), told.len()), (Some("bahia"), 0), "{told:?}");
    let late = json!({ "since": "2025-08-01", "facts": { "species": "zoysia" }, "reason": "Told by the neighbor." });
    let _ = office.post(&format!("{lawn}/history"), &late).await.expect(201);
    let _ = office.post(&format!("{lawn}/measurements"), &measured("9000", "2025-09-01")).await.expect(201);
    let report =
        json!({ "sampled_on": "2025-11-02", "laboratory": "Laboratory", "extractant": "mehlich_3", "ph": "6.4" });
    let _ = office.post(&format!("{lawn}/soil-reports"), &report).await.expect(201);
    let (then, told) = statement(&owner, 2025, &company.front).await;
    assert_eq!((then["species"].as_str(), then["area_sqft"].as_str()), (Some("zoysia"), Some("9000")));
    let words = |what: &str| format!("Corrected on 2026-09-20: {FRONT}: {what}");
    let expected = [
        words("area: 9000 sq ft, measured on 2025-09-01 (before the correction: 8200 sq ft, measured on 2025-03-01)."),
        words("soil sampled on: 2025-11-02 (before the correction: 2025-10-02)."),
        words("from 2025-08-01 on, species: zoysia (before the correction: bahia). Reason: Told by the neighbor."),
    ];
    assert_eq!(told, expected);
}

/// Who works there and what ground it is decide which cap binds, so a later word on them is told like one on the rule sets.
#[tokio::test]
async fn a_later_word_on_who_works_there_is_told() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "10").await;
    let (office, owner) = on(&company, "2028-03-04T15:00:00Z").await;
    let (_, none) = statement(&owner, 2026, &company.front).await;
    assert_eq!(none, [""; 0]);
    let history = format!("/api/v1/properties/{}/history", company.property);
    let first = office.get(&history).await.expect(200).body["items"][0].clone();
    let mut facts = first["facts"].clone();
    (facts["worked_by"], facts["kind"]) = (json!("household"), json!("garden"));
    let entry = json!({ "facts": facts, "corrects": first["id"], "reason": "By themselves." });
    let _ = office.post(&history, &entry).await.expect(201);
    let (_, told) = statement(&owner, 2026, &company.front).await;
    assert!(told.iter().any(|one| one.contains("the household (before the correction: for hire)")), "{told:?}");
    assert!(told.iter().any(|one| one.contains("garden (before the correction: lawn)")), "{told:?}");
}

/// Two of one day: the later counts, and correcting the earlier one does not bring it back over the later.
#[tokio::test]
async fn a_correction_of_the_same_day_stands_where_the_corrected_one_stood() {
    let company = Company::in_maryland().await;
    let lawn = format!("/api/v1/sections/{}", company.front);
    let path = format!("{lawn}/measurements");
    let first = company.office.post(&path, &measured("1000", "2026-09-10")).await.expect(201).id();
    let second = company.office.post(&path, &measured("1200", "2026-09-10")).await.expect(201).id();
    let correct = async |corrects: &str, area: &str, on: &str| {
        let mut right = measured(area, on);
        (right["corrects"], right["reason"]) = (json!(corrects), json!("A slip of the pen."));
        company.office.post(&path, &right).await.expect(201).id()
    };
    // As the lawn shows it, a check reckons it, and the statement tells it.
    let stands = async || {
        let section = company.office.get(&lawn).await.expect(200).body;
        let told = company.office.post("/api/v1/checks", &company.plan(&company.front, "1")).await.expect(200).body;
        let year = statement(&company.owner, 2026, &company.front).await.0;
        let of_year = company.owner.get("/api/v1/statements/company?year=2026").await.expect(200).body;
        assert!(of_year["sections"].as_array().is_some_and(|all| !all.is_empty()), "{of_year}");
        [
            section["area_sqft"].as_str().unwrap().to_owned(),
            told["decision"]["sections"][0]["area_sqft"].as_str().unwrap_or_default().to_owned(),
            year["area_sqft"].as_str().unwrap().to_owned(),
        ]
    };
    let before = stands().await;
    assert_eq!(before[0], "1200");
    let again = correct(&first, "1010", "2026-09-10").await;
    assert_eq!(stands().await, before, "the one that counted no more is no news");
    let again = correct(&again, "1020", "2026-09-10").await;
    assert_eq!(stands().await, before);
    // Corrected itself, the later one says what it says now, and on another day it leaves the day to the first.
    let second = correct(&second, "1250", "2026-09-10").await;
    assert_eq!(stands().await[0], "1250");
    let _ = correct(&second, "1250", "2026-09-09").await;
    assert_eq!(stands().await[0], "1020");
    // One that is moved to a day comes last on it.
    let _ = correct(&again, "1030", "2026-09-09").await;
    assert_eq!(stands().await[0], "1030");
    // So with soil: which of one day is the newest decides what the laboratory recommends.
    let soil = format!("{lawn}/soil-reports");
    let report = |phosphorus: &str| {
        json!({
            "sampled_on": "2026-09-01", "laboratory": phosphorus, "extractant": "mehlich_3", "phosphorus": phosphorus,
            "phosphate_recommended_lb_per_1000_sqft": "0",
        })
    };
    let first = company.office.post(&soil, &report("low")).await.expect(201).id();
    let _ = company.office.post(&soil, &report("optimum")).await.expect(201);
    let mut right = report("low");
    (right["corrects"], right["reason"]) = (json!(first), json!("Another number."));
    let _ = company.office.post(&soil, &right).await.expect(201);
    let record = company.put_down(&company.front, "1").await;
    let told = company.office.get(&format!("/api/v1/applications/{record}/particulars")).await.expect(200).body;
    let relied = &told["particulars"]["sections"][0]["soil_report"];
    assert_eq!(relied["phosphorus"], "optimum", "{relied}");
    let found = server::book::verify::check_file(&company.app.file()).await.unwrap();
    assert!(found.faults.is_empty(), "{:?}", found.faults);
}

/// What was entered on the wrong lawn counts nowhere there, and the statement of a year that had ended says so.
#[tokio::test]
async fn what_is_not_of_this_lawn_counts_nowhere_on_it() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "10").await;
    let (office, owner) = on(&company, "2027-03-04T15:00:00Z").await;
    let lawn = format!("/api/v1/sections/{}", company.front);
    let (before, _) = statement(&owner, 2026, &company.front).await;
    let mut wrong = measured("20000", "2026-09-10");
    let large = office.post(&format!("{lawn}/measurements"), &wrong).await.expect(201).id();
    let mut report =
        json!({ "sampled_on": "2026-10-02", "laboratory": "Laboratory", "extractant": "mehlich_3", "ph": "6.4" });
    let dug = office.post(&format!("{lawn}/soil-reports"), &report).await.expect(201).id();
    let (now, told) = statement(&owner, 2026, &company.front).await;
    assert_eq!((&now["area_sqft"], &now["soil_sampled_on"]), (&json!("20000"), &json!("2026-10-02")));
    assert_eq!(told.len(), 2, "{told:?}");
    for (body, path, corrected) in
        [(&mut wrong, "measurements", large.as_str()), (&mut report, "soil-reports", dug.as_str())]
    {
        body["not_of_this_lawn"] = json!(true);
        let path = format!("{lawn}/{path}");
        assert_eq!(office.post(&path, body).await.problem(422, "invalid").faults(), ["#/not_of_this_lawn"]);
        (body["corrects"], body["reason"]) = (json!(corrected), json!("The neighbor's."));
        let said = office.post(&path, body).await.expect(201).body;
        assert_eq!((&said["not_of_this_lawn"], &said["corrects"]), (&json!(true), &json!(corrected)));
    }
    // As if neither had been entered: the lawn, its year, the judge and the company's plans.
    let (now, told) = statement(&owner, 2026, &company.front).await;
    assert_eq!((now, told), (before, Vec::new()));
    let section = office.get(&lawn).await.expect(200).body;
    assert_eq!((&section["area_sqft"], &section["measured_on"]), (&json!("8200"), &json!("2025-03-01")));
    let record = company.put_down(&company.front, "1").await;
    let told = office.get(&format!("/api/v1/applications/{record}/particulars")).await.expect(200).body;
    let stood = &told["particulars"]["sections"][0];
    assert_eq!(stood["soil_report"]["sampled_on"], "2025-10-02");
    assert_eq!(stood["measurement"]["area_sqft"], "8200");
    // Where it had been told as the lawn's before the year ended, that is said.
    let early = office.get(&format!("{lawn}/measurements")).await.expect(200).body["items"][0]["id"].clone();
    let mut first = measured("8200", "2025-03-01");
    (first["corrects"], first["reason"]) = (early, json!("Of the rear lawn."));
    first["not_of_this_lawn"] = json!(true);
    let taken = office.post(&format!("{lawn}/measurements"), &first).await.expect(201).id();
    let (now, told) = statement(&owner, 2026, &company.front).await;
    assert_eq!(now["area_sqft"], Value::Null);
    let words =
        "area: not measured (before the correction: 8200 sq ft, measured on 2025-03-01). Reason: Of the rear lawn.";
    assert_eq!(told, [format!("Corrected on 2027-03-04: {FRONT}: {words}")]);
    // That is corrected like anything else.
    (first["corrects"], first["reason"], first["not_of_this_lawn"]) = (json!(taken), json!("It is."), json!(false));
    let _ = office.post(&format!("{lawn}/measurements"), &first).await.expect(201);
    assert_eq!(statement(&owner, 2026, &company.front).await.0["area_sqft"], "8200");
    let found = server::book::verify::check_file(&company.app.file()).await.unwrap();
    assert!(found.faults.is_empty(), "{:?}", found.faults);
}

/// Each word about the ground names the day and the reason of what made it so, whatever was corrected beside it.
#[tokio::test]
async fn the_words_about_the_ground_name_what_made_it_so() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "10").await;
    let path = format!("/api/v1/sections/{}", company.front);
    let first = company.office.get(&format!("{path}/measurements")).await.expect(200).body["items"][0]["id"].clone();
    let report = company.office.get(&format!("{path}/soil-reports")).await.expect(200).body["items"][0].clone();
    let (office, _) = on(&company, "2028-03-04T15:00:00Z").await;
    let other = office.post(&format!("{path}/measurements"), &measured("7000.5", "2026-05-01")).await.expect(201).id();
    // Nothing hangs on the first measurement while the second stands.
    let (office, _) = on(&company, "2028-04-20T15:00:00Z").await;
    let mut right = measured("8000", "2025-03-01");
    (right["corrects"], right["reason"]) = (first, json!("The wheel was wrong."));
    let _ = office.post(&format!("{path}/measurements"), &right).await.expect(201);
    let (office, _) = on(&company, "2028-05-20T15:00:00Z").await;
    let mut withdrawn = measured("1", "2025-03-01");
    (withdrawn["corrects"], withdrawn["reason"], withdrawn["not_of_this_lawn"]) =
        (json!(other), json!("Another lawn."), json!(true));
    let _ = office.post(&format!("{path}/measurements"), &withdrawn).await.expect(201);
    // Likewise of the soil: dug on another day, and later found to be of another lawn.
    let mut dug = json!({ "sampled_on": "2026-02-02", "laboratory": "Lab", "extractant": "mehlich_3" });
    (dug["corrects"], dug["reason"]) = (report["id"].clone(), json!("The day was misread."));
    let dug = office.post(&format!("{path}/soil-reports"), &dug).await.expect(201).id();
    let (office, owner) = on(&company, "2028-06-21T15:00:00Z").await;
    let mut gone = json!({ "sampled_on": "2026-02-02", "laboratory": "Lab", "extractant": "mehlich_3" });
    (gone["corrects"], gone["reason"], gone["not_of_this_lawn"]) =
        (json!(dug), json!("Soil of another lawn."), json!(true));
    let _ = office.post(&format!("{path}/soil-reports"), &gone).await.expect(201);
    let (_, told) = statement(&owner, 2026, &company.front).await;
    let area = format!(
        "Corrected on 2028-05-20: {FRONT}: area: 8000 sq ft, measured on 2025-03-01 (before the correction: 8200 sq ft, measured on \
         2025-03-01). Reason: Another lawn."
    );
    let soil = format!(
        "Corrected on 2028-06-21: {FRONT}: soil sampled on: none (before the correction: 2025-10-02). Reason: Soil of another lawn."
    );
    assert_eq!(told, [area, soil]);
}
