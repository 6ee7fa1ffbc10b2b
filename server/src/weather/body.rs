//! Reading what came over the wire: how much of it, and whether it is a document at all.

use domain::time::Instant;
use reqwest::{
    Response, StatusCode,
    header::{self, HeaderMap},
};
use serde::Deserialize;

use super::{
    client::{Failure, FetchedDocument, Validators},
    heads::seconds_until,
};

/// Raw grids have 100 to 300 kB.
const BODY_CAP: usize = 2 * 1024 * 1024;
/// One alert has 4 to 10 kB, and a list that is dropped stops nothing: some 800 of the largest.
const LIST_CAP: usize = 8 * 1024 * 1024;
/// No body has more.
pub const LARGEST_BODY: usize = LIST_CAP;

/// How many bytes an answer may have, and what one with more is called.
fn cap(path: &str) -> (usize, &'static str) {
    if path.starts_with("/alerts/") {
        (LIST_CAP, "more than eight megabytes")
    } else {
        (BODY_CAP, "more than two megabytes")
    }
}

#[derive(Deserialize)]
struct ProblemKind {
    #[serde(rename = "type")]
    kind: Option<String>,
}

/// An answer of which all was read, or why it is none.
pub(super) async fn read(response: Response, now: Instant, path: &str) -> Result<FetchedDocument, Failure> {
    let status = response.status();
    if status == StatusCode::NOT_MODIFIED {
        return Ok(FetchedDocument::NotModified);
    }
    let content_type = text(response.headers(), header::CONTENT_TYPE).unwrap_or_default();
    let validators = Validators {
        etag: text(response.headers(), header::ETAG),
        last_modified: text(response.headers(), header::LAST_MODIFIED),
    };
    let again_in = text(response.headers(), header::RETRY_AFTER).and_then(|text| seconds_until(&text, now));
    let is_json = content_type.split(';').next().unwrap_or_default().contains("json");
    let body = body(response, cap(path)).await;
    if status != StatusCode::OK {
        let kind = body.ok().filter(|_| is_json).and_then(|body| serde_json::from_slice::<ProblemKind>(&body).ok());
        let kind = kind.and_then(|kind| kind.kind).map(|kind| kind.chars().take(200).collect());
        return Err(Failure::Status { status: status.as_u16(), kind, again_in });
    }
    let body = body?;
    if !is_json {
        return Err(Failure::BadBody("something that is no JSON"));
    }
    // Read to its end before it may take the place of a copy that is whole.
    if serde_json::from_slice::<serde::de::IgnoredAny>(&body).is_err() {
        return Err(Failure::BadBody("JSON that ends too soon"));
    }
    Ok(FetchedDocument::Document { body, content_type: content_type.chars().take(100).collect(), validators })
}

async fn body(mut response: Response, (cap, more): (usize, &'static str)) -> Result<Vec<u8>, Failure> {
    let mut body = Vec::new();
    loop {
        match response.chunk().await {
            Ok(Some(chunk)) if body.len() + chunk.len() > cap => {
                return Err(Failure::BadBody(more));
            }
            Ok(Some(chunk)) => body.extend_from_slice(&chunk),
            Ok(None) => return Ok(body),
            Err(error) if error.is_timeout() => return Err(Failure::Timeout),
            Err(_) => return Err(Failure::Connect),
        }
    }
}

fn text(headers: &HeaderMap, name: header::HeaderName) -> Option<String> {
    headers.get(name).and_then(|value| value.to_str().ok()).map(|value| value.chars().take(200).collect())
}
