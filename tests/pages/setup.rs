//! A new server, from its first page to the first steps, in a browser without a script.

use harness::{PASSWORD, TestApp, client, world::Company};
use reqwest::Response;

use super::visitor::{Visitor, encoded};

async fn post(app: &TestApp, from: &str, fields: &[(&str, &str)]) -> Response {
    let body: Vec<String> = fields.iter().map(|(name, text)| format!("{}={}", encoded(name), encoded(text))).collect();
    let request = client().post(app.url("/setup")).header("content-type", "application/x-www-form-urlencoded");
    request.header("sec-fetch-site", from).body(body.join("&")).send().await.unwrap()
}

/// Sends the set-up form as a browser does.
async fn send(app: &TestApp, code: &str, password: &str) -> Response {
    let fields = [
        ("/setup_code", code),
        ("/company_name", "Company 01"),
        ("/time_zone", "America/New_York"),
        ("/owner_name", "Owner 01"),
        ("/sign_in/name", "owner"),
        ("/sign_in/password", password),
    ];
    post(app, "same-origin", &fields).await
}

#[tokio::test]
async fn a_new_server_is_set_up_in_a_browser() {
    let app = TestApp::empty().await;
    let page = async |path: &str| client().get(app.url(path)).send().await.unwrap();
    assert!(page("/").await.text().await.unwrap().contains("<a href=\"/setup\">"));
    let to_setup = page("/sign-in").await;
    assert_eq!((to_setup.status().as_u16(), to_setup.headers()["location"].to_str().unwrap()), (303, "/setup"));

    // Every fault at once, each beside its field, and nothing is written.
    let refused = send(&app, "WRONG", "short").await;
    assert_eq!(refused.status(), 422);
    let html = refused.text().await.unwrap();
    assert!(html.contains("Nothing is saved yet") && html.contains("f-sign_in-password-fault"), "{html}");
    let refused = send(&app, "WRONG", PASSWORD).await;
    assert_eq!(refused.status(), 422);
    let html = refused.text().await.unwrap();
    assert!(html.contains("is not the code that the server printed"), "{html}");
    assert!(html.contains("value=\"Company 01\""), "what was typed stays: {html}");
    assert!(!html.contains(PASSWORD), "a password is never shown again");

    let code = app.setup_code.clone().unwrap();
    let done = send(&app, &code, PASSWORD).await;
    assert_eq!((done.status().as_u16(), done.headers()["location"].to_str().unwrap()), (303, "/office"));
    let cookie = done.headers()["set-cookie"].to_str().unwrap().split(';').next().unwrap().to_owned();
    let today = client().get(app.url("/office")).header("cookie", &cookie).send().await.unwrap();
    assert_eq!(today.status(), 200, "the owner is signed in");
    let html = today.text().await.unwrap();
    assert!(html.contains("0 of 8 are done") && html.contains("<a href=\"/office/people/new\">"), "{html}");

    // It works once.
    assert_eq!(page("/setup").await.headers()["location"].to_str().unwrap(), "/office");
    assert_eq!(send(&app, &code, PASSWORD).await.status(), 409);
    assert_eq!(post(&app, "cross-site", &[("/setup_code", &code)]).await.status(), 403);
}

#[tokio::test]
async fn the_first_steps_go_once_there_is_a_record() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    assert!(office.open("/office").await.html.contains("8 of 8 are done"));
    company.put_down(&company.front, "5").await;
    assert!(!office.open("/office").await.html.contains("First steps"));
}
