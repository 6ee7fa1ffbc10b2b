//! How the company writes on its pages.

use axum::{Json, extract::State, response::Response};

use crate::{
    access::{AnyStaff, OwnerOnly},
    book::office,
    extract::{IfMatch, IfNoneMatch, Valid},
    problem::Problem,
    reply,
    routes::{Routes, routes},
    state::App,
    store::{
        self,
        journal::JournalContext,
        settings::{SUBJECT, Settings, SettingsInput},
    },
};

pub fn routes() -> Routes {
    routes!(get_settings, replace_settings)
}

/// Get the company's settings
///
/// With the version that a change must name.
#[utoipa::path(get, path = "/api/v1/settings", operation_id = "get_settings", tag = "settings", security(("bearer" = ["any staff"])),
    responses((status = 304, description = "You have this version already."), (status = 200, description = "The settings.", body = Settings)))]
async fn get_settings(_: AnyStaff, State(app): State<App>, known: IfNoneMatch) -> Result<Response, Problem> {
    Ok(reply::json_with_etag(&known, &store::settings::get(app.store.reader()).await?))
}

/// Replace the company's settings
///
/// How pages write a day, when an unused sign-in ends, and how long the security log is kept. Nothing that is stored or decided changes with it.
#[utoipa::path(put, path = "/api/v1/settings", operation_id = "replace_settings", tag = "settings", security(("bearer" = ["owner"])),
    params(IfMatch), request_body = SettingsInput, responses((status = 200, description = "Changed.", body = Settings)))]
pub async fn replace_settings(
    OwnerOnly(actor): OwnerOnly,
    State(app): State<App>,
    if_match: IfMatch,
    Valid { value, .. }: Valid<SettingsInput>,
) -> Result<Json<Settings>, Problem> {
    let deed = JournalContext { actor: Some(actor), at: app.clock.now(), act: "settings.changed", subject: SUBJECT };
    let changed = office::change(&app, deed, move |connection| {
        Box::pin(
            async move { store::settings::update(connection, &value, if_match.versions).await?.or_problem("settings") },
        )
    });
    changed.await.map(Json)
}
