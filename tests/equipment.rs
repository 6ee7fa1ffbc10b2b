//! Spreaders and sprayers: written by the office, changed by version, and named by records of their own kind.

use harness::{
    new_id,
    world::{Company, rotary_spreader},
};
use serde_json::{Value, json};

fn drop_spreader() -> Value {
    json!({ "name": "Spreader 02", "kind": "drop_spreader", "hopper_lb": "50", "swath_ft": "3", "active": true })
}

#[tokio::test]
async fn the_office_keeps_it_and_everybody_reads_it() {
    let company = Company::in_maryland().await;
    let (office, phone) = (&company.office, &company.phone);
    let key = "one-key-for-one-machine";
    let made = office.post_with_key("/api/v1/equipment", key, &drop_spreader()).await.expect(201);
    let path = format!("/api/v1/equipment/{}", made.id());
    assert_eq!(made.header("location"), Some(path.as_str()));
    assert_eq!((&made.body["version"], &made.body["hopper_lb"]), (&json!(1), &json!("50")));
    let again = office.post_with_key("/api/v1/equipment", key, &drop_spreader()).await.expect(201);
    assert_eq!((again.header("idempotency-replayed"), &again.body), (Some("true"), &made.body));
    assert_eq!(phone.get(&path).await.expect(200).body, made.body);
    assert_eq!(phone.get_with(&path, &[("if-none-match", "\"v1\"")]).await.expect(304).text, "");
    let list = phone.get("/api/v1/equipment").await.expect(200).body;
    assert_eq!(list["items"].as_array().unwrap().len(), 1);
    let _ = phone.post("/api/v1/equipment", &drop_spreader()).await.problem(403, "not-allowed");
    let mut change = drop_spreader();
    change["active"] = json!(false);
    change["calibration_limits"] = json!({ "days": 180, "applications": 200 });
    let _ = phone.put_version(&path, "\"v1\"", &change).await.problem(403, "not-allowed");
    let changed = office.put_version(&path, "\"v1\"", &change).await.expect(200).body;
    assert_eq!((&changed["version"], &changed["active"]), (&json!(2), &json!(false)));
    assert_eq!(changed["calibration_limits"], json!({ "days": 180, "applications": 200 }));
    let _ = office.put_version(&path, "\"v1\"", &change).await.problem(412, "version-outdated");
    let _ = office.put(&path, &change).await.problem(428, "version-required");
}

#[tokio::test]
async fn what_no_such_machine_has_is_told_at_once() {
    let company = Company::in_maryland().await;
    let odd = json!({
        "name": "Spreader 03", "kind": "drop_spreader", "has_deflector": true, "tank_gal": "0", "swath_ft": "0", "active": true,
    });
    let refused = company.office.post("/api/v1/equipment", &odd).await.problem(422, "invalid");
    let expected = ["#/has_deflector", "#/tank_gal", "#/swath_ft"];
    assert!(expected.iter().all(|place| refused.faults().iter().any(|fault| fault == place)), "{}", refused.text);
    let odd = json!({ "name": " ", "kind": "backpack", "hopper_lb": 50, "colour": "red" });
    let refused = company.office.post("/api/v1/equipment", &odd).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/active", "#/colour", "#/hopper_lb", "#/kind", "#/name"]);
    let boom = json!({ "name": "Boom 01", "kind": "boom_sprayer", "hopper_lb": "50", "active": true });
    let refused = company.office.post("/api/v1/equipment", &boom).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/hopper_lb"]);
    let made = rotary_spreader(&company.office).await;
    let path = format!("/api/v1/equipment/{made}");
    let refused = company.office.put_version(&path, "*", &drop_spreader()).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/kind"]);
    let _ = company.office.get(&format!("/api/v1/equipment/{}", new_id())).await.problem(404, "not-found");
}

#[tokio::test]
async fn a_record_names_a_machine_of_the_kind_that_it_says() {
    let company = Company::in_maryland().await;
    let spreader = rotary_spreader(&company.office).await;
    let other = company.office.post("/api/v1/equipment", &drop_spreader()).await.expect(201).id();
    let mut record = company.record(&company.front, "20");
    let id = new_id();
    let path = format!("/api/v1/applications/{id}");
    for (machine, code) in [(&other, "contradiction"), (&new_id(), "not_found")] {
        record["equipment_id"] = json!(machine);
        let refused = company.phone.put(&path, &record).await.problem(422, "invalid");
        assert_eq!(refused.faults(), ["#/equipment_id"]);
        assert_eq!(refused.body["errors"][0]["code"], code, "{}", refused.text);
    }
    record["equipment_id"] = json!(spreader);
    let stored = company.phone.put(&path, &record).await.expect(201).body;
    assert_eq!(
        (&stored["equipment_id"], &stored["equipment"]),
        (&json!(spreader), &json!("rotary_spreader_with_deflector"))
    );
    // Out of use: the stored record is still answered, and a new one is refused until another machine is named or none.
    let retired = json!({ "name": "Spreader 01", "kind": "rotary_spreader", "has_deflector": true, "active": false });
    let address = format!("/api/v1/equipment/{spreader}");
    let _ = company.office.put_version(&address, "\"v1\"", &retired).await.expect(200);
    let _ = company.phone.put(&path, &record).await.expect(200);
    let late = format!("/api/v1/applications/{}", new_id());
    let refused = company.phone.put(&late, &record).await.problem(422, "invalid");
    assert_eq!(refused.body["errors"][0]["code"], "not_active");
    let mut nameless = company.record(&company.rear, "5");
    nameless["equipment_id"] = Value::Null;
    let _ = company.phone.put(&late, &nameless).await.expect(201);
    // Other content under the same id names the field that differs.
    record["equipment_id"] = json!(other);
    let other_content = company.phone.put(&path, &record).await.problem(409, "id-reused");
    assert_eq!(other_content.faults(), ["#/equipment_id"]);
}

/// Maryland keeps a rotary spreader 15 ft from water, and one with a deflector 10 ft (Md. Code, Agric. 8-803.5(d)): the
/// deflector that shortens the distance must be on the machine.
#[tokio::test]
async fn a_deflector_must_be_on_the_machine() {
    let company = Company::in_maryland().await;
    let plain = json!({ "name": "Spreader 04", "kind": "rotary_spreader", "active": true });
    let plain = company.office.post("/api/v1/equipment", &plain).await.expect(201).id();
    let mut record = company.record(&company.front, "20");
    record["equipment_id"] = json!(plain);
    let path = format!("/api/v1/applications/{}", new_id());
    let refused = company.phone.put(&path, &record).await.problem(422, "invalid");
    assert!(
        refused.text.contains("is a rotary spreader, and the record says that a rotary spreader with deflector"),
        "{}",
        refused.text
    );
    record["equipment"] = json!("rotary_spreader");
    let _ = company.phone.put(&path, &record).await.expect(201);
}
