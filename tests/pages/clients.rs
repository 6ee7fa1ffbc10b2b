//! Clients and properties, entered and corrected by forms.

use harness::{new_id, world::Company};
use serde_json::json;

use super::visitor::{Visitor, changed, made, written};

#[tokio::test]
async fn a_client_is_entered_and_corrected() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let long = "x".repeat(121);
    let wrong = [("/name", long.as_str()), ("/mailing_address", ""), ("/phone", "call me")];
    let good = [("/name", "Client 002"), ("/mailing_address", "2 Street B\r\nSampletown"), ("/phone", "555-0102")];
    let faults = ["/name", "/mailing_address", "/phone"];
    let to = made(&office, "/office/clients/new", &wrong, &faults, &good).await;
    let stored = company.office.get(&to.replace("/office", "/api/v1")).await.expect(200).body;
    assert_eq!(stored["name"], "Client 002");
    assert_eq!(stored["mailing_address"], "2 Street B\nSampletown");
    changed(&office, &to, "/name", "Client 002 and sons", "Client 002 and daughters").await;
    let listed = office.open("/office/clients").await.html;
    assert!(listed.contains("Client 002 and daughters"), "{listed}");
}

#[tokio::test]
async fn a_form_sent_again_with_other_words_is_no_second_entry_by_accident() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let form = office.open("/office/clients/new").await;
    let fields = [("/name", "Client 003"), ("/mailing_address", "3 Street C")];
    assert_eq!(office.send(&form, &fields).await.status, 303);
    let before = written(&company).await;
    let other = [("/name", "Client 004"), ("/mailing_address", "4 Street D")];
    let asked = office.send(&form, &other).await;
    assert_eq!(asked.status, 409, "{}", asked.html);
    assert!(asked.html.contains("already saved once"), "{}", asked.html);
    assert_eq!(written(&company).await, before);
    assert_eq!(office.send(&asked, &[]).await.status, 303, "a further one, on purpose");
    // Without its key or its version a form is not taken at all.
    assert_eq!(office.send(&form, &[("key", "")]).await.status, 400);
    let stored = office.open(&format!("/office/clients/{}", company.client)).await;
    assert_eq!(office.send(&stored, &[("version", "")]).await.status, 428);
}

#[tokio::test]
async fn a_property_is_entered_where_the_coordinates_and_a_person_say() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let path = format!("/office/clients/{}/properties/new", company.client);
    let wrong = [
        ("/name", "Home"),
        ("/address", "2 Street B, Sampletown"),
        ("/postal_code", "?"),
        ("/latitude", "north"),
        ("/time_zone", ""),
        ("/place/county", "us-md-anne-arundel"),
        ("/rule_sets", "us-md"),
    ];
    let faults = ["/postal_code", "/latitude", "/time_zone", "/place/state", "confirmed"];
    let good = [
        ("/postal_code", "21401"),
        ("/latitude", ""),
        ("/time_zone", "America/New_York"),
        ("/place/state", "us-md"),
        ("confirmed", "true"),
    ];
    let to = made(&office, &path, &wrong, &faults, &good).await;
    let stored = company.office.get(&to.replace("/office", "/api/v1")).await.expect(200).body;
    assert_eq!(stored["rule_sets"], serde_json::json!(["us-md"]));
    assert_eq!(stored["place"]["county"], "us-md-anne-arundel");
    changed(&office, &format!("{to}/edit"), "/address", "2 Street B", "2 Street B, Sampletown, rear house").await;
    let shown = office.open(&to).await.html;
    assert!(shown.contains("The label and the local authority prevail"), "{shown}");
    assert!(shown.contains("Nobody has asked county and municipality"), "{shown}");
}

#[tokio::test]
async fn the_place_is_suggested_and_nothing_is_stored_before_it_is_confirmed() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    let form = office.open(&format!("/office/clients/{}/properties/new", company.client)).await;
    let before = written(&company).await;
    // Annapolis, Maryland: 38.9784 N, 76.4922 W by the GNIS.
    let typed = [
        ("/name", "Home"),
        ("/address", "5 Street E"),
        ("/postal_code", "21401"),
        ("/latitude", "38.9784"),
        ("/longitude", "-76.4922"),
        ("/time_zone", "America/New_York"),
    ];
    let mut look = typed.to_vec();
    look.push(("look", "yes"));
    let suggested = office.send(&form, &look).await;
    assert_eq!(suggested.status, 200, "{}", suggested.html);
    assert_eq!(suggested.value("/place/state"), "us-md");
    assert_eq!(suggested.value("/rule_sets"), "us-md");
    assert_eq!(suggested.value("/address"), "5 Street E", "what was typed stays");
    assert!(suggested.html.contains("Ask the county and the municipality"), "{}", suggested.html);
    let unconfirmed = office.send(&suggested, &[]).await;
    assert_eq!(unconfirmed.status, 422);
    assert!(unconfirmed.beside("confirmed", "fault").contains("a person has confirmed it"), "{}", unconfirmed.html);
    assert_eq!(written(&company).await, before);
    assert_eq!(office.send(&unconfirmed, &[("confirmed", "true")]).await.status, 303);
    let nowhere = office.send(&form, &[("look", "yes"), ("/latitude", ""), ("/longitude", "west")]).await;
    assert_eq!(nowhere.status, 200);
    assert!(nowhere.beside("/latitude", "fault").contains("degrees"), "{}", nowhere.html);
}

#[tokio::test]
async fn a_time_zone_that_is_not_known_is_told() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "5").await;
    let connection = rusqlite::Connection::open(company.app.file()).unwrap();
    connection.execute_batch(harness::LOSE_ZONES).unwrap();
    let office = Visitor::named(&company, "office").await;
    let property = format!("/office/properties/{}", company.property);
    let html = office.open(&property).await.html;
    assert!(html.contains("“America/Nowhere” is not known to this server"), "{html}");
    // A record has its own clock: that of the place when it was written.
    let html = office.open(&format!("/records/{id}")).await.html;
    assert!(html.contains("2026-09-15 09:05 EDT") && !html.contains("America/Nowhere"), "{html}");
    // Nothing is decided by a day that is not known, and what was sent can be sent again once the zone is chosen.
    let (plan, record) = (company.plan(&company.front, "5"), company.record(&company.front, "5"));
    let (held, kept) = (format!("/api/v1/clearances/{}", new_id()), format!("/api/v1/applications/{}", new_id()));
    let sent = async || {
        [
            company.phone.post("/api/v1/checks", &plan).await,
            company.phone.put(&held, &plan).await,
            company.phone.put(&kept, &record).await,
        ]
    };
    for reply in sent().await {
        assert_eq!(reply.problem(422, "invalid").faults(), ["#/property_id"]);
    }
    let edit = office.open(&format!("{property}/edit")).await;
    assert_eq!(edit.value("/time_zone"), "America/Nowhere");
    let refused = office.send(&edit, &[]).await;
    assert_eq!(refused.status, 422);
    assert!(refused.beside("/time_zone", "fault").starts_with('■'), "{}", refused.html);
    assert_eq!(office.send(&edit, &[("/time_zone", "America/New_York")]).await.status, 303);
    assert!(!office.open(&property).await.html.contains("not known to this server"));
    assert_eq!(sent().await.map(|reply| reply.status), [200, 201, 201]);
}

#[tokio::test]
async fn a_list_that_ends_says_so_and_leads_on() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    assert!(!office.open("/office/clients").await.html.contains("There are more"));
    // One more than a page holds, behind the server's back: what is tried is the page.
    let file = rusqlite::Connection::open(company.app.file()).unwrap();
    let insert = "WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 1000)
                  INSERT INTO clients (id, name, mailing_address, version, created_at)
                  SELECT printf('0199a000-0000-7000-8000-%012d', i), printf('Row %04d', i), 'Street R', 1, 0 FROM n";
    assert_eq!(file.execute(insert, []).unwrap(), 1000);
    let first = office.open("/office/clients").await.html;
    assert!(first.contains("Row 0099") && !first.contains("Row 0100"), "a hundred, the first among them");
    let (_, on) = first.split_once("▲ There are more: <a href=\"").unwrap();
    let on = on.split_once('"').unwrap().0.replace("&#38;", "&");
    let rest = office.open(&on).await.html;
    assert!(rest.contains("Row 0100") && rest.contains("Row 0199") && !rest.contains("Row 0099"), "{rest}");
    assert!(rest.contains("101 to 200 of 1001") && rest.contains("There are more"), "{rest}");
    let last = office.open("/office/clients?after=1000").await.html;
    assert!(
        last.contains("Row 1000") && last.contains("1001 to 1001 of 1001") && !last.contains("There are more"),
        "{last}"
    );
}

/// The names of a list in their order.
fn names(html: &str) -> Vec<&str> {
    let rows = html.split("<tbody>").nth(1).unwrap_or_default().split("<th scope=\"row\"").skip(1);
    rows.map(|row| row.split("</a>").next().unwrap().rsplit('>').next().unwrap()).collect()
}

#[tokio::test]
async fn a_list_is_sorted_by_a_column_and_narrowed_by_words() {
    let company = Company::in_maryland().await;
    let office = Visitor::named(&company, "office").await;
    for (name, address, phone) in [("Zoe", "1 Street Q", json!("555-0001")), ("adam", "2 Street P", json!("555-0009"))]
    {
        let client = json!({ "name": name, "mailing_address": address, "phone": phone, "cancelled_on": null });
        let _ = company.office.post("/api/v1/clients", &client).await.expect(201);
    }
    let first = office.open("/office/clients").await.html;
    let standing = names(&first);
    assert_eq!((standing.first(), standing.last()), (Some(&"adam"), Some(&"Zoe")), "{first}");
    assert!(first.contains("aria-sort=\"ascending\"><a href=\"/office/clients?q="), "{first}");
    let turned = office.open("/office/clients?sort=-name").await.html;
    assert_eq!(names(&turned), standing.iter().rev().copied().collect::<Vec<_>>());
    assert!(turned.contains("aria-sort=\"descending\""), "{turned}");
    let by_address = office.open("/office/clients?q=street+555&sort=address").await.html;
    let found: Vec<&str> = names(&by_address).into_iter().filter(|name| ["Zoe", "adam"].contains(name)).collect();
    assert_eq!(found, ["Zoe", "adam"], "{by_address}");
    let one = office.open("/office/clients?q=0009&only=served&sort=-phone").await.html;
    assert_eq!(names(&one), ["adam"]);
    assert!(one.contains("<option value=\"served\" selected>") && one.contains("value=\"0009\""), "{one}");
    let none = office.open("/office/clients?q=%22%3E%3Cb%3E&only=ending").await.html;
    assert!(none.contains("clients is like that") && !none.contains("\"><b>"), "{none}");
    assert_eq!(office.open("/office/clients?after=no").await.status, 400);
    let products = office.open("/office/products?sort=-stock").await.html;
    assert!(products.contains("<th scope=\"col\" class=\"n\" aria-sort=\"descending\">"), "{products}");
    let whole = office.open("/office/products?only=others").await.html;
    assert!(whole.contains("products is like that") && whole.contains("Show all"), "{whole}");
    assert!(office.open("/office/products?q=feed&only=active").await.html.contains("1 to "), "the feed may be used");
}
