//! Lists, page by page: where a page begins, and the signed cursor of the next.

use std::ops::Deref;

use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};
use hmac::{Hmac, KeyInit, Mac};
use serde::{Deserialize, Serialize, de::DeserializeOwned};
use sha2::Sha256;
use utoipa::{
    IntoParams, ToSchema,
    openapi::path::{Parameter, ParameterIn},
};

use crate::{
    problem::{FieldFault, Kind, Problem},
    secret::fingerprint,
};

/// Signs page cursors, so that a forged one is refused.
#[derive(Clone)]
pub struct CursorKey(Hmac<Sha256>);

impl std::fmt::Debug for CursorKey {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("CursorKey")
    }
}

/// The query of a list: what narrows it, and which page of it.
#[derive(Debug, Serialize, Deserialize)]
pub struct Paged<F> {
    #[serde(flatten)]
    filter: F,
    #[serde(flatten)]
    page: PageParams,
}

#[derive(Debug, Serialize, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct PageParams {
    /// Entries on a page, 50 unless said otherwise.
    #[serde(default)]
    #[param(minimum = 1, maximum = 200)]
    limit: Option<i64>,
    /// `next_cursor` of the page before.
    #[serde(default)]
    #[param(max_length = 300)]
    cursor: Option<String>,
}

/// A handler reads the filter; which page is asked for is read here alone.
impl<F> Deref for Paged<F> {
    type Target = F;

    fn deref(&self) -> &F {
        &self.filter
    }
}

impl<F: IntoParams> IntoParams for Paged<F> {
    fn into_params(place: impl Fn() -> Option<ParameterIn>) -> Vec<Parameter> {
        let mut all = F::into_params(&place);
        all.extend(PageParams::into_params(place));
        all
    }
}

/// Where a page begins and how long it is.
#[derive(Debug, Clone, Copy)]
pub struct PageRequest {
    /// The last sequence number of the page before.
    pub after: i64,
    /// One more than the page holds, to see whether another follows.
    pub take: i64,
}

/// A page of a list.
#[derive(Debug, Serialize, ToSchema)]
pub struct Page<T> {
    #[schema(max_items = 200)]
    pub items: Vec<T>,
    /// Send it as `cursor` with the same query for the next page; null on the last.
    #[schema(max_length = 300)]
    pub next_cursor: Option<String>,
}

/// A row with the server's own sequence number, by which lists are ordered: phones' clocks lie.
#[derive(Debug)]
pub struct Sequenced<T> {
    pub seq: i64,
    pub item: T,
}

#[derive(Serialize, Deserialize)]
struct Cursor {
    version: u8,
    list: String,
    after: i64,
}

impl CursorKey {
    pub fn new(secret: &[u8]) -> Result<Self, hmac::digest::InvalidLength> {
        Hmac::new_from_slice(secret).map(Self)
    }

    /// Reads a query's cursor; the cursor belongs to one list with one filter.
    pub fn span(&self, list: &str, query: &Paged<impl Serialize>, descending: bool) -> Result<PageRequest, Problem> {
        let limit = query.page.limit.unwrap_or(50);
        let start = if descending { i64::MAX } else { 0 };
        let after =
            match &query.page.cursor {
                None => start,
                Some(text) => self.open(&list_name(list, query), text).ok_or_else(|| {
                    let detail = "was not made by this server for this list with this filter; begin again without it";
                    Problem::new(Kind::Malformed, format!("The cursor {detail}."))
                        .with_errors(vec![FieldFault::parameter("cursor", "bad_cursor", detail)])
                })?,
            };
        Ok(PageRequest { after, take: limit + 1 })
    }

    /// Cuts the rows to the page and makes the cursor of the next.
    pub fn page<T>(&self, list: &str, query: &Paged<impl Serialize>, mut rows: Vec<Sequenced<T>>) -> Page<T> {
        let limit = usize::try_from(query.page.limit.unwrap_or(50)).unwrap_or(50);
        let more = rows.len() > limit;
        rows.truncate(limit);
        let end = rows.last().map(|row| row.seq).filter(|_| more);
        let next_cursor = end.map(|after| self.seal(&Cursor { version: 1, list: list_name(list, query), after }));
        Page { items: rows.into_iter().map(|row| row.item).collect(), next_cursor }
    }

    /// A page of rows that the caller has chosen, and where it goes on.
    pub fn chosen<T>(&self, list: &str, query: &Paged<impl Serialize>, items: Vec<T>, after: Option<i64>) -> Page<T> {
        let next_cursor = after.map(|after| self.seal(&Cursor { version: 1, list: list_name(list, query), after }));
        Page { items, next_cursor }
    }

    fn seal(&self, cursor: &Cursor) -> String {
        let body = serde_json::to_vec(cursor).unwrap_or_default();
        let mac = self.0.clone().chain_update(&body).finalize().into_bytes();
        format!("{}.{}", URL_SAFE_NO_PAD.encode(&body), URL_SAFE_NO_PAD.encode(&mac[..16]))
    }

    fn open(&self, list: &str, text: &str) -> Option<i64> {
        let (body, mac) = text.split_once('.')?;
        let body = URL_SAFE_NO_PAD.decode(body).ok()?;
        let mac = URL_SAFE_NO_PAD.decode(mac).ok()?;
        if mac.len() != 16 {
            return None;
        }
        self.0.clone().chain_update(&body).verify_truncated_left(&mac).ok()?;
        let cursor: Cursor = from_slice(&body)?;
        (cursor.version == 1 && cursor.list == list).then_some(cursor.after)
    }
}

fn from_slice<T: DeserializeOwned>(bytes: &[u8]) -> Option<T> {
    serde_json::from_slice(bytes).ok()
}

/// A list with its filter, without the place in it: hashed, so that the cursor stays short.
fn list_name(list: &str, query: &Paged<impl Serialize>) -> String {
    fingerprint(&serde_json::json!([list, query.filter]))[..16].to_owned()
}
