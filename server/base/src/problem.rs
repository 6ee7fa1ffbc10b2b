//! The only error that becomes HTTP: a problem document (RFC 9457) with all faults at once.

mod kinds;

use axum::{
    http::{HeaderMap, HeaderValue, StatusCode, header},
    response::{IntoResponse, Response},
};
use domain::decision::Finding;
use serde::Serialize;
use utoipa::ToSchema;

pub use self::kinds::{About, KINDS, Kind};
pub use crate::field_fault::FieldFault;
use crate::{field_fault::truncate_chars, storage_fault};

/// A problem document, `application/problem+json`. Clients read `code`, `errors` and `findings`; people read the rest.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Problem {
    /// Where this kind of problem is explained, on this server.
    #[serde(rename = "type")]
    #[schema(max_length = 100, example = "/problems/stopped-by-rules")]
    pub type_uri: String,
    /// The last part of `type`.
    #[schema(max_length = 60, example = "stopped-by-rules")]
    pub code: String,
    #[schema(max_length = 100)]
    pub title: String,
    #[schema(minimum = 400, maximum = 599)]
    pub status: u16,
    #[schema(max_length = 2000)]
    pub detail: String,
    /// The request, as it stands in the log: `urn:uuid:` and the request id.
    #[schema(max_length = 100)]
    pub instance: String,
    /// Every fault of the request, the first 500 at most; `detail` says how many there are.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 500)]
    pub errors: Vec<FieldFault>,
    /// Every finding that is not plainly met.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 2000)]
    pub findings: Vec<Finding>,
    /// Address of what is stored already, where that is what stands against the request.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 200, nullable = false)]
    pub existing: Option<String>,
    /// Names of the budgets that are spent, where that is what stands against the request.
    #[serde(rename = "violated-policies", skip_serializing_if = "Vec::is_empty")]
    #[schema(inline, max_items = 2)]
    pub violated_policies: Vec<Policy>,
    /// Address to which the password is sent, where the request needs that first.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 200, nullable = false, example = "/api/v1/sessions/current/confirmation")]
    pub confirm_at: Option<&'static str>,
    #[serde(skip)]
    retry_after_s: Option<u32>,
}

/// Whose budget of requests it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Policy {
    Token,
    Address,
}

impl Policy {
    /// As it stands in the fields of an answer and in the metrics.
    pub fn name(self) -> &'static str {
        match self {
            Self::Token => "token",
            Self::Address => "address",
        }
    }
}

/// Most faults that a problem document lists. A person corrects some and sends again.
const MOST_ERRORS: usize = 500;

impl Problem {
    pub fn new(kind: Kind, detail: impl Into<String>) -> Self {
        let about = kind.about();
        Self {
            type_uri: format!("/problems/{}", about.slug),
            code: about.slug.to_owned(),
            title: about.title.to_owned(),
            status: about.status.as_u16(),
            detail: detail.into(),
            instance: String::new(),
            errors: Vec::new(),
            findings: Vec::new(),
            existing: None,
            violated_policies: Vec::new(),
            confirm_at: None,
            retry_after_s: None,
        }
    }

    /// Values that do not fit, all of them that anybody reads.
    pub fn invalid(mut errors: Vec<FieldFault>) -> Self {
        let detail = match errors.as_slice() {
            [one] => {
                format!("{}: {}", one.pointer.as_deref().or(one.parameter.as_deref()).unwrap_or("body"), one.detail)
            }
            many if many.len() > MOST_ERRORS => {
                format!("{} values do not fit; `errors` names the first {MOST_ERRORS}.", many.len())
            }
            many => format!("{} values do not fit; see `errors`.", many.len()),
        };
        errors.truncate(MOST_ERRORS);
        Self { errors, ..Self::new(Kind::Invalid, detail) }
    }

    pub fn not_found(what: &str) -> Self {
        Self::new(Kind::NotFound, format!("There is no {what} with this id among what you may see."))
    }

    pub fn stopped(summary: &str, findings: Vec<Finding>) -> Self {
        Self { findings, ..Self::new(Kind::StoppedByRules, summary) }
    }

    #[must_use]
    pub fn with_errors(mut self, errors: Vec<FieldFault>) -> Self {
        self.errors = errors;
        self
    }

    /// Says what is stored already.
    #[must_use]
    pub fn with_existing(mut self, address: impl Into<String>) -> Self {
        self.existing = Some(address.into());
        self
    }

    /// Names the budget that is spent.
    #[must_use]
    pub fn violating(mut self, policy: Policy) -> Self {
        self.violated_policies.push(policy);
        self
    }

    /// Says where the password is shown.
    #[must_use]
    pub fn with_confirmation(mut self, address: &'static str) -> Self {
        self.confirm_at = Some(address);
        self
    }

    #[must_use]
    pub fn retry_after(mut self, seconds: u64) -> Self {
        self.retry_after_s = Some(u32::try_from(seconds).unwrap_or(u32::MAX));
        self
    }

    /// A fault of ours: logged in full here, told without any of it.
    pub fn fault(error: &dyn std::error::Error) -> Self {
        tracing::error!(%error, "fault");
        Self::new(Kind::Fault, "The server could not do this. It is logged under the request id.")
    }

    /// The problem behind an error reply that a library made, if it is not one of ours.
    pub fn of_reply(status: StatusCode) -> Self {
        let kind = Kind::of_status(status);
        let mut problem = Self::new(kind, kind.about().meaning);
        problem.status = status.as_u16();
        if status == StatusCode::SERVICE_UNAVAILABLE || status == StatusCode::TOO_MANY_REQUESTS {
            problem.retry_after_s = Some(1);
        }
        problem
    }

    /// Whether it is of this kind.
    pub fn is(&self, kind: Kind) -> bool {
        self.code == kind.about().slug
    }

    pub fn status(&self) -> StatusCode {
        Self::status_of(self.status)
    }

    pub fn status_of(status: u16) -> StatusCode {
        StatusCode::from_u16(status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR)
    }

    /// The headers that go with it, in those of the answer that it takes the place of.
    pub fn headers(&self, mut headers: HeaderMap) -> HeaderMap {
        for of_the_body in [header::CONTENT_LENGTH, header::CONTENT_ENCODING, header::CONTENT_TYPE] {
            headers.remove(of_the_body);
        }
        headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
        if self.status == 401 {
            headers.insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer realm=\"swardbook\""));
        }
        if let Some(seconds) = self.retry_after_s {
            headers.insert(header::RETRY_AFTER, HeaderValue::from(seconds));
        }
        headers
    }

    /// Writes the body. Only the outermost layer calls it, because only it knows the request id.
    pub fn render(mut self, request_id: &str, headers: HeaderMap) -> Response {
        self.instance = format!("urn:uuid:{request_id}");
        self.detail = truncate_chars(self.detail, 2000);
        let mut headers = self.headers(headers);
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
        let body = serde_json::to_vec(&self).unwrap_or_default();
        (self.status(), headers, body).into_response()
    }
}

impl IntoResponse for Problem {
    /// Carries the problem to the outermost layer, which writes it.
    fn into_response(self) -> Response {
        let mut response = self.status().into_response();
        response.extensions_mut().insert(self);
        response
    }
}

impl From<sqlx::Error> for Problem {
    fn from(error: sqlx::Error) -> Self {
        match error {
            sqlx::Error::PoolTimedOut | sqlx::Error::PoolClosed => {
                Self::new(Kind::Busy, "The database did not answer in time.").retry_after(1)
            }
            other if storage_fault::is_locked(&other) => {
                Self::new(Kind::Busy, "Another program holds the records' file.").retry_after(2)
            }
            other if storage_fault::is_storage_failure(&other) => {
                tracing::error!(error = %other, "the disk under the book failed");
                Self::new(Kind::StorageFailed, "The disk under the records refused it. Send it again.").retry_after(5)
            }
            other => Self::fault(&other),
        }
    }
}

impl From<serde_json::Error> for Problem {
    fn from(error: serde_json::Error) -> Self {
        Self::fault(&error)
    }
}
