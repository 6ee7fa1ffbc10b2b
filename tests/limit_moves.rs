//! Two pairs of eyes where a limit moves: what lets more go down counts and stands on the owner's list until somebody has looked.

use harness::{User, world::Company};
use serde_json::{Value, json};

pub async fn changes(owner: &User) -> Vec<Value> {
    let list = owner.get("/api/v1/reviews?limit=200").await.expect(200).body;
    let items = list["items"].as_array().unwrap();
    items.iter().filter(|one| one["kind"] == "change").cloned().collect()
}

/// Why, what, before and after of the newest change on the list, and how many there are.
pub async fn newest(owner: &User) -> (usize, String) {
    let all = changes(owner).await;
    let said = all.first().map(|one| {
        let change = &one["change"];
        let text = |value: &Value| value.as_str().unwrap_or("-").to_owned();
        format!(
            "{} {}: {} > {}",
            text(&one["why"]),
            text(&change["what"]),
            text(&change["was"]),
            text(&change["becomes"])
        )
    });
    (all.len(), said.unwrap_or_default())
}

fn measured(area: &str) -> Value {
    json!({ "area_sqft": area, "measured_on": "2026-09-15", "method": "wheel", "measured_by": "Somebody" })
}

async fn measure(user: &User, section: &str, area: &str) -> String {
    user.post(&format!("/api/v1/sections/{section}/measurements"), &measured(area)).await.expect(201).id()
}

/// The section with some of it changed, as the office sends it.
async fn change(company: &Company, section: &str, what: &Value) {
    let path = format!("/api/v1/sections/{section}");
    let mut body = company.office.get(&path).await.expect(200).body;
    let known = [
        "property_id",
        "name",
        "species",
        "water",
        "water_distance_ft",
        "natural_strip_ft",
        "established_on",
        "touches_pavement",
        "maintenance",
        "clippings",
        "shade",
    ];
    body.as_object_mut().unwrap().retain(|name, _| known.contains(&name.as_str()));
    body.as_object_mut().unwrap().extend(what.as_object().unwrap().clone());
    let _ = company.office.put_version(&path, "*", &body).await.expect(200);
}

#[tokio::test]
async fn a_larger_area_of_the_office_counts_and_the_owner_looks_at_it() {
    let company = Company::in_maryland().await;
    let (owner, office, front) = (&company.owner, &company.office, &company.front);
    assert_eq!(changes(owner).await, [Value::Null; 0], "what was entered first moved nothing");
    let id = measure(office, front, "8500").await;
    let section = office.get(&format!("/api/v1/sections/{front}")).await.expect(200).body;
    assert_eq!(section["area_sqft"], "8500", "it counts");
    let listed = changes(owner).await;
    assert_eq!(listed.len(), 1);
    let (entry, change) = (&listed[0], &listed[0]["change"]);
    assert_eq!((&entry["why"], &entry["person_id"]), (&json!("limit_loosened"), &json!(office.id)));
    assert_eq!((&change["was"], &change["becomes"]), (&json!("8200 sq ft"), &json!("8500 sq ft")));
    assert_eq!((&change["subject_id"], &change["section_id"]), (&json!(id), &json!(front)));
    assert_eq!((&change["moved_at"], &change["since"]), (&json!("2026-09-15T14:00:00.000Z"), &json!("2026-09-15")));
    // The office does not say that its own change is right, and who says so gives a reason.
    let path = format!("/api/v1/reviews/{}", entry["record_id"].as_str().unwrap());
    let said = json!({ "note": "The neighbor's strip was bought in May." });
    let _ = office.put(&path, &said).await.problem(403, "not-allowed");
    let _ = owner.put(&path, &json!({ "note": "" })).await.problem(422, "invalid");
    let closed = owner.put(&path, &said).await.expect(200).body;
    assert_eq!(closed["review"]["note"], said["note"]);
    assert_eq!(changes(owner).await, [Value::Null; 0]);
    let all = owner.get("/api/v1/reviews?open=false").await.expect(200).body;
    assert_eq!(all["items"][0]["change"]["becomes"], "8500 sq ft", "it stays to be read");
    // An owner who works alone stands on the list too.
    let _ = measure(owner, front, "8600").await;
    assert_eq!(newest(owner).await, (1, "limit_loosened area: 8500 sq ft > 8600 sq ft".to_owned()));
}

#[tokio::test]
async fn a_large_change_and_an_unlikely_figure_are_looked_at_whoever_measured() {
    let company = Company::in_maryland().await;
    let (owner, office, phone) = (&company.owner, &company.office, &company.phone);
    // Of 8,200 sq ft 2,000 are less than a quarter, of 5,000 a quarter is less: the edge of each on both sides.
    for (section, area, listed) in [
        (&company.front, "6200.01", None),
        (&company.front, "4650", Some("large_change area: 6200.01 sq ft > 4650 sq ft")),
        (&company.rear, "3750.01", None),
        (&company.rear, "2812.50", Some("large_change area: 3750.01 sq ft > 2812.5 sq ft")),
        (&company.rear, "99.99", Some("unlikely_figure area: 2812.5 sq ft > 99.99 sq ft")),
    ] {
        let before = changes(owner).await.len();
        let _ = measure(phone, section, area).await;
        let (now, said) = newest(owner).await;
        match listed {
            Some(words) => assert_eq!((now, said.as_str()), (before + 1, words)),
            None => assert_eq!(now, before, "{area}: {said}"),
        }
    }
    // A technician's larger area waits, and is on the list for that alone.
    let before = changes(owner).await.len();
    let waits = phone.post(&format!("/api/v1/sections/{}/measurements", company.front), &measured("9000")).await;
    assert_eq!(waits.expect(201).body["waits_for_office"], true);
    assert_eq!(changes(owner).await.len(), before);
    let _ = measure(office, &company.front, "217800.01").await;
    assert!(newest(owner).await.1.starts_with("unlikely_figure area"), "five acres and more");
}

#[tokio::test]
async fn a_technicians_jump_that_the_office_confirms_is_looked_at_by_the_owner_and_what_is_merely_larger_is_not() {
    let company = Company::in_maryland().await;
    let (owner, office, phone) = (&company.owner, &company.office, &company.phone);
    // A quarter of 8,200 sq ft are 2,050, so that 2,000 decide; a quarter of 5,000 are 1,250.
    for (section, area, listed) in [
        (&company.front, "10199.99", None),
        (&company.front, "12199.99", Some("large_change area: 10199.99 sq ft > 12199.99 sq ft")),
        (&company.rear, "6249.99", None),
        (&company.rear, "7812.49", Some("large_change area: 6249.99 sq ft > 7812.49 sq ft")),
    ] {
        let before = changes(owner).await.len();
        let waits = measure(phone, section, area).await;
        let known = office.get(&format!("/api/v1/sections/{section}")).await.expect(200).body;
        assert_ne!(known["area_sqft"], area, "nothing is reckoned on it yet");
        let path = format!("/api/v1/measurements/{waits}/confirmation");
        let _ = phone.put(&path, &json!({ "holds": true })).await.problem(403, "not-allowed");
        let _ = office.put(&path, &json!({ "holds": true, "note": "Seen on the plan." })).await.expect(200);
        let known = office.get(&format!("/api/v1/sections/{section}")).await.expect(200).body;
        assert_eq!(known["area_sqft"], area);
        let (now, said) = newest(owner).await;
        assert_eq!((now, listed.unwrap_or(&said)), (before + usize::from(listed.is_some()), said.as_str()), "{area}");
        // The same again changes nothing.
        let _ = office.put(&path, &json!({ "holds": true, "note": "Seen on the plan." })).await.expect(200);
        assert_eq!(changes(owner).await.len(), now);
    }
    let listed = changes(owner).await;
    let (change, by) = (&listed[0]["change"], json!(office.id));
    assert_eq!((&change["reason"], &change["person_id"]), (&json!("Seen on the plan."), &by));
    // One that does not hold moves nothing.
    let waits = measure(phone, &company.rear, "20000").await;
    let _ =
        office.put(&format!("/api/v1/measurements/{waits}/confirmation"), &json!({ "holds": false })).await.expect(200);
    assert_eq!(changes(owner).await.len(), listed.len());
}

#[tokio::test]
async fn whoever_confirms_the_own_measurement_says_why_and_stands_on_the_list() {
    let company = Company::in_maryland().await;
    let (owner, phone) = (&company.owner, &company.phone);
    let waits = measure(phone, &company.front, "8300").await;
    // The only one who measures becomes the owner, and nobody else is there to look.
    let sign_in = json!({ "name": "tech", "password": "five other plain words" });
    let promoted = json!({ "name": "Tech 01", "role": "owner", "active": true, "sign_in": sign_in });
    let _ = owner.confirm().await;
    let _ = owner
        .put_version(&format!("/api/v1/people/{}", phone.id.as_deref().unwrap()), "*", &promoted)
        .await
        .expect(200);
    let entered = json!({ "name": "tech", "password": "five other plain words" });
    let session = company.app.nobody().post("/api/v1/sessions", &entered).await.expect(201).body;
    let alone = company.app.user(session["token"].as_str().unwrap(), phone.id.clone());
    let path = format!("/api/v1/measurements/{waits}/confirmation");
    let refused = alone.put(&path, &json!({ "holds": true })).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/note"]);
    assert_eq!(changes(&alone).await, [Value::Null; 0]);
    let _ = alone.put(&path, &json!({ "holds": true, "note": "Nobody else was there." })).await.expect(200);
    assert_eq!(newest(&alone).await, (1, "limit_loosened area: 8200 sq ft > 8300 sq ft".to_owned()));
    assert_eq!(changes(&alone).await[0]["change"]["reason"], "Nobody else was there.");
}

#[tokio::test]
async fn what_falls_back_to_an_older_figure_is_looked_at_by_what_counts_then() {
    let company = Company::in_maryland().await;
    let (owner, office, front) = (&company.owner, &company.office, &company.front);
    let smaller = measure(office, front, "8000").await;
    assert_eq!(changes(owner).await.len(), 0);
    // It was another lawn's: 8,200 sq ft count again, whatever figure stands in what takes it back.
    let mut elsewhere = measured("8000");
    let said = json!({ "corrects": smaller, "not_of_this_lawn": true, "reason": "That was the rear lawn." });
    elsewhere.as_object_mut().unwrap().extend(said.as_object().unwrap().clone());
    let _ = office.post(&format!("/api/v1/sections/{front}/measurements"), &elsewhere).await.expect(201);
    assert_eq!(newest(owner).await, (1, "limit_loosened area: 8000 sq ft > 8200 sq ft".to_owned()));
    // COMAR 15.20.10.10 A, B (MD-20, MD-22): an older report that lets phosphorus down counts again.
    let path = format!("/api/v1/sections/{front}/soil-reports");
    let report = |day: &str, category: &str, rate: &str| {
        json!({
            "sampled_on": day, "laboratory": "Laboratory 01", "extractant": "mehlich_3", "phosphorus": category,
            "phosphate_recommended_lb_per_1000_sqft": rate, "ph": "6.2",
        })
    };
    let _ = office.post(&path, &report("2026-03-02", "low", "1")).await.expect(201);
    let none = office.post(&path, &report("2026-03-03", "optimum", "0")).await.expect(201).id();
    assert_eq!(changes(owner).await.len(), 2);
    let mut elsewhere = report("2026-03-03", "optimum", "0");
    let said = json!({ "corrects": none, "not_of_this_lawn": true, "reason": "That was the rear lawn." });
    elsewhere.as_object_mut().unwrap().extend(said.as_object().unwrap().clone());
    let _ = office.post(&path, &elsewhere).await.expect(201);
    let (count, words) = newest(owner).await;
    assert_eq!(count, 3);
    assert!(words.starts_with("limit_loosened soil_report: optimum") && words.contains("> low"), "{words}");
}

#[tokio::test]
async fn water_and_turf_that_let_more_go_down_are_looked_at_and_what_is_stricter_is_not() {
    let company = Company::in_maryland().await;
    let (owner, front) = (&company.owner, &company.front);
    let near =
        |feet: &str, strip: &str| json!({ "water": "near", "water_distance_ft": feet, "natural_strip_ft": strip });
    let none = json!({ "water": "none", "water_distance_ft": null, "natural_strip_ft": null });
    // From tall fescue 200 ft from water, without a strip that is on file. Maryland's yearly rates: tall fescue 2.7, zoysia 1.8, fine fescue 1.4 lb (MD-07, -09, -10).
    for (what, listed) in [
        (near("40", "5"), Some("limit_loosened water: water 200 ft away > water 40 ft away, natural strip 5 ft")),
        (near("15", "5"), None),
        (
            near("15.5", "5"),
            Some("limit_loosened water: water 15 ft away, natural strip 5 ft > water 15.5 ft away, natural strip 5 ft"),
        ),
        (
            near("15.5", "10"),
            Some(
                "limit_loosened water: water 15.5 ft away, natural strip 5 ft > water 15.5 ft away, natural strip 10 ft",
            ),
        ),
        (none, Some("limit_loosened water: water 15.5 ft away, natural strip 10 ft > no water near it")),
        (json!({ "species": "fine_fescue" }), None),
        (json!({ "species": "zoysia" }), Some("limit_loosened species: fine fescue > zoysia")),
        (json!({ "species": "other" }), None),
        (json!({ "species": "tall_fescue" }), Some("limit_loosened species: another species > tall fescue")),
        (json!({ "name": "lawn in front", "shade": "heavy" }), None),
    ] {
        let before = changes(owner).await.len();
        change(&company, front, &what).await;
        let (now, said) = newest(owner).await;
        match listed {
            Some(words) => assert_eq!((now, said.as_str()), (before + 1, words), "{what}"),
            None => assert_eq!(now, before, "{what}: {said}"),
        }
    }
}

#[tokio::test]
async fn what_is_entered_after_the_fact_is_looked_at_with_its_reason_and_leaves_the_list_when_it_is_put_right() {
    let company = Company::in_maryland().await;
    let (owner, office, front) = (&company.owner, &company.office, &company.front);
    let path = format!("/api/v1/sections/{front}/history");
    let near = json!({ "water": "near", "water_distance_ft": "12" });
    let entry = json!({ "since": "2026-05-01", "facts": near, "reason": "A ditch was dug." });
    let _ = office.post(&path, &entry).await.expect(201);
    assert_eq!(changes(owner).await.len(), 0);
    let farther = json!({ "water": "near", "water_distance_ft": "60" });
    let entry = json!({ "since": "2026-06-01", "facts": farther, "reason": "Measured again." });
    let wrong = office.post(&path, &entry).await.expect(201).id();
    let listed = changes(owner).await;
    assert_eq!(newest(owner).await, (1, "limit_loosened water: water 12 ft away > water 60 ft away".to_owned()));
    assert_eq!(
        (&listed[0]["change"]["reason"], &listed[0]["change"]["since"]),
        (&json!("Measured again."), &json!("2026-06-01"))
    );
    let right = json!({ "water": "near", "water_distance_ft": "6" });
    let mends = json!({ "since": "2026-06-01", "facts": right, "reason": "A slip: 6 ft.", "corrects": wrong });
    let _ = office.post(&path, &mends).await.expect(201);
    assert_eq!(changes(owner).await.len(), 0, "it was put right");
    // So with a measurement.
    let wrong = measure(office, front, "8900").await;
    assert_eq!(changes(owner).await.len(), 1);
    let mut right = measured("8200");
    right["corrects"] = json!(wrong);
    right["reason"] = json!("A slip: 8,200.");
    let _ = office.post(&format!("/api/v1/sections/{front}/measurements"), &right).await.expect(201);
    assert_eq!(changes(owner).await.len(), 0);
}

#[tokio::test]
async fn a_soil_report_that_opens_phosphorus_and_other_rules_are_looked_at() {
    let company = Company::in_maryland().await;
    let (owner, office) = (&company.owner, &company.office);
    let report = async |day: &str, category: &str, rate: &str, ph: &str| {
        let body = json!({
            "sampled_on": day, "laboratory": "Laboratory 01", "extractant": "mehlich_3", "phosphorus": category,
            "phosphate_recommended_lb_per_1000_sqft": rate, "ph": ph,
        });
        let path = format!("/api/v1/sections/{}/soil-reports", company.front);
        let _ = office.post(&path, &body).await.expect(201);
        newest(owner).await
    };
    // COMAR 15.20.10.10 A, B (MD-20, MD-22): what the laboratory recommends, and no more.
    assert_eq!(report("2026-03-02", "optimum", "0", "6.2").await.0, 0);
    let (count, said) = report("2026-03-03", "low", "1", "6.2").await;
    assert_eq!(count, 1);
    assert_eq!(
        said,
        "limit_loosened soil_report: optimum, P2O5 0 lb per 1,000 sq ft, pH 6.2, dug on 2026-03-02 > \
         low, P2O5 1 lb per 1,000 sq ft, pH 6.2, dug on 2026-03-03"
    );
    assert_eq!(report("2026-03-04", "low", "1", "6.2").await.0, 1, "the same again");
    assert_eq!(report("2026-03-05", "very_low", "1.5", "6.2").await.0, 2, "more than before");
    assert_eq!(report("2026-03-06", "optimum", "0", "6.2").await.0, 2);
    let (count, said) = report("2026-03-07", "optimum", "0", "3.9").await;
    assert!(count == 3 && said.starts_with("unlikely_figure soil_report"), "{said}");

    let path = format!("/api/v1/properties/{}/history", company.property);
    let entry =
        json!({ "since": "2026-09-01", "facts": { "worked_by": "own_ground" }, "reason": "Their own people do it." });
    let _ = office.post(&path, &entry).await.expect(201);
    let (count, said) = newest(owner).await;
    assert_eq!(count, 4);
    assert_eq!(said, "limit_loosened rules: who does the work: for hire > who does the work: the owner's own people");
}

/// What limits a lawn, but for its area, is the office's to enter: a technician's word on it would have to wait, and there is none.
#[tokio::test]
async fn a_technician_changes_neither_water_nor_turf_nor_soil_report() {
    let company = Company::in_maryland().await;
    let (phone, front) = (&company.phone, &company.front);
    let section = company.office.get(&format!("/api/v1/sections/{front}")).await.expect(200).body;
    let drier =
        json!({ "property_id": company.property, "name": section["name"], "water": "none", "touches_pavement": false });
    let _ = phone.put_version(&format!("/api/v1/sections/{front}"), "*", &drier).await.problem(403, "not-allowed");
    let entry = json!({ "since": "2026-05-01", "facts": { "species": "bermuda" }, "reason": "It is." });
    let _ = phone.post(&format!("/api/v1/sections/{front}/history"), &entry).await.problem(403, "not-allowed");
    let entry = json!({ "since": "2026-05-01", "facts": { "rule_sets": [] }, "reason": "None." });
    let _ = phone
        .post(&format!("/api/v1/properties/{}/history", company.property), &entry)
        .await
        .problem(403, "not-allowed");
    let report = json!({ "sampled_on": "2026-03-02", "laboratory": "Laboratory 01", "extractant": "mehlich_3", "phosphorus": "low" });
    let _ = phone.post(&format!("/api/v1/sections/{front}/soil-reports"), &report).await.problem(403, "not-allowed");
    assert_eq!(changes(&company.owner).await.len(), 0);
}
