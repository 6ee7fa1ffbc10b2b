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
/// needed. The latest received first. Records whose gaps were closed since are passed over; one answer looks at 500 records at most, so a
/// page may be short or empty and still name a cursor.
#[utoipa::path(get, path = "/api/v1/gaps", operation_id = "list_gaps", tag = "applications", security(("bearer" = ["office", "owner"])),
    params(ListQuery), responses((status = 200, description = "A page of the list.", body = Page<IncompleteRecord>)))]
async fn list_gaps(
    _: OfficeOrOwner,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<ListQuery>,
) -> Result<Json<Page<IncompleteRecord>>, Problem> {
    let span = app.cursors.span("gaps", &query, true)?;
    let most = usize::try_from(span.take - 1).unwrap_or_default();
    let found = gaps::page(&app, span.after, most).await?;
    Ok(Json(app.cursors.chosen("gaps", &query, found.records, found.goes_on_after)))
}
