//! What is added to a record after it was written.

use axum::extract::State;
use domain::{
    actor::Actor,
    ids::{self, AdditionId, ApplicationId},
    time::Instant,
};
use serde::{Deserialize, Serialize};
use sqlx::SqliteConnection;
use utoipa::ToSchema;

use crate::{
    access::AnyStaff,
    acts::{
        application::ApplicationView,
        effects::PersonalTextsRow,
        particulars::{self, Particulars, PersonalTexts},
        seen::SeenFacts,
    },
    api::{fingerprint_at, whole},
    book::{
        office::{self, IdempotentRequest},
        particulars::{named, standing},
    },
    extract::{IdempotencyKey, PathId, Valid},
    problem::{FieldFault, Problem},
    reply::Created,
    routes::{Routes, routes},
    secret,
    state::App,
    store::{self, additions::Addition, journal::JournalContext, world},
};

pub fn routes() -> Routes {
    routes!(create_addition)
}

/// What is added to a record: what somebody saw, what the book says by now of the day of the work, or both.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({ "seen": {
    "watered_in": { "at": "2026-09-15T18:00:00-04:00", "by": "client" },
    "notices": [{ "kind": "door_card", "at": "2026-09-15T10:35:00-04:00", "to": "client" }]
} }))]
pub struct AdditionInput {
    /// What was seen or done and is not in the record yet.
    #[serde(default)]
    pub seen: Option<SeenFacts>,
    /// Adds what the book says by now of the day of the work, for what was entered too late to be fixed with the record.
    #[serde(default)]
    pub from_the_book: bool,
}

impl AdditionInput {
    fn faults(&self, record: &ApplicationView, now: Instant) -> Vec<FieldFault> {
        let nothing = !self.from_the_book && self.seen.as_ref().is_none_or(SeenFacts::is_empty);
        let empty = nothing.then(|| FieldFault::at("/seen", "incomplete", "says nothing that could be added"));
        empty.into_iter().chain(self.seen.iter().flat_map(|seen| seen.faults(record.started_at, now))).collect()
    }
}

/// Create an addition to a record
///
/// For what was seen or done later, such as the watering in and notices, and for what was left out. What was fixed when the record
/// was written stays as it is; this stands beside it with its own day. With `from_the_book` everything that the book says by now of
/// the day of the work is added too, so that what was entered too late still belongs to the record.
#[utoipa::path(post, path = "/api/v1/applications/{id}/additions", operation_id = "create_addition", tag = "applications",
    security(("bearer" = ["any staff"])), params(("id" = ApplicationId, Path, description = "The application."), IdempotencyKey),
    request_body = AdditionInput,
    responses((status = 201, description = "Added.", body = Addition, headers(("Location" = String, description = "Where the record's particulars are.")))))]
pub async fn create_addition(
    staff: AnyStaff,
    State(app): State<App>,
    PathId(application): PathId<ids::Application>,
    key: IdempotencyKey,
    Valid { value, fingerprint }: Valid<AdditionInput>,
) -> Result<Created, Problem> {
    let (actor, scope, at) = (staff.0, staff.scope(), app.clock.now());
    let id: AdditionId = app.ids.next(at);
    let salt = secret::salt([app.ids.uuid(at), app.ids.uuid(at)]);
    let deed = JournalContext { actor: Some(actor), at, act: "addition.recorded", subject: id.uuid() };
    let fingerprint = fingerprint_at(application, &fingerprint);
    let repeat = IdempotentRequest { key, route: "create_addition", fingerprint };
    let location = format!("/api/v1/applications/{application}/particulars");
    office::create(&app, deed, repeat, location, move |connection| {
        Box::pin(async move {
            let found = store::applications::get(&mut *connection, application, scope).await?;
            let record = found.ok_or_else(|| Problem::not_found("application"))?;
            whole(value.faults(&record, at))?;
            let stood = if value.from_the_book { Some(by_now(connection, &record, at).await?) } else { None };
            let (particulars, texts) = stood.unzip();
            let texts = texts.map(|texts| serde_json::to_string(&texts)).transpose()?;
            let texts = texts.map(|body| PersonalTextsRow { record_id: id.to_string(), salt, body });
            let addition = addition(id, application, actor, at, value.seen, particulars, texts.as_ref());
            store::additions::insert(connection, &addition, texts.as_ref()).await?;
            Ok(addition)
        })
    })
    .await
}

/// What the book says by now of the day of the work. Notes and reasons are the record's own.
async fn by_now(
    connection: &mut SqliteConnection,
    record: &ApplicationView,
    at: Instant,
) -> Result<(Particulars, PersonalTexts), Problem> {
    let standing = standing(&mut *connection, record).await?;
    let mut named = named(record, at);
    named.sections.extend(standing.into_iter().filter(|section| !record.tells_of(*section)));
    let world = world::load_named(connection, &named).await?;
    Ok(particulars::of(&named, &world)?)
}

fn addition(
    id: AdditionId,
    application: ApplicationId,
    actor: Actor,
    at: Instant,
    seen: Option<SeenFacts>,
    particulars: Option<Particulars>,
    texts: Option<&PersonalTextsRow>,
) -> Addition {
    Addition {
        id,
        application_id: application,
        person_id: actor.person,
        device_id: actor.device,
        entered_at: at,
        seen: seen.filter(|seen| !seen.is_empty()),
        particulars,
        texts: None,
        texts_sha256: texts.map(PersonalTextsRow::sha256),
    }
}
