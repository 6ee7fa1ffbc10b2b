//! In which form a table leaves: JSON or comma-separated values.

use axum::{
    http::{HeaderMap, HeaderValue, header},
    response::{IntoResponse, Response},
};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::problem::{Kind, Problem};

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Format {
    Json,
    Csv,
}

/// The form the caller wants, by the query or by the `Accept` header with its weights.
pub fn of(query: Option<Format>, headers: &HeaderMap, what: &str) -> Result<Format, Problem> {
    if let Some(format) = query {
        return Ok(format);
    }
    let Some(accept) = headers.get(header::ACCEPT).and_then(|value| value.to_str().ok()) else {
        return Ok(Format::Json);
    };
    let weight = |media: &str| {
        let of = |range: &str| {
            let mut parts = range.split(';').map(str::trim);
            let name = parts.next().unwrap_or_default();
            let fits = name == media
                || name == "*/*"
                || media.split_once('/').is_some_and(|(kind, _)| name == format!("{kind}/*"));
            let q = parts.find_map(|part| part.strip_prefix("q=")).map_or(Some(1.0), |q| q.parse::<f32>().ok());
            q.filter(|_| fits)
        };
        accept.split(',').filter_map(of).fold(0.0, f32::max)
    };
    let (json, csv) = (weight("application/json"), weight("text/csv"));
    if json <= 0.0 && csv <= 0.0 {
        return Err(Problem::new(
            Kind::NotAcceptable,
            format!("{what} is offered as application/json and as text/csv."),
        ));
    }
    Ok(if csv > json { Format::Csv } else { Format::Json })
}

/// Says that the answer depends on what the caller accepts.
pub fn vary() -> HeaderMap {
    let mut headers = HeaderMap::new();
    headers.insert(header::VARY, HeaderValue::from_static("accept"));
    headers
}

/// A file of comma-separated values under a name.
pub fn csv(body: Vec<u8>, name: &str) -> Response {
    let mut headers = vary();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("text/csv; charset=utf-8; header=present"));
    if let Ok(value) = HeaderValue::from_str(&format!("attachment; filename=\"{name}\"")) {
        headers.insert(header::CONTENT_DISPOSITION, value);
    }
    (headers, body).into_response()
}
