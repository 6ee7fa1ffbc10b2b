//! What the rules stop: every finding with its citation and way out, the attempt kept, and the true record stored once its
//! findings are acknowledged one by one.

use harness::{
    Reply, new_id,
    world::{self, Company, label, lot, product},
};
use serde_json::{Value, json};

/// Puts a record that must be refused; checks what every refusal owes, and gives it back with its id.
async fn refused(company: &Company, record: &Value, rule: &str) -> (String, Reply) {
    let id = new_id();
    let reply = company.phone.put(&format!("/api/v1/applications/{id}"), record).await.problem(422, "stopped-by-rules");
    assert!(reply.rules().iter().any(|known| known == rule), "{rule} is not among {:?}: {}", reply.rules(), reply.text);
    for finding in reply.body["findings"].as_array().unwrap() {
        for owed in ["message", "citation", "hint", "key"] {
            assert!(!finding[owed].as_str().unwrap_or_default().is_empty(), "no {owed} in {finding}");
        }
    }
    let _ = company.phone.get(&format!("/api/v1/applications/{id}")).await.problem(404, "not-found");
    (id, reply)
}

#[tokio::test]
async fn too_much_nitrogen_is_refused_with_the_largest_lawful_amount() {
    // COMAR 15.20.10.09 C(2): 0.9 lb N on 1,000 sq ft. 30.75 lb of a 24 % product on 8,200 sq ft is exactly that.
    let company = Company::in_maryland().await;
    let (_, reply) = refused(
        &company,
        &company.record(&company.front, "30.750001"),
        "us-md.professional.nitrogen.total.application",
    )
    .await;
    assert!(reply.text.contains("30.75 lb"), "{}", reply.text);
    company.put_down(&company.front, "30.75").await;
}

#[tokio::test]
async fn two_hundred_and_sixty_for_twenty_six_is_caught() {
    let company = Company::in_maryland().await;
    let (_, reply) =
        refused(&company, &company.record(&company.front, "260"), "us-md.professional.nitrogen.total.application")
            .await;
    assert!(reply.text.contains("Put down at most 30.75 lb"), "{}", reply.text);
}

#[tokio::test]
async fn quick_release_nitrogen_in_heat_is_refused() {
    // Company setting, common practice: 85 F for quick-release nitrogen.
    let company = Company::in_maryland().await;
    let mut record = company.record(&company.front, "25.6");
    record["weather"]["air_temperature"]["air_temperature_f"] = json!("85.1");
    refused(&company, &record, "company.heat.quick_nitrogen").await;
    record["weather"]["air_temperature"]["air_temperature_f"] = json!("85");
    let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await.expect(201);
}

#[tokio::test]
async fn phosphorus_without_a_valid_soil_report_is_refused() {
    // COMAR 15.20.10.10 F and .11: a soil report of the last three years that shows the need.
    let company = Company::in_maryland().await;
    let starter = product(&company.office, "Starter 16-22-8", &label("16", "8", "22", "8")).await;
    let starter_lot = lot(&company.office, &starter, "S-1", "500").await;
    let mut record = company.record(&company.front, "20");
    record["product_id"] = json!(starter);
    record["lot_id"] = json!(starter_lot);
    let (_, reply) = refused(&company, &record, "us-md.professional.phosphorus.need").await;
    assert!(reply.text.contains("soil report"), "{}", reply.text);
    // An old report that shows the need does not help; a new one does.
    harness::world::soil_report(&company.office, &company.front, "2023-09-14", "low", "2").await;
    refused(&company, &record, "us-md.professional.phosphorus.need").await;
    harness::world::soil_report(&company.office, &company.front, "2026-03-01", "low", "2").await;
    let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await.expect(201);
}

#[tokio::test]
async fn the_closed_season_begins_on_the_second_of_december() {
    // COMAR 15.20.10.09 D: up to 0.5 lb of water-soluble nitrogen through December 1, nothing from December 2.
    let company = Company::in_maryland().await;
    let soluble = product(&company.office, "Soluble 20-0-0", &label("20", "0", "0", "0")).await;
    company.app.clock.set(harness::instant("2026-12-02T15:00:00Z"));
    let on = |day: &str| {
        let mut record = company.record(&company.front, "20");
        record["product_id"] = json!(soluble);
        record["lot_id"] = Value::Null;
        record["started_at"] = json!(format!("{day}T09:00:00-05:00"));
        record["finished_at"] = json!(format!("{day}T09:30:00-05:00"));
        record
    };
    let _ = refused(&company, &on("2026-12-02"), "us-md.professional.season.closed").await;
    // 20 lb of 20 % on 8,200 sq ft is 0.4878 lb on 1,000 sq ft, of soluble nitrogen alone. Received a day late, and shown so.
    let stored =
        company.phone.put(&format!("/api/v1/applications/{}", new_id()), &on("2026-12-01")).await.expect(201).body;
    assert_eq!(stored["late"], true);
}

#[tokio::test]
async fn frozen_ground_is_refused() {
    // Md. Agric. 8-803.5(c)(2)(ii): frozen ground, at any date.
    let company = Company::in_maryland().await;
    let mut record = company.record(&company.front, "25.6");
    record["ground"] = json!("frozen");
    refused(&company, &record, "us-md.ground").await;
}

#[tokio::test]
async fn heavy_rain_and_alerts_are_refused_where_the_county_says_so() {
    // Pinellas County ch. 58 art. XIII: at least 2.0 in within 24 h, or a watch or warning; closed June through September.
    let company = Company::under(&["us-fl-pinellas"]).await;
    let slow = product(&company.office, "Slow 20-0-8 (50 % slow)", &label("20", "10", "0", "8")).await;
    company.app.clock.set(harness::instant("2026-10-06T14:00:00Z"));
    let with = |rain: &str, alerts: Value| {
        let mut record = company.record(&company.front, "20");
        record["product_id"] = json!(slow);
        record["lot_id"] = Value::Null;
        record["started_at"] = json!("2026-10-06T09:00:00-04:00");
        record["finished_at"] = json!("2026-10-06T09:30:00-04:00");
        record["weather"]["air_temperature"]["observed_at"] = json!("2026-10-06T12:30:00Z");
        record["weather"]["rain_forecast"][0] =
            json!({ "rain_in": rain, "hours": 24, "source": "technician", "issued_at": "2026-10-06T12:30:00Z" });
        record["weather"]["alerts"] =
            json!({ "active": alerts, "source": "technician", "looked_at": "2026-10-06T12:30:00Z" });
        record
    };
    let (_, reply) = refused(&company, &with("2", json!([])), "us-fl-pinellas.rain").await;
    assert!(!reply.rules().contains(&"us-fl-pinellas.alerts".to_owned()));
    refused(&company, &with("0.1", json!([{ "event": "flood", "level": "watch" }])), "us-fl-pinellas.alerts").await;
    let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &with("1.9", json!([]))).await.expect(201);
}

#[tokio::test]
async fn too_near_to_water_depends_on_the_equipment() {
    // Md. Agric. 8-803.5(d): 15 ft, or 10 ft with a drop spreader or a deflector.
    let company = Company::in_maryland().await;
    let section = company.office.get(&format!("/api/v1/sections/{}", company.front)).await.expect(200).body;
    let mut change = json!({ "property_id": company.property, "name": section["name"], "species": "tall_fescue", "touches_pavement": true });
    change["water"] = json!("near");
    change["water_distance_ft"] = json!("12");
    let version = format!("\"v{}\"", section["version"]);
    let _ =
        company.office.put_version(&format!("/api/v1/sections/{}", company.front), &version, &change).await.expect(200);
    let mut record = company.record(&company.front, "25.6");
    record["equipment"] = json!("rotary_spreader");
    refused(&company, &record, "us-md.water.distance").await;
    record["equipment"] = json!("drop_spreader");
    let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await.expect(201);
}

#[tokio::test]
async fn what_was_done_all_the_same_is_stored_once_every_finding_is_acknowledged() {
    let company = Company::in_maryland().await;
    let mut record = company.record(&company.front, "60");
    record["ground"] = json!("frozen");
    let (id, reply) = refused(&company, &record, "us-md.ground").await;
    let address = format!("/api/v1/applications/{id}");
    // The same refused attempt, sent again, is kept once and changes nothing.
    let _ = company.phone.put(&address, &record).await.problem(422, "stopped-by-rules");
    let list = company.owner.get("/api/v1/reviews").await.expect(200).body;
    assert_eq!(list["items"].as_array().unwrap().len(), 1, "{list}");
    let attempt = list["items"][0]["record_id"].as_str().unwrap().to_owned();
    let kept = company.owner.get(&format!("/api/v1/attempts/{attempt}")).await.expect(200).body;
    assert_eq!(kept["subject_id"], id);
    assert_eq!(
        serde_json::from_str::<Value>(kept["content"].as_str().unwrap()).unwrap()["lines"][0]["product_lb"],
        "60"
    );
    let balance =
        company.office.get(&format!("/api/v1/products/{}", company.feed)).await.expect(200).body["balance_lb"].clone();
    assert_eq!(balance, "2000", "a refused record moves no stock");

    // All but one finding acknowledged is not enough, and a reason is owed.
    let stops = reply.body["findings"].as_array().unwrap().iter().filter(|finding| finding["verdict"] == "stop");
    let keys: Vec<Value> = stops.map(|finding| finding["key"].clone()).collect();
    assert!(keys.len() > 1, "{keys:?}");
    record["acknowledged"] = json!(keys[1..]);
    let incomplete = company.phone.put(&address, &record).await.problem(422, "invalid");
    assert_eq!(incomplete.faults(), ["#/reason"]);
    record["reason"] = json!("Seen only when the hopper was empty.");
    let _ = company.phone.put(&address, &record).await.problem(422, "stopped-by-rules");
    record["acknowledged"] = json!(keys);
    let stored = company.phone.put(&address, &record).await.expect(201).body;
    assert_eq!(stored["beyond_the_rules"], true);
    assert_eq!(stored["verdict"], "stop");

    // It is on the owner's list, in the place of its attempts, until the owner has said something about it.
    let list = company.owner.get("/api/v1/reviews").await.expect(200).body;
    let whys: Vec<&str> = list["items"].as_array().unwrap().iter().map(|item| item["why"].as_str().unwrap()).collect();
    assert_eq!(whys, ["beyond_the_rules"], "{list}");
    let note = json!({ "note": "Spoke with the technician." });
    let _ = company.owner.put(&format!("/api/v1/reviews/{id}"), &note).await.expect(200);
    let _ = company.owner.put(&format!("/api/v1/reviews/{id}"), &note).await.expect(200);
    let _ = company
        .owner
        .put(&format!("/api/v1/reviews/{id}"), &json!({ "note": "Other." }))
        .await
        .problem(409, "conflict");
    let list = company.owner.get("/api/v1/reviews").await.expect(200).body;
    assert_eq!(list["items"], json!([]));
    let all = company.owner.get("/api/v1/reviews?open=false").await.expect(200).body;
    assert_eq!(all["items"][0]["why"], "beyond_the_rules");

    // The statement counts it and says so; the decision can be read word for word.
    let statement = company.statement().await;
    assert_eq!(statement["sections"][0]["applied"]["nitrogen_lb"], "14.4");
    assert!(statement["gaps"].to_string().contains("beyond the rules"), "{}", statement["gaps"]);
    let decision = company.owner.get(&format!("{address}/decision")).await.expect(200).body;
    assert_eq!(decision["findings"].as_array().unwrap().len(), reply.body["findings"].as_array().unwrap().len());
    assert_eq!(decision["rule_sets"][0]["code"], "us-md");
}

#[tokio::test]
async fn work_that_ends_later_than_now_needs_a_word_of_explanation() {
    let company = Company::in_maryland().await;
    let mut record = company.record(&company.front, "20");
    record["finished_at"] = json!("2026-09-15T10:11:00-04:00");
    refused(&company, &record, "book.record.not_ahead").await;
    record["finished_at"] = json!("2026-09-15T10:10:00-04:00");
    let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await.expect(201);
}

#[tokio::test]
async fn a_place_without_a_rule_set_never_goes() {
    let company = Company::under(&[]).await;
    let answer = company.phone.post("/api/v1/checks", &company.plan(&company.front, "10")).await.expect(200).body;
    assert_eq!(answer["decision"]["verdict"], "stop", "{answer}");
    assert!(answer.to_string().contains("rule set"), "{answer}");
}

#[tokio::test]
async fn nothing_known_of_the_weather_is_care_and_never_go() {
    let company = Company::in_maryland().await;
    let mut plan = company.plan(&company.front, "10");
    plan["weather"] = json!({});
    plan["ground"] = Value::Null;
    let answer = company.phone.post("/api/v1/checks", &plan).await.expect(200).body;
    assert_eq!(answer["decision"]["verdict"], "care", "{answer}");
    // Rules of the law ask for care here anyway, so the one about the weather itself is named. Common practice.
    let findings = answer["decision"]["findings"].as_array().unwrap();
    let of_wind = |finding: &&Value| finding["unit"] == "mph" || finding["rule"] == "book.weather.known";
    let rules: Vec<&Value> = findings.iter().filter(of_wind).map(|finding| &finding["rule"]).collect();
    assert_eq!(rules, ["book.weather.known"], "{answer}");
}

#[tokio::test]
async fn weather_of_another_day_is_not_asked_yet_and_what_somebody_saw_is_said() {
    // Virginia's rules name no weather. Common practice: wind is asked for every product.
    let company = Company::under(&["us-va"]).await;
    let known = |decision: &Value| {
        let findings = decision["findings"].as_array().unwrap();
        findings.iter().find(|finding| finding["rule"] == "book.weather.known").cloned()
    };
    let mut plan = company.plan(&company.front, "10");
    (plan["weather"], plan["ground"]) = (json!({}), Value::Null);
    plan["planned_on"] = json!("2026-09-18");
    let decision = company.phone.post("/api/v1/checks", &plan).await.expect(200).body["decision"].clone();
    let told = known(&decision).unwrap();
    let message = told["message"].as_str().unwrap();
    assert!(message.starts_with("The weather of 2026-09-18 is not asked yet. It is asked for every"), "{message}");
    assert_eq!(told["hint"], "Ask again on the day, on the lawn.");
    // A record of sent-in work that says how the sky was needs nobody to say what the weather was like.
    let record = async |seen: Value| {
        let mut record = company.record(&company.front, "1");
        (record["weather"], record["seen"]) = (json!({}), seen);
        let id = new_id();
        let path = format!("/api/v1/applications/{id}");
        let _ = company.phone.put(&path, &record).await.expect(201);
        let decision = company.phone.get(&format!("{path}/decision")).await.expect(200).body;
        (id, known(&decision))
    };
    assert_eq!(record(json!({ "sky": "overcast" })).await.1, None);
    assert_eq!(record(json!({ "wind_from": "calm" })).await.1, None);
    let (id, unsaid) = record(json!({ "kept_from_water_ft": "30" })).await;
    assert_eq!(unsaid.unwrap()["hint"], "Whoever was there adds to the record what the weather was.");
    // A correction of it speaks of work that is done, too.
    let line = json!({ "section_id": company.front, "product_lb": "2" });
    let less = json!({ "application_id": id, "reason": "Weighed again.", "change": { "lines": [line] } });
    let shown = company.office.post("/api/v1/corrections/checks", &less).await.expect(200).body;
    let hint = known(&shown["decision"]).unwrap()["hint"].clone();
    assert_eq!(hint, "Whoever was there adds to the record what the weather was.");
}

#[tokio::test]
async fn weather_that_nobody_knows_is_said_once_where_no_law_asks_for_it() {
    // Virginia's rules name no weather. Common practice: wind is asked for every product.
    let company = Company::under(&["us-va"]).await;
    let asked = async |product: &str, weather: Value| {
        let mut plan = company.plan(&company.front, "10");
        (plan["product_id"], plan["weather"]) = (json!(product), weather);
        let decision = company.phone.post("/api/v1/checks", &plan).await.expect(200).body["decision"].clone();
        let about = |finding: &&Value| finding["message"].as_str().unwrap().contains("mph");
        decision["findings"].as_array().unwrap().iter().filter(about).cloned().collect::<Vec<Value>>()
    };
    let dry = asked(&company.feed, json!({})).await;
    assert_eq!((dry.len(), &dry[0]["rule"], &dry[0]["verdict"]), (1, &json!("book.weather.known"), &json!("care")));
    assert!(
        dry[0]["message"].as_str().unwrap().contains("a dry one too: above 15 mph a spreader's pattern"),
        "{dry:#?}"
    );
    let mut label = world::label("20", "10", "0", "5");
    (label["form"], label["wind_limit_mph"]) = (json!("liquid"), json!("8"));
    let limited = world::product(&company.office, "Liquid with a limit", &label).await;
    let found = asked(&limited, json!({})).await;
    assert_eq!((found.len(), &found[0]["rule"], &found[0]["verdict"]), (1, &json!("label.wind"), &json!("care")));
    // Whoever measured has answered, and so has whoever looked and felt none.
    let wind = |at: &str| json!({ "wind": { "wind_mph": "4", "source": "technician", "observed_at": at } });
    assert_eq!(asked(&limited, wind("2026-09-15T13:00:00Z")).await, [""; 0]);
    assert_eq!(asked(&company.feed, world::fair_weather()).await, [""; 0]);
    // Wind that was measured two days ago is none of today.
    let old = asked(&company.feed, wind("2026-09-13T13:00:00Z")).await;
    assert_eq!((old.len(), &old[0]["rule"], &old[0]["verdict"]), (1, &json!("practice.wind"), &json!("care")));
}

#[tokio::test]
async fn what_a_record_says_was_kept_from_drains_is_held_against_the_distance() {
    // Md. Agric. 8-803.5(d), row MD-17: 15 ft from waters, public ditches and public drainage systems; 10 ft with a deflector (MD-18).
    let company = Company::in_maryland().await;
    let path = format!("/api/v1/sections/{}", company.front);
    let lawn = |water: Value| {
        let mut change = json!({
            "property_id": company.property, "name": "front lawn", "species": "tall_fescue", "touches_pavement": true,
            "established_on": "2015-09-01",
        });
        change["water"] = water;
        change
    };
    let _ = company.office.put_version(&path, "*", &lawn(json!("none"))).await.expect(200);
    let plan = company.plan(&company.front, "5");
    let check = async || company.phone.post("/api/v1/checks", &plan).await.expect(200).body["decision"].clone();
    let asked = |decision: &Value| {
        let findings = decision["findings"].as_array().unwrap().iter();
        let found: Vec<&Value> = findings.filter(|finding| finding["rule"] == "us-md.water.distance").collect();
        found.first().map(|finding| (finding["verdict"].clone(), finding["message"].as_str().unwrap().to_owned()))
    };
    let (verdict, message) = asked(&check().await).expect("a finding");
    assert_eq!(verdict, "care", "{message}");
    assert!(message.contains("counts from drains and ditches too"), "{message}");
    let kept = |seen: Value| {
        let mut record = company.record(&company.front, "5");
        record["seen"] = seen;
        record
    };
    refused(&company, &kept(json!({ "kept_from_drains_ft": "3" })), "us-md.water.distance").await;
    refused(&company, &kept(json!({ "kept_from_water_ft": "3" })), "us-md.water.distance").await;
    let id = new_id();
    let address = format!("/api/v1/applications/{id}");
    let _ = company.phone.put(&address, &kept(json!({ "kept_from_drains_ft": "10" }))).await.expect(201);
    let decision = company.phone.get(&format!("{address}/decision")).await.expect(200).body;
    assert!(decision["met"].to_string().contains("us-md.water.distance"), "{decision:#}");
    // So is a correction of it.
    let line = json!({ "section_id": company.front, "product_lb": "4" });
    let less = json!({ "application_id": id, "reason": "Weighed again.", "change": { "lines": [line] } });
    let shown = company.office.post("/api/v1/corrections/checks", &less).await.expect(200).body;
    assert!(shown["decision"]["met"].to_string().contains("us-md.water.distance"), "{shown:#}");
    // A lawn that comes within 5 ft, and half of it treated, 20 ft away from both: nobody measured that half.
    let mut near = lawn(json!("near"));
    near["water_distance_ft"] = json!("5");
    let _ = company.office.put_version(&path, "*", &near).await.expect(200);
    let both = json!({ "kept_from_water_ft": "20", "kept_from_drains_ft": "20" });
    refused(&company, &kept(both.clone()), "us-md.water.distance").await;
    let mut half = kept(both);
    half["lines"][0]["treated_area_sqft"] = json!("4100");
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), &half).await.expect(201);
    let decision = company.phone.get(&format!("/api/v1/applications/{id}/decision")).await.expect(200).body;
    let (verdict, message) = asked(&decision).expect("a finding");
    assert_eq!(verdict, "care", "{message}");
    assert!(message.contains("20 ft were kept"), "{message}");
}
