//! The page on which the API can be read and tried, with files of this server's alone.

use std::io::Read as _;

use axum::{
    extract::Path,
    http::{HeaderMap, HeaderValue, header},
    response::{Html, IntoResponse, Redirect, Response},
};
use flate2::read::GzDecoder;

use crate::{access::Anyone, problem::Problem};

/// The library brings its own script and style sheet, and marks some of its styles inline.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; font-src 'self'; connect-src 'self'; base-uri 'none'; frame-ancestors 'none'";

const STYLE: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/swagger-ui.css.gz"));
const BUNDLE: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/swagger-ui-bundle.js.gz"));

pub async fn to_page(_: Anyone) -> Redirect {
    Redirect::permanent("/api-page/")
}

pub async fn page(_: Anyone) -> Response {
    with_policy(Html(include_str!("../../templates/api_page.html")).into_response())
}

/// The script that starts the page, and the library's two files.
pub async fn file(_: Anyone, headers: HeaderMap, Path(name): Path<String>) -> Result<Response, Problem> {
    let script = "text/javascript; charset=utf-8";
    let response = match name.as_str() {
        "start.js" => ([(header::CONTENT_TYPE, script)], include_str!("../../templates/api_page.js")).into_response(),
        "swagger-ui.css" => packed(STYLE, "text/css; charset=utf-8", &headers)?,
        "swagger-ui-bundle.js" => packed(BUNDLE, script, &headers)?,
        _ => return Err(Problem::not_found("file of the API page")),
    };
    Ok(with_policy(response))
}

/// A file as it is kept, or unpacked for whoever does not take it so.
pub(super) fn packed(gzip: &'static [u8], media: &'static str, headers: &HeaderMap) -> Result<Response, Problem> {
    let vary = [(header::CONTENT_TYPE, media), (header::VARY, "accept-encoding")];
    if takes_gzip(headers) {
        return Ok((vary, [(header::CONTENT_ENCODING, "gzip")], gzip).into_response());
    }
    let mut plain = Vec::new();
    GzDecoder::new(gzip).read_to_end(&mut plain).map_err(|error| Problem::fault(&error))?;
    Ok((vary, plain).into_response())
}

/// Whether `gzip` is named and not refused with a weight of nothing.
fn takes_gzip(headers: &HeaderMap) -> bool {
    let named = headers.get_all(header::ACCEPT_ENCODING).into_iter().filter_map(|value| value.to_str().ok());
    named.flat_map(|value| value.split(',')).any(|coding| {
        let mut parts = coding.split(';').map(str::trim);
        let refused = |weight: &str| weight.strip_prefix("q=").is_some_and(|q| q.trim_matches(['0', '.']).is_empty());
        parts.next().is_some_and(|name| name.eq_ignore_ascii_case("gzip")) && !parts.any(refused)
    })
}

fn with_policy(mut response: Response) -> Response {
    response.headers_mut().insert(header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY));
    response
}
