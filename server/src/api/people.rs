//! Staff, and the phones they are let in with.

use axum::{
    Json,
    extract::State,
    http::StatusCode,
    response::{IntoResponse, Response},
};
use domain::{
    actor::Role,
    ids::{self, DeviceId, PersonId},
    time::Instant,
};
use jiff::SignedDuration;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    access::{Anyone, OfficeOrOwner, OwnerOnly},
    api::{
        ListQuery, company, security_log,
        sessions::{Peer, issue_token, no_store},
        whole,
    },
    book::office::{self, IdempotentRequest},
    extract::{IdempotencyKey, IfMatch, IfNoneMatch, PathId, Valid, ValidQuery},
    paging::Page,
    password,
    problem::{FieldFault, Kind, Problem},
    reply::{self, Created},
    routes::{Routes, routes},
    secret::{code_hash, new_code, new_token, sha256},
    state::App,
    store::{
        self,
        devices::Device,
        journal::JournalContext,
        people::{Person, PersonInput},
        security_log::{NewSecurityEvent, SecurityEventKind},
        sessions::{NewToken, PHONE},
    },
    throttle,
};

pub fn routes() -> Routes {
    routes!(
        create_person,
        list_people,
        get_person,
        replace_person,
        create_enrolment_code,
        enrol_device,
        list_devices,
        revoke_device
    )
}

/// A code must be typed from one screen into another, no more.
const CODE_LIFE: SignedDuration = SignedDuration::from_mins(10);

/// Create a person
///
/// A technician needs no password: the phone is enrolled with a one-time code.
#[utoipa::path(post, path = "/api/v1/people", operation_id = "create_person", tag = "people", security(("bearer" = ["owner"])),
    params(IdempotencyKey), request_body = PersonInput,
    responses((status = 201, description = "Added.", body = Person, headers(("Location" = String, description = "Where it is.")))))]
pub async fn create_person(
    OwnerOnly(actor): OwnerOnly,
    State(app): State<App>,
    key: IdempotencyKey,
    Valid { value, fingerprint }: Valid<PersonInput>,
) -> Result<Created, Problem> {
    needs_sign_in(&value)?;
    let password = new_password(&app, &value).await?;
    let at = app.clock.now();
    let id: PersonId = app.ids.next(at);
    let deed = JournalContext { actor: Some(actor), at, act: "person.added", subject: id.uuid() };
    let repeat = IdempotentRequest { key, route: "create_person", fingerprint };
    office::create(&app, deed, repeat, format!("/api/v1/people/{id}"), move |connection| {
        Box::pin(async move {
            let added = store::people::insert(&mut *connection, id, &value, password.as_deref(), at).await;
            let added = added.map_err(|error| name_taken(error.into()))?;
            let event = NewSecurityEvent::of(SecurityEventKind::PersonAdded).by(actor.person, id);
            store::security_log::insert(connection, at, event.saying(value.role.label())).await?;
            Ok(added)
        })
    })
    .await
}

/// The stored form of the password that a person is given, if one is.
async fn new_password(app: &App, input: &PersonInput) -> Result<Option<String>, Problem> {
    let (company, _) = company(app).await?;
    whole(input.sign_in.iter().filter_map(|sign_in| password::guessable(sign_in, &company)).collect())?;
    password::hash_of(app, input.sign_in.as_ref()).await
}

/// Owner and office have no phone to come in by at first.
fn needs_sign_in(input: &PersonInput) -> Result<(), Problem> {
    if input.role != Role::Technician && input.sign_in.is_none() {
        let fault = FieldFault::at(
            "/sign_in",
            "missing",
            "is required for office and owner; only a technician comes in by phone alone",
        );
        return Err(Problem::invalid(vec![fault]));
    }
    Ok(())
}

/// A name to sign in with that somebody has already.
fn name_taken(error: ConstraintOr) -> Problem {
    match error {
        ConstraintOr::SignInTaken => {
            Problem::new(Kind::Conflict, "Somebody signs in with this name already; choose another.")
        }
        ConstraintOr::Other(error) => error.into(),
    }
}

enum ConstraintOr {
    SignInTaken,
    Other(sqlx::Error),
}

impl From<sqlx::Error> for ConstraintOr {
    fn from(error: sqlx::Error) -> Self {
        if store::broken_constraint(&error) == Some("people.sign_in") { Self::SignInTaken } else { Self::Other(error) }
    }
}

/// List people
///
/// In the order in which they were added.
#[utoipa::path(get, path = "/api/v1/people", operation_id = "list_people", tag = "people", security(("bearer" = ["office", "owner"])),
    params(ListQuery), responses((status = 200, description = "A page of people.", body = Page<Person>)))]
async fn list_people(
    _: OfficeOrOwner,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<ListQuery>,
) -> Result<Json<Page<Person>>, Problem> {
    let span = app.cursors.span("people", &query, false)?;
    let rows = store::people::list(app.store.reader(), span).await?;
    Ok(Json(app.cursors.page("people", &query, rows)))
}

/// Get a person
///
/// With the version that a change must name.
#[utoipa::path(get, path = "/api/v1/people/{id}", operation_id = "get_person", tag = "people", security(("bearer" = ["office", "owner"])),
    params(("id" = PersonId, Path, description = "The person.")), responses((status = 304, description = "You have this version already."), (status = 200, description = "The person.", body = Person)))]
async fn get_person(
    _: OfficeOrOwner,
    State(app): State<App>,
    known: IfNoneMatch,
    PathId(id): PathId<ids::Person>,
) -> Result<Response, Problem> {
    let person = store::people::get(app.store.reader(), id).await?.ok_or_else(|| Problem::not_found("person"))?;
    Ok(reply::json_with_etag(&known, &person))
}

/// Replace a person
///
/// Replaces name, role and activity. `sign_in` sets a new name and password and ends every session; without it the old ones
/// stay. `active: false` ends everything the person may do, at once. The last owner cannot be ended.
#[utoipa::path(put, path = "/api/v1/people/{id}", operation_id = "replace_person", tag = "people", security(("bearer" = ["owner"])),
    params(("id" = PersonId, Path, description = "The person."), IfMatch), request_body = PersonInput,
    responses((status = 200, description = "Changed.", body = Person)))]
pub async fn replace_person(
    OwnerOnly(actor): OwnerOnly,
    State(app): State<App>,
    PathId(id): PathId<ids::Person>,
    if_match: IfMatch,
    Valid { value, .. }: Valid<PersonInput>,
) -> Result<Json<Person>, Problem> {
    let password = new_password(&app, &value).await?;
    let at = app.clock.now();
    let deed = JournalContext { actor: Some(actor), at, act: "person.changed", subject: id.uuid() };
    let changed = office::change(&app, deed, move |connection| {
        Box::pin(async move {
            let before = store::people::get(&mut *connection, id).await?.ok_or_else(|| Problem::not_found("person"))?;
            let owner_ends = before.role == Role::Owner && (value.role != Role::Owner || !value.active);
            if owner_ends && store::people::other_owners(connection, id).await? == 0 {
                return Err(Problem::new(Kind::Conflict, "This is the last owner. Make somebody else an owner first."));
            }
            if before.sign_in.is_none() {
                needs_sign_in(&value)?;
            }
            let versions = if_match.versions;
            let done = store::people::update(&mut *connection, id, &value, password.as_deref(), versions, at).await;
            let done = done.map_err(|error| name_taken(error.into()))?.or_problem("person")?;
            for event in told(&before, &value, password.is_some()) {
                store::security_log::insert(&mut *connection, at, event.by(actor.person, id)).await?;
            }
            Ok(done)
        })
    });
    changed.await.map(Json)
}

/// What a change of a person means for the security log.
fn told(before: &Person, after: &PersonInput, new_password: bool) -> Vec<NewSecurityEvent> {
    let role = || format!("{} to {}", before.role.label(), after.role.label());
    let events = [
        new_password.then(|| NewSecurityEvent::of(SecurityEventKind::PasswordReset)),
        (before.role != after.role).then(|| NewSecurityEvent::of(SecurityEventKind::RoleChanged).saying(role())),
        (before.active && !after.active).then(|| NewSecurityEvent::of(SecurityEventKind::AccessEnded)),
        (!before.active && after.active).then(|| NewSecurityEvent::of(SecurityEventKind::AccessReturned)),
    ];
    events.into_iter().flatten().collect()
}

/// A code to enrol one phone with.
#[derive(Debug, Serialize, ToSchema)]
pub struct EnrolmentCode {
    /// Type it into the phone, or send it there. Shown once; works once.
    #[schema(max_length = 60, example = "ABCDE-FGHJK-LMNPQ-RSTUV-WXYZ2-3")]
    pub code: String,
    person_id: PersonId,
    pub expires_at: Instant,
}

/// Create an enrolment code
///
/// Good for ten minutes and for one phone. 409 for a person who is no longer active.
#[utoipa::path(post, path = "/api/v1/people/{id}/enrolment-codes", operation_id = "create_enrolment_code", tag = "people",
    security(("bearer" = ["office", "owner"])), params(("id" = PersonId, Path, description = "Whose phone it is.")),
    responses((status = 201, description = "The code.", body = EnrolmentCode)))]
async fn create_enrolment_code(
    office: OfficeOrOwner,
    State(app): State<App>,
    PathId(id): PathId<ids::Person>,
) -> Result<Response, Problem> {
    let made = new_enrolment_code(office, &app, id).await?;
    Ok((StatusCode::CREATED, no_store(), Json(made)).into_response())
}

/// Makes and stores a code, for the API and for the office's page.
pub async fn new_enrolment_code(
    OfficeOrOwner(actor): OfficeOrOwner,
    app: &App,
    id: PersonId,
) -> Result<EnrolmentCode, Problem> {
    let code = new_code()?;
    let at = app.clock.now();
    let (digest, expires_at) = (code_hash(&code), at.plus(CODE_LIFE));
    let deed = JournalContext { actor: Some(actor), at, act: "enrolment_code.made", subject: id.uuid() };
    office::change(app, deed, move |connection| {
        Box::pin(async move {
            let person = store::people::get(&mut *connection, id).await?.ok_or_else(|| Problem::not_found("person"))?;
            if actor.role != Role::Owner && person.role != Role::Technician {
                return Err(Problem::new(
                    Kind::NotAllowed,
                    "The office connects technicians' phones; only the owner connects the phones of others.",
                ));
            }
            if !person.active {
                return Err(Problem::new(
                    Kind::Conflict,
                    "This person has left: their phone would be let in to nothing. Make the person active first.",
                ));
            }
            store::devices::insert_code(&mut *connection, &digest, id, at, expires_at).await?;
            let event = NewSecurityEvent::of(SecurityEventKind::EnrolmentCodeMade).by(actor.person, id);
            store::security_log::insert(connection, at, event).await?;
            Ok(serde_json::json!({ "person_id": id, "expires_at": expires_at }))
        })
    })
    .await?;
    Ok(EnrolmentCode { code, person_id: id, expires_at })
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({ "code": "ABCDE-FGHJK-LMNPQ-RSTUV-WXYZ2-3", "name": "Phone of Tech 01" }))]
struct DeviceInput {
    #[schema(min_length = 1, max_length = 60)]
    code: String,
    /// How the office knows the phone.
    #[schema(min_length = 1, max_length = 80, format = "line")]
    name: String,
    /// A page asks: the token is put into a cookie that no script can read, and left out of the answer.
    #[serde(default)]
    in_browser: bool,
}

/// An enrolled phone and its token.
#[derive(Debug, Serialize, ToSchema)]
struct EnrolledDevice {
    device: Device,
    /// Send it as `Authorization: Bearer`. Shown once; only its hash is kept. Null when the browser has it in its cookie.
    #[schema(max_length = 100)]
    token: Option<String>,
    expires_at: Instant,
}

/// Enrol a device
///
/// Spends a one-time code and answers the phone's own token, good for 180 days and revocable at any time.
#[utoipa::path(post, path = "/api/v1/devices", operation_id = "enrol_device", tag = "people", security(()), request_body = DeviceInput,
    responses((status = 201, description = "Enrolled.", body = EnrolledDevice)))]
async fn enrol_device(
    _: Anyone,
    State(app): State<App>,
    peer: Peer,
    Valid { value, .. }: Valid<DeviceInput>,
) -> Result<Response, Problem> {
    // A code has 128 bits: the address alone is counted, so that an office can enrol a whole crew.
    app.throttle.count_address(peer.0)?;
    let token = new_token()?;
    let at = app.clock.now();
    let id: DeviceId = app.ids.next(at);
    let (code, digest, expires_at) = (code_hash(&value.code), sha256(&token), at.plus(PHONE));
    let (in_browser, address) = (value.in_browser, throttle::shown(peer.0));
    let deed = JournalContext { actor: None, at, act: "device.enrolled", subject: id.uuid() };
    let failed = NewSecurityEvent::of(SecurityEventKind::SignInFailed).named(&value.name).from(address.clone());
    let device = office::change(&app, deed, move |connection| {
        Box::pin(async move {
            let person = store::devices::spend_code(connection, &code, at).await?;
            let person = person.ok_or_else(|| {
                Problem::new(
                    Kind::NotSignedIn,
                    "The code is wrong, used or older than ten minutes. Ask the office for a new one.",
                )
            })?;
            let device = store::devices::insert(connection, id, person, &value.name, at).await?;
            let token = NewToken { hash: &digest, person, device: Some(id), name: &value.name, at, expires_at };
            store::sessions::insert_token(&mut *connection, &token).await?;
            let event = NewSecurityEvent::of(SecurityEventKind::PhoneConnected).by(person, person);
            store::security_log::insert(connection, at, event.named(&value.name).from(address)).await?;
            Ok(device)
        })
    });
    let device = device.await;
    if let Err(problem) = &device
        && problem.is(Kind::NotSignedIn)
    {
        security_log::note(&app, failed.saying("with a code for a phone")).await;
    }
    let device = device?;
    let (headers, token) = issue_token(token, in_browser, PHONE);
    Ok((StatusCode::CREATED, headers, Json(EnrolledDevice { device, token, expires_at })).into_response())
}

/// List devices
///
/// Those that were locked out too.
#[utoipa::path(get, path = "/api/v1/devices", operation_id = "list_devices", tag = "people", security(("bearer" = ["office", "owner"])),
    params(ListQuery), responses((status = 200, description = "A page of phones.", body = Page<Device>)))]
async fn list_devices(
    _: OfficeOrOwner,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<ListQuery>,
) -> Result<Json<Page<Device>>, Problem> {
    let span = app.cursors.span("devices", &query, false)?;
    let rows = store::devices::list(app.store.reader(), span).await?;
    Ok(Json(app.cursors.page("devices", &query, rows)))
}

/// Revoke a device
///
/// At once. What it had not yet sent stays on it and can be sent after it is enrolled again.
#[utoipa::path(delete, path = "/api/v1/devices/{id}", operation_id = "revoke_device", tag = "people", security(("bearer" = ["office", "owner"])),
    params(("id" = DeviceId, Path, description = "The phone.")), responses((status = 200, description = "Locked out.", body = Device)))]
pub async fn revoke_device(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    PathId(id): PathId<ids::Device>,
) -> Result<Json<Device>, Problem> {
    let at = app.clock.now();
    let deed = JournalContext { actor: Some(actor), at, act: "device.revoked", subject: id.uuid() };
    let revoked = office::change_once(&app, deed, move |connection| {
        Box::pin(async move {
            let changed = store::devices::revoke(&mut *connection, id, at).await?;
            let device =
                store::devices::get(&mut *connection, id).await?.ok_or_else(|| Problem::not_found("device"))?;
            if changed {
                let event = NewSecurityEvent::of(SecurityEventKind::PhoneSignedOut).by(actor.person, device.person_id);
                store::security_log::insert(connection, at, event.named(&device.name)).await?;
            }
            Ok((device, changed))
        })
    });
    revoked.await.map(Json)
}
