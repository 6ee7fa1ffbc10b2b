//! Licences and certificates: written by the office, read by whose they are, and looked at by every decision.

use harness::{
    User, new_id,
    world::{Company, technician},
};
use serde_json::{Value, json};

fn certificate() -> Value {
    json!({
        "name": "Professional fertilizer applicator certificate", "number": "FA-1001",
        "issued_by": "Maryland Department of Agriculture", "rule_set": "us-md", "valid_from": "2026-01-01",
        "valid_until": "2026-12-31",
    })
}

fn of(person: &str) -> String {
    format!("/api/v1/people/{person}/credentials")
}

#[tokio::test]
async fn the_office_keeps_them_and_each_reads_the_own_ones() {
    let company = Company::uncertified().await;
    let (office, phone) = (&company.office, &company.phone);
    let own = of(phone.id.as_deref().unwrap());
    let made = office.post_with_key(&own, "one-key-for-one-certificate", &certificate()).await.expect(201);
    let path = format!("/api/v1/credentials/{}", made.id());
    assert_eq!(made.header("location"), Some(path.as_str()));
    let again = office.post_with_key(&own, "one-key-for-one-certificate", &certificate()).await.expect(201);
    assert_eq!((again.header("idempotency-replayed"), &again.body), (Some("true"), &made.body));
    assert_eq!(phone.get(&path).await.expect(200).body, made.body);
    assert_eq!(phone.get_with(&path, &[("if-none-match", "\"v1\"")]).await.expect(304).text, "");
    assert_eq!(phone.get(&own).await.expect(200).body["items"], json!([made.body]));
    let (_, other) = technician(&company.app, office, &company.owner, "Tech 02").await;
    let _ = other.get(&path).await.problem(404, "not-found");
    let _ = other.get(&own).await.problem(404, "not-found");
    let _ = phone.post(&own, &certificate()).await.problem(403, "not-allowed");
    let _ = phone.put_version(&path, "\"v1\"", &certificate()).await.problem(403, "not-allowed");
    let mut change = certificate();
    change["valid_until"] = json!("2026-10-31");
    let changed = office.put_version(&path, "\"v1\"", &change).await.expect(200).body;
    assert_eq!((&changed["version"], &changed["valid_until"]), (&json!(2), &json!("2026-10-31")));
    let _ = office.put_version(&path, "\"v1\"", &change).await.problem(412, "version-outdated");
    let _ = office.put(&path, &change).await.problem(428, "version-required");
    let _ = office.post(&of(&new_id()), &certificate()).await.problem(404, "not-found");
    let _ = office.get(&format!("/api/v1/credentials/{}", new_id())).await.problem(404, "not-found");
}

#[tokio::test]
async fn what_does_not_fit_is_told_at_once() {
    let company = Company::in_maryland().await;
    let own = of(company.phone.id.as_deref().unwrap());
    let odd = json!({
        "name": "Certificate", "number": "1", "issued_by": "Somebody", "rule_set": "us-zz", "code": "us-zz-certified",
        "valid_from": "2026-02-01", "valid_until": "2026-01-31",
    });
    let refused = company.office.post(&own, &odd).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/valid_until", "#/rule_set", "#/code"]);
    assert!(refused.text.contains("us-fl-orange-certified"), "the codes that do are named: {}", refused.text);
    let odd = json!({ "name": " ", "number": "", "issued_by": 5, "valid_from": "2026-02-30", "person_id": new_id() });
    let refused = company.office.post(&own, &odd).await.problem(422, "invalid");
    assert_eq!(refused.faults(), ["#/issued_by", "#/name", "#/number", "#/person_id", "#/valid_from"]);
}

/// The rules that stop, of a decision or of a refusal.
fn stopping(findings: &Value) -> Vec<&str> {
    let findings = findings.as_array().unwrap().iter().filter(|finding| finding["verdict"] == "stop");
    findings.filter_map(|finding| finding["rule"].as_str()).collect()
}

#[tokio::test]
async fn orange_county_s_summer_is_open_to_its_holder_on_the_day_alone() {
    // Orange County Code s. 15-804 (FL-22): closed from June to September, but not to whoever is certified (T38).
    let company = Company::under(&["us-fl-orange"]).await;
    let season = "us-fl-orange.season";
    let plan = company.plan(&company.front, "5");
    let mut record = company.record(&company.front, "5");
    let asked = async || company.phone.post("/api/v1/checks", &plan).await.expect(200).body["decision"].clone();
    let sent = async |by: &User, record: &Value| by.put(&format!("/api/v1/applications/{}", new_id()), record).await;
    assert!(stopping(&asked().await["findings"]).contains(&season));
    let refused = sent(&company.phone, &record).await.problem(422, "stopped-by-rules");
    assert_eq!(stopping(&refused.body["findings"]), [season]);
    let mut held = certificate();
    held["rule_set"] = json!("us-fl-orange");
    held["code"] = json!("us-fl-orange-certified");
    held["valid_until"] = json!("2026-09-15");
    let own = of(company.phone.id.as_deref().unwrap());
    let path = format!("/api/v1/credentials/{}", company.office.post(&own, &held).await.expect(201).id());
    assert_eq!(asked().await["verdict"], "care", "another part of the ordinance was never read");
    let _ = sent(&company.phone, &record).await.expect(201);
    // What counts is who put it down, not who writes.
    let refused = sent(&company.office, &record).await.problem(422, "stopped-by-rules");
    assert_eq!(stopping(&refused.body["findings"]), [season]);
    record["applied_by"] = json!(company.phone.id);
    let _ = sent(&company.office, &record).await.expect(201);
    held["valid_until"] = json!("2026-09-14");
    let _ = company.office.put_version(&path, "\"v1\"", &held).await.expect(200);
    let refused = sent(&company.phone, &record).await.problem(422, "stopped-by-rules");
    assert_eq!(stopping(&refused.body["findings"]), [season]);
    assert!(refused.text.contains("it ran out on 2026-09-14"), "{}", refused.text);
}

#[tokio::test]
async fn a_certificate_that_has_run_out_asks_for_care_and_a_renewal_clears_it() {
    let company = Company::uncertified().await;
    let own = of(company.phone.id.as_deref().unwrap());
    let plan = company.plan(&company.front, "10");
    let asked = async || company.phone.post("/api/v1/checks", &plan).await.expect(200).body["decision"].clone();
    let told = |decision: &Value| {
        let findings = decision["findings"].as_array().unwrap();
        findings.iter().find(|finding| finding["rule"] == "book.credential.valid").cloned()
    };
    let before = asked().await;
    assert_eq!(told(&before), None, "what was never held cannot have run out: {before}");
    let mut held = certificate();
    held["valid_until"] = json!("2026-09-14");
    let _ = company.office.post(&own, &held).await.expect(201);
    let finding = told(&asked().await).expect("it ran out yesterday");
    assert_eq!(finding["verdict"], "care");
    let message = "Professional fertilizer applicator certificate: it ran out on 2026-09-14.";
    assert_eq!(finding["message"], message);
    held["valid_from"] = json!("2026-09-16");
    held["valid_until"] = Value::Null;
    let path = format!("/api/v1/credentials/{}", company.office.post(&own, &held).await.expect(201).id());
    let finding = told(&asked().await).expect("the renewal begins tomorrow");
    assert!(finding["message"].as_str().unwrap().ends_with("it is valid only from 2026-09-16 on."), "{finding}");
    held["valid_from"] = json!("2026-09-15");
    let _ = company.office.put_version(&path, "\"v1\"", &held).await.expect(200);
    assert_eq!(told(&asked().await), None);
    // Another state's certificate is that state's: here it says nothing.
    let mut elsewhere = certificate();
    elsewhere["rule_set"] = json!("us-pa");
    elsewhere["valid_until"] = json!("2026-02-01");
    let _ = company.office.post(&own, &elsewhere).await.expect(201);
    assert_eq!(told(&asked().await), None);
}

#[tokio::test]
async fn the_number_that_kentucky_wants_on_a_record_is_there_once_it_is_entered() {
    // 302 KAR 26:080 s.1(3), as KY-03 quotes it: a record names the licence number.
    let company = Company::under(&["us-ky"]).await;
    let id = company.put_down(&company.front, "5").await;
    let duties = async || company.office.get(&format!("/api/v1/applications/{id}/duties")).await.expect(200).body;
    let missing = async || {
        let duties = duties().await;
        let missing = duties["missing"].as_array().unwrap().iter().map(|field| field["field"].clone());
        missing.collect::<Vec<Value>>()
    };
    assert!(missing().await.contains(&json!("licence_number")));
    let mut licence = certificate();
    licence["rule_set"] = json!("us-ky");
    licence["valid_from"] = json!("2026-09-16");
    let own = of(company.phone.id.as_deref().unwrap());
    let path = format!("/api/v1/credentials/{}", company.office.post(&own, &licence).await.expect(201).id());
    assert!(missing().await.contains(&json!("licence_number")), "it was not valid on the day of the record");
    licence["valid_from"] = json!("2026-09-15");
    let _ = company.office.put_version(&path, "\"v1\"", &licence).await.expect(200);
    // What was fixed with the record stays; what the book says by now is added to it.
    assert!(missing().await.contains(&json!("licence_number")));
    let additions = format!("/api/v1/applications/{id}/additions");
    let _ = company.office.post(&additions, &json!({ "from_the_book": true })).await.expect(201);
    assert!(!missing().await.contains(&json!("licence_number")));
    let told = company.office.get(&format!("/api/v1/applications/{id}/particulars")).await.expect(200).body;
    assert_eq!(told["additions"][0]["particulars"]["credentials"][0]["number"], "FA-1001");
    let mut second = licence.clone();
    second["number"] = json!("FA-2002");
    let _ = company.office.post(&own, &second).await.expect(201);
    let mut lapsed = licence;
    lapsed["number"] = json!("FA-3003");
    lapsed["valid_from"] = json!("2026-01-01");
    lapsed["valid_until"] = json!("2026-09-14");
    let _ = company.office.post(&own, &lapsed).await.expect(201);
    let statement = company.statement().await;
    // As the record tells it: what was entered since and not added to it is not of it, and what was changed since changes nothing.
    assert_eq!(statement["sections"][0]["lines"][0]["credential_numbers"], "FA-1001 (added later)");
    let csv = format!("/api/v1/statements?year=2026&client_id={}&format=csv", company.client);
    let csv = company.owner.get(&csv).await.expect(200).text;
    assert!(csv.lines().any(|line| line.contains(",FA-1001 (added later),")), "{csv}");
}

#[tokio::test]
async fn maryland_s_certificate_stops_who_does_not_hold_it() {
    // COMAR 15.20.10.02-.03 (MD-28): paid application is by a certified applicator, or by a trained one under supervision.
    let company = Company::uncertified().await;
    let own = of(company.phone.id.as_deref().unwrap());
    let (plan, record) = (company.plan(&company.front, "10"), company.record(&company.front, "10"));
    let asked = async |by: &User| by.post("/api/v1/checks", &plan).await.expect(200).body["decision"].clone();
    let verdict = |decision: &Value| {
        let findings = decision["findings"].as_array().unwrap();
        findings.iter().find(|one| one["rule"] == "us-md.credential").map(|one| one["verdict"].clone())
    };
    assert_eq!(verdict(&asked(&company.phone).await), Some(json!("stop")));
    assert_eq!(verdict(&asked(&company.office).await), Some(json!("care")), "the office asks for whoever does it");
    let sent = async || company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await;
    let refused = sent().await.problem(422, "stopped-by-rules");
    assert_eq!(stopping(&refused.body["findings"]), ["us-md.credential"]);
    let mut held = certificate();
    held["valid_until"] = json!("2026-09-15");
    let path = format!("/api/v1/credentials/{}", company.office.post(&own, &held).await.expect(201).id());
    assert_eq!(verdict(&asked(&company.phone).await), Some(json!("care")), "nobody said which certificate it is");
    held["code"] = json!("us-md-certified");
    let _ = company.office.put_version(&path, "\"v1\"", &held).await.expect(200);
    assert_eq!(verdict(&asked(&company.phone).await), None, "it is valid through the day");
    let _ = sent().await.expect(201);
    held["valid_until"] = json!("2026-09-14");
    let _ = company.office.put_version(&path, "\"v2\"", &held).await.expect(200);
    assert_eq!(verdict(&asked(&company.phone).await), Some(json!("stop")), "it ran out the day before");
    held["code"] = json!("us-md-trained");
    held["valid_until"] = Value::Null;
    let _ = company.office.put_version(&path, "\"v3\"", &held).await.expect(200);
    assert_eq!(verdict(&asked(&company.phone).await), Some(json!("care")), "the supervisor is not named yet");
    // Nor by the record, which may have left it out: it is stored, and asks for care.
    assert_eq!(sent().await.expect(201).body["verdict"], "care");
    let mut alone = record.clone();
    alone["supervisor_id"] = json!(company.owner.id);
    let refused = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &alone).await;
    assert_eq!(
        stopping(&refused.problem(422, "stopped-by-rules").body["findings"]),
        ["us-md.credential"],
        "who is named holds none"
    );
}

#[tokio::test]
async fn what_is_planned_says_whose_certificate_will_have_run_out() {
    // COMAR 15.20.10.02-.03 (MD-28): paid application is by a certified applicator. It may be renewed, so nothing is refused.
    let company = Company::uncertified().await;
    let (office, phone) = (&company.office, &company.phone);
    let mut held = certificate();
    held["code"] = json!("us-md-certified");
    held["valid_until"] = json!("2026-09-20");
    let _ = office.post(&of(phone.id.as_deref().unwrap()), &held).await.expect(201);
    let mut visit = json!({
        "property_id": company.property, "person_id": phone.id, "planned_on": "2026-09-20", "product_id": company.feed,
        "section_ids": [company.front], "purpose": "maintenance", "target_nitrogen_lb_per_1000_sqft": "0.5",
    });
    let rules = |told: &Value| -> Vec<(String, String)> {
        let found = told["certificate"].as_array().cloned().unwrap_or_default();
        let text = |one: &Value, name: &str| one[name].as_str().unwrap().to_owned();
        found.iter().map(|one| (text(one, "rule"), text(one, "verdict"))).collect()
    };
    let both = [("us-md.credential", "stop"), ("book.credential.valid", "care")]
        .map(|(rule, verdict)| (rule.to_owned(), verdict.to_owned()));
    assert_eq!(rules(&office.post("/api/v1/visits", &visit).await.expect(201).body), []);
    visit["planned_on"] = json!("2026-09-21");
    let made = office.post("/api/v1/visits", &visit).await.expect(201).body;
    assert_eq!(rules(&made), both);
    assert!(made["certificate"][0]["message"].as_str().unwrap().starts_with("The certificate ran out on 2026-09-20."));
    // Moving it asks again; what was called off asks nothing.
    let path = format!("/api/v1/visits/{}", made["id"].as_str().unwrap());
    for (on, status, expected) in
        [("2026-09-20", "planned", &[][..]), ("2026-09-22", "cancelled", &[]), ("2026-09-21", "planned", &both)]
    {
        (visit["planned_on"], visit["status"]) = (json!(on), json!(status));
        visit["reason"] = if status == "cancelled" { json!("Called off.") } else { Value::Null };
        assert_eq!(rules(&office.put_version(&path, "*", &visit).await.expect(200).body), expected, "{on} {status}");
    }
    // The day says it, and so do its working hours.
    let day = phone.get("/api/v1/days/2026-09-21").await.expect(200).body;
    let open: Vec<&str> =
        day["visits"][0]["open"].as_array().unwrap().iter().filter_map(|one| one["words"].as_str()).collect();
    assert!(open.iter().any(|words| words.starts_with("The certificate ran out on 2026-09-20.")), "{open:?}");
    let hours =
        office.get("/api/v1/days/2026-09-21/working-windows").await.expect(200).body["visits"][0]["hours"].clone();
    assert_eq!((&hours["verdict"], &hours["window"], rules(&hours)), (&json!("stop"), &Value::Null, both.to_vec()));
    let asked =
        format!("/api/v1/properties/{}/working-windows/2026-09-21?product_id={}", company.property, company.feed);
    let of = async |user: &User| rules(&user.get(&asked).await.expect(200).body["products"][0]);
    assert_eq!((of(phone).await, of(office).await), (both.to_vec(), Vec::new()), "the office names nobody");
    let found = server::book::verify::check_file(&company.app.file()).await.unwrap();
    assert!(found.faults.is_empty(), "{:?}", found.faults);
}

#[tokio::test]
async fn a_trained_person_s_record_may_say_that_nobody_supervised_and_stops() {
    // COMAR 15.20.10.02-.03 (MD-28): a trained employee works under direct supervision.
    let company = Company::uncertified().await;
    let mut held = certificate();
    held["code"] = json!("us-md-trained");
    let _ = company.office.post(&of(company.phone.id.as_deref().unwrap()), &held).await.expect(201);
    let mut record = company.record(&company.front, "10");
    let path = format!("/api/v1/applications/{}", new_id());
    record["nobody_supervised"] = json!(true);
    let refused = company.phone.put(&path, &record).await.problem(422, "stopped-by-rules");
    assert_eq!(stopping(&refused.body["findings"]), ["us-md.credential"]);
    assert!(refused.text.contains("Nobody is named who supervised the work."), "{}", refused.text);
    let mut both = record.clone();
    both["supervisor_id"] = json!(company.owner.id);
    assert_eq!(company.phone.put(&path, &both).await.problem(422, "invalid").faults(), ["#/nobody_supervised"]);
    // What was done is recorded all the same, beyond the rules, and says so.
    record["acknowledged"] = json!(["us-md.credential"]);
    record["reason"] = json!("The supervisor was ill.");
    let stored = company.phone.put(&path, &record).await.expect(201).body;
    assert_eq!((&stored["nobody_supervised"], &stored["beyond_the_rules"]), (&json!(true), &json!(true)));
}

/// What a record says of certificates was fixed with it. Neither a number that is put right later nor one that ran out changes what
/// its statement says.
#[tokio::test]
async fn a_statement_names_the_certificate_that_the_record_names() {
    let company = Company::uncertified().await;
    let own = of(company.phone.id.as_deref().unwrap());
    let mut held = certificate();
    held["code"] = json!("us-md-certified");
    let path = format!("/api/v1/credentials/{}", company.office.post(&own, &held).await.expect(201).id());
    let _ = company.put_down(&company.front, "5").await;
    held["number"] = json!("FA-9009");
    held["valid_from"] = json!("2026-09-16");
    let _ = company.office.put_version(&path, "\"v1\"", &held).await.expect(200);
    let line = company.statement().await["sections"][0]["lines"][0].clone();
    assert_eq!(line["credential_numbers"], "FA-1001");
}

/// A record by somebody whose certificate had run out names it and its last day, so that it is seen to have been there.
#[tokio::test]
async fn a_record_names_the_certificate_that_had_run_out() {
    let company = Company::uncertified().await;
    let own = of(company.phone.id.as_deref().unwrap());
    let mut held = certificate();
    held["code"] = json!("us-md-certified");
    for (number, from, until) in [
        ("FA-1", "2024-01-01", "2024-12-31"),
        ("FA-2", "2025-01-01", "2026-09-14"),
        ("FA-3", "2026-10-01", "2027-09-30"),
    ] {
        (held["number"], held["valid_from"], held["valid_until"]) = (json!(number), json!(from), json!(until));
        let _ = company.office.post(&own, &held).await.expect(201);
    }
    let id = company.put_anyhow(company.record(&company.front, "5")).await;
    let told =
        company.office.get(&format!("/api/v1/applications/{id}/particulars")).await.expect(200).body["particulars"]
            .clone();
    assert_eq!(told["credentials"], Value::Null);
    let out = told["credentials_not_valid"].as_array().unwrap();
    assert_eq!(out.len(), 1, "one of each kind");
    assert_eq!((&out[0]["number"], &out[0]["valid_until"]), (&json!("FA-2"), &json!("2026-09-14")));
    let page = crate::pages::visitor::Visitor::named(&company, "office").await.open(&format!("/records/{id}")).await;
    assert!(page.html.contains("not valid on the day") && page.html.contains("FA-2"), "{}", page.html);
}
