//! What stood when: the dated entries about clients, properties and sections. Only ever inserted. The rows of those three, and
//! the spans of ownership, are what the entries come to.

use std::collections::HashMap;

use domain::{
    dated::{DatedEntry, Facts, History, Stood},
    ids::{ClientId, DatedEntryId, PersonId, PropertyId, SectionId},
    time::{Day, Instant},
};
use serde::{Serialize, de::DeserializeOwned};
use serde_json::Value;
use sqlx::SqliteConnection;
use utoipa::{
    PartialSchema, ToSchema,
    openapi::{
        Ref, RefOr, Schema,
        schema::{ArrayBuilder, ObjectBuilder, OneOfBuilder, Type},
    },
};
use uuid::Uuid;

use crate::store::{
    bad_row,
    clients::ClientInput,
    gaps,
    properties::{Place, PropertyInput},
    read, read_day, read_instant, read_json,
    sections::SectionInput,
};

/// The day that stands for "from the first day known".
pub const FROM_THE_BEGINNING: &str = "0001-01-01";

/// What entries are about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Subject {
    Client(ClientId),
    Property(PropertyId),
    Section(SectionId),
}

impl Subject {
    pub fn uuid(self) -> Uuid {
        match self {
            Self::Client(id) => id.uuid(),
            Self::Property(id) => id.uuid(),
            Self::Section(id) => id.uuid(),
        }
    }

    /// The same facts as the thing itself writes them. A distance, a coordinate, an id or a place has more than one spelling, and
    /// what was sent may have another than the row and the journal. All members must be there; what cannot be read stays as it is.
    pub fn spelled(self, facts: &Facts) -> Facts {
        let mut whole = facts.clone();
        let read = match self {
            Self::Client(_) => read_as::<ClientInput>(whole),
            Self::Property(_) => read_as::<PropertyInput>(whole),
            Self::Section(id) => {
                // Entries do not name the property, because a section stays on it; any id will do to read the rest.
                whole.insert("property_id".to_owned(), id.to_string().into());
                read_as::<SectionInput>(whole)
            }
        };
        let spelled = |(name, value): (&String, &Value)| {
            let known = read.as_ref().and_then(|read| read.get(name)).unwrap_or(value);
            (name.clone(), known.clone())
        };
        facts.iter().map(spelled).collect()
    }

    /// The three ids as the statements take them: one is given, the others are null.
    fn keys(self) -> [Option<String>; 3] {
        match self {
            Self::Client(id) => [Some(id.to_string()), None, None],
            Self::Property(id) => [None, Some(id.to_string()), None],
            Self::Section(id) => [None, None, Some(id.to_string())],
        }
    }
}

/// What was read as a thing's input, as that writes it; nothing where it cannot be read.
fn read_as<T: DeserializeOwned + Serialize>(facts: Facts) -> Option<Value> {
    serde_json::to_value(serde_json::from_value::<T>(Value::Object(facts)).ok()?).ok()
}

/// An entry about a client, a property or a lawn section: what is so, and since when.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct HistoryEntry {
    /// The first entry of a thing has the id of the thing.
    pub id: DatedEntryId,
    /// First local day on which it is so; null for the first entry, which holds from the first day known.
    pub since: Option<Day>,
    /// What it says, in the members of the thing. What is not named stays as it was.
    #[schema(value_type = FactsByName)]
    pub facts: Facts,
    /// The entry whose place this one takes.
    pub corrects: Option<DatedEntryId>,
    /// The entry that took the place of this one, which then no longer counts.
    pub corrected_by: Option<DatedEntryId>,
    #[schema(max_length = 300)]
    pub reason: Option<String>,
    /// Null for what was brought over from before there were entries.
    pub entered_by: Option<PersonId>,
    #[schema(max_length = 120)]
    pub entered_by_name: Option<String>,
    pub entered_at: Instant,
}

/// How facts look in the API document: members of a thing by name, each as the thing itself has it.
#[derive(Debug)]
pub enum FactsByName {}

impl PartialSchema for FactsByName {
    fn schema() -> RefOr<Schema> {
        let text = ObjectBuilder::new().schema_type(Type::String).max_length(Some(300));
        let number = ObjectBuilder::new().schema_type(Type::Number).minimum(Some(-180)).maximum(Some(180));
        let code = ObjectBuilder::new().schema_type(Type::String).max_length(Some(60));
        let value = OneOfBuilder::new()
            .item(text)
            .item(number)
            .item(ObjectBuilder::new().schema_type(Type::Boolean))
            .item(ObjectBuilder::new().schema_type(Type::Null))
            .item(ArrayBuilder::new().items(code).max_items(Some(8)))
            .item(Ref::from_schema_name(Place::name()))
            .build();
        let facts = ObjectBuilder::new().schema_type(Type::Object).additional_properties(Some(Schema::OneOf(value)));
        facts
            .max_properties(Some(20))
            .description(Some("Members of the thing by name, each as the thing itself has it."))
            .into()
    }
}

impl ToSchema for FactsByName {
    fn schemas(schemas: &mut Vec<(String, RefOr<Schema>)>) {
        schemas.push((Place::name().into_owned(), Place::schema()));
        Place::schemas(schemas);
    }
}

/// An entry as it is stored.
#[derive(Debug, Clone)]
pub struct StoredEntry {
    pub seq: i64,
    pub corrects: Option<i64>,
    pub view: HistoryEntry,
}

/// An entry to be stored.
#[derive(Debug)]
pub struct NewEntry {
    pub id: DatedEntryId,
    /// Nothing for the first entry of a thing and for whatever takes its place.
    pub since: Option<Day>,
    pub facts: Facts,
    pub corrects: Option<i64>,
    pub reason: Option<String>,
    pub by: PersonId,
    pub at: Instant,
}

impl NewEntry {
    /// The first entry about a thing, which has the thing's id.
    pub fn first(subject: Subject, facts: Facts, by: PersonId, at: Instant) -> Self {
        let id = DatedEntryId::from_uuid(subject.uuid());
        Self { id, since: None, facts, corrects: None, reason: None, by, at }
    }
}

/// The members that a thing's entries speak of: all of what the office writes about it, but for what says how it was written.
pub fn facts_of(input: &impl Serialize, without: &[&str]) -> Result<Facts, sqlx::Error> {
    match serde_json::to_value(input).map_err(|error| sqlx::Error::Encode(error.into()))? {
        Value::Object(mut facts) => {
            facts.retain(|name, _| !without.contains(&name.as_str()));
            Ok(facts)
        }
        other => Err(sqlx::Error::Encode(format!("{other} has no members").into())),
    }
}

/// The history that these entries make.
pub fn history(entries: &[StoredEntry]) -> History {
    let entry = |stored: &StoredEntry| DatedEntry {
        seq: stored.seq,
        since: stored.view.since,
        corrects: stored.corrects,
        facts: stored.view.facts.clone(),
    };
    History::of(entries.iter().map(entry).collect())
}

/// Every entry about a thing, in the order in which they were entered.
pub async fn entries(connection: &mut SqliteConnection, subject: Subject) -> Result<Vec<StoredEntry>, sqlx::Error> {
    let id = subject.uuid().to_string();
    let ids = serde_json::to_string(&[&id]).map_err(|error| sqlx::Error::Encode(error.into()))?;
    let none = || "[]".to_owned();
    let about = match subject {
        Subject::Client(_) => About { clients: ids, properties: none(), sections: none(), changed: false },
        Subject::Property(_) => About { clients: none(), properties: ids, sections: none(), changed: false },
        Subject::Section(_) => About { clients: none(), properties: none(), sections: ids, changed: false },
    };
    Ok(load(connection, &about).await?.0.remove(&id).unwrap_or_default())
}

/// Which histories are wanted: JSON arrays of ids, and whether only of things of which more than the first entry is there. The
/// others are what their rows say.
#[derive(Debug)]
pub struct About {
    pub clients: String,
    pub properties: String,
    pub sections: String,
    pub changed: bool,
}

/// Entries by the id of what they are about.
#[derive(Debug, Default)]
pub struct Histories(HashMap<String, Vec<StoredEntry>>);

impl Histories {
    /// What a thing was, state after state; nothing where no entries were loaded.
    pub fn stood<T: DeserializeOwned>(&self, id: &str) -> Result<Option<Stood<T>>, sqlx::Error> {
        let entries = self.0.get(id);
        entries.map(|entries| history(entries).stood().map_err(|error| bad_row("history")(&error))).transpose()
    }

    pub fn entries_of(&self, id: &str) -> &[StoredEntry] {
        self.0.get(id).map_or(&[], Vec::as_slice)
    }
}

/// Loads histories.
pub async fn load(connection: &mut SqliteConnection, about: &About) -> Result<Histories, sqlx::Error> {
    let rows = sqlx::query!(
        r#"SELECT e.client_id AS "subject!: String", e.seq AS "seq!: i64", e.id AS "id!: String", e.since AS "since!: String",
                  e.facts AS "facts!: String", e.corrects AS "corrects?: i64", e.reason AS "reason?: String",
                  e.person_id AS "person_id?: String", (SELECT p.name FROM people AS p WHERE p.id = e.person_id) AS "person_name?: String",
                  e.entered_at AS "entered_at!: i64"
           FROM json_each($1) AS w CROSS JOIN dated_entries AS e
           WHERE e.client_id = w.value AND e.client_id IS NOT NULL
             AND (NOT $4 OR EXISTS (SELECT 1 FROM dated_entries AS x WHERE x.client_id = w.value AND x.id <> w.value))
           UNION ALL
           SELECT e.property_id, e.seq, e.id, e.since, e.facts, e.corrects, e.reason, e.person_id,
                  (SELECT p.name FROM people AS p WHERE p.id = e.person_id), e.entered_at
           FROM json_each($2) AS w CROSS JOIN dated_entries AS e
           WHERE e.property_id = w.value AND e.property_id IS NOT NULL
             AND (NOT $4 OR EXISTS (SELECT 1 FROM dated_entries AS x WHERE x.property_id = w.value AND x.id <> w.value))
           UNION ALL
           SELECT e.section_id, e.seq, e.id, e.since, e.facts, e.corrects, e.reason, e.person_id,
                  (SELECT p.name FROM people AS p WHERE p.id = e.person_id), e.entered_at
           FROM json_each($3) AS w CROSS JOIN dated_entries AS e
           WHERE e.section_id = w.value AND e.section_id IS NOT NULL
             AND (NOT $4 OR EXISTS (SELECT 1 FROM dated_entries AS x WHERE x.section_id = w.value AND x.id <> w.value))"#,
        about.clients,
        about.properties,
        about.sections,
        about.changed
    )
    .fetch_all(connection)
    .await?;
    let mut found = Histories::default();
    for row in rows {
        let view = HistoryEntry {
            id: read(&row.id, "entry id")?,
            since: (row.since != FROM_THE_BEGINNING).then(|| read_day(&row.since)).transpose()?,
            facts: read_json(&row.facts, "entry")?,
            corrects: None,
            corrected_by: None,
            reason: row.reason,
            entered_by: row.person_id.as_deref().map(|id| read(id, "person id")).transpose()?,
            entered_by_name: row.person_name,
            entered_at: read_instant(row.entered_at)?,
        };
        found.0.entry(row.subject).or_default().push(StoredEntry { seq: row.seq, corrects: row.corrects, view });
    }
    for entries in found.0.values_mut() {
        entries.sort_by_key(|entry| entry.seq);
        tie(entries)?;
    }
    Ok(found)
}

/// Names the entries that took the places of others, on both sides.
fn tie(entries: &mut [StoredEntry]) -> Result<(), sqlx::Error> {
    let ids: HashMap<i64, DatedEntryId> = entries.iter().map(|entry| (entry.seq, entry.view.id)).collect();
    let takers: HashMap<i64, DatedEntryId> =
        entries.iter().filter_map(|entry| Some((entry.corrects?, entry.view.id))).collect();
    for entry in entries {
        let corrected = |seq: i64| ids.get(&seq).copied().ok_or_else(|| bad_row("corrected entry")(&seq));
        entry.view.corrects = entry.corrects.map(corrected).transpose()?;
        entry.view.corrected_by = takers.get(&entry.seq).copied();
    }
    Ok(())
}

/// Adds an entry. The row of its subject follows by the caller's hand, the spans of ownership here.
pub async fn append(
    connection: &mut SqliteConnection,
    subject: Subject,
    entry: &NewEntry,
) -> Result<HistoryEntry, sqlx::Error> {
    let [client, property, section] = subject.keys();
    let (id, by, at) = (entry.id.to_string(), entry.by.to_string(), entry.at.millis());
    let since = entry.since.map_or_else(|| FROM_THE_BEGINNING.to_owned(), |day| day.to_string());
    let facts = serde_json::to_string(&entry.facts).map_err(|error| sqlx::Error::Encode(error.into()))?;
    sqlx::query!(
        "INSERT INTO dated_entries (id, client_id, property_id, section_id, since, facts, corrects, reason, person_id, entered_at)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
        id,
        client,
        property,
        section,
        since,
        facts,
        entry.corrects,
        entry.reason,
        by,
        at
    )
    .execute(&mut *connection)
    .await?;
    let stored = entries(connection, subject).await?;
    if let Subject::Property(property) = subject {
        span_ownerships(connection, property, &history(&stored)).await?;
        let decides = ["rule_sets", "kind", "worked_by"].iter().any(|name| entry.facts.contains_key(*name));
        if decides && stored.len() > 1 {
            let first_day = |day: Option<Day>| day.map_or_else(|| FROM_THE_BEGINNING.to_owned(), |day| day.to_string());
            let corrected = stored.iter().find(|one| Some(one.seq) == entry.corrects);
            let freed = corrected.map_or(entry.since, |corrected| corrected.view.since.min(entry.since));
            gaps::ask_again(connection, property, &first_day(freed)).await?;
        }
    }
    let written = stored.into_iter().find(|stored| stored.view.id == entry.id);
    written.map(|stored| stored.view).ok_or(sqlx::Error::RowNotFound)
}

/// Works out anew whose the property was from which day on. A day on which the same client is said again begins nothing.
async fn span_ownerships(
    connection: &mut SqliteConnection,
    property: PropertyId,
    history: &History,
) -> Result<(), sqlx::Error> {
    let key = property.to_string();
    sqlx::query!("DELETE FROM ownerships WHERE property_id = $1", key).execute(&mut *connection).await?;
    for (client, since) in owners(history)? {
        sqlx::query!("INSERT INTO ownerships (property_id, client_id, since) VALUES ($1, $2, $3)", key, client, since)
            .execute(&mut *connection)
            .await?;
    }
    Ok(())
}

/// Whose the property was, with the first day as it is stored.
pub fn owners(history: &History) -> Result<Vec<(String, String)>, sqlx::Error> {
    let owner = |(since, client): (Option<Day>, &Value)| {
        let client = client.as_str().ok_or_else(|| bad_row("client of a property")(client))?;
        Ok((client.to_owned(), since.map_or_else(|| FROM_THE_BEGINNING.to_owned(), |day| day.to_string())))
    };
    history.values_of("client_id").into_iter().map(owner).collect()
}

/// What an entry is about; the first entry of a thing has the thing's id.
pub async fn subject_of(connection: &mut SqliteConnection, id: DatedEntryId) -> Result<Option<Subject>, sqlx::Error> {
    let key = id.to_string();
    let row = sqlx::query!("SELECT client_id, property_id, section_id FROM dated_entries WHERE id = $1", key)
        .fetch_optional(&mut *connection)
        .await?;
    let Some(row) = row else { return Ok(None) };
    Ok(Some(match (row.client_id, row.property_id, row.section_id) {
        (Some(client), _, _) => Subject::Client(read(&client, "client id")?),
        (_, Some(property), _) => Subject::Property(read(&property, "property id")?),
        (_, _, Some(section)) => Subject::Section(read(&section, "section id")?),
        _ => return Err(bad_row("entry")(&"it is about nothing")),
    }))
}

/// One entry.
pub async fn get(connection: &mut SqliteConnection, id: DatedEntryId) -> Result<Option<HistoryEntry>, sqlx::Error> {
    let Some(subject) = subject_of(connection, id).await? else { return Ok(None) };
    let found = entries(connection, subject).await?;
    Ok(found.into_iter().map(|entry| entry.view).find(|entry| entry.id == id))
}
