//! The search of every page, and the frame around them.

use harness::world::Company;
use serde_json::json;

use super::{get, visitor::Visitor};

#[tokio::test]
async fn somebody_who_calls_is_found_by_what_they_name() {
    let company = Company::in_maryland().await;
    let told = json!({ "name": "Client 002", "mailing_address": "7 Street B", "phone": "(410) 555-0100", "email": "two@example.com" });
    let client = company.office.post("/api/v1/clients", &told).await.expect(201).id();
    let property = harness::world::property(&company.office, &client, &["us-md"]).await;
    let id = company.put_down(&company.front, "5").await;
    let office = Visitor::named(&company, "office").await;
    let found = async |q: &str| office.open(&format!("/office/find?q={q}")).await.html;

    let (of_client, of_property) = (format!("/office/clients/{client}\""), format!("/office/properties/{property}\""));
    for q in ["4105550100", "410-555-01", "410.555.0100", "client+002", "two%40example"] {
        assert!(found(q).await.contains(&of_client), "{q}");
    }
    for q in ["4105550100", "21000", "client+002"] {
        assert!(found(q).await.contains(&of_property), "{q}");
    }
    // Three digits stand in too many numbers, and in an address they are no telephone number.
    assert!(!found("555").await.contains(&of_client));
    assert!(found("LOT-1").await.contains("lot LOT-1"));
    assert!(found("tech+01").await.contains(&format!("/office/people/{}\"", company.phone.id.as_deref().unwrap())));
    assert!(found("Feed").await.contains(&format!("/office/products/{}\"", company.feed)));
    assert!(found("100%25").await.contains("Nothing with"), "a percent sign is text");
    assert!(found("").await.contains("Type a part of a name"));
    // The whole id of a record opens it.
    let cookie = office.cookie.as_str();
    let sent_on = get(&company, &format!("/office/find?q={id}"), Some(cookie)).await;
    assert_eq!(sent_on.headers()["location"].to_str().unwrap(), format!("/records/{id}"));
}

#[tokio::test]
async fn the_frame_marks_where_the_reader_is_and_hides_what_is_not_theirs() {
    let company = Company::in_maryland().await;
    let (owner, office) = (Visitor::named(&company, "owner").await, Visitor::named(&company, "office").await);
    let here = |html: &str| {
        let marked: Vec<&str> =
            html.split("aria-current=\"true\">").skip(1).filter_map(|rest| rest.split('<').next()).collect();
        marked.join(", ")
    };
    for (path, place) in [
        ("/office", "Today"),
        ("/office/clients", "Clients"),
        ("/office/people", "People and phones"),
        ("/rules", "Rule sets"),
    ] {
        assert_eq!(here(&office.open(path).await.html), place, "{path}");
    }
    let settings = "<a href=\"/office/settings\"";
    assert!(owner.open("/office").await.html.contains(settings));
    assert!(!office.open("/office").await.html.contains(settings));
}
