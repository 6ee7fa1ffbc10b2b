//! The office's first page: what needs attention today, and finding a lawn.

use askama::Template;
use axum::{
    extract::{Query, State},
    response::Response,
};
use serde::Deserialize;

use super::{desk::Desk, page};
use crate::{
    app::App,
    problem::Problem,
    reply::Span,
    store::{self, products::Product, search::Found},
};

/// Rows of one list on a page at most; the API has the rest.
pub const ROWS: Span = Span { after: 0, take: 1000 };
pub const NEWEST: Span = Span { after: i64::MAX, take: 200 };

#[derive(Debug, Deserialize)]
pub struct Search {
    q: Option<String>,
}

#[derive(Template)]
#[template(path = "office.html")]
struct Today {
    company: String,
    q: String,
    searched: bool,
    found: Vec<Found>,
    reviews: usize,
    stock: Vec<Product>,
}

/// What needs attention, and the search.
pub async fn today(_: Desk, State(app): State<App>, Query(search): Query<Search>) -> Result<Response, Problem> {
    let reader = app.store.reader();
    let q = search.q.unwrap_or_default().trim().chars().take(100).collect::<String>();
    let found = if q.is_empty() { Vec::new() } else { store::search::properties(reader, &q).await? };
    let reviews = store::reviews::list(reader, NEWEST, true, None).await?.len();
    let products = store::products::list(reader, ROWS).await?.into_iter().map(|row| row.item);
    let stock = products.filter(|product| product.balance_lb.raw() <= 0).collect();
    let (company, _) = store::people::company(reader).await?.unwrap_or_default();
    Ok(page(Today { company, searched: !q.is_empty(), q, found, reviews, stock }.render()))
}
