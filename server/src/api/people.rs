//! Staff.

use axum::{Json, extract::State, response::Response};
use domain::{
    actor::Role,
    ids::{self, PersonId},
};

use crate::{
    access::{OfficeOrOwner, OwnerOnly, again::Confirmed},
    api::{ListQuery, company, whole},
    book::office::{self, IdempotentRequest},
    extract::{IdempotencyKey, IfMatch, IfNoneMatch, PathId, Valid, ValidQuery},
    paging::Page,
    password,
    problem::{FieldFault, Kind, Problem},
    reply::{self, Created},
    routes::{Routes, routes},
    state::App,
    store::{
        self,
        journal::JournalContext,
        people::{Person, PersonInput},
        security_log::{NewSecurityEvent, SecurityEventKind},
    },
};

pub fn routes() -> Routes {
    routes!(create_person, list_people, get_person, replace_person)
}

/// Create a person
///
/// A technician needs no password: the phone is enrolled with a one-time code. Another owner asks for the password again: 403
/// `password-needed`.
#[utoipa::path(post, path = "/api/v1/people", operation_id = "create_person", tag = "people", security(("bearer" = ["owner"])),
    params(IdempotencyKey), request_body = PersonInput,
    responses((status = 201, description = "Added.", body = Person, headers(("Location" = String, description = "Where it is.")))))]
pub async fn create_person(
    OwnerOnly(actor): OwnerOnly,
    State(app): State<App>,
    confirmed: Confirmed,
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
            if value.role == Role::Owner {
                confirmed.needed("add an owner")?;
            }
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
/// stay. `active: false` ends everything the person may do, at once. The last owner cannot be ended. Whatever is more than another
/// name asks for the password again: 403 `password-needed`.
#[utoipa::path(put, path = "/api/v1/people/{id}", operation_id = "replace_person", tag = "people", security(("bearer" = ["owner"])),
    params(("id" = PersonId, Path, description = "The person."), IfMatch), request_body = PersonInput,
    responses((status = 200, description = "Changed.", body = Person)))]
pub async fn replace_person(
    OwnerOnly(actor): OwnerOnly,
    State(app): State<App>,
    confirmed: Confirmed,
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
            if value.sign_in.is_some() || before.role != value.role || before.active != value.active {
                confirmed.needed("change somebody's role or password, or whether they work here")?;
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
