//! What comes before every handler: the budgets of the address and of the token, the caller's turn, and for what takes long the threads
//! of its own.

use axum::{
    extract::{MatchedPath, Request, State},
    http::{HeaderMap, HeaderName, HeaderValue, Method},
    middleware::Next,
    response::{IntoResponse, Response},
};
use tracing::{Instrument, Span};

use crate::{
    access, edges,
    problem::{Kind, Problem},
    secret::sha256,
    state::App,
    throttle::budgets::{Caller, Cost, LONGEST_WAIT, Told},
};

/// Answers that take long, by the template of their address.
pub const LONG: [&str; 19] = [
    "/api/v1/drift",
    "/api/v1/gaps",
    "/api/v1/journal",
    "/api/v1/programmes/{id}/plan",
    "/api/v1/programmes/{id}/visits",
    "/api/v1/reviews",
    "/api/v1/rule-sets/{code}/changes",
    "/api/v1/rule-sets/{code}/waiting",
    "/api/v1/sections/{id}/plan",
    "/api/v1/statements",
    "/api/v1/statements/company",
    "/office/gaps",
    "/office/programmes/{id}/plan",
    "/office/programmes/{id}/visits/new",
    "/office/rules/{code}/new",
    "/office/sections/{id}/plan",
    "/reviews",
    "/year",
    "/year/{id}",
];

/// What a request costs. What no route has costs no more than to say so.
fn cost(method: &Method, route: &str) -> Cost {
    if LONG.contains(&route) {
        Cost::Long
    } else if !method.is_safe() || route == "/readyz" {
        Cost::Write
    } else {
        Cost::Light
    }
}

/// Lets a request through when its caller's budgets and turn allow it.
pub async fn share(State(app): State<App>, request: Request, next: Next) -> Response {
    let route = request.extensions().get::<MatchedPath>().map_or("", MatchedPath::as_str);
    // Whether the process lives is told to whoever asks, and costs nothing.
    if route == "/healthz" {
        return next.run(request).await;
    }
    let cost = cost(request.method(), route);
    let is_told = route.starts_with("/api/");
    let is_for_all = !edges::is_personal(request.uri().path());
    let (parts, body) = request.into_parts();
    let address = app.throttle.address_of(&parts);
    let token = access::token_in(&parts.headers).ok().map(|token| Caller::Token(sha256(&token)));
    let caller = token.or_else(|| address.map(Caller::Address)).filter(|_| !is_for_all);
    let told = match app.budgets.spend(address, caller.as_ref(), cost) {
        Ok(told) => told,
        Err(over) => {
            app.store.metrics().over_budget(over.policy.name());
            let mut refused = over.problem.into_response();
            tell(refused.headers_mut(), &over.told);
            return refused;
        }
    };
    let mut answer = in_turn(&app, caller, cost, Request::from_parts(parts, body), next).await;
    if is_told {
        tell(answer.headers_mut(), &told);
    }
    answer
}

async fn in_turn(app: &App, caller: Option<Caller>, cost: Cost, request: Request, next: Next) -> Response {
    let busy = |detail| Problem::new(Kind::Busy, detail).retry_after(5).into_response();
    let _turn = match caller {
        None => None,
        Some(caller) => match tokio::time::timeout(LONGEST_WAIT, app.budgets.turn(caller, cost)).await {
            Ok(Some(turn)) => Some(turn),
            _ => return busy("Too much that you asked for before is still being worked out."),
        },
    };
    if cost != Cost::Long {
        return next.run(request).await;
    }
    let answering = next.run(request).instrument(Span::current());
    match tokio::time::timeout(LONGEST_WAIT, app.store.lane().run_in_turn(answering)).await {
        Ok(Some(answer)) => answer,
        Ok(None) => busy("The server is stopping."),
        Err(_) => busy("Too many statements, years and plans are being worked out."),
    }
}

/// Says how much is left, in the fields of the draft.
fn tell(headers: &mut HeaderMap, told: &Told) {
    for (name, value) in [("ratelimit-policy", &told.policies), ("ratelimit", &told.left)] {
        if let Ok(value) = HeaderValue::from_str(value)
            && !value.is_empty()
        {
            headers.insert(HeaderName::from_static(name), value);
        }
    }
}
