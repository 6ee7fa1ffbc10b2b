//! Two who want the same: the last pound of room, one id, one version, one lost reply.

use std::time::Duration;

use harness::{client, new_id, world::Company};
use serde_json::{Value, json};
use tokio::{
    io::{AsyncReadExt, AsyncWriteExt},
    net::TcpStream,
    task::JoinSet,
};

#[tokio::test]
async fn the_last_pound_of_room_goes_to_one_of_twenty() {
    // University of Maryland, tall fescue: 2.7 lb N in a year. Three times 0.75 leave 0.45; twenty ask for 0.4 at once.
    let company = Company::in_maryland().await;
    company.three_loads().await;
    let mut asking = JoinSet::new();
    for _ in 0..20 {
        let (phone, plan) = (company.phone.clone(), company.plan(&company.front, "13.66"));
        asking.spawn(async move { phone.put(&format!("/api/v1/clearances/{}", new_id()), &plan).await });
    }
    let answers = asking.join_all().await;
    let granted = answers.iter().filter(|reply| reply.status == 201).count();
    assert_eq!(granted, 1, "{:?}", answers.iter().map(|reply| reply.status).collect::<Vec<_>>());
    for reply in answers.into_iter().filter(|reply| reply.status != 201) {
        let reply = reply.problem(422, "stopped-by-rules");
        assert!(reply.text.contains("left on the front lawn"), "{}", reply.text);
    }
}

#[tokio::test]
async fn room_that_is_given_back_or_has_expired_is_free_again() {
    let company = Company::in_maryland().await;
    company.three_loads().await;
    let plan = company.plan(&company.front, "13.66");
    let (first, second) = (format!("/api/v1/clearances/{}", new_id()), format!("/api/v1/clearances/{}", new_id()));
    let _ = company.phone.put(&first, &plan).await.expect(201);
    let _ = company.phone.put(&second, &plan).await.problem(422, "stopped-by-rules");
    let given = company.phone.delete(&first).await.expect(200).body;
    assert_eq!(given["state"], "given_back");
    let _ = company.phone.delete(&first).await.expect(200);
    let _ = company.phone.put(&second, &plan).await.expect(201);
    // At midnight in Maryland, four o'clock in UTC, the planned day is over.
    company.app.clock.set(harness::instant("2026-09-16T03:59:59Z"));
    let third = format!("/api/v1/clearances/{}", new_id());
    let mut tomorrow = plan.clone();
    tomorrow["planned_on"] = json!("2026-09-16");
    let _ = company.phone.put(&third, &tomorrow).await.problem(422, "stopped-by-rules");
    company.app.clock.set(harness::instant("2026-09-16T04:00:00Z"));
    assert_eq!(company.phone.get(&second).await.expect(200).body["state"], "expired");
    let yesterday = company.phone.put(&format!("/api/v1/clearances/{}", new_id()), &plan).await.problem(422, "invalid");
    assert_eq!(yesterday.faults(), ["#/planned_on"]);
    let _ = company.phone.put(&third, &tomorrow).await.expect(201);
}

#[tokio::test]
async fn a_record_sent_twenty_times_at_once_is_one_record() {
    let company = Company::in_maryland().await;
    let (id, record) = (new_id(), company.record(&company.front, "20"));
    let mut sending = JoinSet::new();
    for _ in 0..20 {
        let (phone, record, address) = (company.phone.clone(), record.clone(), format!("/api/v1/applications/{id}"));
        sending.spawn(async move { phone.put(&address, &record).await.status });
    }
    let mut statuses = sending.join_all().await;
    statuses.sort_unstable();
    assert_eq!(statuses, [[200; 19].as_slice(), &[201]].concat());
    let list = company.owner.get("/api/v1/applications").await.expect(200).body;
    assert_eq!(list["items"].as_array().unwrap().len(), 1);
    let product = company.office.get(&format!("/api/v1/products/{}", company.feed)).await.expect(200).body;
    assert_eq!(product["balance_lb"], "1980");
}

#[tokio::test]
async fn fifty_who_change_one_version_have_one_winner() {
    let company = Company::in_maryland().await;
    let address = format!("/api/v1/clients/{}", company.client);
    let mut changing = JoinSet::new();
    for number in 0..50 {
        let (office, address) = (company.office.clone(), address.clone());
        let change = json!({ "name": format!("Client {number}"), "mailing_address": "1 Street A" });
        changing.spawn(async move { (number, office.put_version(&address, "\"v1\"", &change).await.status) });
    }
    let answers = changing.join_all().await;
    let winners: Vec<i32> = answers.iter().filter(|(_, status)| *status == 200).map(|(number, _)| *number).collect();
    assert_eq!(winners.len(), 1);
    assert!(answers.iter().all(|(_, status)| [200, 412].contains(status)));
    let stored = company.office.get(&address).await.expect(200).body;
    assert_eq!(stored["name"], format!("Client {}", winners[0]));
    assert_eq!(stored["version"], 2);
}

/// Sends a request and hangs up before the answer comes.
async fn send_and_hang_up(company: &Company, path: &str, body: &Value) {
    let body = body.to_string();
    let mut stream = TcpStream::connect(company.app.address).await.unwrap();
    let token = company.phone.token.clone().unwrap();
    let head = format!(
        "PUT {path} HTTP/1.1\r\nhost: test\r\nauthorization: Bearer {token}\r\ncontent-type: application/json\r\ncontent-length: {}\r\n\r\n",
        body.len()
    );
    stream.write_all(head.as_bytes()).await.unwrap();
    stream.write_all(body.as_bytes()).await.unwrap();
    stream.shutdown().await.unwrap();
}

#[tokio::test]
async fn a_lost_reply_and_a_retry_make_one_record() {
    let company = Company::in_maryland().await;
    let (id, record) = (new_id(), company.record(&company.front, "20"));
    let address = format!("/api/v1/applications/{id}");
    send_and_hang_up(&company, &address, &record).await;
    // Whether the cut request was still carried out or not, the retry leaves exactly one record.
    let status = company.phone.put(&address, &record).await.status;
    assert!([200, 201].contains(&status), "{status}");
    let list = company.owner.get("/api/v1/applications").await.expect(200).body;
    assert_eq!(list["items"].as_array().unwrap().len(), 1);
    // And the writer goes on for the others.
    company.put_down(&company.rear, "10").await;
}

#[tokio::test]
async fn a_body_that_is_cut_off_stores_nothing() {
    let company = Company::in_maryland().await;
    let mut stream = TcpStream::connect(company.app.address).await.unwrap();
    let token = company.phone.token.clone().unwrap();
    let head = format!(
        "PUT /api/v1/applications/{} HTTP/1.1\r\nhost: test\r\nauthorization: Bearer {token}\r\ncontent-type: application/json\r\ncontent-length: 4000\r\n\r\n{{\"property_id\":",
        new_id()
    );
    stream.write_all(head.as_bytes()).await.unwrap();
    stream.shutdown().await.unwrap();
    let mut answer = Vec::new();
    let _ = tokio::time::timeout(Duration::from_secs(10), stream.read_to_end(&mut answer)).await;
    let list = company.owner.get("/api/v1/applications").await.expect(200).body;
    assert_eq!(list["items"], json!([]));
}

#[tokio::test]
async fn what_was_acknowledged_survives_a_restart() {
    let company = Company::in_maryland().await;
    let id = company.put_down(&company.front, "20").await;
    let Company { app, owner, .. } = company;
    let token = owner.token.clone().unwrap();
    let app = app.restart().await;
    assert!(app.setup_code.is_none(), "a book that is set up prints no code");
    let stored = app.user(&token, None).get(&format!("/api/v1/applications/{id}")).await.expect(200).body;
    assert_eq!(stored["lines"][0]["product_lb"], "20");
    // A cursor made before the restart still holds: its key is kept.
    let reply = client().get(app.url("/healthz")).send().await.unwrap();
    assert_eq!(reply.status().as_u16(), 204);
    assert_eq!(client().get(app.url("/readyz")).send().await.unwrap().status().as_u16(), 204);
}
