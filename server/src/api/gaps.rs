//! What records lack by the law of their day.

use axum::{Json, extract::State};

use crate::{
    access::OfficeOrOwner,
    api::ListQuery,
    book::gaps::{self, IncompleteRecord},
    extract::ValidQuery,
    paging::Page,
    problem::Problem,
    routes::{Routes, routes},
    state::App,
};

pub fn routes() -> Routes {
    routes!(list_gaps)
}

/// List what records lack
///
/// Records that lack something that the law of their day asks: which thing, by which rule, and how the gap is closed. Late entries
/// are among them where the law wants the record written while the work is done, and work without a certificate where one is
/// needed. The latest received first. A page looks at so many records; those whose gaps were closed since leave it shorter.
#[utoipa::path(get, path = "/api/v1/gaps", operation_id = "list_gaps", tag = "applications", security(("bearer" = ["office", "owner"])),
    params(ListQuery), responses((status = 200, description = "A page of the list.", body = Page<IncompleteRecord>)))]
async fn list_gaps(
    _: OfficeOrOwner,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<ListQuery>,
) -> Result<Json<Page<IncompleteRecord>>, Problem> {
    let span = app.cursors.span("gaps", &query, true)?;
    let page = app.cursors.page("gaps", &query, gaps::page(&app, span).await?);
    Ok(Json(Page { items: page.items.into_iter().flatten().collect(), next_cursor: page.next_cursor }))
}
