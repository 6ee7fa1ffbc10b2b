//! What a technician sees of a lawn on the spot counts at once where it makes limits stricter, and otherwise once the office has said so.

use harness::{User, world::Company};
use serde_json::{Value, json};

use crate::limit_moves::{changes, newest};

/// What a technician sees of a section, as its phone sends it.
fn seen(what: &Value) -> Value {
    let mut body = json!({ "seen_on": "2026-09-15", "note": "Walked along it with a tape." });
    body.as_object_mut().unwrap().extend(what.as_object().unwrap().clone());
    body
}

async fn see(user: &User, section: &str, what: Value) -> Value {
    user.post(&format!("/api/v1/sections/{section}/sightings"), &seen(&what)).await.expect(201).body
}

async fn to_confirm(owner: &User) -> Vec<String> {
    let list = owner.get("/api/v1/reviews?limit=200").await.expect(200).body;
    let items = list["items"].as_array().unwrap();
    let waiting = items.iter().filter(|one| one["why"] == "sighting_to_confirm");
    waiting.map(|one| one["record_id"].as_str().unwrap().to_owned()).collect()
}

#[tokio::test]
async fn what_a_technician_sees_counts_at_once_only_where_no_limit_gets_looser() {
    let company = Company::in_maryland().await;
    let (owner, office, phone, front) = (&company.owner, &company.office, &company.phone, &company.front);
    let near = |feet: &str| json!({ "water": "near", "water_distance_ft": feet });
    // From tall fescue 200 ft from water. Maryland's yearly rates: tall fescue 2.7, zoysia 1.8, fine fescue 1.4 lb (MD-07, -09, -10).
    for (what, member, stands, waits) in [
        (near("40"), "water_distance_ft", json!("40"), false),
        (near("12"), "water_distance_ft", json!("12"), false),
        (near("12.5"), "water_distance_ft", json!("12"), true),
        (json!({ "water": "none" }), "water", json!("near"), true),
        (
            json!({ "water": "near", "water_distance_ft": "12", "natural_strip_ft": "8" }),
            "natural_strip_ft",
            json!(null),
            true,
        ),
        (json!({ "species": "fine_fescue" }), "species", json!("fine_fescue"), false),
        (json!({ "species": "zoysia" }), "species", json!("fine_fescue"), true),
        // Stricter in one and looser in the other is looser.
        (
            json!({ "species": "zoysia", "water": "near", "water_distance_ft": "5" }),
            "water_distance_ft",
            json!("12"),
            true,
        ),
    ] {
        let before = to_confirm(owner).await.len();
        let made = see(phone, front, what.clone()).await;
        assert_eq!((&made["waits_for_office"], made["entry_id"].is_null()), (&json!(waits), waits), "{what}: {made}");
        let section = office.get(&format!("/api/v1/sections/{front}")).await.expect(200).body;
        assert_eq!(section[member], stands, "{what}");
        assert_eq!(to_confirm(owner).await.len(), before + usize::from(waits), "{what}");
        let again = phone.get(&format!("/api/v1/sightings/{}", made["id"].as_str().unwrap())).await.expect(200).body;
        assert_eq!(again, made);
    }
    assert_eq!(changes(owner).await, [Value::Null; 0], "nothing looser counts");
    // The history says who saw it, when and how.
    let history = office.get(&format!("/api/v1/sections/{front}/history")).await.expect(200).body;
    let last = history["items"].as_array().unwrap().last().unwrap().clone();
    assert_eq!((&last["facts"]["species"], &last["since"]), (&json!("fine_fescue"), &json!("2026-09-15")));
    assert_eq!((&last["reason"], &last["entered_by"]), (&json!("Walked along it with a tape."), &json!(phone.id)));
}

/// Maryland lets nothing be put down within 15 ft of water (Md. Code, Agric. 8-803.5(d)(1), row MD-17): the decision reads what counts,
/// and not what waits.
#[tokio::test]
async fn a_decision_reckons_with_what_counts_and_not_with_what_waits() {
    let company = Company::in_maryland().await;
    let (office, phone, front) = (&company.office, &company.phone, &company.front);
    let may = async || {
        let body = company.plan(front, "10");
        phone.post("/api/v1/checks", &body).await.expect(200).body["decision"]["verdict"].clone()
    };
    assert_ne!(may().await, "stop");
    let _ = see(phone, front, json!({ "water": "near", "water_distance_ft": "3" })).await;
    assert_eq!(may().await, "stop", "stricter counts at once");
    let waits = see(phone, front, json!({ "water": "none" })).await;
    assert_eq!(may().await, "stop", "looser waits");
    let path = format!("/api/v1/sightings/{}/confirmation", waits["id"].as_str().unwrap());
    let _ = phone.put(&path, &json!({ "holds": true })).await.problem(403, "not-allowed");
    let said = office.put(&path, &json!({ "holds": true, "note": "Seen on the plan." })).await.expect(200).body;
    assert_eq!((&said["waits_for_office"], &said["confirmation"]["person_id"]), (&json!(false), &json!(office.id)));
    assert!(!said["entry_id"].is_null());
    assert_ne!(may().await, "stop", "confirmed");
    assert_eq!(to_confirm(&company.owner).await, [""; 0]);
    assert_eq!(changes(&company.owner).await, [Value::Null; 0], "two have looked at it");
    // Said once: the same again changes nothing, and another word is too late.
    let again = office.put(&path, &json!({ "holds": true, "note": "Seen on the plan." })).await.expect(200).body;
    assert_eq!(again, said);
    let _ = office.put(&path, &json!({ "holds": false })).await.problem(409, "conflict");
    let found = server::book::verify::check_file(&company.app.file()).await.unwrap();
    assert_eq!(found.faults, [""; 0]);
}

#[tokio::test]
async fn what_was_seen_and_is_not_so_never_counts_and_who_saw_it_alone_says_why() {
    let company = Company::in_maryland().await;
    let (owner, office, phone, front) = (&company.owner, &company.office, &company.phone, &company.front);
    let _ = see(phone, front, json!({ "water": "near", "water_distance_ft": "12" })).await;
    let first = see(phone, front, json!({ "water": "none" })).await;
    let at = |one: &Value| format!("/api/v1/sightings/{}/confirmation", one["id"].as_str().unwrap());
    // The owner does not close it as if it were read; it is confirmed or rejected.
    let review = format!("/api/v1/reviews/{}", first["id"].as_str().unwrap());
    let _ = owner.put(&review, &json!({ "note": "Read." })).await.problem(409, "conflict");
    let said = office.put(&at(&first), &json!({ "holds": false })).await.expect(200).body;
    assert!(said["entry_id"].is_null() && said["waits_for_office"] == false);
    let section = office.get(&format!("/api/v1/sections/{front}")).await.expect(200).body;
    assert_eq!(section["water_distance_ft"], "12");
    // What the office sees counts, and stands on the owner's list; so does what somebody confirms who saw it.
    let _ = see(office, front, json!({ "water": "near", "water_distance_ft": "20" })).await;
    assert_eq!(newest(owner).await, (1, "limit_loosened water: water 12 ft away > water 20 ft away".to_owned()));
    let own = see(phone, front, json!({ "water": "near", "water_distance_ft": "25" })).await;
    let sign_in = json!({ "name": "tech", "password": "five other plain words" });
    let promoted = json!({ "name": "Tech 01", "role": "office", "active": true, "sign_in": sign_in });
    let _ = owner.confirm().await;
    let person = format!("/api/v1/people/{}", phone.id.as_deref().unwrap());
    let _ = owner.put_version(&person, "*", &promoted).await.expect(200);
    let session = company.app.nobody().post("/api/v1/sessions", &sign_in).await.expect(201).body;
    let alone = company.app.user(session["token"].as_str().unwrap(), phone.id.clone());
    let refused = alone.put(&at(&own), &json!({ "holds": true })).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/note"]);
    let _ = alone.put(&at(&own), &json!({ "holds": true, "note": "Nobody else was there." })).await.expect(200);
    assert_eq!(newest(owner).await, (2, "limit_loosened water: water 20 ft away > water 25 ft away".to_owned()));
    assert_eq!(changes(owner).await[0]["change"]["reason"], "Nobody else was there.");
}

#[tokio::test]
async fn what_was_seen_is_whole_sent_once_and_of_lawns_that_one_sees() {
    let company = Company::in_maryland().await;
    let (phone, front) = (&company.phone, &company.front);
    let path = format!("/api/v1/sections/{front}/sightings");
    for (what, pointer) in [
        (json!({}), "#/water"),
        (json!({ "water_distance_ft": "12" }), "#/water"),
        (json!({ "water": "unknown" }), "#/water"),
        (json!({ "water": "near" }), "#/water_distance_ft"),
        (json!({ "water": "none", "water_distance_ft": "12" }), "#/water_distance_ft"),
        (json!({ "species": "zoysia", "seen_on": "2026-09-17" }), "#/seen_on"),
        (json!({ "species": "zoysia", "note": "" }), "#/note"),
        (json!({ "species": "zoysia", "area_sqft": "9000" }), "#/area_sqft"),
    ] {
        let refused = phone.post(&path, &seen(&what)).await.problem(422, "invalid");
        assert_eq!(refused.faults(), [pointer], "{what}");
    }
    let body = seen(&json!({ "water": "near", "water_distance_ft": "12" }));
    let key = [("idempotency-key", "a-tape-in-the-rain")];
    let first = phone.send(reqwest::Method::POST, &path, &key, Some(&body)).await.expect(201).body;
    let again = phone.send(reqwest::Method::POST, &path, &key, Some(&body)).await.expect(201).body;
    assert_eq!(again, first);
    let history = company.office.get(&format!("/api/v1/sections/{front}/history")).await.expect(200).body;
    assert_eq!(history["items"].as_array().unwrap().len(), 2, "it was entered once");
    let nowhere = format!("/api/v1/sections/{}/sightings", harness::new_id());
    let _ = phone.post(&nowhere, &body).await.problem(404, "not-found");
    let (_, other) = harness::world::technician(&company.app, &company.office, &company.owner, "Tech 02").await;
    let _ = other.post(&path, &body).await.problem(404, "not-found");
    let one = format!("/api/v1/sightings/{}", first["id"].as_str().unwrap());
    let _ = other.get(&one).await.problem(404, "not-found");
}
