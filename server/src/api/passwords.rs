//! The own password: whoever knows the old one sets a new one, and nobody else learns it.

use axum::{
    extract::State,
    http::{HeaderMap, StatusCode},
    response::{IntoResponse, Response},
};
use serde::Deserialize;
use utoipa::ToSchema;

use crate::{
    access::AnyStaff,
    api::{
        company,
        sessions::{Peer, gone},
        whole,
    },
    book::office,
    extract::Valid,
    password,
    problem::{FieldFault, Kind, Problem},
    routes::{Routes, routes},
    state::App,
    store::{self, journal::JournalContext, people::SignIn},
};

pub fn routes() -> Routes {
    routes!(replace_own_password)
}

#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({ "old": "three plain words here", "new": "four other plain words" }))]
pub struct OwnPasswordInput {
    #[schema(min_length = 1, max_length = 200)]
    old: String,
    /// Fifteen characters or more; any characters.
    #[schema(min_length = 15, max_length = 200)]
    new: String,
}

impl std::fmt::Debug for OwnPasswordInput {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("OwnPasswordInput")
    }
}

/// Replace the own password
///
/// The old one is asked for, so that an open screen is not enough. Every session and phone of the caller ends, this one too: sign
/// in anew, and connect the phone again. 409 for somebody who has no password. Tries are limited like those to sign in.
#[utoipa::path(put, path = "/api/v1/me/password", operation_id = "replace_own_password", tag = "sessions",
    security(("bearer" = ["any staff"])), request_body = OwnPasswordInput,
    responses((status = 204, description = "Changed, and signed out everywhere.")))]
pub async fn replace_own_password(
    AnyStaff(actor): AnyStaff,
    State(app): State<App>,
    peer: Peer,
    Valid { value, .. }: Valid<OwnPasswordInput>,
) -> Result<Response, Problem> {
    let reader = app.store.reader();
    let person = store::people::get(reader, actor.person).await?.ok_or_else(|| Problem::not_found("person"))?;
    let none = || Problem::new(Kind::Conflict, "You sign in without a password: the phone was connected with a code.");
    let name = person.sign_in.ok_or_else(none)?;
    app.throttle.count(&name, peer.0)?;
    let stored = store::people::by_sign_in(reader, &name).await?.map(|(_, stored)| stored).ok_or_else(none)?;
    if !password::fits(&app, value.old.clone(), Some(stored.clone())).await? {
        return Err(Problem::invalid(vec![FieldFault::at("/old", "wrong", "is not your password")]));
    }
    let (company_name, _) = company(&app).await?;
    let same = value.old == value.new;
    let wanted = SignIn { name, password: value.new };
    let mut faults: Vec<FieldFault> = password::guessable_at("/new", &wanted, &company_name).into_iter().collect();
    faults.extend(same.then(|| FieldFault::at("/new", "contradiction", "is the old one")));
    whole(faults)?;
    let new = password::hash_of(&app, Some(&wanted)).await?.ok_or_else(none)?;
    let at = app.clock.now();
    let deed = JournalContext { actor: Some(actor), at, act: "person.changed", subject: actor.person.uuid() };
    office::change(&app, deed, move |connection| {
        Box::pin(async move {
            let done = store::people::set_password(connection, actor.person, [&stored, &new], at).await?;
            done.ok_or_else(|| {
                Problem::new(Kind::Conflict, "Your password was changed a moment ago. Sign in with the new one.")
            })
        })
    })
    .await?;
    let mut headers = HeaderMap::new();
    gone(&mut headers);
    Ok((StatusCode::NO_CONTENT, headers).into_response())
}
