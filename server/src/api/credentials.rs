//! Licences and certificates of the staff.

use axum::{Json, extract::State, response::Response};
use domain::{
    actor::{Actor, Role},
    ids::{self, CredentialId, PersonId},
    law::Lawbook,
};

use crate::{
    access::{AnyStaff, OfficeOrOwner},
    api::{ListQuery, fingerprint_at, whole},
    book::office::{self, IdempotentRequest},
    extract::{IdempotencyKey, IfMatch, IfNoneMatch, PathId, Valid, ValidQuery},
    paging::Page,
    problem::{FieldFault, Problem},
    reply::{self, Created},
    routes::{Routes, routes},
    state::App,
    store::{
        self,
        credentials::{Credential, CredentialInput},
        journal::JournalContext,
    },
};

pub fn routes() -> Routes {
    routes!(create_credential, list_credentials, get_credential, replace_credential)
}

/// What contradicts itself or the rule sets.
fn faults(input: &CredentialInput, law: &Lawbook) -> Vec<FieldFault> {
    let mut faults = Vec::new();
    if input.valid_until.is_some_and(|until| until < input.valid_from) {
        let detail = "must not lie before the first day on which it is valid";
        faults.push(FieldFault::at("/valid_until", "contradiction", detail));
    }
    if input.rule_set.as_ref().is_some_and(|code| law.rule_set(&code.0).is_none()) {
        let detail = "is no rule set of this server; take a code from the list of rule sets, or leave it out";
        faults.push(FieldFault::at("/rule_set", "unknown_value", detail));
    }
    let known = law.credentials();
    if input.code.as_deref().is_some_and(|code| !known.contains(code)) {
        let known: Vec<&str> = known.into_iter().collect();
        let detail = format!("frees nobody from any rule here; those that do are {}", known.join(", "));
        faults.push(FieldFault::at("/code", "unknown_value", detail));
    }
    faults
}

/// A technician knows the own ones and nobody else's.
fn may_read(actor: Actor, person: PersonId) -> bool {
    actor.role != Role::Technician || actor.person == person
}

/// Create a credential
///
/// A licence or certificate of a member of staff, with the days on which it is valid. A renewal is a further one, so that who
/// held what on a past day can still be told. A rule that does not bind its holder (`code`) looks here; and once the last one of
/// a person for a jurisdiction (`rule_set`) has run out, work there asks for care.
#[utoipa::path(post, path = "/api/v1/people/{id}/credentials", operation_id = "create_credential", tag = "people",
    security(("bearer" = ["office", "owner"])), params(("id" = PersonId, Path, description = "Whose it is."), IdempotencyKey),
    request_body = CredentialInput,
    responses((status = 201, description = "Added.", body = Credential, headers(("Location" = String, description = "Where it is.")))))]
pub(crate) async fn create_credential(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    PathId(person): PathId<ids::Person>,
    key: IdempotencyKey,
    Valid { value, fingerprint }: Valid<CredentialInput>,
) -> Result<Created, Problem> {
    let faults = faults(&value, &app.law());
    let at = app.clock.now();
    let id: CredentialId = app.ids.next(at);
    let deed = JournalContext { actor: Some(actor), at, act: "credential.added", subject: id.uuid() };
    let repeat =
        IdempotentRequest { key, route: "create_credential", fingerprint: fingerprint_at(person, &fingerprint) };
    office::create(&app, deed, repeat, format!("/api/v1/credentials/{id}"), move |connection| {
        Box::pin(async move {
            let known = store::people::get(&mut *connection, person).await?;
            known.ok_or_else(|| Problem::not_found("person"))?;
            whole(faults)?;
            Ok(store::credentials::insert(connection, id, person, &value, at).await?)
        })
    })
    .await
}

/// List a person's credentials
///
/// In the order in which they were written, with those that have run out. A technician reads the own ones.
#[utoipa::path(get, path = "/api/v1/people/{id}/credentials", operation_id = "list_credentials", tag = "people",
    security(("bearer" = ["any staff"])), params(("id" = PersonId, Path, description = "Whose they are."), ListQuery),
    responses((status = 200, description = "A page of credentials.", body = Page<Credential>)))]
async fn list_credentials(
    AnyStaff(actor): AnyStaff,
    State(app): State<App>,
    PathId(person): PathId<ids::Person>,
    ValidQuery(query): ValidQuery<ListQuery>,
) -> Result<Json<Page<Credential>>, Problem> {
    let list = format!("people/{person}/credentials");
    let span = app.cursors.span(&list, &query, false)?;
    let known = store::people::get(app.store.reader(), person).await?;
    known.filter(|_| may_read(actor, person)).ok_or_else(|| Problem::not_found("person"))?;
    let rows = store::credentials::list(app.store.reader(), span, person).await?;
    Ok(Json(app.cursors.page(&list, &query, rows)))
}

/// Get a credential
///
/// With the version that a change must name. A technician reads the own ones.
#[utoipa::path(get, path = "/api/v1/credentials/{id}", operation_id = "get_credential", tag = "people",
    security(("bearer" = ["any staff"])), params(("id" = CredentialId, Path, description = "The credential.")),
    responses((status = 304, description = "You have this version already."),
              (status = 200, description = "The credential.", body = Credential)))]
async fn get_credential(
    AnyStaff(actor): AnyStaff,
    State(app): State<App>,
    known: IfNoneMatch,
    PathId(id): PathId<ids::Credential>,
) -> Result<Response, Problem> {
    let found = store::credentials::get(app.store.reader(), id).await?;
    let found = found.filter(|credential| may_read(actor, credential.person_id));
    Ok(reply::json_with_etag(&known, &found.ok_or_else(|| Problem::not_found("credential"))?))
}

/// Replace a credential
///
/// What was copied wrongly, or the day on which it was taken away. Decisions that were made keep what was known then.
#[utoipa::path(put, path = "/api/v1/credentials/{id}", operation_id = "replace_credential", tag = "people",
    security(("bearer" = ["office", "owner"])), params(("id" = CredentialId, Path, description = "The credential."), IfMatch),
    request_body = CredentialInput, responses((status = 200, description = "Corrected.", body = Credential)))]
pub(crate) async fn replace_credential(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    PathId(id): PathId<ids::Credential>,
    if_match: IfMatch,
    Valid { value, .. }: Valid<CredentialInput>,
) -> Result<Json<Credential>, Problem> {
    let faults = faults(&value, &app.law());
    let deed =
        JournalContext { actor: Some(actor), at: app.clock.now(), act: "credential.changed", subject: id.uuid() };
    let changed = office::change(&app, deed, move |connection| {
        Box::pin(async move {
            let known = store::credentials::get(&mut *connection, id).await?;
            known.ok_or_else(|| Problem::not_found("credential"))?;
            whole(faults)?;
            store::credentials::update(connection, id, &value, if_match.versions).await?.or_problem("credential")
        })
    });
    changed.await.map(Json)
}
