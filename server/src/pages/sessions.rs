//! Signing in and out of the office's pages, also without a script.

use askama::Template;
use axum::{
    extract::{Query, State},
    http::{HeaderMap, header},
    response::{IntoResponse, Redirect, Response},
};
use serde::Deserialize;
use serde_json::json;

use crate::{
    access::{AnyStaff, Anyone, OwnPage, OwnToken},
    api::{
        self,
        sessions::{self, Browser, Peer},
    },
    extract::{self, Valid},
    pages::{form::FormData, local::Local, office, office_session::OfficeSession, page, setup},
    problem::Problem,
    reply::ErrorPageRendered,
    secret::sha256,
    state::App,
    store::{self, sessions::OwnSession},
    token_uses,
};

#[derive(Debug, Deserialize)]
pub struct SignInQuery {
    to: Option<String>,
}

#[derive(Template)]
#[template(path = "sign_in.html")]
struct SignIn {
    to: String,
    name: String,
    fault: String,
}

/// Only an address of this server: one that came from elsewhere could lead anywhere.
fn own_address(wanted: Option<String>) -> String {
    let own = |to: &String| {
        to.starts_with('/') && !to.starts_with("//") && to.bytes().all(|b| b.is_ascii_graphic() && b != b'\\')
    };
    wanted.filter(own).unwrap_or_else(|| "/office".to_owned())
}

pub async fn sign_in(
    _: Anyone,
    State(app): State<App>,
    Query(wanted): Query<SignInQuery>,
) -> Result<Response, Problem> {
    if !setup::is_done(&app).await? {
        return Ok(Redirect::to("/setup").into_response());
    }
    Ok(page(SignIn { to: own_address(wanted.to), name: String::new(), fault: String::new() }.render()))
}

/// Signs in and goes where somebody wanted to go.
pub async fn send_sign_in(
    _: Anyone,
    _: OwnPage,
    State(app): State<App>,
    peer: Peer,
    browser: Browser,
    sent: FormData,
) -> Result<Response, Problem> {
    let (to, name) = (own_address(sent.one("to")), sent.one("name").unwrap_or_default());
    let body = json!({ "name": name, "password": sent.one("password").unwrap_or_default(), "in_browser": true });
    let done = async {
        let valid = Valid { fingerprint: String::new(), value: extract::checked_body(&app, body)? };
        sessions::create_session(Anyone, State(app.clone()), peer, browser, valid).await
    };
    match done.await {
        Ok(signed_in) => Ok(onward(signed_in.headers(), &to)),
        Err(problem) if matches!(problem.status, 401 | 422 | 429) => {
            let mut again = page(SignIn { to, name, fault: problem.detail.clone() }.render());
            *again.status_mut() = problem.status();
            again.extensions_mut().insert(ErrorPageRendered);
            Ok(again)
        }
        Err(problem) => Err(problem),
    }
}

/// Signs out and goes to the sign-in.
pub async fn sign_out(
    staff: Result<AnyStaff, Problem>,
    State(app): State<App>,
    token: Result<OwnToken, Problem>,
) -> Result<Response, Problem> {
    // A session that has ended already is where somebody wanted to be.
    if let Err(problem) = &staff
        && problem.status == 401
    {
        return Ok(onward(&HeaderMap::new(), "/sign-in"));
    }
    let done = sessions::end_session(staff?, State(app), token?).await?;
    Ok(onward(done.headers(), "/sign-in"))
}

#[derive(Template)]
#[template(path = "own_sessions.html")]
struct OwnSessionsPage {
    sessions: Vec<Shown>,
    idle: u16,
}

/// One of the sessions, with the company's clock.
struct Shown {
    name: String,
    since: String,
    last_used: String,
    ends: String,
    current: bool,
}

/// Everywhere where somebody of the office is signed in.
pub async fn own(desk: OfficeSession, State(app): State<App>, OwnToken(token): OwnToken) -> Result<Response, Problem> {
    token_uses::write_down(&app).await?;
    let reader = app.store.reader();
    let found = store::sessions::of_person(reader, desk.0.person, &sha256(&token), app.clock.now()).await?;
    let (dates, (_, zone)) = (office::dates(&app).await?, api::company(&app).await?);
    let local = Local::of(&zone);
    let shown = |one: OwnSession| Shown {
        since: local.minute(one.signed_in_at, dates),
        last_used: local.minute(one.last_used_at, dates),
        ends: local.minute(one.expires_at, dates),
        current: one.current,
        name: one.name,
    };
    let idle = store::settings::get(reader).await?.idle_minutes;
    Ok(page(OwnSessionsPage { sessions: found.into_iter().map(shown).collect(), idle }.render()))
}

/// Signs out everywhere and goes to the sign-in.
pub async fn end_own(desk: OfficeSession, State(app): State<App>) -> Result<Response, Problem> {
    let done = sessions::end_own_sessions(desk.staff(), State(app)).await?;
    Ok(onward(done.headers(), "/sign-in"))
}

/// On to an address, with the cookie that the API's answer sets.
pub(super) fn onward(answered: &HeaderMap, to: &str) -> Response {
    let mut response = Redirect::to(to).into_response();
    if let Some(cookie) = answered.get(header::SET_COOKIE) {
        response.headers_mut().insert(header::SET_COOKIE, cookie.clone());
    }
    response
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_is_sent_away_from_this_server() {
        for to in ["https://elsewhere.example", "//elsewhere.example", "/\\elsewhere.example", "/a b", "office", ""] {
            assert_eq!(own_address(Some(to.to_owned())), "/office", "{to}");
        }
        assert_eq!(own_address(Some("/office?q=LOT-1".to_owned())), "/office?q=LOT-1");
    }
}
