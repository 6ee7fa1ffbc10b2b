//! What stood when: the dated entries about a client, a property or a lawn section, and how they are corrected.

mod limits;
mod sound;

use axum::{Json, extract::State};
use domain::{
    dated::{DatedEntry, Facts, History},
    ids::{self, ClientId, DatedEntryId, PropertyId, SectionId},
    time::Day,
};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use sqlx::SqliteConnection;
use utoipa::ToSchema;

use crate::{
    access::OfficeOrOwner,
    api::{fingerprint_at, last_past_day, not_yet, office_day, whole},
    book::{
        doubts::Before,
        history as entering,
        office::{self, IdempotentRequest},
    },
    extract::{IdempotencyKey, PathId, Valid, checked_body},
    problem::{FieldFault, Problem},
    reply::Created,
    routes::{Routes, routes},
    scope::Scope,
    state::App,
    store::{
        self,
        clients::ClientInput,
        doubts::Cause,
        history::{FactsByName, HistoryEntry, NewEntry, StoredEntry, Subject},
        journal::JournalContext,
        properties::PropertyInput,
        sections::SectionInput,
    },
};

pub(super) use limits::{Made, Turn, note_moves};
pub(super) use sound::sound_change;
use sound::{noun, sound};

pub fn routes() -> Routes {
    routes!(
        list_client_history,
        create_client_entry,
        list_property_history,
        create_property_entry,
        list_section_history,
        create_section_entry
    )
}

/// An entry as the office writes it: something that was so from a day on, or what takes the place of an entry that is wrong.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({
    "since": "2026-05-01", "facts": { "species": "zoysia" }, "reason": "The client had it sodded in May and told us in July."
}))]
pub struct EntryInput {
    /// First local day on which it is so. Left out only for what takes the place of the first entry of a thing, which holds from
    /// the first day known.
    #[serde(default)]
    pub since: Option<Day>,
    /// What is so, in the members of the thing. What takes the place of another entry says all that it says.
    #[schema(value_type = FactsByName)]
    pub facts: Facts,
    /// The entry whose place this one takes.
    #[serde(default)]
    pub corrects: Option<DatedEntryId>,
    /// Why it is entered after the fact. Statements of the years it is about print it.
    #[schema(min_length = 1, max_length = 300, format = "line")]
    pub reason: String,
}

/// The entries about a thing.
#[derive(Debug, Serialize, ToSchema)]
pub struct HistoryEntries {
    /// In the order in which they were entered.
    #[schema(max_items = 10_000)]
    pub items: Vec<HistoryEntry>,
}

/// The first day of a change, today unless it names one, and what is wrong with the day it names.
pub(super) async fn since(app: &App, named: Option<Day>) -> Result<(Day, Vec<FieldFault>), Problem> {
    let today = office_day(app).await?;
    let fault = named.and_then(|day| not_yet("/since", day, today));
    Ok((named.unwrap_or(today), fault.into_iter().collect()))
}

/// A new thing has no day: what is entered first holds from the first day known.
pub(super) fn since_of_new(named: Option<Day>) -> Vec<FieldFault> {
    let detail = "is left out for something new: what is entered first holds from the first day known";
    named.map(|_| FieldFault::at("/since", "contradiction", detail)).into_iter().collect()
}

/// List what stood when of a client
///
/// Every entry, also those whose place another one took, in the order in which they were entered.
#[utoipa::path(get, path = "/api/v1/clients/{id}/history", operation_id = "list_client_history", tag = "clients",
    security(("bearer" = ["office", "owner"])), params(("id" = ClientId, Path, description = "The client.")),
    responses((status = 200, description = "The entries.", body = HistoryEntries)))]
async fn list_client_history(
    _: OfficeOrOwner,
    State(app): State<App>,
    PathId(id): PathId<ids::Client>,
) -> Result<Json<HistoryEntries>, Problem> {
    list(&app, Subject::Client(id)).await
}

/// Create an entry of what stood when of a client
///
/// For what is learned late, and to take the place of an entry that is wrong in what it says or in its day. Nothing is
/// overwritten: statements of past years show what stood, and say what was corrected since.
#[utoipa::path(post, path = "/api/v1/clients/{id}/history", operation_id = "create_client_entry", tag = "clients",
    security(("bearer" = ["office", "owner"])), params(("id" = ClientId, Path, description = "The client."), IdempotencyKey),
    request_body = EntryInput,
    responses((status = 201, description = "Entered.", body = HistoryEntry, headers(("Location" = String, description = "Where the entries are.")))))]
pub async fn create_client_entry(
    office: OfficeOrOwner,
    State(app): State<App>,
    PathId(id): PathId<ids::Client>,
    key: IdempotencyKey,
    entry: Valid<EntryInput>,
) -> Result<Created, Problem> {
    create(office, app, Subject::Client(id), key, ("create_client_entry", "clients"), entry).await
}

/// List what stood when of a property
///
/// Every entry, also those whose place another one took, in the order in which they were entered.
#[utoipa::path(get, path = "/api/v1/properties/{id}/history", operation_id = "list_property_history", tag = "properties",
    security(("bearer" = ["office", "owner"])), params(("id" = PropertyId, Path, description = "The property.")),
    responses((status = 200, description = "The entries.", body = HistoryEntries)))]
async fn list_property_history(
    _: OfficeOrOwner,
    State(app): State<App>,
    PathId(id): PathId<ids::Property>,
) -> Result<Json<HistoryEntries>, Problem> {
    list(&app, Subject::Property(id)).await
}

/// Create an entry of what stood when of a property
///
/// For what is learned late, and to take the place of an entry that is wrong in what it says or in its day: also of a change of
/// hands. Nothing is overwritten: statements of past years show what stood, and say what was corrected since.
#[utoipa::path(post, path = "/api/v1/properties/{id}/history", operation_id = "create_property_entry", tag = "properties",
    security(("bearer" = ["office", "owner"])), params(("id" = PropertyId, Path, description = "The property."), IdempotencyKey),
    request_body = EntryInput,
    responses((status = 201, description = "Entered.", body = HistoryEntry, headers(("Location" = String, description = "Where the entries are.")))))]
pub async fn create_property_entry(
    office: OfficeOrOwner,
    State(app): State<App>,
    PathId(id): PathId<ids::Property>,
    key: IdempotencyKey,
    entry: Valid<EntryInput>,
) -> Result<Created, Problem> {
    create(office, app, Subject::Property(id), key, ("create_property_entry", "properties"), entry).await
}

/// List what stood when of a lawn section
///
/// Every entry, also those whose place another one took, in the order in which they were entered.
#[utoipa::path(get, path = "/api/v1/sections/{id}/history", operation_id = "list_section_history", tag = "sections",
    security(("bearer" = ["office", "owner"])), params(("id" = SectionId, Path, description = "The section.")),
    responses((status = 200, description = "The entries.", body = HistoryEntries)))]
async fn list_section_history(
    _: OfficeOrOwner,
    State(app): State<App>,
    PathId(id): PathId<ids::Section>,
) -> Result<Json<HistoryEntries>, Problem> {
    list(&app, Subject::Section(id)).await
}

/// Create an entry of what stood when of a lawn section
///
/// For what is learned late, and to take the place of an entry that is wrong in what it says or in its day. Nothing is
/// overwritten: statements of past years show what stood, and say what was corrected since.
#[utoipa::path(post, path = "/api/v1/sections/{id}/history", operation_id = "create_section_entry", tag = "sections",
    security(("bearer" = ["office", "owner"])), params(("id" = SectionId, Path, description = "The section."), IdempotencyKey),
    request_body = EntryInput,
    responses((status = 201, description = "Entered.", body = HistoryEntry, headers(("Location" = String, description = "Where the entries are.")))))]
pub async fn create_section_entry(
    office: OfficeOrOwner,
    State(app): State<App>,
    PathId(id): PathId<ids::Section>,
    key: IdempotencyKey,
    entry: Valid<EntryInput>,
) -> Result<Created, Problem> {
    create(office, app, Subject::Section(id), key, ("create_section_entry", "sections"), entry).await
}

async fn list(app: &App, subject: Subject) -> Result<Json<HistoryEntries>, Problem> {
    let mut reader = app.store.reader().acquire().await?;
    let entries = store::history::entries(&mut reader, subject).await?;
    if entries.is_empty() {
        return Err(Problem::not_found(noun(subject)));
    }
    Ok(Json(HistoryEntries { items: entries.into_iter().map(|entry| entry.view).collect() }))
}

async fn create(
    OfficeOrOwner(actor): OfficeOrOwner,
    app: App,
    subject: Subject,
    key: IdempotencyKey,
    (route, place): (&'static str, &'static str),
    Valid { value, fingerprint }: Valid<EntryInput>,
) -> Result<Created, Problem> {
    let (today, last) = (office_day(&app).await?, last_past_day(&app).await?);
    let at = app.clock.now();
    let id: DatedEntryId = app.ids.next(at);
    let deed = JournalContext { actor: Some(actor), at, act: "entry.added", subject: id.uuid() };
    let repeat = IdempotentRequest { key, route, fingerprint: fingerprint_at(subject.uuid(), &fingerprint) };
    let location = format!("/api/v1/{place}/{}/history", subject.uuid());
    let book = app.clone();
    office::create(&app, deed, repeat, location, move |connection| {
        Box::pin(async move {
            let entries = store::history::entries(connection, subject).await?;
            let Some(first) = entries.first() else { return Err(Problem::not_found(noun(subject))) };
            let mut faults: Vec<FieldFault> =
                value.since.and_then(|day| not_yet("/since", day, today)).into_iter().collect();
            faults.extend(fitting(&value, subject, &entries, first));
            whole(faults)?;
            let corrects = value.corrects.and_then(|id| entries.iter().find(|entry| entry.view.id == id));
            let freed = corrects.map_or(value.since, |entry| entry.view.since.min(value.since)).unwrap_or(Day::FIRST);
            let facts = spelled(subject, first, &value.facts);
            let new = NewEntry {
                id,
                since: value.since,
                facts,
                corrects: corrects.map(|entry| entry.seq),
                reason: Some(value.reason),
                by: actor.person,
                at,
            };
            let entry =
                DatedEntry { seq: i64::MAX, since: new.since, corrects: new.corrects, facts: new.facts.clone() };
            let turn = Turn { before: store::history::history(&entries), after: with(&entries, entry) };
            let (before, history) = (&turn.before, &turn.after);
            sound(connection, &book, subject, (before, history), last).await?;
            whole(unreadable(&book, subject, first, &new.facts))?;
            let doubts = Before::of_turn(connection, &book, (subject, before, history), (freed, at)).await?;
            let entry = store::history::append(connection, subject, &new).await?;
            let made = Made { entry: id.uuid(), reason: new.reason.clone(), today };
            note_moves(connection, &book, subject, &turn, made, deed).await?;
            if let Some(doubts) = doubts {
                doubts.note(connection, &book, Cause::Entry(id.uuid()), deed).await?;
            }
            // Since when the property is whose shows on it, also where it is whose it was.
            if history.present() != before.present() || entry.facts.contains_key("client_id") {
                stands(connection, &book, subject, history.present(), deed).await?;
            }
            Ok(entry)
        })
    })
    .await
}

/// What does not fit together in an entry, or between it and the one whose place it takes.
fn fitting(input: &EntryInput, subject: Subject, entries: &[StoredEntry], first: &StoredEntry) -> Vec<FieldFault> {
    let mut faults = Vec::new();
    let fault = |pointer: &str, code: &str, detail: String| FieldFault::at(pointer, code, detail);
    if input.facts.is_empty() {
        faults.push(fault("/facts", "missing", "says nothing; name at least one member of the thing".to_owned()));
    }
    // The first entry of an older book does not name what it had no word for yet.
    let since_then = |name: &str| matches!(subject, Subject::Property(_)) && entering::unnamed(name).is_some();
    let unknown = input.facts.keys().filter(|name| !first.view.facts.contains_key(*name) && !since_then(name));
    faults.extend(unknown.map(|name| {
        let detail = "is no member that has a history; check its spelling".to_owned();
        fault(&format!("/facts/{}", name.replace('~', "~0").replace('/', "~1")), "unknown_field", detail)
    }));
    let corrected = input.corrects.map(|id| entries.iter().find(|entry| entry.view.id == id));
    match corrected {
        Some(None) => faults.push(fault("/corrects", "not_found", "names no entry about this thing".to_owned())),
        Some(Some(entry)) if entry.view.corrected_by.is_some() => {
            let by = entry.view.corrected_by.map(|id| id.to_string()).unwrap_or_default();
            faults.push(fault(
                "/corrects",
                "contradiction",
                format!("was corrected before; correct the entry {by} instead"),
            ));
        }
        Some(Some(entry)) if entry.view.since.is_none() != input.since.is_none() => {
            let (code, detail) = if input.since.is_some() {
                (
                    "contradiction",
                    "is left out here: the first entry holds from the first day known. For what began later, add an entry of its own",
                )
            } else {
                ("missing", "is required")
            };
            faults.push(fault("/since", code, detail.to_owned()));
        }
        None if input.since.is_none() => faults.push(fault("/since", "missing", "is required".to_owned())),
        _ => {}
    }
    // What a correction does not say would fall away without a word.
    let left_out = corrected.flatten().into_iter().flat_map(|entry| entry.view.facts.keys());
    faults.extend(left_out.filter(|name| !input.facts.contains_key(*name)).map(|name| {
        let detail = "is required: what takes the place of an entry says all that it says";
        fault(&format!("/facts/{name}"), "missing", detail.to_owned())
    }));
    faults
}

/// What was sent, spelled as the thing itself writes it. The row and its line in the journal are written from what is read of it, and
/// `verify` holds the one against the other.
fn spelled(subject: Subject, first: &StoredEntry, sent: &Facts) -> Facts {
    let mut facts = subject.spelled(&over(first, sent));
    facts.retain(|name, _| sent.contains_key(name));
    facts
}

/// The first entry, which names every member, with what was sent in place of what it says.
fn over(first: &StoredEntry, sent: &Facts) -> Facts {
    first.view.facts.iter().chain(sent).map(|(name, value)| (name.clone(), value.clone())).collect()
}

/// What was sent and is no value of its member. Another entry of the same day may stand before it, so that no state of the thing shows
/// it.
fn unreadable(app: &App, subject: Subject, first: &StoredEntry, sent: &Facts) -> Vec<FieldFault> {
    let mut facts = over(first, sent);
    let read = match subject {
        Subject::Client(_) => checked_body::<ClientInput>(app, Value::Object(facts)).err(),
        Subject::Property(_) => checked_body::<PropertyInput>(app, Value::Object(facts)).err(),
        Subject::Section(id) => {
            facts.insert("property_id".to_owned(), id.uuid().to_string().into());
            checked_body::<SectionInput>(app, Value::Object(facts)).err()
        }
    };
    let pointer = |fault: &FieldFault| fault.pointer.as_deref().unwrap_or_default().trim_start_matches('#').to_owned();
    let of_sent = |fault: &FieldFault| sent.keys().any(|name| pointer(fault).split('/').nth(1) == Some(name));
    let faults = read.into_iter().flat_map(|problem| problem.errors).filter(of_sent);
    faults.map(|fault| FieldFault::at(format!("/facts{}", pointer(&fault)), &fault.code, fault.detail)).collect()
}

/// The history with one entry more.
fn with(entries: &[StoredEntry], new: DatedEntry) -> History {
    let stored = entries.iter().map(|entry| DatedEntry {
        seq: entry.seq,
        since: entry.view.since,
        corrects: entry.corrects,
        facts: entry.view.facts.clone(),
    });
    History::of(stored.chain([new]).collect())
}

/// A section's facts as the office writes them. It stays on its property.
async fn section_input(
    connection: &mut SqliteConnection,
    app: &App,
    id: SectionId,
    mut facts: Facts,
) -> Result<SectionInput, Problem> {
    let stored = store::sections::get(connection, id, Scope::Company).await?;
    let stored = stored.ok_or_else(|| Problem::not_found("lawn section"))?;
    facts.insert("property_id".to_owned(), stored.property_id.to_string().into());
    checked_body(app, Value::Object(facts))
}

/// Brings the thing's row to what stands now, with its line in the journal.
pub(super) async fn stands(
    connection: &mut SqliteConnection,
    app: &App,
    subject: Subject,
    facts: Facts,
    deed: JournalContext,
) -> Result<(), Problem> {
    let (act, thing) = match subject {
        Subject::Client(id) => {
            let input = checked_body(app, Value::Object(facts))?;
            let done = store::clients::update(connection, id, &input, None).await?.or_problem("client")?;
            ("client.changed", serde_json::to_string(&done)?)
        }
        Subject::Property(id) => {
            let input = checked_body(app, Value::Object(facts))?;
            let done = store::properties::update(connection, id, &input, None).await?.or_problem("property")?;
            ("property.changed", serde_json::to_string(&done)?)
        }
        Subject::Section(id) => {
            let input = section_input(connection, app, id, facts).await?;
            let done = store::sections::update(connection, id, &input, None).await?.or_problem("lawn section")?;
            ("section.changed", serde_json::to_string(&done)?)
        }
    };
    entering::note_thing(connection, act, subject, &thing, deed).await
}
