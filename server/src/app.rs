//! The whole server as one value: `app(deps)` is what `main` serves and what tests call.

use std::{net::SocketAddr, sync::Arc, time::Duration};

use axum::{
    Router,
    extract::{ConnectInfo, DefaultBodyLimit, MatchedPath, Request, State},
    http::{HeaderName, HeaderValue, StatusCode, Version, header},
    middleware::{self, Next},
    response::{IntoResponse, Response},
};
use tower_http::{catch_panic::CatchPanicLayer, compression::CompressionLayer, timeout::TimeoutLayer};
use tracing::{Instrument, field::Empty};
use uuid::Uuid;

use crate::{
    access::Anyone,
    api,
    connections::Connections,
    edges::{self, BodyRead},
    pages,
    problem::{Kind, Problem},
    reply::ErrorPageRendered,
    schema::Schemas,
    sharing,
    state::App,
    state::Deps,
    state::Inner,
    state::TokenUses,
    throttle::budgets::Budgets,
};

const BODY_LIMIT: usize = 1024 * 1024;
const REQUEST_TIME: Duration = Duration::from_secs(30);

/// The server's router.
pub fn app(deps: Deps) -> Router {
    build(deps).0
}

/// The server's router, and what works beside it.
pub fn build(deps: Deps) -> (Router, App) {
    let limits = &deps.throttle.limits;
    let budgets = Budgets::new(limits);
    let connections = Connections::new(limits, deps.throttle.behind_proxy, deps.store.shared_metrics());
    let (schemas, token_uses) = (Schemas::default(), TokenUses::default());
    let app = App(Arc::new(Inner { deps, schemas, token_uses, budgets, connections, space: Arc::default() }));
    let beside = app.clone();
    let around = app.clone();
    let serving = api::routes()
        .into_router()
        .merge(pages::routes())
        .fallback(no_such_address)
        .method_not_allowed_fallback(no_such_method)
        .with_state(app)
        .layer(DefaultBodyLimit::max(BODY_LIMIT))
        .layer(TimeoutLayer::with_status_code(StatusCode::SERVICE_UNAVAILABLE, REQUEST_TIME))
        .layer(CatchPanicLayer::custom(|_: Box<dyn std::any::Any + Send>| {
            Problem::new(Kind::Fault, "The server could not do this. It is logged under the request id.")
                .into_response()
        }))
        // Outside of the time limit, which is for the work and not for waiting one's turn.
        .layer(middleware::from_fn_with_state(around.clone(), sharing::share))
        .layer(CompressionLayer::new())
        .layer(middleware::from_fn_with_state(around, outermost));
    (serving, beside)
}

async fn no_such_address(_: Anyone, request: Request) -> Problem {
    Problem::new(Kind::NotFound, format!("There is no address {}.", request.uri().path()))
}

async fn no_such_method(_: Anyone, request: Request) -> Problem {
    Problem::new(Kind::MethodNotAllowed, format!("{} does not take {}.", request.uri().path(), request.method()))
}

/// Gives each request its id, turns every error reply into a problem document, sets the headers that all replies have, and counts.
async fn outermost(State(app): State<App>, request: Request, next: Next) -> Response {
    let metrics = app.store.metrics();
    let _in_flight = metrics.request_begins();
    let id = request_id(&request).unwrap_or_else(|| app.ids.uuid(app.clock.now()).to_string());
    let route = request.extensions().get::<MatchedPath>().cloned();
    let (method, path) = (request.method().clone(), request.uri().path().to_owned());
    // Who calls is known once a handler has looked at the token.
    let span = tracing::info_span!("request", id, %method, path, trace = Empty, caller = Empty);
    if let Some(trace) = trace_id(&request) {
        span.record("trace", trace);
    }
    let reader = Reader::of(&request);
    let personal = edges::is_personal(request.uri().path());
    let peer = request.extensions().get::<ConnectInfo<SocketAddr>>().map(|peer| peer.0);
    let _at_work = app.connections.begins(peer, request.version() > Version::HTTP_11);
    let (body_read, request) = BodyRead::watch(request, app.throttle.limits.body());
    let begun = tokio::time::Instant::now();
    let response = match edges::one_host(&request) {
        Ok(()) => next.run(request).instrument(span.clone()).await,
        Err(problem) => problem.into_response(),
    };
    if response.extensions().get::<Problem>().is_some_and(|problem| problem.is(Kind::StorageFailed)) {
        metrics.storage_failed();
    }
    // Whatever the handler made of half a body.
    let response = if body_read.was_too_slow() && response.status().is_client_error() {
        Problem::new(Kind::TooSlow, "The body stopped on its way. Nothing was stored. Send it again.").into_response()
    } else {
        response
    };
    let mut response = finish(response, &id, reader);
    edges::guard(response.headers_mut(), personal);
    body_read.close_unless_read(response.headers_mut());
    let took = begun.elapsed();
    metrics.request_answered(
        route.as_ref().map(MatchedPath::as_str),
        method.as_str(),
        response.status().as_u16(),
        took,
    );
    let took_us = u64::try_from(took.as_micros()).unwrap_or(u64::MAX);
    span.in_scope(|| tracing::info!(status = response.status().as_u16(), took_us, "answered"));
    response
}

/// The trace that the caller's request is part of (W3C Trace Context, `traceparent`): 32 hexadecimal digits, not all 0.
fn trace_id(request: &Request) -> Option<&str> {
    let mut parts = request.headers().get("traceparent")?.to_str().ok()?.split('-');
    let (version, trace, parent, flags) = (parts.next()?, parts.next()?, parts.next()?, parts.next()?);
    let hex = |text: &str, digits: usize| {
        text.len() == digits && text.bytes().all(|byte| byte.is_ascii_digit() || (b'a'..=b'f').contains(&byte))
    };
    // A later version may have more parts; the first never has.
    let fits = hex(version, 2) && version != "ff" && (version != "00" || parts.next().is_none());
    let whole = hex(trace, 32) && hex(parent, 16) && hex(flags, 2);
    let given = |text: &str| text.bytes().any(|byte| byte != b'0');
    (fits && whole && given(trace) && given(parent)).then_some(trace)
}

/// Who reads an error.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Reader {
    Program,
    /// Somebody at a browser, who followed a link or sent a form of a page.
    Person,
}

impl Reader {
    fn of(request: &Request) -> Self {
        let api = ["/api/", "/modules/", "/healthz", "/readyz"].iter().any(|own| request.uri().path().starts_with(own));
        let accepts = request.headers().get(header::ACCEPT).and_then(|value| value.to_str().ok());
        if !api && accepts.is_some_and(|kinds| kinds.contains("text/html")) { Self::Person } else { Self::Program }
    }
}

fn finish(mut response: Response, id: &str, reader: Reader) -> Response {
    let status = response.status();
    let shown = response.extensions_mut().remove::<ErrorPageRendered>().is_some();
    if !shown && (status.is_client_error() || status.is_server_error()) {
        let problem = response.extensions_mut().remove::<Problem>().unwrap_or_else(|| Problem::of_reply(status));
        let headers = std::mem::take(response.headers_mut());
        response = match reader {
            Reader::Program => problem.render(id, headers),
            Reader::Person => pages::fault(&problem, id, headers),
        };
    }
    if let Ok(value) = HeaderValue::from_str(id) {
        response.headers_mut().insert(HeaderName::from_static("x-request-id"), value);
    }
    response
}

/// The caller's own request id, if it is a UUID: anything else could forge a line of the log.
fn request_id(request: &Request) -> Option<String> {
    let text = request.headers().get("x-request-id")?.to_str().ok()?;
    Uuid::try_parse(text).ok().filter(|_| text.len() == 36).map(|uuid| uuid.to_string())
}
