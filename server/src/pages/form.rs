//! Forms that work without a script. A form is a list of fields named by JSON pointers into the request of the API that it
//! sends; what was typed becomes that request, is held against the same schema and goes to the same handler. Faults come
//! back beside their fields with what was typed, and a change that somebody else overtook shows both versions.

mod answer;
mod choice;
mod data;
mod field;
mod said;

use askama::Template;
use axum::response::Response;
use serde::{Serialize, de::DeserializeOwned};
use serde_json::Value;
use utoipa::ToSchema;

pub use crate::pages::form::{
    choice::{Choice, choices},
    data::{FormData, SentFile},
    field::{Control, Field, OWN_PASSWORD},
};
use crate::{
    extract::{self, IdempotencyKey, IfMatch, Valid},
    pages::{in_address, page},
    problem::{FieldFault, Kind, Problem},
    state::App,
};

/// A form with what stands in it, and the page around it.
#[derive(Debug)]
pub struct Form {
    pub title: String,
    /// Where somebody goes who does not want it.
    pub back: String,
    pub action: String,
    pub button: &'static str,
    pub fields: Vec<Field>,
    /// Sentences above the fields.
    pub notes: Vec<String>,
    /// What is wrong and belongs to no field.
    pub general: Vec<String>,
    /// A second button that stores nothing: its name and its words.
    pub look: Option<&'static str>,
    /// By what the same form sent twice is recognised.
    pub key: Option<String>,
    /// The version that is changed.
    pub version: Option<i64>,
    /// Only asks: what was typed goes into the address, and nothing is stored.
    pub asks: bool,
}

#[derive(Template)]
#[template(path = "entry.html")]
struct Entry {
    form: Form,
}

impl Form {
    pub fn new(title: impl Into<String>, action: impl Into<String>, button: &'static str, fields: Vec<Field>) -> Self {
        Self {
            title: title.into(),
            back: "/office".to_owned(),
            action: action.into(),
            button,
            fields,
            notes: Vec::new(),
            general: Vec::new(),
            look: None,
            key: None,
            version: None,
            asks: false,
        }
    }

    /// A form that only asks.
    #[must_use]
    pub fn asking(mut self) -> Self {
        self.asks = true;
        self
    }

    #[must_use]
    pub fn back(mut self, to: impl Into<String>) -> Self {
        self.back = to.into();
        self
    }

    #[must_use]
    pub fn note(mut self, words: impl Into<String>) -> Self {
        self.notes.push(words.into());
        self
    }

    /// A form that makes something, with a key of its own.
    #[must_use]
    pub fn once(mut self, app: &App) -> Self {
        self.key = Some(app.ids.uuid(app.clock.now()).to_string());
        self
    }

    /// A form that changes something, filled with what is stored.
    #[must_use]
    pub fn filled(mut self, stored: &impl Serialize, version: i64) -> Self {
        let stored = serde_json::to_value(stored).unwrap_or_default();
        for field in &mut self.fields {
            if let Some(value) = stored.pointer(&field.name) {
                field.fill(value);
            }
        }
        self.version = Some(version);
        self
    }

    /// What somebody sent, in place of what stood there.
    #[must_use]
    pub fn sent(mut self, sent: &FormData) -> Self {
        let sent = sent.closed_up();
        for field in &mut self.fields {
            field.value = sent.all(&field.name);
        }
        self.key = sent.one("key");
        self.version = sent.one("version").and_then(|text| text.parse().ok());
        self
    }

    pub fn field(&mut self, name: &str) -> Option<&mut Field> {
        self.fields.iter_mut().find(|field| field.name == name)
    }

    /// The request of the API that this form sends. A row of a list in which nothing stands is left out.
    pub fn body(&self) -> Value {
        let mut body = Value::Object(serde_json::Map::new());
        for field in self.fields.iter().filter(|field| !self.in_empty_row(field)) {
            if let (true, Some(value)) = (field.name.starts_with('/'), field.json()) {
                put(&mut body, &field.name, value);
            }
        }
        body
    }

    fn in_empty_row(&self, field: &Field) -> bool {
        field
            .row()
            .is_some_and(|row| self.fields.iter().filter(|other| other.row() == Some(row)).all(Field::says_nothing))
    }

    /// What the form asks, as the query of an operation is read: the fields that are named as its parameters.
    pub fn query<T: DeserializeOwned>(&self, app: &App, operation: &str) -> Result<T, Problem> {
        let schema = app.schemas.query(operation);
        let is_parameter = |name: &str| schema.as_ref().is_ok_and(|schema| schema.member(name).is_some());
        let mut query = serde_json::Map::new();
        for field in self.fields.iter().filter(|field| is_parameter(&field.name)) {
            if let Some(value) = field.json() {
                query.insert(field.name.clone(), value);
            }
        }
        extract::checked_query(app, schema, query)
    }

    /// The address that asks this form's question again, as it was sent.
    pub fn asked_again(&self) -> String {
        let pairs = self.fields.iter().flat_map(|field| field.value.iter().map(|value| (&field.name, value)));
        let query: Vec<String> =
            pairs.map(|(name, value)| format!("{}={}", in_address(name), in_address(value))).collect();
        format!("{}?{}", self.action, query.join("&"))
    }

    /// The request, held against its schema.
    pub fn valid<T: DeserializeOwned + ToSchema>(&self, app: &App) -> Result<Valid<T>, Problem> {
        self.valid_body(app, self.body())
    }

    /// A request that the page has added to, held against its schema.
    pub fn valid_body<T: DeserializeOwned + ToSchema>(&self, app: &App, body: Value) -> Result<Valid<T>, Problem> {
        let fingerprint = crate::secret::fingerprint(&body);
        let unreadable: Vec<FieldFault> = self.fields.iter().filter_map(Field::unreadable).collect();
        let checked = extract::checked_body(app, body).map_err(|mut problem| {
            // What is no JSON at all need not be told to have the wrong shape.
            problem.errors.retain(|fault| !unreadable.iter().any(|other| other.pointer == fault.pointer));
            problem
        });
        let value = match checked {
            Err(problem) if problem.errors.is_empty() && !unreadable.is_empty() => Err(Problem::invalid(unreadable)),
            checked => also(checked, unreadable),
        };
        Ok(Valid { value: value?, fingerprint })
    }

    pub fn key(&self) -> Result<IdempotencyKey, Problem> {
        let known = self.key.as_ref().filter(|key| (16..=64).contains(&key.len()) && key.bytes().all(plain));
        let lost =
            || Problem::new(Kind::Malformed, "The form came without its own key. Open it again from the office.");
        known.cloned().map(|key| IdempotencyKey { key: Some(key) }).ok_or_else(lost)
    }

    pub fn if_match(&self) -> Result<IfMatch, Problem> {
        let lost = || Problem::new(Kind::VersionRequired, "The form came without its version. Open it again.");
        let version = self.version.filter(|version| *version > 0).ok_or_else(lost)?;
        Ok(IfMatch { versions: Some(Value::from(vec![version]).to_string()) })
    }

    /// What an act that makes something is asked with.
    pub fn asked<T: DeserializeOwned + ToSchema>(&self, app: &App) -> Result<(IdempotencyKey, Valid<T>), Problem> {
        Ok((self.key()?, self.valid(app)?))
    }

    /// What an act that changes something is asked with.
    pub fn asked_change<T: DeserializeOwned + ToSchema>(&self, app: &App) -> Result<(IfMatch, Valid<T>), Problem> {
        Ok((self.if_match()?, self.valid(app)?))
    }

    /// Shows the form.
    pub fn show(self) -> Response {
        page(Entry { form: self }.render())
    }

    pub fn carries_file(&self) -> bool {
        self.fields.iter().any(Field::is_file)
    }

    pub fn has_field_faults(&self) -> bool {
        self.fields.iter().any(|field| !field.faults.is_empty())
    }

    /// Whether its last fields are folded.
    pub fn folds(&self) -> bool {
        self.fields.iter().any(|field| field.fold.is_some())
    }

    /// Whether other fields are folded before the one with which a fold begins.
    pub fn folds_before(&self, name: &str) -> bool {
        self.fields.iter().take_while(|field| field.name != name).any(|field| field.fold.is_some())
    }

    /// Whether something in the fold that begins with a field says something or is to be mended: then it stands open.
    pub fn is_unfolded(&self, name: &str) -> bool {
        let mut folded = self.fields.iter().skip_while(|field| field.name != name);
        let first = folded.next();
        let others = folded.take_while(|field| field.fold.is_none());
        first.into_iter().chain(others).any(|field| !field.says_nothing() || !field.faults.is_empty())
    }

    /// How many things are to be mended.
    pub fn faults(&self) -> usize {
        self.general.len() + self.fields.iter().map(|field| field.faults.len()).sum::<usize>()
    }
}

/// The faults of the page's own fields together with those of the request, all at once.
pub fn also<T>(asked: Result<T, Problem>, faults: Vec<FieldFault>) -> Result<T, Problem> {
    match asked {
        asked if faults.is_empty() => asked,
        Ok(_) => Err(Problem::invalid(faults)),
        Err(problem) if problem.errors.is_empty() => Err(problem),
        Err(mut problem) => {
            problem.errors.extend(faults);
            Err(problem)
        }
    }
}

fn plain(byte: u8) -> bool {
    byte.is_ascii_alphanumeric() || b"_:.-".contains(&byte)
}

/// Puts a value at a JSON pointer; a number in it is a place in a list.
fn put(body: &mut Value, pointer: &str, value: Value) {
    let mut here = body;
    for part in pointer.split('/').skip(1) {
        here = if let Ok(at) = part.parse::<usize>() {
            if !here.is_array() {
                *here = Value::Array(Vec::new());
            }
            let Some(items) = here.as_array_mut() else { return };
            let at = at.min(items.len());
            if at == items.len() {
                items.push(Value::Null);
            }
            &mut items[at]
        } else {
            if !here.is_object() {
                *here = Value::Object(serde_json::Map::new());
            }
            let Some(members) = here.as_object_mut() else { return };
            members.entry(part).or_insert(Value::Null)
        };
    }
    *here = value;
}
