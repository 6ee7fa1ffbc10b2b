//! Lists: the pages joined are the whole list, and a thing that did not change is not sent again.

use harness::{User, world::Company};
use reqwest::Method;
use serde_json::{Value, json};

/// Every entry of a list, read with pages of a size; no page may be longer, and only the last shorter.
async fn joined(user: &User, list: &str, limit: usize) -> Vec<Value> {
    let separator = if list.contains('?') { '&' } else { '?' };
    let first = format!("/api/v1/{list}{separator}limit={limit}");
    let (mut path, mut entries) = (first.clone(), Vec::new());
    loop {
        let page = user.get(&path).await.expect(200).body;
        let items = page["items"].as_array().unwrap();
        entries.extend(items.iter().cloned());
        let Some(cursor) = page["next_cursor"].as_str() else {
            assert!(items.len() <= limit, "{path}");
            return entries;
        };
        assert_eq!(items.len(), limit, "{path}: a page before the last one is full");
        path = format!("{first}&cursor={cursor}");
    }
}

async fn company_with_lists() -> Company {
    let company = Company::in_maryland().await;
    for number in 2..=11 {
        let client = json!({ "name": format!("Client {number:03}"), "mailing_address": "1 Street A, Sampletown" });
        let _ = company.office.post("/api/v1/clients", &client).await.expect(201);
    }
    for number in 0..9 {
        let section = if number % 2 == 0 { &company.front } else { &company.rear };
        let _ = company.put_down(section, "0.5").await;
    }
    company
}

#[tokio::test]
async fn the_pages_joined_are_the_whole_list() {
    let company = company_with_lists().await;
    let front = format!("applications?section_id={}", company.front);
    let subject = format!("journal?subject_id={}", company.client);
    let lists = ["clients", "applications", &front, "journal", &subject, "products", "stock-movements"];
    let counts = [11, 9, 5, 0, 1, 1, 10];
    for (list, count) in lists.into_iter().zip(counts) {
        let whole = joined(&company.owner, list, 200).await;
        if count > 0 {
            assert_eq!(whole.len(), count, "{list}");
        }
        for limit in 1..=7 {
            assert_eq!(joined(&company.owner, list, limit).await, whole, "{list} in pages of {limit}");
        }
    }
}

#[tokio::test]
async fn what_is_added_meanwhile_moves_no_page() {
    let company = company_with_lists().await;
    let page = company.owner.get("/api/v1/applications?limit=4").await.expect(200).body;
    let whole = joined(&company.owner, "applications", 200).await;
    let _ = company.put_down(&company.front, "0.5").await;
    let path = format!("/api/v1/applications?limit=200&cursor={}", page["next_cursor"].as_str().unwrap());
    let rest = company.owner.get(&path).await.expect(200).body;
    assert_eq!(
        rest["items"].as_array().unwrap()[..],
        whole[4..],
        "the latest first: a new one comes before the first page"
    );

    let page = company.owner.get("/api/v1/clients?limit=4").await.expect(200).body;
    let client = json!({ "name": "Client 012", "mailing_address": "1 Street A, Sampletown" });
    let added = company.office.post("/api/v1/clients", &client).await.expect(201).body;
    let path = format!("/api/v1/clients?limit=200&cursor={}", page["next_cursor"].as_str().unwrap());
    let rest = company.owner.get(&path).await.expect(200).body;
    assert_eq!(rest["items"].as_array().unwrap().last(), Some(&added), "the oldest first: a new one comes last");
}

#[tokio::test]
async fn what_did_not_change_is_not_sent_again() {
    let company = Company::in_maryland().await;
    let Company { client, property, front, visit, owner, .. } = &company;
    let person = company.phone.id.as_deref().unwrap();
    let things = [
        format!("clients/{client}"),
        format!("properties/{property}"),
        format!("sections/{front}"),
        format!("visits/{visit}"),
        format!("people/{person}"),
    ];
    for thing in things {
        let path = format!("/api/v1/{thing}");
        let read = owner.get(&path).await.expect(200);
        let tag = read.header("etag").unwrap().to_owned();
        assert_eq!(tag, format!("\"v{}\"", read.body["version"]), "{path}");
        for known in [tag.clone(), format!("W/{tag}"), format!("\"v99\", {tag}"), "*".to_owned()] {
            let again = owner.get_with(&path, &[("if-none-match", &known)]).await;
            assert_eq!((again.status, again.text.as_str()), (304, ""), "{path} with {known}");
            assert_eq!(again.header("etag"), Some(tag.as_str()), "{path}");
        }
        for other in ["\"v99\"", "v1", "\"\""] {
            let _ = owner.get_with(&path, &[("if-none-match", other)]).await.expect(200);
        }
    }
}

#[tokio::test]
async fn a_change_makes_a_new_version() {
    let company = Company::in_maryland().await;
    let path = format!("/api/v1/clients/{}", company.client);
    let before = company.office.get(&path).await.expect(200);
    let change = json!({ "name": "Client 001, renamed", "mailing_address": "1 Street A, Sampletown" });
    let tag = before.header("etag").unwrap();
    let changed = company.office.put_version(&path, tag, &change).await.expect(200).body;
    assert_eq!(changed["version"], before.body["version"].as_i64().unwrap() + 1);
    let after = company.office.send(Method::GET, &path, &[("if-none-match", tag)], None).await.expect(200);
    assert_eq!(after.body, changed);
}

#[tokio::test]
async fn whoever_asks_for_the_head_of_a_list_alone_is_answered() {
    let company = Company::in_maryland().await;
    let head = company.office.send(Method::HEAD, "/api/v1/clients?limit=5", &[], None).await.expect(200);
    assert_eq!((head.text.as_str(), head.header("content-type")), ("", Some("application/json")));
}
