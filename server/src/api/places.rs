//! Where coordinates lie, for the person who confirms a property's rule sets.

use axum::{Json, extract::State};
use serde::{Deserialize, Serialize};
use utoipa::IntoParams;

use crate::{
    access::OfficeOrOwner,
    extract::ValidQuery,
    places::{self, Suggestion},
    problem::Problem,
    routes::{Routes, routes},
    state::App,
};

pub fn routes() -> Routes {
    routes!(get_place_suggestion)
}

#[derive(Debug, Clone, Serialize, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct PlaceQuery {
    /// Degrees north of the equator.
    #[param(minimum = -90, maximum = 90, example = 38.98)]
    latitude: f64,
    /// Degrees east of Greenwich, so negative in the Americas.
    #[param(minimum = -180, maximum = 180, example = -76.49)]
    longitude: f64,
}

/// Get a suggestion of the jurisdictions of a place
///
/// State and county by their boundaries, without any network, and the rule sets of towns among which a person chooses. A
/// suggestion: a person confirms it, because boundaries are drawn coarsely here and a town's rules are the town's to tell. Beaches
/// and small islands are left out of the boundaries: a point no more than two miles outside of them belongs to the nearest
/// county, and so does one that lies as near across the border of the country. Counties are those of 2017.
#[utoipa::path(get, path = "/api/v1/places", operation_id = "get_place_suggestion", tag = "properties",
    security(("bearer" = ["office", "owner"])), params(PlaceQuery),
    responses((status = 200, description = "What the coordinates say.", body = Suggestion)))]
async fn get_place_suggestion(
    _: OfficeOrOwner,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<PlaceQuery>,
) -> Result<Json<Suggestion>, Problem> {
    // The first call reads the table of counties, which takes a moment.
    let law = app.law();
    let found = tokio::task::spawn_blocking(move || places::suggest(query.latitude, query.longitude, &law)).await;
    found.map(Json).map_err(|error| Problem::fault(&error))
}
