//! Phones and scripts: the codes they are enrolled with, and how they are locked out.

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
    access::{Anyone, OfficeOrOwner, again::Confirmed, tries},
    api::{
        ListQuery,
        sessions::{Peer, issue_token, no_store},
    },
    book::office,
    extract::{PathId, Valid, ValidQuery},
    paging::Page,
    problem::{Kind, Problem},
    routes::{Routes, routes},
    secret::{code_hash, new_code, new_token, sha256},
    state::App,
    store::{
        self,
        devices::Device,
        journal::JournalContext,
        security_log::{NewSecurityEvent, SecurityEventKind},
        sessions::{NewToken, PHONE},
    },
    throttle,
};

pub fn routes() -> Routes {
    routes!(create_enrolment_code, enrol_device, list_devices, revoke_device)
}

/// A code must be typed from one screen into another, no more.
const CODE_LIFE: SignedDuration = SignedDuration::from_mins(10);

/// How the security log calls such a code.
const CODE_OF_A_PHONE: &str = "with a code for a phone";

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
/// Good for ten minutes and for one phone. 409 for a person who is no longer active. For a phone of the office or an owner it asks for
/// the password again: 403 `password-needed`.
#[utoipa::path(post, path = "/api/v1/people/{id}/enrolment-codes", operation_id = "create_enrolment_code", tag = "people",
    security(("bearer" = ["office", "owner"])), params(("id" = PersonId, Path, description = "Whose phone it is.")),
    responses((status = 201, description = "The code.", body = EnrolmentCode)))]
async fn create_enrolment_code(
    office: OfficeOrOwner,
    State(app): State<App>,
    confirmed: Confirmed,
    PathId(id): PathId<ids::Person>,
) -> Result<Response, Problem> {
    let made = new_enrolment_code(office, &app, confirmed, id).await?;
    Ok((StatusCode::CREATED, no_store(), Json(made)).into_response())
}

/// Makes and stores a code, for the API and for the office's page.
pub async fn new_enrolment_code(
    OfficeOrOwner(actor): OfficeOrOwner,
    app: &App,
    confirmed: Confirmed,
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
            if person.role != Role::Technician {
                confirmed.needed("connect a phone of the office or an owner")?;
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
    tries::limited_code(&app, CODE_OF_A_PHONE, peer.0).await?;
    let token = new_token()?;
    let at = app.clock.now();
    let id: DeviceId = app.ids.next(at);
    let (code, digest, expires_at) = (code_hash(&value.code), sha256(&token), at.plus(PHONE));
    let (in_browser, address) = (value.in_browser, throttle::shown(peer.0));
    let deed = JournalContext { actor: None, at, act: "device.enrolled", subject: id.uuid() };
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
        // What the phone is called is not told: whoever guesses could write anything there.
        tries::failed_code(&app, CODE_OF_A_PHONE, peer.0).await;
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
/// At once. What it had not yet sent stays on it and can be sent after it is enrolled again. The phone of somebody else asks for the
/// password again: 403 `password-needed`.
#[utoipa::path(delete, path = "/api/v1/devices/{id}", operation_id = "revoke_device", tag = "people", security(("bearer" = ["office", "owner"])),
    params(("id" = DeviceId, Path, description = "The phone.")), responses((status = 200, description = "Locked out.", body = Device)))]
pub async fn revoke_device(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    confirmed: Confirmed,
    PathId(id): PathId<ids::Device>,
) -> Result<Json<Device>, Problem> {
    let at = app.clock.now();
    let deed = JournalContext { actor: Some(actor), at, act: "device.revoked", subject: id.uuid() };
    let revoked = office::change_once(&app, deed, move |connection| {
        Box::pin(async move {
            let missing = || Problem::not_found("device");
            let known = store::devices::get(&mut *connection, id).await?.ok_or_else(missing)?;
            if known.person_id != actor.person && known.revoked_at.is_none() {
                confirmed.needed("sign out somebody else's phone")?;
            }
            let changed = store::devices::revoke(&mut *connection, id, at).await?;
            let device = store::devices::get(&mut *connection, id).await?.ok_or_else(missing)?;
            if changed {
                let event = NewSecurityEvent::of(SecurityEventKind::PhoneSignedOut).by(actor.person, device.person_id);
                store::security_log::insert(connection, at, event.named(&device.name)).await?;
            }
            Ok((device, changed))
        })
    });
    revoked.await.map(Json)
}
