//! Who is calling, and what that lets them do. A handler's parameters say who may call it.

pub mod again;
pub mod tries;

use axum::{
    extract::FromRequestParts,
    http::{HeaderMap, header, request::Parts},
};
use domain::{
    actor::{Actor, Role},
    ids::PassId,
};

use crate::{
    problem::{Kind, Problem},
    scope::Scope,
    secret::{code_hash, sha256},
    state::App,
    store::{
        self,
        passes::Pass,
        security_log::{NewSecurityEvent, SecurityEventKind},
    },
    throttle,
};

/// Any signed-in member of staff.
#[derive(Debug, Clone, Copy)]
pub struct AnyStaff(pub Actor);

/// The office or the owner.
#[derive(Debug, Clone, Copy)]
pub struct OfficeOrOwner(pub Actor);

/// The owner alone.
#[derive(Debug, Clone, Copy)]
pub struct OwnerOnly(pub Actor);

/// Nobody needs to be signed in. Written out, so that an open route is a choice that can be read.
#[derive(Debug, Clone, Copy)]
pub struct Anyone;

/// Any signed-in member of staff, or somebody from outside with a pass: for what both may read. What is read with a pass is written into
/// the security log first, and is not shown where that cannot be done.
#[derive(Debug, Clone, Copy)]
pub struct StaffOrPass(pub Reader);

/// Who reads.
#[derive(Debug, Clone, Copy)]
pub enum Reader {
    Staff(Actor),
    /// By a pass, of the clients that it names or of all.
    Outside {
        pass: PassId,
        whole_company: bool,
    },
}

impl StaffOrPass {
    pub fn scope(self) -> Scope {
        match self.0 {
            Reader::Staff(actor) => Scope::of(actor),
            Reader::Outside { whole_company: true, .. } => Scope::Company,
            Reader::Outside { pass, .. } => Scope::ClientsOf(pass),
        }
    }

    pub fn is_technician(self) -> bool {
        matches!(self.0, Reader::Staff(actor) if actor.role == Role::Technician)
    }
}

/// Somebody from outside, and the pass.
#[derive(Debug, Clone)]
pub struct PassHolder(pub Pass);

impl AnyStaff {
    pub fn scope(self) -> Scope {
        Scope::of(self.0)
    }
}

/// The cookie in which a browser keeps its token. The prefix makes browsers take it from this host alone, by TLS (or on this
/// machine), and no script can read it.
pub const COOKIE: &str = "__Host-session";

/// Puts a token into the browser's cookie until it ends, or takes it out again with an empty one.
pub fn cookie(token: &str, seconds: i64) -> String {
    format!("{COOKIE}={token}; Path=/; Secure; HttpOnly; SameSite=Lax; Max-Age={seconds}")
}

/// The token that stands in a head: of a program in its own field, of a browser in its cookie.
pub fn token_in(headers: &HeaderMap) -> Result<String, Problem> {
    let refused = |why: &str| Problem::new(Kind::NotSignedIn, why);
    if let Some(header) = headers.get(header::AUTHORIZATION).and_then(|v| v.to_str().ok()) {
        let token = header.split_once(' ').filter(|(scheme, _)| scheme.eq_ignore_ascii_case("bearer"));
        return token
            .map(|(_, token)| token.trim().to_owned())
            .ok_or_else(|| refused("The Authorization header must be `Bearer` and a token."));
    }
    let cookies = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    let named = |pair: &str| pair.trim().strip_prefix(COOKIE)?.strip_prefix('=').map(str::to_owned);
    cookies.flat_map(|value| value.split(';')).find_map(named).ok_or_else(|| {
        refused(
            "Send `Authorization: Bearer` with the token of a session or a connected phone, or sign in on the page.",
        )
    })
}

/// The token that a request shows, if its page was one of ours where a browser adds it by itself.
pub fn shown_token(parts: &Parts) -> Result<String, Problem> {
    let token = token_in(&parts.headers)?;
    let by_browser = parts.headers.get(header::AUTHORIZATION).is_none_or(|value| value.to_str().is_err());
    if by_browser && !parts.method.is_safe() && !from_own_page(parts) {
        return Err(Problem::new(
            Kind::NotAllowed,
            "A browser sent this from a page that is not this server's, so it was not done.",
        ));
    }
    Ok(token)
}

/// A browser adds its cookie to whatever any page sends; only what this server's own pages send may change something.
fn from_own_page(parts: &Parts) -> bool {
    let text = |name: &str| parts.headers.get(name).and_then(|value| value.to_str().ok());
    match (text("sec-fetch-site"), text("origin")) {
        (Some(site), _) => site == "same-origin",
        (None, Some(origin)) => {
            let host = text("host").unwrap_or_default();
            origin.split_once("://").is_some_and(|(_, from)| from == host)
        }
        (None, None) => false,
    }
}

/// With what the token of a pass begins; its code follows.
pub const PASS_PREFIX: &str = "pass_";
/// With what the token begins that a browser gets for the code of a pass. The code itself is in no browser.
pub const PASS_SESSION_PREFIX: &str = "reader_";
/// How the security log calls a code of a pass.
pub const CODE_OF_A_PASS: &str = "with a code of a pass";

/// Somebody who is let in.
enum Caller {
    Staff(Actor),
    Outside(Outsider),
}

/// Somebody from outside: the pass, and the hash of the browser's session where it is a browser that shows it.
struct Outsider {
    pass: Pass,
    session: Option<String>,
}

/// Whoever shows a pass. A browser shows its session, which ends when nobody uses it, and a program the code, which is its secret. What
/// browsers were given before they had sessions is typed again.
async fn outsider(parts: &Parts, app: &App, token: &str) -> Result<Option<Outsider>, Problem> {
    let (reader, now) = (app.store.quick_reader(), app.clock.now());
    let outsider = if token.starts_with(PASS_SESSION_PREFIX) {
        let session = sha256(token);
        let pass = store::passes::by_session(reader, &session, now).await?;
        pass.map(|pass| Outsider { pass, session: Some(session) })
    } else if let Some(code) = token.strip_prefix(PASS_PREFIX) {
        let shown = parts.headers.get(header::AUTHORIZATION).is_some_and(|value| value.to_str().is_ok());
        let pass = if shown { store::passes::by_code(reader, &code_hash(code), now).await? } else { None };
        if shown && pass.is_none() {
            let address = app.throttle.address_of(parts);
            tries::limited_code(app, CODE_OF_A_PASS, address).await?;
            tries::failed_code(app, CODE_OF_A_PASS, address).await;
        }
        pass.map(|pass| Outsider { pass, session: None })
    } else {
        return Ok(None);
    };
    let ended =
        || Problem::new(Kind::NotSignedIn, "The pass is not known or has ended, or nobody used it here for a while.");
    outsider.map(Some).ok_or_else(ended)
}

async fn caller(parts: &Parts, app: &App) -> Result<Caller, Problem> {
    let token = shown_token(parts)?;
    if let Some(outsider) = outsider(parts, app, &token).await? {
        tracing::Span::current().record("caller", outsider.pass.id.to_string());
        return Ok(Caller::Outside(outsider));
    }
    let (digest, now) = (sha256(&token), app.clock.now());
    let found = store::people::actor_by_token(&app.store, &digest, now, app.token_uses.last(&digest)).await?;
    let actor = found.ok_or_else(|| {
        Problem::new(Kind::NotSignedIn, "The token is not known or has ended. Sign in, or connect the phone again.")
    })?;
    tracing::Span::current().record("caller", actor.person.to_string());
    app.token_uses.note(digest, now);
    Ok(Caller::Staff(actor))
}

async fn actor(parts: &Parts, app: &App) -> Result<Actor, Problem> {
    match caller(parts, app).await? {
        Caller::Staff(actor) => Ok(actor),
        Caller::Outside(_) => {
            let detail = "A pass reads statements, records, lawns and rule sets; this is for the staff.";
            Err(Problem::new(Kind::NotAllowed, detail))
        }
    }
}

/// Writes into the security log what is about to be read with a pass.
async fn log_read(app: &App, outsider: &Outsider, parts: &Parts) -> Result<(), Problem> {
    let pass = &outsider.pass;
    app.throttle.count_reads(&pass.id.to_string())?;
    let asked = parts.uri.path_and_query().map(ToString::to_string).unwrap_or_default();
    let event = NewSecurityEvent { pass: Some(pass.id), ..NewSecurityEvent::of(SecurityEventKind::PassRead) };
    let event = event.named(&pass.name).from(throttle::shown(app.throttle.address_of(parts))).saying(asked);
    let (at, session) = (app.clock.now(), outsider.session.clone());
    app.store
        .write(move |connection| {
            Box::pin(async move {
                if let Some(session) = session {
                    store::passes::note_use(&mut *connection, &session, at).await?;
                }
                Ok(store::security_log::insert(connection, at, event).await?)
            })
        })
        .await
}

impl FromRequestParts<App> for StaffOrPass {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        match caller(parts, app).await? {
            Caller::Staff(actor) => Ok(Self(Reader::Staff(actor))),
            Caller::Outside(outsider) => {
                log_read(app, &outsider, parts).await?;
                let Pass { id: pass, whole_company, .. } = outsider.pass;
                Ok(Self(Reader::Outside { pass, whole_company }))
            }
        }
    }
}

impl FromRequestParts<App> for PassHolder {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        match caller(parts, app).await? {
            Caller::Outside(outsider) => {
                log_read(app, &outsider, parts).await?;
                Ok(Self(outsider.pass))
            }
            Caller::Staff(_) => Err(Problem::new(Kind::NotAllowed, "This is for somebody with a pass.")),
        }
    }
}

/// Who a browser is signed in as, for a page that sends everybody else to the sign-in; nobody if nobody is.
#[derive(Debug, Clone, Copy)]
pub struct Visitor(pub Option<Actor>);

impl FromRequestParts<App> for Visitor {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        match actor(parts, app).await {
            Ok(actor) => Ok(Self(Some(actor))),
            Err(problem) if problem.status < 500 => Ok(Self(None)),
            Err(problem) => Err(problem),
        }
    }
}

/// A request that one of this server's own pages sent: asked of forms that nobody needs to be signed in for.
#[derive(Debug, Clone, Copy)]
pub struct OwnPage;

impl FromRequestParts<App> for OwnPage {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, _: &App) -> Result<Self, Problem> {
        let refused = "A browser sent this from a page that is not this server's, so it was not done.";
        if from_own_page(parts) { Ok(Self) } else { Err(Problem::new(Kind::NotAllowed, refused)) }
    }
}

/// The token that this very request shows, to be ended.
#[derive(Debug, Clone)]
pub struct OwnToken(pub String);

impl FromRequestParts<App> for OwnToken {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, _: &App) -> Result<Self, Problem> {
        shown_token(parts).map(Self)
    }
}

impl FromRequestParts<App> for AnyStaff {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        actor(parts, app).await.map(Self)
    }
}

impl FromRequestParts<App> for OfficeOrOwner {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        let actor = actor(parts, app).await?;
        match actor.role {
            Role::Office | Role::Owner => Ok(Self(actor)),
            Role::Technician => Err(Problem::new(Kind::NotAllowed, "This is for the office and the owner.")),
        }
    }
}

impl FromRequestParts<App> for OwnerOnly {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, app: &App) -> Result<Self, Problem> {
        let actor = actor(parts, app).await?;
        match actor.role {
            Role::Owner => Ok(Self(actor)),
            Role::Office | Role::Technician => Err(Problem::new(Kind::NotAllowed, "This is for the owner.")),
        }
    }
}

impl FromRequestParts<App> for Anyone {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(_: &mut Parts, _: &App) -> Result<Self, Self::Rejection> {
        Ok(Self)
    }
}
