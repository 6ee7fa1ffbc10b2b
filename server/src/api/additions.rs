//! What is added to a record after it was written.

use axum::extract::State;
use domain::{
    actor::{Actor, Role},
    facts::KeptDistances,
    ids::{self, AdditionId, ApplicationId},
    quantity::Distance,
    time::Instant,
};
use serde::{Deserialize, Serialize};
use sqlx::SqliteConnection;
use utoipa::ToSchema;

use crate::{
    access::AnyStaff,
    acts::{
        Provided,
        application::ApplicationView,
        correction,
        effects::PersonalTextsRow,
        particulars::{self, Particulars, PersonalTexts},
        seen::{self, SeenFacts},
    },
    api::{fingerprint_at, whole},
    book::{
        office::{self, IdempotentRequest},
        particulars::{named, standing},
        weather,
    },
    extract::{IdempotencyKey, PathId, Valid},
    problem::{FieldFault, Problem},
    reply::Created,
    routes::{Routes, routes},
    secret,
    state::App,
    store::{
        self,
        additions::{Addition, AdditionDoubt, AdditionExplains},
        journal::JournalContext,
        world,
    },
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
    /// Why the record came later than the law wants it, in the words of the office or the owner. It closes that gap; when the record
    /// came stays on it.
    #[serde(default)]
    #[schema(min_length = 3, max_length = 1000, format = "lines")]
    pub late_because: Option<String>,
}

impl AdditionInput {
    fn faults(&self, record: &ApplicationView, actor: Actor, now: Instant) -> Vec<FieldFault> {
        let nothing =
            !self.from_the_book && self.late_because.is_none() && self.seen.as_ref().is_none_or(SeenFacts::is_empty);
        let empty = nothing.then(|| FieldFault::at("/seen", "incomplete", "says nothing that could be added"));
        let own = self.late_because.as_ref().filter(|_| actor.role == Role::Technician);
        let detail = "is for the office and the owner, who answer for late records";
        let own = own.map(|_| FieldFault::at("/late_because", "not_allowed", detail));
        let in_time = self.late_because.as_ref().filter(|_| record.late == Some(false));
        let detail = "explains what did not happen: the record came in on the day of the work";
        let in_time = in_time.map(|_| FieldFault::at("/late_because", "contradiction", detail));
        empty
            .into_iter()
            .chain(own)
            .chain(in_time)
            .chain(self.seen.iter().flat_map(|seen| seen.faults(record.started_at, now)))
            .collect()
    }
}

/// Create an addition to a record
///
/// For what was seen or done later, such as the watering in and notices, and for what was left out. What was fixed when the record
/// was written stays as it is; this stands beside it with its own day. With `from_the_book` everything that the book says by now of
/// the day of the work is added too, so that what was entered too late still belongs to the record. A distance that was
/// kept counts like one that the record told: where it shows that the work went beyond the rules, or is shorter than what was told before,
/// the addition stands on the owner's list; a longer one is refused.
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
    let told = seen::kept(value.seen.as_ref()) != KeptDistances::default();
    let said = if told { weather::of_record(&app, application).await? } else { Provided::default() };
    let book = app.clone();
    office::create(&app, deed, repeat, location, move |connection| {
        Box::pin(async move {
            let found = store::applications::get(&mut *connection, application, scope).await?;
            let record = found.ok_or_else(|| Problem::not_found("application"))?;
            whole(value.faults(&record, actor, at))?;
            let stood = if value.from_the_book { Some(by_now(connection, &record, at).await?) } else { None };
            let (particulars, texts) = stood.unzip();
            let doubt = doubt(connection, &book, (&record, &said), value.seen.as_ref(), at).await?;
            let explains = value.late_because.as_ref().map(|_| AdditionExplains::LateEntry);
            let texts = PersonalTexts { reason: value.late_because, ..texts.unwrap_or_default() };
            let texts = made(connection, actor, texts).await?;
            let body = serde_json::to_string(&texts)?;
            let texts = PersonalTextsRow { record_id: id.to_string(), salt, body };
            let addition = Addition {
                id,
                application_id: application,
                person_id: actor.person,
                device_id: actor.device,
                entered_at: at,
                seen: value.seen.filter(|seen| !seen.is_empty()),
                particulars,
                explains,
                doubt,
                texts: None,
                texts_destroyed: false,
                texts_sha256: Some(texts.sha256()),
            };
            store::additions::insert(connection, &addition, &texts).await?;
            Ok(addition)
        })
    })
    .await
}

/// What a distance that is told only now makes doubtful of the record. One that is longer than what was told before is refused: of two
/// the shorter counts.
async fn doubt(
    connection: &mut SqliteConnection,
    app: &App,
    (record, said): (&ApplicationView, &Provided),
    seen: Option<&SeenFacts>,
    at: Instant,
) -> Result<Option<AdditionDoubt>, Problem> {
    let told = seen::kept(seen);
    if told == KeptDistances::default() {
        return Ok(None);
    }
    let mut world = world::load_for_records(connection, &[record.id], at).await?;
    let known = world.kept_of(record.id, record.seen.as_ref());
    let shorter = is_shorter(known, told)?;
    let law = app.law();
    let before = correction::stops(record.id, said, &world, &law)?;
    world.kept_since.insert(record.id, known.shortest(told));
    let beyond = !correction::stops(record.id, said, &world, &law)?.is_subset(&before);
    let shorter = shorter.then_some(AdditionDoubt::ShorterDistance);
    Ok(beyond.then_some(AdditionDoubt::BeyondTheRules).or(shorter))
}

/// Whether a distance is shorter than what was told of it before. A longer one is a fault.
fn is_shorter(known: KeptDistances, told: KeptDistances) -> Result<bool, Problem> {
    let pairs = [
        ("/seen/kept_from_water_ft", known.from_water, told.from_water),
        ("/seen/kept_from_drains_ft", known.from_drains, told.from_drains),
    ];
    let pairs = pairs.into_iter().filter_map(|(place, known, told)| Some((place, known?, told?)));
    let fault = |(place, known, told): (&str, Distance, Distance)| {
        let detail = format!(
            "is longer than the {known} ft that were told of this work before, and of two distances the shorter counts. Leave it out; \
             if the shorter one is wrong, say so in the reason of a correction"
        );
        (told > known).then(|| FieldFault::at(place, "contradiction", detail))
    };
    whole(pairs.clone().filter_map(fault).collect())?;
    Ok(pairs.clone().any(|(_, known, told)| told < known))
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

/// The texts of an addition, with what whoever makes it is called today, and the phone.
async fn made(connection: &mut SqliteConnection, actor: Actor, texts: PersonalTexts) -> Result<PersonalTexts, Problem> {
    let made_by = store::people::get(&mut *connection, actor.person).await?.map(|person| person.name);
    let made_on = match actor.device {
        Some(device) => store::devices::get(connection, device).await?.map(|device| device.name),
        None => None,
    };
    Ok(PersonalTexts { made_by, made_on, ..texts })
}
