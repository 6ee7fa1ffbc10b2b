//! The help: open to everybody, linked from where it is needed, searched without a script, and no link of it leads nowhere.

use std::collections::{BTreeMap, BTreeSet};

use harness::{client, world::Company};
use reqwest::StatusCode;

use super::{cookie, get, visitor::Visitor};

/// What the links of a page name, without those that leave this server.
fn links(html: &str) -> BTreeSet<String> {
    let named = html.split(" href=\"").skip(1).filter_map(|rest| rest.split_once('"'));
    named.map(|(to, _)| to.to_owned()).filter(|to| !to.starts_with("http")).collect()
}

/// The text of every page of help by its address, as nobody in particular reads it.
async fn handbook(company: &Company) -> BTreeMap<String, String> {
    let mut pages = BTreeMap::new();
    let mut next = vec!["/help".to_owned()];
    while let Some(path) = next.pop() {
        if pages.contains_key(&path) {
            continue;
        }
        let page = get(company, &path, None).await;
        assert_eq!(page.status(), StatusCode::OK, "{path}");
        let html = page.text().await.unwrap();
        let to = links(&html).into_iter().map(|to| to.split('#').next().unwrap_or_default().to_owned());
        next.extend(to.filter(|to| to.starts_with("/help")));
        pages.insert(path, html);
    }
    pages
}

#[tokio::test]
async fn every_link_of_the_help_leads_somewhere() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "owner").await;
    let pages = handbook(&company).await;
    assert!(pages.len() > 18, "{:?}", pages.keys());
    let mut asked = BTreeSet::new();
    for (path, html) in &pages {
        for to in links(html) {
            let (page, id) = to.split_once('#').unwrap_or((&to, ""));
            let page = if page.is_empty() { path } else { page };
            if let Some(html) = pages.get(page).filter(|_| !id.is_empty()) {
                assert!(html.contains(&format!(" id=\"{id}\"")), "{path} names {to}, which is not there");
            }
            if asked.insert(page.to_owned()) {
                let found = office.open(page).await;
                assert!(matches!(found.status, 200 | 303), "{path} names {to}: {}", found.status);
            }
        }
    }
    assert!(asked.len() > 30, "{asked:?}");
}

#[tokio::test]
async fn what_the_help_calls_an_address_of_the_api_is_one() {
    let company = Company::in_maryland().await;
    let document = client().get(company.app.url("/openapi.json")).send().await.unwrap();
    let document: serde_json::Value = document.json().await.unwrap();
    let mut held = 0;
    for (path, html) in handbook(&company).await {
        for named in html.split("/api/v1/").skip(1) {
            let end = named.find(|c: char| !c.is_ascii_alphanumeric() && !"-_/{}".contains(c)).unwrap_or(named.len());
            let named = format!("/api/v1/{}", &named[..end]);
            assert!(document["paths"].get(&named).is_some(), "{path} names {named}");
            held += 1;
        }
    }
    assert!(held > 5, "{held}");
}

#[tokio::test]
async fn the_help_is_guarded_like_other_pages_and_asked_for_once() {
    let company = Company::in_maryland().await;
    for path in ["/help", "/help/law", "/help?q=stop"] {
        let page = get(&company, path, None).await;
        let headers = page.headers().clone();
        let policy = headers["content-security-policy"].to_str().unwrap();
        assert!(policy.contains("default-src 'none'") && !policy.contains("unsafe"), "{policy}");
        assert_eq!(headers["cache-control"], "private, no-cache");
        let html = page.text().await.unwrap();
        assert!(!html.contains("<script") && !html.contains(" style=") && !html.contains("{%"), "{path}");
        let again = client().get(company.app.url(path)).header("if-none-match", &headers["etag"]);
        let again = again.send().await.unwrap();
        assert_eq!(again.status(), StatusCode::NOT_MODIFIED, "{path}");
        assert_eq!(again.headers()["etag"], headers["etag"]);
    }
    let missing = get(&company, "/help/nothing", None).await;
    assert_eq!(missing.status(), StatusCode::NOT_FOUND);
    let missing = get(&company, "/help/check/more", None).await;
    assert_eq!(missing.status(), StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn a_search_shows_passages_and_takes_what_is_typed_as_text() {
    let company = Company::in_maryland().await;
    let search = async |q: &str| {
        let page = get(&company, &format!("/help?q={q}"), None).await;
        assert_eq!(page.status(), StatusCode::OK, "{q}");
        page.text().await.unwrap()
    };
    let found = search("a+record+was+refused").await;
    let first = found.split("<h2>").nth(1).unwrap();
    assert!(first.starts_with("<a href=\"/help/recording#when-a-record-is-refused\">"), "{first}");
    assert!(first.contains("<mark>"), "{first}");
    assert!(search("maryland").await.contains("/help/law#rule-sets"), "the list of rule sets is searched too");
    // Such a list names more words than any section; it wins only where one of its lines answers.
    for (question, answers) in [("license", "/help/certificates"), ("license+ran+out", "/help/certificates")] {
        let found = search(question).await;
        let first = found.split("<h2>").nth(1).unwrap();
        assert!(first.starts_with(&format!("<a href=\"{answers}")), "{question}: {first}");
    }
    assert!(search("xyzzy").await.contains("Nothing in the help has these words"));
    let script = search("%3Cscript%3Ealert(1)%3C/script%3E").await;
    assert!(!script.contains("<script>alert"), "{script}");
    let long = search(&"refused+".repeat(500)).await;
    assert!(long.len() < 60_000, "{}", long.len());
    assert!(search("").await.contains("Who are you?"));
}

#[tokio::test]
async fn the_law_topic_lists_the_rule_sets_of_this_server() {
    let company = Company::in_maryland().await;
    let html = get(&company, "/help/law", None).await.text().await.unwrap();
    let sets = company.office.get("/api/v1/rule-sets?limit=200").await.expect(200).body;
    let sets = sets["items"].as_array().unwrap();
    assert!(sets.len() > 20, "{}", sets.len());
    for set in sets {
        let code = set["code"].as_str().unwrap();
        assert!(html.contains(&format!("<code>{code}</code>")), "{code}");
    }
}

#[tokio::test]
async fn the_help_is_a_link_away_where_it_is_needed() {
    let company = Company::in_maryland().await;
    let owner = cookie(&company, "owner").await;
    let id = company.put_down(&company.front, "25.6").await;
    let section = &company.front;
    for (path, to) in [
        ("/", "/help"),
        ("/sign-in", "/help"),
        ("/office", "/help"),
        ("/nowhere", "/help"),
        ("/problems/stopped-by-rules", "/help/recording#when-a-record-is-refused"),
        ("/year", "/help/year"),
        (&format!("/year/{}?year=2026", company.client), "/help/year#the-statement"),
        (&format!("/records/{id}"), "/help/check"),
        ("/office/people", "/help/people"),
        ("/rules", "/help/law"),
        (
            &format!("/office/load-sheet?day=2026-09-15&person_id={}", company.phone.id.as_deref().unwrap()),
            "/help/season#the-load-sheet",
        ),
        (&format!("/office/sections/{section}"), "/help"),
    ] {
        let request = client().get(company.app.url(path)).header("cookie", &owner).header("accept", "text/html");
        let html = request.send().await.unwrap().text().await.unwrap();
        assert!(html.contains(&format!("<a href=\"{to}\"")), "{path} does not name {to}: {html}");
    }
}

#[tokio::test]
async fn every_element_of_the_pages_is_shown_once() {
    let company = Company::in_maryland().await;
    let html = client().get(company.app.url("/help/style")).send().await.unwrap().text().await.unwrap();
    for part in [
        "chip stop",
        "verdict care",
        "class=\"picture bar\"",
        "class=\"calendar\"",
        "class=\"picture hours\"",
        "class=\"scale\"",
        "class=\"card\"",
        "class=\"entry\"",
        "<details>",
    ] {
        assert!(html.contains(part), "{part}: {html}");
    }
}
