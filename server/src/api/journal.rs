//! The journal.

use axum::{Json, extract::State};
use domain::ids::RecordId;
use serde::{Deserialize, Serialize};
use utoipa::IntoParams;

use crate::{
    access::OwnerOnly,
    extract::ValidQuery,
    paging::{Page, Paged},
    problem::Problem,
    routes::{Routes, routes},
    state::App,
    store::{self, journal::JournalEntry},
};

pub fn routes() -> Routes {
    routes!(list_journal_entries)
}

/// Which entries to list.
#[derive(Debug, Clone, Serialize, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
struct JournalFilter {
    /// Only entries about this thing.
    #[serde(default)]
    subject_id: Option<RecordId>,
}

type JournalQuery = Paged<JournalFilter>;

/// List journal entries
///
/// Everything that was written, oldest first. Each hash covers the entry before it and its own content, so that a change
/// anywhere shows; `swardbook verify` recomputes the chain and every total.
#[utoipa::path(get, path = "/api/v1/journal", operation_id = "list_journal_entries", tag = "journal", security(("bearer" = ["owner"])),
    params(JournalQuery), responses((status = 200, description = "A page of the journal.", body = Page<JournalEntry>)))]
async fn list_journal_entries(
    _: OwnerOnly,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<JournalQuery>,
) -> Result<Json<Page<JournalEntry>>, Problem> {
    let span = app.cursors.span("journal", &query, false)?;
    let rows = store::journal::list(app.store.reader(), span, query.subject_id.map(|id| id.to_string())).await?;
    Ok(Json(app.cursors.page("journal", &query, rows)))
}
