//! The own password: whoever knows the old one sets a new one, whoever forgot it does with a code of the owner's, and nobody else
//! learns it.

use std::net::IpAddr;

use axum::{
    Json,
    extract::State,
    http::{HeaderMap, StatusCode},
    response::{IntoResponse, Response},
};
use domain::{
    actor::Actor,
    ids::{self, PersonId},
    time::Instant,
};
use jiff::SignedDuration;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    access::{
        AnyStaff, Anyone, OwnToken, OwnerOnly,
        again::Confirmed,
        tries::{self, limited},
    },
    api::{
        company,
        sessions::{Peer, gone, no_store},
        whole,
    },
    book::office,
    extract::{PathId, Valid},
    password,
    problem::{FieldFault, Kind, Problem},
    routes::{Routes, routes},
    secret::{code_hash, new_code, sha256},
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

/// How the security log calls such a code.
const CODE_OF_A_PASSWORD: &str = "with a code for a new password";

/// And a wrong password where it is asked for again.
const SHOWN_AGAIN: &str = "the password, when asked for it again";

pub fn routes() -> Routes {
    routes!(replace_own_password, confirm_session, create_password_code, replace_forgotten_password)
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
    let none = no_password;
    let Own { name, stored } =
        own(&app, actor, peer.0, "/old", value.old.clone(), "the old password, when changing it").await?;
    let (company_name, _) = company(&app).await?;
    let same = value.old == value.new;
    let event = NewSecurityEvent::of(SecurityEventKind::PasswordChanged).by(actor.person, actor.person).named(&name);
    let event = event.from(throttle::shown(peer.0));
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

/// Who has no password cannot show one.
fn no_password() -> Problem {
    Problem::new(Kind::Conflict, "You sign in without a password: the phone was connected with a code.")
}

/// The own password as it is stored, and the name that goes with it.
struct Own {
    name: String,
    stored: String,
}

/// Looks at the password that somebody who is let in shows again. Tries are limited like those to sign in, and a wrong one stands in
/// the security log.
async fn own(
    app: &App,
    actor: Actor,
    address: Option<IpAddr>,
    pointer: &str,
    password: String,
    when: &str,
) -> Result<Own, Problem> {
    let reader = app.store.reader();
    let person = store::people::get(reader, actor.person).await?.ok_or_else(|| Problem::not_found("person"))?;
    let name = person.sign_in.ok_or_else(no_password)?;
    limited(app, &name, address).await?;
    let stored = store::people::by_sign_in(reader, &name).await?.map(|(_, stored)| stored).ok_or_else(no_password)?;
    if password::fits(app, password, Some(stored.clone())).await? {
        return Ok(Own { name, stored });
    }
    let wrong = NewSecurityEvent::of(SecurityEventKind::SignInFailed).by(actor.person, actor.person).named(&name);
    tries::note(app, wrong.from(throttle::shown(address)).saying(when)).await;
    Err(Problem::invalid(vec![FieldFault::at(pointer, "wrong", "is not your password")]))
}

/// Looks at the password that somebody typed into a form that asks for it again.
pub async fn confirmed_by(
    app: &App,
    actor: Actor,
    address: Option<IpAddr>,
    pointer: &str,
    password: &str,
) -> Result<Confirmed, Problem> {
    if password.is_empty() {
        return Ok(Confirmed::not());
    }
    let Own { name, .. } = own(app, actor, address, pointer, password.to_owned(), SHOWN_AGAIN).await?;
    let event = NewSecurityEvent::of(SecurityEventKind::PasswordConfirmed).by(actor.person, actor.person).named(&name);
    tries::note(app, event.from(throttle::shown(address))).await;
    Ok(Confirmed::just_now())
}

#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({ "password": "three plain words here" }))]
struct ConfirmationOfSessionInput {
    #[schema(min_length = 1, max_length = 200)]
    password: String,
}

impl std::fmt::Debug for ConfirmationOfSessionInput {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("ConfirmationOfSessionInput")
    }
}

/// That the password was shown again.
#[derive(Debug, Serialize, ToSchema)]
struct ConfirmationOfSession {
    /// Until when it may do what asks for the password.
    confirmed_until: Instant,
}

/// Confirm the session with the password
///
/// For what lets somebody in or shuts somebody out, which is refused with `password-needed` otherwise: adding an owner; changing a role, who
/// works here or the password of a person; codes for a forgotten password, and for the phones of office and owner; locking out another
/// person's phone; a pass for the whole company. It counts for the session or phone that asks, for five minutes. 409 for somebody who has
/// no password. Tries are limited like those to sign in.
#[utoipa::path(put, path = "/api/v1/sessions/current/confirmation", operation_id = "confirm_session", tag = "sessions",
    security(("bearer" = ["any staff"])), request_body = ConfirmationOfSessionInput,
    responses((status = 200, description = "Confirmed.", body = ConfirmationOfSession)))]
async fn confirm_session(
    AnyStaff(actor): AnyStaff,
    State(app): State<App>,
    OwnToken(token): OwnToken,
    peer: Peer,
    Valid { value, .. }: Valid<ConfirmationOfSessionInput>,
) -> Result<Json<ConfirmationOfSession>, Problem> {
    let Own { name, .. } = own(&app, actor, peer.0, "/password", value.password, SHOWN_AGAIN).await?;
    let (at, digest) = (app.clock.now(), sha256(&token));
    let event = NewSecurityEvent::of(SecurityEventKind::PasswordConfirmed).by(actor.person, actor.person).named(&name);
    let event = event.from(throttle::shown(peer.0));
    let until = app.store.write(move |connection| {
        Box::pin(async move {
            let until = store::sessions::confirm(&mut *connection, &digest, at).await?;
            store::security_log::insert(connection, at, event).await?;
            Ok(until)
        })
    });
    Ok(Json(ConfirmationOfSession { confirmed_until: until.await? }))
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
/// somebody who has left, or who has no name to sign in with. Asks for the password again: 403 `password-needed`.
#[utoipa::path(post, path = "/api/v1/people/{id}/password-codes", operation_id = "create_password_code", tag = "people",
    security(("bearer" = ["owner"])), params(("id" = PersonId, Path, description = "Who forgot the password.")),
    responses((status = 201, description = "The code.", body = PasswordCode)))]
async fn create_password_code(
    owner: OwnerOnly,
    State(app): State<App>,
    confirmed: Confirmed,
    PathId(id): PathId<ids::Person>,
) -> Result<Response, Problem> {
    let made = new_password_code(owner, &app, confirmed, id).await?;
    Ok((StatusCode::CREATED, no_store(), Json(made)).into_response())
}

/// Makes and stores a code, for the API and for the owner's page.
pub async fn new_password_code(
    OwnerOnly(actor): OwnerOnly,
    app: &App,
    confirmed: Confirmed,
    id: PersonId,
) -> Result<PasswordCode, Problem> {
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
            confirmed.needed("make a code with which somebody sets a new password")?;
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
    tries::limited_code(&app, CODE_OF_A_PASSWORD, peer.0).await?;
    let (digest, at) = (code_hash(&value.code), app.clock.now());
    let address = throttle::shown(peer.0);
    let Some((actor, name)) = store::passwords::by_code(app.store.reader(), &digest, at).await? else {
        tries::failed_code(&app, CODE_OF_A_PASSWORD, peer.0).await;
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
