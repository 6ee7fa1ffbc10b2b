//! What stood when of a client, a property or a lawn section: every entry, and the form that corrects one.

use askama::Template;
use axum::{extract::State, response::Response};
use domain::ids::{self, DatedEntryId};
use serde_json::{Value, json};

use crate::{
    api::{self, history::EntryInput},
    book::history::{label, told, unnamed},
    extract::{PathId, Valid},
    pages::{
        clients,
        form::{Field, Form, FormData},
        local::Local,
        office::dates,
        office_session::OfficeSession,
        page, properties, sections,
    },
    problem::Problem,
    scope::Scope,
    state::App,
    store::{
        self,
        history::{HistoryEntry, StoredEntry, Subject},
        settings::DateOrder,
    },
};

#[derive(Template)]
#[template(path = "history.html")]
struct HistoryPage {
    dates: DateOrder,
    name: String,
    /// The page of the thing.
    at: String,
    entries: Vec<Told>,
}

/// An entry for people.
struct Told {
    view: HistoryEntry,
    says: Vec<(String, String)>,
    entered: String,
}

/// What the entries are about: what it is called and where its page is.
async fn named(app: &App, subject: Subject) -> Result<(String, String), Problem> {
    Ok(match subject {
        Subject::Client(id) => (clients::get(app, id).await?.name, format!("/office/clients/{id}")),
        Subject::Property(id) => (properties::get(app, id).await?.address, format!("/office/properties/{id}")),
        Subject::Section(id) => (sections::get(app, id).await?.name, format!("/office/sections/{id}")),
    })
}

async fn entries(app: &App, subject: Subject) -> Result<Vec<StoredEntry>, Problem> {
    let mut reader = app.store.reader().acquire().await?;
    Ok(store::history::entries(&mut reader, subject).await?)
}

/// The entries about a client, a property or a lawn section, by its id.
pub async fn list(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::DatedFacts>,
) -> Result<Response, Problem> {
    let subject = subject_of(&app, id).await?;
    let (name, at) = named(&app, subject).await?;
    let (dates, (_, zone)) = (dates(&app).await?, api::company(&app).await?);
    let local = Local::of(&zone);
    let mut listed = Vec::new();
    for entry in entries(&app, subject).await? {
        let mut says = told(&entry.view.facts);
        if let Some(client) = client_of(&app, &entry.view).await? {
            says.iter_mut()
                .filter(|(name, _)| *name == label("client_id"))
                .for_each(|(_, value)| value.clone_from(&client));
        }
        let entered = local.minute(entry.view.entered_at, dates);
        listed.push(Told { view: entry.view, says, entered });
    }
    // By day, and those of one day as they were entered.
    listed.sort_by_key(|entry: &Told| entry.view.since);
    Ok(page(HistoryPage { dates, name, at, entries: listed }.render()))
}

/// The client whom an entry names, by name.
async fn client_of(app: &App, entry: &HistoryEntry) -> Result<Option<String>, Problem> {
    let Some(id) = entry.facts.get("client_id").and_then(Value::as_str).and_then(|id| id.parse().ok()) else {
        return Ok(None);
    };
    let client = store::clients::get(app.store.reader(), id, Scope::Company).await?;
    Ok(client.map(|client| client.name))
}

async fn subject_of(app: &App, id: DatedEntryId) -> Result<Subject, Problem> {
    let mut reader = app.store.reader().acquire().await?;
    store::history::subject_of(&mut reader, id).await?.ok_or_else(|| Problem::not_found("entry"))
}

/// The day since when a change is so, which every form of a thing with dated facts has.
pub fn since() -> Field {
    Field::day("/since", "True since").optional().under("Since when").help(
        "The first day on which what you change here is so. Leave it empty if it is since today. What was wrong from the start is corrected in the history.",
    )
}

/// The form that puts an entry right: the fields of the thing that the entry speaks of.
async fn form(app: &App, subject: Subject, id: DatedEntryId) -> Result<(Form, HistoryEntry), Problem> {
    let (name, _) = named(app, subject).await?;
    let found = entries(app, subject).await?.into_iter().map(|entry| entry.view).find(|entry| entry.id == id);
    let entry = found.ok_or_else(|| Problem::not_found("entry"))?;
    let mut fields = match subject {
        Subject::Client(_) => clients::fields(),
        Subject::Property(id) => properties::correctable(app, &properties::get(app, id).await?).await?,
        Subject::Section(_) => sections::fields(),
    };
    // The first entry of an older book does not name what it had no word for yet.
    let is_first = matches!(subject, Subject::Property(_)) && entry.since.is_none();
    let mut facts = entry.facts.clone();
    fields.retain(|field| {
        let member = field.name.split('/').nth(1).unwrap_or_default();
        if let Some(meant) = unnamed(member).filter(|_| is_first) {
            facts.entry(member).or_insert(meant);
        }
        facts.contains_key(member)
    });
    for field in &mut fields {
        field.name = format!("/facts{}", field.name);
    }
    if entry.since.is_some() {
        fields.insert(0, Field::day("/since", "Since").help("The first day on which it is so."));
    }
    fields.push(
        Field::line("/reason", "Why it is corrected")
            .help("It stands beside the entry, and on statements of the years it is about."),
    );
    let stored = json!({ "facts": facts, "since": entry.since });
    for field in &mut fields {
        if let Some(value) = stored.pointer(&field.name) {
            field.fill(value);
        }
    }
    let title = format!("Correct what was entered about {name}");
    let form = Form::new(title, format!("/office/entries/{id}"), "Save the correction", fields)
        .back(format!("/office/history/{}", subject.uuid()))
        .note("The entry stays in the history, and this one takes its place.");
    Ok((form, entry))
}

/// What the form sends. A field that was emptied says that there is nothing, and not that nothing is said.
fn asked(form: &Form, app: &App, entry: &HistoryEntry) -> Result<Valid<EntryInput>, Problem> {
    let mut body = form.body();
    body["corrects"] = json!(entry.id);
    if !body["facts"].is_object() {
        body["facts"] = json!({});
    }
    for name in entry.facts.keys().filter(|name| body["facts"].get(*name).is_none()).cloned().collect::<Vec<_>>() {
        // A list of which nothing is chosen is an empty one.
        let nothing = if entry.facts[&name].is_array() { json!([]) } else { Value::Null };
        body["facts"][name] = nothing;
    }
    form.valid_body(app, body)
}

/// The form to correct an entry.
pub async fn entry(
    _: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::DatedFacts>,
) -> Result<Response, Problem> {
    Ok(form(&app, subject_of(&app, id).await?, id).await?.0.once(&app).show())
}

/// Stores a correction of an entry.
pub async fn correct(
    desk: OfficeSession,
    State(app): State<App>,
    PathId(id): PathId<ids::DatedFacts>,
    sent: FormData,
) -> Result<Response, Problem> {
    let subject = subject_of(&app, id).await?;
    let (form, entry) = form(&app, subject, id).await?;
    let form = form.sent(&sent);
    let done = async {
        let (office, here, key, valid) = (desk.office(), State(app.clone()), form.key()?, asked(&form, &app, &entry)?);
        match subject {
            Subject::Client(id) => api::history::create_client_entry(office, here, PathId(id), key, valid).await,
            Subject::Property(id) => api::history::create_property_entry(office, here, PathId(id), key, valid).await,
            Subject::Section(id) => api::history::create_section_entry(office, here, PathId(id), key, valid).await,
        }
    };
    let done = done.await;
    form.made(&app, done, |_| format!("/office/history/{}", subject.uuid()))
}
