//! A disk that refuses costs the requests that met it, and nothing else: the server goes on by itself.

use harness::{new_id, world::Company};
use server::problem::Problem;

/// Lets the writer's file grow no further, as a full disk would, for as long as this connection lives.
pub async fn fill_the_disk(company: &Company) {
    let filled: Result<(), Problem> = company
        .app
        .beside()
        .store
        .write(|connection| {
            Box::pin(async move {
                let _ = sqlx::query("PRAGMA max_page_count = 1").fetch_all(connection).await?;
                Ok(())
            })
        })
        .await;
    filled.unwrap();
}

#[tokio::test]
async fn a_full_disk_fails_one_write_and_the_next_goes_through() {
    let company = Company::in_maryland().await;
    let before = company.put_down(&company.front, "5").await;
    fill_the_disk(&company).await;
    // A note of this length needs pages that are not there.
    let mut record = company.record(&company.front, "5");
    record["notes"] = "wet ".repeat(400).trim().into();
    let (id, mut refused) = (new_id(), 0);
    let address = format!("/api/v1/applications/{id}");
    let stored = loop {
        let reply = company.phone.put(&address, &record).await;
        if reply.status == 201 {
            break reply;
        }
        let reply = reply.problem(503, "storage-failed");
        assert_eq!(reply.header("retry-after"), Some("5"), "the caller is told when to come back");
        refused += 1;
        assert!(refused < 5, "the writer does not mend itself");
    };
    assert!(refused > 0, "the disk was not full");
    // What was acknowledged is there, what was refused is there once, and nothing else.
    let list = company.owner.get("/api/v1/applications").await.expect(200).body;
    let ids: Vec<&str> = list["items"].as_array().unwrap().iter().filter_map(|one| one["id"].as_str()).collect();
    assert_eq!(ids, [id.as_str(), before.as_str()]);
    assert_eq!(stored.body["id"], id.as_str());
    let _ = company.app.nobody().get("/readyz").await.expect(204);
    let client = serde_json::json!({ "name": "Client 002", "mailing_address": "2 Street B" });
    let _ = company.office.post("/api/v1/clients", &client).await.expect(201);
    let found = server::book::verify::check_file(&company.app.file()).await.unwrap();
    assert!(found.faults.is_empty(), "{:?}", found.faults);
}

#[tokio::test]
async fn readiness_tells_of_a_write_that_fails_and_the_writer_opens_the_file_anew() {
    let company = Company::in_maryland().await;
    // What a disk looks like that was taken away under a running server.
    let lost: Result<(), Problem> = company
        .app
        .beside()
        .store
        .write(|connection| {
            Box::pin(async move {
                let _ = sqlx::query("PRAGMA query_only = ON").execute(connection).await?;
                Ok(())
            })
        })
        .await;
    lost.unwrap();
    let _ = company.app.nobody().get("/readyz").await.problem(503, "storage-failed");
    let _ = company.app.nobody().get("/readyz").await.expect(204);
    let client = serde_json::json!({ "name": "Client 002", "mailing_address": "2 Street B" });
    let _ = company.office.post("/api/v1/clients", &client).await.expect(201);
}

#[tokio::test]
async fn a_book_that_was_moved_away_is_not_begun_anew() {
    let company = Company::in_maryland().await;
    let (book, aside) = (company.app.file(), company.app.folder().join("aside.db"));
    std::fs::rename(&book, &aside).unwrap();
    // The writer loses its connection, and finds no file to open.
    let lost: Result<(), Problem> =
        company.app.beside().store.write(|_| Box::pin(async { Err(sqlx::Error::WorkerCrashed.into()) })).await;
    assert!(lost.unwrap_err().is(server::problem::Kind::StorageFailed));
    let client = serde_json::json!({ "name": "Client 002", "mailing_address": "2 Street B" });
    for _ in 0..3 {
        let _ = company.office.post("/api/v1/clients", &client).await.problem(503, "storage-failed");
    }
    assert!(!book.exists(), "no empty book is made in its place");
    std::fs::rename(&aside, &book).unwrap();
    let _ = company.office.post("/api/v1/clients", &client).await.expect(201);
}
