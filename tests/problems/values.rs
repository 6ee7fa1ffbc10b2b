//! Values: what is no number, no day and no amount is refused, where it stands, and all of it at once.

use harness::{Reply, new_id, world::Company};
use serde_json::{Value, json};

/// Sends a record in which one member is replaced, and expects it to be refused without a trace.
async fn refused(company: &Company, pointer: &str, value: Value) -> Reply {
    let mut record = company.record(&company.front, "25.6");
    *record.pointer_mut(pointer).unwrap_or_else(|| panic!("a record has {pointer}")) = value.clone();
    let path = format!("/api/v1/applications/{}", new_id());
    let reply = company.phone.put(&path, &record).await;
    assert_eq!(reply.status, 422, "{pointer} = {value}: {}", reply.text);
    assert_eq!(company.owner.get(&path).await.status, 404);
    reply.problem(422, "invalid")
}

#[tokio::test]
async fn an_amount_is_decimal_text() {
    let company = Company::in_maryland().await;
    let bad = [
        json!(25.6),
        json!(26),
        json!(null),
        json!(true),
        json!(["25.6"]),
        json!({ "value": "25.6" }),
        json!(""),
        json!("-25.6"),
        json!("+25.6"),
        json!("NaN"),
        json!("Infinity"),
        json!("1e3"),
        json!("1E3"),
        json!("25.6000001"),
        json!("25,6"),
        json!("1,000"),
        json!(" 25.6"),
        json!("25.6 lb"),
        json!("025.6"),
        json!(".5"),
        json!("25."),
        json!("0x19"),
        json!("\u{ff12}\u{ff15}"),
        json!("\u{0662}\u{0665}"),
        json!("99999999999999999999999"),
        json!("0"),
    ];
    for value in bad {
        let reply = refused(&company, "/lines/0/product_lb", value.clone()).await;
        assert_eq!(reply.faults(), ["#/lines/0/product_lb"], "{value}");
    }
    let number = refused(&company, "/lines/0/product_lb", json!(25.6)).await;
    assert!(number.text.contains("as text"), "it says how to write it: {}", number.text);
    // Trailing zeros are the same amount.
    let id = new_id();
    let path = format!("/api/v1/applications/{id}");
    let stored = company.phone.put(&path, &company.record(&company.front, "25.600000")).await.expect(201).body;
    assert_eq!(stored["lines"][0]["product_lb"], "25.6");
}

#[tokio::test]
async fn a_slipped_decimal_point_is_told_with_the_largest_lawful_amount() {
    let company = Company::in_maryland().await;
    let record = company.record(&company.front, "260");
    let path = format!("/api/v1/applications/{}", new_id());
    let stopped = company.phone.put(&path, &record).await.problem(422, "stopped-by-rules");
    // 0.9 lb N on 1,000 sq ft of 8,200 sq ft with a 24 % product is 30.75 lb.
    assert!(stopped.text.contains("30.75"), "{}", stopped.text);
    for finding in stopped.body["findings"].as_array().unwrap() {
        for member in ["key", "message", "citation", "hint"] {
            assert!(!finding[member].as_str().unwrap().is_empty(), "{finding}");
        }
    }
    assert_eq!(company.owner.get(&path).await.status, 404);
}

#[tokio::test]
async fn a_moment_has_a_zone_and_a_day_is_on_the_calendar() {
    let company = Company::in_maryland().await;
    let moments = [
        json!("2026-09-15T09:05:00"),
        json!("2026-09-15 09:05:00-04:00"),
        json!("2026-09-15"),
        json!("2026-02-30T09:05:00-04:00"),
        json!("2026-09-15T25:05:00-04:00"),
        json!("2026-09-15T09:05:00 America/New_York"),
        json!("1989-09-15T09:05:00Z"),
        json!("09/15/2026"),
        json!(1_789_000_000),
    ];
    for moment in moments {
        let reply = refused(&company, "/started_at", moment.clone()).await;
        assert!(reply.faults().contains(&"#/started_at".to_owned()), "{moment}: {}", reply.text);
    }
    let before = refused(&company, "/finished_at", json!("2026-09-15T08:00:00-04:00")).await;
    assert_eq!(before.faults(), ["#/finished_at"]);
    for day in
        ["2026-02-30", "2025-02-29", "2026-9-15", "15.09.2026", "2026-09-15T00:00:00Z", "1989-12-31", "2200-01-01"]
    {
        let mut plan = company.plan(&company.front, "25.6");
        plan["planned_on"] = json!(day);
        let reply = company.phone.post("/api/v1/checks", &plan).await.problem(422, "invalid");
        assert_eq!(reply.faults(), ["#/planned_on"], "{day}");
    }
}

#[tokio::test]
async fn an_area_is_above_zero() {
    let company = Company::in_maryland().await;
    let path = format!("/api/v1/sections/{}/measurements", company.front);
    for area in ["0", "0.00", "-1", "0.001", "999999999999"] {
        let measured =
            json!({ "area_sqft": area, "measured_on": "2026-09-01", "method": "wheel", "measured_by": "Tech 01" });
        let reply = company.phone.post(&path, &measured).await.problem(422, "invalid");
        assert_eq!(reply.faults(), ["#/area_sqft"], "{area}");
    }
    let tomorrow =
        json!({ "area_sqft": "9000", "measured_on": "2026-09-20", "method": "wheel", "measured_by": "Tech 01" });
    let reply = company.phone.post(&path, &tomorrow).await.problem(422, "invalid");
    assert_eq!(reply.faults(), ["#/measured_on"]);
}

#[tokio::test]
async fn a_label_adds_up() {
    let company = Company::in_maryland().await;
    let product = |label: Value| json!({ "name": "Feed", "label": label, "net_weight_lb": "50" });
    let label = harness::world::label;
    let cases = [
        (label("50", "0", "30", "20.01"), "#/label"),
        (label("24", "24.01", "0", "10"), "#/label/slow_nitrogen_percent"),
        (label("100.01", "0", "0", "0"), "#/label/nitrogen_percent"),
        (label("24", "7.2", "0", "-1"), "#/label/potash_percent"),
        (label("24.001", "7.2", "0", "0"), "#/label/nitrogen_percent"),
    ];
    for (label, pointer) in cases {
        let reply = company.office.post("/api/v1/products", &product(label.clone())).await.problem(422, "invalid");
        assert_eq!(reply.faults(), [pointer], "{label}");
    }
    for whole in [label("50", "50", "30", "20"), label("0", "0", "0", "0")] {
        let _ = company.office.post("/api/v1/products", &product(whole)).await.expect(201);
    }
    let both = company.office.post("/api/v1/products", &product(label("60", "60.01", "30", "20"))).await;
    assert_eq!(both.problem(422, "invalid").faults().len(), 2);
}

#[tokio::test]
async fn all_faults_are_told_at_once() {
    let company = Company::in_maryland().await;
    let mut record = company.record(&company.front, "NaN");
    record["started_at"] = json!("2026-09-15T09:05:00");
    record["ground"] = json!("soggy");
    record["colour"] = json!("green");
    record.as_object_mut().unwrap().remove("pavement_cleaned");
    let reply = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await.problem(422, "invalid");
    let mut faults = reply.faults();
    faults.sort();
    let expected = ["#/colour", "#/ground", "#/lines/0/product_lb", "#/pavement_cleaned", "#/started_at"];
    assert_eq!(faults, expected, "{}", reply.text);
    let codes: Vec<&str> =
        reply.body["errors"].as_array().unwrap().iter().map(|fault| fault["code"].as_str().unwrap()).collect();
    for code in ["missing", "unknown_field", "unknown_value", "wrong_format"] {
        assert!(codes.contains(&code), "{codes:?}");
    }
}

#[tokio::test]
async fn what_a_record_names_must_be_in_the_book() {
    let company = Company::in_maryland().await;
    let nothing = json!("01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7aff");
    // A lot belongs to a product, so with an unknown product it is no lot of it either.
    let reply = refused(&company, "/product_id", nothing.clone()).await;
    assert_eq!(reply.faults(), ["#/product_id", "#/lot_id"]);
    for pointer in ["/lot_id", "/visit_id", "/lines/0/section_id"] {
        let reply = refused(&company, pointer, nothing.clone()).await;
        assert_eq!(reply.faults(), [format!("#{pointer}")]);
    }
    for nil in ["00000000-0000-0000-0000-000000000000", "ffffffff-ffff-ffff-ffff-ffffffffffff", "1"] {
        let reply = refused(&company, "/lot_id", json!(nil)).await;
        assert_eq!(reply.faults(), ["#/lot_id"]);
    }
    let twice =
        json!([{ "section_id": company.front, "product_lb": "1" }, { "section_id": company.front, "product_lb": "2" }]);
    let reply = refused(&company, "/lines", twice).await;
    assert!(reply.faults()[0].starts_with("#/lines/1"), "{}", reply.text);
    assert_eq!(refused(&company, "/lines", json!([])).await.faults(), ["#/lines"]);
}

#[tokio::test]
async fn a_name_can_be_seen() {
    let company = Company::in_maryland().await;
    for unseen in [" ", "\u{200b}", "a\u{202e}b", "x\u{85}y", " Client", "\u{3000}", "a\u{0}", "\u{feff}x", ""] {
        let client = json!({ "name": unseen, "mailing_address": "1 Street A" });
        let refused = company.office.post("/api/v1/clients", &client).await.problem(422, "invalid");
        assert_eq!(refused.body["errors"].as_array().unwrap().len(), 1, "{unseen:?}: {}", refused.text);
        assert_eq!(refused.faults(), ["#/name"], "{unseen:?}");
    }
    for seen in ["Ann", "Ng\u{169} Lawns", "\u{5f20}", "O'Brien & Sons 2 \u{1f33f}"] {
        let client = json!({ "name": seen, "mailing_address": "1 Street A\nSampletown" });
        let _ = company.office.post("/api/v1/clients", &client).await.expect(201);
    }
    for (member, text) in [("notes", "\u{0}"), ("notes", " "), ("reason", "\u{202e}x")] {
        let mut record = company.record(&company.front, "5");
        record[member] = json!(text);
        let reply = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await;
        assert_eq!(reply.problem(422, "invalid").faults(), [format!("#/{member}")]);
    }
}

#[tokio::test]
async fn no_more_leaves_the_stock_than_the_book_has() {
    let company = Company::in_maryland().await;
    let moved = |mass: &str| json!({ "product_id": company.feed, "kind": "spilled", "mass_lb": mass, "moved_on": "2026-09-15", "reason": "Bag torn" });
    let refused = company.office.post("/api/v1/stock-movements", &moved("2000.000001")).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/mass_lb"]);
    assert!(refused.text.contains("2000 lb"), "{}", refused.text);
    let _ = company.office.post("/api/v1/stock-movements", &moved("2000")).await.expect(201);
}

#[tokio::test]
async fn a_visit_is_planned_for_the_days_around_now() {
    let company = Company::in_maryland().await;
    let plan = async |day: &str, status: u16| {
        let visit = json!({
            "property_id": company.property, "person_id": company.phone.id, "planned_on": day, "product_id": company.feed,
            "section_ids": [company.front], "purpose": "maintenance",
        });
        company.office.post("/api/v1/visits", &visit).await.expect(status)
    };
    for (day, status) in [("2025-09-14", 422), ("2025-09-15", 201), ("2029-09-15", 201), ("2029-09-16", 422)] {
        let reply = plan(day, status).await;
        assert!(status == 201 || reply.faults() == ["#/planned_on"], "{}", reply.text);
    }
}

#[tokio::test]
async fn what_is_far_too_much_is_counted_and_not_read() {
    let company = Company::in_maryland().await;
    let path = format!("/api/v1/sections/{}/measurements", company.front);
    let measured =
        |from: Value| json!({ "measured_on": "2026-09-01", "method": "tape", "measured_by": "Tech 01", "from": from });
    // Held against every shape that an entry might have, these would be minutes of work.
    let watch = std::time::Instant::now();
    let many = measured(json!({ "lawn": vec![json!({}); 300_000] }));
    let reply = company.office.post(&path, &many).await.problem(422, "invalid");
    assert_eq!(reply.body["errors"].as_array().unwrap().len(), 1);
    assert_eq!(reply.faults(), ["#/from/lawn"]);
    assert!(reply.text.contains("at most 100 entries, and has 300000"), "{}", reply.text);
    // A test build on a busy machine is slow; hours of waiting are not.
    assert!(watch.elapsed().as_secs() < 20, "{:?}", watch.elapsed());
    // Many lists that are each short enough are too much together.
    let ring = json!(vec![json!([-76.88, 40.27]); 900]);
    let outline = json!({ "shape": "outline", "outline": { "type": "Polygon", "coordinates": [ring] } });
    let much = measured(json!({ "lawn": vec![outline; 20] }));
    let reply = company.office.post(&path, &much).await.problem(422, "invalid");
    assert!(reply.text.contains("more than 12000 values"), "{}", reply.text);
    // A few too many are told with what else is wrong, and no more faults than anybody reads.
    let some = measured(json!({ "lawn": vec![json!({ "shape": "rectangle", "a": 1, "b": 1, "c": 1 }); 120] }));
    let reply = company.office.post(&path, &some).await.problem(422, "invalid");
    assert_eq!(reply.body["errors"].as_array().unwrap().len(), 500);
    assert!(reply.body["detail"].as_str().unwrap().contains("601 values"), "{}", reply.body["detail"]);
}
