//! The year's nitrogen, as the owner shows it to a regulator.

use harness::{new_id, world::Company};
use serde_json::{Value, json};

#[tokio::test]
async fn json_and_csv_say_the_same() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "25.6").await;
    company.put_down(&company.rear, "10").await;
    let statement = company.statement().await;
    let address = format!("/api/v1/statements?year=2026&client_id={}", company.client);
    let reply = company.owner.get(&format!("{address}&format=csv")).await.expect(200);
    assert_eq!(reply.header("content-type"), Some("text/csv; charset=utf-8; header=present"));
    assert!(reply.text.ends_with("\r\n"));
    let mut reader = csv::Reader::from_reader(reply.text.as_bytes());
    let head = reader.headers().unwrap().clone();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let column = |name: &str| head.iter().position(|known| known == name).unwrap();
    let line = rows.iter().find(|row| row.iter().any(|cell| cell == id)).unwrap();
    assert_eq!(line[column("nitrogen_lb")], statement["sections"][0]["lines"][0]["delivers"]["nitrogen_lb"]);
    assert_eq!(reply.text.matches("\r\nsection total,").count(), 2);
    // The header asks for it too, by weight.
    let by_header =
        company.owner.get_with(&address, &[("accept", "text/csv, application/json;q=0.5")]).await.expect(200);
    assert!(by_header.header("content-type").unwrap().starts_with("text/csv"));
    let _ = company.owner.get_with(&address, &[("accept", "text/html")]).await.problem(406, "not-acceptable");
}

#[tokio::test]
async fn a_name_that_a_spreadsheet_would_run_is_marked_as_text() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "10").await;
    let address = format!("/api/v1/clients/{}", company.client);
    let change = json!({ "name": "=cmd|' /C calc'!A0", "mailing_address": "1 Street A" });
    let _ = company.office.put_version(&address, "\"v1\"", &change).await.expect(200);
    let reply = company
        .owner
        .get(&format!("/api/v1/statements?year=2026&format=csv&client_id={}", company.client))
        .await
        .expect(200);
    assert!(reply.text.contains(",'=cmd|"), "{}", reply.text);
    assert!(!reply.text.contains(",=cmd|"), "{}", reply.text);
}

#[tokio::test]
async fn the_last_evening_of_the_year_counts_in_the_old_year() {
    // Half past eleven on New Year's Eve in Maryland is the new year in UTC. A record beyond the rules, since the season is
    // closed; what is asked here is only its year.
    let company = Company::in_maryland().await;
    company.app.clock.set(harness::instant("2027-01-01T05:00:00Z"));
    let mut record = company.record(&company.front, "10");
    record["started_at"] = json!("2027-01-01T04:30:00Z");
    record["finished_at"] = json!("2027-01-01T04:50:00Z");
    let address = format!("/api/v1/applications/{}", harness::new_id());
    let refused = company.phone.put(&address, &record).await.problem(422, "stopped-by-rules");
    record["acknowledged"] =
        json!(refused.body["findings"].as_array().unwrap().iter().map(|f| f["key"].clone()).collect::<Vec<_>>());
    record["reason"] = json!("The client asked for it.");
    let stored = company.phone.put(&address, &record).await.expect(201).body;
    assert_eq!(stored["applied_on"], "2026-12-31");
    let year = async |year: u16| {
        let address = format!("/api/v1/statements?year={year}&client_id={}", company.client);
        company.phone.get(&address).await.expect(200).body
    };
    assert_eq!(year(2026).await["sections"][0]["applied"]["nitrogen_lb"], "2.4");
    let next = year(2027).await;
    assert_eq!(next["sections"][0]["applied"]["nitrogen_lb"], "0");
}

#[tokio::test]
async fn a_new_measurement_does_not_rewrite_what_was_recorded() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "25.6").await;
    company.app.clock.advance(std::time::Duration::from_mins(1));
    let measured = json!({ "area_sqft": "6800", "measured_on": "2026-06-01", "method": "tape", "measured_by": "Office 01", "note": "New patio." });
    let _ =
        company.office.post(&format!("/api/v1/sections/{}/measurements", company.front), &measured).await.expect(201);
    company.app.clock.advance(std::time::Duration::from_mins(1));
    let statement = company.statement().await;
    let front = &statement["sections"][0];
    assert_eq!(front["area_sqft"], "6800");
    assert_eq!(front["lines"][0]["area_sqft"], "8200");
    assert_eq!(front["nitrogen_lb_per_1000_sqft"], "0.749269");
    assert!(!statement["gaps"].to_string().contains("differ"), "{}", statement["gaps"]);
    // The next load is judged by the smaller area: 25.6 lb are 0.9035 lb N on 1,000 sq ft there.
    let answer = company.phone.post("/api/v1/checks", &company.plan(&company.front, "25.6")).await.expect(200).body;
    assert_eq!(answer["decision"]["verdict"], "stop");
}

#[tokio::test]
async fn gaps_are_named_and_a_wrong_question_is_told_what_is_wrong() {
    let company = Company::in_maryland().await;
    company.app.clock.set(harness::instant("2026-10-01T14:00:00Z"));
    // Sessions end after half a day.
    let owner = company.app.sign_in("owner", None).await;
    let statement =
        owner.get(&format!("/api/v1/statements?year=2026&client_id={}", company.client)).await.expect(200).body;
    assert!(
        statement["gaps"]
            .to_string()
            .contains("1 Street A, Sampletown: the visit planned on 2026-09-15 was neither recorded nor closed."),
        "{statement:#}"
    );
    for wrong in [
        "year=2026",
        "year=26&client_id=x",
        "client_id=1",
        &format!("year=2026&client_id={0}&section_id={0}", company.client),
    ] {
        let _ = owner.get(&format!("/api/v1/statements?{wrong}")).await.problem(422, "invalid");
    }
    let year = owner.get("/api/v1/statements/company?year=2026").await.expect(200).body;
    assert_eq!(year["sections"].as_array().unwrap().len(), 2);
    assert_eq!(year["sections"][0]["remaining_nitrogen_lb_per_1000_sqft"], "2.7");
}

#[tokio::test]
async fn a_correction_beyond_the_rules_is_marked_and_a_refused_one_is_a_gap() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "20").await;
    let mut body = json!({
        "application_id": id, "reason": "Weighed again.",
        "change": { "lines": [{ "section_id": company.front, "product_lb": "40" }] },
    });
    let address = format!("/api/v1/corrections/{}", new_id());
    let refused = company.phone.put(&address, &body).await.problem(422, "stopped-by-rules");
    let gap =
        "1 Street A, Sampletown: a correction of work of 2026-09-15 was refused and neither sent again nor reviewed";
    let gaps = async |year: i16| {
        let address = format!("/api/v1/statements?year={year}&client_id={}", company.client);
        company.owner.get(&address).await.expect(200).body["gaps"].to_string()
    };
    assert!(gaps(2026).await.contains(gap), "{}", gaps(2026).await);
    assert!(!gaps(2025).await.contains("refused"), "it is of another year");
    assert_eq!(company.statement().await["sections"][0]["lines"][0]["beyond_the_rules"], false);
    let keys: Vec<&Value> =
        refused.body["findings"].as_array().unwrap().iter().map(|finding| &finding["key"]).collect();
    body["acknowledged"] = json!(keys);
    let stored = company.phone.put(&address, &body).await.expect(201).body;
    let statement = company.statement().await;
    assert_eq!(statement["sections"][0]["lines"][0]["beyond_the_rules"], true);
    assert!(!statement["gaps"].to_string().contains("refused"), "{statement:#}");
    assert!(statement["gaps"].to_string().contains("beyond the rules"), "{statement:#}");
    // Put right within the rules, the line is within them; that it once was not stays to be read.
    let mut right = body.clone();
    right["change"]["lines"][0]["product_lb"] = json!("20");
    right["replaces"] = stored["id"].clone();
    right["acknowledged"] = json!([]);
    let _ = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &right).await.expect(201);
    let statement = company.statement().await;
    assert_eq!(statement["sections"][0]["lines"][0]["beyond_the_rules"], false);
    assert!(statement["gaps"].to_string().contains("beyond the rules"), "{statement:#}");
}

#[tokio::test]
async fn a_record_that_was_taken_back_does_not_close_its_visit() {
    let mut company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "20").await;
    company.app.clock.set(harness::instant("2026-09-16T01:00:00Z"));
    // Nobody used the session for a working day.
    company.owner = company.app.sign_in("owner", None).await;
    let gap = async || company.statement().await["gaps"].to_string().contains("neither recorded nor closed");
    assert!(!gap().await);
    let back = json!({ "application_id": id, "reason": "It was the neighbour's lawn." });
    let _ = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &back).await.expect(201);
    company.app.clock.set(harness::instant("2026-09-16T12:00:00Z"));
    let owner = company.app.sign_in("owner", None).await;
    let address = format!("/api/v1/statements?year=2026&client_id={}", company.client);
    let statement = owner.get(&address).await.expect(200).body;
    assert!(statement["gaps"].to_string().contains("neither recorded nor closed"), "{statement:#}");
}

#[tokio::test]
async fn a_technicians_statement_tells_nothing_of_other_properties() {
    let company = Company::in_maryland().await;
    let office = &company.office;
    let elsewhere = harness::world::property(office, &company.client, &["us-md"]).await;
    let lawn = harness::world::section(office, &elsewhere, "shore lawn", "4000").await;
    let visit = json!({
        "property_id": elsewhere, "person_id": office.id, "planned_on": "2026-09-01", "product_id": company.feed,
        "section_ids": [lawn], "purpose": "maintenance",
    });
    let _ = office.post("/api/v1/visits", &visit).await.expect(201);
    let address = format!("/api/v1/statements?year=2026&client_id={}", company.client);
    let all = office.get(&address).await.expect(200).body;
    assert_eq!(all["sections"].as_array().unwrap().len(), 3);
    assert!(all["gaps"].to_string().contains("2026-09-01"), "{all:#}");
    let own = company.phone.get(&address).await.expect(200).body;
    assert_eq!(own["sections"].as_array().unwrap().len(), 2);
    assert!(!own["gaps"].to_string().contains("2026-09-01"), "{own:#}");
    assert!(own["gaps"].to_string().contains("Only the properties that you may see are shown."), "{own:#}");
}

#[tokio::test]
async fn a_refused_attempt_is_settled_by_a_record_of_its_own_property_alone() {
    let company = Company::in_maryland().await;
    let office = &company.office;
    let elsewhere = harness::world::property(office, &company.client, &["us-md"]).await;
    let lawn = harness::world::section(office, &elsewhere, "shore lawn", "4000").await;
    let id = new_id();
    let address = format!("/api/v1/applications/{id}");
    let _ = office.put(&address, &company.record(&company.front, "260")).await.problem(422, "stopped-by-rules");
    let mut other = company.record(&lawn, "5");
    other["property_id"] = json!(elsewhere);
    other["visit_id"] = Value::Null;
    let _ = office.put(&address, &other).await.expect(201);
    let statement = company.statement().await;
    assert!(statement["gaps"].to_string().contains("a record of work of 2026-09-15 was refused"), "{statement:#}");
    let open = company.owner.get("/api/v1/reviews").await.expect(200).body;
    assert_eq!(open["items"][0]["why"], "refused_attempt");
}

#[tokio::test]
async fn a_visit_is_closed_section_by_section() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "20").await;
    company.app.clock.set(harness::instant("2026-09-16T12:00:00Z"));
    let owner = company.app.sign_in("owner", None).await;
    let gaps = async |section: &str| {
        let address = format!("/api/v1/statements?year=2026&section_id={section}");
        owner.get(&address).await.expect(200).body["gaps"].to_string()
    };
    assert!(!gaps(&company.front).await.contains("neither recorded nor closed"));
    assert!(gaps(&company.rear).await.contains("neither recorded nor closed"));
}

#[tokio::test]
async fn what_a_statement_says_teaches_its_reader() {
    let company = Company::in_maryland().await;
    // The same attempt three times, under ids of their own, is one line with its number.
    for _ in 0..3 {
        let path = format!("/api/v1/applications/{}", new_id());
        let _ = company.phone.put(&path, &company.record(&company.front, "260")).await.problem(422, "stopped-by-rules");
    }
    let gaps = company.statement().await["gaps"].to_string();
    assert_eq!(gaps.matches("was refused").count(), 1, "{gaps}");
    assert!(gaps.contains("a record of work of 2026-09-15 was refused 3 times and neither sent again"), "{gaps}");
    // A lawn whose only measurement was withdrawn was measured, and that does not count.
    let path = format!("/api/v1/sections/{}/measurements", company.rear);
    let only = company.office.get(&path).await.expect(200).body["items"][0]["id"].clone();
    let withdrawn = json!({
        "area_sqft": "1", "measured_on": "2025-03-01", "method": "wheel", "measured_by": "Office 01", "corrects": only,
        "not_of_this_lawn": true, "reason": "Another lawn.",
    });
    let _ = company.office.post(&path, &withdrawn).await.expect(201);
    let of = |year: u16| format!("/api/v1/statements?year={year}&section_id={}", company.rear);
    let gaps = company.owner.get(&of(2026)).await.expect(200).body["gaps"].to_string();
    assert!(gaps.contains("no measurement of the section counts") && !gaps.contains("never been measured"), "{gaps}");
    // A year that has not begun says so.
    assert!(!gaps.contains("has not begun"), "{gaps}");
    let ahead = company.owner.get(&of(2028)).await.expect(200).body["gaps"].to_string();
    assert!(ahead.contains("The year 2028 has not begun: by 2026-09-15"), "{ahead}");
}

#[tokio::test]
async fn a_number_with_too_many_digits_is_told_how_many_may_stand() {
    let company = Company::in_maryland().await;
    let path = format!("/api/v1/sections/{}/measurements", company.front);
    let measured =
        json!({ "area_sqft": "8000.123", "measured_on": "2026-03-01", "method": "wheel", "measured_by": "Office 01" });
    let refused = company.office.post(&path, &measured).await.problem(422, "invalid");
    assert!(refused.text.contains("with at most 2 digits after the point"), "{}", refused.text);
}
