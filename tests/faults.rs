//! What goes wrong around the server: a row that cannot be written, a file that somebody else holds, a reader that writes.

use std::time::Duration;

use domain::{
    actor::{Actor, Role},
    law::Lawbook,
};
use harness::{
    instant, new_id,
    world::{Company, label},
};
use rusqlite::Connection;
use serde_json::json;
use server::{
    acts::{Act, ActContext, BatchFacts, Provided, clearance::ClearanceInput, content::Content, decide},
    book::verify::check_file,
};
use tokio::task::JoinSet;

#[tokio::test]
async fn one_act_that_cannot_be_written_harms_no_other_of_its_batch() {
    let company = Company::in_maryland().await;
    let cursed = new_id();
    let connection = Connection::open(company.app.file()).unwrap();
    let trigger = format!(
        "CREATE TRIGGER cursed BEFORE INSERT ON applications WHEN new.id = '{cursed}' BEGIN SELECT RAISE(ABORT, 'cursed'); END"
    );
    connection.execute_batch(&trigger).unwrap();
    let mut sending = JoinSet::new();
    for number in 0..20 {
        let id = if number == 7 { cursed.clone() } else { new_id() };
        let (phone, record) = (company.phone.clone(), company.record(&company.front, "0.5"));
        sending
            .spawn(async move { (id.clone(), phone.put(&format!("/api/v1/applications/{id}"), &record).await.status) });
    }
    for (id, status) in sending.join_all().await {
        assert_eq!(status, if id == cursed { 500 } else { 201 }, "{id}");
    }
    // Once the cause is gone, the same record goes in.
    connection.execute_batch("DROP TRIGGER cursed").unwrap();
    drop(connection);
    let record = company.record(&company.front, "0.5");
    let _ = company.phone.put(&format!("/api/v1/applications/{cursed}"), &record).await.expect(201);
    let folder = company.app.stop().await;
    let found = check_file(&folder.path().join("book.db")).await.unwrap();
    assert_eq!(found.faults, Vec::<String>::new());
    assert_eq!(found.records, 20);
}

/// Changes what is stored as no server does: the trigger that keeps it is taken away for it, and put back.
fn tamper(company: &Company, table: &str, change: &str) {
    let book = Connection::open(company.app.file()).unwrap();
    let keeper = format!("SELECT sql FROM sqlite_schema WHERE type = 'trigger' AND name = '{table}_keep'");
    let keeper: String = book.query_row(&keeper, [], |row| row.get(0)).unwrap();
    book.execute_batch(&format!("DROP TRIGGER {table}_keep; {change}; {keeper};")).unwrap();
}

#[tokio::test]
async fn an_act_whose_evidence_cannot_be_read_is_a_fault_and_leaves_nothing_behind() {
    let company = Company::in_maryland().await;
    let (good, bad) = (company.put_down(&company.front, "5").await, company.put_down(&company.front, "4").await);
    tamper(&company, "applications", &format!("UPDATE applications SET packed = x'00' WHERE id = '{bad}'"));
    let counted = || {
        let book = Connection::open(company.app.file()).unwrap();
        let count = "SELECT (SELECT count(*) FROM journal) * 1000000 + (SELECT count(*) FROM decisions) * 1000
                     + (SELECT count(*) FROM application_lines)";
        book.query_row(count, [], |row| row.get::<_, i64>(0)).unwrap()
    };
    let before = counted();
    let change = |of: &str| {
        let lines = json!([{ "section_id": company.front, "product_lb": "3" }]);
        json!({ "application_id": of, "reason": "Weighed again.", "change": { "lines": lines } })
    };
    // What it was put down for is not known, and another id's content cannot be held against it.
    let path = format!("/api/v1/corrections/{}", new_id());
    let _ = company.phone.put(&path, &change(&bad)).await.problem(500, "fault");
    let other = company.record(&company.front, "4.5");
    let _ = company.phone.put(&format!("/api/v1/applications/{bad}"), &other).await.problem(500, "fault");
    assert_eq!(counted(), before);
    // One such act harms no other of its batch.
    let mut sending = JoinSet::new();
    for of in [&good, &bad] {
        let (phone, change) = (company.phone.clone(), change(of));
        sending.spawn(async move { phone.put(&format!("/api/v1/corrections/{}", new_id()), &change).await.status });
    }
    let mut statuses = sending.join_all().await;
    statuses.sort_unstable();
    assert_eq!(statuses, [201, 500]);
    // Taking it back needs nothing of its content.
    let back = json!({ "application_id": bad, "reason": "Another lawn." });
    let _ = company.phone.put(&format!("/api/v1/corrections/{}", new_id()), &back).await.expect(201);
}

#[test]
fn nothing_is_decided_without_whom_and_what_it_is_about() {
    let (property, product, section) = (new_id(), new_id(), new_id());
    let actor = Actor { person: new_id().parse().unwrap(), role: Role::Office, device: None };
    let input = json!({
        "property_id": property, "product_id": product, "planned_on": "2026-09-15", "purpose": "maintenance",
        "equipment": "drop_spreader", "lines": [{ "section_id": section, "product_lb": "5" }],
    });
    let input: ClearanceInput = serde_json::from_value(input).unwrap();
    let mut world = BatchFacts::default();
    let land = json!({
        "owners": [], "clients": [], "visited_by": [], "lawns": [],
        "history": [[1, null, null, {
            "client_id": new_id(), "address": "1 Street A", "postal_code": "21000", "time_zone": "America/New_York", "rule_sets": [],
        }]],
    });
    world.properties.insert(property.parse().unwrap(), serde_json::from_value(land).unwrap());
    let bag = json!({ "name": "Feed", "label": label("24", "7.2", "0", "10"), "net_weight": 1, "status": "active", "balance": 0, "label_files": [] });
    world.products.insert(product.parse().unwrap(), serde_json::from_value(bag).unwrap());
    let lawn = json!({
        "property_id": property, "soil_reports": [],
        "history": [[1, null, null, { "name": "front lawn", "water": "none", "touches_pavement": false }]],
        "measurements": [["2025-03-01", 1, 820_000, new_id(), "wheel"]], "lines": [], "held": [],
    });
    world.sections.insert(section.parse().unwrap(), serde_json::from_value(lawn).unwrap());
    let context = ActContext {
        actor,
        at: instant(harness::TODAY),
        content: Content::of(&input).unwrap(),
        attempt_or_movement_id: new_id().parse().unwrap(),
        salt: "00".to_owned(),
        weather: Provided::default(),
    };
    let act = Act::Clear(context, new_id().parse().unwrap(), Box::new(input));
    let law = Lawbook::embedded().unwrap();
    // What a person holds frees from rules: without the person nobody knows what they may.
    let fault = decide(&act, &mut world, &law).unwrap_err();
    assert_eq!(fault.to_string(), format!("person {} is needed to decide this and was not loaded", actor.person));
    assert!(world.effects.is_empty() && world.effects.decisions.is_empty(), "nothing is noted in its place");
    let person = json!({ "name": "Office 01", "credentials": [] });
    world.people.insert(actor.person, serde_json::from_value(person).unwrap());
    assert!(decide(&act, &mut world, &law).is_ok());
}

#[tokio::test]
async fn a_file_that_another_program_holds_for_a_moment_only_delays_a_record() {
    let company = Company::in_maryland().await;
    let file = company.app.file();
    let (held, holding) = tokio::sync::oneshot::channel();
    let holder = std::thread::spawn(move || {
        let connection = Connection::open(file).unwrap();
        connection.execute_batch("BEGIN IMMEDIATE").unwrap();
        held.send(()).unwrap();
        std::thread::sleep(Duration::from_millis(300));
        connection.execute_batch("ROLLBACK").unwrap();
    });
    holding.await.unwrap();
    company.put_down(&company.front, "5").await;
    holder.join().unwrap();
}

#[tokio::test]
async fn a_batch_of_mixed_acts_sees_its_own_effects() {
    // Clearances and records of one section at once: whatever their order, they see one another. What one day sees on a
    // section is one application, and 0.9 lb N its cap (COMAR 15.20.10.09 C(2)).
    let company = Company::in_maryland().await;
    let mut asking = JoinSet::new();
    for number in 0..24 {
        let (phone, id) = (company.phone.clone(), new_id());
        let (path, body) = if number % 2 == 0 {
            (format!("/api/v1/clearances/{id}"), company.plan(&company.front, "6.8333"))
        } else {
            (format!("/api/v1/applications/{id}"), company.record(&company.front, "6.8333"))
        };
        asking.spawn(async move { phone.put(&path, &body).await.status });
    }
    let statuses = asking.join_all().await;
    // 6.8333 lb of a 24 % product on 8,200 sq ft is a hair under 0.2 lb N on 1,000 sq ft: four times fits, five times not.
    assert_eq!(statuses.iter().filter(|status| **status == 201).count(), 4, "{statuses:?}");
    assert!(statuses.iter().all(|status| [201, 422].contains(status)), "{statuses:?}");
}
