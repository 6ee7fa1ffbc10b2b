//! The pages, without a browser: who is let in, what is sent, and that a browser's cookie changes something only from this
//! server's own pages. What a real browser does with them is tried by `tests/browser`.

mod api_page;
mod clients;
mod corrections;
mod divisions;
mod equipment;
mod find;
mod gaps;
mod help;
mod history;
mod load_sheet;
mod measurements;
mod office;
mod passes;
mod people;
mod plans;
mod product_files;
mod products;
mod reviews;
mod sections;
mod setup;
mod soil_reports;
pub(crate) mod visitor;
mod week;
mod year;

use harness::{PASSWORD, client, world::Company};
use reqwest::{Method, StatusCode};
use serde_json::{Value, json};

/// Signs a person in as a page does, and answers the cookie.
async fn cookie(company: &Company, name: &str) -> String {
    let body = json!({ "name": name, "password": PASSWORD, "in_browser": true });
    let reply = company.app.nobody().post("/api/v1/sessions", &body).await.expect(201);
    assert_eq!(reply.body["token"], Value::Null, "no script may see it");
    let set = reply.header("set-cookie").unwrap().to_owned();
    for part in ["__Host-session=", "; Path=/", "; Secure", "; HttpOnly", "; SameSite=Lax", "; Max-Age=43200"] {
        assert!(set.contains(part), "{set}");
    }
    set.split(';').next().unwrap().to_owned()
}

async fn get(company: &Company, path: &str, cookie: Option<&str>) -> reqwest::Response {
    let mut request = client().get(company.app.url(path));
    if let Some(cookie) = cookie {
        request = request.header("cookie", cookie);
    }
    request.send().await.unwrap()
}

#[tokio::test]
async fn nobody_is_sent_to_the_sign_in_and_a_technician_is_told_no() {
    let company = Company::in_maryland().await;
    let code = format!("/api/v1/people/{}/enrolment-codes", company.phone.id.as_deref().unwrap());
    let code = company.office.post(&code, &json!({})).await.expect(201).body["code"].clone();
    let enrol = json!({ "code": code, "name": "Phone", "in_browser": true });
    let enrolled = company.app.nobody().post("/api/v1/devices", &enrol).await.expect(201);
    assert_eq!(enrolled.body["token"], Value::Null);
    let phone = enrolled.header("set-cookie").unwrap().split(';').next().unwrap().to_owned();
    let office = cookie(&company, "office").await;
    let property = format!("/office/properties/{}", company.property);
    let statement = format!("/year/{}?year=2026", company.client);
    let (desk, sheet, seasons) = ("/office/equipment", "/office/load-sheet", "/office/programmes");
    for path in ["/office", "/year", "/reviews", "/rules", desk, sheet, seasons, &property, &statement] {
        let away = get(&company, path, None).await;
        assert_eq!(away.status(), StatusCode::SEE_OTHER, "{path}");
        assert!(away.headers()["location"].to_str().unwrap().starts_with("/sign-in?to=/"), "{path}");
        assert_eq!(get(&company, path, Some(&phone)).await.status(), StatusCode::FORBIDDEN, "{path}");
        let page = get(&company, path, Some(&office)).await;
        assert_eq!(page.status(), StatusCode::OK, "{path}");
        let policy = page.headers()["content-security-policy"].to_str().unwrap().to_owned();
        assert!(policy.contains("script-src 'self'") && !policy.contains("unsafe"), "{policy}");
        let html = page.text().await.unwrap();
        assert!(!html.contains("<script>") && !html.contains(" style=") && !html.contains(" onclick="), "{path}");
    }
    for path in ["/sign-in", "/phone", "/phone.css", "/sw.js", "/phone.webmanifest", "/icon.svg", "/modules/phone.js"] {
        assert_eq!(get(&company, path, None).await.status(), StatusCode::OK, "{path}");
    }
    assert_eq!(get(&company, "/modules/../main.rs", None).await.status(), StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn modules_are_sent_whole_but_for_their_comments() {
    let company = Company::in_maryland().await;
    let folder = format!("{}/../server/modules", env!("CARGO_MANIFEST_DIR"));
    for file in std::fs::read_dir(folder).unwrap().map(Result::unwrap) {
        let name = file.file_name().into_string().unwrap();
        if name == "sw.js" {
            continue;
        }
        let sent = get(&company, &format!("/modules/{name}"), None).await.text().await.unwrap();
        let mut sent = sent.lines().peekable();
        for line in std::fs::read_to_string(file.path()).unwrap().lines().map(str::trim) {
            let comment = line.is_empty() || ["//", "/**", "*"].iter().any(|begin| line.starts_with(begin));
            if sent.next_if_eq(&line).is_none() {
                assert!(comment, "{name} lacks {line}");
            }
        }
        assert_eq!(sent.next(), None, "{name} has what its source has not");
    }
}

#[tokio::test]
async fn a_cookie_changes_something_only_from_our_own_pages() {
    let company = Company::in_maryland().await;
    let owner = cookie(&company, "owner").await;
    let address = company.app.address.to_string();
    let own = format!("http://{address}");
    let tries: [(&[(&str, &str)], u16); 7] = [
        (&[], 403),
        (&[("sec-fetch-site", "cross-site")], 403),
        (&[("sec-fetch-site", "same-site")], 403),
        (&[("sec-fetch-site", "none")], 403),
        (&[("origin", "https://elsewhere.example")], 403),
        (&[("sec-fetch-site", "same-origin")], 201),
        (&[("origin", &own)], 201),
    ];
    for (headers, expected) in tries {
        let mut request = client()
            .request(Method::POST, company.app.url("/api/v1/clients"))
            .header("cookie", &owner)
            .header("content-type", "application/json")
            .body(json!({ "name": "Client 007", "mailing_address": "7 Street G" }).to_string());
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        assert_eq!(request.send().await.unwrap().status().as_u16(), expected, "{headers:?}");
    }
    // Reading needs no more than the cookie; a program's token needs none of this.
    assert_eq!(get(&company, "/api/v1/clients", Some(&owner)).await.status(), StatusCode::OK);
    let out = client().delete(company.app.url("/api/v1/sessions/current")).header("cookie", &owner);
    let out = out.header("sec-fetch-site", "same-origin").send().await.unwrap();
    assert_eq!(out.status(), StatusCode::NO_CONTENT);
    assert!(out.headers()["set-cookie"].to_str().unwrap().contains("Max-Age=0"));
    assert_eq!(get(&company, "/api/v1/clients", Some(&owner)).await.status(), StatusCode::UNAUTHORIZED);
}

#[tokio::test]
async fn the_pages_show_what_the_book_holds() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "25.6").await;
    let owner = cookie(&company, "owner").await;
    let page = async |path: String| get(&company, &path, Some(&owner)).await.text().await.unwrap();
    // 25.6 lb of 24 % on 8,200 sq ft.
    let year = page("/year?year=2026".to_owned()).await;
    assert!(year.contains("Client 001") && year.contains("0.749269") && year.contains("2.7"), "{year}");
    let statement = page(format!("/year/{}?year=2026", company.client)).await;
    assert!(statement.contains(&format!("/records/{id}")) && statement.contains("COMAR 15.20.10.09"), "{statement}");
    let record = page(format!("/records/{id}")).await;
    assert!(
        record.contains("every rule that was asked is met") && record.contains("Kept until 2029-09-15"),
        "{record}"
    );
    assert!(record.contains(&format!("<a href=\"/office/sections/{}\">", company.front)), "{record}");
    let found = page("/office/find?q=LOT-1".to_owned()).await;
    assert!(found.contains("1 Street A, Sampletown"), "a lawn is found by the lot that went onto it: {found}");
    assert!(page("/office/find?q=100%25".to_owned()).await.contains("Nothing with"), "a percent sign is text");
    let script = json!({ "name": "<script>alert(1)</script>", "mailing_address": "1 Street A" });
    let changed = company.office.put_version(&format!("/api/v1/clients/{}", company.client), "*", &script).await;
    let _ = changed.expect(200);
    let year = page("/year?year=2026".to_owned()).await;
    assert!(!year.contains("<script>alert"), "{year}");
}
