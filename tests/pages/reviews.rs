//! The owner's list: what was sent, why it stands there, and the form that closes it, without a script.

use harness::{new_id, world::Company};

use super::visitor::{Visitor, written};

#[tokio::test]
async fn an_entry_says_what_was_sent_and_is_closed_by_a_plain_form() {
    let company = Company::in_maryland().await;
    let record = company.record(&company.front, "260");
    let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await.expect(422);
    let owner = Visitor::named(&company, "owner").await;
    let office = Visitor::named(&company, "office").await;
    let list = owner.open("/reviews").await.html;
    assert!(list.contains("1 Street A, Sampletown</a>, Tech 01, received 2026-09-15 10:00 EDT"), "{list}");
    assert!(!list.contains("data-"), "nothing on it needs a script");
    let path = list.split_once("href=\"/reviews/").unwrap().1.split_once('"').unwrap().0;
    let path = format!("/reviews/{path}");
    let entry = owner.open(&path).await;
    // 260 lb of 24 % on 8,200 sq ft are 7.61 lb N per 1,000 sq ft, and 0.9 may go: COMAR 15.20.10.09 C(2).
    for words in [
        "260 lb on the front lawn",
        "Feed 24-0-10",
        "begun 2026-09-15 09:05 EDT",
        "<dd>moist</dd>",
        "COMAR 15.20.10.09 C(2)",
    ] {
        assert!(entry.html.contains(words), "{words}: {}", entry.html);
    }
    let seen = office.open(&path).await;
    assert!(seen.html.contains("The owner closes it.") && !seen.html.contains("class=\"entry\""), "{}", seen.html);
    assert_eq!(
        office
            .post(&path, &[("/note".to_owned(), "Mine.".to_owned())], &[("sec-fetch-site", "same-origin")])
            .await
            .status,
        403
    );
    let technician = Visitor::technician(&company).await;
    assert_eq!(technician.open(&path).await.status, 403);
    let before = written(&company).await;

    let unsaid = owner.send(&entry, &[("/note", "")]).await;
    assert_eq!(unsaid.status, 422);
    assert!(unsaid.beside("/note", "fault").starts_with('■'), "{}", unsaid.html);
    assert_eq!(written(&company).await, before);
    let elsewhere = [("/note".to_owned(), "Theirs.".to_owned())];
    assert_eq!(owner.post(&path, &elsewhere, &[("sec-fetch-site", "cross-site")]).await.status, 403);
    let closed = owner.send(&entry, &[("/note", "A slip of the finger.")]).await;
    assert_eq!((closed.status, closed.to.as_deref()), (303, Some("/reviews")));
    assert_eq!(written(&company).await, before + 1);
    // Sent twice it is said once; another word on it is refused, and what was typed stays.
    assert_eq!(owner.send(&entry, &[("/note", "A slip of the finger.")]).await.status, 303);
    let other = owner.send(&entry, &[("/note", "Something else.")]).await;
    assert_eq!(other.status, 409);
    assert!(other.html.contains("reviewed already") && other.value("/note") == "Something else.", "{}", other.html);
    assert_eq!(written(&company).await, before + 1);
    assert!(owner.open("/reviews").await.html.contains("✓ Nothing is waiting."));
    assert!(owner.open(&path).await.html.contains("A slip of the finger."));
}

#[tokio::test]
async fn a_record_beyond_the_rules_leads_to_its_decision() {
    let company = Company::in_maryland().await;
    let mut record = company.record(&company.front, "260");
    let refused = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await.expect(422);
    let keys = refused.body["findings"].as_array().unwrap().iter().filter(|one| one["verdict"] == "stop");
    record["acknowledged"] = keys.map(|one| one["key"].clone()).collect();
    record["reason"] = "The gate stuck.".into();
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), &record).await.expect(201);
    let owner = Visitor::named(&company, "owner").await;
    let list = owner.open("/reviews").await.html;
    assert!(list.contains("■ Beyond the rules") && list.contains(&format!("href=\"/records/{id}\"")), "{list}");
    let entry = owner.open(&format!("/reviews/{id}")).await;
    assert!(
        entry.html.contains(&format!("href=\"/records/{id}\"")) && entry.html.contains("class=\"entry\""),
        "{}",
        entry.html
    );
}

#[tokio::test]
async fn a_change_that_lets_more_go_down_says_what_stood_before_and_how_it_is_put_right() {
    let company = Company::in_maryland().await;
    let path = format!("/api/v1/sections/{}/measurements", company.front);
    let body = serde_json::json!({ "area_sqft": "8500", "measured_on": "2026-09-15", "method": "plan", "measured_by": "Office 01" });
    let measured = company.office.post(&path, &body).await.expect(201).id();
    let owner = Visitor::named(&company, "owner").await;
    let today = owner.open("/office").await.html;
    assert!(today.contains("1 change of a lawn is to be looked at by the owner"), "{today}");
    let list = owner.open("/reviews").await.html;
    for words in [
        "A change of a lawn lets more go down",
        "Area of the front lawn, from 2026-09-15 on",
        "8200 sq ft",
        "8500 sq ft",
        "Office 01",
    ] {
        assert!(list.contains(words), "{words}: {list}");
    }
    let id = list.split_once("href=\"/reviews/").unwrap().1.split_once('"').unwrap().0.to_owned();
    let entry = owner.open(&format!("/reviews/{id}")).await;
    let mend = format!("/office/measurements/{measured}/correct");
    assert!(entry.html.contains(&format!("href=\"{mend}\"")), "{}", entry.html);
    assert_eq!(owner.open(&mend).await.status, 200, "there is such a form");
    let office = Visitor::named(&company, "office").await;
    assert!(office.open(&format!("/reviews/{id}")).await.html.contains("The owner closes it."));
    assert_eq!(owner.send(&entry, &[("/note", "Walked round it myself.")]).await.status, 303);
    assert!(owner.open("/reviews").await.html.contains("✓ Nothing is waiting."));
    assert!(owner.open(&format!("/reviews/{id}")).await.html.contains("Walked round it myself."));
}

#[tokio::test]
async fn what_a_technician_saw_stands_beside_what_is_on_file_and_is_confirmed_there() {
    let company = Company::in_maryland().await;
    let path = format!("/api/v1/sections/{}/sightings", company.front);
    let see = async |what: serde_json::Value| {
        let mut body = serde_json::json!({ "seen_on": "2026-09-15", "note": "Taped <twice>." });
        body.as_object_mut().unwrap().extend(what.as_object().unwrap().clone());
        company.phone.post(&path, &body).await.expect(201).id()
    };
    let counts = see(serde_json::json!({ "water": "near", "water_distance_ft": "12" })).await;
    let waits = see(serde_json::json!({ "water": "near", "water_distance_ft": "18.5" })).await;
    let owner = Visitor::named(&company, "owner").await;
    let today = owner.open("/office").await.html;
    assert!(today.contains("1 thing that a technician saw of a lawn is not confirmed"), "{today}");
    let list = owner.open("/reviews").await.html;
    let href = format!("/office/sightings/{waits}");
    assert!(list.contains("A technician saw that more could go down") && list.contains(&href), "{list}");
    assert!(!list.contains(&counts), "what counts at once waits for nobody");
    let office = Visitor::named(&company, "office").await;
    let asked = office.open(&href).await;
    for words in
        ["18.5", "12", "Taped &#60;twice&#62;.", "It does not count until you confirm it", "distance to the water, ft"]
    {
        assert!(asked.html.contains(words), "{words}: {}", asked.html);
    }
    let without = office.send(&asked, &[]).await;
    assert!(without.beside("/holds", "fault").contains("is required"), "{}", without.html);
    assert_eq!(office.send(&asked, &[("/holds", "true"), ("/note", "Seen on the plan.")]).await.status, 303);
    let said = office.open(&href).await.html;
    assert!(
        said.contains("✓ Confirmed by the office: Seen on the plan.") && said.contains("/office/entries/"),
        "{said}"
    );
    assert!(!said.contains("Is it so?"));
    assert!(owner.open("/reviews").await.html.contains("✓ Nothing is waiting."));
    let told = office.open(&format!("/office/sightings/{counts}")).await.html;
    assert!(told.contains("It counts by") && !told.contains("Is it so?"), "{told}");
}
