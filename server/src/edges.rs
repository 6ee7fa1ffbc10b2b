//! The edges of HTTP: what is asked of the head of every request before anything else, and what every answer carries.
//!
//! What the library under the server decides already, and well: a bare line feed ends a line of the head (RFC 9112, section 2.2
//! allows it) but none of a chunked body; two lengths, or a length beside chunks, are refused.

use std::{
    io,
    pin::Pin,
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
    task::{Context, Poll},
    time::Duration,
};

use axum::{
    body::{Body, Bytes, HttpBody},
    extract::Request,
    http::{HeaderMap, HeaderName, HeaderValue, Version, header, uri::Authority},
};
use http_body::{Frame, SizeHint};
use tokio::time::{Sleep, sleep};

use crate::problem::{Kind, Problem};

/// What is asked of nobody's browser: no page uses any of it.
const PERMISSIONS: &str = "accelerometer=(), autoplay=(), bluetooth=(), camera=(), display-capture=(), encrypted-media=(), geolocation=(), \
                           gyroscope=(), hid=(), magnetometer=(), microphone=(), midi=(), payment=(), serial=(), usb=(), xr-spatial-tracking=()";

/// Refuses a request that names its host twice or not at all, or by what is no host (RFC 9112, section 3.2): a proxy before the
/// server and the server itself could each believe another one.
pub fn one_host(request: &Request) -> Result<(), Problem> {
    let malformed = |detail: &str| Err(Problem::new(Kind::Malformed, detail));
    let mut named = request.headers().get_all(header::HOST).iter();
    match (named.next(), named.next()) {
        (_, Some(_)) => malformed("The header Host stands twice."),
        // HTTP/2 names it in the address of the request, and HTTP/1.0 did not know it yet.
        (None, None) if request.version() == Version::HTTP_11 => malformed("The header Host is missing."),
        (None, None) => Ok(()),
        (Some(host), None) => {
            let reads = host.to_str().ok().and_then(|text| text.parse::<Authority>().ok());
            // A user and a password before the host are no part of this header.
            if reads.is_some_and(|host| !host.as_str().contains('@')) {
                Ok(())
            } else {
                malformed("The header Host names no host.")
            }
        }
    }
}

/// Whether a request's body was read to its end, and whether it came in time.
#[derive(Debug, Clone)]
pub struct BodyRead(Arc<Seen>);

#[derive(Debug)]
struct Seen {
    whole: AtomicBool,
    too_slow: AtomicBool,
    /// A later version than HTTP/1 ends one request without ending the connection.
    shares_line: bool,
}

impl BodyRead {
    /// Watches how far the body is read, and that no part of it lets wait longer than this.
    pub fn watch(request: Request, patience: Duration) -> (Self, Request) {
        let (whole, too_slow) = (AtomicBool::new(request.body().is_end_stream()), AtomicBool::new(false));
        let shares_line = request.version() > Version::HTTP_11;
        let read = Self(Arc::new(Seen { whole, too_slow, shares_line }));
        if request.body().is_end_stream() {
            return (read, request);
        }
        let watched = read.clone();
        (read, request.map(|body| Body::new(Watched { body, read: watched, patience, waiting: None })))
    }

    /// Whether it was given up because nothing more of it came.
    pub fn was_too_slow(&self) -> bool {
        self.0.too_slow.load(Ordering::Relaxed)
    }

    /// Says that the connection ends where something of the request is still on its way: the library closes it then, and a caller who
    /// is not told would send the next request into it.
    pub fn close_unless_read(&self, headers: &mut HeaderMap) {
        if !self.0.shares_line && !self.0.whole.load(Ordering::Relaxed) {
            headers.insert(header::CONNECTION, HeaderValue::from_static("close"));
        }
    }
}

struct Watched {
    body: Body,
    read: BodyRead,
    patience: Duration,
    /// Runs while the next part is waited for.
    waiting: Option<Pin<Box<Sleep>>>,
}

impl HttpBody for Watched {
    type Data = Bytes;
    type Error = axum::Error;

    fn poll_frame(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<Option<Result<Frame<Bytes>, axum::Error>>> {
        let polled = Pin::new(&mut self.body).poll_frame(cx);
        if polled.is_pending() {
            let patience = self.patience;
            let waiting = self.waiting.get_or_insert_with(|| Box::pin(sleep(patience)));
            if waiting.as_mut().poll(cx).is_ready() {
                self.read.0.too_slow.store(true, Ordering::Relaxed);
                let late = io::Error::from(io::ErrorKind::TimedOut);
                return Poll::Ready(Some(Err(axum::Error::new(late))));
            }
            return Poll::Pending;
        }
        self.waiting = None;
        if matches!(polled, Poll::Ready(None)) || self.body.is_end_stream() {
            self.read.0.whole.store(true, Ordering::Relaxed);
        }
        polled
    }

    fn is_end_stream(&self) -> bool {
        self.body.is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        self.body.size_hint()
    }
}

/// What is the same for everybody: the phone's own files, the help, and what programs ask. Everything else may be about somebody.
const PUBLIC: [&str; 11] = [
    "/api-page",
    "/healthz",
    "/help",
    "/icon",
    "/modules/",
    "/openapi.json",
    "/page.css",
    "/phone",
    "/problems/",
    "/readyz",
    "/sw.js",
];

/// Whether what stands at an address may be about somebody: nothing of it is to stay in a cache, where the next person at the same
/// screen would find it. Programs compare versions by `ETag` all the same.
pub fn is_personal(path: &str) -> bool {
    path != "/" && !PUBLIC.iter().any(|public| path.starts_with(public))
}

/// Sets what every answer carries.
pub fn guard(headers: &mut HeaderMap, personal: bool) {
    headers.insert(header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    headers.entry(header::REFERRER_POLICY).or_insert(HeaderValue::from_static("no-referrer"));
    headers.insert(HeaderName::from_static("cross-origin-resource-policy"), HeaderValue::from_static("same-origin"));
    headers.insert(HeaderName::from_static("cross-origin-opener-policy"), HeaderValue::from_static("same-origin"));
    // It is read of pages alone, and would be a tenth of what a phone loads first.
    let page = headers.get(header::CONTENT_TYPE).is_some_and(|kind| kind.as_bytes().starts_with(b"text/html"));
    if page {
        headers.insert(HeaderName::from_static("permissions-policy"), HeaderValue::from_static(PERMISSIONS));
    }
    headers
        .entry(header::CONTENT_SECURITY_POLICY)
        .or_insert(HeaderValue::from_static("default-src 'none'; frame-ancestors 'none'"));
    let kept = if personal { "no-store" } else { "private, no-cache" };
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static(kept));
}
