//! The security log, for the owner and the owner's scripts.

use axum::{Json, extract::State};

use crate::{
    access::OwnerOnly,
    api::ListQuery,
    extract::ValidQuery,
    paging::Page,
    problem::Problem,
    routes::{Routes, routes},
    state::App,
    store::{self, security_log::SecurityEvent},
};

pub fn routes() -> Routes {
    routes!(list_security_events)
}

/// List the security log
///
/// The newest first: who signed in, who failed to and from where, resets, codes, changes of role, and what was read with a pass. Lines older
/// than `security_log_days` of the settings are deleted.
#[utoipa::path(get, path = "/api/v1/security-log", operation_id = "list_security_events", tag = "people", security(("bearer" = ["owner"])),
    params(ListQuery), responses((status = 200, description = "A page of the security log.", body = Page<SecurityEvent>)))]
async fn list_security_events(
    _: OwnerOnly,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<ListQuery>,
) -> Result<Json<Page<SecurityEvent>>, Problem> {
    let span = app.cursors.span("security-log", &query, true)?;
    let rows = store::security_log::list(app.store.reader(), span).await?;
    Ok(Json(app.cursors.page("security-log", &query, rows)))
}
