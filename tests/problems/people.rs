//! Who may come in: passwords, codes, tokens, and how each of them ends. The clock stands still until it is moved.

use std::time::Duration;

use harness::{PASSWORD, TestApp, User, world::Company};
use serde_json::{Value, json};

const CODE: Duration = Duration::from_mins(10);
const SESSION: Duration = Duration::from_hours(12);
const PHONE: Duration = Duration::from_hours(180 * 24);
const MOMENT: Duration = Duration::from_millis(1);

async fn is_in(user: &User) -> bool {
    let reply = user.get("/api/v1/me").await;
    if reply.status != 200 {
        let _ = reply.problem(401, "not-signed-in");
        return false;
    }
    true
}

/// A problem without what is different each time.
fn without_request(mut problem: Value) -> Value {
    problem.as_object_mut().unwrap().remove("instance");
    problem
}

#[tokio::test]
async fn a_wrong_password_and_an_unknown_name_are_told_alike() {
    let company = Company::in_maryland().await;
    let mut told = Vec::new();
    for name in ["owner", "nobody-here", "Owner", "Owner 01"] {
        let body = json!({ "name": name, "password": "four other words here" });
        let reply = company.app.nobody().post("/api/v1/sessions", &body).await.problem(401, "not-signed-in");
        assert_eq!(reply.header("www-authenticate"), Some("Bearer realm=\"swardbook\""));
        told.push(without_request(reply.body));
    }
    assert!(told.iter().all(|problem| *problem == told[0]), "{told:#?}");
    let body = json!({ "name": "owner", "password": PASSWORD.to_uppercase() });
    let _ = company.app.nobody().post("/api/v1/sessions", &body).await.problem(401, "not-signed-in");
}

#[tokio::test]
async fn guessing_is_slowed_down() {
    let company = Company::in_maryland().await;
    let guess = |name: &str| json!({ "name": name, "password": "four other words here" });
    let mut tries = 0;
    let refused = loop {
        let reply = company.app.nobody().post("/api/v1/sessions", &guess("owner")).await;
        tries += 1;
        if reply.status == 429 {
            break reply.problem(429, "too-many-requests");
        }
        let _ = reply.problem(401, "not-signed-in");
        assert!(tries < 40, "forty guesses were let through");
    };
    assert!(tries > 5, "an honest mistake or two is allowed, and {tries} tries were not");
    assert!(refused.header("retry-after").unwrap().parse::<u32>().unwrap() >= 1);
    // The right password does not help either, nor does another spelling of the name; another person is let in.
    for name in ["owner", "OWNER"] {
        let body = json!({ "name": name, "password": PASSWORD });
        let _ = company.app.nobody().post("/api/v1/sessions", &body).await.problem(429, "too-many-requests");
    }
    let body = json!({ "name": "office", "password": PASSWORD });
    let _ = company.app.nobody().post("/api/v1/sessions", &body).await.expect(201);
}

#[tokio::test]
async fn the_book_is_set_up_once_and_with_its_code() {
    let app = TestApp::empty().await;
    let setting_up = |code: &str, zone: &str, password: &str| {
        json!({
            "setup_code": code, "company_name": "Demonstration Company", "time_zone": zone, "owner_name": "Owner 01",
            "sign_in": { "name": "owner", "password": password },
        })
    };
    let code = app.setup_code.clone().unwrap();
    let path = "/api/v1/setup";
    let wrong = app.nobody().post(path, &setting_up("WRONG", "UTC", PASSWORD)).await.problem(422, "invalid");
    assert_eq!(wrong.faults(), ["#/setup_code"]);
    for zone in ["Mars/Olympus", "america/new_york"] {
        let reply = app.nobody().post(path, &setting_up(&code, zone, "passwordpassword")).await.problem(422, "invalid");
        assert_eq!(reply.faults(), ["#/time_zone"]);
    }
    for guessable in
        ["short", "passwordpassword", "aaaaaaaaaaaaaaaaaaaa", "Demonstration Company", "demonstrationcompany1"]
    {
        let reply = app.nobody().post(path, &setting_up(&code, "UTC", guessable)).await.problem(422, "invalid");
        assert_eq!(reply.faults(), ["#/sign_in/password"], "{guessable}");
    }
    let owner = app.set_up().await;
    let _ = app.nobody().post(path, &setting_up(&code, "UTC", PASSWORD)).await.problem(409, "conflict");
    let staff = owner.get("/api/v1/people").await.expect(200).body;
    assert_eq!(staff["items"].as_array().unwrap().len(), 1);
}

#[tokio::test]
async fn a_code_enrols_one_phone_within_ten_minutes() {
    let company = Company::in_maryland().await;
    let (app, office) = (&company.app, &company.office);
    let codes = format!("/api/v1/people/{}/enrolment-codes", company.phone.id.as_deref().unwrap());
    let new_code = async || office.post(&codes, &json!({})).await.expect(201).body["code"].clone();
    let enrol =
        async |code: &Value| app.nobody().post("/api/v1/devices", &json!({ "code": code, "name": "Phone" })).await;

    let code = new_code().await;
    let phone = enrol(&code).await.expect(201).body;
    assert!(is_in(&app.user(phone["token"].as_str().unwrap(), None)).await);
    let used = without_request(enrol(&code).await.problem(401, "not-signed-in").body);
    let code = new_code().await;
    app.clock.advance(CODE);
    let expired = without_request(enrol(&code).await.problem(401, "not-signed-in").body);
    let unknown = without_request(enrol(&json!("AAAAA-AAAAA")).await.problem(401, "not-signed-in").body);
    assert!(used == expired && expired == unknown, "{used} {expired} {unknown}");
    let code = new_code().await;
    app.clock.advance(CODE.saturating_sub(MOMENT));
    let _ = enrol(&code).await.expect(201);
    // The office enrols technicians and nobody else.
    let owners = format!("/api/v1/people/{}/enrolment-codes", company.owner.id.as_deref().unwrap());
    let _ = office.post(&owners, &json!({})).await.problem(403, "not-allowed");
    let again = app.sign_in("owner", None).await;
    let _ = again.confirm().await;
    let _ = again.post(&owners, &json!({})).await.expect(201);
}

#[tokio::test]
async fn a_session_ends_after_twelve_hours_and_a_phone_after_half_a_year() {
    let company = Company::in_maryland().await;
    // Whoever may lie idle for as long as that; what ends earlier is tried in security_log.rs.
    let all_day = json!({ "date_order": "year_month_day", "idle_minutes": 720 });
    let _ = company.owner.put_version("/api/v1/settings", "*", &all_day).await.expect(200);
    company.app.clock.advance(SESSION.saturating_sub(MOMENT));
    assert!(is_in(&company.owner).await && is_in(&company.phone).await);
    company.app.clock.advance(MOMENT);
    assert!(!is_in(&company.owner).await);
    assert!(is_in(&company.phone).await);
    company.app.clock.advance(PHONE.saturating_sub(SESSION));
    assert!(!is_in(&company.phone).await);
}

#[tokio::test]
async fn signing_out_ends_this_session_alone() {
    let company = Company::in_maryland().await;
    let other = company.app.sign_in("owner", None).await;
    let _ = other.delete("/api/v1/sessions/current").await.expect(204);
    assert!(!is_in(&other).await && is_in(&company.owner).await);
    let _ = other.delete("/api/v1/sessions/current").await.problem(401, "not-signed-in");
}

#[tokio::test]
async fn a_phone_that_is_locked_out_is_out_at_once() {
    let company = Company::in_maryland().await;
    let devices = company.office.get("/api/v1/devices").await.expect(200).body;
    let id = devices["items"][0]["id"].as_str().unwrap();
    let _ = company.office.confirm().await;
    let _ = company.office.delete(&format!("/api/v1/devices/{id}")).await.expect(200);
    assert!(!is_in(&company.phone).await);
    let unknown = "/api/v1/devices/01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7aff";
    let _ = company.office.delete(unknown).await.problem(404, "not-found");
}

/// A change of a member of staff by the owner.
async fn change(company: &Company, id: &str, change: Value) -> harness::Reply {
    let _ = company.owner.confirm().await;
    company.owner.put_version(&format!("/api/v1/people/{id}"), "*", &change).await
}

#[tokio::test]
async fn whoever_leaves_is_out_at_once() {
    let company = Company::in_maryland().await;
    let (phone, office) = (&company.phone, &company.office);
    let technician = phone.id.as_deref().unwrap();
    let _ = change(&company, technician, json!({ "name": "Tech 01", "role": "technician", "active": false }))
        .await
        .expect(200);
    assert!(!is_in(phone).await);
    let leaves = json!({ "name": "Office 01", "role": "office", "active": false });
    let _ = change(&company, office.id.as_deref().unwrap(), leaves).await.expect(200);
    assert!(!is_in(office).await);
    let body = json!({ "name": "office", "password": PASSWORD });
    let _ = company.app.nobody().post("/api/v1/sessions", &body).await.problem(401, "not-signed-in");
    let codes = format!("/api/v1/people/{technician}/enrolment-codes");
    let _ = company.owner.post(&codes, &json!({})).await.problem(409, "conflict");
    // The last owner stays.
    let owner = company.owner.id.as_deref().unwrap();
    for ends in [json!({ "name": "O", "role": "owner", "active": false }), json!({ "name": "O", "role": "office" })] {
        let _ = change(&company, owner, ends).await.problem(409, "conflict");
    }
    assert!(is_in(&company.owner).await);
}

#[tokio::test]
async fn a_code_of_somebody_who_left_enrols_nothing() {
    let company = Company::in_maryland().await;
    let technician = company.phone.id.as_deref().unwrap();
    let codes = format!("/api/v1/people/{technician}/enrolment-codes");
    let code = company.office.post(&codes, &json!({})).await.expect(201).body["code"].clone();
    let _ = change(&company, technician, json!({ "name": "Tech 01", "role": "technician", "active": false }))
        .await
        .expect(200);
    let enrol = json!({ "code": code, "name": "Phone" });
    let _ = company.app.nobody().post("/api/v1/devices", &enrol).await.problem(401, "not-signed-in");
}

#[tokio::test]
async fn a_new_password_ends_every_session() {
    let company = Company::in_maryland().await;
    let again = json!({
        "name": "Office 01", "role": "office", "sign_in": { "name": "office", "password": "four quite other words" },
    });
    let _ = change(&company, company.office.id.as_deref().unwrap(), again).await.expect(200);
    assert!(!is_in(&company.office).await);
    let old = json!({ "name": "office", "password": PASSWORD });
    let _ = company.app.nobody().post("/api/v1/sessions", &old).await.problem(401, "not-signed-in");
}

#[tokio::test]
async fn another_role_ends_the_session_although_the_password_stays() {
    let company = Company::in_maryland().await;
    let _ = company.office.get("/api/v1/people").await.expect(200);
    let lower = json!({ "name": "Office 01", "role": "technician" });
    let _ = change(&company, company.office.id.as_deref().unwrap(), lower).await.expect(200);
    let _ = company.office.get("/api/v1/people").await.problem(401, "not-signed-in");
    let lower = company.app.sign_in("office", company.office.id.clone()).await;
    let _ = lower.get("/api/v1/people").await.problem(403, "not-allowed");
    let clients = lower.get("/api/v1/clients").await.expect(200).body;
    assert_eq!(clients["items"], json!([]));
}

#[tokio::test]
async fn two_people_do_not_sign_in_with_one_name() {
    let company = Company::in_maryland().await;
    let second =
        json!({ "name": "Office 02", "role": "office", "sign_in": { "name": "office", "password": PASSWORD } });
    let _ = company.owner.post("/api/v1/people", &second).await.problem(409, "conflict");
    let without = json!({ "name": "Office 02", "role": "office" });
    let reply = company.owner.post("/api/v1/people", &without).await.problem(422, "invalid");
    assert_eq!(reply.faults(), ["#/sign_in"]);
}

#[tokio::test]
async fn a_promotion_ends_every_token_and_code_made_before() {
    let company = Company::in_maryland().await;
    let technician = company.phone.id.clone().unwrap();
    let codes = format!("/api/v1/people/{technician}/enrolment-codes");
    let code = company.office.post(&codes, &json!({})).await.expect(201).body["code"].clone();
    let person = format!("/api/v1/people/{technician}");
    // A name that is written otherwise ends nothing.
    let renamed = json!({ "name": "Tech 01 B", "role": "technician", "active": true });
    let _ = company.owner.put_version(&person, "\"v1\"", &renamed).await.expect(200);
    let _ = company.phone.get("/api/v1/me").await.expect(200);
    let sign_in = json!({ "name": "tech", "password": "five other plain words" });
    let promoted = json!({ "name": "Tech 01 B", "role": "owner", "active": true, "sign_in": sign_in });
    let _ = company.owner.confirm().await;
    let _ = company.owner.put_version(&person, "\"v2\"", &promoted).await.expect(200);
    // What lies in the technician's truck is not the owner's.
    let _ = company.phone.get("/api/v1/me").await.problem(401, "not-signed-in");
    let enrol = json!({ "code": code, "name": "Phone" });
    let _ = company.app.nobody().post("/api/v1/devices", &enrol).await.problem(401, "not-signed-in");
}

#[tokio::test]
async fn a_new_password_ends_phones_and_codes_too() {
    let company = Company::in_maryland().await;
    let technician = company.phone.id.clone().unwrap();
    let sign_in = json!({ "name": "tech", "password": "five other plain words" });
    let body = json!({ "name": "Tech 01", "role": "technician", "active": true, "sign_in": sign_in });
    let _ = company.owner.confirm().await;
    let _ = company.owner.put_version(&format!("/api/v1/people/{technician}"), "\"v1\"", &body).await.expect(200);
    let _ = company.phone.get("/api/v1/me").await.problem(401, "not-signed-in");
}
