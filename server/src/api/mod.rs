//! One noun a file: request and response types and handlers. They translate and decide nothing.

mod applications;
mod checks;
mod clearances;
mod clients;
mod corrections;
mod journal;
mod people;
mod products;
mod properties;
mod reviews;
mod rule_sets;
mod sections;
mod sessions;
mod statements;
mod visits;

use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::router::OpenApiRouter;

use crate::{app::App, reply::PageQuery};

/// Every route of the API. What is not listed here does not exist.
pub fn routes() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .merge(sessions::routes())
        .merge(people::routes())
        .merge(clients::routes())
        .merge(properties::routes())
        .merge(sections::routes())
        .merge(products::routes())
        .merge(visits::routes())
        .merge(rule_sets::routes())
        .merge(checks::routes())
        .merge(clearances::routes())
        .merge(applications::routes())
        .merge(corrections::routes())
        .merge(reviews::routes())
        .merge(statements::routes())
        .merge(journal::routes())
}

/// The query of a list without a filter of its own.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct ListQuery {
    /// Entries on a page, 50 unless said otherwise.
    #[serde(default)]
    #[param(minimum = 1, maximum = 200)]
    #[schema(minimum = 1, maximum = 200)]
    pub limit: Option<i64>,
    /// `next_cursor` of the page before.
    #[serde(default)]
    #[param(max_length = 300)]
    #[schema(max_length = 300)]
    pub cursor: Option<String>,
}

impl PageQuery for ListQuery {
    fn limit(&self) -> Option<i64> {
        self.limit
    }

    fn cursor(&self) -> Option<&str> {
        self.cursor.as_deref()
    }
}
