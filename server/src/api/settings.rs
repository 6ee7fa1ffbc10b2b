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
    token_uses,
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
    let at = app.clock.now();
    let deed = JournalContext { actor: Some(actor), at, act: "settings.changed", subject: SUBJECT };
    token_uses::write_down(&app).await?;
    let changed = office::change(&app, deed, move |connection| {
        Box::pin(async move {
            // What has ended by what was allowed until now does not come back by what is allowed from now on.
            store::sessions::end_idle(&mut *connection, at).await?;
            store::settings::update(connection, &value, if_match.versions).await?.or_problem("settings")
        })
    });
    changed.await.map(Json)
}
