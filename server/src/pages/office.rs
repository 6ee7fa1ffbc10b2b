//! The office's pages: what needs attention today, finding a lawn, and a property with its whole history.

use askama::Template;
use axum::{
    extract::{Query, State},
    response::Response,
};
use domain::ids;
use serde::Deserialize;

use super::{desk::Desk, page};
use crate::{
    access::Scope,
    app::App,
    book::application::ApplicationView,
    extract::PathId,
    problem::Problem,
    reply::Span,
    store::{
        self,
        clients::Client,
        people::Person,
        products::Product,
        properties::Property,
        search::Found,
        sections::Section,
        visits::{Filter, Visit},
    },
};

/// Rows of one list on a page at most; the API has the rest.
const ROWS: Span = Span { after: 0, take: 200 };
const NEWEST: Span = Span { after: i64::MAX, take: 200 };

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

#[derive(Template)]
#[template(path = "property.html")]
struct PropertyPage {
    property: Property,
    client: Client,
    sections: Vec<Section>,
    applications: Vec<ApplicationView>,
    visits: Vec<Visit>,
    people: Vec<Person>,
    products: Vec<Product>,
    today: String,
}

/// A property with its sections, its visits and everything that was put down.
pub async fn property(_: Desk, State(app): State<App>, PathId(id): PathId<ids::Property>) -> Result<Response, Problem> {
    let missing = || Problem::not_found("property");
    let (reader, scope) = (app.store.reader(), Scope::Company);
    let property = store::properties::get(reader, id, scope).await?.ok_or_else(missing)?;
    let client = store::clients::get(reader, property.client_id, scope).await?.ok_or_else(missing)?;
    let sections = store::sections::list(reader, ROWS, Some(id), scope).await?;
    let filter = store::applications::Filter { property: Some(id.to_string()), ..Default::default() };
    let applications = store::applications::list(reader, NEWEST, filter, scope).await?;
    let visits = store::visits::list(reader, ROWS, Filter { property: Some(id), ..Filter::default() }, scope).await?;
    let people = store::people::list(reader, ROWS).await?;
    let products = store::products::list(reader, ROWS).await?;
    let today = app.clock.now().day_in(&domain::time::zone(&property.time_zone).unwrap_or(jiff::tz::TimeZone::UTC));
    let page_of = PropertyPage {
        client,
        sections: sections.into_iter().map(|row| row.item).collect(),
        applications: applications.into_iter().map(|row| row.item).collect(),
        visits: visits.into_iter().map(|row| row.item).collect(),
        people: people.into_iter().map(|row| row.item).filter(|person| person.active).collect(),
        products: products.into_iter().map(|row| row.item).collect(),
        today: today.to_string(),
        property,
    };
    Ok(page(page_of.render()))
}
