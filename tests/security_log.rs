//! The security log: each thing at the door leaves its line, nobody edits it, and it does not grow for ever. And the sessions that it
//! tells of: where somebody is signed in, and how all of it ends.

use std::time::Duration;

use harness::{PASSWORD, User, world::Company};
use serde_json::{Value, json};

async fn lines(owner: &User) -> Vec<Value> {
    owner.get("/api/v1/security-log?limit=200").await.expect(200).body["items"].as_array().unwrap().clone()
}

/// What happened since, the oldest first.
async fn since(owner: &User, before: usize) -> Vec<String> {
    let all = lines(owner).await;
    let new = &all[..all.len() - before];
    new.iter().rev().map(|line| line["kind"].as_str().unwrap().to_owned()).collect()
}

#[tokio::test]
async fn each_thing_at_the_door_leaves_its_line() {
    let company = Company::in_maryland().await;
    let (owner, app) = (&company.owner, &company.app);
    let _ = owner.confirm().await;
    let before = lines(owner).await.len();
    let wrong = json!({ "name": "office", "password": "four other words here" });
    let _ = app.nobody().post("/api/v1/sessions", &wrong).await.expect(401);
    let failed = lines(owner).await[0].clone();
    assert_eq!((&failed["name"], &failed["address"]), (&json!("office"), &json!("127.0.0.1")));
    assert!(!failed.to_string().contains("four other words"), "{failed}");
    let office = app.sign_in("office", company.office.id.clone()).await;
    let _ = office.delete("/api/v1/sessions/current").await.expect(204);
    let id = company.phone.id.clone().unwrap();
    let codes = format!("/api/v1/people/{id}/enrolment-codes");
    let code = owner.post(&codes, &json!({})).await.expect(201).body["code"].clone();
    let enrol = json!({ "code": code, "name": "Second phone" });
    let phone = app.nobody().post("/api/v1/devices", &enrol).await.expect(201).body;
    let _ = app.nobody().post("/api/v1/devices", &enrol).await.expect(401);
    let _ = owner.delete(&format!("/api/v1/devices/{}", phone["device"]["id"].as_str().unwrap())).await.expect(200);
    let sign_in = json!({ "name": "tech", "password": "five other plain words" });
    let promoted = json!({ "name": "Tech 01", "role": "office", "sign_in": sign_in });
    let _ = owner.put_version(&format!("/api/v1/people/{id}"), "*", &promoted).await.expect(200);
    let leaves = json!({ "name": "Tech 01", "role": "office", "active": false });
    let _ = owner.put_version(&format!("/api/v1/people/{id}"), "*", &leaves).await.expect(200);
    assert_eq!(
        since(owner, before).await,
        [
            "sign_in_failed",
            "signed_in",
            "signed_out",
            "enrolment_code_made",
            "phone_connected",
            "sign_in_failed",
            "phone_signed_out",
            "password_reset",
            "role_changed",
            "access_ended",
        ]
    );
    let role = lines(owner).await[1].clone();
    assert_eq!(role["detail"], "technician to office");
    assert_eq!((&role["person_id"], &role["by_id"]), (&json!(id), &json!(owner.id)));
    let _ = company.office.get("/api/v1/security-log").await.problem(403, "not-allowed");
}

#[tokio::test]
async fn too_many_tries_are_told_once() {
    let company = Company::in_maryland().await;
    let before = lines(&company.owner).await.len();
    let wrong = json!({ "name": "owner", "password": "four other words here" });
    let mut refused = 0;
    while refused < 5 {
        refused += usize::from(company.app.nobody().post("/api/v1/sessions", &wrong).await.status == 429);
    }
    let told = since(&company.owner, before).await;
    assert_eq!(told.iter().filter(|kind| *kind == "sign_in_limited").count(), 1, "{told:?}");
    assert!(told.iter().filter(|kind| *kind == "sign_in_failed").count() <= 11, "{told:?}");
}

#[tokio::test]
async fn a_session_that_nobody_uses_ends_and_one_that_is_used_goes_on() {
    let company = Company::in_maryland().await;
    let (owner, clock) = (&company.owner, &company.app.clock);
    let settings = owner.get("/api/v1/settings").await.expect(200).body;
    assert_eq!((&settings["idle_minutes"], &settings["security_log_days"]), (&json!(240), &json!(400)));
    let shorter = json!({ "date_order": "year_month_day", "idle_minutes": 30 });
    let _ = owner.put_version("/api/v1/settings", "*", &shorter).await.expect(200);
    let used = async |user: &User| {
        let now = user.get("/api/v1/me").await.expect(200).body["now"].clone();
        let sessions = user.get("/api/v1/me/sessions").await.expect(200).body;
        let own = sessions["items"].as_array().unwrap().iter().find(|one| one["current"] == true).unwrap().clone();
        assert_eq!(own["last_used_at"], now);
    };
    for _ in 0..3 {
        clock.advance(Duration::from_mins(29));
        used(owner).await;
    }
    // Nobody used the office's session since the day began, and the phone lay in the truck.
    let _ = company.office.get("/api/v1/me").await.problem(401, "not-signed-in");
    let _ = company.phone.get("/api/v1/me").await.expect(200);
    clock.advance(Duration::from_mins(30));
    let _ = owner.get("/api/v1/me").await.problem(401, "not-signed-in");
}

#[tokio::test]
async fn whoever_signs_out_everywhere_is_out_everywhere() {
    let company = Company::in_maryland().await;
    let office = &company.office;
    let id = office.id.clone().unwrap();
    let _ = company.owner.confirm().await;
    let code =
        company.owner.post(&format!("/api/v1/people/{id}/enrolment-codes"), &json!({})).await.expect(201).body["code"]
            .clone();
    let unused = company.owner.post(&format!("/api/v1/people/{id}/enrolment-codes"), &json!({})).await.expect(201).body
        ["code"]
        .clone();
    let enrol = |code: &Value| json!({ "code": code, "name": "Phone of the office" });
    let phone = company.app.nobody().post("/api/v1/devices", &enrol(&code)).await.expect(201).body;
    let phone = company.app.user(phone["token"].as_str().unwrap(), None);
    let sessions = phone.get("/api/v1/me/sessions").await.expect(200).body;
    let mut names: Vec<&str> =
        sessions["items"].as_array().unwrap().iter().map(|one| one["name"].as_str().unwrap()).collect();
    names.sort_unstable();
    assert_eq!(names, ["Phone of the office", "a program without a name"], "{sessions:#}");
    let _ = office.delete("/api/v1/me/sessions").await.expect(204);
    for gone in [office, &phone] {
        let _ = gone.get("/api/v1/me").await.problem(401, "not-signed-in");
    }
    let _ = company.app.nobody().post("/api/v1/devices", &enrol(&unused)).await.problem(401, "not-signed-in");
    let _ = company.owner.get("/api/v1/me").await.expect(200);
    let again = json!({ "name": "office", "password": PASSWORD });
    let _ = company.app.nobody().post("/api/v1/sessions", &again).await.expect(201);
}

#[tokio::test]
async fn the_log_is_never_edited_and_forgets_what_is_old() {
    let company = Company::in_maryland().await;
    company.app.clock.advance(Duration::from_hours(24 * 401));
    let first =
        "SELECT count(*) FROM security_events WHERE at < (SELECT max(at) FROM security_events) - 400 * 86400000";
    let file = company.app.file();
    let count = |sql: &str| {
        let book = rusqlite::Connection::open(&file).unwrap();
        book.query_row(sql, [], |row| row.get::<_, i64>(0)).unwrap()
    };
    // The first line of the new time may be that of a clock set ahead: it makes nothing old yet.
    let before = count("SELECT count(*) FROM security_events");
    let _ = company.app.sign_in("owner", None).await;
    assert_eq!(count("SELECT count(*) FROM security_events"), before + 1);
    let _ = company.app.sign_in("owner", None).await;
    assert_eq!(count(first), 0, "what is older than 400 days is gone");
    assert_eq!(count("SELECT count(*) FROM security_events"), 2);
    let book = rusqlite::Connection::open(&file).unwrap();
    let edit = book.execute("UPDATE security_events SET name = 'nobody'", []).unwrap_err().to_string();
    assert!(edit.contains("never edited"), "{edit}");
    let delete = book.execute("DELETE FROM security_events", []).unwrap_err().to_string();
    assert!(delete.contains("90 days"), "{delete}");
}

/// A clock that is two years ahead for a moment makes no line old, and what it wrote lets none be forgotten once it is right again.
#[tokio::test]
async fn a_clock_set_ahead_empties_no_log() {
    let company = Company::in_maryland().await;
    let now = harness::instant(harness::TODAY);
    let _ = company.app.sign_in("owner", None).await;
    company.app.clock.advance(Duration::from_hours(24 * 730));
    let _ = company.app.sign_in("owner", None).await;
    company.app.clock.set(now);
    let owner = company.app.sign_in("owner", None).await;
    let before = lines(&owner).await.len();
    for _ in 0..3 {
        let _ = company.app.sign_in("owner", None).await;
    }
    let all = lines(&owner).await;
    assert_eq!(all.len(), before + 3);
    let at = |line: &Value| line["at"].as_str().unwrap()[..4].to_owned();
    assert_eq!(all.iter().filter(|line| at(line) == "2028").count(), 1);
    assert!(all.iter().filter(|line| at(line) == "2026").count() >= 5, "{all:#?}");
}

/// People type their password where the name belongs: what nobody is called is not kept.
#[tokio::test]
async fn what_is_typed_as_a_name_and_is_none_is_not_kept() {
    let company = Company::in_maryland().await;
    let typed = json!({ "name": PASSWORD, "password": "owner" });
    let _ = company.app.nobody().post("/api/v1/sessions", &typed).await.expect(401);
    let line = lines(&company.owner).await[0].clone();
    assert_eq!((&line["kind"], &line["name"]), (&json!("sign_in_failed"), &json!("a name that nobody has")));
}
