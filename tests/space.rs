//! A disk that has little left is told while there is still time.

use std::{sync::Arc, time::Duration};

use harness::world::Company;
use server::space::Place;

use crate::{metrics::exposition::Exposition, pages::visitor::Visitor};

/// What readiness warns of; nothing where it is simply ready.
async fn warnings(company: &Company) -> Vec<String> {
    let reply = company.app.nobody().get("/readyz").await;
    match reply.status {
        204 => Vec::new(),
        200 => serde_json::from_value(reply.body["warnings"].clone()).unwrap(),
        other => panic!("{other}: {}", reply.text),
    }
}

#[tokio::test]
async fn a_disk_below_its_floor_is_told_by_readiness_on_today_and_in_the_metrics() {
    let company = Company::in_maryland().await;
    let space = Arc::clone(&company.app.beside().space);
    let metrics = async || Exposition::read(&company.office.get("/api/v1/metrics").await.expect(200).text);
    assert_eq!(metrics().await.value("swardbook_free_bytes", &[("of", "records")]), None, "nothing is watched");
    space.watch(u64::MAX, &company.app.file(), None);
    // It is looked at by a thread of its own.
    for _ in 0..500 {
        if !space.left().is_empty() {
            break;
        }
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    let [warning] = &warnings(&company).await[..] else { panic!("one warning") };
    assert!(
        warning.starts_with("The disk of the records has ") && warning.contains("nothing can be recorded"),
        "{warning}"
    );
    let owner = Visitor::named(&company, "owner").await;
    let today = owner.open("/office").await.html;
    assert!(today.contains("The disk of the records has ") && today.contains("/help/server#a-floor-of-free-space"));
    let seen = metrics().await;
    let free = seen.value("swardbook_free_bytes", &[("of", "records")]).unwrap();
    assert!(free > 0.0 && free < seen.value("swardbook_free_floor_bytes", &[]).unwrap());
    // It is a warning: everything goes on. With room again it ends by itself.
    let _ = company.put_down(&company.front, "5").await;
    space.look(Place::Records, company.app.folder(), 1);
    assert!(warnings(&company).await.is_empty());
    assert!(!owner.open("/office").await.html.contains("The disk of the records"));
    space.look(Place::Copies, company.app.folder(), u64::MAX);
    assert!(warnings(&company).await[0].contains("no copies are made"));
}
