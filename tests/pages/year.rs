//! What the owner reads: days in the company's order, moments by the clock of the place, and what stands behind a record.

use harness::{client, new_id, world::Company};
use serde_json::json;

use super::visitor::Visitor;

/// What a page shows, without its tags.
fn text(html: &str) -> String {
    html.split('<').skip(1).filter_map(|part| part.split_once('>')).map(|(_, text)| text).collect()
}

#[tokio::test]
async fn the_owners_pages_write_days_as_the_company_does() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "25.6").await;
    let order = json!({ "date_order": "month_day_year" });
    let _ = company.owner.put_version("/api/v1/settings", "*", &order).await.expect(200);
    let owner = Visitor::named(&company, "owner").await;
    let page = async |path: &str| text(&owner.open(path).await.html);

    // The clock stands at 14:00 UTC, which is 10:00 in New York in summer.
    let statement = page(&format!("/year/{}?year=2026", company.client)).await;
    for words in
        ["From 01/01/2026 to 12/31/2026, prepared on 09/15/2026 10:00 EDT", "measured 03/01/2025", "09/15/2026Feed"]
    {
        assert!(statement.contains(words), "{words}: {statement}");
    }
    let record = page(&format!("/records/{id}")).await;
    for words in ["Record of 09/15/2026", "from 09/15/2026 09:05 EDT to 09/15/2026 09:31 EDT", "Kept until 09/15/2029"]
    {
        assert!(record.contains(words), "{words}: {record}");
    }
    let year = page("/year?year=2026").await;
    assert!(year.contains("the last written 09/15/2026 10:00 EDT"), "{year}");
    let visit = page(&format!("/office/visits/{}", company.visit)).await;
    assert!(visit.contains("The visit planned on 09/15/2026"), "{visit}");
    let front = page("/").await;
    assert!(front.contains("Maryland11/"), "{front}");
    // A decision is kept word for word, and its sentences write days as the API does.
    let (kept, rest) = record.split_once("rules that were met").unwrap();
    let record = format!("{kept}{}", rest.split_once("What the decision was based on").unwrap().1);
    // So does a receipt, which is read by programs.
    let without_receipt = |page: &str| {
        let Some((before, rest)) = page.split_once("Swardbook receipt") else { return page.to_owned() };
        format!("{before}{}", rest.split_once("Signature: ").unwrap().1)
    };
    let (statement, year) = (without_receipt(&statement), without_receipt(&year));
    for (what, shown) in [("statement", statement), ("record", record), ("year", year), ("front", front)] {
        assert!(!shown.contains("2026-"), "a day year first on the {what}: {shown}");
    }
}

#[tokio::test]
async fn a_record_shows_what_it_was_decided_on_and_what_was_said_since() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "20").await;
    let lines = json!([{ "section_id": company.front, "product_lb": "21" }]);
    let correction = json!({ "application_id": id, "reason": "Weighed again.", "change": { "lines": lines } });
    let _ = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &correction).await.expect(201);
    let owner = Visitor::named(&company, "owner").await;
    let record = text(&owner.open(&format!("/records/{id}")).await.html);
    for words in [
        "Groundmoist",
        "Witha rotary spreader with deflector",
        "Pavement✓ swept or blown back",
        "Air71.5 °F, seen or measured on the lawn at 2026-09-15 09:00 EDT",
        "0.05 in within 24 hours, seen or measured on the lawn at 2026-09-15 08:30 EDT",
        "Alertsnone in force",
        "No weather service was part of it.",
        "Rule set us-md, read 20",
        "Tech 01: 21 lb on the front lawn. Weighed again.",
    ] {
        assert!(record.contains(words), "{words}: {record}");
    }
    let property = text(&owner.open(&format!("/office/properties/{}", company.property)).await.html);
    assert!(property.contains("2026-09-15Feed 24-0-10") && property.contains("201Tech 01"), "{property}");
}

#[tokio::test]
async fn somebody_at_a_browser_reads_a_fault_as_a_page() {
    let company = Company::in_maryland().await;
    let owner = Visitor::named(&company, "owner").await;
    let ask = async |path: &str, accept: &str| {
        let asked = client().get(company.app.url(path)).header("cookie", &owner.cookie).header("accept", accept);
        let reply = asked.send().await.unwrap();
        let kind = reply.headers()["content-type"].to_str().unwrap().to_owned();
        (reply.status().as_u16(), kind, reply.text().await.unwrap())
    };
    let browser = "text/html,application/xhtml+xml,*/*;q=0.8";
    let nowhere = format!("/records/{}", new_id());
    for (path, status, words) in [
        (nowhere.as_str(), 404, "href=\"/problems/not-found\""),
        ("/year?year=abc", 400, "href=\"/problems/malformed-request\""),
        ("/year?year=3000", 422, "year must lie between 1990 and 2199"),
        ("/nowhere", 404, "There is no address /nowhere."),
    ] {
        let (answered, kind, html) = ask(path, browser).await;
        assert_eq!((answered, kind.as_str()), (status, "text/html; charset=utf-8"), "{path}");
        assert!(html.contains(words) && html.contains("<h1>"), "{path}: {html}");
        let (answered, kind, _) = ask(path, "*/*").await;
        assert_eq!((answered, kind.as_str()), (status, "application/problem+json"), "{path}");
    }
    let posted = client().post(company.app.url("/year")).header("cookie", &owner.cookie).header("accept", browser);
    let posted = posted.send().await.unwrap();
    let allow = posted.headers().get("allow").map(|methods| methods.to_str().unwrap().to_owned());
    assert_eq!((posted.status().as_u16(), allow.as_deref()), (405, Some("GET,HEAD")), "RFC 9110, 15.5.6");
    let (answered, kind, _) = ask("/api/v1/nowhere", browser).await;
    assert_eq!((answered, kind.as_str()), (404, "application/problem+json"), "the API speaks to programs");
}

#[tokio::test]
async fn the_front_page_leads_to_all_three() {
    let company = Company::in_maryland().await;
    let owner = Visitor::named(&company, "owner").await;
    let front = owner.open("/").await.html;
    for path in ["/phone", "/office", "/year"] {
        assert!(front.contains(&format!("<a href=\"{path}\">")), "{front}");
        assert_eq!(owner.open(path).await.status, 200, "{path}");
    }
}

#[tokio::test]
async fn the_year_is_read_by_client_by_what_is_left_and_by_what_needs_a_look() {
    let company = Company::in_maryland().await;
    company.put_down(&company.rear, "15.6").await;
    let owner = Visitor::named(&company, "owner").await;
    let sections = async |query: &str| {
        let html = owner.open(&format!("/year?year=2026{query}")).await.html;
        let rows: Vec<String> = html.split("<th scope=\"row\" class=\"lawn\">").skip(1).map(text).collect();
        let named = |row: &String| if row.contains("front lawn") { "front" } else { "rear" };
        rows.iter().map(named).collect::<Vec<_>>().join(", ")
    };
    assert_eq!(sections("").await, "front, rear");
    // 15.6 lb of 24 % on 5,000 sq ft leave less than nothing put down.
    assert_eq!(sections("&show=least_room").await, "rear, front");
    assert_eq!(sections("&show=attention").await, "", "nothing needs a look");
    assert_eq!(sections("&q=REAR").await, "rear");
    assert_eq!(sections("&q=nowhere").await, "");
    assert_eq!(sections("&after=1").await, "rear");
    assert_eq!(sections("&after=7").await, "", "a page beyond the last is empty");
    assert_eq!(owner.open("/year?show=other").await.status, 400);
    let html = owner.open("/year?year=2026").await.html;
    assert!(html.contains("0.75 of 2.70 lb N per 1,000 sq ft are down"), "the picture says what it shows: {html}");
    let statement = owner.open(&format!("/year/{}?year=2026", company.client)).await.html;
    let words = "0.75 lb N per 1,000 sq ft in 1 application; the cap is 2.70";
    assert!(statement.contains(words), "{statement}");
}
