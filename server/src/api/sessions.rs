//! The set-up of the book, and signing in and out.

use std::net::IpAddr;

use axum::{
    Json,
    extract::{FromRequestParts, State},
    http::{HeaderMap, HeaderValue, StatusCode, header, request::Parts},
    response::{IntoResponse, Response},
};
use domain::{actor::Actor, actor::Role, ids::PersonId, time::Instant};
use jiff::SignedDuration;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    access::{
        AnyStaff, Anyone, OwnToken, cookie,
        tries::{self, limited},
    },
    api::{company, whole},
    book::office,
    extract::Valid,
    password,
    problem::{FieldFault, Kind, Problem},
    routes::{Routes, routes},
    secret::{code_hash, new_token, sha256},
    state::App,
    store::{
        self,
        journal::JournalContext,
        people::{Person, PersonInput, SignIn},
        security_log::{NewSecurityEvent, SecurityEventKind},
        sessions::{NewToken, OwnSession, SESSION},
    },
    throttle, token_uses,
};

pub fn routes() -> Routes {
    routes!(create_company, create_session, end_session, get_caller, list_own_sessions, end_own_sessions)
}

/// The address a request came from, where the server knows it: the peer's, or behind a proxy the one that the proxy wrote
/// last. What stands before that came from the caller and is not trusted.
#[derive(Debug)]
pub struct Peer(pub Option<IpAddr>);

impl FromRequestParts<App> for Peer {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Self::Rejection> {
        Ok(Self(app.throttle.address_of(parts)))
    }
}

/// What the program at the other end tells of itself, in words by which its user knows it again.
#[derive(Debug)]
pub struct Browser(pub String);

impl FromRequestParts<App> for Browser {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &App) -> Result<Self, Self::Rejection> {
        let told = parts.headers.get(header::USER_AGENT).and_then(|value| value.to_str().ok()).unwrap_or_default();
        Ok(Self(in_words(told)))
    }
}

/// Browsers all name each other, so the one that the fewest others name comes first.
fn in_words(told: &str) -> String {
    const BROWSERS: [(&str, &str); 6] = [
        ("Edg", "Edge"),
        ("SamsungBrowser", "Samsung browser"),
        ("Firefox", "Firefox"),
        ("FxiOS", "Firefox"),
        ("Chrom", "Chrome"),
        ("Safari", "Safari"),
    ];
    const SYSTEMS: [(&str, &str); 6] = [
        ("iPhone", "iPhone"),
        ("iPad", "iPad"),
        ("Android", "Android"),
        ("Windows", "Windows"),
        ("Mac OS X", "Mac"),
        ("Linux", "Linux"),
    ];
    let found =
        |known: &[(&str, &'static str)]| known.iter().find(|(part, _)| told.contains(part)).map(|(_, word)| *word);
    match (found(&BROWSERS), found(&SYSTEMS)) {
        (Some(browser), Some(system)) => format!("{browser} on {system}"),
        (Some(one), None) | (None, Some(one)) => one.to_owned(),
        // A script is called what it calls itself, as far as that can be read.
        (None, None) => {
            let name: String = told.chars().filter(|letter| !letter.is_control()).take(60).collect();
            if name.is_empty() { "a program without a name".to_owned() } else { name }
        }
    }
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "setup_code": "ABCDE-FGHJK-LMNPQ-RSTUV-WXYZ2-3", "company_name": "Demonstration Company", "time_zone": "America/New_York",
    "owner_name": "Owner 01", "sign_in": { "name": "owner", "password": "three plain words here" }
}))]
pub struct SetUpInput {
    /// The one-time code that the server printed at its first start.
    #[schema(min_length = 1, max_length = 60)]
    setup_code: String,
    #[schema(min_length = 1, max_length = 120, format = "line")]
    company_name: String,
    /// IANA time zone of the office, in its own upper and lower case.
    #[schema(
        min_length = 1,
        max_length = 60,
        pattern = "^[A-Za-z0-9_+/-]+$",
        format = "iana-time-zone",
        example = "America/New_York"
    )]
    time_zone: String,
    #[schema(min_length = 1, max_length = 120, format = "line")]
    owner_name: String,
    sign_in: SignIn,
}

/// Create the company and its owner
///
/// Writes the company and its first owner. Works once, with the one-time code that the server printed at its first start.
#[utoipa::path(post, path = "/api/v1/setup", operation_id = "create_company", tag = "sessions", security(()), request_body = SetUpInput,
    responses((status = 201, description = "The company is set up; sign in as the owner.", body = Person)))]
pub async fn create_company(
    _: Anyone,
    State(app): State<App>,
    peer: Peer,
    Valid { value, .. }: Valid<SetUpInput>,
) -> Result<Response, Problem> {
    app.throttle.count("set-up", peer.0)?;
    whole(password::guessable(&value.sign_in, &value.company_name).into_iter().collect())?;
    let person = PersonInput { name: value.owner_name, role: Role::Owner, sign_in: Some(value.sign_in), active: true };
    let password = password::hash_of(&app, person.sign_in.as_ref()).await?;
    let at = app.clock.now();
    let id: PersonId = app.ids.next(at);
    let deed = JournalContext { actor: None, at, act: "company.set_up", subject: id.uuid() };
    let (code, company, zone) = (code_hash(&value.setup_code), value.company_name, value.time_zone);
    let owner = office::change(&app, deed, move |connection| {
        Box::pin(async move {
            if store::people::is_set_up(&mut *connection).await? {
                return Err(Problem::new(Kind::Conflict, "This server is set up already. Sign in, or ask its owner."));
            }
            if !store::people::set_up(connection, &code, &company, &zone, at).await? {
                let detail =
                    "is not the code that the server printed at its last start; starting it again prints a new one";
                return Err(Problem::invalid(vec![FieldFault::at("/setup_code", "unknown_value", detail)]));
            }
            Ok(store::people::insert(connection, id, &person, password.as_deref(), at).await?)
        })
    })
    .await?;
    Ok((StatusCode::CREATED, Json(owner)).into_response())
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({ "name": "owner", "password": "three plain words here" }))]
pub struct SessionInput {
    #[schema(min_length = 1, max_length = 80)]
    name: String,
    #[schema(min_length = 1, max_length = 200)]
    password: String,
    /// A page asks: the token is put into a cookie that no script can read, and left out of the answer.
    #[serde(default)]
    in_browser: bool,
}

#[derive(Debug, Serialize, ToSchema)]
struct Session {
    /// Send it as `Authorization: Bearer`. Shown once; only its hash is kept. Null when the browser has it in its cookie.
    #[schema(max_length = 100)]
    token: Option<String>,
    expires_at: Instant,
}

/// The headers of an answer with a new token, and the token unless a browser's cookie takes it.
pub fn issue_token(token: String, in_browser: bool, lasts: SignedDuration) -> (HeaderMap, Option<String>) {
    let mut headers = no_store();
    if !in_browser {
        return (headers, Some(token));
    }
    if let Ok(cookie) = HeaderValue::from_str(&cookie(&token, lasts.as_secs())) {
        headers.insert(header::SET_COOKIE, cookie);
    }
    (headers, None)
}

/// Create a session (sign in)
///
/// Answers a token for `Authorization: Bearer`, good for twelve hours, or until nobody used it for as long as the settings say. Tries are
/// limited by address, by name and address, and from addresses that are new to a name by the name and all together. Each is written into the
/// security log.
#[utoipa::path(post, path = "/api/v1/sessions", operation_id = "create_session", tag = "sessions", security(()), request_body = SessionInput,
    responses((status = 201, description = "Signed in.", body = Session)))]
pub async fn create_session(
    _: Anyone,
    State(app): State<App>,
    peer: Peer,
    browser: Browser,
    Valid { value, .. }: Valid<SessionInput>,
) -> Result<Response, Problem> {
    limited(&app, &value.name, peer.0).await?;
    let known = store::people::by_sign_in(app.store.reader(), &value.name).await?;
    // An unknown name costs the same time as a wrong password, so that names cannot be found out.
    let fits = password::fits(&app, value.password, known.as_ref().map(|(_, stored)| stored.clone())).await?;
    let wrong = || Problem::new(Kind::NotSignedIn, "The name or the password is wrong.");
    let is_known = known.is_some();
    let tried = |kind| NewSecurityEvent::of(kind).tried_as(&value.name, is_known).from(throttle::shown(peer.0));
    let Some((person, stored)) = known.filter(|_| fits) else {
        tries::note(&app, tried(SecurityEventKind::SignInFailed)).await;
        return Err(wrong());
    };
    let token = new_token()?;
    let (at, digest) = (app.clock.now(), sha256(&token));
    let expires_at = at.plus(SESSION);
    let name = browser.0;
    let event = tried(SecurityEventKind::SignedIn).by(person, person).saying(&name);
    app.store
        .write(move |connection| {
            Box::pin(async move {
                // While the password was looked at, it may have been changed or the person ended.
                let same = store::people::still_signs_in(&mut *connection, person, &stored).await?;
                same.then_some(()).ok_or_else(wrong)?;
                let token = NewToken { hash: &digest, person, device: None, name: &name, at, expires_at };
                store::sessions::insert_token(&mut *connection, &token).await?;
                Ok(store::security_log::insert(connection, at, event).await?)
            })
        })
        .await?;
    let (headers, token) = issue_token(token, value.in_browser, SESSION);
    Ok((StatusCode::CREATED, headers, Json(Session { token, expires_at })).into_response())
}

/// A token must not lie about in a cache.
pub fn no_store() -> HeaderMap {
    let mut headers = HeaderMap::new();
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    headers
}

/// End the session (sign out)
///
/// Ends the token that this request carries, at once.
#[utoipa::path(delete, path = "/api/v1/sessions/current", operation_id = "end_session", tag = "sessions", security(("bearer" = ["any staff"])),
    responses((status = 204, description = "Signed out.")))]
pub async fn end_session(
    AnyStaff(actor): AnyStaff,
    State(app): State<App>,
    OwnToken(token): OwnToken,
) -> Result<Response, Problem> {
    let (digest, at) = (sha256(&token), app.clock.now());
    let event = NewSecurityEvent::of(SecurityEventKind::SignedOut).by(actor.person, actor.person);
    app.store
        .write(move |connection| {
            Box::pin(async move {
                store::sessions::end_token(&mut *connection, &digest, at).await?;
                Ok(store::security_log::insert(connection, at, event).await?)
            })
        })
        .await?;
    let mut headers = HeaderMap::new();
    gone(&mut headers);
    Ok((StatusCode::NO_CONTENT, headers).into_response())
}

/// With what the caller is signed in.
#[derive(Debug, Serialize, ToSchema)]
struct OwnSessions {
    #[schema(max_items = 200)]
    items: Vec<OwnSession>,
}

/// List the own sessions
///
/// Everything with which the caller is signed in now: sign-ins and phones, what each calls itself, and when it was used last.
#[utoipa::path(get, path = "/api/v1/me/sessions", operation_id = "list_own_sessions", tag = "sessions", security(("bearer" = ["any staff"])),
    responses((status = 200, description = "The sessions, the newest first.", body = OwnSessions)))]
async fn list_own_sessions(
    AnyStaff(actor): AnyStaff,
    State(app): State<App>,
    OwnToken(token): OwnToken,
) -> Result<Json<OwnSessions>, Problem> {
    token_uses::write_down(&app).await?;
    let items = store::sessions::of_person(app.store.reader(), actor.person, &sha256(&token), app.clock.now()).await?;
    Ok(Json(OwnSessions { items }))
}

/// End all own sessions (sign out everywhere)
///
/// Ends every sign-in and phone of the caller, this one too, and every code that was made for a phone and not used yet. What a phone has not
/// sent stays on it.
#[utoipa::path(delete, path = "/api/v1/me/sessions", operation_id = "end_own_sessions", tag = "sessions", security(("bearer" = ["any staff"])),
    responses((status = 204, description = "Signed out everywhere.")))]
pub async fn end_own_sessions(AnyStaff(actor): AnyStaff, State(app): State<App>) -> Result<Response, Problem> {
    let at = app.clock.now();
    let event = NewSecurityEvent::of(SecurityEventKind::SignedOutEverywhere).by(actor.person, actor.person);
    app.store
        .write(move |connection| {
            Box::pin(async move {
                store::sessions::end_all(&mut *connection, actor.person, at).await?;
                Ok(store::security_log::insert(connection, at, event).await?)
            })
        })
        .await?;
    let mut headers = HeaderMap::new();
    gone(&mut headers);
    Ok((StatusCode::NO_CONTENT, headers).into_response())
}

/// Takes the cookie of a browser away.
pub fn gone(headers: &mut HeaderMap) {
    if let Ok(gone) = HeaderValue::from_str(&cookie("", 0)) {
        headers.insert(header::SET_COOKIE, gone);
    }
}

/// Who a token belongs to.
#[derive(Debug, Serialize, ToSchema)]
struct Caller {
    person: Person,
    /// The phone this token belongs to; null in a session.
    device_id: Option<domain::ids::DeviceId>,
    #[schema(max_length = 120)]
    company_name: String,
    /// IANA time zone of the office.
    #[schema(max_length = 60)]
    time_zone: String,
    /// The server's clock, by which a phone can judge its own.
    now: Instant,
}

/// Get the caller
///
/// The person and phone behind the token, the company, and the server's clock.
#[utoipa::path(get, path = "/api/v1/me", operation_id = "get_caller", tag = "sessions", security(("bearer" = ["any staff"])),
    responses((status = 200, description = "The caller.", body = Caller)))]
async fn get_caller(AnyStaff(actor): AnyStaff, State(app): State<App>) -> Result<Json<Caller>, Problem> {
    let Actor { person, device, .. } = actor;
    let person = store::people::get(app.store.reader(), person).await?.ok_or_else(|| Problem::not_found("person"))?;
    let (company_name, time_zone) = company(&app).await?;
    Ok(Json(Caller { person, device_id: device, company_name, time_zone, now: app.clock.now() }))
}

#[cfg(test)]
mod tests {
    use super::in_words;

    #[test]
    fn a_browser_is_called_by_words_that_its_user_knows() {
        let webkit = "AppleWebKit/537.36 (KHTML, like Gecko)";
        let cases = [
            ("Mozilla/5.0 (X11; Linux x86_64; rv:140.0) Gecko/20100101 Firefox/140.0".to_owned(), "Firefox on Linux"),
            (
                format!(
                    "Mozilla/5.0 (Windows NT 10.0; Win64; x64) {webkit} Chrome/140.0.0.0 Safari/537.36 Edg/140.0.0.0"
                ),
                "Edge on Windows",
            ),
            (
                format!("Mozilla/5.0 (Linux; Android 10; K) {webkit} Chrome/140.0.0.0 Mobile Safari/537.36"),
                "Chrome on Android",
            ),
            (
                format!("Mozilla/5.0 (iPhone; CPU iPhone OS 18_0 like Mac OS X) {webkit} Version/18.0 Safari/604.1"),
                "Safari on iPhone",
            ),
            ("book-copier/2".to_owned(), "book-copier/2"),
            (String::new(), "a program without a name"),
        ];
        for (told, words) in cases {
            assert_eq!(in_words(&told), words);
        }
    }
}
