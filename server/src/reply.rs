//! How answers leave: one thing with its version, a thing newly made, a page of a list.

use axum::{
    Json,
    http::{HeaderMap, HeaderName, HeaderValue, StatusCode, header},
    response::{IntoResponse, Response},
};

use crate::{extract::IfNoneMatch, version::Versioned};

/// Marks an error reply that is a page already and stays one: a form that comes back with its faults.
#[derive(Debug, Clone, Copy)]
pub struct ErrorPageRendered;

/// One thing, or 304 when the caller has this version already.
pub fn json_with_etag<T: Versioned>(known: &IfNoneMatch, thing: &T) -> Response {
    let tag = format!("\"v{}\"", thing.version());
    let headers = tag_headers(&tag);
    if known.has(&tag) {
        (StatusCode::NOT_MODIFIED, headers).into_response()
    } else {
        (headers, Json(thing)).into_response()
    }
}

/// One thing with its version, in full every time: it also shows what the version does not count, such as a balance.
pub fn json_versioned<T: Versioned>(thing: &T) -> Response {
    (tag_headers(&format!("\"v{}\"", thing.version())), Json(thing)).into_response()
}

fn tag_headers(tag: &str) -> HeaderMap {
    let mut headers = HeaderMap::new();
    if let Ok(value) = HeaderValue::from_str(tag) {
        headers.insert(header::ETAG, value);
    }
    headers
}

/// 201 with the thing and its address; says so when it is the answer to a repeated request.
#[derive(Debug)]
pub struct Created {
    pub location: String,
    pub body: String,
    pub replayed: bool,
}

impl IntoResponse for Created {
    fn into_response(self) -> Response {
        let mut headers = HeaderMap::new();
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/json"));
        if let Ok(location) = HeaderValue::from_str(&self.location) {
            headers.insert(header::LOCATION, location);
        }
        if self.replayed {
            headers.insert(HeaderName::from_static("idempotency-replayed"), HeaderValue::from_static("true"));
        }
        (StatusCode::CREATED, headers, self.body).into_response()
    }
}
