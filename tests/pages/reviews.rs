//! The owner's list: what was sent, why it stands there, and the form that closes it, without a script.

use harness::{new_id, world::Company};

use super::visitor::{Visitor, written};

#[tokio::test]
async fn an_entry_says_what_was_sent_and_is_closed_by_a_plain_form() {
    let company = Company::in_maryland().await;
    let record = company.record(&company.front, "260");
    let _ = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await.expect(422);
    let owner = Visitor::named(&company, "owner").await;
    let office = Visitor::named(&company, "office").await;
    let list = owner.open("/reviews").await.html;
    assert!(list.contains("1 Street A, Sampletown</a>, Tech 01, received 2026-09-15 10:00 EDT"), "{list}");
    assert!(!list.contains("data-"), "nothing on it needs a script");
    let path = list.split_once("href=\"/reviews/").unwrap().1.split_once('"').unwrap().0;
    let path = format!("/reviews/{path}");
    let entry = owner.open(&path).await;
    // 260 lb of 24 % on 8,200 sq ft are 7.61 lb N per 1,000 sq ft, and 0.9 may go: COMAR 15.20.10.09 C(2).
    for words in [
        "260 lb on the front lawn",
        "Feed 24-0-10",
        "begun 2026-09-15 09:05 EDT",
        "<dd>moist</dd>",
        "COMAR 15.20.10.09 C(2)",
    ] {
        assert!(entry.html.contains(words), "{words}: {}", entry.html);
    }
    let seen = office.open(&path).await;
    assert!(seen.html.contains("The owner closes it.") && !seen.html.contains("class=\"entry\""), "{}", seen.html);
    assert_eq!(
        office
            .post(&path, &[("/note".to_owned(), "Mine.".to_owned())], &[("sec-fetch-site", "same-origin")])
            .await
            .status,
        403
    );
    let technician = Visitor::technician(&company).await;
    assert_eq!(technician.open(&path).await.status, 403);
    let before = written(&company).await;

    let unsaid = owner.send(&entry, &[("/note", "")]).await;
    assert_eq!(unsaid.status, 422);
    assert!(unsaid.beside("/note", "fault").starts_with('■'), "{}", unsaid.html);
    assert_eq!(written(&company).await, before);
    let elsewhere = [("/note".to_owned(), "Theirs.".to_owned())];
    assert_eq!(owner.post(&path, &elsewhere, &[("sec-fetch-site", "cross-site")]).await.status, 403);
    let closed = owner.send(&entry, &[("/note", "A slip of the finger.")]).await;
    assert_eq!((closed.status, closed.to.as_deref()), (303, Some("/reviews")));
    assert_eq!(written(&company).await, before + 1);
    // Sent twice it is said once; another word on it is refused, and what was typed stays.
    assert_eq!(owner.send(&entry, &[("/note", "A slip of the finger.")]).await.status, 303);
    let other = owner.send(&entry, &[("/note", "Something else.")]).await;
    assert_eq!(other.status, 409);
    assert!(other.html.contains("reviewed already") && other.value("/note") == "Something else.", "{}", other.html);
    assert_eq!(written(&company).await, before + 1);
    assert!(owner.open("/reviews").await.html.contains("✓ Nothing is waiting."));
    assert!(owner.open(&path).await.html.contains("A slip of the finger."));
}

#[tokio::test]
async fn a_record_beyond_the_rules_leads_to_its_decision() {
    let company = Company::in_maryland().await;
    let mut record = company.record(&company.front, "260");
    let refused = company.phone.put(&format!("/api/v1/applications/{}", new_id()), &record).await.expect(422);
    let keys = refused.body["findings"].as_array().unwrap().iter().filter(|one| one["verdict"] == "stop");
    record["acknowledged"] = keys.map(|one| one["key"].clone()).collect();
    record["reason"] = "The gate stuck.".into();
    let id = new_id();
    let _ = company.phone.put(&format!("/api/v1/applications/{id}"), &record).await.expect(201);
    let owner = Visitor::named(&company, "owner").await;
    let list = owner.open("/reviews").await.html;
    assert!(list.contains("■ Beyond the rules") && list.contains(&format!("href=\"/records/{id}\"")), "{list}");
    let entry = owner.open(&format!("/reviews/{id}")).await;
    assert!(
        entry.html.contains(&format!("href=\"/records/{id}\"")) && entry.html.contains("class=\"entry\""),
        "{}",
        entry.html
    );
}
