//! What nobody uses ends, and an end is an end.

use std::time::Duration;

use harness::{User, world::Company};
use serde_json::json;

use super::{pass, typed, with_cookie};

/// `verify` takes the end of what nobody used for what it is.
async fn whole(company: &Company) {
    let found = server::book::verify::check_file(&company.app.file()).await.unwrap();
    assert_eq!(found.faults, Vec::<String>::new());
}

async fn allow(owner: &User, minutes: u16) {
    let settings = json!({ "date_order": "year_month_day", "idle_minutes": minutes });
    let _ = owner.put_version("/api/v1/settings", "*", &settings).await.expect(200);
}

fn open_tokens(company: &Company) -> i64 {
    let book = rusqlite::Connection::open(company.app.file()).unwrap();
    book.query_row("SELECT count(*) FROM tokens WHERE ended_at IS NULL AND device_id IS NULL", [], |row| row.get(0))
        .unwrap()
}

#[tokio::test]
async fn a_session_that_ended_for_want_of_use_does_not_come_back_when_more_is_allowed() {
    let company = Company::in_maryland().await;
    let (owner, clock) = (&company.owner, &company.app.clock);
    allow(owner, 30).await;
    for _ in 0..2 {
        clock.advance(Duration::from_mins(20));
        let _ = owner.get("/api/v1/me").await.expect(200);
    }
    // Nobody told the book that the office's session has ended, not even its holder.
    assert_eq!(open_tokens(&company), 2);
    allow(owner, 720).await;
    let _ = company.office.get("/api/v1/me").await.problem(401, "not-signed-in");
    assert_eq!(open_tokens(&company), 1);
    let _ = owner.get("/api/v1/me").await.expect(200);
    // A use that was not written down yet counts too: the owner's own.
    clock.advance(Duration::from_mins(700));
    let _ = company.phone.get("/api/v1/me").await.expect(200);
    whole(&company).await;
}

#[tokio::test]
async fn the_look_round_ends_what_nobody_uses_and_a_clock_set_back_revives_nothing() {
    let company = Company::in_maryland().await;
    let clock = &company.app.clock;
    clock.advance(Duration::from_mins(239));
    let _ = company.owner.get("/api/v1/me").await.expect(200);
    clock.advance(Duration::from_mins(2));
    server::token_uses::look_round(company.app.beside()).await.unwrap();
    assert_eq!(open_tokens(&company), 1, "the office's has ended, and the owner's goes on");
    clock.set(harness::instant(harness::TODAY));
    let _ = company.office.get("/api/v1/me").await.problem(401, "not-signed-in");
    let _ = company.owner.get("/api/v1/me").await.expect(200);
    // After twelve hours it has run out, used or not.
    clock.advance(Duration::from_hours(13));
    server::token_uses::look_round(company.app.beside()).await.unwrap();
    assert_eq!(open_tokens(&company), 0);
    let _ = company.phone.get("/api/v1/me").await.expect(200);
    whole(&company).await;
}

#[tokio::test]
async fn a_browser_with_a_pass_that_nobody_uses_is_out_and_the_pass_goes_on() {
    let company = Company::in_maryland().await;
    let clock = &company.app.clock;
    let made = pass(&company.owner, &company).await;
    let cookie = typed(&company, made["code"].as_str().unwrap()).await;
    for _ in 0..3 {
        clock.advance(Duration::from_mins(239));
        assert_eq!(with_cookie(&company, &cookie).await, 200);
    }
    clock.advance(Duration::from_hours(4));
    assert_eq!(with_cookie(&company, &cookie).await, 401);
    let owner = company.app.sign_in("owner", None).await;
    allow(&owner, 720).await;
    assert_eq!(with_cookie(&company, &cookie).await, 401, "an end is an end");
    let program = company.app.user(made["token"].as_str().unwrap(), None);
    let _ = program.get("/api/v1/clients").await.expect(200);
    let again = typed(&company, made["code"].as_str().unwrap()).await;
    assert_eq!(with_cookie(&company, &again).await, 200);
    whole(&company).await;
}
