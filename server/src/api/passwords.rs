//! The own password: whoever knows the old one sets a new one, whoever forgot it does with a code of the owner's, and nobody else
//! learns it.

use axum::{
    Json,
    extract::State,
    http::{HeaderMap, StatusCode},
    response::{IntoResponse, Response},
};
use domain::{
    ids::{self, PersonId},
    time::Instant,
};
use jiff::SignedDuration;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    access::{AnyStaff, Anyone, OwnerOnly},
    api::{
        company, security_log,
        sessions::{Peer, gone, limited, no_store},
        whole,
    },
    book::office,
    extract::{PathId, Valid},
    password,
    problem::{FieldFault, Kind, Problem},
    routes::{Routes, routes},
    secret::{code_hash, new_code},
    state::App,
    store::{
        self,
        journal::JournalContext,
        people::SignIn,
        security_log::{NewSecurityEvent, SecurityEventKind},
    },
    throttle,
};

/// Time enough to call each other.
const PASSWORD_CODE_LIFE: SignedDuration = SignedDuration::from_hours(24);

pub fn routes() -> Routes {
    routes!(replace_own_password, create_password_code, replace_forgotten_password)
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
    limited(&app, &name, peer.0).await?;
    let stored = store::people::by_sign_in(reader, &name).await?.map(|(_, stored)| stored).ok_or_else(none)?;
    let told =
        |kind| NewSecurityEvent::of(kind).by(actor.person, actor.person).named(&name).from(throttle::shown(peer.0));
    if !password::fits(&app, value.old.clone(), Some(stored.clone())).await? {
        security_log::note(&app, told(SecurityEventKind::SignInFailed).saying("the old password, when changing it"))
            .await;
        return Err(Problem::invalid(vec![FieldFault::at("/old", "wrong", "is not your password")]));
    }
    let (company_name, _) = company(&app).await?;
    let same = value.old == value.new;
    let event = told(SecurityEventKind::PasswordChanged);
    let wanted = SignIn { name, password: value.new };
    let mut faults: Vec<FieldFault> = password::guessable_at("/new", &wanted, &company_name).into_iter().collect();
    faults.extend(same.then(|| FieldFault::at("/new", "contradiction", "is the old one")));
    whole(faults)?;
    let new = password::hash_of(&app, Some(&wanted)).await?.ok_or_else(none)?;
    let at = app.clock.now();
    let deed = JournalContext { actor: Some(actor), at, act: "person.changed", subject: actor.person.uuid() };
    office::change(&app, deed, move |connection| {
        Box::pin(async move {
            let done = store::people::set_password(&mut *connection, actor.person, [&stored, &new], at).await?;
            let done = done.ok_or_else(|| {
                Problem::new(Kind::Conflict, "Your password was changed a moment ago. Sign in with the new one.")
            })?;
            store::security_log::insert(connection, at, event).await?;
            Ok(done)
        })
    })
    .await?;
    let mut headers = HeaderMap::new();
    gone(&mut headers);
    Ok((StatusCode::NO_CONTENT, headers).into_response())
}

/// A code to set a new password with.
#[derive(Debug, Serialize, ToSchema)]
pub struct PasswordCode {
    /// To be typed at `/new-password` of this server. Shown once; works once.
    #[schema(max_length = 60, example = "ABCDE-FGHJK-LMNPQ-RSTUV-WXYZ2-3")]
    pub code: String,
    person_id: PersonId,
    pub expires_at: Instant,
}

/// Create a code for a forgotten password
///
/// With it the person sets a new password, which the owner never learns. Good for a day and once; a code made before ends. 409 for
/// somebody who has left, or who has no name to sign in with.
#[utoipa::path(post, path = "/api/v1/people/{id}/password-codes", operation_id = "create_password_code", tag = "people",
    security(("bearer" = ["owner"])), params(("id" = PersonId, Path, description = "Who forgot the password.")),
    responses((status = 201, description = "The code.", body = PasswordCode)))]
async fn create_password_code(
    owner: OwnerOnly,
    State(app): State<App>,
    PathId(id): PathId<ids::Person>,
) -> Result<Response, Problem> {
    let made = new_password_code(owner, &app, id).await?;
    Ok((StatusCode::CREATED, no_store(), Json(made)).into_response())
}

/// Makes and stores a code, for the API and for the owner's page.
pub async fn new_password_code(OwnerOnly(actor): OwnerOnly, app: &App, id: PersonId) -> Result<PasswordCode, Problem> {
    let code = new_code()?;
    let at = app.clock.now();
    let (digest, expires_at) = (code_hash(&code), at.plus(PASSWORD_CODE_LIFE));
    let deed = JournalContext { actor: Some(actor), at, act: "password_code.made", subject: id.uuid() };
    office::change(app, deed, move |connection| {
        Box::pin(async move {
            let person = store::people::get(&mut *connection, id).await?.ok_or_else(|| Problem::not_found("person"))?;
            if !person.active || person.sign_in.is_none() {
                let detail = "This person signs in nowhere: they have left, or have no name to sign in with.";
                return Err(Problem::new(Kind::Conflict, detail));
            }
            store::passwords::insert_code(&mut *connection, &digest, id, at, expires_at).await?;
            let event = NewSecurityEvent::of(SecurityEventKind::PasswordCodeMade).by(actor.person, id);
            store::security_log::insert(connection, at, event).await?;
            Ok(serde_json::json!({ "person_id": id, "expires_at": expires_at }))
        })
    })
    .await?;
    Ok(PasswordCode { code, person_id: id, expires_at })
}

#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({ "code": "ABCDE-FGHJK-LMNPQ-RSTUV-WXYZ2-3", "new": "four other plain words" }))]
pub struct ForgottenPasswordInput {
    /// From the owner.
    #[schema(min_length = 1, max_length = 60)]
    code: String,
    /// Fifteen characters or more; any characters.
    #[schema(min_length = 15, max_length = 200)]
    new: String,
}

impl std::fmt::Debug for ForgottenPasswordInput {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("ForgottenPasswordInput")
    }
}

/// Replace a forgotten password
///
/// With a code of the owner's. Every session and phone of the person ends. Tries are limited by address.
#[utoipa::path(put, path = "/api/v1/forgotten-password", operation_id = "replace_forgotten_password", tag = "sessions", security(()),
    request_body = ForgottenPasswordInput, responses((status = 204, description = "Set; sign in with it.")))]
pub async fn replace_forgotten_password(
    _: Anyone,
    State(app): State<App>,
    peer: Peer,
    Valid { value, .. }: Valid<ForgottenPasswordInput>,
) -> Result<StatusCode, Problem> {
    app.throttle.count_address(peer.0)?;
    let (digest, at) = (code_hash(&value.code), app.clock.now());
    let address = throttle::shown(peer.0);
    let Some((actor, name)) = store::passwords::by_code(app.store.reader(), &digest, at).await? else {
        let event = NewSecurityEvent::of(SecurityEventKind::SignInFailed).from(address);
        security_log::note(&app, event.saying("with a code for a new password")).await;
        let detail = "is wrong, used or older than a day; ask the owner for a new one";
        return Err(Problem::invalid(vec![FieldFault::at("/code", "unknown_value", detail)]));
    };
    let (company_name, _) = company(&app).await?;
    let wanted = SignIn { name, password: value.new };
    whole(password::guessable_at("/new", &wanted, &company_name).into_iter().collect())?;
    let gone =
        || Problem::new(Kind::Conflict, "The code was used a moment ago. Sign in with the password that was set.");
    let new = password::hash_of(&app, Some(&wanted)).await?.ok_or_else(gone)?;
    let event = NewSecurityEvent::of(SecurityEventKind::PasswordChanged).by(actor.person, actor.person).from(address);
    let deed = JournalContext { actor: Some(actor), at, act: "person.changed", subject: actor.person.uuid() };
    office::change(&app, deed, move |connection| {
        Box::pin(async move {
            let done = store::passwords::spend_code(&mut *connection, &digest, actor.person, &new, at).await?;
            let done = done.ok_or_else(gone)?;
            store::security_log::insert(connection, at, event.saying("with a code of the owner's")).await?;
            Ok(done)
        })
    })
    .await?;
    Ok(StatusCode::NO_CONTENT)
}
