//! Guesses from three hundred addresses: few are looked at, nobody is kept out of the office by them, and the log stays readable.

use std::{collections::BTreeMap, time::Instant};

use harness::{TestApp, User, world::Company};
use reqwest::Method;
use serde_json::{Value, json};
use server::{
    clock::Clock,
    store::security_log::{self, NewSecurityEvent, SecurityEventKind},
};

const ADDRESSES: u32 = 300;

fn address(number: u32) -> String {
    format!("198.51.{}.{}", 100 + number / 200, 1 + number % 200)
}

async fn failures(owner: &User) -> Vec<Value> {
    let mut found = Vec::new();
    let mut path = "/api/v1/security-log?limit=200".to_owned();
    loop {
        let page = owner.get(&path).await.expect(200).body;
        found.extend(page["items"].as_array().unwrap().iter().filter(|line| !line["tries"].is_null()).cloned());
        match page["next_cursor"].as_str() {
            Some(next) => path = format!("/api/v1/security-log?limit=200&cursor={next}"),
            None => return found,
        }
    }
}

/// Sends the same from each address once, and says how often each status came.
async fn storm(
    company: &Company,
    method: &Method,
    path: &str,
    body: Option<&Value>,
    token: &str,
) -> BTreeMap<u16, u32> {
    let guesser = if token.is_empty() { company.app.nobody() } else { company.app.user(token, None) };
    let mut statuses = BTreeMap::new();
    for number in 0..ADDRESSES {
        let from = address(number);
        let reply = guesser.send(method.clone(), path, &[("x-forwarded-for", &from)], body).await;
        *statuses.entry(reply.status).or_default() += 1;
    }
    statuses
}

#[tokio::test]
async fn guesses_at_a_password_from_many_addresses_are_few_and_the_owner_comes_in() {
    let company = Company::on(TestApp::behind_a_proxy().await, &["us-md"]).await;
    let wrong = json!({ "name": "owner", "password": "four other words here" });
    let began = Instant::now();
    let statuses = storm(&company, &Method::POST, "/api/v1/sessions", Some(&wrong), "").await;
    // Thirty at once, of which the owner's first sign-in took one, and one a minute.
    let most = 30 + u32::try_from(began.elapsed().as_secs() / 60).unwrap() + 1;
    assert!((29..=most).contains(&statuses[&401]), "{statuses:?}");
    assert_eq!(statuses[&401] + statuses[&429], ADDRESSES, "{statuses:?}");
    let owner = company.app.sign_in("owner", None).await;
    let told = failures(&owner).await;
    let failed: i64 =
        told.iter().filter(|one| one["kind"] == "sign_in_failed").map(|one| one["tries"].as_i64().unwrap()).sum();
    assert_eq!(failed, i64::from(statuses[&401]), "each that was looked at is counted");
    assert!(told.iter().any(|one| one["kind"] == "sign_in_limited"));
}

#[tokio::test]
async fn guesses_at_codes_and_passes_from_many_addresses_are_limited_together() {
    let company = Company::on(TestApp::behind_a_proxy().await, &["us-md"]).await;
    let code = "ABCDE-FGHJK-LMNPQ-RSTUV-WXYZ2-3";
    let phone = json!({ "code": code, "name": "Phone" });
    let forgotten = json!({ "code": code, "new": "four other plain words" });
    let began = Instant::now();
    let mut looked_at = 0;
    for (method, path, body, token, answer) in [
        (Method::POST, "/api/v1/devices", Some(&phone), "", 401),
        (Method::PUT, "/api/v1/forgotten-password", Some(&forgotten), "", 422),
        (Method::GET, "/api/v1/clients", None, "pass_ABCDEFGHJKLMNPQRSTUVWXYZ23", 401),
    ] {
        let statuses = storm(&company, &method, path, body, token).await;
        looked_at += statuses.get(&answer).copied().unwrap_or_default();
        assert!(statuses[&429] > 0, "{path}: {statuses:?}");
    }
    // Two minutes' worth at once, and two a second.
    let most = 120 + 2 * u32::try_from(began.elapsed().as_secs() + 1).unwrap();
    assert!((120..=most).contains(&looked_at), "{looked_at} of {}", 3 * ADDRESSES);
    // A phone is connected from where somebody signs in every day.
    let path = format!("/api/v1/people/{}/enrolment-codes", company.phone.id.as_deref().unwrap());
    let good = company.owner.post(&path, &json!({})).await.expect(201).body["code"].clone();
    let _ = company.app.nobody().post("/api/v1/devices", &json!({ "code": good, "name": "Phone" })).await.expect(201);
    let told = failures(&company.owner).await;
    assert!(told.len() <= 202, "{} lines", told.len());
}

#[tokio::test]
async fn a_token_of_a_pass_is_not_guessed_from_one_address_without_end() {
    let company = Company::in_maryland().await;
    let guesser = company.app.user("pass_ABCDEFGHJKLMNPQRSTUVWXYZ23", None);
    let mut refused = 0;
    for _ in 0..100 {
        refused += u32::from(guesser.get("/api/v1/clients").await.status == 429);
    }
    assert!(refused >= 30, "{refused} of 100 were refused");
    let told = failures(&company.owner).await;
    let of = |kind: &str| told.iter().filter(|one| one["kind"] == kind).collect::<Vec<_>>();
    assert_eq!(of("sign_in_failed").len(), 1, "one line, however many: {told:#?}");
    let line = of("sign_in_failed")[0];
    assert_eq!(line["detail"], "with a code of a pass");
    assert!(line["tries"].as_i64().unwrap() >= 60, "{line}");
    assert!(!line.to_string().contains("ABCDEFGH"), "what was tried is not kept: {line}");
}

#[tokio::test]
async fn a_thousand_failures_are_two_hundred_lines_and_one_and_none_is_lost() {
    let company = Company::in_maryland().await;
    let at = company.app.clock.now();
    let all = company.app.beside().store.write(move |connection| {
        Box::pin(async move {
            for round in 0..2 {
                for number in 0..500 {
                    let event = NewSecurityEvent::of(SecurityEventKind::SignInFailed);
                    let event = event.from(Some(format!("2001:db8:{round}:{number}::")));
                    security_log::insert(&mut *connection, at, event).await?;
                }
            }
            Ok(())
        })
    });
    all.await.unwrap();
    let told = failures(&company.owner).await;
    assert_eq!(told.len(), 201);
    assert_eq!(told.iter().map(|one| one["tries"].as_i64().unwrap()).sum::<i64>(), 1000);
    let rest = &told[0];
    assert_eq!((&rest["address"], &rest["tries"]), (&Value::Null, &json!(800)), "{rest}");
    assert_eq!(rest["detail"], "from further addresses, or at further names");
    // Only the count of a line goes up.
    let book = rusqlite::Connection::open(company.app.file()).unwrap();
    for edit in [
        "UPDATE security_events SET tries = tries - 1 WHERE tries > 1",
        "UPDATE security_events SET tries = tries + 1, address = 'nowhere' WHERE tries IS NOT NULL",
        "UPDATE security_events SET tries = 1, last_at = at WHERE tries IS NULL",
        "UPDATE security_events SET tries = tries + 1, last_at = at - 1 WHERE tries IS NOT NULL",
    ] {
        let refused = book.execute(edit, []).unwrap_err().to_string();
        assert!(refused.contains("never edited"), "{edit}: {refused}");
    }
}
