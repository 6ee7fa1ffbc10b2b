//! A book with something of everything, for whoever changes it behind the server's back.

use std::time::Duration;

use harness::{
    PASSWORD, new_id,
    world::{Company, course, rotary_spreader},
};
use rusqlite::Connection;
use serde_json::json;
use tempfile::TempDir;

use crate::{
    packed,
    pages::visitor::Visitor,
    weather::fake_weather::{self, FakeWeather},
};

/// A closed book with something of everything that is not weather.
pub async fn closed_book() -> TempDir {
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
    learned(&company, &id).await;
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
    let_in(&company).await;
    let folder = company.app.stop().await;
    // A mark too many, as a record gets that is asked again and lacks nothing.
    let mark = "INSERT INTO asked_again (application_seq) SELECT max(seq) FROM applications";
    assert_eq!(Connection::open(folder.path().join("book.db")).unwrap().execute(mark, []).unwrap(), 1);
    folder
}

/// A closed book in which weather services stand behind a record, and rain that fell after it.
pub async fn sky_book() -> TempDir {
    let sky = FakeWeather::calm().await;
    let company = fake_weather::company(sky.config()).await;
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), &fake_weather::record(&company)).await.expect(201);
    let folder = company.app.stop().await;
    let after = "INSERT INTO weather_after VALUES ($1, 'us_national_weather_service', 'observed', 'KXSA', 335, 315, 7200, 1, 1, 0)";
    assert_eq!(Connection::open(folder.path().join("book.db")).unwrap().execute(after, [&id]).unwrap(), 1);
    folder
}

/// The same as earlier versions wrote it.
pub async fn unpacked_book() -> TempDir {
    let folder = sky_book().await;
    packed::unpack(&Connection::open(folder.path().join("book.db")).unwrap());
    folder
}

/// Codes, a phone that was locked out, a session that ended, passes, and what the office said of a measurement.
async fn let_in(company: &Company) {
    let person = format!("/api/v1/people/{}", company.phone.id.as_deref().unwrap());
    let _ = company.owner.post(&format!("{person}/enrolment-codes"), &json!({})).await.expect(201);
    let office = format!("/api/v1/people/{}", company.office.id.as_deref().unwrap_or_default());
    let shown = json!({ "password": PASSWORD });
    let _ = company.owner.put("/api/v1/sessions/current/confirmation", &shown).await.expect(200);
    let _ = company.owner.post(&format!("{office}/password-codes"), &json!({})).await.expect(201);
    let pass = json!({ "name": "Inspector", "client_ids": [company.client], "days": 3 });
    let made = company.owner.post("/api/v1/passes", &pass).await.expect(201).body;
    let entered = Visitor { company, cookie: String::new() }
        .post(
            "/inspector",
            &[("code".to_owned(), made["code"].as_str().unwrap().to_owned())],
            &[("sec-fetch-site", "same-origin")],
        )
        .await;
    let cookie = entered.cookie.unwrap().split(';').next().unwrap().to_owned();
    let inspector = Visitor { company, cookie };
    company.app.clock.advance(Duration::from_secs(5));
    assert_eq!(inspector.open("/rules").await.status, 200);
    let _ = inspector.post("/inspector/leave", &[], &[("sec-fetch-site", "same-origin")]).await;
    for _ in 0..2 {
        let wrong = json!({ "name": "owner", "password": "none of the words" });
        let _ = company.app.nobody().post("/api/v1/sessions", &wrong).await.expect(401);
    }
    let _ = company.owner.delete(&format!("/api/v1/passes/{}", made["pass"]["id"].as_str().unwrap())).await.expect(200);
    let again = company.app.sign_in("owner", None).await;
    let _ = again.delete("/api/v1/sessions/current").await.expect(204);
    let larger =
        json!({ "area_sqft": "9000", "measured_on": "2026-09-14", "method": "wheel", "measured_by": "Tech 01" });
    let larger = company.phone.post(&format!("/api/v1/sections/{}/measurements", company.front), &larger).await;
    let holds = format!("/api/v1/measurements/{}/confirmation", larger.expect(201).id());
    let _ = company.office.put(&holds, &json!({ "holds": true })).await.expect(200);
    let half = json!({ "since": "2026-03-01", "parts": [{ "name": "front half", "area_sqft": "4100" }] });
    let _ = company.office.post(&format!("/api/v1/sections/{}/divisions", company.front), &half).await.expect(201);
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

/// What was learned after records were written: a smaller lawn, water, a distance that was kept, and what of it the office confirms.
async fn learned(company: &Company, record: &str) {
    // By then the lawns were smaller than the ground that the records are of.
    for (section, area) in [(&company.front, "4200"), (&company.rear, "1000")] {
        let smaller =
            json!({ "area_sqft": area, "measured_on": "2026-09-02", "method": "wheel", "measured_by": "Office 01" });
        let _ = company.office.post(&format!("/api/v1/sections/{section}/measurements"), &smaller).await.expect(201);
    }
    let sightings = format!("/api/v1/sections/{}/sightings", company.front);
    let near = json!({ "seen_on": "2026-09-14", "species": "tall_fescue", "water": "near", "water_distance_ft": "90", "note": "A pond." });
    let _ = company.phone.post(&sightings, &near).await.expect(201);
    let dry = json!({ "seen_on": "2026-09-15", "water": "none", "note": "It is dry." });
    let dry = company.phone.post(&sightings, &dry).await.expect(201).id();
    let said = json!({ "holds": true, "note": "Seen from the road." });
    let _ = company.office.put(&format!("/api/v1/sightings/{dry}/confirmation"), &said).await.expect(200);
    let additions = format!("/api/v1/applications/{record}/additions");
    for feet in ["40", "30"] {
        let kept = json!({ "seen": { "kept_from_water_ft": feet } });
        let _ = company.phone.post(&additions, &kept).await.expect(201);
    }
}
