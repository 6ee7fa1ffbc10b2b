//! Clients.

use axum::{Json, extract::State, response::Response};
use domain::ids::{self, ClientId};

use crate::{
    access::{OfficeOrOwner, StaffOrPass},
    api::{
        ListQuery,
        history::{Turn, since, since_of_new, sound_change},
        last_past_day, whole,
    },
    book::{
        doubts::Before,
        history,
        office::{self, IdempotentRequest},
    },
    extract::{IdempotencyKey, IfMatch, IfNoneMatch, PathId, Valid, ValidQuery},
    paging::Page,
    problem::Problem,
    reply::{self, Created},
    routes::{Routes, routes},
    state::App,
    store::{
        self,
        clients::{Client, ClientInput},
        doubts::Cause,
        history::Subject,
        journal::JournalContext,
    },
};

pub fn routes() -> Routes {
    routes!(create_client, list_clients, get_client, replace_client)
}

/// Create a client
///
/// Who pays. Properties are added to it.
#[utoipa::path(post, path = "/api/v1/clients", operation_id = "create_client", tag = "clients", security(("bearer" = ["office", "owner"])),
    params(IdempotencyKey), request_body = ClientInput,
    responses((status = 201, description = "Added.", body = Client, headers(("Location" = String, description = "Where it is.")))))]
pub async fn create_client(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    key: IdempotencyKey,
    Valid { value, fingerprint }: Valid<ClientInput>,
) -> Result<Created, Problem> {
    whole(since_of_new(value.since))?;
    let at = app.clock.now();
    let id: ClientId = app.ids.next(at);
    let deed = JournalContext { actor: Some(actor), at, act: "client.added", subject: id.uuid() };
    let repeat = IdempotentRequest { key, route: "create_client", fingerprint };
    office::create(&app, deed, repeat, format!("/api/v1/clients/{id}"), move |connection| {
        Box::pin(async move { Ok(store::clients::insert(connection, id, &value, actor.person, at).await?) })
    })
    .await
}

/// List clients
///
/// In the order in which they were added. A technician sees the clients on the own visits.
#[utoipa::path(get, path = "/api/v1/clients", operation_id = "list_clients", tag = "clients", security(("bearer" = ["any staff", "pass"])),
    params(ListQuery), responses((status = 200, description = "A page of clients.", body = Page<Client>)))]
async fn list_clients(
    staff: StaffOrPass,
    State(app): State<App>,
    ValidQuery(query): ValidQuery<ListQuery>,
) -> Result<Json<Page<Client>>, Problem> {
    let span = app.cursors.span("clients", &query, false)?;
    let rows = store::clients::list(app.store.reader(), span, staff.scope()).await?;
    Ok(Json(app.cursors.page("clients", &query, rows)))
}

/// Get a client
///
/// With the version that a change must name.
#[utoipa::path(get, path = "/api/v1/clients/{id}", operation_id = "get_client", tag = "clients", security(("bearer" = ["any staff", "pass"])),
    params(("id" = ClientId, Path, description = "The client.")), responses((status = 304, description = "You have this version already."), (status = 200, description = "The client.", body = Client)))]
async fn get_client(
    staff: StaffOrPass,
    State(app): State<App>,
    known: IfNoneMatch,
    PathId(id): PathId<ids::Client>,
) -> Result<Response, Problem> {
    let client = store::clients::get(app.store.reader(), id, staff.scope())
        .await?
        .ok_or_else(|| Problem::not_found("client"))?;
    Ok(reply::json_with_etag(&known, &client))
}

/// Replace a client
///
/// Replaces everything that the office writes about it. What is changed holds from `since` on; earlier days keep what stood then.
#[utoipa::path(put, path = "/api/v1/clients/{id}", operation_id = "replace_client", tag = "clients", security(("bearer" = ["office", "owner"])),
    params(("id" = ClientId, Path, description = "The client."), IfMatch), request_body = ClientInput,
    responses((status = 200, description = "Changed.", body = Client)))]
pub async fn replace_client(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    PathId(id): PathId<ids::Client>,
    if_match: IfMatch,
    Valid { value, .. }: Valid<ClientInput>,
) -> Result<Json<Client>, Problem> {
    let at = app.clock.now();
    let is_named = value.since.is_some();
    let (since, mut faults) = since(&app, value.since).await?;
    let entry = app.ids.next(at);
    let deed = JournalContext { actor: Some(actor), at, act: "client.changed", subject: id.uuid() };
    let (book, last) = (app.clone(), last_past_day(&app).await?);
    let changed = office::change(&app, deed, move |connection| {
        Box::pin(async move {
            let change =
                history::weigh(connection, Subject::Client(id), value.facts()?, (since, is_named), &mut faults).await?;
            whole(faults)?;
            let turn = sound_change(&mut *connection, &book, change.as_ref(), last).await?;
            let doubts = match &turn {
                Some(Turn { before, after }) => {
                    Before::of_turn(&mut *connection, &book, (Subject::Client(id), before, after), (since, at)).await?
                }
                None => None,
            };
            let done =
                store::clients::update(&mut *connection, id, &value, if_match.versions).await?.or_problem("client")?;
            if let Some(change) = change {
                history::enter(&mut *connection, change, entry, deed).await?;
            }
            if let Some(doubts) = doubts {
                doubts.note(connection, &book, Cause::Entry(entry.uuid()), deed).await?;
            }
            Ok(done)
        })
    });
    changed.await.map(Json)
}
