//! The check of a book finds what was changed behind the server's back.

use harness::{
    new_id,
    world::{Company, course, rotary_spreader},
};
use serde_json::json;
use server::book::verify::check_file;

use crate::packed;

/// A book with something of everything; then something is done to it without the server.
async fn faults_after(tamper: &[&str]) -> Vec<String> {
    let company = Company::in_maryland().await;
    let clearances = [new_id(), new_id()];
    for clearance in &clearances {
        let address = format!("/api/v1/clearances/{clearance}");
        let _ = company.phone.put(&address, &company.plan(&company.rear, "5")).await.expect(201);
    }
    let _ = company.phone.delete(&format!("/api/v1/clearances/{}", clearances[1])).await.expect(200);
    let mut record = company.record(&company.rear, "5");
    record["clearance_id"] = json!(clearances[0]);
    let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await.expect(201);
    let id = company.put_down(&company.front, "20").await;
    let change = json!({ "application_id": id, "reason": "Weighed again.", "change": { "lines": [{ "section_id": company.front, "product_lb": "21" }] } });
    let _ = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &change).await.expect(201);
    let mut too_much = company.record(&company.front, "260");
    too_much["notes"] = json!("Nobody was there.");
    let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &too_much).await.expect(422);
    let added = json!({ "seen": { "sky": "clear" }, "from_the_book": true });
    let _ = company.phone.post(&format!("/api/v1/applications/{id}/additions"), &added).await.expect(201);
    let reviews = company.owner.get("/api/v1/reviews").await.expect(200).body;
    let address = format!("/api/v1/reviews/{}", reviews["items"][0]["record_id"].as_str().unwrap());
    let _ = company.owner.put(&address, &json!({ "note": "A slip of the finger." })).await.expect(200);
    let buyer = json!({ "name": "Client 002", "mailing_address": "2 Street B" });
    let buyer = company.office.post("/api/v1/clients", &buyer).await.expect(201).id();
    let sold = json!({
        "client_id": buyer, "name": "Home", "address": "1 Street A, Sampletown", "postal_code": "21000",
        "time_zone": "America/New_York", "rule_sets": ["us-md"],
    });
    let property = format!("/api/v1/properties/{}", company.property);
    let _ = company.office.put_version(&property, "*", &sold).await.expect(200);
    let spreader = rotary_spreader(&company.office).await;
    let _ =
        company.phone.post("/api/v1/calibrations", &course(&spreader, &company.feed, "2026-09-14")).await.expect(201);
    let mut with_it = company.record(&company.rear, "2");
    with_it["equipment_id"] = json!(spreader);
    let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &with_it).await.expect(201);
    let held = json!({ "name": "Certificate", "number": "FA-1", "issued_by": "A state", "valid_from": "2026-01-01" });
    let of = format!("/api/v1/people/{}/credentials", company.phone.id.as_deref().unwrap());
    let _ = company.office.post(&of, &held).await.expect(201);
    let files = format!("/api/v1/products/{}/files?kind=label", company.feed);
    let _ = company.office.post_file(&files, "application/pdf", b"%PDF-1.7\n").await.expect(201);
    measured_and_dug(&company).await;
    let programme = json!({
        "name": "Season", "season_year": 2026, "equipment": "drop_spreader",
        "rounds": [{ "name": "late autumn", "from": "2026-10-20", "to": "2026-11-10" }],
        "products": [{ "product_id": company.feed, "bag_price_usd": "31", "may_buy": true }],
        "needs": [{ "nitrogen_lb_per_1000_sqft": "2.5", "because": "An experiment" }],
        "least_product_lb_per_1000_sqft": "0.1",
    });
    let programme = company.office.post("/api/v1/programmes", &programme).await.expect(201).id();
    let round = json!({
        "round": "late autumn", "planned_on": "2026-11-01", "person_id": company.phone.id, "section_ids": [company.rear],
    });
    let _ = company.office.post(&format!("/api/v1/programmes/{programme}/visits"), &round).await.expect(201);
    let folder = company.app.stop().await;
    let file = folder.path().join("book.db");
    let connection = packed::open(&file);
    let triggers: Vec<String> = {
        let mut found = connection.prepare("SELECT name FROM sqlite_schema WHERE type = 'trigger'").unwrap();
        found.query_map([], |row| row.get(0)).unwrap().map(Result::unwrap).collect()
    };
    for sql in tamper {
        // The triggers refuse it; somebody who can write the file can also drop them.
        for trigger in &triggers {
            connection.execute_batch(&format!("DROP TRIGGER IF EXISTS {trigger}")).unwrap();
        }
        connection.execute_batch(sql).unwrap();
    }
    drop(connection);
    check_file(&file).await.unwrap().faults
}

/// An area that was worked out, and a report with everything on it.
async fn measured_and_dug(company: &Company) {
    let section = format!("/api/v1/sections/{}", company.rear);
    // Places with seventeen digits, which only an exact reader keeps.
    let third = 0.001 / 3.0;
    let (east, north) = (-76.88 + third, 40.27 + third);
    let corners = json!([[[-76.88, 40.27], [east, 40.27], [east, north], [-76.88, 40.27]]]);
    let measured = json!({
        "measured_on": "2026-09-01", "method": "gps_outline", "measured_by": "Tech 01", "from": {
            "lawn": [{ "shape": "outline", "outline": { "type": "Polygon", "coordinates": corners }, "position_error_ft": "1" }],
            "not_lawn": [{ "shape": "rectangle", "length_ft": "10", "width_ft": "12" }],
            "keep_off": [{ "kind": "drain", "positions": [corners[0][0]], "distance_ft": "3", "rule": "the label" }],
        },
    });
    let _ = company.office.post(&format!("{section}/measurements"), &measured).await.expect(201);
    let report = json!({
        "sampled_on": "2026-03-02", "laboratory": "Sample Laboratory", "extractant": "mehlich_3", "cores": 8, "depth_in": "3",
        "tool": "probe", "laboratory_table": "rutgers", "ph": "5.8", "buffer_ph": "6.3", "acidity": { "meq": "6.5", "per": "100_g" },
        "organic_matter_percent": "3.1", "lime_recommended_lb_per_1000_sqft": "80",
        "values": [{ "nutrient": "phosphorus", "reading": "30", "unit": "lb_per_acre", "basis": "element" }],
    });
    let _ = company.office.post(&format!("{section}/soil-reports"), &report).await.expect(201);
}

#[tokio::test]
async fn an_untouched_book_has_no_faults() {
    assert_eq!(faults_after(&[]).await, Vec::<String>::new());
}

#[tokio::test]
async fn changes_of_what_stood_when_show() {
    let changes = [
        ("a member of an entry", "UPDATE dated_entries SET facts = json_remove(facts, '$.phone') WHERE client_id IS NOT NULL", "what stood when"),
        ("a second beginning", "PRAGMA ignore_check_constraints = 1; INSERT INTO dated_entries (id, section_id, since, facts, entered_at)
             SELECT '01a0a55e-0f00-7e3f-8091-7fa128da7a64', id, '0001-01-01', '{\"clippings\": \"taken\"}', 0 FROM sections LIMIT 1", "what stood when"),
        (
            "an entry",
            "UPDATE dated_entries SET facts = json_set(facts, '$.species', 'zoysia') WHERE section_id IS NOT NULL",
            "what stood when",
        ),
        (
            "the day of an entry",
            "UPDATE dated_entries SET since = '2025-01-01' WHERE since <> '0001-01-01'",
            "differs in since",
        ),
        ("a lost entry", "DELETE FROM dated_entries WHERE since <> '0001-01-01'", "dated_entries: "),
    ];
    each_shows(&changes).await;
}

#[tokio::test]
async fn what_is_packed_cannot_change_unseen() {
    let changes = [
        (
            "the content of a record",
            "UPDATE applications AS a SET packed = repacked(a.packed, (SELECT p.body FROM text_patterns AS p WHERE p.seq = a.pattern), '\"20\"', '\"19\"')",
            "the content of",
        ),
        (
            "what statements ask of it",
            "UPDATE applications SET content = json_set(content, '$.started_at', '2026-09-15T00:00:00.000Z')",
            "what is asked of the content of",
        ),
        ("a content that is no frame", "UPDATE applications SET packed = x'00'", "the content of"),
        ("one pattern for another", "UPDATE applications SET pattern = pattern - 1", "the content of"),
        (
            "a decision",
            "UPDATE journal AS j SET packed = repacked(j.packed, (SELECT p.body FROM text_patterns AS p WHERE p.seq = j.pattern), 'front lawn', 'back lawn') WHERE j.packed IS NOT NULL",
            "the decision of",
        ),
        (
            "a decision put beside the one that was made",
            "INSERT INTO decisions SELECT 'application/' || id, 0, '{}' FROM applications LIMIT 1",
            "what stands beside the packed texts of",
        ),
        ("a pattern", "UPDATE text_patterns SET body = body || 'x'", "does not follow from the one before"),
        (
            "a lost pattern",
            "PRAGMA foreign_keys = OFF; DELETE FROM text_patterns WHERE seq = 1",
            "does not follow from the one before",
        ),
        (
            "a packed text",
            "UPDATE journal SET packed = zeroblob(length(packed)) WHERE packed IS NOT NULL",
            "does not follow from the one before",
        ),
    ];
    each_shows(&changes).await;
}

#[tokio::test]
async fn every_kind_of_change_shows() {
    let changes = [
        (
            "an amount in the ledger",
            "UPDATE application_lines SET nitrogen = nitrogen - 1 WHERE product > 0",
            "the ledger of",
        ),
        ("a removed line", "DELETE FROM application_lines WHERE seq = 1", "do not follow from its records"),
        ("a removed entry", "DELETE FROM journal WHERE seq = 5", "journal entry 5 is missing"),
        (
            "a changed entry",
            "UPDATE journal SET payload = replace(payload, 'Client 001', 'Client 002')",
            "does not follow from the one before",
        ),
        ("a label", "UPDATE products SET label = replace(label, '\"24\"', '\"12\"')", "the label of"),
        ("an area", "UPDATE measurements SET area = area + 1", "the area of"),
        ("stock", "UPDATE stock_movements SET mass = mass + 1 WHERE kind = 'applied'", "the stock movement of"),
        ("a stock total", "UPDATE stock_totals SET mass = mass + 1", "the stock of"),
        ("a lot's total", "UPDATE lot_totals SET mass = mass + 1", "the stock of lot"),
        ("a removed correction", "DELETE FROM corrections", "the content of"),
        ("a mark", "UPDATE applications SET beyond_the_rules = 1", "the row of"),
        ("a mark of a correction", "UPDATE corrections SET beyond_the_rules = 1", "the row of"),
        ("who did it", "UPDATE applications SET person_name = 'Somebody Else'", "the row of"),
        ("when it came in", "UPDATE applications SET received_at = received_at - 1", "the row of"),
        ("the day", "UPDATE applications SET applied_on = '2026-09-14'", "the row of"),
        (
            "whose clearance",
            "UPDATE clearances SET person_id = (SELECT id FROM people WHERE role = 'owner')",
            "the row of",
        ),
        ("an attempt", "DELETE FROM attempts", "the content of"),
        ("a clearance that was used", "DELETE FROM clearance_ends WHERE how = 'used'", "the clearance that was used"),
        ("a clearance given back", "DELETE FROM clearance_ends WHERE how = 'given_back'", "the end of"),
        ("a review", "DELETE FROM reviews", "record"),
        ("a review's words", "UPDATE reviews SET note = 'Fine.'", "differs in note"),
        (
            "an invented review",
            "INSERT INTO reviews SELECT id, entered_by, 'Fine.', 0 FROM applications LIMIT 1",
            "reviews: 2 rows",
        ),
        ("whose it was", "UPDATE ownerships SET since = '2025-01-01' WHERE seq = 2", "whose property"),
        ("a change of hands", "DELETE FROM ownerships WHERE seq = 2", "whose property"),
        ("rule sets", "UPDATE properties SET rule_sets = '[]'", "differs in rule_sets"),
        ("a soil report", "UPDATE soil_reports SET phosphorus = 'low'", "differs in phosphorus"),
        ("a visit", "UPDATE visits SET status = 'done'", "differs in status"),
        ("a name", "UPDATE people SET name = 'Somebody Else' WHERE role = 'technician'", "differs in name"),
        ("a lawn", "UPDATE sections SET water = 'unknown', water_distance = NULL", "differs in water"),
        ("how pages write", "UPDATE settings SET date_order = 'month_day_year'", "settings: 1 rows"),
        ("a delivery", "UPDATE lots SET supplier = 'Another'", "differs in supplier"),
        (
            "an invented delivery",
            "INSERT INTO stock_movements (id, product_id, kind, mass, moved_on, person_id, recorded_at)
             SELECT 'x', id, 'received', 1, '2026-01-01', (SELECT id FROM people LIMIT 1), 0 FROM products",
            "stock_movements: ",
        ),
    ];
    each_shows(&changes).await;
}

#[tokio::test]
async fn what_was_fixed_with_a_record_cannot_change_unseen() {
    each_shows(&[
        (
            "what was fixed",
            "UPDATE journal AS j SET packed = repacked(j.packed, (SELECT p.body FROM text_patterns AS p WHERE p.seq = j.pattern), '\"21000\"', '\"21001\"') WHERE j.packed IS NOT NULL",
            "what was fixed of",
        ),
        (
            "other particulars beside those",
            "UPDATE applications SET particulars = '{}'",
            "what stands beside the packed texts of",
        ),
        ("a lost clock", "UPDATE applications SET time_zone = NULL", "what was fixed of"),
        ("its clock", "UPDATE applications SET time_zone = 'America/Chicago'", "what was fixed of"),
        ("whether it was complete", "UPDATE applications SET incomplete = 0", "the row of"),
        (
            "a name",
            "UPDATE personal_texts SET body = json_set(body, '$.client', 'Client 009')",
            "a text about people of",
        ),
        (
            "the reason of a correction",
            "UPDATE personal_texts SET body = json_set(body, '$.reason', 'None.') WHERE record_id IN (SELECT id FROM corrections)",
            "a text about people of",
        ),
        (
            "the notes of a refused record",
            "UPDATE personal_texts SET body = json_set(body, '$.notes', 'None.') WHERE record_id IN (SELECT id FROM attempts)",
            "a text about people of",
        ),
        ("a salt", "UPDATE personal_texts SET salt = '00'", "a text about people of"),
        ("lost texts", "DELETE FROM personal_texts", "a text about people of"),
        (
            "texts that are said to be destroyed, which the journal does not tell",
            "UPDATE personal_texts SET body = NULL, salt = NULL, destroyed_by = 1",
            "a text about people of",
        ),
        ("what was added", "UPDATE record_additions SET seen = replace(seen, 'clear', 'rain')", "differs in seen"),
        ("a lost addition", "DELETE FROM record_additions", "record_additions: 0 rows"),
    ])
    .await;
}

#[tokio::test]
async fn every_change_of_machines_and_files_shows() {
    let changes = [
        ("a certificate", "UPDATE credentials SET valid_until = '2030-12-31'", "differs in valid_until"),
        ("a removed certificate", "DELETE FROM credentials", "credentials: 0 rows"),
        ("a machine", "UPDATE equipment SET has_deflector = 0", "differs in has_deflector"),
        ("a calibration", "UPDATE calibrations SET test = replace(test, '\"5.2\"', '\"5.1\"')", "differs in test"),
        (
            "what followed from it",
            "UPDATE calibrations SET result = replace(result, 'true', 'false')",
            "differs in result",
        ),
        ("a removed calibration", "DELETE FROM calibrations", "calibrations: 0 rows"),
        (
            "the machine of a record",
            "UPDATE applications SET content = replace(content, 'equipment_id', 'equipment_no')",
            "the content of",
        ),
        ("a label's file", "UPDATE file_bodies SET bytes = x'255044462d00'", "differs from its hash"),
        ("whose file", "UPDATE product_files SET kind = 'safety_data_sheet'", "differs in kind"),
        ("a removed file", "DELETE FROM product_files", "product_files: 0 rows"),
        ("an invented file", "INSERT INTO file_bodies VALUES ('ab', 'image/png', x'00')", "no product has the file"),
    ];
    each_shows(&changes).await;
}

#[tokio::test]
async fn every_change_of_the_season_shows() {
    each_shows(&[
        ("a round of a visit", "UPDATE visits SET round = 'early autumn' WHERE round IS NOT NULL", "differs in round"),
        (
            "a visit that was none of a round",
            "UPDATE visits SET round = 'late autumn', programme_id = (SELECT id FROM programmes)",
            "differs in programme_id, round",
        ),
        ("a programme", "UPDATE programmes SET content = replace(content, '\"2.5\"', '\"9.5\"')", "differs in needs"),
        (
            "an invented programme",
            "INSERT INTO programmes (id, content, version, created_at) SELECT 'x', content, 1, 0 FROM programmes",
            "programmes: 2 rows",
        ),
        ("a removed programme", "PRAGMA foreign_keys = OFF; DELETE FROM programmes", "is gone"),
        ("how a lawn is kept", "UPDATE sections SET clippings = 'left'", "differs in clippings"),
    ])
    .await;
}

/// Each change (what it is, how it is done, what the check says) shows.
async fn each_shows(changes: &[(&str, &str, &str)]) {
    for (what, sql, expected) in changes {
        let faults = faults_after(&[sql]).await;
        assert!(faults.iter().any(|fault| fault.contains(expected)), "{what}: {faults:#?}");
    }
}

#[tokio::test]
async fn what_was_measured_and_dug_shows() {
    let changes = [
        (
            "what an area was worked out from",
            "UPDATE measurements SET parts = replace(parts, '\"12\"', '\"13\"')",
            "differs in from",
        ),
        ("a distance", "UPDATE measurements SET parts = replace(parts, '\"3\"', '\"2\"')", "differs in from"),
        ("an error", "UPDATE measurements SET error = error - 1", "differs in error"),
        ("the lawn before distances", "UPDATE measurements SET lawn = lawn + 1", "differs in lawn_sqft"),
        ("who measured", "UPDATE measurements SET measured_by = 'Somebody'", "differs in measured_by"),
        (
            "a soil number",
            "UPDATE soil_reports SET readings = replace(readings, '\"30\"', '\"90\"')",
            "differs in values",
        ),
        ("an acidity", "UPDATE soil_reports SET acidity = acidity + 1", "differs in acidity"),
        ("lime", "UPDATE soil_reports SET lime_recommended = 0", "differs in lime_recommended_lb_per_1000_sqft"),
        ("a depth", "UPDATE soil_reports SET depth = 400", "differs in depth_in"),
    ];
    each_shows(&changes).await;
}
