//! What the API document says about a value is what is asked of it: bodies and queries are checked against the document's
//! own schemas, so that every fault is found at once and the document cannot promise what the server refuses.

mod bulk;
mod text;

use std::{
    collections::HashMap,
    sync::{Arc, RwLock},
};

use jsonschema::{ValidationError, Validator, error::ValidationErrorKind};
use serde_json::{Value, json};
use utoipa::ToSchema;

pub use text::spell_out;

use crate::problem::FieldFault;

/// The schemas of the API document, each compiled when first asked for.
#[derive(Debug, Default)]
pub struct Schemas {
    compiled: RwLock<HashMap<String, Arc<Compiled>>>,
}

#[derive(Debug)]
struct Compiled {
    validator: Validator,
    /// The schema with everything it refers to.
    root: Value,
}

impl Schemas {
    /// Every fault of a value under the schema of `T`. A schema that cannot be compiled is a fault of ours.
    pub fn faults<T: ToSchema>(&self, value: &Value) -> Result<Vec<FieldFault>, String> {
        let compiled = self.compiled::<T>()?;
        let mut faults = bulk::faults(&compiled.root, value);
        if !faults.is_empty() {
            return Ok(faults);
        }
        for error in compiled.validator.iter_errors(value) {
            compiled.describe(&error, &mut faults);
        }
        faults.sort_by(|a, b| a.pointer.cmp(&b.pointer));
        // A text of the wrong length need not be told that its shape is wrong too.
        let lengths: Vec<_> =
            faults.iter().filter(|fault| fault.code == "wrong_length").map(|fault| fault.pointer.clone()).collect();
        faults.retain(|fault| fault.code != "wrong_format" || !lengths.contains(&fault.pointer));
        faults.dedup_by(|a, b| a.pointer == b.pointer && a.detail == b.detail);
        Ok(faults)
    }

    /// The declared type of a property of `T`, to read a query parameter by.
    pub fn property_type<T: ToSchema>(&self, property: &str) -> Option<&'static str> {
        let compiled = self.compiled::<T>().ok()?;
        let schema = compiled.root.pointer(&format!("/components/schemas/{}/properties/{property}", T::name()))?;
        let named = |name: &str| match schema.get("type") {
            Some(Value::String(one)) => one == name,
            Some(Value::Array(many)) => many.iter().any(|one| one == name),
            _ => false,
        };
        Some(if named("integer") {
            "integer"
        } else if named("number") {
            "number"
        } else if named("boolean") {
            "boolean"
        } else {
            "string"
        })
    }

    fn compiled<T: ToSchema>(&self) -> Result<Arc<Compiled>, String> {
        let name = T::name();
        if let Ok(known) = self.compiled.read()
            && let Some(compiled) = known.get(name.as_ref())
        {
            return Ok(Arc::clone(compiled));
        }
        let mut parts = Vec::new();
        T::schemas(&mut parts);
        parts.push((name.to_string(), T::schema()));
        for (_, schema) in &mut parts {
            spell_out(schema);
        }
        let schemas: HashMap<_, _> = parts.into_iter().collect();
        let root = json!({ "$ref": format!("#/components/schemas/{name}"), "components": { "schemas": schemas } });
        let validator = jsonschema::options()
            .with_draft(jsonschema::Draft::Draft202012)
            .with_format("iana-time-zone", is_zone)
            .should_validate_formats(true)
            .build(&root)
            .map_err(|error| format!("schema {name}: {error}"))?;
        let compiled = Arc::new(Compiled { validator, root });
        if let Ok(mut known) = self.compiled.write() {
            known.insert(name.to_string(), Arc::clone(&compiled));
        }
        Ok(compiled)
    }
}

impl Compiled {
    /// One fault in words a person can act on. A choice between "nothing" and a type is told as a fault of the type.
    fn describe(&self, error: &ValidationError<'_>, faults: &mut Vec<FieldFault>) {
        let at = error.instance_path().as_str().to_owned();
        let mut push = |pointer: String, code: &str, detail: String| faults.push(FieldFault::at(pointer, code, detail));
        match error.kind() {
            ValidationErrorKind::OneOfNotValid { context } | ValidationErrorKind::AnyOf { context } => {
                let choices: Vec<&Vec<ValidationError<'_>>> =
                    context.iter().filter(|branch| !branch.iter().any(wants_null)).collect();
                match Choice::of(&choices, &at) {
                    _ if error.instance().is_null() => {
                        push(at, "invalid", "does not have a shape that is known here".to_owned());
                    }
                    Choice::Branch(branch) => {
                        for inner in branch {
                            self.describe(inner, faults);
                        }
                    }
                    Choice::NoTag(name) => push(format!("{at}/{}", escape(&name)), "missing", "is required".to_owned()),
                    Choice::UnknownTag(pointer, words) => {
                        push(pointer, "unknown_value", format!("must be one of: {}", words.join(", ")));
                    }
                    Choice::None => push(at, "invalid", "does not have a shape that is known here".to_owned()),
                }
            }
            ValidationErrorKind::Required { property } => {
                let name = property.as_str().unwrap_or_default();
                push(format!("{at}/{}", escape(name)), "missing", "is required".to_owned());
            }
            ValidationErrorKind::AdditionalProperties { unexpected } => {
                for name in unexpected {
                    push(
                        format!("{at}/{}", escape(name)),
                        "unknown_field",
                        "is not a field of this document; check its spelling".to_owned(),
                    );
                }
            }
            kind => push(at, code_of(kind), self.words(error)),
        }
    }

    /// What is wrong with one value.
    fn words(&self, error: &ValidationError<'_>) -> String {
        let about = self.schema_behind(error.evaluation_path().as_str());
        let example = about
            .and_then(|s| s.get("examples"))
            .and_then(|e| e.get(0))
            .or_else(|| about.and_then(|s| s.get("example")));
        let example = example.map(|value| format!(", such as {value}")).unwrap_or_default();
        match error.kind() {
            ValidationErrorKind::Pattern { .. } | ValidationErrorKind::Format { .. } => {
                let sentence = about
                    .and_then(|s| s.get("description"))
                    .and_then(Value::as_str)
                    .unwrap_or("Begin with a visible character, and leave control characters out.");
                format!("is not written as it must be{example}. {sentence}")
            }
            ValidationErrorKind::Type { .. } => {
                let wanted = about.and_then(|s| s.get("type")).map(type_words).unwrap_or_default();
                let hint = if wanted == "text" && error.instance().is_number() {
                    "; write the number as text, so that no digit is lost"
                } else {
                    ""
                };
                format!("must be {wanted}{example}{hint}")
            }
            ValidationErrorKind::Enum { options } => format!("must be one of: {}", words_of(options)),
            ValidationErrorKind::MaxLength { limit } => format!("must have at most {}", counted(*limit, "character")),
            ValidationErrorKind::MinLength { limit } => format!("must have at least {}", counted(*limit, "character")),
            ValidationErrorKind::Maximum { limit } => format!("must be at most {limit}"),
            ValidationErrorKind::Minimum { limit } => format!("must be at least {limit}"),
            ValidationErrorKind::MaxItems { limit } => format!("must have at most {}", counted(*limit, "entry")),
            ValidationErrorKind::MinItems { limit } => format!("must have at least {}", counted(*limit, "entry")),
            ValidationErrorKind::UniqueItems => "must not name the same thing twice".to_owned(),
            _ => "does not fit".to_owned(),
        }
    }

    /// The schema object that holds the keyword at a path of the validator, through references.
    fn schema_behind(&self, keyword_path: &str) -> Option<&Value> {
        let mut segments: Vec<&str> = keyword_path.split('/').skip(1).collect();
        segments.pop();
        let mut here: Option<&Value> = None;
        for segment in segments {
            here = match (here, segment) {
                (None, "$ref") => self.root.pointer(self.root.get("$ref")?.as_str()?.strip_prefix('#')?),
                (None, _) => return None,
                (Some(schema), "$ref") => self.root.pointer(schema.get("$ref")?.as_str()?.strip_prefix('#')?),
                (Some(schema), key) => schema.get(key).or_else(|| schema.get(key.parse::<usize>().ok()?)),
            };
            if segment != "$ref" && here.is_none() {
                return None;
            }
        }
        here
    }
}

/// Only the zone's own spelling: the reader of zones takes any case, and phones may not.
fn is_zone(name: &str) -> bool {
    let known = domain::time::zone(name).ok();
    known.is_some_and(|zone| zone.iana_name() == Some(name) && !zone.is_unknown())
}

/// Which of several shapes somebody meant.
enum Choice<'e, 'v> {
    /// The one whose tag was written; without tags the one that is told most about.
    Branch(&'e [ValidationError<'v>]),
    /// Every shape needs this tag, and there is none.
    NoTag(String),
    /// A tag that no shape has: where it stands, and the tags that there are.
    UnknownTag(String, Vec<String>),
    None,
}

impl<'e, 'v> Choice<'e, 'v> {
    fn of(branches: &[&'e Vec<ValidationError<'v>>], at: &str) -> Self {
        let meant: Vec<_> = branches.iter().filter(|branch| other_tag(branch, at).is_none()).collect();
        let Some((first, others)) = branches.split_first() else { return Self::None };
        if meant.is_empty() {
            let tags: Vec<_> = branches.iter().filter_map(|branch| other_tag(branch, at)).collect();
            let pointer = tags.first().map(|(pointer, _)| pointer.clone()).unwrap_or_default();
            return Self::UnknownTag(pointer, tags.into_iter().map(|(_, word)| word).collect());
        }
        let missing = |branch: &[ValidationError<'_>], wanted: &str| {
            branch.iter().any(|error| is_missing(error, at).as_deref() == Some(wanted))
        };
        let in_all = |name: &String| others.iter().all(|branch| missing(branch, name));
        let common = first.iter().filter_map(|error| is_missing(error, at)).find(in_all);
        match common {
            Some(name) if !others.is_empty() => Self::NoTag(name),
            _ => meant.into_iter().max_by_key(|branch| branch.len()).map_or(Self::None, |branch| Self::Branch(branch)),
        }
    }
}

/// The tag that a shape wants and did not find: where it stands, and its word.
fn other_tag(branch: &[ValidationError<'_>], at: &str) -> Option<(String, String)> {
    branch.iter().find_map(|error| {
        let ValidationErrorKind::Enum { options } = error.kind() else { return None };
        let pointer = error.instance_path().as_str();
        let member = pointer.strip_prefix(at)?.strip_prefix('/')?;
        match options.as_array().map(Vec::as_slice) {
            Some([word]) if !member.contains('/') => Some((pointer.to_owned(), word.as_str()?.to_owned())),
            _ => None,
        }
    })
}

/// The name of a member that is missing right here.
fn is_missing(error: &ValidationError<'_>, at: &str) -> Option<String> {
    match error.kind() {
        ValidationErrorKind::Required { property } if error.instance_path().as_str() == at => {
            property.as_str().map(str::to_owned)
        }
        _ => None,
    }
}

fn wants_null(error: &ValidationError<'_>) -> bool {
    matches!(error.kind(), ValidationErrorKind::Type { kind } if format!("{kind:?}").contains("Null"))
}

/// The words of an enumeration, as a person reads them.
fn words_of(options: &Value) -> String {
    let options = options.as_array().map(Vec::as_slice).unwrap_or_default();
    let word = |option: &Value| option.as_str().map_or_else(|| option.to_string(), str::to_owned);
    options.iter().filter(|option| !option.is_null()).map(word).collect::<Vec<_>>().join(", ")
}

fn counted(count: u64, what: &str) -> String {
    match (count, what.strip_suffix('y')) {
        (1, _) => format!("1 {what}"),
        (_, Some(stem)) => format!("{count} {stem}ies"),
        _ => format!("{count} {what}s"),
    }
}

fn type_words(kind: &Value) -> &'static str {
    match kind.as_str().or_else(|| kind.get(0).and_then(Value::as_str)) {
        Some("string") => "text",
        Some("integer") => "a whole number",
        Some("number") => "a number",
        Some("boolean") => "true or false",
        Some("array") => "a list",
        _ => "an object",
    }
}

fn code_of(kind: &ValidationErrorKind) -> &'static str {
    match kind {
        ValidationErrorKind::Type { .. } => "wrong_type",
        ValidationErrorKind::Enum { .. } => "unknown_value",
        ValidationErrorKind::Pattern { .. } | ValidationErrorKind::Format { .. } => "wrong_format",
        ValidationErrorKind::MaxLength { .. } | ValidationErrorKind::MinLength { .. } => "wrong_length",
        ValidationErrorKind::Maximum { .. } | ValidationErrorKind::Minimum { .. } => "out_of_range",
        ValidationErrorKind::MaxItems { .. } | ValidationErrorKind::MinItems { .. } => "wrong_count",
        _ => "invalid",
    }
}

fn escape(name: &str) -> String {
    name.replace('~', "~0").replace('/', "~1")
}
