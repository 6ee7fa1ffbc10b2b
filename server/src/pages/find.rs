//! The search of every page: clients, lawns, products, lots, people, and a record by its id.

use askama::Template;
use axum::{
    extract::{Query, State},
    response::{IntoResponse, Redirect, Response},
};
use domain::ids::{ApplicationId, ClientId, PersonId, ProductId};
use serde::Deserialize;

use crate::{
    pages::{office_session::OfficeSession, page},
    problem::Problem,
    scope::Scope,
    state::App,
    store::{
        self,
        search::{self, Found, MOST, Named},
    },
};

#[derive(Debug, Deserialize)]
pub struct Search {
    #[serde(default)]
    q: String,
}

#[derive(Template)]
#[template(path = "find.html")]
struct FindPage {
    q: String,
    properties: Vec<Found>,
    clients: Vec<Named<ClientId>>,
    products: Vec<Named<ProductId>>,
    people: Vec<Named<PersonId>>,
}

impl FindPage {
    /// Of one kind there may be more than are shown.
    fn is_cut(&self) -> bool {
        let most = usize::try_from(MOST).unwrap_or(usize::MAX);
        [self.properties.len(), self.clients.len(), self.products.len(), self.people.len()]
            .into_iter()
            .any(|count| count >= most)
    }

    fn is_empty(&self) -> bool {
        self.properties.is_empty() && self.clients.is_empty() && self.products.is_empty() && self.people.is_empty()
    }
}

/// What holds the text; a record whose id it is opens at once.
pub async fn find(_: OfficeSession, State(app): State<App>, Query(search): Query<Search>) -> Result<Response, Problem> {
    let reader = app.store.reader();
    let q = search.q.trim().chars().take(100).collect::<String>();
    if let Ok(id) = q.parse::<ApplicationId>()
        && store::applications::get(reader, id, Scope::Company).await?.is_some()
    {
        return Ok(Redirect::to(&format!("/records/{id}")).into_response());
    }
    let found = if q.is_empty() {
        FindPage { q, properties: Vec::new(), clients: Vec::new(), products: Vec::new(), people: Vec::new() }
    } else {
        FindPage {
            properties: search::properties(reader, &q).await?,
            clients: search::clients(reader, &q).await?,
            products: search::products(reader, &q).await?,
            people: search::people(reader, &q).await?,
            q,
        }
    };
    Ok(page(found.render()))
}
