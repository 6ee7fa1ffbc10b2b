//! What somebody sees of a lawn section on the spot: what makes its limits stricter counts at once, and the rest once the office has
//! confirmed it.

use axum::{Json, extract::State};
use domain::{
    actor::Role,
    ids::{self, DatedEntryId, SectionId, SightingId},
    time::Day,
};
use sqlx::SqliteConnection;

use crate::{
    access::{AnyStaff, OfficeOrOwner},
    api::{
        fingerprint_at,
        history::{Made, Turn, note_moves, sound_change, stands},
        last_past_day, not_yet, whole,
    },
    book::{
        doubts::Before,
        history::{self, Change},
        limit_moves,
        office::{self, IdempotentRequest},
        particulars::keep_sighting,
    },
    extract::{IdempotencyKey, PathId, Valid},
    problem::{FieldFault, Kind, Problem},
    reply::Created,
    routes::{Routes, routes},
    scope::Scope,
    state::App,
    store::{
        self,
        doubts::Cause,
        history::{NewEntry, Subject},
        journal::JournalContext,
        measurements::confirmations::ConfirmationInput,
        sections::Section,
        sightings::{Seen, Sighting, SightingInput},
    },
};

pub fn routes() -> Routes {
    routes!(record_sighting, get_sighting, confirm_sighting)
}

/// Record a sighting
///
/// What somebody sees of a lawn section on the spot: the water near it, or the turf. A technician does so for the sections on the own
/// visits. What leaves every limit as it is or makes it stricter counts at once, as an entry of the section's history; what would let more
/// go down on any day waits until the office has confirmed it, and stands on the owner's list. What the office or an owner sees counts
/// at once, and stands on that list where it lets more go down.
#[utoipa::path(post, path = "/api/v1/sections/{id}/sightings", operation_id = "record_sighting", tag = "sections",
    security(("bearer" = ["any staff"])), params(("id" = SectionId, Path, description = "The section."), IdempotencyKey),
    request_body = SightingInput,
    responses((status = 201, description = "Kept.", body = Sighting, headers(("Location" = String, description = "Where it is.")))))]
pub async fn record_sighting(
    staff: AnyStaff,
    State(app): State<App>,
    key: IdempotencyKey,
    PathId(section): PathId<ids::Section>,
    Valid { value, fingerprint }: Valid<SightingInput>,
) -> Result<Created, Problem> {
    let last = last_past_day(&app).await?;
    let at = app.clock.now();
    let id: SightingId = app.ids.next(at);
    let deed = JournalContext { actor: Some(staff.0), at, act: "sighting.added", subject: id.uuid() };
    let repeat =
        IdempotentRequest { key, route: "record_sighting", fingerprint: fingerprint_at(section, &fingerprint) };
    let book = app.clone();
    office::create(&app, deed, repeat, format!("/api/v1/sightings/{id}"), move |connection| {
        Box::pin(async move {
            let known = store::sections::get(&mut *connection, section, staff.scope()).await?;
            let known = known.ok_or_else(|| Problem::not_found("lawn section"))?;
            let mut faults = value.faults();
            faults.extend(not_yet("/seen_on", value.seen_on, last));
            whole(faults)?;
            let facts = value.facts()?;
            let change = Change { subject: Subject::Section(section), since: value.seen_on, facts: facts.clone() };
            let turn = would_stand(&mut *connection, &book, &change, last, str::to_owned).await?;
            let histories = [&turn.before, &turn.after];
            let moves =
                limit_moves::of_section(&mut *connection, &book.law(), known.property_id, histories, last).await?;
            let waits = staff.0.role == Role::Technician && !moves.is_empty();
            let entry = if waits {
                None
            } else {
                let made = Counts { section: &known, turn, change, reason: value.note.clone(), today: last };
                Some(counts(&mut *connection, &book, made, true, deed).await?)
            };
            let seen = Seen { section, person: staff.0.person, entry, at };
            Ok(store::sightings::insert(connection, id, &value, &facts, seen).await?)
        })
    })
    .await
}

/// Get a sighting
///
/// What was seen, by whom, and what the office said of it. A technician sees those of sections on the own visits.
#[utoipa::path(get, path = "/api/v1/sightings/{id}", operation_id = "get_sighting", tag = "sections",
    security(("bearer" = ["any staff"])), params(("id" = SightingId, Path, description = "The sighting.")),
    responses((status = 200, description = "The sighting.", body = Sighting)))]
pub async fn get_sighting(
    staff: AnyStaff,
    State(app): State<App>,
    PathId(id): PathId<ids::Sighting>,
) -> Result<Json<Sighting>, Problem> {
    let found = store::sightings::get(app.store.reader(), id, staff.scope()).await?;
    let mut found = found.ok_or_else(|| Problem::not_found("sighting"))?;
    keep_sighting(&app, staff.scope(), &mut found).await?;
    Ok(Json(found))
}

/// Confirm a sighting
///
/// Says whether what a technician saw is so. From then on it counts, also for the days since it was seen, or never. Said once; the same
/// again changes nothing. Whoever confirms what they saw themselves says why in `note`, and it stands on the owner's list.
#[utoipa::path(put, path = "/api/v1/sightings/{id}/confirmation", operation_id = "confirm_sighting", tag = "sections",
    security(("bearer" = ["office", "owner"])), params(("id" = SightingId, Path, description = "The sighting.")),
    request_body = ConfirmationInput, responses((status = 200, description = "Kept.", body = Sighting)))]
pub async fn confirm_sighting(
    OfficeOrOwner(actor): OfficeOrOwner,
    State(app): State<App>,
    PathId(id): PathId<ids::Sighting>,
    Valid { value, .. }: Valid<ConfirmationInput>,
) -> Result<Json<Sighting>, Problem> {
    let last = last_past_day(&app).await?;
    let at = app.clock.now();
    let act = if value.holds { "sighting.confirmed" } else { "sighting.rejected" };
    let deed = JournalContext { actor: Some(actor), at, act, subject: id.uuid() };
    let book = app.clone();
    let confirmed = office::change_once(&app, deed, move |connection| {
        Box::pin(async move {
            let missing = || Problem::not_found("sighting");
            let found = store::sightings::get(&mut *connection, id, Scope::Company).await?.ok_or_else(missing)?;
            match &found.confirmation {
                Some(said) if said.holds == value.holds && said.note == value.note => return Ok((found, false)),
                None if found.waits_for_office => {}
                _ => {
                    let detail = "This does not wait for anybody. Change the lawn section if it is otherwise now; correct the \
                                  entry in its history if that is wrong.";
                    return Err(Problem::new(Kind::Conflict, detail));
                }
            }
            let is_own = found.person_id == actor.person;
            if is_own && value.holds && value.note.is_none() {
                let detail = "is required: you saw this yourself, so say why nobody else confirms it";
                return Err(Problem::invalid(vec![FieldFault::at("/note", "missing", detail)]));
            }
            let entry = if value.holds {
                let section = store::sections::get(&mut *connection, found.section_id, Scope::Company).await?;
                let section = section.ok_or_else(missing)?;
                let subject = Subject::Section(section.id);
                let change = Change { subject, since: found.seen_on, facts: found.facts };
                let turn = would_stand(&mut *connection, &book, &change, last, |_| "/holds".to_owned()).await?;
                let reason = value.note.clone().filter(|_| is_own).unwrap_or(found.note);
                let made = Counts { section: &section, turn, change, reason, today: last };
                // Two have looked at it, where whoever confirms it is not who saw it.
                Some(counts(&mut *connection, &book, made, is_own, deed).await?)
            } else {
                None
            };
            store::sightings::confirm(&mut *connection, id, &value, (actor.person, at), entry).await?;
            let said = store::sightings::get(connection, id, Scope::Company).await?.ok_or_else(missing)?;
            Ok((said, true))
        })
    });
    confirmed.await.map(Json)
}

/// What the section's history turns into, with faults told where the request has what they are about.
async fn would_stand(
    connection: &mut SqliteConnection,
    app: &App,
    change: &Change,
    last: Day,
    place: impl Fn(&str) -> String,
) -> Result<Turn, Problem> {
    let turn = sound_change(connection, app, Some(change), last).await.map_err(|mut problem| {
        for fault in &mut problem.errors {
            let pointer = fault.pointer.as_deref().unwrap_or_default().trim_start_matches('#').to_owned();
            let named = pointer.strip_prefix("/facts").unwrap_or(&pointer);
            *fault = FieldFault::at(place(named), &fault.code, fault.detail.clone());
        }
        problem
    })?;
    turn.ok_or_else(|| Problem::new(Kind::Fault, "A change leads to no history."))
}

/// What is to count from now on.
struct Counts<'s> {
    section: &'s Section,
    turn: Turn,
    change: Change,
    reason: String,
    today: Day,
}

/// Enters what was seen into the section's history, by which everything reckons from then on.
async fn counts(
    connection: &mut SqliteConnection,
    app: &App,
    made: Counts<'_>,
    is_listed: bool,
    deed: JournalContext,
) -> Result<DatedEntryId, Problem> {
    let Counts { section, turn, change, reason, today } = made;
    let id: DatedEntryId = app.ids.next(deed.at);
    let subject = Subject::Section(section.id);
    let entry = NewEntry {
        id,
        since: Some(change.since),
        facts: change.facts,
        corrects: None,
        reason: Some(reason.clone()),
        by: history::person(deed)?,
        at: deed.at,
    };
    let doubts = Before::of(&mut *connection, app, (section.id, change.since), deed.at).await?;
    let written = store::history::append(&mut *connection, subject, &entry).await?;
    history::note(&mut *connection, &written, deed).await?;
    if is_listed {
        let made = Made { entry: id.uuid(), reason: Some(reason), today };
        note_moves(&mut *connection, app, subject, &turn, made, deed).await?;
    }
    let present = turn.after.present();
    if present != turn.before.present() {
        stands(&mut *connection, app, subject, present, deed).await?;
    }
    doubts.note(connection, app, Cause::Entry(id.uuid()), deed).await?;
    Ok(id)
}
