//! The office's first page: what needs attention, each with the page that mends it; and how the company writes a day.

use harness::{instant, new_id, world, world::Company};
use serde_json::json;

use super::visitor::{Visitor, written};

/// What stands under a heading of the first page: the words and where they lead.
fn under(html: &str, heading: &str) -> Vec<(String, String)> {
    let Some((_, rest)) = html.split_once(&format!("<h2>{heading}</h2>")) else { return Vec::new() };
    let list = rest.split_once("</ul>").unwrap().0;
    let link = |part: &str| {
        let (href, rest) = part.split_once('"').unwrap();
        (rest.split_once('>').unwrap().1.split_once("</a>").unwrap().0.to_owned(), href.to_owned())
    };
    list.split("<a href=\"").skip(1).map(link).collect()
}

#[tokio::test]
async fn what_needs_attention_leads_to_where_it_is_corrected() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let quiet = office.open("/office").await.html;
    assert!(quiet.contains("✓ Nothing is waiting"), "{quiet}");

    // More than a rule allows, refused and not sent again.
    let record = company.record(&company.front, "260");
    let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await.expect(422);
    // A report of three years counts in Maryland: COMAR 15.20.10.06.
    let old = world::section(&company.office, &company.property, "side lawn", "1000").await;
    let _ = world::soil_report(&company.office, &old, "2023-10-20", "low", "1").await;
    // 0.75 lb N per 1,000 sq ft of 8,200 with a product of 10 % is 61.5 lb.
    let feed = world::product(&company.office, "Feed 10-0-0", &world::label("10", "5", "0", "0")).await;
    let _ = world::lot(&company.office, &feed, "LOT-9", "60").await;
    let visit = json!({
        "property_id": company.property, "person_id": company.phone.id, "planned_on": "2026-10-01", "product_id": feed,
        "section_ids": [company.front], "purpose": "maintenance", "target_nitrogen_lb_per_1000_sqft": "0.75",
    });
    let _ = company.office.post("/api/v1/visits", &visit).await.expect(201);
    let bare = world::property(&company.office, &company.client, &[]).await;

    let html = office.open("/office").await.html;
    assert_eq!(under(&html, "Visits that are late"), [], "today's visit is not late: {html}");
    let expected = [
        (
            "Stock",
            "Feed 10-0-0: 60 lb in stock, and the planned visits need 61.5 lb",
            format!("/office/products/{feed}"),
        ),
        (
            "Soil reports",
            "1 Street A, Sampletown, side lawn: the soil report ends on 2026-10-20",
            format!("/office/sections/{old}"),
        ),
        (
            "Properties",
            "1 Street A, Sampletown: no rule set is confirmed, so nothing can be cleared there",
            format!("/office/properties/{bare}/edit"),
        ),
    ];
    let review = [
        "1 attempt was refused, and neither sent again nor reviewed",
        "1 change of a lawn is to be looked at by the owner",
    ];
    assert_eq!(under(&html, "To review"), review.map(|words| (words.to_owned(), "/reviews".to_owned())));
    for (heading, words, href) in expected {
        assert_eq!(under(&html, heading), [(words.to_owned(), href.clone())], "{heading}");
        assert_eq!(office.open(&href).await.status, 200, "{href}");
    }
}

#[tokio::test]
async fn a_visit_is_late_until_it_is_recorded_or_closed() {
    let company = Company::in_maryland().await;
    // The night of the visit's own day, in New York.
    company.app.clock.set(instant("2026-09-16T03:30:00Z"));
    let office = Visitor::named(&company, "office").await;
    assert_eq!(under(&office.open("/office").await.html, "Visits that are late"), []);
    company.app.clock.set(instant("2026-09-16T05:00:00Z"));
    let late = under(&office.open("/office").await.html, "Visits that are late");
    let words = "1 Street A, Sampletown: Tech 01 was to go on 2026-09-15, and it is neither recorded nor closed";
    let visit = format!("/office/visits/{}", company.visit);
    assert_eq!(late, [(words.to_owned(), visit.clone())]);
    // Half of it recorded is not all of it.
    company.put_down(&company.front, "5").await;
    let late = under(&office.open("/office").await.html, "Visits that are late");
    assert_eq!(late, [(words.to_owned(), visit.clone())]);
    company.put_down(&company.rear, "5").await;
    assert_eq!(under(&office.open("/office").await.html, "Visits that are late"), [], "it is recorded");
    // It is open all the same, and nobody is told that it was not done.
    let property = office.open(&format!("/office/properties/{}", company.property)).await.html;
    assert!(property.contains("2026-09-15</a> ▲ not closed</th><td class=\"n\">2</td>"), "{property}");
}

#[tokio::test]
async fn rule_sets_that_were_read_long_ago_are_told() {
    let company = Company::in_maryland().await;
    let read = company.app.beside().law().rule_set("us-md").unwrap().about.last_checked;
    let year_later = format!("{}T16:00:00Z", read.plus_months(12));
    company.app.clock.set(instant(&year_later));
    let office = Visitor::named(&company, "office").await;
    assert_eq!(under(&office.open("/office").await.html, "Rule sets"), []);
    company.app.clock.set(instant(&format!("{}T16:00:00Z", read.plus_months(12).plus_days(1))));
    let office = Visitor::named(&company, "office").await;
    let told = under(&office.open("/office").await.html, "Rule sets");
    assert!(told.iter().any(|(words, href)| words.starts_with("Maryland was read on") && href == "/rules"), "{told:?}");
}

#[tokio::test]
async fn the_owner_sets_how_pages_write_a_day() {
    let company = Company::in_maryland().await;
    let owner = Visitor::named(&company, "owner").await;
    let office = Visitor::named(&company, "office").await;
    let property = format!("/office/properties/{}", company.property);
    assert!(office.open(&property).await.html.contains("2025-03-01"), "the day of the measurement");
    assert_eq!(office.open("/office/settings").await.status, 403);
    let form = owner.open("/office/settings").await;
    let before = written(&company).await;
    let unsaid = owner.send(&form, &[("/date_order", "")]).await;
    assert_eq!(unsaid.status, 422);
    assert!(unsaid.beside("/date_order", "fault").starts_with('■'), "{}", unsaid.html);
    assert_eq!(office.send(&form, &[("/date_order", "month_day_year")]).await.status, 403);
    assert_eq!(written(&company).await, before);
    assert_eq!(owner.send(&form, &[("/date_order", "month_day_year")]).await.status, 303);
    let shown = office.open(&property).await.html;
    assert!(shown.contains("03/01/2025") && !shown.contains("2025-03-01"), "{shown}");
    assert!(shown.contains("09/15/2026</a></th><td class=\"n\">2</td>"), "{shown}");
    let rules = office.open("/rules").await.html;
    assert!(rules.contains("read 11/") && rules.contains("The label and the local authority prevail"), "{rules}");
    // Somebody who opened it before is told, and the API and the records stay as they were.
    let late = owner.send(&form, &[("/date_order", "year_month_day")]).await;
    assert_eq!(late.status, 412, "{}", late.html);
    assert!(late.beside("/date_order", "other").contains("09/15/2026, month first"), "{}", late.html);
    let visit = company.office.get(&format!("/api/v1/visits/{}", company.visit)).await.expect(200).body;
    assert_eq!(visit["planned_on"], "2026-09-15");
}

#[tokio::test]
async fn a_zone_of_the_company_that_is_not_known_is_told_and_leads_nowhere() {
    let company = Company::in_maryland().await;
    let file = rusqlite::Connection::open(company.app.file()).unwrap();
    assert_eq!(file.execute("UPDATE company SET time_zone = 'America/Nowhere'", []).unwrap(), 1);
    let owner = Visitor::named(&company, "owner").await;
    let html = owner.open("/office").await.html;
    let (_, told) = html.split_once("time zone “America/Nowhere” is not known").expect("it is told");
    let told = told.split_once("</li>").unwrap().0;
    assert!(told.contains("no page changes it") && !told.contains("<a "), "{told}");
}

#[tokio::test]
async fn a_visit_says_at_once_that_its_person_s_certificate_will_have_run_out() {
    // COMAR 15.20.10.02-.03 (MD-28): paid application is by a certified applicator.
    let company = Company::uncertified().await;
    let person = company.phone.id.clone().unwrap();
    let office = Visitor::named(&company, "office").await;
    let path = format!("/office/properties/{}/visits/new", company.property);
    let form = office.open(&path).await;
    let good = [
        ("/person_id", person.as_str()),
        ("/planned_on", "2026-09-20"),
        ("/product_id", company.feed.as_str()),
        ("/purpose", "maintenance"),
    ];
    let made = office.send(&form, &good).await;
    let to = made.to.unwrap_or_else(|| panic!("{}", made.html));
    assert!(to.starts_with("/office/visits/"), "{to}");
    let visit = office.open(&to).await;
    assert!(visit.html.contains("■ No certificate that this asks for is on file."), "{}", visit.html);
    harness::world::certify(&company.office, &person, "us-md").await;
    assert!(!office.open(&to).await.html.contains("certificate"), "it is entered now");
    let moved = office.send(&office.open(&to).await, &[("/planned_on", "2026-09-21")]).await;
    assert_eq!(moved.to, Some(format!("/office/properties/{}", company.property)), "{}", moved.html);
}
