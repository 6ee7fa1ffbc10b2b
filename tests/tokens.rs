//! A token ends at once, whatever ends it, also where it was in use until that moment and the server remembers whose it is.

use std::{
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
    time::Duration,
};

use harness::{PASSWORD, User, world::Company};
use serde_json::{Value, json};

const ME: &str = "/api/v1/me";

/// The token is good, and by the second time it is remembered.
async fn in_use(user: &User) -> Value {
    let _ = user.get(ME).await.expect(200);
    user.get(ME).await.expect(200).body
}

async fn over(user: &User, why: &str) {
    let reply = user.get(ME).await;
    assert_eq!(reply.status, 401, "{why}: {}", reply.text);
}

/// A new member of staff, with a session.
async fn colleague(company: &Company, name: &str, role: &str) -> (String, User) {
    let body = json!({ "name": name, "role": role, "sign_in": { "name": name, "password": PASSWORD } });
    let id = company.owner.post("/api/v1/people", &body).await.expect(201).id();
    let user = company.app.sign_in(name, Some(id.clone())).await;
    (id, user)
}

/// A phone of somebody, enrolled with a code, and its address.
async fn phone(company: &Company, person: &str) -> (String, User) {
    let codes = format!("/api/v1/people/{person}/enrolment-codes");
    let _ = company.owner.confirm().await;
    let code = company.owner.post(&codes, &json!({})).await.expect(201).body;
    let enrol = json!({ "code": code["code"], "name": "Phone" });
    let enrolled = company.app.nobody().post("/api/v1/devices", &enrol).await.expect(201).body;
    let user = company.app.user(enrolled["token"].as_str().unwrap(), Some(person.to_owned()));
    (format!("/api/v1/devices/{}", enrolled["device"]["id"].as_str().unwrap()), user)
}

#[tokio::test]
async fn whatever_ends_a_token_ends_it_at_once() {
    let company = Company::in_maryland().await;
    let (_, session) = colleague(&company, "signs.out", "office").await;
    in_use(&session).await;
    let _ = session.delete("/api/v1/sessions/current").await.expect(204);
    over(&session, "signed out").await;

    let (person, first) = colleague(&company, "has.a.phone", "technician").await;
    let (device, lost) = phone(&company, &person).await;
    let (_, other) = phone(&company, &person).await;
    for user in [&first, &lost, &other] {
        in_use(user).await;
    }
    let _ = company.owner.delete(&device).await.expect(200);
    over(&lost, "its phone was locked out").await;
    for user in [&first, &other] {
        in_use(user).await;
    }

    let path = format!("/api/v1/people/{person}");
    let office = json!({ "name": "has.a.phone", "role": "office" });
    let _ = company.owner.put_version(&path, "*", &office).await.expect(200);
    for user in [&first, &other] {
        over(user, "another role").await;
    }

    let again = company.app.sign_in("has.a.phone", None).await;
    assert_eq!(in_use(&again).await["person"]["role"], "office");
    let sign_in = json!({ "name": "has.a.phone", "password": "four other plain words" });
    let changed = json!({ "name": "has.a.phone", "role": "office", "sign_in": sign_in });
    let _ = company.owner.put_version(&path, "*", &changed).await.expect(200);
    over(&again, "the owner set another password").await;

    let (_, own) = colleague(&company, "own.password", "office").await;
    in_use(&own).await;
    let body = json!({ "old": PASSWORD, "new": "four other plain words" });
    let _ = own.put("/api/v1/me/password", &body).await.expect(204);
    over(&own, "another password of one's own").await;

    let (person, gone) = colleague(&company, "is.let.go", "office").await;
    let (_, on_the_phone) = phone(&company, &person).await;
    for user in [&gone, &on_the_phone] {
        in_use(user).await;
    }
    let inactive = json!({ "name": "is.let.go", "role": "office", "active": false });
    let _ = company.owner.put_version(&format!("/api/v1/people/{person}"), "*", &inactive).await.expect(200);
    for user in [&gone, &on_the_phone] {
        over(user, "let go").await;
    }
    in_use(&company.owner).await;
}

#[tokio::test]
async fn a_token_that_is_remembered_ends_at_its_time() {
    let company = Company::in_maryland().await;
    let (_, session) = colleague(&company, "works.long", "office").await;
    // It is used every three hours, so that it is never idle for long.
    for hours in [3, 3, 3] {
        company.app.clock.advance(Duration::from_hours(hours));
        in_use(&session).await;
    }
    company.app.clock.advance(Duration::from_hours(3) - Duration::from_millis(1));
    in_use(&session).await;
    company.app.clock.advance(Duration::from_millis(1));
    over(&session, "its twelve hours are over").await;
    in_use(&company.phone).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_request_that_begins_after_a_token_was_ended_is_answered() {
    let company = Company::in_maryland().await;
    for round in 0..8 {
        let (_, session) = colleague(&company, &format!("busy.{round}"), "office").await;
        in_use(&session).await;
        let ended = Arc::new(AtomicBool::new(false));
        let busy: Vec<_> = (0..6)
            .map(|_| {
                let (session, ended) = (session.clone(), Arc::clone(&ended));
                tokio::spawn(async move {
                    let mut refused = 0;
                    while refused < 3 {
                        let known_over = ended.load(Ordering::SeqCst);
                        let status = session.get(ME).await.status;
                        assert!(!known_over || status == 401, "{status} after the token was ended");
                        refused += usize::from(status == 401);
                    }
                })
            })
            .collect();
        tokio::time::sleep(Duration::from_millis(20)).await;
        let _ = session.delete("/api/v1/sessions/current").await.expect(204);
        ended.store(true, Ordering::SeqCst);
        for one in busy {
            one.await.unwrap();
        }
    }
}
