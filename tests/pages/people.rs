//! Staff and phones: the owner's forms, and the office's code.

use harness::{PASSWORD, world::Company};
use serde_json::json;

use super::visitor::{Visitor, changed, made, written};

#[tokio::test]
async fn the_owner_enters_and_corrects_people_and_the_office_does_not() {
    let company = Company::in_maryland().await;
    let owner = Visitor::named(&company, "owner").await;
    let wrong = [
        ("/name", ""),
        ("/role", "office"),
        ("/active", ""),
        ("/sign_in/name", "Office Two"),
        ("/sign_in/password", "short"),
    ];
    let good =
        [("/name", "Office 02"), ("/active", "true"), ("/sign_in/name", "office2"), ("/sign_in/password", PASSWORD)];
    let before = written(&company).await;
    let form = owner.open("/office/people/new").await;
    let refused = owner.send(&form, &wrong).await;
    assert_eq!(refused.status, 422);
    for name in ["/name", "/sign_in/name", "/sign_in/password"] {
        assert!(refused.beside(name, "fault").starts_with('■'), "{name}: {}", refused.html);
    }
    assert!(!refused.html.contains("short"), "a password is never written back");
    assert_eq!(owner.send(&refused, &good).await.status, 303);
    assert_eq!(owner.send(&refused, &good).await.status, 303);
    assert_eq!(written(&company).await, before + 1);
    let technician = [("/name", "Tech 02"), ("/role", "technician"), ("/active", "true")];
    let nameless = [("/name", ""), ("/role", ""), ("/active", "true")];
    let _ = made(&owner, "/office/people/new", &nameless, &["/name", "/role"], &technician).await;

    let id = company.phone.id.as_deref().unwrap();
    changed(&owner, &format!("/office/people/{id}"), "/name", "Tech 01 A", "Tech 01 B").await;
    let office = Visitor::named(&company, "office").await;
    assert_eq!(office.open("/office/people/new").await.status, 403);
    assert_eq!(office.open(&format!("/office/people/{id}")).await.status, 403);
    assert_eq!(office.send(&form, &good).await.status, 403);
    let listed = office.open("/office/people").await.html;
    assert!(listed.contains("Tech 01 B") && !listed.contains("Correct Tech 01 B"), "{listed}");
}

#[tokio::test]
async fn the_office_makes_a_code_and_locks_a_phone_out() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let id = company.phone.id.clone().unwrap();
    let form = office.open(&format!("/office/people/{id}/code")).await;
    let shown = office.send(&form, &[]).await;
    assert_eq!(shown.status, 200, "{}", shown.html);
    let code = shown.html.split_once("<code id=\"enrol-code\">").unwrap().1.split_once('<').unwrap().0.to_owned();
    assert!(shown.html.contains(&format!("/phone#{code}")), "{}", shown.html);
    assert!(shown.html.contains("src=\"data:image/svg+xml;base64,"), "{}", shown.html);
    let enrol = json!({ "code": code, "name": "Second phone" });
    let phone = company.app.nobody().post("/api/v1/devices", &enrol).await.expect(201).body;
    let phone_user = company.app.user(phone["token"].as_str().unwrap(), None);
    let _ = phone_user.get("/api/v1/visits").await.expect(200);
    let path = format!("/office/phones/{}/lock-out", phone["device"]["id"].as_str().unwrap());
    let ask = office.open(&path).await;
    assert!(ask.html.contains("Sign out Second phone"), "{}", ask.html);
    let before = written(&company).await;
    let own = [("own_password", PASSWORD)];
    assert_eq!(office.send(&ask, &[]).await.status, 403);
    assert_eq!(office.send(&ask, &own).await.status, 303);
    assert_eq!(office.send(&ask, &own).await.status, 303);
    assert_eq!(written(&company).await, before + 1);
    let _ = phone_user.get("/api/v1/visits").await.expect(401);
    // The owner's phone is not the office's to enrol.
    let owner = company.owner.id.clone().unwrap();
    let form = office.open(&format!("/office/people/{owner}/code")).await;
    assert_eq!(office.send(&form, &[]).await.status, 403);
}

#[tokio::test]
async fn two_phones_of_one_name_are_told_apart_by_the_day_each_was_connected() {
    let company = Company::in_maryland().await;
    let id = company.phone.id.as_deref().unwrap();
    // The second at half past eleven at night in New York, when it is the next day by UTC.
    for at in ["2026-09-15T14:00:00Z", "2026-09-17T03:30:00Z"] {
        company.app.clock.set(harness::instant(at));
        let owner = company.app.sign_in("owner", None).await;
        let code = owner.post(&format!("/api/v1/people/{id}/enrolment-codes"), &json!({})).await.expect(201).body;
        let enrol = json!({ "code": code["code"], "name": "Same phone" });
        let _ = company.app.nobody().post("/api/v1/devices", &enrol).await.expect(201);
    }
    let office = Visitor::named(&company, "office").await;
    let html = office.open("/office/people").await.html;
    for day in ["2026-09-15", "2026-09-16"] {
        assert!(html.contains(&format!("<li>Same phone, connected on {day}")), "{day}: {html}");
        assert!(html.contains(&format!(": Same phone, connected on {day}</span>")), "the links too: {html}");
    }
}

#[tokio::test]
async fn people_are_shown_where_the_companys_zone_is_not_known() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let id = company.phone.id.as_deref().unwrap();
    let held =
        [("/name", "Certificate"), ("/number", "FA-1"), ("/issued_by", "A state"), ("/valid_from", "2024-01-01")];
    for until in ["2026-09-13", "2026-09-16"] {
        let form = office.open(&format!("/office/people/{id}/credentials/new")).await;
        assert_eq!(office.send(&form, &[&held[..], &[("/valid_until", until)]].concat()).await.status, 303);
    }
    let file = rusqlite::Connection::open(company.app.file()).unwrap();
    assert_eq!(file.execute("UPDATE company SET time_zone = 'America/Nowhere'", []).unwrap(), 1);
    let page = office.open("/office/people").await;
    assert_eq!(page.status, 200, "{}", page.html);
    assert!(page.html.contains("“America/Nowhere” is not known to this server"), "{}", page.html);
    assert!(page.html.contains("until 2026-09-13, ■ ran out"), "{}", page.html);
    assert!(!page.html.contains("until 2026-09-16, ■ ran out"), "{}", page.html);
}

#[tokio::test]
async fn the_office_signs_in_and_out_without_a_script() {
    let company = Company::in_maryland().await;
    let nobody = Visitor { company: &company, cookie: String::new() };
    let own: [(&str, &str); 1] = [("sec-fetch-site", "same-origin")];
    let fields = |password: &str, to: &str| -> Vec<(String, String)> {
        [("name", "office"), ("password", password), ("to", to)].map(|(n, t)| (n.to_owned(), t.to_owned())).to_vec()
    };
    let wrong = nobody.post("/sign-in", &fields("not the password", "/year"), &own).await;
    assert_eq!(wrong.status, 401);
    assert!(wrong.html.contains("The name or the password is wrong.") && !wrong.html.contains("not the password"));
    assert!(wrong.html.contains("value=\"office\"") && wrong.html.contains("value=\"/year\""), "{}", wrong.html);
    let elsewhere = nobody.post("/sign-in", &fields(PASSWORD, "/year"), &[("sec-fetch-site", "cross-site")]).await;
    assert_eq!(elsewhere.status, 403);
    for (to, lands) in [("/year", "/year"), ("//elsewhere.example", "/office")] {
        let done = nobody.post("/sign-in", &fields(PASSWORD, to), &own).await;
        assert_eq!((done.status, done.to.as_deref()), (303, Some(lands)), "{}", done.html);
        let cookie = done.cookie.unwrap();
        assert!(cookie.contains("; HttpOnly") && cookie.contains("; SameSite=Lax"), "{cookie}");
        let office = Visitor { company: &company, cookie: cookie.split(';').next().unwrap().to_owned() };
        assert_eq!(office.open("/office").await.status, 200);
        let out = office.post("/sign-out", &[], &own).await;
        assert_eq!((out.status, out.to.as_deref()), (303, Some("/sign-in")));
        assert_eq!(office.open("/office").await.status, 303, "it has ended");
    }
}

#[tokio::test]
async fn a_certificate_is_entered_corrected_and_told_before_it_ends() {
    let company = Company::uncertified().await;
    let office = Visitor::named(&company, "office").await;
    let id = company.phone.id.clone().unwrap();
    let wrong = [("/name", ""), ("/number", ""), ("/issued_by", "A state"), ("/valid_from", "soon")];
    let good = [
        ("/name", "Applicator certificate"),
        ("/number", "FA-1001"),
        ("/issued_by", "A state"),
        ("/valid_from", "2026-01-01"),
        ("/valid_until", "2026-12-14"),
        ("/rule_set", "us-md"),
    ];
    let new = format!("/office/people/{id}/credentials/new");
    let _ = made(&office, &new, &wrong, &["/name", "/number", "/valid_from"], &good).await;
    let stored = company.office.get(&format!("/api/v1/people/{id}/credentials")).await.expect(200).body;
    let held = stored["items"][0]["id"].as_str().unwrap().to_owned();
    let listed = office.open("/office/people").await.html;
    assert!(listed.contains("Applicator certificate, FA-1001, A state: from 2026-01-01 until 2026-12-14"), "{listed}");
    // Ninety days are left on September 15: common practice.
    let told = "Tech 01: Applicator certificate ends on 2026-12-14";
    assert!(office.open("/office").await.html.contains(told), "90 days");
    let path = format!("/office/credentials/{held}");
    changed(&office, &path, "/number", "FA-1002", "FA-1003").await;
    let end = async |day: &str| {
        let form = office.open(&path).await;
        assert_eq!(office.send(&form, &[("/valid_until", day)]).await.status, 303, "{day}");
        office.open("/office").await.html
    };
    assert!(!end("2026-12-15").await.contains("Licenses and certificates"), "91 days");
    assert!(end("2026-09-14").await.contains("Tech 01: Applicator certificate ran out on 2026-09-14"));
    let renewal = [("/valid_from", "2026-09-15"), ("/valid_until", "2028-12-31")];
    let form = office.open(&new).await;
    assert_eq!(office.send(&form, &[&good[..3], &good[5..], &renewal].concat()).await.status, 303);
    assert!(!office.open("/office").await.html.contains("Licenses and certificates"), "it was renewed");
    assert!(office.open("/office/people").await.html.contains("ran out"), "what was is still told");
    // Another paper for the same state renews nothing.
    let other = [("/name", "Pesticide licence"), ("/valid_from", "2026-01-01"), ("/valid_until", "2026-11-01")];
    let form = office.open(&new).await;
    assert_eq!(office.send(&form, &[&good[1..3], &good[5..], &other].concat()).await.status, 303);
    assert!(office.open("/office").await.html.contains("Tech 01: Pesticide licence ends on 2026-11-01"));
}

#[tokio::test]
async fn everybody_changes_the_own_password_and_knows_the_old_one() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let form = office.open("/office/password").await;
    let wrong = office.send(&form, &[("/old", "not the password of now"), ("/new", "four other plain words")]).await;
    assert_eq!(wrong.status, 422);
    assert!(wrong.beside("/old", "fault").contains("is not your password"), "{}", wrong.html);
    assert!(!wrong.html.contains("four other"), "a password is never written back");
    let before = written(&company).await;
    let changed = office.send(&wrong, &[("/old", PASSWORD), ("/new", "four other plain words")]).await;
    assert_eq!(changed.status, 303, "{}", changed.html);
    assert_eq!(written(&company).await, before + 1);
    // Everything of before has ended, the API's token too.
    let _ = company.office.get("/api/v1/me").await.problem(401, "not-signed-in");
    assert_eq!(office.open("/office/people").await.status, 303, "to the sign-in");
    let session = |password: &str| json!({ "name": "office", "password": password });
    let nobody = company.app.nobody();
    let _ = nobody.post("/api/v1/sessions", &session(PASSWORD)).await.problem(401, "not-signed-in");
    let _ = nobody.post("/api/v1/sessions", &session("four other plain words")).await.expect(201);
}

#[tokio::test]
async fn the_office_s_day_counts_the_technicians_without_the_certificate_of_a_place() {
    // COMAR 15.20.10.02-.03 (MD-28).
    let company = Company::uncertified().await;
    let office = Visitor::named(&company, "office").await;
    let day = async || office.open("/office").await.html;
    let told = "1 person has no certificate that Maryland asks for: work by them is stopped there";
    assert!(day().await.contains(told));
    let own = format!("/api/v1/people/{}/credentials", company.phone.id.as_deref().unwrap());
    let mut held = json!({
        "name": "Applicator certificate", "number": "FA-1001", "issued_by": "A state", "rule_set": "us-md",
        "valid_from": "2026-01-01",
    });
    // Nobody said yet which one it is: that asks for care and stops nothing.
    let path = format!("/api/v1/credentials/{}", company.office.post(&own, &held).await.expect(201).id());
    assert!(!day().await.contains("no certificate that"));
    (held["code"], held["valid_until"]) = (json!("us-md-trained"), json!("2026-09-14"));
    let _ = company.office.put_version(&path, "\"v1\"", &held).await.expect(200);
    assert!(day().await.contains(told), "it ran out the day before");
}
