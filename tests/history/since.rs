//! The words about a correction of a past year stay what they are, whatever is entered about other days afterwards.

use serde_json::json;

use super::{Company, on, printed, property, put, section};

#[tokio::test]
async fn the_words_about_a_correction_stay_when_todays_facts_change() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "10").await;
    let (office, owner) = on(&company, "2028-03-04T15:00:00Z").await;
    let lawn = format!("/api/v1/sections/{}", company.front);
    let place = format!("/api/v1/properties/{}", company.property);
    let late = json!({ "since": "2026-08-01", "facts": { "species": "zoysia" }, "reason": "Sodded then, told now." });
    let _ = office.post(&format!("{lawn}/history"), &late).await.expect(201);
    let moved = json!({ "since": "2026-05-01", "facts": { "address": "2 Street B" }, "reason": "Renumbered." });
    let _ = office.post(&format!("{place}/history"), &moved).await.expect(201);
    let before = printed(&company).await;
    let told =
        "from 2026-08-01 on, species: zoysia (before the correction: tall fescue). Reason: Sodded then, told now.";
    assert!(before.contains(told), "{before}");
    assert!(before.contains("Renumbered."), "{before}");

    let (office, _) = on(&company, "2028-03-05T15:00:00Z").await;
    let sown = put(&office, &lawn, &section(&company, &json!({ "species": "bahia" }))).await;
    assert_eq!(sown["species"], "bahia");
    let _ = put(&office, &place, &property(&company, &json!({ "address": "77 New Street" }))).await;
    // Not even where an entry of today is corrected itself.
    let entries = office.get(&format!("{lawn}/history")).await.expect(200).body["items"].as_array().unwrap().clone();
    let again = json!({
        "since": "2028-03-05", "facts": { "species": "bermuda" }, "corrects": entries.last().unwrap()["id"], "reason": "A slip.",
    });
    let _ = office.post(&format!("{lawn}/history"), &again).await.expect(201);
    company.app.clock.set(harness::instant("2028-03-04T15:00:00Z"));
    assert_eq!(printed(&company).await, before);
    // Nor where an entry says again what stands.
    let mut facts = entries[0]["facts"].clone();
    facts["name"] = json!("front of the house");
    let first = json!({ "facts": facts, "corrects": company.front, "reason": "The name was another one." });
    let _ = owner.post(&format!("{lawn}/history"), &first).await.expect(201);
    let after = printed(&company).await;
    assert!(after.contains("Reason: The name was another one.") && after.contains(told), "{after}");
}

#[tokio::test]
async fn a_lawn_that_is_entered_after_the_year_is_said_to_be() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "10").await;
    let (office, owner) = on(&company, "2028-03-04T15:00:00Z").await;
    let side = harness::world::section(&office, &company.property, "side lawn", "1000").await;
    let told = async |year: u16| {
        let path = format!("/api/v1/statements?year={year}&section_id={side}");
        owner.get(&path).await.expect(200).body["gaps"].to_string()
    };
    let words = "Added on 2028-03-04: 1 Street A, Sampletown, side lawn: this lawn was not in the book before.";
    assert!(told(2026).await.contains(words), "{}", told(2026).await);
    assert!(!told(2028).await.contains("Added on"), "{}", told(2028).await);
    // The others were there.
    let page = printed(&company).await;
    assert_eq!(page.matches("Added on").count(), 1, "{page}");
}

/// A record's day was told by the clock of the place as it was known then, and whether it came late is told by the same everywhere.
#[tokio::test]
async fn a_clock_that_is_corrected_makes_no_record_late() {
    let company = Company::in_maryland().await;
    let west = json!({ "time_zone": "America/Los_Angeles" });
    let place = format!("/api/v1/properties/{}", company.property);
    let mut facts = company.office.get(&format!("{place}/history")).await.expect(200).body["items"][0]["facts"].clone();
    facts["time_zone"] = west["time_zone"].clone();
    let wrong = json!({ "facts": facts, "corrects": company.property, "reason": "It is said to lie there." });
    let wrong = company.office.post(&format!("{place}/history"), &wrong).await.expect(201).id();
    // It is half past nine in the evening in Los Angeles, and past midnight in New York.
    let (office, _) = on(&company, "2026-09-16T04:30:00Z").await;
    let id = harness::new_id();
    let mut record = company.record(&company.front, "10");
    record.as_object_mut().unwrap().remove("visit_id");
    let _ = office.put(&format!("/api/v1/applications/{id}"), &record).await.expect(201);
    facts["time_zone"] = json!("America/New_York");
    let right = json!({ "facts": facts, "corrects": wrong, "reason": "It lies in Maryland." });
    let _ = office.post(&format!("{place}/history"), &right).await.expect(201);
    let late = office.get(&format!("/api/v1/applications/{id}")).await.expect(200).body["late"].clone();
    let path = format!("/api/v1/statements?year=2026&client_id={}", company.client);
    let statement = office.get(&path).await.expect(200).body;
    assert_eq!((&late, &statement["sections"][0]["lines"][0]["late"]), (&json!(false), &json!(false)));
    assert!(!statement["gaps"].to_string().contains("after the day of application"), "{}", statement["gaps"]);
}

/// A record that is corrected when its year is over moves the statement of that year, and what it was before is said.
#[tokio::test]
async fn a_record_that_is_corrected_after_the_year_is_told_with_what_it_was() {
    let company = Company::in_maryland().await;
    let record = company.put_down(&company.front, "10").await;
    let corrected = async |user: &harness::User, change: serde_json::Value, replaces: Option<&str>| {
        let mut less = json!({ "application_id": record, "reason": "Weighed again.", "change": change });
        if let Some(last) = replaces {
            less["replaces"] = json!(last);
        }
        let id = harness::new_id();
        let _ = user.put(&format!("/api/v1/corrections/{id}"), &less).await.expect(201);
        id
    };
    let (office, _) = on(&company, "2026-10-01T15:00:00Z").await;
    let first =
        corrected(&office, json!({ "lines": [{ "section_id": company.front, "product_lb": "9" }] }), None).await;
    let (office, owner) = on(&company, "2027-02-01T15:00:00Z").await;
    let statement = async |user: &harness::User| {
        let path = format!("/api/v1/statements?year=2026&client_id={}", company.client);
        user.get(&path).await.expect(200).body["gaps"].to_string()
    };
    let notes = async |user: &harness::User| {
        user.get("/api/v1/statements/company?year=2026").await.expect(200).body["notes"].to_string()
    };
    assert!(!statement(&owner).await.contains("Corrected on"), "{}", statement(&owner).await);
    assert_eq!(notes(&owner).await, "[]");
    let second =
        corrected(&office, json!({ "lines": [{ "section_id": company.front, "product_lb": "5" }] }), Some(&first))
            .await;
    let words = "Corrected on 2027-02-01: 1 Street A, Sampletown, front lawn: the record of 2026-09-15: 5 lb (before \
                 the correction: 9 lb). The record says why.";
    assert!(statement(&owner).await.contains(words), "{}", statement(&owner).await);
    let since =
        "Since the year ended, something was entered or corrected that may count in it, about 1 Street A, Sampletown.";
    assert!(notes(&owner).await.contains(since), "{}", notes(&owner).await);
    // Ground that a correction names is kept by the next that names none.
    let less = json!({ "lines": [{ "section_id": company.front, "product_lb": "8", "treated_area_sqft": "3000" }] });
    let third = corrected(&office, less, Some(&second)).await;
    let again = json!({ "lines": [{ "section_id": company.front, "product_lb": "9" }] });
    let second = corrected(&office, again, Some(&third)).await;
    let words = "front lawn: the record of 2026-09-15: 9 lb on 3000 sq ft (before the correction: 9 lb).";
    assert!(statement(&owner).await.contains(words), "{}", statement(&owner).await);
    // Taken back, it is told as well, though no line of it stands.
    corrected(&office, json!({ "taken_back": [company.front] }), Some(&second)).await;
    let words = "front lawn: the record of 2026-09-15: nothing (before the correction: 9 lb).";
    assert!(statement(&owner).await.contains(words), "{}", statement(&owner).await);
    // A record that comes in only then is named by its day.
    let (office, owner) = on(&company, "2027-03-01T15:00:00Z").await;
    let mut late = company.record(&company.rear, "5");
    late.as_object_mut().unwrap().remove("visit_id");
    let _ = office.put(&format!("/api/v1/applications/{}", harness::new_id()), &late).await.expect(201);
    let words = "Records that came in only after 2026-12-31: those of 2026-09-15.";
    assert!(statement(&owner).await.contains(words), "{}", statement(&owner).await);
}

/// The company's year says of which places something was learned since it ended.
#[tokio::test]
async fn a_year_of_the_company_names_the_places_of_which_something_was_learned_since() {
    let company = Company::in_maryland().await;
    company.put_down(&company.front, "10").await;
    let (office, owner) = on(&company, "2028-03-04T15:00:00Z").await;
    let notes = async || owner.get("/api/v1/statements/company?year=2026").await.expect(200).body["notes"].to_string();
    assert_eq!(notes().await, "[]");
    // What is entered of later days, or names nothing that is told there, says nothing of that year.
    let lawn = format!("/api/v1/sections/{}/history", company.front);
    let later = json!({ "since": "2027-02-01", "facts": { "species": "zoysia" }, "reason": "Sodded." });
    let _ = office.post(&lawn, &later).await.expect(201);
    let telephone = json!({ "since": "2026-02-01", "facts": { "phone": "410-555-0100" }, "reason": "Told now." });
    let _ = office.post(&format!("/api/v1/clients/{}/history", company.client), &telephone).await.expect(201);
    assert_eq!(notes().await, "[]");
    // A place that is added now is named as such.
    let side = harness::world::property(&office, &company.client, &["us-md"]).await;
    let _ = harness::world::section(&office, &side, "side lawn", "1000").await;
    let added = "One lawn of this list was entered only after 2026-12-31: 1 Street A, Sampletown.";
    assert_eq!(notes().await, json!([added]).to_string());
    let turf = json!({ "since": "2026-02-01", "facts": { "species": "zoysia" }, "reason": "Sodded then." });
    let _ = office.post(&lawn, &turf).await.expect(201);
    assert!(notes().await.contains("about 1 Street A, Sampletown."), "{}", notes().await);
    let page = crate::pages::visitor::Visitor::named(&company, "owner").await.open("/year?year=2026").await.html;
    assert!(page.contains("Since the year ended, something was entered or corrected that may count in it"), "{page}");
    let ahead = owner.get("/api/v1/statements/company?year=2030").await.expect(200).body["notes"].to_string();
    assert!(ahead.contains("The year 2030 has not begun."), "{ahead}");
}

/// What is added to a record, and refused work that is looked at, only when the year is over.
#[tokio::test]
async fn what_is_added_or_reviewed_after_the_year_is_said_to_be() {
    let company = Company::in_maryland().await;
    let record = company.put_down(&company.front, "10").await;
    // Far more than a year may have, and not acknowledged.
    let too_much = company.record(&company.rear, "400");
    let path = format!("/api/v1/applications/{}", harness::new_id());
    let _ = company.phone.put(&path, &too_much).await.problem(422, "stopped-by-rules");
    let attempts = company.owner.get("/api/v1/reviews").await.expect(200).body["items"].clone();
    let attempt = attempts[0]["record_id"].as_str().unwrap().to_owned();
    let (office, owner) = on(&company, "2027-02-01T15:00:00Z").await;
    let statement = async || {
        let path = format!("/api/v1/statements?year=2026&client_id={}", company.client);
        owner.get(&path).await.expect(200).body["gaps"].to_string()
    };
    let before = statement().await;
    assert!(before.contains("was refused and neither sent again nor reviewed"), "{before}");
    assert!(!before.contains("only after 2026-12-31"), "{before}");
    let note = json!({ "note": "Nothing was put down." });
    let _ = owner.put(&format!("/api/v1/reviews/{attempt}"), &note).await.expect(200);
    let additions = format!("/api/v1/applications/{record}/additions");
    let _ = office.post(&additions, &json!({ "seen": { "wind_from": "northwest" } })).await.expect(201);
    let after = statement().await;
    for words in [
        "Records to which something was added only after 2026-12-31: those of 2026-09-15.",
        "Refused records of work that were reviewed only after 2026-12-31: those of 2026-09-15.",
    ] {
        assert!(after.contains(words), "{words} not in {after}");
    }
    assert!(!after.contains("nor reviewed"), "{after}");
}
